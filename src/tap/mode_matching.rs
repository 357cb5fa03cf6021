//! Compares a tap test with a model: which peak is which mode, and which change explains the differences?
//!
//! With x_j = ln(p_j / p_j0) the changes of the model's uncertain parameters, S their
//! sensitivities, and r the logarithms of measured over predicted frequency and loss factor:
//!
//! ```text
//! chi^2(x) = sum_i ((r_i - S_i x) / s_i)^2 + sum_j (x_j / q_j)^2
//! one change:     x_j = sum S r / s^2 / (sum S^2 / s^2 + 1 / q_j^2)
//! all together:   x = (S^T W S + Q)^-1 S^T W r
//! ```
//!
//! s_i combines the standard errors of the record and of the model; q_j is the standard deviation of the
//! parameter's logarithm by its stated spread. Peaks and modes are paired at the least sum of squares,
//! starting from the nominal model and from models with one parameter moved, so that a common shift of
//! all frequencies does not pair them wrongly.
//!
//! # Source
//! - `mottershead2011`: weighted least squares with a prior on the parameters
//! - `allemang1982`: likeness of two shapes
//! - `kuhn1955`: pairing at least cost

use super::COVERAGE;
use super::assignment::assign_at_least_cost;
use super::comparison::{
    MatchedMode, ModelComparison, ParameterChange, Residual, UncertainParameter, factor, misfit,
};
use super::explanation::explain;
use super::measured_mode::MeasuredMode;
use nalgebra::{DMatrix, DVector};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::Spread;

/// A mode of the model.
#[derive(Debug, Clone, PartialEq)]
pub struct PredictedMode {
    /// Its name.
    pub name: String,
    /// Hz.
    pub frequency_hz: f64,
    /// Its loss factor; 0 when the model has none.
    pub loss_factor: f64,
    /// Its motion in each channel of the record; empty when it is not known.
    pub shape: Vec<f64>,
    /// d ln f / d ln p, one value per parameter.
    pub frequency_by: Vec<f64>,
    /// d ln eta / d ln p, one value per parameter.
    pub loss_by: Vec<f64>,
}

/// Standard errors of the model itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelError {
    /// Relative, of a frequency.
    pub frequency: f64,
    /// Relative, of a loss factor.
    pub loss_factor: f64,
}

impl Default for ModelError {
    /// 1 % of a frequency, 25 % of a loss factor: common practice for a beam frame.
    fn default() -> ModelError {
        ModelError { frequency: 0.01, loss_factor: 0.25 }
    }
}

/// Distance in standard errors beyond which a peak and a mode are not paired.
const APART: f64 = 3.5;
/// Compares the measured modes with the predicted ones.
///
/// # Errors
/// When there is nothing to compare, or a prediction does not have one finite sensitivity per parameter.
pub fn compare_with_model(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    parameters: &[UncertainParameter],
    model: &ModelError,
) -> Result<ModelComparison, Problems> {
    check(measured, predicted, parameters)?;
    let spreads: Vec<f64> = parameters.iter().map(|parameter| parameter.log_spread()).collect();
    let mut best: Option<(f64, Vec<Option<usize>>)> = None;
    let mut starts = vec![vec![0.0; parameters.len()]];
    for (j, spread) in spreads.iter().enumerate() {
        for step in [-2.0, -1.0, 1.0, 2.0] {
            let mut start = vec![0.0; parameters.len()];
            start[j] = step * spread;
            starts.push(start);
        }
    }
    for start in starts {
        let mut change = start;
        let mut pairing = Vec::new();
        for _ in 0..4 {
            let next = pair(measured, predicted, &change, &spreads, model);
            let list = residuals(measured, predicted, &next, model);
            change = together(&list, &spreads).map_or(change, |(x, _)| x);
            if next == pairing {
                break;
            }
            pairing = next;
        }
        let list = residuals(measured, predicted, &pairing, model);
        let cost = misfit(&list, &change, &spreads) + loose_ends(measured, predicted, &pairing);
        if best.as_ref().is_none_or(|(least, _)| cost < least - 1e-9) {
            best = Some((cost, pairing));
        }
    }
    let pairing = best.map_or(Vec::new(), |(_, pairing)| pairing);
    let mut answer = answer(measured, predicted, parameters, &spreads, &pairing, model);
    answer.conclude();
    Ok(answer)
}

/// Sum of squares between the measured modes and the model as given. Each peak without a mode counts as
/// if it lay at the largest distance at which a peak and a mode are paired.
///
/// That distance follows from the sensitivities of `predicted`.
pub fn model_distance(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    parameters: &[UncertainParameter],
    model: &ModelError,
) -> f64 {
    let spreads: Vec<f64> = parameters.iter().map(|parameter| parameter.log_spread()).collect();
    let still = vec![0.0; spreads.len()];
    let pairing = pair(measured, predicted, &still, &spreads, model);
    let list = residuals(measured, predicted, &pairing, model);
    misfit(&list, &still, &spreads) + loose_ends(measured, predicted, &pairing)
}

/// Cost of dissimilar shapes and of peaks without a mode.
fn loose_ends(measured: &[MeasuredMode], predicted: &[PredictedMode], pairing: &[Option<usize>]) -> f64 {
    let cost = |(mode, place): (&MeasuredMode, &Option<usize>)| {
        place.map_or(APART * APART, |j| unlike(mode, &predicted[j]))
    };
    measured.iter().zip(pairing).map(cost).sum()
}

fn check(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    parameters: &[UncertainParameter],
) -> Result<(), Problems> {
    let mut problems = Vec::new();
    if measured.is_empty() || predicted.is_empty() {
        let message = format!("{} measured and {} predicted modes", measured.len(), predicted.len());
        problems
            .push(Problem::error(Place::key("modes"), message).with_help("at least one of each is compared"));
    }
    for mode in predicted {
        let counts = mode.frequency_by.len() == parameters.len() && mode.loss_by.len() == parameters.len();
        let finite = mode.frequency_by.iter().chain(&mode.loss_by).all(|s| s.is_finite());
        if !(counts && finite && mode.frequency_hz > 0.0 && mode.frequency_hz.is_finite()) {
            let message = format!("mode \"{}\" lacks a frequency or a sensitivity a parameter", mode.name);
            problems
                .push(Problem::error(Place::key("modes"), message).with_help("state one finite value each"));
        }
    }
    if problems.is_empty() { Ok(()) } else { Err(problems.into()) }
}

/// Logarithm of a mode's frequency after `change`.
fn shifted(mode: &PredictedMode, change: &[f64]) -> f64 {
    mode.frequency_hz.ln() + mode.frequency_by.iter().zip(change).map(|(s, x)| s * x).sum::<f64>()
}

/// Likeness of a measured and a predicted shape; `None` when one is not known.
fn likeness(measured: &MeasuredMode, predicted: &PredictedMode) -> Option<f64> {
    if measured.shape.len() < 2 || measured.shape.len() != predicted.shape.len() {
        return None;
    }
    let parts = || measured.shape.iter().zip(&predicted.shape);
    let real: f64 = parts().map(|(m, p)| m.value * p).sum();
    let imaginary: f64 = parts().map(|(m, p)| m.out_of_step * p).sum();
    let own: f64 = parts().map(|(m, _)| m.value.powi(2) + m.out_of_step.powi(2)).sum();
    let other: f64 = predicted.shape.iter().map(|p| p * p).sum();
    let likeness = (real * real + imaginary * imaginary) / (own * other);
    likeness.is_finite().then_some(likeness)
}

/// Squares added for dissimilar shapes: none above a likeness of 0.9, twelve at a likeness of zero.
fn unlike(measured: &MeasuredMode, predicted: &PredictedMode) -> f64 {
    likeness(measured, predicted).map_or(0.0, |likeness| 12.0 * ((0.9 - likeness) / 0.9).max(0.0))
}

/// The pairing of least cost: for each peak the index of its mode.
fn pair(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    change: &[f64],
    spreads: &[f64],
    model: &ModelError,
) -> Vec<Option<usize>> {
    let cost = |i: usize, j: usize| {
        // `change` has moved the parameters already: half of their spread remains as uncertainty.
        let open: f64 =
            predicted[j].frequency_by.iter().zip(spreads).map(|(s, q)| (0.5 * s * q).powi(2)).sum();
        let own = log_error(&measured[i].frequency_hz);
        let error = (own * own + model.frequency.powi(2) + open).sqrt().max(0.005);
        let apart = (measured[i].frequency_hz.value.ln() - shifted(&predicted[j], change)) / error;
        apart * apart + unlike(&measured[i], &predicted[j])
    };
    assign_at_least_cost(measured.len(), predicted.len(), cost, APART * APART)
}

/// Standard error of the logarithm of a measured value.
fn log_error(spread: &Spread) -> f64 {
    (spread.high - spread.low) / (2.0 * COVERAGE * spread.value)
}

fn residuals(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    pairing: &[Option<usize>],
    model: &ModelError,
) -> Vec<Residual> {
    let mut list = Vec::new();
    for (mode, place) in measured.iter().zip(pairing) {
        let Some(other) = place.map(|j| &predicted[j]) else { continue };
        list.push(Residual {
            value: (mode.frequency_hz.value / other.frequency_hz).ln(),
            error: log_error(&mode.frequency_hz).hypot(model.frequency),
            by: other.frequency_by.clone(),
        });
        if let Some(loss) = mode.loss_factor
            && loss.value > 0.0
            && other.loss_factor > 0.0
        {
            list.push(Residual {
                value: (loss.value / other.loss_factor).ln(),
                error: log_error(&loss).hypot(model.loss_factor),
                by: other.loss_by.clone(),
            });
        }
    }
    list
}

/// The changes of all parameters together, and their standard errors.
fn together(list: &[Residual], spreads: &[f64]) -> Option<(Vec<f64>, Vec<f64>)> {
    let count = spreads.len();
    let mut normal = DMatrix::<f64>::zeros(count, count);
    let mut right = DVector::<f64>::zeros(count);
    for r in list {
        let weight = 1.0 / (r.error * r.error);
        for i in 0..count {
            right[i] += weight * r.by[i] * r.value;
            for j in 0..count {
                normal[(i, j)] += weight * r.by[i] * r.by[j];
            }
        }
    }
    for (i, q) in spreads.iter().enumerate() {
        normal[(i, i)] += 1.0 / (q * q);
    }
    let inverse = normal.cholesky()?.inverse();
    let x = &inverse * right;
    let errors = (0..count).map(|i| inverse[(i, i)].max(0.0).sqrt()).collect();
    Some((x.iter().copied().collect(), errors))
}

fn answer(
    measured: &[MeasuredMode],
    predicted: &[PredictedMode],
    parameters: &[UncertainParameter],
    spreads: &[f64],
    pairing: &[Option<usize>],
    model: &ModelError,
) -> ModelComparison {
    let list = residuals(measured, predicted, pairing, model);
    let bare = misfit(&list, &vec![0.0; parameters.len()], spreads);
    let explanations = explain(&list, parameters, spreads, bare);
    let pairs = measured.iter().zip(pairing).filter_map(|(mode, place)| {
        let other = &predicted[(*place)?];
        let loss = mode.loss_factor.filter(|_| other.loss_factor > 0.0);
        Some(MatchedMode {
            mode: other.name.clone(),
            measured_hz: mode.frequency_hz.value,
            predicted_hz: other.frequency_hz,
            frequency_difference: mode.frequency_hz.value / other.frequency_hz - 1.0,
            loss_difference: loss.map(|loss| loss.value / other.loss_factor - 1.0),
            shape_likeness: likeness(mode, other),
        })
    });
    let unknown: Vec<f64> = measured
        .iter()
        .zip(pairing)
        .filter(|(_, place)| place.is_none())
        .map(|(mode, _)| mode.frequency_hz.value)
        .collect();
    let heard = measured.iter().map(|mode| mode.frequency_hz.value);
    let (low, high) = heard.fold((f64::MAX, 0.0), |(l, h): (f64, f64), f| (l.min(f), h.max(f)));
    let silent = predicted.iter().enumerate().filter(|(j, mode)| {
        !pairing.contains(&Some(*j)) && (0.8 * low..1.1 * high).contains(&mode.frequency_hz)
    });
    let changes = together(&list, spreads).unwrap_or_default();
    ModelComparison {
        pairs: pairs.collect(),
        seen: Vec::new(),
        notes: Vec::new(),
        unknown_peaks_hz: unknown,
        silent_modes: silent.map(|(_, mode)| mode.name.clone()).collect(),
        misfit: bare,
        compared: list.len(),
        explanations,
        together: parameters
            .iter()
            .zip(changes.0.iter().zip(&changes.1))
            .map(|(parameter, (x, error))| ParameterChange {
                parameter: parameter.name.clone(),
                factor: factor(*x, *error),
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::amplitude_trend::{AmplitudeTrend, TrendVerdict};
    use super::super::half_power::HalfPower;
    use super::super::measured_mode::ShapeComponent;
    use super::*;

    fn heard(frequency: f64, loss: f64, shape: &[f64]) -> MeasuredMode {
        let part = |(i, value): (usize, &f64)| ShapeComponent {
            channel: i.to_string(),
            value: *value,
            out_of_step: 0.0,
        };
        MeasuredMode {
            frequency_hz: Spread::between(frequency, frequency * 0.999, frequency * 1.001),
            loss_factor: Some(Spread::between(loss, loss * 0.95, loss * 1.05)),
            loss_factor_at_most: None,
            decay: None,
            amplitude_trend: AmplitudeTrend {
                verdict: TrendVerdict::Unresolved,
                per_decade: None,
                frequency_verdict: TrendVerdict::Unresolved,
                frequency_per_decade: None,
                bends: false,
                stretches: Vec::new(),
            },
            half_power: HalfPower { loss_factor: None, resolution_limit: 0.0 },
            level_db: 0.0,
            amplitude_m: None,
            listened_s: 1.0,
            scatter: 1.0,
            shape: shape.iter().enumerate().map(part).collect(),
        }
    }

    fn mode(name: &str, frequency_hz: f64, by: [f64; 2], shape: &[f64]) -> PredictedMode {
        PredictedMode {
            name: name.into(),
            frequency_hz,
            loss_factor: 0.02,
            shape: shape.to_vec(),
            frequency_by: by.to_vec(),
            loss_by: vec![0.0, 0.0],
        }
    }

    fn parameter(name: &str, low: f64, high: f64) -> UncertainParameter {
        UncertainParameter { name: name.into(), value: Spread::between(1.0, low, high) }
    }

    fn parameters() -> Vec<UncertainParameter> {
        vec![parameter("fill modulus", 0.7, 1.4), parameter("foot stiffness", 0.5, 2.0)]
    }

    #[test]
    fn the_soft_foot_is_found() {
        // The foot governs the first two modes, the fill the last two; the foot is at 0.6 of its value.
        let predicted = [
            mode("rock", 40.0, [0.05, 0.45], &[]),
            mode("bounce", 62.0, [0.1, 0.4], &[]),
            mode("twist", 150.0, [0.45, 0.02], &[]),
            mode("bend", 230.0, [0.48, 0.01], &[]),
        ];
        let measured: Vec<MeasuredMode> = predicted
            .iter()
            .map(|m| heard(m.frequency_hz * 0.6f64.powf(m.frequency_by[1]), 0.02, &[]))
            .chain([heard(95.0, 0.02, &[])])
            .collect();
        let against =
            compare_with_model(&measured, &predicted, &parameters(), &ModelError::default()).unwrap();
        assert_eq!(against.pairs.len(), 4);
        assert_eq!(against.unknown_peaks_hz, vec![95.0]);
        let best = &against.explanations[0];
        assert_eq!(best.parameter, "foot stiffness");
        assert!(best.factor.low < 0.6 && 0.6 < best.factor.high && best.within_spread, "{:?}", best.factor);
        assert!(best.explains > 0.9, "{}", best.explains);
        assert!(!against.notes.iter().any(|note| note.message.contains("alike")), "{:?}", against.notes);
        assert!(against.notes.iter().any(|note| note.message.contains("95 Hz fits no mode")));
    }

    #[test]
    fn alike_explanations_are_called_so() {
        let predicted = [mode("a", 100.0, [0.40, 0.41], &[]), mode("b", 300.0, [0.42, 0.41], &[])];
        let measured = [heard(92.0, 0.02, &[]), heard(276.0, 0.02, &[])];
        let equal = vec![parameter("fill modulus", 0.6, 1.6), parameter("bond", 0.6, 1.6)];
        let against = compare_with_model(&measured, &predicted, &equal, &ModelError::default()).unwrap();
        assert!(against.notes.iter().any(|note| note.message.contains("explain the record alike")));
    }

    #[test]
    fn shapes_pair_modes_that_have_changed_places() {
        let predicted =
            [mode("x", 100.0, [0.5, 0.0], &[1.0, 0.0]), mode("y", 104.0, [0.0, 0.5], &[0.0, 1.0])];
        let measured = [heard(101.0, 0.02, &[0.05, 1.0]), heard(103.0, 0.02, &[1.0, 0.0])];
        let against =
            compare_with_model(&measured, &predicted, &parameters(), &ModelError::default()).unwrap();
        assert_eq!(against.pairs[0].mode, "y");
        assert_eq!(against.pairs[1].mode, "x");
        assert!(against.pairs[0].shape_likeness.unwrap() > 0.99);
    }

    #[test]
    fn a_true_model_is_left_alone() {
        let predicted = [mode("a", 100.0, [0.5, 0.1], &[])];
        let against = compare_with_model(
            &[heard(100.4, 0.021, &[])],
            &predicted,
            &parameters(),
            &ModelError::default(),
        );
        assert!(against.unwrap().notes[0].message.contains("agrees"));
        assert!(compare_with_model(&[], &predicted, &parameters(), &ModelError::default()).is_err());
    }
}
