//! How long a mode rings.
//!
//! A loss factor η is taken as the equivalent viscous damping ratio ζ = η/2:
//!
//! ```text
//! amplitude ~ exp(-ζ ω t),   damped frequency f √(1 - ζ²)
//! ```
//!
//! # Source
//! - `nashif1985`: equivalence of loss factor and damping ratio for small damping
//! - `cremer2005`: decay of a mode of loss factor η

use serde::Serialize;
use std::f64::consts::TAU;

/// The ring-down of one mode.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ModeDecay {
    /// Time until half the amplitude is left, s.
    pub half_time_s: f64,
    /// Time until a tenth is left, s.
    pub time_to_10pct_s: f64,
    /// Time until a hundredth is left, s.
    pub time_to_1pct_s: f64,
    /// Cycles until half is left.
    pub cycles_to_half: f64,
}

impl ModeDecay {
    /// The decay of a mode of `frequency` in Hz; `None` when nothing damps it.
    ///
    /// By hand: 100 Hz with η = 0.01 halves in 2 ln 2 / (0.01 · 2π · 100) = 0.2206 s, 22 cycles.
    pub fn of(frequency: f64, loss_factor: f64) -> Option<ModeDecay> {
        let rate = 0.5 * loss_factor * TAU * frequency;
        if !(rate > 0.0 && rate.is_finite()) {
            return None;
        }
        let time_to = |share: f64| -share.ln() / rate;
        let ratio = 0.5 * loss_factor;
        Some(ModeDecay {
            half_time_s: time_to(0.5),
            time_to_10pct_s: time_to(0.1),
            time_to_1pct_s: time_to(0.01),
            cycles_to_half: time_to(0.5) * frequency * (1.0 - ratio * ratio).max(0.0).sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_decay_by_hand() {
        let decay = ModeDecay::of(100.0, 0.01).unwrap();
        assert_relative_eq!(decay.half_time_s, 0.2206356, max_relative = 1e-6);
        assert_relative_eq!(decay.time_to_10pct_s / decay.half_time_s, 10f64.log2(), max_relative = 1e-12);
        assert_relative_eq!(decay.time_to_1pct_s, 2.0 * decay.time_to_10pct_s, max_relative = 1e-12);
        assert_relative_eq!(decay.cycles_to_half, 22.06329, max_relative = 1e-5);
    }

    #[test]
    fn nothing_lost_is_no_decay() {
        assert_eq!(ModeDecay::of(100.0, 0.0), None);
        assert_eq!(ModeDecay::of(0.0, 0.1), None);
        assert_eq!(ModeDecay::of(f64::NAN, 0.1), None);
    }
}
