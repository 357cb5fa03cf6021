//! Was a tap with several hits really hit more than once? A second hit breaks the ring of the first one.
//!
//! Where one hit alone explains the start of the tap, there was one; where a bounce explains it much better, there
//! were two (`bounce.rs`). Else the modes read after the last hit are extrapolated back to the first one. If they
//! explain the signal between the hits, there was one hit only. If not, the last hit has changed the ring.
//!
//! ```text
//! x'(t) = sum_m 2 Re a_m exp(s_m (t - t_m)),   t before t_m
//! one hit:  sum (x - x')^2 < part of sum x^2   between the hits
//! ```
//!
//! A second hit that changes a low mode is weaker than what rings, and is not seen where the samples from which the
//! detection predicts span both. Of a sensor, a tap whose start one hit does not explain is read once more, from
//! behind a possible bounce on. A microphone is spared that: its recorder's gain imitates bounces.

use super::bounce::{Bounce, best_bounce};
use super::identify::Mode;
use super::tap_detection::Tap;
use num_complex::Complex64;

/// Share of the energy between two hits that the extrapolated ring may leave unexplained.
const UNEXPLAINED: f64 = 0.08;
/// Power between two hits, over that after the last one, below which the first one was no hit.
const NOTHING: f64 = 3e-3;
/// A mode that grows by more than this factor when it is extrapolated back is left out.
const GROWS: f64 = 20.0;
/// A striker that bounces is back after this time, s.
///
/// # Source
/// - common practice
const BACK: f64 = 0.07;

/// The taps, with a single hit where a second one is not confirmed, and two where they are a hit and its bounce;
/// `None` when nothing changes.
pub(super) fn fewer(
    modes: &[Mode],
    channels: &[Vec<f64>],
    taps: &[Tap],
    used: &[usize],
    rate_hz: f64,
) -> Option<Vec<Tap>> {
    let mut fewer = taps.to_vec();
    for i in used {
        let tap = &taps[*i];
        if tap.hits < 2 || tap.begun {
            continue;
        }
        if is_before(channels, tap, rate_hz) {
            fewer[*i] = Tap { first: tap.last, hits: 1, ..tap.clone() };
            continue;
        }
        if tap.clipped > 0 {
            continue;
        }
        let best = |near: Option<f64>| best_bounce(modes, channels, (*i, tap), near, rate_hz);
        let near = best(Some((tap.last - tap.first) as f64));
        let told = near.filter(|near| near.is_needless() || near.is_plain()).or_else(|| best(None)).or(near);
        match told {
            Some(bounce) if bounce.is_plain() => fewer[*i] = bounced(tap, &bounce),
            Some(bounce) if bounce.is_needless() => fewer[*i] = single(tap),
            _ if is_one(modes, channels, *i, tap, rate_hz) => fewer[*i] = single(tap),
            _ => {}
        }
    }
    (fewer != taps).then_some(fewer)
}

/// The tap with its first hit alone.
fn single(tap: &Tap) -> Tap {
    Tap { last: tap.first, free: tap.first, hits: 1, ..tap.clone() }
}

/// The tap with its first hit and this bounce.
fn bounced(tap: &Tap, bounce: &Bounce) -> Tap {
    let last = (tap.first + bounce.delay.round() as usize).min(tap.end);
    Tap { last, free: last, hits: 2, ..tap.clone() }
}

/// The taps, where one hit does not explain the start of what seems a single one: read only from when a striker
/// that bounces has been back. `None` when there is no such tap.
pub(super) fn behind_a_bounce(
    modes: &[Mode],
    channels: &[Vec<f64>],
    taps: &[Tap],
    used: &[usize],
    rate_hz: f64,
) -> Option<Vec<Tap>> {
    let mut late = taps.to_vec();
    let wait = (BACK * rate_hz) as usize;
    for i in used {
        let tap = &taps[*i];
        let is_single = tap.hits == 1 && !tap.begun && tap.clipped == 0 && tap.end > tap.first + 4 * wait;
        let open = |bounce: Bounce| !bounce.is_needless();
        if is_single && best_bounce(modes, channels, (*i, tap), None, rate_hz).is_some_and(open) {
            late[*i] = Tap { last: tap.first + wait, free: tap.first + wait, ..tap.clone() };
        }
    }
    (late != taps).then_some(late)
}

/// The taps with the bounces that the modes, read from `late` on, show after what seemed a single hit; `None`
/// when they show none.
pub(super) fn more(
    modes: &[Mode],
    channels: &[Vec<f64>],
    taps: &[Tap],
    late: &[Tap],
    rate_hz: f64,
) -> Option<Vec<Tap>> {
    let mut more = taps.to_vec();
    for (i, tap) in taps.iter().enumerate().filter(|(i, tap)| late[*i] != **tap) {
        let found = best_bounce(modes, channels, (i, tap), None, rate_hz);
        let found = found.filter(Bounce::is_plain);
        if let Some(bounce) = found {
            more[i] = bounced(tap, &bounce);
        }
    }
    (more != taps).then_some(more)
}

/// True when what was taken for the first hit is negligible beside the last one.
fn is_before(channels: &[Vec<f64>], tap: &Tap, rate_hz: f64) -> bool {
    let power = |from: usize, to: usize| {
        let part = |x: &Vec<f64>| x.get(from..to).unwrap_or_default().iter().map(|x| x * x).sum::<f64>();
        channels.iter().map(part).sum::<f64>() / to.saturating_sub(from).max(1) as f64
    };
    let behind = tap.last + ((0.01 * rate_hz) as usize).max(4);
    let end = tap.last.saturating_sub(((0.002 * rate_hz) as usize).max(1));
    power(tap.first, end) < NOTHING * power(tap.last, behind)
}

fn is_one(modes: &[Mode], channels: &[Vec<f64>], number: usize, tap: &Tap, rate_hz: f64) -> bool {
    // After the first impact and before the second one.
    let from = tap.first + ((0.002 * rate_hz) as usize).max(1);
    let to = tap.last.saturating_sub(((0.001 * rate_hz) as usize).max(1));
    if to < from + 4 {
        // Two hits this close cannot be told from one long impact.
        return true;
    }
    let (mut left, mut all) = (0.0, 0.0);
    for (c, x) in channels.iter().enumerate() {
        let mut rest = x[from..to].to_vec();
        all += rest.iter().map(|x| x * x).sum::<f64>();
        for mode in modes {
            let pole = Complex64::new(-mode.decay, mode.ringing) / rate_hz;
            let back = tap.last as f64 + mode.begins_s * rate_hz - from as f64;
            let Some(start) = mode.starts.iter().find(|start| start.0 == number && start.1 == c) else {
                continue;
            };
            if mode.decay / rate_hz * back > GROWS.ln() {
                continue;
            }
            let (mut now, turn) = (2.0 * start.2 * (-pole * back).exp(), pole.exp());
            for x in &mut rest {
                *x -= now.re;
                now *= turn;
            }
        }
        left += rest.iter().map(|x| x * x).sum::<f64>();
    }
    left < UNEXPLAINED * all
}

#[cfg(test)]
mod tests {
    use super::super::reading::{ReadingOptions, read_taps};
    use super::super::synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise};

    /// How often each tap is said to be hit: `modes` (Hz, loss factor, amplitude), struck at `taps` (s, strength).
    fn hits(rate: f64, seconds: f64, modes: &[(f64, f64, f64)], taps: &[(f64, f64)]) -> Vec<usize> {
        let ring = |(frequency_hz, loss_factor, amplitude): &(f64, f64, f64)| SyntheticMode {
            frequency_hz: *frequency_hz,
            loss_factor: *loss_factor,
            rise: 0.0,
            amplitudes: vec![*amplitude],
            // A short blow starts displacement from zero.
            phase: -std::f64::consts::FRAC_PI_2,
        };
        let record = synthesise(&SyntheticRecord {
            sample_rate_hz: rate,
            duration_s: seconds,
            modes: modes.iter().map(ring).collect(),
            taps: taps
                .iter()
                .map(|(time_s, strength)| SyntheticTap { time_s: *time_s, strength: *strength })
                .collect(),
            noise: 1e-3,
            seed: 11,
            offset: 0.0,
            limit: None,
            step: None,
        });
        read_taps(&record.unwrap(), &ReadingOptions::default())
            .unwrap()
            .taps
            .iter()
            .map(|tap| tap.hits)
            .collect()
    }

    const BED: [(f64, f64, f64); 3] = [(38.0, 0.02, 1.0), (61.0, 0.015, 0.6), (94.0, 0.01, 0.4)];
    const ARM: [(f64, f64, f64); 3] = [(240.0, 0.01, 1.0), (410.0, 0.02, 0.6), (1300.0, 0.01, 0.4)];

    #[test]
    fn a_bounce_of_a_third_after_thirty_milliseconds_is_said() {
        for (rate, modes) in
            [(400.0, &BED), (1000.0, &BED), (5000.0, &BED), (16_000.0, &ARM), (48_000.0, &ARM)]
        {
            for (delay, strength) in [(0.03, 0.35), (0.045, 0.25), (0.03, 0.5)] {
                let said = hits(rate, 4.0, modes, &[(0.5, 1.0), (0.5 + delay, strength), (2.2, 0.8)]);
                assert_eq!(said, [2, 1], "{rate} Hz, {delay} s, {strength}");
            }
        }
    }

    #[test]
    fn a_clean_single_hit_is_said_once() {
        for rate in [400.0, 1000.0, 5000.0] {
            assert_eq!(hits(rate, 4.0, &BED, &[(0.5, 1.0), (2.2, 0.5)]), [1, 1], "{rate} Hz");
        }
        for rate in [16_000.0, 48_000.0] {
            assert_eq!(hits(rate, 4.0, &ARM, &[(0.5, 1.0), (2.2, 0.5)]), [1, 1], "{rate} Hz");
            // A small bar, and a slab on soft feet.
            assert_eq!(hits(rate, 3.0, &[(5200.0, 0.002, 1.0), (6900.0, 0.004, 0.7)], &[(0.5, 1.0)]), [1]);
        }
        for rate in [200.0, 1000.0] {
            assert_eq!(hits(rate, 12.0, &[(2.0, 0.05, 1.0)], &[(1.0, 1.0)]), [1], "{rate} Hz");
            assert_eq!(
                hits(rate, 12.0, &[(2.0, 0.05, 1.0), (31.0, 0.02, 0.2)], &[(1.0, 1.0)]),
                [1],
                "{rate} Hz"
            );
        }
    }
}
