//! Do the damping and the frequency of a mode depend on its amplitude?
//!
//! Joints slip more at larger amplitudes, so that their damping rises with amplitude; that of a material
//! hardly does. The samples of one mode alone are cut into stretches, the decay is read in each, and a
//! line is fitted to decay over the logarithm of amplitude, for all taps together:
//!
//! ```text
//! eta_w = 2 sigma_w / omega = c0 + c1 log10(A_w / A_strongest)
//! ```
//!
//! For a bent mode the change between the ends of its curve is taken instead.

use super::identify::{Local, Mode};
use super::model_selection::{LocalPole, local};
use super::{COVERAGE, limits};
use serde::Serialize;
use std::f64::consts::TAU;
use stillbed_input::quantity::Spread;

/// What can be said of the trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum TrendVerdict {
    /// The value rises with amplitude.
    Rises,
    /// The value falls with amplitude.
    Falls,
    /// No change, and a change of a quarter of the loss factor per tenfold amplitude would have been seen.
    None,
    /// The record cannot tell.
    Unresolved,
}

/// A mode at one amplitude of its decay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AmplitudePoint {
    /// Amplitude over the largest of all stretches.
    pub amplitude: f64,
    /// The frequency at which it rings there.
    pub frequency_hz: Spread,
    /// The loss factor there.
    pub loss_factor: Spread,
}

/// How a mode depends on amplitude.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AmplitudeTrend {
    /// What can be said of the loss factor.
    pub verdict: TrendVerdict,
    /// Change of the loss factor per tenfold amplitude.
    pub per_decade: Option<Spread>,
    /// What can be said of the frequency.
    pub frequency_verdict: TrendVerdict,
    /// Relative change of the frequency per tenfold amplitude.
    pub frequency_per_decade: Option<Spread>,
    /// True when one mode whose pole depends on amplitude explains the record better than linear ones.
    pub bends: bool,
    /// The mode from the largest amplitude on: by stretches of each tap, or on its curve.
    pub stretches: Vec<AmplitudePoint>,
}

/// Change of the loss factor per tenfold amplitude, in parts of it, that is too small for a trend.
const SMALL: f64 = 0.03;
/// Relative change of the frequency per tenfold amplitude, in parts of the loss factor, that is too small
/// for a trend: half of the mode's width.
const SMALL_TURN: f64 = 0.5;
/// Number of stretches of one tap.
const STRETCHES: usize = 6;

/// The least standard error of a loss factor on a curve, in parts of it: its law is smooth and of few terms.
const LAW: f64 = 0.002;
/// What a recorder at its limit may hide of a decay: at the largest amplitude so much of it, less in proportion
/// below.
const HIDDEN: f64 = 0.5;

/// What the surroundings and the recorder do to a ring, beside noise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Distortion {
    /// How many times larger than noise alone would make them the errors are.
    pub(super) times: f64,
    /// Standard error of a decay by the recorder's gain, 1/s.
    pub(super) gain: f64,
    /// True where the recorder was at its limit.
    pub(super) saturated: bool,
}

impl Distortion {
    /// Adds it to the errors of `point`, `largest` being the largest amplitude.
    fn widen(&self, point: &mut Point, largest: f64) {
        let hidden = if self.saturated { HIDDEN * point.amplitude / largest / COVERAGE } else { 0.0 };
        let own = (hidden + LAW) * point.decay.abs();
        point.decay_variance = (self.times * point.decay_variance.sqrt() + self.gain + own).powi(2);
        point.ringing_variance *= self.times.powi(2);
    }
}

/// How `mode` depends on its amplitude, heard through `distortion`.
pub(super) fn trend(mode: &Mode, distortion: &Distortion) -> AmplitudeTrend {
    let mut points = if mode.curve.is_empty() { stretches(mode) } else { on_curve(mode) };
    points.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    let largest = points.first().map_or(1.0, |point| point.amplitude);
    points.iter_mut().for_each(|point| distortion.widen(point, largest));
    let per_loss = 2.0 / mode.ringing;
    let stretches: Vec<AmplitudePoint> = points
        .iter()
        .map(|point| AmplitudePoint {
            amplitude: point.amplitude / largest,
            frequency_hz: limits(point.ringing / TAU, COVERAGE * point.ringing_variance.sqrt() / TAU),
            loss_factor: limits(point.decay * per_loss, COVERAGE * point.decay_variance.sqrt() * per_loss),
        })
        .collect();
    let bends = !mode.curve.is_empty();
    let of = |value: fn(&Point) -> (f64, f64)| match bends {
        true => ends(&points, value),
        false => line(&points, largest, value),
    };
    let loss = mode.decay * per_loss;
    let read = |slope: Option<(f64, f64)>, per: f64, small: f64| {
        let Some((slope, error)) = slope else { return (TrendVerdict::Unresolved, None) };
        let (slope, error) = (slope * per, COVERAGE * error * per);
        // A change that is certain but small is no trend.
        let least = error.max(small * loss);
        let verdict = if slope > least {
            TrendVerdict::Rises
        } else if slope < -least {
            TrendVerdict::Falls
        } else if error < 0.25 * loss {
            TrendVerdict::None
        } else {
            TrendVerdict::Unresolved
        };
        (verdict, Some(limits(slope, error)))
    };
    let (verdict, per_decade) = read(of(|p| (p.decay, p.decay_variance)), per_loss, SMALL);
    let (frequency_verdict, frequency_per_decade) =
        read(of(|p| (p.ringing, p.ringing_variance)), 1.0 / mode.ringing, SMALL_TURN);
    AmplitudeTrend { verdict, per_decade, frequency_verdict, frequency_per_decade, bends, stretches }
}

struct Point {
    amplitude: f64,
    decay: f64,
    decay_variance: f64,
    ringing: f64,
    ringing_variance: f64,
}

/// The points of a bent mode's curve.
fn on_curve(mode: &Mode) -> Vec<Point> {
    let of = |at: &Local| Point {
        amplitude: at.amplitude,
        decay: at.decay,
        decay_variance: at.decay_variance,
        ringing: at.ringing,
        ringing_variance: at.ringing_variance,
    };
    mode.curve.iter().map(of).collect()
}

/// Change from the weakest to the strongest of `points` per decade, and its standard error.
fn ends(points: &[Point], value: fn(&Point) -> (f64, f64)) -> Option<(f64, f64)> {
    let (first, last) = (points.first()?, points.last()?);
    let decades = (first.amplitude / last.amplitude).log10();
    let ((a, va), (b, vb)) = (value(first), value(last));
    (decades > 0.0).then(|| ((a - b) / decades, (va + vb).sqrt() / decades))
}

/// Decay and frequency by stretch and tap, as long as the mode stands out of the noise.
fn stretches(mode: &Mode) -> Vec<Point> {
    let rate = mode.rate_hz;
    let of = |local: LocalPole| Point {
        amplitude: local.amplitude,
        decay: -local.pole.re * rate,
        decay_variance: local.variance * rate * rate,
        ringing: local.pole.im * rate + TAU * mode.centre_hz,
        ringing_variance: local.variance * rate * rate,
    };
    local(&mode.alone, mode.decay / rate, mode.noise, STRETCHES).into_iter().map(of).collect()
}

/// Weighted least-squares line of a value over log10 of amplitude: its slope and standard error.
fn line(points: &[Point], largest: f64, value: fn(&Point) -> (f64, f64)) -> Option<(f64, f64)> {
    if points.len() < 3 {
        return None;
    }
    let smallest = points.iter().map(|point| point.decay_variance).fold(f64::MAX, f64::min);
    let largest_decay = points.iter().map(|point| point.decay.abs()).fold(0.0, f64::max);
    let floor = (1e-4 * largest_decay).powi(2).max(1e-6 * smallest);
    let weight = |point: &Point| 1.0 / (value(point).1 + floor);
    let (x, y) = (|point: &Point| (point.amplitude / largest).log10(), |point: &Point| value(point).0);
    let total: f64 = points.iter().map(weight).sum();
    let mean_x = points.iter().map(|p| weight(p) * x(p)).sum::<f64>() / total;
    let mean_y = points.iter().map(|p| weight(p) * y(p)).sum::<f64>() / total;
    let xx: f64 = points.iter().map(|p| weight(p) * (x(p) - mean_x).powi(2)).sum();
    let xy: f64 = points.iter().map(|p| weight(p) * (x(p) - mean_x) * (y(p) - mean_y)).sum();
    if xx <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    let chi: f64 = points.iter().map(|p| weight(p) * (y(p) - mean_y - slope * (x(p) - mean_x)).powi(2)).sum();
    let birge = (chi / (points.len() as f64 - 2.0)).max(1.0);
    Some((slope, (birge / xx).sqrt()))
}
