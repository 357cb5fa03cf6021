//! How stiff is a cushion of air?
//!
//! ```text
//! k = n p A² / V        p the absolute pressure, n the polytropic exponent
//! ```
//!
//! The area is taken as constant, and what rubber bellows add is left out. With n = 1.4 the air has no time to pass its
//! heat on, which holds above a few tenths of a hertz; very slowly n is 1.
//!
//! # Source
//! - `harris2002`: air springs

/// Pressure of the air around, Pa.
pub const ATMOSPHERE: f64 = 101_325.0;

/// A cushion of air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSpring {
    /// Pressure above that of the air around, Pa.
    pub gauge: f64,
    /// Effective area, m².
    pub area: f64,
    /// Volume of its air, m³.
    pub volume: f64,
    /// Polytropic exponent.
    pub exponent: f64,
}

impl AirSpring {
    /// Its stiffness, N/m.
    ///
    /// By hand: 5 bar above the air, 60 cm² and 0.3 l with n = 1.4 is 101 N/mm.
    #[must_use]
    pub fn stiffness(&self) -> f64 {
        self.exponent * (self.gauge + ATMOSPHERE) * self.area.powi(2) / self.volume
    }

    /// The load that it carries, N.
    #[must_use]
    pub fn load(&self) -> f64 {
        self.gauge * self.area
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn stiffness_by_hand_and_by_squeezing() {
        let air = AirSpring { gauge: 5e5, area: 60e-4, volume: 0.3e-3, exponent: 1.4 };
        assert_relative_eq!(air.stiffness(), 1.4 * 601325.0 * 36e-6 / 0.3e-3, max_relative = 1e-12);
        // p Vⁿ stays: the slope of the force over a small stroke.
        let force = |x: f64| {
            let p = 601325.0 * (air.volume / (air.volume - air.area * x)).powf(1.4);
            (p - ATMOSPHERE) * air.area
        };
        assert_relative_eq!((force(1e-7) - force(-1e-7)) / 2e-7, air.stiffness(), max_relative = 1e-6);
        assert_relative_eq!(force(0.0), air.load(), max_relative = 1e-12);
    }
}
