//! What does weight do to a base on its feet and anchors, and to the path of a carriage?
//!
//! ```text
//! sag:   K u = -M g                     everything that has mass
//! ```
//!
//! The rigid-body motion of the base on its feet is separated ([`Footing`]): all else is relative to the
//! base's own plane, so that a base on air springs sags as its structure does.
//!
//! # Source
//! - `bipm2019`: standard acceleration of gravity

use super::carriage::{Carriage, CarriageTravel, travel};
use super::rail::Rail;
use super::static_deflection::{DeflectionFault, PIECES, deflection, subdivided};
use super::straightness::Straightness;
use super::{Base, Xyz};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use stillbed_input::quantity::GRAVITY;
use stillbed_modes::Footing;

/// What is requested besides the sag itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SagRequest {
    /// Lines whose straightness is requested.
    pub rails: Vec<Rail>,
    /// A mass that moves.
    pub carriage: Option<Carriage>,
}

/// A base under its own weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sag {
    /// The build.
    pub name: String,
    /// All that has mass, kg.
    pub mass_kg: f64,
    /// Displacement of the tip relative to the work, m, in the base's own plane; `None` without a tool.
    pub drift_m: Option<Xyz>,
    /// The same as an angle, rad.
    pub turn_rad: Option<Xyz>,
    /// How far the base sinks on its feet as a rigid body, at its centre of gravity, m; `None` where it
    /// stands on none, or anchors keep it from sinking.
    pub sinks_m: Option<f64>,
    /// How far it tilts on its feet as a rigid body, rad.
    pub leans_rad: Option<f64>,
    /// By member.
    pub members: Vec<SagMember>,
    /// Of the requested lines, in the base's own plane.
    pub straightness: Vec<Straightness>,
    /// Of the carriage, under its own weight alone.
    pub travel: Option<CarriageTravel>,
}

/// One member under the weight of everything.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SagMember {
    /// Its name.
    pub name: String,
    /// Largest distance of its line from the line through its ends, m.
    pub bow_m: f64,
}

/// The sag of `base` on its feet and anchors.
///
/// ```
/// use nalgebra::Vector3;
/// use stillbed_frame::{Anchor, Frame, Member, MemberSection, Plain, Point};
/// use stillbed_material::Role;
/// use stillbed_response::deformation::{Base, SagRequest, solve_sag};
///
/// // A cantilever 1 m long of 10 kg and E I = 1e4 N m2.
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
/// let frame = Frame {
///     points: vec![point("wall", 0.0), point("tip", 1.0)],
///     sections: vec![MemberSection::plain("bar", "steel", Role::Skeleton, &plain)],
///     members: vec![member],
///     anchors: vec![Anchor { name: "wall".into(), at: vec![0], hold: [true; 6] }],
///     ..Frame::default()
/// };
/// let base = Base { name: "arm", frame: &frame, tip: Some(1), work: Some(0), bodies: &[] };
/// let sag = solve_sag(&base, &SagRequest::default())?;
/// // w L^4 / (8 E I), w = 98.0665 N/m.
/// assert!((sag.drift_m.unwrap().z + 98.0665 / 8e4).abs() < 1e-9);
/// # Ok::<(), stillbed_response::deformation::DeflectionFault>(())
/// ```
///
/// # Errors
/// An invalid frame, or a base that nothing holds.
pub fn solve_sag(base: &Base, ask: &SagRequest) -> Result<Sag, DeflectionFault> {
    let frame = base.frame;
    let statics = subdivided(frame, PIECES)?;
    let footing = Footing::new(frame, &statics.layout);
    let down = Vector6::z() * -GRAVITY;
    let load =
        statics.layout.inertia_load(frame, &down, &Vector3::zeros()).ok_or(DeflectionFault::NotHeld)?;
    let moved = deflection(&statics, &load)?;
    let body = frame.rigid_body().ok_or(DeflectionFault::NotHeld)?;
    let whole = footing.as_ref().map(|footing| footing.motion(&moved, &body.centre));
    let motion = footing.as_ref().map_or(moved.clone(), |footing| footing.own(&moved));
    let (drift_m, turn_rad) = base.drift(&statics, &motion);
    let mut members = Vec::new();
    for (number, member) in frame.members.iter().enumerate() {
        let line = Rail::from_member(frame, number).and_then(|rail| rail.line(&statics, &motion, 0));
        let bow_m = line.ok_or(DeflectionFault::NotHeld)?.bow();
        members.push(SagMember { name: member.name.clone(), bow_m });
    }
    let straight = |rail: &Rail| rail.straightness(&statics, &motion).ok_or(DeflectionFault::NotHeld);
    let straightness = ask.rails.iter().map(straight).collect::<Result<_, _>>()?;
    let travel =
        ask.carriage.as_ref().map(|own| travel(base, &statics, footing.as_ref(), own)).transpose()?;
    Ok(Sag {
        name: base.name.to_string(),
        mass_kg: body.mass,
        drift_m,
        turn_rad,
        sinks_m: whole.map(|whole| -whole.z),
        leans_rad: whole.map(|whole| whole[3].hypot(whole[4])),
        members,
        straightness,
        travel,
    })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{SIXTHS, cut, slender};
    use super::*;
    use crate::sample;
    use approx::assert_relative_eq;
    use num_complex::Complex64;
    use stillbed_frame::{Foot, Frame};

    /// EI and weight per length of the steel bar 60 x 40 mm used here.
    const EI: f64 = 210e9 * 0.06 * 0.04 * 0.04 * 0.04 / 12.0;
    const W: f64 = 2500.0 * 0.06 * 0.04 * GRAVITY;

    fn sagging(frame: &Frame) -> Sag {
        let tip = Some(frame.points.len() - 1);
        let base = Base { name: "b", frame, tip, work: Some(0), bodies: &[] };
        let all: Vec<usize> = (0..frame.members.len()).collect();
        solve_sag(&base, &SagRequest { rails: Rail::join(frame, &all), carriage: None }).unwrap()
    }

    #[test]
    fn a_beam_on_two_pins_sags_as_handbooks_say() {
        let found = sagging(&cut(&slender(), &[], &[0], &[]));
        let deepest = 5.0 * W * 1.2f64.powi(4) / (384.0 * EI);
        assert_relative_eq!(found.members[0].bow_m, deepest, max_relative = 1e-6);
        assert_relative_eq!(found.turn_rad.unwrap().y, -2.0 * W * 1.728 / (24.0 * EI), max_relative = 1e-6);
        assert_relative_eq!(found.mass_kg, 7.2, max_relative = 1e-9);
        assert_eq!(found.sinks_m, None);
    }

    #[test]
    fn six_members_sag_as_one() {
        let one = &sagging(&cut(&slender(), &[], &[0], &[])).straightness[0];
        let six = &sagging(&cut(&slender(), &SIXTHS, &[4, 0, 3, 2, 5, 1], &[3, 4])).straightness[0];
        assert_relative_eq!(one.bow_m, 5.0 * W * 1.2f64.powi(4) / (384.0 * EI), max_relative = 1e-6);
        assert_relative_eq!(one.bow_m, six.bow_m, max_relative = 1e-6);
        assert_relative_eq!(one.up.after_m, six.up.after_m, max_relative = 1e-6);
        assert_relative_eq!(one.up.off_m, six.up.off_m, max_relative = 1e-5);
    }

    /// The crooked base on three feet alone, of `k` N/m, that hold it in a statically determinate way: it
    /// bends alike on stiff feet and on soft ones.
    fn on_feet(k: f64) -> Frame {
        let mut frame = sample::crooked();
        frame.anchors.clear();
        let foot = |name: &str, at: usize, hold: [f64; 3]| Foot {
            name: name.into(),
            at: vec![at],
            stiffness: hold.map(|part| Complex64::from(part * k)),
            turning: [Complex64::ZERO; 3],
        };
        frame.feet = vec![
            foot("fixed", 0, [1.0, 1.0, 1.0]),
            foot("guided", 1, [0.0, 1.0, 1.0]),
            foot("loose", 3, [0.0, 0.0, 1.0]),
        ];
        frame
    }

    #[test]
    fn a_base_on_air_springs_sags_as_its_structure_does() {
        let solve = |k: f64| {
            let frame = on_feet(k);
            let base = Base { name: "b", frame: &frame, tip: Some(2), work: Some(3), bodies: &[] };
            let carriage =
                Carriage { along: vec![Rail::from_member(&frame, 0).unwrap()], mass: 5.0, steps: 5 };
            let ask = SagRequest { rails: Rail::join(&frame, &[0]), carriage: Some(carriage) };
            solve_sag(&base, &ask).unwrap()
        };
        let (stiff, soft) = (solve(1e10), solve(3e3));
        let weight = soft.mass_kg * GRAVITY;
        // On three unevenly loaded springs it sinks by more or less than the weight over their total
        // stiffness.
        let sunk = soft.sinks_m.unwrap();
        assert!(sunk > 0.5 * weight / 9e3 && sunk < 4.0 * weight / 9e3, "{sunk}");
        assert!(stiff.sinks_m.unwrap() < 1e-6 * sunk);
        let (a, b) = (stiff.drift_m.unwrap(), soft.drift_m.unwrap());
        let size = a.x.hypot(a.y).hypot(a.z);
        for (a, b) in [(a.x, b.x), (a.y, b.y), (a.z, b.z)] {
            assert_relative_eq!(a, b, epsilon = 0.01 * size);
        }
        assert!(size < 0.01 * sunk);
        let rail = |sag: &Sag| sag.straightness[0].up.before_m;
        assert_relative_eq!(rail(&stiff), rail(&soft), max_relative = 0.02);
        let path = |sag: &Sag| sag.travel.as_ref().unwrap().path.up;
        assert_relative_eq!(path(&stiff).after_m, path(&soft).after_m, max_relative = 0.02);
        assert_relative_eq!(path(&stiff).before_m, path(&soft).before_m, max_relative = 0.02);
    }

    #[test]
    fn a_base_on_nothing_has_no_sag() {
        let mut frame = sample::crooked();
        frame.feet.clear();
        let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &[] };
        assert_eq!(solve_sag(&base, &SagRequest::default()), Err(DeflectionFault::NotHeld));
    }

    #[test]
    fn weight_and_a_carriage_of_nothing_need_no_tool() {
        let frame = sample::crooked();
        let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &[] };
        let carriage = Carriage { along: Rail::join(&frame, &[0]), mass: 0.0, steps: 3 };
        let ask = SagRequest { rails: Rail::join(&frame, &[2]), carriage: Some(carriage) };
        let found = solve_sag(&base, &ask).unwrap();
        let travel = found.travel.unwrap();
        assert_eq!((found.drift_m, travel.error_m, travel.height_error_m), (None, None, 0.0));
        assert!(found.straightness[0].up.before_m > 0.0);
    }
}
