//! `modes`: natural frequencies and loss factors of each build, and which parts damp them.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_report::presentation::modes as presentation;
use stillbed_study::modes::Modes;

/// Show where each build rings: frequency, loss factor, decay, and where the energy sits
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed modes examples/roundness-stand.toml --build cast --count 8")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// How many elastic modes are listed, at most 500
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=500))]
    count: u16,
    #[command(flatten)]
    spread: input::FewDraws,
    #[command(flatten)]
    at: input::AmplitudeOption,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let design = arguments.at.apply(|| arguments.input.read(&arguments.output))?;
    let bar = output::Progress::new("draws");
    let count = usize::from(arguments.count);
    let modes = Modes::compute(&design, count, &arguments.spread.draws(), |done, of| bar.at(done, of));
    let modes = modes.map_err(Failure::without_text)?;
    bar.finish();
    let answer = output::Answer {
        name: "modes",
        design: Some(input::identity(&design)),
        result: &modes,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)?;
    Ok(Ending::judged(modes.misses.all_miss()))
}
