//! `new`: writes a commented starter design to edit.

use super::ending::{Ending, Failure};
use super::output;
use super::writing::write_atomically;
use std::path::PathBuf;
use stillbed_design::STARTER;
use stillbed_input::problem::{Place, Problem};

/// Write a commented starter design to edit
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed new stand.toml")]
pub(super) struct Arguments {
    /// The file to write; it must not exist yet
    #[arg(value_name = "DESIGN.toml")]
    design: PathBuf,
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let path = &arguments.design;
    let name = path.display().to_string();
    if path.exists() {
        return Err(Problem::error(Place::file(&name), "the file is there already, and stays as it is")
            .with_help("name another file")
            .into());
    }
    write_atomically(path, STARTER.as_bytes())?;
    output::remark(&format!("wrote {name}; next: stillbed check {name}, then stillbed compare {name}"));
    Ok(Ending::Answered)
}
