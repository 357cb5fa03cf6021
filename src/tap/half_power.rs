//! The loss factor from the width of a peak at half power, and the smallest one that a record resolves.
//!
//! ```text
//! eta = (f2^2 - f1^2) / (2 fn^2),   |H(f1)|^2 = |H(f2)|^2 = |H|max^2 / 2
//! no record of length T shows a peak narrower than 0.886 / T
//! ```
//!
//! For the receptance of one mode with a complex stiffness k(1 + i eta) this is exact; with a
//! viscous damper its relative error is of the order of zeta^2. A loss factor below twice the record's
//! resolution limit comes from the length of the record instead of the mode, and is not stated.
//!
//! # Source
//! - `nashif1985`: half-power points of hysteretic and viscous damping
//! - `harris1978`: width of the rectangular window at half power, 0.886 / T

use super::identify::Mode;
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::{PI, TAU};

/// Width at half power of a rectangular window of length T, times T.
const RECTANGULAR: f64 = 0.886;

/// The half-power reading of one mode.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HalfPower {
    /// The loss factor; `None` when it is too small for the record to resolve.
    pub loss_factor: Option<f64>,
    /// The loss factor that corresponds to the narrowest peak a record of this length can show.
    pub resolution_limit: f64,
}

/// Frequencies of half power on either side of a peak, and of the peak itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfPowerPoints {
    /// Lower frequency, Hz.
    pub low_hz: f64,
    /// The peak, Hz.
    pub peak_hz: f64,
    /// Upper frequency, Hz.
    pub high_hz: f64,
}

impl HalfPowerPoints {
    /// The loss factor that follows from the width.
    pub fn loss_factor(&self) -> f64 {
        (self.high_hz.powi(2) - self.low_hz.powi(2)) / (2.0 * self.peak_hz.powi(2))
    }
}

/// The half-power points around the maximum of `power`, a squared magnitude over rising `frequency_hz`.
///
/// Between samples the inverse of the power is interpolated by a parabola, which it is near the peak of a
/// single mode. `None` when the power does not fall to half on both sides.
pub fn half_power_points(frequency_hz: &[f64], power: &[f64]) -> Option<HalfPowerPoints> {
    let count = frequency_hz.len().min(power.len());
    let top = (0..count).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
    if top == 0 || top + 1 >= count || power[top] <= 0.0 {
        return None;
    }
    let inverse = |i: usize| 1.0 / power[i].max(f64::MIN_POSITIVE);
    let (c0, c1, c2) = parabola(frequency_hz, inverse, top - 1)?;
    let peak_hz = frequency_hz[top] - c1 / (2.0 * c2);
    let lowest = c0 - c1 * c1 / (4.0 * c2);
    let half = 2.0 * lowest;
    let below = (1..=top).rev().find(|i| inverse(i - 1) >= half)?;
    let above = (top + 1..count).find(|i| inverse(*i) >= half)?;
    let cross = |from: usize, to: usize| {
        // The crossing between two samples, by the parabola through them and a neighbour.
        let first = from.min(to).saturating_sub(usize::from(from.min(to) > 0)).min(count - 3);
        let (c0, c1, c2) = parabola(frequency_hz, inverse, first)?;
        let centre = frequency_hz[first + 1];
        let (low, high) = (frequency_hz[from.min(to)], frequency_hz[from.max(to)]);
        let root = (c1 * c1 - 4.0 * c2 * (c0 - half)).max(0.0).sqrt();
        let roots = [(-c1 + root) / (2.0 * c2), (-c1 - root) / (2.0 * c2)].map(|x| centre + x);
        roots.into_iter().find(|x| (low..=high).contains(x)).or_else(|| {
            let t = (half - inverse(from)) / (inverse(to) - inverse(from));
            Some(frequency_hz[from] + t * (frequency_hz[to] - frequency_hz[from]))
        })
    };
    Some(HalfPowerPoints { low_hz: cross(below - 1, below)?, peak_hz, high_hz: cross(above, above - 1)? })
}

/// Coefficients of the parabola through the three samples from `first` on; its origin is the middle one.
fn parabola(x: &[f64], y: impl Fn(usize) -> f64, first: usize) -> Option<(f64, f64, f64)> {
    let (a, b) = (x[first] - x[first + 1], x[first + 2] - x[first + 1]);
    let c0 = y(first + 1);
    let (ya, yb) = (y(first) - c0, y(first + 2) - c0);
    let c2 = (ya / a - yb / b) / (a - b);
    let c1 = ya / a - c2 * a;
    (c2.is_finite() && c1.is_finite() && c2 != 0.0).then_some((c0, c1, c2))
}

/// The half-power reading of `mode`, from its samples without the other modes.
pub(super) fn half_power(mode: &Mode) -> HalfPower {
    let frequency = mode.ringing / TAU;
    let longest = mode.alone.iter().map(|alone| alone.samples.len()).max().unwrap_or(0);
    let length_s = longest as f64 / mode.rate_hz;
    let resolution_limit = RECTANGULAR / (length_s * frequency);
    let reach = (4.0 * (mode.decay / PI).max(RECTANGULAR / length_s)).min(0.4 * mode.rate_hz);
    let points = 161;
    let offset = |i: usize| reach * (2.0 * i as f64 / (points - 1) as f64 - 1.0);
    let frequency_hz: Vec<f64> = (0..points).map(|i| frequency + offset(i)).collect();
    let power: Vec<f64> = frequency_hz
        .iter()
        .map(|f| {
            let step = Complex64::new(0.0, -TAU * (f - mode.centre_hz) / mode.rate_hz).exp();
            let part = |samples: &[Complex64]| {
                let mut turn = Complex64::ONE;
                let mut sum = Complex64::ZERO;
                for y in samples {
                    sum += y * turn;
                    turn *= step;
                }
                sum.norm_sqr()
            };
            mode.alone.iter().map(|alone| part(&alone.samples)).sum()
        })
        .collect();
    let read = half_power_points(&frequency_hz, &power).map(|points| points.loss_factor());
    HalfPower {
        loss_factor: read.filter(|eta| eta.is_finite() && *eta > 2.0 * resolution_limit),
        resolution_limit,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn complex_stiffness_is_read_exactly() {
        for eta in [0.001, 0.01, 0.1, 0.3] {
            let f: Vec<f64> = (0..4001).map(|i| 100.0 * (1.0 + eta * (i as f64 / 1000.0 - 2.0))).collect();
            let power: Vec<f64> =
                f.iter().map(|f| 1.0 / ((1.0 - (f / 100.0).powi(2)).powi(2) + eta * eta)).collect();
            let points = half_power_points(&f, &power).unwrap();
            approx::assert_relative_eq!(points.loss_factor(), eta, max_relative = 1e-6);
        }
    }

    #[test]
    fn a_slope_is_no_peak() {
        assert_eq!(half_power_points(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0]), None);
        assert_eq!(half_power_points(&[1.0, 2.0, 3.0], &[0.9, 1.0, 0.9]), None);
        assert_eq!(half_power_points(&[], &[]), None);
    }
}
