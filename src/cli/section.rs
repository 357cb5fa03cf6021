//! `section`: stiffness, loss and mass of each section, drawn to scale.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_report::presentation::section as presentation;
use stillbed_study::sections::Sections;

/// Show each section: stiffness and loss, bonded and sliding, drawn to scale
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed section examples/roundness-stand.toml --build cast")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    #[command(flatten)]
    output: output::Output,
}

/// If a design has more sections than this, they are drawn only when a build is named.
const DRAWN: usize = 6;

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let design = arguments.input.read_unsolved(&arguments.output)?;
    let sections = Sections::compute(&design).map_err(Failure::without_text)?;
    let file = arguments.input.design.display().to_string();
    let many = sections.builds.iter().map(|build| build.sections.len()).sum::<usize>() > DRAWN;
    let blocks = |sections: &Sections| match sections.builds.first() {
        Some(first) if many && arguments.input.build.is_none() => {
            presentation::summary(sections, &file, &first.name)
        }
        _ => presentation::blocks(sections),
    };
    let answer = output::Answer {
        name: "section",
        design: Some(input::identity(&design)),
        result: &sections,
        blocks: &blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
