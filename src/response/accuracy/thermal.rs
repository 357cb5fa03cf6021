//! What do a change of temperature and a cure do to a base? Growth, bow, drift, stress.
//!
//! Temperature and cure are solved separately and added, so that every stress can be split by cause. A cure
//! whose shrinkage is not stated adds to the stresses alone: faces are finished after it, and the motion it
//! caused is reported separately. Creep and relaxation, which lower the stresses of the cure with time, are
//! left out. Where fill would crack or let go of the skeleton, the result says where, and gives the motion
//! and the stresses again with those members sliding.
//!
//! A change of temperature exerts no net force on a base, so on average its feet hold it where it was:
//! drift and straightness are those in the base's own plane ([`stillbed_modes::Footing`]).
//!
//! Ground keeps its size and its temperature; the arms of offsets keep their length.
//!
//! # Source
//! - `boley1960`: beams and frames under temperature (memory)

use super::bond::{BondLine, EndShear, Side};
use super::case::{Cure, ThermalCase};
use super::parts::{Field, Stress, Together, Wanted, WarmSection};
use super::rail::Rail;
use super::rest::{RestFault, at_rest, divided};
use super::straight::Straightness;
use super::travel::{Carriage, Path, path_over};
use super::weight::{Weighed, weighed, weight};
use super::{Base, Xyz};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use stillbed_frame::{Frame, FrameFault, FreeStrain};
use stillbed_material::Role;
use stillbed_modes::Statics;

/// Elements that each member is subdivided into; even, so that the middle is a place.
pub(super) const PIECES: usize = 24;

/// What is requested besides the change itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ThermalAsk {
    /// Lines whose straightness is requested.
    pub rails: Vec<Rail>,
    /// A carriage whose path over them is requested.
    pub carriage: Option<Carriage>,
    /// Shear strength of the bond between fill and skeleton, Pa; `None` where it is not known.
    pub bond_strength: Option<f64>,
}

/// What temperature and cure do to a base.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thermal {
    /// The build.
    pub name: String,
    /// Displacement of the tip relative to the work for one kelvin everywhere, m/K; `None` without a tool.
    pub drift_m_per_k: Option<Xyz>,
    /// The same as an angle, rad/K.
    pub turn_rad_per_k: Option<Xyz>,
    /// Under the stated change.
    #[serde(flatten)]
    pub state: ThermalState,
    /// Where fill would crack or let go; parts count as bonded until then.
    pub failures: Vec<Failure>,
    /// The state with the members of `failures` sliding.
    pub sliding: Option<ThermalState>,
    /// What the cure by itself moved, where it adds to the stresses alone.
    pub cure: Option<AfterCure>,
}

/// What the cure of the mixes did to a base before its faces are finished.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AfterCure {
    /// By mix.
    pub of: Vec<Cure>,
    /// The member that it bows most, and by how much, m.
    pub bows_most: Option<(String, f64)>,
    /// Of the requested lines.
    pub straightness: Vec<Straightness>,
}

/// Motion and stress under the stated change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalState {
    /// Displacement of the tip relative to the work, m; `None` without a tool.
    pub drift_m: Option<Xyz>,
    /// The same as an angle, rad.
    pub turn_rad: Option<Xyz>,
    /// By member.
    pub members: Vec<ThermalMember>,
    /// Of the requested lines.
    pub straightness: Vec<Straightness>,
    /// The path of the carriage over the bent lines, without its own weight; `None` without a carriage.
    pub path: Option<Path>,
}

/// One member.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalMember {
    /// Its name.
    pub name: String,
    /// How much longer it becomes, m.
    pub growth_m: f64,
    /// Largest distance of its line from the line through its ends, m.
    pub bow_m: f64,
    /// By part of its section.
    pub parts: Vec<ThermalPart>,
}

/// The stress of one part where its margin is least, or, without a strength, where it is largest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalPart {
    /// Its material.
    pub of: String,
    /// Along the member, tension positive, Pa; the sum of the next four.
    pub stress_pa: f64,
    /// Its component from the axial force of the member, Pa.
    pub axial_pa: f64,
    /// Its component from the moments of the member, Pa.
    pub bending_pa: f64,
    /// Its component from expansion unlike that of the other parts, Pa.
    pub mismatch_pa: f64,
    /// Its component from the cure, Pa.
    pub shrinkage_pa: f64,
    /// Tensile strength, or compressive where the stress is compressive, Pa.
    pub strength_pa: Option<f64>,
    /// Strength over stress; `None` without strength or stress.
    pub margin: Option<f64>,
    /// From the member's start, m.
    pub at_m: f64,
    /// Place in the section, [y, z], m.
    pub at_section_m: [f64; 2],
    /// Mean shear of its bond to the other parts over the overlap of a lap test at the member's ends, Pa.
    pub bond_shear_pa: Option<f64>,
    /// Length from an end over which 95 % of that force is transferred, m.
    pub bond_reach_m: Option<f64>,
    /// Bond strength over that shear.
    pub bond_margin: Option<f64>,
    /// What the weight of everything adds; `None` where nothing holds the base.
    pub weight: Option<Weighed>,
}

/// How a fill fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FailureKind {
    /// Its stress exceeds its strength.
    Cracks,
    /// The shear at its bond line exceeds the bond strength.
    LetsGo,
}

/// A fill that cracks or lets go.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Failure {
    /// The member.
    pub member: String,
    /// The material.
    pub of: String,
    /// How.
    pub how: FailureKind,
    /// From the member's start, m.
    pub at_m: f64,
    /// Place in the section, [y, z], m.
    pub at_section_m: [f64; 2],
    /// Stress or shear there, Pa.
    pub stress_pa: f64,
    /// The strength there, Pa.
    pub strength_pa: f64,
}

/// What `case` does to `base`.
///
/// # Errors
/// An invalid frame, a material without the expansion that the change needs, a motion that nothing holds.
pub fn thermal(base: &Base, case: &ThermalCase, ask: &ThermalAsk) -> Result<Thermal, RestFault> {
    needs(base, case)?;
    let statics = divided(base.frame, PIECES)?;
    let weights = weight(&statics)?;
    let solved = Solved::new(base, &statics, base.sections, case)?;
    let state = solved.state(ask, weights.as_deref())?;
    let known = base.sections.iter().all(|section| section.lacking_expansion().next().is_none());
    let (mut drift, mut turn) = (None, None);
    if known && base.tip.is_some() {
        let load = strain_load(&statics, base.sections, &ThermalCase::uniform(1.0), false)?.0;
        (drift, turn) = base.drift(&statics, &at_rest(&statics, &load)?);
    }
    let failures = failures(base, &state, ask);
    let sliding = slid(base, &failures, case, ask)?;
    let cure = solved.after_cure(ask)?;
    let name = base.name.to_string();
    Ok(Thermal { name, drift_m_per_k: drift, turn_rad_per_k: turn, state, failures, sliding, cure })
}

/// Refuses a change of temperature where the expansion of a material is not known.
pub(super) fn needs(base: &Base, case: &ThermalCase) -> Result<(), RestFault> {
    let used = |number: usize| base.frame.members.iter().any(|member| member.section == number);
    let mut faults: Vec<FrameFault> = Vec::new();
    for (number, section) in base.sections.iter().enumerate() {
        for name in section.lacking_expansion().filter(|_| case.warms() && used(number)) {
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
    }
    if faults.is_empty() { Ok(()) } else { Err(RestFault::Frame(faults)) }
}

/// The load of a case on the frame, and the free strains of its members: from shrinkage alone when `cured`,
/// otherwise from temperatures alone.
pub(super) fn strain_load(
    statics: &Statics,
    sections: &[WarmSection],
    case: &ThermalCase,
    cured: bool,
) -> Result<(Vec<f64>, Vec<FreeStrain>), RestFault> {
    let strains = free_strains(statics, sections, case, cured)?;
    let load = statics.layout.free_strain_load(statics.frame, &strains);
    Ok((load.ok_or(RestFault::NotHeld)?, strains))
}

/// The free strains alone.
pub(super) fn free_strains(
    statics: &Statics,
    sections: &[WarmSection],
    case: &ThermalCase,
    cured: bool,
) -> Result<Vec<FreeStrain>, RestFault> {
    let mut strains = Vec::with_capacity(statics.frame.members.len());
    for (number, member) in statics.frame.members.iter().enumerate() {
        let section = sections.get(member.section).and_then(WarmSection::together);
        let ends = section.and_then(|section| wanted(&section, statics.frame, number, case, cured));
        let ends = ends.ok_or_else(|| no_section(statics.frame, member.section))?;
        strains.push(ends.map(|ends| {
            let [eps, y, z] = ends.strain.into();
            Vector6::new(eps, 0.0, 0.0, 0.0, y, z)
        }));
    }
    Ok(strains)
}

fn no_section(frame: &Frame, number: usize) -> RestFault {
    RestFault::Frame(vec![FrameFault {
        table: "sections",
        name: frame.sections.get(number).map(|section| section.name.clone()).unwrap_or_default(),
        field: "",
        message: "it has 0 stiff parts; an answer to temperature needs at least 1".to_string(),
        help: "give it a part that carries load".to_string(),
    }])
}

/// The free strains of a member's section at its two ends.
fn wanted(
    section: &Together,
    frame: &Frame,
    number: usize,
    case: &ThermalCase,
    cured: bool,
) -> Option<[Wanted; 2]> {
    let own = case.own_strains(section.section);
    let none = vec![0.0; own.len()];
    let [start, end] = case.fields(frame, number)?;
    let at = |field: &Field| {
        if cured { section.wanted(&Field::default(), &own) } else { section.wanted(field, &none) }
    };
    Some([at(&start)?, at(&end)?])
}

/// A solved case: temperature first, then cure.
struct Solved<'a> {
    base: &'a Base<'a>,
    statics: &'a Statics<'a>,
    sections: &'a [WarmSection],
    case: &'a ThermalCase,
    motions: [Vec<f64>; 2],
    strains: [Vec<FreeStrain>; 2],
}

impl<'a> Solved<'a> {
    fn new(
        base: &'a Base,
        statics: &'a Statics,
        sections: &'a [WarmSection],
        case: &'a ThermalCase,
    ) -> Result<Solved<'a>, RestFault> {
        let (warm, warm_strains) = strain_load(statics, sections, case, false)?;
        let (cure, cure_strains) = strain_load(statics, sections, case, true)?;
        let motions = [at_rest(statics, &warm)?, at_rest(statics, &cure)?];
        Ok(Solved { base, statics, sections, case, motions, strains: [warm_strains, cure_strains] })
    }

    /// The state; `weights` are the forces of the weight by member, where something holds the base.
    fn state(
        &self,
        ask: &ThermalAsk,
        weights: Option<&[Vec<Vector3<f64>>]>,
    ) -> Result<ThermalState, RestFault> {
        let cured = if self.case.cure_moves() { 1.0 } else { 0.0 };
        let motion: Vec<f64> =
            self.motions[0].iter().zip(&self.motions[1]).map(|(a, b)| a + cured * b).collect();
        let (drift_m, turn_rad) = self.base.drift(self.statics, &motion);
        let frame = self.statics.frame;
        let mut members = Vec::with_capacity(frame.members.len());
        for (number, member) in frame.members.iter().enumerate() {
            let line = self.statics.layout.line_motion(frame, number, &motion).ok_or(RestFault::NotHeld)?;
            let rail = Rail::member(frame, number).ok_or(RestFault::NotHeld)?;
            let own = rail.line(self.statics, &motion, 0).ok_or(RestFault::NotHeld)?;
            let length = rail.length;
            let ends = line.first().zip(line.last());
            members.push(ThermalMember {
                name: member.name.clone(),
                growth_m: ends.map_or(0.0, |(first, last)| last[0] - first[0]),
                bow_m: own.bow(),
                parts: self
                    .parts(number, length, ask, weights.map(|weights| weights[number].as_slice()))
                    .ok_or_else(|| no_section(frame, member.section))?,
            });
        }
        let straight = |rail: &Rail| rail.straightness(self.statics, &motion).ok_or(RestFault::NotHeld);
        let straightness = ask.rails.iter().map(straight).collect::<Result<_, _>>()?;
        let path = |carriage| path_over(self.statics, carriage, &motion);
        let path = ask.carriage.as_ref().map(path).transpose()?;
        Ok(ThermalState { drift_m, turn_rad, members, straightness, path })
    }

    /// What the cure moved, where that is not part of the state.
    fn after_cure(&self, ask: &ThermalAsk) -> Result<Option<AfterCure>, RestFault> {
        let frame = self.statics.frame;
        let cast = |cure: &&Cure| {
            let sections = frame.members.iter().filter_map(|member| self.sections.get(member.section));
            sections.flat_map(|section| &section.parts).any(|part| part.medium.name == cure.of)
        };
        let of: Vec<Cure> = self.case.cures.iter().filter(cast).cloned().collect();
        if of.is_empty() || self.case.cure_moves() {
            return Ok(None);
        }
        let motion = &self.motions[1];
        let mut bows_most: Option<(String, f64)> = None;
        for (number, member) in frame.members.iter().enumerate() {
            let rail = Rail::member(frame, number).ok_or(RestFault::NotHeld)?;
            let bow = rail.line(self.statics, motion, 0).ok_or(RestFault::NotHeld)?.bow();
            if bows_most.as_ref().is_none_or(|(_, most)| bow > *most) {
                bows_most = Some((member.name.clone(), bow));
            }
        }
        let straight = |rail: &Rail| rail.straightness(self.statics, motion).ok_or(RestFault::NotHeld);
        let straightness = ask.rails.iter().map(straight).collect::<Result<_, _>>()?;
        Ok(Some(AfterCure { of, bows_most, straightness }))
    }

    /// The parts of one member. Temperatures and forces are linear along it, so its two ends are enough.
    fn parts(
        &self,
        number: usize,
        length: f64,
        ask: &ThermalAsk,
        weight: Option<&[Vector3<f64>]>,
    ) -> Option<Vec<ThermalPart>> {
        let frame = self.statics.frame;
        let section = &self.sections[frame.members[number].section];
        let together = section.together()?;
        let mut ends = Vec::new();
        for (case, cured) in [false, true].into_iter().enumerate() {
            let wanted = wanted(&together, frame, number, self.case, cured)?;
            let forces = self.statics.layout.line_forces(
                frame,
                number,
                &self.motions[case],
                &self.strains[case][number],
            )?;
            let forces = [forces.first()?, forces.last()?].map(|f| Vector3::new(f[0], f[4], f[5]));
            ends.push((wanted, forces));
        }
        let one = |part: usize| {
            let mut worst: Option<ThermalPart> = None;
            let mut stresses = vec![[0.0; 2]; section.parts[part].corners.len()];
            for (end, at_m) in [0.0, length].into_iter().enumerate() {
                for (corner, stresses) in section.parts[part].corners.iter().zip(&mut stresses) {
                    let of = |case: usize| {
                        let (wanted, forces) = &ends[case];
                        together.stress(part, *corner, &forces[end], &wanted[end])
                    };
                    let found = one_place(section, part, at_m, *corner, &of(0)?, &of(1)?);
                    stresses[end] = found.stress_pa;
                    if worst.as_ref().is_none_or(|worst| harder(&found, worst)) {
                        worst = Some(found);
                    }
                }
            }
            let mut worst = worst?;
            let mut shear: Option<EndShear> = None;
            for end in 0..2 {
                let force = together.transferred(part, &ends[0].0[end])?
                    + together.transferred(part, &ends[1].0[end])?;
                let now = bond_line(section, &together, part, length).and_then(|line| line.end_shear(force));
                shear = now.filter(|now| shear.is_none_or(|most| now.shear > most.shear)).or(shear);
            }
            let shear = shear.filter(|_| section.bond > 0.0);
            worst.bond_shear_pa = shear.map(|shear| shear.shear);
            worst.bond_reach_m = shear.map(|shear| shear.reach);
            worst.bond_margin = margin(ask.bond_strength, worst.bond_shear_pa.unwrap_or(0.0));
            worst.weight = weight.and_then(|forces| weighed(&together, part, length, forces, &stresses));
            Some(worst)
        };
        (0..section.parts.len()).filter(|part| !section.parts[*part].corners.is_empty()).map(one).collect()
    }
}

fn one_place(
    section: &WarmSection,
    part: usize,
    at_m: f64,
    at: [f64; 2],
    warm: &Stress,
    cure: &Stress,
) -> ThermalPart {
    let part = &section.parts[part];
    let (axial, bending) = (warm.axial + cure.axial, warm.bending + cure.bending);
    let stress = axial + bending + warm.mismatch + cure.mismatch;
    let strength = part.strength(stress);
    ThermalPart {
        of: part.medium.name.clone(),
        stress_pa: stress,
        axial_pa: axial,
        bending_pa: bending,
        mismatch_pa: warm.mismatch,
        shrinkage_pa: cure.mismatch,
        strength_pa: strength,
        margin: margin(strength, stress),
        at_m,
        at_section_m: at,
        bond_shear_pa: None,
        bond_reach_m: None,
        bond_margin: None,
        weight: None,
    }
}

/// True when `a` is closer to its strength than `b`, or, where no strength is known, stressed more.
fn harder(a: &ThermalPart, b: &ThermalPart) -> bool {
    match (a.margin, b.margin) {
        (Some(a), Some(b)) => a < b,
        (Some(_), None) => true,
        (None, Some(_)) => false,
        (None, None) => a.stress_pa.abs() > b.stress_pa.abs(),
    }
}

/// Strength over stress; a stress below one pascal counts as rounding.
pub(super) fn margin(strength: Option<f64>, stress: f64) -> Option<f64> {
    strength.filter(|_| stress.abs() >= 1.0).map(|strength| strength / stress.abs())
}

/// The bond line of a part against all others; `None` for a part alone.
fn bond_line(section: &WarmSection, together: &Together, part: usize, length: f64) -> Option<BondLine> {
    (section.parts.len() > 1).then_some(())?;
    let area_and_shear = |number: usize| {
        let part = &section.parts[number];
        [part.moments.area, part.moments.area * part.medium.shear_modulus.re]
    };
    let others = (0..section.parts.len()).filter(|number| *number != part).map(area_and_shear);
    let [others, others_shear] = others.fold([0.0; 2], |[a, g], [area, shear]| [a + area, g + shear]);
    let own = &section.parts[part];
    let ea = own.medium.youngs_modulus.re * own.moments.area;
    let sides = [
        Side { shear_modulus: own.medium.shear_modulus.re, area: own.moments.area, ea },
        Side { shear_modulus: others_shear / others, area: others, ea: together.ea() - ea },
    ];
    Some(BondLine { sides, contact: own.contact?, length })
}

fn failures(base: &Base, state: &ThermalState, ask: &ThermalAsk) -> Vec<Failure> {
    let mut failures = Vec::new();
    for (member, drawn) in state.members.iter().zip(&base.frame.members) {
        let section = &base.sections[drawn.section];
        let solid = section.parts.iter().filter(|part| !part.corners.is_empty());
        for (part, own) in member.parts.iter().zip(solid) {
            if own.medium.role != Role::Fill {
                continue;
            }
            let fails = |how, stress_pa: f64, strength_pa: f64| Failure {
                member: member.name.clone(),
                of: part.of.clone(),
                how,
                at_m: part.at_m,
                at_section_m: part.at_section_m,
                stress_pa,
                strength_pa,
            };
            let with_weight = part.weight.as_ref().filter(|weight| weight.margin.is_some_and(|m| m < 1.0));
            if let Some(strength) = part.strength_pa.filter(|_| part.margin.is_some_and(|m| m < 1.0)) {
                failures.push(fails(FailureKind::Cracks, part.stress_pa, strength));
            } else if let Some((weight, strength)) = with_weight.and_then(|w| Some((w, w.strength_pa?))) {
                let cracks = fails(FailureKind::Cracks, weight.together_pa, strength);
                failures.push(Failure { at_m: weight.at_m, at_section_m: weight.at_section_m, ..cracks });
            }
            let lets_go = part.bond_margin.is_some_and(|m| m < 1.0);
            if let Some((shear, strength)) = part.bond_shear_pa.zip(ask.bond_strength).filter(|_| lets_go) {
                failures.push(fails(FailureKind::LetsGo, shear, strength));
            }
        }
    }
    failures
}

/// The state with the members of `failures` sliding; `None` when nothing fails.
fn slid(
    base: &Base,
    failures: &[Failure],
    case: &ThermalCase,
    ask: &ThermalAsk,
) -> Result<Option<ThermalState>, RestFault> {
    if failures.is_empty() {
        return Ok(None);
    }
    let mut frame = base.frame.clone();
    let mut sections = base.sections.to_vec();
    for member in &mut frame.members {
        if failures.iter().all(|failure| failure.member != member.name) {
            continue;
        }
        let Some(section) = base.sections.get(member.section) else { continue };
        member.section = sections.len();
        frame.sections.push(section.sliding.clone());
        sections.push(WarmSection { bond: 0.0, ..section.clone() });
    }
    let statics = divided(&frame, PIECES)?;
    let weights = weight(&statics)?;
    Solved::new(base, &statics, &sections, case)?.state(ask, weights.as_deref()).map(Some)
}

#[cfg(test)]
#[path = "thermal_tests.rs"]
mod tests;
