//! Which lines are there without a tap: mains hum, a fan, a running machine?
//!
//! Each line is compared with the quiet before the first tap, within the line's own width or that of
//! a wandering hum. A line that is present there at a similar level is no mode. In a record without
//! such a quiet, a line that does not fade and lies on a multiple of the mains frequency is hum.

use super::COVERAGE;
use super::identify::Mode;
use super::tap_detection::Tap;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// The record before the first tap, for comparison.
pub(super) struct Background<'a> {
    channels: &'a [Vec<f64>],
    rate_hz: f64,
    /// Samples before the first tap.
    quiet: usize,
    /// The two mains frequencies, the more likely one first, Hz.
    grids: [f64; 2],
}

/// How the stated reason for dropping a background tone ends.
pub(super) const WITHOUT_TAP: &str = "that is there without the tap";
/// Frequency range over which the mains frequency wanders, Hz.
const WANDERS: f64 = 0.7;
/// The same within one record of a steady grid, Hz.
const STEADY: f64 = 0.1;
/// A line belongs to the background if its level before the taps exceeds this share of its level after
/// them.
const THERE_BEFORE: f64 = 0.4;

impl<'a> Background<'a> {
    pub(super) fn new(
        channels: &'a [Vec<f64>],
        taps: &[Tap],
        modes: &[Mode],
        rate_hz: f64,
    ) -> Background<'a> {
        let guard = (0.01 * rate_hz) as usize;
        let quiet = taps.first().filter(|tap| !tap.begun).map_or(0, |tap| tap.first.saturating_sub(guard));
        // 300 Hz is the sixth multiple of 50 Hz and the fifth of 60 Hz: the other tones decide.
        let fits =
            |mains: f64| modes.iter().filter(|m| is_multiple(m.ringing / TAU, mains, 0.0, 0.25)).count();
        let grids = if fits(60.0) > fits(50.0) { [60.0, 50.0] } else { [50.0, 60.0] };
        Background { channels, rate_hz, quiet, grids }
    }

    /// Why `mode` belongs to the background, if it does.
    pub(super) fn reason(&self, mode: &Mode) -> Option<String> {
        let frequency = mode.ringing / TAU;
        let fades = mode.decay - COVERAGE * mode.variance.sqrt() > 0.0 && mode.decay * mode.listened_s > 1.0;
        let near = COVERAGE * mode.variance.sqrt() / TAU;
        let mains =
            |reach: f64| self.grids.into_iter().find(|mains| is_multiple(frequency, *mains, reach, near));
        let is_heard = (self.quiet as f64) > 4.0 * self.rate_hz / frequency && self.quiet > 64;
        let there = if is_heard {
            // A line that fades is compared by its mean over the time it was listened to.
            let after = mean_after(mode);
            let width = mains(WANDERS).map_or(near, |mains| WANDERS * (frequency / mains).round());
            self.before(frequency, width.max(near)) > THERE_BEFORE * after
        } else {
            !fades && mains(STEADY).is_some()
        };
        there.then(|| match mains(WANDERS) {
            Some(mains) => format!("mains hum, a multiple of {mains} Hz, {WITHOUT_TAP}"),
            None => format!("a tone {WITHOUT_TAP}"),
        })
    }

    /// Magnitude of the complex amplitude within `width` Hz of `frequency` before the first tap, all
    /// channels together; on the scale of `Mode::starts`.
    fn before(&self, frequency: f64, width: f64) -> f64 {
        // Stretches short enough that a tone wandering within the width stays in phase.
        let length = ((0.6 * self.rate_hz / width.max(1e-9)) as usize).clamp(64, self.quiet.max(64));
        let count = self.quiet / length;
        if count == 0 {
            return 0.0;
        }
        let step = Complex64::from_polar(1.0, -TAU * frequency / self.rate_hz);
        // A drift and a rumble would leak into a stretch without a window.
        let window: Vec<f64> =
            (0..length).map(|n| (PI * (n as f64 + 0.5) / length as f64).sin().powi(2)).collect();
        let tone = |x: &[f64]| {
            let (mut turn, mut sum) = (Complex64::ONE, Complex64::ZERO);
            for (x, window) in x.iter().zip(&window) {
                sum += turn * *x * *window;
                turn *= step;
            }
            (2.0 * sum / x.len() as f64).norm_sqr()
        };
        let first = self.quiet - count * length;
        let of = |x: &Vec<f64>| x[first..self.quiet].chunks(length).map(tone).sum::<f64>() / count as f64;
        self.channels.iter().map(of).sum::<f64>().sqrt()
    }
}

/// Root mean square of the amplitude of `mode` over the taps and the time it was listened to.
fn mean_after(mode: &Mode) -> f64 {
    let taps: std::collections::BTreeSet<usize> = mode.starts.iter().map(|start| start.0).collect();
    let power: f64 =
        mode.starts.iter().map(|start| start.2.norm_sqr()).sum::<f64>() / taps.len().max(1) as f64;
    let fall = 2.0 * mode.decay.max(0.0) * mode.listened_s;
    // Over the first two decay times of a mode that fades, over the whole time of one that does not.
    let mean = if fall > 1e-6 { (1.0 - (-fall.min(4.0)).exp()) / fall.min(4.0) } else { 1.0 };
    (power * mean).sqrt()
}

/// True when `frequency` lies on one of the first multiples of a mains frequency that wanders by `reach`,
/// Hz, and so takes its n-th multiple n times as far; `near` is the error of `frequency`.
fn is_multiple(frequency: f64, mains: f64, reach: f64, near: f64) -> bool {
    let order = (frequency / mains).round();
    (1.0..=12.0).contains(&order) && (frequency - order * mains).abs() < order * reach + near
}

#[cfg(test)]
mod tests {
    use super::super::identify::clear_line;
    use super::super::tap_detection::Tap;
    use super::*;

    /// The reason to drop a line at `frequency`, Hz, when the second before the tap is `quiet`.
    fn dropped(frequency: f64, quiet: impl Fn(f64) -> f64) -> Option<String> {
        let channels = [(0..1000).map(|n| quiet(n as f64 / 1000.0)).collect()];
        let tap = Tap {
            first: 1000,
            last: 1000,
            free: 1000,
            end: 3000,
            hits: 1,
            clipped: 0,
            begun: false,
            strength: 1e6,
        };
        let modes = [clear_line(frequency, 0.004, 1.0)];
        Background::new(&channels, &[tap], &modes, 1000.0).reason(&modes[0])
    }

    #[test]
    fn a_multiple_of_the_mains_wanders_as_many_times_as_far() {
        let hum = |hertz: f64| move |t: f64| 2.0 * (TAU * hertz * t).cos();
        assert!(dropped(299.0, hum(301.5)).is_some_and(|reason| reason.contains("mains hum")));
        assert!(dropped(60.0, hum(62.5)).is_none());
    }

    #[test]
    fn a_drift_before_the_tap_is_no_tone() {
        assert_eq!(dropped(400.0, |t| 60.0 * t), None);
    }
}
