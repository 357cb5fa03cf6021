//! What the nominal solution of a build hands to the solutions of its draws.
//!
//! A draw changes materials, bonds, joints and feet, not the geometry: it shares the subdivision, the
//! elimination order and the start of the eigenvalue search with the nominal solution. Where that subdivision
//! is too coarse for a draw, or the shared search fails, the draw is solved on its own. Its damped modes are
//! those of [`Precision::DRAW`], up to a few modes above the highest that decides at the nominal values.

use super::solved::Solved;
use stillbed_design::{Build, Goal, Model};
use stillbed_eigen::Precision;
use stillbed_modes::{Asked, ModesFault, Series, Statics};
use stillbed_response::stations::Station;

/// Number of modes above the highest deciding nominal mode that get complex shapes in the draws.
const ABOVE: usize = 4;

/// What the draws of one build share.
pub struct Nominal {
    series: Series,
    asked: Asked,
    precision: Precision,
    /// By elastic mode: true when the base moves as a rigid body on its feet.
    on_feet: Vec<bool>,
}

impl Nominal {
    /// What the nominal solution `solved` hands to the draws; they compute as many modes.
    ///
    /// # Errors
    /// What stopped the elimination ordering.
    pub fn of(solved: &Solved) -> Result<Nominal, ModesFault> {
        let asked = Asked { count: solved.spectrum.elastic.len(), ..Asked::default() };
        let series = Series::about(&solved.spectrum, &asked).map_err(ModesFault::Eigen)?;
        let most = solved.deciding().iter().max().map_or(Precision::DRAW.most, |highest| highest + 1 + ABOVE);
        let precision = Precision { most: most.min(Precision::DRAW.most), ..Precision::DRAW };
        Ok(Nominal { series, asked, precision, on_feet: solved.on_feet().to_vec() })
    }

    /// Solves `model` of `build` at one draw; `more` as in [`Solved::from_modes`].
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
                let statics =
                    Statics::factor_matrices(&model.frame, spectrum.matrices.clone(), &self.series.orders)?;
                let damped = spectrum.damped(self.precision)?;
                Solved::from_modes(build, goal, model, (spectrum, damped), statics, more)?
            }
            None => Solved::solve_seen(build, goal, model, &self.asked, more)?,
        };
        solved.take_kinds(&self.on_feet);
        Ok(solved)
    }
}

#[cfg(test)]
mod tests {
    use super::super::spread::Draws;
    use super::*;
    use crate::design_sample::design;
    use approx::assert_relative_eq;

    use stillbed_input::quantity::Draw;

    #[test]
    fn a_draw_has_the_figures_of_its_own_solution() {
        let design = design(stillbed_design::STARTER);
        // Enough modes that in no draw all of them are of the base on its feet; then more would be computed.
        let asked = Asked { count: 8, ..Asked::default() };
        let goal = &design.goal;
        for build in &design.builds {
            let stated = build.model(goal, &Draw::default()).unwrap();
            let stated = Solved::solve(build, goal, &stated, &asked, &[]).unwrap();
            let known = Nominal::of(&stated).unwrap();
            for draw in (Draws { count: 5, seed: 3 }).sample(&design.uncertain) {
                let model = build.model(goal, &draw).unwrap();
                let alone = Solved::solve(build, goal, &model, &asked, &[]).unwrap();
                let found = known.solved(build, goal, &model, Some(&[])).unwrap();
                let (own, other) = (alone.figures(build, goal).unwrap(), found.figures(build, goal).unwrap());
                // Static stiffnesses agree up to the rounding of subdivided members (elements are up to a
                // thousand times stiffer than their member), frequencies within the errors that both state.
                // Settle time and peak follow frequency and loss, which are accurate to 5e-3.
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
