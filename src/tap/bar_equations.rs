//! The equations of a free test bar: moduli from mass, sizes and the frequencies at which it rings.
//!
//! ```text
//! flexure of a bar   E = 0.9465 (m f^2 / b) (L / t)^3 T1      width b, thickness t along the impact
//! flexure of a rod   E = 1.6067 (L^3 / d^4) m f^2 T1'
//! torsion of a bar   G = 4 L m f^2 R / (b t)                  of a rod: 16 L m f^2 / (pi d^2)
//! lengthwise         E = 4 L m f^2 / (A K),                   K = 1 - pi^2 nu^2 De^2 / (8 L^2)
//! Poisson's ratio    nu = E / (2 G) - 1                       iterated with T1, which depends on nu
//! ```
//!
//! # Source
//! - `e1876`: flexure, torsion and longitudinal equations with their corrections
//! - `spinner1961`: the corrections T1 and T1' for the height of the section
//! - `rayleigh1877`: lateral inertia of a bar vibrating lengthwise

use std::f64::consts::PI;
use stillbed_input::quantity::Spread;

/// Shape of a test bar, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BarShape {
    /// A prism; it is struck along its thickness.
    Rectangular {
        /// Length.
        length: Spread,
        /// Across the direction of the impact.
        width: Spread,
        /// Along the direction of the impact.
        thickness: Spread,
    },
    /// A round rod.
    Round {
        /// Length.
        length: Spread,
        /// Diameter.
        diameter: Spread,
    },
}

/// T1 of a bar whose thickness over length is `t`, with Poisson's ratio `nu`.
pub fn flexure_factor_bar(t: f64, nu: f64) -> f64 {
    let t2 = t * t;
    1.0 + 6.585 * (1.0 + 0.0752 * nu + 0.8109 * nu * nu) * t2
        - 0.868 * t2 * t2
        - 8.340 * (1.0 + 0.2023 * nu + 2.173 * nu * nu) * t2 * t2
            / (1.0 + 6.338 * (1.0 + 0.1408 * nu + 1.536 * nu * nu) * t2)
}

/// T1' of a rod whose diameter over length is `d`, with Poisson's ratio `nu`.
pub fn flexure_factor_rod(d: f64, nu: f64) -> f64 {
    let d2 = d * d;
    1.0 + 4.939 * (1.0 + 0.0752 * nu + 0.8109 * nu * nu) * d2
        - 0.4883 * d2 * d2
        - 4.691 * (1.0 + 0.2023 * nu + 2.173 * nu * nu) * d2 * d2
            / (1.0 + 4.754 * (1.0 + 0.1408 * nu + 1.536 * nu * nu) * d2)
}

/// R of a bar: polar second moment of area over torsion constant, corrected for the ends of a wide bar.
pub fn torsion_factor_bar(length: f64, width: f64, thickness: f64) -> f64 {
    let (b, t) = (width.max(thickness), width.min(thickness));
    let ratio = b / t;
    let saint_venant =
        (1.0 + ratio * ratio) / (4.0 - 2.521 / ratio * (1.0 - 1.991 / ((PI * ratio).exp() + 1.0)));
    let slender = b / length;
    saint_venant * (1.0 + 0.00851 * slender * slender) - 0.060 * slender.powf(1.5) * (ratio - 1.0).powi(2)
}

/// K of a bar or rod: the factor by which lateral inertia lowers the squared lengthwise frequency.
pub fn longitudinal_factor(shape: &BarShape, nu: f64) -> f64 {
    let (length, square) = match shape {
        BarShape::Rectangular { length, width, thickness } => {
            (length.value, 2.0 * (width.value.powi(2) + thickness.value.powi(2)) / 3.0)
        }
        BarShape::Round { length, diameter } => (length.value, diameter.value.powi(2)),
    };
    1.0 - (PI * nu / length).powi(2) * square / 8.0
}

/// All inputs of the moduli, one value each.
#[derive(Clone, Copy)]
pub(super) struct Sizes {
    pub(super) shape: BarShape,
    pub(super) mass: f64,
    pub(super) nu: f64,
    pub(super) flexure: Option<f64>,
    pub(super) torsion: Option<f64>,
    pub(super) longitudinal: Option<f64>,
}

/// Moduli and Poisson's ratio at one value of each input.
#[derive(Clone, Copy)]
pub(super) struct Moduli {
    pub(super) flexural: Option<f64>,
    pub(super) lengthwise: Option<f64>,
    pub(super) shear: Option<f64>,
    pub(super) nu: f64,
    pub(super) density: f64,
}

impl Sizes {
    pub(super) fn area_and_length(&self) -> (f64, f64) {
        match self.shape {
            BarShape::Rectangular { length, width, thickness } => {
                (width.value * thickness.value, length.value)
            }
            BarShape::Round { length, diameter } => (PI / 4.0 * diameter.value.powi(2), length.value),
        }
    }

    pub(super) fn flexural(&self, f: f64, nu: f64) -> f64 {
        match self.shape {
            BarShape::Rectangular { length, width, thickness } => {
                let slender = thickness.value / length.value;
                0.9465 * self.mass * f * f / (width.value * slender.powi(3)) * flexure_factor_bar(slender, nu)
            }
            BarShape::Round { length, diameter } => {
                let slender = diameter.value / length.value;
                1.6067 * length.value.powi(3) / diameter.value.powi(4)
                    * self.mass
                    * f
                    * f
                    * flexure_factor_rod(slender, nu)
            }
        }
    }

    pub(super) fn shear(&self, f: f64) -> f64 {
        let (area, length) = self.area_and_length();
        let r = match self.shape {
            BarShape::Rectangular { length, width, thickness } => {
                torsion_factor_bar(length.value, width.value, thickness.value)
            }
            BarShape::Round { .. } => 1.0,
        };
        4.0 * length * self.mass * f * f * r / area
    }

    pub(super) fn lengthwise(&self, f: f64, nu: f64) -> f64 {
        let (area, length) = self.area_and_length();
        4.0 * length * self.mass * f * f / (area * longitudinal_factor(&self.shape, nu))
    }

    pub(super) fn moduli(&self) -> Moduli {
        let shear = self.torsion.map(|f| self.shear(f));
        let mut nu = self.nu;
        let youngs = |nu: f64| {
            self.flexure.map(|f| self.flexural(f, nu)).or(self.longitudinal.map(|f| self.lengthwise(f, nu)))
        };
        if let Some(g) = shear {
            for _ in 0..60 {
                let Some(e) = youngs(nu) else { break };
                let next = (e / (2.0 * g) - 1.0).clamp(-0.9, 0.9);
                let moved = (next - nu).abs();
                nu = next;
                if moved < 1e-14 {
                    break;
                }
            }
        }
        let (area, length) = self.area_and_length();
        Moduli {
            flexural: self.flexure.map(|f| self.flexural(f, nu)),
            lengthwise: self.longitudinal.map(|f| self.lengthwise(f, nu)),
            shear,
            nu,
            density: self.mass / (area * length),
        }
    }
}
