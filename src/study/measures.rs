//! The measures of one build at one draw, by which builds are compared.

use serde::Serialize;
use stillbed_design::Measure;
use stillbed_modes::TheoryError;

/// The measures of one build at one draw.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figures {
    /// Total mass, kg.
    pub mass: f64,
    /// Total price, in the currency of the prices.
    pub cost: Option<f64>,
    /// Frequency of the first mode of the structure, Hz: the first in which the base does not move as a rigid
    /// body on its feet.
    pub first_frequency: Option<f64>,
    /// Lowest and highest frequency of the base moving as a rigid body on its feet, Hz; `None` without such a
    /// mode.
    pub on_feet: Option<[f64; 2]>,
    /// Static stiffness between tip and work along x, y and z, N/m; infinite where they cannot move apart.
    pub stiffness: Option<[f64; 3]>,
    /// The same in the weakest direction, N/m; infinite where tip and work cannot move apart at all.
    pub weakest: Option<f64>,
    /// The weakest direction.
    pub weakest_direction: Option<[f64; 3]>,
    /// Dynamic stiffness at the highest peak of compliance between tip and work, N/m; infinite where they
    /// cannot move apart.
    pub dynamic_stiffness: Option<f64>,
    /// Error bound of the dynamic stiffness from modes above the computed ones, N/m; `None` where not
    /// estimated.
    pub dynamic_stiffness_error: Option<f64>,
    /// Frequency of that peak, Hz.
    pub peak_frequency: Option<f64>,
    /// Loss factor of the deciding mode: the last to settle, else that of the highest peak, else the first of
    /// the structure.
    pub loss_factor: Option<f64>,
    /// Number of the deciding mode among those that the stations see, rigid-body modes included.
    pub mode: Option<usize>,
    /// Time until the motion between tip and work stays below the stated amplitude, s; `None` when it never
    /// does.
    pub settle_time: Option<f64>,
    /// Error bound of the settle time from modes above the computed ones or from beating, s; `None` where not
    /// estimated.
    pub settle_time_error: Option<f64>,
    /// Displacement of the tip relative to the work per kelvin of uniform heating, m/K; only where asked for.
    pub drift: Option<f64>,
}

impl Figures {
    /// The figure of `measure`, SI.
    #[must_use]
    pub fn get(&self, measure: Measure) -> Option<f64> {
        match measure {
            Measure::FirstFrequency => self.first_frequency,
            Measure::Stiffness => self.weakest,
            Measure::DynamicStiffness => self.dynamic_stiffness,
            Measure::Mass => Some(self.mass),
            Measure::SettleTime => self.settle_time,
            Measure::Cost => self.cost,
            Measure::LossFactor => self.loss_factor,
        }
    }

    /// Relative error of the figure of `measure` from modes above the computed ones; infinite for a figure of
    /// 0 that has an error, since no part of 0 bounds it.
    #[must_use]
    pub fn left_out(&self, measure: Measure) -> f64 {
        let error = match measure {
            Measure::DynamicStiffness => self.dynamic_stiffness_error,
            Measure::SettleTime => self.settle_time_error,
            _ => None,
        };
        error.zip(self.get(measure)).map_or(0.0, |(error, value)| match error > 0.0 {
            true if value > 0.0 => error / value,
            true => f64::INFINITY,
            false => 0.0,
        })
    }
}

/// Relative errors of the measures of one build from beam theory.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct TheoryErrors {
    /// Of the frequency of the first mode of the structure.
    pub frequency: Option<TheoryError>,
    /// Of the static stiffness between tip and work in the weakest direction.
    pub stiffness: Option<TheoryError>,
}

impl TheoryErrors {
    /// Relative error of the figure of `measure`: a dynamic stiffness takes that of the static one, a settle
    /// time that of the frequency. Mass, cost and loss factor take 0.
    #[must_use]
    pub fn get(&self, measure: Measure) -> f64 {
        let whole = |error: &Option<TheoryError>| error.as_ref().map_or(0.0, |error| error.error);
        match measure {
            Measure::FirstFrequency | Measure::SettleTime => whole(&self.frequency),
            Measure::Stiffness | Measure::DynamicStiffness => whole(&self.stiffness),
            Measure::Mass | Measure::Cost | Measure::LossFactor => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_of_nothing_has_no_bound_as_a_part_of_it() {
        let figures = |time, error| Figures {
            settle_time: Some(time),
            settle_time_error: Some(error),
            ..Figures::default()
        };
        assert_eq!(figures(0.5, 0.01).left_out(Measure::SettleTime), 0.02);
        assert_eq!(figures(0.0, 0.01).left_out(Measure::SettleTime), f64::INFINITY);
        assert_eq!(figures(0.0, 0.0).left_out(Measure::SettleTime), 0.0);
        assert_eq!(figures(0.0, 0.01).left_out(Measure::Mass), 0.0);
    }
}
