//! Combines the readings of several records of one part.
//!
//! Each record is read alone, so that sample rates, recorders and tapped places may differ. Modes at about
//! the same frequency are one mode, which is kept if at least half of the records have it. Its values are
//! averaged with weights:
//!
//! ```text
//! x = sum(x_i / (v_i + s^2)) / sum(1 / (v_i + s^2)),   var(x) = 1 / sum(1 / (v_i + s^2))
//! v_i: variance within record i,   s^2: variance between records beyond the v_i
//! ```
//!
//! # Source
//! - `dersimonian1986`: the scatter among several measurements, from their weighted squares

use super::COVERAGE;
use super::damping_measures::DampingMeasures;
use super::measured_mode::MeasuredMode;
use super::reading::TapReading;
use super::rejected_lines::RejectedLine;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Spread, figures};

/// Frequencies nearer than this part of the frequency, or of the width of the peak, are one mode.
const NEAR: (f64, f64) = (0.004, 0.5);

/// Scatter between records over that expected from their own limits, above which a warning is given.
const PARTED: f64 = 3.0;

/// The readings of several records as one; `None` when there are none.
pub fn pool_readings(readings: &[TapReading]) -> Option<TapReading> {
    let (first, rest) = readings.split_first()?;
    if rest.is_empty() {
        return Some(first.clone());
    }
    let mut all: Vec<(usize, &MeasuredMode)> = readings
        .iter()
        .enumerate()
        .flat_map(|(r, reading)| reading.modes.iter().map(move |m| (r, m)))
        .collect();
    // The loudest first: the others are grouped around them.
    all.sort_by(|a, b| b.1.level_db.total_cmp(&a.1.level_db));
    let mut groups: Vec<Vec<(usize, &MeasuredMode)>> = Vec::new();
    for (record, mode) in all {
        let own = |group: &&mut Vec<(usize, &MeasuredMode)>| {
            group.iter().all(|(other, _)| *other != record) && is_near(group[0].1, mode)
        };
        match groups.iter_mut().find(own) {
            Some(group) => group.push((record, mode)),
            None => groups.push(vec![(record, mode)]),
        }
    }
    let (mut modes, mut dropped) = (Vec::new(), Vec::new());
    for group in groups {
        if 2 * group.len() >= readings.len() {
            modes.push(together(&group));
            continue;
        }
        let mode = group[0].1;
        dropped.push(RejectedLine {
            frequency_hz: mode.frequency_hz.value,
            level_db: mode.level_db,
            reason: format!("heard in {} of {} records", group.len(), readings.len()),
        });
    }
    modes.sort_by(|a, b| a.frequency_hz.value.total_cmp(&b.frequency_hz.value));
    dropped.extend(readings.iter().flat_map(|reading| reading.dropped.iter().cloned()));
    dropped.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
    let mut notes: Vec<Problem> = Vec::new();
    for note in readings.iter().flat_map(|reading| &reading.notes) {
        if !notes.contains(note) {
            notes.push(note.clone());
        }
    }
    let parted = modes.iter().filter(|mode| mode.scatter > PARTED).map(|mode| mode.frequency_hz.value);
    let parted: Vec<String> = parted.map(|f| figures(f, 4)).collect();
    if !parted.is_empty() {
        let message = format!(
            "the records part at {} Hz by more than each leaves open; the limits hold their scatter",
            parted.join(", ")
        );
        notes.push(
            Problem::warning(Place::key("modes"), message)
                .with_help("look for what changed between them: support, place of the tap, temperature"),
        );
    }
    let louder = |a: &&TapReading, b: &&TapReading| a.modes.len().cmp(&b.modes.len());
    let names: Vec<&str> = readings.iter().map(|reading| reading.record.as_str()).collect();
    Some(TapReading {
        record: match names.len() {
            2..=4 => names.join(", "),
            count => format!("{}, {} and {} more", names[0], names[1], count - 2),
        },
        sample_rate_hz: first.sample_rate_hz,
        duration_s: readings.iter().map(|reading| reading.duration_s).sum(),
        channels: first.channels.clone(),
        taps: readings.iter().flat_map(|reading| reading.taps.iter().cloned()).collect(),
        modes,
        dropped,
        spectrum: readings.iter().max_by(louder).map(|reading| reading.spectrum.clone()).unwrap_or_default(),
        notes,
    })
}

/// True when two readings may be of one mode.
fn is_near(a: &MeasuredMode, b: &MeasuredMode) -> bool {
    let (f, g) = (a.frequency_hz, b.frequency_hz);
    let apart = (f.value - g.value).abs();
    let loss = |mode: &MeasuredMode| mode.loss_factor.map_or(0.0, |loss| loss.value);
    let width = NEAR.1 * loss(a).max(loss(b)) * f.value;
    f.low <= g.high && g.low <= f.high || apart < (NEAR.0 * f.value).max(width)
}

/// One mode, combined from several records.
fn together(group: &[(usize, &MeasuredMode)]) -> MeasuredMode {
    let frequencies: Vec<Spread> = group.iter().map(|(_, mode)| mode.frequency_hz).collect();
    let losses: Vec<Spread> = group.iter().filter_map(|(_, mode)| mode.loss_factor).collect();
    let (frequency_hz, scatter) = weighed(&frequencies);
    let loss = (!losses.is_empty()).then(|| weighed(&losses).0);
    let loudest = group[0].1;
    // The dependence on amplitude is no error that averaging over records would reduce.
    let whole = |mean: Spread, own: Option<Spread>| match own.filter(|_| loudest.amplitude_trend.bends) {
        Some(own) => Spread::between(mean.value, mean.low.min(own.low), mean.high.max(own.high)),
        None => mean,
    };
    let frequency_hz = whole(frequency_hz, Some(loudest.frequency_hz));
    let loss = loss.map(|loss| whole(loss, loudest.loss_factor));
    let bounds = group.iter().filter_map(|(_, mode)| mode.loss_factor_at_most);
    MeasuredMode {
        frequency_hz,
        loss_factor: loss,
        loss_factor_at_most: if loss.is_none() { bounds.reduce(f64::min) } else { None },
        decay: loss.and_then(|loss| DampingMeasures::new(frequency_hz.value, loss.value)),
        listened_s: group.iter().map(|(_, mode)| mode.listened_s).sum(),
        scatter: scatter.max(loudest.scatter),
        ..loudest.clone()
    }
}

/// The weighted mean with its limits, and the scatter of the values over that expected from their limits.
fn weighed(values: &[Spread]) -> (Spread, f64) {
    let error =
        |spread: &Spread| ((spread.high - spread.low) / (2.0 * COVERAGE)).max(1e-9 * spread.value.abs());
    let mean = |extra: f64| {
        let weights: Vec<f64> = values.iter().map(|v| 1.0 / (error(v).powi(2) + extra)).collect();
        let total: f64 = weights.iter().sum();
        (weights.iter().zip(values).map(|(w, v)| w * v.value).sum::<f64>() / total, total, weights)
    };
    let (plain, total, weights) = mean(0.0);
    let squares: f64 = weights.iter().zip(values).map(|(w, v)| w * (v.value - plain).powi(2)).sum();
    let free = (values.len() - 1) as f64;
    let scale = total - weights.iter().map(|w| w * w).sum::<f64>() / total;
    let extra = if free > 0.0 && scale > 0.0 { ((squares - free) / scale).max(0.0) } else { 0.0 };
    let (value, total, _) = mean(extra);
    let reach = COVERAGE / total.sqrt();
    let scatter = if free > 0.0 { (squares / free).sqrt().max(1.0) } else { 1.0 };
    (Spread::between(value, value - reach, value + reach), scatter)
}

#[cfg(test)]
mod tests {
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
    use super::*;

    fn reading(seed: u64, modes: &[(f64, f64)], rate: f64) -> TapReading {
        let ring = |(frequency_hz, loss_factor): &(f64, f64)| SyntheticMode {
            frequency_hz: *frequency_hz,
            loss_factor: *loss_factor,
            rise: 0.0,
            amplitudes: vec![1.0],
            phase: 0.0,
        };
        let recipe = SyntheticRecord {
            sample_rate_hz: rate,
            duration_s: 2.0,
            modes: modes.iter().map(ring).collect(),
            taps: vec![SyntheticTap { time_s: 0.3, strength: 1.0 }],
            noise: 0.01,
            seed,
            offset: 0.0,
            limit: None,
            step: None,
        };
        read_taps(&synthesise(&recipe).unwrap(), &ReadingOptions::default()).unwrap()
    }

    #[test]
    fn records_are_weighed_together_and_their_scatter_counts() {
        // The same part, slightly stiffer or softer in each record, as after clamping it again.
        let readings: Vec<TapReading> = (0..8)
            .map(|i| {
                let off = 1.0 + 0.001 * [1.0, -1.0, 0.5, -0.5, 0.2, -0.8, 0.9, -0.3][i];
                let rate = if i % 2 == 0 { 2000.0 } else { 4000.0 };
                let stray = if i == 3 { vec![(333.0, 0.01)] } else { Vec::new() };
                reading(i as u64, &[vec![(120.0 * off, 0.02), (500.0, 0.01)], stray].concat(), rate)
            })
            .collect();
        let pooled = pool_readings(&readings).unwrap();
        assert_eq!(pooled.modes.len(), 2, "{:?}", pooled.modes);
        let (low, high) = (&pooled.modes[0], &pooled.modes[1]);
        assert!(low.frequency_hz.low < 120.0 && 120.0 < low.frequency_hz.high, "{:?}", low.frequency_hz);
        // The limits hold the scatter between records, not only the errors of each.
        let reach = |mode: &MeasuredMode| mode.frequency_hz.high - mode.frequency_hz.value;
        assert!(reach(low) > 0.05 && low.scatter > 3.0, "{:?} {}", low.frequency_hz, low.scatter);
        assert!(reach(high) < 0.05, "{:?}", high.frequency_hz);
        let loss = high.loss_factor.unwrap();
        assert!(loss.low < 0.01 && 0.01 < loss.high, "{loss:?}");
        assert!(
            pooled.dropped.iter().any(|line| line.reason == "heard in 1 of 8 records"),
            "{:?}",
            pooled.dropped
        );
        assert_eq!(pooled.taps.len(), 8);
        let said = pooled.notes.iter().any(|note| note.message.starts_with("the records part at 120 Hz"));
        assert!(said, "{:?}", pooled.notes);
        assert!(pool_readings(&[]).is_none());
    }
}
