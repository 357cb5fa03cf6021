//! A recorded tap set beside a build: which modes were heard, and what in the model explains the rest.
//!
//! The parameters are the uncertain quantities of the design: each is changed by a hundredth of
//! its value, alone, and the modes are solved again; that gives how every frequency and loss factor
//! depends on it.

use super::measures::Solved;
use crate::design::{Build, Design};
use crate::modes::{Asked, BuildModes, solve};
use crate::problem::{Place, Problem};
use crate::quantity::Draw;
use crate::response::tap::{
    Against, ModelError, Parameter, PredictedMode, ReadMode, Recipe, Record, Ring, Strike, set_beside,
    synthesise,
};

/// Part of its value by which a quantity is changed.
const STEP: f64 = 0.01;

/// Frequencies and loss factors of a build at one draw.
fn predicted(
    design: &Design,
    build: &Build,
    draw: &Draw,
    count: usize,
) -> Result<Vec<(f64, f64)>, Vec<Problem>> {
    let model = build.model(&design.goal, draw)?;
    let asked = Asked { count, ..Asked::default() };
    let modes = solve(&model.frame, &asked)
        .and_then(|spectrum| BuildModes::new(&build.name, &model.frame, &spectrum))
        .map_err(|fault| build.problems(&fault))?;
    Ok(modes.modes.iter().map(|mode| (mode.frequency_hz, mode.loss_factor_exact)).collect())
}

/// The modes of `heard` beside those of `build`, with what explains the difference.
///
/// # Errors
/// What keeps the build from being solved, or nothing to compare.
pub fn against(
    design: &Design,
    build: &Build,
    heard: &[ReadMode],
    count: usize,
) -> Result<Against, Vec<Problem>> {
    let stated = predicted(design, build, &Draw::default(), count)?;
    let mut modes: Vec<PredictedMode> = stated
        .iter()
        .enumerate()
        .map(|(i, (frequency_hz, loss_factor))| PredictedMode {
            name: format!("mode {}", i + 1),
            frequency_hz: *frequency_hz,
            loss_factor: *loss_factor,
            shape: Vec::new(),
            frequency_by: Vec::new(),
            loss_by: Vec::new(),
        })
        .collect();
    let mut parameters = Vec::new();
    let values: Vec<f64> = design.uncertain.iter().map(|u| u.spread.value).collect();
    for (i, uncertain) in design.uncertain.iter().enumerate().filter(|(i, _)| values[*i] > 0.0) {
        let mut changed = values.clone();
        let step = if uncertain.key.ends_with("bond") { -STEP } else { STEP };
        changed[i] *= 1.0 + step;
        let found = predicted(design, build, &Draw { values: changed }, count)?;
        let by: Vec<(f64, f64)> = stated
            .iter()
            .zip(&found)
            .map(|((f0, n0), (f1, n1))| {
                let slope =
                    |a: f64, b: f64| if a > 0.0 && b > 0.0 { (b / a).ln() / (1.0 + step).ln() } else { 0.0 };
                (slope(*f0, *f1), slope(*n0, *n1))
            })
            .collect();
        if by.iter().all(|(f, n)| f.abs() < 1e-6 && n.abs() < 1e-6) {
            continue;
        }
        parameters.push(Parameter { name: uncertain.key.clone(), value: uncertain.spread });
        for (mode, (f, n)) in modes.iter_mut().zip(by) {
            mode.frequency_by.push(f);
            mode.loss_by.push(n);
        }
    }
    set_beside(heard, &modes, &parameters, &ModelError::default())
}

/// What a made record is like.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// Samples per second, Hz.
    pub sample_rate_hz: f64,
    /// s.
    pub duration_s: f64,
    /// Ratio of the largest motion to the noise, dB.
    pub signal_to_noise_db: f64,
    /// Seed of the noise.
    pub seed: u64,
}

/// A record of `build` tapped twice as the design says, as a sensor at the struck point would give it.
///
/// # Errors
/// What keeps the build from being solved; a design without a tap.
pub fn made_record(
    design: &Design,
    build: &Build,
    count: usize,
    made: &Made,
) -> Result<Record, Vec<Problem>> {
    let Some(tap) = &design.goal.tap else {
        let problem = Problem::error(Place::file(&design.file), "the design has no tap");
        return Err(vec![problem.with_help("add [tap] with at, along and impulse")]);
    };
    let model = build.model(&design.goal, &Draw::default())?;
    let asked = Asked { count, ..Asked::default() };
    let solved =
        Solved::new(build, &design.goal, &model, &asked, &[]).map_err(|fault| build.problems(&fault))?;
    let at = solved.tool_stations;
    let heard = solved.modal.modes().iter().filter(|mode| !mode.is_rigid());
    let modes: Vec<Ring> = heard
        .filter(|mode| mode.omega < 0.45 * std::f64::consts::TAU * made.sample_rate_hz)
        .map(|mode| Ring {
            frequency_hz: mode.omega / std::f64::consts::TAU,
            loss_factor: mode.loss_factor,
            rise: 0.0,
            // Acceleration after an impulse, as a sensor on the base shows it.
            amplitudes: vec![tap.impulse.value * mode.shape[at].norm_sqr() * mode.omega],
            phase: 0.0,
        })
        .collect();
    let largest: f64 = modes.iter().map(|mode| mode.amplitudes[0]).sum();
    let taps = [0.15, 0.55].map(|share| Strike { time_s: share * made.duration_s, strength: 1.0 });
    synthesise(&Recipe {
        sample_rate_hz: made.sample_rate_hz,
        duration_s: made.duration_s,
        modes,
        taps: taps.to_vec(),
        noise: largest * 10f64.powf(-made.signal_to_noise_db / 20.0),
        seed: made.seed,
        offset: 0.0,
        limit: None,
        step: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::Table;
    use crate::response::tap::{Listen, read_taps};

    #[test]
    fn a_made_record_gives_back_the_modes_of_its_build() {
        let text = include_str!("../../examples/roundness-stand.toml");
        let design = Design::read("stand.toml", text, &Table::built_in()).design.unwrap();
        let build = design.build("cast").unwrap();
        let made = Made { sample_rate_hz: 4000.0, duration_s: 6.0, signal_to_noise_db: 50.0, seed: 3 };
        let record = made_record(&design, build, 8, &made).unwrap();
        let reading = read_taps(&record, &Listen::default()).unwrap();
        let beside = against(&design, build, &reading.modes, 8).unwrap();
        assert!(beside.pairs.len() >= 2, "{:?}", beside.pairs);
        // Feet damp some modes so much that they overlap; those are read to a few per cent.
        for pair in &beside.pairs {
            assert!(pair.frequency_difference.abs() < 0.03, "{pair:?}");
        }
        let near = beside.pairs.iter().filter(|pair| pair.frequency_difference.abs() < 0.005);
        assert!(near.count() >= 2, "{:?}", beside.pairs);
        assert!(beside.explanations.iter().any(|e| e.parameter.contains("feet")));
    }
}
