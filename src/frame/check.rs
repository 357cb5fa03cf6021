//! What makes a frame invalid: members without length, axes without a direction, points that no member meets.
//!
//! Mechanisms (a loop of hinges, a base that nothing holds) are not faults here: they appear as
//! modes of zero frequency.

use super::axes::Line;
use super::model::{BodyJoint, Frame};
use super::section::inverse;
use num_complex::Complex64;
use std::fmt;

/// What is wrong with one entry of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameFault {
    /// The table of the design file that the entry is in, such as `members`.
    pub table: &'static str,
    /// The entry's name.
    pub name: String,
    /// The field of the entry, such as `up`; empty when the whole entry is meant.
    pub field: &'static str,
    /// The value found, then what is allowed.
    pub message: String,
    /// How to repair it.
    pub help: String,
}

impl fmt::Display for FrameFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}.{}", self.table, self.name)?;
        if !self.field.is_empty() {
            write!(f, ".{}", self.field)?;
        }
        write!(f, ": {}; {}", self.message, self.help)
    }
}

impl std::error::Error for FrameFault {}

/// Collects faults of one table.
struct Table<'a> {
    table: &'static str,
    faults: &'a mut Vec<FrameFault>,
}

impl Table<'_> {
    fn fault(&mut self, name: &str, field: &'static str, message: String, help: &str) {
        let (table, name, help) = (self.table, name.to_string(), help.to_string());
        self.faults.push(FrameFault { table, name, field, message, help });
    }
}

impl Frame {
    /// Checks that the drawing can be divided and solved.
    ///
    /// # Errors
    /// Every fault, in the order of the tables.
    pub fn check(&self) -> Result<(), Vec<FrameFault>> {
        let faults = faults(self);
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }
}

fn faults(frame: &Frame) -> Vec<FrameFault> {
    let mut faults = Vec::new();
    points(frame, &mut faults);
    sections(frame, &mut faults);
    members(frame, &mut faults);
    joints(frame, &mut faults);
    masses(frame, &mut faults);
    holds(frame, &mut faults);
    arms(frame, &mut faults);
    bodies(frame, &mut faults);
    faults
}

fn points(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "points", faults };
    let mut met = vec![false; frame.points.len()];
    let ends = frame.members.iter().flat_map(|member| [member.from, member.to]);
    let on_arms = frame.arms.iter().flat_map(|arm| [arm.from, arm.to]);
    let on_bodies = frame.bodies.iter().flat_map(|body| body.points.iter().copied());
    for end in ends.chain(on_arms).chain(on_bodies) {
        if let Some(met) = met.get_mut(end) {
            *met = true;
        }
    }
    for (i, point) in frame.points.iter().enumerate() {
        if !point.position.iter().all(|x| x.is_finite()) {
            let message = format!("its place {:?} is not finite", point.position.as_slice());
            table.fault(&point.name, "", message, "give three lengths");
        }
        if !met[i] {
            let carried = frame.masses.iter().find(|mass| mass.at == i);
            let message = match carried {
                Some(mass) => format!("no member meets it, yet it carries \"{}\"", mass.name),
                None => "no member meets it".to_string(),
            };
            let help = match frame.bodies.is_empty() {
                true => "draw a member to it or leave the point out",
                false => "draw a member to it, put it on the surface of a body, or leave it out",
            };
            table.fault(&point.name, "", message, help);
        }
    }
}

fn arms(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "members", faults };
    let there = |i: usize| i < frame.points.len();
    for arm in frame.arms.iter().filter(|arm| !there(arm.from) || !there(arm.to)) {
        let message = format!("its points {} and {} are not both there", arm.from, arm.to);
        table.fault(&arm.name, "", message, "name two points of the drawing");
    }
    for [a, b] in frame.held_twice() {
        let [a, b] = [a, b].map(|point| frame.points[point].name.clone());
        let of = frame.arms.first().map_or(String::new(), |arm| arm.name.clone());
        let message = format!("rigid arms join \"{a}\" and \"{b}\", and an anchor or a body holds both");
        table.fault(&of, "", message, "let only one of them be held, or draw a member between them");
    }
}

fn bodies(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "bodies", faults };
    for body in &frame.bodies {
        if body.points.is_empty() || body.points.iter().any(|point| *point >= frame.points.len()) {
            let help = "put a point on its surface, with a patch";
            table.fault(&body.name, "", "no point holds it".to_string(), help);
        }
        let missing = |own: &BodyJoint| own.point >= body.points.len() || own.joint >= frame.joints.len();
        if body.joints.iter().any(missing) {
            let message = "one of its joints, or the point of one, is not there".to_string();
            table.fault(&body.name, "", message, "name a joint of the build");
        }
    }
}

fn sections(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "sections", faults };
    for section in &frame.sections {
        let real = section.stiffness.map(|s| Complex64::from(s.re));
        let lossy = section.stiffness.iter().all(|s| s.im.is_finite());
        if !lossy || inverse(&real).is_none() {
            let message = "its stiffness is not positive in every direction".to_string();
            table.fault(&section.name, "", message, "give it a part that carries load");
        }
        let mass = &section.mass;
        if !mass.iter().all(|m| m.is_finite()) || mass[(0, 0)] <= 0.0 {
            let message = format!("its mass is {} kg/m, not above 0", mass[(0, 0)]);
            table.fault(&section.name, "", message, "give its parts a density");
        }
    }
}

fn members(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "members", faults };
    for member in &frame.members {
        let ends = [member.from, member.to].map(|i| frame.points.get(i));
        let [Some(from), Some(to)] = ends else {
            let message = format!("its points {} and {} are not both there", member.from, member.to);
            table.fault(&member.name, "", message, "name two points of the drawing");
            continue;
        };
        if member.section >= frame.sections.len() {
            let message = format!("its section {} is not there", member.section);
            table.fault(&member.name, "section", message, "name a section of the build");
        }
        for (field, joint) in [("joint_from", member.joint_from), ("joint_to", member.joint_to)] {
            if joint.is_some_and(|joint| joint >= frame.joints.len()) {
                let message = "its joint is not there".to_string();
                table.fault(&member.name, field, message, "name a joint of the build");
            }
        }
        if !member.offset.iter().all(|x| x.is_finite()) {
            let message = format!("{:?} m is not finite", member.offset.as_slice());
            table.fault(&member.name, "offset", message, "give three lengths");
        }
        if Line::of(frame, member).is_some() {
            continue;
        }
        let upless = super::model::Member { up: None, ..member.clone() };
        if Line::of(frame, &upless).is_some() {
            let message = "it points along the member or nowhere".to_string();
            table.fault(&member.name, "up", message, "give a direction across the member");
        } else if from.position.iter().chain(to.position.iter()).all(|x| x.is_finite()) {
            let message = format!("\"{}\" and \"{}\" lie at the same place", from.name, to.name);
            table.fault(&member.name, "", message, "move one of them apart or leave the member out");
        }
    }
}

/// True for a finite stiffness that is not negative and adds no energy.
fn passive(stiffness: Complex64) -> bool {
    stiffness.is_finite() && stiffness.re >= 0.0 && stiffness.im >= 0.0
}

fn joints(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "joints", faults };
    for joint in &frame.joints {
        for stiffness in joint.stiffness.into_iter().flatten().filter(|s| !passive(*s)) {
            let message = format!("a stiffness of {stiffness} is below 0 or not finite");
            table.fault(&joint.name, "stiffness", message, "give 0 for a hinge, or more");
        }
    }
}

fn masses(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let mut table = Table { table: "masses", faults };
    for mass in &frame.masses {
        if mass.at >= frame.points.len() {
            let message = format!("its point {} is not there", mass.at);
            table.fault(&mass.name, "at", message, "name a point of the drawing");
        }
        if !(mass.mass.is_finite() && mass.mass > 0.0) {
            let message = format!("{} kg is not above 0", mass.mass);
            table.fault(&mass.name, "mass", message, "give what it weighs");
        }
        if !mass.inertia.iter().all(|i| i.is_finite() && *i >= 0.0) {
            let message = format!("{:?} kg m2 is below 0 or not finite", mass.inertia.as_slice());
            table.fault(&mass.name, "inertia", message, "give three inertias of 0 or more");
        }
        if !mass.offset.iter().all(|x| x.is_finite()) {
            let message = format!("{:?} m is not finite", mass.offset.as_slice());
            table.fault(&mass.name, "offset", message, "give three lengths");
        }
    }
}

fn holds(frame: &Frame, faults: &mut Vec<FrameFault>) {
    let missing = |at: &[usize]| at.is_empty() || at.iter().any(|i| *i >= frame.points.len());
    let mut table = Table { table: "feet", faults };
    for foot in &frame.feet {
        if missing(&foot.at) {
            let message = format!("no point is at {:?}", foot.at);
            table.fault(&foot.name, "at", message, "name the points that stand on it");
        }
        for stiffness in foot.six().into_iter().filter(|s| !passive(*s)) {
            let message = format!("a stiffness of {stiffness} is below 0 or not finite");
            table.fault(&foot.name, "stiffness", message, "give 0 where it slides, or more");
        }
    }
    table.table = "anchors";
    for anchor in &frame.anchors {
        if missing(&anchor.at) {
            let message = format!("no point is at {:?}", anchor.at);
            table.fault(&anchor.name, "at", message, "name the points that it holds");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{cantilever, crooked, member, point};
    use super::*;
    use nalgebra::Vector3;

    fn said(frame: &Frame) -> Vec<String> {
        faults(frame).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_sound_frame_has_no_faults() {
        assert!(faults(&cantilever()).is_empty());
        assert!(faults(&crooked()).is_empty());
    }

    #[test]
    fn every_fault_is_found_in_one_pass() {
        let mut frame = crooked();
        frame.points.push(point("loose", 1.0, 1.0, 1.0));
        frame.points.push(point("twin", 0.0, 0.0, 0.0));
        frame.masses.push(super::super::Mass { at: 4, name: "motor".into(), ..frame.masses[0].clone() });
        frame.members.push(member("stub", 0, 5));
        frame.members[1].up = Some(Vector3::new(0.0, 0.1, 0.5));
        frame.joints[0].stiffness[2] = Some(Complex64::new(-1.0, 0.0));
        frame.feet[0].at.clear();
        frame.sections[0].mass[(0, 0)] = f64::NAN;
        let said = said(&frame).join("\n");
        for part in [
            "points.loose: no member meets it, yet it carries \"motor\"",
            "members.stub: \"a\" and \"twin\" lie at the same place",
            "members.post.up: it points along the member or nowhere",
            "joints.corner.stiffness: a stiffness of -1",
            "feet.front.at: no point is at []",
            "sections.square: its mass is NaN kg/m",
        ] {
            assert!(said.contains(part), "{part} not in\n{said}");
        }
    }

    #[test]
    fn a_missing_joint_is_named_with_its_end() {
        for (from, to, fields) in [
            (Some(9), None, vec!["joint_from"]),
            (None, Some(9), vec!["joint_to"]),
            (Some(9), Some(9), vec!["joint_from", "joint_to"]),
        ] {
            let mut frame = cantilever();
            (frame.members[0].joint_from, frame.members[0].joint_to) = (from, to);
            let found: Vec<&str> = faults(&frame).iter().map(|fault| fault.field).collect();
            assert_eq!(found, fields);
        }
    }

    #[test]
    fn indices_beyond_the_lists_are_faults() {
        let mut frame = cantilever();
        frame.members[0].to = 9;
        frame.members[0].section = 9;
        frame.anchors[0].at = vec![7];
        assert_eq!(faults(&frame).len(), 3);
        assert!(super::super::Layout::divide(&frame, &[]).is_err());
    }
}
