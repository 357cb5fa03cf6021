//! A loss factor that depends on the amplitude of motion: joints that rub, feet that creep.
//!
//! Between two stated amplitudes the loss is a power of the amplitude, a straight line where both
//! are logarithmic; beyond the first and the last it stays what it is there:
//!
//! ```text
//! eta(a) = eta_1 (a / a_1)^p,   p = ln(eta_2 / eta_1) / ln(a_2 / a_1)
//! ```
//!
//! # Source
//! - `lazan1968`: damping as a power of the amplitude

use serde::Serialize;

/// A loss factor measured at one amplitude.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LossAt {
    /// Amplitude of the motion, m (rad for a turn); more than zero.
    pub amplitude: f64,
    /// Loss factor there; more than zero.
    pub loss: f64,
}

/// A loss factor over amplitude.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AmplitudeLoss {
    points: Vec<LossAt>,
}

impl AmplitudeLoss {
    /// The loss through the stated `points`, given in any order.
    ///
    /// # Errors
    /// No point, a value that is not more than zero, or two losses at one amplitude.
    pub fn new(mut points: Vec<LossAt>) -> Result<AmplitudeLoss, String> {
        if points.is_empty() {
            return Err("no loss is stated; state at least one with its amplitude".to_string());
        }
        for point in &points {
            for (what, value) in [("an amplitude", point.amplitude), ("a loss", point.loss)] {
                if !(value > 0.0 && value.is_finite()) {
                    return Err(format!("{what} of {value}; it must be more than zero"));
                }
            }
        }
        points.sort_by(|a, b| a.amplitude.total_cmp(&b.amplitude));
        if let Some(twice) = points.windows(2).find(|pair| pair[0].amplitude == pair[1].amplitude) {
            return Err(format!(
                "two losses, {} and {}, at the amplitude {:e}; one is allowed",
                twice[0].loss, twice[1].loss, twice[0].amplitude
            ));
        }
        Ok(AmplitudeLoss { points })
    }

    /// The loss factor at `amplitude`, in the unit of the points.
    ///
    /// By hand: 0.01 at 1 um and 0.04 at 100 um make 0.02 at 10 um.
    pub fn at(&self, amplitude: f64) -> f64 {
        let after = self.points.partition_point(|point| point.amplitude <= amplitude);
        let upper = self.points[after.min(self.points.len() - 1)];
        let lower = self.points[after.saturating_sub(1)];
        if lower.amplitude == upper.amplitude {
            return lower.loss;
        }
        let along = (amplitude / lower.amplitude).ln() / (upper.amplitude / lower.amplitude).ln();
        lower.loss * (upper.loss / lower.loss).powf(along)
    }

    /// The stated points, rising in amplitude.
    pub fn points(&self) -> &[LossAt] {
        &self.points
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two() -> AmplitudeLoss {
        let points = vec![LossAt { amplitude: 1e-4, loss: 0.04 }, LossAt { amplitude: 1e-6, loss: 0.01 }];
        AmplitudeLoss::new(points).unwrap()
    }

    #[test]
    fn a_power_between_the_points_and_constant_beyond() {
        approx::assert_relative_eq!(two().at(1e-5), 0.02, max_relative = 1e-12);
        assert_eq!((two().at(1e-9), two().at(1.0), two().at(0.0)), (0.01, 0.04, 0.01));
        assert_eq!((two().at(1e-6), two().at(1e-4)), (0.01, 0.04));
        let one = AmplitudeLoss::new(vec![LossAt { amplitude: 1e-6, loss: 0.01 }]).unwrap();
        assert_eq!((one.at(1e-7), one.at(1e-5)), (0.01, 0.01));
    }

    #[test]
    fn what_cannot_be_drawn_is_refused() {
        let refused = |points: &[(f64, f64)]| {
            let points = points.iter().map(|(amplitude, loss)| LossAt { amplitude: *amplitude, loss: *loss });
            AmplitudeLoss::new(points.collect()).unwrap_err()
        };
        assert!(refused(&[]).contains("no loss"));
        assert!(refused(&[(1e-6, 0.0)]).contains("a loss of 0;"));
        assert!(refused(&[(-1.0, 0.1)]).contains("an amplitude of -1;"));
        assert!(refused(&[(1e-6, 0.1), (1e-6, 0.2)]).contains("0.1 and 0.2"));
    }
}
