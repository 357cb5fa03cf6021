//! Reads a tap test: a base or a test bar is tapped, and a phone or a sensor records how it rings.
//!
//! ```text
//! record                channels of evenly spaced samples
//! wav                   wave files (RIFF)
//! sound                 sound in other containers, decoded
//! spreadsheet           a spreadsheet as the text of a table
//! table                 a text table as titles and columns of numbers
//! time_axis             which column is the time, in which unit, and which are channels
//! resample              uneven or late time stamps to an even time axis
//! import                from the bytes of a file to a record, whatever its format
//! noise_floor           noise floor and quantization step of a channel
//! tap_detection         where the taps are, and which samples are clipped
//! spectrum              averaged spectrum, its background and its peaks
//! band_decimation       band decimation: a narrow band at a low sample rate
//! matrix_pencil         poles of a band by the matrix pencil, for every number of them
//! refine                poles refined by least squares, with their variances
//! model_order           how many poles a band has, and which are physical
//! amplitude_dependence  modes whose frequency and decay depend on amplitude (bent modes)
//! model_selection       one bent mode, or several linear ones
//! identify              band by band: the modes, their errors, and each mode alone
//! bounce                a striker that bounces: the same ring twice
//! second_hits           whether a suspected second hit was one
//! stray_taps            taps that ring as no stronger one does
//! background_tone       tones that are there without a tap
//! reverberation         a room that is heard
//! recorder_gain         a recorder that turns its gain by itself
//! rejected_lines        which lines are no modes, and why
//! doubtful_losses       which modes get no loss factor, and why
//! damping_measures      one damping expressed in all its measures
//! half_power            the loss factor from the width of a peak
//! amplitude_trend       how loss factor and frequency depend on amplitude
//! measured_mode         what is reported for one mode
//! warnings              warnings about the record and the modes
//! reading               all of the above, for one record
//! pooling               the readings of several records combined
//! bar_equations         moduli of a free bar from its sizes, mass and frequencies
//! bar                   a test bar: moduli with their limits, and how to hold and strike it
//! bar_series            which tone of a bar is which
//! disc_equations        the tones of a free disc of any thickness
//! disc                  a test disc: modulus and Poisson's ratio from its two tones
//! assignment            pairs two lists at least cost
//! comparison            the answer of a comparison with a model, and its sums of squares
//! explanation           which single change of the model explains the differences
//! mode_matching         measured modes compared with those of a model
//! synthetic             records made from known modes
//! coverage_trials       test: whether the limits hold on two hundred synthetic records
//! ```
//!
//! A mode rings as exp(-eta omega t / 2) cos(omega' t), eta = 2 zeta. The confidence limits of a value
//! are meant to miss the true value in fewer than one record of twenty.

mod amplitude_dependence;
mod amplitude_trend;
mod assignment;
mod background_tone;
mod band_decimation;
mod bar;
mod bar_equations;
mod bar_series;
mod bounce;
mod comparison;
#[cfg(test)]
mod coverage_trials;
mod damping_measures;
mod disc;
mod disc_equations;
mod doubtful_losses;
mod explanation;
mod half_power;
mod identify;
mod import;
mod matrix_pencil;
mod measured_mode;
mod mode_matching;
mod model_order;
mod model_selection;
mod noise_floor;
mod pooling;
mod reading;
mod record;
mod recorder_gain;
mod refine;
mod rejected_lines;
mod resample;
mod reverberation;
mod second_hits;
mod sound;
mod spectrum;
mod spreadsheet;
mod stray_taps;
mod synthetic;
mod table;
mod tap_detection;
mod time_axis;
mod warnings;
mod wav;

pub use amplitude_trend::{AmplitudePoint, AmplitudeTrend, TrendVerdict};
pub use assignment::assign_at_least_cost;
pub use bar::{Bar, BarCorrection, BarHolding, BarMotion, BarReading, BarTone, bar_holding, bar_moduli};
pub use bar_equations::{
    BarShape, flexure_factor_bar, flexure_factor_rod, longitudinal_factor, torsion_factor_bar,
};
pub use bar_series::find_first_tone;
pub use comparison::{Explanation, MatchedMode, ModelComparison, ParameterChange, UncertainParameter};
pub use damping_measures::{DampingMeasures, from_pole, loss_over_cycles, to_pole, without_window};
pub use disc::{Disc, DiscReading, DiscTones, disc_moduli, find_disc_tones};
pub use disc_equations::{DiscTone, disc_factor};
pub use half_power::{HalfPower, HalfPowerPoints, half_power_points};
pub use import::read_record;
pub use measured_mode::{MeasuredMode, ShapeComponent};
pub use mode_matching::{ModelError, PredictedMode, compare_with_model, model_distance};
pub use pooling::pool_readings;
pub use reading::{DetectedTap, ReadingOptions, TapReading, read_taps};
pub use record::{Channel, MAX_BYTES, MAX_SAMPLES, Record, RecordOptions, too_large};
pub use rejected_lines::RejectedLine;
pub use spectrum::Spectrum;
pub use synthetic::{SyntheticMode, SyntheticRecord, SyntheticTap, synthesise, to_csv, to_wav};

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
