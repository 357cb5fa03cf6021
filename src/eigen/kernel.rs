//! Products and triangular solutions with four vectors at a time.
//!
//! The factor is larger than the caches, so a solution takes as long as reading the factor. Four vectors
//! share one reading, and up to six columns of a supernode share one pass over the vectors. For that the
//! factor is packed: the columns of such a group are stored row after row and read from end to end.
//! Vectors are interleaved: the values of one degree of freedom are neighbours in memory and fill one
//! register. The loops are compiled for several register widths, and the widest that the machine has is
//! chosen when the program runs.

use super::pattern::{Columns, Pattern};
use faer::sparse::linalg::cholesky::supernodal::{SupernodalLdltRef, SymbolicSupernodalCholesky};
use pulp::{Arch, Simd, WithSimd};

/// Vectors handled together.
pub(super) const BLOCK: usize = 4;

/// The values of one degree of freedom in all vectors of a block.
pub(super) type Lane = [f64; BLOCK];

/// Largest number of columns of a supernode in one pass: those of one point.
const COLUMNS: usize = 6;

/// Interleaves the columns of each group, row after row, in place.
pub(super) fn pack(symbolic: &SymbolicSupernodalCholesky<usize>, values: &mut [f64]) {
    let (begin, end) = (symbolic.supernode_begin(), symbolic.supernode_end());
    let starts = symbolic.col_ptr_for_val();
    let mut columns = Vec::new();
    for s in 0..begin.len() {
        let (first, last) = (begin[s], end[s]);
        let height = last - first + symbolic.nnz_per_super()[s];
        if height == 0 {
            continue;
        }
        for group in values[starts[s]..starts[s + 1]].chunks_mut(COLUMNS * height) {
            let width = group.len() / height;
            columns.clear();
            columns.extend_from_slice(group);
            for (c, column) in columns.chunks_exact(height).enumerate() {
                for (entry, value) in group[c..].iter_mut().step_by(width).zip(column) {
                    *entry = *value;
                }
            }
        }
    }
}

/// `y = A x` for a symmetric `A` whose lower triangle has the `values` in the pattern `lower`.
pub(super) fn symmetric_product(lower: &Pattern, values: &[f64], x: &[Lane], y: &mut [Lane]) {
    Arch::new().dispatch(Product { lower, values, x, y });
}

/// Solves `L x = b` in place; `L`, packed, has a unit diagonal.
pub(super) fn solve_lower(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    Arch::new().dispatch(Forward { factor: SupernodalLdltRef::new(symbolic, values), x });
}

/// Solves `Lᵀ x = b` in place; `L`, packed, has a unit diagonal.
pub(super) fn solve_upper(symbolic: &SymbolicSupernodalCholesky<usize>, values: &[f64], x: &mut [Lane]) {
    Arch::new().dispatch(Backward { factor: SupernodalLdltRef::new(symbolic, values), x });
}

/// `aᵀ b`.
pub(super) fn inner(a: &[Lane], b: &[Lane]) -> [Lane; BLOCK] {
    Arch::new().dispatch(Inner { a, b })
}

/// `b += a W`.
pub(super) fn add_combined(a: &[Lane], weights: &[Lane; BLOCK], b: &mut [Lane]) {
    Arch::new().dispatch(Combined { a, weights, b });
}

struct Inner<'a> {
    a: &'a [Lane],
    b: &'a [Lane],
}

impl WithSimd for Inner<'_> {
    type Output = [Lane; BLOCK];

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> [Lane; BLOCK] {
        let mut result = [[0.0; BLOCK]; BLOCK];
        let (b, _) = S::as_simd_f64s(self.b.as_flattened());
        let (sums, _) = S::as_mut_simd_f64s(result.as_flattened_mut());
        for part in 0..parts::<S>() {
            let found = gathered::<S, BLOCK>(simd, self.a, b, part);
            for r in 0..BLOCK {
                sums[r * parts::<S>() + part] = found[r];
            }
        }
        result
    }
}

struct Combined<'a> {
    a: &'a [Lane],
    weights: &'a [Lane; BLOCK],
    b: &'a mut [Lane],
}

impl WithSimd for Combined<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (b, _) = S::as_mut_simd_f64s(self.b.as_flattened_mut());
        let (weights, _) = S::as_simd_f64s(self.weights.as_flattened());
        for part in 0..parts::<S>() {
            let mut own = [simd.splat_f64s(0.0); BLOCK];
            for r in 0..BLOCK {
                own[r] = weights[r * parts::<S>() + part];
            }
            for (lane, row) in b.chunks_exact_mut(parts::<S>()).zip(self.a) {
                lane[part] = simd.add_f64s(lane[part], weighted::<S, BLOCK>(simd, row, &own, BLOCK));
            }
        }
    }
}

struct Product<'a> {
    lower: &'a Pattern,
    values: &'a [f64],
    x: &'a [Lane],
    y: &'a mut [Lane],
}

impl WithSimd for Product<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Product { lower, values, x, y } = self;
        y.fill([0.0; BLOCK]);
        for j in 0..lower.len() {
            let range = lower.starts[j]..lower.starts[j + 1];
            let xj = x[j];
            let mut sum = [0.0; BLOCK];
            for (&i, &a) in lower.rows[range.clone()].iter().zip(&values[range]) {
                if i == j {
                    add(&mut sum, a, &xj);
                } else {
                    add(&mut sum, a, &x[i]);
                    add(&mut y[i], a, &xj);
                }
            }
            add(&mut y[j], 1.0, &sum);
        }
    }
}

struct Forward<'a> {
    factor: SupernodalLdltRef<'a, usize, f64>,
    x: &'a mut [Lane],
}

impl WithSimd for Forward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Forward { factor, x } = self;
        let symbolic = factor.symbolic();
        let (begin, end) = (symbolic.supernode_begin(), symbolic.supernode_end());
        let (value_starts, row_starts) = (symbolic.col_ptr_for_val(), symbolic.col_ptr_for_row_idx());
        let mut work: Vec<Lane> = Vec::new();
        for s in 0..begin.len() {
            let (start, width) = (begin[s], end[s] - begin[s]);
            let rows = &symbolic.row_idx()[row_starts[s]..][..symbolic.nnz_per_super()[s]];
            let columns = &factor.values()[value_starts[s]..value_starts[s + 1]];
            let height = width + rows.len();
            work.clear();
            work.extend_from_slice(&x[start..start + width]);
            work.resize(height, [0.0; BLOCK]);
            for (g, group) in columns.chunks(COLUMNS * height.max(1)).enumerate() {
                let work = &mut work[g * COLUMNS..];
                let group = &group[g * COLUMNS * (group.len() / height)..];
                solve_group::<S, true>(simd, group, work);
            }
            x[start..start + width].copy_from_slice(&work[..width]);
            for (&i, t) in rows.iter().zip(&work[width..]) {
                add(&mut x[i], 1.0, t);
            }
        }
    }
}

struct Backward<'a> {
    factor: SupernodalLdltRef<'a, usize, f64>,
    x: &'a mut [Lane],
}

impl WithSimd for Backward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Backward { factor, x } = self;
        let symbolic = factor.symbolic();
        let (begin, end) = (symbolic.supernode_begin(), symbolic.supernode_end());
        let (value_starts, row_starts) = (symbolic.col_ptr_for_val(), symbolic.col_ptr_for_row_idx());
        let mut work: Vec<Lane> = Vec::new();
        for s in (0..begin.len()).rev() {
            let (start, width) = (begin[s], end[s] - begin[s]);
            let rows = &symbolic.row_idx()[row_starts[s]..][..symbolic.nnz_per_super()[s]];
            let columns = &factor.values()[value_starts[s]..value_starts[s + 1]];
            let height = width + rows.len();
            work.clear();
            work.extend_from_slice(&x[start..start + width]);
            work.extend(rows.iter().map(|&i| x[i]));
            for (g, group) in columns.chunks(COLUMNS * height.max(1)).enumerate().rev() {
                let work = &mut work[g * COLUMNS..];
                let group = &group[g * COLUMNS * (group.len() / height)..];
                solve_group::<S, false>(simd, group, work);
            }
            x[start..start + width].copy_from_slice(&work[..width]);
        }
    }
}

/// Solves for the `C` columns of a group, whose diagonal comes first, and subtracts them from the rows below.
#[inline(always)]
fn forward<S: Simd, const C: usize>(simd: S, group: &[f64], work: &mut [Lane]) {
    let (rows, _) = group.as_chunks::<C>();
    let (work, _) = S::as_mut_simd_f64s(work.as_flattened_mut());
    let (head, rest) = work.split_at_mut(C * parts::<S>());
    for part in 0..parts::<S>() {
        let mut solved = [simd.splat_f64s(0.0); C];
        for c in 0..C {
            let above = weighted::<S, C>(simd, &rows[c], &solved, c);
            solved[c] = simd.sub_f64s(head[c * parts::<S>() + part], above);
            head[c * parts::<S>() + part] = solved[c];
        }
        for (lane, row) in rest.chunks_exact_mut(parts::<S>()).zip(&rows[C..]) {
            lane[part] = simd.sub_f64s(lane[part], weighted::<S, C>(simd, row, &solved, C));
        }
    }
}

/// Solves for the `C` columns of a group from the rows below.
#[inline(always)]
fn backward<S: Simd, const C: usize>(simd: S, group: &[f64], work: &mut [Lane]) {
    let (rows, _) = group.as_chunks::<C>();
    let (work, _) = S::as_mut_simd_f64s(work.as_flattened_mut());
    let (head, rest) = work.split_at_mut(C * parts::<S>());
    for part in 0..parts::<S>() {
        let mut sums = gathered::<S, C>(simd, &rows[C..], rest, part);
        for c in (0..C).rev() {
            let solved = simd.sub_f64s(head[c * parts::<S>() + part], sums[c]);
            head[c * parts::<S>() + part] = solved;
            for before in 0..c {
                sums[before] = simd.mul_add_e_f64s(simd.splat_f64s(rows[c][before]), solved, sums[before]);
            }
        }
    }
}

/// The sums of register `part` of all lanes, weighted by each column of `rows`. They run from the end, so
/// that groups taken from last to first are read in one direction.
#[inline(always)]
fn gathered<S: Simd, const C: usize>(
    simd: S,
    rows: &[[f64; C]],
    lanes: &[S::f64s],
    part: usize,
) -> [S::f64s; C] {
    let mut sums = [simd.splat_f64s(0.0); C];
    for (lane, row) in lanes.chunks_exact(parts::<S>()).zip(rows).rev() {
        for c in 0..C {
            sums[c] = simd.mul_add_e_f64s(simd.splat_f64s(row[c]), lane[part], sums[c]);
        }
    }
    sums
}

/// The weighted sum of the first `count` of `values`; it is two sums, so that one addition need
/// not wait for the other.
#[inline(always)]
fn weighted<S: Simd, const C: usize>(
    simd: S,
    weights: &[f64; C],
    values: &[S::f64s; C],
    count: usize,
) -> S::f64s {
    let mut sums = [simd.splat_f64s(0.0); 2];
    for c in 0..count {
        sums[c % 2] = simd.mul_add_e_f64s(simd.splat_f64s(weights[c]), values[c], sums[c % 2]);
    }
    simd.add_f64s(sums[0], sums[1])
}

/// Registers per block.
#[inline(always)]
const fn parts<S: Simd>() -> usize {
    const { assert!(BLOCK.is_multiple_of(size_of::<S::f64s>() / size_of::<f64>())) };
    BLOCK * size_of::<f64>() / size_of::<S::f64s>()
}

/// One group of a solution, forward or backward, by its number of columns.
#[inline(always)]
fn solve_group<S: Simd, const FORWARD: bool>(simd: S, group: &[f64], work: &mut [Lane]) {
    match group.len().checked_div(work.len()) {
        Some(6) => solve_columns::<S, 6, FORWARD>(simd, group, work),
        Some(5) => solve_columns::<S, 5, FORWARD>(simd, group, work),
        Some(4) => solve_columns::<S, 4, FORWARD>(simd, group, work),
        Some(3) => solve_columns::<S, 3, FORWARD>(simd, group, work),
        Some(2) => solve_columns::<S, 2, FORWARD>(simd, group, work),
        _ => solve_columns::<S, 1, FORWARD>(simd, group, work),
    }
}

#[inline(always)]
fn solve_columns<S: Simd, const C: usize, const FORWARD: bool>(simd: S, group: &[f64], work: &mut [Lane]) {
    if FORWARD { forward::<S, C>(simd, group, work) } else { backward::<S, C>(simd, group, work) }
}

#[inline(always)]
fn add(to: &mut Lane, factor: f64, lane: &Lane) {
    for (t, v) in to.iter_mut().zip(lane) {
        *t += factor * v;
    }
}

#[cfg(test)]
mod tests {
    use super::super::factor::Factorisation;
    use super::super::lattice::beams;
    use super::super::pair::MatrixPair;
    use super::super::symbolic::Symbolic;
    use super::super::vectors::Vectors;
    use std::sync::Arc;

    #[test]
    fn solution_has_no_residual() {
        let sample = beams(4, 3, 5, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        let factor = Factorisation::compute(&pair, &symbolic, 0.0).unwrap();
        let rhs = Vectors::from_fn(pair.dofs(), 7, |i, j| ((3 * i + 5 * j) as f64).sin());
        let x = factor.solve(&rhs).unwrap();
        assert!((sample.stiffness.times(&x).unwrap().as_faer() - rhs.as_faer()).norm_max() < 1e-9);
    }
}
