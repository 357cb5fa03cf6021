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

use super::answer::{
    BodyWeightStress, CureMotion, Failure, FailureKind, Thermal, ThermalBody, ThermalBodyPart, ThermalMember,
    ThermalPart, ThermalRequest, ThermalState,
};
use super::bond_shear::{BondLine, EndShear, Side};
use super::section_parts::{CompositePart, CompositeSection, HeldStress, PartStress, margin};
use super::temperature_change::{Cure, ThermalCase};
use super::thermal_load::{check_expansions, no_section, strain_load, strains_at_ends};
use super::weight_stress::{Weight, weight_stress};
use crate::deformation::{
    Base, BodyFreeStrain, CompositeBody, DeflectionFault, PIECES, PlaceStress, Rail, deflection, path_over,
    subdivided,
};
use nalgebra::Vector3;
use stillbed_frame::FreeStrain;
use stillbed_material::{Medium, Role};
use stillbed_modes::Statics;

/// What `case` does to `base`, whose frame has these `sections`, one for each of its own.
///
/// ```
/// use nalgebra::Vector3;
/// use stillbed_frame::{Frame, Member, MemberSection, Plain, Point};
/// use stillbed_material::{Medium, Role};
/// use stillbed_response::deformation::Base;
/// use stillbed_response::thermal::{
///     CompositePart, CompositeSection, ThermalCase, ThermalRequest, solve_thermal,
/// };
/// use stillbed_section::Moments;
///
/// // A free bar 1 m long of one steel, 12e-6 per kelvin.
/// let plain = Plain {
///     ea: 1e8,
///     ga: [1e12; 2],
///     gj: 1e4,
///     ei: [1e4; 2],
///     rho_a: 10.0,
///     rho_i: [1e-3; 2],
///     loss_factor: 0.0,
/// };
/// let point = |name: &str, x: f64| Point { name: name.into(), position: Vector3::new(x, 0.0, 0.0) };
/// let member = Member {
///     name: "arm".into(),
///     from: 0,
///     to: 1,
///     section: 0,
///     up: None,
///     offset: Vector3::zeros(),
///     joint_from: None,
///     joint_to: None,
///     rigid: [0.0; 2],
///     displaced: Vec::new(),
/// };
/// let section = MemberSection::plain("bar", "steel", Role::Skeleton, &plain);
/// let frame = Frame {
///     points: vec![point("left", 0.0), point("right", 1.0)],
///     sections: vec![section.clone()],
///     members: vec![member],
///     ..Frame::default()
/// };
/// let mut medium = Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.0);
/// medium.expansion = Some(12e-6);
/// let part = CompositePart {
///     medium,
///     compressive_strength: None,
///     moments: Moments { area: 4e-4, y: 0.0, z: 0.0, yy: 1e-8, zz: 1e-8, yz: 0.0 },
///     corners: vec![[-0.01, -0.01], [0.01, -0.01], [0.01, 0.01], [-0.01, 0.01]],
///     borders: Vec::new(),
/// };
/// let sections = [CompositeSection { parts: vec![part], nests: Vec::new(), bond: 1.0, sliding: section }];
/// let base = Base { name: "bar", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
/// let found = solve_thermal(&base, &sections, &ThermalCase::uniform(10.0), &ThermalRequest::default())?;
/// assert!((found.state.members[0].growth_m - 120e-6).abs() < 1e-12);
/// assert!((found.drift_m_per_k.unwrap().x - 12e-6).abs() < 1e-13);
/// # Ok::<(), stillbed_response::deformation::DeflectionFault>(())
/// ```
///
/// # Errors
/// An invalid frame, a material without the expansion that the change needs, a motion that nothing holds.
pub fn solve_thermal(
    base: &Base,
    sections: &[CompositeSection],
    case: &ThermalCase,
    ask: &ThermalRequest,
) -> Result<Thermal, DeflectionFault> {
    check_expansions(base, sections, case)?;
    let statics = subdivided(base.frame, PIECES)?;
    let weight = Weight::solve(&statics)?;
    let solved = SolvedCase::new(base, &statics, sections, case)?;
    let state = solved.state(ask, weight.as_ref())?;
    let known = sections.iter().all(|section| section.lacking_expansion().next().is_none())
        && base.bodies.iter().all(|body| body.lacking_expansion().next().is_none());
    let (mut drift, mut turn) = (None, None);
    if known && base.tip.is_some() {
        let load = strain_load(base, &statics, sections, &ThermalCase::uniform(1.0), false)?.0;
        (drift, turn) = base.drift(&statics, &deflection(&statics, &load)?);
    }
    let failures = failures(base, sections, &state, ask);
    let sliding = with_sliding(base, sections, &failures, case, ask)?;
    let cure = solved.after_cure(ask)?;
    let name = base.name.to_string();
    Ok(Thermal { name, drift_m_per_k: drift, turn_rad_per_k: turn, state, failures, sliding, cure })
}

/// A solved case: temperature first, then cure.
struct SolvedCase<'a> {
    base: &'a Base<'a>,
    statics: &'a Statics<'a>,
    sections: &'a [CompositeSection],
    case: &'a ThermalCase,
    motions: [Vec<f64>; 2],
    strains: [Vec<FreeStrain>; 2],
}

impl<'a> SolvedCase<'a> {
    fn new(
        base: &'a Base,
        statics: &'a Statics,
        sections: &'a [CompositeSection],
        case: &'a ThermalCase,
    ) -> Result<SolvedCase<'a>, DeflectionFault> {
        let (warm, warm_strains) = strain_load(base, statics, sections, case, false)?;
        let (cure, cure_strains) = strain_load(base, statics, sections, case, true)?;
        let motions = [deflection(statics, &warm)?, deflection(statics, &cure)?];
        Ok(SolvedCase { base, statics, sections, case, motions, strains: [warm_strains, cure_strains] })
    }

    /// The state; `weight` is known where something holds the base.
    fn state(&self, ask: &ThermalRequest, weight: Option<&Weight>) -> Result<ThermalState, DeflectionFault> {
        let cured = if self.case.cure_moves() { 1.0 } else { 0.0 };
        let motion: Vec<f64> =
            self.motions[0].iter().zip(&self.motions[1]).map(|(a, b)| a + cured * b).collect();
        let (drift_m, turn_rad) = self.base.drift(self.statics, &motion);
        let frame = self.statics.frame;
        let mut members = Vec::with_capacity(frame.members.len());
        for (number, member) in frame.members.iter().enumerate() {
            let line =
                self.statics.layout.line_motion(frame, number, &motion).ok_or(DeflectionFault::NotHeld)?;
            let rail = Rail::from_member(frame, number).ok_or(DeflectionFault::NotHeld)?;
            let own = rail.line(self.statics, &motion, 0).ok_or(DeflectionFault::NotHeld)?;
            let length = rail.length;
            let ends = line.first().zip(line.last());
            members.push(ThermalMember {
                name: member.name.clone(),
                growth_m: ends.map_or(0.0, |(first, last)| last[0] - first[0]),
                bow_m: own.bow(),
                parts: self
                    .parts(number, length, ask, weight.map(|weight| weight.forces[number].as_slice()))
                    .ok_or_else(|| no_section(frame, member.section))?,
            });
        }
        let straight = |rail: &Rail| rail.straightness(self.statics, &motion).ok_or(DeflectionFault::NotHeld);
        let straightness = ask.rails.iter().map(straight).collect::<Result<_, _>>()?;
        let path = |carriage| path_over(self.statics, carriage, &motion);
        let path = ask.carriage.as_ref().map(path).transpose()?;
        let bodies = (0..self.base.bodies.len()).map(|number| self.body(number, &motion, weight)).collect();
        Ok(ThermalState { drift_m, turn_rad, members, bodies, straightness, path })
    }

    /// Body `number` after the `motion` of the state.
    fn body(&self, number: usize, motion: &[f64], weight: Option<&Weight>) -> ThermalBody {
        let (frame, layout) = (self.statics.frame, &self.statics.layout);
        let body = &self.base.bodies[number];
        let coordinates = |motion: &[f64]| layout.body_motion(frame, number, motion);
        // Both causes strain it, whether or not the cure moves the base.
        let strains = [false, true].map(|cured| self.case.body_strains(body, number, cured));
        let free: Vec<BodyFreeStrain> = strains[0].iter().zip(&strains[1]).map(|(a, b)| *a + *b).collect();
        let moving = if self.case.cure_moves() { &free } else { &strains[0] };
        let (growth_m, bow_m) = body.growth_and_bow(&coordinates(motion), moving);
        let both: Vec<f64> = self.motions[0].iter().zip(&self.motions[1]).map(|(a, b)| a + b).collect();
        let worst = |motion: &[f64]| {
            let extremes = body.extremes(&body.stresses(&coordinates(motion), &free));
            extremes
                .into_iter()
                .enumerate()
                .map(|(material, sides)| worst_side(body, material, sides))
                .collect()
        };
        let own: Vec<BodyWeightStress> = worst(&both);
        let weighed: Option<Vec<BodyWeightStress>> = weight
            .map(|weight| worst(&both.iter().zip(&weight.motion).map(|(a, b)| a + b).collect::<Vec<f64>>()));
        let part = |(material, own): (usize, &BodyWeightStress)| ThermalBodyPart {
            of: body.media[material].name.clone(),
            stress_pa: own.together_pa,
            strength_pa: body.strength(material, own.together_pa),
            margin: own.margin,
            at_m: own.at_m,
            weight: weighed.as_ref().map(|weighed| weighed[material]),
        };
        let parts = own.iter().enumerate().map(part).collect();
        ThermalBody { name: body.name.to_string(), growth_m, bow_m, parts }
    }

    /// What the cure moved, where that is not part of the state.
    fn after_cure(&self, ask: &ThermalRequest) -> Result<Option<CureMotion>, DeflectionFault> {
        let frame = self.statics.frame;
        let cast = |cure: &&Cure| {
            let sections = frame.members.iter().filter_map(|member| self.sections.get(member.section));
            sections.flat_map(|section| &section.parts).any(|part| part.medium.name == cure.of)
                || self.base.bodies.iter().flat_map(|body| &body.media).any(|medium| medium.name == cure.of)
        };
        let of: Vec<Cure> = self.case.cures.iter().filter(cast).cloned().collect();
        if of.is_empty() || self.case.cure_moves() {
            return Ok(None);
        }
        let motion = &self.motions[1];
        let mut bows_most: Option<(String, f64)> = None;
        for (number, member) in frame.members.iter().enumerate() {
            let rail = Rail::from_member(frame, number).ok_or(DeflectionFault::NotHeld)?;
            let bow = rail.line(self.statics, motion, 0).ok_or(DeflectionFault::NotHeld)?.bow();
            if bows_most.as_ref().is_none_or(|(_, most)| bow > *most) {
                bows_most = Some((member.name.clone(), bow));
            }
        }
        for (number, body) in self.base.bodies.iter().enumerate() {
            let coordinates = self.statics.layout.body_motion(frame, number, motion);
            let (_, bow) = body.growth_and_bow(&coordinates, &self.case.body_strains(body, number, true));
            if bows_most.as_ref().is_none_or(|(_, most)| bow > *most) {
                bows_most = Some((body.name.to_string(), bow));
            }
        }
        let straight = |rail: &Rail| rail.straightness(self.statics, motion).ok_or(DeflectionFault::NotHeld);
        let straightness = ask.rails.iter().map(straight).collect::<Result<_, _>>()?;
        Ok(Some(CureMotion { of, bows_most, straightness }))
    }

    /// The parts of one member. Temperatures and forces are linear along it, so its two ends are enough.
    fn parts(
        &self,
        number: usize,
        length: f64,
        ask: &ThermalRequest,
        weight: Option<&[Vector3<f64>]>,
    ) -> Option<Vec<ThermalPart>> {
        let frame = self.statics.frame;
        let section = &self.sections[frame.members[number].section];
        let stiffness = section.stiffness()?;
        let mut ends = Vec::new();
        for (case, cured) in [false, true].into_iter().enumerate() {
            let strains = strains_at_ends(&stiffness, frame, number, self.case, cured)?;
            let forces = self.statics.layout.line_forces(
                frame,
                number,
                &self.motions[case],
                &self.strains[case][number],
            )?;
            let forces = [forces.first()?, forces.last()?].map(|f| Vector3::new(f[0], f[4], f[5]));
            ends.push((strains, forces));
        }
        let one = |part: usize| {
            let own = &section.parts[part];
            let mut worst: Option<ThermalPart> = None;
            let mut across: Option<f64> = None;
            let mut stresses = vec![[0.0; 2]; own.corners.len()];
            for (end, at_m) in [0.0, length].into_iter().enumerate() {
                let [warm, cure] = [0, 1].map(|case| stiffness.held(part, &ends[case].0[end]));
                let held: Vec<[HeldStress; 2]> = warm.into_iter().zip(cure).map(|(a, b)| [a, b]).collect();
                for now in held.iter().flat_map(|[a, b]| (0..4).map(|i| a.across[i] + b.across[i])) {
                    across = Some(across.map_or(now, |most| harder_across(own, now, most)));
                }
                let held = if held.is_empty() { vec![Default::default()] } else { held };
                for (corner, stresses) in own.corners.iter().zip(&mut stresses) {
                    let of = |case: usize| {
                        let (strains, forces) = &ends[case];
                        stiffness.stress(part, *corner, &forces[end], &strains[end])
                    };
                    let (warm, cure) = (of(0)?, of(1)?);
                    let ring = |[a, b]: &[HeldStress; 2]| {
                        one_place(section, part, at_m, *corner, &warm.with(a), &cure.with(b))
                    };
                    let found = held.iter().map(ring).reduce(|a, b| if harder(&b, &a) { b } else { a })?;
                    stresses[end] = found.stress_pa;
                    if worst.as_ref().is_none_or(|worst| harder(&found, worst)) {
                        worst = Some(found);
                    }
                }
            }
            let mut worst = worst?;
            worst.across_pa = across;
            worst.across_margin = across.and_then(|across| margin(own.strength(across), across));
            let mut shear: Option<EndShear> = None;
            for end in 0..2 {
                let force = stiffness.transferred(part, &ends[0].0[end])?
                    + stiffness.transferred(part, &ends[1].0[end])?;
                let now = bond_line(section, part, length).and_then(|line| line.end_shear(force));
                shear = now.filter(|now| shear.is_none_or(|most| now.shear > most.shear)).or(shear);
            }
            let shear = shear.filter(|_| section.bond > 0.0);
            worst.bond_shear_pa = shear.map(|shear| shear.shear);
            worst.bond_reach_m = shear.map(|shear| shear.reach);
            worst.bond_margin = margin(ask.bond_strength, worst.bond_shear_pa.unwrap_or(0.0));
            worst.weight =
                weight.and_then(|forces| weight_stress(&stiffness, part, length, forces, &stresses));
            Some(worst)
        };
        (0..section.parts.len()).filter(|part| !section.parts[*part].corners.is_empty()).map(one).collect()
    }
}

/// The side, tension or compression, that is closer to its strength, or, without one, stressed more.
fn worst_side(body: &CompositeBody, material: usize, sides: [Option<PlaceStress>; 2]) -> BodyWeightStress {
    let stress = |side: PlaceStress| BodyWeightStress {
        together_pa: side.stress,
        margin: margin(body.strength(material, side.stress), side.stress),
        at_m: side.at.into(),
    };
    let sides = sides.into_iter().flatten().map(stress);
    let harder = |a: BodyWeightStress, b: BodyWeightStress| match (a.margin, b.margin) {
        (Some(own), Some(other)) if own <= other => a,
        (Some(_), None) => a,
        (None, None) if a.together_pa.abs() >= b.together_pa.abs() => a,
        _ => b,
    };
    sides.reduce(harder).unwrap_or(BodyWeightStress { together_pa: 0.0, margin: None, at_m: [0.0; 3] })
}

fn one_place(
    section: &CompositeSection,
    part: usize,
    at_m: f64,
    at: [f64; 2],
    warm: &PartStress,
    cure: &PartStress,
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
        across_pa: None,
        across_margin: None,
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

/// Of two stresses across `part` the one closer to its strength, or, without one, the larger.
fn harder_across(part: &CompositePart, now: f64, most: f64) -> f64 {
    let margins = [now, most].map(|stress| margin(part.strength(stress), stress).unwrap_or(f64::INFINITY));
    let harder = margins[0] < margins[1] || margins[0] == margins[1] && now.abs() > most.abs();
    if harder { now } else { most }
}

/// The bond line of a part against all others; `None` for a part alone.
fn bond_line(section: &CompositeSection, part: usize, length: f64) -> Option<BondLine> {
    (section.parts.len() > 1).then_some(())?;
    let side = |is_of: &dyn Fn(usize) -> bool| {
        let parts = || section.parts.iter().enumerate().filter(|(number, _)| is_of(*number));
        let area: f64 = parts().map(|(_, part)| part.moments.area).sum();
        let mean = |of: fn(&Medium) -> f64| {
            parts().map(|(_, part)| part.moments.area * of(&part.medium)).sum::<f64>() / area
        };
        Side {
            shear_modulus: mean(|medium| medium.shear_modulus.re),
            youngs_modulus: mean(|medium| medium.youngs_modulus.re),
            area,
        }
    };
    let sides = [side(&|number| number == part), side(&|number| number != part)];
    Some(BondLine { sides, borders: section.parts[part].borders.clone(), length })
}

fn failures(
    base: &Base,
    sections: &[CompositeSection],
    state: &ThermalState,
    ask: &ThermalRequest,
) -> Vec<Failure> {
    let mut failures = Vec::new();
    for (member, drawn) in state.members.iter().zip(&base.frame.members) {
        let section = &sections[drawn.section];
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
            let strength = part.across_pa.and_then(|across| own.strength(across));
            let splits = part.across_margin.is_some_and(|m| m < 1.0);
            if let Some((across, strength)) = part.across_pa.zip(strength).filter(|_| splits) {
                failures.push(fails(FailureKind::Splits, across, strength));
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
fn with_sliding(
    base: &Base,
    bonded: &[CompositeSection],
    failures: &[Failure],
    case: &ThermalCase,
    ask: &ThermalRequest,
) -> Result<Option<ThermalState>, DeflectionFault> {
    if failures.is_empty() {
        return Ok(None);
    }
    let mut frame = base.frame.clone();
    let mut sections = bonded.to_vec();
    for member in &mut frame.members {
        if failures.iter().all(|failure| failure.member != member.name) {
            continue;
        }
        let Some(section) = bonded.get(member.section) else { continue };
        member.section = sections.len();
        frame.sections.push(section.sliding.clone());
        sections.push(CompositeSection { bond: 0.0, ..section.clone() });
    }
    let statics = subdivided(&frame, PIECES)?;
    let weight = Weight::solve(&statics)?;
    SolvedCase::new(base, &statics, &sections, case)?.state(ask, weight.as_ref()).map(Some)
}

#[cfg(test)]
#[path = "state_tests.rs"]
mod tests;
