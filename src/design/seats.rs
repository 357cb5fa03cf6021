//! Joints and feet that are stated by what a builder knows of them: their loads at rest first, then the tangent of
//! their law there.
//!
//! ```text
//! loads → springs by the laws → K u = -M g → loads        until the loads stay
//! ```
//!
//! A joint or a foot has one set of springs at all its places, under the mean of their loads. Whether it opens or slips
//! is asked at each place, under weight and, where the tap states how long it lasts, its peak to either side as if it
//! stood still: what a vibration adds, and cutting forces, are left out.

use super::build::Build;
use super::goal::Goal;
use super::substance::{Register, Stores};
use nalgebra::{Vector3, Vector6};
use std::f64::consts::PI;
use stillbed_eigen::Vectors;
use stillbed_frame::{Frame, Layout, Substructure};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Draw, GRAVITY, Kind, Loss, Spread, figures, show};
use stillbed_joint::{Margins, Seat, SeatKind, Stuff, bolt_load, rubber};
use stillbed_material::Table;

/// Rounds after which loads are taken as found.
const ROUNDS: usize = 12;

/// Change of a load, over the weight, below which it stays.
const STAYS: f64 = 1e-6;

/// A bolt is overloaded above this part of its proof load.
const PROOF: f64 = 0.9;

/// What a seat is: the place of its joint or foot in the drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Of {
    Joint(usize),
    Foot(usize),
}

/// One seat on its way.
struct Settled {
    of: Of,
    name: String,
    seat: Seat,
    stuffs: Vec<Stuff>,
    /// What is stated of its loss.
    loss: Loss,
}

impl Settled {
    fn key(&self) -> &Place {
        &self.seat.spec.place
    }
}

impl Build {
    /// Gives the joints and feet that follow from their laws their springs, and says what is doubtful or wrong.
    pub(super) fn settle(&mut self, goal: &Goal, table: &Table, register: &mut Register) -> Vec<Problem> {
        let mut said = Vec::new();
        let drawing = self.drawing.clone();
        let stores = &mut Stores::new(&drawing, table, register);
        let mut all = self.seats(stores, &mut said);
        if all.is_empty() || said.iter().any(Problem::is_error) {
            return said;
        }
        let points = all.iter().filter_map(|settled| match settled.of {
            Of::Foot(foot) => Some(self.drawing.feet.iter().nth(foot)?.1.at.len()),
            Of::Joint(_) => None,
        });
        let points = points.sum::<usize>().max(1) as f64;
        let unheld = self.drawing.is_unheld();
        let guess = match self.weights(goal, &Draw::default()) {
            Ok(model) if !unheld => model.mass() * GRAVITY / points,
            _ => 0.0,
        };
        for settled in &mut all {
            if !settled.seat.derive(&settled.stuffs, guess) {
                said.push(unpressed(settled));
            }
        }
        if said.iter().any(Problem::is_error) {
            return said;
        }
        for settled in &mut all {
            self.enter(settled, stores);
        }
        self.put(&all);
        if !unheld {
            self.find_loads(goal, &mut all);
            self.put(&all);
        }
        said.extend(all.iter().flat_map(doubts));
        said
    }

    /// The joints in use and the feet that state a law, with their materials.
    fn seats(&self, stores: &mut Stores, said: &mut Vec<Problem>) -> Vec<Settled> {
        let drawing = &self.drawing;
        let used = drawing.joints_in_use();
        let joints = drawing.joints.iter().enumerate().filter(|(_, (name, _))| used.contains(name));
        let joints = joints.map(|(i, (name, joint))| (Of::Joint(i), name, &joint.seat, &joint.loss));
        let feet = drawing.feet.iter().enumerate();
        let feet = feet.map(|(i, (name, foot))| (Of::Foot(i), name, &foot.seat, &foot.loss));
        let mut all = Vec::new();
        for (of, name, seat, loss) in joints.chain(feet) {
            let Some(seat) = seat else { continue };
            let mut stuffs = Vec::new();
            for of in seat.spec.kind.materials() {
                match stores.stuff(of) {
                    Ok(stuff) => stuffs.push(stuff),
                    Err(problems) => said.extend(problems),
                }
            }
            let (name, seat, loss) = (name.to_string(), (**seat).clone(), loss.clone());
            all.push(Settled { of, name, seat, stuffs, loss });
        }
        all
    }

    /// Gives the spreads of a seat their indices in a draw.
    fn enter(&self, settled: &mut Settled, stores: &mut Stores) {
        let key = settled.key().key.clone();
        let Some(derived) = &mut settled.seat.derived else { return };
        for (spread, name) in [(&mut derived.across, "stiffness"), (&mut derived.along, "along")] {
            *spread = stores.enter_factor(&format!("{key}.{name}"), *spread);
        }
        if settled.loss == Loss::Unstated {
            derived.loss = stores.enter_factor(&format!("{key}.loss"), derived.loss);
        }
    }

    /// Puts the springs of `all` into the drawing.
    fn put(&mut self, all: &[Settled]) {
        for settled in all {
            let Some(derived) = &settled.seat.derived else { continue };
            let springs = derived.springs.map(Spread::exact);
            let loss = match &settled.loss {
                Loss::Unstated => Loss::Same(derived.loss),
                stated => stated.clone(),
            };
            let seat = Some(Box::new(settled.seat.clone()));
            match settled.of {
                Of::Joint(_) => {
                    let Some(mut joint) = self.drawing.joints.get(&settled.name).cloned() else { continue };
                    joint.stiffness = springs.map(Some);
                    (joint.loss, joint.seat) = (loss, seat);
                    self.drawing.joints.insert(&settled.name, joint);
                }
                Of::Foot(_) => {
                    let Some(mut foot) = self.drawing.feet.get(&settled.name).cloned() else { continue };
                    let [x, y, z, turn_x, turn_y, turn_z] = springs;
                    (foot.stiffness, foot.turning) = ([x, y, z], Some([turn_x, turn_y, turn_z]));
                    (foot.loss, foot.seat) = (loss, seat);
                    self.drawing.feet.insert(&settled.name, foot);
                }
            }
        }
    }

    /// Loads at rest and the springs under them, and the margins.
    fn find_loads(&self, goal: &Goal, all: &mut [Settled]) {
        // What keeps the build from being solved is reported where all builds are.
        let Ok(mut model) = self.model(goal, &Draw::default()) else { return };
        let mut last: Vec<f64> = vec![f64::NAN; all.len()];
        for _ in 0..ROUNDS {
            let Some(found) = self.at_rest(&model.frame, goal, all) else { return };
            let weight = model.mass() * GRAVITY;
            let means: Vec<f64> = found.iter().map(|loads| mean_pressed(loads)).collect();
            let stays = means.iter().zip(&last).all(|(now, was)| (now - was).abs() <= STAYS * weight);
            for (settled, loads) in all.iter_mut().zip(&found) {
                let pressed = loads.iter().map(|load| -load.weight[0]);
                let least = pressed.clone().fold(f64::INFINITY, f64::min);
                settled.seat.pressed = Some([least, pressed.fold(f64::NEG_INFINITY, f64::max)]);
                settled.seat.margins = margins(&settled.seat, loads);
                settled.seat.derive(&settled.stuffs, mean_pressed(loads));
            }
            if stays {
                return;
            }
            last = means;
            for settled in all.iter() {
                let Some(derived) = &settled.seat.derived else { continue };
                let springs = derived.springs.map(num_complex::Complex64::from);
                match settled.of {
                    Of::Joint(joint) => model.frame.joints[joint].stiffness = springs.map(Some),
                    Of::Foot(foot) => {
                        model.frame.feet[foot].stiffness = [springs[0], springs[1], springs[2]];
                        model.frame.feet[foot].turning = [springs[3], springs[4], springs[5]];
                    }
                }
            }
        }
    }

    /// The loads of each seat at each of its places, in its own axes.
    fn at_rest(&self, frame: &Frame, goal: &Goal, all: &[Settled]) -> Option<Vec<Vec<SeatLoad>>> {
        let statics = stillbed_modes::Statics::factor(frame).ok()?;
        let layout = &statics.layout;
        let weight = layout.inertia_load(frame, &(Vector6::z() * -GRAVITY), &Vector3::zeros())?;
        let solve = |load: &[f64]| Some(statics.solve(&Vectors::single(load)).ok()?.column(0).to_vec());
        let mut motions = vec![solve(&weight)?];
        if let Some(tap) = goal.tap.as_ref().filter(|tap| tap.duration > 0.0)
            && let Some(at) = self.drawing.points.position(&tap.at.value)
        {
            // The peak of a half-sine.
            let peak = 0.5 * PI * tap.impulse.value / tap.duration;
            let [x, y, z] = tap.along.map(|part| part * peak);
            motions.push(solve(&layout.at_point(at, &Vector6::new(x, y, z, 0.0, 0.0, 0.0)))?);
        }
        let of = |settled: &Settled| {
            let places = places(frame, settled.of);
            let load = |place: &SeatPlace| {
                let forces = |motion: &Vec<f64>| settled.own(place.force(frame, layout, motion), place.sign);
                let tap = motions.get(1).map_or([0.0; 6], forces);
                SeatLoad { weight: settled.turned(forces(&motions[0])), tap }
            };
            places.iter().map(load).collect()
        };
        Some(all.iter().map(of).collect())
    }
}

/// The load of a seat at one place: pull along its normal, pushes along its sides, twist, bending about its sides.
struct SeatLoad {
    weight: [f64; 6],
    tap: [f64; 6],
}

/// Where a seat is in a frame.
struct SeatPlace {
    at: At,
    /// 1 where a positive spring pulls it apart, else -1.
    sign: f64,
}

enum At {
    End { member: usize, end: usize, joint: usize },
    Body { body: usize, place: usize, joint: usize },
    Point { point: usize, foot: usize },
}

fn places(frame: &Frame, of: Of) -> Vec<SeatPlace> {
    match of {
        Of::Joint(joint) => {
            let ends = frame.members.iter().enumerate().flat_map(|(m, member)| {
                [0, 1]
                    .into_iter()
                    .filter(move |end| member.joint(*end) == Some(joint))
                    .map(move |end| (m, end))
            });
            // At its first end a member that moves along its x parts from its point.
            let place = |(member, end)| SeatPlace {
                at: At::End { member, end, joint },
                sign: if end == 0 { 1.0 } else { -1.0 },
            };
            let of_body = |(body, own): (usize, &Substructure)| {
                let joints = own.joints.iter().enumerate().filter(|(_, own)| own.joint == joint);
                let places = joints.map(|(place, _)| At::Body { body, place, joint });
                places.map(|at| SeatPlace { at, sign: 1.0 }).collect::<Vec<_>>()
            };
            ends.map(place).chain(frame.bodies.iter().enumerate().flat_map(of_body)).collect()
        }
        Of::Foot(foot) => {
            let place = |point: &usize| SeatPlace { at: At::Point { point: *point, foot }, sign: 1.0 };
            frame.feet[foot].at.iter().map(place).collect()
        }
    }
}

impl SeatPlace {
    /// The forces of its springs by freedom under `motion`.
    fn force(&self, frame: &Frame, layout: &Layout, motion: &[f64]) -> [f64; 6] {
        let moved = |dof: Option<usize>| dof.map_or(0.0, |dof| motion[dof]);
        std::array::from_fn(|axis| match self.at {
            At::End { member, end, joint } => {
                let spring = frame.joints[joint].stiffness[axis].unwrap_or_default().re;
                spring * moved(layout.joint_dof(member, end, axis))
            }
            At::Body { body, place, joint } => {
                let spring = frame.joints[joint].stiffness[axis].unwrap_or_default().re;
                spring * moved(layout.body_joint_dof(body, place, axis))
            }
            At::Point { point, foot } => frame.feet[foot].six()[axis].re * layout.moved(point, motion)[axis],
        })
    }
}

impl Settled {
    /// `force` by freedom in the order of the seat: normal, sides, twist, tilts; pulling is positive.
    fn own(&self, force: [f64; 6], sign: f64) -> [f64; 6] {
        let normal = self.seat.spec.normal;
        let [u, v] = self.seat.spec.sides();
        let mut own = [normal, u, v, 3 + normal, 3 + u, 3 + v].map(|freedom| force[freedom]);
        own[0] *= sign;
        own
    }

    /// A plate that lies along its member is taken as pressed by weight, since nothing says on which side it lies.
    fn turned(&self, mut own: [f64; 6]) -> [f64; 6] {
        if matches!(self.of, Of::Joint(_)) && self.seat.spec.normal != 0 {
            own[0] = -own[0].abs();
        }
        own
    }
}

fn mean_pressed(loads: &[SeatLoad]) -> f64 {
    loads.iter().map(|load| -load.weight[0]).sum::<f64>() / loads.len().max(1) as f64
}

/// The least margins of a seat over its places, and over both directions of the tap.
fn margins(seat: &Seat, loads: &[SeatLoad]) -> Option<Margins> {
    let hold = seat.derived.as_ref()?.hold?;
    let each = loads.iter().flat_map(|load| {
        [-1.0, 0.0, 1.0]
            .map(|sign| hold.margins(std::array::from_fn(|i| load.weight[i] + sign * load.tap[i])))
    });
    each.reduce(|a, b| Margins { opens: a.opens.min(b.opens), slips: a.slips.min(b.slips) })
}

fn unpressed(settled: &Settled) -> Problem {
    let help = match settled.seat.spec.kind {
        SeatKind::Slide { .. } => "state load = \"500 N\", what presses the faces together",
        _ => "state preload = \"200 N\", or let it carry weight",
    };
    Problem::error(settled.key().clone(), "nothing presses it, so that it has no stiffness").with_help(help)
}

/// What is doubtful about a seat under its loads.
fn doubts(settled: &Settled) -> Vec<Problem> {
    let mut said = Vec::new();
    let mut doubt = |message: String, help: &str| {
        said.push(Problem::warning(settled.key().clone(), message).with_help(help));
    };
    let seat = &settled.seat;
    if let Some(Margins { opens, slips }) = seat.margins {
        if opens < 1.0 {
            let message =
                format!("it opens under weight and tap: {} times what it bears", figures(1.0 / opens, 2));
            doubt(
                message,
                "more torque, larger or more bolts, a longer plate; while it is open its stiffness is less",
            );
        }
        if slips < 1.0 {
            let message = format!(
                "it slips under weight and tap: {} times what friction holds",
                figures(1.0 / slips, 2)
            );
            doubt(message, "more torque or more bolts, dowels, or another way to hold it");
        }
    }
    match (&seat.spec.kind, seat.pressed) {
        (SeatKind::Bolted(bolted), _) => {
            let of = bolt_load(bolted);
            if of > PROOF {
                let message = format!(
                    "{} takes each bolt to {} of its proof load",
                    show(bolted.torque, Kind::Torque),
                    percent(of)
                );
                doubt(message, "less torque, a larger bolt, or a higher grade, as in grade = \"10.9\"");
            }
        }
        (SeatKind::Rubber { outline, thick, hardness, .. }, Some([_, most])) => {
            let stress = most / outline.area().area;
            let strain = stress / rubber::modulus(*hardness);
            if strain > 0.15 {
                let message = format!(
                    "the pad is squeezed by about {} of its {} under {}",
                    percent(strain),
                    show(*thick, Kind::Length),
                    show(most, Kind::Force)
                );
                doubt(message, "rubber is held below 15 %: a larger or a harder pad");
            }
        }
        (SeatKind::Air { area, pressure: Some(pressure), .. }, Some([least, most])) => {
            let carries = pressure * area;
            if carries < 0.8 * least || carries > 1.25 * most {
                let message = format!(
                    "{} on {} carry {}, and {} stand on it",
                    show(*pressure, Kind::Stress),
                    show(*area, Kind::Area),
                    show(carries, Kind::Force),
                    show(0.5 * (least + most), Kind::Force)
                );
                doubt(message, "leave the pressure out, and it is the one that carries the weight");
            }
        }
        _ => (),
    }
    let lifts = !matches!(seat.spec.kind, SeatKind::Bolted(_) | SeatKind::Film { .. });
    if let (Of::Foot(_), Some([least, _])) = (settled.of, seat.pressed)
        && lifts
        && least < 0.0
    {
        let message = format!("one of its points is lifted by {} at rest", show(-least, Kind::Force));
        doubt(message, "move it, or the masses, so that every foot carries");
    }
    said
}

fn percent(share: f64) -> String {
    format!("{} %", figures(100.0 * share, 2))
}

#[cfg(test)]
#[path = "seats_tests.rs"]
mod tests;
