//! The tap test read back: a base or a bar is tapped, a phone or a sensor records how it rings.
//!
//! ```text
//! bytes -> record (table, wave, resample) -> taps (events) -> spectrum -> bands (identify)
//!       -> poles (zoom, pencil, refine, stabilise) -> modes with their limits (reading)
//! modes -> a free bar's moduli (bar)         modes -> what the model got wrong (matching)
//! ```
//!
//! A mode rings as exp(-eta omega t / 2) cos(omega' t), eta = 2 zeta. Limits of a value are such
//! that it lies outside of them in fewer than one of twenty records.

mod background_tone;
mod bar;
mod bar_equations;
mod cautions;
mod columns;
mod decay;
mod events;
mod explaining;
mod halfpower;
mod identify;
mod matching;
mod pairing;
mod pencil;
mod quiet;
mod reading;
mod record;
mod refine;
mod resample;
mod reverberation;
mod spectrum;
mod stabilise;
mod synthetic;
mod table;
mod trend;
#[cfg(test)]
mod trials;
mod wave;
mod zoom;

pub use bar::{Bar, BarReading, BarShape, Correction, Holding, Motion, Tone, bar_moduli, holding, tone_of};
pub use bar_equations::{flexure_factor_bar, flexure_factor_rod, longitudinal_factor, torsion_factor_bar};
pub use decay::{Decay, from_pole, loss_over_cycles, to_pole, without_window};
pub use explaining::Explanation;
pub use halfpower::{HalfPower, HalfPowerPoints, half_power_points};
pub use matching::{Against, Change, ModelError, Pair, Parameter, PredictedMode, distance, set_beside};
pub use pairing::cheapest;
pub use reading::{Heard, Listen, ReadMode, ShapePart, TapReading, read_taps};
pub use record::{Channel, MAX_BYTES, MAX_SAMPLES, Record, Stated, read, too_large};
pub use spectrum::Spectrum;
pub use synthetic::{Recipe, Ring, Strike, synthesise, to_csv, to_wav};
pub use trend::{AmplitudeTrend, Stretch, Verdict};

use crate::quantity::Spread;

/// Standard errors between a value and its limits. Three, so that the two limits of several modes
/// hold together in nineteen of twenty records, and the noise is itself only estimated.
const COVERAGE: f64 = 3.0;

/// `value` within `reach` on either side.
fn limits(value: f64, reach: f64) -> Spread {
    Spread::between(value, value - reach, value + reach)
}
