//! Drift and bow of a frame that is already solved, its members not subdivided.
//!
//! The displacements of the points are exact. Between them a member follows its exact static shapes, to which
//! a free curvature that is constant along it adds nothing.

use super::section_parts::CompositeSection;
use super::temperature_change::ThermalCase;
use super::thermal_load::{add_bodies, free_strains};
use crate::deformation::{Base, DeflectionFault, Rail, Xyz, deflection};
use nalgebra::Vector6;
use stillbed_frame::FreeStrain;
use stillbed_modes::Statics;

/// Places inside a member at which its line is sampled; odd, so that the middle is one.
const BETWEEN: usize = 11;

/// Displacement of the tip relative to the work for one kelvin everywhere, m/K, when every section is `scale`
/// times as large as its parts say; `None` without a tool, or where an expansion is not known.
///
/// # Errors
/// A section without stiff parts.
pub fn drift_per_kelvin(
    base: &Base,
    sections: &[CompositeSection],
    statics: &Statics,
    scale: f64,
) -> Result<Option<Xyz>, DeflectionFault> {
    if base.tip.is_none() || !expansions_known(base, sections) {
        return Ok(None);
    }
    let motion = warmed(base, sections, statics, &ThermalCase::uniform(1.0), scale)?;
    Ok(base.drift(statics, &motion).0)
}

/// The largest bow, m, of the `rails` under the temperatures of `case`, when every section is `scale`
/// times as large as its parts say; `None` without rails, or where an expansion is not known.
///
/// # Errors
/// A section without stiff parts.
pub fn largest_bow(
    base: &Base,
    sections: &[CompositeSection],
    statics: &Statics,
    case: &ThermalCase,
    rails: &[Rail],
    scale: f64,
) -> Result<Option<f64>, DeflectionFault> {
    if rails.is_empty() || !expansions_known(base, sections) {
        return Ok(None);
    }
    let motion = warmed(base, sections, statics, case, scale)?;
    let bow = |rail: &Rail| Some(rail.line(statics, &motion, BETWEEN)?.bow());
    Ok(rails.iter().filter_map(bow).reduce(f64::max))
}

/// True when the expansions of all members are known.
fn expansions_known(base: &Base, sections: &[CompositeSection]) -> bool {
    let section = |member: &stillbed_frame::Member| sections.get(member.section);
    base.frame.members.iter().filter_map(section).all(|section| section.lacking_expansion().next().is_none())
        && base.bodies.iter().all(|body| body.lacking_expansion().next().is_none())
}

/// The displacements under the temperatures of `case`. In a section twice as large, the different free
/// strains of the parts cause half the curvature, and a gradient causes the same.
fn warmed(
    base: &Base,
    sections: &[CompositeSection],
    statics: &Statics,
    case: &ThermalCase,
    scale: f64,
) -> Result<Vec<f64>, DeflectionFault> {
    let mut case = case.clone();
    for gradient in &mut case.members {
        gradient.across_y *= scale;
        gradient.across_z *= scale;
    }
    let mut strains = free_strains(statics, sections, &case, false)?;
    let smaller = |strain: &mut Vector6<f64>| (3..6).for_each(|i| strain[i] /= scale);
    strains.iter_mut().for_each(|ends: &mut FreeStrain| ends.iter_mut().for_each(smaller));
    let load = statics.layout.free_strain_load(base.frame, &strains);
    let mut load = load.ok_or(DeflectionFault::NotHeld)?;
    add_bodies(&mut load, base, statics, &case, false);
    deflection(statics, &load)
}

#[cfg(test)]
mod tests {
    use super::super::answer::ThermalRequest;
    use super::super::sample::{bar, layer, section};
    use super::super::state::solve_thermal;
    use super::super::temperature_change::TemperatureGradient;
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_frame::{Anchor, Frame};

    fn strip() -> (Frame, CompositeSection) {
        let layers =
            vec![layer("steel", 210e9, 12e-6, 0.05, -0.02, 0.0), layer("cast", 30e9, 15e-6, 0.05, 0.0, 0.06)];
        let section = section(layers, 1.0);
        let mut frame = bar(0.8, &section);
        let hold = [true, true, true, true, false, false];
        frame.anchors.push(Anchor { name: "left".into(), at: vec![0], hold });
        let hold = [false, true, true, true, false, false];
        frame.anchors.push(Anchor { name: "right".into(), at: vec![1], hold });
        (frame, section)
    }

    #[test]
    fn undivided_members_answer_as_divided_ones() {
        let (frame, section) = strip();
        let sections = [section];
        let base = Base { name: "b", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
        let statics = Statics::factor(&frame).unwrap();
        let mut case = ThermalCase::uniform(4.0);
        case.members = vec![TemperatureGradient { across_z: 20.0, ..TemperatureGradient::default() }];
        let whole = solve_thermal(&base, &sections, &case, &ThermalRequest::default()).unwrap();
        let drift = drift_per_kelvin(&base, &sections, &statics, 1.0).unwrap().unwrap();
        assert_relative_eq!(drift.x, whole.drift_m_per_k.unwrap().x, max_relative = 1e-9);
        let rails = Rail::join(&frame, &[0]);
        let bow = largest_bow(&base, &sections, &statics, &case, &rails, 1.0).unwrap().unwrap();
        assert_relative_eq!(bow, whole.state.members[0].bow_m, max_relative = 1e-6);
        assert!(bow > 1e-6);
        assert_eq!(largest_bow(&base, &sections, &statics, &case, &[], 1.0).unwrap(), None);
    }

    #[test]
    fn a_section_twice_as_large_curves_half_as_much_by_its_layers() {
        let (frame, section) = strip();
        let sections = [section];
        let base = Base { name: "b", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
        let statics = Statics::factor(&frame).unwrap();
        let rails = Rail::join(&frame, &[0]);
        let bow = |case: &ThermalCase, scale| {
            largest_bow(&base, &sections, &statics, case, &rails, scale).unwrap().unwrap()
        };
        let even = ThermalCase::uniform(1.0);
        assert_relative_eq!(bow(&even, 1.0), 2.0 * bow(&even, 2.0), max_relative = 1e-9);
    }

    #[test]
    fn what_does_not_know_its_expansion_has_no_drift() {
        let (frame, mut section) = strip();
        section.parts[1].medium.expansion = None;
        let sections = [section];
        let base = Base { name: "b", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
        let statics = Statics::factor(&frame).unwrap();
        assert_eq!(drift_per_kelvin(&base, &sections, &statics, 1.0).unwrap(), None);
    }
}
