//! `proof`: reruns every published case on this machine.

use super::ending::{Ending, Failure};
use super::output;
use super::paths::Paths;
use stillbed_input::problem::{Place, Problem};
use stillbed_report::presentation::proof as presentation;
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
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)?;
    Ok(Ending::judged(proof.holding < proof.cases.len()))
}
