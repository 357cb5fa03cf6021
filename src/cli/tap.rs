//! `tap`: reads modes from recorded taps, as moduli of a free bar or set against a design.

use super::ending::{Ending, Failure};
use super::part_files::{PartFiles, named_by};
use super::paths::Paths;
use super::writing::write_atomically;
use super::{files, input, output};
use rayon::prelude::*;
use serde::Serialize;
use std::path::{Path, PathBuf};
use stillbed_design::{Build, Design, SolvedBodies, Stated};
use stillbed_input::problem::{Place, Problem, Severity, suggest};
use stillbed_input::quantity::{self, Kind, Spread, figures};
use stillbed_report::presentation::tap as presentation;
use stillbed_report::{Block, Table};
use stillbed_study::tap::{MeasuredTap, TapComparison, Tie, compare, read_ties, ties_by_title, write};
use stillbed_tap::{
    Bar, BarMotion, BarShape, Disc, MAX_BYTES, MeasuredMode, ReadingOptions, Record, RecordOptions,
    TapReading, bar_moduli, disc_moduli, find_disc_tones, find_first_tone, pool_readings, read_record,
    read_taps, too_large,
};

/// Read recorded taps (table, WAV, m4a ...): what rang, how fast it died, how far the model was off
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  stillbed tap record.wav --against examples/roundness-stand.toml --build cast\n\
    A free bar:\n  stillbed tap bar.wav --bar \"250 x 25 x 15 mm\" --mass \"206 g\" \\\n      --torsion twist.wav\n\
    A free disc, struck at its rim and at its centre:\n  stillbed tap rim.wav centre.wav --disc \"120 x 10.0 mm\" --mass \"283 g\""
)]
pub(super) struct Arguments {
    /// The records, several of one part as one set: CSV or xlsx with time and channels, or sound
    #[arg(value_name = "RECORD", required = true)]
    records: Vec<PathBuf>,
    /// Samples a second of a table without a time column, such as "1000 Hz"
    #[arg(long, value_name = "RATE")]
    sample_rate: Option<String>,
    /// Frequencies to look at, such as "20, 800 Hz"
    #[arg(long, value_name = "\"LOW, HIGH Hz\"")]
    range: Option<String>,
    /// Time constant of an exponential window that the recorder laid over the record
    #[arg(long, value_name = "TIME")]
    window: Option<String>,
    /// The recorder does not turn its gain by itself: damping is stated even where that cannot be heard
    #[arg(long)]
    fixed_gain: bool,
    /// The record is of a free test bar of this length, width and thickness, or length and diameter, with
    /// tolerances ("15 +- 0.05") where half of the last digit is not right
    #[arg(
        long,
        value_name = "\"L x W x T mm\"",
        requires = "mass",
        conflicts_with = "against",
        group = "specimen"
    )]
    bar: Option<String>,
    /// The records are of a free test disc of this diameter and thickness, with tolerances as those of a bar
    #[arg(
        long,
        value_name = "\"D x T mm\"",
        requires = "mass",
        conflicts_with = "against",
        group = "specimen"
    )]
    disc: Option<String>,
    /// Mass of the bar or disc, with a tolerance as the sizes
    #[arg(long, value_name = "MASS", requires = "specimen")]
    mass: Option<String>,
    /// Poisson's ratio of the bar if torsion is not recorded
    #[arg(long, value_name = "RATIO", requires = "bar", default_value_t = 0.25, value_parser = poissons_ratio)]
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
    /// What the channels see, such as "tip z, column_top -x": points and axes; "-" for none.
    /// Without it, titles such as tip.z say so
    #[arg(long, value_name = "\"POINT AXIS, ...\"", requires = "against")]
    channels: Option<String>,
    /// Write the design with the change that explains the record best to this file
    #[arg(long, value_name = "FILE.toml", requires = "against")]
    write: Option<PathBuf>,
    /// Write this change instead, such as feet.levelling.stiffness
    #[arg(long, value_name = "CHANGE", requires = "write")]
    explain: Option<String>,
    /// How many elastic modes of the model, at most 500
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u16).range(1..=500))]
    count: u16,
    #[command(flatten)]
    part_files: PartFiles,
    #[command(flatten)]
    known: input::MaterialsOption,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        let read =
            Paths::reading(self.records.iter().map(PathBuf::as_path)).and(self.known.materials.as_deref());
        let read =
            read.and(self.torsion.as_deref()).and(self.lengthwise.as_deref()).and(self.against.as_deref());
        let read = read.and_all(self.against.as_deref().map(named_by).unwrap_or_default());
        read.writing("--write", self.write.as_deref()).writing("--output", self.output.output.as_deref())
    }
}

/// Reads Poisson's ratio of an isotropic solid.
fn poissons_ratio(text: &str) -> Result<f64, String> {
    let read = text.trim().parse::<f64>().ok().filter(|ratio| (-1.0..=0.5).contains(ratio));
    read.ok_or_else(|| format!("\"{text}\" is no ratio from -1 to 0.5"))
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let listen = listen(arguments)?;
    let reading = read_all(arguments, &listen)?;
    if let Some(bar) = bar(arguments)? {
        let modes_of = |path: &Option<PathBuf>| -> Result<Vec<MeasuredMode>, Failure> {
            let Some(path) = path else { return Ok(Vec::new()) };
            Ok(read_taps(&record_at(path, arguments)?, &listen).map_err(Failure::without_text)?.modes)
        };
        let first = |modes: &[MeasuredMode], motion, known| find_first_tone(modes, &bar, motion, known);
        let (flexure, mut notes) = first(&reading.modes, BarMotion::Flexure, None)?;
        let mut tones = vec![flexure];
        let known = bar_moduli(&bar, &tones).ok().and_then(|b| b.youngs_modulus_pa).map(|e| e.value);
        for (path, motion) in
            [(&arguments.torsion, BarMotion::Torsion), (&arguments.lengthwise, BarMotion::Longitudinal)]
        {
            if path.is_some() {
                let (tone, more) = first(&modes_of(path)?, motion, known)?;
                tones.push(tone);
                notes.extend(more);
            }
        }
        let mut found = bar_moduli(&bar, &tones).map_err(Failure::without_text)?;
        found.notes.extend(notes);
        found.notes.extend(reading.notes.iter().cloned());
        return write_specimen(arguments, &found, &presentation::bar_blocks, &presentation::bar_table);
    }
    if let Some(disc) = disc(arguments)? {
        let (tones, notes) = find_disc_tones(&reading.modes, &disc)?;
        let mut found = disc_moduli(&disc, &tones).map_err(Failure::without_text)?;
        found.notes.extend(notes);
        found.notes.extend(reading.notes.iter().cloned());
        return write_specimen(arguments, &found, &presentation::disc_blocks, &presentation::disc_table);
    }
    let design = arguments
        .against
        .as_ref()
        .map(|path| {
            let solved = arguments.build.as_deref().map_or(SolvedBodies::All, SolvedBodies::Of);
            let begin = |stated: &Stated| arguments.output.head_of_design(stated, None);
            let sources = (&arguments.known, &arguments.part_files);
            input::read_design(path, sources, input::SolidsOptions::default(), &begin, &solved)
        })
        .transpose()?;
    let found = match &design {
        Some(design) => Some(compared(design, arguments, &reading)?),
        None => None,
    };
    let against = found.as_ref().map(|found| found.against.clone());
    let answer = output::Answer {
        name: "tap",
        design: design.as_ref().map(input::identity),
        result: &presentation::TapAnswer { reading, against },
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    if let (Some(design), Some(found)) = (&design, &found) {
        save(arguments, design, found)?;
    }
    arguments.output.write(&answer)
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
    read_record(&name, &bytes, &RecordOptions { sample_rate_hz }).map_err(Failure::without_text)
}

/// Reads all records and joins them into one reading. A record that cannot be read does not stop the others.
fn read_all(arguments: &Arguments, listen: &ReadingOptions) -> Result<TapReading, Failure> {
    let one = |path: &PathBuf| -> Result<TapReading, Failure> {
        read_taps(&record_at(path, arguments)?, listen).map_err(Failure::without_text)
    };
    if let [only] = &arguments.records[..] {
        return one(only);
    }
    let tried: Vec<Result<TapReading, Failure>> = arguments.records.par_iter().map(one).collect();
    let (mut readings, mut failures) = (Vec::new(), Vec::new());
    for each in tried {
        match each {
            Ok(reading) => readings.push(reading),
            Err(failure) => failures.push(failure),
        }
    }
    match pool_readings(&readings) {
        Some(mut pooled) => {
            let left_out = failures.into_iter().flat_map(|failure| failure.problems);
            pooled.notes.extend(left_out.map(|problem| Problem { severity: Severity::Warning, ..problem }));
            Ok(pooled)
        }
        None => Err(failures.into_iter().next().unwrap_or_else(|| Failure::without_text(Vec::new()))),
    }
}

fn listen(arguments: &Arguments) -> Result<ReadingOptions, Failure> {
    let range_hz =
        match &arguments.range {
            Some(text) => Some(quantity::range(text, Kind::Frequency).map_err(|fault| {
                Problem::error(Place::key("--range"), fault.message).with_help(fault.help)
            })?),
            None => None,
        };
    let window_s = number(&arguments.window, "--window", Kind::Time)?;
    Ok(ReadingOptions { range_hz, window_s, fixed_gain: arguments.fixed_gain })
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

/// The test bar described by `--bar` and `--mass`, if any.
fn bar(arguments: &Arguments) -> Result<Option<Bar>, Failure> {
    let Some(text) = &arguments.bar else { return Ok(None) };
    let sizes = measured(text, "--bar", Kind::Length)?;
    let shape = match sizes[..] {
        [length, diameter] => BarShape::Round { length, diameter },
        [length, width, thickness] => BarShape::Rectangular { length, width, thickness },
        _ => {
            let message = format!("\"{text}\" has {} sizes", sizes.len());
            let help = "state length, width and thickness, or length and diameter: \"250 x 25 x 15 mm\"";
            return Err(Problem::error(Place::key("--bar"), message).with_help(help).into());
        }
    };
    let poissons_ratio = Spread::exact(arguments.poisson);
    Ok(Some(Bar { shape, mass: mass(arguments)?, poissons_ratio }))
}

/// Writes what was read of a test bar or disc.
fn write_specimen<A: Serialize>(
    arguments: &Arguments,
    result: &A,
    blocks: &dyn Fn(&A) -> Vec<Block>,
    table: &dyn Fn(&A) -> Table,
) -> Result<Ending, Failure> {
    arguments.output.write(&output::Answer { name: "tap", design: None, result, blocks, table })
}

/// The test disc described by `--disc` and `--mass`, if any.
fn disc(arguments: &Arguments) -> Result<Option<Disc>, Failure> {
    let Some(text) = &arguments.disc else { return Ok(None) };
    let sizes = measured(text, "--disc", Kind::Length)?;
    let [diameter, thickness] = sizes[..] else {
        let message = format!("\"{text}\" has {} sizes", sizes.len());
        let help = "state diameter and thickness: \"120 x 10.0 mm\"";
        return Err(Problem::error(Place::key("--disc"), message).with_help(help).into());
    };
    Ok(Some(Disc { diameter, thickness, mass: mass(arguments)? }))
}

/// The mass stated by `--mass`.
fn mass(arguments: &Arguments) -> Result<Spread, Failure> {
    let masses = measured(arguments.mass.as_deref().unwrap_or_default(), "--mass", Kind::Mass)?;
    Ok(masses.first().copied().unwrap_or(Spread::exact(0.0)))
}

/// Reads measured values such as "250 x 25 +- 0.1 x 15.0 mm". The spread of each is the stated tolerance,
/// else half of its last written digit.
fn measured(text: &str, option: &str, kind: Kind) -> Result<Vec<Spread>, Failure> {
    let wrong =
        |fault: quantity::Fault| Problem::error(Place::key(option), fault.message).with_help(fault.help);
    let plain = text.replace('×', "x").replace('±', "+-").replace("+/-", "+-");
    let unit = plain.trim_end().rsplit(|c: char| c.is_ascii_digit() || c == '.').next().unwrap_or("").trim();
    let parts: Vec<(&str, Option<&str>)> = plain
        .split('x')
        .map(|part| part.trim().trim_end_matches(unit).trim())
        .map(|part| {
            part.split_once("+-").map_or((part, None), |(value, tolerance)| (value.trim(), Some(tolerance)))
        })
        .collect();
    let nominal: Vec<&str> = parts.iter().map(|part| part.0).collect();
    let values =
        quantity::size(&format!("{} {unit}", nominal.join(" x ")), kind, parts.len()).map_err(wrong)?;
    let spread = |(value, (nominal, tolerance)): (f64, &(&str, Option<&str>))| {
        let number = |text: &str| text.trim().parse::<f64>().ok().filter(|x| *x >= 0.0 && x.is_finite());
        let digits = nominal.split('.').nth(1).map_or(0, str::len) as i32;
        let reach = match tolerance {
            Some(tolerance) => number(tolerance),
            None => Some(0.5 * 10f64.powi(-digits)),
        };
        let per = number(nominal).filter(|x| *x > 0.0).map(|nominal| value / nominal);
        let (Some(reach), Some(per)) = (reach, per) else {
            let message = format!("\"{text}\" is no list of sizes with tolerances");
            let help = "write it like \"250 x 25 +- 0.1 x 15.0 mm\"";
            return Err(Problem::error(Place::key(option), message).with_help(help).into());
        };
        Ok(Spread::between(value, value - reach * per, value + reach * per))
    };
    values.into_iter().zip(&parts).map(spread).collect()
}

/// The build that was tapped.
fn tapped<'d>(design: &'d Design, arguments: &Arguments) -> Result<&'d Build, Problem> {
    match (&arguments.build, &design.builds[..]) {
        (Some(name), _) => design.build(name),
        (None, [only]) => Ok(only),
        (None, builds) => {
            let names: Vec<&str> = builds.iter().map(|build| build.name.as_str()).collect();
            let problem = Problem::error(Place::key("--build"), "the design has several builds");
            Err(problem.with_help(format!("name the one that was cast: {}", names.join(", "))))
        }
    }
}

fn compared(design: &Design, arguments: &Arguments, reading: &TapReading) -> Result<TapComparison, Failure> {
    let build = tapped(design, arguments)?;
    let ties = ties(design, build, arguments, reading)?;
    let measured = MeasuredTap { modes: &reading.modes, ties: &ties, count: usize::from(arguments.count) };
    compare(design, build, &measured).map_err(Failure::without_text)
}

/// What each channel measures, from `--channels` or else from the channel titles.
fn ties(
    design: &Design,
    build: &Build,
    arguments: &Arguments,
    reading: &TapReading,
) -> Result<Vec<Option<Tie>>, Problem> {
    let Some(list) = &arguments.channels else {
        return Ok(ties_by_title(design, build, reading.channels.iter().map(String::as_str)));
    };
    let ties = read_ties(design, build, list)?;
    if ties.len() == reading.channels.len() {
        return Ok(ties);
    }
    let message = format!("{} channels are named, the record has {}", ties.len(), reading.channels.len());
    Err(Problem::error(Place::key("--channels"), message)
        .with_help(format!("name these in their order: {}", reading.channels.join(", "))))
}

/// Writes the design with one change that explains the record, if `--write` asks for it.
fn save(arguments: &Arguments, design: &Design, found: &TapComparison) -> Result<(), Failure> {
    let Some(path) = &arguments.write else { return Ok(()) };
    let place = Place::file(&path.display().to_string());
    let explanations = &found.against.explanations;
    let asked = |name: &String| {
        let known = || explanations.iter().map(|e| e.parameter.as_str());
        explanations.iter().find(|e| e.parameter == *name).ok_or_else(|| {
            Problem::error(Place::key("--explain"), format!("no change \"{name}\""))
                .with_help(suggest(name, known()))
        })
    };
    let chosen = match &arguments.explain {
        Some(name) => Some(asked(name)?),
        None => explanations.first(),
    };
    let parameter = |name: &str| found.parameters.iter().find(|parameter| parameter.uncertain.name == name);
    let Some((chosen, parameter)) = chosen.and_then(|chosen| Some((chosen, parameter(&chosen.parameter)?)))
    else {
        let problem = Problem::warning(place, "not written: nothing in the model explains the record");
        output::problems(&[problem.with_help("state what is uncertain in the design")], None);
        return Ok(());
    };
    let alike = found.against.alike();
    if arguments.explain.is_none() && !alike.is_empty() {
        let name = &chosen.parameter;
        let message = format!("{name} and {} explain the record alike; {name} is written", alike.join(", "));
        let problem = Problem::warning(place, message);
        output::problems(&[problem.with_help("name another after --explain")], None);
    }
    let input = arguments.against.as_deref().unwrap_or(path);
    let text = files::read_design(input)?;
    let ends = found.ends.iter().find(|(name, _)| *name == chosen.parameter).map(|(_, ends)| ends);
    let text = write(&design.file, &text, tapped(design, arguments)?, parameter, &chosen.factor, ends)?;
    write_atomically(path, text.as_bytes())?;
    let factor = figures(chosen.factor.value, 3);
    output::remark(&format!("wrote {} with {} times {factor}", path.display(), chosen.parameter));
    Ok(())
}
