//! A closed surface of triangles: what is wrong with it, which way its faces look, and what lies within it.
//!
//! A point is inside when a ray from it leaves the surface more often than it enters it. The ray has no simple direction, so that it hits no edge of a
//! drawing; where it does, another one is taken.
//!
//! ```text
//! V = Σ a · (b × c)/6 over triangles a, b, c
//! ```

use crate::stl::{Triangle, numbered, without_partner};
use crate::tree::{Corners, Extent, Tree, extent_of, overlap};
use nalgebra::{Matrix3, Vector3};
use std::collections::HashSet;

/// A closed surface, in its own axes.
#[derive(Debug, Clone, PartialEq)]
pub struct ClosedSurface {
    /// The axes that most of it is square to, one per column, in the axes of the drawing.
    pub(crate) axes: Matrix3<f64>,
    /// The middle of its extent, in the axes of the drawing, m.
    pub(crate) middle: Vector3<f64>,
    /// Its sizes along its own axes, m.
    pub(crate) sizes: Vector3<f64>,
    /// Its triangles about its middle, in its own axes, m.
    pub(crate) triangles: Vec<Corners>,
    /// By triangle and edge: the triangle beyond it.
    pub(crate) beyond: Vec<[Option<usize>; 3]>,
    /// The directions that most of it looks to, in its own axes, with their parts of its area.
    directions: Vec<(Vector3<f64>, f64)>,
    volume: f64,
    tree: Tree,
}

/// What is wrong with a surface, and where in the axes of the drawing, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SurfaceFault {
    /// It is this large, m.
    Size(f64),
    /// An edge has no partner.
    Open(Vector3<f64>),
    /// Two triangles that share an edge look to different sides.
    Turned(Vector3<f64>),
    /// A triangle is there twice.
    Twice(Vector3<f64>),
    /// An edge passes through a triangle.
    Crossing(Vector3<f64>),
    /// Its outside is within it.
    InsideOut(Vector3<f64>),
    /// Both sides of a face are inside: of pieces that lie in each other or touch, or of a cavity drawn outwards.
    Within(Vector3<f64>),
    /// It encloses nothing.
    Flat,
}

/// Least and greatest size of a surface, m.
const SIZES: [f64; 2] = [1e-6, 1e4];
/// Least volume as a part of the cube of the size.
const LEAST_VOLUME: f64 = 1e-12;
/// Distance beyond which a point is off a triangle, as a part of the size of the surface.
const OFF: f64 = 1e-7;
/// Sine of the angle within which triangles look to one direction.
const SAME_DIRECTION: f64 = 1e-3;
/// Most directions that are told apart.
const MOST_DIRECTIONS: usize = 64;
/// Sine of the angle within which a direction is square to an axis: corners in single precision lie off their plane.
const SQUARE: f64 = 1e-5;
/// How much more of a surface has to be square to other axes than those of the drawing.
const CLEARLY: f64 = 1.05;
/// Directions of rays.
const RAYS: [[f64; 3]; 3] = [
    [0.921_731, 0.308_317, 0.235_171],
    [-0.283_019, 0.887_413, 0.363_767],
    [0.391_939, -0.263_881, 0.881_307],
];

/// How a ray from a point passes a triangle.
enum Pass {
    /// It does not.
    Beside,
    /// Out of it or into it, at this distance, m.
    At(f64, bool),
    /// Too near to an edge to say.
    Edge,
}

/// How the ray from `from` along `along` passes a triangle; distances to edges below `near`, of 1, are an edge.
fn pass(corners: &Corners, from: &Vector3<f64>, along: &Vector3<f64>, near: f64) -> Pass {
    let [a, b] = [corners[1] - corners[0], corners[2] - corners[0]];
    let across = along.cross(&b);
    let turn = a.dot(&across);
    if turn.abs() <= 1e-14 * a.norm() * b.norm() * along.norm() {
        return Pass::Beside;
    }
    let off = from - corners[0];
    let u = off.dot(&across) / turn;
    let other = off.cross(&a);
    let v = along.dot(&other) / turn;
    let least = u.min(v).min(1.0 - u - v);
    match least {
        _ if least < -near => Pass::Beside,
        _ if least < near => Pass::Edge,
        _ => Pass::At(b.dot(&other) / turn, turn < 0.0),
    }
}

/// True when the ray from `from` meets an extent; `slopes` are one by one the inverse of its direction.
fn ray_meets(extent: &Extent, from: &Vector3<f64>, slopes: &Vector3<f64>) -> bool {
    let ends = [0, 1].map(|end| (extent[end] - from).component_mul(slopes));
    ends[0].inf(&ends[1]).max().max(0.0) <= ends[0].sup(&ends[1]).min()
}

impl ClosedSurface {
    /// The surface of `triangles` whose corners run counterclockwise seen from outside.
    ///
    /// # Errors
    /// [`SurfaceFault`], with the place of the first fault.
    pub fn new(triangles: &[Triangle]) -> Result<ClosedSurface, SurfaceFault> {
        let drawn: Vec<Corners> = triangles.iter().map(|triangle| triangle.map(Vector3::from)).collect();
        let [low, high] = extent_of(drawn.iter().flatten());
        let size = (high - low).max();
        if !(SIZES[0]..=SIZES[1]).contains(&size) {
            return Err(SurfaceFault::Size(size));
        }
        let numbered = numbered(triangles);
        let beyond = neighbours(&numbered);
        closed(&drawn, &numbered, &beyond)?;
        let middle = low.lerp(&high, 0.5);
        let about: Vec<Corners> = drawn.iter().map(|corners| corners.map(|c| c - middle)).collect();
        let volume = about.iter().map(|[a, b, c]| a.dot(&b.cross(c)) / 6.0).sum::<f64>();
        if volume.abs() < LEAST_VOLUME * size.powi(3) {
            return Err(SurfaceFault::Flat);
        }
        let directions = directions(&about);
        let axes = own_axes(&directions);
        let mut own = about;
        own.iter_mut().flatten().for_each(|corner| *corner = axes.tr_mul(corner));
        let [low, high] = extent_of(own.iter().flatten());
        let shift = low.lerp(&high, 0.5);
        own.iter_mut().flatten().for_each(|corner| *corner -= shift);
        let tree = Tree::new(&own);
        let surface = ClosedSurface {
            axes,
            middle: middle + axes * shift,
            sizes: high - low,
            directions: directions.into_iter().map(|(normal, part)| (axes.tr_mul(&normal), part)).collect(),
            triangles: own,
            beyond,
            volume,
            tree,
        };
        surface.uncrossed(&numbered, size)?;
        surface.right_way_out(size)?;
        Ok(surface)
    }

    /// The volume that it encloses, m³.
    pub fn volume(&self) -> f64 {
        self.volume
    }

    /// Its sizes along its own axes, m.
    pub fn sizes(&self) -> [f64; 3] {
        self.sizes.into()
    }

    /// True when `point`, about its middle in its own axes, is inside.
    pub(crate) fn holds(&self, point: &Vector3<f64>) -> bool {
        if (0..3).any(|axis| point[axis].abs() > 0.5 * self.sizes[axis]) {
            return false;
        }
        let mut inside = false;
        for along in RAYS.map(Vector3::from) {
            let slopes = along.map(|x| 1.0 / x);
            let (mut leaves, mut clear) = (0_i64, true);
            self.tree.find(
                |extent| ray_meets(extent, point, &slopes),
                |i| {
                    match pass(&self.triangles[i], point, &along, 1e-9) {
                        Pass::At(distance, _) if distance <= 0.0 => {}
                        Pass::At(_, out) => leaves += if out { 1 } else { -1 },
                        Pass::Edge => clear = false,
                        Pass::Beside => {}
                    }
                    true
                },
            );
            inside = leaves > 0;
            if clear {
                break;
            }
        }
        inside
    }

    /// Parts of its area that are and that are not square to an axis when its own axes are `axes`.
    pub(crate) fn square(&self, axes: &Matrix3<f64>) -> [f64; 2] {
        square(&self.directions, axes)
    }

    /// A place in its own axes, in the axes of the drawing.
    fn drawn(&self, own: &Vector3<f64>) -> Vector3<f64> {
        self.middle + self.axes * own
    }

    /// Refuses an edge that passes through a triangle with which it shares no corner.
    fn uncrossed(&self, numbered: &[[usize; 3]], size: f64) -> Result<(), SurfaceFault> {
        let off = OFF * size;
        for (i, corners) in self.triangles.iter().enumerate() {
            for edge in 0..3 {
                let ends = [edge, (edge + 1) % 3];
                let [from, to] = ends.map(|end| numbered[i][end]);
                // Each edge once: its partner passes it the other way.
                if from >= to {
                    continue;
                }
                let [a, b] = ends.map(|end| corners[end]);
                let along = b - a;
                let mut found = None;
                self.tree.find(
                    |extent| overlap(extent, &[a.inf(&b), a.sup(&b)]),
                    |j| {
                        if numbered[j].iter().any(|corner| *corner == from || *corner == to) {
                            return true;
                        }
                        let other = &self.triangles[j];
                        let normal = (other[1] - other[0]).cross(&(other[2] - other[0]));
                        let depths = [a, b].map(|end| (end - other[0]).dot(&normal));
                        let clear = off * normal.norm();
                        if depths[0].abs().min(depths[1].abs()) <= clear || depths[0] * depths[1] > 0.0 {
                            return true;
                        }
                        let at = a + along * (depths[0] / (depths[0] - depths[1]));
                        // Through it or through its edge.
                        if !matches!(pass(other, &a, &along, 1e-9), Pass::Beside) {
                            found = Some(at);
                        }
                        found.is_none()
                    },
                );
                if let Some(at) = found {
                    return Err(SurfaceFault::Crossing(self.drawn(&at)));
                }
            }
        }
        Ok(())
    }

    /// Refuses a face of which the inside is outside, or of which both sides are inside.
    fn right_way_out(&self, size: f64) -> Result<(), SurfaceFault> {
        let off = 10.0 * OFF * size;
        for corners in &self.triangles {
            let (out, middle) = (normal(corners), corners.iter().sum::<Vector3<f64>>() / 3.0);
            let longest = [0, 1, 2].map(|i| (corners[(i + 1) % 3] - corners[i]).norm());
            // A step from the middle of a narrow one may pass its neighbour.
            if out.norm() < 100.0 * off * longest.into_iter().fold(0.0, f64::max) {
                continue;
            }
            let step = out.normalize() * off;
            if !self.holds(&(middle - step)) {
                return Err(SurfaceFault::InsideOut(self.drawn(&middle)));
            }
            if self.holds(&(middle + step)) {
                return Err(SurfaceFault::Within(self.drawn(&middle)));
            }
        }
        Ok(())
    }
}

/// Twice the area of a triangle along its outward normal, m².
pub(crate) fn normal(corners: &Corners) -> Vector3<f64> {
    (corners[1] - corners[0]).cross(&(corners[2] - corners[0]))
}

/// By triangle and edge: a triangle that passes the edge the other way.
fn neighbours(numbered: &[[usize; 3]]) -> Vec<[Option<usize>; 3]> {
    let edge = |corners: &[usize; 3], i: usize| (corners[i], corners[(i + 1) % 3]);
    let all = numbered.iter().enumerate();
    let passes: std::collections::HashMap<(usize, usize), usize> =
        all.flat_map(|(number, corners)| [0, 1, 2].map(|i| (edge(corners, i), number))).collect();
    let beyond = |corners: &[usize; 3]| {
        [0, 1, 2].map(|i| {
            let (from, to) = edge(corners, i);
            passes.get(&(to, from)).copied()
        })
    };
    numbered.iter().map(beyond).collect()
}

/// Refuses edges without partner and triangles that are there twice.
fn closed(
    drawn: &[Corners],
    numbered: &[[usize; 3]],
    beyond: &[[Option<usize>; 3]],
) -> Result<(), SurfaceFault> {
    if let Some(&[triangle, edge]) = without_partner(numbered).first() {
        let at = drawn[triangle][edge].lerp(&drawn[triangle][(edge + 1) % 3], 0.5);
        let ends = [numbered[triangle][edge], numbered[triangle][(edge + 1) % 3]];
        let others = numbered.iter().filter(|own| ends.iter().all(|end| own.contains(end)));
        let turned = others.count() == 2 && beyond[triangle][edge].is_none();
        return Err(if turned { SurfaceFault::Turned(at) } else { SurfaceFault::Open(at) });
    }
    let mut known = HashSet::new();
    for (corners, own) in drawn.iter().zip(numbered) {
        let mut sorted = *own;
        sorted.sort_unstable();
        let flat = sorted[0] == sorted[1] || sorted[1] == sorted[2];
        if !flat && !known.insert(sorted) {
            return Err(SurfaceFault::Twice(corners.iter().sum::<Vector3<f64>>() / 3.0));
        }
    }
    Ok(())
}

/// The directions that triangles look to, either way, with their parts of the area, the largest first.
fn directions(triangles: &[Corners]) -> Vec<(Vector3<f64>, f64)> {
    let mut normals: Vec<(Vector3<f64>, f64)> =
        triangles.iter().map(normal).map(|normal| (normal, normal.norm())).collect();
    let whole: f64 = normals.iter().map(|(_, area)| area).sum();
    normals.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut found: Vec<(Vector3<f64>, f64)> = Vec::new();
    for (normal, area) in normals.into_iter().take_while(|(_, area)| *area > 0.0) {
        let same = |sum: &Vector3<f64>| sum.cross(&normal).norm() < SAME_DIRECTION * sum.norm() * area;
        match found.iter().position(|(sum, _)| same(sum)) {
            Some(at) => {
                let (sum, part) = &mut found[at];
                *sum += if sum.dot(&normal) < 0.0 { -normal } else { normal };
                *part += area;
            }
            None if found.len() < MOST_DIRECTIONS => found.push((normal, area)),
            None => {}
        }
    }
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found.into_iter().map(|(sum, part)| (sum.normalize(), part / whole)).collect()
}

/// Parts of the area that are and that are not square to an axis when `directions` are turned by `axes`.
fn square(directions: &[(Vector3<f64>, f64)], axes: &Matrix3<f64>) -> [f64; 2] {
    let is_square = |normal: &Vector3<f64>| {
        let normal = axes * normal;
        normal.iter().filter(|x| x.abs() > SQUARE).count() == 1
    };
    let along: f64 = directions.iter().filter(|(normal, _)| is_square(normal)).map(|(_, part)| part).sum();
    [along, 1.0 - along]
}

/// The axes that most of the area is square to: those of the drawing unless others are clearly better.
fn own_axes(directions: &[(Vector3<f64>, f64)]) -> Matrix3<f64> {
    let Some((first, _)) = directions.first() else { return Matrix3::identity() };
    let beside = directions.iter().find(|(normal, _)| normal.dot(first).abs() < SAME_DIRECTION);
    let any = if first.z.abs() < 0.9 { Vector3::z() } else { Vector3::x() };
    let third = first.cross(beside.map_or(&any, |(second, _)| second)).normalize();
    let axes = Matrix3::from_columns(&[*first, third.cross(first), third]);
    let [own, drawn] = [axes.transpose(), Matrix3::identity()].map(|axes| square(directions, &axes)[0]);
    if own > CLEARLY * drawn { axes } else { Matrix3::identity() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stl::tests::cuboid;
    use approx::assert_relative_eq;

    fn turned(triangles: &[Triangle], turn: &Matrix3<f64>) -> Vec<Triangle> {
        triangles.iter().map(|t| t.map(|corner| (turn * Vector3::from(corner)).into())).collect()
    }

    #[test]
    fn a_box_finds_its_axes_and_what_it_holds_however_it_is_turned() {
        let drawn = cuboid([0.1, 0.0, 0.0], [0.6, 0.3, 0.1]);
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        for turn in [Matrix3::identity(), turn] {
            let surface = ClosedSurface::new(&turned(&drawn, &turn)).unwrap();
            assert_relative_eq!(surface.volume(), 0.5 * 0.3 * 0.1, max_relative = 1e-12);
            assert_relative_eq!(surface.square(&Matrix3::identity())[0], 1.0, max_relative = 1e-12);
            let holds = |x: f64, y: f64, z: f64| {
                surface.holds(&surface.axes.tr_mul(&(turn * Vector3::new(x, y, z) - surface.middle)))
            };
            // Also where the middle of a face has an edge of triangles across it.
            assert!(holds(0.35, 0.15, 0.05) && holds(0.101, 0.001, 0.001) && holds(0.35, 0.15, 0.0999));
            assert!(!holds(0.35, 0.15, 0.1001) && !holds(0.099, 0.15, 0.05) && !holds(0.61, 0.31, 0.11));
        }
        assert_eq!(ClosedSurface::new(&drawn).unwrap().axes, Matrix3::identity());
    }

    #[test]
    fn a_hollow_box_holds_its_wall_alone() {
        let mut drawn = cuboid([0.0; 3], [0.6, 0.3, 0.1]);
        let mut cavity = cuboid([0.1, 0.1, 0.02], [0.5, 0.2, 0.08]);
        drawn.extend(cavity.iter().map(|[a, b, c]| [*b, *a, *c]));
        let surface = ClosedSurface::new(&drawn).unwrap();
        assert_relative_eq!(surface.volume(), 0.018 - 0.4 * 0.1 * 0.06, max_relative = 1e-12);
        assert!(!surface.holds(&Vector3::zeros()) && surface.holds(&Vector3::new(0.25, 0.0, 0.0)));
        // A cavity the wrong way round bounds nothing.
        cavity.extend(cuboid([0.0; 3], [0.6, 0.3, 0.1]));
        assert!(matches!(ClosedSurface::new(&cavity), Err(SurfaceFault::Within(_))));
    }

    #[test]
    fn pieces_that_touch_or_lie_in_each_other_flush_are_refused() {
        let both = |from: f64| {
            let other = cuboid([from, 0.0, 0.0], [0.9, 0.3, 0.1]);
            ClosedSurface::new(&[cuboid([0.0; 3], [0.6, 0.3, 0.1]), other].concat())
        };
        // The diagonal of a flush face passes along the face that lies within.
        let Err(SurfaceFault::Crossing(at)) = both(0.4) else { panic!() };
        assert!((at.x - 0.6).abs().min((at.x - 0.4).abs()) < 1e-12, "{at}");
        assert!(matches!(both(0.6), Err(SurfaceFault::Twice(_))));
        // Beside the diagonal of the face that it stands on.
        let smaller = cuboid([0.6, 0.02, 0.05], [0.9, 0.08, 0.09]);
        let boss = [cuboid([0.0; 3], [0.6, 0.3, 0.1]), smaller].concat();
        assert!(matches!(ClosedSurface::new(&boss), Err(SurfaceFault::Within(_))));
    }

    #[test]
    fn faults_are_told_with_their_place() {
        let sound = cuboid([0.0; 3], [0.6, 0.3, 0.1]);
        let mut open = sound.clone();
        open.pop();
        let Err(SurfaceFault::Open(at)) = ClosedSurface::new(&open) else { panic!() };
        // The last triangle lies in the face x = 0.6.
        assert_relative_eq!(at.x, 0.6, max_relative = 1e-12);
        let mut one_turned = sound.clone();
        one_turned[3].swap(0, 1);
        assert!(matches!(ClosedSurface::new(&one_turned), Err(SurfaceFault::Turned(_))));
        let inside_out: Vec<Triangle> = sound.iter().map(|[a, b, c]| [*b, *a, *c]).collect();
        assert!(matches!(ClosedSurface::new(&inside_out), Err(SurfaceFault::InsideOut(_))));
        let twice = [sound.clone(), sound.clone()].concat();
        assert!(matches!(ClosedSurface::new(&twice), Err(SurfaceFault::Twice(_))));
        let crossing = [sound.clone(), cuboid([0.5, 0.1, 0.02], [0.8, 0.2, 0.08])].concat();
        let Err(SurfaceFault::Crossing(at)) = ClosedSurface::new(&crossing) else { panic!() };
        assert_relative_eq!(at.x, 0.6, max_relative = 1e-12);
        let flat = cuboid([0.0; 3], [0.6, 0.3, 0.0]);
        assert!(ClosedSurface::new(&flat).is_err());
        let huge = cuboid([0.0; 3], [3e5, 1.0, 1.0]);
        assert_eq!(ClosedSurface::new(&huge), Err(SurfaceFault::Size(3e5)));
        // Boxes beside each other, and in the middle of each other's faces, are sound.
        let beside = [sound, cuboid([0.7, 0.0, 0.0], [0.8, 0.1, 0.1])].concat();
        assert!(ClosedSurface::new(&beside).is_ok());
    }
}
