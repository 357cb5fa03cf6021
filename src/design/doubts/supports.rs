//! Feet and joints of implausible stiffness or loss, and bases that nothing holds or carries.

use super::doubt;
use crate::drawing::Drawing;
use stillbed_frame::spec::{FootSpec, JointSpec};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, show};

/// What is doubtful about what holds the base and its members.
pub(super) fn doubts(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    if drawing.is_unheld() {
        said.push(doubt(
            &Place::key("feet"),
            "nothing holds the base: it is computed as if it floated",
            "add [feet.…] or [anchors.…], unless that is meant",
        ));
    }
    drawing.feet.iter().for_each(|(_, foot)| said.extend(of_foot(foot)));
    said.extend(uncarried(drawing));
    drawing.joints.iter().for_each(|(_, joint)| said.extend(of_joint(joint)));
    said
}

fn of_foot(foot: &FootSpec) -> Vec<Problem> {
    let mut said = Vec::new();
    for spring in &foot.stiffness {
        if spring.value > 0.0 && !(1e3..1e11).contains(&spring.value) {
            let message = format!("a foot of {}", show(spring.value, Kind::Stiffness));
            said.push(doubt(&foot.place, message, "levelling feet lie between 1 and 1000 N/um"));
        }
    }
    if foot.loss.largest() > 1.0 {
        let message = format!("a loss factor of {}", foot.loss.largest());
        said.push(doubt(&foot.place, message, "rubber reaches about 1"));
    }
    if holds_nothing(foot) {
        said.push(
            Problem::error(foot.place.clone(), "a foot without stiffness holds nothing")
                .with_help("state its stiffness, as in \"20, 20, 80 N/um\", or leave the foot out"),
        );
    }
    said
}

fn holds_nothing(foot: &FootSpec) -> bool {
    // What follows from a law is not known yet.
    if foot.seat.is_some() {
        return false;
    }
    let springs = foot.stiffness.iter().chain(foot.turning.iter().flatten());
    springs.into_iter().all(|spring| spring.value == 0.0)
}

/// Feet that are all free to slide along z, without an anchor that holds z.
fn uncarried(drawing: &Drawing) -> Option<Problem> {
    let (_, first) = drawing.feet.iter().next()?;
    let feet = drawing
        .feet
        .iter()
        .all(|(_, foot)| foot.seat.is_none() && foot.stiffness[2].value == 0.0 && !holds_nothing(foot));
    let anchors = drawing.anchors.iter().all(|(_, anchor)| !anchor.hold[2]);
    let known = !drawing.feet.is_broken() && !drawing.anchors.is_broken();
    (feet && anchors && known).then(|| {
        doubt(
            &first.place,
            "no foot and no anchor holds the base along z: nothing carries its weight",
            "state a stiffness along z, the third number",
        )
    })
}

fn of_joint(joint: &JointSpec) -> Vec<Problem> {
    let mut said = Vec::new();
    for (i, spring) in joint.stiffness.iter().enumerate() {
        let (kind, range) =
            if i < 3 { (Kind::Stiffness, 1e4..1e12) } else { (Kind::TurningStiffness, 1.0..1e9) };
        if let Some(spring) = spring
            && spring.value > 0.0
            && !range.contains(&spring.value)
        {
            let message = format!("a joint of {}", show(spring.value, kind));
            said.push(doubt(&joint.place, message, "check the unit"));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::super::tests::said_of;

    const ANCHOR: &str = "[anchors.wall]\nat = \"wall\"\nhold = \"all\"\n";

    fn on_feet(stiffness: &str) -> Vec<String> {
        let feet = format!("[feet.pads]\nat = [\"wall\", \"tip\"]\nstiffness = \"{stiffness}\"\n");
        said_of(ANCHOR, &feet)
    }

    #[test]
    fn a_foot_of_zero_is_refused() {
        let said = on_feet("0, 0, 0 N/um");
        assert!(said.iter().any(|s| s.contains("a foot without stiffness holds nothing")), "{said:?}");
    }

    #[test]
    fn feet_that_slide_up_and_down_carry_nothing() {
        let said = on_feet("20, 20, 0 N/um");
        assert!(said.iter().any(|s| s.contains("nothing carries its weight")), "{said:?}");
        let said = on_feet("0, 0, 80 N/um");
        assert!(said.iter().all(|s| !s.contains("carries its weight")), "{said:?}");
    }

    #[test]
    fn a_foot_as_soft_as_a_feather_is_doubted() {
        let said = on_feet("20, 20, 0.0001 N/um");
        assert!(said.iter().any(|s| s.contains("a foot of ")), "{said:?}");
    }
}
