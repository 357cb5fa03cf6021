//! Tap tests as they are really recorded: the stated limits hold, and what is no mode is not reported.
//!
//! `STILLBED_RECORDS=N` tries N records from number `STILLBED_RECORDS_FIRST` on and prints what each missed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod records;

use rayon::prelude::*;
use records::structure::{Blow, Law, Oscillator, ring, truth};
use records::{Score, make, score};
use std::collections::BTreeMap;
use stillbed::problem::Problems;
use stillbed::tap::{Channel, ReadingOptions, Record, TapReading, read_taps};

/// A whole number from an environment variable.
fn stated(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|n| n.parse().ok())
}

#[test]
fn bands_hold_on_records_as_people_make_them() {
    let asked = stated("STILLBED_RECORDS");
    let first = stated("STILLBED_RECORDS_FIRST").unwrap_or(0);
    let tried: Vec<_> = (first..first + asked.unwrap_or(100))
        .into_par_iter()
        .map(|seed| {
            let made = make(seed);
            let read = |record| read_taps(record, &ReadingOptions::default());
            let said = |problems: Problems| problems.last().unwrap().to_string();
            let reading = made.record.as_ref().map_err(Clone::clone).and_then(|r| read(r).map_err(said));
            let mut told = Vec::new();
            let own = score(&made, reading.as_ref().ok(), |line| told.push(line));
            (seed, made.faults, reading.err(), told, own)
        })
        .collect();
    let mut all = Score::default();
    let mut by_fault: BTreeMap<&str, (usize, Score)> = BTreeMap::new();
    let count = tried.len();
    for (seed, faults, refused, told, own) in tried {
        all.add(own);
        for fault in &faults {
            let entry = by_fault.entry(fault).or_default();
            entry.0 += 1;
            entry.1.add(own);
        }
        if asked.is_some() && (refused.is_some() || !told.is_empty()) {
            println!("{seed} {faults:?} {}", refused.unwrap_or_default());
            told.iter().for_each(|line| println!("    {line}"));
        }
    }
    if asked.is_some() {
        by_fault.iter().for_each(|(fault, (count, score))| println!("{fault:20} {count:4} {score}"));
    }
    println!("{count} records {all}");
    let share = |part: usize, whole: usize| part as f64 / whole as f64;
    assert!(share(all.found, all.audible) > 0.85, "{all}");
    assert!(share(all.frequencies, all.found) > 0.9, "{all}");
    assert!(share(all.losses, all.found) > 0.9, "{all}");
    // One record in ten is rounded so coarsely that its gain cannot be told: its losses are only bounded.
    assert!(share(all.bounded, all.found) < 0.3, "{all}");
    assert!(share(all.points_held, all.points) > 0.85, "{all}");
    assert!(share(all.said_again, all.singles) < 0.1, "{all}");
    assert!(share(all.noticed, all.bounces) > 0.7, "{all}");
    assert!(share(all.false_losses, count) < 0.04, "{all}");
}

/// The reading of a synthetic accelerometer record: two taps of `oscillators` in a little noise.
fn heard(oscillators: &[Oscillator], seed: u64) -> TapReading {
    let rate = 2000.0;
    let blow = |time_s, strength| Blow { time_s, duration_s: 0.001, strength };
    let mut chance = records::recorder::Chance::new(seed);
    let mut samples: Vec<f64> = (0..16_000).map(|_| 3e-4 * chance.normal()).collect();
    for of in oscillators {
        let own = ring(of, &[blow(0.5, 1.0), blow(4.0, 0.6)], rate, samples.len());
        samples.iter_mut().zip(own).for_each(|(x, own)| *x += own);
    }
    let record = Record {
        file: "made".into(),
        sample_rate_hz: rate,
        rate_error: 0.0,
        channels: vec![Channel { name: "x".into(), unit: "m/s2".into(), samples }],
        trusted_to_hz: 0.5 * rate,
        is_sound: false,
        is_lossy: false,
        gaps: Vec::new(),
        notes: Vec::new(),
    };
    read_taps(&record, &ReadingOptions::default()).unwrap()
}

#[test]
fn one_mode_that_rubs_or_softens_is_one_mode() {
    for (seed, law) in
        [0.004, 0.01, 0.03].map(Law::Rubbing).into_iter().chain([0.01, 0.04].map(Law::Softening)).enumerate()
    {
        let of = Oscillator { frequency_hz: 100.0, loss_factor: 0.004, law, weight: 1.0 };
        let reading = heard(&[of], seed as u64);
        assert_eq!(reading.modes.len(), 1, "{law:?}: {:?} {:?}", reading.modes, reading.dropped);
        let mode = &reading.modes[0];
        assert!(mode.amplitude_trend.bends, "{law:?}");
        let curve = truth(&of, 1.0, 2000.0);
        let (first, last) = (curve[0], curve[curve.len() - 1]);
        let f = mode.frequency_hz;
        assert!(
            f.low < first.frequency_hz.max(f.low + 1e-9) + 0.02 && f.high > last.frequency_hz - 0.02,
            "{law:?} {f:?}"
        );
        let loss = mode.loss_factor.unwrap();
        for local in [first, last] {
            let held = (0.97 * loss.low..1.03 * loss.high).contains(&local.loss_factor);
            assert!(held, "{law:?}: {} outside of {loss:?}", local.loss_factor);
        }
    }
}

#[test]
fn a_true_pair_is_two_modes() {
    for (seed, apart) in [1.006, 1.012, 1.03].into_iter().enumerate() {
        let of =
            |frequency_hz| Oscillator { frequency_hz, loss_factor: 0.004, law: Law::Linear, weight: 1.0 };
        let reading = heard(&[of(100.0), of(100.0 * apart)], seed as u64);
        assert_eq!(reading.modes.len(), 2, "{apart}: {:?}", reading.modes);
        for (mode, want) in reading.modes.iter().zip([100.0, 100.0 * apart]) {
            let (f, loss) = (mode.frequency_hz, mode.loss_factor.unwrap());
            // The time steps of the integration lengthen the period by a part in two thousand.
            assert!((f.value / want - 1.0).abs() < 1e-3, "{apart}: {f:?} for {want}");
            assert!(loss.low < 0.00402 && 0.00398 < loss.high, "{apart}: {loss:?}");
            assert!(!mode.amplitude_trend.bends, "{apart}");
        }
    }
}

#[test]
fn weak_modes_beside_a_strong_one_and_those_of_a_beam_stay() {
    let of = |frequency_hz, loss_factor, weight| Oscillator {
        frequency_hz,
        loss_factor,
        law: Law::Linear,
        weight,
    };
    // An accelerometer does not pick up a room; the modes of a simply supported beam are at 1, 4 and 9.
    for (seed, list) in [
        [of(100.0, 0.008, 1.0), of(92.0, 0.01, 0.25), of(108.0, 0.01, 0.25)],
        [of(60.0, 0.006, 1.0), of(240.0, 0.006, 0.15), of(540.0, 0.006, 0.1)],
        [of(60.0, 0.006, 1.0), of(120.0, 0.006, 0.5), of(180.0, 0.002, 0.15)],
    ]
    .iter()
    .enumerate()
    {
        let reading = heard(list, seed as u64);
        assert_eq!(reading.modes.len(), 3, "{list:?}: {:?}", reading.dropped);
    }
}
