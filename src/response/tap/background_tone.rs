//! Tones that are there without a tap: mains hum, a fan, a running machine.
//!
//! A tone that does not decay is looked for in the quiet before the first tap. One that is as
//! strong there is no mode. Where there is no quiet, one on a multiple of the mains frequency is
//! taken for hum.

use super::COVERAGE;
use super::events::Tap;
use super::identify::Mode;
use super::record::Record;
use crate::problem::{Place, Problem};
use crate::quantity::figures;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// The modes that are none of the background's tones; each tone is noted.
pub(super) fn without(
    modes: Vec<Mode>,
    record: &Record,
    channels: &[Vec<f64>],
    taps: &[Tap],
    notes: &mut Vec<Problem>,
) -> Vec<Mode> {
    let rate = record.sample_rate_hz;
    let guard = (0.01 * rate) as usize;
    let quiet = taps.first().filter(|tap| !tap.begun).map_or(0, |tap| tap.first.saturating_sub(guard));
    // Of 300 Hz the other tones say whether it is the sixth of 50 Hz or the fifth of 60 Hz.
    let fits = |mains: f64| modes.iter().filter(|m| is_multiple(m.ringing / TAU, mains, 0.25)).count();
    let grids = if fits(60.0) > fits(50.0) { [60.0, 50.0] } else { [50.0, 60.0] };
    modes
        .into_iter()
        .filter(|mode| {
            let frequency = mode.ringing / TAU;
            let fades =
                mode.decay - COVERAGE * mode.variance.sqrt() > 0.0 && mode.decay * mode.listened_s > 1.0;
            if fades {
                return true;
            }
            let near = 0.25 + COVERAGE * mode.variance.sqrt() / TAU;
            let mains = grids.into_iter().find(|mains| is_multiple(frequency, *mains, near));
            let heard_before = if (quiet as f64) > 4.0 * rate / frequency && quiet > 64 {
                before(mode, channels, rate, quiet) > 0.4
            } else {
                mains.is_some()
            };
            if heard_before {
                let what = match mains {
                    Some(mains) => format!("mains hum (a multiple of {mains} Hz)"),
                    None => "a steady tone that is there without the tap".into(),
                };
                notes.push(
                    Problem::warning(
                        Place { key: "modes".into(), ..Place::file(&record.file) },
                        format!("{} Hz does not decay: {what}, no mode", figures(frequency, 4)),
                    )
                    .with_help("switch the source off, or run the recorder on its battery"),
                );
            }
            !heard_before
        })
        .collect()
}

/// True when `frequency` lies within `near` of one of the first multiples of `mains`, Hz.
fn is_multiple(frequency: f64, mains: f64, near: f64) -> bool {
    let order = (frequency / mains).round();
    (1.0..=12.0).contains(&order) && (frequency - order * mains).abs() < near
}

/// Amplitude of the mode's tone in the first `quiet` samples over its amplitude after the taps.
fn before(mode: &Mode, channels: &[Vec<f64>], rate_hz: f64, quiet: usize) -> f64 {
    let step = Complex64::from_polar(1.0, -mode.ringing / rate_hz);
    // No longer than the error of the frequency leaves in step.
    let error = COVERAGE * mode.variance.sqrt() / rate_hz;
    let length = quiet.min((1.0 / error.max(1e-9)) as usize).max(64).min(quiet);
    let tone = |x: &Vec<f64>| {
        let mut turn = Complex64::ONE;
        let mut sum = Complex64::ZERO;
        for x in &x[quiet - length..quiet] {
            sum += turn * *x;
            turn *= step;
        }
        (sum / length as f64).norm_sqr()
    };
    let quiet: f64 = channels.iter().map(tone).sum();
    let taps: std::collections::BTreeSet<usize> = mode.starts.iter().map(|start| start.0).collect();
    let ring: f64 =
        mode.starts.iter().map(|start| start.2.norm_sqr()).sum::<f64>() / taps.len().max(1) as f64;
    (quiet / ring.max(f64::MIN_POSITIVE)).sqrt()
}
