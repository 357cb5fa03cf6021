//! A record: channels of evenly spaced samples, and how much of one is read.

use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::GRAVITY;

/// The largest file that is read, bytes.
pub const MAX_BYTES: usize = 128 << 20;

/// The most samples that are kept, all channels together.
pub const MAX_SAMPLES: usize = 8 << 20;

/// Samples above this magnitude are not taken for numbers; changes below its inverse count as none.
pub(super) const MAX_MAGNITUDE: f64 = 1e30;

/// What the user states about a file in addition to its content.
#[derive(Debug, Clone, Copy, Default)]
pub struct RecordOptions {
    /// Samples per second, for a table without a time column, Hz.
    pub sample_rate_hz: Option<f64>,
}

/// One channel of a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Its title in the file, or its number.
    pub name: String,
    /// Unit as the file writes it; empty when it states none.
    pub unit: String,
    /// Samples in that unit; from a wave file, in parts of full scale.
    pub samples: Vec<f64>,
}

impl Channel {
    /// Metres of displacement at angular frequency `omega` for one of its unit; `None` when the unit is not
    /// one of acceleration, velocity or displacement.
    pub fn metres(&self, omega: f64) -> Option<f64> {
        let plain: String = self.unit.to_lowercase().chars().filter(|c| !"^ ·*()[]".contains(*c)).collect();
        let plain = plain.replace('²', "2").replace(['µ', 'μ'], "u").replace("s**2", "s2");
        let (factor, derivatives) = match plain.as_str() {
            "m/s2" | "ms-2" | "m/s/s" => (1.0, 2),
            "mm/s2" => (1e-3, 2),
            "g" | "gn" | "g0" => (GRAVITY, 2),
            "mg" => (9.80665e-3, 2),
            "m/s" | "ms-1" => (1.0, 1),
            "mm/s" => (1e-3, 1),
            "um/s" => (1e-6, 1),
            "m" => (1.0, 0),
            "mm" => (1e-3, 0),
            "um" => (1e-6, 0),
            "nm" => (1e-9, 0),
            _ => return None,
        };
        Some(factor / omega.powi(derivatives))
    }
}

/// A record: channels of one length at one sample rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// The file as the user named it.
    pub file: String,
    /// Samples per second, Hz.
    pub sample_rate_hz: f64,
    /// Possible relative error of the sample rate.
    pub rate_error: f64,
    /// At least one, all of one length.
    pub channels: Vec<Channel>,
    /// Frequencies above this are not trusted, Hz: half the sample rate, or less where the
    /// samples were uneven and had to be interpolated.
    pub trusted_to_hz: f64,
    /// True for sound from a microphone, which picks up the room too.
    pub is_sound: bool,
    /// True for sound that was compressed by a lossy codec.
    pub is_lossy: bool,
    /// Indices of samples before which time is missing.
    pub gaps: Vec<usize>,
    /// Warnings from reading the file.
    pub notes: Vec<Problem>,
}

impl Record {
    /// Samples in each channel.
    pub fn len(&self) -> usize {
        self.channels.first().map_or(0, |channel| channel.samples.len())
    }

    /// True when there are no samples.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Length in time, s.
    pub fn duration_s(&self) -> f64 {
        self.len() as f64 / self.sample_rate_hz
    }
}

/// The error about a file of `bytes` bytes, more than [`MAX_BYTES`].
pub fn too_large(file: &str, bytes: u64) -> Problem {
    Problem::error(
        Place::file(file),
        format!("the file has {} MB; at most {} MB are read", bytes >> 20, MAX_BYTES >> 20),
    )
    .with_help("cut the record to the seconds around the taps")
}

/// The error about a record of `samples` samples; `None` when these are enough for a decay.
pub(super) fn too_short(file: &str, samples: usize) -> Option<Problem> {
    let message = format!("the record has {samples} samples; a decay needs at least 32");
    let problem = Problem::error(Place::file(file), message)
        .with_help("record from before the tap until it has died away");
    (samples < 32).then_some(problem)
}
