//! What depends on the sparsity pattern alone: the elimination order and the structure of the factor.
//!
//! A set of draws or a search solves hundreds of matrix pairs of one pattern; they share one [`Symbolic`].

use super::fault::EigenFault;
use super::ordering::eliminate;
use super::pair::MatrixPair;
use super::pattern::{Columns, Pattern};
use super::sparse::Sparse;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::SymbolicSupernodalParams;
use faer::sparse::linalg::cholesky::simplicial::{
    EliminationTreeRef, prefactorize_symbolic_cholesky, prefactorize_symbolic_cholesky_scratch,
};
use faer::sparse::linalg::cholesky::supernodal::{
    SymbolicSupernodalCholesky, factorize_supernodal_symbolic_cholesky,
    factorize_supernodal_symbolic_cholesky_scratch,
};
use faer::sparse::{SparseColMat, SymbolicSparseColMatRef};
use std::collections::VecDeque;
use std::mem::size_of;
use std::sync::{Arc, Mutex, PoisonError};

/// Elimination order and structure of the factor for one pattern of stiffness and mass.
#[derive(Debug)]
pub struct Symbolic {
    /// New position to old degree of freedom.
    pub(super) order: Vec<usize>,
    /// Lower triangle in the new order, columns ascending.
    pub(super) lower: Pattern,
    pub(super) cholesky: SymbolicSupernodalCholesky<usize>,
    /// Of stiffness and mass, and the fingerprint of both; `None` where matrices are gathered one by one.
    slots: Option<Slots>,
}

/// Where the entries of the pair for which a pattern was made are.
#[derive(Debug)]
struct Slots {
    stiffness: Vec<u32>,
    mass: Vec<u32>,
    fingerprint: u64,
}

/// The symbolic factors of the patterns used last, shared by all clones: builds of one drawing with the same
/// subdivision have one pattern, whatever they are made of.
#[derive(Debug, Clone, Default)]
pub struct Patterns(Arc<Mutex<VecDeque<Arc<Symbolic>>>>);

/// How many symbolic factors are kept.
const KEPT: usize = 32;

impl Patterns {
    /// The symbolic factor of `pair`, which must have passed its checks; made if it is not kept.
    ///
    /// # Errors
    /// [`EigenFault::TooLarge`] when even the pattern is too large.
    pub fn analyse(&self, pair: &MatrixPair) -> Result<Arc<Symbolic>, EigenFault> {
        let fingerprint = fingerprint(pair);
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let fits = |known: &&Arc<Symbolic>| {
            known.made_for() == Some(fingerprint) && known.order.len() == pair.dofs()
        };
        if let Some(found) = kept().iter().find(fits) {
            return Ok(Arc::clone(found));
        }
        // Made without the lock, so that others can look theirs up meanwhile.
        let made = Arc::new(Symbolic::with_fingerprint(pair, fingerprint)?);
        let mut kept = kept();
        if kept.len() == KEPT {
            kept.pop_front();
        }
        kept.push_back(Arc::clone(&made));
        Ok(made)
    }
}

/// Marks an entry of the upper triangle, which has no slot.
const NO_SLOT: u32 = u32::MAX;

impl Symbolic {
    /// Orders the degrees of freedom of `pair` and finds the structure of its factor.
    ///
    /// # Errors
    /// Those of [`MatrixPair::check`], and [`EigenFault::TooLarge`] when even the pattern is too large.
    pub fn analyse(pair: &MatrixPair) -> Result<Symbolic, EigenFault> {
        pair.check()?;
        Symbolic::analyse_checked(pair)
    }

    /// The same for a matrix pair that has been checked.
    pub(super) fn analyse_checked(pair: &MatrixPair) -> Result<Symbolic, EigenFault> {
        Symbolic::with_fingerprint(pair, fingerprint(pair))
    }

    fn with_fingerprint(pair: &MatrixPair, fingerprint: u64) -> Result<Symbolic, EigenFault> {
        let mut symbolic = Symbolic::without_slots(pair)?;
        let place = places(&symbolic.order);
        let [stiffness, mass] =
            [pair.stiffness, pair.mass].map(|matrix| slots(matrix.as_faer(), &symbolic.lower, &place));
        symbolic.slots = Some(Slots { stiffness, mass, fingerprint });
        Ok(symbolic)
    }

    fn without_slots(pair: &MatrixPair) -> Result<Symbolic, EigenFault> {
        let too_large = EigenFault::TooLarge { needed: usize::MAX, allowed: u32::MAX as usize };
        let (stiffness, mass) = (pair.stiffness.as_faer(), pair.mass.as_faer());
        let (order, lower) = match holds(stiffness, mass) {
            true => ordered(stiffness, pair.group),
            false => ordered(&union(stiffness, mass), pair.group),
        }
        .ok_or(too_large.clone())?;
        let cholesky = shape(&lower).ok_or(too_large)?;
        Ok(Symbolic { order, lower, cholesky, slots: None })
    }

    /// The structure for `stiffness` alone, whose degrees of freedom belong to the points `group`; its matrices are gathered
    /// one by one, by [`Self::gather_within`].
    ///
    /// # Errors
    /// As [`Self::analyse`].
    pub(super) fn of_stiffness(stiffness: &Sparse, group: &[usize]) -> Result<Symbolic, EigenFault> {
        let mass = Sparse::from_columns(vec![0; stiffness.size() + 1], Vec::new(), Vec::new())?;
        let pair = MatrixPair { stiffness, mass: &mass, group };
        pair.check()?;
        Symbolic::without_slots(&pair)
    }

    /// True when `pair` has the pattern that this was made for.
    pub fn fits(&self, pair: &MatrixPair) -> bool {
        pair.dofs() == self.order.len() && self.made_for() == Some(fingerprint(pair))
    }

    fn made_for(&self) -> Option<u64> {
        self.slots.as_ref().map(|slots| slots.fingerprint)
    }

    /// Memory in bytes that one numeric factor takes, work space included.
    pub fn factor_bytes(&self) -> usize {
        let entries = self.cholesky.len_val().saturating_add(2 * self.lower.rows.len());
        entries.saturating_mul(size_of::<f64>())
    }

    /// Stiffness and mass of `pair` in the slots of the lower triangle, in elimination order; an error when
    /// its pattern is another.
    pub(super) fn gather(&self, pair: &MatrixPair) -> Result<(Vec<f64>, Vec<f64>), EigenFault> {
        if self.fits(pair) { self.gather_own(pair) } else { Err(EigenFault::OtherPattern) }
    }

    /// The same for a matrix pair that is known to have this pattern.
    pub(super) fn gather_own(&self, pair: &MatrixPair) -> Result<(Vec<f64>, Vec<f64>), EigenFault> {
        let slots = self.slots.as_ref().ok_or(EigenFault::OtherPattern)?;
        Ok((self.in_order(pair.stiffness, &slots.stiffness), self.in_order(pair.mass, &slots.mass)))
    }

    /// A matrix whose entries are among those of the pattern, in the slots of the lower triangle; `None` where one is not.
    pub(super) fn gather_within(&self, matrix: &Sparse) -> Option<Vec<f64>> {
        let matrix = matrix.as_faer();
        (matrix.ncols() == self.order.len()).then_some(())?;
        let place = places(&self.order);
        let mut values = vec![0.0; self.lower.rows.len()];
        let (mut found, mut diagonal) = (0, 0);
        each_slot(matrix, &self.lower, &place, |entry, slot, is_diagonal| {
            diagonal += usize::from(is_diagonal);
            if slot != NO_SLOT {
                found += 1;
                values[slot as usize] = matrix.val()[entry];
            }
        });
        // Of the two places of an entry off the diagonal one has no slot.
        (2 * found == matrix.val().len() + diagonal).then_some(values)
    }

    fn in_order(&self, matrix: &Sparse, slots: &[u32]) -> Vec<f64> {
        let mut values = vec![0.0; self.lower.rows.len()];
        for (&slot, &value) in slots.iter().zip(matrix.values()) {
            if slot != NO_SLOT {
                values[slot as usize] = value;
            }
        }
        values
    }
}

/// The elimination order of a pattern with both triangles, new position to old, and its lower triangle in that order;
/// `None` for one with more entries than slots are counted.
fn ordered(full: &impl Columns, group: &[usize]) -> Option<(Vec<usize>, Pattern)> {
    (full.entries() < NO_SLOT as usize).then_some(())?;
    let order = eliminate(full, group);
    let place = places(&order);
    let lower = permuted_lower(full, &order, &place);
    Some((order, lower))
}

/// True when `a` has every entry of `b`, and every diagonal.
fn holds(a: &SparseColMat<usize, f64>, b: &SparseColMat<usize, f64>) -> bool {
    (0..a.ncols()).all(|j| {
        let mut own = a.column(j).iter();
        b.column(j).iter().all(|row| own.any(|other| other == row)) && a.column(j).binary_search(&j).is_ok()
    })
}

/// Entries that either matrix has, both triangles, and every diagonal.
fn union(a: &SparseColMat<usize, f64>, b: &SparseColMat<usize, f64>) -> Pattern {
    let n = a.ncols();
    let mut union =
        Pattern { starts: Vec::with_capacity(n + 1), rows: Vec::with_capacity(a.row_idx().len()) };
    union.starts.push(0);
    for j in 0..n {
        let (mut left, mut right) = (a.symbolic().row_idx_of_col_raw(j), b.symbolic().row_idx_of_col_raw(j));
        let start = union.rows.len();
        if left == right {
            union.rows.extend_from_slice(left);
        } else {
            while let ([l, ..], [r, ..]) = (left, right) {
                union.rows.push(*l.min(r));
                (left, right) = (&left[usize::from(l <= r)..], &right[usize::from(r <= l)..]);
            }
            union.rows.extend_from_slice(left);
            union.rows.extend_from_slice(right);
        }
        if let Err(place) = union.rows[start..].binary_search(&j) {
            union.rows.insert(start + place, j);
        }
        union.starts.push(union.rows.len());
    }
    union
}

/// The lower triangle of `full` with rows and columns renumbered by `place`.
fn permuted_lower(full: &impl Columns, order: &[usize], place: &[usize]) -> Pattern {
    let n = order.len();
    let mut starts = vec![0; n + 1];
    for (j, &old) in order.iter().enumerate() {
        let below = full.column(old).iter().filter(|&&i| place[i] >= j).count();
        starts[j + 1] = starts[j] + below;
    }
    // Rows are visited in ascending order and appended to the columns that they meet.
    let mut next = starts.clone();
    let mut rows = vec![0; starts[n]];
    for (i, &old) in order.iter().enumerate() {
        for j in full.column(old).iter().map(|&j| place[j]).filter(|&j| j <= i) {
            rows[next[j]] = i;
            next[j] += 1;
        }
    }
    Pattern { starts, rows }
}

/// For each entry of `matrix`, its slot in `lower`.
fn slots(matrix: &SparseColMat<usize, f64>, lower: &Pattern, place: &[usize]) -> Vec<u32> {
    let mut slots = Vec::with_capacity(matrix.val().len());
    each_slot(matrix, lower, place, |_, slot, _| slots.push(slot));
    slots
}

/// Tells of each entry of `matrix`, in their order, its number, its slot in `lower`, and whether it is on the diagonal.
fn each_slot(
    matrix: &SparseColMat<usize, f64>,
    lower: &Pattern,
    place: &[usize],
    mut tell: impl FnMut(usize, u32, bool),
) {
    let mut slot_of_row = vec![NO_SLOT; lower.len()];
    for j in 0..matrix.ncols() {
        let column = place[j];
        for slot in lower.starts[column]..lower.starts[column + 1] {
            slot_of_row[lower.rows[slot]] = slot as u32;
        }
        for (entry, &i) in matrix.col_range(j).zip(matrix.symbolic().row_idx_of_col_raw(j)) {
            tell(entry, slot_of_row[place[i]], i == j);
        }
        for &row in lower.column(column) {
            slot_of_row[row] = NO_SLOT;
        }
    }
}

/// Old to new of an order from new to old.
fn places(order: &[usize]) -> Vec<usize> {
    let mut place = vec![0; order.len()];
    order.iter().enumerate().for_each(|(new, &old)| place[old] = new);
    place
}

/// Supernodes of the factor; `None` when their indices or memory overflow.
fn shape(lower: &Pattern) -> Option<SymbolicSupernodalCholesky<usize>> {
    let n = lower.len();
    let upper = transposed(lower);
    let upper = SymbolicSparseColMatRef::new_checked(n, n, &upper.starts, None, &upper.rows);
    let mut tree = vec![0_isize; n];
    let mut counts = vec![0_usize; n];
    let need = prefactorize_symbolic_cholesky_scratch::<usize>(n, upper.compute_nnz())
        .or(factorize_supernodal_symbolic_cholesky_scratch::<usize>(n));
    let mut memory = MemBuffer::try_new(need).ok()?;
    let stack = MemStack::new(&mut memory);
    let tree: EliminationTreeRef<usize> =
        prefactorize_symbolic_cholesky(&mut tree, &mut counts, upper, stack);
    factorize_supernodal_symbolic_cholesky(upper, tree, &counts, stack, SymbolicSupernodalParams::default())
        .ok()
}

fn transposed(pattern: &Pattern) -> Pattern {
    let n = pattern.len();
    let mut starts = vec![0; n + 1];
    for &i in &pattern.rows {
        starts[i + 1] += 1;
    }
    for i in 0..n {
        starts[i + 1] += starts[i];
    }
    let mut next = starts.clone();
    let mut rows = vec![0; pattern.rows.len()];
    for j in 0..n {
        for &i in pattern.column(j) {
            rows[next[i]] = j;
            next[i] += 1;
        }
    }
    Pattern { starts, rows }
}

/// A hash of the pattern; two different patterns share it with a chance of one in 2⁶⁴.
fn fingerprint(pair: &MatrixPair) -> u64 {
    // Four independent chains, so that multiplications do not wait for each other.
    let mut chains = [0x9e37_79b9_7f4a_7c15_u64, 1, 2, 3];
    for matrix in [pair.stiffness, pair.mass].map(Sparse::as_faer) {
        for list in [matrix.col_ptr(), matrix.row_idx(), pair.group] {
            for words in list.chunks(4) {
                for (chain, &word) in chains.iter_mut().zip(words) {
                    *chain = (*chain ^ word as u64).wrapping_mul(0x2545_f491_4f6c_dd1d).rotate_left(29);
                }
            }
        }
    }
    chains.iter().fold(0, |sum, chain| (sum ^ chain).wrapping_mul(0xff51_afd7_ed55_8ccd).rotate_left(31))
}
