//! How long it takes to read ten seconds of 48 kHz with four taps, of six and of twenty modes.
//!
//! `cargo bench --bench tap`, one thread. Two of six modes change with amplitude.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use stillbed::tap::{ReadingOptions, SyntheticMode, SyntheticRecord, SyntheticTap, read_taps, synthesise};

fn main() {
    divan::main();
}

#[divan::bench(args = [6, 20], sample_count = 5, sample_size = 1)]
fn read(bencher: divan::Bencher, modes: i32) {
    let ring = |i: i32| SyntheticMode {
        frequency_hz: 120.0 * 1.23f64.powi(i),
        loss_factor: 0.006 + 0.002 * f64::from(i % 4),
        rise: if i % 3 == 0 { 1.0 } else { 0.0 },
        amplitudes: vec![1.0 / (1.0 + 0.2 * f64::from(i))],
        phase: 0.3 * f64::from(i),
    };
    let strike =
        |k: i32| SyntheticTap { time_s: 0.5 + 2.3 * f64::from(k), strength: 1.0 - 0.2 * f64::from(k) };
    let record = synthesise(&SyntheticRecord {
        sample_rate_hz: 48_000.0,
        duration_s: 10.0,
        modes: (0..modes).map(ring).collect(),
        taps: (0..4).map(strike).collect(),
        noise: 0.003,
        seed: 3,
        offset: 0.0,
        limit: None,
        step: Some(1.0 / 32_768.0),
    })
    .unwrap();
    bencher.bench(|| read_taps(&record, &ReadingOptions::default()).unwrap());
}
