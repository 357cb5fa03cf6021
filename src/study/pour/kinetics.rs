//! How fast a binder cures, and how warm it gets when no heat leaves it.
//!
//! ```text
//! d(alpha)/dt = A exp(-theta/T) (alpha + s)^m (1 - alpha)^n        theta = Ea/R
//! T = T0 + dT alpha,    dT = w H / c                               no heat leaves
//! ```
//!
//! alpha is the conversion, w the binder's share by weight, H its heat of reaction, c the heat
//! capacity of the mix. Left out: the glass that stops a cold cure short of the end.
//!
//! # Source
//! - `kamal1973`: autocatalytic form; orders 0.5 and 1.5 and the seed are usual values, from memory

use crate::material::{Material, MissingProperty, Property};
use crate::quantity::Draw;

/// Temperature at which the table states working times, K.
const REFERENCE: f64 = 298.15;

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
    /// s, what starts a cure that feeds on itself.
    pub seed: f64,
}

impl Kinetics {
    /// The kinetics of a binder in the table, with the usual orders.
    ///
    /// # Errors
    /// When its rate constant or its activation temperature is not known.
    pub fn of(binder: &Material) -> Result<Kinetics, MissingProperty> {
        let draw = Draw::default();
        Ok(Kinetics {
            rate_constant: binder.need(Property::RateConstant, &draw)?,
            activation_temperature: binder.need(Property::ActivationTemperature, &draw)?,
            start_order: 0.5,
            end_order: 1.5,
            seed: 0.01,
        })
    }

    /// Rate at conversion `alpha` and temperature `t` (K), 1/s.
    pub fn rate(&self, alpha: f64, t: f64) -> f64 {
        if alpha >= 1.0 {
            return 0.0;
        }
        self.arrhenius(t) * self.drive(alpha)
    }

    /// Change of the rate with conversion (1/s) and with temperature (1/(s K)).
    pub(super) fn slopes(&self, alpha: f64, t: f64) -> (f64, f64) {
        if alpha >= 1.0 {
            return (0.0, 0.0);
        }
        let (begun, left) = ((alpha + self.seed).max(1e-12), (1.0 - alpha).max(1e-9));
        let rate = self.rate(alpha, t);
        let with_conversion = rate * (self.start_order / begun - self.end_order / left);
        (with_conversion, rate * self.activation_temperature / (t * t))
    }

    /// The rate with its dependence on temperature taken off.
    fn drive(&self, alpha: f64) -> f64 {
        (alpha + self.seed).max(0.0).powf(self.start_order) * (1.0 - alpha).powf(self.end_order)
    }

    fn arrhenius(&self, t: f64) -> f64 {
        self.rate_constant * (-self.activation_temperature / t).exp()
    }

    /// Time from mixing at `start` (K) to each of the rising conversions `marks`, s, when the mix
    /// warms by `rise` (K) in all and no heat leaves it; a rise of 0 is a cure at one temperature.
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

    /// The highest rate of a cure at the temperature `t` (K), 1/s.
    pub fn highest_rate(&self, t: f64) -> f64 {
        let (m, n) = (self.start_order, self.end_order);
        let alpha = if m + n > 0.0 { (m - n * self.seed) / (m + n) } else { 0.0 };
        self.rate(alpha.clamp(0.0, 1.0), t)
    }

    /// A working time stated at 25 degC, at the temperature `t` (K).
    pub fn working_time(&self, stated: f64, t: f64) -> f64 {
        stated * (self.activation_temperature * (1.0 / t - 1.0 / REFERENCE)).exp()
    }
}

/// Temperature rise when no heat leaves: binder share by weight, heat of reaction in J/kg of
/// binder and heat capacity of the mix in J/(kg K) to K.
///
/// 12 % of a binder of 400 J/g in a mix of 872 J/(kg K) warms by 55 K.
pub fn adiabatic_rise(binder_share: f64, heat_of_reaction: f64, heat_capacity: f64) -> f64 {
    binder_share * heat_of_reaction / heat_capacity
}

/// Integral of `f` by Gauss's rule of five points in 64 equal pieces.
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
    use crate::material::GEL;
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
        let (with_conversion, with_temperature) = CURE.slopes(alpha, t);
        let d = 1e-5;
        let change = (CURE.rate(alpha + d, t) - CURE.rate(alpha - d, t)) / (2.0 * d);
        assert_relative_eq!(with_conversion, change, max_relative = 1e-6);
        let change = (CURE.rate(alpha, t + d) - CURE.rate(alpha, t - d)) / (2.0 * d);
        assert_relative_eq!(with_temperature, change, max_relative = 1e-6);
    }

    #[test]
    fn warmth_shortens_the_working_time() {
        let cold = CURE.working_time(3600.0, 288.15);
        assert!(cold > 1.8 * 3600.0);
        assert_relative_eq!(CURE.working_time(3600.0, 298.15), 3600.0);
    }

    #[test]
    fn the_highest_rate_is_the_highest() {
        let highest = CURE.highest_rate(300.0);
        for i in 0..100 {
            assert!(CURE.rate(f64::from(i) / 100.0, 300.0) <= highest);
        }
    }

    #[test]
    fn a_cup_of_the_binders_of_the_table_gels_at_the_end_of_their_working_time() {
        let table = crate::material::Table::built_in();
        for name in ["epoxy", "epoxy, slow casting", "polyester"] {
            let binder = table.get(name).unwrap();
            let need = |property| binder.need(property, &Draw::default()).unwrap();
            let rise = adiabatic_rise(1.0, need(Property::HeatOfReaction), need(Property::HeatCapacity));
            let gel = Kinetics::of(binder).unwrap().times(298.15, rise, &[GEL])[0];
            let part = gel / need(Property::PotLife);
            assert!((0.7..1.4).contains(&part), "{name}: {part}");
        }
    }
}
