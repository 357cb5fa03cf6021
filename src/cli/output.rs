//! Gives out an answer: text for people, JSON for programs, CSV for tables, and for some commands a
//! workbook; also problems on standard error and progress on a terminal.

use super::ending::{Ending, Failure};
use super::writing;
use serde::Serialize;
use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use stillbed_design::Stated;
use stillbed_input::problem::{Place, Problem, Source, in_order};
use stillbed_report::text::{self, Style};
use stillbed_report::{Block, DesignIdentity, Table, csv, json};

/// The form of an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Format {
    /// For reading
    Text,
    /// For programs
    Json,
    /// For tables
    Csv,
    /// A workbook whose prices and amounts can be changed
    Xlsx,
}

/// Where an answer goes.
#[derive(clap::Args)]
pub(super) struct Output {
    /// The form of the answer; xlsx, a workbook, from compare and pour
    #[arg(long, value_enum, default_value_t = Format::Text, value_name = "text|json|csv|xlsx", hide_possible_values = true)]
    pub format: Format,
    /// Write the answer to this file instead of standard output
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// An answer and how to put it in each format; only the format asked for is made.
pub(super) struct Answer<'a, A> {
    /// Name of the command.
    pub name: &'static str,
    /// The design that the answer is about.
    pub design: Option<DesignIdentity>,
    /// The answer itself, written as it is in JSON.
    pub result: &'a A,
    /// The answer as blocks, for text.
    pub blocks: &'a dyn Fn(&A) -> Vec<Block>,
    /// The answer as one table, for CSV.
    pub table: &'a dyn Fn(&A) -> Table,
}

/// Makes the workbook of an answer; an error is a sentence for the user.
pub(super) type MakeWorkbook<'a> = dyn Fn() -> Result<Vec<u8>, String> + 'a;

impl Output {
    /// Prints the heading of an answer before the work begins, if the answer is text to standard output.
    ///
    /// # Errors
    /// Standard output that cannot be written.
    pub fn head(&self, heading: &str) -> Result<(), Failure> {
        if self.format != Format::Text || self.output.is_some() {
            return Ok(());
        }
        let style = style(io::stdout().is_terminal(), &io::stdout());
        print(text::head(heading, &style).as_bytes())
    }

    /// Prints which design the answer is about, unless `build` is not one of its builds.
    ///
    /// # Errors
    /// As [`Output::head`].
    pub fn head_of_design(&self, stated: &Stated, build: Option<&str>) -> Result<(), Failure> {
        stated.heading(build).map_or(Ok(()), |title| self.head(title))
    }

    /// Gives out `answer` as [`Output::write`] does, or as the workbook that `make_workbook` makes.
    ///
    /// # Errors
    /// A file that cannot be written; a workbook that would go to a terminal.
    pub fn write_with_workbook<A: Serialize>(
        &self,
        answer: &Answer<A>,
        make_workbook: &MakeWorkbook,
    ) -> Result<Ending, Failure> {
        if self.format != Format::Xlsx {
            return self.write(answer);
        }
        if self.output.is_none() && io::stdout().is_terminal() {
            let problem = Problem::error(Place::key("--format"), "a workbook cannot be read on a terminal");
            return Err(problem.with_help(format!("add --output {}.xlsx", answer.name)).into());
        }
        let book = make_workbook().map_err(|fault| {
            Problem::error(Place::key("--format"), format!("the workbook cannot be made: {fault}"))
                .with_help("ask --format csv instead")
        })?;
        self.write_bytes(&book)?;
        Ok(Ending::Answered)
    }

    /// Gives out `answer` as text, JSON or CSV.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn write<A: Serialize>(&self, answer: &Answer<A>) -> Result<Ending, Failure> {
        let to_terminal = self.output.is_none() && io::stdout().is_terminal();
        let text = match self.format {
            Format::Text => text::render(&(answer.blocks)(answer.result), &style(to_terminal, &io::stdout())),
            Format::Csv => csv::write(&(answer.table)(answer.result)),
            Format::Json => json::envelope(answer.name, answer.design.as_ref(), answer.result)
                .map_err(|defect| Problem::error(Place::default(), defect.to_string()))?,
            Format::Xlsx => {
                let message = format!("{} has no workbook; compare and pour have one", answer.name);
                let problem = Problem::error(Place::key("--format"), message);
                return Err(problem.with_help("ask --format csv, which every spreadsheet reads").into());
            }
        };
        self.write_bytes(text.as_bytes())?;
        Ok(Ending::Answered)
    }

    /// Writes `bytes` to the output file, or to standard output if none is named.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn write_bytes(&self, bytes: &[u8]) -> Result<(), Failure> {
        let Some(path) = &self.output else {
            return print(bytes);
        };
        Ok(writing::write_atomically(path, bytes)?)
    }
}

/// A progress bar on standard error if that is a terminal, else nothing.
pub(super) struct Progress {
    bar: indicatif::ProgressBar,
}

impl Progress {
    /// A bar that counts `what`; it appears only if the work takes a while.
    pub fn new(what: &'static str) -> Progress {
        let target = match io::stderr().is_terminal() {
            true => indicatif::ProgressDrawTarget::stderr_with_hz(10),
            false => indicatif::ProgressDrawTarget::hidden(),
        };
        let bar = indicatif::ProgressBar::with_draw_target(None, target);
        if let Ok(style) = indicatif::ProgressStyle::with_template("{msg} {pos} of {len} {bar:40} {eta}") {
            bar.set_style(style);
        }
        bar.set_message(what);
        Progress { bar }
    }

    /// Shows that `done` of `total` are done.
    pub fn at(&self, done: usize, total: usize) {
        self.bar.set_length(total as u64);
        self.bar.set_position(done as u64);
    }

    /// Removes the bar.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

/// Prints to standard output; a reader that closed the pipe is not an error.
pub(super) fn print(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    check_printed(out.write_all(bytes).and_then(|()| out.flush()))
}

/// The result of printing to standard output.
///
/// # Errors
/// Standard output that cannot be written; a reader that closed the pipe is not an error.
pub(super) fn check_printed(printed: io::Result<()>) -> Result<(), Failure> {
    match printed {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Problem::error(Place::default(), format!("standard output cannot be written: {error}"))
                .into())
        }
        _ => Ok(()),
    }
}

/// Prints `line` to standard error; a failure to do so is ignored.
pub(super) fn remark(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{line}");
}

/// Prints `problems` to standard error, with excerpts of the text they point to.
pub(super) fn problems(problems: &[Problem], text: Option<&(String, String)>) {
    let to_terminal = io::stderr().is_terminal();
    let source = text.map(|(name, text)| Source::new(name, text));
    let problems = in_order(problems.to_vec());
    let shown = text::problems(&problems, source.as_slice(), &style(to_terminal, &io::stderr()));
    let _ = io::stderr().lock().write_all(shown.as_bytes());
}

/// Width and colour for a stream.
fn style<S: anstream::stream::RawStream>(to_terminal: bool, stream: &S) -> Style {
    let colour = to_terminal && anstream::AutoStream::choice(stream) != anstream::ColorChoice::Never;
    let width = terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
    Style { width: if to_terminal { width.clamp(40, 100) } else { 80 }, colour }
}
