//! Reads a tap test: a base or a test bar is tapped, and a phone or a sensor records how it rings.
//!
//! ```text
//! record           from the bytes of a file to channels of evenly spaced samples
//! wav              wave files (RIFF)
//! sound            sound in other containers, decoded
//! spreadsheet      a spreadsheet as the text of a table
//! table            a text table as titles and columns of numbers
//! time_axis        which column is the time, in which unit, and which are channels
//! resample         uneven or late time stamps to an even time axis
//! noise_floor      noise floor and quantization step of a channel
//! events           where the taps are, and which samples are clipped
//! spectrum         averaged spectrum, its background and its peaks
//! band_decimation  band decimation: a narrow band at a low sample rate
//! pencil           poles of a band by the matrix pencil, for every number of them
//! refine           poles refined by least squares, with their variances
//! stabilise        how many poles a band has, and which are physical
//! bending          modes whose frequency and decay depend on amplitude (bent modes)
//! choosing         one bent mode, or several linear ones
//! identify         band by band: the modes, their errors, and each mode alone
//! second_hits      whether a suspected second hit was one
//! background_tone  tones that are there without a tap
//! reverberation    a room that is heard
//! sifting          which lines are no modes, and why
//! decay            one damping expressed in all its measures
//! halfpower        the loss factor from the width of a peak
//! trend            how loss factor and frequency depend on amplitude
//! stating          what is reported for one mode
//! cautions         warnings about the record and the modes
//! reading          all of the above, for one record
//! pooling          the readings of several records combined
//! bar_equations    moduli of a free bar from its sizes, mass and frequencies
//! bar              a test bar: moduli with their limits, and how to hold and strike it
//! bar_series       which tone of a bar is which
//! pairing          pairs two lists at least cost
//! matching         measured modes compared with those of a model
//! explaining       which single change of the model explains the differences
//! synthetic        records made from known modes
//! trials           test: whether the limits hold on two hundred synthetic records
//! ```
//!
//! A mode rings as exp(-eta omega t / 2) cos(omega' t), eta = 2 zeta. The confidence limits of a value
//! are meant to miss the true value in fewer than one record of twenty.

mod background_tone;
mod band_decimation;
mod bar;
mod bar_equations;
mod bar_series;
mod bending;
mod cautions;
mod choosing;
mod decay;
mod events;
mod explaining;
mod halfpower;
mod identify;
mod matching;
mod noise_floor;
mod pairing;
mod pencil;
mod pooling;
mod reading;
mod record;
mod refine;
mod resample;
mod reverberation;
mod second_hits;
mod sifting;
mod sound;
mod spectrum;
mod spreadsheet;
mod stabilise;
mod stating;
mod synthetic;
mod table;
mod time_axis;
mod trend;
#[cfg(test)]
mod trials;
mod wav;

pub use bar::{Bar, BarReading, BarShape, Correction, Holding, Motion, Tone, bar_moduli, holding};
pub use bar_equations::{flexure_factor_bar, flexure_factor_rod, longitudinal_factor, torsion_factor_bar};
pub use bar_series::first_tone;
pub use decay::{DampingMeasures, from_pole, loss_over_cycles, to_pole, without_window};
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

use stillbed_input::quantity::Spread;

/// Standard errors between a value and its limits. Three, because the limits of several modes are to
/// hold together in nineteen of twenty records, and because the noise is itself an estimate.
const COVERAGE: f64 = 3.0;

/// `value` with limits at a distance of `reach` on either side.
fn limits(value: f64, reach: f64) -> Spread {
    Spread::between(value, value - reach, value + reach)
}

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;
