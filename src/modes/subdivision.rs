//! How many elements each member is divided into.
//!
//! A member carries waves: bending with phase β l along an element of length l; stretch, twist and
//! shear with phase k l, where
//!
//! ```text
//! β⁴ = m ω² / (E I),   k = ω / c
//! ```
//!
//! An element stays well below its own first mode between held ends (β l = 4.73, k l = π), so that no mode of
//! the frame can hide inside one. The first guess takes ω from the number of half-waves that all members
//! together have below it.
//!
//! # Source
//! - `blevins1979`: table 8-1
//! - `courant1953`: ch. VI.4, how many eigenvalues lie below a bound

use nalgebra::Matrix6;
use std::f64::consts::PI;
use stillbed_frame::{Frame, Layout, Line};

/// Bending phase of the first mode between clamped ends, rad.
const CLAMPED: f64 = 4.730_040_745;

/// Largest bending phase of an element, rad: a quarter of the frequency of its first mode between held ends.
const BENDING: f64 = 2.4;

/// Largest phase of stretch, twist or shear along an element, rad: a third of that frequency.
const STRETCH: f64 = 1.0;

/// Largest [`Waves::nearness`] below [`Waves::limit`].
pub(super) const NEAREST: f64 = (STRETCH / PI) * (STRETCH / PI);

/// Largest number of elements of one member.
const MOST: usize = 400;

/// The waves along one member, over its whole length.
pub(super) struct Waves {
    /// Phase of bending in two planes at 1 rad/s; it grows with the square root of ω.
    bending: [f64; 2],
    /// Phase of stretch and twist at 1 rad/s; it grows with ω.
    along: [f64; 2],
    /// Phase of shear at 1 rad/s.
    shear: f64,
}

impl Waves {
    /// The waves of every member; `None` for a frame with faults.
    pub(super) fn of(frame: &Frame) -> Option<Vec<Waves>> {
        frame.members.iter().map(|member| Waves::along(frame, member)).collect()
    }

    /// The waves of one member.
    pub(super) fn along(frame: &Frame, member: &stillbed_frame::Member) -> Option<Waves> {
        let length = Line::of(frame, member)?.length;
        let section = frame.sections.get(member.section)?;
        let compliance: Matrix6<f64> = section.stiffness.map(|s| s.re).cholesky()?.inverse();
        let mass = section.mass[(0, 0)];
        let phase = |m: f64, c: f64| length * (m * c).max(0.0).sqrt();
        Some(Waves {
            bending: [4, 5].map(|i| length * (mass * compliance[(i, i)]).max(0.0).powf(0.25)),
            along: [0, 3].map(|i| phase(section.mass[(i, i)], compliance[(i, i)])),
            shear: phase(mass, compliance[(1, 1)].max(compliance[(2, 2)])),
        })
    }

    /// The least number of elements at `omega` in rad/s.
    pub(super) fn pieces(&self, omega: f64) -> usize {
        let bending = self.bending[0].max(self.bending[1]) * omega.max(0.0).sqrt() / BENDING;
        let along = self.along[0].max(self.along[1]).max(self.shear) * omega / STRETCH;
        (bending.max(along).ceil() as usize).clamp(1, MOST)
    }

    /// The circular frequency up to which `pieces` elements serve, rad/s.
    pub(super) fn limit(&self, pieces: usize) -> f64 {
        let pieces = pieces as f64;
        let bending = (pieces * BENDING / self.bending[0].max(self.bending[1])).powi(2);
        bending.min(pieces * STRETCH / self.along[0].max(self.along[1]).max(self.shear))
    }

    /// The square of `omega` over the lowest frequency of one of `pieces` elements between held ends.
    pub(super) fn nearness(&self, omega: f64, pieces: usize) -> f64 {
        let bending = self.bending[0].max(self.bending[1]) * omega.max(0.0).sqrt() / pieces as f64;
        let along = self.along[0].max(self.along[1]).max(self.shear) * omega / pieces as f64;
        (bending / CLAMPED).powi(4).max((along / PI).powi(2))
    }

    /// How many half-waves of all kinds it has below `omega`.
    fn half_waves(&self, omega: f64) -> f64 {
        ((self.bending[0] + self.bending[1]) * omega.sqrt() + (self.along[0] + self.along[1]) * omega) / PI
    }
}

/// A first subdivision for the lowest `count` modes.
pub(super) fn first(waves: &[Waves], count: usize) -> Vec<usize> {
    let held = |omega: f64| waves.iter().map(|w| w.half_waves(omega)).sum::<f64>();
    // Bisection in the logarithm, from far below to far above any structure.
    let (mut low, mut high) = (1e-6f64, 1e9f64);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if held(middle) < count as f64 { low = middle } else { high = middle }
    }
    waves.iter().map(|w| w.pieces(high)).collect()
}

/// A finer subdivision; `None` when nothing is left to refine.
///
/// `excess[mode][member]` is the relative amount by which the member's elements raise ω² of a wanted mode,
/// and `allowed` the largest sum for a mode; `omega` is the highest wanted frequency in rad/s.
pub(super) fn finer(
    layout: &Layout,
    waves: &[Waves],
    omega: f64,
    excess: &[Vec<f64>],
    allowed: f64,
) -> Option<Vec<usize>> {
    let mut pieces = layout.pieces.clone();
    for (own, wave) in pieces.iter_mut().zip(waves) {
        *own = wave.pieces(omega).clamp(*own, 2 * *own + 1);
    }
    for mode in excess {
        let total = mode.iter().sum::<f64>();
        if total <= allowed {
            continue;
        }
        // The excess falls with the second to the fourth power of the element length. Members that hardly
        // take part are left as they are.
        let growth = (total / allowed).powf(0.4);
        let members = pieces.iter_mut().zip(&layout.pieces).zip(mode);
        for ((own, &now), _) in members.filter(|(_, part)| **part > 0.02 * total) {
            *own = (*own).max((now as f64 * growth).ceil() as usize).min(MOST.max(now));
        }
    }
    (pieces != layout.pieces).then_some(pieces)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::cantilever;

    #[test]
    fn a_slender_cantilever_needs_pieces_for_its_bending_waves() {
        let frame = cantilever();
        let waves = Waves::of(&frame).unwrap();
        // Third bending mode: β L = 7.85.
        let i_over_a = 0.02f64.powi(2) / 12.0;
        let omega = 7.8548f64.powi(2) * (210e9 / 7850.0 * i_over_a).sqrt();
        assert_eq!(waves[0].pieces(omega), (7.8548 / BENDING).ceil() as usize);
        assert_eq!(waves[0].pieces(0.0), 1);
        // Ten modes, bending in two planes: about five half-waves in each.
        assert!((5..9).contains(&first(&waves, 10)[0]), "{:?}", first(&waves, 10));
    }

    #[test]
    fn only_members_with_an_excess_are_refined() {
        let frame = crate::sample::crooked();
        let waves = Waves::of(&frame).unwrap();
        let layout = Layout::divide(&frame, &[1, 2, 1]).unwrap();
        assert_eq!(finer(&layout, &waves, 0.0, &[vec![0.0, 0.005, 0.0]], 0.01), None);
        let excess = [vec![0.0001, 0.02, 0.0], vec![0.0, 0.0, 0.011]];
        assert_eq!(finer(&layout, &waves, 0.0, &excess, 0.01), Some(vec![1, 3, 2]));
    }

    #[test]
    fn a_division_grows_to_twice_and_one_more_at_most() {
        let frame = crate::sample::crooked();
        let waves = Waves::of(&frame).unwrap();
        let layout = Layout::divide(&frame, &[1, 2, 5]).unwrap();
        assert_eq!(finer(&layout, &waves, 1e9, &[], 0.01), Some(vec![3, 5, 11]));
    }
}
