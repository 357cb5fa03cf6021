//! Was a tap with several hits really hit more than once? A second hit breaks the ring of the first one.
//!
//! The modes read after the last hit are extrapolated back to the first one. If they explain the signal
//! between the hits, there was one hit only. If not, the last hit has changed the ring: it was a second one.
//!
//! ```text
//! x'(t) = sum_m 2 Re a_m exp(s_m (t - t_m)),   t before t_m
//! one hit:  sum (x - x')^2 < part of sum x^2   between the hits
//! ```

use super::identify::Mode;
use super::tap_detection::Tap;
use num_complex::Complex64;

/// Share of the energy between two hits that the extrapolated ring may leave unexplained.
const UNEXPLAINED: f64 = 0.08;
/// Power between two hits, over that after the last one, below which the first one was no hit.
const NOTHING: f64 = 3e-3;
/// A mode that grows by more than this factor when it is extrapolated back is left out.
const GROWS: f64 = 20.0;

/// The taps, with a single hit where a second one is not confirmed; `None` when nothing changes.
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
        } else if tap.clipped == 0 && is_one(modes, channels, *i, tap, rate_hz) {
            fewer[*i] = Tap { last: tap.first, free: tap.first, hits: 1, ..tap.clone() };
        }
    }
    (fewer != taps).then_some(fewer)
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
