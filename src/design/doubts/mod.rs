//! What is doubtful in a design although it can be read? Most of it is computed all the same, and shown
//! beside the results.
//!
//! ```text
//! drawing   points, lengths and masses as drawn
//! supports  feet, joints, what holds the base
//! sections  sizes out of proportion, unused sections, soft layers that shear
//! members   members that beam theory describes badly: stubs, slabs, strips side by side
//! making    too little binder for the voids, missing prices
//! ```

mod drawing;
mod making;
mod members;
mod sections;
mod supports;

use super::bodies::BuildBody;
use super::build::Build;
use super::drawing::Drawing;
use super::model::Model;
use stillbed_input::problem::{Place, Problem};
use stillbed_modes::Corner;

/// What is doubtful in a drawing as stated.
pub(super) fn of_drawing(stated: &Drawing) -> Vec<Problem> {
    let mut said = supports::doubts(stated);
    said.extend(drawing::doubts(stated));
    said.extend(sections::doubts(stated));
    said
}

/// What is doubtful in a build once it is known which points hold its bodies.
pub(super) fn of_bodies(build: &Build) -> Vec<Problem> {
    let points = |body: &BuildBody| body.points.iter().map(|(point, _)| *point).collect();
    let bodies: Vec<Vec<usize>> = build.bodies.iter().map(points).collect();
    if bodies.is_empty() { Vec::new() } else { drawing::halves(&build.drawing, &bodies) }
}

/// What is doubtful in a build whose sections are solved.
pub(super) fn of_model(build: &Build, model: &Model) -> Vec<Problem> {
    let mut said = members::doubts(build, model);
    said.extend(sections::soft_layers(build, model));
    said.extend(build.unstated_corners(model));
    said.extend(build.askew_tubes(model));
    said.extend(Corner::doubt(&build.proportions(model), build.place.clone()));
    said
}

/// What is doubtful about making the builds.
pub(super) fn of_making(builds: &[Build]) -> Vec<Problem> {
    let mut said = making::short_of_binder(builds);
    said.extend(making::without_price(builds));
    said
}

fn doubt(place: &Place, message: impl Into<String>, help: impl Into<String>) -> Problem {
    Problem::warning(place.clone(), message).with_help(help)
}

#[cfg(test)]
mod tests {
    use crate::Design;
    use stillbed_material::Table;

    /// The problems of a clamped bar of steel with `from` in its text replaced by `to`.
    pub(super) fn said_of(from: &str, to: &str) -> Vec<String> {
        let text = BAR.replace(from, to);
        assert!(from.is_empty() || text != BAR, "\"{from}\" is not there");
        let reading = Design::read("d.toml", &text, &Table::built_in());
        let mut said = reading.problems;
        said.extend(reading.design.iter().flat_map(Design::doubts_of_making));
        said.iter().map(ToString::to_string).collect()
    }

    const BAR: &str = r#"
[points]
wall = "0, 0, 0 mm"
middle = "200, 0, 0 mm"
tip = "400, 0, 0 mm"
[members.root]
from = "wall"
to = "middle"
section = "bar"
[members.end]
from = "middle"
to = "tip"
section = "bar"
[masses.motor]
at = "tip"
mass = "2 kg"
offset = "0, 0, 50 mm"
[anchors.wall]
at = "wall"
hold = "all"
[builds.steel]
sections.bar.parts = [{ tube = "60 x 40 x 3 mm", of = "structural steel" }]
prices = { "structural steel" = "3 per kg" }
"#;

    #[test]
    fn a_sound_design_is_left_alone() {
        assert_eq!(said_of("", ""), Vec::<String>::new());
    }
}
