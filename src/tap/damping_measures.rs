//! One damping in all its measures: loss factor, damping ratio, decrement, cycles, seconds, decibels.
//!
//! A free decay is exp(-eta omega t / 2) times a vibration, with eta = 2 zeta. Without approximation:
//!
//! ```text
//! delta = 2 pi zeta / sqrt(1 - zeta^2)      cycles to 1/a = ln a / delta
//! T60 = 3 ln 10 / (pi f eta)                decay = 20 log10(e) pi f eta  dB/s
//! psi = 1 - exp(-2 delta)                   energy lost in a cycle
//! ```
//!
//! # Source
//! - `nashif1985`: relations among the measures of damping
//! - `lazan1968`: specific damping capacity

use serde::Serialize;
use std::f64::consts::{LN_2, LN_10, PI, TAU};

/// A damping in its other measures, shown beside the loss factor.
///
/// ```
/// use stillbed_tap::DampingMeasures;
///
/// let measures = DampingMeasures::new(100.0, 0.01).unwrap();
/// assert!((measures.quality - 100.0).abs() < 1e-9);
/// assert!((measures.cycles_to_half - 22.06).abs() < 0.005);
/// assert!((measures.decay_db_per_s - 27.29).abs() < 0.005);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DampingMeasures {
    /// Damping ratio, half the loss factor.
    pub damping_ratio: f64,
    /// Quality factor, the inverse of the loss factor.
    pub quality: f64,
    /// Logarithmic decrement: logarithm of the ratio of successive amplitudes.
    pub decrement: f64,
    /// Cycles until half of the amplitude is left.
    pub cycles_to_half: f64,
    /// Cycles until a tenth is left.
    pub cycles_to_tenth: f64,
    /// Time until half of the amplitude is left, s.
    pub half_time_s: f64,
    /// Time until a thousandth is left, s.
    pub t60_s: f64,
    /// Fall of level, dB/s.
    pub decay_db_per_s: f64,
    /// Share of the energy that is lost in one cycle.
    pub lost_per_cycle: f64,
}

impl DampingMeasures {
    /// The decay of a mode of undamped `frequency_hz` with `loss_factor` between 0 and 2.
    ///
    /// At 100 Hz and 0.01 the amplitude is halved in 22.06 cycles and falls by 27.29 dB/s.
    /// `None` when nothing decays, or nothing vibrates.
    pub fn new(frequency_hz: f64, loss_factor: f64) -> Option<DampingMeasures> {
        let zeta = loss_factor / 2.0;
        if !(frequency_hz > 0.0 && frequency_hz.is_finite() && zeta > 0.0 && zeta < 1.0) {
            return None;
        }
        let decrement = TAU * zeta / (1.0 - zeta * zeta).sqrt();
        let rate = PI * frequency_hz * loss_factor;
        Some(DampingMeasures {
            damping_ratio: zeta,
            quality: 1.0 / loss_factor,
            decrement,
            cycles_to_half: LN_2 / decrement,
            cycles_to_tenth: LN_10 / decrement,
            half_time_s: LN_2 / rate,
            t60_s: 3.0 * LN_10 / rate,
            decay_db_per_s: 20.0 / LN_10 * rate,
            lost_per_cycle: -(-2.0 * decrement).exp_m1(),
        })
    }
}

/// The loss factor of a decay from amplitude `from` to amplitude `to` within `cycles`.
///
/// 10 to 2.5 in 20 cycles is 0.02206. `None` when it does not decay.
pub fn loss_over_cycles(from: f64, to: f64, cycles: f64) -> Option<f64> {
    let decrement = (from / to).ln() / cycles;
    let loss = 2.0 * decrement / (TAU * TAU + decrement * decrement).sqrt();
    (decrement > 0.0 && loss.is_finite()).then_some(loss)
}

/// Undamped frequency (Hz) and loss factor of a pole with decay rate `decay` and angular frequency
/// `ringing`, both 1/s.
pub fn from_pole(decay: f64, ringing: f64) -> (f64, f64) {
    let size = decay.hypot(ringing);
    (size / TAU, 2.0 * decay / size)
}

/// Decay rate and damped angular frequency, both 1/s, of a mode of undamped `frequency_hz` and
/// `loss_factor`.
pub fn to_pole(frequency_hz: f64, loss_factor: f64) -> (f64, f64) {
    let zeta = loss_factor / 2.0;
    (TAU * frequency_hz * zeta, TAU * frequency_hz * (1.0 - zeta * zeta).max(0.0).sqrt())
}

/// Decay rate, 1/s, corrected for a recorder's window exp(-t / `time_constant_s`).
///
/// The window adds the same 1/tau to every decay rate.
pub fn without_window(decay: f64, time_constant_s: f64) -> f64 {
    decay - 1.0 / time_constant_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_decay_by_hand() {
        let decay = DampingMeasures::new(100.0, 0.01).unwrap();
        assert_relative_eq!(decay.t60_s, 2.198806797, max_relative = 1e-9);
        assert_relative_eq!(decay.decay_db_per_s, 27.28752708, max_relative = 1e-9);
        assert_eq!(DampingMeasures::new(100.0, 0.0), None);
        assert_eq!(DampingMeasures::new(100.0, 2.0), None);
    }

    #[test]
    fn a_pole_goes_there_and_back() {
        let (decay, ringing) = to_pole(120.0, 0.1);
        let (f, eta) = from_pole(decay, ringing);
        assert_relative_eq!(f, 120.0, max_relative = 1e-12);
        assert_relative_eq!(eta, 0.1, max_relative = 1e-12);
        assert_relative_eq!(without_window(decay + 1.0 / 0.15, 0.15), decay, max_relative = 1e-12);
    }

    #[test]
    fn growth_has_no_loss() {
        assert_eq!(loss_over_cycles(1.0, 2.0, 3.0), None);
        assert_relative_eq!(loss_over_cycles(10.0, 2.5, 20.0).unwrap(), 0.022062, max_relative = 1e-4);
    }
}
