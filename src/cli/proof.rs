//! `proof`: reruns every published case on this machine.

use super::paths::Paths;
use super::{Ending, Failure, output};
use stillbed_input::problem::{Place, Problem};
use stillbed_report::present::proof as present;
use stillbed_study::proof::prove;

/// Rerun every published case here: printed value, computed value, verdict
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed proof --format csv --output proof.csv")]
pub(super) struct Arguments {
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        Paths::default().writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    arguments.output.head("Published cases")?;
    let proof = prove().map_err(|message| Problem::error(Place::default(), message))?;
    let answer = output::Answer {
        name: "proof",
        design: None,
        result: &proof,
        blocks: &present::blocks,
        table: &present::table,
    };
    arguments.output.give(&answer)?;
    Ok(Ending::judged(proof.holding < proof.cases.len()))
}
