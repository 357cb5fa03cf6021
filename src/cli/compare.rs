//! `compare`: all builds of a design side by side, with spreads and the chance that one beats another.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_report::presentation::compare as presentation;
use stillbed_report::workbook;
use stillbed_study::compare::{Comparison, Options};
use stillbed_study::equal::Equal;

/// Set all builds side by side, with spread and the chance that one beats another
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  stillbed compare examples/roundness-stand.toml --at-equal mass\n  stillbed compare examples/roundness-stand.toml --format xlsx \\\n      --output stand.xlsx"
)]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Scale the sections of each build until it equals the first in this
    #[arg(long, value_enum, value_name = "mass|stiffness|cost", hide_possible_values = true)]
    at_equal: Option<EqualIn>,
    #[command(flatten)]
    spread: input::SpreadOptions,
    #[command(flatten)]
    at: input::AmplitudeOption,
    #[command(flatten)]
    output: output::Output,
}

/// What builds are made equal in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum EqualIn {
    Mass,
    Stiffness,
    Cost,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let design = arguments.at.apply(|| arguments.input.read(&arguments.output))?;
    let spread = arguments.spread.draws();
    let options = Options {
        draws: spread.count,
        seed: spread.seed,
        at_equal: arguments.at_equal.map(|equal| match equal {
            EqualIn::Mass => Equal::Mass,
            EqualIn::Stiffness => Equal::Stiffness,
            EqualIn::Cost => Equal::Cost,
        }),
    };
    let bar = output::Progress::new("draws");
    let comparison =
        Comparison::compute(&design, &options, |done, of| bar.at(done, of)).map_err(Failure::without_text)?;
    bar.finish();
    let answer = output::Answer {
        name: "compare",
        design: Some(input::identity(&design)),
        result: &comparison,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    let make_workbook =
        || workbook::compare::book(&comparison, &input::identity(&design)).map_err(|fault| fault.to_string());
    arguments.output.write_with_workbook(&answer, &make_workbook)?;
    Ok(Ending::judged(comparison.misses.all_miss()))
}
