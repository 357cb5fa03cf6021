//! The tap test read back: a base or a bar is tapped, a phone or a sensor records how it rings.
//!
//! ```text
//! bytes -> record (table, sheet, wave, sound, resample) -> taps (events) -> spectrum -> bands (identify)
//!       -> poles (zoom, pencil, refine, stabilise) -> modes with their limits (reading)
//!       -> one bent mode or several straight ones (choosing, bending) -> what is no mode (sifting)
//! readings of several records -> one (pooling)
//! modes -> a free bar's moduli (bar_series, bar)   modes -> what the model got wrong (matching)
//! ```
//!
//! A mode rings as exp(-eta omega t / 2) cos(omega' t), eta = 2 zeta. Limits of a value are such
//! that it lies outside of them in fewer than one of twenty records.

mod background_tone;
mod bar;
mod bar_equations;
mod bar_series;
mod bending;
mod cautions;
mod choosing;
mod columns;
mod decay;
mod events;
mod explaining;
mod halfpower;
mod hits;
mod identify;
mod matching;
mod pairing;
mod pencil;
mod pooling;
mod quiet;
mod reading;
mod record;
mod refine;
mod resample;
mod reverberation;
mod sheet;
mod sifting;
mod sound;
mod spectrum;
mod stabilise;
mod stating;
mod synthetic;
mod table;
mod trend;
#[cfg(test)]
mod trials;
mod wave;
mod zoom;

pub use bar::{Bar, BarReading, BarShape, Correction, Holding, Motion, Tone, bar_moduli, holding};
pub use bar_equations::{flexure_factor_bar, flexure_factor_rod, longitudinal_factor, torsion_factor_bar};
pub use bar_series::first_tone;
pub use decay::{Decay, from_pole, loss_over_cycles, to_pole, without_window};
pub use explaining::Explanation;
pub use halfpower::{HalfPower, HalfPowerPoints, half_power_points};
pub use matching::{Against, Change, ModelError, Pair, Parameter, PredictedMode, distance, set_beside};
pub use pairing::cheapest;
pub use pooling::pool;
pub use reading::{Heard, Listen, TapReading, read_taps};
pub use record::{Channel, MAX_BYTES, MAX_SAMPLES, Record, Stated, read, too_large};
pub use sifting::Dropped;
pub use spectrum::Spectrum;
pub use stating::{ReadMode, ShapePart};
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
