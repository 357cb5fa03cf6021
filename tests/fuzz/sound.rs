//! Valid designs to start from.

#[path = "../sound/dice.rs"]
mod dice;
#[path = "../sound/made.rs"]
mod made;
#[path = "../sound/design.rs"]
mod made_design;
#[path = "../sound/shape.rs"]
mod shape;

use super::choices::Choices;
use super::slips;

/// Every example and the starter.
pub const SAMPLES: [&str; 7] = [
    stillbed::design::STARTER,
    include_str!("../../examples/smallest.toml"),
    include_str!("../../examples/roundness-stand.toml"),
    include_str!("../../examples/gantry-mill.toml"),
    include_str!("../../examples/sized-stand.toml"),
    include_str!("../../examples/rubbing-joint.toml"),
    include_str!("../../examples/measured-bed.toml"),
];

/// Random valid design number `seed`.
pub fn design(seed: u64) -> String {
    made_design::text(seed)
}

/// A small design that is valid or nearly so: up to three of its numbers are changed.
pub fn nearly(choices: &mut Choices) -> String {
    let text = match choices.once_in(4) {
        true => SAMPLES[1].to_string(),
        false => design(u64::from(choices.number())),
    };
    let mut lines: Vec<String> = text.lines().map(str::to_string).collect();
    for _ in 0..choices.below(4) {
        let at = choices.below(lines.len());
        if let Some((key, value)) = lines[at].clone().split_once('=') {
            lines[at] = format!("{key}={}", slips::scaled(choices, value));
        }
    }
    lines.join("\n")
}
