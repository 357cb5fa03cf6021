//! `pour`: the batch sheet of the cast parts.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{files, input, output};
use std::path::PathBuf;
use stillbed_design::{TIME_HELP, time_of_day};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::Kind;
use stillbed_report::presentation::pour as presentation;
use stillbed_report::workbook;
use stillbed_study::pour::Body;
use stillbed_study::pour::bodies::{PourOptions, Pours};

/// Largest STL file that is accepted, bytes.
const LARGEST_BODY: u64 = 256 << 20;

/// Write the batch sheet: volumes, weights, lifts, times, heat, mould, cautions
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  stillbed pour examples/roundness-stand.toml --build cast\n  stillbed pour examples/roundness-stand.toml --build cast --format xlsx \\\n      --output pour.xlsx"
)]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Mix lost on tools, such as "5 %"
    #[arg(long, value_name = "SHARE")]
    waste: Option<String>,
    /// What the bucket takes, such as "10 l"
    #[arg(long, value_name = "VOLUME")]
    bucket: Option<String>,
    /// Temperature of mix, mould and air, such as "20 degC"
    #[arg(long, value_name = "TEMPERATURE")]
    temperature: Option<String>,
    /// Time of day at which the first lift begins, such as "08:00"
    #[arg(long, value_name = "TIME")]
    start: Option<String>,
    /// Height of a lift; else proposed by the heat of the cure
    #[arg(long, value_name = "LENGTH")]
    lift: Option<String>,
    /// From the begin of one lift to that of the next; else proposed
    #[arg(long, value_name = "TIME")]
    wait: Option<String>,
    /// Distance of the ribs of the mould; else 200 mm
    #[arg(long, value_name = "LENGTH")]
    ribs: Option<String>,
    /// How far a board may bend between ribs; else 0.5 mm
    #[arg(long, value_name = "LENGTH")]
    deflection: Option<String>,
    /// The cast body as a closed surface (STL), in place of the volume from the sections
    #[arg(long, value_name = "FILE.stl")]
    body: Option<PathBuf>,
    /// What one unit of that file is
    #[arg(long, value_name = "LENGTH", default_value = "1 mm")]
    body_unit: String,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().and(self.body.as_deref()).writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let options = PourOptions {
        waste: optional(&arguments.waste, "--waste", Kind::Ratio)?,
        bucket: optional(&arguments.bucket, "--bucket", Kind::Volume)?,
        temperature: optional(&arguments.temperature, "--temperature", Kind::Temperature)?,
        start: arguments.start.as_deref().map(clock).transpose()?,
        lift: optional(&arguments.lift, "--lift", Kind::Length)?,
        wait: optional(&arguments.wait, "--wait", Kind::Time)?,
        ribs: optional(&arguments.ribs, "--ribs", Kind::Length)?,
        deflection: optional(&arguments.deflection, "--deflection", Kind::Length)?,
        body: arguments.body.as_ref().map(|path| body(path, &arguments.body_unit)).transpose()?,
    };
    let design = arguments.input.read_unsolved(&arguments.output)?;
    let found = Pours::compute(&design, &options).map_err(Failure::without_text)?;
    let answer = output::Answer {
        name: "pour",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    let make_workbook =
        || workbook::pour::book(&found, &input::identity(&design)).map_err(|fault| fault.to_string());
    arguments.output.write_with_workbook(&answer, &make_workbook)
}

fn clock(text: &str) -> Result<f64, Failure> {
    let problem = || Problem::error(Place::key("--start"), format!("\"{text}\" is no time of day"));
    time_of_day(text).ok_or_else(|| problem().with_help(TIME_HELP).into())
}

fn optional(text: &Option<String>, option: &str, kind: Kind) -> Result<Option<f64>, Failure> {
    text.as_deref().map(|text| input::positive(text, option, kind)).transpose()
}

fn body(path: &std::path::Path, unit: &str) -> Result<Body, Failure> {
    let unit = input::positive(unit, "--body-unit", Kind::Length)?;
    let bytes = files::read_bytes(path, LARGEST_BODY)?;
    let place = || Place::file(&path.display().to_string());
    let body = Body::read(&bytes, unit)
        .map_err(|fault| Problem::error(place(), fault.message).with_help(fault.help))?;
    if !body.is_closed() {
        let message = format!("the surface is not closed: {} edges have no partner", body.open_edges);
        return Err(Problem::error(place(), message)
            .with_help("mend it where it was drawn; it has no volume")
            .into());
    }
    Ok(body)
}
