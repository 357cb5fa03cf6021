//! `size`: finds the stock sizes that meet the targets at the least mass or cost.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::writing::write_atomically;
use super::{files, input, output};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use stillbed_design::{Build, Design, Measure};
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_input::quantity;
use stillbed_report::presentation::size as presentation;
use stillbed_section::stock::Stock;
use stillbed_study::size::{Effort, Inverse, InverseRequest, Least, Options, Sizing, Space, Watch, write};

/// Search stock sizes for the skeleton that meets the targets at least mass or cost
#[derive(clap::Args)]
#[command(
    after_help = "What may vary stands in the design:\n  [vary.rail_tube]\n  section = \"rail\"\n  part = 2\n  stock = \"square tube, aluminium 6061-T6\"\nor at, size, bond (of a section), share (of a mix), stiffness (of a foot):\n  a list, or { from = …, to = …, steps = 5 }.\n\nExamples:\n  stillbed size examples/sized-stand.toml --build cast --write sized.toml\n  stillbed size stand.toml --build welded --find rail.1.wall \\\n      --reach \"first_frequency = 90 Hz\""
)]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// A table of stock sizes of your own; its forms replace the built-in ones
    #[arg(long, value_name = "FILE.csv")]
    stock: Option<PathBuf>,
    /// What is to be least
    #[arg(long, value_enum, value_name = "mass|cost", default_value_t = LeastIn::Mass, hide_possible_values = true)]
    least: LeastIn,
    /// How many elastic modes of each candidate, at most 100
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u16).range(1..=100))]
    count: u16,
    /// Most candidates that are tried one by one, at most 1 000 000; beyond, the search is guided
    #[arg(long, value_name = "N", default_value_t = 200_000, value_parser = clap::value_parser!(u32).range(..=1_000_000))]
    most: u32,
    /// Restarts of a guided search, at most 1000
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u16).range(1..=1000))]
    restarts: u16,
    /// Seed of a guided search
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Write the design with the chosen sizes in it to this file
    #[arg(long, value_name = "FILE.toml", conflicts_with = "find")]
    write: Option<PathBuf>,
    /// Seek this one size instead, such as rail.1.wall: SECTION.PART.SIZE
    #[arg(long, value_name = "SIZE", requires = "reach")]
    find: Option<String>,
    /// What it is to reach, such as "first_frequency = 90 Hz"
    #[arg(long, value_name = "MEASURE = VALUE", requires = "find")]
    reach: Option<String>,
    #[command(flatten)]
    output: output::Output,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum LeastIn {
    Mass,
    Cost,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        let read = self.input.paths().and(self.stock.as_deref());
        read.writing("--write", self.write.as_deref()).writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let stock = stock(arguments)?;
    let design = arguments.input.read(&arguments.output)?;
    let build = chosen(&design)?;
    match (&arguments.find, &arguments.reach) {
        (Some(size), Some(reach)) => find(arguments, &design, build, size, reach),
        _ => search(arguments, &design, build, &stock),
    }
}

/// The build to size: the only one, or the only one with `[vary]`.
fn chosen(design: &Design) -> Result<&Build, Problem> {
    let varied: Vec<&Build> = design.builds.iter().filter(|b| !b.drawing.vary.is_empty()).collect();
    match (&design.builds[..], &varied[..]) {
        ([one], _) => Ok(one),
        (_, [one]) => Ok(one),
        (builds, _) => {
            let names: Vec<&str> = builds.iter().map(|b| b.name.as_str()).collect();
            let place = Place { key: "--build".to_string(), ..Place::file(&design.file) };
            Err(Problem::error(place, format!("{} builds; one is sized at a time", names.len()))
                .with_help(format!("name one of {} after --build", names.join(", "))))
        }
    }
}

fn search(arguments: &Arguments, design: &Design, build: &Build, stock: &Stock) -> Result<Ending, Failure> {
    let options = Options {
        count: usize::from(arguments.count),
        least: match arguments.least {
            LeastIn::Mass => Least::Mass,
            LeastIn::Cost => Least::Cost,
        },
        effort: Effort {
            most: arguments.most as usize,
            restarts: usize::from(arguments.restarts),
            seed: arguments.seed,
        },
    };
    let stopped = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stopped);
    // If no handler can be set, Ctrl-C ends the program as usual.
    let _ = ctrlc::set_handler(move || {
        // The first Ctrl-C ends the search with its best so far; a second ends the program at once.
        if flag.swap(true, Ordering::Relaxed) {
            std::process::exit(2);
        }
    });
    let bar = output::Progress::new("candidates");
    let watch = Watch { progress: &|done, of| bar.at(done, of), stop: &|| stopped.load(Ordering::Relaxed) };
    let sized = Sizing::compute(design, build, stock, &options, &watch);
    let (sizing, space) = sized.map_err(|problems| shown(arguments, problems.into()))?;
    bar.finish();
    let answer = output::Answer {
        name: "size",
        design: Some(input::identity(design)),
        result: &sizing,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)?;
    save(arguments, design, &sizing, &space)?;
    Ok(Ending::judged(!sizing.meets()))
}

/// Problems together with the text of the design, for excerpts.
fn shown(arguments: &Arguments, problems: Vec<Problem>) -> Failure {
    let path = &arguments.input.design;
    let text = files::read_design(path).ok().map(|text| (path.display().to_string(), text));
    Failure { problems, text }
}

/// Writes the design with the chosen sizes, if `--write` asks for it.
fn save(arguments: &Arguments, design: &Design, sizing: &Sizing, space: &Space) -> Result<(), Failure> {
    let Some(path) = &arguments.write else { return Ok(()) };
    let place = Place::file(&path.display().to_string());
    let Some(choice) = &sizing.chosen else {
        let problem = Problem::warning(place, "not written: no choice meets the targets")
            .with_help("relax a target, or let more vary");
        output::problems(&[problem], None);
        return Ok(());
    };
    let text = files::read_design(&arguments.input.design)?;
    let text = write(&design.file, &text, space, choice)?;
    write_atomically(path, text.as_bytes())?;
    output::remark(&format!("wrote {0}; next: stillbed compare {0}", path.display()));
    Ok(())
}

fn stock(arguments: &Arguments) -> Result<Stock, Failure> {
    let mut stock = Stock::built_in();
    let Some(path) = &arguments.stock else { return Ok(stock) };
    let text = files::read_text(path)?;
    let name = path.display().to_string();
    let problems = stock.overlay(&name, &text);
    if problems.is_empty() { Ok(stock) } else { Err(Failure { problems, text: Some((name, text)) }) }
}

fn find(
    arguments: &Arguments,
    design: &Design,
    build: &Build,
    size: &str,
    reach: &str,
) -> Result<Ending, Failure> {
    let (measure, value) = reached(reach)?;
    let asking = InverseRequest { size: size.to_string(), measure, value };
    let inverse = Inverse::compute(design, build, &asking, usize::from(arguments.count))
        .map_err(|problems| shown(arguments, problems.into()))?;
    let answer = output::Answer {
        name: "size",
        design: Some(input::identity(design)),
        result: &inverse,
        blocks: &presentation::inverse_blocks,
        table: &presentation::inverse_table,
    };
    arguments.output.write(&answer)?;
    Ok(Ending::judged(inverse.found_m.is_none()))
}

/// Reads measure and value from text such as `first_frequency = 90 Hz`.
fn reached(text: &str) -> Result<(Measure, f64), Problem> {
    let place = || Place { key: "--reach".to_string(), ..Place::default() };
    let Some((name, value)) = text.split_once('=') else {
        return Err(Problem::error(place(), format!("\"{text}\" is no measure and value"))
            .with_help("write it like \"first_frequency = 90 Hz\""));
    };
    let name = name.trim();
    let measure = Measure::ALL.into_iter().find(|measure| measure.key() == name).ok_or_else(|| {
        Problem::error(place(), format!("no measure \"{name}\""))
            .with_help(suggest(name, Measure::ALL.map(Measure::key)))
    })?;
    let value = quantity::single(value.trim(), measure.kind())
        .map_err(|fault| Problem::error(place(), fault.message).with_help(fault.help))?;
    if value <= 0.0 {
        let message = format!("{} of {text}: it must be more than zero", measure.title());
        return Err(Problem::error(place(), message).with_help("name what is to be reached"));
    }
    Ok((measure, value))
}
