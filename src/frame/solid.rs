//! The solid of a member: its section's material along its line, and where a ray passes through it.
//!
//! A ray is straight in the member's own axes too, so it crosses each outline as a line in the plane of the
//! section, and each end plane cuts it once.

use super::axes::Line;
use nalgebra::Vector3;
use stillbed_section::Geometry;

/// The material of a section as outlines, [y, z], m.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// By part: its closed rings, filled by the even-odd rule; none for a cavity.
    pub parts: Vec<Vec<Vec<[f64; 2]>>>,
    /// By part: `∫ 1, y, z, y², z², yz` over its area, m2, m3, m4; the rings may miss the area between chords and arcs.
    pub moments: Vec<[f64; 6]>,
    /// The box around all parts, lower left and upper right corner, m.
    pub bounds: [[f64; 2]; 2],
}

impl Solid {
    /// The material whose parts have these rings and moments.
    pub fn new(parts: Vec<Vec<Vec<[f64; 2]>>>, moments: Vec<[f64; 6]>) -> Solid {
        let mut bounds = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
        for point in parts.iter().flatten().flatten() {
            for axis in 0..2 {
                bounds[0][axis] = bounds[0][axis].min(point[axis]);
                bounds[1][axis] = bounds[1][axis].max(point[axis]);
            }
        }
        Solid { parts, moments, bounds }
    }

    /// The material of a section, what later parts leave of each part.
    pub fn of(geometry: &Geometry) -> Solid {
        let parts = geometry.parts().iter().zip(geometry.outlines());
        let rings = |(part, pieces): (&stillbed_section::Part, &Vec<Vec<Vec<[f64; 2]>>>)| match part.cavity {
            true => Vec::new(),
            false => pieces.iter().flatten().cloned().collect(),
        };
        let moments = geometry.moments();
        let moments = moments.iter().map(|m| [m.area, m.y, m.z, m.yy, m.zz, m.yz]).collect();
        Solid::new(parts.map(rings).collect(), moments)
    }

    /// The same, scaled by the factor `by`.
    pub fn scaled(&self, by: f64) -> Solid {
        let larger = |ring: &Vec<[f64; 2]>| ring.iter().map(|p| p.map(|x| x * by)).collect();
        let parts = self.parts.iter().map(|rings| rings.iter().map(larger).collect()).collect();
        let powers = [2, 3, 3, 4, 4, 4].map(|power| by.powi(power));
        let scaled = |own: &[f64; 6]| std::array::from_fn(|k| own[k] * powers[k]);
        Solid::new(parts, self.moments.iter().map(scaled).collect())
    }

    /// Width and height of the box around it, m.
    pub fn size(&self) -> [f64; 2] {
        [0, 1].map(|axis| (self.bounds[1][axis] - self.bounds[0][axis]).max(0.0))
    }

    /// Area of the box around it, m2.
    pub fn box_area(&self) -> f64 {
        let [width, height] = self.size();
        width * height
    }

    /// Half the diagonal of the box around it, m.
    pub fn reach(&self) -> f64 {
        let [width, height] = self.size();
        0.5 * width.hypot(height)
    }
}

/// How a member's solid ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum End {
    /// Square to its line, at its point.
    Square,
    /// Mitred: at the plane through `place` normal to `inward`, which points into the member.
    Mitre { place: Vector3<f64>, inward: Vector3<f64> },
}

/// The solid of one member in space.
pub(super) struct Prism<'a> {
    pub line: Line,
    pub solid: &'a Solid,
    pub ends: [End; 2],
}

/// A stretch of a ray, from and to, in lengths of its direction.
pub(super) type Interval = (f64, f64);

impl Prism<'_> {
    /// From where to where it reaches along its own x, m: a mitred end beyond its point, by at most half the
    /// diagonal of the box around the section.
    fn along(&self) -> Interval {
        let beyond = |end: usize| match self.ends[end] {
            End::Square => 0.0,
            End::Mitre { .. } => self.solid.reach(),
        };
        (-beyond(0), self.line.length + beyond(1))
    }

    /// The box around it in space.
    pub fn bounds(&self) -> [Vector3<f64>; 2] {
        let mut bounds = [Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY)];
        let (first, last) = self.along();
        let [low, high] = self.solid.bounds;
        for x in [first, last] {
            for y in [low[0], high[0]] {
                for z in [low[1], high[1]] {
                    let place = self.line.start + self.line.axes.transpose() * Vector3::new(x, y, z);
                    bounds = [bounds[0].inf(&place), bounds[1].sup(&place)];
                }
            }
        }
        bounds
    }

    /// The same as rays along `line` see it.
    pub fn along_rays(&self, line: &Line) -> Sight<'_> {
        let direction: Vector3<f64> = line.axes.row(0).transpose();
        let aside = [1, 2].map(|row| -> Vector3<f64> { line.axes.row(row).transpose() });
        let turned = |v: Vector3<f64>| self.line.axes * v;
        let own = [turned(line.start - self.line.start), turned(aside[0]), turned(aside[1])];
        let along = turned(direction);
        let (first, last) = self.along();
        let plane = |base: f64, sign: f64, slope: f64| Plane {
            at: [sign * (own[0].x - base), sign * own[1].x, sign * own[2].x],
            slope: sign * slope,
        };
        let mut planes = vec![plane(first, 1.0, along.x), plane(last, -1.0, along.x)];
        for end in self.ends {
            if let End::Mitre { place, inward } = end {
                let at = [inward.dot(&(line.start - place)), inward.dot(&aside[0]), inward.dot(&aside[1])];
                planes.push(Plane { at, slope: inward.dot(&direction) });
            }
        }
        Sight { parts: &self.solid.parts, own, along, planes }
    }
}

/// A member as rays along another member see it, with everything linear in the ray's place computed once.
pub(super) struct Sight<'a> {
    parts: &'a [Vec<Vec<[f64; 2]>>],
    /// The start of the other member's line, and its y and z axes, in own axes.
    own: [Vector3<f64>; 3],
    /// Direction of the rays in own axes.
    along: Vector3<f64>,
    /// The planes at its ends.
    planes: Vec<Plane>,
}

/// A plane: how far inside it a ray starts (a constant, and what each m of y and z adds), and how much
/// further inside each length of the ray leads.
struct Plane {
    at: [f64; 3],
    slope: f64,
}

impl Sight<'_> {
    /// Adds the stretches of the ray at `[y, z]` of the other member that lie in the material, unsorted.
    pub fn cross(&self, [y, z]: [f64; 2], found: &mut Vec<Interval>) {
        let mut limits = (f64::NEG_INFINITY, f64::INFINITY);
        for Plane { at, slope } in &self.planes {
            cut(&mut limits, at[0] + y * at[1] + z * at[2], *slope);
        }
        if limits.0 >= limits.1 {
            return;
        }
        let (own, along) = (self.own[0] + self.own[1] * y + self.own[2] * z, self.along);
        let across = along.y * along.y + along.z * along.z;
        let mut crossed: Vec<f64> = Vec::new();
        for rings in self.parts {
            if across < 1e-18 {
                if holds(rings, [own.y, own.z]) {
                    found.push(limits);
                }
                continue;
            }
            crossed.clear();
            for (a, b) in rings.iter().flat_map(|ring| sides(ring)) {
                let side = |p: [f64; 2]| along.y * (p[1] - own.z) - along.z * (p[0] - own.y);
                let (left, right) = (side(a), side(b));
                if (left > 0.0) != (right > 0.0) {
                    let share = left / (left - right);
                    let y = a[0] + share * (b[0] - a[0]) - own.y;
                    let z = a[1] + share * (b[1] - a[1]) - own.z;
                    crossed.push((y * along.y + z * along.z) / across);
                }
            }
            crossed.sort_by(f64::total_cmp);
            let stretches = crossed.chunks_exact(2).map(|t| (t[0].max(limits.0), t[1].min(limits.1)));
            found.extend(stretches.filter(|(from, to)| from < to));
        }
    }
}

/// Cuts `limits` to where `at + t slope` is not negative.
fn cut(limits: &mut Interval, at: f64, slope: f64) {
    if slope.abs() < 1e-12 {
        if at < 0.0 {
            *limits = (0.0, 0.0);
        }
    } else if slope > 0.0 {
        limits.0 = limits.0.max(-at / slope);
    } else {
        limits.1 = limits.1.min(-at / slope);
    }
}

/// True when `rings` hold `p` by the even-odd rule.
pub(super) fn holds(rings: &[Vec<[f64; 2]>], p: [f64; 2]) -> bool {
    let crossed = rings.iter().flat_map(|ring| sides(ring)).filter(|(a, b)| {
        (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]
    });
    crossed.count() % 2 == 1
}

/// The sides of a closed ring.
pub(super) fn sides(ring: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]))
}

/// Sorts stretches and joins those that touch.
pub(super) fn joined(mut stretches: Vec<Interval>) -> Vec<Interval> {
    stretches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut whole: Vec<Interval> = Vec::with_capacity(stretches.len());
    for (from, to) in stretches {
        match whole.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => whole.push((from, to)),
        }
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::super::Frame;
    use super::super::sample::{member, point};
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::Matrix3;

    pub(crate) fn tube(outer: f64, inner: f64) -> Solid {
        let ring =
            |a: f64| vec![[-a / 2.0, -a / 2.0], [a / 2.0, -a / 2.0], [a / 2.0, a / 2.0], [-a / 2.0, a / 2.0]];
        let [area, square] = [2, 4].map(|power| outer.powi(power) - inner.powi(power));
        let moments = [area, 0.0, 0.0, square / 12.0, square / 12.0, 0.0];
        Solid::new(vec![vec![ring(outer), ring(inner)]], vec![moments])
    }

    /// A line of 1 m along x.
    fn rail() -> Line {
        let frame = Frame {
            points: vec![point("a", 0.0, 0.0, 0.0), point("b", 1.0, 0.0, 0.0)],
            members: vec![member("rail", 0, 1)],
            ..Frame::default()
        };
        Line::of(&frame, &frame.members[0]).unwrap()
    }

    #[test]
    fn a_ray_along_a_tube_lies_in_its_wall_or_in_nothing() {
        let line = rail();
        let solid = tube(0.06, 0.05);
        let prism = Prism { line, solid: &solid, ends: [End::Square, End::Square] };
        let rays = Line { start: -0.2 * Vector3::x(), ..line };
        for (at, lies) in [
            ([0.0275, 0.01], true),
            ([0.01, -0.0275], true),
            ([-0.0275, -0.0275], true),
            ([0.0, 0.0], false),
            ([0.02, -0.02], false),
            ([0.04, 0.0], false),
            ([0.0, 0.0301], false),
        ] {
            let mut found = Vec::new();
            prism.along_rays(&rays).cross(at, &mut found);
            assert_eq!(found.len(), usize::from(lies), "{at:?}: {found:?}");
            for (from, to) in found {
                assert_relative_eq!(from, 0.2, epsilon = 1e-12);
                assert_relative_eq!(to, 1.2, epsilon = 1e-12);
            }
        }
    }

    #[test]
    fn a_ray_through_a_tube_meets_both_walls_and_ends_at_a_mitre() {
        let line = rail();
        let solid = tube(0.06, 0.05);
        let mut prism = Prism { line, solid: &solid, ends: [End::Square, End::Square] };
        // Rays along global y from y = -1 m, at x of their line and 10 mm above it.
        let axes = Matrix3::new(0.0, 1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, -1.0);
        let rays = Line { start: -Vector3::y(), axes, ..line };
        let through = |prism: &Prism, x: f64| {
            let mut found = Vec::new();
            prism.along_rays(&rays).cross([x, -0.01], &mut found);
            joined(found)
        };
        let walls = through(&prism, 0.5);
        assert_eq!(walls.len(), 2);
        for (wall, (from, to)) in walls.iter().zip([(0.97, 0.975), (1.025, 1.03)]) {
            assert_relative_eq!(wall.0, from, epsilon = 1e-12);
            assert_relative_eq!(wall.1, to, epsilon = 1e-12);
        }
        assert!(through(&prism, -0.01).is_empty());
        // With a mitre of 45 degrees at its start it reaches beyond the point on one side only.
        let inward = Vector3::new(1.0, 1.0, 0.0).normalize();
        prism.ends[0] = End::Mitre { place: Vector3::zeros(), inward };
        assert_eq!(through(&prism, -0.01).len(), 1);
        assert_relative_eq!(through(&prism, -0.01)[0].0, 1.025, epsilon = 1e-12);
    }

    #[test]
    fn a_solid_reaches_half_the_diagonal_of_its_box() {
        let ring = vec![[-0.015, 0.0], [0.015, 0.0], [0.015, 0.04], [-0.015, 0.04]];
        let solid = Solid::new(vec![vec![ring]], vec![[0.0012; 6]]);
        assert_relative_eq!(solid.reach(), 0.025, max_relative = 1e-12);
    }
}
