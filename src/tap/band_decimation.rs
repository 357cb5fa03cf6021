//! Band decimation: a narrow band of a record at a low sample rate, exact for decaying exponentials.
//!
//! The signal is shifted down in frequency by the band's centre, low-pass filtered and decimated:
//!
//! ```text
//! y[n] = sum_k h[k] x[nD + k] exp(-i w0 (nD + k))
//! x[n] = a exp(s n)   gives   y[n] = a H(s - i w0) exp((s - i w0) D n),   H(s) = sum_k h[k] exp(s k)
//! ```
//!
//! The filter uses the present and later samples only, so that every output consists of free decay alone:
//! a decaying exponential stays one exactly, and its amplitude changes by the known factor H.
//!
//! # Source
//! - `kaiser1974`: window and length of the filter for a stated attenuation

use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Attenuation at more than three half-widths from the centre, dB.
const ATTENUATION: f64 = 90.0;
/// The same where the filter has to be short.
const LOW_ATTENUATION: f64 = 60.0;

/// A band and the filter that cuts it out.
pub(super) struct BandDecimator {
    /// Centre, radians per sample.
    centre: f64,
    /// Half of the width that passes, Hz.
    pub(super) half_width_hz: f64,
    /// Samples per output.
    pub(super) step: usize,
    /// Output samples per second, Hz.
    pub(super) rate_hz: f64,
    /// The filter times the frequency shift.
    turned: Vec<Complex64>,
    /// The filter alone.
    filter: Vec<f64>,
}

impl BandDecimator {
    /// A band of `half_width_hz` on either side of `centre_hz`, of a record at `rate_hz`.
    ///
    /// It must stay clear of zero and of half the sample rate by twice its half-width.
    pub(super) fn new(rate_hz: f64, centre_hz: f64, half_width_hz: f64) -> BandDecimator {
        BandDecimator::with(rate_hz, centre_hz, half_width_hz, ATTENUATION)
    }

    /// All frequencies below `highest_hz`, for decays that are shorter than the filter of a narrow band.
    /// Every mode appears together with its mirror image at the negative frequency.
    pub(super) fn low(rate_hz: f64, highest_hz: f64) -> BandDecimator {
        BandDecimator::with(rate_hz, 0.0, highest_hz.min(rate_hz / 6.1), LOW_ATTENUATION)
    }

    /// True for a band that contains the mirror images too.
    pub(super) fn is_mirrored(&self) -> bool {
        self.centre == 0.0
    }

    fn with(rate_hz: f64, centre_hz: f64, half_width_hz: f64, attenuation: f64) -> BandDecimator {
        let step = ((rate_hz / (4.0 * half_width_hz)).floor() as usize).max(1);
        let relative = half_width_hz / rate_hz;
        let length = ((attenuation - 8.0) / (2.285 * TAU * 2.0 * relative)).ceil().max(4.0) as usize | 1;
        let beta = 0.1102 * (attenuation - 8.7);
        let middle = (length - 1) as f64 / 2.0;
        let raw: Vec<f64> = (0..length)
            .map(|k| {
                let t = k as f64 - middle;
                let x = TAU * 2.0 * relative * t;
                let sinc = if t == 0.0 { 1.0 } else { x.sin() / x };
                sinc * bessel_i0(beta * (1.0 - (t / middle).powi(2)).max(0.0).sqrt())
            })
            .collect();
        let sum: f64 = raw.iter().sum();
        let filter: Vec<f64> = raw.iter().map(|h| h / sum).collect();
        let centre = TAU * centre_hz / rate_hz;
        let turned =
            filter.iter().enumerate().map(|(k, h)| Complex64::from_polar(*h, -centre * k as f64)).collect();
        BandDecimator { centre, half_width_hz, step, rate_hz: rate_hz / step as f64, turned, filter }
    }

    /// Samples of the record that one output uses.
    pub(super) fn length(&self) -> usize {
        self.filter.len()
    }

    /// The band of `x`: at most `most` samples, none that would need samples beyond the end of `x`.
    pub(super) fn apply(&self, x: &[f64], most: usize) -> Vec<Complex64> {
        if x.len() < self.turned.len() {
            return Vec::new();
        }
        let count = ((x.len() - self.turned.len()) / self.step + 1).min(most);
        (0..count)
            .map(|n| {
                let at = n * self.step;
                let mut sum = Complex64::ZERO;
                for (x, h) in x[at..at + self.turned.len()].iter().zip(&self.turned) {
                    sum += h * x;
                }
                sum * Complex64::from_polar(1.0, -(self.centre * at as f64) % TAU)
            })
            .collect()
    }

    /// Samples of the record that `count` outputs use.
    pub(super) fn reach(&self, count: usize) -> usize {
        count.saturating_sub(1) * self.step + self.turned.len()
    }

    /// Power density of the output within the band over that of white noise with the same variance, for
    /// white noise at the input.
    pub(super) fn whiteness(&self) -> f64 {
        1.0 / (self.step as f64 * self.filter.iter().map(|h| h * h).sum::<f64>())
    }

    /// A pole of the output (log per output sample) as a pole of the record (log per sample).
    pub(super) fn unzoomed(&self, pole: Complex64) -> Complex64 {
        pole / self.step as f64 + Complex64::new(0.0, self.centre)
    }

    /// The phase that the band's centre advances in `samples` of the record, as an imaginary exponent.
    pub(super) fn turning(&self, samples: f64) -> Complex64 {
        Complex64::new(0.0, (self.centre * samples) % TAU)
    }

    /// Factor H by which the filter changes the amplitude of `pole` (log per output sample).
    pub(super) fn gain(&self, pole: Complex64) -> Complex64 {
        let s = pole / self.step as f64;
        self.filter.iter().enumerate().map(|(k, h)| (s * k as f64).exp() * h).sum()
    }

    /// Frequency of `pole` (log per output sample) relative to the band's centre, Hz.
    pub(super) fn offset_hz(&self, pole: Complex64) -> f64 {
        pole.im / TAU * self.rate_hz
    }

    /// Decay rate (real part) and angular frequency (imaginary part) of `pole` in the record, 1/s.
    pub(super) fn per_second(&self, pole: Complex64) -> Complex64 {
        let full = self.unzoomed(pole) * (self.rate_hz * self.step as f64);
        Complex64::new(-full.re, full.im)
    }
}

/// Modified Bessel function of the first kind and order zero, by its series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..60 {
        term *= quarter / f64::from(k * k);
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    sum
}

/// Window of a spectrum that starts at the tap: one at the first sample, falling to zero as half a cosine.
/// It weights a decay where it is strong and keeps the end from leaking.
pub(super) fn falling(length: usize) -> impl Iterator<Item = f64> {
    (0..length).map(move |i| 0.5 + 0.5 * (PI * i as f64 / length as f64).cos())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decay_stays_a_decay() {
        let (rate, f, eta) = (8000.0, 431.0, 0.02);
        let s = Complex64::new(-PI * f * eta, TAU * f) / rate;
        let a = Complex64::from_polar(0.7, 0.4);
        let x: Vec<f64> = (0..4000).map(|n| 2.0 * (a * (s * n as f64).exp()).re).collect();
        let zoom = BandDecimator::new(rate, 420.0, 60.0);
        let y = zoom.apply(&x, usize::MAX);
        let reach = zoom.reach(y.len());
        assert!(reach <= x.len() && reach + zoom.step > x.len());
        let pole = (y[5] / y[4]).ln();
        let back = zoom.per_second(pole);
        assert!((back.re / (PI * f * eta) - 1.0).abs() < 2e-3 && (back.im / (TAU * f) - 1.0).abs() < 1e-5);
        let amplitude = y[0] / zoom.gain(pole);
        assert!((amplitude - a).norm() < 1e-3 * a.norm(), "{amplitude} {a}");
    }

    #[test]
    fn beyond_the_band_nothing_passes() {
        let zoom = BandDecimator::new(1000.0, 200.0, 20.0);
        let gain = |offset: f64| zoom.gain(Complex64::new(0.0, TAU * offset / zoom.rate_hz)).norm();
        assert!((gain(0.0) - 1.0).abs() < 1e-12);
        assert!(gain(20.0) > 0.98 && gain(60.0) < 1e-3 && gain(150.0) < 1e-3);
    }

    #[test]
    fn a_sample_is_worth_about_one() {
        let zoom = BandDecimator::new(44100.0, 300.0, 25.0);
        assert!((0.9..1.3).contains(&zoom.whiteness()), "{}", zoom.whiteness());
    }
}
