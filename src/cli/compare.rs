//! `compare`: all builds of a design side by side, with spreads and the chance that one beats another.

use super::paths::Paths;
use super::{Ending, Failure, input, output};
use stillbed_report::present::compare as present;
use stillbed_report::workbook;
use stillbed_study::compare::{Comparison, Options};
use stillbed_study::equal::Equal;

/// Set all builds side by side, with spread and the chance that one beats another
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  stillbed compare examples/roundness-stand.toml --at-equal mass\n  stillbed compare examples/roundness-stand.toml --format xlsx --output stand.xlsx"
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
    at: input::AtAmplitude,
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
    let design = arguments.at.of(|| arguments.input.read(&arguments.output))?;
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
    let comparison = Comparison::of(&design, &options, |done, of| bar.at(done, of)).map_err(Failure::of)?;
    bar.finish();
    let answer = output::Answer {
        name: "compare",
        design: Some(input::of(&design)),
        result: &comparison,
        blocks: &present::blocks,
        table: &present::table,
    };
    let bind =
        || workbook::compare::book(&comparison, &input::imprint(&design)).map_err(|fault| fault.to_string());
    arguments.output.give_with_book(&answer, &bind)?;
    Ok(Ending::judged(comparison.misses.all_miss()))
}
