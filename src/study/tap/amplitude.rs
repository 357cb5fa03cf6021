//! Modes whose frequency and loss change with amplitude, compared with a design whose losses may depend on
//! amplitude too.

use super::parameter::{ModelParameter, ParameterTarget};
use stillbed_design::{Build, Design};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_tap::{MeasuredMode, ModelComparison, PredictedMode};

/// Amplitude at which the losses of `build` are taken, m: that of the design, or else the smallest stated;
/// `None` where no loss is stated over amplitude.
fn taken(design: &Design, build: &Build) -> Option<f64> {
    let stated = build.drawing.loss_amplitudes();
    let smallest = stated.into_iter().reduce(f64::min)?;
    Some(design.goal.amplitude.unwrap_or(smallest))
}

/// The modes read at the amplitude of the design's losses, with a note about each mode that this changes.
pub(super) fn at_design(
    design: &Design,
    build: &Build,
    heard: Vec<MeasuredMode>,
) -> (Vec<MeasuredMode>, Vec<Problem>) {
    let Some(amplitude) = taken(design, build) else { return (heard, Vec::new()) };
    let mut notes = Vec::new();
    let at = |mode: MeasuredMode| {
        let Some((moved, at)) = mode.at_amplitude(amplitude) else { return mode };
        let f = figures(mode.frequency_hz.value, 4);
        let meant = if (at / amplitude - 1.0).abs() < 0.01 {
            "that of the design's losses".to_string()
        } else {
            format!("the nearest heard to {}, that of the design's losses", show(amplitude, Kind::Length))
        };
        let message = format!(
            "the mode at {f} Hz changes with amplitude and is compared at {}, {meant}",
            show(at, Kind::Length)
        );
        notes.push(Problem::warning(Place::key("pairs"), message));
        moved
    };
    let moved = heard.into_iter().map(at).collect();
    (moved, notes)
}

/// Factors of a loss at two amplitudes, as `(amplitude in m, factor)`, the smaller amplitude first.
pub type Ends = [(f64, f64); 2];

/// Factors of the loss that `parameter` changes, at both ends of the curve of the mode that depends most on it.
/// `factor` holds at the amplitude at which the modes were compared.
pub(super) fn ends(
    parameter: (usize, &ModelParameter),
    factor: f64,
    heard: &[MeasuredMode],
    compared: &[MeasuredMode],
    modes: &[PredictedMode],
    against: &ModelComparison,
) -> Option<Ends> {
    if !matches!(parameter.1.of, ParameterTarget::FootLoss(_) | ParameterTarget::JointLoss(_)) {
        return None;
    }
    let by = |mode: &PredictedMode| mode.loss_by.get(parameter.0).copied().unwrap_or(0.0);
    let pairs = against.pairs.iter().filter_map(|pair| {
        let mode = modes.iter().find(|mode| mode.name == pair.mode)?;
        let place = compared.iter().position(|own| own.frequency_hz.value == pair.measured_hz)?;
        heard[place].amplitude_trend.bends.then_some((mode, &heard[place], &compared[place]))
    });
    let (mode, heard, compared) = pairs.max_by(|a, b| by(a.0).total_cmp(&by(b.0)))?;
    let (slope, scale) = (by(mode), heard.amplitude_m?);
    if slope < LEAST {
        return None;
    }
    let middle = compared.loss_factor?.value;
    let curve = &heard.amplitude_trend.stretches;
    let end = |at: usize| {
        let ratio = curve[at].loss_factor.value / middle;
        let factor = factor * ratio.powf(1.0 / slope);
        (ratio > 0.0 && factor.is_finite()).then_some((curve[at].amplitude * scale, factor))
    };
    Some([end(curve.len().checked_sub(1)?)?, end(0)?])
}

/// Least share of a mode's loss that must come from a joint or foot for the mode's curve to be attributed to
/// it.
const LEAST: f64 = 0.3;
