//! One material as the mechanics needs it: complex moduli, density, expansion.
//!
//! ```text
//! E* = E (1 + i eta),   G* = E* / (2 (1 + nu))   unless a shear modulus or a shear loss is given
//! ```

use num_complex::Complex64;
use serde::Serialize;

/// The role of a material in a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Carries load and holds position: metals, stone slabs, fibre laminates.
    Skeleton,
    /// Cast, filled in or bonded on, to add mass and damping.
    Fill,
    /// A cavity or conduit: empty, and cuts what lies under it.
    Void,
}

impl Role {
    /// Every role.
    pub const ALL: [Role; 3] = [Role::Skeleton, Role::Fill, Role::Void];

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Role::Skeleton => "skeleton",
            Role::Fill => "fill",
            Role::Void => "void",
        }
    }

    /// The role of that name.
    pub fn named(name: &str) -> Option<Role> {
        Role::ALL.into_iter().find(|role| role.name() == name)
    }
}

/// One material, for one draw of its uncertain values; coherent SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Medium {
    /// Its name in the table or the design.
    pub name: String,
    /// Its role.
    pub role: Role,
    /// Complex Young's modulus, Pa.
    pub youngs_modulus: Complex64,
    /// Complex shear modulus, Pa.
    pub shear_modulus: Complex64,
    /// Poisson's ratio.
    pub poissons_ratio: f64,
    /// kg/m3.
    pub density: f64,
    /// Linear thermal expansion, 1/K.
    pub expansion: Option<f64>,
    /// W/(m K).
    pub conductivity: Option<f64>,
    /// J/(kg K).
    pub heat_capacity: Option<f64>,
    /// Tensile strength (yield of a ductile metal), Pa.
    pub strength: Option<f64>,
}

impl Medium {
    /// An isotropic elastic material with one loss factor; its other properties are unknown.
    ///
    /// `youngs_modulus` in Pa, `density` in kg/m3; `poissons_ratio` and `loss_factor` are ratios.
    pub fn isotropic(
        name: &str,
        role: Role,
        youngs_modulus: f64,
        poissons_ratio: f64,
        density: f64,
        loss_factor: f64,
    ) -> Medium {
        let youngs_modulus = Complex64::new(youngs_modulus, youngs_modulus * loss_factor);
        Medium {
            name: name.to_string(),
            role,
            youngs_modulus,
            shear_modulus: youngs_modulus / (2.0 * (1.0 + poissons_ratio)),
            poissons_ratio,
            density,
            expansion: None,
            conductivity: None,
            heat_capacity: None,
            strength: None,
        }
    }

    /// A cavity.
    pub fn void(name: &str) -> Medium {
        Medium::isotropic(name, Role::Void, 0.0, 0.0, 0.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shear_modulus_of_an_isotropic_material() {
        let steel = Medium::isotropic("steel", Role::Skeleton, 208e9, 0.3, 7850.0, 0.001);
        assert_eq!(steel.shear_modulus.re, 80e9);
        approx::assert_relative_eq!(steel.shear_modulus.im / steel.shear_modulus.re, 0.001);
    }
}
