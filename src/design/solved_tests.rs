//! Bodies are solved where an answer asks how they move, and nowhere else.

use super::{SolvedBodies, Stated};
use stillbed_material::Table;

const TWO_SLABS: &str = r#"
[points]
seat = "0, 0, 60 mm"
foot_a = "-150, -80, -60 mm"
foot_b = "150, -80, -60 mm"
foot_c = "0, 80, -60 mm"
[patches]
seat = "round 40 mm"
foot_a = "round 40 mm"
foot_b = "round 40 mm"
foot_c = "round 40 mm"
[feet.pads]
at = ["foot_a", "foot_b", "foot_c"]
stiffness = "20, 20, 80 N/um"
[masses.head]
at = "seat"
mass = "4 kg"
[builds.light]
bodies.slab.parts = [{ box = "400 x 250 x 120 mm", of = "granite" }]
[builds.heavy]
bodies.slab.parts = [{ box = "400 x 250 x 120 mm", of = "grey iron class 40" }]
"#;

#[test]
fn as_many_bodies_are_solved_as_are_asked_for() {
    let known = |solved: SolvedBodies| {
        let reading = Stated::read("d.toml", TWO_SLABS).resolve_for(&Table::built_in(), &solved);
        let builds = reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems)).builds;
        builds.iter().map(|build| build.bodies.iter().all(|body| body.is_solved())).collect::<Vec<bool>>()
    };
    assert_eq!(known(SolvedBodies::All), [true, true]);
    assert_eq!(known(SolvedBodies::Of("heavy")), [false, true]);
    assert_eq!(known(SolvedBodies::None), [false, false]);
}
