//! Where a part of a section touches the others: the length of each border, and whether one side lies within
//! the other.
//!
//! A piece of a part touches others along its outer ring and along the rings of its holes. An outer ring that
//! is touched all round lies within the others; a hole has them within it; elsewhere the two lie beside each
//! other, as layers do. What is empty within a hole counts as solid where other parts have that much area.

type Point = [f64; 2];
/// The connected regions of a part, each an outer ring and its holes.
pub(super) type Pieces = [Vec<Vec<Point>>];

/// Points on each side of an outline at which it is checked what lies beyond.
const SAMPLES: usize = 16;
/// Touched share of an outer ring from which it counts as touched all round.
pub(super) const ALL_ROUND: f64 = 0.95;

/// One border of a part with others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Border {
    /// Its length in the section, m.
    pub length: f64,
    /// Area of the piece of the part that it bounds, m2.
    pub area: f64,
    /// Length along which that piece touches others, m.
    pub around: f64,
    /// What a closed border encloses; `None` where the two lie beside each other.
    pub ring: Option<Ring>,
}

/// A closed border: one side lies within the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// True where the part lies within the others, false where it lies around them.
    pub within: bool,
    /// Area that the border encloses, m2.
    pub enclosed: f64,
    /// Area of the others on their side of it, m2.
    pub other_area: f64,
    /// Length along which they touch the part there, m.
    pub other_around: f64,
}

impl Border {
    /// The border of a layer of this `area` (m2) that touches others along `length` (m).
    pub fn beside(length: f64, area: f64) -> Border {
        Border { length, area, around: length, ring: None }
    }
}

/// The borders of `pieces` with `others`, whose area is `other_area` (m2); what lies beyond a border is looked
/// up at the distance `step`.
pub(super) fn borders(pieces: &Pieces, others: &[&Pieces], other_area: f64, step: f64) -> Vec<Border> {
    let touched: Vec<Vec<f64>> =
        pieces.iter().map(|piece| piece.iter().map(|ring| touched(ring, others, step)).collect()).collect();
    let mut found = Vec::new();
    for (piece, lengths) in pieces.iter().zip(&touched) {
        let around: f64 = lengths.iter().sum();
        let area = solid(piece);
        let mut within_holes = 0.0;
        for (hole, length) in piece.iter().zip(lengths).skip(1).filter(|(_, length)| **length > 0.0) {
            let inner = |other: &[Vec<Point>]| {
                point_within(other, step).is_some_and(|point| inside(&[vec![hole.clone()]], point))
            };
            let mut ring =
                Ring { within: false, enclosed: enclosed(hole), other_area: 0.0, other_around: *length };
            ring.other_area = ring.enclosed;
            for (own, lengths) in pieces.iter().zip(&touched).filter(|(own, _)| inner(own)) {
                ring.other_area -= solid(own);
                ring.other_around += lengths.iter().sum::<f64>();
            }
            ring.other_area = ring.other_area.clamp(0.0, other_area);
            within_holes += ring.other_area;
            found.push(Border { length: *length, area, around, ring: Some(ring) });
        }
        let Some((outer, length)) = piece.first().zip(lengths.first()).filter(|(_, length)| **length > 0.0)
        else {
            continue;
        };
        let rest = other_area - within_holes;
        let closed = *length > ALL_ROUND * perimeter(outer) && rest > 0.0;
        let ring = closed.then(|| Ring {
            within: true,
            enclosed: enclosed(outer),
            other_area: rest,
            other_around: *length,
        });
        found.push(Border { length: *length, area, around, ring });
    }
    found
}

fn sides(ring: &[Point]) -> impl Iterator<Item = (Point, Point)> {
    ring.iter().enumerate().map(|(i, a)| (*a, ring[(i + 1) % ring.len()]))
}

pub(super) fn perimeter(ring: &[Point]) -> f64 {
    sides(ring).map(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1])).sum()
}

pub(super) fn enclosed(ring: &[Point]) -> f64 {
    0.5 * sides(ring).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>().abs()
}

/// Area of a piece without its holes.
pub(super) fn solid(piece: &[Vec<Point>]) -> f64 {
    let holes: f64 = piece.iter().skip(1).map(|hole| enclosed(hole)).sum();
    piece.first().map_or(0.0, |outer| enclosed(outer) - holes)
}

/// The length of `ring` that has one of `others` beside it, at the distance `step`.
pub(super) fn touched(ring: &[Point], others: &[&Pieces], step: f64) -> f64 {
    let mut sum = 0.0;
    for (a, b) in sides(ring) {
        let along = [b[0] - a[0], b[1] - a[1]];
        let length = along[0].hypot(along[1]);
        if length == 0.0 {
            continue;
        }
        let aside = [-along[1] / length * step, along[0] / length * step];
        let touches = (0..SAMPLES).filter(|k| {
            let t = (*k as f64 + 0.5) / SAMPLES as f64;
            let at = [a[0] + t * along[0], a[1] + t * along[1]];
            [1.0, -1.0].iter().any(|side| {
                let beyond = [at[0] + side * aside[0], at[1] + side * aside[1]];
                others.iter().any(|other| inside(other, beyond))
            })
        });
        sum += length * touches.count() as f64 / SAMPLES as f64;
    }
    sum
}

/// A point of a connected region, at the distance `step` (m) from the middle of a side of its outline.
pub(super) fn point_within(outline: &[Vec<Point>], step: f64) -> Option<Point> {
    let own = [outline.to_vec()];
    let beside = |(a, b): (Point, Point)| {
        let along = [b[0] - a[0], b[1] - a[1]];
        let length = along[0].hypot(along[1]);
        let at = |side: f64| {
            let across = side * step / length;
            [0.5 * (a[0] + b[0]) - across * along[1], 0.5 * (a[1] + b[1]) + across * along[0]]
        };
        [1.0, -1.0].map(at).into_iter().find(|point| length > 0.0 && inside(&own, *point))
    };
    sides(outline.first()?).find_map(beside)
}

/// True when `point` is inside by the even-odd rule.
pub(super) fn inside(pieces: &Pieces, point: Point) -> bool {
    let mut odd = false;
    for (a, b) in pieces.iter().flatten().flat_map(|ring| sides(ring)) {
        if (a[1] > point[1]) != (b[1] > point[1]) {
            odd ^= point[0] < a[0] + (point[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        }
    }
    odd
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_section::{Geometry, Part, Shape};

    fn of(parts: Vec<Part>) -> Vec<Vec<Border>> {
        let geometry = Geometry::new(parts).unwrap();
        let (outlines, moments) = (geometry.outlines(), geometry.moments());
        let all = outlines.len();
        let of = |i: usize| {
            let others: Vec<&Pieces> = (0..all).filter(|j| *j != i).map(|j| outlines[j].as_slice()).collect();
            let area = (0..all).filter(|j| *j != i).map(|j| moments[j].area).sum();
            borders(&outlines[i], &others, area, 1e-7)
        };
        (0..all).map(of).collect()
    }

    fn block(width: f64, height: f64, medium: usize) -> Part {
        Part::new(Shape::Rectangle { width, height }, medium)
    }

    #[test]
    fn a_fill_lies_within_its_tube_and_the_tube_around_it() {
        let tube = Shape::Tube { width: 0.1, height: 0.06, wall: 0.005, radius: None };
        let found = of(vec![block(0.09, 0.05, 0), Part::new(tube, 1)]);
        let [[fill], [tube]] = [&found[0][..], &found[1][..]] else { panic!("{found:?}") };
        let [within, around] = [fill.ring.unwrap(), tube.ring.unwrap()];
        assert!(within.within && !around.within);
        for (value, expected) in [
            (fill.length, 0.28),
            (tube.length, 0.28),
            (fill.area, 0.0045),
            (tube.area, 0.0015),
            (within.enclosed, 0.0045),
            (around.enclosed, 0.0045),
            (within.other_area, 0.0015),
            (around.other_area, 0.0045),
            (around.other_around, 0.28),
        ] {
            assert_relative_eq!(value, expected, max_relative = 1e-6);
        }
    }

    #[test]
    fn layers_lie_beside_each_other() {
        let found = of(vec![block(0.1, 0.02, 0), block(0.1, 0.01, 1).at(0.0, 0.015)]);
        for (borders, area) in found.iter().zip([0.002, 0.001]) {
            assert_eq!(borders.len(), 1);
            assert_relative_eq!(borders[0].length, 0.1, max_relative = 1e-6);
            assert_relative_eq!(borders[0].area, area, max_relative = 1e-6);
            assert_eq!(borders[0].ring, None);
        }
        // A channel that is filled to its rim encloses its fill on three sides only.
        let found = of(vec![block(0.06, 0.06, 0), block(0.05, 0.055, 1).at(0.0, 0.0025)]);
        assert!(found.iter().flatten().all(|border| border.ring.is_none()), "{found:?}");
    }

    #[test]
    fn both_sides_of_a_tube_within_a_cast_agree() {
        let tube = Shape::Tube { width: 0.06, height: 0.04, wall: 0.004, radius: None };
        let found = of(vec![block(0.1, 0.09, 0), Part::new(tube, 1)]);
        let ring = |part: usize, enclosed: f64, within: bool| {
            let fits = |border: &&Border| {
                border.ring.is_some_and(|ring| {
                    ring.within == within && (ring.enclosed - enclosed).abs() < 1e-3 * enclosed
                })
            };
            *found[part].iter().find(fits).unwrap()
        };
        // The cast around the tube, the cast within it; the tube's own area is 736 mm2.
        for (around, within, enclosed) in [(0, 1, 60e-3 * 40e-3), (1, 0, 52e-3 * 32e-3)] {
            let (outer, inner) = (ring(around, enclosed, false), ring(within, enclosed, true));
            assert_relative_eq!(outer.length, inner.length, max_relative = 1e-6);
            let (to_inner, to_outer) = (outer.ring.unwrap(), inner.ring.unwrap());
            assert_relative_eq!(to_inner.other_area, inner.area, max_relative = 1e-6);
            assert_relative_eq!(to_inner.other_around, inner.around, max_relative = 1e-6);
            assert_relative_eq!(to_outer.other_area, outer.area, max_relative = 1e-6);
        }
    }
}
