//! What does the tap sound like? The motion of each build as samples of a sound file.
//!
//! The samples are the motion itself, neither shifted in pitch nor faded: it starts from rest and ends when a
//! sample would be silent. All builds share one level scale, so louder means more motion. A motion whose
//! largest component is below 40 Hz is hardly audible at any level.

use super::settle::FreeDecay;
use serde::Serialize;
use std::f64::consts::TAU;
use std::io::Cursor;

/// Samples per second.
pub const SAMPLE_RATE: u32 = 44_100;

/// The loudest sample as a fraction of the largest 16-bit number.
const LEVEL: f64 = 0.9;

/// Longest sound of one tap, s.
const LONGEST: f64 = 12.0;

/// Silence between two taps, s.
const PAUSE: f64 = 0.4;

/// Modes above this are left out, since a sample rate of 44,100 Hz cannot carry them, Hz.
const HIGHEST: f64 = 20_000.0;

/// A tone below this is hardly audible, Hz (common practice).
const LOWEST_HEARD: f64 = 40.0;

/// One tap in the sound.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SoundedTap {
    /// Where it starts, s.
    pub start_s: f64,
    /// How long it lasts, s.
    pub length_s: f64,
    /// Frequency of the largest component of the motion at the start, Hz; `None` when nothing moves.
    pub loudest_hz: Option<f64>,
    /// False when that is too low to be heard, or when nothing moves.
    pub heard: bool,
    /// True when the motion lasts longer than what is played.
    pub cut_off: bool,
}

/// The taps of all builds, one after another.
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// A WAV file: one channel, 16 bits, 44,100 samples a second.
    pub wav: Vec<u8>,
    /// One for each build.
    pub taps: Vec<SoundedTap>,
    /// Motion that corresponds to the largest 16-bit number, m.
    pub full_scale_m: f64,
}

/// The sound of the motions `taps`, each a decay and the index of its observed station to be played.
///
/// # Errors
/// When nothing moves at any of them, or the file cannot be composed.
pub fn sound(taps: &[(FreeDecay, usize)]) -> Result<Sound, String> {
    let heard: Vec<(FreeDecay, usize)> =
        taps.iter().map(|(decay, j)| (decay.below(TAU * HIGHEST), *j)).collect();
    let step = 1.0 / f64::from(SAMPLE_RATE);
    let loudest = heard.iter().map(|(decay, j)| largest_sample(decay, *j, step)).fold(0.0, f64::max);
    if loudest <= 0.0 {
        return Err("nothing moves below 20 kHz after this tap; strike or watch another point".to_string());
    }
    let full_scale = loudest / LEVEL;
    let silent = 0.5 * full_scale / f64::from(i16::MAX);
    let mut samples: Vec<i16> = Vec::new();
    let mut sounded = Vec::new();
    for (i, (decay, j)) in heard.iter().enumerate() {
        if i > 0 {
            samples.resize(samples.len() + (PAUSE / step) as usize, 0);
        }
        let start_s = samples.len() as f64 * step;
        let (played, cut_off) = play(decay, *j, step, silent);
        let scaled = played.iter().map(|x| (x / full_scale * f64::from(i16::MAX)).round() as i16);
        samples.extend(scaled);
        let loudest_hz = loudest_line(decay);
        sounded.push(SoundedTap {
            start_s,
            length_s: played.len() as f64 * step,
            loudest_hz,
            heard: loudest_hz.is_some_and(|f| f >= LOWEST_HEARD),
            cut_off,
        });
    }
    Ok(Sound { wav: compose(&samples)?, taps: sounded, full_scale_m: full_scale })
}

/// The largest sample of the motion, m; the search ends when no later sample can be larger.
fn largest_sample(decay: &FreeDecay, j: usize, step: f64) -> f64 {
    let mut largest = 0.0f64;
    for i in 0..(LONGEST / step) as usize {
        let time = i as f64 * step;
        if decay.bound(time) <= largest {
            break;
        }
        largest = largest.max(decay.motion(j, time).abs());
    }
    largest
}

/// The samples, m, until the motion stays silent, and whether it was cut off at the longest length. A motion
/// that is cut off ends at its last change of sign, near zero.
fn play(decay: &FreeDecay, j: usize, step: f64, silent: f64) -> (Vec<f64>, bool) {
    let mut played = Vec::new();
    for i in 0..(LONGEST / step) as usize {
        let time = i as f64 * step;
        if decay.bound(time) < silent {
            return (played, false);
        }
        played.push(decay.motion(j, time));
    }
    let last = played.windows(2).rposition(|w| (w[0] > 0.0) != (w[1] > 0.0));
    played.truncate(last.map_or(played.len(), |i| i + 1));
    (played, true)
}

fn loudest_line(decay: &FreeDecay) -> Option<f64> {
    let lines = decay.lines();
    let loudest = lines.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(loudest.0 / TAU)
}

fn compose(samples: &[i16]) -> Result<Vec<u8>, String> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Vec::with_capacity(2 * samples.len() + 64);
    let failed = |e: hound::Error| format!("the sound cannot be composed: {e}");
    let mut writer = hound::WavWriter::new(Cursor::new(&mut bytes), spec).map_err(failed)?;
    for sample in samples {
        writer.write_sample(*sample).map_err(failed)?;
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::super::modal::tests::single;
    use super::super::modal::{ModalMode, ModalModel};
    use super::*;

    fn tap(frequency: f64, loss_factor: f64, shape: f64) -> (FreeDecay, usize) {
        let mode = ModalMode::real(TAU * frequency, loss_factor, &[shape]);
        (FreeDecay::after_impulse(&ModalModel::complete(vec![mode], 1).unwrap(), 0, &[0], 0.2), 0)
    }

    fn samples(sound: &Sound) -> Vec<i16> {
        let mut reader = hound::WavReader::new(Cursor::new(&sound.wav)).unwrap();
        assert_eq!((reader.spec().channels, reader.spec().sample_rate), (1, SAMPLE_RATE));
        reader.samples::<i16>().map(Result::unwrap).collect()
    }

    #[test]
    fn the_file_holds_the_motion() {
        let decay = FreeDecay::after_impulse(&single(1e7, 40.0, 0.02), 0, &[0], 0.2);
        let sound = sound(&[(decay.clone(), 0)]).unwrap();
        let samples = samples(&sound);
        assert_eq!(samples[0], 0);
        assert_eq!(samples.iter().map(|s| s.abs()).max(), Some((0.9 * 32767f64).round() as i16));
        for i in [100, 2000, 9000] {
            let motion = decay.motion(0, i as f64 / 44_100.0);
            let sample = f64::from(samples[i]) * sound.full_scale_m / 32767.0;
            assert!((sample - motion).abs() <= 0.51 * sound.full_scale_m / 32767.0);
        }
        // The motion decays at 5 1/s from its first peak, a quarter of a period after the tap, to half a
        // step: a factor of 2 x 0.9 x 32767 = 58981.
        let length = 58_981f64.ln() / 5.0 + 0.003;
        approx::assert_relative_eq!(sound.taps[0].length_s, length, max_relative = 1e-3);
        assert!(samples.last().unwrap().abs() <= 1 && !sound.taps[0].cut_off);
    }

    #[test]
    fn builds_share_one_scale_and_low_tones_are_named() {
        let both = sound(&[tap(200.0, 0.1, 0.2), tap(20.0, 0.1, 0.02)]).unwrap();
        assert!(both.taps[0].heard && !both.taps[1].heard);
        approx::assert_relative_eq!(both.taps[1].loudest_hz.unwrap(), 20.0, max_relative = 0.01);
        let start = (both.taps[1].start_s * 44_100.0).round() as usize;
        let samples = samples(&both);
        let quiet = samples[start..].iter().map(|s| s.abs()).max().unwrap();
        // The squared shape is a hundredth and the period ten times as long: a tenth of the motion.
        assert!((2000..3500).contains(&quiet), "{quiet}");
        assert!(samples[start - 10_000..start].iter().all(|s| *s == 0));
    }

    #[test]
    fn an_endless_tone_ends_at_a_change_of_sign() {
        let endless = sound(&[tap(200.0, 0.0, 0.2)]).unwrap();
        assert!(endless.taps[0].cut_off);
        let samples = samples(&endless);
        assert!(i32::from(samples.last().unwrap().abs()) < 29_490 / 25);
    }

    #[test]
    fn silence_is_refused() {
        assert!(sound(&[tap(30_000.0, 0.1, 1.0)]).unwrap_err().contains("nothing moves"));
        assert!(sound(&[]).is_err());
    }
}
