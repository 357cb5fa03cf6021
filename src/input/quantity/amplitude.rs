//! A loss factor that depends on the amplitude of motion, as of joints that rub and feet that creep.
//!
//! Between two stated amplitudes the loss factor is linear in the logarithm of the amplitude; outside
//! them it is constant:
//!
//! ```text
//! eta(a) = eta_1 + (eta_2 - eta_1) ln(a / a_1) / ln(a_2 / a_1)       a_1 <= a <= a_2
//! ```
//!
//! One amplitude applies to all joints and feet of an answer; the actual motion of each of them is not
//! followed.
//!
//! # Source
//! - `lazan1968`: damping that depends on the amplitude; the even change is common practice

use super::{Draw, Spread};

/// The loss factor of a joint or a foot.
#[derive(Debug, Clone, PartialEq)]
pub enum Loss {
    /// The same at every amplitude.
    Same(Spread),
    /// Stated at one or two amplitudes.
    Over(AmplitudeLoss),
    /// Not stated, taken as 0.
    Unstated,
}

/// A loss factor measured at one amplitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossAt {
    /// Amplitude of the motion, m; more than zero.
    pub amplitude: f64,
    /// Loss factor there.
    pub loss: Spread,
}

/// A loss factor as a function of amplitude.
#[derive(Debug, Clone, PartialEq)]
pub struct AmplitudeLoss {
    first: LossAt,
    second: LossAt,
}

impl Loss {
    /// The loss factor in `draw` at `amplitude`, m; `None` means an amplitude below all stated ones.
    pub fn at(&self, amplitude: Option<f64>, draw: &Draw) -> f64 {
        match self {
            Loss::Same(loss) => loss.at(draw),
            Loss::Over(loss) => loss.at(amplitude.unwrap_or(0.0), draw),
            Loss::Unstated => 0.0,
        }
    }

    /// The amplitudes at which it is stated, m; none where it does not depend on amplitude.
    pub fn amplitudes(&self) -> Vec<f64> {
        match self {
            Loss::Same(_) | Loss::Unstated => Vec::new(),
            Loss::Over(loss) => vec![loss.first.amplitude, loss.second.amplitude],
        }
    }

    /// The largest stated value.
    pub fn largest(&self) -> f64 {
        match self {
            Loss::Same(loss) => loss.value,
            Loss::Over(loss) => loss.first.loss.value.max(loss.second.loss.value),
            Loss::Unstated => 0.0,
        }
    }

    /// The stated loss factors: one, or one at each amplitude.
    pub fn stated(&self) -> Vec<Spread> {
        match self {
            Loss::Same(loss) => vec![*loss],
            Loss::Over(loss) if loss.first == loss.second => vec![loss.first.loss],
            Loss::Over(loss) => vec![loss.first.loss, loss.second.loss],
            Loss::Unstated => Vec::new(),
        }
    }
}

impl AmplitudeLoss {
    /// The loss factor through `first` and `second`, in order of rising amplitude; where only one point
    /// is known both are that point. `None` when the amplitudes do not rise.
    pub fn new(first: LossAt, second: LossAt) -> Option<AmplitudeLoss> {
        let rising = first.amplitude > 0.0 && (first == second || first.amplitude < second.amplitude);
        rising.then_some(AmplitudeLoss { first, second })
    }

    /// The loss factor in `draw` at `amplitude`, m.
    ///
    /// By hand: 0.01 at 1 um and 0.04 at 100 um make 0.025 at 10 um.
    pub fn at(&self, amplitude: f64, draw: &Draw) -> f64 {
        let (first, second) = (self.first.loss.at(draw), self.second.loss.at(draw));
        if amplitude <= self.first.amplitude {
            return first;
        }
        if amplitude >= self.second.amplitude {
            return second;
        }
        let along =
            (amplitude / self.first.amplitude).ln() / (self.second.amplitude / self.first.amplitude).ln();
        first + (second - first) * along
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(amplitude: f64, loss: f64) -> LossAt {
        LossAt { amplitude, loss: Spread::exact(loss) }
    }

    #[test]
    fn even_in_the_logarithm_between_the_points_and_constant_beyond() {
        let loss = Loss::Over(AmplitudeLoss::new(point(1e-6, 0.01), point(1e-4, 0.04)).unwrap());
        let at = |amplitude| loss.at(amplitude, &Draw::default());
        approx::assert_relative_eq!(at(Some(1e-5)), 0.025, max_relative = 1e-12);
        assert_eq!((at(Some(1e-9)), at(Some(1.0)), at(None)), (0.01, 0.04, 0.01));
        assert_eq!((at(Some(1e-6)), at(Some(1e-4))), (0.01, 0.04));
        assert_eq!((loss.largest(), loss.amplitudes()), (0.04, vec![1e-6, 1e-4]));
        assert_eq!(loss.stated(), [Spread::exact(0.01), Spread::exact(0.04)]);
    }

    #[test]
    fn what_is_not_stated_loses_nothing() {
        let loss = Loss::Unstated;
        assert_eq!((loss.at(Some(1e-6), &Draw::default()), loss.largest()), (0.0, 0.0));
        assert!(loss.amplitudes().is_empty() && loss.stated().is_empty());
    }

    #[test]
    fn one_amplitude_is_no_change() {
        let loss = AmplitudeLoss::new(point(1e-6, 0.01), point(1e-6, 0.01)).unwrap();
        assert_eq!((loss.at(1e-7, &Draw::default()), loss.at(1e-5, &Draw::default())), (0.01, 0.01));
        assert_eq!(AmplitudeLoss::new(point(1e-6, 0.01), point(1e-6, 0.02)), None);
        assert_eq!(AmplitudeLoss::new(point(1e-5, 0.01), point(1e-6, 0.02)), None);
    }

    #[test]
    fn both_losses_are_drawn() {
        let drawn = |index, value| Spread { index: Some(index), ..Spread::exact(value) };
        let first = LossAt { amplitude: 1e-6, loss: drawn(0, 0.01) };
        let second = LossAt { amplitude: 1e-4, loss: drawn(1, 0.04) };
        let draw = Draw { values: vec![0.02, 0.1] };
        let loss = AmplitudeLoss::new(first, second).unwrap();
        approx::assert_relative_eq!(loss.at(1e-5, &draw), 0.06, max_relative = 1e-12);
    }
}
