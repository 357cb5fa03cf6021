//! Names that lead nowhere, and what is doubtful in a drawing although it can be computed.

use super::drawing::Drawing;
use super::goal::{Goal, Measure};
use super::named::Named;
use crate::document::Located;
use crate::frame::spec::JointSpec;
use crate::problem::{Place, Problem};
use crate::quantity::{Kind, show};

/// What is wrong with the names of one build's drawing.
pub(super) fn names(drawing: &Drawing, build: &str, build_place: &Place) -> Vec<Problem> {
    let mut said = Vec::new();
    let points = &drawing.points;
    for (name, member) in drawing.members.iter() {
        said.extend(absent(&member.from, points, "point"));
        said.extend(absent(&member.to, points, "point"));
        if drawing.sections.get(&member.section.value).is_none()
            && let Some(help) = drawing.sections.missing(&member.section.value)
        {
            let wanted = &member.section.value;
            let message =
                format!("build \"{build}\" has no section \"{wanted}\", which members.{name} is made of");
            let known =
                if help.starts_with("did you mean") { format!("{help} or add") } else { "add".to_string() };
            said.push(
                Problem::error(build_place.clone(), message)
                    .with_help(format!("{known} sections.{wanted}.parts = [{{ … }}] to the build")),
            );
        }
    }
    for (_, mass) in drawing.masses.iter() {
        said.extend(absent(&mass.at, points, "point"));
    }
    let feet = drawing.feet.iter().flat_map(|(_, foot)| &foot.at);
    let anchors = drawing.anchors.iter().flat_map(|(_, anchor)| &anchor.at);
    for name in feet.chain(anchors) {
        said.extend(absent(name, points, "point"));
    }
    said
}

/// What is wrong with the names of the goal, in one build's drawing.
pub(super) fn goal_names(goal: &Goal, drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    let points = &drawing.points;
    if let Some(tool) = &goal.tool {
        said.extend(absent(&tool.tip, points, "point"));
        if !tool.works_on_ground() {
            said.extend(absent(&tool.work, points, "point"));
            if tool.tip.value == tool.work.value {
                let message = format!("tip and work are both \"{}\"", tool.tip.value);
                said.push(
                    Problem::error(tool.work.place.clone(), message)
                        .with_help("name the point of the work, or \"ground\""),
                );
            }
        } else if drawing.is_unheld() {
            said.push(
                Problem::error(
                    tool.work.place.clone(),
                    "the work is on the ground, but nothing holds the base there",
                )
                .with_help("add [feet.…] or [anchors.…]"),
            );
        }
    }
    if let Some(tap) = &goal.tap {
        said.extend(absent(&tap.at, points, "point"));
    }
    if let Some(thermal) = &goal.thermal {
        for name in thermal.member_names() {
            said.extend(absent(name, &drawing.members, "member"));
        }
        for (name, _) in &thermal.points {
            said.extend(absent(name, points, "point"));
        }
    }
    for (_, speeds) in goal.speeds.iter() {
        if let Some(at) = &speeds.at {
            said.extend(absent(at, points, "point"));
        }
    }
    said
}

/// Joints that members name and no build defines: rigid everywhere, most likely a slip.
pub(super) fn joints_of_no_build(drawings: &[&Drawing]) -> Vec<Problem> {
    let mut said = Vec::new();
    let defined = |name: &str| {
        drawings.iter().any(|d| d.joints.missing(name).is_none() || d.joints.get(name).is_some())
    };
    for drawing in drawings {
        for (_, member) in drawing.members.iter() {
            for joint in [&member.joint_from, &member.joint_to].into_iter().flatten() {
                if defined(&joint.value) {
                    continue;
                }
                let all: Vec<&str> =
                    drawings.iter().flat_map(|d| d.joints.iter().map(|(name, _)| name)).collect();
                let message =
                    format!("no build defines the joint \"{}\", so it is rigid everywhere", joint.value);
                let help = match crate::problem::nearest(&joint.value, all.iter().copied()) {
                    Some(name) => format!("did you mean \"{name}\"?"),
                    None => format!("define joints.{} in a build, or leave it out", joint.value),
                };
                said.push(Problem::warning(joint.place.clone(), message).with_help(help));
            }
        }
    }
    said
}

/// Targets that the design gives nothing to judge by.
pub(super) fn targets(goal: &Goal, drawings: &[&Drawing]) -> Vec<Problem> {
    let mut said = Vec::new();
    for target in &goal.targets {
        let lack = match target.measure {
            Measure::Stiffness | Measure::DynamicStiffness if goal.tool.is_none() => {
                "a [tool] with tip and work"
            }
            Measure::SettleTime | Measure::LossFactor if goal.tool.is_none() => "a [tool] with tip and work",
            Measure::SettleTime if goal.tap.is_none() => "a [tap]",
            Measure::Cost if drawings.iter().any(|d| d.prices.is_empty()) => "prices in every build",
            _ => continue,
        };
        let message = format!("the target of {} cannot be judged without {lack}", target.measure.title());
        said.push(
            Problem::error(target.place.clone(), message)
                .with_help(format!("add {lack}, or leave the target out")),
        );
    }
    said
}

/// What is doubtful in a drawing: computed all the same.
pub(super) fn doubts(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    let mut doubt = |place: &Place, message: String, help: &str| {
        said.push(Problem::warning(place.clone(), message).with_help(help));
    };
    if drawing.is_unheld() {
        doubt(
            &Place::default(),
            "nothing holds the base: it is computed as if it floated".to_string(),
            "add [feet.…] or [anchors.…], unless that is meant",
        );
    }
    for (_, point) in drawing.points.iter() {
        if let Some(far) = point.position.iter().find(|x| x.abs() > 20.0) {
            doubt(
                &point.place,
                format!("{} is far for a small machine", show(*far, Kind::Length)),
                "is the unit right?",
            );
        }
    }
    for (_, member) in drawing.members.iter() {
        if let (Some(a), Some(b)) =
            (drawing.points.get(&member.from.value), drawing.points.get(&member.to.value))
        {
            let length: f64 = (0..3).map(|i| (a.position[i] - b.position[i]).powi(2)).sum::<f64>().sqrt();
            if length > 10.0 {
                doubt(&member.place, format!("{} long", show(length, Kind::Length)), "is the unit right?");
            }
        }
    }
    for (_, mass) in drawing.masses.iter() {
        if mass.mass.value > 5000.0 {
            doubt(
                &mass.place,
                format!("a mass of {}", show(mass.mass.value, Kind::Mass)),
                "is the unit right?",
            );
        }
    }
    for (_, foot) in drawing.feet.iter() {
        for spring in &foot.stiffness {
            if spring.value > 0.0 && !(1e3..1e11).contains(&spring.value) {
                let message = format!("a foot of {}", show(spring.value, Kind::Stiffness));
                doubt(&foot.place, message, "levelling feet lie between 1 and 1000 N/um");
            }
        }
        if foot.loss.largest() > 1.0 {
            doubt(&foot.place, format!("a loss factor of {}", foot.loss.largest()), "rubber reaches about 1");
        }
    }
    for (_, joint) in drawing.joints.iter() {
        joint_doubts(joint, &mut doubt);
    }
    for (name, section) in drawing.sections.iter() {
        if !drawing.members.iter().any(|(_, member)| member.section.value == name) {
            let message = format!("no member is made of the section \"{name}\"");
            doubt(&section.place, message, "leave it out, or name it in a member");
        }
        for part in &section.parts {
            if let Some((what, size)) = oversize(&part.shape) {
                doubt(&part.place, format!("a {what} of {}", show(size, Kind::Length)), "is the unit right?");
            }
        }
    }
    said
}

fn joint_doubts(joint: &JointSpec, doubt: &mut impl FnMut(&Place, String, &str)) {
    for (i, spring) in joint.stiffness.iter().enumerate() {
        let (kind, range) =
            if i < 3 { (Kind::Stiffness, 1e4..1e12) } else { (Kind::TurningStiffness, 1.0..1e9) };
        if let Some(spring) = spring
            && spring.value > 0.0
            && !range.contains(&spring.value)
        {
            doubt(&joint.place, format!("a joint of {}", show(spring.value, kind)), "check the unit");
        }
    }
}

/// The largest size of a shape, where it is out of all proportion to a small machine.
fn oversize(shape: &crate::section::Shape) -> Option<(&'static str, f64)> {
    use crate::section::Shape;
    let (what, size, limit) = match shape {
        Shape::Tube { wall, .. } | Shape::Pipe { wall, .. } if *wall > 0.1 => ("wall", *wall, 0.1),
        Shape::Tube { width, height, .. } => ("side", width.max(*height), 2.0),
        Shape::Pipe { diameter, .. } => ("diameter", *diameter, 2.0),
        Shape::Rectangle { width, height } => ("side", width.max(*height), 3.0),
        Shape::Round { diameter } => ("diameter", *diameter, 2.0),
        Shape::Angle { width, height, .. }
        | Shape::Channel { width, height, .. }
        | Shape::Tee { width, height, .. }
        | Shape::IShape { width, height, .. } => ("side", width.max(*height), 2.0),
        Shape::Polygon { .. } => return None,
    };
    (size > limit).then_some((what, size))
}

fn absent<T: Clone>(name: &Located<String>, things: &Named<T>, what: &str) -> Option<Problem> {
    if things.get(&name.value).is_some() {
        return None;
    }
    let help = things.missing(&name.value)?;
    Some(Problem::error(name.place.clone(), format!("no {what} \"{}\"", name.value)).with_help(help))
}
