//! Designs that tests read.

use stillbed_design::Design;
use stillbed_material::Table;

/// The design that `text` states; a test fails where it is refused.
pub fn design(text: &str) -> Design {
    let reading = Design::read("d.toml", text, &Table::built_in());
    reading.design.unwrap_or_else(|| panic!("{:?}", reading.problems))
}

/// The stand for measuring roundness of the examples.
pub fn stand() -> Design {
    design(include_str!("../../examples/roundness-stand.toml"))
}
