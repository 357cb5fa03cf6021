//! A build solved at its stated values, from which its draws begin.
//!
//! A draw changes materials, bonds, joints and feet, not the drawing: division, order of elimination
//! and start of the search are those of the stated values. Where the division is too coarse for a
//! draw, it is solved on its own. Losses of a draw are right to a part in a thousand.

use super::measures::Solved;
use crate::design::{Build, Goal, Model};
use crate::modes::{Asked, ModesFault, Orders, Precision, Series, Statics};
use crate::response::stations::Station;
use std::sync::Arc;

/// What the draws of one build share.
pub struct Known {
    series: Series,
    /// Of the frame without division.
    whole: Arc<Orders>,
    asked: Asked,
}

impl Known {
    /// What `solved`, of which `asked` modes were asked, leaves to the draws.
    ///
    /// # Errors
    /// What stopped the ordering.
    pub fn of(solved: &Solved, asked: &Asked) -> Result<Known, ModesFault> {
        let series = Series::about(&solved.spectrum, asked).map_err(ModesFault::Eigen)?;
        Ok(Known { series, whole: Arc::clone(&solved.statics.orders), asked: asked.clone() })
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
        let found = self.series.solve_frame(&model.frame, limit).map_err(ModesFault::Eigen)?;
        let Some(spectrum) = found else { return Solved::seen(build, goal, model, &self.asked, more) };
        let statics = Statics::like(&model.frame, &self.whole)?;
        let damped = spectrum.damped(Precision::DRAW)?;
        Solved::of(build, goal, model, (spectrum, damped), statics, more)
    }
}
