//! At which frequencies does the record ring? At peaks of the averaged spectrum above the noise floor.
//!
//! The spectrum of every tap starts at the tap, under a window that falls to zero. It is taken over several
//! lengths, each a quarter of the one before: a long one separates close modes, a short one keeps the noise
//! after a quickly decaying mode out. Powers are averaged over taps and channels.
//!
//! # Source
//! - `harris1978`: a window's own width as the limit of resolution
//! - `wilson1931`: cube root of a sum of squares as a normal value

use super::band_decimation::falling;
use num_complex::Complex64;
use realfft::RealFftPlanner;
use serde::Serialize;

/// A peak of the spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Peak {
    pub(super) frequency_hz: f64,
    /// Width at half power, at least what the length resolves, Hz.
    pub(super) width_hz: f64,
    /// Power over the noise floor at its frequency.
    pub(super) over_noise: f64,
}

/// The averaged spectrum, thinned for display.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Spectrum {
    /// Hz, rising.
    pub frequency_hz: Vec<f64>,
    /// Level relative to the highest peak, dB.
    pub level_db: Vec<f64>,
    /// Noise floor at the same frequencies, relative to the same peak, dB.
    pub background_db: Vec<f64>,
}

/// Averaged power spectrum of `signals` (each from its tap on, in units of its noise), cut to `length`.
/// Bins are `rate / (2 n)` apart, where n is the first power of two not below `length`.
pub(super) fn power(signals: &[&[f64]], length: usize) -> Vec<f64> {
    let padded = 2 * length.next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let transform = planner.plan_fft_forward(padded);
    let (mut input, mut output) = (transform.make_input_vec(), transform.make_output_vec());
    let mut power = vec![0.0; output.len()];
    let mut weight = 0.0;
    for signal in signals {
        let used = signal.len().min(length);
        if used < 8 {
            continue;
        }
        let mean = signal[..used].iter().sum::<f64>() / used as f64;
        input.fill(0.0);
        let mut sum = 0.0;
        for ((slot, x), w) in input.iter_mut().zip(&signal[..used]).zip(falling(used)) {
            *slot = (x - mean) * w;
            sum += w * w;
        }
        weight += sum;
        if transform.process(&mut input, &mut output).is_ok() {
            power.iter_mut().zip(&output).for_each(|(p, z): (&mut f64, &Complex64)| *p += z.norm_sqr());
        }
    }
    if weight > 0.0 {
        power.iter_mut().for_each(|p| *p /= weight);
    }
    power
}

/// Noise floor at each bin: the lower quartile of a stretch of bins around it, scaled up to the mean of
/// noise with this quartile in an average of `averages` spectra.
pub(super) fn background(power: &[f64], averages: usize) -> Vec<f64> {
    let count = power.len();
    let mut knots: Vec<(f64, f64)> = Vec::new();
    let mut at = 4.0_f64;
    while (at as usize) < count {
        let half = (0.15 * at).max(24.0);
        let (from, to) = ((at - half).max(1.0) as usize, ((at + half) as usize).min(count));
        let mut stretch = power[from..to].to_vec();
        let quarter = stretch.len() / 4;
        let (_, low, _) = stretch.select_nth_unstable_by(quarter, f64::total_cmp);
        knots.push((at, *low));
        at += half / 3.0;
    }
    // Lower quartile of a sum of 2k squared normals over its mean, by the cube-root rule.
    let k = 2.0 * averages.max(1) as f64;
    let scale = (1.0 - 2.0 / (9.0 * k) - 0.6745 * (2.0 / (9.0 * k)).sqrt()).powi(3);
    let smallest = power.iter().copied().fold(0.0, f64::max) * 1e-18 + f64::MIN_POSITIVE;
    let mut knot = 0;
    (0..count)
        .map(|i| {
            while knot + 2 < knots.len() && knots[knot + 1].0 < i as f64 {
                knot += 1;
            }
            let level = match (knots.get(knot), knots.get(knot + 1)) {
                (Some(a), Some(b)) => {
                    let t = ((i as f64 - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
                    a.1 + t * (b.1 - a.1)
                }
                (Some(a), None) => a.1,
                _ => 0.0,
            };
            (level / scale).max(smallest)
        })
        .collect()
}

/// At most `most` peaks between the limits of `range_hz`, strongest first.
pub(super) fn peaks(signals: &[&[f64]], rate_hz: f64, range_hz: (f64, f64), most: usize) -> Vec<Peak> {
    let longest = signals.iter().map(|signal| signal.len()).max().unwrap_or(0);
    let mut found: Vec<Peak> = Vec::new();
    let mut length = longest;
    while length >= 48.min(longest) && length >= 16 {
        let spectrum = power(signals, length);
        let averages = signals.iter().filter(|signal| signal.len() * 2 > length).count();
        let noise = background(&spectrum, averages);
        let bin = rate_hz / (2.0 * (spectrum.len() as f64 - 1.0));
        let resolved = rate_hz / length as f64;
        // Noise alone exceeds this in about one of a hundred records.
        let k = averages.max(1) as f64;
        let rare = (100.0 * length as f64).ln();
        let over = 1.0 + rare / k + (2.0 * rare / k).sqrt();
        for i in 2..spectrum.len().saturating_sub(2) {
            let frequency_hz = i as f64 * bin;
            let here = spectrum[i];
            let highest = here >= spectrum[i - 1] && here > spectrum[i + 1];
            if !highest || here < over * noise[i] || frequency_hz < range_hz.0 || frequency_hz > range_hz.1 {
                continue;
            }
            let Some(width) = width(&spectrum, i) else { continue };
            let width_hz = (width * bin).max(resolved);
            let near = |peak: &Peak| (peak.frequency_hz - frequency_hz).abs() < width_hz.max(peak.width_hz);
            if !found.iter().any(near) {
                found.push(Peak { frequency_hz, width_hz, over_noise: here / noise[i] });
            }
        }
        length /= 4;
    }
    found.sort_by(|a, b| b.over_noise.total_cmp(&a.over_noise));
    found.truncate(most);
    found
}

/// Width at half power of the peak at bin `i`, in bins. `None` when the power does not fall to a quarter
/// on both sides before it rises above the peak.
fn width(power: &[f64], i: usize) -> Option<f64> {
    let side = |step: isize| {
        let (mut at, mut half, mut distance) = (i as isize, None, 0.0);
        loop {
            at += step;
            distance += 1.0;
            let level = *power.get(usize::try_from(at).ok()?)?;
            if level > power[i] {
                return None;
            }
            if half.is_none() && level < 0.5 * power[i] {
                half = Some(distance);
            }
            if level < 0.25 * power[i] {
                return half;
            }
        }
    };
    Some(side(-1)? + side(1)? - 1.0)
}

/// The spectrum for display: at most `points` bins, each the highest of an equal stretch of frequency.
pub(super) fn shown(signals: &[&[f64]], rate_hz: f64, to_hz: f64, points: usize) -> Spectrum {
    let length = signals.iter().map(|signal| signal.len()).max().unwrap_or(0).min(1 << 16);
    if length < 16 {
        return Spectrum::default();
    }
    let power = power(signals, length);
    let noise = background(&power, signals.len());
    let bin = rate_hz / (2.0 * (power.len() as f64 - 1.0));
    let last = ((to_hz / bin) as usize).min(power.len() - 1);
    let stretch = last.div_ceil(points).max(1);
    let top = power[1..=last.max(1)].iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let db = |p: f64| (10.0 * (p.max(1e-16 * top) / top).log10() * 100.0).round() / 100.0;
    let mut spectrum = Spectrum::default();
    for from in (1..last).step_by(stretch) {
        let to = (from + stretch).min(last + 1);
        let at = (from..to).max_by(|a, b| power[*a].total_cmp(&power[*b])).unwrap_or(from);
        spectrum.frequency_hz.push(at as f64 * bin);
        spectrum.level_db.push(db(power[at]));
        spectrum.background_db.push(db(noise[at]));
    }
    spectrum
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use std::f64::consts::{PI, TAU};

    fn signal(modes: &[(f64, f64, f64)], noise: f64, seed: u64) -> Vec<f64> {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        (0..8000)
            .map(|n| {
                let t = n as f64 / 4000.0;
                let ring: f64 =
                    modes.iter().map(|(f, eta, a)| a * (-PI * f * eta * t).exp() * (TAU * f * t).sin()).sum();
                ring + noise * ((0..12).map(|_| random.random::<f64>() - 0.5).sum::<f64>())
            })
            .collect()
    }

    #[test]
    fn sharp_and_broad_peaks_are_found() {
        let x = signal(&[(120.0, 0.005, 1.0), (320.0, 0.02, 0.5), (900.0, 0.06, 1.0)], 0.01, 3);
        let mut found: Vec<f64> =
            peaks(&[&x], 4000.0, (10.0, 1800.0), 20).iter().map(|peak| peak.frequency_hz).collect();
        found.sort_by(f64::total_cmp);
        assert!(found.len() >= 3, "{found:?}");
        for f in [120.0, 320.0, 900.0] {
            assert!(found.iter().any(|x| (x - f).abs() < 0.03 * f), "{f}: {found:?}");
        }
    }

    #[test]
    fn a_shown_spectrum_has_at_most_the_points_asked_for() {
        let x = signal(&[(120.0, 0.005, 1.0)], 0.01, 3);
        for points in [100, 600, 601, 900, 1999, 5000] {
            let spectrum = shown(&[&x], 4000.0, 1200.0, points);
            let count = spectrum.frequency_hz.len();
            assert!(count <= points && 2 * count >= points.min(2000), "{count} of {points}");
            let top =
                (0..count).max_by(|a, b| spectrum.level_db[*a].total_cmp(&spectrum.level_db[*b])).unwrap();
            assert!((spectrum.frequency_hz[top] - 120.0).abs() < 1.0, "{}", spectrum.frequency_hz[top]);
        }
    }

    #[test]
    fn noise_has_no_peaks() {
        let count: usize = (0..40)
            .map(|seed| {
                let x = signal(&[], 1.0, seed);
                peaks(&[&x], 4000.0, (10.0, 1800.0), 20).len()
            })
            .sum();
        assert!(count <= 6, "{count} peaks in 40 records of noise");
    }
}
