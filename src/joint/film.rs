//! How stiff is a thin layer bonded between two stiff faces, of glue, grout or rubber?
//!
//! ```text
//! push    E_c A / t      slide   G A / t      E_c from E, where the layer is tall, to the modulus
//! M = E (1 - ν) / ((1 + ν)(1 - 2ν)) of a layer that cannot bulge
//!
//! E_c = E + (M - E) [1 - 2 I₁(β) / (β I₀(β))],   β² = 48 G S² / (M - E),   S = loaded area / free area
//! ```
//!
//! The bracket is the pressure in a bonded disc that is nearly incompressible, for which E_c = 3 G + 6 G S² while the
//! layer is not too thin. Between the three limits it is an interpolation; for a material with ν = 0 it is E. Beside finite
//! elements of a square block (order 2) it is up to 3.3 % high for ν = 0.3 and 0.36 and S from 0.25 to 3, and 8 to 11 %
//! low for ν = 0.49 and S from 0.25 to 1, where E (1 + 2 S²) is low itself.
//!
//! # Source
//! - `gent1959`: bonded blocks of rubber, E (1 + 2 S²)
//! - `kelly1997`: chapter 6, the pressure with the bulk modulus

use num_complex::Complex64;

/// A bonded layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Film {
    /// Complex Young's modulus, Pa.
    pub youngs_modulus: Complex64,
    /// Poisson's ratio, below 0.5.
    pub poissons_ratio: f64,
    /// Thickness, m.
    pub thick: f64,
    /// Loaded area over free area.
    pub shape: f64,
}

impl Film {
    /// Complex shear modulus, Pa.
    #[must_use]
    pub fn shear_modulus(&self) -> Complex64 {
        self.youngs_modulus / (2.0 * (1.0 + self.poissons_ratio))
    }

    /// Complex modulus in push, Pa.
    #[must_use]
    pub fn push_modulus(&self) -> Complex64 {
        let nu = self.poissons_ratio;
        // All moduli of one material have one loss factor, so that β is real.
        let held = (1.0 - nu) / ((1.0 + nu) * (1.0 - 2.0 * nu)) - 1.0;
        if held <= 1e-12 {
            return self.youngs_modulus;
        }
        let beta = (48.0 / (2.0 * (1.0 + nu)) / held).sqrt() * self.shape;
        self.youngs_modulus * (1.0 + held * held_back(beta))
    }

    /// Stiffness per area in push and along the layer, N/m³.
    #[must_use]
    pub fn per_area(&self) -> [Complex64; 2] {
        [self.push_modulus() / self.thick, self.shear_modulus() / self.thick]
    }
}

/// 1 - 2 I₁(β) / (β I₀(β)), from 0 for small β to 1 for large.
fn held_back(beta: f64) -> f64 {
    if beta > 40.0 {
        // I₁/I₀ = 1 - 1/(2β) - 1/(8β²) - …
        return 1.0 - 2.0 / beta * (1.0 - 0.5 / beta - 0.125 / (beta * beta));
    }
    // Both series have positive terms; the first term of the difference cancels by hand:
    // I₀ - 2 I₁/β = Σ (β²/4)ᵏ/(k!)² (1 - 1/(k + 1)).
    let quarter = 0.25 * beta * beta;
    let (mut term, mut whole, mut difference) = (1.0, 1.0, 0.0);
    for k in 1..200 {
        let k = f64::from(k);
        term *= quarter / (k * k);
        whole += term;
        difference += term * k / (k + 1.0);
        if term < 1e-17 * whole {
            break;
        }
    }
    difference / whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn film(nu: f64, shape: f64) -> Film {
        Film { youngs_modulus: Complex64::new(3e6, 3e5), poissons_ratio: nu, thick: 0.001, shape }
    }

    #[test]
    fn the_limits_of_tall_thin_and_incompressible_layers() {
        assert_relative_eq!(film(0.3, 1e-6).push_modulus().re, 3e6, max_relative = 1e-6);
        let held = 3e6 * 0.7 / (1.3 * 0.4);
        assert_relative_eq!(film(0.3, 1e6).push_modulus().re, held, max_relative = 1e-5);
        // gent1959: E (1 + 2 S²) with E = 3 G.
        for shape in [0.5, 1.0, 3.0] {
            let found = film(0.499999, shape).push_modulus().re;
            assert_relative_eq!(found, 3e6 * (1.0 + 2.0 * shape * shape), max_relative = 1e-3);
        }
        assert_eq!(film(0.0, 10.0).push_modulus(), Complex64::new(3e6, 3e5));
    }

    #[test]
    fn bessel_functions_from_tables() {
        // abramowitz1964, table 9.8: I₀(2) = 2.2795853, I₁(2) = 1.5906369; e⁻ˣ I₀(20) = 0.0897803, e⁻ˣ I₁ = 0.0875062.
        assert_relative_eq!(held_back(2.0), 1.0 - 1.5906369 / 2.2795853, max_relative = 1e-6);
        assert_relative_eq!(held_back(20.0), 1.0 - 0.1 * 0.0875062 / 0.0897803, max_relative = 1e-6);
        assert_relative_eq!(held_back(39.99), held_back(40.01), max_relative = 1e-4);
    }

    proptest! {
        #[test]
        fn a_thinner_layer_is_stiffer_and_loses_alike(nu in 0.01f64..0.4999, shape in 0.01f64..300.0) {
            let (one, thinner) = (film(nu, shape).push_modulus(), film(nu, 1.1 * shape).push_modulus());
            prop_assert!(thinner.re >= one.re && one.re >= 3e6);
            prop_assert!((one.im / one.re - 0.1).abs() < 1e-12);
        }
    }
}
