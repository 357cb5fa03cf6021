//! `materials`: the table of materials, value by value, with spread and source.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_material::{Listing, Sources};
use stillbed_report::presentation::materials as presentation;

/// Show what the table knows of materials: value, spread, source
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed materials granite")]
pub(super) struct Arguments {
    /// Materials whose names hold this; all where absent
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
    let mut listing = Listing::of(&table, &Sources::built_in());
    output::problems(&doubts, None);
    if let Some(wanted) = &arguments.name {
        let lower = wanted.to_lowercase();
        listing.materials.retain(|material| material.name.to_lowercase().contains(&lower));
        if listing.materials.is_empty() {
            return Err(Problem::error(
                Place::default(),
                format!("no material has \"{wanted}\" in its name"),
            )
            .with_help(suggest(wanted, table.names()))
            .into());
        }
    }
    let in_full = arguments.name.is_some();
    let answer = output::Answer {
        name: "materials",
        design: None,
        result: &listing,
        blocks: &|listing| {
            if in_full { presentation::blocks(listing) } else { presentation::overview(listing) }
        },
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
