//! Warnings about a record: how it was tapped, what the recorder did to it, and which modes to doubt.

use super::COVERAGE;
use super::background_tone::WITHOUT_TAP;
use super::doubtful_losses::Doubt;
use super::measured_mode::MeasuredMode;
use super::noise_floor::{level_quantile, median};
use super::record::{Channel, Record};
use super::recorder_gain::Gain;
use super::rejected_lines::RejectedLine;
use super::reverberation::Room;
use super::tap_detection::Tap;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, Spread, figures, show};

fn warning(record: &Record, key: &str, message: String, help: &str) -> Problem {
    let problem = Problem::warning(Place { key: key.into(), ..Place::file(&record.file) }, message);
    if help.is_empty() { problem } else { problem.with_help(help) }
}

/// Times of taps as text, at most five.
fn times<'a>(taps: impl Iterator<Item = &'a Tap>, rate_hz: f64) -> Option<String> {
    let all: Vec<String> = taps.map(|tap| show(tap.last as f64 / rate_hz, Kind::Time)).collect();
    let shown = all[..all.len().min(5)].join(", ");
    match all.len() {
        0 => None,
        1..=5 => Some(shown),
        n => Some(format!("{shown} and {} more", n - 5)),
    }
}

/// Warnings about the taps and the levels of a record.
pub(super) fn of_record(
    record: &Record,
    channels: &[Vec<f64>],
    taps: &[Tap],
    used: &[usize],
) -> Vec<Problem> {
    let rate = record.sample_rate_hz;
    let mut notes = Vec::new();
    let mut note = |message: String, help: &str| notes.push(warning(record, "taps", message, help));
    let read = || used.iter().map(|i| &taps[*i]);
    if read().any(|tap| tap.begun) {
        note(
            "the record begins within a ring; it was read from its first sample on".into(),
            "start the recorder a second before the tap",
        );
    }
    if let Some(times) = times(read().filter(|tap| tap.hits > 1), rate) {
        note(
            format!("hit more than once at {times}; read from the last hit on"),
            "let the striker bounce off, or hold it back after the blow",
        );
    }
    if let Some(times) = times(read().filter(|tap| tap.clipped > 0), rate) {
        note(
            format!("the sensor is at its limit after the tap at {times}; read from behind it on"),
            "tap more softly, or turn the gain down",
        );
    }
    if let Some(times) =
        times(taps.iter().enumerate().filter(|(i, _)| !used.contains(i)).map(|(_, t)| t), rate)
    {
        note(
            format!(
                "what is heard at {times} is no clean tap (speech, handling, or too short) and was left out"
            ),
            "",
        );
    }
    if let Some(last) = read().next_back()
        && last.end == record.len()
    {
        let guard = (0.01 * rate) as usize;
        let tail = record.len().saturating_sub((0.05 * rate).max(16.0) as usize);
        let level = |from: usize, to: usize| -> f64 {
            channels
                .iter()
                .map(|x| x[from..to].iter().map(|x| x * x).sum::<f64>() / (to - from).max(1) as f64)
                .sum()
        };
        let start = (last.free + (0.05 * rate).max(16.0) as usize).min(record.len());
        let quiet = taps.first().map_or(0, |tap| tap.first.saturating_sub(guard));
        let before = if quiet > 64 { level(0, quiet) } else { 0.0 };
        let end = level(tail, record.len());
        if tail > start && end > 0.01 * level(last.free, start) && end > 4.0 * before {
            note("the record ends before the ring has died to a tenth".into(), "record two seconds longer");
        }
    }
    for (channel, x) in record.channels.iter().zip(channels) {
        let drift = drift(x, rate);
        let swing = 0.5 * (level_quantile(x, 0.999) - level_quantile(x, 0.001));
        if drift > 0.3 * swing && drift > 5.0 {
            notes.push(warning(
                record,
                &channel.name,
                format!("this channel drifts by {} % of its swing", figures(100.0 * drift / swing, 2)),
                "",
            ));
        }
    }
    notes
}

/// True of a record whose faults add spectral lines: clipped samples, a lossy codec, or samples before
/// the tap that are mostly equal to their neighbours, as a codec leaves them.
pub(super) fn is_poor(record: &Record, taps: &[Tap]) -> bool {
    let clipped = taps.iter().any(|tap| tap.clipped > 0);
    let quiet = taps.first().map_or(0, |tap| tap.first);
    let still = |channel: &Channel| {
        let pairs = channel.samples[..quiet].windows(2);
        4 * pairs.filter(|pair| pair[0] == pair[1]).count() > 3 * quiet && quiet > 64
    };
    clipped || record.is_lossy || record.channels.iter().all(still)
}

/// What is said of a recorder that turns its gain by itself.
pub(super) fn of_gain(record: &Record, gain: Gain) -> Option<Problem> {
    let (message, help) = match gain {
        Gain::Constant => return None,
        Gain::Rises(_) => (
            "the hiss is lower behind the tap than before it: the recorder turns its gain by itself, \
             and dampings are falsified; their limits were widened",
            "switch the automatic gain off, or use an accelerometer",
        ),
        Gain::Unknown => (
            "it is so quiet before the tap that it cannot be told whether the recorder turns its gain by itself; \
             if it does, damping seems too low, so that none is stated",
            "switch the automatic gain off and state so (--fixed-gain), or use an accelerometer",
        ),
    };
    Some(warning(record, "taps", message.into(), help))
}

/// Range of the signal's median over tenths of the record.
fn drift(x: &[f64], rate_hz: f64) -> f64 {
    let length = (x.len() / 10).max((0.2 * rate_hz) as usize).max(1);
    let middles: Vec<f64> = x.chunks_exact(length.min(x.len())).map(median).collect();
    let (low, high) = middles.iter().fold((f64::MAX, f64::MIN), |(l, h), m| (l.min(*m), h.max(*m)));
    (high - low).max(0.0)
}

/// Loss factor above which a mode is not taken for one of a base; rubber feet reach it.
///
/// # Source
/// - common practice
const NOT_CREDIBLE: f64 = 0.3;

/// The warning about a reverberant room and the modes at `hidden`, Hz, whose decay it hides.
pub(super) fn of_room(record: &Record, room: &Room, hidden: &[f64]) -> Problem {
    let fall = show(room.falls_60_db_s, Kind::Time);
    let what =
        format!("what is heard between the modes dies away alike at all pitches, to a thousandth in {fall}");
    let list: Vec<String> = hidden.iter().map(|f| figures(*f, 4)).collect();
    let so = match list.is_empty() {
        true => "the room rings along; no mode is hidden by it".to_string(),
        false => format!("the decay at {} Hz may be the room's, and only a bound is stated", list.join(", ")),
    };
    let message = format!("{what}: {so}");
    warning(
        record,
        "modes",
        message,
        "put a sensor on the part, or the microphone close to it; hang up cloth",
    )
}

/// The warning about loud lines that are there without the tap.
pub(super) fn of_background(record: &Record, dropped: &[RejectedLine]) -> Option<Problem> {
    let loud = dropped.iter().filter(|line| line.reason.ends_with(WITHOUT_TAP) && line.level_db > -30.0);
    let said: Vec<String> =
        loud.map(|line| format!("{} Hz ({})", figures(line.frequency_hz, 4), line.reason)).collect();
    let message = format!("no modes: {}", said.join(", "));
    let help = "switch the source off, or run the recorder on its battery";
    (!said.is_empty()).then(|| warning(record, "modes", message, help))
}

/// Warnings about the modes; `doubts` are why no loss factor is stated, by mode.
pub(super) fn of_modes(record: &Record, modes: &[MeasuredMode], doubts: &[Option<Doubt>]) -> Vec<Problem> {
    let rate = record.sample_rate_hz;
    let mut notes = Vec::new();
    let mut note = |message: String, help: &str| notes.push(warning(record, "modes", message, help));
    let hertz = |modes: Vec<&MeasuredMode>| {
        let all: Vec<String> = modes.iter().map(|mode| figures(mode.frequency_hz.value, 4)).collect();
        (!all.is_empty()).then(|| all.join(", "))
    };
    let of = |which: &dyn Fn(&MeasuredMode) -> bool| hertz(modes.iter().filter(|mode| which(mode)).collect());
    let bounded = |why: Option<Doubt>| {
        let own =
            modes.iter().zip(doubts).filter(|(mode, doubt)| mode.loss_factor.is_none() && **doubt == why);
        hertz(own.map(|(mode, _)| mode).collect())
    };
    for doubt in Doubt::ALL {
        if let Some(list) = bounded(Some(doubt)) {
            let (why, help) = doubt.said();
            note(format!("the lines at {list} Hz are {why}; of their damping only a bound is stated"), help);
        }
    }
    if let Some(list) = bounded(None) {
        note(
            format!("the record cannot resolve the damping at {list} Hz; only a bound is stated"),
            "tap harder, record longer and in quiet, tap several times",
        );
    }
    if let Some(list) = of(&|mode| mode.frequency_hz.value > 0.4 * rate && mode.level_db > -20.0) {
        note(
            format!(
                "{list} Hz is near half of the sample rate ({} Hz): it may be the image of a higher mode",
                figures(rate, 5)
            ),
            "record with a higher sample rate, or use the microphone",
        );
    }
    if let Some(list) = of(&|mode| mode.loss_factor.is_some_and(|loss| loss.value > NOT_CREDIBLE)) {
        note(
            format!("a loss factor above {NOT_CREDIBLE} at {list} Hz is more than a base has"),
            "it may be the hand, the air or a loose part; do not take it for a mode of the base",
        );
    }
    if let Some(list) = of(&|mode| mode.scatter > 3.0) {
        note(
            format!("the taps disagree at {list} Hz beyond what noise explains; the limits are widened"),
            "tap at one place with one striker; check for a loose part",
        );
    }
    notes
}

/// The time constant of an exponential window that the recorder applied: as the user states it, or as
/// it follows from `fading`, the decay of the noise.
pub(super) fn window(
    record: &Record,
    fading: Option<Spread>,
    stated: Option<f64>,
    notes: &mut Vec<Problem>,
) -> Option<Spread> {
    if let Some(tau) = stated.filter(|tau| *tau > 0.0 && tau.is_finite()) {
        return Some(Spread::exact(tau));
    }
    let tau = fading?;
    notes.push(warning(
        record,
        "modes",
        format!(
            "the noise dies away with the ring: the recorder laid a window exp(-t / {}) over it, which was taken out",
            show(tau.value, Kind::Time)
        ),
        "record without a window; if there was one, state its time constant",
    ));
    Some(tau)
}

/// A ring is too short when it is gone within so many seconds.
const SHORT: f64 = 0.15;
/// A tap is loud above so many times the noise.
const LOUD: f64 = 20.0;
/// A ring is gone below so many times the noise.
const GONE: f64 = 2.0;

/// Why no mode is found: loud taps die or are cut off too soon, or the taps are too weak.
pub(super) fn nothing_rings(record: &Record, channels: &[Vec<f64>], taps: &[Tap], used: &[usize]) -> Problem {
    let rate = record.sample_rate_hz;
    let stretch = ((0.005 * rate) as usize).max(8);
    // For a loud tap: how long it is heard, s, and whether it has died by the end.
    let gone = |tap: &Tap| {
        let level = |from: usize| {
            let square = |x: &Vec<f64>| {
                let part = x.get(from..(from + stretch).min(x.len())).unwrap_or_default();
                part.iter().map(|x| x * x).sum::<f64>() / part.len().max(1) as f64
            };
            channels.iter().map(square).fold(0.0, f64::max).sqrt()
        };
        let levels: Vec<f64> = (tap.first..tap.end).step_by(stretch).map(level).collect();
        // A tap is detected slightly before its loudest part.
        let blow = (0..levels.len()).max_by(|a, b| levels[*a].total_cmp(&levels[*b]))?;
        let gone = levels[blow..].iter().position(|level| *level < GONE);
        let heard = stretch * gone.unwrap_or(levels.len() - blow);
        (levels[blow] > LOUD).then_some((heard as f64 / rate, gone.is_some()))
    };
    let all = used.iter().filter_map(|i| gone(&taps[*i]));
    let longest = all.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(time, _)| *time < SHORT);
    let (message, help) = match longest {
        Some((time, true)) => (
            format!(
                "the tap is loud, and gone after {}: too short to tell modes apart",
                show(time, Kind::Time)
            ),
            "tapping harder does not lengthen it: rest the part on soft foam where its lowest mode stands still, \
             with nothing else touching it; what is still so short is well damped, and its loss is not readable here",
        ),
        Some((time, false)) => (
            format!(
                "the tap is loud, and heard for {} only: too short to tell modes apart",
                show(time, Kind::Time)
            ),
            "record on until the ring has died, and leave a second or more between taps",
        ),
        None => (
            "nothing rings after the tap: no decaying vibration stands out of the noise".to_string(),
            "tap harder, nearer to a free end, and record closer to the part",
        ),
    };
    Problem::error(Place::file(&record.file), message).with_help(help)
}

/// The time constant of an exponential window, from the noise that is left when the modes are taken out.
///
/// Under a window the power of the noise falls as exp(-2t / tau) to the end, without a floor. `None`
/// unless the level falls along a straight line by 20 dB or more.
pub(super) fn fading(rests: &[&[f64]], rate_hz: f64) -> Option<Spread> {
    let parts = 10;
    let shortest = rests.iter().map(|x| x.len()).min()?;
    let length = shortest / parts;
    if length < 24 {
        return None;
    }
    let level = |i: usize| -> f64 {
        let energy = |x: &&[f64]| {
            let part = &x[i * length..(i + 1) * length];
            let mean = part.iter().sum::<f64>() / length as f64;
            part.iter().map(|x| (x - mean).powi(2)).sum::<f64>()
        };
        (rests.iter().map(energy).sum::<f64>() / (length * rests.len()) as f64).ln()
    };
    // The first part may hold the impact itself.
    let points: Vec<(f64, f64)> =
        (1..parts).map(|i| ((i as f64 + 0.5) * length as f64 / rate_hz, level(i))).collect();
    let count = points.len() as f64;
    let (x, y) =
        (points.iter().map(|p| p.0).sum::<f64>() / count, points.iter().map(|p| p.1).sum::<f64>() / count);
    let xx: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let slope = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / xx;
    let rest: f64 = points.iter().map(|p| (p.1 - y - slope * (p.0 - x)).powi(2)).sum();
    let fall = -slope * (points[points.len() - 1].0 - points[0].0);
    let error = COVERAGE * (rest / (count - 2.0) / xx).sqrt();
    let straight = (rest / count).sqrt() < 0.35;
    if !(fall > 4.6 && straight && slope < 0.0) {
        return None;
    }
    Some(Spread::between(-2.0 / slope, 2.0 / (-slope + error), 2.0 / (-slope - error).max(1e-9)))
}

#[cfg(test)]
mod tests {
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};

    /// The answer to a tap at 0.5 s whose ring at 200 Hz has the loss factor `loss`.
    fn said(loss: f64, strength: f64, duration_s: f64) -> String {
        let ring = SyntheticMode {
            frequency_hz: 200.0,
            loss_factor: loss,
            rise: 0.0,
            amplitudes: vec![1.0],
            phase: 0.0,
        };
        let recipe = SyntheticRecord {
            sample_rate_hz: 8000.0,
            duration_s,
            modes: vec![ring],
            taps: vec![SyntheticTap { time_s: 0.5, strength }],
            noise: 1e-3,
            seed: 5,
            offset: 0.0,
            limit: None,
            step: None,
        };
        match read_taps(&synthesise(&recipe).unwrap(), &ReadingOptions::default()) {
            Ok(reading) => format!("{} modes", reading.modes.len()),
            Err(problems) => problems.last().unwrap().to_string(),
        }
    }

    #[test]
    fn what_is_dead_at_once_is_told_from_what_is_weak_and_from_what_is_cut_off() {
        let short = said(0.9, 1.0, 2.0);
        assert!(short.contains("gone after") && short.contains("too short"), "{short}");
        let cut = said(0.7, 1e5, 0.535);
        assert!(cut.contains("ms only") && cut.contains("record on"), "{cut}");
        assert!(!said(0.9, 4e-3, 2.0).contains("loud"), "{}", said(0.9, 4e-3, 2.0));
        assert_eq!(said(0.01, 1.0, 2.0), "1 modes");
    }
}
