//! Where along a member the strain energy of a motion sits, and the forces at its ends.
//!
//! ```text
//! f(s) = (I + s B) P,   U = ∫ fᵀ C f ds / 2        s from the far end of an element, P its end forces
//! ```
//!
//! Only the motion of the degrees of freedom counts: loads between the ends of elements are left out.

use super::energy::Energies;
use super::piece::{GAUSS_2, transposed_reach};
use nalgebra::Vector6;

impl Energies<'_> {
    /// The section forces [N, V_y, V_z, T, M_y, M_z] of a member at its end (0 or 1), N and N m.
    pub fn end_force(&self, number: usize, end: usize, motion: &[f64]) -> Vector6<f64> {
        let (length, forces) = self.far_forces(number, motion);
        match end {
            0 => forces.first().map_or(Vector6::zeros(), |far| transposed_reach(length).transpose() * far),
            _ => forces.last().copied().unwrap_or_default(),
        }
    }

    /// Strain energy within `reach` (m) of a member's end (0 or 1), J for a motion in m.
    pub fn stored_near(&self, number: usize, end: usize, reach: f64, motion: &[f64]) -> f64 {
        let (length, forces) = self.far_forces(number, motion);
        let whole = length * forces.len() as f64;
        let wanted = if end == 0 { (0.0, reach.min(whole)) } else { ((whole - reach).max(0.0), whole) };
        let compliance = self.compliance(number);
        integrated(length, &forces, wanted, |f| 0.5 * f.dot(&(compliance * f)))
    }

    /// Strain energy of a member by kind of force, in the order of its section's forces, without coupling
    /// terms, J for a motion in m.
    pub fn stored_by_force(&self, number: usize, motion: &[f64]) -> [f64; 6] {
        let (length, forces) = self.far_forces(number, motion);
        let whole = length * forces.len() as f64;
        let compliance = self.compliance(number);
        std::array::from_fn(|i| {
            integrated(length, &forces, (0.0, whole), |f| 0.5 * compliance[(i, i)] * f[i] * f[i])
        })
    }
}

/// The integral of `density`, a function of the section forces, between two places along a member whose
/// elements of `length` have the `forces` at their far ends.
fn integrated(
    length: f64,
    forces: &[Vector6<f64>],
    (from, to): (f64, f64),
    density: impl Fn(&Vector6<f64>) -> f64,
) -> f64 {
    let mut sum = 0.0;
    for (piece, far) in forces.iter().enumerate() {
        let start = length * piece as f64;
        let (a, b) = ((from - start).max(0.0), (to - start).min(length));
        if a >= b {
            continue;
        }
        for (place, weight) in GAUSS_2 {
            let x = a + place * (b - a);
            let here = transposed_reach(length - x).transpose() * far;
            sum += density(&here) * weight * (b - a);
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::super::Layout;
    use super::super::sample::cantilever;
    use super::*;
    use approx::assert_relative_eq;
    use faer::linalg::solvers::Solve;

    #[test]
    fn a_cantilever_holds_its_energy_at_the_root() {
        let frame = cantilever();
        for pieces in [1, 4] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let load = layout.at_point(1, &(Vector6::z() * -100.0));
            let right = faer::Mat::from_fn(load.len(), 1, |i, _| load[i]);
            let stiffness = layout.matrices(&frame).unwrap().stiffness.as_faer().to_dense();
            let motion = stiffness.partial_piv_lu().solve(&right);
            let motion: Vec<f64> = (0..load.len()).map(|i| motion[(i, 0)]).collect();
            let energies = Energies::new(&frame, &layout).unwrap();
            let root = energies.end_force(0, 0, &motion);
            assert_relative_eq!(root[2], -100.0, max_relative = 1e-6);
            assert_relative_eq!(root[4], 100.0, max_relative = 1e-6);
            assert!(energies.end_force(0, 1, &motion)[4].abs() < 1e-4);
            let (ei, ga) = (210e9 * 0.02f64.powi(4) / 12.0, 210e9 / 2.6 * 4e-4 * 5.0 / 6.0);
            let by_force = energies.stored_by_force(0, &motion);
            assert_relative_eq!(by_force[4], 1e4 / (6.0 * ei), max_relative = 1e-6);
            assert_relative_eq!(by_force[2], 1e4 / (2.0 * ga), max_relative = 1e-6);
            // M² / 2EI over the first and the last tenth.
            let tenth = |from: f64, to: f64| {
                1e4 * ((to.powi(3) - from.powi(3)) / (6.0 * ei) + (to - from) / (2.0 * ga))
            };
            assert_relative_eq!(
                energies.stored_near(0, 0, 0.1, &motion),
                tenth(0.9, 1.0),
                max_relative = 1e-6
            );
            assert_relative_eq!(
                energies.stored_near(0, 1, 0.1, &motion),
                tenth(0.0, 0.1),
                max_relative = 1e-6
            );
        }
    }
}
