//! How points move that follow others on rigid arms, and which degrees of freedom a direction at a point is.
//!
//! ```text
//! d = arm(r) d_lead        r from the point that leads to the one that follows
//! ```

use super::axes::arm;
use super::layout::Layout;
use nalgebra::{Matrix6, Vector6};

impl Layout {
    /// What a unit of each degree of freedom of the point that leads moves at `point`: the identity where it leads
    /// itself.
    pub(super) fn reach(&self, point: usize) -> Matrix6<f64> {
        self.hung[point].map_or(Matrix6::identity(), |hung| arm(&hung.arm))
    }

    /// Displacement, m, and rotation, rad, of a point for the `motion` of the degrees of freedom, global axes.
    pub fn moved(&self, point: usize, motion: &[f64]) -> Vector6<f64> {
        let Some(dofs) = self.points.get(point) else { return Vector6::zeros() };
        let own = Vector6::from_fn(|axis, _| dofs[axis].map_or(0.0, |dof| motion[dof]));
        if self.hung[point].is_some() { self.reach(point) * own } else { own }
    }

    /// The motion of a point along `axis` (0 to 5) as a sum over degrees of freedom; what an anchor holds is left out.
    pub fn direction(&self, point: usize, axis: usize) -> Vec<(usize, f64)> {
        let Some(dofs) = self.points.get(point) else { return Vec::new() };
        let reach = self.reach(point);
        let part = |j: usize| Some((dofs[j]?, reach[(axis, j)])).filter(|(_, part)| *part != 0.0);
        (0..6).filter_map(part).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::arms::Hung;
    use super::super::sample::{cantilever, crooked, member, point};
    use super::super::{Arm, Energies, Foot, Frame, Mass};
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::Vector3;
    use num_complex::Complex64;

    fn with_arm(mut frame: Frame, from: usize, to: [f64; 3]) -> Frame {
        frame.points.push(point("end", to[0], to[1], to[2]));
        let to = frame.points.len() - 1;
        frame.arms.push(Arm { name: "arm".into(), from, to });
        frame
    }

    /// A mass at the end of an arm is that mass with an offset, and so are weight and a force there.
    #[test]
    fn a_mass_on_an_arm_is_a_mass_with_an_offset() {
        let body = |at: usize, offset: Vector3<f64>| Mass {
            name: "m".into(),
            at,
            mass: 3.0,
            offset,
            inertia: Vector3::new(0.02, 0.03, 0.04),
        };
        let mut on_arm = with_arm(cantilever(), 1, [1.0, 0.2, -0.1]);
        on_arm.masses.push(body(2, Vector3::new(0.0, 0.0, 0.05)));
        let mut offset = cantilever();
        offset.masses.push(body(1, Vector3::new(0.0, 0.2, -0.05)));
        let (a, b) = (Layout::divide(&on_arm, &[2]).unwrap(), Layout::divide(&offset, &[2]).unwrap());
        assert_eq!(a.dofs(), b.dofs());
        let (m, n) = (a.matrices(&on_arm).unwrap(), b.matrices(&offset).unwrap());
        for (one, other) in [(&m.mass, &n.mass), (&m.stiffness, &n.stiffness)] {
            for i in 0..a.dofs() {
                for j in 0..a.dofs() {
                    assert_relative_eq!(one.get(i, j), other.get(i, j), epsilon = 1e-9, max_relative = 1e-12);
                }
            }
        }
        let down = -Vector6::z();
        let load =
            |layout: &Layout, frame: &Frame| layout.inertia_load(frame, &down, &Vector3::zeros()).unwrap();
        for (one, other) in load(&a, &on_arm).iter().zip(load(&b, &offset)) {
            assert_relative_eq!(*one, other, epsilon = 1e-12);
        }
        assert_relative_eq!(
            on_arm.rigid_body().unwrap().centre,
            offset.rigid_body().unwrap().centre,
            epsilon = 1e-12
        );
    }

    /// A member that begins at the end of an arm is one with that offset, when the offset is the same at both ends.
    #[test]
    fn members_on_arms_are_members_with_offsets() {
        let shift = Vector3::new(0.0, 0.3, 0.1);
        let mut plain = crooked();
        plain.members[1].offset = shift;
        let mut armed = crooked();
        let (from, to) = (armed.members[1].from, armed.members[1].to);
        let joints = (armed.members[1].joint_from, armed.members[1].joint_to);
        for end in [from, to] {
            let at = armed.points[end].position + shift;
            armed = with_arm(armed, end, at.into());
        }
        let count = armed.points.len();
        (armed.members[1].from, armed.members[1].to) = (count - 2, count - 1);
        (armed.members[1].joint_from, armed.members[1].joint_to) = joints;
        let (a, b) =
            (Layout::divide(&armed, &[1, 2, 1]).unwrap(), Layout::divide(&plain, &[1, 2, 1]).unwrap());
        assert_eq!(a.dofs(), b.dofs());
        let (m, n) = (a.matrices(&armed).unwrap(), b.matrices(&plain).unwrap());
        for i in 0..a.dofs() {
            for j in 0..a.dofs() {
                let scale = n.stiffness.get(i, i).abs().max(n.stiffness.get(j, j).abs());
                assert_relative_eq!(m.stiffness.get(i, j), n.stiffness.get(i, j), epsilon = 1e-12 * scale);
                assert_relative_eq!(m.mass.get(i, j), n.mass.get(i, j), epsilon = 1e-12);
            }
        }
    }

    /// The energy in a foot at the end of an arm is that of its spring for the motion of that end, and a rigid-body
    /// motion takes the end along.
    #[test]
    fn feet_on_arms_and_rigid_motions() {
        let mut frame = with_arm(cantilever(), 1, [1.0, 0.2, -0.1]);
        frame.anchors.clear();
        let k = [2e6, 3e6, 5e6].map(|k| Complex64::new(k, 0.1 * k));
        let turning = [Complex64::new(10.0, 1.0); 3];
        frame.feet.push(Foot { name: "f".into(), at: vec![2], stiffness: k, turning });
        let layout = Layout::divide(&frame, &[1]).unwrap();
        assert_eq!(layout.dofs(), 12);
        let motion = Vector6::new(0.1, -0.2, 0.3, 0.02, 0.01, -0.03);
        let whole = layout.rigid_motion(&frame, &motion, &Vector3::zeros());
        let end = layout.moved(2, &whole);
        assert_relative_eq!(end, arm(&Vector3::new(1.0, 0.2, -0.1)) * motion, epsilon = 1e-12);
        let stiffness = layout.matrices(&frame).unwrap().stiffness.as_faer().to_dense();
        let u = faer::Col::from_fn(12, |i| whole[i]);
        let stored = 0.5 * (u.transpose() * (&stiffness * &u));
        let six = frame.feet[0].six();
        let by_hand: f64 = (0..6).map(|i| 0.5 * six[i].re * end[i] * end[i]).sum();
        assert_relative_eq!(stored, by_hand, max_relative = 1e-9);
        let energy = Energies::new(&frame, &layout).unwrap().strain(&[&whole]).pop().unwrap();
        assert_relative_eq!(energy.feet[0], by_hand, max_relative = 1e-9);
        let push = layout.at_point(2, &Vector6::y());
        assert_relative_eq!(
            push.iter().zip(&whole).map(|(f, u)| f * u).sum::<f64>(),
            end[1],
            max_relative = 1e-12
        );
    }

    #[test]
    fn a_chain_of_arms_hangs_on_the_point_that_is_held() {
        let mut frame = with_arm(cantilever(), 0, [-0.1, 0.0, 0.0]);
        frame = with_arm(frame, 2, [-0.1, 0.3, 0.0]);
        let hung = frame.hung();
        assert_eq!(hung[0], None);
        assert_eq!(hung[3], Some(Hung { lead: 0, arm: Vector3::new(-0.1, 0.3, 0.0) }));
        assert!(frame.held_twice().is_empty());
        frame.anchors[0].at.push(3);
        assert_eq!(frame.held_twice(), [[0, 3]]);
        assert!(Layout::divide(&frame, &[]).is_err());
        frame.members.push(member("stub", 0, 2));
        assert!(frame.check().is_err());
    }
}
