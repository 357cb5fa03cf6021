//! Nested dissection of a graph by distances.
//!
//! All points at one distance from a far point separate the nearer points from the farther ones. So do all
//! points with one sum, or one difference, of the distances from two far points. Of all such sets that do
//! not cut a part of the graph too unevenly, the smallest is its separator. In a lattice of beams these
//! include the planes across edges and corners besides those along faces, and the factor takes half the
//! work of one that is cut only along faces. Where points have many neighbours, few steps lead everywhere
//! and distances say little.
//!
//! # Source
//! - `george1973`: nested dissection
//! - `george1978`: separators from points at one distance

use super::pattern::{Columns, Pattern};
use std::cmp::Reverse;

/// Far points from which distances are measured.
const LANDMARKS: usize = 5;

/// Parts of at most this many points are not divided.
const FEW: usize = 3;

/// Largest share of a part that may lie on one side of its separator, if there is a choice.
const MOST: f64 = 0.8;

/// Sum of the sizes of all parts, relative to the graph, at which dissection is given up.
const PATIENCE: usize = 64;

/// An elimination order, and how far the graph reaches.
pub(super) struct Dissected {
    /// New position to old point.
    pub order: Vec<usize>,
    /// Largest distance found in the graph, in edges.
    pub reach: i32,
}

/// The points of `graph` with each separator after the parts that it separates; `None` when separators keep
/// cutting off too little.
pub(super) fn by_distances(graph: &Pattern) -> Option<Dissected> {
    let n = graph.len();
    let mut order = vec![0; n];
    let mut seats = vec![Seat::default(); n];
    let (mut labels, mut handled, mut reach) = (0, 0, 0);
    let mut open = vec![((0..n).collect::<Vec<usize>>(), n)];
    while let Some((points, mut end)) = open.pop() {
        handled += points.len();
        if handled > PATIENCE * n || i32::try_from(n).is_err() {
            return None;
        }
        labels += 1;
        let part = Part::new(graph, &points, labels, &mut seats);
        let Cut { sides, separator } = part.cut(&mut reach);
        let old = |list: Vec<usize>| list.into_iter().map(|i| points[i]).collect::<Vec<usize>>();
        let separator = old(separator);
        order[end - separator.len()..end].copy_from_slice(&separator);
        end -= separator.len();
        for side in sides {
            let length = side.len();
            open.push((old(side), end));
            end -= length;
        }
    }
    Some(Dissected { order, reach })
}

/// The part in which a point lies, and its number there.
#[derive(Clone, Copy, Default)]
struct Seat {
    label: usize,
    number: usize,
}

/// A part of the graph, with its points renumbered.
struct Part {
    starts: Vec<usize>,
    neighbours: Vec<usize>,
}

/// A separator, which may be the whole part, and the sides that it leaves.
struct Cut {
    sides: Vec<Vec<usize>>,
    separator: Vec<usize>,
}

/// A separator to choose from: points at one level of a function of distances.
#[derive(Clone, Copy)]
struct Candidate {
    score: f64,
    /// The two landmarks, and the sign of the second one's distance; 0 uses the first one alone.
    function: (usize, usize, i32),
    /// The level: it splits the points below it from all others.
    level: i32,
    /// True when the separator is made of the other points next to those below, false for the
    /// points below themselves.
    above: bool,
}

impl Part {
    fn new(graph: &Pattern, points: &[usize], label: usize, seats: &mut [Seat]) -> Part {
        for (number, &point) in points.iter().enumerate() {
            seats[point] = Seat { label, number };
        }
        let mut part = Part { starts: Vec::with_capacity(points.len() + 1), neighbours: Vec::new() };
        part.starts.push(0);
        for &point in points {
            let others = graph.column(point).iter().filter(|&&other| other != point).map(|&i| seats[i]);
            part.neighbours.extend(others.filter(|seat| seat.label == label).map(|seat| seat.number));
            part.starts.push(part.neighbours.len());
        }
        part
    }

    fn len(&self) -> usize {
        self.starts.len() - 1
    }

    fn of(&self, point: usize) -> &[usize] {
        &self.neighbours[self.starts[point]..self.starts[point + 1]]
    }

    /// Separates the part; `reach` grows to its largest distance.
    fn cut(&self, reach: &mut i32) -> Cut {
        let whole = || Cut { sides: Vec::new(), separator: (0..self.len()).collect() };
        if self.len() <= FEW {
            return whole();
        }
        let first = self.distances(0);
        if first.contains(&-1) {
            return Cut { sides: self.pieces(), separator: Vec::new() };
        }
        let distances = self.landmarks(self.farthest(&first));
        *reach = distances.iter().flatten().fold(*reach, |reach, d| reach.max(*d));
        match self.best(&distances) {
            Some(best) => self.divided(&best, &distances),
            None => whole(),
        }
    }

    /// Distances from a point, in edges; -1 where no path leads.
    fn distances(&self, from: usize) -> Vec<i32> {
        let mut distances = vec![-1; self.len()];
        self.spread(from, &mut distances);
        distances
    }

    fn spread(&self, from: usize, distances: &mut [i32]) -> Vec<usize> {
        distances[from] = 0;
        let mut reached = vec![from];
        let mut next = 0;
        while let Some(&point) = reached.get(next) {
            next += 1;
            for &other in self.of(point) {
                if distances[other] < 0 {
                    distances[other] = distances[point] + 1;
                    reached.push(other);
                }
            }
        }
        reached
    }

    /// The pieces of a part that is not connected.
    fn pieces(&self) -> Vec<Vec<usize>> {
        let mut distances = vec![-1; self.len()];
        let mut pieces = Vec::new();
        for point in 0..self.len() {
            if distances[point] < 0 {
                pieces.push(self.spread(point, &mut distances));
            }
        }
        pieces
    }

    /// The point of the largest value; of equal ones the point with the fewest neighbours, at a corner.
    fn farthest(&self, values: &[i32]) -> usize {
        (0..self.len()).max_by_key(|&i| (values[i], Reverse(self.of(i).len()))).unwrap_or(0)
    }

    /// Distances from points far from each other, of which the first is given.
    fn landmarks(&self, first: usize) -> Vec<Vec<i32>> {
        let mut found = vec![self.distances(first)];
        let mut nearest = found[0].clone();
        let mut next = self.farthest(&nearest);
        while found.len() < LANDMARKS && nearest[next] > 0 {
            let distances = self.distances(next);
            nearest.iter_mut().zip(&distances).for_each(|(nearest, d)| *nearest = (*nearest).min(*d));
            found.push(distances);
            // The point farthest from all of them may be the middle of a side; the point farthest
            // from there is a corner.
            let lonely = self.farthest(&nearest);
            let corner = self.farthest(&self.distances(lonely));
            next = if nearest[corner] > 0 { corner } else { lonely };
        }
        found
    }

    /// The best separator among the level sets of all functions of the distances.
    fn best(&self, distances: &[Vec<i32>]) -> Option<Candidate> {
        let mut best: Option<Candidate> = None;
        for first in 0..distances.len() {
            let pairs =
                (first + 1..distances.len()).flat_map(|second| [(first, second, 1), (first, second, -1)]);
            for function in std::iter::once((first, first, 0)).chain(pairs) {
                self.best_level(&values(function, distances), function, &mut best);
            }
        }
        best
    }

    /// Tries every level of one function, in one pass over the edges.
    fn best_level(&self, values: &[i32], function: (usize, usize, i32), best: &mut Option<Candidate>) {
        let lowest = values.iter().copied().fold(i32::MAX, i32::min);
        let place = |value: i32| usize::try_from(value - lowest).unwrap_or(0);
        let levels = values.iter().map(|value| place(*value)).fold(0, usize::max) + 2;
        // By level: the points at it, and how many points below it (or not below it) with neighbours on its
        // other side are added or dropped there.
        let (mut count, mut below, mut above) = (vec![0; levels], vec![0; levels], vec![0; levels]);
        for (i, &value) in values.iter().enumerate() {
            let around = self.of(i).iter().map(|&other| values[other]);
            let (least, most) = around.fold((value, value), |(a, b), v| (a.min(v), b.max(v)));
            count[place(value)] += 1;
            below[place(value) + 1] += 1;
            below[place(most) + 1] -= 1;
            above[place(least) + 1] += 1;
            above[place(value) + 1] -= 1;
        }
        let n = self.len() as i32;
        let (mut lower, mut touching_below, mut touching_above) = (0, 0, 0);
        for level in 0..levels {
            touching_below += below[level];
            touching_above += above[level];
            let sides = [
                (touching_below, lower - touching_below, n - lower, false),
                (touching_above, lower, n - lower - touching_above, true),
            ];
            for (size, low, high, above) in sides.into_iter().filter(|(_, low, high, _)| low.min(high) > &0) {
                let share = f64::from(low.max(high)) / f64::from(low + high);
                let uneven = if share > MOST { f64::from(n) * share } else { 0.0 };
                let score = f64::from(size) * (0.25 + 1.5 * share) + uneven;
                if best.is_none_or(|best| score < best.score) {
                    *best = Some(Candidate { score, function, level: lowest + level as i32, above });
                }
            }
            lower += count[level];
        }
    }

    fn divided(&self, chosen: &Candidate, distances: &[Vec<i32>]) -> Cut {
        let values = values(chosen.function, distances);
        let is_below = |i: usize| values[i] < chosen.level;
        let (mut low, mut high, mut separator) = (Vec::new(), Vec::new(), Vec::new());
        for i in 0..self.len() {
            let touches = self.of(i).iter().any(|&other| is_below(other) != is_below(i));
            match is_below(i) {
                own if touches && own != chosen.above => separator.push(i),
                true => low.push(i),
                false => high.push(i),
            }
        }
        Cut { sides: vec![low, high], separator }
    }
}

fn values((first, second, sign): (usize, usize, i32), distances: &[Vec<i32>]) -> Vec<i32> {
    distances[first].iter().zip(&distances[second]).map(|(a, b)| a + sign * b).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A box of points, each joined to its neighbours along the axes.
    fn lattice(sides: [usize; 3]) -> Pattern {
        let [nx, ny, nz] = sides;
        let mut graph = Pattern { starts: vec![0], rows: Vec::new() };
        for i in 0..nx * ny * nz {
            let at = |i: usize| [i % nx, i / nx % ny, i / (nx * ny)];
            let apart = |j: &usize| (0..3).map(|k| at(i)[k].abs_diff(at(*j)[k])).sum::<usize>();
            graph.rows.extend((0..nx * ny * nz).filter(|j| apart(j) <= 1));
            graph.starts.push(graph.rows.len());
        }
        graph
    }

    fn is_permutation(order: &[usize]) -> bool {
        let mut sorted = order.to_vec();
        sorted.sort_unstable();
        sorted.into_iter().eq(0..order.len())
    }

    #[test]
    fn a_cube_is_cut_across_its_corners() {
        let found = by_distances(&lattice([7, 7, 7])).unwrap();
        assert!(is_permutation(&found.order));
        assert_eq!(found.reach, 18);
        // The middle plane across two corners, where the three coordinates sum to 9, has 37 points; the
        // middle plane along faces has 49.
        let sum = |i: usize| i % 7 + i / 7 % 7 + i / 49;
        let mut last = found.order[343 - 37..].to_vec();
        last.sort_unstable();
        let across =
            |signed: &dyn Fn(usize) -> usize| (0..343).filter(|&i| signed(i) == 9).collect::<Vec<_>>();
        let planes = [
            across(&sum),
            across(&|i| 6 - i % 7 + i / 7 % 7 + i / 49),
            across(&|i| i % 7 + 6 - i / 7 % 7 + i / 49),
            across(&|i| i % 7 + i / 7 % 7 + 6 - i / 49),
        ];
        assert!(planes.contains(&last), "{last:?}");
    }

    #[test]
    fn odd_graphs_are_ordered() {
        let graph = |columns: &[&[usize]]| {
            let mut graph = Pattern { starts: vec![0], rows: Vec::new() };
            for column in columns {
                graph.rows.extend_from_slice(column);
                graph.starts.push(graph.rows.len());
            }
            graph
        };
        let loose: Vec<&[usize]> = vec![&[]; 9];
        let pairs: Vec<Vec<usize>> = (0..10).map(|i| vec![i ^ 1]).collect();
        let pairs: Vec<&[usize]> = pairs.iter().map(Vec::as_slice).collect();
        let everyone: Vec<usize> = (0..8).collect();
        let complete = vec![everyone.as_slice(); 8];
        let hub: Vec<usize> = (1..30).collect();
        let mut star: Vec<&[usize]> = vec![&[0]; 30];
        star[0] = &hub;
        for columns in [vec![], loose, pairs, complete, star] {
            let found = by_distances(&graph(&columns)).unwrap();
            assert_eq!(found.order.len(), columns.len());
            assert!(is_permutation(&found.order), "{:?}", found.order);
        }
    }
}
