//! What moves without force: rigid-body motions of a base that nothing holds, and mechanisms.
//!
//! Rigid-body motions follow from the drawing alone. Members that are connected form one body; a
//! motion of a body is free when none of its feet and anchors resists it. Every further motion without
//! strain is a mechanism.

use super::mechanism::{Mechanism, ModesFault};
use nalgebra::{Matrix6, SymmetricEigen, Vector3, Vector6};
use stillbed_frame::{Energies, Frame, Layout};

/// Smallest part of a direction, relative to the whole, that is distinguished from rounding.
const SMALL: f64 = 1e-6;

/// A rigid-body motion of one body that nothing resists.
#[derive(Debug, Clone, PartialEq)]
pub struct RigidMotion {
    /// Such as "moves along x" or "turns about z".
    pub name: String,
    /// By point: true when it belongs to the body.
    pub(super) body: Vec<bool>,
    /// Displacement and rotation about `origin`.
    pub(super) motion: Vector6<f64>,
    pub(super) origin: Vector3<f64>,
}

/// The rigid-body motions of `frame`, body after body.
pub(super) fn rigid_motions(frame: &Frame) -> Vec<RigidMotion> {
    let bodies = bodies(frame);
    let several = bodies.len() > 1;
    bodies.into_iter().flat_map(|body| free_motions(frame, body, several)).collect()
}

/// By body and point: true where it is one of its points; bodies in the order of their first points.
pub fn bodies(frame: &Frame) -> Vec<Vec<bool>> {
    let mut neighbours = vec![Vec::new(); frame.points.len()];
    for member in &frame.members {
        neighbours[member.from].push(member.to);
        neighbours[member.to].push(member.from);
    }
    for arm in &frame.arms {
        neighbours[arm.from].push(arm.to);
        neighbours[arm.to].push(arm.from);
    }
    for body in &frame.bodies {
        for pair in body.points.windows(2) {
            neighbours[pair[0]].push(pair[1]);
            neighbours[pair[1]].push(pair[0]);
        }
    }
    let mut seen = vec![false; frame.points.len()];
    let mut bodies = Vec::new();
    for first in 0..seen.len() {
        if seen[first] {
            continue;
        }
        let mut body = vec![false; seen.len()];
        let mut open = vec![first];
        while let Some(point) = open.pop() {
            if !seen[point] {
                seen[point] = true;
                body[point] = true;
                open.extend(&neighbours[point]);
            }
        }
        bodies.push(body);
    }
    bodies
}

fn free_motions(frame: &Frame, body: Vec<bool>, several: bool) -> Vec<RigidMotion> {
    let own: Vec<usize> = (0..body.len()).filter(|p| body[*p]).collect();
    let origin = own.iter().map(|p| frame.points[*p].position).sum::<Vector3<f64>>() / own.len() as f64;
    let reach = |p: &usize| (frame.points[*p].position - origin).norm();
    let size = own.iter().map(reach).fold(0.0, f64::max).max(f64::MIN_POSITIVE);
    // The resisted motions, each resistance counted as one; rotations in units of the size.
    let scale = Matrix6::from_diagonal(&Vector6::new(1.0, 1.0, 1.0, 1.0 / size, 1.0 / size, 1.0 / size));
    let mut resisted = Matrix6::<f64>::zeros();
    let mut resist = |point: usize, axis: usize| {
        let arm = frame.points[point].position - origin;
        let mut row = Vector6::zeros();
        row[axis] = 1.0;
        if axis < 3 {
            let unit = Vector3::ith(axis, 1.0);
            row.fixed_rows_mut::<3>(3).copy_from(&arm.cross(&unit));
        }
        let row = scale * row;
        let length = row.norm();
        if body[point] && length > 0.0 {
            resisted += row * row.transpose() / (length * length);
        }
    };
    for foot in &frame.feet {
        for (axis, _) in foot.six().iter().enumerate().filter(|(_, spring)| spring.re > 0.0) {
            foot.at.iter().for_each(|point| resist(*point, axis));
        }
    }
    for anchor in &frame.anchors {
        for axis in (0..6).filter(|axis| anchor.hold[*axis]) {
            anchor.at.iter().for_each(|point| resist(*point, axis));
        }
    }
    let SymmetricEigen { eigenvectors, eigenvalues } = SymmetricEigen::new(resisted);
    let free: Vec<Vector6<f64>> = (0..6)
        .filter(|i| eigenvalues[*i] < 1e-10 * f64::max(1.0, eigenvalues.max()))
        .map(|i| eigenvectors.column(i).into_owned())
        .collect();
    let with = match own.first() {
        Some(first) if several => format!("\"{}\" and what hangs on it ", frame.points[*first].name),
        _ => String::new(),
    };
    readable(free)
        .into_iter()
        .map(|scaled| {
            let motion = scale * scaled;
            let name = format!("{with}{}", name(&motion, &origin, size));
            RigidMotion { name, body: body.clone(), motion, origin }
        })
        .collect()
}

/// Another basis of the same motions, along and about single axes where it can be.
fn readable(free: Vec<Vector6<f64>>) -> Vec<Vector6<f64>> {
    let mut rows = free;
    // Reduced row echelon form, with rotations eliminated first.
    let mut done = 0;
    for axis in [5, 4, 3, 2, 1, 0] {
        let size = |row: &Vector6<f64>| row[axis].abs();
        let best = (done..rows.len()).max_by(|a, b| size(&rows[*a]).total_cmp(&size(&rows[*b])));
        let Some(best) = best.filter(|best| size(&rows[*best]) > SMALL) else { continue };
        rows.swap(done, best);
        let pivot = rows[done] / rows[done][axis];
        rows[done] = pivot;
        for i in (0..rows.len()).filter(|i| *i != done) {
            let part = rows[i][axis];
            rows[i] -= pivot * part;
        }
        done += 1;
    }
    rows.reverse();
    rows.into_iter().map(|row| row.map(|x| if x.abs() < SMALL { 0.0 } else { x })).collect()
}

/// What a motion does, in words.
fn name(motion: &Vector6<f64>, origin: &Vector3<f64>, size: f64) -> String {
    let moved: Vector3<f64> = motion.fixed_rows::<3>(0).into();
    let turned: Vector3<f64> = motion.fixed_rows::<3>(3).into();
    let direction = |v: &Vector3<f64>| {
        let unit = v.normalize();
        match (0..3).find(|i| unit[*i].abs() > 1.0 - SMALL) {
            Some(axis) => ["x", "y", "z"][axis].to_string(),
            None => format!("({:.2}, {:.2}, {:.2})", unit.x, unit.y, unit.z),
        }
    };
    if turned.norm() * size <= SMALL * moved.norm() {
        return format!("moves along {}", direction(&moved));
    }
    if moved.norm() <= SMALL * turned.norm() * size {
        return format!("turns about {}", direction(&turned));
    }
    let centre = origin + turned.cross(&moved) / turned.norm_squared();
    let [x, y, z] = [centre.x, centre.y, centre.z].map(|c| if c.abs() < 5e-4 { 0.0 } else { c });
    format!("turns about {} through ({x:.3}, {y:.3}, {z:.3}) m", direction(&turned))
}

/// The fault for motions without strain, `(n)` each, that are more than the rigid-body motions.
pub(super) fn mechanism(
    frame: &Frame,
    layout: &Layout,
    rigid: &[RigidMotion],
    without_strain: &[&[f64]],
) -> ModesFault {
    // What is left of each when the rigid-body motions are taken out.
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let out = |vector: &mut Vec<f64>, basis: &[Vec<f64>]| {
        for _ in 0..2 {
            for other in basis {
                let part = dot(vector, other);
                vector.iter_mut().zip(other).for_each(|(v, o)| *v -= part * o);
            }
        }
        let length = dot(vector, vector).sqrt();
        vector.iter_mut().for_each(|v| *v /= length.max(f64::MIN_POSITIVE));
        length
    };
    for motion in rigid {
        let mut vector = layout.rigid_motion_of(frame, &motion.body, &motion.motion, &motion.origin);
        if out(&mut vector, &basis) > 0.0 {
            basis.push(vector);
        }
    }
    let mut moving = vec![0.0; frame.members.len()];
    for motion in without_strain {
        let mut vector = motion.to_vec();
        let before = dot(&vector, &vector).sqrt();
        if out(&mut vector, &basis) < 1e-3 * before {
            continue;
        }
        let inertia = Energies::new(frame, layout).and_then(|energies| energies.inertia(&[&vector]));
        for (sum, own) in moving.iter_mut().zip(inertia.unwrap_or_default()) {
            *sum += own[(0, 0)];
        }
        basis.push(vector);
    }
    let most = moving.iter().copied().fold(0.0, f64::max);
    let members = frame.members.iter().zip(&moving);
    let members = members.filter(|(_, m)| **m >= 0.3 * most).map(|(member, _)| member.name.clone());
    let count = without_strain.len().saturating_sub(rigid.len()).max(1);
    ModesFault::Mechanism(Mechanism { count, members: members.collect() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{cantilever, crooked, point};
    use num_complex::Complex64;
    use stillbed_frame::{Anchor, Foot};

    fn names(frame: &Frame) -> Vec<String> {
        rigid_motions(frame).into_iter().map(|motion| motion.name).collect()
    }

    #[test]
    fn a_free_frame_moves_in_six_ways() {
        let mut frame = crooked();
        frame.feet.clear();
        assert_eq!(
            names(&frame),
            [
                "moves along x",
                "moves along y",
                "moves along z",
                "turns about x",
                "turns about y",
                "turns about z"
            ]
        );
    }

    #[test]
    fn a_held_frame_does_not_move() {
        assert!(names(&cantilever()).is_empty());
        assert!(names(&crooked()).is_empty());
    }

    #[test]
    fn a_pin_leaves_a_turn_about_itself() {
        let mut frame = cantilever();
        frame.anchors[0].hold = [true, true, true, true, true, false];
        assert_eq!(names(&frame), ["turns about z through (0.000, 0.000, 0.000) m"]);
    }

    #[test]
    fn feet_that_slide_leave_the_plane() {
        let mut frame = cantilever();
        frame.anchors.clear();
        frame.points.push(point("side", 0.0, 1.0, 0.0));
        frame.members.push(crate::sample::member("side", 0, 2));
        let zero = Complex64::default();
        frame.feet.push(Foot {
            name: "pads".into(),
            at: vec![0, 1, 2],
            stiffness: [zero, zero, Complex64::from(1e6)],
            turning: [zero; 3],
        });
        assert_eq!(names(&frame), ["moves along x", "moves along y", "turns about z"]);
    }

    #[test]
    fn two_bodies_are_told_apart() {
        let mut frame = cantilever();
        frame.points.push(point("p", 0.0, 1.0, 0.0));
        frame.points.push(point("q", 1.0, 1.0, 0.0));
        frame.members.push(crate::sample::member("loose", 2, 3));
        let hold = [false, true, true, true, true, true];
        frame.anchors.push(Anchor { name: "guide".into(), at: vec![2], hold });
        assert_eq!(names(&frame), ["\"p\" and what hangs on it moves along x"]);
    }

    #[test]
    fn a_pin_near_the_middle_is_named_by_its_place() {
        let mut frame = cantilever();
        frame.points.push(point("far", 2.0, 0.0, 0.0));
        frame.points[1].position.x = 0.8;
        frame.members.push(crate::sample::member("second", 1, 2));
        frame.anchors[0].at = vec![1];
        frame.anchors[0].hold = [true, true, true, true, true, false];
        assert_eq!(names(&frame), ["turns about z through (0.800, 0.000, 0.000) m"]);
    }
}
