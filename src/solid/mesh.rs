//! A grid of boxes: intervals along each axis with their polynomial orders, and what fills each cell.
//!
//! The basis in a cell is the product of the bases of its three intervals. The nodes of all cells lie on one
//! grid of lines, so that neighbouring cells agree on their common face whatever their orders across it. A node
//! exists where a cell that is not empty touches it.

use crate::polynomial::{gauss, lobatto};
use std::ops::RangeInclusive;

/// One interval along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Where it begins, m.
    pub from: f64,
    /// Its length, m.
    pub length: f64,
    /// The order of its polynomials, 1 or more.
    pub order: usize,
    /// The first of its grid lines; it has `order` + 1.
    pub first: usize,
}

/// One axis of the grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Its intervals, in order and without gaps.
    pub intervals: Vec<Interval>,
    /// Where its grid lines are, m, ascending.
    pub lines: Vec<f64>,
}

impl Axis {
    /// The axis with intervals between `breaks`, m, ascending, and their orders.
    pub fn new(breaks: &[f64], orders: &[usize]) -> Axis {
        let mut lines: Vec<f64> = breaks.first().copied().into_iter().collect();
        let mut intervals = Vec::new();
        for (ends, &order) in breaks.windows(2).zip(orders) {
            let (from, length) = (ends[0], ends[1] - ends[0]);
            intervals.push(Interval { from, length, order, first: lines.len() - 1 });
            lines.extend(lobatto(order)[1..order].iter().map(|x| from + length * x));
            lines.push(ends[1]);
        }
        Axis { intervals, lines }
    }
}

/// What a cell is filled with.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// One material all over, by its number.
    Full(usize),
    /// What each material fills of a cell that a surface cuts.
    Cut(Vec<Filling>),
}

/// What one material fills of a cell that a surface cuts: weights at Gauss points, which integrate products of the
/// cell's basis over it. Single weights can be negative; only their sums mean something.
#[derive(Debug, Clone, PartialEq)]
pub struct Filling {
    /// The material, by number.
    pub material: usize,
    /// By axis: where the points are in the cell, 0 to 1.
    pub places: [Vec<f64>; 3],
    /// The weights, m³, z running fastest, then y.
    pub weights: Vec<f64>,
    /// The same for what is empty of the cell beside it.
    pub empty: Vec<f64>,
}

impl Filling {
    /// With weights of what is filled and of what is empty at the Gauss points that are enough for products of
    /// polynomials of `orders`, 2 p + 1 an axis.
    pub fn new(material: usize, orders: [usize; 3], [weights, empty]: [Vec<f64>; 2]) -> Filling {
        let places = orders.map(|order| gauss(2 * order + 1).into_iter().map(|(x, _)| x).collect());
        Filling { material, places, weights, empty }
    }

    /// What is filled, m³.
    pub fn volume(&self) -> f64 {
        self.weights.iter().sum()
    }

    /// The centre of what is filled, 0 to 1 along each axis of the cell.
    pub fn centre(&self) -> [f64; 3] {
        let [_, ny, nz] = [0, 1, 2].map(|axis| self.places[axis].len());
        let mut sums = [0.0; 3];
        for (i, weight) in self.weights.iter().enumerate() {
            let at = [i / (ny * nz), i / nz % ny, i % nz];
            (0..3).for_each(|axis| sums[axis] += weight * self.places[axis][at[axis]]);
        }
        sums.map(|sum| sum / self.volume())
    }
}

/// A cell that is not empty.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Its interval along each axis.
    pub at: [usize; 3],
    /// What it is filled with.
    pub content: Content,
}

/// The cells of a body with numbered nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Mesh {
    /// The axes.
    pub axes: [Axis; 3],
    /// The cells that are not empty.
    pub cells: Vec<Cell>,
    /// By place on the grid of lines: the number of the node, `NONE` where there is none.
    numbers: Vec<u32>,
    /// By node: its grid line along each axis.
    places: Vec<[usize; 3]>,
}

/// Marks a place of the grid without a node.
const NONE: u32 = u32::MAX;

impl Mesh {
    /// Numbers the nodes of `cells` on the grid of `axes`.
    pub fn new(axes: [Axis; 3], cells: Vec<Cell>) -> Mesh {
        let sizes = [0, 1, 2].map(|axis| axes[axis].lines.len());
        let mut mesh = Mesh { axes, cells, numbers: vec![NONE; sizes.iter().product()], places: Vec::new() };
        for number in 0..mesh.cells.len() {
            let [x, y, z] = mesh.ranges(&mesh.cells[number]);
            for i in x {
                for j in y.clone() {
                    for k in z.clone() {
                        mesh.numbers[(i * sizes[1] + j) * sizes[2] + k] = 0;
                    }
                }
            }
        }
        for i in 0..sizes[0] {
            for j in 0..sizes[1] {
                for k in 0..sizes[2] {
                    let number = &mut mesh.numbers[(i * sizes[1] + j) * sizes[2] + k];
                    if *number != NONE {
                        *number = mesh.places.len() as u32;
                        mesh.places.push([i, j, k]);
                    }
                }
            }
        }
        mesh
    }

    /// Number of pieces that share no node.
    pub fn pieces(&self) -> usize {
        let mut piece: Vec<usize> = (0..self.nodes()).collect();
        fn root(piece: &mut [usize], mut node: usize) -> usize {
            while piece[node] != node {
                piece[node] = piece[piece[node]];
                node = piece[node];
            }
            node
        }
        for cell in &self.cells {
            let nodes = self.nodes_of(cell);
            let first = root(&mut piece, nodes[0]);
            for node in nodes {
                let other = root(&mut piece, node);
                piece[other] = first;
            }
        }
        (0..self.nodes()).filter(|node| root(&mut piece, *node) == *node).count()
    }

    /// Number of nodes.
    pub fn nodes(&self) -> usize {
        self.places.len()
    }

    /// Where a node is, m.
    pub fn position(&self, node: usize) -> [f64; 3] {
        let place = self.places[node];
        [0, 1, 2].map(|axis| self.axes[axis].lines[place[axis]])
    }

    /// The node at a place on the grid of lines.
    pub fn node(&self, place: [usize; 3]) -> Option<usize> {
        let [_, y, z] = [0, 1, 2].map(|axis| self.axes[axis].lines.len());
        let number = *self.numbers.get((place[0] * y + place[1]) * z + place[2])?;
        (number != NONE).then_some(number as usize)
    }

    /// The intervals of a cell.
    pub fn intervals(&self, cell: &Cell) -> [Interval; 3] {
        [0, 1, 2].map(|axis| self.axes[axis].intervals[cell.at[axis]])
    }

    /// Where the low corner of a cell is, and its sizes, m.
    pub fn extent(&self, cell: &Cell) -> ([f64; 3], [f64; 3]) {
        let intervals = self.intervals(cell);
        (intervals.map(|i| i.from), intervals.map(|i| i.length))
    }

    /// Volume of each of `count` materials in a cell, m³.
    pub fn volumes(&self, cell: &Cell, count: usize) -> Vec<f64> {
        let mut volumes = vec![0.0; count];
        match &cell.content {
            Content::Full(material) => volumes[*material] = self.extent(cell).1.iter().product(),
            Content::Cut(fillings) => {
                fillings.iter().for_each(|filling| volumes[filling.material] += filling.volume())
            }
        }
        volumes
    }

    fn ranges(&self, cell: &Cell) -> [RangeInclusive<usize>; 3] {
        self.intervals(cell).map(|interval| interval.first..=interval.first + interval.order)
    }

    /// The nodes of a cell, those along z in a row, then y, then x.
    pub fn nodes_of(&self, cell: &Cell) -> Vec<usize> {
        let [x, y, z] = self.ranges(cell);
        let [_, ny, nz] = [0, 1, 2].map(|axis| self.axes[axis].lines.len());
        let mut nodes = Vec::with_capacity(x.clone().count() * y.clone().count() * z.clone().count());
        for i in x {
            for j in y.clone() {
                nodes.extend(z.clone().map(|k| self.numbers[(i * ny + j) * nz + k] as usize));
            }
        }
        nodes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_cell_leaves_out_only_nodes_of_its_own() {
        let axis = || Axis::new(&[0.0, 1.0, 3.0], &[2, 1]);
        let mut cells = Vec::new();
        for i in 0..2 {
            for j in 0..2 {
                for k in 0..2 {
                    if [i, j, k] != [0, 0, 0] {
                        cells.push(Cell { at: [i, j, k], content: Content::Full(0) });
                    }
                }
            }
        }
        let mesh = Mesh::new([axis(), axis(), axis()], cells);
        // Four lines an axis; of the empty cell of order 2 the eight nodes off its neighbours are missing.
        assert_eq!(mesh.nodes(), 64 - 8);
        assert_eq!(mesh.node([1, 1, 1]), None);
        let corner = mesh.node([3, 3, 3]).unwrap();
        assert_eq!(mesh.position(corner), [3.0, 3.0, 3.0]);
        assert_eq!(mesh.nodes_of(&mesh.cells[6]).len(), 8);
    }
}
