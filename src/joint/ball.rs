//! How stiff is a ball in a groove, as under a mount of three balls in three grooves?
//!
//! ```text
//! δ³ = 9 F² / (16 E*² R)      dF/dδ = (6 E*² R F)^(1/3)      1/E* = (1 - ν₁²)/E₁ + (1 - ν₂²)/E₂
//! along the face of contact   2 (1 - ν)/(2 - ν) of that, until it slips
//! ```
//!
//! A groove of 90° has two faces at 45°; a load W presses each with W/√2. Along the groove the ball is held by friction
//! alone, so that a light preload or a shock lets it slip. Three grooves that meet in one point are together alike in
//! every direction of their plane.
//!
//! # Source
//! - `johnson1985`: chapter 4, Hertz
//! - `mindlin1949`: along the face
//! - `slocum1992`: chapter 7, kinematic couplings

use super::half_space::HalfSpace;
use std::f64::consts::SQRT_2;

/// A ball of `radius`, m, on a flat face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ball {
    /// Radius, m.
    pub radius: f64,
    /// What the ball is of.
    pub ball: HalfSpace,
    /// What the face is of.
    pub face: HalfSpace,
}

impl Ball {
    /// E*, Pa.
    fn modulus(&self) -> f64 {
        let give = |of: &HalfSpace| (1.0 - of.poissons_ratio.powi(2)) / of.youngs_modulus.re;
        1.0 / (give(&self.ball) + give(&self.face))
    }

    /// How far the ball sinks under `force`, N, on one face: m.
    #[must_use]
    pub fn approach(&self, force: f64) -> f64 {
        (9.0 * force * force / (16.0 * self.modulus().powi(2) * self.radius)).cbrt()
    }

    /// Tangent stiffness across one face under `force`, N: N/m.
    #[must_use]
    pub fn stiffness(&self, force: f64) -> f64 {
        (6.0 * self.modulus().powi(2) * self.radius * force.max(0.0)).cbrt()
    }

    /// Largest pressure on one face under `force`, N: Pa.
    ///
    /// ```text
    /// p = (6 F E*² / (π³ R²))^(1/3)
    /// ```
    #[must_use]
    pub fn pressure(&self, force: f64) -> f64 {
        let cube = 6.0 * force.max(0.0) * self.modulus().powi(2);
        (cube / (std::f64::consts::PI.powi(3) * self.radius.powi(2))).cbrt()
    }

    /// Stiffness of the ball in a groove of 90° under a `load`, N, that presses it in: up, across the groove, along it,
    /// N/m.
    #[must_use]
    pub fn in_groove(&self, load: f64) -> [f64; 3] {
        let push = self.stiffness(load / SQRT_2);
        let nu = 0.5 * (self.ball.poissons_ratio + self.face.poissons_ratio);
        let slide = push * 2.0 * (1.0 - nu) / (2.0 - nu);
        // Two faces at 45°: half of the squares of the sines of each.
        [push + slide, push + slide, 2.0 * slide]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use num_complex::Complex64;

    fn ball(e: f64, nu: f64) -> Ball {
        let of = HalfSpace { youngs_modulus: Complex64::new(e, 0.0), poissons_ratio: nu };
        Ball { radius: 0.01, ball: of, face: of }
    }

    #[test]
    fn hertz_by_hand() {
        // johnson1985: F = 4/3 E* √R δ^1.5, E* = 210e9/(2 x 0.91) for steel on steel.
        let steel = ball(210e9, 0.3);
        let star = 210e9 / 1.82;
        let depth = steel.approach(100.0);
        assert_relative_eq!(4.0 / 3.0 * star * 0.1 * depth.powf(1.5), 100.0, max_relative = 1e-12);
        assert_relative_eq!(steel.stiffness(100.0), 1.5 * 100.0 / depth, max_relative = 1e-12);
        // p = 1.5 F/(π a²), a² = R δ.
        let p = 150.0 / (std::f64::consts::PI * 0.01 * depth);
        assert_relative_eq!(steel.pressure(100.0), p, max_relative = 1e-12);
        assert_eq!(steel.stiffness(0.0), 0.0);
    }

    #[test]
    fn a_carbide_coupling_is_as_stiff_as_is_printed() {
        // Schouten, Rosielle and Schellekens 1997: more than 100 N/µm at 1500 N of preload; three balls share it.
        let carbide = ball(600e9, 0.22);
        let one = carbide.in_groove(500.0);
        assert!(3.0 * one[0] > 1e8 && 1.5 * (one[1] + one[2]) > 1e8, "{one:?}");
    }
}
