//! Makes a record from known modes: to test the reading, and to hear a design.
//!
//! ```text
//! x_c(t) = sum_m a_mc A_m(t - t0) cos(omega'_m (t - t0) + phase_m),   A(t) = exp(-sigma t)
//! with a loss that rises with amplitude, eta (1 + c A):   A(t) = exp(-sigma t) / (1 + c (1 - exp(-sigma t)))
//! ```
//!
//! The constant offset, noise, the limit of the sensor and its quantization follow.

use super::damping_measures::to_pole;
use super::record::{Channel, MAX_SAMPLES, Record};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::figures;

/// One mode of a synthetic record.
#[derive(Debug, Clone, PartialEq)]
pub struct SyntheticMode {
    /// Undamped frequency, Hz.
    pub frequency_hz: f64,
    /// Loss factor at vanishing amplitude.
    pub loss_factor: f64,
    /// Relative increase of the loss factor at the amplitude of a tap of strength 1.
    pub rise: f64,
    /// Amplitude in each channel after a tap of strength 1.
    pub amplitudes: Vec<f64>,
    /// Phase at the tap, rad.
    pub phase: f64,
}

/// One tap of a synthetic record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SyntheticTap {
    /// Time of the tap, s; negative when it is before the record.
    pub time_s: f64,
    /// Factor on all amplitudes.
    pub strength: f64,
}

/// What a synthetic record consists of.
#[derive(Debug, Clone, PartialEq)]
pub struct SyntheticRecord {
    /// Samples per second, Hz.
    pub sample_rate_hz: f64,
    /// Length, s.
    pub duration_s: f64,
    /// The modes.
    pub modes: Vec<SyntheticMode>,
    /// The taps.
    pub taps: Vec<SyntheticTap>,
    /// Root mean square of the white noise in each channel.
    pub noise: f64,
    /// Seed of the noise.
    pub seed: u64,
    /// Constant added to each channel, such as gravity.
    pub offset: f64,
    /// Largest magnitude that the sensor can show.
    pub limit: Option<f64>,
    /// Quantization step of the sensor.
    pub step: Option<f64>,
}

/// Makes a record.
///
/// ```
/// use stillbed_tap::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
///
/// let mode = SyntheticMode {
///     frequency_hz: 200.0,
///     loss_factor: 0.01,
///     rise: 0.0,
///     amplitudes: vec![1.0],
///     phase: 0.0,
/// };
/// let record = synthesise(&SyntheticRecord {
///     sample_rate_hz: 2000.0,
///     duration_s: 2.0,
///     modes: vec![mode],
///     taps: vec![SyntheticTap { time_s: 0.2, strength: 1.0 }],
///     noise: 1e-3,
///     seed: 1,
///     offset: 0.0,
///     limit: None,
///     step: None,
/// })?;
/// assert_eq!((record.len(), record.duration_s()), (4000, 2.0));
/// // Before the tap there is noise alone; after it the mode rings with its amplitude of 1.
/// let largest = |from: usize, to: usize| {
///     record.channels[0].samples[from..to].iter().fold(0.0_f64, |most, x| most.max(x.abs()))
/// };
/// assert!(largest(0, 400) < 0.01 && largest(400, 500) > 0.9);
/// # Ok::<(), Vec<stillbed_input::problem::Problem>>(())
/// ```
///
/// # Errors
/// When it would have no samples or more than [`MAX_SAMPLES`], no modes, modes with different
/// numbers of channels, or a mode with a frequency above half the sample rate or an invalid loss factor.
pub fn synthesise(recipe: &SyntheticRecord) -> Result<Record, Problems> {
    let stop = |key: &str, message: String, help: &str| {
        Err(Problems::from(Problem::error(Place::key(key), message).with_help(help.to_string())))
    };
    let samples = recipe.sample_rate_hz * recipe.duration_s;
    let channels = recipe.modes.first().map_or(0, |mode| mode.amplitudes.len());
    if channels == 0 || recipe.modes.iter().any(|mode| mode.amplitudes.len() != channels) {
        return stop(
            "modes",
            "no modes, or modes of different numbers of channels".into(),
            "give each mode one amplitude a channel",
        );
    }
    if !(samples >= 1.0 && samples * channels as f64 <= MAX_SAMPLES as f64) {
        return stop(
            "duration_s",
            format!(
                "{} s at {} Hz make no record",
                figures(recipe.duration_s, 3),
                figures(recipe.sample_rate_hz, 6)
            ),
            "between 1 sample and 8 million are made",
        );
    }
    for mode in &recipe.modes {
        let (f, eta) = (mode.frequency_hz, mode.loss_factor);
        if !(f > 0.0 && f < 0.5 * recipe.sample_rate_hz && (0.0..2.0).contains(&eta) && mode.rise >= 0.0) {
            return stop(
                "modes",
                format!("a mode of {} Hz and loss factor {}", figures(f, 4), figures(eta, 3)),
                "frequencies lie below half the sample rate, loss factors between 0 and 2",
            );
        }
    }
    let mut random = rand::rngs::StdRng::seed_from_u64(recipe.seed);
    let finish = |x: f64| {
        let x = recipe.limit.map_or(x, |limit| x.clamp(-limit, limit));
        recipe.step.map_or(x, |step| (x / step).round() * step)
    };
    let count = samples.round() as usize;
    let channels = (0..channels)
        .map(|c| {
            let mut x = vec![recipe.offset; count];
            for mode in &recipe.modes {
                for tap in &recipe.taps {
                    add_ring(&mut x, recipe.sample_rate_hz, mode, mode.amplitudes[c], tap);
                }
            }
            for x in &mut x {
                let noise: f64 = StandardNormal.sample(&mut random);
                *x = finish(*x + recipe.noise * noise);
            }
            Channel { name: format!("channel {}", c + 1), unit: String::new(), samples: x }
        })
        .collect();
    Ok(Record {
        file: "ring-down".into(),
        sample_rate_hz: recipe.sample_rate_hz,
        channels,
        rate_error: 0.0,
        trusted_to_hz: 0.5 * recipe.sample_rate_hz,
        is_sound: false,
        is_lossy: false,
        gaps: Vec::new(),
        notes: Vec::new(),
    })
}

fn add_ring(x: &mut [f64], rate_hz: f64, mode: &SyntheticMode, amplitude: f64, tap: &SyntheticTap) {
    let (decay, ringing) = to_pole(mode.frequency_hz, mode.loss_factor);
    let rise = mode.rise * tap.strength.abs();
    let first = (tap.time_s * rate_hz).ceil().max(0.0) as usize;
    for (n, x) in x.iter_mut().enumerate().skip(first) {
        let t = n as f64 / rate_hz - tap.time_s;
        let left = (-decay * t).exp();
        *x +=
            tap.strength * amplitude * left / (1.0 + rise * (1.0 - left)) * (ringing * t + mode.phase).cos();
    }
}

/// The record as CSV: a column of seconds, and one column per channel with seven decimals.
pub fn to_csv(record: &Record) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let title = |channel: &Channel| match channel.unit.as_str() {
        "" => channel.name.clone(),
        unit => format!("{} ({unit})", channel.name),
    };
    let head = std::iter::once("time (s)".to_string()).chain(record.channels.iter().map(title));
    let rows = (0..record.len()).map(|n| {
        let time = format!("{:.9}", n as f64 / record.sample_rate_hz);
        let samples = record.channels.iter().map(|channel| format!("{:.7e}", channel.samples[n]));
        std::iter::once(time).chain(samples).collect::<Vec<String>>()
    });
    // Writing to memory fails only for records of unequal length, which a record cannot have.
    let written = std::iter::once(head.collect()).chain(rows).try_for_each(|row| writer.write_record(row));
    let bytes = written.ok().and_then(|()| writer.into_inner().ok()).unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// The record as the bytes of a 16-bit wave file, its largest sample at nine tenths of full scale.
///
/// # Errors
/// When the sample rate is no whole number that a wave file can state, or there are too many channels.
pub fn to_wav(record: &Record) -> Result<Vec<u8>, Problems> {
    let rate = record.sample_rate_hz.round();
    let stop = |message: String| {
        vec![
            Problem::error(Place::key("sample_rate_hz"), message)
                .with_help("a wave file states whole hertz from 1 to 4294967295 and up to 65535 channels"),
        ]
    };
    let channels = u16::try_from(record.channels.len());
    let (Ok(channels), true) =
        (channels, rate == record.sample_rate_hz && (1.0..=4294967295.0).contains(&rate))
    else {
        return Err(stop(format!(
            "{} Hz and {} channels do not fit a wave file",
            figures(record.sample_rate_hz, 9),
            record.channels.len()
        ))
        .into());
    };
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let samples = || record.channels.iter().flat_map(|channel| &channel.samples);
    let largest = samples().fold(0.0, |most: f64, x| most.max(x.abs()));
    let scale = if largest > 0.0 { 0.9 * 32767.0 / largest } else { 0.0 };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let write = || -> Result<(), hound::Error> {
        let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
        for n in 0..record.len() {
            for channel in &record.channels {
                writer.write_sample((channel.samples[n] * scale).round() as i16)?;
            }
        }
        writer.finalize()
    };
    let mut write = write;
    write().map_err(|e| stop(format!("the wave file was not written: {e}")))?;
    Ok(bytes.into_inner())
}

#[cfg(test)]
mod tests {
    use super::super::import::read_record;
    use super::super::record::RecordOptions;
    use super::*;

    fn recipe() -> SyntheticRecord {
        SyntheticRecord {
            sample_rate_hz: 2000.0,
            duration_s: 0.5,
            modes: vec![SyntheticMode {
                frequency_hz: 100.0,
                loss_factor: 0.02,
                rise: 0.0,
                amplitudes: vec![1.0, -0.5],
                phase: 0.0,
            }],
            taps: vec![SyntheticTap { time_s: 0.1, strength: 2.0 }],
            noise: 0.01,
            seed: 5,
            offset: 0.0,
            limit: Some(1.5),
            step: None,
        }
    }

    #[test]
    fn a_seed_makes_one_record() {
        let one = synthesise(&recipe()).unwrap();
        assert_eq!(one, synthesise(&recipe()).unwrap());
        assert_ne!(one, synthesise(&SyntheticRecord { seed: 6, ..recipe() }).unwrap());
        assert_eq!(one.channels[0].samples[200], 1.5);
        assert!(one.channels[0].samples[..200].iter().all(|x| x.abs() < 0.06));
    }

    #[test]
    fn both_files_read_back() {
        let record = synthesise(&recipe()).unwrap();
        let table = read_record("a.csv", to_csv(&record).as_bytes(), &RecordOptions::default()).unwrap();
        approx::assert_relative_eq!(table.sample_rate_hz, 2000.0, max_relative = 1e-9);
        let wave = read_record("a.wav", &to_wav(&record).unwrap(), &RecordOptions::default()).unwrap();
        assert_eq!(wave.sample_rate_hz, 2000.0);
        for n in 0..record.len() {
            let x = record.channels[1].samples[n];
            assert!((table.channels[1].samples[n] - x).abs() < 1e-6);
            assert!((wave.channels[1].samples[n] * 1.5 / 0.9 - x).abs() < 1e-4);
        }
    }

    #[test]
    fn a_blind_sample_rate_is_refused() {
        let mut recipe = recipe();
        recipe.modes[0].frequency_hz = 1001.0;
        assert!(synthesise(&recipe).is_err());
        recipe.duration_s = f64::NAN;
        assert!(synthesise(&recipe).is_err());
    }
}
