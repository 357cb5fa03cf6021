//! The value of an uncertain quantity at a given probability.
//!
//! The nominal value is the median; 5 % of the probability lies below `low`, 5 % above `high`. Each side has
//! its own width:
//!
//! ```text
//! normal      x = value + (value - low) z / z95   for z < 0,   value + (high - value) z / z95   above
//! log-normal  the same of ln x
//! ```
//!
//! with `z` the standard normal quantile and `z95 = 1.6449`. A value beyond a physical limit is set to that
//! limit, which keeps the median and, where they are physical, both stated limits.

use std::f64::consts::{FRAC_1_SQRT_2, PI};
use stillbed_input::document::{Law, Uncertain};

/// The standard normal quantile of 95 %.
pub const NINETY_FIVE: f64 = 1.644_853_626_951_472_2;

/// The value of `quantity` at the cumulative probability `chance`, between 0 and 1.
#[must_use]
pub fn value_at(quantity: &Uncertain, chance: f64) -> f64 {
    let spread = &quantity.spread;
    if spread.is_exact() {
        return spread.value;
    }
    let z = normal_quantile(chance) / NINETY_FIVE;
    let end = if z < 0.0 { spread.low } else { spread.high };
    let x = match quantity.law {
        Law::LogNormal if spread.low > 0.0 => spread.value * (end / spread.value).powf(z.abs()),
        _ => spread.value + (end - spread.value) * z.abs(),
    };
    let (least, most) = physical(quantity);
    x.clamp(least, most)
}

/// The least and the greatest physical value of the quantity.
///
/// A bond lies between 0 and 1. Poisson's ratio stays below that of an incompressible body. A quantity whose
/// stated values are all positive stays positive: it is cut at `low^2 / value`, twice as far below the median
/// in ratio as `low`, which cuts off one case in two thousand of the log-normal law.
fn physical(quantity: &Uncertain) -> (f64, f64) {
    let spread = &quantity.spread;
    let last = quantity.key.rsplit('.').next().unwrap_or_default();
    let most = match last {
        "bond" => 1.0,
        "poissons_ratio" => 0.495,
        "air" => 0.6,
        _ => f64::INFINITY,
    };
    let least = if spread.low >= 0.0 && spread.value > 0.0 {
        spread.low * spread.low / spread.value
    } else if spread.low == 0.0 {
        0.0
    } else {
        f64::NEG_INFINITY
    };
    // Limits stated beyond a physical limit are rejected when the design is read; here they only widen.
    (least, most.max(spread.high))
}

/// The standard normal quantile at the cumulative probability `chance`.
///
/// Newton's method from the median: the distribution is concave above it, so the steps rise to the root
/// without passing it. Probabilities are limited to 1e-15 to 1 - 1e-15.
#[must_use]
pub fn normal_quantile(chance: f64) -> f64 {
    let tail = chance.min(1.0 - chance).clamp(1e-15, 0.5);
    let mut z = 0.0;
    for _ in 0..60 {
        let step = (upper_tail(z) - tail) / ((-0.5 * z * z).exp() / (2.0 * PI).sqrt());
        z += step;
        if step.abs() < 1e-15 * z {
            break;
        }
    }
    if chance < 0.5 { -z } else { z }
}

/// The probability that a standard normal quantity exceeds `z`, which is not negative.
///
/// Near the median by the series of the integral of the density, far out by its continued fraction.
///
/// ```text
/// Q(z) = 1/2 - f(z) (z + z^3/3 + z^5/15 + ...)        f(z) = exp(-z^2/2) / sqrt(2 pi)
/// Q(z) = f(z) / (z + 1/(z + 2/(z + 3/(z + ...))))
/// ```
fn upper_tail(z: f64) -> f64 {
    let density = FRAC_1_SQRT_2 / PI.sqrt() * (-0.5 * z * z).exp();
    if z < 2.5 {
        let (mut term, mut sum, mut odd) = (z, z, 1.0);
        while term > 1e-17 * sum {
            odd += 2.0;
            term *= z * z / odd;
            sum += term;
        }
        return 0.5 - density * sum;
    }
    let fraction = (1..=100).rev().fold(z, |fraction, n| z + f64::from(n) / fraction);
    density / fraction
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use stillbed_input::quantity::Spread;

    fn uncertain(key: &str, value: f64, low: f64, high: f64, law: Law) -> Uncertain {
        Uncertain {
            key: key.to_string(),
            spread: Spread::between(value, low, high),
            kind: stillbed_input::quantity::Kind::Ratio,
            law,
        }
    }

    #[test]
    fn quantiles_of_the_normal_law() {
        // From a general-purpose library (scipy.stats.norm.ppf).
        for (chance, z) in [
            (0.5, 0.0),
            (0.95, 1.644_853_626_951_472_2),
            (0.975, 1.959_963_984_540_054),
            (0.6, 0.253_347_103_135_799_7),
            (0.999, 3.090_232_306_167_813_6),
            (1e-6, -4.753_424_308_822_899),
        ] {
            approx::assert_abs_diff_eq!(normal_quantile(chance), z, epsilon = 1e-11);
        }
        approx::assert_relative_eq!(upper_tail(2.4999999), upper_tail(2.5000001), max_relative = 1e-5);
    }

    #[test]
    fn median_and_limits_are_as_stated() {
        for law in [Law::Normal, Law::LogNormal] {
            let loss = uncertain("materials.mine.loss_factor", 0.02, 0.01, 0.05, law);
            approx::assert_relative_eq!(value_at(&loss, 0.5), 0.02, max_relative = 1e-12);
            approx::assert_relative_eq!(value_at(&loss, 0.05), 0.01, max_relative = 1e-12);
            approx::assert_relative_eq!(value_at(&loss, 0.95), 0.05, max_relative = 1e-12);
        }
    }

    #[test]
    fn what_is_not_physical_is_not_drawn() {
        let bond = uncertain("builds.cast.sections.rail.bond", 0.9, 0.6, 1.0, Law::Normal);
        assert_eq!(value_at(&bond, 0.999), 1.0);
        let poisson = uncertain("materials.mine.poissons_ratio", 0.45, 0.4, 0.49, Law::Normal);
        assert!(value_at(&poisson, 0.999_999) < 0.5);
        let wall = uncertain("wall", 1e-3, 1e-4, 2e-3, Law::Normal);
        assert!(value_at(&wall, 1e-9) > 0.0);
        let none = uncertain("loss", 0.01, 0.0, 0.1, Law::Normal);
        assert_eq!(value_at(&none, 1e-3), 0.0);
        let swing = uncertain("offset", 0.0, -1.0, 1.0, Law::Normal);
        assert!(value_at(&swing, 0.01) < -1.0);
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn a_higher_chance_is_a_higher_value(a in 1e-6..1.0f64, b in 1e-6..1.0f64, low in 0.1..1.0f64) {
            let quantity = uncertain("e", 1.0, low, 3.0, Law::LogNormal);
            let (below, above) = (a.min(b), a.max(b));
            prop_assert!(value_at(&quantity, below) <= value_at(&quantity, above));
        }

        #[test]
        fn quantile_inverts_the_tail(z in 0.0..7.0f64) {
            prop_assert!((normal_quantile(upper_tail(z)) + z).abs() < 1e-8);
        }
    }
}
