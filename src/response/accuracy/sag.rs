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

use super::rail::Rail;
use super::rest::{RestFault, at_rest, divided};
use super::straight::Straightness;
use super::thermal::PIECES;
use super::travel::{Carriage, Travel, travel};
use super::{Base, Xyz};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use stillbed_input::quantity::GRAVITY;
use stillbed_modes::Footing;

/// What is requested besides the sag itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SagAsk {
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
    pub travel: Option<Travel>,
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
/// # Errors
/// An invalid frame, or a base that nothing holds.
pub fn sag(base: &Base, ask: &SagAsk) -> Result<Sag, RestFault> {
    let frame = base.frame;
    let statics = divided(frame, PIECES)?;
    let footing = Footing::new(frame, &statics.layout);
    let down = Vector6::z() * -GRAVITY;
    let load = statics.layout.inertia_load(frame, &down, &Vector3::zeros()).ok_or(RestFault::NotHeld)?;
    let moved = at_rest(&statics, &load)?;
    let body = frame.rigid_body().ok_or(RestFault::NotHeld)?;
    let whole = footing.as_ref().map(|footing| footing.motion(&moved, &body.centre));
    let motion = footing.as_ref().map_or(moved.clone(), |footing| footing.own(&moved));
    let (drift_m, turn_rad) = base.drift(&statics, &motion);
    let mut members = Vec::new();
    for (number, member) in frame.members.iter().enumerate() {
        let line = Rail::member(frame, number).and_then(|rail| rail.line(&statics, &motion, 0));
        let bow_m = line.ok_or(RestFault::NotHeld)?.bow();
        members.push(SagMember { name: member.name.clone(), bow_m });
    }
    let straight = |rail: &Rail| rail.straightness(&statics, &motion).ok_or(RestFault::NotHeld);
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
    use super::super::WarmSection;
    use super::super::sample::{SIXTHS, cut, layer, section};
    use super::*;
    use crate::sample;
    use approx::assert_relative_eq;
    use num_complex::Complex64;
    use stillbed_frame::{Foot, Frame};

    /// EI and weight per length of the steel bar 60 x 40 mm used here.
    const EI: f64 = 210e9 * 0.06 * 0.04 * 0.04 * 0.04 / 12.0;
    const W: f64 = 2500.0 * 0.06 * 0.04 * GRAVITY;

    /// A beam of 1.2 m on pins, cut into members, without shear deformation, as in handbooks.
    fn on_pins(cuts: &[f64], order: &[usize], backwards: &[usize]) -> (Frame, WarmSection) {
        let section = section(vec![layer("steel", 210e9, 12e-6, 0.06, -0.02, 0.02)], 1.0);
        let mut frame = cut(&section, cuts, order, backwards);
        frame.sections[0].stiffness[(1, 1)] = 1e12.into();
        frame.sections[0].stiffness[(2, 2)] = 1e12.into();
        (frame, section)
    }

    fn sagging(frame: &Frame, section: &WarmSection) -> Sag {
        let sections = [section.clone()];
        let tip = Some(frame.points.len() - 1);
        let base = Base { name: "b", frame, sections: &sections, tip, work: Some(0) };
        let all: Vec<usize> = (0..frame.members.len()).collect();
        sag(&base, &SagAsk { rails: Rail::joined(frame, &all), carriage: None }).unwrap()
    }

    #[test]
    fn a_beam_on_two_pins_sags_as_handbooks_say() {
        let (frame, section) = on_pins(&[], &[0], &[]);
        let found = sagging(&frame, &section);
        let deepest = 5.0 * W * 1.2f64.powi(4) / (384.0 * EI);
        assert_relative_eq!(found.members[0].bow_m, deepest, max_relative = 1e-6);
        assert_relative_eq!(found.turn_rad.unwrap().y, -2.0 * W * 1.728 / (24.0 * EI), max_relative = 1e-6);
        assert_relative_eq!(found.mass_kg, 7.2, max_relative = 1e-9);
        assert_eq!(found.sinks_m, None);
    }

    #[test]
    fn six_members_sag_as_one() {
        let (whole, section) = on_pins(&[], &[0], &[]);
        let one = &sagging(&whole, &section).straightness[0];
        let (pieces, _) = on_pins(&SIXTHS, &[4, 0, 3, 2, 5, 1], &[3, 4]);
        let six = &sagging(&pieces, &section).straightness[0];
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
            let base = Base { name: "b", frame: &frame, sections: &[], tip: Some(2), work: Some(3) };
            let carriage = Carriage { along: vec![Rail::member(&frame, 0).unwrap()], mass: 5.0, steps: 5 };
            let ask = SagAsk { rails: Rail::joined(&frame, &[0]), carriage: Some(carriage) };
            sag(&base, &ask).unwrap()
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
        let base = Base { name: "b", frame: &frame, sections: &[], tip: None, work: None };
        assert_eq!(sag(&base, &SagAsk::default()), Err(RestFault::NotHeld));
    }

    #[test]
    fn weight_and_a_carriage_of_nothing_need_no_tool() {
        let frame = sample::crooked();
        let base = Base { name: "b", frame: &frame, sections: &[], tip: None, work: None };
        let carriage = Carriage { along: Rail::joined(&frame, &[0]), mass: 0.0, steps: 3 };
        let ask = SagAsk { rails: Rail::joined(&frame, &[2]), carriage: Some(carriage) };
        let found = sag(&base, &ask).unwrap();
        let travel = found.travel.unwrap();
        assert_eq!((found.drift_m, travel.error_m, travel.height_error_m), (None, None, 0.0));
        assert!(found.straightness[0].up.before_m > 0.0);
    }
}
