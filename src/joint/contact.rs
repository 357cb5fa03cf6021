//! How far do two flat faces approach under pressure, and how stiff are they there?
//!
//! ```text
//! δ = C pᵐ        dp/dδ = p^(1 - m) / (C m)
//! ```
//!
//! The stiffness is the tangent, not p/δ: the two differ by the factor 1/m. It belongs to roughness and waviness;
//! the elastic give of what lies behind the faces is not in it. Along the faces, before they slip, a joint has a part
//! of that stiffness.
//!
//! # Source
//! - `ito2008`: equations 6-1 and 6-2, after Ostrovskii and Levina

/// The law of a pair of flat faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlatContact {
    /// C, m/Paᵐ.
    pub coefficient: f64,
    /// m.
    pub exponent: f64,
}

impl FlatContact {
    /// The law that a table prints with `coefficient` in m at a pressure of one `unit`, Pa.
    ///
    /// By hand: 0.9 µm at 1 kgf/cm² and m = 0.5 is 0.9e-6/√98066.5 m/Pa^0.5.
    #[must_use]
    pub fn printed(coefficient: f64, unit: f64, exponent: f64) -> FlatContact {
        FlatContact { coefficient: coefficient / unit.powf(exponent), exponent }
    }

    /// How far the faces approach under `pressure`, Pa: m.
    #[must_use]
    pub fn approach(&self, pressure: f64) -> f64 {
        self.coefficient * pressure.powf(self.exponent)
    }

    /// Tangent stiffness per area under `pressure`, Pa: N/m³. Without pressure it is 0.
    #[must_use]
    pub fn stiffness(&self, pressure: f64) -> f64 {
        if pressure <= 0.0 {
            return 0.0;
        }
        pressure.powf(1.0 - self.exponent) / (self.coefficient * self.exponent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn printed_constants_give_the_stiffnesses_worked_from_them() {
        // ito2008, table 6-2 in kgf/cm² and table 6-5 in MPa, with equation 6-2.
        let kgf = 98066.5;
        let scraped = FlatContact::printed(0.9e-6, kgf, 0.5);
        assert_relative_eq!(scraped.stiffness(10.0 * kgf), 6.89141e11, max_relative = 1e-6);
        assert_relative_eq!(scraped.stiffness(2.0 * kgf), 3.08193e11, max_relative = 1e-6);
        let ground = FlatContact::printed(0.65e-6, kgf, 0.45);
        assert_relative_eq!(ground.stiffness(10.0 * kgf), 1.18958e12, max_relative = 3e-6);
        let steel = FlatContact::printed(0.046e-6, 1e6, 0.48);
        assert_relative_eq!(steel.stiffness(1e7), 1.49969e14, max_relative = 2e-6);
    }

    #[test]
    fn faces_that_are_not_pressed_hold_nothing() {
        assert_eq!(FlatContact::printed(0.9e-6, 1e6, 0.5).stiffness(0.0), 0.0);
        assert_eq!(FlatContact::printed(0.9e-6, 1e6, 0.5).stiffness(-1.0), 0.0);
    }

    proptest! {
        /// The stiffness is the slope of the law, and grows with the pressure.
        #[test]
        fn the_stiffness_is_the_slope(c in 1e-8f64..1e-5, m in 0.2f64..0.9, p in 1e4f64..1e8) {
            let law = FlatContact::printed(c, 1e6, m);
            let slope = 2e-4 * p / (law.approach(1.0001 * p) - law.approach(0.9999 * p));
            prop_assert!((law.stiffness(p) / slope - 1.0).abs() < 1e-6);
            prop_assert!(law.stiffness(2.0 * p) > law.stiffness(p));
        }
    }
}
