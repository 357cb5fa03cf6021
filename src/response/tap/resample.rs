//! Samples at uneven times brought to even steps, or refused.
//!
//! Times that lie on a line within their own rounding are even. Others are laid on even steps by
//! a natural cubic spline through the samples; what it makes of frequencies above three tenths of
//! the sample rate (four where the steps vary by less than a tenth) is not trusted. Steps longer than five are gaps: nothing is read across one.
//!
//! # Source
//! - `deboor1978`: natural cubic spline through given points

use super::quiet::median;
use crate::quantity::{Kind, figures, show};

/// Samples at even steps.
pub(super) struct Even {
    pub(super) rate_hz: f64,
    pub(super) columns: Vec<Vec<f64>>,
    pub(super) trusted_to_hz: f64,
    /// Samples before which time is missing.
    pub(super) gaps: Vec<usize>,
    /// What was done, when something was.
    pub(super) notes: Vec<String>,
}

/// Why times cannot be brought to even steps.
#[derive(Debug, PartialEq)]
pub(super) enum Refused {
    /// The time at this row is before the one above it.
    Backwards(usize),
    /// In words.
    Uneven(String),
}

/// Brings `columns`, sampled at `times` (s, known to `rounding`), to even steps.
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
        return Ok(Even { rate_hz: 1.0 / mean, columns, trusted_to_hz: 0.5 / mean, gaps: Vec::new(), notes });
    }
    let step = if median(&steps) > 0.0 { median(&steps) } else { mean };
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
    Ok(Even { rate_hz, columns, trusted_to_hz, gaps, notes })
}

/// Largest distance of the times from the best line of slope near `mean`.
fn off_line(times: &[f64], mean: f64) -> f64 {
    let count = times.len() as f64;
    let middle = (count - 1.0) / 2.0;
    let ahead = |i: usize| times[i] - times[0] - i as f64 * mean;
    let level = (0..times.len()).map(ahead).sum::<f64>() / count;
    let square: f64 = (0..times.len()).map(|i| (i as f64 - middle).powi(2)).sum();
    let slope = (0..times.len()).map(|i| (i as f64 - middle) * ahead(i)).sum::<f64>() / square;
    (0..times.len()).map(|i| (ahead(i) - level - slope * (i as f64 - middle)).abs()).fold(0.0, f64::max)
}

/// Rows of one time joined to their mean.
fn without_repeats(times: &[f64], columns: Vec<Vec<f64>>) -> (Vec<f64>, Vec<Vec<f64>>) {
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
        let wild: Vec<f64> = (0..200).map(|i| (i / 4) as f64 + 0.01 * (i % 4) as f64).collect();
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
