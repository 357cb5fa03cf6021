//! Is the reverberation of a room heard? It makes the residual decay at the same rate in all octaves.
//!
//! The residual of the taps is cut into octaves and short frames. What the modes of a structure leave
//! decays faster at higher frequencies, and noise does not decay at all. If three or more octaves decay
//! along straight lines of about one slope, they show the room. A mode that decays about as fast as the
//! room cannot be told from it.
//!
//! ```text
//! L(t) = L0 - 60 t / T,   sigma = 3 ln(10) / T
//! ```
//!
//! # Source
//! - `iso3382`: decay of a room by octaves, evaluated from 5 dB under its start on

use super::noise_floor::median;
use realfft::RealFftPlanner;
use std::f64::consts::{LN_10, PI};

/// A room that is heard in the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Room {
    /// Time in which its level falls by 60 dB, s.
    pub(super) falls_60_db_s: f64,
    /// Root mean square of its sound over that of the whole record, at the start.
    pub(super) share: f64,
}

/// Fall, dB, over which a decay has to be seen.
const FALL: f64 = 15.0;
/// Deviation from a straight line that is allowed, dB, and in parts of the fall: in a low octave a few
/// lines beat with each other.
const STRAIGHT: (f64, f64) = (3.0, 0.15);
/// Lowest octave, Hz: below it a room has modes of its own.
const LOWEST: f64 = 125.0;

impl Room {
    /// A room whose sound decays at the rate `decay`, 1/s.
    pub(super) fn of(decay: f64, share: f64) -> Room {
        Room { falls_60_db_s: 3.0 * LN_10 / decay, share }
    }

    /// Decay rate, 1/s.
    pub(super) fn decay(&self) -> f64 {
        3.0 * LN_10 / self.falls_60_db_s
    }

    /// True when a decay at the rate `decay`, 1/s, may be that of the room.
    pub(super) fn hides(&self, decay: f64) -> bool {
        (0.7..3.0).contains(&(decay / self.decay()))
    }
}

/// The room heard in `rests`, the residuals of the taps; `wholes` are the taps with all modes.
///
/// A residual that starts about as quiet as `quiet`, the mean square before the taps, is noise under a
/// window.
pub(super) fn room(rests: &[&[f64]], wholes: &[&[f64]], quiet: Option<f64>, rate_hz: f64) -> Option<Room> {
    let frame = ((0.023 * rate_hz) as usize).next_power_of_two();
    let rest = octaves(rests, rate_hz, frame)?;
    let whole = octaves(wholes, rate_hz, frame)?;
    let step = 0.5 * frame as f64 / rate_hz;
    let falls: Vec<f64> = rest.iter().filter_map(|levels| sixty(levels, step)).collect();
    let middle = median(&falls);
    let alike = falls.iter().filter(|t| (0.65..1.5).contains(&(**t / middle))).count();
    let start = |octaves: &[Vec<f64>]| octaves.iter().filter_map(|levels| levels.get(1)).sum::<f64>();
    let share = (start(&rest) / start(&whole).max(f64::MIN_POSITIVE)).sqrt();
    let begin = |x: &&[f64]| x.iter().take(frame).map(|x| x * x).sum::<f64>() / frame as f64;
    let loudest = rests.iter().map(begin).fold(0.0, f64::max);
    if quiet.is_some_and(|quiet| loudest < 10.0 * quiet) {
        return None;
    }
    let heard = alike >= 3 && 2 * alike > falls.len() && middle > 0.15 && share > 0.05;
    heard.then_some(Room { falls_60_db_s: middle, share })
}

/// Power by octave and frame, summed over `signals`; `None` when there are too few octaves or frames.
fn octaves(signals: &[&[f64]], rate_hz: f64, frame: usize) -> Option<Vec<Vec<f64>>> {
    let count = ((0.4 * rate_hz / LOWEST).log2().floor() as usize).min(8);
    if frame < 64 || count < 3 {
        return None;
    }
    let hop = frame / 2;
    let shortest = signals.iter().map(|x| x.len()).min()?;
    let frames = (shortest / hop).checked_sub(1).filter(|frames| *frames >= 12)?;
    let bin = |hz: f64| (hz / rate_hz * frame as f64).round() as usize;
    let window: Vec<f64> = (0..frame).map(|n| (PI * (n as f64 + 0.5) / frame as f64).sin().powi(2)).collect();
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(frame);
    let (mut buffer, mut lines) = (plan.make_input_vec(), plan.make_output_vec());
    let mut powers = vec![vec![0.0; frames]; count];
    for x in signals {
        for k in 0..frames {
            let part = &x[k * hop..k * hop + frame];
            buffer.iter_mut().zip(part.iter().zip(&window)).for_each(|(b, (x, w))| *b = x * w);
            plan.process(&mut buffer, &mut lines).ok()?;
            for (octave, power) in powers.iter_mut().enumerate() {
                let low = LOWEST * 2f64.powi(octave as i32);
                let own = lines.get(bin(low)..bin(2.0 * low).min(lines.len())).unwrap_or_default();
                power[k] += own.iter().map(|z| z.norm_sqr()).sum::<f64>();
            }
        }
    }
    Some(powers)
}

/// Time to fall by 60 dB, s, from the straight part of `levels`, which are powers every `step` s.
fn sixty(levels: &[f64], step: f64) -> Option<f64> {
    let db: Vec<f64> = levels.iter().map(|p| 10.0 * p.max(f64::MIN_POSITIVE).log10()).collect();
    let top = db.iter().take(4).copied().fold(f64::MIN, f64::max);
    let floor = median(&db[db.len() - db.len() / 4..]);
    let first = (0..db.len()).find(|k| db[*k] < top - 5.0)?;
    let last = (first..db.len()).find(|k| db[*k] < floor + 6.0).unwrap_or(db.len());
    let points = &db[first..last];
    if points.len() < 5 || points[0] - points[points.len() - 1] < FALL - 5.0 {
        return None;
    }
    let count = points.len() as f64;
    let (x, y) = (0.5 * (count - 1.0), points.iter().sum::<f64>() / count);
    let xx: f64 = (0..points.len()).map(|k| (k as f64 - x).powi(2)).sum();
    let slope = points.iter().enumerate().map(|(k, p)| (k as f64 - x) * (p - y)).sum::<f64>() / xx;
    let rest = |(k, p): (usize, &f64)| (p - y - slope * (k as f64 - x)).powi(2);
    let off = (points.iter().enumerate().map(rest).sum::<f64>() / count).sqrt();
    (slope < 0.0 && off < STRAIGHT.0.max(-STRAIGHT.1 * slope * count)).then(|| -60.0 * step / slope)
}

#[cfg(test)]
mod tests {
    use super::super::measured_mode::MeasuredMode;
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::record::{Channel, Record};
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    fn noise(seed: u64, level: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        (0..44100).map(|n| level(n as f64 / 44100.0) * normal()).collect()
    }

    #[test]
    fn a_mode_that_dies_with_the_room_is_only_bounded() {
        // A mode at 600 Hz that decays faster than the room, which is excited by it and by the impact; and a
        // mode at 300 Hz that outlasts the room.
        let (room, quick, lasting) = (11.5, 25.0, 2.0);
        let (blow, tail) = (noise(4, |t| (-2000.0 * t).exp()), noise(5, |t| 0.3 * (-room * t).exp()));
        let hiss = noise(6, |_| 5e-4);
        let mut samples = noise(7, |_| 5e-4);
        samples.truncate(20_000);
        samples.extend((0..44100).map(|n| {
            let t = n as f64 / 44100.0;
            let ring = |f: f64, decay: f64| (-decay * t).exp() * (2.0 * PI * f * t).sin();
            let answer = (-room * t).exp() * (2.0 * PI * 600.0 * t + 1.0).sin();
            ring(600.0, quick) + ring(300.0, lasting) + 2.0 * answer + blow[n] + tail[n] + hiss[n]
        }));
        let record = Record {
            file: "room".into(),
            sample_rate_hz: 44100.0,
            channels: vec![Channel { name: "x".into(), unit: String::new(), samples }],
            rate_error: 0.0,
            trusted_to_hz: 22050.0,
            is_sound: true,
            is_lossy: false,
            gaps: Vec::new(),
            notes: Vec::new(),
        };
        let reading = read_taps(&record, &ReadingOptions::default()).unwrap();
        assert!(reading.notes.iter().any(|n| n.message.contains("may be the room's")), "{:?}", reading.notes);
        let near = |f: f64| {
            let apart = |m: &&MeasuredMode| (m.frequency_hz.value - f).abs();
            reading.modes.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).unwrap()
        };
        let loss = near(300.0).loss_factor.unwrap();
        assert!(loss.low <= lasting / (PI * 300.0) && lasting / (PI * 300.0) <= loss.high, "{loss:?}");
        let bound = near(600.0);
        assert!(bound.loss_factor.is_none(), "{bound:?}");
        assert!(bound.loss_factor_at_most.unwrap() > quick / (PI * 600.0), "{bound:?}");
    }

    #[test]
    fn a_room_is_told_from_noise_and_from_a_structure() {
        // A fall by 60 dB in 0.6 s, over noise.
        let ringing = noise(1, |t| (-3.0 * LN_10 * t / 0.6).exp() + 1e-3);
        let found = room(&[&ringing], &[&ringing], Some(1e-6), 44100.0).unwrap();
        assert!((found.falls_60_db_s / 0.6 - 1.0).abs() < 0.15, "{found:?}");
        assert!(found.hides(found.decay()) && !found.hides(0.3 * found.decay()));
        let still = noise(2, |_| 1.0);
        assert_eq!(room(&[&still], &[&ringing], None, 44100.0), None);
        assert_eq!(room(&[&ringing], &[&ringing], Some(1.0), 44100.0), None);
        // In a structure of one loss factor each octave decays twice as fast as the one below.
        let mut structure = vec![0.0; 44100];
        for k in 0..40 {
            let f = 150.0 * 1.12f64.powi(k);
            for (n, x) in structure.iter_mut().enumerate() {
                let t = n as f64 / 44100.0;
                *x += (-PI * 0.01 * f * t).exp() * (2.0 * PI * f * t + f).cos();
            }
        }
        let noisy: Vec<f64> = structure.iter().zip(noise(3, |_| 1e-3)).map(|(a, b)| a + b).collect();
        assert_eq!(room(&[&noisy], &[&noisy], None, 44100.0), None);
    }
}
