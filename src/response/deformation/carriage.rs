//! The path of a carriage: how far do its own moving weight, and bent lines under it, take it off a straight
//! travel?
//!
//! ```text
//! at rest at s:   K u(s) = -m g N(s)             N(s) a unit of weight on the lines under it
//! its path:       w(s) = mean of the lines at s  up, across, and as an angle
//! ```
//!
//! For a beam on two pins w(s) = -P s² (L - s)² / (3 E I L) under the load P at s. A carriage rides on all
//! its rails at once, at the same fraction of their lengths, with its weight shared equally; a rail that runs
//! against the first is followed backwards. The flexibility of the carriage is left out, and so is the
//! rigid-body motion of the base on its feet ([`Footing`]).

use super::rail::Rail;
use super::static_deflection::{DeflectionFault, deflection, dot};
use super::straightness::{LineDeviation, range, straight, weights, without_line};
use super::{Base, Xyz};
use nalgebra::{Vector3, Vector6};
use serde::Serialize;
use stillbed_input::quantity::GRAVITY;
use stillbed_modes::{Footing, Statics};

/// A mass that moves along rails.
#[derive(Debug, Clone, PartialEq)]
pub struct Carriage {
    /// The rails it rides on, all at once.
    pub along: Vec<Rail>,
    /// kg.
    pub mass: f64,
    /// Number of places along the travel, both ends included; at least 2.
    pub steps: usize,
}

/// A carriage along its travel, moved by its own weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CarriageTravel {
    /// kg.
    pub mass_kg: f64,
    /// The places, in order.
    pub stops: Vec<CarriageStop>,
    /// Range of the displacement of the tip relative to the work over the travel, m; `None` without a tool.
    pub error_m: Option<Xyz>,
    /// The same after the best line is removed, m.
    pub error_straight_m: Option<Xyz>,
    /// Range of the carriage's height over the travel, m.
    pub height_error_m: f64,
    /// The path of the carriage.
    pub path: CarriagePath,
}

/// A carriage at one place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CarriageStop {
    /// Fraction of the travel, 0 to 1.
    pub share: f64,
    /// From the start of the first rail, m.
    pub at_m: f64,
    /// Displacement of the tip relative to the work under the weight of the carriage, m; `None` without a
    /// tool.
    pub drift_m: Option<Xyz>,
    /// The mean displacement of the lines under it, upwards, m.
    pub height_m: f64,
}

/// The path of a carriage and its deviation from a straight one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CarriagePath {
    /// Length of the travel, m.
    pub length_m: f64,
    /// Straightness along y of the first rail.
    pub across: LineDeviation,
    /// Straightness along its z.
    pub up: LineDeviation,
    /// Range of the carriage's pitch over the travel, about y of the first rail, rad.
    pub pitch_range_rad: f64,
    /// The places, in order.
    pub places: Vec<CarriagePlace>,
}

/// One place of a path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CarriagePlace {
    /// From the start of the first rail, m.
    pub at_m: f64,
    /// Along y of the first rail, m.
    pub across_m: f64,
    /// Along its z, m.
    pub up_m: f64,
    /// The same as `up_m` after the best line is removed, m.
    pub up_off_line_m: f64,
    /// The same as `across_m` after the best line is removed, m.
    pub across_off_line_m: f64,
    /// Pitch about its y, rad.
    pub pitch_rad: f64,
}

impl CarriagePath {
    /// The path with [across, up, pitch] at equally spaced places over `length`.
    fn new(length: f64, values: &[[f64; 3]]) -> CarriagePath {
        let step = length / values.len().saturating_sub(1).max(1) as f64;
        let at: Vec<f64> = (0..values.len()).map(|i| step * i as f64).collect();
        let weight = weights(values.len(), step);
        let column = |which: usize| values.iter().map(|value| value[which]).collect::<Vec<f64>>();
        let [across, up, pitch] = [0, 1, 2].map(column);
        let [across_off, up_off] = [&across, &up].map(|values| without_line(&at, &weight, values));
        let place = |(i, [across_m, up_m, pitch_rad]): (usize, &[f64; 3])| CarriagePlace {
            at_m: at[i],
            across_m: *across_m,
            up_m: *up_m,
            up_off_line_m: up_off[i],
            across_off_line_m: across_off[i],
            pitch_rad: *pitch_rad,
        };
        CarriagePath {
            length_m: length,
            across: straight(&at, &weight, &across),
            up: straight(&at, &weight, &up),
            pitch_range_rad: range(&at, &pitch),
            places: values.iter().enumerate().map(place).collect(),
        }
    }

    /// The sum of two paths of the same carriage: both causes at once.
    pub fn and(&self, other: &CarriagePath) -> CarriagePath {
        let both = |(a, b): (&CarriagePlace, &CarriagePlace)| {
            [a.across_m + b.across_m, a.up_m + b.up_m, a.pitch_rad + b.pitch_rad]
        };
        let values: Vec<[f64; 3]> = self.places.iter().zip(&other.places).map(both).collect();
        CarriagePath::new(self.length_m, &values)
    }
}

/// A carriage at one place of its travel: the load patterns that give its mean displacements.
struct Stand {
    share: f64,
    down: Vec<f64>,
    /// Across, up and pitch.
    seen: [Vec<f64>; 3],
}

impl Stand {
    fn at(statics: &Statics, carriage: &Carriage, share: f64) -> Option<Stand> {
        let first = carriage.along.first()?;
        let part = 1.0 / carriage.along.len() as f64;
        let load = |force: Vector6<f64>| -> Option<Vec<f64>> {
            let mut sum = vec![0.0; statics.layout.dofs()];
            for rail in &carriage.along {
                let against = rail.along().dot(&first.along()) < 0.0;
                let (member, x) = rail.at(rail.length * if against { 1.0 - share } else { share })?;
                let own = statics.layout.load_on_line(statics.frame, member, x, &(force * part))?;
                sum.iter_mut().zip(own).for_each(|(sum, value)| *sum += value);
            }
            Some(sum)
        };
        let axis = |row: usize, turning: bool| {
            let axis = first.axes.row(row).transpose();
            let (force, moment) = if turning { (Vector3::zeros(), axis) } else { (axis, Vector3::zeros()) };
            load(Vector6::new(force.x, force.y, force.z, moment.x, moment.y, moment.z))
        };
        let seen = [axis(1, false)?, axis(2, false)?, axis(1, true)?];
        Some(Stand { share, down: load(-Vector6::z())?, seen })
    }

    fn reads(&self, motion: &[f64]) -> [f64; 3] {
        [0, 1, 2].map(|i| dot(&self.seen[i], motion))
    }
}

fn stands(statics: &Statics, carriage: &Carriage) -> Result<Vec<Stand>, DeflectionFault> {
    let last = carriage.steps.max(2) - 1;
    let at = |step: usize| Stand::at(statics, carriage, step as f64 / last as f64);
    (0..=last).map(at).collect::<Option<_>>().ok_or(DeflectionFault::NotHeld)
}

fn length(carriage: &Carriage) -> f64 {
    carriage.along.first().map_or(0.0, |rail| rail.length)
}

/// The path over lines bent by the displacements `motion`, without the weight of the carriage.
pub(crate) fn path_over(
    statics: &Statics,
    carriage: &Carriage,
    motion: &[f64],
) -> Result<CarriagePath, DeflectionFault> {
    let values: Vec<[f64; 3]> = stands(statics, carriage)?.iter().map(|stand| stand.reads(motion)).collect();
    Ok(CarriagePath::new(length(carriage), &values))
}

/// The travel under the weight of the carriage.
pub(super) fn travel(
    base: &Base,
    statics: &Statics,
    footing: Option<&Footing>,
    carriage: &Carriage,
) -> Result<CarriageTravel, DeflectionFault> {
    let length = length(carriage);
    let (mut stops, mut values) = (Vec::new(), Vec::new());
    for stand in stands(statics, carriage)? {
        let load: Vec<f64> = stand.down.iter().map(|f| f * carriage.mass * GRAVITY).collect();
        let moved = deflection(statics, &load)?;
        let motion = footing.map_or(moved.clone(), |footing| footing.own(&moved));
        values.push(stand.reads(&motion));
        stops.push(CarriageStop {
            share: stand.share,
            at_m: length * stand.share,
            drift_m: base.drift(statics, &motion).0,
            height_m: -dot(&stand.down, &motion),
        });
    }
    let at: Vec<f64> = stops.iter().map(|stop| stop.at_m).collect();
    let weight = weights(at.len(), length / at.len().saturating_sub(1).max(1) as f64);
    let varies = |by: &dyn Fn(&[f64]) -> f64| -> Option<Xyz> {
        let along = |of: fn(&Xyz) -> f64| -> Option<f64> {
            let values: Option<Vec<f64>> = stops.iter().map(|stop| stop.drift_m.as_ref().map(of)).collect();
            values.map(|values| by(&values))
        };
        Some(Xyz { x: along(|d| d.x)?, y: along(|d| d.y)?, z: along(|d| d.z)? })
    };
    let heights: Vec<f64> = stops.iter().map(|stop| stop.height_m).collect();
    Ok(CarriageTravel {
        mass_kg: carriage.mass,
        error_m: varies(&|values| range(&at, values)),
        error_straight_m: varies(&|values| straight(&at, &weight, values).after_m),
        height_error_m: range(&at, &heights),
        path: CarriagePath::new(length, &values),
        stops,
    })
}

#[cfg(test)]
mod tests {
    use super::super::sag::{SagRequest, solve_sag};
    use super::super::sample::{SIXTHS, bar, cut, member, slender};
    use super::super::static_deflection::subdivided;
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::Rotation3;
    use stillbed_frame::{Anchor, Frame, Line, Point};

    const EI: f64 = 210e9 * 0.06 * 0.04 * 0.04 * 0.04 / 12.0;
    const LOAD: f64 = 6.0 * GRAVITY;

    /// A beam of 1.2 m on pins, cut into members, without shear deformation; a carriage of 6 kg rides on it.
    fn beam(cuts: &[f64], order: &[usize], backwards: &[usize]) -> Frame {
        cut(&slender(), cuts, order, backwards)
    }

    fn travelled(frame: &Frame, steps: usize) -> CarriageTravel {
        let all: Vec<usize> = (0..frame.members.len()).collect();
        let along = Rail::join(frame, &all);
        assert_eq!(along.len(), 1);
        let tip = Some(frame.points.len() / 2);
        let base = Base { name: "b", frame, tip, work: None, bodies: &[] };
        let ask = SagRequest { rails: Vec::new(), carriage: Some(Carriage { along, mass: 6.0, steps }) };
        solve_sag(&base, &ask).unwrap().travel.unwrap()
    }

    #[test]
    fn a_carriage_presses_its_beam_where_it_stands() {
        let pieces: [(&[f64], &[usize], &[usize]); 3] =
            [(&[], &[0], &[]), (&SIXTHS, &[0, 1, 2, 3, 4, 5], &[]), (&SIXTHS, &[2, 0, 5, 4, 1, 3], &[0, 3])];
        for (cuts, order, backwards) in pieces {
            let travel = travelled(&beam(cuts, order, backwards), 9);
            for (stop, place) in travel.stops.iter().zip(&travel.path.places) {
                // P s² (L - s)² / (3 E I L) under the load, and its pitch P s (L - s) (L - 2 s) / (3 E I L).
                let (a, b) = (stop.at_m, 1.2 - stop.at_m);
                let expected = -LOAD * a * a * b * b / (3.0 * EI * 1.2);
                assert_relative_eq!(stop.height_m, expected, max_relative = 1e-4, epsilon = 1e-12);
                assert_relative_eq!(place.up_m, expected, max_relative = 1e-4, epsilon = 1e-12);
                let pitch = LOAD * a * b * (b - a) / (3.0 * EI * 1.2);
                assert_relative_eq!(place.pitch_rad, pitch, max_relative = 1e-4, epsilon = 1e-10);
            }
            assert_eq!(travel.stops.len(), 9);
            let deepest = LOAD * 1.2f64.powi(3) / (48.0 * EI);
            assert_relative_eq!(travel.height_error_m, deepest, max_relative = 1e-4);
            assert_relative_eq!(travel.path.up.after_m, deepest, max_relative = 1e-3);
            assert!(travel.path.across.before_m < 1e-12);
        }
    }

    #[test]
    fn a_rail_turned_in_space_carries_as_before() {
        // About the vertical, since weight keeps its direction.
        let frame = beam(&SIXTHS, &[0, 1, 2, 3, 4, 5], &[2]);
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), 0.7);
        let mut turned = frame.clone();
        turned.points.iter_mut().for_each(|point| point.position = turn * point.position);
        for (member, own) in turned.members.iter_mut().zip(&frame.members) {
            member.up = Some(turn * Line::of(&frame, own).unwrap().axes.row(2).transpose());
        }
        // The pins hold along global axes, which do not turn along: both ends are fully held instead.
        let held = |mut frame: Frame| {
            frame.anchors.iter_mut().for_each(|pin| pin.hold = [true; 6]);
            travelled(&frame, 7).path
        };
        let (one, other) = (held(frame), held(turned));
        for (a, b) in one.places.iter().zip(&other.places) {
            assert_relative_eq!(a.up_m, b.up_m, max_relative = 1e-8, epsilon = 1e-15);
            assert_relative_eq!(a.pitch_rad, b.pitch_rad, max_relative = 1e-6, epsilon = 1e-13);
        }
        assert_relative_eq!(one.pitch_range_rad, other.pitch_range_rad, max_relative = 1e-8);
    }

    #[test]
    fn two_rails_share_a_carriage_and_both_causes_add() {
        let frame = beam(&[0.5], &[0, 1], &[1]);
        let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &[] };
        let rail = Rail::join(&frame, &[0, 1]).remove(0);
        // The same beam as both rails carries half on each, in sum as one rail does.
        let on = |along: Vec<Rail>| Carriage { along, mass: 6.0, steps: 13 };
        let both = SagRequest { rails: vec![], carriage: Some(on(vec![rail.clone(), rail.clone()])) };
        let single = SagRequest { rails: vec![], carriage: Some(on(vec![rail.clone()])) };
        let [both, single] = [both, single].map(|ask| solve_sag(&base, &ask).unwrap().travel.unwrap().path);
        assert_relative_eq!(both.up.after_m, single.up.after_m, max_relative = 1e-9);
        // Warmed across its height it bows up or down by κ L²/8.
        let statics = subdivided(&frame, 24).unwrap();
        let strains = [[Vector6::new(0.0, 0.0, 0.0, 0.0, 12e-6 * 50.0, 0.0); 2]; 2];
        let load = statics.layout.free_strain_load(&frame, &strains).unwrap();
        let motion = deflection(&statics, &load).unwrap();
        let warm = path_over(&statics, &on(vec![rail]), &motion).unwrap();
        let height = 12e-6 * 50.0 * 1.44 / 8.0;
        assert_relative_eq!(warm.up.after_m, height, max_relative = 1e-6);
        let middle = |path: &CarriagePath| path.places[6].up_m;
        assert_relative_eq!(middle(&warm).abs(), height, max_relative = 1e-6);
        let sum = warm.and(&single);
        assert_relative_eq!(middle(&sum), middle(&warm) + middle(&single), max_relative = 1e-12);
        let farthest = sum.places.iter().map(|place| place.up_off_line_m.abs()).fold(0.0, f64::max);
        assert_relative_eq!(farthest, sum.up.off_m, max_relative = 1e-3);
    }

    #[test]
    fn rails_drawn_against_each_other_carry_at_one_place() {
        // Two cantilevers side by side, the second drawn from its free end: each bears half the weight.
        let mut frame = bar(1.2, &slender());
        let point = |x: f64| Point { name: "p".into(), position: Vector3::new(x, 0.3, 0.0) };
        frame.points.extend([point(1.2), point(0.0)]);
        frame.members.push(member("back", 2, 3));
        frame.anchors.push(Anchor { name: "wall".into(), at: vec![0, 3], hold: [true; 6] });
        let along = [0, 1].map(|number| Rail::from_member(&frame, number).unwrap()).to_vec();
        let base = Base { name: "b", frame: &frame, tip: None, work: None, bodies: &[] };
        let ask = SagRequest { rails: vec![], carriage: Some(Carriage { along, mass: 6.0, steps: 7 }) };
        let travel = solve_sag(&base, &ask).unwrap().travel.unwrap();
        for (stop, place) in travel.stops.iter().zip(&travel.path.places) {
            let a = stop.at_m;
            let down = 0.5 * LOAD * a.powi(3) / (3.0 * EI);
            assert_relative_eq!(stop.height_m, -down, max_relative = 1e-4, epsilon = 1e-12);
            assert_relative_eq!(place.up_m, -down, max_relative = 1e-4, epsilon = 1e-12);
        }
        assert_relative_eq!(travel.stops[6].at_m, 1.2, max_relative = 1e-12);
    }
}
