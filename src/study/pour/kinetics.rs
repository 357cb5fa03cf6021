//! Rate of cure of a binder, and its temperature when no heat leaves.
//!
//! ```text
//! d(alpha)/dt = A exp(-theta/T) (alpha + s)^m (1 - alpha)^n        theta = Ea/R
//! T = T0 + dT alpha,    dT = w H / c                               no heat leaves
//! ```
//!
//! alpha is the conversion, w the binder's share by weight, H its heat of reaction, c the heat capacity of
//! the mix. Left out: vitrification, which stops a cold cure before its end.
//!
//! # Source
//! - `kamal1973`: autocatalytic form; orders 0.5 and 1.5 and the seed are usual values, from memory

use stillbed_input::quantity::Draw;
use stillbed_material::{Material, MissingProperty, Property};

/// Temperature at which makers and the table state working times, K.
pub(super) const REFERENCE: f64 = 298.15;

/// Rate of a cure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kinetics {
    /// A, 1/s.
    pub rate_constant: f64,
    /// theta, activation energy over the gas constant, K.
    pub activation_temperature: f64,
    /// m.
    pub start_order: f64,
    /// n.
    pub end_order: f64,
    /// s, the seed of an autocatalytic cure.
    pub seed: f64,
}

impl Kinetics {
    /// The kinetics of a binder in `draw`, with the usual orders.
    ///
    /// Rates are known at room temperature: a draw of the rate constant scales the rate at 25 degC, and a
    /// draw of the activation temperature leaves that rate as it is.
    ///
    /// # Errors
    /// When its rate constant or its activation temperature is not known.
    pub fn of(binder: &Material, draw: &Draw) -> Result<Kinetics, MissingProperty> {
        let stated = binder.need(Property::ActivationTemperature, &Draw::default())?;
        let drawn = binder.need(Property::ActivationTemperature, draw)?;
        let constant = binder.need(Property::RateConstant, draw)?;
        Ok(Kinetics::usual(constant, stated).turned(drawn))
    }

    /// The usual orders with a rate constant (1/s) and an activation temperature (K).
    pub(super) fn usual(rate_constant: f64, activation_temperature: f64) -> Kinetics {
        Kinetics { rate_constant, activation_temperature, start_order: 0.5, end_order: 1.5, seed: 0.01 }
    }

    /// The same rate at 25 degC with another activation temperature (K).
    pub(super) fn turned(self, activation_temperature: f64) -> Kinetics {
        let more = (activation_temperature - self.activation_temperature) / REFERENCE;
        Kinetics { rate_constant: self.rate_constant * more.exp(), activation_temperature, ..self }
    }

    /// Rate at conversion `alpha` and temperature `t` (K), 1/s.
    #[must_use]
    pub fn rate(&self, alpha: f64, t: f64) -> f64 {
        self.rate_and_slopes(alpha, t).0
    }

    /// The rate (1/s), and its derivatives by conversion (1/s) and by temperature (1/(s K)).
    pub(super) fn rate_and_slopes(&self, alpha: f64, t: f64) -> (f64, f64, f64) {
        if alpha >= 1.0 {
            return (0.0, 0.0, 0.0);
        }
        let (begun, left) = ((alpha + self.seed).max(1e-12), (1.0 - alpha).max(1e-9));
        let arrhenius = self.rate_constant * (-self.activation_temperature / t).exp();
        let rate = arrhenius * power(begun, self.start_order) * power(left, self.end_order);
        let with_conversion = rate * (self.start_order / begun - self.end_order / left);
        (rate, with_conversion, rate * self.activation_temperature / (t * t))
    }

    /// Times from mixing at `start` (K) to each of the rising conversions `marks`, s, when no heat leaves and
    /// the full cure warms the mix by `rise` (K); a rise of 0 is an isothermal cure.
    #[must_use]
    pub fn times(&self, start: f64, rise: f64, marks: &[f64]) -> Vec<f64> {
        let slowness = |alpha: f64| 1.0 / self.rate(alpha, start + rise * alpha);
        let (mut time, mut from) = (0.0, 0.0);
        marks
            .iter()
            .map(|mark| {
                time += integral(&slowness, from, *mark);
                from = *mark;
                time
            })
            .collect()
    }

    /// The highest rate of a cure at the constant temperature `t` (K), 1/s.
    #[must_use]
    pub fn highest_rate(&self, t: f64) -> f64 {
        let (m, n) = (self.start_order, self.end_order);
        let alpha = if m + n > 0.0 { (m - n * self.seed) / (m + n) } else { 0.0 };
        self.rate(alpha.clamp(0.0, 1.0), t)
    }

    /// Rate at the temperature `t` (K) relative to that at 25 degC.
    #[must_use]
    pub fn haste(&self, t: f64) -> f64 {
        (self.activation_temperature * (1.0 / REFERENCE - 1.0 / t)).exp()
    }
}

/// `x` to the power `order`; the usual orders are roots, which compute quickly.
fn power(x: f64, order: f64) -> f64 {
    if order == 0.5 {
        x.sqrt()
    } else if order == 1.5 {
        x * x.sqrt()
    } else {
        x.powf(order)
    }
}

/// Temperature rise when no heat leaves, K, from the binder's share by weight, its heat of reaction in J/kg
/// and the heat capacity of the mix in J/(kg K).
///
/// 12 % of a binder of 400 J/g in a mix of 872 J/(kg K) warms by 55 K.
#[must_use]
pub fn adiabatic_rise(binder_share: f64, heat_of_reaction: f64, heat_capacity: f64) -> f64 {
    binder_share * heat_of_reaction / heat_capacity
}

/// Integral of `f` by the five-point Gauss rule in 64 equal intervals.
fn integral(f: &impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    const RULE: [(f64, f64); 5] = [
        (0.0, 0.568_888_888_888_888_9),
        (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
        (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
        (0.906_179_845_938_664, 0.236_926_885_056_189_1),
    ];
    let half = (to - from) / 128.0;
    let piece = |i: usize| {
        let middle = from + half * (2 * i + 1) as f64;
        RULE.iter().map(|(x, weight)| weight * f(middle + half * x)).sum::<f64>() * half
    };
    (0..64).map(piece).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const CURE: Kinetics = Kinetics {
        rate_constant: 5e5,
        activation_temperature: 58e3 / 8.314_462_618,
        start_order: 0.5,
        end_order: 1.5,
        seed: 0.01,
    };

    #[test]
    fn slopes_are_those_of_the_rate() {
        let (alpha, t) = (0.4, 310.0);
        let (_, with_conversion, with_temperature) = CURE.rate_and_slopes(alpha, t);
        let d = 1e-5;
        let change = (CURE.rate(alpha + d, t) - CURE.rate(alpha - d, t)) / (2.0 * d);
        assert_relative_eq!(with_conversion, change, max_relative = 1e-6);
        let change = (CURE.rate(alpha, t + d) - CURE.rate(alpha, t - d)) / (2.0 * d);
        assert_relative_eq!(with_temperature, change, max_relative = 1e-6);
    }

    #[test]
    fn warmth_hastens_a_cure() {
        assert!(CURE.haste(288.15) < 1.0 / 1.8);
        assert_relative_eq!(CURE.haste(298.15), 1.0);
        let (warm, cold) = (CURE.rate(0.2, 303.15), CURE.rate(0.2, 298.15));
        assert_relative_eq!(CURE.haste(303.15), warm / cold, max_relative = 1e-12);
    }

    #[test]
    fn the_highest_rate_is_the_highest() {
        let highest = CURE.highest_rate(300.0);
        for i in 0..100 {
            assert!(CURE.rate(f64::from(i) / 100.0, 300.0) <= highest);
        }
    }

    #[test]
    fn another_activation_energy_leaves_the_rate_of_the_reference_alone() {
        let turned = CURE.turned(8000.0);
        assert_relative_eq!(turned.rate(0.3, REFERENCE), CURE.rate(0.3, REFERENCE), max_relative = 1e-12);
        assert!(turned.rate(0.3, 333.15) > CURE.rate(0.3, 333.15));
    }

    #[test]
    fn powers_are_powers() {
        for order in [0.0, 0.5, 1.0, 1.5, 2.2] {
            assert_relative_eq!(power(0.37, order), 0.37f64.powf(order), max_relative = 1e-14);
        }
    }
}
