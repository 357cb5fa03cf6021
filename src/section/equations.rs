//! The sparse equations of a body: ordered once, factorised for given shear moduli.
//!
//! Nodes inside a triangle meet only its own, so they are eliminated there. Of the rest, the two
//! nodes on a side always stand together, so that sides and corners are what is ordered.
//!
//! ```text
//! k_bb - k_bi k_ib / k_ii          what is left of a triangle's matrix
//! r_b - k_bi r_i / k_ii            and of its load
//! x_i = (r_i / G - k_ib x_b) / k_ii
//! ```
//!
//! One order and pattern serve the fields of every parity; they differ in the nodes on lines of
//! mirrors that are held.

use super::element::{NODES, PAIRS};
use super::fault::SectionFault;
use super::mirror::{Lines, Nodal, Parity};
use super::warping::Element;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::perm::PermRef;
use faer::sparse::linalg::amd;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par, Side};

/// Nodes of a triangle on its border.
pub(super) const OUTER: usize = NODES - 1;

/// Pairs of them.
const OUTER_PAIRS: usize = OUTER * (OUTER + 1) / 2;

/// The corners and sides of a triangle.
const JOINTS: usize = 6;

/// The corner or side that each node on the border of a triangle belongs to.
const JOINT_OF: [usize; OUTER] = [0, 1, 2, 3, 3, 4, 4, 5, 5];

/// The pattern of the equations and how they are factorised.
pub(super) struct Equations {
    /// For nodes that are not inside a triangle, the mirrors they lie on; the others come after them.
    lines: Vec<Lines>,
    pattern: SymbolicSparseColMat<usize>,
    symbolic: SymbolicCholesky<usize>,
    /// By element, the places of its lower triangle among the values.
    slots: Vec<[usize; OUTER_PAIRS]>,
}

/// Corners and sides, each with its one or two nodes, and which of them meet in a triangle.
struct Joints {
    /// The first node of each, then the number of nodes.
    starts: Vec<usize>,
    /// By element, its corners and sides.
    of: Vec<[usize; JOINTS]>,
    /// For each, where its list in `beyond` begins.
    lists: Vec<usize>,
    /// Those of a higher number that each meets, rising.
    beyond: Vec<usize>,
}

impl Joints {
    fn new(elements: &[Element], outer: usize) -> Joints {
        let mut is_start = vec![false; outer];
        for element in elements {
            (0..3).for_each(|i| is_start[element.nodes[i]] = true);
            [3, 5, 7].iter().for_each(|i| is_start[element.nodes[*i].min(element.nodes[i + 1])] = true);
        }
        let mut starts = Vec::new();
        let mut joint = vec![0; outer];
        for node in 0..outer {
            if is_start[node] {
                starts.push(node);
            }
            joint[node] = starts.len().saturating_sub(1);
        }
        let count = starts.len();
        starts.push(outer);
        let of: Vec<[usize; JOINTS]> =
            elements.iter().map(|e| [0, 1, 2, 3, 5, 7].map(|i| joint[e.nodes[i]])).collect();
        let mut met: Vec<u64> = Vec::with_capacity(15 * elements.len());
        for of in &of {
            for (i, a) in of.iter().enumerate() {
                met.extend(of[..i].iter().map(|b| ((*a.min(b) as u64) << 32) | *a.max(b) as u64));
            }
        }
        met.sort_unstable();
        met.dedup();
        let mut lists = vec![0; count + 1];
        met.iter().for_each(|pair| lists[(pair >> 32) as usize + 1] += 1);
        (0..count).for_each(|i| lists[i + 1] += lists[i]);
        let beyond = met.iter().map(|pair| (pair & 0xffff_ffff) as usize).collect();
        Joints { starts, of, lists, beyond }
    }

    fn size(&self, joint: usize) -> usize {
        self.starts[joint + 1] - self.starts[joint]
    }

    /// The order in which nodes are eliminated, and its inverse.
    fn order(&self) -> Result<(Vec<usize>, Vec<usize>), SectionFault> {
        let count = self.lists.len() - 1;
        let pattern = SymbolicSparseColMatRef::new_checked(count, count, &self.lists, None, &self.beyond);
        let (mut order, mut place) = (vec![0; count], vec![0; count]);
        let scratch = amd::order_maybe_unsorted_scratch::<usize>(count, self.beyond.len());
        let mut memory = MemBuffer::try_new(scratch).map_err(refused)?;
        let stack = MemStack::new(&mut memory);
        amd::order_maybe_unsorted(&mut order, &mut place, pattern, Default::default(), stack)
            .map_err(refused)?;
        let nodes: Vec<usize> = order.iter().flat_map(|j| self.starts[*j]..self.starts[*j + 1]).collect();
        let mut back = vec![0; nodes.len()];
        nodes.iter().enumerate().for_each(|(new, old)| back[*old] = new);
        Ok((nodes, back))
    }

    /// The pattern of the lower triangle by nodes, and the elements' places in it.
    fn pattern(&self, elements: &[Element]) -> (SymbolicSparseColMat<usize>, Vec<[usize; OUTER_PAIRS]>) {
        let n = self.starts[self.lists.len() - 1];
        let (mut columns, mut rows) = (Vec::with_capacity(n + 1), Vec::new());
        // Where the nodes of each one met stand below those of the joint itself.
        let mut below = vec![0; self.beyond.len()];
        for joint in 0..self.lists.len() - 1 {
            let list = self.lists[joint]..self.lists[joint + 1];
            let mut sum = 0;
            for k in list.clone() {
                below[k] = sum;
                sum += self.size(self.beyond[k]);
            }
            for node in self.starts[joint]..self.starts[joint + 1] {
                columns.push(rows.len());
                rows.extend(node..self.starts[joint + 1]);
                rows.extend(
                    self.beyond[list.clone()].iter().flat_map(|j| self.starts[*j]..self.starts[*j + 1]),
                );
            }
        }
        columns.push(rows.len());
        let slots = elements.iter().zip(&self.of).map(|(element, of)| {
            let mut slots = [0; OUTER_PAIRS];
            let mut from = [[0; JOINTS]; JOINTS];
            for (i, a) in of.iter().enumerate() {
                for (j, b) in of.iter().enumerate().filter(|(_, b)| *b > a) {
                    let list = &self.beyond[self.lists[*a]..self.lists[a + 1]];
                    from[i][j] = below[self.lists[*a] + list.partition_point(|met| met < b)];
                }
            }
            let mut slot = 0;
            for i in 0..OUTER {
                for j in 0..=i {
                    let (low, high) = if element.nodes[i] < element.nodes[j] { (i, j) } else { (j, i) };
                    let (column, row) = (element.nodes[low], element.nodes[high]);
                    let (a, b) = (JOINT_OF[low], JOINT_OF[high]);
                    slots[slot] = columns[column]
                        + if a == b {
                            row - column
                        } else {
                            self.starts[of[a] + 1] - column + from[a][b] + row - self.starts[of[b]]
                        };
                    slot += 1;
                }
            }
            slots
        });
        let slots = slots.collect();
        (SymbolicSparseColMat::new_checked(n, n, columns, None, rows), slots)
    }
}

fn refused<E: std::fmt::Debug>(error: E) -> SectionFault {
    SectionFault::new(format!("the section's equations cannot be ordered: {error:?}"))
}

impl Equations {
    /// Orders the equations of elements whose first nodes lie on borders of triangles and these
    /// lines of mirrors.
    ///
    /// # Errors
    /// When there are none, or memory is short.
    pub fn new(elements: &[Element], lines: Vec<Lines>) -> Result<Equations, SectionFault> {
        let outer = lines.len();
        if outer == 0 {
            return Err(SectionFault::new("a part has no area left"));
        }
        let joints = Joints::new(elements, outer);
        let (order, back) = joints.order()?;
        let (pattern, slots) = joints.pattern(elements);
        let symbolic = factorize_symbolic_cholesky(
            pattern.as_ref(),
            Side::Lower,
            SymmetricOrdering::Custom(PermRef::new_checked(&order, &back, outer)),
            CholeskySymbolicParams::default(),
        )
        .map_err(refused)?;
        Ok(Equations { lines, pattern, symbolic, slots })
    }

    /// Factorises with the shear modulus of each of the body's parts, for fields of these parities.
    /// Where one keeps its sign under every mirror, one node is held.
    ///
    /// # Errors
    /// When they are singular.
    pub fn factorised(
        &self,
        elements: &[Element],
        g: Vec<f64>,
        parities: &[Parity],
    ) -> Result<Factor, SectionFault> {
        let mut values = vec![0.0; self.pattern.row_idx().len()];
        for (element, slots) in elements.iter().zip(&self.slots) {
            let g = g[element.part];
            let (outer, inner) = element.shaped.stiffness.split_at(OUTER_PAIRS);
            let mut slot = 0;
            for i in 0..OUTER {
                let share = inner[i] / inner[OUTER];
                for j in 0..=i {
                    values[slots[slot]] += g * (outer[slot] - share * inner[j]);
                    slot += 1;
                }
            }
        }
        let by_parity: Result<Vec<_>, SectionFault> =
            parities.iter().map(|parity| Ok((*parity, self.cholesky(&values, *parity)?))).collect();
        Ok(Factor { g, by_parity: by_parity? })
    }

    /// The triangular factor for fields of one parity.
    fn cholesky(&self, values: &[f64], parity: Parity) -> Result<Vec<f64>, SectionFault> {
        let singular = || SectionFault::new("the section's shear cannot be solved: a part has no stiffness");
        let mut values = values.to_vec();
        if parity == Parity::EVEN {
            values.iter_mut().take(1).for_each(|first| *first *= 2.0);
        } else {
            for (column, lines) in self.lines.iter().enumerate() {
                let rows = self.pattern.col_range(column);
                for (row, value) in self.pattern.row_idx()[rows.clone()].iter().zip(&mut values[rows]) {
                    if *row != column && parity.vanishes_on(lines.or(self.lines[*row])) {
                        *value = 0.0;
                    }
                }
            }
        }
        let mut factor = vec![0.0; self.symbolic.len_val()];
        let scratch = self.symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| singular())?;
        self.symbolic
            .factorize_numeric_llt(
                &mut factor,
                SparseColMatRef::new(self.pattern.as_ref(), &values),
                Side::Lower,
                Default::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                Default::default(),
            )
            .map_err(|_| singular())?;
        Ok(factor)
    }

    /// The field of each load, by node; nothing for a load of a parity that was not factorised.
    pub fn fields(&self, elements: &[Element], factor: &Factor, loads: &[Nodal]) -> Vec<Nodal> {
        let mut fields: Vec<Nodal> =
            loads.iter().map(|load| Nodal::zero(load.parity, load.values.len())).collect();
        for (parity, values) in &factor.by_parity {
            let (own, loads): (Vec<&mut Nodal>, Vec<&Nodal>) =
                fields.iter_mut().zip(loads).filter(|(_, load)| load.parity == *parity).unzip();
            let solved = self.condensed(elements, values, *parity, &loads);
            for ((field, load), column) in own.into_iter().zip(loads).zip(solved.chunks(self.lines.len())) {
                field.values[..column.len()].copy_from_slice(column);
                for element in elements {
                    let (inner, node) = (element.inner(), element.nodes[OUTER]);
                    let held: f64 = (0..OUTER).map(|i| inner[i] * column[element.nodes[i]]).sum();
                    field.values[node] = (load.values[node] / factor.g[element.part] - held) / inner[OUTER];
                }
            }
        }
        fields
    }

    /// The fields of loads of one parity on the nodes that are not inside a triangle, one after the
    /// other.
    fn condensed(&self, elements: &[Element], factor: &[f64], parity: Parity, loads: &[&Nodal]) -> Vec<f64> {
        let outer = self.lines.len();
        let mut block = Vec::with_capacity(outer * loads.len());
        for load in loads {
            let from = block.len();
            block.extend_from_slice(&load.values[..outer]);
            let own = &mut block[from..];
            for element in elements {
                let inner = element.inner();
                let share = load.values[element.nodes[OUTER]] / inner[OUTER];
                (0..OUTER).for_each(|i| own[element.nodes[i]] -= inner[i] * share);
            }
            let held = self.lines.iter().zip(own).filter(|(lines, _)| parity.vanishes_on(**lines));
            held.for_each(|(_, load)| *load = 0.0);
        }
        let mut memory = MemBuffer::new(self.symbolic.solve_in_place_scratch::<f64>(loads.len(), Par::Seq));
        LltRef::new(&self.symbolic, factor).solve_in_place_with_conj(
            Conj::No,
            MatMut::from_column_major_slice_mut(&mut block, outer, loads.len()),
            Par::Seq,
            MemStack::new(&mut memory),
        );
        block
    }
}

/// The equations factorised.
pub(super) struct Factor {
    /// The shear modulus of each part.
    pub g: Vec<f64>,
    by_parity: Vec<(Parity, Vec<f64>)>,
}

impl Element {
    /// How the node inside holds the others and itself.
    fn inner(&self) -> &[f64] {
        &self.shaped.stiffness[PAIRS - NODES..]
    }
}
