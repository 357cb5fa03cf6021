//! Where the strain energy of a motion sits: member by member, material by material, in joints
//! and feet.
//!
//! ```text
//! member:  dᵀ K d / 2 = ∫ eᴴ S e / 2,   e the complex strains that the ends d bring
//! spring:  k q² / 2
//! ```
//!
//! The shares are those of the real part of the stiffness and sum to φᵀ Re K φ / 2 exactly.
//!
//! # Source
//! - `johnson1982`: p. 1284, shares of modal strain energy

use super::assembly::{Bar, bars};
use super::layout::Layout;
use super::model::Frame;
use nalgebra::Matrix6;
use num_complex::Complex64;

/// The strain energy of one motion, J for a motion in m.
#[derive(Debug, Clone, PartialEq)]
pub struct Energy {
    /// By member, by part of its section.
    pub members: Vec<Vec<f64>>,
    /// By joint, over all members' ends that use it.
    pub joints: Vec<f64>,
    /// By foot, over all points that stand on it.
    pub feet: Vec<f64>,
}

impl Energy {
    /// The sum over everything.
    pub fn total(&self) -> f64 {
        self.members.iter().flatten().chain(&self.joints).chain(&self.feet).sum()
    }
}

/// Computes the energy of motions of one frame.
pub struct Energies<'a> {
    frame: &'a Frame,
    layout: &'a Layout,
    bars: Vec<Bar>,
    /// By member and part: energy from the end forces of a piece.
    parts: Vec<Vec<Matrix6<Complex64>>>,
}

impl<'a> Energies<'a> {
    /// Prepares the members of `frame`; `None` when it is not the one of `layout`.
    pub fn new(frame: &'a Frame, layout: &'a Layout) -> Option<Energies<'a>> {
        let bars = bars(frame, layout)?;
        let parts = frame
            .members
            .iter()
            .zip(&bars)
            .map(|(member, bar)| {
                let parts = frame.sections[member.section].parts.iter();
                parts.map(|part| bar.piece.energy_of(&part.stiffness)).collect()
            })
            .collect();
        Some(Energies { frame, layout, bars, parts })
    }

    /// The energy when the freedoms are at `motion`, shape (n).
    pub fn of(&self, motion: &[f64]) -> Energy {
        let Energies { frame, layout, bars, parts } = self;
        let mut joints = vec![0.0; frame.joints.len()];
        let mut members = Vec::with_capacity(frame.members.len());
        for (number, member) in frame.members.iter().enumerate() {
            let bar = &bars[number];
            let mut energy = vec![0.0; parts[number].len()];
            for piece in 0..layout.pieces[number] {
                let ends = layout.end_motions(frame, number, piece, &bar.line, motion);
                let forces = bar.piece.end_forces(&ends);
                for (energy, part) in energy.iter_mut().zip(&parts[number]) {
                    *energy += 0.5 * forces.dotc(&(part * forces)).re;
                }
            }
            members.push(energy);
            for end in 0..2 {
                let Some(joint) = member.joint(end) else { continue };
                for (freedom, spring) in layout.joints[number][end].iter().zip(frame.joints[joint].stiffness)
                {
                    if let (Some(freedom), Some(spring)) = (freedom, spring) {
                        joints[joint] += 0.5 * spring.re * motion[*freedom].powi(2);
                    }
                }
            }
        }
        let mut feet = vec![0.0; frame.feet.len()];
        for (foot, energy) in frame.feet.iter().zip(&mut feet) {
            for &point in &foot.at {
                for (axis, spring) in foot.six().into_iter().enumerate() {
                    if let Some(freedom) = layout.freedom(point, axis) {
                        *energy += 0.5 * spring.re * motion[freedom].powi(2);
                    }
                }
            }
        }
        Energy { members, joints, feet }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::crooked;
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn energies_sum_to_that_of_the_stiffness() {
        let frame = crooked();
        let layout = Layout::new(&frame, &[2, 1, 3]).unwrap();
        let stiffness = layout.matrices(&frame).unwrap().stiffness.to_dense();
        let n = layout.freedoms();
        let motion: Vec<f64> = (0..n).map(|i| ((i * 7 + 2) % 11) as f64 * 1e-4 - 5e-4).collect();
        let mut total = 0.0;
        for i in 0..n {
            for j in 0..n {
                total += 0.5 * motion[i] * stiffness[(i, j)] * motion[j];
            }
        }
        let energy = Energies::new(&frame, &layout).unwrap().of(&motion);
        assert_relative_eq!(energy.total(), total, max_relative = 1e-10);
        assert!(energy.members.iter().flatten().all(|part| *part > 0.0));
        assert!(energy.joints[0] > 0.0 && energy.feet[1] > 0.0);
    }
}
