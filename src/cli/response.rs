//! `response`: steady-state response of each build to a harmonic force, and what follows from it.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{files, input, output};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Kind};
use stillbed_report::presentation::response as presentation;
use stillbed_response::floor::FloorSpectrum;
use stillbed_response::frequency::Motion;
use stillbed_study::response::{Path, Response, ResponseOptions};

/// Show how each build answers a force: curves, peaks, running speeds, stable cut, floor
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed response examples/gantry-mill.toml --floor VC-C\n\
    Path: --from POINT --along \"1, 0, 0\" --to POINT; default is tip against work in its weakest direction")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Point that the force acts on
    #[arg(long, value_name = "POINT", requires = "along")]
    from: Option<String>,
    /// Direction of force and motion, global axes
    #[arg(long, value_name = "\"X, Y, Z\"", requires = "from", allow_hyphen_values = true)]
    along: Option<String>,
    /// Point that is watched
    #[arg(long, value_name = "POINT", requires = "from")]
    to: Option<String>,
    /// Frequencies, such as "5, 500 Hz"
    #[arg(long, value_name = "\"LOW, HIGH Hz\"")]
    range: Option<String>,
    /// What is drawn
    #[arg(long, value_enum, default_value_t = Drawn::Compliance, value_name = "compliance|mobility|accelerance", hide_possible_values = true)]
    motion: Drawn,
    /// How the floor shakes: a CSV file, a criterion such as VC-C, or a velocity such as "50 um/s"
    #[arg(long, value_name = "CURVE|VELOCITY|FILE.csv")]
    floor: Option<String>,
    #[command(flatten)]
    at: input::AmplitudeOption,
    #[command(flatten)]
    output: output::Output,
}

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Drawn {
    Compliance,
    Mobility,
    Accelerance,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input
            .paths()
            .and(self.floor.as_deref().map(std::path::Path::new))
            .writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let options = options(arguments)?;
    let design = arguments.at.apply(|| arguments.input.read(&arguments.output))?;
    let found = Response::compute(&design, &options).map_err(Failure::without_text)?;
    let motion = match arguments.motion {
        Drawn::Compliance => Motion::Compliance,
        Drawn::Mobility => Motion::Mobility,
        Drawn::Accelerance => Motion::Accelerance,
    };
    let answer = output::Answer {
        name: "response",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &|found| presentation::blocks(found, motion),
        table: &presentation::table,
    };
    arguments.output.write(&answer)?;
    Ok(Ending::judged(found.misses.all_miss()))
}

fn options(arguments: &Arguments) -> Result<ResponseOptions, Failure> {
    let at = |option: &str, fault: quantity::Fault| {
        Failure::from(Problem::error(Place::key(option), fault.message).with_help(fault.help))
    };
    let range = match &arguments.range {
        Some(text) => Some(quantity::range(text, Kind::Frequency).map_err(|fault| at("--range", fault))?),
        None => None,
    };
    if let Some((low, high)) = range
        && !(low > 0.0 && high > low)
    {
        let problem = Problem::error(
            Place::key("--range"),
            format!("{low} Hz to {high} Hz is no range of frequencies"),
        );
        return Err(problem.with_help("write a rising range above 0, as in \"5, 500 Hz\"").into());
    }
    let path = match (&arguments.from, &arguments.along) {
        (Some(from), Some(along)) => {
            let list = quantity::list(along, Kind::Ratio, 3).map_err(|fault| at("--along", fault))?;
            let length = list.iter().map(|x| x * x).sum::<f64>().sqrt();
            if !(length > 0.0 && length.is_finite()) {
                let problem =
                    Problem::error(Place::key("--along"), format!("the direction \"{along}\" has no length"));
                return Err(problem.with_help("write it like \"1, 0, 0\"").into());
            }
            let along = [list[0] / length, list[1] / length, list[2] / length];
            Some(Path { from: from.clone(), to: arguments.to.clone(), along })
        }
        _ => None,
    };
    let floor = arguments.floor.as_deref().map(floor).transpose()?;
    Ok(ResponseOptions { range, path, floor })
}

/// Reads `--floor`: the name of a criterion, a constant velocity, or a file.
fn floor(text: &str) -> Result<FloorSpectrum, Failure> {
    if let Some(spectrum) = FloorSpectrum::criterion(text) {
        return Ok(spectrum);
    }
    if let Ok(velocity) = quantity::single(text, Kind::Velocity) {
        return Ok(FloorSpectrum::flat(velocity, 1.0, 100.0));
    }
    let path = std::path::Path::new(text);
    if path.extension().is_none() {
        let known: Vec<&str> = FloorSpectrum::criteria().collect();
        let problem =
            Problem::error(Place::key("--floor"), format!("\"{text}\" is no criterion, velocity or file"));
        return Err(problem.with_help(format!("criteria: {}", known.join(", "))).into());
    }
    let content = files::read_text(path)?;
    let (spectrum, problems) = FloorSpectrum::read(text, &content);
    match spectrum {
        Some(spectrum) => {
            output::problems(&problems, Some(&(text.to_string(), content)));
            Ok(spectrum)
        }
        None => Err(Failure { problems, text: Some((text.to_string(), content)) }),
    }
}
