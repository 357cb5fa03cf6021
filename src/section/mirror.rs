//! Mirror symmetry: one half or quarter of a section stands for the whole.
//!
//! A section may be mapped onto itself by the mirror that takes y to -y, by the one that takes z to -z,
//! or by both. Every function that is solved for or integrated then keeps (+) or changes (-) its sign:
//!
//! ```text
//!               1   y   z   omega  w_y  w_z  d/dy  d/dz
//! y to -y       +   -   +     -     +    -    -     +
//! z to -z       +   +   -     -     -    +    +     -
//! ```
//!
//! The sign of a product is the product of the signs. A function that changes sign integrates to zero
//! over the whole; one that keeps its sign to the integral over one piece times the number of pieces. A
//! field that changes sign under a mirror vanishes on the mirror line; one that keeps it has no traction
//! across the line.

use super::area::Moments;
use super::outline::{Drawing, Polygon, bounds, sides};
use super::point::{Point, distance};
use std::collections::BTreeSet;

/// Under which of the two mirrors a function changes its sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Parity(u8);

impl Parity {
    /// Under neither.
    pub const EVEN: Parity = Parity(0);
    /// The parities of y and of z.
    pub const OF: [Parity; 2] = [Parity(1), Parity(2)];
    /// Under both.
    pub const BOTH: Parity = Parity(3);

    /// Parity of the product of two functions.
    pub fn times(self, other: Parity) -> Parity {
        Parity(self.0 ^ other.0)
    }

    /// True when a function of this parity vanishes on one of these lines.
    pub fn vanishes_on(self, lines: Lines) -> bool {
        self.0 & lines.0 != 0
    }
}

/// A set of mirror lines, such as those a point lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Lines(u8);

impl Lines {
    /// The empty set.
    pub const NONE: Lines = Lines(0);

    /// Union.
    pub fn or(self, other: Lines) -> Lines {
        Lines(self.0 | other.0)
    }

    /// Intersection.
    pub fn and(self, other: Lines) -> Lines {
        Lines(self.0 & other.0)
    }

    /// Number of pieces of the whole that meet at a point on these lines.
    pub fn pieces(self) -> f64 {
        f64::from(1u8 << self.0.count_ones())
    }
}

/// Nodal values of a field or a load.
#[derive(Debug, Clone)]
pub(super) struct Nodal {
    /// Its parity under the mirrors of its body.
    pub parity: Parity,
    pub values: Vec<f64>,
}

impl Nodal {
    pub fn zero(parity: Parity, nodes: usize) -> Nodal {
        Nodal { parity, values: vec![0.0; nodes] }
    }

    /// The sum of products over the piece; 0 for different parities, since the sum over the whole
    /// vanishes.
    pub fn dot(&self, other: &Nodal) -> f64 {
        if self.parity != other.parity {
            return 0.0;
        }
        self.values.iter().zip(&other.values).map(|(x, y)| x * y).sum()
    }

    /// Adds a multiple of a vector of the same parity.
    pub fn add(&mut self, factor: f64, other: &Nodal) {
        if factor != 0.0 {
            self.values.iter_mut().zip(&other.values).for_each(|(s, v)| *s += factor * v);
        }
    }
}

/// The mirror lines y = `at[0]` and z = `at[1]`, m, of a section.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Mirrors {
    at: [Option<f64>; 2],
    /// Distance below which a point lies on a line, m.
    near: f64,
}

impl Mirrors {
    /// The mirrors that map the remaining area of every solid part onto itself and do not cut a drawn
    /// chord between its ends.
    pub fn new(drawing: &Drawing, remaining: &[Vec<Vec<Polygon>>], solid: &[bool]) -> Mirrors {
        let parts: Vec<Border> = remaining
            .iter()
            .zip(solid)
            .filter(|(_, solid)| **solid)
            .map(|(pieces, _)| Border::new(pieces, drawing))
            .collect();
        let [low, high] = bounds(parts.iter().map(|part| &part.points));
        let line = |axis: usize| {
            let at = 0.5 * (low[axis] + high[axis]);
            parts.iter().all(|part| part.is_mirrored(axis, at, drawing)).then_some(at)
        };
        Mirrors { at: [line(0), line(1)], near: drawing.near() }
    }

    /// All of these mirrors, then each alone, then none.
    pub fn and_fewer(self) -> impl Iterator<Item = Mirrors> {
        let [y, z] = self.at;
        let lists = [(y, z), (y, None), (None, z), (None, None)];
        let fewer = (1..4).filter(move |i| !lists[..*i].contains(&lists[*i]));
        std::iter::once(0).chain(fewer).map(move |i| Mirrors { at: lists[i].into(), ..self })
    }

    /// The parity of a function under the mirrors that are present.
    pub fn seen(&self, parity: Parity) -> Parity {
        Parity(parity.0 & self.all().0)
    }

    /// The parities that occur among the fields and their sums under the mirrors that are present.
    pub fn parities(&self) -> Vec<Parity> {
        let occurs = |parity: &Parity| *parity != Parity::EVEN || self.crossing().is_none();
        (0..4).map(Parity).filter(|parity| self.seen(*parity) == *parity && occurs(parity)).collect()
    }

    /// The set of all mirror lines.
    pub fn all(&self) -> Lines {
        Lines(u8::from(self.at[0].is_some()) | u8::from(self.at[1].is_some()) << 1)
    }

    /// Number of pieces that make up the whole.
    pub fn pieces(&self) -> f64 {
        self.all().pieces()
    }

    /// A point on all lines; a coordinate without a line is 0.
    pub fn origin(&self) -> Point {
        self.at.map(Option::unwrap_or_default)
    }

    /// The crossing of the two lines, if there are two.
    pub fn crossing(&self) -> Option<Point> {
        Some([self.at[0]?, self.at[1]?])
    }

    /// The lines that a point lies on.
    pub fn through(&self, point: Point) -> Lines {
        let on = |axis: usize| self.at[axis].is_some_and(|at| (point[axis] - at).abs() <= 1e-3 * self.near);
        Lines(u8::from(on(0)) | u8::from(on(1)) << 1)
    }

    /// The part of a side that belongs to the piece of larger coordinates, which is kept. Ends near a
    /// line are moved onto it; a side along a line is no border.
    pub fn kept(&self, mut side: [Point; 2]) -> Option<[Point; 2]> {
        for axis in 0..2 {
            let Some(at) = self.at[axis] else { continue };
            for end in &mut side {
                if (end[axis] - at).abs() <= self.near {
                    end[axis] = at;
                }
            }
            let [a, b] = side;
            if a[axis] <= at && b[axis] <= at {
                return None;
            }
            if a[axis] < at || b[axis] < at {
                let share = (at - a[axis]) / (b[axis] - a[axis]);
                let mut cut = [0, 1].map(|i| a[i] + share * (b[i] - a[i]));
                cut[axis] = at;
                side[usize::from(b[axis] < at)] = cut;
            }
        }
        Some(side)
    }

    /// Moments of the whole about a point on all lines, from those of the piece.
    pub fn whole(&self, piece: &Moments) -> Moments {
        let even = |parity: Parity| if self.seen(parity) == Parity::EVEN { self.pieces() } else { 0.0 };
        let [y, z] = Parity::OF.map(even);
        Moments {
            area: self.pieces() * piece.area,
            y: y * piece.y,
            z: z * piece.z,
            yy: self.pieces() * piece.yy,
            zz: self.pieces() * piece.zz,
            yz: even(Parity::BOTH) * piece.yz,
        }
    }
}

/// The border of a part: its corners, sorted by y, and its sides.
struct Border {
    points: Polygon,
    sides: BTreeSet<[usize; 2]>,
    near: f64,
}

impl Border {
    fn new(pieces: &[Vec<Polygon>], drawing: &Drawing) -> Border {
        let mut points: Polygon = pieces.iter().flatten().flatten().copied().collect();
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut border = Border { points, sides: BTreeSet::new(), near: drawing.near() };
        for (a, b) in pieces.iter().flatten().flat_map(sides) {
            if let (Some(i), Some(j)) = (border.find(a), border.find(b)) {
                border.sides.insert([i.min(j), i.max(j)]);
            }
        }
        border
    }

    /// The first corner close to a point.
    fn find(&self, point: Point) -> Option<usize> {
        let from = self.points.partition_point(|p| p[0] < point[0] - self.near);
        let upto = self.points.partition_point(|p| p[0] <= point[0] + self.near);
        (from..upto).find(|i| distance(self.points[*i], point) <= self.near)
    }

    /// True when every side has a mirror image, straight for straight and arc for arc.
    fn is_mirrored(&self, axis: usize, at: f64, drawing: &Drawing) -> bool {
        let mirror = |mut point: Point| {
            point[axis] = 2.0 * at - point[axis];
            point
        };
        let images: Vec<Option<usize>> = self.points.iter().map(|p| self.find(mirror(*p))).collect();
        let circle = |[i, j]: [usize; 2]| {
            drawing.arc(self.points[i], self.points[j]).map(|circle| &drawing.circles[circle])
        };
        self.sides.iter().all(|[i, j]| {
            let (Some(k), Some(l)) = (images[*i], images[*j]) else { return false };
            let image = [k.min(l), k.max(l)];
            if !self.sides.contains(&image) {
                return false;
            }
            match (circle([*i, *j]), circle(image)) {
                (None, None) => true,
                (Some(one), Some(two)) => {
                    let off = |i: usize| self.points[i][axis] - at;
                    let cut = off(*i).min(off(*j)) < -self.near && off(*i).max(off(*j)) > self.near;
                    !cut && distance(mirror(one.centre), two.centre) <= self.near
                        && (one.radius - two.radius).abs() <= self.near
                }
                _ => false,
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::outline::Figure;
    use super::super::outline::draw;
    use super::super::shape::Shape;
    use super::*;

    fn mirrors(shapes: &[(Shape, Point, f64)]) -> Mirrors {
        let figures: Vec<(Figure, Point, f64)> =
            shapes.iter().map(|(s, at, t)| (s.figure(), *at, *t)).collect();
        let drawing = draw(figures.iter().map(|(figure, at, turn)| (figure, *at, *turn)));
        Mirrors::new(&drawing, &drawing.remaining(), &vec![true; shapes.len()])
    }

    #[test]
    fn mirrors_are_found_where_outlines_and_parts_repeat() {
        let plate = Shape::Rectangle { width: 0.1, height: 0.08 };
        let tube = Shape::Tube { width: 0.04, height: 0.03, wall: 0.003, radius: Some(0.006) };
        let round = Shape::Round { diameter: 0.02 };
        let angle =
            Shape::Angle { width: 0.05, height: 0.05, wall: 0.005, root_radius: 0.0, toe_radius: 0.0 };
        let place = [0.02, -0.03];
        let pieces = |shapes: &[(Shape, Point, f64)]| mirrors(shapes).pieces();
        for shape in [&plate, &tube, &round] {
            let found = mirrors(&[(shape.clone(), place, 0.0)]);
            assert_eq!(found.pieces(), 4.0, "{shape:?}");
            (0..2).for_each(|i| approx::assert_relative_eq!(found.origin()[i], place[i], epsilon = 1e-12));
        }
        let quarter_turn = std::f64::consts::FRAC_PI_2;
        assert_eq!(pieces(&[(plate.clone(), place, quarter_turn), (tube.clone(), place, 0.0)]), 4.0);
        assert_eq!(pieces(&[(plate.clone(), [0.0; 2], 0.0), (tube.clone(), [0.0, 0.01], 0.0)]), 2.0);
        assert_eq!(pieces(&[(plate.clone(), [0.0; 2], 0.0), (round.clone(), [0.01, 0.0], 0.0)]), 2.0);
        assert_eq!(pieces(&[(plate.clone(), [0.0; 2], 0.0), (round.clone(), [0.01, 0.01], 0.0)]), 1.0);
        assert_eq!(pieces(&[(plate, [0.0; 2], 0.1)]), 1.0);
        assert_eq!(pieces(&[(angle, [0.0; 2], 0.0)]), 1.0);
        // One part on each side: neither is its own image.
        let (left, right) = ((round.clone(), [-0.05, 0.0], 0.0), (round, [0.05, 0.0], 0.0));
        assert_eq!(pieces(&[left, right]), 2.0);
    }

    #[test]
    fn sides_are_cut_on_the_line() {
        let mirrors = Mirrors { at: [Some(1.0), Some(0.5)], near: 1e-6 };
        assert_eq!(mirrors.kept([[0.0, 1.0], [2.0, 2.0]]), Some([[1.0, 1.5], [2.0, 2.0]]));
        assert_eq!(mirrors.kept([[3.0, 0.5 + 1e-7], [3.0, 2.0]]), Some([[3.0, 0.5], [3.0, 2.0]]));
        assert_eq!(mirrors.kept([[0.0, 1.0], [1.0 + 1e-7, 2.0]]), None);
        assert_eq!(mirrors.kept([[1.0, 0.0], [1.0, 2.0]]), None);
        assert_eq!(mirrors.and_fewer().map(|m| m.pieces()).collect::<Vec<_>>(), [4.0, 2.0, 2.0, 1.0]);
        let lies_on = |point: Point| mirrors.through(point);
        assert_eq!(lies_on([1.0, 0.5]).pieces(), 4.0);
        assert_eq!([lies_on([1.0, 3.0]).pieces(), lies_on([3.0, 0.5]).pieces()], [2.0, 2.0]);
        assert_eq!(lies_on([3.0, 3.0]).pieces(), 1.0);
        let one = Mirrors { at: [None, Some(0.5)], near: 1e-6 };
        assert_eq!(one.and_fewer().map(|m| m.pieces()).collect::<Vec<_>>(), [2.0, 1.0]);
    }
}
