//! What does the base do after a tap? The motion as a curve, its envelope, energy and times.
//!
//! The equations of the decay are those of [`super::settle`]; this file makes the result that is shown. The
//! energy is that of the vibration of the whole base, not only where it is observed:
//!
//! ```text
//! W(t) / W(T) = sum_r |p_kr f_r|^2 exp(-eta_r w_r t) / the same at T      over elastic modes
//! ```
//!
//! with f the factor of each mode for a tap of duration T, 1 for an ideal impulse.

use super::blow::Blow;
use super::modal::{ModalMode, ModalModel};
use super::peak::climb;
use super::settle::{FreeDecay, Settle};
use num_complex::Complex64;
use serde::Serialize;
use std::f64::consts::TAU;

/// Samples per period of the fastest visible mode.
const SAMPLES_A_PERIOD: f64 = 16.0;

/// A mode is visible when it makes up at least this fraction of the initial motion.
const SEEN: f64 = 0.02;

/// Most samples of one curve; a longer motion is cut off at its end.
const MOST_SAMPLES: f64 = 16_384.0;

/// What is tapped and what is observed.
#[derive(Debug, Clone, PartialEq)]
pub struct Tapped {
    /// Station that is struck.
    pub struck: usize,
    /// Stations that are observed, such as tip minus work along x, y and z.
    pub observed: Vec<usize>,
    /// The force of the tap.
    pub blow: Blow,
    /// Amplitude below which the base is quiet, m; more than zero.
    pub settle_to: f64,
    /// Length of the curve, s; with `None` it lasts until the motion has settled and fallen to 1 %.
    pub duration: Option<f64>,
}

/// How large a motion is and how long it lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    /// Greatest value of the envelope, m.
    pub largest: f64,
    /// Last time the envelope exceeds a tenth of that, s; `None` when it always exceeds it again.
    pub to_tenth: Option<f64>,
    /// Last time it exceeds a hundredth, s.
    pub to_hundredth: Option<f64>,
    /// When it stays below the stated amplitude for good.
    pub settle: Settle,
}

impl Times {
    /// The times of `decay`, of which `settle` is known.
    #[must_use]
    pub fn measure(decay: &FreeDecay, settle: Settle) -> Times {
        // During a tap the motion may have another maximum, so steps are finer.
        let step = sample(decay);
        let finer = (decay.free_from() / SAMPLES_A_PERIOD).clamp(step / 8.0, step);
        let largest = greatest(decay, finer);
        let falls_to =
            |share: f64| if largest > 0.0 { decay.settle(share * largest).time } else { Some(0.0) };
        let (to_tenth, to_hundredth) = (falls_to(0.1), falls_to(0.01));
        Times { largest, to_tenth, to_hundredth, settle }
    }
}

/// Time between samples that resolves the fastest visible mode, s.
fn sample(decay: &FreeDecay) -> f64 {
    TAU / (SAMPLES_A_PERIOD * decay.fastest(SEEN).max(1.0))
}

/// The motion after a tap.
///
/// ```
/// use stillbed_response::blow::Blow;
/// use stillbed_response::ringdown::{RingDown, Tapped};
/// use stillbed_response::modal::{ModalMode, ModalModel};
///
/// // 1 kg on a spring of 1e6 N/m with a loss factor of 0.02.
/// let modes = vec![ModalMode::real(1000.0, 0.02, &[1.0])];
/// let model = ModalModel::complete(modes, 1)?;
/// let (struck, observed, blow) = (0, vec![0], Blow::ideal(0.1));
/// let motion = RingDown::compute(&model, &Tapped { struck, observed, blow, settle_to: 1e-6, duration: None });
/// // From 0.1 mm to 1 um by exp(-10 t): ln(100) / 10.
/// assert!((motion.settle_time_s.unwrap() - 0.4605).abs() < 1e-3);
/// # Ok::<(), String>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RingDown {
    /// s, in equal steps from 0.
    pub time_s: Vec<f64>,
    /// Motion at the observed station that moves most, m.
    pub motion_m: Vec<f64>,
    /// Index of that station in the list of observed stations, from 0.
    pub observed: usize,
    /// Envelope over all observed stations together, m.
    pub envelope_m: Vec<f64>,
    /// Vibration energy over that at the end of the tap; empty when the tap excites no mode.
    pub energy_share: Vec<f64>,
    /// Greatest value of the envelope, m.
    pub largest_m: f64,
    /// Error bound of that from modes that were not computed, m.
    pub largest_error_m: f64,
    /// Last time the envelope exceeds a tenth of its greatest value, s; `None` without loss.
    pub time_to_10pct_s: Option<f64>,
    /// Last time the envelope exceeds a hundredth of its greatest value, s.
    pub time_to_1pct_s: Option<f64>,
    /// Last time the envelope exceeds the stated amplitude, s: 0 when it never does, `None` when it always
    /// exceeds it again.
    pub settle_time_s: Option<f64>,
    /// Error bound of that from modes that were not computed and from beating, s.
    pub settle_time_error_s: Option<f64>,
    /// The mode that is largest at the settle time, from 1 in the order of the model.
    pub deciding_mode: Option<usize>,
    /// Its frequency, Hz.
    pub deciding_frequency_hz: Option<f64>,
    /// Its loss factor.
    pub deciding_loss_factor: Option<f64>,
    /// True when the observed distance grows without end, because the base floats.
    pub drifts: bool,
}

impl RingDown {
    /// The motion of `model` after the tap.
    #[must_use]
    pub fn compute(model: &ModalModel, tapped: &Tapped) -> RingDown {
        let decay = FreeDecay::after_blow(model, tapped.struck, &tapped.observed, tapped.blow);
        let step = sample(&decay);
        let settled = decay.settle_with_errors(tapped.settle_to);
        let settle = settled.settle;
        let times = Times::measure(&decay, settle);
        let duration = tapped.duration.unwrap_or_else(|| {
            let periods = 50.0 * TAU / decay.slowest(SEEN).max(1.0);
            match (settle.time, times.to_hundredth) {
                (Some(settled), Some(fallen)) => settled.max(fallen).max(0.1 * periods) * 1.1,
                _ => periods,
            }
        });
        let count = (duration / step).ceil().clamp(1.0, MOST_SAMPLES);
        let time_s: Vec<f64> = (0..=count as usize).map(|i| step * i as f64).collect();
        let mut motions = vec![Vec::with_capacity(time_s.len()); tapped.observed.len()];
        let mut envelope_m = Vec::with_capacity(time_s.len());
        for time in &time_s {
            let (own, envelope) = decay.motions(*time);
            motions.iter_mut().zip(own).for_each(|(motion, x): (&mut Vec<f64>, f64)| motion.push(x));
            envelope_m.push(envelope);
        }
        let reach = |motion: &Vec<f64>| motion.iter().fold(0.0, |m: f64, x| m.max(x.abs()));
        let observed = (0..motions.len())
            .fold(0, |best, j| if reach(&motions[j]) > reach(&motions[best]) { j } else { best });
        let deciding = settle.mode.map(|number| &model.modes()[number]);
        RingDown {
            motion_m: motions.into_iter().nth(observed).unwrap_or_default(),
            observed,
            envelope_m,
            energy_share: energy_share(model, tapped.struck, tapped.blow, &time_s),
            largest_m: times.largest,
            largest_error_m: decay.left_out(0.0),
            time_to_10pct_s: times.to_tenth,
            time_to_1pct_s: times.to_hundredth,
            settle_time_s: settle.time,
            settle_time_error_s: settle.time.map(|_| settled.error()),
            deciding_mode: settle.mode.map(|number| number + 1),
            deciding_frequency_hz: deciding.map(|mode| mode.omega / TAU),
            deciding_loss_factor: deciding.map(|mode| mode.loss_factor),
            drifts: decay.drifts(),
            time_s,
        }
    }
}

/// The greatest value of the envelope; the search ends when even all modes in phase could not exceed it.
fn greatest(decay: &FreeDecay, step: f64) -> f64 {
    let mut best = (0.0, decay.envelope(0.0));
    let mut time = 0.0;
    for _ in 0..MOST_SAMPLES as usize {
        time += step;
        if decay.bound(time) <= best.1 {
            break;
        }
        let value = decay.envelope(time);
        if value > best.1 {
            best = (time, value);
        }
    }
    let left = (best.0 - step).max(0.0);
    climb(left, best.0, best.0 + step, best.1, &mut |t| decay.envelope(t)).1
}

/// Vibration energy over that at the end of the tap, one value for each time; 1 during the tap.
fn energy_share(model: &ModalModel, struck: usize, blow: Blow, times: &[f64]) -> Vec<f64> {
    let mode = |mode: &ModalMode| {
        let rate = mode.loss_factor * mode.omega;
        let kept = blow.factor(Complex64::new(-0.5 * rate, mode.omega)).norm_sqr();
        (mode.shape[struck].norm_sqr() * kept, rate)
    };
    let modes: Vec<(f64, f64)> = model.modes().iter().filter(|mode| !mode.is_rigid()).map(mode).collect();
    let at = |t: f64| modes.iter().map(|(weight, rate)| weight * (-rate * t).exp()).sum::<f64>();
    let start = at(blow.duration);
    if start <= 0.0 {
        return Vec::new();
    }
    times.iter().map(|t| at(t.max(blow.duration)) / start).collect()
}

#[cfg(test)]
mod tests {
    use super::super::modal::tests::single;
    use super::*;

    fn tapped(settle_to: f64) -> Tapped {
        Tapped { struck: 0, observed: vec![0], blow: Blow::ideal(0.2), settle_to, duration: None }
    }

    #[test]
    fn times_of_one_mode_are_those_of_its_exponential() {
        let answer = RingDown::compute(&single(1e7, 40.0, 0.02), &tapped(1e-6));
        // Decay rate eta w / 2 = 5 1/s.
        approx::assert_relative_eq!(answer.time_to_10pct_s.unwrap(), 10f64.ln() / 5.0, max_relative = 1e-9);
        approx::assert_relative_eq!(answer.time_to_1pct_s.unwrap(), 100f64.ln() / 5.0, max_relative = 1e-9);
        approx::assert_relative_eq!(answer.largest_m, 1e-5, max_relative = 1e-4);
        assert_eq!((answer.deciding_mode, answer.deciding_loss_factor), (Some(1), Some(0.02)));
        let last = *answer.time_s.last().unwrap();
        assert!(last > answer.time_to_1pct_s.unwrap() && last < 2.0);
        approx::assert_relative_eq!(
            *answer.energy_share.last().unwrap(),
            (-10.0 * last).exp(),
            max_relative = 1e-12
        );
    }

    #[test]
    fn what_does_not_move_is_over_at_once() {
        let still = ModalModel::complete(vec![ModalMode::real(500.0, 0.02, &[0.0])], 1).unwrap();
        let answer = RingDown::compute(&still, &tapped(1e-6));
        assert_eq!(answer.largest_m, 0.0);
        assert_eq!([answer.time_to_10pct_s, answer.time_to_1pct_s], [Some(0.0); 2]);
    }

    #[test]
    fn motion_stays_within_its_envelope() {
        let modes =
            vec![ModalMode::real(400.0, 0.03, &[0.2, 0.1]), ModalMode::real(700.0, 0.01, &[-0.1, 0.2])];
        let model = ModalModel::complete(modes, 2).unwrap();
        let answer = RingDown::compute(&model, &Tapped { observed: vec![0, 1], ..tapped(1e-7) });
        for (motion, envelope) in answer.motion_m.iter().zip(&answer.envelope_m) {
            assert!(motion.abs() <= envelope * (1.0 + 1e-12));
        }
        assert!(answer.energy_share.windows(2).all(|w| w[1] < w[0]));
        assert!(answer.largest_m >= answer.envelope_m.iter().copied().fold(0.0, f64::max));
        assert_eq!(answer.deciding_mode, Some(2));
    }

    #[test]
    fn a_long_tap_moves_least_what_is_fast() {
        let modes = vec![ModalMode::real(400.0, 0.03, &[0.1]), ModalMode::real(9000.0, 0.001, &[0.1])];
        let model = ModalModel::complete(modes, 1).unwrap();
        let of = |duration| {
            let blow = Blow { impulse: 0.2, duration };
            RingDown::compute(&model, &Tapped { blow, ..tapped(1e-9) })
        };
        let (ideal, long) = (of(0.0), of(2e-3));
        assert!(long.settle_time_s.unwrap() < ideal.settle_time_s.unwrap());
        // 0.2 x 0.1² / 400 = 5 um, times the factor of a tap of 0.8 rad, about cos 0.4 / (1 - 0.0648) =
        // 0.985.
        approx::assert_relative_eq!(long.largest_m, 5e-6 * 0.985, max_relative = 0.02);
        assert_eq!((long.energy_share[0], long.motion_m[0]), (1.0, 0.0));
        assert_eq!(long.largest_error_m, 0.0);
    }

    #[test]
    fn what_is_not_struck_does_not_move() {
        let model = ModalModel::complete(vec![ModalMode::real(400.0, 0.03, &[0.0, 1.0])], 2).unwrap();
        let answer = RingDown::compute(&model, &Tapped { observed: vec![1], ..tapped(1e-7) });
        assert_eq!((answer.settle_time_s, answer.deciding_mode), (Some(0.0), None));
        assert_eq!(answer.largest_m, 0.0);
        assert!(answer.energy_share.is_empty());
    }

    #[test]
    fn a_curve_without_end_is_cut() {
        let model = ModalModel::complete(vec![ModalMode::real(400.0, 0.0, &[1.0])], 1).unwrap();
        let answer = RingDown::compute(&model, &tapped(1e-9));
        assert_eq!(answer.settle_time_s, None);
        assert!(answer.time_s.len() < 20_000 && answer.time_s.len() > 100);
    }
}
