//! The free strains of the members under temperature or cure, and the load that they are on the frame.
//!
//! ```text
//! f = Σ ∫ Bᵀ K e_T dx        e_T: common free strain of the section, linear along the member
//! ```

use super::section_parts::{CompositeSection, SectionStiffness, TemperatureField, ThermalStrains};
use super::temperature_change::ThermalCase;
use crate::deformation::{Base, CompositeBody, DeflectionFault};
use nalgebra::Vector6;
use stillbed_frame::{Frame, FrameFault, FreeStrain};
use stillbed_modes::Statics;

/// Refuses a change of temperature where the expansion of a material is not known.
pub(super) fn check_expansions(
    base: &Base,
    sections: &[CompositeSection],
    case: &ThermalCase,
) -> Result<(), DeflectionFault> {
    let used = |number: usize| base.frame.members.iter().any(|member| member.section == number);
    let mut faults: Vec<FrameFault> = Vec::new();
    let of_sections = sections.iter().enumerate().filter(|(number, _)| used(*number));
    let lacking = of_sections
        .flat_map(|(_, section)| section.lacking_expansion())
        .chain(base.bodies.iter().flat_map(CompositeBody::lacking_expansion));
    for name in lacking.filter(|_| case.warms()) {
        let fault = FrameFault {
            table: "materials",
            name: name.to_string(),
            field: "expansion",
            message: "its expansion is not known, and a change of temperature needs it".to_string(),
            help: "add expansion = \"12 um/m K\"".to_string(),
        };
        if !faults.contains(&fault) {
            faults.push(fault);
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(DeflectionFault::Frame(faults)) }
}

/// The load of a case on the frame, and the free strains of its members: from shrinkage alone when `cured`,
/// otherwise from temperatures alone.
pub(super) fn strain_load(
    base: &Base,
    statics: &Statics,
    sections: &[CompositeSection],
    case: &ThermalCase,
    cured: bool,
) -> Result<(Vec<f64>, Vec<FreeStrain>), DeflectionFault> {
    let strains = free_strains(statics, sections, case, cured)?;
    let load = statics.layout.free_strain_load(statics.frame, &strains);
    let mut load = load.ok_or(DeflectionFault::NotHeld)?;
    add_bodies(&mut load, base, statics, case, cured);
    Ok((load, strains))
}

/// Adds the load of the bodies' free strains.
pub(super) fn add_bodies(load: &mut [f64], base: &Base, statics: &Statics, case: &ThermalCase, cured: bool) {
    for (number, body) in base.bodies.iter().enumerate() {
        body.add_load(load, statics, number, &case.body_strains(body, number, cured));
    }
}

/// The free strains alone.
pub(super) fn free_strains(
    statics: &Statics,
    sections: &[CompositeSection],
    case: &ThermalCase,
    cured: bool,
) -> Result<Vec<FreeStrain>, DeflectionFault> {
    let mut strains = Vec::with_capacity(statics.frame.members.len());
    for (number, member) in statics.frame.members.iter().enumerate() {
        let section = sections.get(member.section).and_then(CompositeSection::stiffness);
        let ends = section.and_then(|section| strains_at_ends(&section, statics.frame, number, case, cured));
        let ends = ends.ok_or_else(|| no_section(statics.frame, member.section))?;
        strains.push(ends.map(|ends| {
            let [eps, y, z] = ends.strain.into();
            Vector6::new(eps, 0.0, 0.0, 0.0, y, z)
        }));
    }
    Ok(strains)
}

/// The fault of a section without a part that carries load.
pub(super) fn no_section(frame: &Frame, number: usize) -> DeflectionFault {
    DeflectionFault::Frame(vec![FrameFault {
        table: "sections",
        name: frame.sections.get(number).map(|section| section.name.clone()).unwrap_or_default(),
        field: "",
        message: "it has 0 stiff parts; an answer to temperature needs at least 1".to_string(),
        help: "give it a part that carries load".to_string(),
    }])
}

/// The free strains of a member's section at its two ends.
pub(super) fn strains_at_ends(
    section: &SectionStiffness,
    frame: &Frame,
    number: usize,
    case: &ThermalCase,
    cured: bool,
) -> Option<[ThermalStrains; 2]> {
    let own = case.own_strains(section.section);
    let none = vec![0.0; own.len()];
    let [start, end] = case.fields(frame, number)?;
    let at = |field: &TemperatureField| {
        if cured {
            section.thermal_strains(&TemperatureField::default(), &own)
        } else {
            section.thermal_strains(field, &none)
        }
    };
    Some([at(&start)?, at(&end)?])
}
