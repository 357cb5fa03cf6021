//! Outlines placed in the section and drawn as polygons; later parts cut earlier ones.
//!
//! A circle is divided at the same angles wherever it occurs, so that a round fill and the pipe around
//! it share their border. It is divided too where other outlines cross it, so that a piece cut from a
//! round part ends where the true curves meet. The moments and the mesh put the curvature back.

use super::point::{Point, distance};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::single::SingleFloatOverlay;
use std::f64::consts::{PI, TAU};

/// One closed curve of the outline of a shape.
#[derive(Debug, Clone)]
pub(super) enum Ring {
    /// Corners, each with its rounding radius.
    Corners(Vec<(Point, f64)>),
    /// A full circle.
    Circle {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
    },
}

/// The curves of a shape, filled by the even-odd rule.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// The outer ring, then the hole if there is one.
    pub rings: Vec<Ring>,
    /// The smallest thickness, which sets how finely curves are drawn.
    pub thickness: f64,
}

/// A closed polygon; the last point joins the first.
pub(super) type Polygon = Vec<Point>;

/// A circle that outlines follow, drawn with about `steps` chords.
#[derive(Debug, Clone)]
pub(super) struct Circle {
    pub centre: Point,
    pub radius: f64,
    steps: usize,
    /// Angles at which it is divided, ascending in [0, 2 pi) once complete.
    breaks: Vec<f64>,
    /// For the chord after each break: whether an outline follows it.
    drawn: Vec<bool>,
}

/// All parts of a section as polygons, in their order.
#[derive(Debug, Clone)]
pub(super) struct Drawing {
    /// The rings of each part, filled by the even-odd rule.
    pub parts: Vec<Vec<Polygon>>,
    pub circles: Vec<Circle>,
    /// Diagonal of the bounding box of all parts, m.
    pub size: f64,
}

/// Distance below which points coincide, over the size of the section.
const NEAR: f64 = 1e-6;

/// Angle below which two directions coincide, rad.
const SAME_ANGLE: f64 = 1e-7;

/// A corner of a ring, or an arc of it.
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
    cross_all(&parts, &mut circles);
    circles.iter_mut().for_each(Circle::fill_breaks);
    break_alike(&parts, &mut circles);
    let parts: Vec<Vec<Polygon>> =
        parts.iter().map(|rings| rings.iter().map(|ring| polygon(ring, &mut circles)).collect()).collect();
    let [low, high] = bounds(parts.iter().flatten());
    Drawing { parts, circles, size: distance(low, high) }
}

/// Bounding box of polygons: its lower left and its upper right corner.
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
    /// What later parts leave of each part: its separate pieces, each with its outer ring and its holes.
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

    /// The circle that the side from `a` to `b` follows; `None` for a straight side.
    pub fn arc(&self, a: Point, b: Point) -> Option<usize> {
        self.circles.iter().position(|circle| circle.stands_for(a, b, self.near()))
    }

    /// Distance below which points coincide, m.
    pub fn near(&self) -> f64 {
        NEAR * self.size
    }

    /// The topmost part at `point`.
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

/// A ring as placed; registers its circles in `circles`.
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

/// Index of a circle; it gets 24, 48, 96 or 192 chords, depending on the wall.
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
    circles.push(Circle { centre, radius, steps, breaks: Vec::new(), drawn: Vec::new() });
    circles.len() - 1
}

fn polygon(ring: &[Stretch], circles: &mut [Circle]) -> Polygon {
    let mut points = Vec::new();
    for stretch in ring {
        match stretch {
            Stretch::Corner(point) => points.push(*point),
            Stretch::Arc { circle, from, sweep } => {
                points.extend(circles[*circle].along(*from, *sweep));
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

impl Circle {
    /// The point at `share` of the arc from `a` to `b`, both near the circle.
    pub fn between(&self, a: Point, b: Point, share: f64) -> Point {
        let angle = |p: Point| (p[1] - self.centre[1]).atan2(p[0] - self.centre[0]);
        let sweep = (angle(b) - angle(a) + PI).rem_euclid(TAU) - PI;
        let reach = distance(a, self.centre) * (1.0 - share) + distance(b, self.centre) * share;
        let (sine, cosine) = (angle(a) + share * sweep).sin_cos();
        [self.centre[0] + reach * cosine, self.centre[1] + reach * sine]
    }

    fn at(&self, angle: f64) -> Point {
        let (sine, cosine) = angle.sin_cos();
        [self.centre[0] + self.radius * cosine, self.centre[1] + self.radius * sine]
    }

    /// The points of an arc: its ends and, between them, the breaks of its circle.
    fn along(&mut self, from: f64, sweep: f64) -> Vec<Point> {
        let (low, high) = if sweep > 0.0 { (from, from + sweep) } else { (from + sweep, from) };
        let mut angles: Vec<f64> = vec![low];
        let turns = (low / TAU).floor() as i32;
        for turn in turns..=turns + 1 {
            let between = self.breaks.iter().map(|b| b + TAU * f64::from(turn));
            angles.extend(between.filter(|b| *b > low + SAME_ANGLE && *b < high - SAME_ANGLE));
        }
        angles.push(high);
        for pair in angles.windows(2) {
            let after = self.after(0.5 * (pair[0] + pair[1]));
            self.drawn[after] = true;
        }
        if sweep < 0.0 {
            angles.reverse();
        }
        angles.into_iter().map(|angle| self.at(angle)).collect()
    }

    /// Index of the last break before an angle.
    fn after(&self, angle: f64) -> usize {
        let before = self.breaks.partition_point(|b| *b <= angle.rem_euclid(TAU));
        (before + self.breaks.len() - 1) % self.breaks.len()
    }

    /// True when the side from `a` to `b` lies on one chord that an outline follows.
    fn stands_for(&self, a: Point, b: Point, near: f64) -> bool {
        let on = |p: Point| (distance(p, self.centre) - self.radius).abs() <= near;
        if !on(a) || !on(b) {
            return false;
        }
        let angle = |p: Point| (p[1] - self.centre[1]).atan2(p[0] - self.centre[0]);
        let middle = angle([0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])]);
        let after = self.after(middle);
        let next = self.breaks[(after + 1) % self.breaks.len()];
        let span = (next - self.breaks[after]).rem_euclid(TAU);
        let within = |p: Point| {
            let slack = 1e-9 + 2.0 * near / self.radius;
            (angle(p) - self.breaks[after] + slack).rem_euclid(TAU) <= span + 2.0 * slack
        };
        self.drawn[after] && within(a) && within(b)
    }

    fn angle(&self, point: Point) -> f64 {
        (point[1] - self.centre[1]).atan2(point[0] - self.centre[0])
    }

    /// Largest distance between an arc and its chord, m.
    fn bulge(&self) -> f64 {
        self.radius * (1.0 - (PI / self.steps as f64).cos())
    }

    fn break_at(&mut self, angle: f64) {
        self.breaks.push(angle.rem_euclid(TAU));
    }

    /// Sorts the breaks and adds evenly spaced ones where there is room.
    fn fill_breaks(&mut self) {
        let step = TAU / self.steps as f64;
        let mut breaks: Vec<f64> = Vec::new();
        for angle in std::mem::take(&mut self.breaks) {
            if breaks.iter().all(|b| apart(*b, angle) > SAME_ANGLE) {
                breaks.push(angle);
            }
        }
        breaks.sort_by(f64::total_cmp);
        let even = (0..self.steps).map(|k| k as f64 * step);
        let mut room: Vec<f64> = even.filter(|e| breaks.iter().all(|b| apart(*b, *e) > 0.3 * step)).collect();
        // Add a break between two crossings, since a single chord there would lie on the crossing line.
        for (i, from) in breaks.iter().enumerate() {
            let gap = match breaks.get(i + 1) {
                Some(to) => to - from,
                None => breaks[0] + TAU - from,
            };
            if gap >= 1e-4 && room.iter().all(|e| (e - from).rem_euclid(TAU) > gap) {
                room.push((from + 0.5 * gap).rem_euclid(TAU));
            }
        }
        breaks.extend(room);
        breaks.sort_by(f64::total_cmp);
        self.drawn = vec![false; breaks.len()];
        self.breaks = breaks;
    }
}

/// Divides circles next to the breaks of other circles and to corners that lie close, so that no chord
/// overlaps a neighbour which its arc only touches.
fn break_alike(parts: &[Vec<Vec<Stretch>>], circles: &mut [Circle]) {
    let corners = parts.iter().flatten().flatten().filter_map(|stretch| match stretch {
        Stretch::Corner(at) => Some((*at, 0.0)),
        Stretch::Arc { .. } => None,
    });
    let on_circles = circles
        .iter()
        .flat_map(|circle| circle.breaks.iter().map(|angle| (circle.at(*angle), circle.bulge())));
    let points: Vec<(Point, f64)> = corners.chain(on_circles).collect();
    for circle in circles {
        let before = circle.breaks.len();
        for (point, bulge) in &points {
            let off = (distance(*point, circle.centre) - circle.radius).abs();
            if off > 1.5 * (circle.bulge() + bulge) || off < 1e-9 * circle.radius {
                continue;
            }
            let angle = circle.angle(*point).rem_euclid(TAU);
            if circle.breaks.iter().all(|b| apart(*b, angle) > 1e-4) {
                circle.breaks.push(angle);
            }
        }
        if circle.breaks.len() > before {
            circle.breaks.sort_by(f64::total_cmp);
            circle.drawn = vec![false; circle.breaks.len()];
        }
    }
}

/// The angle between two directions, rad.
fn apart(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(TAU);
    turn.min(TAU - turn)
}

/// One curve of an outline, for intersection with others.
#[derive(Clone, Copy)]
enum Curve {
    Line(Point, Point),
    Arc { circle: usize, from: f64, sweep: f64 },
}

/// Divides circles at the ends of arcs and where curves of different parts cross or touch them.
fn cross_all(parts: &[Vec<Vec<Stretch>>], circles: &mut [Circle]) {
    let curves: Vec<Vec<Curve>> =
        parts.iter().map(|rings| rings.iter().flat_map(|ring| curves(ring, circles)).collect()).collect();
    for curve in curves.iter().flatten() {
        if let Curve::Arc { circle, from, sweep } = curve {
            circles[*circle].break_at(*from);
            circles[*circle].break_at(from + sweep);
        }
    }
    for (i, own) in curves.iter().enumerate() {
        for a in own {
            for b in curves[i + 1..].iter().flatten() {
                for point in crossings(a, b, circles) {
                    for curve in [a, b] {
                        if let Curve::Arc { circle, .. } = curve {
                            let centre = circles[*circle].centre;
                            circles[*circle].break_at((point[1] - centre[1]).atan2(point[0] - centre[0]));
                        }
                    }
                }
            }
        }
    }
}

fn curves(ring: &[Stretch], circles: &[Circle]) -> Vec<Curve> {
    let ends = |stretch: &Stretch| match stretch {
        Stretch::Corner(at) => [*at, *at],
        Stretch::Arc { circle, from, sweep } => [*from, from + sweep].map(|angle| circles[*circle].at(angle)),
    };
    let mut curves = Vec::new();
    for (i, stretch) in ring.iter().enumerate() {
        if let Stretch::Arc { circle, from, sweep } = stretch {
            curves.push(Curve::Arc { circle: *circle, from: *from, sweep: *sweep });
        }
        let [from, to] = [ends(stretch)[1], ends(&ring[(i + 1) % ring.len()])[0]];
        if from != to {
            curves.push(Curve::Line(from, to));
        }
    }
    curves
}

/// Intersections of two curves of which at least one is an arc.
fn crossings(a: &Curve, b: &Curve, circles: &[Circle]) -> Vec<Point> {
    let points = match (a, b) {
        (Curve::Line(..), Curve::Line(..)) => return Vec::new(),
        (Curve::Line(from, to), Curve::Arc { circle, .. })
        | (Curve::Arc { circle, .. }, Curve::Line(from, to)) => circles[*circle].on_line(*from, *to),
        (Curve::Arc { circle: i, .. }, Curve::Arc { circle: j, .. }) if i != j => {
            let (one, two) = (&circles[*i], &circles[*j]);
            // The common chord lies where distance squared minus radius squared is the same for both.
            let apart = distance(one.centre, two.centre);
            let along = direction(one.centre, two.centre);
            let reach = 0.5 * (apart + (one.radius - two.radius) * (one.radius + two.radius) / apart);
            if !reach.is_finite() {
                return Vec::new();
            }
            let foot = [one.centre[0] + reach * along[0], one.centre[1] + reach * along[1]];
            one.on_line(foot, [foot[0] - along[1] * one.radius, foot[1] + along[0] * one.radius])
                .into_iter()
                .chain(one.on_line(foot, [foot[0] + along[1] * one.radius, foot[1] - along[0] * one.radius]))
                .collect()
        }
        _ => return Vec::new(),
    };
    let holds = |curve: &Curve, point: &Point| match curve {
        Curve::Line(..) => true,
        Curve::Arc { circle, from, sweep } => {
            let centre = circles[*circle].centre;
            let angle = (point[1] - centre[1]).atan2(point[0] - centre[0]);
            let start = from.min(from + sweep);
            (angle - start + SAME_ANGLE).rem_euclid(TAU) <= sweep.abs() + 2.0 * SAME_ANGLE
        }
    };
    points.into_iter().filter(|p| holds(a, p) && holds(b, p)).collect()
}

impl Circle {
    /// Intersections of a segment with the circle; includes touching.
    fn on_line(&self, from: Point, to: Point) -> Vec<Point> {
        let along = direction(from, to);
        let start = [from[0] - self.centre[0], from[1] - self.centre[1]];
        let to_foot = -(start[0] * along[0] + start[1] * along[1]);
        let off = start[0] * along[1] - start[1] * along[0];
        let half = (self.radius - off.abs()) * (self.radius + off.abs());
        // A line that misses by a rounding error touches.
        if half < -1e-12 * self.radius * self.radius {
            return Vec::new();
        }
        let half = half.max(0.0).sqrt();
        let (length, slack) = (distance(from, to), 1e-9 * self.radius);
        [to_foot - half, to_foot + half]
            .into_iter()
            .filter(|t| (-slack..=length + slack).contains(t))
            .map(|t| [from[0] + t * along[0], from[1] + t * along[1]])
            .collect()
    }
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

    #[test]
    fn a_thin_wall_has_chords_of_one_and_a_half_of_it_at_most() {
        let chords = |thickness: f64| {
            let mut circles = Vec::new();
            let place = register(&mut circles, [0.0; 2], 0.1, thickness);
            circles[place].steps
        };
        // A girth of 628 mm: 24 chords of 26.2 mm, 48 of 13.1 mm, 96 of 6.5 mm.
        assert_eq!([0.018, 0.009, 0.0045, 0.0005].map(chords), [24, 48, 96, 192]);
    }
}
