//! The sparse equations of a body: ordered once, factorised for given shear moduli.
//!
//! The node inside a triangle is connected only to that triangle, so it is eliminated there:
//!
//! ```text
//! k_bb - k_bi k_ib / k_ii          what is left of a triangle's matrix
//! r_b - k_bi r_i / k_ii            and of its load
//! x_i = (r_i / G - k_ib x_b) / k_ii
//! ```
//!
//! The triangles are bisected across their longer extent, and the halves again (nested dissection). From
//! the smallest groups up to the whole, the nodes shared with no triangle outside a group are eliminated
//! in a dense matrix, the front of the group. Nodes on mirror lines come last: fields of different
//! parity differ only in which of these nodes are fixed, and share the rest of the factorisation.
//!
//! # Source
//! - `george1973`: nested dissection

use super::dense::{backward, eliminate, forward};
use super::element::{Element, OUTER};
use super::fault::SectionFault;
use super::mirror::{Lines, Nodal, Parity};
use std::ops::Range;

/// Pairs of them.
const OUTER_PAIRS: usize = OUTER * (OUTER + 1) / 2;

/// A group with no more triangles than this is not bisected.
const FEW: usize = 6;

/// The elimination order.
pub(super) struct Equations {
    /// The mirror lines that each node lies on; nodes inside triangles are numbered after these.
    lines: Vec<Lines>,
    /// Each group comes after both of its halves.
    fronts: Vec<Front>,
}

/// The nodes of a group of triangles that are not eliminated within its halves.
struct Front {
    /// The nodes eliminated here, then the others.
    nodes: Vec<usize>,
    eliminated: usize,
    of: Addends,
}

/// What a front is assembled from.
enum Addends {
    /// The triangles of a smallest group, with the positions of their nodes in the front.
    Elements(Vec<(usize, [usize; OUTER])>),
    /// The positions in the front of the nodes that each half leaves.
    Halves([Vec<usize>; 2]),
}

/// A group of triangles as a range of their order; listed after its halves.
struct Group {
    stretch: Range<usize>,
    /// Index of the first half; the second half stands just before the group.
    first: Option<usize>,
}

/// Bisects the triangles in `order`, whose range begins at `from`, until few are left.
fn halve(order: &mut [usize], from: usize, centres: &[[f64; 2]], groups: &mut Vec<Group>) {
    let stretch = from..from + order.len();
    let mut first = None;
    if order.len() > FEW {
        let extent = |axis: usize| {
            let along = order.iter().map(|e| centres[*e][axis]);
            along.clone().fold(f64::NEG_INFINITY, f64::max) - along.fold(f64::INFINITY, f64::min)
        };
        let axis = usize::from(extent(1) > extent(0));
        let middle = order.len() / 2;
        order.select_nth_unstable_by(middle, |a, b| {
            centres[*a][axis].total_cmp(&centres[*b][axis]).then(a.cmp(b))
        });
        let (low, high) = order.split_at_mut(middle);
        halve(low, from, centres, groups);
        first = Some(groups.len() - 1);
        halve(high, from + middle, centres, groups);
    }
    groups.push(Group { stretch, first });
}

impl Equations {
    /// Orders the equations of elements. Every node that is not inside a triangle has an entry in
    /// `lines`.
    ///
    /// # Errors
    /// When there are no nodes.
    pub fn new(elements: &[Element], lines: Vec<Lines>) -> Result<Equations, SectionFault> {
        if lines.is_empty() {
            return Err(SectionFault::new("a part has no area left"));
        }
        let centres: Vec<[f64; 2]> = elements.iter().map(|element| element.shaped.middle()).collect();
        let mut order: Vec<usize> = (0..elements.len()).collect();
        let mut groups = Vec::new();
        halve(&mut order, 0, &centres, &mut groups);
        // First and last position in the order at which each node occurs; nodes to be kept until last
        // get a last position beyond the end.
        let mut met = vec![(usize::MAX, 0); lines.len()];
        for (place, element) in order.iter().enumerate() {
            for node in &elements[*element].nodes[..OUTER] {
                met[*node] = (met[*node].0.min(place), place);
            }
        }
        let is_last = |node: usize| lines[node] != Lines::NONE;
        let alone = (0..lines.len()).find(|node| is_last(*node)).is_none().then_some(0);
        (0..lines.len()).filter(|i| is_last(*i) || alone == Some(*i)).for_each(|i| met[i].1 = usize::MAX);

        let mut fronts: Vec<Front> = Vec::with_capacity(groups.len());
        let mut place = vec![usize::MAX; lines.len()];
        for group in &groups {
            let halves = group.first.map(|first| [first, fronts.len() - 1]);
            let within =
                |node: &usize| group.stretch.start <= met[*node].0 && met[*node].1 < group.stretch.end;
            let mut nodes: Vec<usize> = match halves {
                None => order[group.stretch.clone()]
                    .iter()
                    .flat_map(|e| elements[*e].nodes[..OUTER].iter().copied())
                    .collect(),
                Some(halves) => halves.iter().flat_map(|half| fronts[*half].left()).copied().collect(),
            };
            nodes.retain(|node| std::mem::replace(&mut place[*node], 0) == usize::MAX);
            let (mut own, others): (Vec<usize>, Vec<usize>) = nodes.into_iter().partition(within);
            let eliminated = own.len();
            own.extend(others);
            own.iter().enumerate().for_each(|(i, node)| place[*node] = i);
            let of = match halves {
                None => {
                    let placed = |e: &usize| (*e, std::array::from_fn(|i| place[elements[*e].nodes[i]]));
                    Addends::Elements(order[group.stretch.clone()].iter().map(placed).collect())
                }
                Some(halves) => Addends::Halves(
                    halves.map(|half| fronts[half].left().iter().map(|node| place[*node]).collect()),
                ),
            };
            own.iter().for_each(|node| place[*node] = usize::MAX);
            fronts.push(Front { nodes: own, eliminated, of });
        }
        Ok(Equations { lines, fronts })
    }

    /// The nodes left at the end: those on mirror lines, or a single node.
    fn last(&self) -> &[usize] {
        self.fronts.last().map_or(&[], Front::left)
    }

    /// Factorises with the shear modulus of each part of the body, for fields of these parities. For an
    /// even field one node is fixed.
    ///
    /// # Errors
    /// When the matrix is singular.
    pub fn factorised(
        &self,
        elements: &[Element],
        g: Vec<f64>,
        parities: &[Parity],
    ) -> Result<Factor, SectionFault> {
        let singular = || SectionFault::new("the section's shear cannot be solved: a part has no stiffness");
        let eliminated = self.fronts.iter().map(|front| front.nodes.len() * front.eliminated).sum();
        let mut columns = Vec::with_capacity(eliminated);
        let mut left: Vec<Vec<f64>> = Vec::new();
        let mut matrix = Vec::new();
        for front in &self.fronts {
            let (n, k) = (front.nodes.len(), front.eliminated);
            matrix.resize(n * n, 0.0);
            matrix.chunks_mut(n.max(1)).enumerate().for_each(|(j, column)| column[j..].fill(0.0));
            let mut add = |i: usize, j: usize, value: f64| matrix[i.min(j) * n + i.max(j)] += value;
            match &front.of {
                Addends::Elements(own) => {
                    for (element, places) in own {
                        let element = &elements[*element];
                        let g = g[element.part];
                        let (outer, inner) = element.shaped.stiffness.split_at(OUTER_PAIRS);
                        let mut pairs = outer.iter();
                        for (i, row) in places.iter().enumerate() {
                            let share = inner[i] / inner[OUTER];
                            for ((column, inner), outer) in places[..=i].iter().zip(inner).zip(&mut pairs) {
                                add(*row, *column, g * (outer - share * inner));
                            }
                        }
                    }
                }
                Addends::Halves(halves) => {
                    let kept = left.split_off(left.len() - 2);
                    for (places, kept) in halves.iter().zip(kept) {
                        for (j, (column, kept)) in places.iter().zip(kept.chunks(places.len())).enumerate() {
                            for (row, value) in places[j..].iter().zip(&kept[j..]) {
                                add(*row, *column, *value);
                            }
                        }
                    }
                }
            }
            eliminate(&mut matrix, n, k).ok_or_else(singular)?;
            columns.extend_from_slice(&matrix[..n * k]);
            let mut kept = Vec::with_capacity((n - k) * (n - k));
            matrix.chunks(n).skip(k).for_each(|column| kept.extend_from_slice(&column[k..]));
            left.push(kept);
        }
        let rest = left.pop().unwrap_or_default();
        let ends: Result<Vec<End>, SectionFault> =
            parities.iter().map(|parity| self.end(&rest, *parity).ok_or_else(singular)).collect();
        Ok(Factor { g, columns, ends: ends? })
    }

    /// The factor of the nodes left at the end, for fields of one parity.
    fn end(&self, rest: &[f64], parity: Parity) -> Option<End> {
        let last = self.last();
        let held = |i: &usize| match parity {
            Parity::EVEN => *i == 0,
            _ => parity.vanishes_on(self.lines[last[*i]]),
        };
        let free: Vec<usize> = (0..last.len()).filter(|i| !held(i)).collect();
        let pairs = free.iter().flat_map(|j| free.iter().map(move |i| (i.min(j), i.max(j))));
        let mut columns: Vec<f64> = pairs.map(|(j, i)| rest[j * last.len() + i]).collect();
        eliminate(&mut columns, free.len(), free.len())?;
        Some(End { parity, nodes: free.iter().map(|i| last[*i]).collect(), columns })
    }

    /// The field of each load, by node; zero for a load whose parity was not factorised.
    pub fn fields(&self, elements: &[Element], factor: &Factor, loads: &[Nodal]) -> Vec<Nodal> {
        let solved = |load: &Nodal| {
            let mut field = Nodal::zero(load.parity, load.values.len());
            if let Some(end) = factor.ends.iter().find(|end| end.parity == load.parity) {
                self.solve(elements, factor, end, &load.values, &mut field.values);
            }
            field
        };
        loads.iter().map(solved).collect()
    }

    fn solve(&self, elements: &[Element], factor: &Factor, end: &End, load: &[f64], field: &mut [f64]) {
        let outer = self.lines.len();
        field[..outer].copy_from_slice(&load[..outer]);
        for element in elements {
            let inner = element.inner();
            let share = load[element.nodes[OUTER]] / inner[OUTER];
            (0..OUTER).for_each(|i| field[element.nodes[i]] -= inner[i] * share);
        }
        let mut own = Vec::new();
        let mut from = 0;
        for front in &self.fronts {
            let to = from + front.nodes.len() * front.eliminated;
            take(field, &front.nodes, &mut own);
            forward(&factor.columns[from..to], &mut own);
            put(field, &front.nodes, &own);
            from = to;
        }
        take(field, &end.nodes, &mut own);
        forward(&end.columns, &mut own);
        backward(&end.columns, &mut own);
        self.last().iter().for_each(|node| field[*node] = 0.0);
        put(field, &end.nodes, &own);
        for front in self.fronts.iter().rev() {
            let to = from;
            from -= front.nodes.len() * front.eliminated;
            take(field, &front.nodes, &mut own);
            backward(&factor.columns[from..to], &mut own);
            put(field, &front.nodes[..front.eliminated], &own);
        }
        for element in elements {
            let (inner, node) = (element.inner(), element.nodes[OUTER]);
            let held: f64 = (0..OUTER).map(|i| inner[i] * field[element.nodes[i]]).sum();
            field[node] = (load[node] / factor.g[element.part] - held) / inner[OUTER];
        }
    }
}

impl Front {
    /// The nodes that are not eliminated.
    fn left(&self) -> &[usize] {
        &self.nodes[self.eliminated..]
    }
}

/// The factorised equations.
pub(super) struct Factor {
    /// The shear modulus of each part.
    pub g: Vec<f64>,
    /// Columns of the eliminated nodes, front by front, each a matrix `(nodes, eliminated)`.
    columns: Vec<f64>,
    ends: Vec<End>,
}

/// The factor of the last nodes that are not fixed in a field of this parity.
struct End {
    parity: Parity,
    nodes: Vec<usize>,
    columns: Vec<f64>,
}

fn take(field: &[f64], nodes: &[usize], own: &mut Vec<f64>) {
    own.clear();
    own.extend(nodes.iter().map(|node| field[*node]));
}

fn put(field: &mut [f64], nodes: &[usize], own: &[f64]) {
    nodes.iter().zip(own).for_each(|(node, x)| field[*node] = *x);
}
