//! `ringdown`: how the vibration of each build decays after the tap that the design states.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::writing::write_atomically;
use super::{input, output};
use std::path::{Path, PathBuf};
use stillbed_design::Design;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Kind};
use stillbed_report::csv::harmless;
use stillbed_report::presentation::ringdown as presentation;
use stillbed_study::ringdown::{RingDownOptions, RingDowns, compute_sound};
use stillbed_study::tap::{RecordSettings, read_ties, synthetic_record};
use stillbed_tap::{to_csv, to_wav};

/// Show how each build comes to rest after the tap: envelope, times, what rings last
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed ringdown examples/roundness-stand.toml --wav taps.wav")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// How long the curve is, such as "2 s"
    #[arg(long, value_name = "TIME")]
    duration: Option<String>,
    /// Write what the builds sound like, one after the other at one level, to this file
    #[arg(long, value_name = "FILE.wav")]
    wav: Option<PathBuf>,
    /// Write a made record of the first build, tapped twice, with noise: CSV or WAV by its ending
    #[arg(long, value_name = "FILE.csv|FILE.wav")]
    record: Option<PathBuf>,
    /// What the channels of that record see, such as "tip z, column_top -x": points and axes
    #[arg(long, value_name = "\"POINT AXIS, ...\"", requires = "record")]
    channels: Option<String>,
    /// Ratio of motion to noise of that record, dB
    #[arg(long, value_name = "DB", default_value_t = 40.0, requires = "record", allow_negative_numbers = true, value_parser = decibels)]
    noise: f64,
    #[command(flatten)]
    spread: input::FewDraws,
    #[command(flatten)]
    at: input::AmplitudeOption,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        let answer = self.input.paths().writing("--output", self.output.output.as_deref());
        answer.writing("--wav", self.wav.as_deref()).writing("--record", self.record.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let duration = match &arguments.duration {
        Some(text) => Some(
            quantity::single(text, Kind::Time).ok().filter(|duration| *duration > 0.0).ok_or_else(|| {
                Problem::error(Place::key("--duration"), format!("\"{text}\" is no time above 0"))
                    .with_help("write it like \"2 s\"")
            })?,
        ),
        None => None,
    };
    let mut design = arguments.at.apply(|| arguments.input.read(&arguments.output))?;
    let options = RingDownOptions { duration, draws: arguments.spread.draws() };
    let bar = output::Progress::new("draws");
    let found =
        RingDowns::compute(&design, &options, |done, of| bar.at(done, of)).map_err(Failure::without_text)?;
    bar.finish();
    design.builds.retain(|build| found.builds.iter().any(|own| own.name == build.name));
    if let Some(path) = &arguments.wav {
        let sound = compute_sound(&design).map_err(Failure::without_text)?;
        write_atomically(path, &sound.wav)?;
        for (build, tap) in design.builds.iter().zip(&sound.taps) {
            let low = if tap.heard { "" } else { "; too low for most ears" };
            output::remark(&format!(
                "{}: from {:.1} s, {:.1} s long{low}",
                build.label, tap.start_s, tap.length_s
            ));
        }
    }
    if let Some(path) = &arguments.record {
        write_record(&design, path, arguments)?;
    }
    let answer = output::Answer {
        name: "ringdown",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)?;
    Ok(Ending::judged(found.misses.all_miss()))
}

/// Reads the signal-to-noise ratio of a synthetic record, dB.
fn decibels(text: &str) -> Result<f64, String> {
    let value: f64 = text.parse().map_err(|_| "write a number of decibels, such as 40".to_string())?;
    if (-60.0..=200.0).contains(&value) {
        Ok(value)
    } else {
        Err("from -60 to 200 dB can be made".to_string())
    }
}

/// Sample rate, Hz, and length, s, of a synthetic record.
const MADE: (f64, f64) = (4000.0, 8.0);

/// Writes a synthetic tap record of the first build.
fn write_record(design: &Design, path: &Path, arguments: &Arguments) -> Result<(), Failure> {
    let Some(build) = design.builds.first() else { return Ok(()) };
    let channels = match &arguments.channels {
        Some(list) => read_ties(design, build, list)?.into_iter().flatten().collect(),
        None => Vec::new(),
    };
    let made = RecordSettings {
        sample_rate_hz: MADE.0,
        duration_s: MADE.1,
        signal_to_noise_db: arguments.noise,
        seed: 1,
        channels,
    };
    let mut record = synthetic_record(design, build, &made).map_err(Failure::without_text)?;
    let bytes = match path.extension().and_then(|end| end.to_str()) {
        Some("wav") => to_wav(&record).map_err(Failure::without_text)?,
        _ => {
            record.channels.iter_mut().for_each(|channel| channel.name = harmless(&channel.name));
            to_csv(&record).into_bytes()
        }
    };
    write_atomically(path, &bytes)?;
    output::remark(&format!("wrote a made record of \"{}\": {}", build.name, path.display()));
    Ok(())
}
