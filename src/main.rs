//! The `stillbed` command: parse, run one command, set the exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    stillbed::cli::run()
}
