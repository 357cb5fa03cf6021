//! How deep can the tool cut before it chatters? The limit at every speed, and the stability lobes above it.
//!
//! Each pass cuts the waves that the previous one left. With `G` the compliance between tip and work along
//! the direction in which chip thickness is measured and in which the force is assumed to act,
//!
//! ```text
//! b_lim = -1 / (2 K_s min Re G)                        stable at every speed
//! b(w)  = -1 / (2 K_s Re G(w)),  psi = arg G(w),
//! n_j   = (w / 2 pi) / (j + (3 pi + 2 psi) / 2 pi)      the lobes, j = 1, 2, ...
//! ```
//!
//! with the cutting force per chip area `K_s`, N/m2, and the passes per second `n_j` (turns times teeth).
//! Left out: more than one tooth in the cut, a force that is not along the normal, process damping.
//!
//! # Source
//! - `tlusty1963`: the limit from the most negative real part
//! - `altintas2012`: ch. 4, orthogonal chatter and its lobes

use super::modal::Pair;
use super::peak::{SEARCH_STEP, largest, resolving_squares};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::{PI, TAU};

/// Lobes are drawn up to this multiple of the stable depth.
const DRAWN: f64 = 10.0;

/// The depth that does not chatter at any speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StableDepth {
    /// Width of the chip, m.
    pub depth_m: f64,
    /// Frequency at which a deeper cut starts to chatter, Hz.
    pub frequency_hz: f64,
    /// The most negative real part of the compliance, m/N.
    pub real_part_m_per_n: f64,
}

/// The stable depth of a cut with `cutting_stiffness`, N/m2, where force and chip thickness are
/// along the direction of `pair`.
///
/// `None` when the real part is nowhere negative, so that no depth chatters.
///
/// By hand: a single mode with stiffness k and hysteretic loss factor eta has min Re G =
/// -1/(2 k eta), so that b = k eta / K_s.
pub fn stable_depth(pair: &Pair, cutting_stiffness: f64) -> Option<StableDepth> {
    let squares = resolving_squares(pair.poles(), SEARCH_STEP);
    stable_depth_of(&squares, |x| pair.at_square(x), cutting_stiffness)
}

/// [`stable_depth`] for any compliance as a function of the square `w^2`, searched between the sorted
/// `squares`, which must be close enough to show its dips.
pub fn stable_depth_of(
    squares: &[f64],
    compliance: impl Fn(f64) -> Complex64,
    cutting_stiffness: f64,
) -> Option<StableDepth> {
    let (square, dip) = largest(squares, |x| (-compliance(x).re).max(0.0))?;
    (dip > 0.0).then(|| StableDepth {
        depth_m: 1.0 / (2.0 * cutting_stiffness * dip),
        frequency_hz: square.sqrt() / TAU,
        real_part_m_per_n: -dip,
    })
}

/// One point of the limit between a stable cut and chatter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LobePoint {
    /// Passes per second: turns times teeth.
    pub passes_hz: f64,
    /// Depth of cut, m.
    pub depth_m: f64,
    /// Frequency of the chatter, Hz.
    pub frequency_hz: f64,
}

/// A stretch of the stability limit with a fixed number of whole waves between two passes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lobe {
    /// Whole waves between two passes.
    pub waves: usize,
    /// In order of rising chatter frequency.
    pub points: Vec<LobePoint>,
}

/// The point of the stability limit where chatter has the frequency `omega`, rad/s, and `waves` whole waves
/// between passes.
///
/// `None` where the real part of the `compliance`, m/N, is not negative.
pub fn lobe_point(
    compliance: Complex64,
    omega: f64,
    waves: usize,
    cutting_stiffness: f64,
) -> Option<LobePoint> {
    let frequency = omega / TAU;
    let shift = 3.0 * PI + 2.0 * compliance.arg();
    (compliance.re < 0.0).then(|| LobePoint {
        passes_hz: frequency / (waves as f64 + shift / TAU),
        depth_m: -1.0 / (2.0 * cutting_stiffness * compliance.re),
        frequency_hz: frequency,
    })
}

/// The lobes with 0 to `most_waves` whole waves, for plotting; one for each interval of frequency in which
/// the limit is below ten times the stable depth.
pub fn lobes(pair: &Pair, cutting_stiffness: f64, most_waves: usize) -> Vec<Lobe> {
    let Some(limit) = stable_depth(pair, cutting_stiffness) else { return Vec::new() };
    let mut squares = resolving_squares(pair.poles(), 0.1);
    squares.push((TAU * limit.frequency_hz).powi(2));
    squares.sort_by(f64::total_cmp);
    let mut lobes = Vec::new();
    for waves in 0..=most_waves {
        let mut points = Vec::new();
        for x in &squares {
            let point = lobe_point(pair.at_square(*x), x.sqrt(), waves, cutting_stiffness);
            match point.filter(|p| p.depth_m <= DRAWN * limit.depth_m) {
                Some(point) => points.push(point),
                None if !points.is_empty() => {
                    lobes.push(Lobe { waves, points: std::mem::take(&mut points) });
                }
                None => {}
            }
        }
        if !points.is_empty() {
            lobes.push(Lobe { waves, points });
        }
    }
    lobes
}

#[cfg(test)]
mod tests {
    use super::super::modal::tests::{chain, single};
    use super::*;

    #[test]
    fn one_mode_cuts_as_deep_as_its_loss_allows() {
        let model = single(2e7, 22.5, 0.06);
        let found = stable_depth(&model.pair(0, 0), 2e9).unwrap();
        approx::assert_relative_eq!(found.depth_m, 0.6e-3, max_relative = 1e-12);
        let resonance = (2e7f64 / 22.5).sqrt() / TAU;
        approx::assert_relative_eq!(found.frequency_hz, resonance * 1.06f64.sqrt(), max_relative = 1e-6);
    }

    #[test]
    fn a_cross_compliance_that_only_pushes_ahead_never_chatters() {
        // Far below any resonance the compliance is that of a spring, with a positive real part.
        let found = stable_depth_of(&[0.0, 1.0, 2.0], |_| Complex64::new(1e-7, -1e-9), 2e9);
        assert_eq!(found, None);
    }

    #[test]
    fn lobes_touch_the_limit_and_never_pass_below() {
        let chain = chain(&[(2e7, 0.02), (1e7, 0.02), (3e7, 0.05), (5e6, 0.01)], &[10.0, 5.0, 8.0]);
        let model = chain.model(3);
        let pair = model.pair(0, 0);
        let limit = stable_depth(&pair, 1.5e9).unwrap().depth_m;
        let lobes = lobes(&pair, 1.5e9, 3);
        assert!(lobes.len() >= 4);
        for waves in 0..=3 {
            let of_waves = lobes.iter().filter(|l| l.waves == waves).flat_map(|l| &l.points);
            let least = of_waves.map(|p| p.depth_m).fold(f64::INFINITY, f64::min);
            approx::assert_relative_eq!(least, limit, max_relative = 1e-9);
        }
        assert!(lobes.iter().flat_map(|l| &l.points).all(|p| p.passes_hz > 0.0));
    }

    #[test]
    fn a_wave_on_a_lobe_neither_grows_nor_decays() {
        // The cut at depth b passes the wave of the pass before: 1 + K_s b (1 - exp(-i w T)) G(i w) = 0.
        let chain = chain(&[(2e7, 0.02), (1e7, 0.02), (3e7, 0.05), (5e6, 0.01)], &[10.0, 5.0, 8.0]);
        let model = chain.model(3);
        let pair = model.pair(0, 0);
        let limit = stable_depth(&pair, 1.5e9).unwrap().depth_m;
        let mut deepest = 0.0f64;
        for lobe in lobes(&pair, 1.5e9, 3) {
            for point in &lobe.points {
                let omega = TAU * point.frequency_hz;
                let phase = omega / point.passes_hz;
                assert!((phase / TAU - lobe.waves as f64 - 0.5).abs() <= 0.5, "{lobe:?}");
                let ahead = 1.0 - Complex64::from_polar(1.0, -phase);
                let gain = 1.5e9 * point.depth_m * ahead * model.compliance(0, 0, omega);
                assert!((1.0 + gain).norm() < 1e-9, "{point:?}: {gain}");
                deepest = deepest.max(point.depth_m);
            }
        }
        assert!((3.0 * limit..=10.0 * limit).contains(&deepest), "{deepest} {limit}");
    }
}
