//! Bodies are solved where an answer asks how they move, and nowhere else.

use super::slab_sample::SLAB;
use super::{SolvedBodies, Stated};
use stillbed_material::Table;

#[test]
fn as_many_bodies_are_solved_as_are_asked_for() {
    let heavy = r#"bodies.slab.parts = [{ box = "400 x 250 x 120 mm", of = "grey iron class 40" }]"#;
    let text = format!("{SLAB}[builds.heavy]\n{heavy}\n");
    let known = |solved: SolvedBodies| {
        let reading = Stated::read("d.toml", &text).resolve_for(&Table::built_in(), &solved);
        let builds = reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems)).builds;
        builds.iter().map(|build| build.bodies.iter().all(|body| body.is_solved())).collect::<Vec<bool>>()
    };
    assert_eq!(known(SolvedBodies::All), [true, true]);
    assert_eq!(known(SolvedBodies::Of("heavy")), [false, true]);
    assert_eq!(known(SolvedBodies::None), [false, false]);
}
