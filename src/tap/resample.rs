//! Brings samples at uneven times to an even time axis, or refuses them.
//!
//! Times that lie on a straight line within their own rounding are even. Others are interpolated to even
//! steps by a natural cubic spline, which is trusted up to 0.3 of the sample rate (0.4 where the steps
//! vary by less than a tenth). A step longer than five regular ones is a gap, across which nothing is read.
//!
//! A phone may take its samples evenly and stamp them late. The samples are therefore tried both as
//! stamped and as evenly spaced. A decay can be predicted from its past, so the version with the smaller
//! error of linear prediction is taken for the true one.
//!
//! # Source
//! - `deboor1978`: natural cubic spline through given points

use super::noise_floor::{level_quantile, median};
use super::tap_detection::unpredicted;
use stillbed_input::quantity::{Kind, figures, show};

/// Samples at even steps.
pub(super) struct Even {
    pub(super) rate_hz: f64,
    /// Possible relative error of the rate.
    pub(super) rate_error: f64,
    pub(super) columns: Vec<Vec<f64>>,
    pub(super) trusted_to_hz: f64,
    /// Indices of samples before which time is missing.
    pub(super) gaps: Vec<usize>,
    /// What was done to the samples, if anything.
    pub(super) notes: Vec<String>,
}

/// Why times cannot be brought to even steps.
#[derive(Debug, PartialEq)]
pub(super) enum Refused {
    /// The time at this row is before the one above it.
    Backwards(usize),
    /// The steps vary too much, or too much time is missing; the reason in words.
    Uneven(String),
}

/// Brings `columns`, sampled at `times` (s, rounded to `rounding`), to even steps.
pub(super) fn even(times: &[f64], rounding: f64, columns: Vec<Vec<f64>>) -> Result<Even, Refused> {
    let count = times.len();
    if let Some(row) = (1..count).find(|i| times[*i] < times[i - 1] - 1e-12 * times[*i].abs()) {
        return Err(Refused::Backwards(row));
    }
    let steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let length = times.last().unwrap_or(&0.0) - times.first().unwrap_or(&0.0);
    if count < 3 || length <= 0.0 {
        return Err(Refused::Uneven("the time does not advance".into()));
    }
    let mean = length / (count - 1) as f64;
    if off_line(times, mean) <= (0.6 * rounding).max(0.02 * mean) {
        let mut notes = Vec::new();
        if rounding > 0.1 * mean {
            notes.push(format!(
                "times are written to {}; steps of {} were taken as even",
                show(rounding, Kind::Time),
                show(mean, Kind::Time)
            ));
        }
        let (rate_hz, trusted_to_hz) = (1.0 / mean, 0.5 / mean);
        return Ok(Even { rate_hz, rate_error: 0.0, columns, trusted_to_hz, gaps: Vec::new(), notes });
    }
    let stamped = as_stamped(times, &steps, length, &columns);
    let unforeseen = |columns: &[Vec<f64>]| {
        let of = |x: &Vec<f64>| unforeseen_share(x);
        columns.iter().map(of).fold(0.0, f64::max)
    };
    let evenly = unforeseen(&columns);
    let better = match &stamped {
        Ok(stamped) => evenly < LESS * unforeseen(&stamped.columns),
        Err(_) => evenly < FORESEEN,
    };
    let Some(under) = earliest(times).filter(|_| better) else { return stamped };
    let message = format!(
        "the times come late by up to {}; the samples follow each other better as even steps of {}, and were taken so",
        show(under.latest, Kind::Time),
        show(under.step, Kind::Time)
    );
    Ok(Even {
        rate_hz: 1.0 / under.step,
        rate_error: under.error,
        columns,
        trusted_to_hz: 0.5 / under.step,
        gaps: Vec::new(),
        notes: vec![message],
    })
}

/// The straight line of time over sample number that no time stamp lies below.
struct Under {
    /// Time per sample, s.
    step: f64,
    /// Possible relative error of `step`.
    error: f64,
    /// Largest delay of a stamp, s.
    latest: f64,
}

/// The line under the stamps. Stamps are only ever late, so the true line is the edge of the lower convex
/// hull of time over sample number that spans the middle. `None` when most stamps lie far above it, as
/// after a gap.
fn earliest(times: &[f64]) -> Option<Under> {
    let mut hull: Vec<usize> = Vec::new();
    for n in 0..times.len() {
        while let [.., a, b] = hull[..] {
            let (first, second) = ((b - a) as f64, (n - a) as f64);
            if (times[b] - times[a]) * second < (times[n] - times[a]) * first {
                break;
            }
            hull.pop();
        }
        hull.push(n);
    }
    let middle = times.len() / 2;
    let at = hull.iter().position(|n| *n > middle)?.max(1);
    let (from, to) = (hull[at - 1], hull[at]);
    let span = times[to] - times[from];
    let step = span / (to - from) as f64;
    let late: Vec<f64> =
        times.iter().enumerate().map(|(n, t)| t - times[from] - (n as f64 - from as f64) * step).collect();
    // The stamps at the ends of the edge may be late by about as much as the earliest of the others.
    let error = level_quantile(&late, 0.1).max(0.0) / span;
    let latest = late.iter().copied().fold(0.0, f64::max);
    (median(&late) < 2.0 * step && error.is_finite()).then_some(Under { step, error, latest })
}

/// Samples are taken as evenly spaced if their prediction error is below this part of that as stamped.
const LESS: f64 = 0.8;
/// Where the stamps cannot be used: if the prediction error is below this share of the power.
const FORESEEN: f64 = 0.3;

/// Error of linear prediction, as a share of the power of `x`.
fn unforeseen_share(x: &[f64]) -> f64 {
    let middle = median(x);
    let level: Vec<f64> = x.iter().map(|x| x - middle).collect();
    let power = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>();
    power(&unpredicted(&level, 12)) / power(&level).max(f64::MIN_POSITIVE)
}

/// The samples at the times of their stamps.
fn as_stamped(times: &[f64], steps: &[f64], length: f64, columns: &[Vec<f64>]) -> Result<Even, Refused> {
    let mean = length / steps.len() as f64;
    let step = if median(steps) > 0.0 { median(steps) } else { mean };
    let long: Vec<usize> = (0..steps.len()).filter(|i| steps[*i] > 5.0 * step).collect();
    let missing: f64 = long.iter().map(|i| steps[*i] - step).sum();
    let short: Vec<f64> = steps.iter().copied().filter(|s| *s <= 5.0 * step).collect();
    let regular = short.iter().sum::<f64>() / short.len().max(1) as f64;
    let variance = short.iter().map(|s| (s - regular).powi(2)).sum::<f64>() / short.len().max(1) as f64;
    let unevenness = variance.sqrt() / regular;
    if unevenness > 0.5 {
        return Err(Refused::Uneven(format!(
            "the time steps vary by {} % around {}; at most 50 % can be evened out",
            figures(100.0 * unevenness, 3),
            show(regular, Kind::Time)
        )));
    }
    if missing > 0.2 * length {
        return Err(Refused::Uneven(format!(
            "{} of {} are missing in {} gaps; at most a fifth may be",
            show(missing, Kind::Time),
            show(length, Kind::Time),
            long.len()
        )));
    }
    let rate_hz = 1.0 / regular;
    let total = (length * rate_hz).floor() as usize + 1;
    let grid: Vec<f64> = (0..total).map(|n| times[0] + n as f64 * regular).collect();
    let (distinct, columns) = without_repeats(times, columns);
    let columns = columns.iter().map(|y| spline(&distinct, y, &grid)).collect();
    let gaps = long.iter().map(|i| ((times[i + 1] - times[0]) * rate_hz).ceil() as usize).collect();
    let trusted_to_hz = if unevenness < 0.1 { 0.4 * rate_hz } else { 0.3 * rate_hz };
    let mut notes = vec![format!(
        "the time steps vary by {} %; the samples were interpolated to {} Hz, and nothing above {} Hz is read",
        figures(100.0 * unevenness, 2),
        figures(rate_hz, 5),
        figures(trusted_to_hz, 3)
    )];
    if !long.is_empty() {
        notes.push(format!("{} of the record are missing in {} gaps", show(missing, Kind::Time), long.len()));
    }
    Ok(Even { rate_hz, rate_error: 0.0, columns, trusted_to_hz, gaps, notes })
}

/// Largest distance of the times from their least-squares line, whose slope is near `mean`.
fn off_line(times: &[f64], mean: f64) -> f64 {
    let count = times.len() as f64;
    let middle = (count - 1.0) / 2.0;
    let ahead = |i: usize| times[i] - times[0] - i as f64 * mean;
    let level = (0..times.len()).map(ahead).sum::<f64>() / count;
    let square: f64 = (0..times.len()).map(|i| (i as f64 - middle).powi(2)).sum();
    let slope = (0..times.len()).map(|i| (i as f64 - middle) * ahead(i)).sum::<f64>() / square;
    (0..times.len()).map(|i| (ahead(i) - level - slope * (i as f64 - middle)).abs()).fold(0.0, f64::max)
}

/// Rows with equal times, joined into their mean.
fn without_repeats(times: &[f64], columns: &[Vec<f64>]) -> (Vec<f64>, Vec<Vec<f64>>) {
    let mut starts: Vec<usize> = vec![0];
    starts.extend((1..times.len()).filter(|i| times[*i] > times[i - 1]));
    let mean = |y: &[f64]| -> Vec<f64> {
        let ends = starts.iter().skip(1).copied().chain([y.len()]);
        starts.iter().zip(ends).map(|(a, b)| y[*a..b].iter().sum::<f64>() / (b - a) as f64).collect()
    };
    (starts.iter().map(|i| times[*i]).collect(), columns.iter().map(|y| mean(y)).collect())
}

/// The natural cubic spline through (x, y), at the rising points of `grid`.
fn spline(x: &[f64], y: &[f64], grid: &[f64]) -> Vec<f64> {
    let n = x.len();
    let mut second = vec![0.0; n];
    let mut upper = vec![0.0; n];
    for i in 1..n - 1 {
        let (left, right) = (x[i] - x[i - 1], x[i + 1] - x[i]);
        let bend = 6.0 * ((y[i + 1] - y[i]) / right - (y[i] - y[i - 1]) / left);
        let pivot = 2.0 * (left + right) - left * upper[i - 1];
        upper[i] = right / pivot;
        second[i] = (bend - left * second[i - 1]) / pivot;
    }
    for i in (1..n - 1).rev() {
        second[i] -= upper[i] * second[i + 1];
    }
    let mut i = 0;
    grid.iter()
        .map(|t| {
            while i + 2 < n && x[i + 1] < *t {
                i += 1;
            }
            let h = x[i + 1] - x[i];
            let (a, b) = ((x[i + 1] - t) / h, (t - x[i]) / h);
            let bend = (a * a * a - a) * second[i] + (b * b * b - b) * second[i + 1];
            a * y[i] + b * y[i + 1] + bend * h * h / 6.0
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn wave(times: &[f64]) -> Vec<Vec<f64>> {
        vec![times.iter().map(|t| (TAU * 20.0 * t).sin()).collect()]
    }

    #[test]
    fn rounded_times_are_even() {
        let times: Vec<f64> = (0..1000).map(|i| (i as f64 * 2.5).round() / 1000.0).collect();
        let even = even(&times, 1e-3, wave(&times)).unwrap();
        approx::assert_relative_eq!(even.rate_hz, 400.0, max_relative = 1e-3);
        assert!(even.notes[0].contains("taken as even"));
    }

    #[test]
    fn jitter_is_interpolated() {
        let times: Vec<f64> =
            (0..1000).map(|i| i as f64 * 0.005 + 0.001 * ((i * 7919) % 13) as f64 / 13.0).collect();
        let even = even(&times, 1e-9, wave(&times)).unwrap();
        assert!(even.notes[0].contains("interpolated") && even.trusted_to_hz < 0.41 * even.rate_hz);
        for n in 10..900 {
            let want = (TAU * 20.0 * (times[0] + n as f64 / even.rate_hz)).sin();
            assert!((even.columns[0][n] - want).abs() < 0.01, "{n}");
        }
    }

    #[test]
    fn backwards_and_wild_times_are_refused() {
        assert_eq!(even(&[0.0, 1.0, 0.5, 2.0], 0.0, wave(&[0.0; 4])).err(), Some(Refused::Backwards(2)));
        let step = |i: u64| 1e-4 + 0.02 * ((i * i * 7919 % 101) as f64 / 101.0).powi(3);
        let wild: Vec<f64> = (0..200).map(|i| (0..i).map(step).sum()).collect();
        assert!(matches!(even(&wild, 0.0, wave(&wild)), Err(Refused::Uneven(_))));
        assert!(matches!(even(&[1.0; 50], 0.0, wave(&[1.0; 50])), Err(Refused::Uneven(_))));
    }

    #[test]
    fn a_gap_is_marked() {
        let times: Vec<f64> = (0..1000).map(|i| i as f64 * 0.01 + if i < 500 { 0.0 } else { 0.3 }).collect();
        let even = even(&times, 1e-6, wave(&times)).unwrap();
        assert_eq!(even.gaps, vec![530]);
        assert_eq!(even.columns[0].len(), 1030);
    }
}
