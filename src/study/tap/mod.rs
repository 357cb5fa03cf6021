//! Compares a recorded tap test with a build: which modes were measured, and which change of the model
//! explains the differences.
//!
//! ```text
//! channels   points and directions of the design that the channels of the record measure
//! parameter  the model parameters that may be wrong: feet, joints, bond, fill, masses
//! amplitude  modes that change with amplitude
//! written    the change that explains the record, in the text of the design
//! synthetic  a synthetic record of a build, to try the reading on
//! ```
//!
//! Each parameter alone is changed by one per cent and the modes are solved again, which gives the
//! sensitivity of every frequency and loss factor. For the best single changes the model is then solved at
//! several values, to find where it, rather than its linearisation, comes closest to the record.

mod amplitude;
mod channels;
mod parameter;
mod synthetic;
mod written;

pub use amplitude::Ends;
pub use channels::{Tie, read_ties, ties_by_title};
pub use parameter::{ModelParameter, ParameterTarget};
pub use synthetic::{RecordSettings, synthetic_record};
pub use written::write;

use amplitude::{at_design, ends};
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_design::{Build, Design};
use stillbed_eigen::damped;
use stillbed_input::problem::Problems;
use stillbed_input::quantity::Draw;
use stillbed_modes::{Asked, ModesFault, solve};
use stillbed_response::stations::{Station, modal_model};
use stillbed_tap::{
    MeasuredMode, ModelComparison, ModelError, PredictedMode, UncertainParameter, compare_with_model,
    model_distance,
};

/// Relative change of a parameter for the sensitivities.
const STEP: f64 = 0.01;
/// Number of explanations followed beyond the linearised model.
const FOLLOWED: usize = 8;

/// A record to compare with a build.
#[derive(Debug, Clone, Copy)]
pub struct MeasuredTap<'a> {
    /// The modes read from it.
    pub modes: &'a [MeasuredMode],
    /// The ties of its channels, in channel order; without ties modes are paired by frequency alone.
    pub ties: &'a [Option<Tie>],
    /// Number of elastic modes of the model.
    pub count: usize,
}

/// The comparison, and the parameters that its explanations name.
#[derive(Debug, Clone)]
pub struct TapComparison {
    /// The comparison.
    pub against: ModelComparison,
    /// The parameters that change any mode.
    pub parameters: Vec<ModelParameter>,
    /// Loss factors at two amplitudes that the record shows, by the name of the parameter.
    pub ends: Vec<(String, Ends)>,
}

/// The modes of a build as the tied channels see them.
fn predicted(
    design: &Design,
    build: &Build,
    seen: &[Station],
    count: usize,
) -> Result<Vec<PredictedMode>, Problems> {
    let model = build.model(&design.goal, &Draw::default())?;
    let asked = Asked { count, ..Asked::default() };
    let modal = solve(&model.frame, &asked).and_then(|spectrum| {
        let loss = &spectrum.matrices.loss;
        let damped = damped(&spectrum.pair(), loss, &spectrum.pairs).map_err(ModesFault::Eigen)?;
        modal_model(&model.frame, &spectrum, Some(&damped), None, seen).map_err(ModesFault::Eigen)
    });
    let modal = modal.map_err(|fault| build.problems(&fault))?;
    let elastic = modal.modes().iter().filter(|mode| !mode.is_rigid());
    let mode = |(i, mode): (usize, &stillbed_response::modal::ModalMode)| PredictedMode {
        name: format!("mode {}", i + 1),
        frequency_hz: mode.omega / TAU,
        loss_factor: mode.loss_factor,
        shape: in_step(&mode.shape),
        frequency_by: Vec::new(),
        loss_by: Vec::new(),
    };
    Ok(elastic.enumerate().map(mode).collect())
}

/// A complex shape rotated in phase to be as real as possible; its real part.
fn in_step(shape: &[Complex64]) -> Vec<f64> {
    let square: Complex64 = shape.iter().map(|z| z * z).sum();
    let turn = Complex64::from_polar(1.0, -0.5 * square.arg());
    shape.iter().map(|z| (z * turn).re).collect()
}

/// Compares the modes of the record with those of `build` and explains the difference.
///
/// # Errors
/// What keeps the build from being solved, or nothing to compare.
pub fn compare(design: &Design, build: &Build, measured: &MeasuredTap) -> Result<TapComparison, Problems> {
    let seen: Vec<Station> = measured.ties.iter().flatten().map(|tie| tie.station).collect();
    let whole: Vec<MeasuredMode> = measured.modes.iter().map(|mode| tied(mode, measured.ties)).collect();
    let (heard, notes) = at_design(design, build, whole.clone());
    let solved = |build: &Build| predicted(design, build, &seen, measured.count);
    let mut modes = solved(build)?;
    let mut parameters = Vec::new();
    for parameter in ModelParameter::all(build) {
        // A bond at its upper limit can only be reduced.
        let step = if matches!(parameter.of, ParameterTarget::Bond(_)) { -STEP } else { STEP };
        let found = solved(&parameter.moved(build, 1.0 + step))?;
        let slope = |a: f64, b: f64| if a > 0.0 && b > 0.0 { (b / a).ln() / (1.0 + step).ln() } else { 0.0 };
        let by: Vec<(f64, f64)> = modes
            .iter()
            .zip(&found)
            .map(|(was, is)| {
                (slope(was.frequency_hz, is.frequency_hz), slope(was.loss_factor, is.loss_factor))
            })
            .collect();
        if by.iter().all(|(f, n)| f.abs() < 1e-6 && n.abs() < 1e-6) {
            continue;
        }
        parameters.push(parameter);
        for (mode, (f, n)) in modes.iter_mut().zip(by) {
            mode.frequency_by.push(f);
            mode.loss_by.push(n);
        }
    }
    let values: Vec<UncertainParameter> =
        parameters.iter().map(|parameter| parameter.uncertain.clone()).collect();
    let mut against = compare_with_model(&heard, &modes, &values, &ModelError::default())?;
    let apart = |x: f64, parameter: &ModelParameter| -> Result<f64, Problems> {
        let mut moved = if x == 0.0 { modes.clone() } else { solved(&parameter.moved(build, x.exp()))? };
        // The tolerance for pairing peaks with modes stays that of the nominal model.
        for (moved, mode) in moved.iter_mut().zip(&modes) {
            moved.frequency_by.clone_from(&mode.frequency_by);
            moved.loss_by.clone_from(&mode.loss_by);
        }
        let own = (x / parameter.uncertain.log_spread()).powi(2);
        Ok(model_distance(&heard, &moved, &values, &ModelError::default()) + own)
    };
    let of = |name: &str| parameters.iter().find(|parameter| parameter.uncertain.name == name);
    for at in 0..against.explanations.len().min(FOLLOWED) {
        let Some(parameter) = of(&against.explanations[at].parameter) else { continue };
        let bare = apart(0.0, parameter)?;
        let (x, least) = nearest(against.explanations[at].step().0, bare, |x| apart(x, parameter))?;
        // The misfit of the nominal model, less the reduction that the change achieves.
        let left = (against.misfit - (bare - least)).max(0.0);
        against.refit(at, &parameter.uncertain, x, left, against.misfit);
    }
    for explanation in &mut against.explanations {
        let parameter = parameters.iter().find(|parameter| parameter.uncertain.name == explanation.parameter);
        explanation.means = parameter.and_then(|parameter| parameter.means(build, &explanation.factor));
    }
    against.conclude();
    against.notes.extend(notes);
    if seen.len() > 1 {
        against.seen = measured.ties.iter().flatten().map(|tie| tie.name.clone()).collect();
    }
    let ends = against.explanations.iter().filter_map(|explanation| {
        let name = &explanation.parameter;
        let parameter =
            parameters.iter().enumerate().find(|(_, parameter)| parameter.uncertain.name == *name)?;
        Some((name.clone(), ends(parameter, explanation.factor.value, &whole, &heard, &modes, &against)?))
    });
    let ends = ends.collect();
    Ok(TapComparison { against, parameters, ends })
}

/// The minimum of `apart` near `start`: its place and its value; `still` is the value at 0.
fn nearest(
    start: f64,
    still: f64,
    apart: impl Fn(f64) -> Result<f64, Problems>,
) -> Result<(f64, f64), Problems> {
    let mut tried = vec![(0.0, still)];
    for x in [0.6, 1.0, 1.6].map(|part| part * start) {
        tried.push((x, apart(x)?));
    }
    for _ in 0..4 {
        tried.sort_by(|a, b| a.0.total_cmp(&b.0));
        let lowest = (0..tried.len()).min_by(|a, b| tried[*a].1.total_cmp(&tried[*b].1)).unwrap_or(0);
        let next = match (lowest.checked_sub(1), tried.get(lowest + 1)) {
            (Some(left), Some(right)) => vertex(tried[left], tried[lowest], *right),
            (None, _) => tried[0].0 + 0.6 * (tried[0].0 - tried[1].0),
            (_, None) => tried[lowest].0 + 0.6 * (tried[lowest].0 - tried[lowest - 1].0),
        };
        if tried.iter().any(|(x, _)| (x - next).abs() < 1e-3) {
            break;
        }
        tried.push((next, apart(next)?));
    }
    let best = tried.into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
    Ok(best.unwrap_or((0.0, still)))
}

/// The minimum of the parabola through three points, kept away from the points themselves.
fn vertex(left: (f64, f64), middle: (f64, f64), right: (f64, f64)) -> f64 {
    let (a, b) = (middle.0 - left.0, right.0 - middle.0);
    let (down, up) = (middle.1 - left.1, right.1 - middle.1);
    let curve = up * a - down * b;
    let step = 0.5 * (up * a * a + down * b * b) / curve;
    let middle_of = if a > b { -0.5 * a } else { 0.5 * b };
    middle.0 - if step.is_finite() { step.clamp(-0.9 * b, 0.9 * a) } else { -middle_of }
}

/// `mode` with its shape in the tied channels alone; without a shape where fewer than two are tied.
fn tied(mode: &MeasuredMode, ties: &[Option<Tie>]) -> MeasuredMode {
    let mut mode = mode.clone();
    let shape = std::mem::take(&mut mode.shape);
    if ties.iter().flatten().count() > 1 {
        mode.shape = shape.into_iter().zip(ties).filter(|(_, tie)| tie.is_some()).map(|(s, _)| s).collect();
    }
    mode
}

#[cfg(test)]
mod tests;
