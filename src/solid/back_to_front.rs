//! Faces in an order in which each may be drawn over those before it, for every direction of view.
//!
//! The plane of one face divides all others into those before and those behind it; faces on both sides are cut.
//! Each half is divided in turn. What lies on the far side of a plane never hides what lies on the near side:
//!
//! ```text
//! far half, faces in the plane, near half
//! ```
//!
//! # Source
//! - `fuchs1980`: the tree of planes and its traversal

use super::surface::{Corner, Edge, Face};
use nalgebra::Vector3;

/// One plane of a tree, with the faces in it and the halves beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Divide {
    /// Its unit normal.
    pub normal: Vector3<f64>,
    /// The faces in it, by number, in the order in which they are drawn.
    pub faces: Vec<usize>,
    /// The number of the divide of what lies against its normal.
    pub behind: Option<usize>,
    /// The number of the divide of what lies along its normal.
    pub before: Option<usize>,
}

/// Faces cut so that they have an order in every view; the first divide is the root.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BackToFront {
    /// The faces.
    pub faces: Vec<Face>,
    /// The planes.
    pub divides: Vec<Divide>,
}

/// Faces tried as the next divide.
const TRIED: usize = 12;
/// Distance within which a corner lies in a plane, as a part of the size of all faces.
const IN_PLANE: f64 = 1e-6;

impl BackToFront {
    /// Orders `faces`, of which later ones lie over earlier ones in the same plane.
    pub fn new(faces: Vec<Face>) -> BackToFront {
        let all = || faces.iter().flat_map(|face| face.rings.iter().flatten().map(|corner| corner.at));
        let least = all().fold(Vector3::repeat(f64::INFINITY), |a, b| a.inf(&b));
        let most = all().fold(Vector3::repeat(f64::NEG_INFINITY), |a, b| a.sup(&b));
        let near = IN_PLANE * (most - least).norm();
        let mut tree = BackToFront::default();
        if near.is_finite() {
            tree.divide(faces, near);
        }
        tree
    }

    /// The numbers of the faces as they are drawn, seen from the direction `towards` the viewer.
    pub fn order(&self, towards: &Vector3<f64>) -> Vec<usize> {
        let mut order = Vec::with_capacity(self.faces.len());
        if !self.divides.is_empty() {
            self.visit(0, towards, &mut order);
        }
        order
    }

    fn visit(&self, number: usize, towards: &Vector3<f64>, order: &mut Vec<usize>) {
        let divide = &self.divides[number];
        let (far, near) = match divide.normal.dot(towards) >= 0.0 {
            true => (divide.behind, divide.before),
            false => (divide.before, divide.behind),
        };
        if let Some(far) = far {
            self.visit(far, towards, order);
        }
        order.extend(&divide.faces);
        if let Some(near) = near {
            self.visit(near, towards, order);
        }
    }

    fn divide(&mut self, faces: Vec<Face>, near: f64) -> Option<usize> {
        let (normal, off) = plane(faces.get(best(&faces, near)?)?)?;
        let number = self.divides.len();
        self.divides.push(Divide { normal, faces: Vec::new(), behind: None, before: None });
        let mut halves = [Vec::new(), Vec::new()];
        for face in faces {
            let depth = |at: &Vector3<f64>| {
                let depth = normal.dot(at) - off;
                if depth.abs() < near { 0.0 } else { depth }
            };
            let [behind, before] = sides(&face, &normal, off, near);
            match (behind, before) {
                (false, false) => {
                    self.divides[number].faces.push(self.faces.len());
                    self.faces.push(face);
                }
                (true, false) => halves[0].push(face),
                (false, true) => halves[1].push(face),
                (true, true) => {
                    for (half, sign) in halves.iter_mut().zip([-1.0, 1.0]) {
                        let rings = face.rings.iter().map(|ring| cut(ring, |at| sign * depth(at)));
                        let rings: Vec<Vec<Corner>> = rings.filter(|ring| ring.len() > 2).collect();
                        if !rings.is_empty() {
                            half.push(Face { rings, ..face.clone() });
                        }
                    }
                }
            }
        }
        let [behind, before] = halves;
        let behind = self.divide(behind, near);
        let before = self.divide(before, near);
        self.divides[number].behind = behind;
        self.divides[number].before = before;
        Some(number)
    }
}

fn plane(face: &Face) -> Option<(Vector3<f64>, f64)> {
    let at = face.rings.first()?.first()?.at;
    Some((face.normal, face.normal.dot(&at)))
}

/// Whether a face reaches behind and before a plane.
fn sides(face: &Face, normal: &Vector3<f64>, off: f64, near: f64) -> [bool; 2] {
    let depths = || face.rings.iter().flatten().map(|corner| normal.dot(&corner.at) - off);
    [depths().any(|depth| depth < -near), depths().any(|depth| depth > near)]
}

/// The face whose plane cuts few others and divides them evenly.
fn best(faces: &[Face], near: f64) -> Option<usize> {
    let step = faces.len().div_ceil(TRIED).max(1);
    (0..faces.len()).step_by(step).min_by_key(|i| {
        let Some((normal, off)) = plane(&faces[*i]) else { return usize::MAX };
        let (mut cuts, mut halves) = (0, [0_usize; 2]);
        for face in faces {
            match sides(face, &normal, off, near) {
                [true, true] => cuts += 1,
                [behind, before] => {
                    halves[0] += usize::from(behind);
                    halves[1] += usize::from(before);
                }
            }
        }
        8 * cuts + halves[0].abs_diff(halves[1])
    })
}

/// What of a ring lies where `depth` is positive.
fn cut(ring: &[Corner], depth: impl Fn(&Vector3<f64>) -> f64) -> Vec<Corner> {
    let mut kept = Vec::with_capacity(ring.len() + 2);
    for i in 0..ring.len() {
        let (a, b) = (&ring[i], &ring[(i + 1) % ring.len()]);
        let (d, e) = (depth(&a.at), depth(&b.at));
        let between = || a.at + (b.at - a.at) * (d / (d - e));
        if d >= 0.0 {
            let leaves = d == 0.0 && e < 0.0;
            kept.push(if leaves { Corner { edge: Edge::Cut, ..*a } } else { *a });
        }
        if d > 0.0 && e < 0.0 {
            kept.push(Corner { at: between(), edge: Edge::Cut });
        } else if d < 0.0 && e > 0.0 {
            kept.push(Corner { at: between(), edge: a.edge });
        }
    }
    let reaches = kept.iter().any(|corner| depth(&corner.at) > 0.0);
    if reaches { kept } else { Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::super::part::Part;
    use super::super::surface::{Shown, surface};
    use super::*;
    use proptest::prelude::*;

    /// Corner and the sides from it, m, of a flat face without holes that is square.
    fn centre(face: &Face) -> Vector3<f64> {
        let ring = &face.rings[0];
        ring.iter().map(|corner| corner.at).sum::<Vector3<f64>>() / ring.len() as f64
    }

    /// Whether the line from `eye` along `-towards` meets a convex face, and how near to the viewer.
    fn met(face: &Face, at: &Vector3<f64>, towards: &Vector3<f64>) -> Option<f64> {
        let slope = face.normal.dot(towards);
        let t = face.normal.dot(&(face.rings[0][0].at - at)) / slope;
        let place = at + towards * t;
        let inside = face.rings.iter().fold(false, |inside, ring| {
            let turn: f64 = (0..ring.len())
                .map(|i| {
                    let (a, b) = (ring[i].at - place, ring[(i + 1) % ring.len()].at - place);
                    a.cross(&b).dot(&face.normal).atan2(a.dot(&b))
                })
                .sum();
            inside != (turn.abs() > 3.0)
        });
        (inside && slope.abs() > 0.05).then_some(t)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Along any line of sight the last face drawn is the nearest one.
        #[test]
        fn what_is_drawn_last_is_nearest(
            places in prop::collection::vec((-1.0..1.0, -1.0..1.0, -1.0..1.0, 0.1..0.9, 0.1..0.9, 0.1..0.9), 2..6),
            turn in 0.0..6.2, rise in -1.5..1.5,
        ) {
            let shown: Vec<Shown> = places.iter().enumerate().map(|(i, (x, y, z, a, b, c))| {
                let part = Part::cuboid([*a, *b, *c], [*x, *y, *z], Some(0));
                Shown { part, owner: i, seen_through: false }
            }).collect();
            let tree = BackToFront::new(surface(&shown));
            let towards = Vector3::new(f64::cos(turn) * f64::cos(rise), f64::sin(turn) * f64::cos(rise), f64::sin(rise));
            let order = tree.order(&towards);
            prop_assert_eq!(order.len(), tree.faces.len());
            for face in &tree.faces {
                let at = centre(face);
                let seen: Vec<f64> = order.iter().filter_map(|i| met(&tree.faces[*i], &at, &towards)).collect();
                for pair in seen.windows(2) {
                    prop_assert!(pair[1] > pair[0] - 1e-4, "{seen:?}");
                }
            }
        }
    }
}
