//! The command line: one file per command, which reads the input, calls the library and shows the answer.
//!
//! Answers go to standard output, problems to standard error. Exit code 0: answered; 1: answered, but a
//! target of the design is missed; 2: not answered.
//!
//! ```text
//! ending       how a command ends: answered, or why not
//! input        what commands take in: design, build, materials, draws, amplitude
//! files        reading whole files
//! part_files   the files that parts of bodies are drawn in
//! paths        files that one run must not overwrite or write twice
//! output       what commands give out: text, JSON, CSV, workbook; progress; problems
//! writing      writing a file whole or not at all
//!
//! new          a starter design
//! open         a design alive in the browser
//! check        errors and doubts in a design
//! materials    the table of materials
//! joints       the table of joints and feet
//! mix          properties of the recipes
//! section      stiffness and loss of the sections, drawn
//! modes        frequencies, loss factors, energy shares
//! compare      all builds side by side
//! response     frequency response, running speeds, stable cut, floor vibration
//! ringdown     decay after a tap
//! thermal      growth, bow, stress, support points
//! pour         the batch sheet
//! tap          modes read from recorded taps, set against the model
//! size         stock sizes that meet the targets
//! report       everything as one HTML page
//! proof        published cases rerun
//! completions  completion scripts for shells
//! man          manual pages
//! ```

mod check;
mod compare;
mod completions;
mod ending;
mod files;
mod input;
mod joints;
mod man;
mod materials;
mod mix;
mod modes;
mod new;
mod open;
mod output;
mod part_files;
mod paths;
mod pour;
mod proof;
mod report;
mod response;
mod ringdown;
mod section;
mod size;
mod tap;
mod thermal;
mod writing;

use clap::{CommandFactory, Parser, Subcommand};
use ending::{Ending, Failure};
use paths::Paths;
use std::process::ExitCode;

/// Design the base of a small precision machine: what it should be made of, and how.
#[derive(Parser)]
#[command(
    name = "stillbed",
    version,
    disable_help_subcommand = true,
    term_width = 80,
    after_help = "A first hour:\n  stillbed new stand.toml          write a starter design\n  stillbed open stand.toml         the same alive in the browser\n  stillbed check stand.toml        what is wrong or doubtful in it\n  stillbed compare stand.toml      its builds side by side\n  stillbed modes stand.toml        where it rings, and what damps it\n\nExit code: 0 answered; 1 a target of the design is missed; 2 not answered."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    New(new::Arguments),
    Open(open::Arguments),
    Check(check::Arguments),
    Materials(materials::Arguments),
    Joints(joints::Arguments),
    Mix(mix::Arguments),
    Section(section::Arguments),
    Modes(modes::Arguments),
    Compare(compare::Arguments),
    Response(response::Arguments),
    Ringdown(ringdown::Arguments),
    Pour(pour::Arguments),
    Thermal(thermal::Arguments),
    Tap(tap::Arguments),
    Report(report::Arguments),
    Proof(proof::Arguments),
    Size(size::Arguments),
    Completions(completions::Arguments),
    Man(man::Arguments),
}

impl Command {
    /// Every file that the command reads and writes.
    fn paths(&self) -> Paths<'_> {
        match self {
            Command::Open(arguments) => arguments.paths(),
            Command::Check(arguments) => arguments.paths(),
            Command::Materials(arguments) => arguments.paths(),
            Command::Joints(arguments) => arguments.paths(),
            Command::Mix(arguments) => arguments.paths(),
            Command::Section(arguments) => arguments.paths(),
            Command::Modes(arguments) => arguments.paths(),
            Command::Compare(arguments) => arguments.paths(),
            Command::Response(arguments) => arguments.paths(),
            Command::Ringdown(arguments) => arguments.paths(),
            Command::Pour(arguments) => arguments.paths(),
            Command::Thermal(arguments) => arguments.paths(),
            Command::Tap(arguments) => arguments.paths(),
            Command::Report(arguments) => arguments.paths(),
            Command::Proof(arguments) => arguments.paths(),
            Command::Size(arguments) => arguments.paths(),
            // These read no input and only make new files, or none.
            Command::New(_) | Command::Completions(_) | Command::Man(_) => Paths::default(),
        }
    }

    fn run(&self) -> Result<Ending, Failure> {
        self.paths().check()?;
        match self {
            Command::New(arguments) => new::run(arguments),
            Command::Open(arguments) => open::run(arguments),
            Command::Check(arguments) => check::run(arguments),
            Command::Materials(arguments) => materials::run(arguments),
            Command::Joints(arguments) => joints::run(arguments),
            Command::Section(arguments) => section::run(arguments),
            Command::Modes(arguments) => modes::run(arguments),
            Command::Compare(arguments) => compare::run(arguments),
            Command::Mix(arguments) => mix::run(arguments),
            Command::Response(arguments) => response::run(arguments),
            Command::Ringdown(arguments) => ringdown::run(arguments),
            Command::Pour(arguments) => pour::run(arguments),
            Command::Thermal(arguments) => thermal::run(arguments),
            Command::Tap(arguments) => tap::run(arguments),
            Command::Report(arguments) => report::run(arguments),
            Command::Proof(arguments) => proof::run(arguments),
            Command::Size(arguments) => size::run(arguments),
            Command::Completions(arguments) => completions::run(arguments, Arguments::command()),
            Command::Man(arguments) => man::run(arguments, Arguments::command()),
        }
    }
}

/// Prints help or version if the arguments ask for it, else what is wrong with the arguments.
fn print_message(message: &clap::Error) -> ExitCode {
    if message.use_stderr() {
        // A failed write to standard error cannot be reported anywhere.
        let _ = message.print();
        return ExitCode::from(2);
    }
    let printed = message.print().and_then(|()| std::io::Write::flush(&mut std::io::stdout()));
    match output::check_printed(printed) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::problems(&failure.problems, None);
            ExitCode::from(2)
        }
    }
}

/// Runs the command named on the command line.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(message) => return print_message(&message),
    };
    match arguments.command.run() {
        Ok(Ending::Answered) => ExitCode::SUCCESS,
        Ok(Ending::TargetMissed) => ExitCode::from(1),
        Err(failure) => {
            output::problems(&failure.problems, failure.text.as_ref());
            ExitCode::from(2)
        }
    }
}
