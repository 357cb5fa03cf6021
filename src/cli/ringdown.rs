//! `ringdown`: how each build comes to rest after the tap of the design.

use super::{Ending, Failure, files, input, output};
use crate::problem::{Place, Problem};
use crate::quantity::{self, Kind};
use crate::report::present::response as present;
use crate::study::motion::{ring_down, sounds};
use std::path::PathBuf;

/// Show how each build comes to rest after the tap: envelope, times, what rings last
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed ringdown examples/roundness-stand.toml --wav taps.wav")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// How long the curve is, such as "2 s"
    #[arg(long, value_name = "TIME")]
    duration: Option<String>,
    /// Write what the builds sound like, one after the other at one level, to this file
    #[arg(long, value_name = "FILE.wav")]
    wav: Option<PathBuf>,
    /// How many elastic modes
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=500))]
    count: u16,
    #[command(flatten)]
    output: output::Output,
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let design = arguments.input.read()?;
    let count = usize::from(arguments.count);
    let duration = match &arguments.duration {
        Some(text) => Some(
            quantity::single(text, Kind::Time)
                .ok()
                .filter(|duration| *duration > 0.0)
                .ok_or_else(|| {
                    Problem::error(Place::key("--duration"), format!("\"{text}\" is no time above 0"))
                        .with_help("write it like \"2 s\"")
                })?,
        ),
        None => None,
    };
    let found = ring_down(&design, count, duration).map_err(Failure::of)?;
    if let Some(path) = &arguments.wav {
        let sound = sounds(&design, count).map_err(Failure::of)?;
        files::write_whole(path, &sound.wav)?;
        for (build, tap) in design.builds.iter().zip(&sound.taps) {
            let low = if tap.heard { "" } else { "; too low for most ears" };
            eprintln!("{}: from {:.1} s, {:.1} s long{low}", build.label, tap.start_s, tap.length_s);
        }
    }
    let answer = output::Answer {
        name: "ringdown",
        design: Some(input::of(&design)),
        result: &found,
        blocks: &present::ring_down_blocks,
        table: &present::ring_down_table,
    };
    arguments.output.give(&answer, &arguments.input.files())
}
