//! `completions`: prints the script that lets a shell complete commands and options.

use super::{Ending, Failure, output};
use clap::CommandFactory;

/// Print the script by which a shell completes commands and options
#[derive(clap::Args)]
#[command(
    after_help = "Example: stillbed completions bash > ~/.local/share/bash-completion/completions/stillbed"
)]
pub(super) struct Arguments {
    /// The shell that is to complete
    #[arg(value_name = "bash|zsh|fish|elvish|powershell", hide_possible_values = true)]
    shell: clap_complete::Shell,
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let mut command = super::Arguments::command();
    let name = command.get_name().to_string();
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, name, &mut script);
    output::print(&script)?;
    Ok(Ending::Answered)
}
