//! Unused sections, sizes out of proportion, and soft layers across which plane sections do not stay plane.

use super::doubt;
use crate::build::Build;
use crate::drawing::Drawing;
use crate::model::Model;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_section::Shape;

/// A wall thinner than this is foil, and doubtful, m.
const FOIL: f64 = 1e-4;

/// What is doubtful about the sections of a drawing.
pub(super) fn doubts(drawing: &Drawing) -> Vec<Problem> {
    let mut said = Vec::new();
    for (name, section) in drawing.sections.iter() {
        if !drawing.members.iter().any(|(_, member)| member.section.value == name) {
            let message = format!("no member is made of the section \"{name}\"");
            said.push(doubt(&section.place, message, "leave it out, or name it in a member"));
        }
        for part in &section.parts {
            if let Some((what, size)) = oversize(&part.shape) {
                let message = format!("a {what} of {}", show(size, Kind::Length));
                said.push(doubt(&part.place, message, "is the unit right?"));
            }
            if let Some(wall) = part.shape.wall().filter(|wall| *wall < FOIL) {
                let message = format!("a wall of {} is foil", show(wall, Kind::Length));
                said.push(doubt(&part.place, message, "is the unit right?"));
            }
        }
    }
    said
}

/// Sections whose parts bend independently across a layer that shears.
pub(super) fn soft_layers(build: &Build, model: &Model) -> Vec<Problem> {
    let mut said = Vec::new();
    for (profile, solution) in build.profiles.iter().zip(&model.sections) {
        if solution.holds_plane() {
            continue;
        }
        let message = format!(
            "plane sections do not hold in section \"{}\" of build \"{}\": a soft layer shears and lets the \
             parts bend for themselves; a bar of ten depths is {} times as stiff as computed, and no \
             stiffness, frequency or loss that rests on it is sound",
            profile.name,
            build.name,
            figures(1.0 / (1.0 - solution.plane_shortfall), 2)
        );
        let help = "state bond = 0 for the lower limit of its stiffness, the parts sliding on each other";
        said.push(doubt(&profile.spec.place, message, help));
    }
    said
}

/// The largest dimension of a shape, where it is out of proportion for a small machine.
fn oversize(shape: &Shape) -> Option<(&'static str, f64)> {
    let thick = shape.hollow().map(|hollow| hollow.wall).filter(|wall| *wall > 0.1);
    let (what, size) = thick.map(|wall| ("wall", wall)).or(shape.largest())?;
    let limit = match (what, shape.wall()) {
        ("wall", _) => 0.1,
        ("side", None) => 3.0,
        _ => 2.0,
    };
    (size > limit).then_some((what, size))
}

#[cfg(test)]
mod tests {
    use super::super::tests::said_of;

    #[test]
    fn a_wall_of_a_micrometre_is_doubted() {
        let said = said_of("60 x 40 x 3 mm", "60 x 40 x 0.001 mm");
        assert!(said.iter().any(|s| s.contains("a wall of 1 µm is foil; is the unit right?")), "{said:?}");
    }

    #[test]
    fn a_soft_layer_between_two_plates_is_said_and_a_stiff_one_is_not() {
        let plates = |soft: &str| {
            format!(
                "{{ rectangle = \"40 x 6 mm\", of = \"structural steel\" }}, \
                 {{ rectangle = \"40 x 0.5 mm\", of = \"{soft}\", at = \"0, 3.25 mm\" }}, \
                 {{ rectangle = \"40 x 1 mm\", of = \"structural steel\", at = \"0, 4 mm\" }}"
            )
        };
        let tube = "{ tube = \"60 x 40 x 3 mm\", of = \"structural steel\" }";
        let said = said_of(tube, &plates("neoprene"));
        assert!(said.iter().any(|s| s.contains("plane sections do not hold in section \"bar\"")), "{said:?}");
        let said = said_of(tube, &plates("epoxy"));
        assert!(said.iter().all(|s| !s.contains("plane sections")), "{said:?}");
    }
}
