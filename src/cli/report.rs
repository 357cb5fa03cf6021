//! `report`: everything about a design as one self-contained HTML page.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{files, input, output};
use stillbed_design::Design;
use stillbed_input::problem::{Problem, Problems, Severity};
use stillbed_report::page;
use stillbed_report::presentation::full_report::{Details, Provenance, Report, page as document};
use stillbed_report::presentation::mix::Mixes;
use stillbed_section::stock::Stock;
use stillbed_study::compare::{Comparison, Options};
use stillbed_study::modes::Modes;
use stillbed_study::pour::bodies::{PourOptions, Pours, compute_mixes};
use stillbed_study::proof::prove;
use stillbed_study::response::{Response, ResponseOptions};
use stillbed_study::ringdown::{RingDownOptions, RingDowns};
use stillbed_study::sections::Sections;
use stillbed_study::shapes::Shapes;
use stillbed_study::size::{Effort, Options as SizingOptions, Sizing, Watch};
use stillbed_study::spread::Draws;
use stillbed_study::thermal::{ThermalAnswer, ThermalOptions};

/// Write the verdict on a design as one self-contained page, with all details where asked
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed report examples/roundness-stand.toml --output stand.html")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    #[command(flatten)]
    spread: input::SpreadOptions,
    #[command(flatten)]
    at: input::AmplitudeOption,
    /// Write everything: modes, decay, response, sections, stock sizes, mixes, pours, sources and published cases
    #[arg(long)]
    full: bool,
    /// With --full: most stock sizes that are tried one by one for each build with [vary], at most 1 000 000;
    /// beyond, the search is guided
    #[arg(long, value_name = "N", default_value_t = 20_000, value_parser = clap::value_parser!(u32).range(..=1_000_000))]
    most: u32,
    /// Write the page to this file instead of standard output
    #[arg(long, short, value_name = "FILE.html")]
    output: Option<std::path::PathBuf>,
}

/// Questions whose progress is shown together.
const STEPS: usize = 6;

/// Mode shapes of each build that the page draws.
const SHAPES: usize = 6;

/// Modes of each build listed on the page.
const MODES_LISTED: usize = 10;

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().writing("--output", self.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    // When the page goes to standard output, nothing else may be printed there.
    let said = output::Output { format: output::Format::Text, output: None };
    let design = arguments.at.apply(|| match arguments.output {
        Some(_) => arguments.input.read(&said),
        None => arguments.input.read_quietly(),
    })?;
    let report = report(&design, arguments).map_err(Failure::without_text)?;
    let all_miss = report.comparison.misses.all_miss();
    let html = page::render(&document(&design, &report, provenance(&design, arguments)?));
    let output = output::Output { format: output::Format::Text, output: arguments.output.clone() };
    output.write_bytes(html.as_bytes())?;
    if let Some(path) = &arguments.output {
        let length = if arguments.full { "everything" } else { "two sheets; --full writes everything" };
        output::print(format!("wrote {}: {length}\n", path.display()).as_bytes())?;
    }
    Ok(Ending::judged(all_miss))
}

/// How the page was made: the facts to print on it, and the input files to include.
fn provenance(design: &Design, arguments: &Arguments) -> Result<Provenance, Failure> {
    let mut inputs = vec![(design.file.clone(), files::read_design(&arguments.input.design)?)];
    if let Some(path) = &arguments.input.known.materials {
        inputs.push((path.display().to_string(), files::read_text(path)?));
    }
    let fact = |name: &str, value: String| (name.to_string(), value);
    let facts = vec![
        fact("design", design.file.clone()),
        fact("program", format!("stillbed {}", env!("CARGO_PKG_VERSION"))),
        fact("made again by", command(&design.file, arguments)),
    ];
    Ok(Provenance { facts, inputs })
}

/// The command that makes the page of the design in `file` again, with everything its content depends on.
fn command(file: &str, arguments: &Arguments) -> String {
    let Draws { count, seed } = arguments.spread.draws();
    let mut command = format!("stillbed report {}", quoted(file));
    let mut option = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            command += &format!(" {name} {}", quoted(&value));
        }
    };
    option("--build", arguments.input.build.clone());
    option("--materials", arguments.input.known.materials.as_ref().map(|path| path.display().to_string()));
    option("--draws", Some(count.to_string()));
    option("--seed", Some(seed.to_string()));
    option("--amplitude", arguments.at.text().map(str::to_string));
    if arguments.full {
        option("--most", Some(arguments.most.to_string()));
        command += " --full";
    }
    if arguments.input.part_files.outside_files {
        command += " --outside-files";
    }
    command
}

/// `word` as a shell takes it for one word.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "._-/:,+=@%".contains(c) || c == '\\' && cfg!(windows);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_string();
    }
    let mut quoted = String::from("\"");
    for c in word.chars() {
        if !cfg!(windows) && "\\\"$`".contains(c) {
            quoted.push('\\');
        }
        quoted.push(c);
    }
    quoted + "\""
}

/// Restarts of a guided search for a page; few, to keep the time short.
const RESTARTS: usize = 2;

/// Sizing results of every build that states what may vary. Builds that cannot be sized are left out;
/// the command `size` says why.
fn sizings(design: &Design, most: usize) -> Vec<(String, Sizing)> {
    let stock = Stock::built_in();
    let effort = Effort { most, restarts: RESTARTS, ..Effort::default() };
    let options = SizingOptions { effort, ..SizingOptions::default() };
    let bar = output::Progress::new("candidates");
    let watch = Watch { progress: &|done, of| bar.at(done, of), stop: &|| false };
    let varied = design.builds.iter().filter(|build| !build.drawing.vary.is_empty());
    let sized = varied.filter_map(|build| {
        let (sizing, _) = Sizing::compute(design, build, &stock, &options, &watch).ok()?;
        Some((build.label.clone(), sizing))
    });
    let sized = sized.collect();
    bar.finish();
    sized
}

/// A part of the page, or `None` if it has no answer; the reasons are then added to `notes` as warnings.
fn found_or_noted<T>(found: Result<T, Problems>, notes: &mut Vec<Problem>) -> Option<T> {
    let problems = match found {
        Ok(found) => return Some(found),
        Err(problems) => problems,
    };
    notes.extend(problems.into_iter().map(|problem| Problem { severity: Severity::Warning, ..problem }));
    None
}

/// The answer about `design`, with the details where they are asked for.
fn report(design: &Design, arguments: &Arguments) -> Result<Report, Problems> {
    let Draws { count, seed } = arguments.spread.draws();
    let options = Options { draws: count, seed, ..Options::default() };
    let bar = output::Progress::new("draws");
    let mut comparison = Comparison::compute(design, &options, |done, of| bar.at(done, of))?;
    bar.finish();
    let bar = output::Progress::new("builds drawn");
    let count = design.builds.len();
    let drawn = design.builds.iter().enumerate().filter_map(|(i, build)| {
        bar.at(i, count);
        Shapes::compute(design, build, SHAPES).ok()
    });
    let shapes = drawn.collect();
    bar.finish();
    let details = match arguments.full {
        true => Some(details(design, arguments, &mut comparison.notes)?),
        false => None,
    };
    Ok(Report { comparison, shapes, details })
}

/// All else about `design`. A part that has no answer is left out, and `notes` say why.
fn details(design: &Design, arguments: &Arguments, notes: &mut Vec<Problem>) -> Result<Details, Problems> {
    let Draws { count, seed } = arguments.spread.draws();
    let goal = &design.goal;
    let draws = Draws { count: count.min(usize::from(input::FEW_DRAWS)), seed };
    let tapped = RingDownOptions { duration: None, draws };
    let asked = ResponseOptions { range: None, path: None, floor: None };
    let pour = PourOptions::default();
    // A change of 1 K if the design states none; materials without expansion drop the part.
    let change = goal.thermal.is_none().then_some(1.0);
    let bar = output::Progress::new("questions answered");
    let recipes = compute_mixes(design).ok();
    let response = goal.tool.is_some().then(|| Response::compute(design, &asked));
    bar.at(1, STEPS);
    let tapped = goal.tap.is_some().then(|| RingDowns::compute(design, &tapped, |_, _| ()));
    bar.at(2, STEPS);
    let poured = recipes.is_some().then(|| Pours::compute(design, &pour));
    bar.at(3, STEPS);
    let sections = Sections::compute(design)?;
    bar.at(4, STEPS);
    let warm = ThermalAnswer::compute(design, &ThermalOptions { change, ..ThermalOptions::default() }).ok();
    bar.at(5, STEPS);
    let proof = prove().map_err(|message| Problems::from(Problem::error(Default::default(), message)))?;
    bar.finish();
    let bar = output::Progress::new("draws of the modes");
    let modes = Modes::compute(design, MODES_LISTED, &draws, |done, of| bar.at(done, of))?;
    bar.finish();
    Ok(Details {
        response: response.and_then(|found| found_or_noted(found, notes)),
        ring_down: tapped.and_then(|found| found_or_noted(found, notes)),
        pours: poured.and_then(|found| found_or_noted(found, notes)),
        sections,
        modes,
        warm,
        mixes: recipes.map(|mixes| Mixes { mixes, trial: None, notes: Vec::new() }),
        sizings: sizings(design, arguments.most as usize),
        proof,
    })
}
