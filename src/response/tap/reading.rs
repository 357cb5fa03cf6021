//! The answer: what rang, how fast it died, and whether that can be trusted.

use super::decay::{Decay, from_pole, without_window};
use super::events::{self, Tap};
use super::halfpower::{HalfPower, half_power};
use super::identify::{Mode, Segment, identify};
use super::quiet::{median, noise};
use super::record::{Record, too_short};
use super::reverberation::{Room, room};
use super::spectrum::{self, Spectrum};
use super::trend::{AmplitudeTrend, Verdict, trend};
use super::{COVERAGE, background_tone, cautions, limits};
use crate::problem::{Place, Problem};
use crate::quantity::Spread;
use num_complex::Complex64;
use serde::Serialize;

/// How a record is to be listened to.
#[derive(Debug, Clone, Copy, Default)]
pub struct Listen {
    /// Frequencies to look at, Hz; by default all that the record can show.
    pub range_hz: Option<(f64, f64)>,
    /// Time constant of a window exp(-t / tau) that the recorder laid over the record, s.
    pub window_s: Option<f64>,
}

/// One tap as it was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Heard {
    /// When it was hit, s from the start of the record.
    pub time_s: f64,
    /// How long it can be listened to, s.
    pub length_s: f64,
    /// Level of its peak over the noise, dB.
    pub over_noise_db: f64,
    /// How often it was hit.
    pub hits: usize,
    /// Samples at the sensor's limit.
    pub clipped: usize,
    /// True when it was read for the modes.
    pub used: bool,
}

/// The part of one channel in a mode.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShapePart {
    /// Name of the channel.
    pub channel: String,
    /// Its motion over that of the channel that moves most, with its sign.
    pub value: f64,
    /// What of it is a quarter of a cycle out of step.
    pub out_of_step: f64,
}

/// One mode as the record shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadMode {
    /// Undamped natural frequency.
    pub frequency_hz: Spread,
    /// Loss factor; `None` when the record cannot resolve it.
    pub loss_factor: Option<Spread>,
    /// What it is at most, where it cannot be resolved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss_factor_at_most: Option<f64>,
    /// The same damping by its other names.
    pub decay: Option<Decay>,
    /// How the loss factor depends on amplitude.
    pub amplitude_trend: AmplitudeTrend,
    /// The reading from the width of its peak.
    pub half_power: HalfPower,
    /// Level where the reading begins, under the strongest mode, dB.
    pub level_db: f64,
    /// Time that was listened to, s.
    pub listened_s: f64,
    /// How far the taps part, in parts of what the noise explains; 1 for one tap.
    pub scatter: f64,
    /// Its shape, when there are several channels.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub shape: Vec<ShapePart>,
}

/// A record read back.
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
    pub taps: Vec<Heard>,
    /// The modes, rising.
    pub modes: Vec<ReadMode>,
    /// The averaged spectrum.
    pub spectrum: Spectrum,
    /// What the reader should know beside it.
    pub notes: Vec<Problem>,
}

/// The most modes that are stated.
const MOST_MODES: usize = 40;
/// Longest stretch of one tap that is listened to, s.
const LONGEST: f64 = 12.0;

/// Reads the modes of `record`.
///
/// # Errors
/// When no tap rises out of the noise, when none is long enough, or when nothing rings after it.
pub fn read_taps(record: &Record, listen: &Listen) -> Result<TapReading, Vec<Problem>> {
    let place = || Place::file(&record.file);
    check(record, listen)?;
    let rate = record.sample_rate_hz;
    let mut clipped = vec![false; record.len()];
    let mut levels = Vec::new();
    let channels: Vec<Vec<f64>> = record
        .channels
        .iter()
        .map(|channel| {
            let marks = events::clipping(&channel.samples);
            clipped.iter_mut().zip(marks).for_each(|(all, own)| *all |= own);
            let middle = median(&channel.samples);
            let level = noise(&channel.samples, rate);
            levels.push(level);
            channel.samples.iter().map(|x| (x - middle) / level).collect()
        })
        .collect();
    let taps = events::find(&channels, rate, &clipped, &record.gaps);
    if taps.is_empty() {
        return Err(vec![
            Problem::error(place(), "no tap is heard: the level never rises out of the noise")
                .with_help("tap harder, with the sensor firmly on the part, and record from before the tap"),
        ]);
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
        return Err(vec![
            Problem::error(
                place(),
                format!("the longest tap can be listened to for {longest} samples; {least} are needed"),
            )
            .with_help("leave a second or more between taps, and stop the record after the ring has died"),
        ]);
    }
    let range = listen.range_hz.unwrap_or((0.0, f64::MAX));
    let (mut modes, explained, mut rest) = listen_to(record, &channels, &taps, &used, range);
    // A stretch that the common modes do not explain is speech, handling or another part's ring.
    let best = explained.iter().copied().fold(0.0, f64::max);
    let kept: Vec<usize> =
        used.iter().zip(&explained).filter(|(_, share)| **share >= 0.4 * best).map(|(i, _)| *i).collect();
    if best > 0.3 && kept.len() < used.len() {
        used = kept;
        (modes, _, rest) = listen_to(record, &channels, &taps, &used, range);
    }
    let mut notes = record.notes.clone();
    notes.extend(cautions::of_record(record, &channels, &taps, &used));
    modes = background_tone::without(modes, record, &channels, &taps, &mut notes);
    modes.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    let top = modes.first().map_or(0.0, strength);
    modes.retain(|mode| strength(mode) > 3e-3 * top);
    modes.truncate(MOST_MODES);
    if modes.is_empty() {
        notes.push(cautions::nothing_rings(record, &channels, &taps, &used));
        return Err(notes);
    }
    modes.sort_by(|a, b| a.ringing.total_cmp(&b.ringing));
    let window = cautions::window(record, rest.fading, listen.window_s, &mut notes);
    let gain = cautions::gain(record, &taps, &mut notes);
    let stated: Vec<ReadMode> =
        modes.iter().map(|mode| state(mode, top, (window, gain, rest.room), record, &levels)).collect();
    if let Some(room) = &rest.room {
        let hidden = modes.iter().filter(|mode| room.hides(mode.decay));
        let hidden: Vec<f64> = hidden.map(|mode| mode.ringing / std::f64::consts::TAU).collect();
        notes.push(cautions::of_room(record, room, &hidden));
    }
    notes.extend(cautions::of_modes(record, &stated));
    let signals: Vec<&[f64]> = used
        .iter()
        .flat_map(|i| {
            channels.iter().map(|x| &x[taps[*i].free..taps[*i].end.min(taps[*i].free + longest(rate))])
        })
        .collect();
    let highest = modes.last().map_or(0.5 * rate, |mode| mode.ringing / std::f64::consts::TAU);
    let heard = taps.iter().enumerate().map(|(i, tap)| Heard {
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
        spectrum: spectrum::shown(&signals, rate, (1.5 * highest).min(0.5 * rate), 600),
        notes,
    })
}

/// Refuses a record or a wish that cannot be listened to.
fn check(record: &Record, listen: &Listen) -> Result<(), Vec<Problem>> {
    if let Some(problem) = too_short(&record.file, record.len()) {
        return Err(vec![problem]);
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
    if problems.is_empty() { Ok(()) } else { Err(problems) }
}

fn longest(rate_hz: f64) -> usize {
    (LONGEST * rate_hz) as usize
}

/// What is heard beside the modes.
struct Rest {
    /// Time constant of a window under which it dies, if it does.
    fading: Option<Spread>,
    /// The room, if it rings along.
    room: Option<Room>,
}

/// The modes of the taps `used`, what share of each tap's energy they explain, and what is heard
/// beside them.
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
    // Behind the blow: what is loudest there is not yet a free ring.
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
        let signals: Vec<&[f64]> = segments.iter().map(|s| &s.samples[s.free..]).collect();
        let peaks = spectrum::peaks(&signals, rate, range, most);
        let mut found = Vec::new();
        for mode in identify(&mut segments, rate, &peaks) {
            // Beside a mode of the first pass, the second sees what is left of that one.
            let near =
                |other: &Mode| (mode.ringing - other.ringing).abs() < 1.5 * mode.decay.max(other.decay);
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
    let fading = if room.is_some() { None } else { cautions::fading(&rests, rate) };
    (modes, share, Rest { fading, room })
}

/// Mean square before the first tap, where there is quiet.
fn before_first(channels: &[Vec<f64>], taps: &[Tap], rate_hz: f64) -> Option<f64> {
    let first = taps.first().filter(|tap| !tap.begun)?.first;
    let to = first.checked_sub((0.01 * rate_hz) as usize).filter(|to| *to > 64)?;
    let square = |x: &Vec<f64>| x[..to].iter().map(|x| x * x).sum::<f64>() / to as f64;
    Some(channels.iter().map(square).sum::<f64>() / channels.len() as f64)
}

/// Largest amplitude of a mode over taps, all channels together.
fn strength(mode: &Mode) -> f64 {
    let of_tap = |tap: usize| {
        mode.starts.iter().filter(|start| start.0 == tap).map(|start| start.2.norm_sqr()).sum::<f64>()
    };
    mode.starts.iter().map(|start| of_tap(start.0)).fold(0.0, f64::max).sqrt()
}

/// A mode with the limits of its numbers.
fn state(
    mode: &Mode,
    top: f64,
    (window, gain, room): (Option<Spread>, f64, Option<Room>),
    record: &Record,
    levels: &[f64],
) -> ReadMode {
    // A room's sound is no steady noise: it is strongest where the mode is.
    let mut error = mode.variance.sqrt() * if room.is_some() { 2.0 } else { 1.0 };
    let mut decay = mode.decay;
    if let Some(tau) = window {
        decay = without_window(decay, tau.value);
        error = error.hypot((1.0 / tau.low - 1.0 / tau.high) / (2.0 * COVERAGE));
    }
    let (frequency, loss) = from_pole(decay.max(0.0), mode.ringing);
    // Viscous and complex-stiffness damping shift the ringing to either side by eta^2 / 8.
    let law = loss * loss / 8.0;
    let ringing = mode.ringing / std::f64::consts::TAU;
    let blurred = room.filter(|room| room.hides(decay)).map_or(0.0, |room| room.decay());
    let reach = COVERAGE * error.hypot(blurred) / std::f64::consts::TAU + 1e-7 * ringing;
    let frequency_hz =
        Spread::between(frequency, ringing * (1.0 - law) - reach, ringing * (1.0 + law) + reach);
    // A gain that creeps while the ring dies passes for damping.
    let error = error + 0.5 * gain;
    let loss_reach = 2.0 * COVERAGE * error / mode.ringing + 1e-6 * loss + law * loss;
    let trend = trend(mode);
    let mut stated = limits(loss, loss_reach);
    if matches!(trend.verdict, Verdict::Rises | Verdict::Falls) {
        for stretch in &trend.stretches {
            let known = stretch.loss_factor.high - stretch.loss_factor.low < loss;
            if known && window.is_none() {
                stated.low = stated.low.min(stretch.loss_factor.value);
                stated.high = stated.high.max(stretch.loss_factor.value);
            }
        }
    }
    // Unless it fell by a twentieth while listened to, and its error is a fraction of it.
    let resolved = decay * mode.listened_s > 0.05 && loss_reach < 0.6 * loss;
    let room = room.filter(|room| room.hides(decay));
    let (resolved, loss_reach) = match &room {
        // Beside the room's decay a mode may die several times as fast unnoticed.
        Some(room) => (false, loss_reach.max(4.0 * 2.0 * room.decay() / mode.ringing)),
        None => (resolved, loss_reach),
    };
    ReadMode {
        frequency_hz,
        loss_factor: resolved.then_some(stated),
        loss_factor_at_most: (!resolved).then_some(loss + loss_reach),
        decay: if resolved { Decay::new(frequency, loss) } else { None },
        amplitude_trend: trend,
        half_power: half_power(mode),
        level_db: 20.0 * (strength(mode) / top).log10(),
        listened_s: mode.listened_s,
        scatter: mode.scatter,
        shape: shape(mode, record, levels),
    }
}

/// Motion of the channels in a mode: what all taps have in common, largest part one.
fn shape(mode: &Mode, record: &Record, levels: &[f64]) -> Vec<ShapePart> {
    let count = record.channels.len();
    if count < 2 {
        return Vec::new();
    }
    let mut sum = vec![Complex64::ZERO; count];
    let taps: std::collections::BTreeSet<usize> = mode.starts.iter().map(|start| start.0).collect();
    for tap in taps {
        let mut own = vec![Complex64::ZERO; count];
        mode.starts
            .iter()
            .filter(|start| start.0 == tap)
            .for_each(|start| own[start.1] = start.2 * levels[start.1]);
        // Each tap is turned to agree with the sum of those before it.
        let agree: Complex64 = sum.iter().zip(&own).map(|(s, o)| s * o.conj()).sum();
        let turn = if agree.norm() > 0.0 { agree / agree.norm() } else { Complex64::ONE };
        sum.iter_mut().zip(own).for_each(|(s, o)| *s += o * turn);
    }
    // The common phase that makes the parts most nearly real.
    let square: Complex64 = sum.iter().map(|z| z * z).sum();
    let turn = Complex64::from_polar(1.0, -0.5 * square.arg());
    let largest = sum.iter().copied().max_by(|a, b| a.norm().total_cmp(&b.norm())).unwrap_or(Complex64::ONE);
    let scale = turn / ((largest * turn).re.signum() * largest.norm().max(f64::MIN_POSITIVE));
    sum.iter()
        .zip(&record.channels)
        .map(|(z, channel)| {
            let part = z * scale;
            ShapePart { channel: channel.name.clone(), value: part.re, out_of_step: part.im }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::record::Channel;
    use super::super::synthetic::{Recipe, Ring, Strike, synthesise};
    use super::*;

    fn recipe(modes: &[(f64, f64, f64)]) -> Recipe {
        let ring = |(frequency_hz, loss_factor, amplitude): &(f64, f64, f64)| Ring {
            frequency_hz: *frequency_hz,
            loss_factor: *loss_factor,
            rise: 0.0,
            amplitudes: vec![*amplitude],
            phase: 0.0,
        };
        Recipe {
            sample_rate_hz: 2000.0,
            duration_s: 3.0,
            modes: modes.iter().map(ring).collect(),
            taps: vec![Strike { time_s: 0.3, strength: 1.0 }, Strike { time_s: 1.6, strength: 0.7 }],
            noise: 1e-3,
            seed: 11,
            offset: 9.81,
            limit: None,
            step: None,
        }
    }

    fn listened(recipe: &Recipe) -> TapReading {
        read_taps(&synthesise(recipe).unwrap(), &Listen::default()).unwrap()
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
            assert_eq!(mode.amplitude_trend.verdict, Verdict::None);
        }
    }

    #[test]
    fn a_damping_that_rises_with_amplitude_is_told() {
        let mut recipe = recipe(&[(150.0, 0.01, 1.0)]);
        recipe.modes[0].rise = 2.0;
        let mode = &listened(&recipe).modes[0];
        assert_eq!(mode.amplitude_trend.verdict, Verdict::Rises);
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
        let reading = read_taps(&record, &Listen::default()).unwrap();
        assert_eq!(reading.modes.len(), 1);
        assert!(reading.notes.iter().any(|note| note.message.contains("mains hum")));
    }

    #[test]
    fn a_window_is_taken_out_whether_stated_or_not() {
        let mut recipe = recipe(&[(120.0, 0.008, 1.0), (260.0, 0.01, 0.7)]);
        recipe.taps = vec![Strike { time_s: 0.0, strength: 1.0 }];
        recipe.duration_s = 1.0;
        let mut record = synthesise(&recipe).unwrap();
        let x = &mut record.channels[0].samples;
        x.iter_mut().enumerate().for_each(|(n, x)| *x = (*x - 9.81) * (-(n as f64) / 2000.0 / 0.15).exp());
        for window_s in [Some(0.15), None] {
            let reading = read_taps(&record, &Listen { window_s, ..Listen::default() }).unwrap();
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
                    trusted_to_hz: 500.0,
                    gaps: Vec::new(),
                    notes: Vec::new(),
                };
                let Ok(reading) = read_taps(&record, &Listen::default()) else { continue };
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
        let problems = read_taps(&synthesise(&recipe).unwrap(), &Listen::default()).unwrap_err();
        assert!(problems[0].message.contains("no tap is heard"), "{problems:?}");
    }
}
