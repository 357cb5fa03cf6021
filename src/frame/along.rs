//! What happens along a member: thermal strains, loads between its nodes, its deflected line
//! and its section forces.
//!
//! ```text
//! free strain:   e(x) = e₀ + (e₁ - e₀) x / L         the strain that a change of temperature would give
//! free stretch:  d_T = ∫ (I + s B)ᵀ e ds             s from the far end of an element
//! end forces:    P = F⁻¹ (A d - d_T)
//! load:          K d = Aᵀ F⁻¹ d_T
//! ```
//!
//! F, A and B are those of an element (see `piece`), so the motion of every node is exact for
//! strains linear in x. A load between the nodes enters through the exact static shapes, Nᵀ f, which
//! is exact at the nodes as well.
//!
//! # Source
//! - `przemieniecki1968`: ch. 5 (stiffness of a beam), ch. 7 (thermal loads on an element)

use super::assembly::{Bar, bar, bars};
use super::axes::{Line, arm};
use super::layout::Layout;
use super::model::Frame;
use super::piece::{Matrix12, Piece, Vector12, transposed_reach};
use nalgebra::{Vector3, Vector6};
use std::sync::Arc;

/// The strains of an unrestrained member at its start and at its end, in the order of a section's
/// strains; linear between.
pub type FreeStrain = [Vector6<f64>; 2];

/// A member as a row of equal elements.
struct Stretch<'a> {
    number: usize,
    frame: &'a Frame,
    line: Line,
    piece: Arc<Piece>,
    count: usize,
    /// Length of an element, m.
    length: f64,
    /// Its length between its points over that of what deforms: the free strains of its rigid ends are those of the rest.
    longer: f64,
}

impl Layout {
    fn stretch<'a>(&self, frame: &'a Frame, number: usize) -> Option<Stretch<'a>> {
        let count = *self.pieces.get(number)?;
        let member = frame.members.get(number)?;
        Some(Stretch::new(number, frame, bar(frame, member, count)?, count))
    }

    /// The load that gives the motion caused by the free `strains` of the members (one entry a member), shape
    /// (n), N and N m. It is in equilibrium by itself.
    ///
    /// `None` when `frame` is not the one of this layout.
    pub fn free_strain_load(&self, frame: &Frame, strains: &[FreeStrain]) -> Option<Vec<f64>> {
        let mut load = vec![0.0; self.dofs()];
        for (number, (bar, strain)) in bars(frame, self)?.into_iter().zip(strains).enumerate() {
            if strain.iter().all(|e| e.iter().all(|e| *e == 0.0)) {
                continue;
            }
            let stretch = Stretch::new(number, frame, bar, self.pieces[number]);
            let stiffness = stretch.piece.stiffness().map(|k| k.re);
            for piece in 0..stretch.count {
                let force = stiffness * stretch.free_stretch(strain, piece);
                self.add_to(&mut load, frame, &stretch, piece, &force)?;
            }
        }
        Some(load)
    }

    /// The load of a force and moment (global axes) on the line of member `number` at `x` from
    /// its point at the start, m. Shape (n).
    ///
    /// Its product with a motion of the degrees of freedom is the displacement of that place along the force.
    /// `None` beyond the member's ends.
    pub fn load_on_line(
        &self,
        frame: &Frame,
        number: usize,
        x: f64,
        force: &Vector6<f64>,
    ) -> Option<Vec<f64>> {
        let stretch = self.stretch(frame, number)?;
        let [first, last] = frame.members[number].rigid;
        let slack = 1e-9 * stretch.line.length;
        if !(-slack..=first + stretch.line.length + last + slack).contains(&x) {
            return None;
        }
        // Where it deforms, or the nearest end of that, on a rigid arm.
        let place = (x - first).clamp(0.0, stretch.line.length);
        let piece = ((place / stretch.length) as usize).min(stretch.count - 1);
        let inside = (place - piece as f64 * stretch.length).clamp(0.0, stretch.length);
        let shapes = arm(&Vector3::new(x - first - place, 0.0, 0.0)) * stretch.piece.shapes()?.at(inside);
        let mut own = Vector6::zeros();
        for half in [0, 3] {
            own.fixed_rows_mut::<3>(half).copy_from(&(stretch.line.axes * force.fixed_rows::<3>(half)));
        }
        let mut load = vec![0.0; self.dofs()];
        self.add_to(&mut load, frame, &stretch, piece, &(shapes.transpose() * own))?;
        Some(load)
    }

    /// The motion of the member's line at the ends of its elements, member axes.
    pub fn line_motion(&self, frame: &Frame, number: usize, motion: &[f64]) -> Option<Vec<Vector6<f64>>> {
        let stretch = self.stretch(frame, number)?;
        let ends = (0..stretch.count).map(|piece| self.ends(&stretch, piece, motion));
        let mut places: Vec<Vector6<f64>> = Vec::with_capacity(stretch.count + 1);
        for ends in ends {
            if places.is_empty() {
                places.push(ends.fixed_rows::<6>(0).into());
            }
            places.push(ends.fixed_rows::<6>(6).into());
        }
        Some(places)
    }

    /// The section forces [N, V_y, V_z, T, M_y, M_z] at the ends of the member's elements, N and N m, for its
    /// free `strain` and the `motion` of the degrees of freedom.
    ///
    /// Loads between the nodes are not counted: this is for free strains and loads at points.
    pub fn line_forces(
        &self,
        frame: &Frame,
        number: usize,
        motion: &[f64],
        strain: &FreeStrain,
    ) -> Option<Vec<Vector6<f64>>> {
        let stretch = self.stretch(frame, number)?;
        let free = |piece| stretch.free_stretch(strain, piece);
        Some(self.forces(&stretch, motion, free, |_| Vector12::zeros()))
    }

    /// The same without free strain, when an acceleration `field` such as gravity acts on all mass, m/s2 in
    /// global axes. `motion` is the response to the same field.
    pub fn line_forces_in(
        &self,
        frame: &Frame,
        number: usize,
        motion: &[f64],
        field: &Vector3<f64>,
    ) -> Option<Vec<Vector6<f64>>> {
        let stretch = self.stretch(frame, number)?;
        let own = stretch.line.axes * field;
        let mut ends = Vector12::zeros();
        for start in [0, 6] {
            ends.fixed_rows_mut::<3>(start).copy_from(&own);
        }
        let taken = stretch.taken_off()?;
        let whole = *stretch.piece.mass()?;
        let push = |piece: usize| {
            let own = taken.iter().filter(|(other, _)| *other == piece);
            own.fold(whole, |sum, (_, taken)| sum - taken) * ends
        };
        Some(self.forces(&stretch, motion, |_| Vector12::zeros(), push))
    }

    /// The section forces at the ends of the elements, each of which has the stretch `free` and a load whose
    /// equivalent end forces are `push`.
    fn forces(
        &self,
        stretch: &Stretch,
        motion: &[f64],
        free: impl Fn(usize) -> Vector12,
        push: impl Fn(usize) -> Vector12,
    ) -> Vec<Vector6<f64>> {
        let mut places = Vec::with_capacity(stretch.count + 1);
        for piece in 0..stretch.count {
            let ends = self.ends(stretch, piece, motion) - free(piece);
            let far = stretch.piece.end_forces(&ends).map(|f| f.re);
            let push = push(piece);
            if places.is_empty() {
                let mut near = far;
                near[4] -= stretch.length * far[2];
                near[5] += stretch.length * far[1];
                places.push(near + push.fixed_rows::<6>(0));
            }
            places.push(far - push.fixed_rows::<6>(6));
        }
        places
    }

    fn ends(&self, stretch: &Stretch, piece: usize, motion: &[f64]) -> Vector12 {
        self.end_motions(stretch.frame, stretch.number, piece, &stretch.line, motion)
    }

    /// Adds twelve end forces of an element, member axes, to the load of the degrees of freedom.
    fn add_to(
        &self,
        load: &mut [f64],
        frame: &Frame,
        stretch: &Stretch,
        piece: usize,
        force: &Vector12,
    ) -> Option<()> {
        let back = stretch.line.axes.transpose();
        let mut global = Vector12::zeros();
        for start in [0, 3, 6, 9] {
            global.fixed_rows_mut::<3>(start).copy_from(&(back * force.fixed_rows::<3>(start)));
        }
        let columns = self.columns(frame, stretch.number, piece, &stretch.line);
        let dofs = &self.couplings.get(self.first_piece(stretch.number) + piece)?.dofs;
        for (column, dof) in columns.iter().zip(dofs) {
            load[*dof] += column.dot(&global);
        }
        Some(())
    }
}

impl<'a> Stretch<'a> {
    fn new(number: usize, frame: &'a Frame, Bar { line, piece }: Bar, count: usize) -> Stretch<'a> {
        let length = line.length / count as f64;
        let longer = 1.0 + frame.members[number].rigid.iter().sum::<f64>() / line.length;
        Stretch { number, frame, line, piece, count, length, longer }
    }

    /// The mass taken off its elements, as [`Bar::taken_off`].
    fn taken_off(&self) -> Option<Vec<(usize, Matrix12)>> {
        let bar = Bar { line: self.line, piece: Arc::clone(&self.piece) };
        bar.taken_off(&self.frame.members[self.number], self.count)
    }

    /// The end motions of an unrestrained element whose first end is held.
    fn free_stretch(&self, strain: &FreeStrain, piece: usize) -> Vector12 {
        let at = |place: usize| strain[0].lerp(&strain[1], place as f64 / self.count as f64) * self.longer;
        let (first, second, l) = (at(piece), at(piece + 1), self.length);
        // ∫ e dx, and ∫ s e dx for the lever arm in (I + s B)ᵀ.
        let mean = (first + second) * (0.5 * l);
        let levered = (first / 3.0 + second / 6.0) * (l * l);
        let far = mean + transposed_reach(1.0) * levered - levered;
        let mut ends = Vector12::zeros();
        ends.fixed_rows_mut::<6>(6).copy_from(&far);
        ends
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{cantilever, crooked};
    use super::*;
    use approx::assert_relative_eq;
    use faer::linalg::solvers::Solve;

    fn solve(frame: &Frame, layout: &Layout, load: &[f64]) -> Vec<f64> {
        let right = faer::Mat::from_fn(load.len(), 1, |i, _| load[i]);
        let stiffness = layout.matrices(frame).unwrap().stiffness.as_faer().to_dense();
        let motion = stiffness.partial_piv_lu().solve(&right);
        (0..load.len()).map(|i| motion[(i, 0)]).collect()
    }

    #[test]
    fn a_free_cantilever_follows_its_strains_without_force() {
        let frame = cantilever();
        for pieces in [1, 5] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            // Stretch and curvature grow from nothing at the wall.
            let strain = [Vector6::zeros(), Vector6::new(2e-4, 0.0, 0.0, 0.0, 3e-3, 0.0)];
            let motion = solve(&frame, &layout, &layout.free_strain_load(&frame, &[strain]).unwrap());
            let tip = |axis| motion[layout.dof(1, axis).unwrap()];
            assert_relative_eq!(tip(0), 1e-4, max_relative = 1e-9);
            // w'' = -kappa_y, so w = -κ₁ L² / 6 and the rotation about y is κ₁ L / 2.
            assert_relative_eq!(tip(2), -3e-3 / 6.0, max_relative = 1e-9);
            assert_relative_eq!(tip(4), 1.5e-3, max_relative = 1e-9);
            let forces = layout.line_forces(&frame, 0, &motion, &strain).unwrap();
            assert_eq!(forces.len(), pieces + 1);
            let size = 210e9 * 4e-4 * 2e-4;
            assert!(forces.iter().all(|f| f.norm() < 1e-8 * size), "{forces:?}");
            let line = layout.line_motion(&frame, 0, &motion).unwrap();
            assert_relative_eq!(line[pieces][2], tip(2));
        }
    }

    #[test]
    fn a_held_rod_is_pressed_by_its_growth() {
        let mut frame = cantilever();
        frame.anchors[0].at = vec![0, 1];
        let layout = Layout::divide(&frame, &[4]).unwrap();
        let growth = Vector6::x() * 1e-4;
        let strain = [growth, growth];
        let motion = solve(&frame, &layout, &layout.free_strain_load(&frame, &[strain]).unwrap());
        for force in layout.line_forces(&frame, 0, &motion, &strain).unwrap() {
            assert_relative_eq!(force[0], -210e9 * 4e-4 * 1e-4, max_relative = 1e-9);
        }
    }

    #[test]
    fn the_weight_of_a_cantilever_bends_it_as_by_hand() {
        let frame = cantilever();
        let down = Vector3::new(3.0, 4.0, -10.0);
        for pieces in [1, 4] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let field = Vector6::new(3.0, 4.0, -10.0, 0.0, 0.0, 0.0);
            let load = layout.inertia_load(&frame, &field, &Vector3::zeros()).unwrap();
            let motion = solve(&frame, &layout, &load);
            let forces = layout.line_forces_in(&frame, 0, &motion, &down).unwrap();
            let w = 7850.0 * 4e-4;
            for (i, force) in forces.iter().enumerate() {
                let x = 1.0 - i as f64 / pieces as f64;
                assert_relative_eq!(force[0], 3.0 * w * x, epsilon = 1e-6 * w);
                // A load downwards stretches the upper side, where z is positive.
                assert_relative_eq!(force[4], 10.0 * w * x * x / 2.0, epsilon = 1e-6 * w);
                assert_relative_eq!(force[2], -10.0 * w * x, epsilon = 1e-6 * w);
                // One across turns about z as x turns to y.
                assert_relative_eq!(force[1], 4.0 * w * x, epsilon = 1e-6 * w);
                assert_relative_eq!(force[5], 4.0 * w * x * x / 2.0, epsilon = 1e-6 * w);
            }
        }
    }

    #[test]
    fn forces_of_a_free_strain_are_balanced() {
        let mut frame = crooked();
        frame.feet.clear();
        let layout = Layout::divide(&frame, &[2, 3, 1]).unwrap();
        let e = Vector6::new(1e-4, 0.0, 0.0, 2e-4, 1e-3, -2e-3);
        let load = layout.free_strain_load(&frame, &[[e, e * 2.0], [e * 0.5, e], [e, -e]]).unwrap();
        let size = load.iter().map(|f| f.abs()).fold(0.0, f64::max);
        for axis in 0..6 {
            let unit = nalgebra::Matrix6::identity().column(axis).into_owned();
            let rigid = layout.rigid_motion(&frame, &unit, &Vector3::zeros());
            let work: f64 = rigid.iter().zip(&load).map(|(u, f)| u * f).sum();
            assert!(work.abs() < 1e-9 * size, "{axis} {work}");
        }
    }

    #[test]
    fn a_load_between_the_ends_bends_as_by_hand() {
        let frame = cantilever();
        for pieces in [1, 3] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let load = layout.load_on_line(&frame, 0, 0.4, &(Vector6::z() * -100.0)).unwrap();
            let motion = solve(&frame, &layout, &load);
            let (ei, ga) = (210e9 * 0.02f64.powi(4) / 12.0, 210e9 / 2.6 * 4e-4 * 5.0 / 6.0);
            let expected = -100.0 * (0.16 * (3.0 - 0.4) / (6.0 * ei) + 0.4 / ga);
            assert_relative_eq!(motion[layout.dof(1, 2).unwrap()], expected, max_relative = 1e-9);
            assert!(layout.load_on_line(&frame, 0, 1.1, &Vector6::z()).is_none());
        }
    }

    #[test]
    fn rigid_ends_carry_heat_and_shorten_the_bar() {
        let mut frame = cantilever();
        frame.members[0].rigid = [0.2, 0.1];
        for pieces in [1, 3] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let tip =
                |load: Vec<f64>, axis: usize| solve(&frame, &layout, &load)[layout.dof(1, axis).unwrap()];
            let strain = Vector6::x() * 1e-4;
            let heat = layout.free_strain_load(&frame, &[[strain, strain]]).unwrap();
            assert_relative_eq!(tip(heat, 0), 1e-4, max_relative = 1e-9);
            // A force at the tip bends 0.7 m, its arm is 0.1 m at the far end of that.
            let (ei, ga) = (210e9 * 0.02f64.powi(4) / 12.0, 210e9 / 2.6 * 4e-4 * 5.0 / 6.0);
            let by_hand = 100.0 * ((0.8f64.powi(3) - 0.1f64.powi(3)) / (3.0 * ei) + 0.7 / ga);
            let pushed = layout.at_point(1, &(Vector6::z() * 100.0));
            assert_relative_eq!(tip(pushed, 2), by_hand, max_relative = 1e-9);
            // The same force on the line there, and one within the first end, which is held.
            for (x, expected) in [(1.0, by_hand), (0.15, 0.0)] {
                let load = layout.load_on_line(&frame, 0, x, &(Vector6::z() * 100.0)).unwrap();
                assert_relative_eq!(tip(load, 2), expected, epsilon = 1e-12, max_relative = 1e-9);
            }
        }
    }
}
