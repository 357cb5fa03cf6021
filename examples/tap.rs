//! A tap from Rust: a record is made of two known modes and noise, and read as if it came from a sensor.
//!
//! `cargo run --release --example tap`

use stillbed::problem::Problems;
use stillbed::tap::{ReadingOptions, SyntheticMode, SyntheticRecord, SyntheticTap, read_taps, synthesise};

fn main() -> Result<(), Problems> {
    let mode = |frequency_hz, loss_factor, amplitude| SyntheticMode {
        frequency_hz,
        loss_factor,
        rise: 0.0,
        amplitudes: vec![amplitude],
        phase: 0.0,
    };
    let record = synthesise(&SyntheticRecord {
        sample_rate_hz: 4000.0,
        duration_s: 6.0,
        modes: vec![mode(187.0, 0.012, 1.0), mode(412.0, 0.006, 0.4)],
        taps: [0.3, 2.2, 4.1].map(|time_s| SyntheticTap { time_s, strength: 1.0 }).to_vec(),
        noise: 2e-3,
        seed: 1,
        offset: 9.81,
        limit: None,
        step: None,
    })?;

    let reading = read_taps(&record, &ReadingOptions::default())?;
    println!("{} taps", reading.taps.len());
    for mode in &reading.modes {
        let f = mode.frequency_hz;
        print!("{:8.3} Hz, from {:.3} to {:.3}", f.value, f.low, f.high);
        match (mode.loss_factor, mode.loss_factor_at_most) {
            (Some(loss), _) => {
                println!("; loss factor {:.5}, from {:.5} to {:.5}", loss.value, loss.low, loss.high);
            }
            (None, Some(most)) => println!("; loss factor at most {most:.5}"),
            (None, None) => println!(),
        }
    }
    for note in &reading.notes {
        println!("{note}");
    }
    Ok(())
}
