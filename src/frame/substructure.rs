//! A body as a frame sees it: a few coordinates, of which the first are the motions of points.
//!
//! ```text
//! coordinates: six for each of its points, global axes, then inner ones of its own
//! ```
//!
//! Where the coordinates come from is the business of whoever reduced the body; stiffness and mass are those of
//! its exact shapes. A rigid-body motion moves the points and no inner coordinate.
//!
//! # Source
//! - `craig-bampton1968`: coupling of substructures by their interface coordinates

use super::axes::arm;
use super::layout::Layout;
use super::model::{Frame, SubstructurePart};
use nalgebra::{DVector, Vector3, Vector6};
use num_complex::Complex64;

impl Layout {
    /// By coordinate of a body: its degree of freedom; `None` where an anchor holds it.
    pub fn body_dofs(&self, frame: &Frame, body: usize) -> Vec<Option<usize>> {
        let Some(own) = frame.bodies.get(body) else { return Vec::new() };
        let points = own.points.iter().flat_map(|point| (0..6).map(|axis| self.dof(*point, axis)));
        let first = self.bodies[body].1;
        points.chain((0..own.inner).map(|k| Some(first + k))).collect()
    }

    /// The coordinates of a body in a `motion` of the degrees of freedom.
    pub fn body_motion(&self, frame: &Frame, body: usize, motion: &[f64]) -> Vec<f64> {
        self.body_dofs(frame, body).into_iter().map(|dof| dof.map_or(0.0, |dof| motion[dof])).collect()
    }

    /// Adds what the bodies contribute: stiffness, loss, mass.
    pub(super) fn add_bodies(&self, values: &mut [Vec<f64>], frame: &Frame) {
        for (number, (body, coupling)) in frame.bodies.iter().zip(self.body_couplings()).enumerate() {
            let dofs = self.body_dofs(frame, number);
            let own: Vec<usize> = (0..dofs.len()).filter(|k| dofs[*k].is_some()).collect();
            for (column, j) in own.iter().enumerate() {
                for (row, i) in own.iter().enumerate() {
                    let slot = coupling.slots[column * own.len() + row] as usize;
                    let stiffness: Complex64 = body.parts.iter().map(|part| part.stiffness[(*i, *j)]).sum();
                    values[0][slot] += stiffness.re;
                    values[1][slot] += stiffness.im;
                    values[2][slot] += body.mass[(*i, *j)];
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
            for (dof, force) in self.body_dofs(frame, number).into_iter().zip(forces.iter()) {
                if let Some(dof) = dof {
                    load[dof] += force;
                }
            }
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
    use super::super::{Anchor, Energies, Layout, Portion, Substructure};
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::{DMatrix, Matrix6};
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

    #[test]
    fn a_body_at_no_point_is_refused() {
        let (_, mut frame) = bar_as_body();
        frame.bodies[0].points = Vec::new();
        assert!(Layout::divide(&frame, &[]).is_err());
    }
}
