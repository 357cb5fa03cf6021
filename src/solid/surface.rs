//! The surface of parts that lie in and over each other, as flat faces: what can be seen of them from outside, and
//! what stands within a part that is seen through.
//!
//! Of each flat face of a part that much is left which
//!
//! ```text
//! no later part displaces            just inside the face
//! and no part of a material covers   just outside of it
//! ```
//!
//! Both are areas in the plane of the face: the slices of all other parts by that plane. Curves are drawn as chords.
//! A part bounded by a closed surface is drawn whole, as its triangles where they are few, else as the box around it;
//! one that is empty is not drawn.

use super::bounded::Bounds;
use super::closed_surface::normal;
use super::part::{Part, Ring};
use super::tree::Corners;
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::single::SingleFloatOverlay;
use nalgebra::Vector3;
use std::f64::consts::TAU;

/// A part, the thing that it belongs to, and whether what stands within it is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// The part; a later one displaces an earlier one.
    pub part: Part,
    /// The number of the thing that moves with it.
    pub owner: usize,
    /// True where other parts of the same owner are seen within it.
    pub seen_through: bool,
}

/// What an edge of a face borders on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Edge {
    /// Another face at an angle.
    Sharp,
    /// The next chord of a curve, whose face has this normal.
    Smooth(Vector3<f64>),
    /// The same face beyond a cut.
    Cut,
}

/// A corner of a face and the edge to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corner {
    /// Where it is, m.
    pub at: Vector3<f64>,
    /// The edge to the next corner.
    pub edge: Edge,
}

/// A flat face.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// Its curves; inside is what an odd number of them encloses.
    pub rings: Vec<Vec<Corner>>,
    /// Its outward unit normal.
    pub normal: Vector3<f64>,
    /// The number of its part.
    pub part: usize,
    /// True where it stands within a part that is seen through.
    pub within: bool,
}

type Plane = Vec<[f64; 2]>;
type Region = Vec<Vec<Plane>>;

/// Chords of a full circle.
const CHORDS: usize = 28;
/// Cosine of the largest turn between chords that count as a curve.
const CURVED: f64 = 0.69;
/// Cosine of the largest turn between triangles of one flat face.
const FLAT: f64 = 1.0 - 1e-8;
/// How far a chord may leave a curve, as a part of the size of its outline.
const SAGITTA: f64 = 0.012;
/// How far from a face its surroundings are looked at, as a part of the size of all parts.
const BESIDE: f64 = 1e-5;
/// Most triangles of a closed surface that are drawn.
const MOST_TRIANGLES: usize = 600;
/// Least area of a face, as a part of the square of the size of all parts.
const LEAST: f64 = 1e-6;

/// A flat side of a part in its own plane.
struct Flat {
    origin: Vector3<f64>,
    across: [Vector3<f64>; 2],
    normal: Vector3<f64>,
    rings: Vec<Plane>,
    /// Normals of the faces beyond its edges at 0 and at the far end of its second direction, where the outline
    /// is a curve there.
    beyond: [Option<Vector3<f64>>; 2],
    wide: f64,
}

/// The faces of `shown` that can be seen.
pub fn surface(shown: &[Shown]) -> Vec<Face> {
    let parts: Vec<Part> = shown.iter().map(|own| with_chords(&own.part)).collect();
    let boxes: Vec<[[f64; 3]; 2]> = parts.iter().map(Part::extent).collect();
    let span = |axis: usize| {
        boxes.iter().map(|b| b[1][axis]).fold(f64::NEG_INFINITY, f64::max)
            - boxes.iter().map(|b| b[0][axis]).fold(f64::INFINITY, f64::min)
    };
    let size = (0..3).map(span).fold(0.0, f64::max);
    let beside = BESIDE * size;
    let mut faces = Vec::new();
    for (number, part) in parts.iter().enumerate() {
        if part.bounds.is_some() {
            faces.extend(triangles(part, number));
            continue;
        }
        let near: Vec<usize> = (0..parts.len())
            .filter(|other| *other != number && meet(&boxes[number], &boxes[*other], 2.0 * beside))
            .collect();
        for flat in flats(part, 0.1 * beside) {
            let slice =
                |other: usize, off: f64| parts[other].slice(&(flat.origin + flat.normal * off), &flat.across);
            let mut left: Region = combined(&Vec::new(), &flat.rings, OverlayRule::Union);
            for &other in near.iter().filter(|other| **other > number) {
                left = combined(&left, &slice(other, -beside), OverlayRule::Difference);
            }
            let mut add = |region: Region, of: usize, within: bool, sign: f64| {
                for piece in region.into_iter().filter(|piece| area(piece) > LEAST * size * size) {
                    let rings = piece.iter().map(|ring| flat.placed(ring, beside, sign)).collect();
                    faces.push(Face { rings, normal: flat.normal * sign, part: of, within });
                }
            };
            // Of what covers the face outside, the last part counts.
            let outside: Vec<(usize, Vec<Plane>)> =
                near.iter().map(|other| (*other, slice(*other, beside))).collect();
            if part.material.is_none() {
                // An empty part shows the walls of what it cuts.
                for (i, (other, own)) in outside.iter().enumerate() {
                    if parts[*other].material.is_some() && !own.is_empty() {
                        let wall = combined(&left, own, OverlayRule::Intersect);
                        let later = outside[i + 1..].iter();
                        let wall =
                            later.fold(wall, |wall, (_, cut)| combined(&wall, cut, OverlayRule::Difference));
                        add(wall, *other, false, -1.0);
                    }
                }
                continue;
            }
            let (mut covered, mut seen): (Region, Region) = (Vec::new(), Vec::new());
            for (other, own) in &outside {
                let fits = shown[*other].owner == shown[number].owner && shown[*other].seen_through;
                let rule = |adds: bool| if adds { OverlayRule::Union } else { OverlayRule::Difference };
                covered = combined(&covered, own, rule(parts[*other].material.is_some()));
                seen = combined(&seen, own, rule(fits));
            }
            let covered: Vec<Plane> = covered.into_iter().flatten().collect();
            add(combined(&left, &covered, OverlayRule::Difference), number, false, 1.0);
            let seen: Vec<Plane> = seen.into_iter().flatten().collect();
            if !seen.is_empty() && !shown[number].seen_through {
                add(combined(&left, &seen, OverlayRule::Intersect), number, true, 1.0);
            }
        }
    }
    faces
}

fn meet(a: &[[f64; 3]; 2], b: &[[f64; 3]; 2], slack: f64) -> bool {
    (0..3).all(|axis| a[0][axis] < b[1][axis] + slack && b[0][axis] < a[1][axis] + slack)
}

fn combined(region: &Region, other: &Vec<Plane>, rule: OverlayRule) -> Region {
    match rule {
        _ if other.is_empty() && rule != OverlayRule::Intersect => region.clone(),
        _ => region.overlay_as::<i64>(other, rule, FillRule::EvenOdd),
    }
}

fn area(piece: &[Plane]) -> f64 {
    let signed = |ring: &Plane| -> f64 {
        (0..ring.len())
            .map(|i| {
                let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                0.5 * (a[0] * b[1] - b[0] * a[1])
            })
            .sum()
    };
    let areas = piece.iter().map(|ring| signed(ring).abs());
    areas.enumerate().map(|(i, area)| if i == 0 { area } else { -area }).sum()
}

/// The triangles of a part bounded by a closed surface; edges within a flat face are none.
fn triangles(part: &Part, number: usize) -> Vec<Face> {
    let Some(surface) = part.bounds.as_ref().map(Bounds::surface).filter(|_| part.material.is_some()) else {
        return Vec::new();
    };
    let unit = |i: usize| normal(&surface.triangles[i]).try_normalize(0.0);
    let face = |(i, corners): (usize, &Corners)| {
        let own = unit(i)?;
        let edge = |beyond: Option<usize>| match beyond.and_then(unit) {
            Some(other) if other.dot(&own) > FLAT => Edge::Cut,
            Some(other) if other.dot(&own) > CURVED => Edge::Smooth(part.axes * other),
            _ => Edge::Sharp,
        };
        let corner =
            |k: usize| Corner { at: part.middle + part.axes * corners[k], edge: edge(surface.beyond[i][k]) };
        let rings = vec![[0, 1, 2].map(corner).into()];
        Some(Face { rings, normal: part.axes * own, part: number, within: false })
    };
    surface.triangles.iter().enumerate().filter_map(face).collect()
}

/// The part with its curves drawn as chords.
fn with_chords(part: &Part) -> Part {
    if let Some(surface) = part.bounds.as_ref().map(Bounds::surface) {
        if surface.triangles.len() <= MOST_TRIANGLES || part.material.is_none() {
            return part.clone();
        }
        let [x, y, z] = surface.sizes();
        return Part { rings: vec![Ring::rectangle(y, z)], length: x, bounds: None, ..part.clone() };
    }
    let polygon = |ring: &Ring| match ring {
        Ring::Circle { centre, radius } => {
            let angles = (0..CHORDS).map(|i| TAU * (i as f64 + 0.5) / CHORDS as f64);
            angles.map(|a| [centre[0] + radius * a.cos(), centre[1] + radius * a.sin()]).collect()
        }
        Ring::Polygon(points) => fewer(points),
    };
    Part { rings: part.rings.iter().map(|ring| Ring::Polygon(polygon(ring))).collect(), ..part.clone() }
}

/// An outline with as few corners as follow it closely.
fn fewer(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    if points.len() <= 8 {
        return points.to_vec();
    }
    let span = |axis: usize| {
        let values = || points.iter().map(|p| p[axis]);
        values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min)
    };
    let near = SAGITTA * span(0).hypot(span(1));
    let far = |from: usize| {
        let off = |i: &usize| (points[*i][0] - points[from][0]).hypot(points[*i][1] - points[from][1]);
        (0..points.len()).max_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(0)
    };
    let (first, second) = (far(0), far(far(0)));
    let (first, second) = (first.min(second), first.max(second));
    let once: Vec<[f64; 2]> = points[first..=second].to_vec();
    let back: Vec<[f64; 2]> = points[second..].iter().chain(&points[..=first]).copied().collect();
    let mut kept = followed(&once, near);
    kept.pop();
    kept.extend(followed(&back, near));
    kept.pop();
    kept
}

/// The ends of `line` and what is needed between them to stay within `near` of it.
fn followed(line: &[[f64; 2]], near: f64) -> Vec<[f64; 2]> {
    let (Some(a), Some(b)) = (line.first(), line.last()) else { return Vec::new() };
    let along = [b[0] - a[0], b[1] - a[1]];
    let length = along[0].hypot(along[1]).max(f64::MIN_POSITIVE);
    let off = |p: &[f64; 2]| ((p[0] - a[0]) * along[1] - (p[1] - a[1]) * along[0]).abs() / length;
    let between = line.iter().enumerate().skip(1).take(line.len().saturating_sub(2));
    match between.map(|(i, p)| (i, off(p))).max_by(|a, b| a.1.total_cmp(&b.1)) {
        Some((at, most)) if most > near => {
            let mut kept = followed(&line[..=at], near);
            kept.pop();
            kept.extend(followed(&line[at..], near));
            kept
        }
        _ => vec![*a, *b],
    }
}

/// The flat sides of a part whose curves are polygons; `step` is small beside all of them.
fn flats(part: &Part, step: f64) -> Vec<Flat> {
    let [x, y, z] = [0, 1, 2].map(|i| Vector3::from(part.axes.column(i)));
    let polygons: Vec<&Plane> = part
        .rings
        .iter()
        .filter_map(|ring| match ring {
            Ring::Polygon(points) => Some(points),
            Ring::Circle { .. } => None,
        })
        .collect();
    let mut flats: Vec<Flat> = [-1.0, 1.0]
        .map(|end| Flat {
            origin: part.middle + x * (0.5 * end * part.length),
            across: [y, z],
            normal: x * end,
            rings: polygons.iter().map(|ring| (*ring).clone()).collect(),
            beyond: [None; 2],
            wide: f64::INFINITY,
        })
        .into();
    for ring in polygons {
        let sides: Vec<(Vector3<f64>, Vector3<f64>, f64)> = (0..ring.len())
            .map(|i| {
                let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                let along = y * (b[0] - a[0]) + z * (b[1] - a[1]);
                let wide = along.norm();
                let along = along / wide.max(f64::MIN_POSITIVE);
                let middle = part.middle + y * (0.5 * (a[0] + b[0])) + z * (0.5 * (a[1] + b[1]));
                let normal = x.cross(&along);
                let inward = part.holds(&(middle + normal * step));
                (along, if inward { -normal } else { normal }, wide)
            })
            .collect();
        let count = sides.len();
        for (i, (along, normal, wide)) in sides.iter().enumerate() {
            let curved = |j: usize| Some(sides[j].1).filter(|other| other.dot(normal) > CURVED);
            let half = 0.5 * part.length;
            flats.push(Flat {
                origin: part.middle + y * ring[i][0] + z * ring[i][1],
                across: [x, *along],
                normal: *normal,
                rings: vec![vec![[-half, 0.0], [half, 0.0], [half, *wide], [-half, *wide]]],
                beyond: [curved((i + count - 1) % count), curved((i + 1) % count)],
                wide: *wide,
            });
        }
    }
    flats
}

impl Flat {
    /// A curve of its plane in space; `sign` is -1 where the face looks the other way.
    fn placed(&self, ring: &Plane, near: f64, sign: f64) -> Vec<Corner> {
        let corner = |i: usize| {
            let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
            let at = |v: f64| (a[1] - v).abs() < near && (b[1] - v).abs() < near;
            let beyond = match (at(0.0), at(self.wide)) {
                (true, _) => self.beyond[0],
                (_, true) => self.beyond[1],
                _ => None,
            };
            let at = self.origin + self.across[0] * a[0] + self.across[1] * a[1];
            Corner { at, edge: beyond.map_or(Edge::Sharp, |normal| Edge::Smooth(normal * sign)) }
        };
        (0..ring.len()).map(corner).collect()
    }
}

impl Part {
    /// Where the plane through `origin` along `across` cuts a part whose curves are polygons, in the plane.
    fn slice(&self, origin: &Vector3<f64>, across: &[Vector3<f64>; 2]) -> Vec<Plane> {
        let own = |v: &Vector3<f64>| self.axes.tr_mul(v);
        let (c, u, v) = (own(&(origin - self.middle)), own(&across[0]), own(&across[1]));
        let turn = u.y * v.z - v.y * u.z;
        let half = 0.5 * self.length;
        let polygons = self.rings.iter().filter_map(|ring| match ring {
            Ring::Polygon(points) => Some(points),
            Ring::Circle { .. } => None,
        });
        if turn.abs() > 1e-6 {
            let placed = |p: &[f64; 2]| {
                let (y, z) = (p[0] - c.y, p[1] - c.z);
                [(y * v.z - z * v.y) / turn, (z * u.y - y * u.z) / turn]
            };
            let cut =
                |ring: Plane, sign: f64| clipped(&ring, |p| half - sign * (c.x + p[0] * u.x + p[1] * v.x));
            let rings = polygons.map(|ring| cut(cut(ring.iter().map(placed).collect(), 1.0), -1.0));
            return rings.filter(|ring| ring.len() > 2).collect();
        }
        // The plane runs along the part: its outline is met along a line, from one crossing to the next.
        let (a, b) = ([u.y, u.z], [v.y, v.z]);
        let longer = if a[0].hypot(a[1]) > b[0].hypot(b[1]) { a } else { b };
        let reach = longer[0].hypot(longer[1]).max(f64::MIN_POSITIVE);
        let line = [longer[0] / reach, longer[1] / reach];
        let mut crossings: Vec<f64> = Vec::new();
        for ring in polygons {
            for i in 0..ring.len() {
                let off = |p: [f64; 2]| (p[0] - c.y) * line[1] - (p[1] - c.z) * line[0];
                let (p, q) = (ring[i], ring[(i + 1) % ring.len()]);
                let (d, e) = (off(p), off(q));
                if (d > 0.0) != (e > 0.0) {
                    let t = d / (d - e);
                    let (y, z) = (p[0] + t * (q[0] - p[0]) - c.y, p[1] + t * (q[1] - p[1]) - c.z);
                    crossings.push(y * line[0] + z * line[1]);
                }
            }
        }
        crossings.sort_by(f64::total_cmp);
        let along = |w: [f64; 2]| w[0] * line[0] + w[1] * line[1];
        let (side, lengthwise) = ([along(a), along(b)], [u.x, v.x]);
        let corner = |t: f64, x: f64| [0, 1].map(|i| side[i] * t + lengthwise[i] * (x - c.x));
        let pairs = crossings.chunks_exact(2).filter(|pair| pair[1] > pair[0]);
        pairs
            .map(|pair| {
                let [from, to] = [pair[0], pair[1]];
                vec![corner(from, -half), corner(to, -half), corner(to, half), corner(from, half)]
            })
            .collect()
    }
}

/// What of a ring lies where `depth` is positive.
fn clipped(ring: &Plane, depth: impl Fn(&[f64; 2]) -> f64) -> Plane {
    let mut kept = Vec::with_capacity(ring.len() + 2);
    for i in 0..ring.len() {
        let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
        let (d, e) = (depth(&a), depth(&b));
        if d >= 0.0 {
            kept.push(a);
        }
        if (d < 0.0) != (e < 0.0) {
            let t = d / (d - e);
            kept.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn shown(part: Part, seen_through: bool) -> Shown {
        Shown { part, owner: 0, seen_through }
    }

    fn area_of(face: &Face) -> f64 {
        let ring = |ring: &Vec<Corner>| {
            let cross = |i: usize| ring[i].at.cross(&ring[(i + 1) % ring.len()].at);
            0.5 * (0..ring.len()).map(cross).sum::<Vector3<f64>>().dot(&face.normal).abs()
        };
        face.rings.iter().enumerate().map(|(i, own)| if i == 0 { ring(own) } else { -ring(own) }).sum()
    }

    fn total(faces: &[Face], within: bool) -> f64 {
        faces.iter().filter(|face| face.within == within).map(area_of).sum()
    }

    #[test]
    fn a_block_on_a_block_loses_where_they_touch() {
        let slab = shown(Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0)), false);
        let post = shown(Part::cuboid([0.1, 0.1, 0.3], [0.1, 0.05, 0.2], Some(1)), false);
        let alone = total(&surface(std::slice::from_ref(&slab)), false);
        assert_relative_eq!(alone, 2.0 * (0.24 + 0.06 + 0.04), max_relative = 1e-6);
        let both = surface(&[slab, post]);
        assert_relative_eq!(total(&both, false), alone + 4.0 * 0.03 + 0.01 - 0.01, max_relative = 1e-6);
        assert!(both.iter().all(|face| !face.within));
        // The top of the slab has a hole where the post stands.
        assert!(both.iter().any(|face| face.part == 0 && face.rings.len() == 2));
    }

    #[test]
    fn a_bar_within_a_cast_is_seen_through_it_alone() {
        let parts = |seen_through| {
            let cast = shown(Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0)), seen_through);
            let bar = shown(Part::cuboid([0.6, 0.04, 0.04], [0.0; 3], Some(1)), false);
            surface(&[cast, bar])
        };
        assert_relative_eq!(total(&parts(true), true), 4.0 * 0.6 * 0.04, max_relative = 1e-6);
        assert_relative_eq!(total(&parts(false), true), 0.0);
        let closed = 2.0 * (0.24 + 0.06 + 0.04);
        assert_relative_eq!(total(&parts(true), false), closed, max_relative = 1e-6);
    }

    #[test]
    fn a_hole_shows_its_wall_and_leaves_the_faces_open() {
        let slab = shown(Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0)), false);
        let hole = Part::cylinder(0.1, 0.2, Vector3::z(), [0.1, 0.0, 0.0], None);
        let faces = surface(&[slab, shown(hole, false)]);
        let open = CHORDS as f64 / 2.0 * 0.05 * 0.05 * (TAU / CHORDS as f64).sin();
        let wall = CHORDS as f64 * 0.1 * (0.5 * TAU / CHORDS as f64).sin() * 0.1;
        assert_relative_eq!(total(&faces, false), 0.68 - 2.0 * open + wall, max_relative = 1e-6);
        let walls = faces.iter().filter(|face| face.normal.z.abs() < 0.5 && face.normal.y.fract() != 0.0);
        for face in walls.filter(|face| face.rings[0].iter().all(|c| (c.at.x - 0.1).hypot(c.at.y) < 0.0501)) {
            let inward = Vector3::new(0.1, 0.0, 0.0) - face.rings[0][0].at;
            assert!(face.normal.dot(&inward) > 0.0, "a wall looks into its hole");
        }
    }

    #[test]
    fn parts_turned_together_have_the_same_surface() {
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let parts = [
            Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0)),
            Part::cylinder(0.1, 0.3, Vector3::new(0.2, 0.1, 1.0), [0.1, 0.0, 0.1], Some(1)),
        ];
        let straight: Vec<Shown> = parts.iter().map(|part| shown(part.clone(), false)).collect();
        let turned: Vec<Shown> = parts.iter().map(|part| shown(part.turned(&turn), false)).collect();
        assert_relative_eq!(
            total(&surface(&straight), false),
            total(&surface(&turned), false),
            max_relative = 1e-5
        );
    }
    #[test]
    fn a_box_of_triangles_is_drawn_with_the_edges_of_a_box() {
        let drawn = crate::stl::tests::cuboid([0.0; 3], [0.6, 0.4, 0.1]);
        let own = std::sync::Arc::new(crate::closed_surface::ClosedSurface::new(&drawn).unwrap());
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let faces = surface(&[shown(Part::bounded(own, [0.1, 0.0, 0.0], &turn, Some(0)), false)]);
        assert_relative_eq!(total(&faces, false), 2.0 * (0.24 + 0.06 + 0.04), max_relative = 1e-9);
        let middle = Vector3::new(0.1, 0.0, 0.0) + turn * Vector3::new(0.3, 0.2, 0.05);
        assert!(faces.iter().all(|face| face.normal.dot(&(face.rings[0][0].at - middle)) > 0.0));
        // Each of the twelve edges from both sides; the diagonals are none.
        let edges = faces.iter().flat_map(|face| &face.rings[0]).filter(|corner| corner.edge == Edge::Sharp);
        assert_eq!(edges.count(), 24);
    }
}
