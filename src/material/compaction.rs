//! How a mix is compacted: how closely its grains come to lie, and how much stirred-in air stays.
//!
//! ```text
//! by hand    K = 4.5     left = 0.25 + 0.55 (1 - q)
//! vibrated   K = 6.7     left = 0.05 + 0.95 exp(-t/T),   T = 45 s (1 + 1.5 (1 - q))
//! vacuum     K = 6.7     left = p/p0 + 0.25 (1 - q)
//! ```
//!
//! K is the compaction index of the packing; `left` is the part of the air drawn in by stirring that stays, of
//! 10 % of the mix before; q goes from 0 for a mix without any liquid over to 1 for one that flows. Under a
//! vacuum of the pressure p bubbles grow until they break; those that stay fill no more than they did, and
//! shrink by p/p0 when the pressure p0 of the air comes back, before the binder gels.
//!
//! What stirring draws in is read of cement concrete. The parts that stay are common practice put into
//! numbers (a mix is vibrated until bubbles stop, a minute or two), not a measurement: hence limits of 0.4
//! and 2.5 times. A weighed bar replaces them.
//!
//! # Source
//! - `ib46`: 5 to 20 % of air as concrete leaves the mixer
//! - `larrard1999`: the indices, from memory

use super::packing::{RODDED, WET};
use crate::quantity::Spread;

/// Air that stirring draws in, by volume.
const STIRRED: f64 = 0.1;
/// Time over which a flowing mix is vibrated where none is stated, s.
const USUAL_TIME: f64 = 90.0;
/// Time in which vibrating takes out most of the bubbles of a mix that flows, s.
const RISE_TIME: f64 = 45.0;
/// Pressure of the air, Pa.
const ATMOSPHERE: f64 = 101_325.0;
/// Pressure of a vacuum where none is stated, Pa.
const USUAL_PRESSURE: f64 = 3_000.0;

/// What is done to a mix once it is in the mould.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compaction {
    /// Pressed in and tamped.
    ByHand,
    /// On a table or by vibrators on the mould, for some time in s.
    Vibrated {
        /// How long, s.
        time: f64,
    },
    /// Degassed and vibrated under a pressure in Pa.
    Vacuum {
        /// What is left of the pressure of the air, Pa.
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

    /// That of the name, with what is usual where time (s) or pressure (Pa) are not stated.
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

    /// Share of the mix that stirred-in air keeps, where it flows as far as `flows`, 0 to 1.
    pub fn air_left(&self, flows: f64) -> f64 {
        let stiff = 1.0 - flows.clamp(0.0, 1.0);
        let left = match self {
            Compaction::ByHand => 0.25 + 0.55 * stiff,
            Compaction::Vibrated { time } => 0.05 + 0.95 * (-time / (RISE_TIME * (1.0 + 1.5 * stiff))).exp(),
            Compaction::Vacuum { pressure } => (pressure / ATMOSPHERE + 0.25 * stiff).min(1.0),
        };
        STIRRED * left
    }

    /// By how many times the air that stays may differ from what is predicted.
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
