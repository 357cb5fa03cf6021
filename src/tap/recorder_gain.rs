//! Does the recorder turn its gain by itself? Then it rises while the ring dies, and damping looks smaller.
//!
//! An automatic gain is turned down by the tap and rises again afterwards. It multiplies the hiss too, which is thus
//! lower behind the tap than before it. The hiss is heard best where nothing rings: the modes are subtracted, and
//! fourth differences weaken what is left of them by (2 sin(pi f / rate))^4. Where the record holds nothing but
//! rounding before the tap, there is no hiss to tell it by.
//!
//! ```text
//! gain(t) / gain(before) = sqrt(hiss(t) / hiss(before)),   decay read = decay - d ln gain / dt
//! ```

use super::noise_floor::{level_quantile, quantum};
use super::record::Record;
use super::tap_detection::Tap;

/// Length of the frames in which the hiss is measured, s, and fewest samples of one.
const FRAME: (f64, usize) = (0.05, 400);
/// Squared weights of the fourth difference: so much stronger is white noise in it.
const WEIGHTS: f64 = 70.0;
/// Power of the hiss behind a tap, over that before it, below which the gain was turned down.
const TURNED_DOWN: f64 = 0.4;
/// The same at which the gain is up again.
const UP_AGAIN: f64 = 0.8;
/// Power of what is heard before the tap, over the squared quantization step, up to which it is rounding alone.
/// Rounding has a twelfth.
const ROUNDING: f64 = 0.25;

/// What the hiss says about the recorder's gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Gain {
    /// It does not show a change.
    Constant,
    /// The gain is turned down by the tap and rises again at this rate, 1/s, at most.
    Rises(f64),
    /// There is no hiss to tell it by.
    Unknown,
}

impl Gain {
    /// How fast it rises, 1/s; 0 when that is not known.
    pub(super) fn rate(self) -> f64 {
        if let Gain::Rises(rate) = self { rate } else { 0.0 }
    }
}

/// Samples of a frame at a sample rate; `None` where frames would be too short.
fn frame(rate_hz: f64) -> Option<usize> {
    Some((FRAME.0 * rate_hz) as usize).filter(|frame| *frame >= FRAME.1)
}

/// Mean power of the hiss in frame after frame of `x`, of which the modes were taken out.
pub(super) fn hiss(x: &[f64], rate_hz: f64) -> Vec<f64> {
    let Some(frame) = frame(rate_hz) else { return Vec::new() };
    let fourth = |x: &[f64]| x[0] - 4.0 * x[1] + 6.0 * x[2] - 4.0 * x[3] + x[4];
    let power = |part: &[f64]| {
        let sum: f64 = part.windows(5).map(|five| fourth(five).powi(2)).sum();
        sum / (WEIGHTS * (part.len() - 4) as f64)
    };
    x.chunks_exact(frame).map(power).collect()
}

/// What the hiss before the first of `taps` in `channels` and that behind the taps (`behind`, by tap and channel
/// frame after frame) say. `levels` are the units of the channels.
pub(super) fn gain(
    record: &Record,
    channels: &[Vec<f64>],
    levels: &[f64],
    taps: &[Tap],
    behind: &[Vec<f64>],
) -> Gain {
    let rate = record.sample_rate_hz;
    let Some(length) = frame(rate) else { return Gain::Constant };
    let quiet = taps.first().map_or(0, |tap| tap.first.saturating_sub(length / 4));
    if quiet < 2 * length {
        return Gain::Constant;
    }
    let before: Vec<f64> = channels.iter().map(|x| level_quantile(&hiss(&x[..quiet], rate), 0.25)).collect();
    let rounding = |(channel, level): (usize, &f64)| {
        ROUNDING * (quantum(&record.channels[channel].samples) / level).powi(2)
    };
    let silent = levels.iter().enumerate().zip(&before).all(|(channel, before)| *before < rounding(channel));
    if record.is_sound && silent {
        return Gain::Unknown;
    }
    let mut rates: Vec<f64> = Vec::new();
    for (i, frames) in behind.iter().enumerate().filter(|(_, frames)| frames.len() >= 4) {
        let before = before[i % channels.len()];
        let relative: Vec<f64> = frames.iter().map(|level| level / before).collect();
        let Some(least) = (0..relative.len()).min_by(|a, b| relative[*a].total_cmp(&relative[*b])) else {
            continue;
        };
        if relative[least] > TURNED_DOWN || relative[least] <= 0.0 {
            continue;
        }
        let up =
            relative[least..].iter().position(|level| *level > UP_AGAIN).unwrap_or(relative.len() - least);
        // The rise between two frames is uncertain; over three it is not.
        let rise =
            |n: usize| 0.5 * (relative[least + n] / relative[least]).ln() / (n as f64 * length as f64 / rate);
        rates.push((3..=up.min(relative.len() - 1 - least)).map(rise).fold(0.0, f64::max));
    }
    // A single tap may be followed by a noise that happens to end.
    if rates.is_empty() || 3 * rates.len() < behind.len() {
        return Gain::Constant;
    }
    Gain::Rises(rates.into_iter().fold(0.0, f64::max))
}

#[cfg(test)]
mod tests {
    use super::super::reading::{ReadingOptions, TapReading, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
    use stillbed_input::problem::Problems;

    const LOSS: f64 = 0.002;

    /// The reading of a microphone's record of a ring at 700 Hz, of the loss factor `LOSS`, in noise. Before it is
    /// rounded, its gain falls with the square root of its level over `threshold`, and recovers within `release`, s.
    fn heard(noise: f64, gain: Option<(f64, f64)>, options: &ReadingOptions) -> Result<TapReading, Problems> {
        let ring = SyntheticMode {
            frequency_hz: 700.0,
            loss_factor: LOSS,
            rise: 0.0,
            amplitudes: vec![0.6],
            phase: 0.0,
        };
        let taps = [0.5, 2.5].map(|time_s| SyntheticTap { time_s, strength: 1.0 });
        let mut record = synthesise(&SyntheticRecord {
            sample_rate_hz: 16_000.0,
            duration_s: 4.5,
            modes: vec![ring],
            taps: taps.to_vec(),
            noise,
            seed: 5,
            offset: 0.0,
            limit: None,
            step: None,
        })
        .unwrap();
        let mut held: f64 = 0.0;
        for x in &mut record.channels[0].samples {
            if let Some((threshold, release)) = gain {
                held = (held * f64::exp(-1.0 / (release * 16_000.0))).max(x.abs());
                *x /= (held / threshold).max(1.0).sqrt();
            }
            *x = (*x * 32_768.0).round() / 32_768.0;
        }
        record.is_sound = true;
        read_taps(&record, options)
    }

    fn told(reading: &TapReading) -> bool {
        reading.notes.iter().any(|note| note.message.contains("turns its gain by itself"))
    }

    #[test]
    fn a_gain_that_rises_while_the_ring_dies_hides_no_loss() {
        // Within the ring, and much slower than it.
        let mut read = 0;
        for release in [0.1, 0.2, 0.4, 2.0] {
            for noise in [1e-4, 3e-4, 1e-3] {
                // Where the gain lifts a loud hiss along with the ring, nothing may be read: that misleads nobody.
                let Ok(reading) = heard(noise, Some((0.03, release)), &ReadingOptions::default()) else {
                    continue;
                };
                read += 1;
                assert!(told(&reading), "{release} {noise}");
                let mode = &reading.modes[0];
                match (mode.loss_factor, mode.loss_factor_at_most) {
                    (Some(loss), _) => {
                        assert!(loss.low <= LOSS && LOSS <= loss.high, "{release} {noise}: {loss:?}")
                    }
                    (None, bound) => assert!(bound.unwrap() > LOSS, "{release} {noise}: {bound:?}"),
                }
            }
        }
        assert!(read >= 8, "{read} of 12");
    }

    #[test]
    fn a_constant_gain_is_let_be_and_a_silent_background_cannot_show_one() {
        let reading = heard(3e-4, None, &ReadingOptions::default()).unwrap();
        assert!(!told(&reading) && reading.modes[0].loss_factor.is_some(), "{:?}", reading.notes);
        // With an automatic gain and in silence the loss looks a good deal lower than it is.
        let fixed = ReadingOptions { fixed_gain: true, ..ReadingOptions::default() };
        let misled = heard(3e-6, Some((0.003, 0.1)), &fixed).unwrap().modes[0].loss_factor.unwrap();
        assert!(misled.high < 0.7 * LOSS, "{misled:?}");
        let reading = heard(3e-6, Some((0.003, 0.1)), &ReadingOptions::default()).unwrap();
        assert!(
            told(&reading) && reading.modes[0].loss_factor.is_none(),
            "{:?}",
            reading.modes[0].loss_factor
        );
        // Who knows that the gain is fixed says so.
        let stated = heard(3e-6, None, &fixed).unwrap().modes[0].loss_factor.unwrap();
        assert!(stated.low <= LOSS && LOSS <= stated.high, "{stated:?}");
        assert!(heard(3e-6, None, &ReadingOptions::default()).unwrap().modes[0].loss_factor.is_none());
    }
}
