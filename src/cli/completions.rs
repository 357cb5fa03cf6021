//! `completions`: prints the script that lets a shell complete commands and options.

use super::ending::{Ending, Failure};
use super::output;
use clap::Command;

/// Print the script by which a shell completes commands and options
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  stillbed completions bash \\\n      > ~/.local/share/bash-completion/completions/stillbed"
)]
pub(super) struct Arguments {
    /// The shell that is to complete
    #[arg(value_name = "bash|zsh|fish|elvish|powershell", hide_possible_values = true)]
    shell: clap_complete::Shell,
}

pub(super) fn run(arguments: &Arguments, mut command: Command) -> Result<Ending, Failure> {
    let name = command.get_name().to_string();
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, name, &mut script);
    output::print(&script)?;
    Ok(Ending::Answered)
}
