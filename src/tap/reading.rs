//! The whole reading of one record: which modes ring, how fast they decay, and how far to trust that.
//!
//! Finds the taps, identifies the modes after them, drops lines that are no modes, and states the rest
//! with limits and warnings.

use super::background_tone::Background;
use super::doubtful_losses::{Circumstances, Doubt, doubt};
use super::identify::{Mode, Segment, identify};
use super::measured_mode::{MeasuredMode, Setting, state};
use super::noise_floor::{median, noise};
use super::record::{Record, too_short};
use super::recorder_gain::{Gain, gain, hiss};
use super::rejected_lines::{RejectedLine, SortedLines, reject_lines, strength};
use super::reverberation::{Room, room};
use super::spectrum::{self, Spectrum};
use super::stray_taps::without_stray;
use super::tap_detection::{self, Tap};
use super::{second_hits, warnings};
use serde::Serialize;
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::Spread;

/// How a record is to be listened to.
#[derive(Debug, Clone, Copy, Default)]
pub struct ReadingOptions {
    /// Frequency range to read, Hz; by default all that the record can show.
    pub range_hz: Option<(f64, f64)>,
    /// Time constant of a window exp(-t / tau) that the recorder applied, s.
    pub window_s: Option<f64>,
    /// The recorder is known not to turn its gain by itself.
    pub fixed_gain: bool,
}

/// One tap as it was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DetectedTap {
    /// When it was hit, s from the start of the record.
    pub time_s: f64,
    /// How long it can be listened to, s.
    pub length_s: f64,
    /// Level of its peak over the noise floor, dB.
    pub over_noise_db: f64,
    /// How often it was hit.
    pub hits: usize,
    /// Clipped samples.
    pub clipped: usize,
    /// True when the modes were read from it.
    pub used: bool,
}

/// The result of reading a record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TapReading {
    /// The record as the user named it.
    pub record: String,
    /// Hz.
    pub sample_rate_hz: f64,
    /// s.
    pub duration_s: f64,
    /// Names of the channels.
    pub channels: Vec<String>,
    /// The taps in it.
    pub taps: Vec<DetectedTap>,
    /// The modes, by rising frequency.
    pub modes: Vec<MeasuredMode>,
    /// Lines that were not taken for modes, and why.
    pub dropped: Vec<RejectedLine>,
    /// The averaged spectrum.
    pub spectrum: Spectrum,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// Largest number of modes that are stated.
const MOST_MODES: usize = 40;
/// A record that is trusted below this part of its sample rate was interpolated.
const INTERPOLATED: f64 = 0.45;
/// Longest stretch of one tap that is listened to, s.
const LONGEST: f64 = 12.0;

/// Reads the modes of `record`.
///
/// ```
/// use stillbed_tap::{ReadingOptions, SyntheticMode, SyntheticRecord, SyntheticTap, read_taps, synthesise};
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
/// let reading = read_taps(&record, &ReadingOptions::default())?;
/// let frequency = reading.modes[0].frequency_hz;
/// assert!(frequency.low < 200.0 && 200.0 < frequency.high);
/// # Ok::<(), Vec<stillbed_input::problem::Problem>>(())
/// ```
///
/// # Errors
/// When the record is too short or `listen` invalid, when no tap rises out of the noise, when no tap is
/// long enough, or when nothing rings after the taps.
pub fn read_taps(record: &Record, listen: &ReadingOptions) -> Result<TapReading, Problems> {
    let place = || Place::file(&record.file);
    check(record, listen)?;
    let rate = record.sample_rate_hz;
    let mut clipped = vec![false; record.len()];
    let mut levels = Vec::new();
    let channels: Vec<Vec<f64>> = record
        .channels
        .iter()
        .map(|channel| {
            let marks = tap_detection::clipping(&channel.samples);
            clipped.iter_mut().zip(marks).for_each(|(all, own)| *all |= own);
            let middle = median(&channel.samples);
            let level = noise(&channel.samples, rate);
            levels.push(level);
            channel.samples.iter().map(|x| (x - middle) / level).collect()
        })
        .collect();
    let mut taps = tap_detection::find(&channels, rate, &clipped, &record.gaps);
    if taps.is_empty() {
        return Err(Problems::from(
            Problem::error(place(), "no tap is heard: the level never rises out of the noise")
                .with_help("tap harder, with the sensor firmly on the part, and record from before the tap"),
        ));
    }
    let least = ((0.03 * rate) as usize).max(32);
    let long_enough = |tap: &Tap| tap.end.saturating_sub(tap.free) >= least;
    let calm = |tap: &Tap| tap.hits <= 6;
    let mut used: Vec<usize> =
        (0..taps.len()).filter(|i| long_enough(&taps[*i]) && calm(&taps[*i])).collect();
    if used.is_empty() {
        used = (0..taps.len()).filter(|i| long_enough(&taps[*i])).collect();
    }
    if used.is_empty() {
        let longest = taps.iter().map(|tap| tap.end.saturating_sub(tap.free)).max().unwrap_or(0);
        return Err(Problems::from(
            Problem::error(
                place(),
                format!("the longest tap can be listened to for {longest} samples; {least} are needed"),
            )
            .with_help("leave a second or more between taps, and stop the record after the ring has died"),
        ));
    }
    let range = listen.range_hz.unwrap_or((0.0, f64::MAX));
    let mut heard = listen_to(record, &channels, &taps, &used, range);
    if let Some(fewer) = second_hits::fewer(&heard.0, &channels, &taps, &used, rate) {
        taps = fewer;
        heard = listen_to(record, &channels, &taps, &used, range);
    }
    if !record.is_sound
        && let Some(late) = second_hits::behind_a_bounce(&heard.0, &channels, &taps, &used, rate)
    {
        let (modes, ..) = listen_to(record, &channels, &late, &used, range);
        if let Some(more) = second_hits::more(&modes, &channels, &taps, &late, rate) {
            taps = more;
            heard = listen_to(record, &channels, &taps, &used, range);
        }
    }
    let (mut modes, explained, mut rest) = heard;
    // A tap that the common modes do not explain is speech, handling or the ring of another part.
    let best = explained.iter().copied().fold(0.0, f64::max);
    let kept: Vec<usize> =
        used.iter().zip(&explained).filter(|(_, share)| **share >= 0.4 * best).map(|(i, _)| *i).collect();
    let kept = without_stray(&modes, if best > 0.3 { &kept } else { &used });
    if kept.len() < used.len() {
        used = kept;
        (modes, _, rest) = listen_to(record, &channels, &taps, &used, range);
    }
    let mut notes = record.notes.clone();
    notes.extend(warnings::of_record(record, &channels, &taps, &used));
    let background = Background::new(&channels, &taps, &modes, rate);
    let poor = warnings::is_poor(record, &taps);
    let SortedLines { mut modes, dropped, room: lines, overdriven } =
        reject_lines(modes, &background, poor, record.is_sound);
    let (top, top_decay) = modes.first().map_or((0.0, 0.0), |mode| (strength(mode), mode.decay));
    modes.truncate(MOST_MODES);
    if modes.is_empty() {
        notes.push(warnings::nothing_rings(record, &channels, &taps, &used));
        return Err(notes.into());
    }
    modes.sort_by(|a, b| a.ringing.total_cmp(&b.ringing));
    let window = warnings::window(record, rest.fading, listen.window_s, &mut notes);
    let gain = match listen.fixed_gain {
        true => Gain::Constant,
        false => gain(record, &channels, &levels, &taps, &rest.hiss),
    };
    notes.extend(warnings::of_gain(record, gain));
    let room = rest.room.or(lines);
    // The lines that faults add are weak.
    let bends = modes.iter().any(|mode| !mode.curve.is_empty());
    let circumstances = Circumstances {
        faulty: poor || overdriven || bends || matches!(gain, Gain::Rises(_)) || room.is_some(),
        untold_gain: gain == Gain::Unknown,
        is_sound: record.is_sound,
        uneven: record.trusted_to_hz < INTERPOLATED * rate,
        once: used.len() == 1,
    };
    let doubts: Vec<Option<Doubt>> = modes.iter().map(|mode| doubt(mode, &modes, &circumstances)).collect();
    let saturated = overdriven || taps.iter().any(|tap| tap.clipped > 0);
    let setting = Setting { record, levels: &levels, top, window, gain, top_decay, room, saturated };
    let stated: Vec<MeasuredMode> =
        modes.iter().zip(&doubts).map(|(mode, doubt)| state(mode, &setting, doubt.is_some())).collect();
    if let Some(room) = &room {
        let hidden = modes.iter().filter(|mode| room.hides(mode.decay));
        let hidden: Vec<f64> = hidden.map(|mode| mode.ringing / std::f64::consts::TAU).collect();
        notes.push(warnings::of_room(record, room, &hidden));
    }
    notes.extend(warnings::of_background(record, &dropped));
    notes.extend(warnings::of_modes(record, &stated, &doubts));
    let signals: Vec<&[f64]> = used
        .iter()
        .flat_map(|i| {
            channels.iter().map(|x| &x[taps[*i].free..taps[*i].end.min(taps[*i].free + longest(rate))])
        })
        .collect();
    let highest = modes.last().map_or(0.5 * rate, |mode| mode.ringing / std::f64::consts::TAU);
    let heard = taps.iter().enumerate().map(|(i, tap)| DetectedTap {
        time_s: tap.last as f64 / rate,
        length_s: tap.end.saturating_sub(tap.free) as f64 / rate,
        over_noise_db: 10.0 * (tap.strength / channels.len() as f64).max(1e-12).log10(),
        hits: tap.hits,
        clipped: tap.clipped,
        used: used.contains(&i),
    });
    Ok(TapReading {
        record: record.file.clone(),
        sample_rate_hz: rate,
        duration_s: record.duration_s(),
        channels: record.channels.iter().map(|channel| channel.name.clone()).collect(),
        taps: heard.collect(),
        modes: stated,
        dropped,
        spectrum: spectrum::shown(&signals, rate, (1.5 * highest).min(0.5 * rate), 600),
        notes,
    })
}

/// Refuses a record that is too short, and an invalid range or window.
fn check(record: &Record, listen: &ReadingOptions) -> Result<(), Problems> {
    if let Some(problem) = too_short(&record.file, record.len()) {
        return Err(Problems::from(problem));
    }
    let mut problems = Vec::new();
    if let Some((low, high)) = listen.range_hz
        && !(low >= 0.0 && high > low)
    {
        let message = format!("the range from {low} to {high} Hz");
        problems.push(
            Problem::error(Place::key("range"), message)
                .with_help("state two frequencies, the smaller first"),
        );
    }
    if let Some(tau) = listen.window_s
        && !(tau > 0.0 && tau.is_finite())
    {
        let message = format!("a window of time constant {tau} s");
        problems.push(Problem::error(Place::key("window"), message).with_help("state a positive time"));
    }
    if problems.is_empty() { Ok(()) } else { Err(problems.into()) }
}

fn longest(rate_hz: f64) -> usize {
    (LONGEST * rate_hz) as usize
}

/// What the residual shows when the modes are subtracted.
struct Rest {
    /// Time constant of a recorder's window, if the residual decays under one.
    fading: Option<Spread>,
    /// The room, if its reverberation is heard.
    room: Option<Room>,
    /// Power of its hiss frame after frame, by tap and channel.
    hiss: Vec<Vec<f64>>,
}

/// The modes of the taps `used`, the share of each tap's energy that they explain, and what the residual
/// shows.
fn listen_to(
    record: &Record,
    channels: &[Vec<f64>],
    taps: &[Tap],
    used: &[usize],
    range_hz: (f64, f64),
) -> (Vec<Mode>, Vec<f64>, Rest) {
    let rate = record.sample_rate_hz;
    let mut segments = Vec::new();
    for i in used {
        let tap = &taps[*i];
        for (channel, x) in channels.iter().enumerate() {
            let from = if tap.begun { tap.free } else { tap.last };
            let to = tap.end.min(from + longest(rate));
            segments.push(Segment {
                tap: *i,
                channel,
                samples: x[from..to].to_vec(),
                free: tap.free - from,
                begun: tap.begun,
            });
        }
    }
    let longest = segments.iter().map(|s| s.samples.len()).max().unwrap_or(1) as f64 / rate;
    let range = (range_hz.0.max(3.0 / longest), range_hz.1.min(record.trusted_to_hz.min(0.47 * rate)));
    // Energies are taken after the impact, during which the part does not yet ring freely.
    let blow = ((0.002 * rate) as usize).max(1);
    let energies = |segments: &[Segment]| -> Vec<f64> {
        let energy = |tap: usize| {
            let own = segments.iter().filter(|segment| segment.tap == tap);
            own.map(|segment| {
                let from = (segment.free + blow).min(segment.samples.len());
                segment.samples[from..].iter().map(|x| x * x).sum::<f64>()
            })
            .sum()
        };
        used.iter().map(|tap| energy(*tap)).collect()
    };
    let before = energies(&segments);
    let mut modes: Vec<Mode> = Vec::new();
    for (pass, most) in [24, 16].into_iter().enumerate() {
        // The residual of the first pass contains the impact itself, whose spectrum is broad.
        let skip = if pass == 0 { 0 } else { ((0.0007 * rate) as usize).max(2) };
        let from = |s: &Segment| (s.free + skip).min(s.samples.len());
        let signals: Vec<&[f64]> = segments.iter().map(|s| &s.samples[from(s)..]).collect();
        let peaks = spectrum::peaks(&signals, rate, range, most);
        let mut found = Vec::new();
        for mode in identify(&mut segments, rate, &peaks) {
            // Near a mode of the first pass, the second pass would find the residual of that mode.
            let near = |other: &Mode| other.apart(mode.ringing) < 1.5 * mode.decay.max(other.decay);
            if pass == 0 || !modes.iter().any(near) {
                found.push(mode);
            }
        }
        modes.append(&mut found);
    }
    let share =
        energies(&segments).iter().zip(&before).map(|(after, all)| 1.0 - after / all.max(1e-300)).collect();
    let rests: Vec<&[f64]> = segments.iter().map(|s| &s.samples[s.free..]).collect();
    let behind: Vec<(usize, usize)> = used.iter().map(|i| (taps[*i].free, taps[*i].end)).collect();
    let wholes: Vec<&[f64]> =
        behind.iter().flat_map(|(from, to)| channels.iter().map(|x| &x[*from..*to])).collect();
    let room = room(&rests, &wholes, before_first(channels, taps, rate), rate);
    let fading = if room.is_some() { None } else { warnings::fading(&rests, rate) };
    let hiss = rests.iter().map(|rest| hiss(rest, rate)).collect();
    (modes, share, Rest { fading, room, hiss })
}

/// Mean square before the first tap, where the record is long enough there.
fn before_first(channels: &[Vec<f64>], taps: &[Tap], rate_hz: f64) -> Option<f64> {
    let first = taps.first().filter(|tap| !tap.begun)?.first;
    let to = first.checked_sub((0.01 * rate_hz) as usize).filter(|to| *to > 64)?;
    let square = |x: &Vec<f64>| x[..to].iter().map(|x| x * x).sum::<f64>() / to as f64;
    Some(channels.iter().map(square).sum::<f64>() / channels.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::super::amplitude_trend::TrendVerdict;
    use super::super::record::Channel;
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};
    use super::*;

    fn recipe(modes: &[(f64, f64, f64)]) -> SyntheticRecord {
        let ring = |(frequency_hz, loss_factor, amplitude): &(f64, f64, f64)| SyntheticMode {
            frequency_hz: *frequency_hz,
            loss_factor: *loss_factor,
            rise: 0.0,
            amplitudes: vec![*amplitude],
            phase: 0.0,
        };
        SyntheticRecord {
            sample_rate_hz: 2000.0,
            duration_s: 3.0,
            modes: modes.iter().map(ring).collect(),
            taps: vec![
                SyntheticTap { time_s: 0.3, strength: 1.0 },
                SyntheticTap { time_s: 1.6, strength: 0.7 },
            ],
            noise: 1e-3,
            seed: 11,
            offset: 9.81,
            limit: None,
            step: None,
        }
    }

    fn listened(recipe: &SyntheticRecord) -> TapReading {
        read_taps(&synthesise(recipe).unwrap(), &ReadingOptions::default()).unwrap()
    }

    fn holds(spread: Spread, value: f64) -> bool {
        spread.low <= value && value <= spread.high
    }

    #[test]
    fn what_made_the_record_is_read_back() {
        let modes = [(118.0, 0.02, 1.0), (124.0, 0.015, 0.6), (310.0, 0.01, 0.5)];
        let reading = listened(&recipe(&modes));
        assert_eq!((reading.taps.len(), reading.modes.len()), (2, 3));
        for (mode, (f, eta, _)) in reading.modes.iter().zip(modes) {
            assert!(holds(mode.frequency_hz, f), "{f}: {:?}", mode.frequency_hz);
            assert!(holds(mode.loss_factor.unwrap(), eta), "{eta}: {:?}", mode.loss_factor);
            assert_eq!(mode.amplitude_trend.verdict, TrendVerdict::None);
        }
    }

    #[test]
    fn a_damping_that_rises_with_amplitude_is_told() {
        let mut recipe = recipe(&[(150.0, 0.01, 1.0)]);
        recipe.modes[0].rise = 2.0;
        let mode = &listened(&recipe).modes[0];
        assert_eq!(mode.amplitude_trend.verdict, TrendVerdict::Rises);
        assert!(mode.amplitude_trend.per_decade.unwrap().low > 0.0);
    }

    #[test]
    fn a_damping_that_cannot_be_resolved_is_bounded() {
        let mut recipe = recipe(&[(200.0, 2e-5, 1.0)]);
        recipe.taps.truncate(1);
        recipe.duration_s = 1.0;
        recipe.noise = 0.05;
        let reading = listened(&recipe);
        let mode = &reading.modes[0];
        assert!(mode.loss_factor.is_none() && mode.decay.is_none());
        assert!((2e-5..5e-3).contains(&mode.loss_factor_at_most.unwrap()));
        assert!(reading.notes.iter().any(|note| note.message.contains("cannot resolve the damping")));
    }

    #[test]
    fn hum_is_no_mode() {
        let mut record = synthesise(&recipe(&[(180.0, 0.02, 1.0)])).unwrap();
        for (n, x) in record.channels[0].samples.iter_mut().enumerate() {
            *x += 0.05 * (std::f64::consts::TAU * 50.0 * n as f64 / 2000.0).sin();
        }
        let reading = read_taps(&record, &ReadingOptions::default()).unwrap();
        assert_eq!(reading.modes.len(), 1);
        assert!(reading.notes.iter().any(|note| note.message.contains("mains hum")));
    }

    #[test]
    fn a_window_is_taken_out_whether_stated_or_not() {
        let mut recipe = recipe(&[(120.0, 0.008, 1.0), (260.0, 0.01, 0.7)]);
        recipe.taps = vec![SyntheticTap { time_s: 0.0, strength: 1.0 }];
        recipe.duration_s = 1.0;
        let mut record = synthesise(&recipe).unwrap();
        let x = &mut record.channels[0].samples;
        x.iter_mut().enumerate().for_each(|(n, x)| *x = (*x - 9.81) * (-(n as f64) / 2000.0 / 0.15).exp());
        for window_s in [Some(0.15), None] {
            let reading =
                read_taps(&record, &ReadingOptions { window_s, ..ReadingOptions::default() }).unwrap();
            for (mode, eta) in reading.modes.iter().zip([0.008, 0.01]) {
                let told = mode.loss_factor.map_or(mode.loss_factor_at_most.unwrap_or(0.0), |loss| loss.high);
                assert!(told < 0.02 && told > eta, "{window_s:?}: {:?} {told}", mode.loss_factor);
            }
            let noted = reading.notes.iter().any(|note| note.message.contains("exp(-t /"));
            assert_eq!(noted, window_s.is_none());
        }
    }

    #[test]
    fn several_channels_give_the_shape() {
        let mut recipe = recipe(&[(90.0, 0.02, 1.0), (240.0, 0.02, 1.0)]);
        recipe.modes[0].amplitudes = vec![1.0, 0.5, -0.25];
        recipe.modes[1].amplitudes = vec![0.4, -0.8, 0.2];
        let reading = listened(&recipe);
        let shape: Vec<f64> = reading.modes[1].shape.iter().map(|part| part.value).collect();
        for (got, want) in shape.iter().zip([-0.5, 1.0, -0.25]) {
            assert!((got - want).abs() < 0.02, "{shape:?}");
        }
    }

    #[test]
    fn odd_signals_give_finite_answers_or_none() {
        let signals: [&dyn Fn(usize) -> f64; 9] = [
            &|n| f64::from(u8::from(n == 300)),
            &|n| f64::from(u8::from(n > 300)),
            &|n| n as f64,
            &|n| if n % 2 == 0 { 1.0 } else { -1.0 },
            &|n| (0.3 * n as f64).sin(),
            &|n| if n < 300 { 0.0 } else { (0.3 * (n - 300) as f64).sin() * 1e29 },
            &|n| if n < 300 { 0.0 } else { (0.3 * (n - 300) as f64).sin() * 1e-29 },
            &|n| if n < 300 { 0.0 } else { (0.002 * (n - 300) as f64).exp() * (0.5 * n as f64).cos() },
            &|n| if n < 300 { 0.0 } else { (-0.5 * (n - 300) as f64).exp() },
        ];
        for (i, signal) in signals.iter().enumerate() {
            for count in [32, 100, 1000, 5000] {
                let record = Record {
                    file: "odd".into(),
                    sample_rate_hz: 1000.0,
                    channels: vec![Channel {
                        name: "x".into(),
                        unit: String::new(),
                        samples: (0..count).map(signal).collect(),
                    }],
                    rate_error: 0.0,
                    trusted_to_hz: 500.0,
                    is_sound: false,
                    is_lossy: false,
                    gaps: Vec::new(),
                    notes: Vec::new(),
                };
                let Ok(reading) = read_taps(&record, &ReadingOptions::default()) else { continue };
                for mode in &reading.modes {
                    let f = mode.frequency_hz;
                    let finite = [f.value, f.low, f.high, mode.level_db].iter().all(|x| x.is_finite());
                    let loss = mode.loss_factor.map_or(mode.loss_factor_at_most, |loss| Some(loss.value));
                    assert!(finite && loss.is_some_and(f64::is_finite), "signal {i} of {count}: {mode:?}");
                }
            }
        }
    }

    #[test]
    fn noise_and_silence_are_refused() {
        let mut recipe = recipe(&[(90.0, 0.02, 0.0)]);
        recipe.noise = 1.0;
        let problems = read_taps(&synthesise(&recipe).unwrap(), &ReadingOptions::default()).unwrap_err();
        assert!(problems[0].message.contains("no tap is heard"), "{problems:?}");
    }
}
