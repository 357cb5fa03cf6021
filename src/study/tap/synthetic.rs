//! Synthetic tap-test record of a build, to try the reading of records on.

use super::super::solved::Solved;
use num_complex::Complex64;
use stillbed_design::{Build, Design};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::Draw;
use stillbed_response::stations::Station;
use stillbed_tap::{Record, SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};

use super::channels::Tie;

/// Settings of a synthetic record.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordSettings {
    /// Samples per second, Hz.
    pub sample_rate_hz: f64,
    /// Length of the record, s.
    pub duration_s: f64,
    /// Ratio of the largest motion to the noise floor, dB.
    pub signal_to_noise_db: f64,
    /// Seed of the noise.
    pub seed: u64,
    /// What the channels measure; if empty, one sensor at the struck point measures along the blow.
    pub channels: Vec<Tie>,
}

/// A synthetic record of `build`, tapped twice as the design says.
///
/// # Errors
/// What keeps the build from being solved; a design without a tap; no mode below the sample rate.
pub fn synthetic_record(
    design: &Design,
    build: &Build,
    settings: &RecordSettings,
) -> Result<Record, Problems> {
    let Some(tap) = &design.goal.tap else {
        let problem = Problem::error(Place::file(&design.file), "the design has no tap");
        return Err(Problems::from(problem.with_help("add [tap] with at, along and impulse")));
    };
    let model = build.model(&design.goal, &Draw::default())?;
    let seen: Vec<Station> = settings.channels.iter().map(|tie| tie.station).collect();
    let at_fault = |fault| build.problems(&fault);
    let solved = Solved::converge(build, &design.goal, &model, None).map_err(at_fault)?;
    let struck = solved.stations[solved.tool_stations];
    let stations: Vec<Station> = std::iter::once(struck).chain(seen).collect();
    let modal = solved.modal_at(&stations).map_err(at_fault)?;
    let (struck, places): (usize, Vec<usize>) = match stations.len() {
        1 => (0, vec![0]),
        count => (0, (1..count).collect()),
    };
    let blow = tap.blow(tap.impulse.value);
    let heard = modal.modes().iter().filter(|mode| !mode.is_rigid());
    let modes: Vec<SyntheticMode> = heard
        .filter(|mode| mode.omega < 0.45 * std::f64::consts::TAU * settings.sample_rate_hz)
        .map(|mode| SyntheticMode {
            frequency_hz: mode.omega / std::f64::consts::TAU,
            loss_factor: mode.loss_factor,
            rise: 0.0,
            // Amplitude of the acceleration after the tap, as a sensor on the base shows it.
            amplitudes: places
                .iter()
                .map(|at| {
                    let both = mode.shape[*at] * mode.shape[struck].conj();
                    let pole = Complex64::new(-0.5 * mode.loss_factor * mode.omega, mode.omega);
                    let start = blow.impulse * blow.factor(pole).norm();
                    start * both.re.signum() * both.norm() * mode.omega
                })
                .collect(),
            phase: 0.0,
        })
        .collect();
    let sum = |channel: usize| modes.iter().map(|mode| mode.amplitudes[channel].abs()).sum::<f64>();
    let largest = (0..places.len()).map(sum).fold(0.0, f64::max);
    let taps = [0.15, 0.55].map(|share| SyntheticTap { time_s: share * settings.duration_s, strength: 1.0 });
    let mut record = synthesise(&SyntheticRecord {
        sample_rate_hz: settings.sample_rate_hz,
        duration_s: settings.duration_s,
        modes,
        taps: taps.to_vec(),
        noise: largest * 10f64.powf(-settings.signal_to_noise_db / 20.0),
        seed: settings.seed,
        offset: 0.0,
        limit: None,
        step: None,
    })?;
    for (channel, tie) in record.channels.iter_mut().zip(&settings.channels) {
        channel.name.clone_from(&tie.name);
    }
    Ok(record)
}
