//! How stiff is rubber of a stated hardness?
//!
//! ```text
//! E = 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S)) MPa        S Shore A, 20 to 80
//! ```
//!
//! That is its static modulus at small strain, to a quarter. Bulk modulus and shape make pads stiffer
//! ([`super::Film`]); vibration makes them stiffer still, by a factor of the table.
//!
//! # Source
//! - `gent1958`: modulus from Shore hardness

/// Bulk modulus of rubber, Pa.
const BULK: f64 = 2e9;

/// Shore A hardnesses that the relation serves.
pub const HARDNESS: [f64; 2] = [20.0, 80.0];

/// Static Young's modulus of rubber of `hardness` Shore A, Pa.
///
/// By hand: 60 Shore A is 3.6 MPa.
#[must_use]
pub fn modulus(hardness: f64) -> f64 {
    1e6 * 0.0981 * (56.0 + 7.62336 * hardness) / (0.137505 * (254.0 - 2.54 * hardness))
}

/// Poisson's ratio of rubber of Young's `modulus`, Pa.
///
/// ```text
/// ν = 1/2 - E / (6 K)
/// ```
#[must_use]
pub fn poissons_ratio(modulus: f64) -> f64 {
    0.5 - modulus / (6.0 * BULK)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn modulus_of_usual_hardnesses() {
        // gent1958 by hand: 0.0981 (56 + 457.4016)/(0.137505 x 101.6) = 3.6051 MPa at 60.
        assert_relative_eq!(modulus(60.0), 3.6051e6, max_relative = 1e-4);
        assert!((20..80).all(|s| modulus(f64::from(s + 1)) > modulus(f64::from(s))));
        // Makers print 0.9 to 1.5 MPa at 30 to 40.
        assert!(modulus(30.0) > 0.8e6 && modulus(40.0) < 1.8e6);
        assert!(poissons_ratio(modulus(80.0)) > 0.499 && poissons_ratio(modulus(80.0)) < 0.5);
    }
}
