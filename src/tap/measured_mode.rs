//! What is reported for one mode: its values with their limits, its amplitude and its shape.

use super::amplitude_trend::{AmplitudeTrend, Distortion, TrendVerdict, trend};
use super::damping_measures::{DampingMeasures, from_pole, without_window};
use super::half_power::{HalfPower, half_power};
use super::identify::Mode;
use super::record::Record;
use super::recorder_gain::Gain;
use super::rejected_lines::strength;
use super::reverberation::Room;
use super::{COVERAGE, limits};
use num_complex::Complex64;
use serde::Serialize;
use stillbed_input::quantity::Spread;

/// The part of one channel in a mode.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShapeComponent {
    /// Name of the channel.
    pub channel: String,
    /// Its motion in phase, with its sign, over the motion of the channel that moves most.
    pub value: f64,
    /// Its motion a quarter of a cycle out of phase, on the same scale.
    pub out_of_step: f64,
}

/// One mode as the record shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredMode {
    /// Undamped natural frequency.
    pub frequency_hz: Spread,
    /// Loss factor; `None` when the record cannot resolve it.
    pub loss_factor: Option<Spread>,
    /// Upper bound of the loss factor, where it cannot be resolved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss_factor_at_most: Option<f64>,
    /// The same damping in its other measures.
    pub decay: Option<DampingMeasures>,
    /// How the loss factor depends on amplitude.
    pub amplitude_trend: AmplitudeTrend,
    /// The loss factor from the width of its peak.
    pub half_power: HalfPower,
    /// Level where the reading begins, relative to the strongest mode, dB.
    pub level_db: f64,
    /// Amplitude where the reading of the strongest tap begins, in the channel that moves most, m; `None`
    /// when the units of the channels are unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_m: Option<f64>,
    /// Time that was listened to, s.
    pub listened_s: f64,
    /// Scatter between taps over the scatter expected from noise; 1 for one tap.
    pub scatter: f64,
    /// Its shape, when there are several channels.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub shape: Vec<ShapeComponent>,
}

impl MeasuredMode {
    /// The mode at `amplitude_m`, or at the nearer end of its curve, and the amplitude used. `None` when the
    /// mode does not depend on amplitude, or when the units of the channels are unknown.
    pub fn at_amplitude(&self, amplitude_m: f64) -> Option<(MeasuredMode, f64)> {
        let scale = self.amplitude_m.filter(|_| self.amplitude_trend.bends)?;
        let curve = &self.amplitude_trend.stretches;
        let level = |i: usize| (curve[i].amplitude * scale).ln();
        let last = curve.len().checked_sub(1).filter(|last| *last > 0)?;
        let wanted = amplitude_m.ln().clamp(level(last), level(0));
        // Levels fall along the curve: find the step that holds the wanted level.
        let at = (0..last).find(|i| level(i + 1) <= wanted)?;
        let part = ((level(at) - wanted) / (level(at) - level(at + 1))).clamp(0.0, 1.0);
        let between = |a: Spread, b: Spread| {
            let mix = |a: f64, b: f64| a + part * (b - a);
            Spread::between(mix(a.value, b.value), mix(a.low, b.low), mix(a.high, b.high))
        };
        let frequency_hz = between(curve[at].frequency_hz, curve[at + 1].frequency_hz);
        let loss = between(curve[at].loss_factor, curve[at + 1].loss_factor);
        let loss_factor = self.loss_factor.map(|_| loss);
        let decay = loss_factor.and_then(|loss| DampingMeasures::new(frequency_hz.value, loss.value));
        Some((MeasuredMode { frequency_hz, loss_factor, decay, ..self.clone() }, wanted.exp()))
    }
}

/// What is common to all modes of a record.
pub(super) struct Setting<'a> {
    pub(super) record: &'a Record,
    /// Noise floor of each channel, in its unit.
    pub(super) levels: &'a [f64],
    /// Strength of the strongest mode.
    pub(super) top: f64,
    /// Time constant of a window that the recorder applied, s.
    pub(super) window: Option<Spread>,
    /// The recorder's gain.
    pub(super) gain: Gain,
    /// Decay rate of the strongest mode, 1/s, which a gain that turns by itself follows.
    pub(super) top_decay: f64,
    /// The room, if it is heard.
    pub(super) room: Option<Room>,
    /// True where the recorder was at its limit.
    pub(super) saturated: bool,
}

/// How many times larger than those by noise errors are in a room that is heard.
const IN_ROOM: f64 = 2.0;
/// The same of the points of a curve where a microphone may hear a room that does not show: its beats do not average
/// out over a part of the decay. By trial on made records.
const UNHEARD_ROOM: f64 = 1.5;

/// Growth of a gain that follows the ring, over the decay that is then read of the strongest mode: that of a gain
/// which passes a quarter of the change of the level on. Few recorders level more.
///
/// # Source
/// - common practice
const FOLLOWS: f64 = 3.0;

/// The mode's values with their limits; for a `doubtful` mode the loss factor is only bounded.
pub(super) fn state(mode: &Mode, setting: &Setting, doubtful: bool) -> MeasuredMode {
    let Setting { record, levels, top, window, gain, top_decay, room, saturated } = *setting;
    // The sound of a room is no steady noise: it is strongest at the frequency of the mode.
    let times = if room.is_some() { IN_ROOM } else { 1.0 };
    let on_curves = if record.is_sound { times.max(UNHEARD_ROOM) } else { times };
    // A gain that changes while the ring decays looks like damping.
    let turned = matches!(gain, Gain::Rises(_));
    let distortion = Distortion { times: on_curves, gain: 0.5 * gain.rate(), saturated: saturated || turned };
    let mut error = times * mode.variance.sqrt();
    let mut decay = mode.decay;
    if let Some(tau) = window {
        decay = without_window(decay, tau.value);
        error = error.hypot((1.0 / tau.low - 1.0 / tau.high) / (2.0 * COVERAGE));
    }
    let (frequency, loss) = from_pole(decay.max(0.0), mode.ringing);
    // Viscous and complex-stiffness damping shift the damped frequency in opposite directions, by
    // a part of eta^2 / 8.
    let law = loss * loss / 8.0;
    let ringing = mode.ringing / std::f64::consts::TAU;
    let blurred = room.filter(|room| room.hides(decay)).map_or(0.0, |room| room.decay());
    let reach =
        COVERAGE * error.hypot(blurred) / std::f64::consts::TAU + (1e-7 + record.rate_error) * ringing;
    let mut frequency_hz =
        Spread::between(frequency, ringing * (1.0 - law) - reach, ringing * (1.0 + law) + reach);
    let error = error + distortion.gain;
    let loss_reach = 2.0 * COVERAGE * error / mode.ringing + 1e-6 * loss + law * loss;
    let trend = trend(mode, &distortion);
    let mut stated = limits(loss, loss_reach);
    // Limits of a value that changes with amplitude span its values over the whole decay.
    let changes = |verdict| matches!(verdict, TrendVerdict::Rises | TrendVerdict::Falls);
    for stretch in &trend.stretches {
        let known = stretch.loss_factor.high - stretch.loss_factor.low < loss;
        if (trend.bends || changes(trend.verdict)) && known && window.is_none() {
            stated.low = stated.low.min(stretch.loss_factor.value);
            stated.high = stated.high.max(stretch.loss_factor.value);
        }
        if trend.bends {
            frequency_hz.low = frequency_hz.low.min(stretch.frequency_hz.low);
            frequency_hz.high = frequency_hz.high.max(stretch.frequency_hz.high);
        }
    }
    // Resolved: it fell by a twentieth while listened to, and its error is a fraction of it.
    let resolved = decay * mode.listened_s > 0.05 && loss_reach < 0.6 * loss;
    let room = room.filter(|room| room.hides(decay));
    let resolved = resolved && !doubtful;
    let (resolved, loss_reach) = match &room {
        // A mode may decay several times as fast as the room without being noticed.
        Some(room) => (false, loss_reach.max(4.0 * 2.0 * room.decay() / mode.ringing)),
        None => (resolved, loss_reach),
    };
    let hidden = if gain == Gain::Constant { 0.0 } else { 2.0 * FOLLOWS * top_decay.max(0.0) / mode.ringing };
    MeasuredMode {
        frequency_hz,
        loss_factor: resolved.then_some(stated),
        loss_factor_at_most: (!resolved).then_some(loss + loss_reach + hidden),
        decay: if resolved { DampingMeasures::new(frequency, loss) } else { None },
        amplitude_trend: trend,
        half_power: half_power(mode),
        level_db: 20.0 * (strength(mode) / top).log10(),
        amplitude_m: amplitude(mode, record, levels),
        listened_s: mode.listened_s,
        scatter: mode.scatter,
        shape: shape(mode, record, levels),
    }
}

/// Largest amplitude of a mode over taps and channels, m; `None` when a channel does not measure motion.
fn amplitude(mode: &Mode, record: &Record, levels: &[f64]) -> Option<f64> {
    let of = |(_, channel, start): &(usize, usize, Complex64)| {
        let metres = record.channels[*channel].metres(mode.ringing)?;
        // The real signal is twice the real part of the complex one.
        Some(2.0 * start.norm() * levels[*channel] * metres)
    };
    mode.starts.iter().map(of).try_fold(0.0, |most: f64, metres| Some(most.max(metres?)))
}

/// Motion of the channels in a mode, averaged over the taps; the largest is one.
fn shape(mode: &Mode, record: &Record, levels: &[f64]) -> Vec<ShapeComponent> {
    let count = record.channels.len();
    if count < 2 {
        return Vec::new();
    }
    let mut sum = vec![Complex64::ZERO; count];
    let taps: std::collections::BTreeSet<usize> = mode.starts.iter().map(|start| start.0).collect();
    for tap in taps {
        let mut own = vec![Complex64::ZERO; count];
        mode.starts
            .iter()
            .filter(|start| start.0 == tap)
            .for_each(|start| own[start.1] = start.2 * levels[start.1]);
        // Each tap is rotated in phase to agree with the sum of those before it.
        let agree: Complex64 = sum.iter().zip(&own).map(|(s, o)| s * o.conj()).sum();
        let turn = if agree.norm() > 0.0 { agree / agree.norm() } else { Complex64::ONE };
        sum.iter_mut().zip(own).for_each(|(s, o)| *s += o * turn);
    }
    // The common phase that makes the parts most nearly real.
    let square: Complex64 = sum.iter().map(|z| z * z).sum();
    let turn = Complex64::from_polar(1.0, -0.5 * square.arg());
    let largest = sum.iter().copied().max_by(|a, b| a.norm().total_cmp(&b.norm())).unwrap_or(Complex64::ONE);
    let scale = turn / ((largest * turn).re.signum() * largest.norm().max(f64::MIN_POSITIVE));
    sum.iter()
        .zip(&record.channels)
        .map(|(z, channel)| {
            let part = z * scale;
            ShapeComponent { channel: channel.name.clone(), value: part.re, out_of_step: part.im }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::amplitude_trend::AmplitudePoint;
    use super::*;

    #[test]
    fn a_bent_mode_is_read_off_at_an_amplitude() {
        let point = |amplitude: f64, f: f64, loss: f64| AmplitudePoint {
            amplitude,
            frequency_hz: limits(f, 0.1),
            loss_factor: limits(loss, 0.001),
        };
        let mode = |bends: bool| MeasuredMode {
            frequency_hz: limits(99.0, 2.0),
            loss_factor: Some(limits(0.03, 0.02)),
            loss_factor_at_most: None,
            decay: None,
            amplitude_trend: AmplitudeTrend {
                verdict: TrendVerdict::Rises,
                per_decade: None,
                frequency_verdict: TrendVerdict::Falls,
                frequency_per_decade: None,
                bends,
                stretches: vec![point(1.0, 98.0, 0.05), point(0.1, 99.0, 0.03), point(0.01, 100.0, 0.01)],
            },
            half_power: HalfPower { loss_factor: None, resolution_limit: 0.0 },
            level_db: 0.0,
            amplitude_m: Some(1e-5),
            listened_s: 1.0,
            scatter: 1.0,
            shape: Vec::new(),
        };
        // Half a decade below the middle of the curve.
        let (at, amplitude) = mode(true).at_amplitude(1e-6 / 10f64.sqrt()).unwrap();
        approx::assert_relative_eq!(at.frequency_hz.value, 99.5, max_relative = 1e-9);
        approx::assert_relative_eq!(at.loss_factor.unwrap().value, 0.02, max_relative = 1e-9);
        approx::assert_relative_eq!(amplitude, 1e-6 / 10f64.sqrt(), max_relative = 1e-9);
        // Beyond the curve its end is returned, with the amplitude there.
        let (end, amplitude) = mode(true).at_amplitude(1e-9).unwrap();
        approx::assert_relative_eq!(end.frequency_hz.value, 100.0, max_relative = 1e-9);
        approx::assert_relative_eq!(amplitude, 1e-7, max_relative = 1e-9);
        assert!(mode(false).at_amplitude(1e-6).is_none());
    }
}
