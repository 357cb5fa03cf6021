//! `tap`: a recorded tap read back.

use super::{Ending, Failure, files, input, output};
use crate::design::Design;
use crate::problem::{Place, Problem};
use crate::quantity::{self, Kind, Spread};
use crate::report::present::tap as present;
use crate::response::tap::{
    Bar, BarShape, Listen, MAX_BYTES, Motion, ReadMode, Record, Stated, bar_moduli, read, read_taps, tone_of,
    too_large,
};
use crate::study::tapped::against;
use std::path::{Path, PathBuf};

/// Read a recorded tap (CSV or WAV): what rang, how fast it died, how far the model was off
#[derive(clap::Args)]
#[command(
    after_help = "Example: stillbed tap examples/stand-tap.csv --against examples/roundness-stand.toml --build cast\n\
    A free bar: stillbed tap bar.wav --bar \"250 x 25 x 15 mm\" --mass \"206 g\" --torsion twist.wav"
)]
pub(super) struct Arguments {
    /// The record: CSV with time and channels, or WAV
    #[arg(value_name = "RECORD")]
    record: PathBuf,
    /// Samples a second of a table without a time column, such as "1000 Hz"
    #[arg(long, value_name = "RATE")]
    sample_rate: Option<String>,
    /// Frequencies to look at, such as "20, 800 Hz"
    #[arg(long, value_name = "\"LOW, HIGH Hz\"")]
    range: Option<String>,
    /// Time constant of an exponential window that the recorder laid over the record
    #[arg(long, value_name = "TIME")]
    window: Option<String>,
    /// The record is of a free test bar of this length, width and thickness, or length and diameter
    #[arg(long, value_name = "\"L x W x T mm\"", requires = "mass", conflicts_with = "against")]
    bar: Option<String>,
    /// Mass of the bar
    #[arg(long, value_name = "MASS", requires = "bar")]
    mass: Option<String>,
    /// Poisson's ratio of the bar where torsion is not recorded
    #[arg(long, value_name = "RATIO", requires = "bar", default_value_t = 0.25)]
    poisson: f64,
    /// A record of the bar struck to twist
    #[arg(long, value_name = "RECORD", requires = "bar")]
    torsion: Option<PathBuf>,
    /// A record of the bar struck at its end
    #[arg(long, value_name = "RECORD", requires = "bar")]
    lengthwise: Option<PathBuf>,
    /// Set the record beside this design
    #[arg(long, value_name = "DESIGN.toml")]
    against: Option<PathBuf>,
    /// The build that was cast
    #[arg(long, value_name = "NAME", requires = "against")]
    build: Option<String>,
    /// How many elastic modes of the model
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u16).range(1..=500))]
    count: u16,
    #[command(flatten)]
    known: input::Known,
    #[command(flatten)]
    output: output::Output,
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let record = record_at(&arguments.record, arguments)?;
    let listen = listen(arguments)?;
    let reading = read_taps(&record, &listen).map_err(Failure::of)?;
    let mut read_files: Vec<&Path> = vec![&arguments.record];
    read_files.extend(arguments.against.as_deref());
    if let Some(bar) = bar(arguments)? {
        let modes_of = |path: &Option<PathBuf>| -> Result<Vec<ReadMode>, Failure> {
            let Some(path) = path else { return Ok(Vec::new()) };
            Ok(read_taps(&record_at(path, arguments)?, &listen).map_err(Failure::of)?.modes)
        };
        let mut tones = Vec::new();
        tones.extend(tone_of(&reading.modes, &bar, Motion::Flexure, None));
        let flexure = bar_moduli(&bar, &tones).ok().and_then(|b| b.youngs_modulus_pa).map(|e| e.value);
        tones.extend(tone_of(&modes_of(&arguments.torsion)?, &bar, Motion::Torsion, flexure));
        tones.extend(tone_of(&modes_of(&arguments.lengthwise)?, &bar, Motion::Longitudinal, flexure));
        let mut found = bar_moduli(&bar, &tones).map_err(Failure::of)?;
        found.notes.extend(reading.notes.iter().cloned());
        let answer = output::Answer {
            name: "tap",
            design: None,
            result: &found,
            blocks: &present::bar_blocks,
            table: &present::bar_table,
        };
        return arguments.output.give(&answer, &read_files);
    }
    let design =
        arguments.against.as_ref().map(|path| input::read_design(path, &arguments.known)).transpose()?;
    let against = design.as_ref().map(|design| beside(design, arguments, &reading.modes)).transpose()?;
    let found = present::TapAnswer { reading, against };
    let answer = output::Answer {
        name: "tap",
        design: design.as_ref().map(input::of),
        result: &found,
        blocks: &present::blocks,
        table: &present::table,
    };
    arguments.output.give(&answer, &read_files)
}

/// Reads the record at `path`.
fn record_at(path: &Path, arguments: &Arguments) -> Result<Record, Failure> {
    let name = path.display().to_string();
    if let Ok(found) = std::fs::metadata(path)
        && found.is_file()
        && found.len() > MAX_BYTES as u64
    {
        return Err(too_large(&name, found.len()).into());
    }
    let bytes = files::read_bytes(path, MAX_BYTES as u64)?;
    let sample_rate_hz = number(&arguments.sample_rate, "--sample-rate", Kind::Frequency)?;
    read(&name, &bytes, &Stated { sample_rate_hz }).map_err(Failure::of)
}

fn listen(arguments: &Arguments) -> Result<Listen, Failure> {
    let range_hz =
        match &arguments.range {
            Some(text) => Some(quantity::range(text, Kind::Frequency).map_err(|fault| {
                Problem::error(Place::key("--range"), fault.message).with_help(fault.help)
            })?),
            None => None,
        };
    Ok(Listen { range_hz, window_s: number(&arguments.window, "--window", Kind::Time)? })
}

fn number(text: &Option<String>, option: &str, kind: Kind) -> Result<Option<f64>, Failure> {
    let Some(text) = text else { return Ok(None) };
    let value = quantity::single(text, kind)
        .map_err(|fault| Problem::error(Place::key(option), fault.message).with_help(fault.help))?;
    if value > 0.0 {
        return Ok(Some(value));
    }
    let problem = Problem::error(Place::key(option), format!("\"{text}\" must be more than zero"));
    Err(problem.with_help(format!("write it like \"{}\"", kind.example())).into())
}

/// The bar that is stated, if one is.
fn bar(arguments: &Arguments) -> Result<Option<Bar>, Failure> {
    let Some(text) = &arguments.bar else { return Ok(None) };
    let count = text.to_lowercase().replace('×', "x").split('x').count();
    let sizes = quantity::size(text, Kind::Length, if count == 2 { 2 } else { 3 })
        .map_err(|fault| Problem::error(Place::key("--bar"), fault.message).with_help(fault.help))?;
    let exact = |i: usize| Spread::exact(sizes[i]);
    let shape = match sizes.len() {
        2 => BarShape::Round { length: exact(0), diameter: exact(1) },
        _ => BarShape::Rectangular { length: exact(0), width: exact(1), thickness: exact(2) },
    };
    let mass = number(&arguments.mass, "--mass", Kind::Mass)?.unwrap_or_default();
    let poissons_ratio = Spread::exact(arguments.poisson);
    Ok(Some(Bar { shape, mass: Spread::exact(mass), poissons_ratio }))
}

fn beside(
    design: &Design,
    arguments: &Arguments,
    heard: &[ReadMode],
) -> Result<crate::response::tap::Against, Failure> {
    let build = match (&arguments.build, &design.builds[..]) {
        (Some(name), _) => design.build(name)?,
        (None, [only]) => only,
        (None, builds) => {
            let names: Vec<&str> = builds.iter().map(|build| build.name.as_str()).collect();
            let problem = Problem::error(Place::key("--build"), "the design has several builds");
            return Err(problem
                .with_help(format!("name the one that was cast: {}", names.join(", ")))
                .into());
        }
    };
    against(design, build, heard, usize::from(arguments.count)).map_err(Failure::of)
}
