//! The frame as a rigid body, its rigid-body motions, loads from its own mass, and directions at points.

use super::assembly::{Bar, bars, turned};
use super::axes::{Line, arm};
use super::layout::Layout;
use super::model::Frame;
use super::piece::{GAUSS_2, Piece, Vector12};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// Mass, centre and inertia of a whole frame.
#[derive(Debug, Clone, PartialEq)]
pub struct RigidBody {
    /// Mass, kg.
    pub mass: f64,
    /// Centre of gravity, m.
    pub centre: Vector3<f64>,
    /// Inertia about the centre of gravity, global axes, shape (3, 3): kg m2.
    pub inertia: Matrix3<f64>,
}

impl Frame {
    /// Mass, centre of gravity and inertia, members and masses together.
    ///
    /// `None` when the frame has faults.
    pub fn rigid_body(&self) -> Option<RigidBody> {
        let mut about_origin = Matrix6::zeros();
        for member in &self.members {
            let line = Line::drawn(self, member)?;
            let mut axes = Matrix6::zeros();
            axes.fixed_view_mut::<3, 3>(0, 0).copy_from(&line.axes);
            axes.fixed_view_mut::<3, 3>(3, 3).copy_from(&line.axes);
            let own = (0.0, line.length, self.sections.get(member.section)?.mass);
            let taken = member
                .displaced
                .iter()
                .map(|taken| (taken.from.max(0.0), taken.to.min(line.length), -taken.mass));
            for (from, to, mass) in std::iter::once(own).chain(taken).filter(|(from, to, _)| from < to) {
                // Quadratic in the place along the line, so two Gauss points are exact.
                for (place, weight) in GAUSS_2 {
                    let reach = axes * arm(&line.at(from + place * (to - from)));
                    about_origin += weight * (to - from) * (reach.transpose() * mass * reach);
                }
            }
        }
        for mass in &self.masses {
            let reach = arm(&self.points.get(mass.at)?.position);
            about_origin += reach.transpose() * mass.at_point() * reach;
        }
        about_origin += self.bodies.iter().map(|body| body.about_origin).sum::<Matrix6<f64>>();
        let mass = about_origin[(0, 0)];
        (mass > 0.0).then_some(())?;
        // The upper right block is m [c]ₓᵀ; the lower right one is about the origin.
        let coupling = about_origin.fixed_view::<3, 3>(0, 3).into_owned();
        let antisymmetric = (coupling.transpose() - coupling) / (2.0 * mass);
        let centre = Vector3::new(antisymmetric[(2, 1)], antisymmetric[(0, 2)], antisymmetric[(1, 0)]);
        let cross = centre.cross_matrix();
        let inertia = about_origin.fixed_view::<3, 3>(3, 3) + cross * cross * mass;
        Some(RigidBody { mass, centre, inertia })
    }
}

impl Layout {
    /// The motion of every degree of freedom when the whole frame moves as a rigid body: displacement and
    /// rotation `motion` about `origin`. Shape (n).
    pub fn rigid_motion(&self, frame: &Frame, motion: &Vector6<f64>, origin: &Vector3<f64>) -> Vec<f64> {
        self.rigid_motion_of(frame, &vec![true; frame.points.len()], motion, origin)
    }

    /// As [`Layout::rigid_motion`], only for the points that are `moving` and the members that start
    /// at them; the rest stays.
    pub fn rigid_motion_of(
        &self,
        frame: &Frame,
        moving: &[bool],
        motion: &Vector6<f64>,
        origin: &Vector3<f64>,
    ) -> Vec<f64> {
        let mut values = vec![0.0; self.dofs()];
        let points = frame.points.iter().zip(&self.points).zip(moving).zip(&self.hung);
        for (((point, dofs), _), _) in points.filter(|((_, moving), hung)| **moving && hung.is_none()) {
            let own = arm(&(point.position - origin)) * motion;
            for j in 0..6 {
                if let Some(dof) = dofs[j] {
                    values[dof] = own[j];
                }
            }
        }
        for (number, member) in frame.members.iter().enumerate().take(self.pieces.len()) {
            let Some(line) = Line::of(frame, member) else { continue };
            if !moving.get(member.from).is_some_and(|moving| *moving) {
                continue;
            }
            let count = self.pieces[number];
            for place in 1..count {
                let at = line.at(line.length * place as f64 / count as f64);
                let own = arm(&(at - origin)) * motion;
                let first = self.inner[number] + 6 * (place - 1);
                values[first..first + 6].copy_from_slice(own.as_slice());
            }
        }
        values
    }

    /// Places along a member and their displacement and rotation for the `motion` of the degrees of freedom,
    /// global axes: both ends of every element and `between` places inside each.
    pub fn along(
        &self,
        frame: &Frame,
        number: usize,
        motion: &[f64],
        between: usize,
    ) -> Option<Vec<(Vector3<f64>, Vector6<f64>)>> {
        let member = frame.members.get(number)?;
        let line = Line::of(frame, member)?;
        let count = self.pieces.get(number).copied().filter(|_| self.fits(frame))?;
        let length = line.length / count as f64;
        let own = Piece::new(frame.sections.get(member.section)?, length)?;
        let shapes = own.shapes()?;
        let back = line.axes.transpose();
        let mut places = Vec::with_capacity(count * (between + 1) + 1);
        for piece in 0..count {
            let ends = self.end_motions(frame, number, piece, &line, motion);
            let last = usize::from(piece + 1 == count);
            for step in 0..=between + last {
                let x = length * step as f64 / (between + 1) as f64;
                let own = shapes.at(x) * ends;
                let mut global = Vector6::zeros();
                for block in 0..2 {
                    let three = back * own.fixed_rows::<3>(3 * block);
                    global.fixed_rows_mut::<3>(3 * block).copy_from(&three);
                }
                places.push((line.at(length * piece as f64 + x), global));
            }
        }
        Some(places)
    }

    /// The load M a of a rigid-body acceleration `motion` about `origin` of all mass, also where degrees of
    /// freedom are held. Shape (n), N and N m; `None` when `frame` does not fit.
    ///
    /// Weight is this load for the acceleration of gravity, downwards.
    pub fn inertia_load(
        &self,
        frame: &Frame,
        motion: &Vector6<f64>,
        origin: &Vector3<f64>,
    ) -> Option<Vec<f64>> {
        let mut load = vec![0.0; self.dofs()];
        for (number, bar) in bars(frame, self)?.iter().enumerate() {
            let Bar { line, piece } = bar;
            let count = self.pieces[number];
            let length = line.length / count as f64;
            let whole = turned(piece.mass()?, line);
            let taken = bar.taken_off(&frame.members[number], count)?;
            for piece in 0..count {
                let own = taken.iter().filter(|(other, _)| *other == piece);
                let mass = own.fold(whole, |sum, (_, taken)| sum - turned(taken, line));
                let mut ends = Vector12::zeros();
                for end in 0..2 {
                    let at = line.at(length * (piece + end) as f64);
                    ends.fixed_rows_mut::<6>(6 * end).copy_from(&(arm(&(at - origin)) * motion));
                }
                let force = mass * ends;
                let columns = self.columns(frame, number, piece, line);
                let dofs = &self.couplings.get(self.first_piece(number) + piece)?.dofs;
                for (column, dof) in columns.iter().zip(dofs) {
                    load[*dof] += column.dot(&force);
                }
            }
        }
        for mass in &frame.masses {
            let at = frame.points.get(mass.at)?.position;
            let force = self.reach(mass.at).transpose() * mass.at_point() * arm(&(at - origin)) * motion;
            for j in 0..6 {
                if let Some(dof) = self.dof(mass.at, j) {
                    load[dof] += force[j];
                }
            }
        }
        self.add_body_load(&mut load, frame, motion, origin);
        Some(load)
    }

    /// The load of a unit force (or moment) along `direction` at a point, shape (n).
    ///
    /// Its product with a motion of the degrees of freedom is the displacement of the point along
    /// `direction`. What an anchor holds is left out.
    pub fn at_point(&self, point: usize, direction: &Vector6<f64>) -> Vec<f64> {
        let mut load = vec![0.0; self.dofs()];
        let direction = match self.hung.get(point) {
            Some(Some(_)) => self.reach(point).transpose() * direction,
            _ => *direction,
        };
        for j in 0..6 {
            if let Some(dof) = self.dof(point, j) {
                load[dof] = direction[j];
            }
        }
        load
    }

    /// As [`Layout::at_point`], for the motion of `tip` relative to `work`; `None` is ground.
    pub fn between(&self, tip: usize, work: Option<usize>, direction: &Vector6<f64>) -> Vec<f64> {
        let mut load = self.at_point(tip, direction);
        if let Some(work) = work {
            for (value, other) in load.iter_mut().zip(self.at_point(work, direction)) {
                *value -= other;
            }
        }
        load
    }
}

#[cfg(test)]
mod tests {
    use super::super::Mass;
    use super::super::sample::{cantilever, crooked};
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_bar_with_a_weight_at_its_end() {
        let mut frame = cantilever();
        let bar = 7850.0 * 4e-4;
        frame.masses.push(Mass {
            name: "weight".into(),
            at: 1,
            mass: bar,
            offset: Vector3::new(0.0, 0.2, 0.0),
            inertia: Vector3::zeros(),
        });
        let body = frame.rigid_body().unwrap();
        assert_relative_eq!(body.mass, 2.0 * bar, max_relative = 1e-12);
        assert_relative_eq!(body.centre, Vector3::new(0.75, 0.1, 0.0), epsilon = 1e-12);
        // About z: the bar's own l²/12 and a²/12, and both on arms of half their distance.
        let distance = 0.5f64.powi(2) + 0.2f64.powi(2);
        let expected = bar * ((1.0 + 4e-4) / 12.0 + distance / 2.0);
        assert_relative_eq!(body.inertia[(2, 2)], expected, max_relative = 1e-9);
    }

    #[test]
    fn weight_is_carried_in_full() {
        let mut frame = crooked();
        frame.feet.clear();
        let layout = Layout::divide(&frame, &[1, 2, 3]).unwrap();
        let down = -Vector6::z() * 9.80665;
        let load = layout.inertia_load(&frame, &down, &Vector3::zeros()).unwrap();
        let body = frame.rigid_body().unwrap();
        let work = |axis: usize| {
            let motion = Matrix6::identity().column(axis).into_owned();
            let motion = layout.rigid_motion(&frame, &motion, &body.centre);
            motion.iter().zip(&load).map(|(u, f)| u * f).sum::<f64>()
        };
        assert_relative_eq!(work(2), -body.mass * 9.80665, max_relative = 1e-10);
        for axis in [0, 1, 3, 4, 5] {
            assert!(work(axis).abs() < 1e-9, "{axis}");
        }
    }

    #[test]
    fn a_member_of_a_rigid_motion_moves_with_it() {
        let mut frame = crooked();
        frame.feet.clear();
        let layout = Layout::divide(&frame, &[1, 2, 3]).unwrap();
        let motion = Vector6::new(0.1, -0.2, 0.3, 0.02, 0.01, -0.03);
        let whole = layout.rigid_motion(&frame, &motion, &Vector3::zeros());
        for (number, places) in [(0, 5), (1, 9), (2, 13)] {
            let along = layout.along(&frame, number, &whole, 3).unwrap();
            assert_eq!(along.len(), places);
            for (place, moved) in along {
                assert_relative_eq!(moved, arm(&place) * motion, epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn a_relative_direction_leaves_out_a_common_motion() {
        let mut frame = crooked();
        frame.feet.clear();
        let layout = Layout::divide(&frame, &[1, 1, 1]).unwrap();
        let apart = layout.between(2, Some(0), &Vector6::x());
        let common = layout.rigid_motion(&frame, &Vector6::x(), &Vector3::zeros());
        assert_eq!(apart.iter().zip(&common).map(|(a, b)| a * b).sum::<f64>(), 0.0);
        let ground = layout.between(2, None, &Vector6::x());
        assert_eq!(ground.iter().zip(&common).map(|(a, b)| a * b).sum::<f64>(), 1.0);
    }

    /// Another member keeps half of a bar's first tenth: mass, centre and inertia are those of what is left.
    #[test]
    fn what_others_keep_is_taken_off_at_its_place() {
        let mut frame = cantilever();
        let section = frame.sections[0].mass;
        frame.members[0].displaced =
            vec![super::super::Displaced { from: 0.0, to: 0.1, mass: section * 0.5 }];
        let bar = section[(0, 0)];
        let body = frame.rigid_body().unwrap();
        assert_relative_eq!(body.mass, 0.95 * bar, max_relative = 1e-12);
        assert_relative_eq!(body.centre.x, (0.5 - 0.05 * 0.05) / 0.95, max_relative = 1e-12);
        let mut at_the_end = frame.clone();
        (at_the_end.members[0].displaced[0].from, at_the_end.members[0].displaced[0].to) = (0.9, 1.0);
        let centre = at_the_end.rigid_body().unwrap().centre;
        assert_relative_eq!(centre.x, (0.5 - 0.05 * 0.95) / 0.95, max_relative = 1e-12);
        for pieces in [1, 4, 25] {
            frame.anchors.clear();
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let mass = layout.matrices(&frame).unwrap().mass.as_faer().to_dense();
            let load = layout.inertia_load(&frame, &Vector6::z(), &Vector3::zeros()).unwrap();
            let up = layout.rigid_motion(&frame, &Vector6::z(), &Vector3::zeros());
            let turn = layout.rigid_motion(&frame, &Vector6::new(0.0, 0.0, 0.0, 0.0, 1.0, 0.0), &body.centre);
            let up = faer::Col::from_fn(up.len(), |i| up[i]);
            let turn = faer::Col::from_fn(turn.len(), |i| turn[i]);
            let push = &mass * &up;
            assert_relative_eq!(up.transpose() * &push, body.mass, max_relative = 1e-9);
            assert_relative_eq!(turn.transpose() * &push, 0.0, epsilon = 1e-9);
            assert_relative_eq!(
                turn.transpose() * (&mass * &turn),
                body.inertia[(1, 1)],
                max_relative = 1e-9
            );
            for (i, load) in load.iter().enumerate() {
                assert_relative_eq!(*load, push[i], epsilon = 1e-12);
            }
            let motion: Vec<f64> = (0..up.nrows()).map(|i| up[i]).collect();
            let inertia = super::super::Energies::new(&frame, &layout).unwrap().inertia(&[&motion]).unwrap();
            assert_relative_eq!(inertia[0][(0, 0)], body.mass, max_relative = 1e-9);
        }
    }
}
