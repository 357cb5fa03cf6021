//! A design from Rust: read it, compare its builds, look at the modes of the best.
//!
//! `cargo run --release --example library`

use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::study::compare::{Comparison, Options};
use stillbed::study::modes::Modes;
use stillbed::study::spread::Draws;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let text = include_str!("roundness-stand.toml");
    let reading = Design::read("roundness-stand.toml", text, &Table::built_in());
    for problem in &reading.problems {
        eprintln!("{problem}");
    }
    let design = reading.design.ok_or("the design cannot be computed")?;

    let options = Options { draws: 20, ..Options::default() };
    let comparison = Comparison::of(&design, &options, |_, _| ()).map_err(|p| format!("{p:?}"))?;
    println!("{}", comparison.answer);

    let modes = Modes::of(&design, 3, &Draws::NONE, |_, _| ()).map_err(|p| format!("{p:?}"))?;
    for build in &modes.builds {
        for mode in &build.modes.modes {
            println!(
                "{:10} {:7.1} Hz  loss factor {:.4}",
                build.modes.name, mode.frequency_hz, mode.loss_factor_exact
            );
        }
    }
    Ok(())
}
