//! A body as a frame sees it: a few coordinates, of which the first are the motions of points.
//!
//! ```text
//! coordinates: six for each of its points, global axes, then inner ones of its own
//! ```
//!
//! Where the coordinates come from is the business of whoever reduced the body; stiffness and mass are those of
//! its exact shapes. A rigid-body motion moves the points and no inner coordinate. Where a joint is between the body
//! and its point, which another body holds, its own area moves as the point and the springs of the joint let it:
//!
//! ```text
//! d_area = d_point + Σ e_j q_j
//! ```
//!
//! # Source
//! - `craig-bampton1968`: coupling of substructures by their interface coordinates

use super::axes::arm;
use super::layout::Layout;
use super::model::{Frame, SubstructurePart};
use nalgebra::{DVector, Vector3, Vector6};
use num_complex::Complex64;
use std::collections::BTreeMap;

impl Layout {
    /// By coordinate of a body: the degrees of freedom that move it, and by how much; none where an anchor holds it.
    fn body_terms(&self, frame: &Frame, body: usize) -> Vec<Vec<(usize, f64)>> {
        let Some(own) = frame.bodies.get(body) else { return Vec::new() };
        let points = own.points.iter().flat_map(|point| (0..6).map(|axis| self.dof(*point, axis)));
        let dofs = &self.bodies[body];
        let inner = (0..own.inner).map(|k| Some(dofs.first + k));
        let mut terms: Vec<Vec<(usize, f64)>> =
            points.chain(inner).map(|dof| dof.map(|dof| (dof, 1.0)).into_iter().collect()).collect();
        for (joint, (point, moved)) in own.joints.iter().zip(&dofs.joints) {
            for (axis, dof) in moved.iter().enumerate() {
                let Some(dof) = dof else { continue };
                let half = 3 * (axis / 3);
                let along = joint.axes.row(axis % 3);
                for (i, part) in along.iter().enumerate().filter(|(_, part)| **part != 0.0) {
                    terms[6 * point + half + i].push((*dof, *part));
                }
            }
        }
        terms
    }

    /// The coordinates of a body in a `motion` of the degrees of freedom.
    pub fn body_motion(&self, frame: &Frame, body: usize, motion: &[f64]) -> Vec<f64> {
        let moved = |terms: Vec<(usize, f64)>| terms.into_iter().map(|(dof, part)| part * motion[dof]).sum();
        self.body_terms(frame, body).into_iter().map(moved).collect()
    }

    /// Adds the `forces` on the coordinates of a body to a `load` on the degrees of freedom.
    pub fn add_body_forces(&self, load: &mut [f64], frame: &Frame, body: usize, forces: &[f64]) {
        for (terms, force) in self.body_terms(frame, body).into_iter().zip(forces) {
            terms.into_iter().for_each(|(dof, part)| load[dof] += part * force);
        }
    }

    /// Adds what the bodies contribute: stiffness, loss, mass.
    pub(super) fn add_bodies(&self, values: &mut [Vec<f64>], frame: &Frame) {
        for (number, (body, coupling)) in frame.bodies.iter().zip(self.body_couplings()).enumerate() {
            let count = coupling.dofs.len();
            let local: BTreeMap<usize, usize> = coupling.dofs.iter().copied().zip(0..count).collect();
            let terms: Vec<(usize, usize, f64)> = self
                .body_terms(frame, number)
                .into_iter()
                .enumerate()
                .flat_map(|(k, terms)| terms.into_iter().map(move |(dof, part)| (k, dof, part)))
                .filter_map(|(k, dof, part)| Some((k, *local.get(&dof)?, part)))
                .collect();
            for (j, column, right) in &terms {
                for (i, row, left) in &terms {
                    let slot = coupling.slots[column * count + row] as usize;
                    let stiffness: Complex64 = body.parts.iter().map(|part| part.stiffness[(*i, *j)]).sum();
                    values[0][slot] += left * right * stiffness.re;
                    values[1][slot] += left * right * stiffness.im;
                    values[2][slot] += left * right * body.mass[(*i, *j)];
                }
            }
        }
    }

    /// Adds the forces of the bodies' own mass under a rigid-body acceleration `motion` about `origin`.
    pub(super) fn add_body_load(
        &self,
        load: &mut [f64],
        frame: &Frame,
        motion: &Vector6<f64>,
        origin: &Vector3<f64>,
    ) {
        for (number, body) in frame.bodies.iter().enumerate() {
            let mut moved = DVector::zeros(body.coordinates());
            for (k, point) in body.points.iter().enumerate() {
                let own = arm(&(frame.points[*point].position - origin)) * motion;
                moved.fixed_rows_mut::<6>(6 * k).copy_from(&own);
            }
            let forces = &body.mass * moved;
            self.add_body_forces(load, frame, number, forces.as_slice());
        }
    }

    /// Strain energy of each material of a body in a `motion`, J for a motion in m.
    pub(super) fn body_energy(&self, frame: &Frame, body: usize, motion: &[f64]) -> Vec<f64> {
        let own = self.body_motion(frame, body, motion);
        let of = |part: &SubstructurePart| {
            let mut sum = 0.0;
            for (j, b) in own.iter().enumerate().filter(|(_, b)| **b != 0.0) {
                sum += b * own.iter().enumerate().map(|(i, a)| a * part.stiffness[(i, j)].re).sum::<f64>();
            }
            0.5 * sum
        };
        frame.bodies[body].parts.iter().map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{member, point, square};
    use super::super::{Anchor, BodyJoint, Energies, Joint, Layout, Owner, Portion, Substructure};
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::{DMatrix, Matrix3, Matrix6};
    use stillbed_material::Role;

    /// A bar of `square` as a body between points 0 and 1, from the matrices of a frame with that bar alone.
    fn bar_as_body() -> (Frame, Frame) {
        let points = || vec![point("a", 0.0, 0.0, 0.0), point("b", 1.0, 0.0, 0.0), point("c", 1.0, 0.0, 0.5)];
        let alone = Frame {
            points: points()[..2].to_vec(),
            sections: vec![square(0.05)],
            members: vec![member("bar", 0, 1)],
            ..Frame::default()
        };
        let layout = Layout::divide(&alone, &[]).unwrap();
        let matrices = layout.matrices(&alone).unwrap();
        let stiffness = DMatrix::from_fn(12, 12, |i, j| {
            Complex64::new(matrices.stiffness.get(i, j), matrices.loss.get(i, j))
        });
        let mass = DMatrix::from_fn(12, 12, |i, j| matrices.mass.get(i, j));
        let body = alone.rigid_body().unwrap();
        let mut about_origin = Matrix6::zeros();
        about_origin.fixed_view_mut::<3, 3>(0, 0).fill_diagonal(body.mass);
        let cross = body.centre.cross_matrix();
        about_origin.fixed_view_mut::<3, 3>(0, 3).copy_from(&(-cross * body.mass));
        about_origin.fixed_view_mut::<3, 3>(3, 0).copy_from(&(cross * body.mass));
        about_origin.fixed_view_mut::<3, 3>(3, 3).copy_from(&(body.inertia - cross * cross * body.mass));
        let part = SubstructurePart { of: "steel".into(), role: Role::Skeleton, stiffness };
        let body = Substructure {
            name: "bar".into(),
            points: vec![0, 1],
            joints: Vec::new(),
            inner: 0,
            parts: vec![part],
            mass,
            about_origin,
        };
        let anchor = Anchor { name: "wall".into(), at: vec![0], hold: [true; 6] };
        let with_member = Frame {
            points: points(),
            sections: vec![square(0.05)],
            members: vec![member("bar", 0, 1), member("post", 1, 2)],
            anchors: vec![anchor.clone()],
            ..Frame::default()
        };
        let with_body = Frame {
            points: points(),
            sections: vec![square(0.05)],
            members: vec![member("post", 1, 2)],
            anchors: vec![anchor],
            bodies: vec![body],
            ..Frame::default()
        };
        (with_member, with_body)
    }

    #[test]
    fn a_bar_made_a_body_gives_the_matrices_of_the_bar() {
        let (one, other) = bar_as_body();
        let layouts = [&one, &other].map(|frame| Layout::divide(frame, &[]).unwrap());
        let matrices = [0, 1].map(|i| layouts[i].matrices([&one, &other][i]).unwrap());
        for i in 0..12 {
            for j in 0..12 {
                let pairs = [
                    (matrices[0].stiffness.get(i, j), matrices[1].stiffness.get(i, j)),
                    (matrices[0].loss.get(i, j), matrices[1].loss.get(i, j)),
                    (matrices[0].mass.get(i, j), matrices[1].mass.get(i, j)),
                ];
                for (member, body) in pairs {
                    assert_relative_eq!(member, body, max_relative = 1e-12, epsilon = 1e-9);
                }
            }
        }
        let bodies = [&one, &other].map(|frame| frame.rigid_body().unwrap());
        assert_relative_eq!(bodies[0].mass, bodies[1].mass, max_relative = 1e-12);
        assert_relative_eq!(bodies[0].centre, bodies[1].centre, epsilon = 1e-12);
        assert_relative_eq!(bodies[0].inertia, bodies[1].inertia, epsilon = 1e-9);
        let down = -Vector6::z();
        let loads =
            [0, 1].map(|i| layouts[i].inertia_load([&one, &other][i], &down, &Vector3::zeros()).unwrap());
        for (member, body) in loads[0].iter().zip(&loads[1]) {
            assert_relative_eq!(member, body, max_relative = 1e-9, epsilon = 1e-9);
        }
        let motion: Vec<f64> = (0..12).map(|i| 1e-4 * (1.3 * i as f64).sin()).collect();
        let energies =
            [0, 1].map(|i| Energies::new([&one, &other][i], &layouts[i]).unwrap().strain(&[&motion]));
        assert_relative_eq!(energies[0][0].total(), energies[1][0].total(), max_relative = 1e-9);
        assert_relative_eq!(energies[0][0].members[0][0], energies[1][0].bodies[0][0], max_relative = 1e-9);
        let _: Option<Portion> = layouts[1].portion_carried(&other);
    }

    /// A joint between a body and its point is that of a member's end, whichever way its axes are named.
    #[test]
    fn a_joint_of_a_body_is_that_of_a_bar() {
        let (mut with_member, mut with_body) = bar_as_body();
        let springs = [2e6, 3e6, 5e6, 7e3, 0.0, 8e3].map(|k| Complex64::new(k, 0.05 * k));
        let named = |order: [usize; 6]| {
            let mut stiffness = order.map(|axis| Some(springs[axis]));
            stiffness[if order[0] == 0 { 1 } else { 0 }] = None;
            Joint { name: "seat".into(), stiffness, wall: None }
        };
        // y is rigid; the axes of the other are y, z, x.
        with_member.members[0].joint_from = Some(0);
        with_member.joints = vec![named([0, 1, 2, 3, 4, 5])];
        let turned = Matrix3::new(0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0);
        for (axes, order) in [(Matrix3::identity(), [0, 1, 2, 3, 4, 5]), (turned, [1, 2, 0, 4, 5, 3])] {
            with_body.joints = vec![named(order)];
            with_body.bodies[0].joints = vec![BodyJoint { point: 0, joint: 0, axes }];
            let layouts = [&with_member, &with_body].map(|frame| Layout::divide(frame, &[]).unwrap());
            assert_eq!(layouts[0].dofs(), layouts[1].dofs());
            assert!(layouts[1].fits(&with_body));
            assert_eq!(layouts[1].owner(layouts[1].body_joint_dof(0, 0, 2).unwrap()), Owner::Body(0));
            let dofs = |body: bool| -> Vec<usize> {
                let at_joint = (0..6).filter_map(|axis| match body {
                    true => layouts[1].body_joint_dof(0, 0, order.iter().position(|own| *own == axis)?),
                    false => layouts[0].joint_dof(0, 0, axis),
                });
                (0..12).chain(at_joint).collect()
            };
            let (of_member, of_body) = (dofs(false), dofs(true));
            assert_eq!(of_body.len(), 17);
            let [one, other] = [0, 1].map(|i| layouts[i].matrices([&with_member, &with_body][i]).unwrap());
            for (i, p) in of_member.iter().zip(&of_body) {
                for (j, q) in of_member.iter().zip(&of_body) {
                    for (one, other) in [
                        (&one.stiffness, &other.stiffness),
                        (&one.loss, &other.loss),
                        (&one.mass, &other.mass),
                    ] {
                        assert_relative_eq!(
                            one.get(*i, *j),
                            other.get(*p, *q),
                            max_relative = 1e-9,
                            epsilon = 1e-6
                        );
                    }
                }
            }
            let motion = |dofs: &[usize]| {
                let mut motion = vec![0.0; 17];
                dofs.iter().enumerate().for_each(|(k, dof)| motion[*dof] = 1e-4 * (1.3 * k as f64).sin());
                motion
            };
            let energy = |number: usize, frame: &Frame, dofs: &[usize]| {
                Energies::new(frame, &layouts[number]).unwrap().strain(&[&motion(dofs)]).pop().unwrap()
            };
            let (one, other) = (energy(0, &with_member, &of_member), energy(1, &with_body, &of_body));
            assert_relative_eq!(one.joints[0], other.joints[0], max_relative = 1e-9);
            assert_relative_eq!(one.total(), other.total(), max_relative = 1e-9);
            let loads = [0, 1].map(|i| {
                let frame = [&with_member, &with_body][i];
                layouts[i].inertia_load(frame, &-Vector6::z(), &Vector3::zeros()).unwrap()
            });
            for (i, p) in of_member.iter().zip(&of_body) {
                assert_relative_eq!(loads[0][*i], loads[1][*p], max_relative = 1e-9, epsilon = 1e-9);
            }
        }
        let mut without = with_body.clone();
        without.bodies[0].joints.clear();
        assert!(!Layout::divide(&with_body, &[]).unwrap().fits(&without));
        with_body.joints.clear();
        assert!(with_body.check().is_err());
    }

    #[test]
    fn a_body_at_no_point_is_refused() {
        let (_, mut frame) = bar_as_body();
        frame.bodies[0].points = Vec::new();
        assert!(Layout::divide(&frame, &[]).is_err());
    }

    #[test]
    fn each_of_two_bodies_owns_its_coordinates() {
        let (_, mut frame) = bar_as_body();
        let body = &mut frame.bodies[0];
        body.inner = 3;
        let size = body.mass.nrows() + 3;
        body.mass = body.mass.clone().resize(size, size, 0.0);
        body.parts
            .iter_mut()
            .for_each(|part| part.stiffness = part.stiffness.clone().resize(size, size, Complex64::ZERO));
        frame.bodies.push(frame.bodies[0].clone());
        let layout = Layout::divide(&frame, &[]).unwrap();
        for number in [0, 1] {
            let first = layout.bodies[number].first;
            assert!((first..first + 3).all(|dof| layout.owner(dof) == Owner::Body(number)), "{number}");
        }
    }
}
