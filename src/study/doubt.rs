//! Errors of a measure besides the spread of its inputs.
//!
//! ```text
//! division   members are subdivided into elements, bodies into cells: what is left after the correction
//! theory     members are beams: how far solids of the same proportions differ
//! left out   modes above the computed ones: a bound on what they may add
//! ```
//!
//! A measure follows the frequencies f of the modes: a settle time goes as 1/f, and so does the amplitude
//! from which it starts; a dynamic stiffness goes as f². Its relative error is at most twice that of f, plus
//! the excess of ω² of the deciding mode, to which the motion and loss factor of that mode are accurate.
//! Static stiffness depends on the cells of bodies alone, mass on neither.

use super::measures::{Figures, TheoryErrors};
use serde::{Serialize, Serializer};
use stillbed_design::Measure;
use stillbed_modes::Spectrum;

/// The relative errors of one figure.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Doubt {
    /// From the subdivision of the members.
    pub division: f64,
    /// From beams in place of solids.
    pub theory: f64,
    /// From modes that were not computed; infinite, and missing in JSON, where nothing bounds it.
    #[serde(serialize_with = "where_bounded")]
    pub left_out: f64,
}

/// `error`, or nothing where it is infinite.
fn where_bounded<S: Serializer>(error: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    error.is_finite().then_some(*error).serialize(serializer)
}

impl Doubt {
    /// The errors of `measure` in `figures`: from the subdivision as in the worst mode of `spectrum`, from
    /// beam theory as in `theory`; the static stiffness has that of `cells`.
    pub fn of(
        measure: Measure,
        figures: &Figures,
        spectrum: &Spectrum,
        theory: &TheoryErrors,
        cells: f64,
    ) -> Doubt {
        let worst = spectrum.elastic.iter().map(|mode| mode.frequency_error).fold(0.0, f64::max);
        let deciding = match (measure, figures.peak_frequency) {
            (Measure::DynamicStiffness, Some(frequency)) => spectrum.nearest(frequency),
            _ => figures.mode.and_then(|mode| mode.checked_sub(spectrum.rigid.len())),
        };
        let excess = deciding.and_then(|mode| spectrum.excess(mode)).filter(|_| power(measure) > 1.0);
        Doubt {
            division: match measure {
                Measure::Stiffness => cells,
                _ => power(measure) * worst + excess.unwrap_or(0.0),
            },
            theory: theory.get(measure),
            left_out: figures.left_out(measure),
        }
    }

    /// The sum of all, since nothing says that they cancel.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.division + self.theory + self.left_out
    }
}

/// The highest power of the frequencies that a measure follows.
fn power(measure: Measure) -> f64 {
    match measure {
        Measure::FirstFrequency => 1.0,
        Measure::SettleTime | Measure::DynamicStiffness | Measure::LossFactor => 2.0,
        Measure::Stiffness | Measure::Mass | Measure::Cost => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use crate::solved::measure;

    use stillbed_input::quantity::Draw;

    use stillbed_modes::Asked;

    #[test]
    fn what_a_finer_division_changes_lies_within_the_stated_error() {
        let design = design(stillbed_design::STARTER);
        let build = &design.builds[0];
        let model = build.model(&design.goal, &Draw::default()).unwrap();
        let figures = |tolerance: f64| {
            let asked = Asked { count: 6, tolerance, ..Asked::default() };
            let spectrum = build.spectrum(&model, &asked).unwrap();
            (measure(build, &design.goal, &Draw::default(), 1.0, &asked).unwrap(), spectrum)
        };
        let ((coarse, spectrum), (fine, _)) = (figures(1e-2), figures(1e-6));
        for of in
            [Measure::FirstFrequency, Measure::SettleTime, Measure::DynamicStiffness, Measure::Stiffness]
        {
            let error = Doubt::of(of, &coarse, &spectrum, &TheoryErrors::default(), 0.0).total();
            let (a, b) = (coarse.get(of).unwrap(), fine.get(of).unwrap());
            assert!((a / b - 1.0).abs() <= error + 1e-6, "{of:?} {a} {b} {error}");
        }
        let of = |measure| {
            Doubt::of(measure, &Figures::default(), &spectrum, &TheoryErrors::default(), 0.0).total()
        };
        assert_eq!(of(Measure::SettleTime), 2.0 * of(Measure::FirstFrequency));
        assert_eq!(of(Measure::Mass), 0.0);
    }
}
