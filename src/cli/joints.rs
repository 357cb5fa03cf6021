//! `joints`: the table of joints and feet, with the equation of each and a worked row.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_joint::JointListing;
use stillbed_material::Sources;
use stillbed_report::presentation::joints as presentation;

/// Show joints and feet: equation, constants, spread, a worked row of each
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  stillbed joints\n  stillbed joints bolted")]
pub(super) struct Arguments {
    /// Names that hold this, with their constants; all where absent
    #[arg(value_name = "NAME")]
    name: Option<String>,
    #[command(flatten)]
    known: input::MaterialsOption,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        Paths::default()
            .and(self.known.materials.as_deref())
            .writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let (table, doubts) = arguments.known.table()?;
    let mut listing = JointListing::of(&table, &Sources::built_in());
    output::problems(&doubts, None);
    if let Some(wanted) = &arguments.name {
        let known: Vec<&str> = listing.names();
        if !listing.retain(wanted) {
            let message = format!("no joint or foot has \"{wanted}\" in its name");
            return Err(Problem::error(Place::default(), message).with_help(suggest(wanted, known)).into());
        }
    }
    let in_full = arguments.name.is_some();
    let answer = output::Answer {
        name: "joints",
        design: None,
        result: &listing,
        blocks: &|listing| {
            if in_full { presentation::blocks(listing) } else { presentation::overview(listing) }
        },
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
