//! How long does a change of room temperature take to pass through a base?
//!
//! ```text
//! a = k / (ρ c)                     diffusivity
//! t = h² / a                        time of diffusion through the thickness h
//! τ = h² / (π² a) + ρ c A / (α P)   slowest decay: conduction inside, then exchange with the air
//! θ(t) = exp(-t / τ)
//! ```
//!
//! h is the least width of the section or 4 A / P with the perimeter P (four wall thicknesses where it is
//! hollow), whichever is less. Conduction is one-dimensional, so times are on the slow side for a section as
//! thick as wide. The sum of both times is that of a slab in air within 4 % (first root of β tan β = Bi). The
//! materials of a section count as layers in series. Each section cools by itself; meanwhile the base bends
//! because its sections do so at different rates.
//!
//! # Source
//! - `carslaw1959`: slab with faces at a fixed temperature; slab with exchange at its faces (memory)

use super::from_geometry::around_and_across;
use super::section_parts::{CompositePart, CompositeSection};
use super::temperature_change::ThermalCase;
use super::thermal_load::{check_expansions, free_strains};
use crate::deformation::{
    Base, CompositeBody, DeflectedLine, DeflectionFault, PIECES, Rail, deflection, subdivided,
};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use std::f64::consts::PI;
use stillbed_material::Medium;
use stillbed_section::clearance::hull;

/// Heat exchange with still air, by natural convection and radiation together, W/(m2 K).
///
/// # Source
/// - `common practice`: 5 to 15 W/(m2 K) for machine surfaces in a room
pub const STILL_AIR: f64 = 10.0;

/// The times of one section.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SectionTimes {
    /// Name of the section or body.
    pub section: String,
    /// Thickness that heat passes through, m.
    pub thickness_m: f64,
    /// k / (ρ c), m2/s; `None` where a material's heat data are not known.
    pub diffusivity_m2_per_s: Option<f64>,
    /// Thickness squared over diffusivity, s.
    pub diffusion_time_s: Option<f64>,
    /// Slowest decay inside, s: the diffusion time over π².
    pub decay_time_s: Option<f64>,
    /// Time constant of the exchange with the air, s.
    pub air_time_s: Option<f64>,
    /// Time constant of both together, s.
    pub time_constant_s: Option<f64>,
}

/// One moment after the room has changed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SettlingInstant {
    /// Time after the change, s.
    pub time_s: f64,
    /// Displacement of the tip relative to the work that is still to come, m; `None` without a tool.
    pub drift_m: Option<f64>,
    /// Worst straightness, best line removed, of the motion of the lines that is still to come, m.
    pub straight_m: f64,
}

/// What follows a change of room temperature.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Settling {
    /// The change, K.
    pub change_k: f64,
    /// Exchange with the air, W/(m2 K).
    pub air_w_per_m2_k: f64,
    /// Remaining motion that counts as settled, m.
    pub settle_to_m: f64,
    /// By section.
    pub sections: Vec<SectionTimes>,
    /// Time until every line is straight to within `settle_to_m` of its final shape, s.
    pub straight_again_s: Option<f64>,
    /// Time until tip and work are within `settle_to_m` of their final places, s.
    pub drift_settled_s: Option<f64>,
    /// The motion still to come over time; empty where heat data are missing.
    pub curve: Vec<SettlingInstant>,
}

/// Slowest decay time of a slab of `thickness` (m) and `diffusivity` (m2/s) whose faces have
/// changed to a new temperature, s.
///
/// A slab 0.1 m thick of 1e-6 m2/s: 1013 s.
///
/// # Source
/// - `carslaw1959`: slab with faces at a fixed temperature (memory)
pub fn slab_decay_time(thickness: f64, diffusivity: f64) -> f64 {
    thickness * thickness / (PI * PI * diffusivity)
}

impl CompositeSection {
    /// The times of this section in air with the film coefficient `air`, W/(m2 K).
    pub fn times(&self, name: &str, air: f64) -> SectionTimes {
        let corners = self.parts.iter().flat_map(|part| part.corners.iter().copied());
        let (around, across) = around_and_across(&hull(corners));
        let area: f64 = self.parts.iter().map(|part| part.moments.area).sum();
        let thickness_m = if around > 0.0 { across.min(4.0 * area / around) } else { 0.0 };
        let sum = |of: &dyn Fn(&CompositePart) -> Option<f64>| -> Option<f64> {
            self.parts.iter().map(|part| Some(of(part)? * part.moments.area)).sum()
        };
        // Heat capacity per length, J/(m K), and resistance of layers in series, m3 K/W.
        let heat = sum(&|part| Some(part.medium.density * part.medium.heat_capacity?));
        let resistance = sum(&|part| part.medium.conductivity.filter(|k| *k > 0.0).map(|k| 1.0 / k));
        let diffusivity = heat.zip(resistance).filter(|(c, r)| *c > 0.0 && *r > 0.0);
        let diffusivity = diffusivity.map(|(heat, resistance)| area * area / (resistance * heat));
        let air_time = heat.filter(|_| around > 0.0 && air > 0.0).map(|heat| heat / (air * around));
        SectionTimes::of_slab(name, thickness_m, diffusivity, air_time)
    }
}

impl SectionTimes {
    fn of_slab(
        name: &str,
        thickness_m: f64,
        diffusivity: Option<f64>,
        air_time: Option<f64>,
    ) -> SectionTimes {
        let decay = diffusivity.map(|a| slab_decay_time(thickness_m, a));
        SectionTimes {
            section: name.to_string(),
            thickness_m,
            diffusivity_m2_per_s: diffusivity,
            diffusion_time_s: diffusivity.map(|a| thickness_m * thickness_m / a),
            decay_time_s: decay,
            air_time_s: air_time,
            time_constant_s: decay.zip(air_time).map(|(a, b)| a + b),
        }
    }
}

/// The share of one section in the motion that is still to come.
struct Lag {
    time_constant: f64,
    drift: Vector3<f64>,
    /// One for each line looked at.
    lines: Vec<DeflectedLine>,
}

/// How `base`, whose frame has these `sections`, settles after the room changes by `change` K, and when what
/// is still to come is below `settle_to` m: of `rails`, or of every member by itself when that is empty.
///
/// # Errors
/// As [`super::solve_thermal`].
pub fn solve_settling(
    base: &Base,
    sections: &[CompositeSection],
    change: f64,
    air: f64,
    settle_to: f64,
    rails: &[Rail],
) -> Result<Settling, DeflectionFault> {
    let case = ThermalCase::uniform(change);
    check_expansions(base, sections, &case)?;
    let named = sections.iter().zip(&base.frame.sections);
    let bodies = base.bodies.iter().map(|body| body_times(body, air));
    let times: Vec<SectionTimes> =
        named.map(|(warm, plain)| warm.times(&plain.name, air)).chain(bodies).collect();
    let mut found = Settling {
        change_k: change,
        air_w_per_m2_k: air,
        settle_to_m: settle_to,
        sections: times,
        straight_again_s: None,
        drift_settled_s: None,
        curve: Vec::new(),
    };
    let each = (0..base.frame.members.len()).filter_map(|number| Rail::from_member(base.frame, number));
    let all: Vec<Rail> = if rails.is_empty() { each.collect() } else { rails.to_vec() };
    let Some(lags) = lags(base, sections, &case, &found.sections, &all)? else {
        return Ok(found);
    };
    let slowest = lags.iter().map(|lag| lag.time_constant).fold(0.0, f64::max);
    let straight_left = |t: f64| still_bent(&lags, t);
    let drift_left = |t: f64| still_apart(&lags, t);
    found.straight_again_s = last_above(straight_left, settle_to, slowest);
    let tool = base.tip.is_some();
    found.drift_settled_s = last_above(drift_left, settle_to, slowest).filter(|_| tool);
    let moment = |i: usize| {
        let time_s = slowest * 6.0 * i as f64 / 60.0;
        let drift_m = tool.then(|| drift_left(time_s));
        SettlingInstant { time_s, drift_m, straight_m: straight_left(time_s) }
    };
    found.curve = (0..=60).map(moment).collect();
    Ok(found)
}

/// The times of a body, as those of the slab that its least size and its surface make of it.
fn body_times(body: &CompositeBody, air: f64) -> SectionTimes {
    let sizes =
        body.reduced.mesh.axes.each_ref().map(|axis| axis.lines[axis.lines.len() - 1] - axis.lines[0]);
    let surface = 2.0 * (sizes[0] * sizes[1] + sizes[1] * sizes[2] + sizes[2] * sizes[0]);
    let thickness_m = sizes.into_iter().fold(f64::INFINITY, f64::min);
    let sum = |of: &dyn Fn(&Medium) -> Option<f64>| -> Option<f64> {
        body.media.iter().enumerate().map(|(number, medium)| Some(of(medium)? * body.volume(number))).sum()
    };
    let heat = sum(&|medium| Some(medium.density * medium.heat_capacity?));
    let resistance = sum(&|medium| medium.conductivity.filter(|k| *k > 0.0).map(|k| 1.0 / k));
    let volume: f64 = (0..body.media.len()).map(|number| body.volume(number)).sum();
    let diffusivity = heat.zip(resistance).filter(|(c, r)| *c > 0.0 && *r > 0.0);
    let diffusivity = diffusivity.map(|(heat, resistance)| volume * volume / (resistance * heat));
    let air_time = heat.filter(|_| air > 0.0).map(|heat| heat / (air * surface));
    SectionTimes::of_slab(body.name, thickness_m, diffusivity, air_time)
}

/// The share of each section and body in use; `None` where one has no time constant.
fn lags(
    base: &Base,
    sections: &[CompositeSection],
    case: &ThermalCase,
    times: &[SectionTimes],
    looked_at: &[Rail],
) -> Result<Option<Vec<Lag>>, DeflectionFault> {
    let frame = base.frame;
    let statics = subdivided(frame, PIECES)?;
    let strains = free_strains(&statics, sections, case, false)?;
    let mut lags = Vec::new();
    for (number, times) in times.iter().enumerate() {
        let own = |member: usize| frame.members[member].section == number;
        let body = number.checked_sub(sections.len());
        if body.is_none() && !(0..frame.members.len()).any(own) {
            continue;
        }
        let Some(time_constant) = times.time_constant_s else { return Ok(None) };
        let strains: Vec<_> = strains
            .iter()
            .enumerate()
            .map(|(member, e)| if own(member) { *e } else { [Vector6::zeros(); 2] })
            .collect();
        let mut load = statics.layout.free_strain_load(frame, &strains).ok_or(DeflectionFault::NotHeld)?;
        if let Some((number, body)) = body.and_then(|number| Some((number, base.bodies.get(number)?))) {
            body.add_load(&mut load, &statics, number, &case.body_strains(body, number, false));
        }
        let motion = deflection(&statics, &load)?;
        let drift = base.drift(&statics, &motion).0.unwrap_or_default();
        let lines = looked_at.iter().filter_map(|rail| rail.line(&statics, &motion, 0)).collect();
        lags.push(Lag { time_constant, drift: Vector3::new(drift.x, drift.y, drift.z), lines });
    }
    Ok(Some(lags))
}

fn still_apart(lags: &[Lag], t: f64) -> f64 {
    lags.iter().map(|lag| lag.drift * (-t / lag.time_constant).exp()).sum::<Vector3<f64>>().norm()
}

fn still_bent(lags: &[Lag], t: f64) -> f64 {
    let Some(first) = lags.first() else { return 0.0 };
    let mut worst = 0.0f64;
    for (number, line) in first.lines.iter().enumerate() {
        let left = |place: usize| {
            lags.iter().map(|lag| lag.lines[number].moved[place] * (-t / lag.time_constant).exp()).sum()
        };
        let moved = (0..line.moved.len()).map(left).collect();
        let line = DeflectedLine { moved, ..line.clone() };
        worst = worst.max(line.straight(0).after_m).max(line.straight(1).after_m);
    }
    worst
}

/// The last time at which `left` is above `limit`, 0 when it never is; `None` for a limit of 0.
fn last_above(left: impl Fn(f64) -> f64, limit: f64, slowest: f64) -> Option<f64> {
    (limit > 0.0 && slowest > 0.0).then_some(())?;
    let step = |i: usize| slowest * 1e-3 * 1.03f64.powi(i as i32);
    // 1.03^360 is 4e4, so the search ends at 40 of the slowest time constants, where exp(-40) is negligible.
    let Some(last) = (0..=360).rev().find(|i| left(step(*i)) > limit) else {
        return Some(if left(0.0) > limit { step(0) } else { 0.0 });
    };
    let (mut low, mut high) = (step(last), step(last + 1));
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if left(middle) > limit { low = middle } else { high = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, layer, member, member_section, section};
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_frame::Point;

    fn warm(alpha: f64, width: f64, height: f64) -> CompositeSection {
        let mut part = layer("stone", 50e9, alpha, width, -0.5 * height, 0.5 * height);
        part.medium.conductivity = Some(2.5);
        part.medium.heat_capacity = Some(1000.0);
        section(vec![part], 1.0)
    }

    #[test]
    fn a_slab_decays_as_finite_differences_say() {
        // 0.1 m, 1e-6 m2/s, faces at 0: the middle between two late times.
        let (n, a, h) = (100, 1e-6, 0.1f64);
        let dx = h / n as f64;
        let dt = 0.25 * dx * dx / a;
        let mut t = vec![1.0; n + 1];
        let mut at = [0.0f64; 2];
        let steps = [3000.0, 5000.0].map(|s: f64| (s / dt) as usize);
        for step in 1..=steps[1] {
            let old = t.clone();
            (t[0], t[n]) = (0.0, 0.0);
            for i in 1..n {
                t[i] = old[i] + 0.25 * (old[i - 1] - 2.0 * old[i] + old[i + 1]);
            }
            for k in 0..2 {
                if step == steps[k] {
                    at[k] = t[n / 2];
                }
            }
        }
        let apart = (steps[1] - steps[0]) as f64 * dt;
        assert_relative_eq!(apart / (at[0] / at[1]).ln(), slab_decay_time(h, a), max_relative = 1e-3);
    }

    #[test]
    fn a_solid_block_and_a_wide_slab_have_their_least_width() {
        let times = warm(8e-6, 0.1, 0.1).times("block", 10.0);
        assert_relative_eq!(times.thickness_m, 0.1, max_relative = 1e-12);
        // 2500 kg/m3 and 1000 J/(kg K): 1e-6 m2/s.
        assert_relative_eq!(times.diffusivity_m2_per_s.unwrap(), 1e-6, max_relative = 1e-12);
        assert_relative_eq!(times.diffusion_time_s.unwrap(), 1e4, max_relative = 1e-12);
        assert_relative_eq!(times.air_time_s.unwrap(), 2.5e6 * 0.01 / (10.0 * 0.4), max_relative = 1e-12);
        assert_relative_eq!(
            warm(8e-6, 0.5, 0.06).times("slab", 10.0).thickness_m,
            0.06,
            max_relative = 1e-12
        );
    }

    #[test]
    fn air_and_conduction_add_up_as_a_slab_in_air_has_it() {
        for biot in [0.1, 1.0, 10.0f64] {
            // β tan β = Bi by bisection; τ = (h/2)² / (a β²).
            let (mut low, mut high) = (0.0, 0.5 * PI - 1e-9);
            for _ in 0..60 {
                let beta: f64 = 0.5 * (low + high);
                if beta * beta.tan() < biot { low = beta } else { high = beta }
            }
            let exact = 0.25 / (low * low);
            let added = slab_decay_time(1.0, 1.0) + 0.25 / biot;
            assert!((added / exact - 1.0).abs() < 0.045, "{biot} {added} {exact}");
        }
    }

    #[test]
    fn a_single_bar_is_straight_at_once_and_grows_in_its_time() {
        let section = warm(8e-6, 0.1, 0.1);
        let frame = bar(1.0, &section);
        let sections = [section];
        let base = Base { name: "b", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
        let found = solve_settling(&base, &sections, 5.0, 10.0, 1e-6, &[]).unwrap();
        assert_eq!(found.straight_again_s, Some(0.0));
        let tau = found.sections[0].time_constant_s.unwrap();
        assert_relative_eq!(found.drift_settled_s.unwrap(), tau * 40f64.ln(), max_relative = 1e-6);
        assert_relative_eq!(found.curve[0].drift_m.unwrap(), 40e-6, max_relative = 1e-6);
    }

    #[test]
    fn a_ladder_of_a_thick_and_a_thin_rail_bends_until_both_are_warm() {
        let (thick, thin) = (warm(8e-6, 0.1, 0.1), warm(8e-6, 0.1, 0.02));
        let at = |x: f64, y: f64| Point { name: "p".into(), position: Vector3::new(x, y, 0.0) };
        let mut second = member("thin", 2, 3);
        second.section = 1;
        let mut frame = bar(1.0, &thick);
        frame.points = vec![at(0.0, 0.0), at(1.0, 0.0), at(0.0, 0.4), at(1.0, 0.4)];
        frame.sections = vec![member_section(&thick.parts, true), member_section(&thin.parts, true)];
        frame.members = vec![member("thick", 0, 1), second, member("left", 0, 2), member("right", 1, 3)];
        let sections = [thick, thin];
        let base = Base { name: "b", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
        let found = solve_settling(&base, &sections, 5.0, 10.0, 1e-7, &Rail::join(&frame, &[0])).unwrap();
        assert!(found.curve[0].straight_m < 1e-11, "all cold: {:?}", found.curve[0]);
        let again = found.straight_again_s.unwrap();
        let tau = found.sections[0].time_constant_s.unwrap();
        assert!(again > tau && again < 20.0 * tau, "{again} {tau}");
        let mut unknown = sections.clone();
        unknown[1].parts[0].medium.conductivity = None;
        let found = solve_settling(&base, &unknown, 5.0, 10.0, 1e-7, &Rail::join(&frame, &[0])).unwrap();
        assert!(found.straight_again_s.is_none() && found.curve.is_empty());
    }
}
