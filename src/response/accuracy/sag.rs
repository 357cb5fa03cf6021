//! What weight does: the sag of a base on its feet, and the error that a carriage brings along
//! its travel.
//!
//! ```text
//! sag:       K u = -M g                     everything that has mass
//! carriage:  K u(s) = -m g N(s)             shared evenly by the members it rides on
//! ```
//!
//! A carriage rides on all its members at once, at the same share of their lengths; a member
//! drawn the other way round is followed backwards. Its own give is not counted.
//!
//! # Source
//! - `bipm2019`: standard acceleration of gravity

use super::rest::{RestFault, at_rest, divided};
use super::straight::{Straightness, bow, range};
use super::thermal::PIECES;
use super::{Base, Xyz};
use crate::frame::Line;
use crate::modes::{GRAVITY, Statics};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;

/// A mass that moves along members.
#[derive(Debug, Clone, PartialEq)]
pub struct Carriage {
    /// The members it rides on, all at once.
    pub along: Vec<usize>,
    /// kg.
    pub mass: f64,
    /// How many places along the travel, both ends included; at least 2.
    pub steps: usize,
}

/// What is asked beside the sag itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SagAsk {
    /// Members whose straightness is asked.
    pub straight: Vec<usize>,
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
    /// Tip from work, m; `None` without a tool.
    pub drift_m: Option<Xyz>,
    /// The same as an angle, rad.
    pub turn_rad: Option<Xyz>,
    /// By member.
    pub members: Vec<SagMember>,
    /// Of the members asked for.
    pub straightness: Vec<Straightness>,
    /// Of the carriage, its own weight alone.
    pub travel: Option<Travel>,
}

/// One member under the weight of all.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SagMember {
    /// Its name.
    pub name: String,
    /// Largest distance of its line from the line through its ends, m.
    pub bow_m: f64,
}

/// A carriage along its travel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Travel {
    /// kg.
    pub mass_kg: f64,
    /// Place after place.
    pub stops: Vec<Stop>,
    /// How much tip from work varies over the travel, m; `None` without a tool.
    pub error_m: Option<Xyz>,
    /// How much the height of the carriage varies over the travel, m.
    pub height_error_m: f64,
}

/// A carriage at one place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stop {
    /// Share of the travel, 0 to 1.
    pub share: f64,
    /// From the start of the first member, m.
    pub at_m: f64,
    /// Tip from work by the weight of the carriage, m; `None` without a tool.
    pub drift_m: Option<Xyz>,
    /// The mean height of the members under it, m, down being negative.
    pub height_m: f64,
}

/// The answer for `base` on its feet and anchors.
///
/// # Errors
/// What is no frame, or a base that nothing carries.
pub fn sag(base: &Base, ask: &SagAsk) -> Result<Sag, RestFault> {
    let frame = base.frame;
    let statics = divided(frame, PIECES)?;
    let down = Vector6::z() * -GRAVITY;
    let load = statics.layout.inertia_load(frame, &down, &Vector3::zeros()).ok_or(RestFault::NotHeld)?;
    let motion = at_rest(&statics, &load)?;
    let (drift_m, turn_rad) = base.drift(&statics, &motion);
    let (mut members, mut straightness) = (Vec::new(), Vec::new());
    for (number, member) in frame.members.iter().enumerate() {
        let line = statics.layout.line_motion(frame, number, &motion).ok_or(RestFault::NotHeld)?;
        members.push(SagMember { name: member.name.clone(), bow_m: bow(&line) });
        if ask.straight.contains(&number) {
            let length = Line::of(frame, member).map_or(0.0, |line| line.length);
            straightness.push(Straightness::of(&member.name, length, &line));
        }
    }
    let travel = ask.carriage.as_ref().map(|carriage| travel(base, &statics, carriage)).transpose()?;
    let mass_kg = frame.rigid_body().map_or(0.0, |body| body.mass);
    Ok(Sag { name: base.name.to_string(), mass_kg, drift_m, turn_rad, members, straightness, travel })
}

fn travel(base: &Base, statics: &Statics, carriage: &Carriage) -> Result<Travel, RestFault> {
    let frame = base.frame;
    let members = carriage.along.iter().filter_map(|number| frame.members.get(*number));
    let lines: Vec<Line> = members.filter_map(|member| Line::of(frame, member)).collect();
    let Some(first) = lines.first() else { return Err(RestFault::NotHeld) };
    let share_of = 1.0 / lines.len() as f64;
    let steps = carriage.steps.max(2);
    let mut stops = Vec::with_capacity(steps);
    for step in 0..steps {
        let share = step as f64 / (steps - 1) as f64;
        let mut unit = vec![0.0; statics.layout.freedoms()];
        for (number, line) in carriage.along.iter().zip(&lines) {
            let backwards = line.axes.row(0).dot(&first.axes.row(0)) < 0.0;
            let x = line.length * if backwards { 1.0 - share } else { share };
            let force = Vector6::z() * share_of;
            let load = statics.layout.load_on_line(frame, *number, x, &force).ok_or(RestFault::NotHeld)?;
            unit.iter_mut().zip(load).for_each(|(sum, value)| *sum += value);
        }
        let load: Vec<f64> = unit.iter().map(|f| -f * carriage.mass * GRAVITY).collect();
        let motion = at_rest(statics, &load)?;
        let height_m = super::rest::dot(&unit, &motion);
        let drift_m = base.drift(statics, &motion).0;
        stops.push(Stop { share, at_m: first.length * share, drift_m, height_m });
    }
    let along = |of: fn(&Xyz) -> f64| -> Option<f64> {
        let values: Option<Vec<f64>> = stops.iter().map(|stop| stop.drift_m.as_ref().map(of)).collect();
        values.map(|values| range(&values))
    };
    let error = (along(|d| d.x), along(|d| d.y), along(|d| d.z));
    let error_m = match error {
        (Some(x), Some(y), Some(z)) => Some(Xyz { x, y, z }),
        _ => None,
    };
    let heights: Vec<f64> = stops.iter().map(|stop| stop.height_m).collect();
    Ok(Travel { mass_kg: carriage.mass, height_error_m: range(&heights), stops, error_m })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bar, layer, section};
    use super::*;
    use crate::frame::{Anchor, sample};
    use approx::assert_relative_eq;

    /// EI and weight per length of the steel bar 60 x 40 mm used here.
    const EI: f64 = 210e9 * 0.06 * 0.04 * 0.04 * 0.04 / 12.0;
    const W: f64 = 2500.0 * 0.06 * 0.04 * GRAVITY;

    fn on_pins() -> (crate::frame::Frame, super::super::WarmSection) {
        let section = section(vec![layer("steel", 210e9, 12e-6, 0.06, -0.02, 0.02)], 1.0);
        let mut frame = bar(2.0, &section);
        let hold = [true, true, true, true, false, false];
        frame.anchors.push(Anchor { name: "left".into(), at: vec![0], hold });
        frame.anchors.push(Anchor {
            name: "right".into(),
            at: vec![1],
            hold: [false, true, true, true, false, false],
        });
        // No shear: the handbook's beam.
        frame.sections[0].stiffness[(1, 1)] = 1e12.into();
        frame.sections[0].stiffness[(2, 2)] = 1e12.into();
        (frame, section)
    }

    #[test]
    fn a_beam_on_two_pins_sags_as_handbooks_say() {
        let (frame, section) = on_pins();
        let sections = [section];
        let base = Base { name: "b", frame: &frame, sections: &sections, tip: Some(1), work: Some(0) };
        let found = sag(&base, &SagAsk { straight: vec![0], carriage: None }).unwrap();
        assert_relative_eq!(found.members[0].bow_m, 5.0 * W * 16.0 / (384.0 * EI), max_relative = 1e-6);
        assert_relative_eq!(found.turn_rad.unwrap().y, -2.0 * W * 8.0 / (24.0 * EI), max_relative = 1e-6);
        assert_relative_eq!(found.mass_kg, 12.0, max_relative = 1e-9);
    }

    #[test]
    fn a_carriage_presses_its_beam_where_it_stands() {
        let (frame, section) = on_pins();
        let sections = [section];
        let base = Base { name: "b", frame: &frame, sections: &sections, tip: Some(1), work: None };
        let carriage = Carriage { along: vec![0], mass: 6.0, steps: 9 };
        let ask = SagAsk { straight: vec![], carriage: Some(carriage) };
        let travel = sag(&base, &ask).unwrap().travel.unwrap();
        for stop in &travel.stops {
            // P a² b² / (3 E I L) under the load.
            let (a, b) = (stop.at_m, 2.0 - stop.at_m);
            let expected = -6.0 * GRAVITY * a * a * b * b / (6.0 * EI);
            assert_relative_eq!(stop.height_m, expected, max_relative = 1e-4, epsilon = 1e-12);
        }
        assert_eq!(travel.stops.len(), 9);
        assert_relative_eq!(travel.height_error_m, 6.0 * GRAVITY * 8.0 / (48.0 * EI), max_relative = 1e-4);
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
        let ask =
            SagAsk { straight: vec![2], carriage: Some(Carriage { along: vec![0], mass: 0.0, steps: 3 }) };
        let found = sag(&base, &ask).unwrap();
        let travel = found.travel.unwrap();
        assert_eq!((found.drift_m, travel.error_m, travel.height_error_m), (None, None, 0.0));
        assert!(found.straightness[0].up.before_m > 0.0);
    }
}
