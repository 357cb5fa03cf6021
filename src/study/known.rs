//! A build solved at its stated values, from which its draws begin.
//!
//! A draw changes materials, bonds, joints and feet, not the drawing: division, order of elimination
//! and start of the search are those of the stated values. Where the division is too coarse for a
//! draw, or what is shared fails it, it is solved on its own. Its damped modes are those of
//! [`Precision::DRAW`], as far as the stated values show that they may decide.

use super::measures::Solved;
use crate::design::{Build, Goal, Model};
use crate::modes::{Asked, ModesFault, Precision, Series, Statics};
use crate::response::stations::Station;

/// Modes above the highest that decides at the stated values whose shapes are complex in the draws.
const ABOVE: usize = 4;

/// What the draws of one build share.
pub struct Known {
    series: Series,
    asked: Asked,
    precision: Precision,
    /// By elastic mode: true when the base moves as one piece on its feet.
    on_feet: Vec<bool>,
}

impl Known {
    /// What `solved` leaves to the draws, which take as many modes.
    ///
    /// # Errors
    /// What stopped the ordering.
    pub fn of(solved: &Solved) -> Result<Known, ModesFault> {
        let asked = Asked { count: solved.spectrum.elastic.len(), ..Asked::default() };
        let series = Series::about(&solved.spectrum, &asked).map_err(ModesFault::Eigen)?;
        let most = solved.deciding().iter().max().map_or(Precision::DRAW.most, |highest| highest + 1 + ABOVE);
        let precision = Precision { most: most.min(Precision::DRAW.most), ..Precision::DRAW };
        Ok(Known { series, asked, precision, on_feet: solved.on_feet().to_vec() })
    }

    /// `model` of `build` at one draw, as [`Solved::of`].
    ///
    /// # Errors
    /// A mechanism, or what stopped the solution.
    pub fn solved<'m>(
        &self,
        build: &Build,
        goal: &Goal,
        model: &'m Model,
        more: Option<&[Station]>,
    ) -> Result<Solved<'m>, ModesFault> {
        let limit = self.series.least_limit(&model.frame);
        let found = self.series.solve_frame(&model.frame, limit).ok().flatten();
        let mut solved = match found {
            Some(spectrum) => {
                let statics = Statics::shared(&model.frame, spectrum.matrices.clone(), &self.series.orders)?;
                let damped = spectrum.damped(self.precision)?;
                Solved::of(build, goal, model, (spectrum, damped), statics, more)?
            }
            None => Solved::seen(build, goal, model, &self.asked, more)?,
        };
        solved.stand_as(&self.on_feet);
        Ok(solved)
    }
}

#[cfg(test)]
mod tests {
    use super::super::spread::Draws;
    use super::*;
    use crate::design::Design;
    use crate::material::Table;
    use crate::quantity::Draw;
    use approx::assert_relative_eq;

    #[test]
    fn a_draw_has_the_figures_of_its_own_solution() {
        let design = Design::read("d.toml", crate::design::STARTER, &Table::built_in()).design.unwrap();
        // Enough that no draw needs more, whose modes are all those of the base on its feet.
        let asked = Asked { count: 8, ..Asked::default() };
        let goal = &design.goal;
        for build in &design.builds {
            let stated = build.model(goal, &Draw::default()).unwrap();
            let stated = Solved::new(build, goal, &stated, &asked, &[]).unwrap();
            let known = Known::of(&stated).unwrap();
            for draw in (Draws { count: 5, seed: 3 }).of(&design.uncertain) {
                let model = build.model(goal, &draw).unwrap();
                let alone = Solved::new(build, goal, &model, &asked, &[]).unwrap();
                let found = known.solved(build, goal, &model, Some(&[])).unwrap();
                let (own, other) = (alone.figures(build, goal).unwrap(), found.figures(build, goal).unwrap());
                // Statics are the same to the digits that divided members leave (their pieces are up to a
                // thousand times stiffer), frequencies to the errors that both state. Settle time and peak
                // follow frequency and loss, which is right to 5e-3.
                assert_relative_eq!(own.weakest.unwrap(), other.weakest.unwrap(), max_relative = 1e-6);
                let modes = alone.spectrum.elastic.iter().zip(&found.spectrum.elastic);
                for (own, other) in modes {
                    let error = (own.frequency() / other.frequency() - 1.0).abs();
                    assert!(error <= own.frequency_error + other.frequency_error + 1e-9, "{error}");
                }
                assert_relative_eq!(
                    own.settle_time.unwrap(),
                    other.settle_time.unwrap(),
                    max_relative = 7e-3
                );
                let peaks = [own, other].map(|figures| figures.dynamic_stiffness.unwrap());
                assert_relative_eq!(peaks[0], peaks[1], max_relative = 7e-3);
            }
        }
    }
}
