//! `check`: everything wrong or doubtful in a design.

use super::output;
use super::{Ending, Failure, files, input};
use crate::design::Design;
use crate::problem::{Problem, Severity};
use crate::report::{Block, Column, Table};
use crate::section::stock::Stock;
use crate::study::size::Space;
use serde::Serialize;

/// Say everything wrong or doubtful in a design, with line and column
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed check examples/roundness-stand.toml")]
pub(super) struct Arguments {
    /// The design file
    #[arg(value_name = "DESIGN.toml")]
    design: std::path::PathBuf,
    #[command(flatten)]
    known: input::Known,
    #[command(flatten)]
    output: output::Output,
}

/// What `check` answers.
#[derive(Serialize)]
struct Checked {
    sound: bool,
    builds: Vec<String>,
    problems: Vec<Problem>,
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let (table, mut problems) = arguments.known.table()?;
    let text = files::read_text(&arguments.design)?;
    let name = arguments.design.display().to_string();
    let reading = Design::read(&name, &text, &table);
    problems.extend(reading.problems);
    let Some(design) = &reading.design else {
        if arguments.output.format == output::Format::Text {
            return Err(Failure { problems, text: Some((name, text)) });
        }
        let checked = Checked { sound: false, builds: Vec::new(), problems };
        give(arguments, None, &checked)?;
        let problems = checked.problems;
        return Err(Failure { problems, text: Some((name, text)) });
    };
    problems.extend(unsized_builds(design));
    let builds = design.builds.iter().map(|build| build.name.clone()).collect();
    let checked = Checked { sound: true, builds, problems };
    give(arguments, Some(design), &checked)
}

/// Why no build can be sized, as doubts: the other commands do not mind. What is common to all
/// builds may vary in one of them alone.
fn unsized_builds(design: &Design) -> Vec<Problem> {
    let stock = Stock::built_in();
    let varied = design.builds.iter().filter(|build| !build.drawing.vary.is_empty());
    let spaces: Vec<_> = varied.map(|build| Space::new(build, &design.goal, &stock)).collect();
    let said = if spaces.iter().any(Result::is_ok) { None } else { spaces.into_iter().next() };
    let mut problems = said.and_then(Result::err).unwrap_or_default();
    problems.iter_mut().for_each(|problem| problem.severity = Severity::Warning);
    problems
}

fn give(arguments: &Arguments, design: Option<&Design>, checked: &Checked) -> Result<Ending, Failure> {
    let answer = output::Answer {
        name: "check",
        design: design.map(input::of),
        result: checked,
        blocks: &blocks,
        table: &|checked| Table::new("problems", &columns(), &checked.problems),
    };
    arguments.output.give(&answer, &[&arguments.design])
}

fn blocks(checked: &Checked) -> Vec<Block> {
    let verdict = match checked.problems.len() {
        0 => format!("Nothing is wrong or doubtful. Builds: {}.", checked.builds.join(", ")),
        n => format!(
            "It can be computed; {n} {} doubtful. Builds: {}.",
            if n == 1 { "thing is" } else { "things are" },
            checked.builds.join(", ")
        ),
    };
    vec![Block::Note(verdict), Block::Problems(checked.problems.clone())]
}

fn columns() -> Vec<Column<Problem>> {
    vec![
        Column::text("severity", "severity", |p: &Problem| {
            if p.is_error() { "error".to_string() } else { "warning".to_string() }
        }),
        Column::text("file", "place.file", |p: &Problem| p.place.file.clone().unwrap_or_default()),
        Column::number("line", crate::report::Unit::NONE, "place.line", |p: &Problem| {
            p.place.line.map(|n| n as f64)
        }),
        Column::number("column", crate::report::Unit::NONE, "place.column", |p: &Problem| {
            p.place.column.map(|n| n as f64)
        }),
        Column::text("key", "place.key", |p: &Problem| p.place.key.clone()),
        Column::text("message", "message", |p: &Problem| p.message.clone()),
        Column::text("help", "help", |p: &Problem| p.help.clone().unwrap_or_default()),
    ]
}
