//! `check`: lists every error and every doubt in a design file, with line and column.

use super::ending::{Ending, Failure};
use super::output;
use super::part_files::{PartFiles, named_by};
use super::paths::Paths;
use super::{files, input};
use serde::Serialize;
use std::path::{Path, PathBuf};
use stillbed_design::{Design, Stated, schema};
use stillbed_input::problem::{Problem, Severity};
use stillbed_report::presentation::seats as presentation;
use stillbed_report::{Block, Column, Table};
use stillbed_section::stock::Stock;
use stillbed_study::seats::{SeatFact, seat_facts};
use stillbed_study::size::Space;

/// Say everything wrong or doubtful in a design, with line and column
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  stillbed check examples/roundness-stand.toml\n  stillbed check --schema > stillbed.schema.json"
)]
pub(super) struct Arguments {
    /// The design file
    #[arg(value_name = "DESIGN.toml", required_unless_present = "schema")]
    design: Option<PathBuf>,
    /// Print the JSON Schema of a design file instead, by which an editor completes and checks it
    #[arg(long, conflicts_with = "design")]
    schema: bool,
    #[command(flatten)]
    part_files: PartFiles,
    #[command(flatten)]
    known: input::MaterialsOption,
    #[command(flatten)]
    output: output::Output,
}

/// What `check` answers.
#[derive(Serialize)]
struct Checked {
    sound: bool,
    builds: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    joints: Vec<SeatFact>,
    problems: Vec<Problem>,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        let read = Paths::default().and(self.design.as_deref()).and(self.known.materials.as_deref());
        let read = read.and_all(self.design.as_deref().map(named_by).unwrap_or_default());
        read.writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let Some(path) = &arguments.design else {
        arguments.output.write_bytes(schema().as_bytes())?;
        return Ok(Ending::Answered);
    };
    let (table, mut problems) = arguments.known.table()?;
    let text = files::read_design(path)?;
    let name = path.display().to_string();
    let mut stated = Stated::read(&name, &text);
    arguments.part_files.supply(&mut stated, path);
    arguments.output.head_of_design(&stated, None)?;
    // What is doubtful about it shows there.
    let reading = stated.on_first_grids().resolve(&table);
    problems.extend(reading.problems);
    let sound = !problems.iter().any(Problem::is_error);
    let Some(design) = reading.design.as_ref().filter(|_| sound) else {
        if arguments.output.format == output::Format::Text {
            return Err(Failure { problems, text: Some((name, text)) });
        }
        let checked = Checked { sound: false, builds: Vec::new(), joints: Vec::new(), problems };
        give(arguments, path, None, &checked)?;
        let problems = checked.problems;
        return Err(Failure { problems, text: Some((name, text)) });
    };
    problems.extend(design.doubts_of_making());
    problems.extend(unsized_builds(design));
    problems.sort_by_key(|p| (p.place.file.clone(), p.place.line, p.place.column));
    let builds = design.builds.iter().map(|build| build.name.clone()).collect();
    let checked = Checked { sound: true, builds, joints: seat_facts(design), problems };
    give(arguments, path, Some(design), &checked)
}

/// If no build can be sized, the reasons as warnings: only `size` needs a design that can be sized. One
/// build that can be sized is enough, for a part that all builds share may vary in one of them only.
fn unsized_builds(design: &Design) -> Vec<Problem> {
    let stock = Stock::built_in();
    let varied = design.builds.iter().filter(|build| !build.drawing.vary.is_empty());
    let spaces: Vec<_> = varied.map(|build| Space::new(build, &design.goal, &stock)).collect();
    let said = if spaces.iter().any(Result::is_ok) { None } else { spaces.into_iter().next() };
    let mut problems: Vec<Problem> = said.and_then(Result::err).unwrap_or_default().into();
    problems.iter_mut().for_each(|problem| problem.severity = Severity::Warning);
    problems
}

fn give(
    arguments: &Arguments,
    path: &Path,
    design: Option<&Design>,
    checked: &Checked,
) -> Result<Ending, Failure> {
    let answer = output::Answer {
        name: "check",
        design: design.map(input::identity),
        result: checked,
        blocks: &|checked| blocks(checked, path),
        table: &|checked| Table::new("problems", &columns(), &checked.problems),
    };
    arguments.output.write(&answer)
}

fn blocks(checked: &Checked, path: &Path) -> Vec<Block> {
    let verdict = match checked.problems.len() {
        0 => format!("Nothing is wrong or doubtful. Builds: {}.", checked.builds.join(", ")),
        n => format!(
            "It can be computed; {n} {} doubtful. Builds: {}.",
            if n == 1 { "thing is" } else { "things are" },
            checked.builds.join(", ")
        ),
    };
    let next = format!("Next: stillbed compare {}", path.display());
    let mut blocks = vec![Block::Note(verdict), Block::Problems(checked.problems.clone())];
    blocks.extend(presentation::blocks(&checked.joints));
    blocks.push(Block::Note(next));
    blocks
}

fn columns() -> Vec<Column<Problem>> {
    vec![
        Column::text("severity", "severity", |p: &Problem| {
            if p.is_error() { "error".to_string() } else { "warning".to_string() }
        }),
        Column::text("file", "place.file", |p: &Problem| p.place.file.clone().unwrap_or_default()),
        Column::number("line", stillbed_report::Unit::NONE, "place.line", |p: &Problem| {
            p.place.line.map(|n| n as f64)
        }),
        Column::number("column", stillbed_report::Unit::NONE, "place.column", |p: &Problem| {
            p.place.column.map(|n| n as f64)
        }),
        Column::text("key", "place.key", |p: &Problem| p.place.key.clone()),
        Column::text("message", "message", |p: &Problem| p.message.clone()),
        Column::text("help", "help", |p: &Problem| p.help.clone().unwrap_or_default()),
    ]
}
