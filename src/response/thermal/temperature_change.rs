//! A change of temperature and a cure, as the frame sees them.
//!
//! ```text
//! T(x, y, z) = uniform + (points at the ends, linear between) + along x + across_y y + across_z z
//! ```
//!
//! x from the member's start, y and z from the member line. A point that is not named has the uniform change. A body
//! has the uniform change and a gradient along global axes about its middle.

use super::section_parts::{CompositePart, CompositeSection, TemperatureField};
use crate::deformation::{BodyFreeStrain, CompositeBody};
use nalgebra::Vector3;
use serde::Serialize;
use stillbed_frame::{Frame, Line};

/// The gradients of one member, K/m.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TemperatureGradient {
    /// Along the section's y.
    pub across_y: f64,
    /// Along the section's z.
    pub across_z: f64,
    /// Along the member, from its start.
    pub along: f64,
}

/// What the cure of a mix leaves in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cure {
    /// Name of the mix.
    pub of: String,
    /// Shrinkage after gelling, a strain.
    pub shrinkage: f64,
    /// Cooling from the hottest moment of the cure to room temperature, K.
    pub cooling_k: f64,
}

/// A change of temperature and the shrinkage of a cure.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ThermalCase {
    /// Change everywhere, K.
    pub uniform: f64,
    /// By member; missing ones have none.
    pub members: Vec<TemperatureGradient>,
    /// By point, K, added to the uniform change; missing ones have none.
    pub points: Vec<f64>,
    /// By body: gradient along global axes about its middle, K/m; missing ones have none.
    pub bodies: Vec<Vector3<f64>>,
    /// Linear shrinkage by material, a strain; the part becomes shorter by it.
    pub shrinkage: Vec<(String, f64)>,
    /// Cures of mixes whose shrinkage is not stated.
    pub cures: Vec<Cure>,
}

impl ThermalCase {
    /// The same change everywhere, K.
    pub fn uniform(change: f64) -> ThermalCase {
        ThermalCase { uniform: change, ..ThermalCase::default() }
    }

    /// True when temperature changes anywhere.
    pub fn warms(&self) -> bool {
        let gradient = |g: &TemperatureGradient| [g.across_y, g.across_z, g.along];
        self.uniform != 0.0
            || self.points.iter().any(|t| *t != 0.0)
            || self.members.iter().flat_map(gradient).any(|g| g != 0.0)
            || self.bodies.iter().any(|gradient| gradient.norm() != 0.0)
    }

    /// The temperature field over the section at the start and at the end of a member.
    pub(super) fn fields(&self, frame: &Frame, number: usize) -> Option<[TemperatureField; 2]> {
        let member = frame.members.get(number)?;
        let gradient = self.members.get(number).copied().unwrap_or_default();
        let first = member.rigid[0];
        let last = first + Line::of(frame, member)?.length;
        let at = |point: usize, x: f64| TemperatureField {
            change: self.uniform + self.points.get(point).copied().unwrap_or(0.0) + gradient.along * x,
            across: [gradient.across_y, gradient.across_z],
        };
        Some([at(member.from, first), at(member.to, last)])
    }

    /// True where the cure is part of the base's motion, which is when a shrinkage is stated. A cure without
    /// one is over before faces are finished, and adds to the stresses alone.
    pub(super) fn cure_moves(&self) -> bool {
        !self.shrinkage.is_empty()
    }

    /// The free strain of each part of `section` from shrinkage and cure.
    ///
    /// A mix gels at its hottest, within a skeleton that is as hot and then cools back to its original size:
    /// besides its shrinkage the mix keeps the difference of their expansions over this cooling.
    pub(super) fn own_strains(&self, section: &CompositeSection) -> Vec<f64> {
        let of = |(number, part): (usize, &CompositePart)| {
            self.cured(&part.medium.name, || section.expansion_beyond_others(number))
        };
        section.parts.iter().enumerate().map(of).collect()
    }

    /// The free strain that shrinkage and cure leave in a material; `beyond` is how much more it expands than what
    /// it is cast with, 1/K.
    fn cured(&self, name: &str, beyond: impl Fn() -> Option<f64>) -> f64 {
        if let Some((_, stated)) = self.shrinkage.iter().find(|(material, _)| material == name) {
            return -stated;
        }
        let Some(cure) = self.cures.iter().find(|cure| cure.of == name) else { return 0.0 };
        -cure.shrinkage - beyond().unwrap_or(0.0) * cure.cooling_k
    }

    /// The free strains of the materials of `body`, which is number `number` of the frame: from shrinkage alone when
    /// `cured`, otherwise from temperatures alone.
    pub(super) fn body_strains(
        &self,
        body: &CompositeBody,
        number: usize,
        cured: bool,
    ) -> Vec<BodyFreeStrain> {
        let gradient = self.bodies.get(number).copied().unwrap_or_default();
        let of = |(material, medium): (usize, &stillbed_material::Medium)| {
            if cured {
                let at_middle = self.cured(&medium.name, || body.expansion_beyond_others(material));
                return BodyFreeStrain { at_middle, gradient: Vector3::zeros() };
            }
            let expansion = medium.expansion.unwrap_or(0.0);
            BodyFreeStrain { at_middle: expansion * self.uniform, gradient: gradient * expansion }
        };
        body.media.iter().enumerate().map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, layer, section};
    use super::*;

    #[test]
    fn temperatures_add_up_along_a_member() {
        let section = section(vec![layer("steel", 210e9, 12e-6, 0.05, -0.02, 0.02)], 1.0);
        let case = ThermalCase {
            uniform: 10.0,
            members: vec![TemperatureGradient {
                across_z: 5.0,
                along: 2.0,
                ..TemperatureGradient::default()
            }],
            points: vec![0.0, 3.0],
            bodies: Vec::new(),
            shrinkage: vec![("steel".to_string(), 5e-4)],
            cures: Vec::new(),
        };
        let [start, end] = case.fields(&bar(0.5, &section), 0).unwrap();
        assert_eq!((start.change, end.change, end.across), (10.0, 14.0, [0.0, 5.0]));
        assert_eq!(case.own_strains(&section), [-5e-4]);
        assert!(case.warms() && !ThermalCase { uniform: 0.0, ..ThermalCase::default() }.warms());
    }

    #[test]
    fn a_cure_leaves_shrinkage_and_what_the_skeleton_does_not_follow() {
        let cast = layer("cast", 20e9, 17e-6, 0.05, -0.02, 0.02);
        let steel = layer("steel", 210e9, 12e-6, 0.05, 0.02, 0.03);
        let cure = Cure { of: "cast".to_string(), shrinkage: 1e-3, cooling_k: 20.0 };
        let case = ThermalCase { cures: vec![cure], ..ThermalCase::default() };
        let strains = case.own_strains(&section(vec![cast.clone(), steel], 1.0));
        approx::assert_relative_eq!(strains[0], -1e-3 - 5e-6 * 20.0, max_relative = 1e-12);
        assert_eq!(strains[1], 0.0);
        // Alone it shrinks by all of its cooling; a stated shrinkage replaces both.
        let alone = section(vec![cast], 1.0);
        approx::assert_relative_eq!(case.own_strains(&alone)[0], -1e-3 - 17e-6 * 20.0, max_relative = 1e-12);
        let stated = ThermalCase { shrinkage: vec![("cast".to_string(), 2e-3)], ..case };
        assert_eq!((stated.own_strains(&alone)[0], stated.cure_moves()), (-2e-3, true));
    }
}
