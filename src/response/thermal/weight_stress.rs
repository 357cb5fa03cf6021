//! Which stress does the weight of everything cause in the parts of a base, alone and together with
//! temperature and cure?
//!
//! ```text
//! σ(x) = σ_T(x) + E φ · S⁻¹ (N, M_y, M_z)(x)       σ_T linear along the member
//! ```
//!
//! The forces of the weight are exact at the ends of a member's elements; the worst of these places is taken.
//!
//! # Source
//! - `przemieniecki1968`: ch. 5, end forces of a loaded beam

use super::section_parts::{SectionStiffness, TemperatureField, margin};
use crate::deformation::{DeflectionFault, deflection};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use stillbed_input::quantity::GRAVITY;
use stillbed_modes::Statics;

/// One part of a member under the weight of everything.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WeightStress {
    /// Stress along the member from the weight alone, at its largest, tension positive, Pa.
    pub stress_pa: f64,
    /// Its component from the axial force, Pa.
    pub axial_pa: f64,
    /// Its component from the moments, Pa.
    pub bending_pa: f64,
    /// Stress from weight, temperature and cure together, where its margin is least, Pa.
    pub together_pa: f64,
    /// Tensile strength, or compressive where that stress is compressive, Pa.
    pub strength_pa: Option<f64>,
    /// Strength over that stress; `None` without strength or stress.
    pub margin: Option<f64>,
    /// Distance of that place from the member's start, m.
    pub at_m: f64,
    /// Its place in the section, [y, z], m.
    pub at_section_m: [f64; 2],
}

/// The weight of everything on a base.
pub(super) struct Weight {
    /// The displacements of the degrees of freedom.
    pub motion: Vec<f64>,
    /// By member: [N, M_y, M_z] at the ends of its elements.
    pub forces: Vec<Vec<Vector3<f64>>>,
}

impl Weight {
    /// Solves for the weight; `None` where nothing holds the base.
    pub fn solve(statics: &Statics) -> Result<Option<Weight>, DeflectionFault> {
        let (frame, layout) = (statics.frame, &statics.layout);
        let down = Vector6::z() * -GRAVITY;
        let load = layout.inertia_load(frame, &down, &Vector3::zeros()).ok_or(DeflectionFault::NotHeld)?;
        let motion = match deflection(statics, &load) {
            Err(DeflectionFault::NotHeld) => return Ok(None),
            other => other?,
        };
        let down = Vector3::z() * -GRAVITY;
        let member = |number| {
            let forces =
                layout.line_forces_in(frame, number, &motion, &down).ok_or(DeflectionFault::NotHeld)?;
            Ok(forces.iter().map(|f| Vector3::new(f[0], f[4], f[5])).collect())
        };
        let forces = (0..frame.members.len()).map(member).collect::<Result<_, DeflectionFault>>()?;
        Ok(Some(Weight { motion, forces }))
    }
}

/// Part `number` of a member of `length`, m, under the `forces` of the weight at equally spaced places;
/// `warm` are the stresses of its corners from temperature and cure at the member's start and end.
pub(super) fn weight_stress(
    stiffness: &SectionStiffness,
    number: usize,
    length: f64,
    forces: &[Vector3<f64>],
    warm: &[[f64; 2]],
) -> Option<WeightStress> {
    let part = &stiffness.section.parts[number];
    let unmoved =
        stiffness.thermal_strains(&TemperatureField::default(), &vec![0.0; stiffness.section.parts.len()])?;
    let last = forces.len().saturating_sub(1).max(1) as f64;
    let mut worst: Option<WeightStress> = None;
    let mut largest = [0.0_f64; 2];
    for (corner, [start, end]) in part.corners.iter().zip(warm) {
        for (place, force) in forces.iter().enumerate() {
            let own = stiffness.stress(number, *corner, force, &unmoved)?;
            if (own.axial + own.bending).abs() > (largest[0] + largest[1]).abs() {
                largest = [own.axial, own.bending];
            }
            let share = place as f64 / last;
            let both = start + (end - start) * share + own.axial + own.bending;
            let strength_pa = part.strength(both);
            let found = WeightStress {
                stress_pa: 0.0,
                axial_pa: 0.0,
                bending_pa: 0.0,
                together_pa: both,
                strength_pa,
                margin: margin(strength_pa, both),
                at_m: share * length,
                at_section_m: *corner,
            };
            let harder = worst.as_ref().is_none_or(|worst| match (found.margin, worst.margin) {
                (Some(found), Some(worst)) => found < worst,
                (found, None) if found.is_some() => true,
                (None, Some(_)) => false,
                _ => found.together_pa.abs() > worst.together_pa.abs(),
            });
            if harder {
                worst = Some(found);
            }
        }
    }
    let [axial_pa, bending_pa] = largest;
    worst.map(|worst| WeightStress { stress_pa: axial_pa + bending_pa, axial_pa, bending_pa, ..worst })
}

#[cfg(test)]
mod tests {
    use super::super::answer::ThermalRequest;
    use super::super::sample::{bar, layer, section};
    use super::super::section_parts::CompositeSection;
    use super::super::state::solve_thermal;
    use super::super::temperature_change::ThermalCase;
    use super::*;
    use crate::deformation::{Base, subdivided};
    use approx::assert_relative_eq;
    use stillbed_frame::{Anchor, Frame};

    /// A steel bar 60 x 40 mm, 2 m long, held at its left end.
    fn arm() -> (Frame, CompositeSection) {
        let mut section = section(vec![layer("steel", 210e9, 12e-6, 0.06, -0.02, 0.02)], 1.0);
        section.parts[0].medium.strength = Some(235e6);
        let mut frame = bar(2.0, &section);
        frame.anchors.push(Anchor { name: "wall".into(), at: vec![0], hold: [true; 6] });
        (frame, section)
    }

    #[test]
    fn a_cantilever_is_stretched_above_its_root() {
        let (frame, section) = arm();
        let forces = Weight::solve(&subdivided(&frame, 8).unwrap()).unwrap().unwrap().forces;
        let found =
            weight_stress(&section.stiffness().unwrap(), 0, 2.0, &forces[0], &[[1e6, 0.0]; 4]).unwrap();
        // w L² / 2 over b h² / 6, with 2500 kg/m3.
        let bent = 2500.0 * 0.06 * 0.04 * GRAVITY * 2.0 / (0.06 * 0.04 * 0.04 / 6.0);
        assert_relative_eq!(found.stress_pa.abs(), bent, max_relative = 1e-6);
        assert_relative_eq!(found.together_pa, bent + 1e6, max_relative = 1e-6);
        assert_relative_eq!(found.margin.unwrap(), 235e6 / (bent + 1e6), max_relative = 1e-6);
        assert_eq!((found.at_m, found.at_section_m[1]), (0.0, 0.02));
        assert!(found.axial_pa.abs() < 1.0);
    }

    #[test]
    fn what_is_weaker_in_tension_fails_where_it_is_pulled() {
        let (frame, mut section) = arm();
        section.parts[0].medium.strength = Some(10e6);
        section.parts[0].compressive_strength = Some(100e6);
        let forces = Weight::solve(&subdivided(&frame, 8).unwrap()).unwrap().unwrap().forces;
        // Pressed all over, so that the lower side of the root bears the larger stress.
        let pressed = [[-1e6; 2]; 4];
        let found = weight_stress(&section.stiffness().unwrap(), 0, 2.0, &forces[0], &pressed).unwrap();
        let bent = 2500.0 * 0.06 * 0.04 * GRAVITY * 2.0 / (0.06 * 0.04 * 0.04 / 6.0);
        assert_relative_eq!(found.together_pa, bent - 1e6, max_relative = 1e-6);
        assert_relative_eq!(found.margin.unwrap(), 10e6 / (bent - 1e6), max_relative = 1e-6);
        assert_eq!((found.at_m, found.at_section_m[1]), (0.0, 0.02));
    }

    #[test]
    fn the_answer_has_weight_where_something_carries_it() {
        let (mut frame, section) = arm();
        let sections = [section];
        let solve = |frame: &Frame| {
            let base = Base { name: "b", frame, tip: Some(1), work: Some(0), bodies: &[] };
            solve_thermal(&base, &sections, &ThermalCase::uniform(0.0), &ThermalRequest::default()).unwrap()
        };
        let part = solve(&frame).state.members[0].parts[0].clone();
        let weight = part.weight.unwrap();
        assert_relative_eq!(weight.together_pa.abs(), weight.stress_pa.abs(), max_relative = 1e-6);
        assert_eq!(part.margin, None);
        frame.anchors.clear();
        assert_eq!(solve(&frame).state.members[0].parts[0].weight, None);
    }
}
