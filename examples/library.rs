//! A design from Rust: read it, compare its builds, look at the modes of each.
//!
//! `cargo run --release --example library`

use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::problem::Problems;
use stillbed::study::compare::{Comparison, Options};
use stillbed::study::modes::Modes;
use stillbed::study::spread::Draws;

fn main() -> Result<(), Problems> {
    let text = include_str!("roundness-stand.toml");
    let reading = Design::read("roundness-stand.toml", text, &Table::built_in());
    let design = reading.design.ok_or(reading.problems)?;

    let options = Options { draws: 20, ..Options::default() };
    let comparison = Comparison::compute(&design, &options, |_, _| ())?;
    println!("{}", comparison.answer);

    for build in &Modes::compute(&design, 3, &Draws::NONE, |_, _| ())?.builds {
        for mode in &build.modes.modes {
            let (frequency, loss) = (mode.frequency_hz, mode.loss_factor_exact);
            println!("{:10} {frequency:7.1} Hz  loss factor {loss:.4}", build.modes.name);
        }
    }
    Ok(())
}
