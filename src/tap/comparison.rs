//! The answer of a comparison of a tap test with a model, and the sums of squares that judge it.

use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::Spread;

/// Distance between the 5 % and the 95 % quantile of a normal variable, in standard deviations.
const NINETY: f64 = 3.2897;

/// A parameter of the model whose value is uncertain.
#[derive(Debug, Clone, PartialEq)]
pub struct UncertainParameter {
    /// Its name: `fill modulus`, `bond`, `foot stiffness`, `joint corner`.
    pub name: String,
    /// Its value in the model, with the limits that were stated for it.
    pub value: Spread,
}

impl UncertainParameter {
    /// Standard deviation of the logarithm of its value.
    pub fn log_spread(&self) -> f64 {
        log_spread(&self.value)
    }
}

/// A measured peak and the mode that it is paired with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MatchedMode {
    /// Name of the mode.
    pub mode: String,
    /// Measured, Hz.
    pub measured_hz: f64,
    /// Predicted, Hz.
    pub predicted_hz: f64,
    /// Measured over predicted, less one.
    pub frequency_difference: f64,
    /// Measured loss factor over the predicted one, less one.
    pub loss_difference: Option<f64>,
    /// Likeness of the two shapes, 0 to 1.
    pub shape_likeness: Option<f64>,
}

/// The change of one parameter when all may change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ParameterChange {
    /// The parameter.
    pub parameter: String,
    /// Factor by which it is multiplied.
    pub factor: Spread,
}

/// A record compared with a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelComparison {
    /// Peaks and their modes.
    pub pairs: Vec<MatchedMode>,
    /// What each channel of the record measures, where shapes were compared; else empty.
    pub seen: Vec<String>,
    /// Peaks that fit no mode of the model, Hz.
    pub unknown_peaks_hz: Vec<f64>,
    /// Modes of the model within the frequency range of the record that were not measured.
    pub silent_modes: Vec<String>,
    /// Sum of squares of the nominal model.
    pub misfit: f64,
    /// How many numbers were compared.
    pub compared: usize,
    /// Explanations by a single change, the best first.
    pub explanations: Vec<Explanation>,
    /// The changes of all parameters together.
    pub together: Vec<ParameterChange>,
    /// Conclusions and warnings.
    pub notes: Vec<Problem>,
}

/// One parameter changed alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Explanation {
    /// The parameter.
    pub parameter: String,
    /// Factor by which the parameter would have to be multiplied.
    pub factor: Spread,
    /// Sum of squares that is left, including that of its own distance from the stated value.
    pub misfit: f64,
    /// Share of the model's misfit that the change removes.
    pub explains: f64,
    /// True when the changed value lies within the parameter's limits.
    pub within_spread: bool,
    /// True when no limits are stated and the usual ones are assumed.
    pub spread_is_guess: bool,
    /// The change in the terms of what is changed, where they are other than its value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub means: Option<String>,
}

impl Explanation {
    /// Logarithm of the factor, and its standard error.
    pub fn step(&self) -> (f64, f64) {
        let error = 0.25 * (self.factor.high / self.factor.low).ln();
        (self.factor.value.ln(), error)
    }
}

/// One compared number.
pub(super) struct Residual {
    pub(super) value: f64,
    pub(super) error: f64,
    pub(super) by: Vec<f64>,
}

/// Sum of squares left by `change`, including that of the change itself.
pub(super) fn misfit(list: &[Residual], change: &[f64], spreads: &[f64]) -> f64 {
    let apart = |r: &Residual| {
        let moved: f64 = r.by.iter().zip(change).map(|(s, x)| s * x).sum();
        ((r.value - moved) / r.error).powi(2)
    };
    list.iter().map(apart).sum::<f64>()
        + change.iter().zip(spreads).map(|(x, q)| (x / q).powi(2)).sum::<f64>()
}

/// The factor exp(x), with limits at two standard errors `error` of x.
pub(super) fn factor(x: f64, error: f64) -> Spread {
    Spread::between(x.exp(), (x - 2.0 * error).exp(), (x + 2.0 * error).exp())
}

/// Standard deviation of the logarithm of a parameter with limits at 5 % and 95 %.
fn log_spread(value: &Spread) -> f64 {
    let width = if value.low > 0.0 {
        (value.high / value.low).ln()
    } else {
        (value.high - value.low) / value.value.abs().max(f64::MIN_POSITIVE)
    };
    let spread = width / NINETY;
    if spread.is_finite() && spread > 0.0 { spread.min(2.0) } else { 1e-6 }
}
