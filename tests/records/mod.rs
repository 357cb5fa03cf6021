//! Synthetic records with the faults of real ones, and the true modes that each was made from.
//!
//! ```text
//! structure   nonlinear oscillators, integrated: the ring, and the true frequency and loss by amplitude
//! recorder    what happens between part and file: room, hum, clipping, automatic gain, codecs
//! mod         draws a record with random modes and faults, and scores a reading against the truth
//! ```

pub mod recorder;
pub mod structure;

use recorder::{Chance, Codec, Gain};
use stillbed::tap::{AmplitudePoint, Record, RecordOptions, TapReading, read_record};
use structure::{Blow, Law, Local, Oscillator};

/// A record, its true modes, and the faults that were added.
pub struct Made {
    /// The record as read from its file, or why it was refused.
    pub record: Result<Record, String>,
    pub truths: Vec<Truth>,
    pub faults: Vec<&'static str>,
}

/// One true mode, over the amplitudes at which it rings.
pub struct Truth {
    pub curve: Vec<Local>,
    /// Level relative to the first mode, dB.
    pub level_db: f64,
    /// Level over the noise, or over the floor of the codec, dB.
    pub over_noise_db: f64,
}

impl Truth {
    fn ends(&self, of: impl Fn(&Local) -> f64) -> (f64, f64) {
        self.curve.iter().map(of).fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(x), high.max(x)))
    }
    pub fn frequency(&self) -> (f64, f64) {
        self.ends(|local| local.frequency_hz)
    }
    pub fn loss(&self) -> (f64, f64) {
        self.ends(|local| local.loss_factor)
    }
    /// Ranges of frequency and loss factor between two amplitudes, in parts of the largest one.
    fn around(&self, low: f64, high: f64) -> ((f64, f64), (f64, f64)) {
        let start = self.curve.first().map_or(0.0, |local| local.amplitude);
        // The curve is coarse: neighbouring points on both sides count too.
        let (low, high) = (0.8 * low * start, 1.25 * high * start);
        let near: Vec<Local> =
            self.curve.iter().filter(|local| (low..high).contains(&local.amplitude)).copied().collect();
        let part = Truth { curve: if near.is_empty() { self.curve.clone() } else { near }, ..*self };
        (part.frequency(), part.loss())
    }
    /// True when the reading is expected to find it.
    pub fn audible(&self) -> bool {
        self.level_db > -30.0 && self.over_noise_db > 20.0
    }
}

/// Record number `seed`.
pub fn make(seed: u64) -> Made {
    let mut chance = Chance::new(seed);
    let sensor = chance.one_in(3);
    let rate = if sensor {
        [200.0, 400.0, 1000.0][chance.pick(3)]
    } else {
        [16000.0, 22050.0, 44100.0][chance.pick(3)]
    };
    let mut faults = Vec::new();
    let (first, highest) =
        if sensor { (chance.over(8.0, 0.12 * rate), 0.4 * rate) } else { (chance.over(80.0, 900.0), 5000.0) };
    // Frequencies differ by at least a tenth, so that no two modes merge.
    let mut oscillators: Vec<Oscillator> = Vec::new();
    let mut frequency = first;
    for k in 0..1 + chance.pick(4) {
        let law = match chance.pick(3) {
            0 if k < 2 => Law::Rubbing(chance.over(0.003, 0.04)),
            1 if k < 2 => Law::Softening(chance.over(0.003, 0.04)),
            _ => Law::Linear,
        };
        if law != Law::Linear {
            faults.push(if matches!(law, Law::Rubbing(_)) { "rubbing" } else { "softening" });
        }
        let sign = if chance.one_in(2) { 1.0 } else { -1.0 };
        let weight = sign * if k == 0 { 1.0 } else { chance.over(0.1, 1.0) };
        let loss_factor = chance.over(0.002, 0.04);
        oscillators.push(Oscillator { frequency_hz: frequency, loss_factor, law, weight });
        frequency *= chance.between(1.12, 2.6);
        if frequency > highest {
            break;
        }
    }
    let slowest = oscillators.iter().map(|o| 3.0 / (o.loss_factor * o.frequency_hz)).fold(0.0, f64::max);
    let apart = (slowest * chance.between(0.5, 1.2)).clamp(0.8, 2.5);
    let taps = 1 + chance.pick(4);
    let lead = chance.between(0.7, 1.2);
    let duration = (0.15 / oscillators.last().map_or(first, |o| o.frequency_hz)).min(0.004);
    let mut blows: Vec<Blow> = (0..taps)
        .map(|k| Blow {
            time_s: lead + apart * k as f64,
            duration_s: duration,
            strength: if k == 0 { 1.0 } else { chance.over(0.3, 1.0) },
        })
        .collect();
    let mut last_hits: Vec<f64> = blows.iter().map(|blow| blow.strength).collect();
    if chance.one_in(6) {
        faults.push("bounce");
        let again = Blow {
            time_s: blows[0].time_s + chance.between(0.02, 0.05),
            duration_s: duration,
            strength: chance.between(0.2, 0.5),
        };
        last_hits[0] = 1.0;
        blows.push(again);
    }
    let count = ((lead + apart * taps as f64) * rate) as usize;
    let mut x = vec![0.0; count];
    let mut truths = Vec::new();
    for of in &oscillators {
        let own = structure::ring(of, &blows, rate, count);
        x.iter_mut().zip(own).for_each(|(x, own)| *x += own);
        let strongest = last_hits.iter().copied().fold(0.0, f64::max);
        truths.push(Truth {
            curve: structure::truth(of, strongest, rate),
            level_db: 20.0 * of.weight.abs().log10(),
            over_noise_db: 0.0,
        });
    }
    let top = recorder::peak(&x);
    let noise = top * 10f64.powf(-chance.between(45.0, 75.0) / 20.0);
    let mut hidden = noise;
    if !sensor && chance.one_in(3) {
        faults.push("room");
        let room = chance.between(0.25, 0.7);
        recorder::reverberate(&mut x, rate, room, chance.over(0.05, 0.5));
    }
    if chance.one_in(4) {
        let wanders = chance.one_in(2);
        faults.push(if wanders { "wandering hum" } else { "hum" });
        let mains = if chance.one_in(2) { 50.0 } else { 60.0 };
        recorder::hum(&mut x, rate, mains, top * chance.over(0.002, 0.03), wanders, &mut chance);
    }
    if chance.one_in(4) {
        faults.push("rumble");
        recorder::rumble(&mut x, rate, 0.02 * rate.min(2000.0), top * chance.over(0.002, 0.01), &mut chance);
    }
    if chance.one_in(5) {
        faults.push("handling");
        recorder::handle(&mut x, rate, lead, top * chance.over(0.02, 0.2), &mut chance);
    }
    x.iter_mut().for_each(|x| *x += noise * chance.normal());
    if chance.one_in(5) {
        let limit = top * chance.between(0.25, 0.8);
        if chance.one_in(2) {
            faults.push("clipped");
            x.iter_mut().for_each(|x| *x = x.clamp(-limit, limit));
        } else {
            faults.push("overdriven");
            x.iter_mut().for_each(|x| *x = limit * (*x / limit).tanh());
        }
    }
    if !sensor && chance.one_in(5) {
        let gain = [Gain::Creeping, Gain::Compressing, Gain::Limiting, Gain::Gating][chance.pick(4)];
        faults.push(match gain {
            Gain::Creeping => "creeping gain",
            Gain::Compressing => "compressor",
            Gain::Limiting => "limiter",
            Gain::Gating => "gate",
        });
        recorder::turn(&mut x, rate, gain, &mut chance);
    }
    if !sensor && chance.one_in(4) {
        let codec = [Codec::Long, Codec::Short, Codec::Differences][chance.pick(3)];
        faults.push(match codec {
            Codec::Long => "codec, long",
            Codec::Short => "codec, short",
            Codec::Differences => "codec, differences",
        });
        hidden = hidden.max(3e-3 * top);
        recorder::code(&mut x, codec);
    }
    if chance.one_in(6) {
        faults.push("drift");
        let by = top * chance.between(-0.5, 0.5);
        x.iter_mut().enumerate().for_each(|(n, x)| *x += by * n as f64 / count as f64);
    }
    for (truth, of) in truths.iter_mut().zip(&oscillators) {
        truth.over_noise_db = 20.0 * (of.weight.abs() / hidden).log10();
    }
    let record = if sensor {
        table(&x, rate, &mut faults, &mut chance)
    } else {
        wave(&x, rate, &mut faults, &mut chance)
    };
    Made { record, truths, faults }
}

/// The signal as a phone's table of accelerations writes it.
fn table(
    x: &[f64],
    rate: f64,
    faults: &mut Vec<&'static str>,
    chance: &mut Chance,
) -> Result<Record, String> {
    let step = recorder::peak(x) / chance.over(500.0, 20000.0);
    let stamps = chance.pick(4);
    let mut text = String::from("t (s),a (m/s2)\n");
    match stamps {
        1 => faults.push("jittered stamps"),
        2 => faults.push("delayed stamps"),
        3 => faults.push("dropped samples"),
        _ => {}
    }
    let batch = 4 + chance.pick(12) as u32;
    let (mut late, mut before): (f64, f64) = (0.0, -1.0);
    for (n, x) in x.iter().enumerate() {
        let mut t = n as f64 / rate;
        match stamps {
            1 => t += 0.08 * chance.normal().clamp(-2.5, 2.5) / rate,
            2 => {
                // Stamped in order of arrival: some samples come late, the next ones right after them.
                late =
                    (late - 1.0).max(0.0) + if chance.one_in(batch) { chance.between(0.0, 6.0) } else { 0.0 };
                t = (t + (late + chance.between(0.0, 0.3)) / rate).max(before + 2e-5);
                before = t;
            }
            3 if chance.one_in(150) => continue,
            _ => {}
        }
        text.push_str(&format!("{t:.6},{:.6}\n", (x / step).round() * step));
    }
    read_record("record.csv", text.as_bytes(), &RecordOptions::default())
        .map_err(|problems| problems[0].to_string())
}

/// The signal as a wave file.
fn wave(x: &[f64], rate: f64, faults: &mut Vec<&'static str>, chance: &mut Chance) -> Result<Record, String> {
    let bits: u16 = if chance.one_in(6) { 8 } else { 16 };
    if bits == 8 {
        faults.push("8 bit");
    }
    let full = f64::from((1_i32 << (bits - 1)) - 1);
    let scale = full * chance.between(0.3, 0.98) / recorder::peak(x);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate as u32,
        bits_per_sample: bits,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for x in x {
        writer.write_sample((x * scale).round() as i32).unwrap();
    }
    writer.finalize().unwrap();
    read_record("record.wav", &bytes.into_inner(), &RecordOptions::default())
        .map_err(|problems| problems[0].to_string())
}

/// Counts of how readings compare with the truth.
#[derive(Debug, Default, Clone, Copy)]
pub struct Score {
    pub audible: usize,
    pub found: usize,
    pub frequencies: usize,
    pub losses: usize,
    /// Modes whose loss factor is only bounded, or not stated.
    pub bounded: usize,
    pub false_lines: usize,
    pub false_losses: usize,
    /// Points of the curves over amplitude; `points_held` are those whose limits hold.
    pub points: usize,
    pub points_held: usize,
    /// Records without a bounce; `said_again` are those in which a second hit is reported.
    pub singles: usize,
    pub said_again: usize,
    /// Records with a bounce; `noticed` are those in which it is reported.
    pub bounces: usize,
    pub noticed: usize,
}

impl Score {
    pub fn add(&mut self, other: Score) {
        self.audible += other.audible;
        self.found += other.found;
        self.frequencies += other.frequencies;
        self.losses += other.losses;
        self.bounded += other.bounded;
        self.false_lines += other.false_lines;
        self.false_losses += other.false_losses;
        self.points += other.points;
        self.points_held += other.points_held;
        self.singles += other.singles;
        self.said_again += other.said_again;
        self.bounces += other.bounces;
        self.noticed += other.noticed;
    }
}

impl std::fmt::Display for Score {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(
            f,
            "{:4} modes to be heard, {:4} found, {:4} frequencies and {:4} losses hold ({:3} bounded); {:3} false \
             lines, {:3} with a loss; {} of {} points of curves hold; \
             {} of {} single hits said twice, {} of {} bounces noticed",
            self.audible,
            self.found,
            self.frequencies,
            self.losses,
            self.bounded,
            self.false_lines,
            self.false_losses,
            self.points_held,
            self.points,
            self.said_again,
            self.singles,
            self.noticed,
            self.bounces
        )
    }
}

/// True when two ranges overlap.
fn meet(a: (f64, f64), b: (f64, f64)) -> bool {
    a.0 <= b.1 && b.0 <= a.1
}

pub fn score(made: &Made, reading: Option<&TapReading>, mut tell: impl FnMut(String)) -> Score {
    let mut score = Score::default();
    let modes = reading.map_or(&[][..], |reading| &reading.modes);
    if let Some(reading) = reading {
        let again = reading.taps.iter().any(|tap| tap.used && tap.hits > 1);
        match made.faults.contains(&"bounce") {
            true => (score.bounces, score.noticed) = (1, usize::from(again)),
            false => (score.singles, score.said_again) = (1, usize::from(again)),
        }
    }
    let mut taken = vec![false; modes.len()];
    for truth in &made.truths {
        let (low, high) = truth.frequency();
        let (least, most) = truth.loss();
        let reach = (0.004 + 0.25 * most) * high;
        let near = |f: f64| f > low - reach && f < high + reach;
        let own: Vec<usize> = (0..modes.len()).filter(|i| near(modes[*i].frequency_hz.value)).collect();
        let best = own.iter().copied().max_by(|a, b| modes[*a].level_db.total_cmp(&modes[*b].level_db));
        score.audible += usize::from(truth.audible());
        let Some(best) = best else {
            if truth.audible() {
                tell(format!("missed {low:.2} to {high:.2} Hz at {:.0} dB", truth.level_db));
            }
            continue;
        };
        taken[best] = true;
        if !truth.audible() {
            continue;
        }
        score.found += 1;
        let mode = &modes[best];
        let f = mode.frequency_hz;
        if meet((f.low, f.high), (low, high)) {
            score.frequencies += 1;
        } else {
            tell(format!(
                "frequency {:.3} ({:.3} to {:.3}) for {low:.3} to {high:.3}",
                f.value, f.low, f.high
            ));
        }
        if mode.amplitude_trend.bends && !made.faults.contains(&"bounce") {
            // The true curve ends near a hundredth of the largest amplitude.
            let known = |point: &&AmplitudePoint| point.amplitude > 0.02;
            for point in mode.amplitude_trend.stretches.iter().filter(known) {
                // The reading begins slightly after the impact.
                let (f, loss) = truth.around(0.7 * point.amplitude, point.amplitude);
                let (own_f, own_loss) = (point.frequency_hz, point.loss_factor);
                score.points += 1;
                score.points_held += usize::from(
                    meet((own_f.low, own_f.high), f) && meet((own_loss.low, own_loss.high), loss),
                );
            }
        }
        let held = match (mode.loss_factor, mode.loss_factor_at_most) {
            (Some(loss), _) => meet((loss.low, loss.high), (least, most)),
            (None, Some(bound)) => {
                score.bounded += 1;
                bound >= least
            }
            (None, None) => {
                score.bounded += 1;
                true
            }
        };
        if held {
            score.losses += 1;
        } else {
            tell(format!("loss {:?} for {least:.5} to {most:.5} at {low:.2} Hz", mode.loss_factor));
        }
    }
    for (mode, taken) in modes.iter().zip(taken) {
        if !taken {
            score.false_lines += 1;
            score.false_losses += usize::from(mode.loss_factor.is_some());
            tell(format!(
                "false {:.2} Hz at {:.0} dB, loss {:?}",
                mode.frequency_hz.value,
                mode.level_db,
                mode.loss_factor.map(|loss| loss.value)
            ));
        }
    }
    score
}
