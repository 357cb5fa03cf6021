//! The base as a rigid body on its feet: divides a motion into the rigid-body motion on the feet
//! and the structure's own.
//!
//! ```text
//! q = (Zᵀ K_f Z)⁻¹ Zᵀ K_f u        u the motion, Z the rigid-body motions, K_f the feet's springs
//! own = u - Z q
//! ```
//!
//! q is the rigid-body motion nearest to the motion of the feet, weighted by their stiffness. For a base
//! at rest under a load f, Zᵀ K_f u = Zᵀ f, because members cannot push the base as a whole. So q is
//! what a rigid base would do on the same feet, and it is zero for a load in equilibrium by itself, such
//! as a change of temperature. Any number of feet will do: a motion that feet and anchors leave
//! undetermined does not count.
//!
//! Forces on two points that are drawn apart form a couple, under which a base on soft feet rolls as a whole.
//! Tool and work touch each other, so that in reality there is no such couple. Their load b is therefore
//! balanced by the feet as a rigid base would share it,
//!
//! ```text
//! b' = b - K_f Z (Zᵀ K_f Z)⁻¹ Zᵀ b        b'ᵀ u = bᵀ own(u)
//! ```
//!
//! which is the same as to see the two points move relative to the rigid-body motion of the base.
//!
//! Anchors are part of the ground, and only motions that leave them at rest count; a base that is fully
//! anchored has none. Halves that are not connected are taken as one body.

use nalgebra::{DMatrix, DVector, Matrix6, SymmetricEigen, Vector3, Vector6};
use std::cell::OnceCell;
use stillbed_frame::{Frame, Layout};

/// Below this fraction of the largest, a resistance is rounding.
const NOTHING: f64 = 1e-10;

/// A base as a rigid body on its feet.
#[derive(Debug, Clone)]
pub struct Footing {
    /// Rigid-body motions that the anchors allow, by degree of freedom, each of shape (n).
    motions: Vec<Vec<f64>>,
    /// The same as displacement and rotation about `origin`.
    wholes: Vec<Vector6<f64>>,
    origin: Vector3<f64>,
    springs: Vec<FootSpring>,
    /// (Zᵀ K_f Z)⁻¹, shape (motions, motions).
    give: DMatrix<f64>,
}

impl Footing {
    /// For `frame` in `layout`; `None` without feet on springs, or where anchors hold the whole base.
    pub fn new(frame: &Frame, layout: &Layout) -> Option<Footing> {
        let springs = springs(frame, layout);
        if springs.is_empty() {
            return None;
        }
        let (origin, wholes) = wholes(frame);
        let motions: Vec<Vec<f64>> =
            wholes.iter().map(|whole| layout.rigid_motion(frame, whole, &origin)).collect();
        let held = DMatrix::from_fn(motions.len(), motions.len(), |i, j| {
            springs
                .iter()
                .map(|spring| spring.stiffness * spring.seen(&motions[i]) * spring.seen(&motions[j]))
                .sum()
        });
        (!motions.is_empty()).then(|| Footing {
            give: pseudo_inverse(held),
            motions,
            wholes,
            origin,
            springs,
        })
    }

    /// How much of each rigid-body motion is in the motion of the feet: q.
    fn parts(&self, motion: &[f64]) -> DVector<f64> {
        let pushed = |own: &Vec<f64>| -> f64 {
            self.springs.iter().map(|spring| spring.stiffness * spring.seen(own) * spring.seen(motion)).sum()
        };
        &self.give * DVector::from_iterator(self.motions.len(), self.motions.iter().map(pushed))
    }

    /// The rigid-body motion on the feet for the `motion` of the degrees of freedom: displacement, m, at the
    /// place `at`, and rotation, rad.
    pub fn motion(&self, motion: &[f64], at: &Vector3<f64>) -> Vector6<f64> {
        let mut whole: Vector6<f64> =
            self.parts(motion).iter().zip(&self.wholes).map(|(part, whole)| whole * *part).sum();
        let turn: Vector3<f64> = whole.fixed_rows::<3>(3).into();
        let carried = turn.cross(&(at - self.origin));
        whole.fixed_rows_mut::<3>(0).iter_mut().zip(&carried).for_each(|(own, more)| *own += more);
        whole
    }

    /// `load`, (n), balanced by the feet as a rigid base would share it. Where a foot alone takes up a load,
    /// exactly nothing is left, not its rounding.
    pub fn balanced(&self, load: &[f64]) -> Vec<f64> {
        let push = |own: &Vec<f64>| own.iter().zip(load).map(|(z, f)| z * f).sum::<f64>();
        let pushed = DVector::from_iterator(self.motions.len(), self.motions.iter().map(push));
        let parts = &self.give * pushed;
        let mut balanced = load.to_vec();
        for spring in &self.springs {
            let k = spring.stiffness;
            let moved = parts.iter().zip(&self.motions).map(|(part, own)| part * spring.seen(own));
            let (sum, size) = moved.fold((0.0, 0.0), |(sum, size), one| (sum + one, size + one.abs()));
            for (dof, part) in &spring.along {
                let whole = balanced[*dof].abs() + k * size * part.abs();
                let left = balanced[*dof] - k * sum * part;
                balanced[*dof] = if left.abs() > NOTHING * whole { left } else { 0.0 };
            }
        }
        balanced
    }

    /// The structure's own motion: `motion`, (n), without the rigid-body motion on the feet.
    pub fn own(&self, motion: &[f64]) -> Vec<f64> {
        let mut own = motion.to_vec();
        for (part, whole) in self.parts(motion).iter().zip(&self.motions) {
            own.iter_mut().zip(whole).for_each(|(own, whole)| *own -= part * whole);
        }
        own
    }
}

/// One spring of a foot at one point.
#[derive(Debug, Clone)]
pub(super) struct FootSpring {
    /// The motion that it resists, as a sum over degrees of freedom.
    along: Vec<(usize, f64)>,
    /// N/m or N m/rad.
    pub(super) stiffness: f64,
}

impl FootSpring {
    /// How much of the motion that it resists is in `motion`.
    pub(super) fn seen(&self, motion: &[f64]) -> f64 {
        self.along.iter().map(|(dof, part)| part * motion[*dof]).sum()
    }
}

/// The springs of feet that resist some degree of freedom.
pub(super) fn springs(frame: &Frame, layout: &Layout) -> Vec<FootSpring> {
    let mut springs = Vec::new();
    for foot in &frame.feet {
        for (axis, spring) in foot.six().iter().enumerate().filter(|(_, spring)| spring.re > 0.0) {
            let along = foot.at.iter().map(|point| layout.direction(*point, axis));
            let stiffness = spring.re;
            springs
                .extend(along.filter(|along| !along.is_empty()).map(|along| FootSpring { along, stiffness }));
        }
    }
    springs
}

/// Forces between two points of a frame.
pub struct Pushes<'a> {
    frame: &'a Frame,
    layout: &'a Layout,
    footing: OnceCell<Option<Footing>>,
}

impl<'a> Pushes<'a> {
    /// For `frame` in `layout`.
    pub fn new(frame: &'a Frame, layout: &'a Layout) -> Pushes<'a> {
        Pushes { frame, layout, footing: OnceCell::new() }
    }

    /// The load of a unit force along `direction` on point `tip` and of its reaction at `work`, (n). Its
    /// product with a motion is the relative displacement. Between two points it is the structure's load,
    /// balanced by the feet; against the ground, `None`, it is the force alone.
    pub fn between(&self, tip: usize, work: Option<usize>, direction: &Vector6<f64>) -> Vec<f64> {
        let load = self.layout.between(tip, work, direction);
        let footing = || self.footing.get_or_init(|| Footing::new(self.frame, self.layout)).as_ref();
        match work.and_then(|_| footing()) {
            Some(footing) => footing.balanced(&load),
            None => load,
        }
    }
}

/// A place amid the points, and the rigid-body motions about it that leave the anchors at
/// rest, all of similar size.
pub(super) fn wholes(frame: &Frame) -> (Vector3<f64>, Vec<Vector6<f64>>) {
    let count = frame.points.len().max(1) as f64;
    let origin: Vector3<f64> = frame.points.iter().map(|point| point.position).sum::<Vector3<f64>>() / count;
    let reach = |point: &stillbed_frame::Point| (point.position - origin).norm();
    let size = frame.points.iter().map(reach).fold(0.0, f64::max).max(f64::MIN_POSITIVE);
    let scale = Matrix6::from_diagonal(&Vector6::new(1.0, 1.0, 1.0, 1.0 / size, 1.0 / size, 1.0 / size));
    let mut held = Matrix6::<f64>::zeros();
    for anchor in &frame.anchors {
        for axis in (0..6).filter(|axis| anchor.hold[*axis]) {
            for point in anchor.at.iter().filter_map(|point| frame.points.get(*point)) {
                let mut row = Vector6::zeros();
                row[axis] = 1.0;
                if axis < 3 {
                    let turned = (point.position - origin).cross(&Vector3::ith(axis, 1.0));
                    row.fixed_rows_mut::<3>(3).copy_from(&turned);
                }
                let row = (scale * row).normalize();
                held += row * row.transpose();
            }
        }
    }
    if !held.iter().all(|value| value.is_finite()) {
        return (origin, Vec::new());
    }
    let SymmetricEigen { eigenvectors, eigenvalues } = SymmetricEigen::new(held);
    let free = (0..6).filter(|i| eigenvalues[*i] < NOTHING * eigenvalues.max().max(1.0));
    (origin, free.map(|i| scale * eigenvectors.column(i)).collect())
}

/// The inverse of a symmetric matrix in the directions where it is not zero; zero for a
/// matrix that is not finite.
pub(super) fn pseudo_inverse(matrix: DMatrix<f64>) -> DMatrix<f64> {
    if !matrix.iter().all(|value| value.is_finite()) {
        return DMatrix::zeros(matrix.nrows(), matrix.ncols());
    }
    let SymmetricEigen { eigenvectors, eigenvalues } = SymmetricEigen::new(matrix);
    let least = NOTHING * eigenvalues.amax();
    let inverse = eigenvalues.map(|value| if value > least { 1.0 / value } else { 0.0 });
    &eigenvectors * DMatrix::from_diagonal(&inverse) * eigenvectors.transpose()
}

#[cfg(test)]
mod tests {
    use super::super::statics::Statics;
    use super::*;
    use crate::sample::{cantilever, crooked, member, point, square, table};
    use approx::assert_relative_eq;
    use num_complex::Complex64;
    use stillbed_eigen::Vectors;
    use stillbed_frame::{Anchor, Foot};
    use stillbed_input::quantity::GRAVITY;

    fn foot(name: &str, at: Vec<usize>, k: [f64; 3]) -> Foot {
        let stiffness = k.map(Complex64::from);
        Foot { name: name.into(), at, stiffness, turning: [Complex64::ZERO; 3] }
    }

    fn weighed<'a>(frame: &'a Frame) -> (Statics<'a>, Vec<f64>) {
        let statics = Statics::factor(frame).unwrap();
        let down = -Vector6::z() * GRAVITY;
        let load = statics.layout.inertia_load(frame, &down, &Vector3::zeros()).unwrap();
        let motion = statics.solve(&Vectors::single(&load)).unwrap();
        let motion = motion.column(0).to_vec();
        (statics, motion)
    }

    /// The table on four feet of different stiffness.
    fn on_feet(k: f64) -> Frame {
        let mut frame = table();
        frame.anchors.clear();
        let corner = |i: usize, part: f64| foot(&format!("foot {i}"), vec![i], [k, 0.8 * k, part * k]);
        frame.feet = vec![corner(0, 1.0), corner(1, 1.3), corner(2, 0.7), corner(3, 1.1)];
        frame
    }

    #[test]
    fn the_whole_sinks_as_a_rigid_base_on_its_springs() {
        let frame = on_feet(2e4);
        let (statics, motion) = weighed(&frame);
        let footing = Footing::new(&frame, &statics.layout).unwrap();
        let body = frame.rigid_body().unwrap();
        let whole = footing.motion(&motion, &body.centre);
        // By hand: springs under a rigid body, about its centre of gravity.
        let mut held = Matrix6::<f64>::zeros();
        for foot in &frame.feet {
            let arm = frame.points[foot.at[0]].position - body.centre;
            for axis in 0..3 {
                let unit = Vector3::ith(axis, 1.0);
                let turned = arm.cross(&unit);
                let row = Vector6::new(unit.x, unit.y, unit.z, turned.x, turned.y, turned.z);
                held += row * row.transpose() * foot.stiffness[axis].re;
            }
        }
        let sunk = held.lu().solve(&(-Vector6::z() * body.mass * GRAVITY)).unwrap();
        assert_relative_eq!(whole, sunk, max_relative = 1e-6, epsilon = 1e-9 * sunk.norm());
        // The rest has no rigid-body part in it.
        assert!(footing.motion(&footing.own(&motion), &body.centre).norm() < 1e-9 * whole.norm());
    }

    #[test]
    fn what_is_left_does_not_depend_on_how_soft_the_feet_are() {
        let own = |k: f64| {
            let frame = on_feet(k);
            let (statics, motion) = weighed(&frame);
            let own = Footing::new(&frame, &statics.layout).unwrap().own(&motion);
            statics.point(5, &own) - statics.point(0, &own)
        };
        let (soft, softer) = (own(1e3), own(1e1));
        assert!(soft.norm() > 0.0);
        assert_relative_eq!(soft, softer, max_relative = 1e-2, epsilon = 1e-3 * soft.norm());
    }

    #[test]
    fn a_balanced_load_moves_no_whole() {
        let frame = on_feet(2e4);
        let statics = Statics::factor(&frame).unwrap();
        let load = statics.layout.between(5, Some(0), &Vector6::new(1.0, 2.0, 3.0, 0.0, 0.0, 0.0));
        let motion = statics.solve(&Vectors::single(&load)).unwrap();
        let motion = motion.column(0).to_vec();
        // Between two points that are apart, a force along no line through both leaves a moment; a pull
        // along their line does not.
        let arm = frame.points[5].position - frame.points[0].position;
        let pull = statics.layout.between(5, Some(0), &Vector6::new(arm.x, arm.y, arm.z, 0.0, 0.0, 0.0));
        let pulled = statics.solve(&Vectors::single(&pull)).unwrap();
        let pulled = pulled.column(0).to_vec();
        let footing = Footing::new(&frame, &statics.layout).unwrap();
        let size = |motion: &[f64]| motion.iter().map(|u| u.abs()).fold(0.0, f64::max);
        let whole = |motion: &[f64]| footing.motion(motion, &Vector3::zeros()).norm();
        assert!(whole(&pulled) < 1e-7 * size(&pulled));
        assert!(whole(&motion) > 1e-3 * size(&motion));
        // Balanced by the feet, the first load gives no rigid-body motion either, and sees
        // only the structure's part.
        let balanced = footing.balanced(&load);
        let eased = statics.solve(&Vectors::single(&balanced)).unwrap();
        let eased = eased.column(0).to_vec();
        assert!(whole(&eased) < 1e-7 * size(&motion));
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        assert_relative_eq!(dot(&balanced, &motion), dot(&load, &footing.own(&motion)), max_relative = 1e-7);
    }

    #[test]
    fn anchors_are_ground() {
        let anchored = cantilever();
        assert!(Footing::new(&anchored, &Layout::divide(&anchored, &[]).unwrap()).is_none());
        // Pinned at one end and on a spring at the other, it turns about the pin.
        let mut frame = cantilever();
        frame.anchors =
            vec![Anchor { name: "pin".into(), at: vec![0], hold: [true, true, true, true, false, true] }];
        frame.feet = vec![foot("spring", vec![1], [0.0, 0.0, 1e3])];
        let (statics, motion) = weighed(&frame);
        let centre = frame.rigid_body().unwrap().centre;
        let whole = Footing::new(&frame, &statics.layout).unwrap().motion(&motion, &centre);
        let length = (frame.points[1].position - frame.points[0].position).norm();
        let weight = frame.rigid_body().unwrap().mass * GRAVITY;
        assert_relative_eq!(whole[4], 0.5 * weight / 1e3 / length, max_relative = 1e-6);
        assert_relative_eq!(whole.z, -0.25 * weight / 1e3, max_relative = 1e-6);
    }

    #[test]
    fn one_foot_that_resists_turning_carries_the_whole() {
        let mut frame = cantilever();
        frame.anchors.clear();
        let turning = [1e2, 1e2, 1e2].map(Complex64::from);
        frame.feet = vec![Foot { turning, ..foot("post", vec![0], [1e4; 3]) }];
        let (statics, motion) = weighed(&frame);
        let body = frame.rigid_body().unwrap();
        let whole = Footing::new(&frame, &statics.layout).unwrap().motion(&motion, &body.centre);
        let (weight, arm) = (body.mass * GRAVITY, body.centre.x - frame.points[0].position.x);
        assert_relative_eq!(whole[4], weight * arm / 1e2, max_relative = 1e-6);
        assert_relative_eq!(whole.z, -weight / 1e4 - whole[4] * arm, max_relative = 1e-6);
    }

    #[test]
    fn the_structure_alone_is_what_rigid_feet_would_leave() {
        // Statically determinate: three feet add to the compliance of the base itself.
        let mut frame = crooked();
        frame.anchors.clear();
        frame.feet = vec![foot("a", vec![0], [1e6; 3]), foot("b", vec![1], [0.0, 1e6, 1e6])];
        frame.feet.push(foot("d", vec![3], [0.0, 0.0, 1e6]));
        let give = |k: f64| {
            let mut frame = frame.clone();
            frame.feet.iter_mut().flat_map(|foot| &mut foot.stiffness).for_each(|s| *s *= k / 1e6);
            let statics = Statics::factor(&frame).unwrap();
            let whole = statics.stiffness(2, None).unwrap();
            (whole, statics.stiffness_of_structure(2, None).unwrap().unwrap())
        };
        let ((soft, own), (stiff, _)) = (give(1e6), give(1e13));
        for axis in 0..3 {
            assert_relative_eq!(own.along[axis], stiff.along[axis], max_relative = 1e-4);
            assert!(soft.along[axis] < own.along[axis]);
        }
        assert_relative_eq!(own.weakest, stiff.weakest, max_relative = 1e-4);
    }

    #[test]
    fn between_points_on_three_feet_nothing_gives() {
        // Each foot takes up the load on its own point, whatever the springs: no member bends.
        for turned in [0.0f64, 0.7, 1.9] {
            let corner = |name: &str, angle: f64| {
                point(name, 0.32 * (angle + turned).cos(), 0.32 * (angle + turned).sin(), 0.0)
            };
            let third = std::f64::consts::TAU / 3.0;
            let frame = Frame {
                points: vec![corner("a", 0.0), corner("b", third), corner("c", 2.0 * third)],
                members: vec![member("ab", 0, 1), member("bc", 1, 2), member("ca", 2, 0)],
                sections: vec![square(0.03)],
                anchors: vec![Anchor {
                    name: "bench".into(),
                    at: vec![0, 1, 2],
                    hold: [true, true, false, false, false, true],
                }],
                feet: vec![foot("pads", vec![0, 1, 2], [4.9e6, 3e8, 1.4e6])],
                ..Frame::default()
            };
            let found = Statics::factor(&frame).unwrap().stiffness(0, Some(1)).unwrap();
            assert_eq!(found.weakest, f64::INFINITY, "{turned}: {found:?}");
        }
    }

    #[test]
    fn between_two_points_soft_feet_give_nothing() {
        let weakest = |k: f64| Statics::factor(&on_feet(k)).unwrap().stiffness(5, Some(4)).unwrap().weakest;
        assert_relative_eq!(weakest(1e2), weakest(1e3), max_relative = 1e-2);
        // Without balance the base rolls under the couple on an arm of 1 m: a stiffness of
        // the order of the springs.
        assert!(weakest(1e2) > 100.0 * 1e2, "{}", weakest(1e2));
        // Along the line through both there is no couple, and no difference to a floating base.
        let mut floating = on_feet(1e2);
        let along = |frame: &Frame| Statics::factor(frame).unwrap().stiffness(5, Some(4)).unwrap().along[0];
        let on_feet = along(&floating);
        floating.feet.clear();
        assert_relative_eq!(on_feet, along(&floating), max_relative = 1e-3);
    }

    #[test]
    fn a_singular_matrix_is_inverted_where_it_is_not_zero() {
        // Of rank two, however large its numbers: the conditions of Penrose, and the rank as a trace.
        let (a, b) = (nalgebra::dvector![1.0, 2.0, 3.0, 0.5], nalgebra::dvector![1.0, -1.0, 0.3, 2.0]);
        for scale in [1e-8, 1.0, 1e9] {
            let matrix = (&a * a.transpose() + &b * b.transpose()) * scale;
            let inverse = pseudo_inverse(matrix.clone());
            assert_relative_eq!((&matrix * &inverse).trace(), 2.0, max_relative = 1e-9);
            let again = (&matrix * &inverse * &matrix - &matrix).amax();
            let back = (&inverse * &matrix * &inverse - &inverse).amax();
            assert!(again < 1e-9 * matrix.amax() && back < 1e-9 * inverse.amax(), "{scale}: {again} {back}");
        }
    }

    #[test]
    fn free_motions_are_of_the_size_of_the_frame() {
        for scale in [1e-3, 1.0, 1e3] {
            let mut frame = table();
            frame.anchors.clear();
            frame.points.iter_mut().for_each(|point| point.position *= scale);
            let (origin, free) = wholes(&frame);
            assert_eq!(free.len(), 6);
            for motion in free {
                let (shift, turn) =
                    (motion.fixed_rows::<3>(0).into_owned(), motion.fixed_rows::<3>(3).into_owned());
                let moved = |point: &stillbed_frame::Point| shift + turn.cross(&(point.position - origin));
                let most = frame.points.iter().map(|point| moved(point).norm()).fold(0.0, f64::max);
                assert!((0.1..10.0).contains(&most), "{scale}: {most}");
            }
        }
    }

    #[test]
    fn the_structure_on_a_soft_foot_is_the_beam_alone() {
        // One foot that is far softer than the beam: what the beam adds is that of a cantilever by hand.
        let mut frame = cantilever();
        frame.anchors.clear();
        let turning = [1e2, 1e2, 1e2].map(Complex64::from);
        frame.feet = vec![Foot { turning, ..foot("post", vec![0], [1e5; 3]) }];
        let statics = Statics::factor(&frame).unwrap();
        let (whole, own) =
            (statics.stiffness(1, None).unwrap(), statics.stiffness_of_structure(1, None).unwrap().unwrap());
        let section = &frame.sections[0].stiffness;
        let beam = 1.0 / (3.0 * section[(4, 4)].re) + 1.0 / section[(2, 2)].re;
        assert_relative_eq!(whole.along[2], 1.0 / (1e-5 + 1e-2 + beam), max_relative = 1e-9);
        assert_relative_eq!(own.along[2], 1.0 / beam, max_relative = 1e-6);
    }

    #[test]
    fn a_load_of_any_size_is_balanced_alike() {
        let frame = on_feet(2e4);
        let statics = Statics::factor(&frame).unwrap();
        let footing = Footing::new(&frame, &statics.layout).unwrap();
        let load = statics.layout.between(5, Some(0), &Vector6::new(1.0, 2.0, 3.0, 0.0, 0.0, 0.0));
        let balanced = footing.balanced(&load);
        for size in [1e-9, 1e9] {
            let scaled: Vec<f64> = load.iter().map(|force| size * force).collect();
            for (own, one) in footing.balanced(&scaled).iter().zip(&balanced) {
                assert_relative_eq!(own / size, *one, epsilon = 1e-9);
            }
        }
    }
}
