//! Outlines placed on the drawing, drawn as polygons, displaced by later ones.
//!
//! Every circle of the drawing is broken at the same angles wherever it occurs, so that a round
//! fill and the pipe around it share their border. The mesh puts the curvature back, except in the
//! one chord on each side of a place where another outline cuts the circle.

use super::shape::{Figure, Point, Ring, distance};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::single::SingleFloatOverlay;
use std::f64::consts::{PI, TAU};

/// A closed polygon; the last point joins the first.
pub(super) type Polygon = Vec<Point>;

/// A circle that outlines follow, drawn with `steps` chords.
#[derive(Debug, Clone)]
pub(super) struct Circle {
    pub centre: Point,
    pub radius: f64,
    steps: usize,
}

/// One straight piece of a polygon that stands for an arc.
#[derive(Debug, Clone)]
pub(super) struct Chord {
    pub ends: [Point; 2],
    /// Index into [`Drawing::circles`].
    pub circle: usize,
}

/// All parts of a section as polygons, in their order.
#[derive(Debug, Clone)]
pub(super) struct Drawing {
    /// The rings of each part, filled by the even-odd rule.
    pub parts: Vec<Vec<Polygon>>,
    pub circles: Vec<Circle>,
    pub chords: Vec<Chord>,
    /// Diagonal of the box around everything, m.
    pub size: f64,
}

/// A stretch of a ring.
enum Stretch {
    Corner(Point),
    Arc { circle: usize, from: f64, sweep: f64 },
}

/// Places figures (`at`, m; `turn`, rad, anticlockwise) and draws them as polygons.
pub(super) fn draw<'a>(figures: impl Iterator<Item = (&'a Figure, Point, f64)>) -> Drawing {
    let mut circles: Vec<Circle> = Vec::new();
    let parts: Vec<Vec<Vec<Stretch>>> = figures
        .map(|(figure, at, turn)| {
            let place = |p: Point| {
                let (sine, cosine) = turn.sin_cos();
                [at[0] + cosine * p[0] - sine * p[1], at[1] + sine * p[0] + cosine * p[1]]
            };
            figure.rings.iter().map(|ring| stretches(ring, place, figure.thickness, &mut circles)).collect()
        })
        .collect();
    let mut chords = Vec::new();
    let parts: Vec<Vec<Polygon>> = parts
        .iter()
        .map(|rings| rings.iter().map(|ring| polygon(ring, &circles, &mut chords)).collect())
        .collect();
    let [low, high] = bounds(parts.iter().flatten());
    Drawing { parts, circles, chords, size: distance(low, high) }
}

/// The box around polygons: its lower left and its upper right corner.
pub(super) fn bounds<'a>(polygons: impl Iterator<Item = &'a Polygon>) -> [Point; 2] {
    let mut corners = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
    for point in polygons.flatten() {
        for axis in 0..2 {
            corners[0][axis] = corners[0][axis].min(point[axis]);
            corners[1][axis] = corners[1][axis].max(point[axis]);
        }
    }
    corners
}

impl Drawing {
    /// What later parts leave of each part: its separate pieces, each its outer ring and its holes.
    pub fn remaining(&self) -> Vec<Vec<Vec<Polygon>>> {
        let apart = |a: [Point; 2], b: [Point; 2]| (0..2).any(|i| a[1][i] < b[0][i] || b[1][i] < a[0][i]);
        let boxes: Vec<_> = self.parts.iter().map(|rings| bounds(rings.iter())).collect();
        let mut left = Vec::new();
        for (i, rings) in self.parts.iter().enumerate() {
            let none: Vec<Polygon> = Vec::new();
            let mut pieces = rings.overlay_as::<i64>(&none, OverlayRule::Subject, FillRule::EvenOdd);
            let whole: f64 = pieces.iter().flatten().map(signed_area).sum();
            for (j, later) in self.parts.iter().enumerate().skip(i + 1) {
                if !apart(boxes[i], boxes[j]) {
                    pieces = pieces.overlay_as::<i64>(later, OverlayRule::Difference, FillRule::EvenOdd);
                }
            }
            let keeps =
                |rings: &Vec<Polygon>| rings.iter().map(signed_area).sum::<f64>().abs() > 1e-6 * whole.abs();
            pieces.retain(keeps);
            left.push(pieces);
        }
        left
    }

    /// The part that lies on top at `point`.
    pub fn owner(&self, point: Point) -> Option<usize> {
        self.parts.iter().rposition(|rings| inside(rings, point))
    }
}

/// True when `point` is inside by the even-odd rule.
fn inside(rings: &[Polygon], point: Point) -> bool {
    let mut odd = false;
    for ring in rings {
        for (a, b) in sides(ring) {
            if (a[1] > point[1]) != (b[1] > point[1]) {
                let y = a[0] + (point[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                odd ^= point[0] < y;
            }
        }
    }
    odd
}

/// The sides of a polygon.
pub(super) fn sides(ring: &Polygon) -> impl Iterator<Item = (Point, Point)> + '_ {
    (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]))
}

/// Area inside a ring, positive when it runs anticlockwise.
fn signed_area(ring: &Polygon) -> f64 {
    0.5 * sides(ring).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>()
}

/// A ring placed, its curves registered among `circles`.
fn stretches(
    ring: &Ring,
    place: impl Fn(Point) -> Point,
    thickness: f64,
    circles: &mut Vec<Circle>,
) -> Vec<Stretch> {
    match ring {
        Ring::Circle { centre, radius } => {
            let circle = register(circles, place(*centre), *radius, thickness);
            vec![Stretch::Arc { circle, from: 0.0, sweep: TAU }]
        }
        Ring::Corners(corners) => {
            let n = corners.len();
            let corner = |i: usize| place(corners[i % n].0);
            (0..n)
                .map(|i| {
                    let radius = corners[i].1;
                    let (before, at, after) = (corner(i + n - 1), corner(i), corner(i + 1));
                    if radius == 0.0 {
                        return Stretch::Corner(at);
                    }
                    let (u, v) = (direction(at, before), direction(at, after));
                    let half = 0.5 * (u[0] * v[0] + u[1] * v[1]).clamp(-1.0, 1.0).acos();
                    let middle = direction([0.0, 0.0], [u[0] + v[0], u[1] + v[1]]);
                    let reach = radius / half.sin();
                    let centre = [at[0] + reach * middle[0], at[1] + reach * middle[1]];
                    let touch = radius / half.tan();
                    let start = [at[0] + touch * u[0], at[1] + touch * u[1]];
                    let left = v[0] * u[1] - v[1] * u[0] > 0.0;
                    let sweep = if left { PI - 2.0 * half } else { 2.0 * half - PI };
                    let circle = register(circles, centre, radius, thickness);
                    Stretch::Arc { circle, from: (start[1] - centre[1]).atan2(start[0] - centre[0]), sweep }
                })
                .collect()
        }
    }
}

fn direction(from: Point, to: Point) -> Point {
    let length = distance(from, to).max(f64::MIN_POSITIVE);
    [(to[0] - from[0]) / length, (to[1] - from[1]) / length]
}

/// The index of a circle, drawn finely enough for its wall: 24, 48, 96 or 192 chords around.
fn register(circles: &mut Vec<Circle>, centre: Point, radius: f64, thickness: f64) -> usize {
    let mut steps = 24;
    while steps < 192 && TAU * radius > 1.5 * thickness * steps as f64 {
        steps *= 2;
    }
    let same =
        |c: &Circle| distance(c.centre, centre) < 1e-6 * radius && (c.radius - radius).abs() < 1e-6 * radius;
    if let Some(i) = circles.iter().position(same) {
        circles[i].steps = circles[i].steps.max(steps);
        return i;
    }
    circles.push(Circle { centre, radius, steps });
    circles.len() - 1
}

fn polygon(ring: &[Stretch], circles: &[Circle], chords: &mut Vec<Chord>) -> Polygon {
    let mut points = Vec::new();
    for stretch in ring {
        match stretch {
            Stretch::Corner(point) => points.push(*point),
            Stretch::Arc { circle, from, sweep } => {
                let arc = along(&circles[*circle], *from, *sweep);
                let pair = |ends: &[Point]| Chord { ends: [ends[0], ends[1]], circle: *circle };
                chords.extend(arc.windows(2).map(pair));
                points.extend(arc);
            }
        }
    }
    let near = 1e-9 * distance(points[0], points[points.len() / 2]);
    points.dedup_by(|b, a| distance(*a, *b) < near);
    if points.len() > 1 && distance(points[0], points[points.len() - 1]) < near {
        points.pop();
    }
    points
}

/// The points of an arc: its ends and, between them, the breaks of its circle.
fn along(circle: &Circle, from: f64, sweep: f64) -> Vec<Point> {
    let step = TAU / circle.steps as f64;
    let (low, high) = if sweep > 0.0 { (from, from + sweep) } else { (from + sweep, from) };
    let first = (low / step + 0.3).ceil() as i64;
    let last = (high / step - 0.3).floor() as i64;
    let mut angles: Vec<f64> = vec![low];
    angles.extend((first..=last).map(|k| k as f64 * step));
    angles.push(high);
    if sweep < 0.0 {
        angles.reverse();
    }
    let at = |angle: &f64| {
        let (sine, cosine) = angle.sin_cos();
        [circle.centre[0] + circle.radius * cosine, circle.centre[1] + circle.radius * sine]
    };
    angles.iter().map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::super::shape::Shape;
    use super::*;

    fn drawing(shapes: &[(Shape, Point)]) -> Drawing {
        let figures: Vec<(Figure, Point)> = shapes.iter().map(|(s, at)| (s.figure(), *at)).collect();
        draw(figures.iter().map(|(figure, at)| (figure, *at, 0.0)))
    }

    fn area(pieces: &[Vec<Polygon>]) -> f64 {
        pieces.iter().flatten().map(signed_area).sum::<f64>().abs()
    }

    #[test]
    fn later_parts_displace_earlier_ones() {
        let plate = Shape::Rectangle { width: 0.1, height: 0.1 };
        let bar = Shape::Rectangle { width: 0.02, height: 0.2 };
        let left = drawing(&[(plate.clone(), [0.0, 0.0]), (bar, [0.0, 0.0])]).remaining();
        assert_eq!((left[0].len(), left[1].len()), (2, 1));
        approx::assert_relative_eq!(area(&left[0]), 0.008, max_relative = 1e-6);
        let hidden = drawing(&[(plate.clone(), [0.0, 0.0]), (plate, [0.0, 0.0])]).remaining();
        assert!(hidden[0].is_empty());
    }

    #[test]
    fn a_round_fill_meets_its_pipe() {
        let pipe = Shape::Pipe { diameter: 0.1, wall: 0.002 };
        let fill = Shape::Round { diameter: 0.096 };
        let drawing = drawing(&[(fill, [0.0, 0.0]), (pipe, [0.0, 0.0])]);
        assert_eq!(drawing.parts[0][0], drawing.parts[1][1]);
        assert_eq!(drawing.owner([0.0, 0.0]), Some(0));
        assert_eq!(drawing.owner([0.049, 0.0]), Some(1));
        assert_eq!(drawing.owner([0.06, 0.0]), None);
    }

    #[test]
    fn a_rounded_corner_has_its_radius() {
        let tube = Shape::Tube { width: 0.1, height: 0.06, wall: 0.005, radius: Some(0.01) };
        let drawing = drawing(&[(tube, [0.0, 0.0])]);
        assert_eq!(drawing.circles.len(), 8);
        let all = drawing.parts[0].iter().flatten();
        assert!(all.clone().all(|p| p[0].abs() <= 0.05 + 1e-12 && p[1].abs() <= 0.03 + 1e-12));
        assert!(all.clone().any(|p| (p[0] - 0.05).abs() < 1e-12 && (p[1] - 0.02).abs() < 1e-12));
    }
}
