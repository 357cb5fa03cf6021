//! Does the damping depend on how strongly the mode rings?
//!
//! Joints slip more when they are moved more, so that their damping rises with amplitude; a
//! material's hardly does. The samples of one mode alone are cut into stretches, the decay is read
//! in each, and a line is laid through decay over the logarithm of amplitude, of all taps together:
//!
//! ```text
//! eta_w = 2 sigma_w / omega = c0 + c1 log10(A_w / A_strongest)
//! ```

use super::identify::Mode;
use super::pencil::Block;
use super::refine::refine;
use super::{COVERAGE, limits};
use crate::quantity::Spread;
use num_complex::Complex64;
use serde::Serialize;

/// What can be said of the trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The damping rises with amplitude.
    Rises,
    /// The damping falls with amplitude.
    Falls,
    /// No change, and a change of a quarter per tenfold amplitude would have been seen.
    None,
    /// The record cannot tell.
    Unresolved,
}

/// The loss factor of a mode over one stretch of its decay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stretch {
    /// Amplitude over the largest of all stretches.
    pub amplitude: f64,
    /// The loss factor there.
    pub loss_factor: Spread,
}

/// How the loss factor of a mode depends on amplitude.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AmplitudeTrend {
    /// What can be said.
    pub verdict: Verdict,
    /// Change of the loss factor for a tenfold amplitude.
    pub per_decade: Option<Spread>,
    /// The stretches, the strongest first.
    pub stretches: Vec<Stretch>,
}

/// Change for a tenfold amplitude, in parts of the loss factor, that is no trend.
const SMALL: f64 = 0.03;
/// Longest number of stretches of one tap.
const STRETCHES: usize = 6;

/// Reads the trend of `mode`.
pub(super) fn trend(mode: &Mode) -> AmplitudeTrend {
    let mut points = stretches(mode);
    points.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    let largest = points.first().map_or(1.0, |point| point.amplitude);
    let per_loss = 2.0 / mode.ringing;
    let stretches: Vec<Stretch> = points
        .iter()
        .map(|point| Stretch {
            amplitude: point.amplitude / largest,
            loss_factor: limits(point.decay * per_loss, COVERAGE * point.variance.sqrt() * per_loss),
        })
        .collect();
    let Some((slope, error)) = line(&points, largest) else {
        return AmplitudeTrend { verdict: Verdict::Unresolved, per_decade: None, stretches };
    };
    let (slope, error) = (slope * per_loss, COVERAGE * error * per_loss);
    let loss = mode.decay * per_loss;
    // What is certain but small is no trend.
    let least = error.max(SMALL * loss);
    let verdict = if slope > least {
        Verdict::Rises
    } else if slope < -least {
        Verdict::Falls
    } else if error < 0.25 * loss {
        Verdict::None
    } else {
        Verdict::Unresolved
    };
    AmplitudeTrend { verdict, per_decade: Some(limits(slope, error)), stretches }
}

struct Point {
    amplitude: f64,
    decay: f64,
    variance: f64,
}

/// Decay by stretch and tap, as far as the mode stands out of the noise.
fn stretches(mode: &Mode) -> Vec<Point> {
    let mut points = Vec::new();
    let taps: std::collections::BTreeSet<usize> = mode.alone.iter().map(|alone| alone.tap).collect();
    let decay = mode.decay / mode.rate_hz;
    for tap in taps {
        let own: Vec<_> = mode.alone.iter().filter(|alone| alone.tap == tap).collect();
        let power: f64 = own.iter().map(|alone| alone.start.norm_sqr()).sum();
        let noise = mode.noise * own.len() as f64;
        let longest = own.iter().map(|alone| alone.samples.len()).max().unwrap_or(0);
        let heard = if decay > 0.0 {
            ((power / noise).max(1.0).ln() / (2.0 * decay)).min(longest as f64) as usize
        } else {
            longest
        };
        let length = (heard / STRETCHES).max(8);
        let mut from = 0;
        while from + length <= heard {
            let part = |alone: &&&super::identify::Alone| alone.samples.len() >= from + length;
            let blocks: Vec<Block> = own
                .iter()
                .filter(part)
                .map(|alone| {
                    let samples = alone.samples[from..from + length].to_vec();
                    Block { tap, channel: alone.channel, samples }
                })
                .collect();
            let start = Complex64::new(-decay, phase_step(&blocks));
            if let Some(fit) = refine(&blocks, &[start], 10) {
                // The noise of a short stretch is known better from the whole band.
                let noise = fit.noise().max(mode.noise);
                let power: f64 = fit.amplitudes.iter().map(|a| a[0].norm_sqr()).sum();
                let middle = (fit.poles[0].re * 0.5 * length as f64).exp();
                points.push(Point {
                    amplitude: power.sqrt() * middle,
                    decay: -fit.poles[0].re * mode.rate_hz,
                    variance: 0.5 * noise * fit.unit_variance[0] * mode.rate_hz.powi(2),
                });
            }
            from += length;
        }
    }
    points.retain(|point| point.variance.is_finite() && point.amplitude > 0.0);
    points
}

/// Mean turn from one sample to the next.
fn phase_step(blocks: &[Block]) -> f64 {
    let turn =
        |block: &Block| block.samples.windows(2).map(|pair| pair[1] * pair[0].conj()).sum::<Complex64>();
    blocks.iter().map(turn).sum::<Complex64>().arg()
}

/// Weighted line of decay over log10 of amplitude: its slope and the standard error of it.
fn line(points: &[Point], largest: f64) -> Option<(f64, f64)> {
    if points.len() < 3 {
        return None;
    }
    let smallest = points.iter().map(|point| point.variance).fold(f64::MAX, f64::min);
    let largest_decay = points.iter().map(|point| point.decay.abs()).fold(0.0, f64::max);
    let floor = (1e-4 * largest_decay).powi(2).max(1e-6 * smallest);
    let weight = |point: &Point| 1.0 / (point.variance + floor);
    let x = |point: &Point| (point.amplitude / largest).log10();
    let total: f64 = points.iter().map(weight).sum();
    let mean_x = points.iter().map(|p| weight(p) * x(p)).sum::<f64>() / total;
    let mean_y = points.iter().map(|p| weight(p) * p.decay).sum::<f64>() / total;
    let xx: f64 = points.iter().map(|p| weight(p) * (x(p) - mean_x).powi(2)).sum();
    let xy: f64 = points.iter().map(|p| weight(p) * (x(p) - mean_x) * (p.decay - mean_y)).sum();
    if xx <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    let chi: f64 =
        points.iter().map(|p| weight(p) * (p.decay - mean_y - slope * (x(p) - mean_x)).powi(2)).sum();
    let birge = (chi / (points.len() as f64 - 2.0)).max(1.0);
    Some((slope, (birge / xx).sqrt()))
}
