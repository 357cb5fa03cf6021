//! Where the strain energy of a motion sits: by member and material, in joints and in feet.
//!
//! ```text
//! member:  dᵀ K d / 2 = ∫ eᴴ S e / 2,   e the complex strains from the end motions d
//! spring:  k q² / 2
//! ```
//!
//! The energies are those of the real part of the stiffness and sum to φᵀ Re K φ / 2 exactly.
//!
//! # Source
//! - `johnson1982`: p. 1284, shares of modal strain energy

use super::assembly::{Bar, bars};
use super::layout::Layout;
use super::model::{Frame, Member};
use super::piece::{Matrix12, Vector12};
use nalgebra::{DMatrix, Matrix6, Vector6};
use num_complex::Complex64;

/// The strain energy of one motion, J for a motion in m.
#[derive(Debug, Clone, PartialEq)]
pub struct Energy {
    /// By member, by part of its section.
    pub members: Vec<Vec<f64>>,
    /// By joint, over all members' ends and points of bodies that use it.
    pub joints: Vec<f64>,
    /// By foot, over all points that stand on it.
    pub feet: Vec<f64>,
    /// By body, by material.
    pub bodies: Vec<Vec<f64>>,
}

impl Energy {
    /// The sum over everything.
    pub fn total(&self) -> f64 {
        let bodies = self.bodies.iter().flatten();
        self.members.iter().flatten().chain(&self.joints).chain(&self.feet).chain(bodies).sum()
    }
}

/// The elements of a divided frame, ready to give the energy that a motion stores in them.
pub struct Energies<'a> {
    frame: &'a Frame,
    layout: &'a Layout,
    bars: Vec<Bar>,
}

impl<'a> Energies<'a> {
    /// Prepares the members of `frame`; `None` when it does not fit `layout`.
    pub fn new(frame: &'a Frame, layout: &'a Layout) -> Option<Energies<'a>> {
        Some(Energies { frame, layout, bars: bars(frame, layout)? })
    }

    /// The strain energy of each motion of the degrees of freedom, each of shape (n).
    pub fn strain(&self, motions: &[&[f64]]) -> Vec<Energy> {
        let frame = self.frame;
        let mut energies: Vec<Energy> = motions.iter().map(|motion| self.springs(motion)).collect();
        for (number, (member, bar)) in frame.members.iter().zip(&self.bars).enumerate() {
            let parts = frame.sections[member.section].parts.iter();
            let parts: Vec<Matrix6<Complex64>> =
                parts.map(|part| bar.piece.energy_of(&part.stiffness)).collect();
            for (energy, motion) in energies.iter_mut().zip(motions) {
                let mut own = vec![0.0; parts.len()];
                for ends in self.pieces(number, motion) {
                    let forces = bar.piece.end_forces(&ends);
                    for (own, part) in own.iter_mut().zip(&parts) {
                        *own += 0.5 * forces.dotc(&(part * forces)).re;
                    }
                }
                energy.members.push(own);
            }
        }
        energies
    }

    /// φᵢᵀ M φⱼ of the members' own mass, by member, shape (motions, motions), kg for a motion in m.
    pub fn inertia(&self, motions: &[&[f64]]) -> Option<Vec<DMatrix<f64>>> {
        self.by_member(motions, |bar| bar.piece.mass(), Bar::taken_off)
    }

    /// φᵢᵀ G φⱼ by member, shape (motions, motions), kg s2 for a motion in m: how far its elements bulge
    /// between their ends under their own inertia.
    ///
    /// λ φᵀ G φ over φᵀ M φ is the relative amount by which the eigenvalue λ of a divided frame is too high.
    pub fn bulge(&self, motions: &[&[f64]]) -> Option<Vec<DMatrix<f64>>> {
        self.by_member(motions, |bar| bar.piece.bulge(), Bar::bulge_lost)
    }

    /// By member: the sum of `matrix` over its elements, less what some of them lack.
    fn by_member(
        &self,
        motions: &[&[f64]],
        matrix: impl Fn(&Bar) -> Option<&Matrix12>,
        lacking: impl Fn(&Bar, &Member, usize) -> Option<Vec<(usize, Matrix12)>>,
    ) -> Option<Vec<DMatrix<f64>>> {
        let count = motions.len();
        let product = |(number, bar): (usize, &Bar)| {
            let matrix = matrix(bar)?;
            let mut sum = DMatrix::zeros(count, count);
            let ends: Vec<Vec<Vector12>> =
                motions.iter().map(|motion| self.pieces(number, motion).collect()).collect();
            let mut add = |matrix: &Matrix12, piece: usize, sign: f64| {
                for j in 0..count {
                    let right = matrix * ends[j][piece] * sign;
                    for i in 0..=j {
                        sum[(i, j)] += ends[i][piece].dot(&right);
                    }
                }
            };
            let pieces = self.layout.pieces[number];
            (0..pieces).for_each(|piece| add(matrix, piece, 1.0));
            for (piece, lacking) in lacking(bar, &self.frame.members[number], pieces)? {
                add(&lacking, piece, -1.0);
            }
            sum.fill_lower_triangle_with_upper_triangle();
            Some(sum)
        };
        self.bars.iter().enumerate().map(product).collect()
    }

    /// The end motions of a member's elements, member axes.
    fn pieces<'b>(&'b self, number: usize, motion: &'b [f64]) -> impl Iterator<Item = Vector12> + 'b {
        (0..self.layout.pieces[number]).map(move |piece| self.ends(number, piece, motion))
    }

    /// The end motions of one element.
    fn ends(&self, number: usize, piece: usize, motion: &[f64]) -> Vector12 {
        self.layout.end_motions(self.frame, number, piece, &self.bars[number].line, motion)
    }

    /// The length of a member's elements, m, and the section forces at the far end of each.
    pub(super) fn far_forces(&self, number: usize, motion: &[f64]) -> (f64, Vec<Vector6<f64>>) {
        let bar = &self.bars[number];
        let far = |ends: Vector12| bar.piece.end_forces(&ends).map(|force| force.re);
        let length = bar.line.length / self.layout.pieces[number] as f64;
        (length, self.pieces(number, motion).map(far).collect())
    }

    /// A member's section compliance, from the real part of its stiffness.
    pub(super) fn compliance(&self, number: usize) -> &Matrix6<f64> {
        self.bars[number].piece.real_compliance()
    }

    /// The energy in joints and feet; the list of members is left empty.
    fn springs(&self, motion: &[f64]) -> Energy {
        let (frame, layout) = (self.frame, self.layout);
        let stored = |dof: Option<usize>, spring: Complex64| {
            dof.map_or(0.0, |dof| 0.5 * spring.re * motion[dof].powi(2))
        };
        let mut joints = vec![0.0; frame.joints.len()];
        for (number, member) in frame.members.iter().enumerate() {
            for end in 0..2 {
                let Some(joint) = member.joint(end) else { continue };
                for (dof, spring) in layout.joints[number][end].iter().zip(frame.joints[joint].stiffness) {
                    joints[joint] += stored(*dof, spring.unwrap_or_default());
                }
            }
        }
        for (body, own) in frame.bodies.iter().zip(&layout.bodies) {
            for (joint, (_, dofs)) in body.joints.iter().zip(&own.joints) {
                for (dof, spring) in dofs.iter().zip(frame.joints[joint.joint].stiffness) {
                    joints[joint.joint] += stored(*dof, spring.unwrap_or_default());
                }
            }
        }
        let on_foot = |foot: &super::Foot| {
            let at = foot.at.iter().flat_map(|point| {
                let moved = layout.moved(*point, motion);
                let springs = foot.six().into_iter().enumerate();
                springs.map(move |(axis, spring)| 0.5 * spring.re * moved[axis].powi(2))
            });
            at.sum()
        };
        let feet = frame.feet.iter().map(on_foot).collect();
        let bodies = (0..frame.bodies.len()).map(|body| layout.body_energy(frame, body, motion)).collect();
        Energy { members: Vec::with_capacity(frame.members.len()), joints, feet, bodies }
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
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let stiffness = layout.matrices(&frame).unwrap().stiffness.as_faer().to_dense();
        let n = layout.dofs();
        let motion: Vec<f64> = (0..n).map(|i| ((i * 7 + 2) % 11) as f64 * 1e-4 - 5e-4).collect();
        let mut total = 0.0;
        for i in 0..n {
            for j in 0..n {
                total += 0.5 * motion[i] * stiffness[(i, j)] * motion[j];
            }
        }
        let energy = &Energies::new(&frame, &layout).unwrap().strain(&[&motion])[0];
        assert_relative_eq!(energy.total(), total, max_relative = 1e-10);
        assert!(energy.members.iter().flatten().all(|part| *part > 0.0));
        assert!(energy.joints[0] > 0.0 && energy.feet[1] > 0.0);
    }
}
