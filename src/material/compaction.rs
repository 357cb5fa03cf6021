//! Compaction of a mix: how densely its grains come to lie, and how much of the stirred-in air stays.
//!
//! ```text
//! by hand    K = 4.5     left = 0.25 + 0.55 (1 - q)
//! vibrated   K = 6.7     left = 0.05 + 0.95 exp(-t/T),   T = 45 s (1 + 1.5 (1 - q))
//! vacuum     K = 6.7     left = p/p0 + 0.25 (1 - q)
//! ```
//!
//! K is the compaction index of the packing. `left` is the part that stays of the air drawn in by
//! stirring, which is 10 % of the mix. q goes from 0 for a mix without excess liquid to 1 for one that
//! flows. Under a vacuum of pressure p bubbles grow until they break; those that stay are no larger in
//! volume than before, and shrink by p/p0 when atmospheric pressure p0 returns, before the binder gels.
//!
//! The air drawn in is taken from cement concrete. The parts that stay are common practice put into
//! numbers (a mix is vibrated until bubbles stop, a minute or two), not measurements; hence limits of
//! 0.4 and 2.5 times the value. A weighed bar replaces them.
//!
//! # Source
//! - `ib46`: 5 to 20 % of air as concrete leaves the mixer
//! - `larrard1999`: the indices, from memory

use super::packing::{RODDED, WET};
use stillbed_input::quantity::Spread;

/// Volume fraction of air that stirring draws in.
const STIRRED: f64 = 0.1;
/// Vibration time where none is stated, s.
const USUAL_TIME: f64 = 90.0;
/// Time constant of the rise of bubbles in a vibrated mix that flows, s.
const RISE_TIME: f64 = 45.0;
/// Atmospheric pressure, Pa.
const ATMOSPHERE: f64 = 101_325.0;
/// Pressure of a vacuum where none is stated, Pa.
const USUAL_PRESSURE: f64 = 3_000.0;

/// How a mix is compacted in the mould.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compaction {
    /// Pressed in and tamped.
    ByHand,
    /// Vibrated, on a table or by vibrators on the mould.
    Vibrated {
        /// How long, s.
        time: f64,
    },
    /// Degassed and vibrated under vacuum.
    Vacuum {
        /// Remaining pressure, Pa.
        pressure: f64,
    },
}

impl Default for Compaction {
    fn default() -> Compaction {
        Compaction::Vibrated { time: USUAL_TIME }
    }
}

impl Compaction {
    /// Names in files.
    pub const NAMES: [&'static str; 3] = ["by hand", "vibrated", "vacuum"];

    /// The way of that name; where time (s) or pressure (Pa) are not stated, the usual ones.
    pub fn named(name: &str, time: Option<f64>, pressure: Option<f64>) -> Option<Compaction> {
        match name {
            "by hand" => Some(Compaction::ByHand),
            "vibrated" => Some(Compaction::Vibrated { time: time.unwrap_or(USUAL_TIME) }),
            "vacuum" => Some(Compaction::Vacuum { pressure: pressure.unwrap_or(USUAL_PRESSURE) }),
            _ => None,
        }
    }

    /// In words, for a sentence.
    pub fn words(&self) -> &'static str {
        match self {
            Compaction::ByHand => "tamped by hand",
            Compaction::Vibrated { .. } => "vibrated",
            Compaction::Vacuum { .. } => "vibrated under vacuum",
        }
    }

    /// Compaction index of the packing.
    pub fn index(&self) -> f64 {
        match self {
            Compaction::ByHand => RODDED,
            Compaction::Vibrated { .. } | Compaction::Vacuum { .. } => WET,
        }
    }

    /// Volume fraction of stirred-in air that stays; `flows` is q, 0 to 1.
    pub fn air_left(&self, flows: f64) -> f64 {
        let stiff = 1.0 - flows.clamp(0.0, 1.0);
        let left = match self {
            Compaction::ByHand => 0.25 + 0.55 * stiff,
            Compaction::Vibrated { time } => 0.05 + 0.95 * (-time / (RISE_TIME * (1.0 + 1.5 * stiff))).exp(),
            Compaction::Vacuum { pressure } => (pressure / ATMOSPHERE + 0.25 * stiff).min(1.0),
        };
        STIRRED * left
    }

    /// Factor between the actual and the predicted air that stays.
    pub fn spread() -> Spread {
        Spread::between(1.0, 0.4, 2.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn less_air_stays_the_longer_it_is_vibrated_and_the_better_it_flows() {
        let after = |time| Compaction::Vibrated { time }.air_left(1.0);
        assert!(after(0.0) > after(30.0) && after(30.0) > after(300.0) && after(1e9) > 0.0);
        approx::assert_relative_eq!(after(0.0), 0.1);
        for how in [Compaction::ByHand, Compaction::default(), Compaction::Vacuum { pressure: 5e3 }] {
            assert!(how.air_left(0.0) > how.air_left(1.0));
            assert!((0.0..=0.1).contains(&how.air_left(0.0)));
        }
        assert!(Compaction::ByHand.air_left(1.0) > Compaction::default().air_left(1.0));
    }

    #[test]
    fn a_weak_vacuum_leaves_more_than_vibrating() {
        let at = |pressure| Compaction::Vacuum { pressure }.air_left(1.0);
        approx::assert_relative_eq!(at(0.1 * ATMOSPHERE), 0.01);
        assert!(at(3e4) > Compaction::default().air_left(1.0));
        assert_eq!(at(1e6), 0.1);
    }

    #[test]
    fn names_are_read_back() {
        for name in Compaction::NAMES {
            assert!(Compaction::named(name, None, None).is_some());
        }
        assert_eq!(Compaction::named("vibrated", None, None), Some(Compaction::default()));
        assert_eq!(Compaction::named("rammed", None, None), None);
    }
}
