//! Derivatives of the measures of a candidate with respect to each of its varied sizes.
//!
//! The derivatives of mass and frequency follow from the frame itself,
//!
//! ```text
//! d(ω²)/dp = φᵀ (dK - ω² dM - ω⁴ dG) φ,   φᵀ (M + 2 ω² G) φ = 1
//! ```
//!
//! where dK, dM and dG are differences of the matrices between two nearby sizes of the section: its areas and
//! moments are exact there, its torsion and shear accurate to the mesh. Those of stiffness and settle time
//! follow from full solutions at the two sizes.

use super::frames::Frames;
use super::space::Space;
use super::variable::{Target, set_share};
use crate::solved::{Solved, measure};
use serde::Serialize;
use std::sync::Arc;
use stillbed_design::{Build, Goal};
use stillbed_eigen::Sparse;
use stillbed_input::problem::Problems;
use stillbed_input::quantity::{Draw, Spread};
use stillbed_modes::{Asked, Statics};
use stillbed_section::Geometry;

/// Half of the step between the two sizes, relative to the size: large against the scatter from mesh to mesh,
/// small against the curvature.
const STEP: f64 = 0.03;

/// Half of the step for a position in the section, m.
const PLACE_STEP: f64 = 1e-3;

/// The derivatives of the measures with respect to one size of one design variable.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sensitivity {
    /// Name of the design variable.
    pub of: String,
    /// Name of the size: `wall`, `height`, `at z`, `bond`.
    pub size: String,
    /// Value of the size, SI.
    pub value: f64,
    /// True for a length, with derivatives per metre; else they are per unit of a ratio, or per N/m for a
    /// foot.
    pub length: bool,
    /// Derivative of the mass, kg.
    pub mass_kg: f64,
    /// Derivative of the cost, in the currency of the prices.
    pub cost: Option<f64>,
    /// Derivative of the first frequency, Hz.
    pub first_frequency_hz: Option<f64>,
    /// Derivative of the static stiffness between tip and work, N/m.
    pub stiffness_n_per_m: Option<f64>,
    /// Derivative of the settle time, s.
    pub settle_time_s: Option<f64>,
}

/// One size that can be changed.
struct Handle {
    size: String,
    value: f64,
    step: f64,
    length: bool,
    target: Target,
    /// Index of the size within the target.
    number: usize,
}

/// The sensitivities of the candidate at `choice` to each size of each design variable.
///
/// # Errors
/// What keeps the candidate from being solved, at its place.
pub(super) fn sensitivities(
    space: &Space,
    goal: &Goal,
    frames: &Frames,
    choice: &[usize],
    count: usize,
) -> Result<Vec<Sensitivity>, Problems> {
    let build = space.build_at(choice)?;
    let asked = Asked { count, pieces: frames.pieces().to_vec(), ..Asked::default() };
    let draw = Draw::default();
    let model = build.model(goal, &draw)?;
    let solved = Solved::solve(&build, goal, &model, &asked, &[]).map_err(|fault| build.problems(&fault))?;
    let mut all = Vec::new();
    for variable in &space.variables {
        for handle in handles(&build, variable.target.clone()) {
            let moved = |by: f64| moved(&build, &handle, handle.value + by * handle.step);
            let (Some(low), Some(high)) = (moved(-1.0), moved(1.0)) else { continue };
            let per = 1.0 / (2.0 * handle.step);
            let (Ok(below), Ok(above)) = (low.model(goal, &draw), high.model(goal, &draw)) else { continue };
            let cost = above.cost(&high).zip(below.cost(&low)).map(|(a, b)| (a - b) * per);
            let settle =
                |build: &Build| measure(build, goal, &draw, 1.0, &asked).ok().and_then(|f| f.settle_time);
            let settle = goal.tap.as_ref().and_then(|_| settle(&high).zip(settle(&low)));
            let layout = &solved.spectrum.layout;
            let first = || -> Option<f64> {
                let first = solved.on_feet().iter().position(|on_feet| !on_feet)?;
                let mode = solved.spectrum.elastic.get(first)?;
                let (high, low) = (layout.matrices(&above.frame)?, layout.matrices(&below.frame)?);
                let bulge = (layout.bulge(&above.frame)?, layout.bulge(&below.frame)?);
                let of = |m: (&Sparse, &Sparse)| (m.0.energy(&mode.shape) - m.1.energy(&mode.shape)) * per;
                let square = mode.omega_squared;
                let slope = of((&high.stiffness, &low.stiffness))
                    - square * of((&high.mass, &low.mass))
                    - square * square * of((&bulge.0, &bulge.1));
                let omega = square.max(0.0).sqrt();
                (omega > 0.0).then(|| slope / (2.0 * omega) / std::f64::consts::TAU)
            };
            // Moving a part does not change the mass: the difference of two sums is then rounding.
            let rounding = |change: f64, whole: f64| if change.abs() <= 1e-9 * whole { 0.0 } else { change };
            let cost = cost.map(|c| rounding(c / per, above.cost(&high).unwrap_or(0.0)) * per);
            all.push(Sensitivity {
                of: variable.name.clone(),
                size: handle.size.clone(),
                value: handle.value,
                length: handle.length,
                mass_kg: rounding(above.mass() - below.mass(), above.mass()) * per,
                cost,
                first_frequency_hz: first(),
                stiffness_n_per_m: stiffness(&solved, (&below.frame, &above.frame), per),
                settle_time_s: settle.map(|(a, b)| (a - b) * per),
            });
        }
    }
    Ok(all)
}

/// dk/dp of the static stiffness between tip and work in the weakest direction.
fn stiffness(
    solved: &Solved,
    frames: (&stillbed_frame::Frame, &stillbed_frame::Frame),
    per: f64,
) -> Option<f64> {
    let (tip, work) = (solved.model.tip?, solved.model.work);
    let of = |frame| -> Option<f64> {
        Some(Statics::factor_like(frame, &solved.statics.orders).ok()?.stiffness(tip, work).ok()?.weakest)
    };
    let (before, after) = (of(frames.0)?, of(frames.1)?);
    Some((after - before) * per).filter(|slope| slope.is_finite())
}

fn handles(build: &Build, target: Target) -> Vec<Handle> {
    let handle = |size: String, value: f64, step: f64, length, number| Handle {
        size,
        value,
        step,
        length,
        target: target.clone(),
        number,
    };
    let part = |profiles: &[usize], part: usize| &build.profiles[profiles[0]].geometry.parts()[part];
    match &target {
        Target::Part { profiles, part: number, .. } => {
            let named = part(profiles, *number).shape.sizes().into_iter().enumerate();
            named.map(|(i, (name, value))| handle(name.to_string(), value, STEP * value, true, i)).collect()
        }
        Target::At { profiles, part: number } => {
            let at = part(profiles, *number).at;
            let of = |i: usize| handle(["at y", "at z"][i].to_string(), at[i], PLACE_STEP, true, i);
            vec![of(0), of(1)]
        }
        // Each step would solve the body twice more.
        Target::Body { .. } => Vec::new(),
        Target::Bond { profiles } => {
            let bond = build.profiles[profiles[0]].bond.value;
            // A bond lies between 0 and 1.
            let step = 0.02f64.min(bond).min(1.0 - bond);
            if step > 0.0 { vec![handle("bond".to_string(), bond, step, false, 0)] } else { Vec::new() }
        }
        Target::Share { substance, .. } => match &build.substances[*substance] {
            stillbed_design::Substance::Mix(recipe) => {
                let share = recipe.binder_share();
                vec![handle("binder share".to_string(), share, 0.01 * share, false, 0)]
            }
            stillbed_design::Substance::Material(_) => Vec::new(),
        },
        Target::Foot { foot } => {
            let known = build.drawing.feet.get(foot);
            let springs = known.map(|f| f.stiffness.map(|k| k.value)).into_iter().flatten().enumerate();
            let named =
                |(i, k): (usize, f64)| handle(format!("along {}", ["x", "y", "z"][i]), k, STEP * k, false, i);
            springs.map(named).collect()
        }
    }
}

/// `build` with the size of `handle` set to `value`; `None` when that cannot be drawn.
fn moved(build: &Build, handle: &Handle, value: f64) -> Option<Build> {
    let mut build = build.clone();
    let reshape = |build: &mut Build,
                   profile: usize,
                   change: &dyn Fn(&mut Vec<stillbed_section::Part>) -> Option<()>| {
        let mut parts = build.profiles[profile].geometry.parts().to_vec();
        change(&mut parts)?;
        build.profiles[profile].geometry = Arc::new(Geometry::new(parts).ok()?);
        Some(())
    };
    match &handle.target {
        Target::Part { profiles, part, core: filled } => {
            for profile in profiles {
                reshape(&mut build, *profile, &|parts| {
                    let mut numbers: Vec<f64> = parts[*part].shape.sizes().iter().map(|(_, s)| *s).collect();
                    *numbers.get_mut(handle.number)? = value;
                    parts[*part].shape = parts[*part].shape.resized(&numbers)?;
                    if let Some(filled) = filled {
                        parts[*filled].shape = parts[*part].shape.hollow()?.core;
                    }
                    Some(())
                })?;
            }
        }
        Target::At { profiles, part } => {
            for profile in profiles {
                reshape(&mut build, *profile, &|parts| {
                    parts[*part].at[handle.number] = value;
                    Some(())
                })?;
            }
        }
        Target::Body { .. } => return None,
        Target::Bond { profiles } => {
            profiles.iter().for_each(|p| build.profiles[*p].bond = Spread::exact(value));
        }
        Target::Share { substance, .. } => {
            let stillbed_design::Substance::Mix(recipe) = &mut build.substances[*substance] else {
                return None;
            };
            set_share(recipe, value);
        }
        Target::Foot { foot } => {
            let mut spec = build.drawing.feet.get(foot)?.clone();
            spec.stiffness[handle.number] = Spread::exact(value);
            build.drawing.feet.insert(foot, spec);
        }
    }
    Some(build)
}
