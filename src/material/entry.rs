//! One material of the table: its properties, their spread, and the sources of both.

use super::medium::{Medium, Role};
use super::property::Property;
use num_complex::Complex64;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Draw, Spread};

/// Shape of grains, which sets how densely they pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum GrainShape {
    /// Beads.
    Spherical,
    /// River sand and gravel.
    Rounded,
    /// Crushed stone.
    Angular,
}

impl GrainShape {
    /// Every shape.
    pub const ALL: [GrainShape; 3] = [GrainShape::Spherical, GrainShape::Rounded, GrainShape::Angular];

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            GrainShape::Spherical => "spherical",
            GrainShape::Rounded => "rounded",
            GrainShape::Angular => "angular",
        }
    }

    /// The shape of that name.
    pub fn named(name: &str) -> Option<GrainShape> {
        GrainShape::ALL.into_iter().find(|shape| shape.name() == name)
    }
}

/// The value of one property, with its source.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// In coherent SI.
    pub spread: Spread,
    /// Keys of the bibliography separated by semicolons, `memory`, `common practice`, or what the user's
    /// table or design states.
    pub source: String,
    /// What the number alone does not say.
    pub note: String,
}

impl Figure {
    /// A figure that the user states; `source` is for example the name of a design.
    pub fn stated(spread: Spread, source: &str) -> Figure {
        Figure { spread, source: source.to_string(), note: String::new() }
    }
}

/// What is known of one material.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Its name in the table or the design.
    pub name: String,
    /// Its role.
    pub role: Role,
    /// Shape of its grains, where it is sold as grains.
    pub grain_shape: Option<GrainShape>,
    /// Its properties.
    pub values: BTreeMap<Property, Figure>,
}

/// A property that a computation needs and a material lacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingProperty {
    /// Which material.
    pub material: String,
    /// The property it lacks.
    pub property: Property,
}

impl fmt::Display for MissingProperty {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "\"{}\" has no {}", self.material, self.property.name())
    }
}

impl std::error::Error for MissingProperty {}

impl MissingProperty {
    /// This as a problem of the user's input at `place`.
    pub fn at(&self, place: Place) -> Problem {
        let help = format!(
            "state it: {} = \"{}\" under [materials.\"{}\"], or in a table of materials",
            self.property.name(),
            self.property.kind().example(),
            self.material
        );
        Problem::error(place, self.to_string()).with_help(help)
    }
}

/// Poisson's ratio is kept within these limits in a draw, so that shear and bulk moduli stay finite.
const POISSON_LIMITS: (f64, f64) = (-0.99, 0.499);

impl Material {
    /// A material without properties.
    pub fn new(name: &str, role: Role) -> Material {
        Material { name: name.to_string(), role, grain_shape: None, values: BTreeMap::new() }
    }

    /// The figure of `property`, if known.
    pub fn figure(&self, property: Property) -> Option<&Figure> {
        self.values.get(&property)
    }

    /// The value of `property` in `draw`, in SI, if known.
    pub fn value(&self, property: Property, draw: &Draw) -> Option<f64> {
        self.values.get(&property).map(|figure| figure.spread.at(draw))
    }

    /// The value of `property` in `draw`, in SI.
    ///
    /// # Errors
    /// When it is not known.
    pub fn need(&self, property: Property, draw: &Draw) -> Result<f64, MissingProperty> {
        self.value(property, draw).ok_or_else(|| self.missing(property))
    }

    /// Sets `property`, replacing any earlier value.
    pub fn set(&mut self, property: Property, figure: Figure) {
        self.values.insert(property, figure);
    }

    /// All spreads, so that each can be given its index in a [`Draw`].
    pub fn spreads_mut(&mut self) -> impl Iterator<Item = (Property, &mut Spread)> {
        self.values.iter_mut().map(|(property, figure)| (*property, &mut figure.spread))
    }

    /// The material in `draw` as the mechanics needs it.
    ///
    /// ```text
    /// E* = E (1 + i eta),  G* = G (1 + i eta_G),  G = E / (2 (1 + nu)) and eta_G = eta unless stated
    /// ```
    ///
    /// Poisson's ratio is kept between -0.99 and 0.499. A void has no stiffness or mass, whatever is
    /// stated.
    ///
    /// # Errors
    /// When Young's modulus, Poisson's ratio, the density or the loss factor is not known.
    pub fn medium(&self, draw: &Draw) -> Result<Medium, MissingProperty> {
        let mut medium = Medium::void(&self.name);
        medium.conductivity = self.value(Property::Conductivity, draw);
        if self.role == Role::Void {
            return Ok(medium);
        }
        let youngs_modulus = self.need(Property::YoungsModulus, draw)?;
        let poissons_ratio = self.need(Property::PoissonsRatio, draw)?;
        let poissons_ratio = poissons_ratio.clamp(POISSON_LIMITS.0, POISSON_LIMITS.1);
        let loss_factor = self.need(Property::LossFactor, draw)?;
        let shear_loss = self.value(Property::ShearLossFactor, draw).unwrap_or(loss_factor);
        let shear_modulus = self
            .value(Property::ShearModulus, draw)
            .unwrap_or(youngs_modulus / (2.0 * (1.0 + poissons_ratio)));
        Ok(Medium {
            role: self.role,
            youngs_modulus: Complex64::new(youngs_modulus, youngs_modulus * loss_factor),
            shear_modulus: Complex64::new(shear_modulus, shear_modulus * shear_loss),
            poissons_ratio,
            density: self.need(Property::Density, draw)?,
            expansion: self.value(Property::Expansion, draw),
            heat_capacity: self.value(Property::HeatCapacity, draw),
            strength: self.value(Property::Strength, draw),
            ..medium
        })
    }

    /// The properties that [`Material::medium`] needs and this material lacks.
    pub fn lacks(&self) -> Vec<Property> {
        let needed =
            [Property::YoungsModulus, Property::PoissonsRatio, Property::Density, Property::LossFactor];
        needed.into_iter().filter(|p| self.role != Role::Void && !self.values.contains_key(p)).collect()
    }

    fn missing(&self, property: Property) -> MissingProperty {
        MissingProperty { material: self.name.clone(), property }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laminate() -> Material {
        let mut material = Material::new("laminate", Role::Skeleton);
        for (property, value) in [
            (Property::YoungsModulus, 100e9),
            (Property::PoissonsRatio, 0.25),
            (Property::Density, 1600.0),
            (Property::LossFactor, 0.002),
        ] {
            material.set(property, Figure::stated(value.into(), "a test"));
        }
        material
    }

    #[test]
    fn shear_follows_from_tension_unless_stated() {
        let mut material = laminate();
        let medium = material.medium(&Draw::default()).unwrap();
        approx::assert_relative_eq!(medium.shear_modulus.re, 40e9);
        approx::assert_relative_eq!(medium.shear_modulus.im, 40e9 * 0.002);
        material.set(Property::ShearModulus, Figure::stated(5e9.into(), "a test"));
        material.set(Property::ShearLossFactor, Figure::stated(0.01.into(), "a test"));
        let medium = material.medium(&Draw::default()).unwrap();
        approx::assert_relative_eq!(medium.shear_modulus.re, 5e9);
        approx::assert_relative_eq!(medium.shear_modulus.im, 5e7);
        approx::assert_relative_eq!(medium.youngs_modulus.im, 2e8);
    }

    #[test]
    fn a_draw_reaches_the_medium() {
        let mut material = laminate();
        for (i, (_, spread)) in material.spreads_mut().enumerate() {
            spread.index = Some(i);
        }
        let medium = material.medium(&Draw { values: vec![90e9, 0.7, 1500.0, 0.004] }).unwrap();
        assert_eq!(medium.youngs_modulus, Complex64::new(90e9, 0.36e9));
        assert_eq!(medium.poissons_ratio, 0.499);
        assert_eq!(medium.density, 1500.0);
    }

    #[test]
    fn what_is_missing_is_named() {
        let mut material = laminate();
        material.values.remove(&Property::Density);
        let missing = material.medium(&Draw::default()).unwrap_err();
        assert_eq!(missing.to_string(), "\"laminate\" has no density");
        assert_eq!(material.lacks(), [Property::Density]);
        let problem = missing.at(Place::key("builds.a.sections.rail.parts[0].of"));
        assert!(problem.help.unwrap().contains("density = \"2300 kg/m3\""));
    }

    #[test]
    fn a_void_needs_nothing() {
        let medium = Material::new("duct", Role::Void).medium(&Draw::default()).unwrap();
        assert_eq!((medium.role, medium.density), (Role::Void, 0.0));
    }
}
