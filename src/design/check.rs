//! Which names in a design lead nowhere, and which targets cannot be judged?

use super::drawing::Drawing;
use super::goal::{Goal, Measure};
use super::named::Named;
use stillbed_input::document::Located;
use stillbed_input::problem::{Place, Problem};

/// What is wrong with the names of one build's drawing.
///
/// A section that no build has is not reported here, but once at its member.
pub(super) fn names(drawing: &Drawing, build: &str, build_place: &Place, all: &[&Drawing]) -> Vec<Problem> {
    let mut said = Vec::new();
    let points = &drawing.points;
    for (name, member) in drawing.members.iter() {
        said.extend(absent(&member.from, points, "point"));
        said.extend(absent(&member.to, points, "point"));
        if drawing.sections.get(&member.section.value).is_none()
            && known_section(&member.section.value, all)
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
    for (_, arm) in drawing.arms.iter() {
        said.extend(absent(&arm.from, points, "point"));
        said.extend(absent(&arm.to, points, "point"));
    }
    for (name, patch) in drawing.patches.iter() {
        if points.get(name).is_none()
            && let Some(help) = points.missing(name)
        {
            let message = format!("no point \"{name}\"");
            said.push(Problem::error(patch.place.clone(), message).with_help(help));
        }
    }
    for (_, mass) in drawing.masses.iter() {
        said.extend(absent(&mass.at, points, "point"));
    }
    let feet = drawing.feet.iter().flat_map(|(_, foot)| &foot.at);
    let anchors = drawing.anchors.iter().flat_map(|(_, anchor)| &anchor.at);
    let joints = drawing.joints.iter().flat_map(|(_, joint)| &joint.at);
    for name in feet.chain(anchors).chain(joints) {
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

/// True where one of `drawings` has the section `name`, or states it in a way that could not be read.
fn known_section(name: &str, drawings: &[&Drawing]) -> bool {
    drawings.iter().any(|d| d.sections.get(name).is_some() || d.sections.missing(name).is_none())
}

/// Sections that members name and no build has, each at its member.
pub(super) fn sections_of_no_build(drawings: &[&Drawing]) -> Vec<Problem> {
    let mut said = Vec::new();
    let known = || drawings.iter().flat_map(|d| d.sections.iter().map(|(name, _)| name));
    for member in drawings.iter().flat_map(|d| d.members.iter().map(|(_, member)| member)) {
        let wanted = &member.section.value;
        if known_section(wanted, drawings) {
            continue;
        }
        let help = match stillbed_input::problem::nearest(wanted, known()) {
            Some(name) => format!("did you mean \"{name}\"?"),
            None => format!("add sections.{wanted}.parts = [{{ … }}] to each build"),
        };
        let message = format!("no build has a section \"{wanted}\"");
        said.push(Problem::error(member.section.place.clone(), message).with_help(help));
    }
    said
}

/// Joints that members name but no build defines: they are rigid everywhere, most likely by mistake.
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
                let help = match stillbed_input::problem::nearest(&joint.value, all.iter().copied()) {
                    Some(name) => format!("did you mean \"{name}\"?"),
                    None => format!("define joints.{} in a build, or leave it out", joint.value),
                };
                said.push(Problem::warning(joint.place.clone(), message).with_help(help));
            }
        }
    }
    said
}

/// Patches, and points of joints, where no build has a body: there is nothing for them to hold.
pub(super) fn areas_of_no_body(drawings: &[&Drawing]) -> Vec<Problem> {
    if drawings.iter().any(|d| !d.bodies.is_empty() || d.bodies.is_broken()) {
        return Vec::new();
    }
    let patches = drawings.iter().flat_map(|d| d.patches.iter().map(|(_, patch)| &patch.place));
    let joints = drawings.iter().flat_map(|d| d.joints.iter().flat_map(|(_, joint)| &joint.at));
    let idle = |place: &Place| {
        Problem::error(place.clone(), "there is no body for it").with_help("add [bodies.NAME] with parts")
    };
    patches.chain(joints.map(|named| &named.place)).map(idle).collect()
}

/// Targets for which the design lacks what they are judged by.
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

fn absent<T: Clone>(name: &Located<String>, things: &Named<T>, what: &str) -> Option<Problem> {
    if things.get(&name.value).is_some() {
        return None;
    }
    let help = things.missing(&name.value)?;
    Some(Problem::error(name.place.clone(), format!("no {what} \"{}\"", name.value)).with_help(help))
}
