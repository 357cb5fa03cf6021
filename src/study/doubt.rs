//! How far an answer may be off beside the spread of what goes into it.
//!
//! ```text
//! division   members are cut into pieces: what is left after the correction
//! theory     members are beams: what solids of the same kind answer otherwise
//! left out   modes above the computed ones: what they may add, bounded
//! ```
//!
//! A measure follows the frequencies f of the modes: a settle time as 1/f, at an amplitude that
//! goes as 1/f too, a dynamic stiffness as f²; its error is twice that of f at most, and motion and loss
//! factor of the mode that decides hold to its excess of ω². Static stiffness and mass do not depend on the
//! division.

use super::measures::{Figures, TheoryErrors};
use crate::design::Measure;
use crate::modes::Spectrum;
use serde::Serialize;

/// The stated errors of one figure, as parts of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Doubt {
    /// Of the division of members.
    pub division: f64,
    /// Of beams in place of solids.
    pub theory: f64,
    /// Of modes that were not computed.
    pub left_out: f64,
}

impl Doubt {
    /// The errors of `measure` of `figures`, as it follows from `spectrum`, those of its worst mode, and from
    /// beams with the errors of `theory`.
    pub fn of(measure: Measure, figures: &Figures, spectrum: &Spectrum, theory: &TheoryErrors) -> Doubt {
        let worst = spectrum.elastic.iter().map(|mode| mode.frequency_error).fold(0.0, f64::max);
        let deciding = match (measure, figures.peak_frequency) {
            (Measure::DynamicStiffness, Some(frequency)) => spectrum.nearest(frequency),
            _ => figures.mode.and_then(|mode| mode.checked_sub(spectrum.rigid.len())),
        };
        let excess = deciding.and_then(|mode| spectrum.excess(mode)).filter(|_| power(measure) > 1.0);
        Doubt {
            division: power(measure) * worst + excess.unwrap_or(0.0),
            theory: theory.of(measure),
            left_out: figures.left_out(measure),
        }
    }

    /// All together: they are added, since nothing says that they cancel.
    pub fn total(&self) -> f64 {
        self.division + self.theory + self.left_out
    }
}

/// With which power of the frequencies a measure goes, at most.
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
    use crate::design::Design;
    use crate::material::Table;
    use crate::modes::Asked;
    use crate::quantity::Draw;
    use crate::study::measures::measure;

    #[test]
    fn what_a_finer_division_changes_lies_within_the_stated_error() {
        let design = Design::read("d.toml", crate::design::STARTER, &Table::built_in()).design.unwrap();
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
            let error = Doubt::of(of, &coarse, &spectrum, &TheoryErrors::default()).total();
            let (a, b) = (coarse.get(of).unwrap(), fine.get(of).unwrap());
            assert!((a / b - 1.0).abs() <= error + 1e-6, "{of:?} {a} {b} {error}");
        }
        let of =
            |measure| Doubt::of(measure, &Figures::default(), &spectrum, &TheoryErrors::default()).total();
        assert_eq!(of(Measure::SettleTime), 2.0 * of(Measure::FirstFrequency));
        assert_eq!(of(Measure::Mass), 0.0);
    }
}
