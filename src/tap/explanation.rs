//! Which single change of the model explains the record, and what follows from it?
//!
//! The explanations are first computed to first order. A caller that can solve the changed model corrects
//! them by [`ModelComparison::refit`] and then calls [`ModelComparison::conclude`].

use super::comparison::{Explanation, ModelComparison, Residual, UncertainParameter, factor, misfit};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::figures;

/// Difference of misfit below which two explanations cannot be told apart.
const ALIKE: f64 = 4.0;

impl ModelComparison {
    /// The parameters that explain the record about as well as the first explanation does.
    pub fn alike(&self) -> Vec<&str> {
        let Some(best) = self.explanations.first() else { return Vec::new() };
        let near = |other: &&Explanation| other.misfit - best.misfit < ALIKE && other.explains > 0.1;
        self.explanations.iter().skip(1).take_while(near).map(|other| other.parameter.as_str()).collect()
    }

    /// Replaces the first-order result of explanation `at` by the change `x`, the logarithm of the factor,
    /// and by the sum of squares `misfit` that the changed model has; `bare` is that of the unchanged model.
    pub fn refit(&mut self, at: usize, parameter: &UncertainParameter, x: f64, misfit: f64, bare: f64) {
        let explanation = &mut self.explanations[at];
        let (_, error) = explanation.step();
        let value = parameter.value.value * x.exp();
        explanation.factor = factor(x, error);
        explanation.misfit = misfit;
        explanation.explains = if bare > 0.0 { 1.0 - misfit / bare } else { 0.0 };
        explanation.within_spread = (parameter.value.low..=parameter.value.high).contains(&value);
    }

    /// Puts the best explanation first and writes the notes.
    pub fn conclude(&mut self) {
        self.explanations.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
        self.notes = notes(self);
    }
}

/// The explanations by each of `parameters` changed alone, to first order; the best first.
pub(super) fn explain(
    list: &[Residual],
    parameters: &[UncertainParameter],
    spreads: &[f64],
    bare: f64,
) -> Vec<Explanation> {
    let single = |(j, parameter): (usize, &UncertainParameter)| {
        let sum =
            |of: &dyn Fn(&Residual) -> f64| list.iter().map(|r| of(r) / (r.error * r.error)).sum::<f64>();
        let stiffness = sum(&|r| r.by[j] * r.by[j]) + 1.0 / (spreads[j] * spreads[j]);
        let x = sum(&|r| r.by[j] * r.value) / stiffness;
        let mut change = vec![0.0; parameters.len()];
        change[j] = x;
        let misfit = misfit(list, &change, spreads);
        let value = parameter.value.value * x.exp();
        Explanation {
            parameter: parameter.name.clone(),
            factor: factor(x, stiffness.recip().sqrt()),
            misfit,
            explains: if bare > 0.0 { 1.0 - misfit / bare } else { 0.0 },
            within_spread: (parameter.value.low..=parameter.value.high).contains(&value),
            spread_is_guess: parameter.value.guess,
            means: None,
        }
    };
    let mut explanations: Vec<Explanation> = parameters.iter().enumerate().map(single).collect();
    explanations.sort_by(|a, b| a.misfit.total_cmp(&b.misfit));
    explanations
}

fn notes(against: &ModelComparison) -> Vec<Problem> {
    let (explanations, unknown) = (&against.explanations, &against.unknown_peaks_hz);
    let mut notes = Vec::new();
    let mut note = |key: &str, message: String, help: &str| {
        notes.push(Problem::warning(Place::key(key), message).with_help(help.to_string()));
    };
    for peak in unknown {
        note(
            "unknown_peaks_hz",
            format!("the peak at {} Hz fits no mode of the model", figures(*peak, 4)),
            "a loose part, the floor or the sensor may ring; tap elsewhere and compare",
        );
    }
    if against.compared == 0 {
        return notes;
    }
    if against.misfit < 2.0 * against.compared as f64 {
        note(
            "explanations",
            "the model agrees with the record within what both leave open".into(),
            "nothing has to be changed",
        );
        return notes;
    }
    let Some(best) = explanations.first() else { return notes };
    let alike = against.alike();
    if !alike.is_empty() {
        note(
            "explanations",
            format!("{} and {} explain the record alike", best.parameter, alike.join(", ")),
            "measure one of them alone (a free bar, a foot on its own), or tap with more channels",
        );
    }
    if !best.within_spread && best.explains > 0.1 {
        note(
            "explanations",
            match best.spread_is_guess {
                false => format!("{} would have to lie outside of its stated limits", best.parameter),
                true => format!(
                    "{} would have to lie outside of its usual limits; it is stated without its own",
                    best.parameter
                ),
            },
            "look for something that the model does not have",
        );
    }
    if best.explains < 0.5 {
        note(
            "explanations",
            format!(
                "no single change explains the differences; the best takes {} % away",
                figures(100.0 * best.explains.max(0.0), 2)
            ),
            "look at all changes together, and for something that the model does not have",
        );
    }
    notes
}
