//! `mix`: the properties that follow from each casting recipe of a design.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_report::presentation::mix as presentation;
use stillbed_study::pour::bodies::compute_mixes;

/// Show what each recipe makes: modulus, loss, binder demand, air
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed mix examples/gantry-mill.toml --least-binder")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Mix the given grains for the least binder that still fills, and draw the demand
    #[arg(long)]
    least_binder: bool,
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
    let design = arguments.input.read(&arguments.output)?;
    let found = presentation::Mixes {
        mixes: compute_mixes(&design).map_err(Failure::without_text)?,
        notes: design.notes.clone(),
    };
    let answer = output::Answer {
        name: "mix",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &|found| presentation::blocks(found, arguments.least_binder),
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
