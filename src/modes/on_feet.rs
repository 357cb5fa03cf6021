//! Which modes are the base moving as a rigid body on its feet, and which are the structure's.
//!
//! ```text
//! feet:   φᵀ K_f φ / φᵀ K φ                                share of the strain energy in the feet
//! rigid:  |M-projection of φ on the rigid-body motions|² / φᵀ M φ      share of the kinetic energy
//! on its feet:   feet >= 0.9  and  rigid >= 0.95
//! ```
//!
//! A mode with a tenth of its strain energy in the structure lies at about √0.1, a third, of the frequency
//! that the structure would have on rigid feet. From there on the feet isolate and the structure hardly takes
//! part: its own motion is about a tenth in amplitude, a hundredth in kinetic energy; five times as much is
//! allowed for uneven masses. The second condition excludes several bodies that move separately on the feet.
//! Modes in which stiff feet and the structure mix count as the structure's.
//!
//! At most six modes can qualify: they are orthogonal in the mass, and close to a space of six motions.
//!
//! The shares from a coarse subdivision are off by up to a hundredth, and the subdivision depends on the
//! number of modes asked for. A mode close to a limit is therefore judged with a subdivision of its own, the
//! same for every number of modes, so that all call the same mode the first of the structure.

use super::footing::{pseudo_inverse, springs, wholes};
use super::mechanism::ModesFault;
use super::solve::{Asked, Elastic, Spectrum, solve};
use faer::{Col, Mat};
use nalgebra::{DMatrix, DVector};
use std::cell::LazyCell;
use stillbed_frame::Frame;

/// Least share of the strain energy in the feet.
const IN_FEET: f64 = 0.9;

/// Least share of the kinetic energy in the rigid-body motions.
const RIGID: f64 = 0.95;

/// A mode whose shares are within this fraction of their limits is judged by the solution
/// for [`PAST_FEET`] modes.
const DOUBTFUL: f64 = 0.02;

/// Relative difference of the frequencies of one mode in two subdivisions, at most.
const SAME: f64 = 1e-3;

/// Number of modes among which at least one is the structure's, whatever the feet.
const PAST_FEET: usize = 7;

impl Spectrum {
    /// By elastic mode of `frame`: true when the base moves as a rigid body on its feet.
    pub fn on_feet(&self, frame: &Frame) -> Vec<bool> {
        let mut standing = self.standing(frame);
        let doubtful = |standing: f64| (standing - 1.0).abs() < DOUBTFUL;
        let judge = || solve(frame, &Asked { count: PAST_FEET, ..Asked::default() }).ok();
        if let Some(judge) = standing.iter().any(|own| doubtful(*own)).then(judge).flatten() {
            let judged = judge.standing(frame).into_iter().zip(&judge.elastic);
            for ((own, mode), (judged, other)) in standing.iter_mut().zip(&self.elastic).zip(judged) {
                if doubtful(*own) && (mode.frequency() / other.frequency() - 1.0).abs() < SAME {
                    *own = judged;
                }
            }
        }
        standing.into_iter().map(|standing| standing >= 1.0).collect()
    }

    /// By elastic mode: the smaller of its two shares over their limits.
    fn standing(&self, frame: &Frame) -> Vec<f64> {
        let springs = springs(frame, &self.layout);
        let none = || vec![0.0; self.elastic.len()];
        let (origin, wholes) = wholes(frame);
        if springs.is_empty() || wholes.is_empty() {
            return none();
        }
        let whole = LazyCell::new(|| {
            let whole: Vec<Vec<f64>> =
                wholes.iter().map(|whole| self.layout.rigid_motion(frame, whole, &origin)).collect();
            let whole = Mat::from_fn(self.layout.dofs(), whole.len(), |i, j| whole[j][i]);
            let massed = self.matrices.mass.as_faer() * &whole;
            let inertia = massed.transpose() * &whole;
            let count = whole.ncols();
            (massed, pseudo_inverse(DMatrix::from_fn(count, count, |i, j| inertia[(i, j)])))
        });
        let of = |mode: &Elastic| {
            let shape = Col::from_fn(mode.shape.len(), |i| mode.shape[i]);
            let in_feet: f64 =
                springs.iter().map(|spring| spring.stiffness * spring.seen(&mode.shape).powi(2)).sum();
            let strain = shape.transpose() * (self.matrices.stiffness.as_faer() * &shape);
            let feet = if strain > 0.0 { in_feet / strain } else { 0.0 };
            // This share alone decides most modes.
            if feet < 0.1 * IN_FEET {
                return feet / IN_FEET;
            }
            let (massed, inverse) = &*whole;
            let seen = massed.transpose() * &shape;
            let seen = DVector::from_fn(seen.nrows(), |i, _| seen[i]);
            let kinetic = shape.transpose() * (self.matrices.mass.as_faer() * &shape);
            let rigid = if kinetic > 0.0 { seen.dot(&(inverse * &seen)) / kinetic } else { 0.0 };
            (feet / IN_FEET).min(rigid / RIGID)
        };
        self.elastic.iter().map(of).collect()
    }
}

/// The lowest elastic modes of `frame` as [`solve`] gives them; where in all of them the base moves on its
/// feet, more of them, up to the first mode of the structure.
///
/// # Errors
/// As [`solve`].
pub fn solve_past_feet(frame: &Frame, asked: &Asked) -> Result<Spectrum, ModesFault> {
    let spectrum = solve(frame, asked)?;
    if asked.count == 0 || asked.count >= PAST_FEET || !spectrum.on_feet(frame).iter().all(|on| *on) {
        return Ok(spectrum);
    }
    let pieces = spectrum.layout.pieces.clone();
    let mut more = solve(frame, &Asked { count: PAST_FEET, pieces, ..asked.clone() })?;
    if let Some(first) = more.on_feet(frame).iter().position(|on| !on) {
        more.elastic.truncate((first + 1).max(asked.count));
    }
    Ok(more)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{point, square, table};
    use nalgebra::Vector3;
    use num_complex::Complex64;
    use std::f64::consts::TAU;
    use stillbed_frame::{Foot, Mass};

    /// The table on springs of `k` at its legs, N/m, which also resist rotation.
    fn standing(k: f64) -> Frame {
        let mut frame = table();
        frame.anchors.clear();
        let stiffness = [Complex64::from(k); 3];
        let turning = [Complex64::from(0.3 * k); 3];
        frame.feet = vec![Foot { name: "springs".into(), at: vec![0, 1, 2, 3], stiffness, turning }];
        frame
    }

    fn solved(frame: &Frame, count: usize) -> Spectrum {
        solve_past_feet(frame, &Asked { count, ..Asked::default() }).unwrap()
    }

    #[test]
    fn on_air_springs_the_structure_rings_as_if_it_were_free() {
        let frame = standing(1e3);
        let spectrum = solved(&frame, 10);
        let on_feet = spectrum.on_feet(&frame);
        assert_eq!(on_feet[..7], [true, true, true, true, true, true, false]);
        assert!(!on_feet[6..].contains(&true));
        let mut free = frame.clone();
        free.feet.clear();
        let free = solved(&free, 1);
        let ratio = spectrum.elastic[6].frequency() / free.elastic[0].frequency();
        assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
        // The lowest by hand: the mass on four springs, square to the legs.
        let mass = frame.rigid_body().unwrap().mass;
        let bounce = (4e3 / mass).sqrt() / TAU;
        let near = |mode: &Elastic| (mode.frequency() / bounce - 1.0).abs() < 0.01;
        assert!(spectrum.elastic[..6].iter().any(near));
    }

    #[test]
    fn more_modes_are_sought_where_all_are_on_the_feet() {
        let frame = standing(1e4);
        let spectrum = solved(&frame, 3);
        assert_eq!(spectrum.elastic.len(), 7);
        assert_eq!(spectrum.on_feet(&frame), [true, true, true, true, true, true, false]);
        assert!(spectrum.pairs.omega_squared.len() >= 7);
        let stiff = standing(1e8);
        assert_eq!(solved(&stiff, 3).elastic.len(), 3);
    }

    #[test]
    fn a_mode_at_the_limit_is_judged_alike_whoever_asks_for_how_many() {
        // Stiffer feet until the lowest mode is just the structure's, bisected for one count.
        let first_is_on_feet = |k: f64, count: usize| {
            let frame = standing(k);
            solved(&frame, count).on_feet(&frame)[0]
        };
        let (mut soft, mut stiff) = (1e4f64, 1e8f64);
        while stiff / soft - 1.0 > 1e-9 {
            let middle = (soft * stiff).sqrt();
            if first_is_on_feet(middle, 10) { soft = middle } else { stiff = middle }
        }
        for count in [1, 3, 7, 16, 24] {
            assert!(first_is_on_feet(soft, count) && !first_is_on_feet(stiff, count), "{count}");
        }
    }

    #[test]
    fn stiff_feet_change_nothing() {
        let frame = standing(1e8);
        assert!(!solved(&frame, 8).on_feet(&frame).contains(&true));
        let mut anchored = table();
        anchored.masses.push(Mass {
            name: "m".into(),
            at: 5,
            mass: 3.0,
            offset: Vector3::zeros(),
            inertia: Vector3::zeros(),
        });
        assert!(!solved(&anchored, 4).on_feet(&anchored).contains(&true));
    }

    #[test]
    fn what_moves_on_the_feet_in_two_pieces_is_no_whole() {
        // Two blocks, each on a spring of its own, joined by a wire that carries nothing.
        let mut frame = standing(1e5);
        frame.points = vec![point("a", 0.0, 0.0, 0.0), point("b", 1.0, 0.0, 0.0)];
        frame.members.truncate(1);
        frame.members[0].to = 1;
        frame.members[0].from = 0;
        frame.sections = vec![square(0.004)];
        frame.feet[0].at = vec![0, 1];
        let block = |at: usize| Mass {
            name: format!("block {at}"),
            at,
            mass: 50.0,
            offset: Vector3::zeros(),
            inertia: Vector3::repeat(1.0),
        };
        frame.masses = vec![block(0), block(1)];
        let spectrum = solved(&frame, 8);
        let standing = spectrum.standing(&frame);
        // Some modes hardly strain the wire, others (against each other about it, and
        // along it) strain it much.
        let whole = spectrum.on_feet(&frame);
        assert!(whole.contains(&true) && whole[..8].contains(&false), "{standing:?}");
        assert!(whole.iter().filter(|on| **on).count() <= 6);
    }
}
