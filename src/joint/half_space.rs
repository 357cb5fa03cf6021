//! How far does the face of a large block give under a foot?
//!
//! ```text
//! rigid disc of radius a, bonded or held by friction
//! along the normal  2 E a / (1 - ν²)      along the face  8 G a / (2 - ν)
//! tilt              8 G a³ / (3 (1 - ν))  twist           16 G a³ / 3
//!
//! even pressure p on a rectangle of sides a and b, over (1 - ν²) p √(a b) / E
//! mean  (2/π) [a asinh(b/a) + b asinh(a/b) + (a³ + b³ - (a² + b²)^1.5) / (3 a b)] / √(a b)
//! ```
//!
//! Along the normal and in tilt the disc slides freely on the face; what friction adds is a few per cent at ν = 0.25.
//!
//! # Source
//! - `johnson1985`: chapters 3 and 7, rigid discs
//! - `love1929`: even pressure on a rectangle

use num_complex::Complex64;
use std::f64::consts::PI;

/// The face of a large block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfSpace {
    /// Complex Young's modulus, Pa.
    pub youngs_modulus: Complex64,
    /// Poisson's ratio.
    pub poissons_ratio: f64,
}

impl HalfSpace {
    fn shear_modulus(&self) -> Complex64 {
        self.youngs_modulus / (2.0 * (1.0 + self.poissons_ratio))
    }

    /// Stiffness along the normal under a rigid disc of `radius`, m: N/m.
    ///
    /// By hand: 10 mm on steel of 210 GPa and ν = 0.3 is 4615 N/µm.
    #[must_use]
    pub fn push(&self, radius: f64) -> Complex64 {
        self.youngs_modulus * (2.0 * radius / (1.0 - self.poissons_ratio.powi(2)))
    }

    /// Stiffness along the face under a rigid disc of `radius`, m, that does not slip: N/m.
    #[must_use]
    pub fn slide(&self, radius: f64) -> Complex64 {
        self.shear_modulus() * (8.0 * radius / (2.0 - self.poissons_ratio))
    }

    /// Stiffness in tilt of a rigid disc of `radius`, m: N m/rad.
    #[must_use]
    pub fn tilt(&self, radius: f64) -> Complex64 {
        self.shear_modulus() * (8.0 * radius.powi(3) / (3.0 * (1.0 - self.poissons_ratio)))
    }

    /// Stiffness in twist of a rigid disc of `radius`, m, that does not slip: N m/rad.
    #[must_use]
    pub fn twist(&self, radius: f64) -> Complex64 {
        self.shear_modulus() * (16.0 * radius.powi(3) / 3.0)
    }

    /// Force over mean sink under an even pressure on a rectangle of `sides`, m: N/m.
    #[must_use]
    pub fn even_pressure(&self, sides: [f64; 2]) -> Complex64 {
        let root = (sides[0] * sides[1]).sqrt();
        self.youngs_modulus * (root / ((1.0 - self.poissons_ratio.powi(2)) * mean_sink(sides)))
    }
}

/// Mean sink under an even pressure p on a rectangle of `sides` a and b, over (1 - ν²) p √(a b) / E.
#[must_use]
pub fn mean_sink([a, b]: [f64; 2]) -> f64 {
    let diagonal = (a * a + b * b).powf(1.5);
    let sum = a * (b / a).asinh() + b * (a / b).asinh() + (a.powi(3) + b.powi(3) - diagonal) / (3.0 * a * b);
    2.0 / PI * sum / (a * b).sqrt()
}

/// The sink at the middle, in the same measure.
#[must_use]
pub fn middle_sink([a, b]: [f64; 2]) -> f64 {
    2.0 / PI * (a * (b / a).asinh() + b * (a / b).asinh()) / (a * b).sqrt()
}

/// The sink at a corner, in the same measure.
#[must_use]
pub fn corner_sink(sides: [f64; 2]) -> f64 {
    0.5 * middle_sink(sides)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const STEEL: HalfSpace = HalfSpace { youngs_modulus: Complex64::new(210e9, 210e7), poissons_ratio: 0.3 };

    #[test]
    fn a_rigid_disc_on_steel() {
        // johnson1985: 2 E a / (1 - ν²).
        assert_relative_eq!(STEEL.push(0.01).re / 1e6, 4615.38462, max_relative = 1e-8);
        // The loss of the block is that of the foot.
        assert_relative_eq!(STEEL.push(0.01).im / STEEL.push(0.01).re, 0.01, max_relative = 1e-12);
    }

    #[test]
    fn even_pressure_on_rectangles() {
        // love1929, worked to nine digits: mean and middle by the ratio of the sides.
        for (ratio, mean, middle) in [
            (1.0, 0.946402009, 1.1221997),
            (1.5, 0.93703883, 1.10845902),
            (2.0, 0.919524179, 1.08310714),
            (3.0, 0.881488961, 1.02944018),
            (5.0, 0.816416806, 0.941203155),
            (10.0, 0.710376527, 0.804575616),
        ] {
            assert_relative_eq!(mean_sink([ratio, 1.0]), mean, max_relative = 1e-8);
            assert_relative_eq!(mean_sink([0.02, 0.02 * ratio]), mean, max_relative = 1e-8);
            assert_relative_eq!(middle_sink([ratio, 1.0]), middle, max_relative = 1e-8);
        }
        assert_relative_eq!(corner_sink([3.0, 3.0]), 0.561099852, max_relative = 1e-8);
    }

    /// A disc under even pressure has a mean sink of 16/(3π) (1 - ν²) p a / E, 8 % above the π/2 of a rigid one; a square
    /// of the same area one of 0.946402009 √(a² π), by love1929, 6.8 % above.
    #[test]
    fn a_rigid_disc_is_stiffer_than_even_pressure_on_a_square_of_its_area() {
        let side = 0.01 * PI.sqrt();
        let ratio = STEEL.push(0.01).re / STEEL.even_pressure([side, side]).re;
        assert_relative_eq!(ratio, 2.0 * 0.946402009 / PI.sqrt(), max_relative = 1e-8);
        assert!(ratio > 1.06 && ratio < 32.0 / (3.0 * PI * PI));
    }

    #[test]
    fn stiffnesses_grow_as_the_radius_and_its_cube() {
        for (one, power) in [
            (HalfSpace::push as fn(&HalfSpace, f64) -> Complex64, 1),
            (HalfSpace::slide, 1),
            (HalfSpace::tilt, 3),
            (HalfSpace::twist, 3),
        ] {
            assert_relative_eq!(
                one(&STEEL, 0.02).re,
                2f64.powi(power) * one(&STEEL, 0.01).re,
                max_relative = 1e-12
            );
        }
        // Mindlin: along over across is 2 (1 - ν)/(2 - ν).
        let ratio = STEEL.slide(0.01).re / STEEL.push(0.01).re;
        assert_relative_eq!(ratio, 2.0 * 0.7 / 1.7, max_relative = 1e-12);
    }
}
