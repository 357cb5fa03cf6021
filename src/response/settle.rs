//! How long does a tapped base keep moving? The decay as a sum of modes, and when it last exceeds an
//! amplitude.
//!
//! An impulse `J` at station `k` starts every mode; at station `j`
//!
//! ```text
//! q_j(t) = Im sum_r z_jr exp(s_r t) + t sum_rigid J p_jr p_kr,   z_jr = J p_jr p_kr / w_dr
//! s_r    = -eta_r w_r / 2 + i w_dr,   w_dr = w_r sqrt(1 - eta_r^2 / 4)
//! E(t)   = sqrt( sum_j |sum_r z_jr exp(s_r t)|^2 )
//! ```
//!
//! Each hysteretic mode decays like the viscous one with the same loss at resonance. `E` is the envelope: the
//! norm of the analytic signal over the observed stations. The motion touches it but does not exceed it. The
//! settle time is the last time that `E` exceeds the given amplitude.
//!
//! A tap of finite duration scales every mode by its own factor ([`super::blow`]); during the tap the
//! residual flexibility follows the force. After an ideal impulse the residual motion is over at once.
//!
//! Modes that were not computed are bounded by the lumps that stand for them, all in phase, with T the
//! duration of the tap:
//!
//! ```text
//! B(t) = sum_i |z_i| exp(-eta_i w_i (t - T) / 2)
//! ```
//!
//! An ideal impulse excites high and sharp modes too: for it, a lump that is not known to be a single mode
//! gets the least loss of any member.
//!
//! The settle time lies between the last time that `E` exceeds the amplitude plus `B` and the last time that
//! it exceeds the amplitude minus `B`. Where modes beat, the time jumps by a beat when the envelope just
//! returns to the amplitude, so it is also computed for a motion larger and smaller by the fraction
//!
//! ```text
//! 0.001 (1 + c t)        c = eta w / 2 of the mode that is largest then
//! ```
//!
//! by which the motion differs at time `t` if its beginning and its losses are off by a thousandth. Complex
//! shapes let `q(0)` differ from zero by a term of the order of `eta`, since hysteretic loss is not exactly
//! causal.
//!
//! # Source
//! - `ewins2000`: ch. 2, complex modes and their residues
//! - `nashif1985`: ch. 3, equivalent viscous decay of a loss factor

use super::blow::Blow;
use super::modal::{Lumped, ModalMode, ModalModel};
use num_complex::Complex64;

/// The envelope at the settle time is below the amplitude by at most this fraction.
const EXACTNESS: f64 = 1e-9;

/// A rigid-body velocity below this fraction of the elastic motion's initial velocity is rounding.
const NO_DRIFT: f64 = 1e-9;

/// Most steps of the backward march; the time reached by then is late but safe, and is taken.
const MOST_STEPS: usize = 20_000;

/// Samples of the motion within a tap.
const WITHIN: usize = 256;

/// Fraction by which the first amplitude, and the decay rate, may be larger or smaller than computed, whatever is
/// left out.
const NEARLY: f64 = 1e-3;

/// What is left out is ignored below this fraction of the amplitude.
const NOTHING: f64 = 1e-6;

/// One mode of a decay.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Term {
    /// Number of the mode in the model.
    mode: usize,
    /// `eta w / 2`, 1/s.
    decay: f64,
    /// rad/s.
    omega: f64,
    /// Norm of its amplitudes over the observed stations once the tap is over, m.
    size: f64,
    /// The same after an ideal impulse, m: an upper bound of its motion during the tap.
    most: f64,
}

/// When the motion settles, and which mode decides it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settle {
    /// Time after which the envelope stays below the amplitude, s; 0 when it never exceeds it, `None` when it
    /// always exceeds it again: a motion without loss, or a floating base that drifts.
    pub time: Option<f64>,
    /// Index in the model of the mode that is largest at that time (at the start where there is none); `None`
    /// when nothing moves.
    pub mode: Option<usize>,
}

/// When the motion settles, and how far, s, that may be off; both 0 where it never settles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettleWithErrors {
    /// When, and which mode decides it.
    pub settle: Settle,
    /// From modes that were not computed.
    pub left_out: f64,
    /// From beating: how far the time moves when the motion is a thousandth larger or smaller. The envelope may
    /// just return to the amplitude, or just not.
    pub beats: f64,
}

impl SettleWithErrors {
    /// The larger of the errors, s.
    pub fn error(&self) -> f64 {
        self.left_out.max(self.beats)
    }
}

/// The motion of a few stations after a tap at one.
///
/// ```
/// use stillbed_response::settle::FreeDecay;
/// use stillbed_response::modal::{ModalMode, ModalModel};
///
/// // 1 kg on a spring of 1e6 N/m with a loss factor of 0.02.
/// let modes = vec![ModalMode::real(1000.0, 0.02, &[1.0])];
/// let model = ModalModel::complete(modes, 1)?;
/// // 0.1 N s on 1 kg: 0.1 m/s, so 0.1 mm at 1000 rad/s, which decays by exp(-10 t).
/// let decay = FreeDecay::after_impulse(&model, 0, &[0], 0.1);
/// assert!((decay.envelope(0.0) / 1e-4 - 1.0).abs() < 1e-3);
/// assert!((decay.envelope(0.1) / decay.envelope(0.0) - (-1.0_f64).exp()).abs() < 1e-3);
/// # Ok::<(), String>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct FreeDecay {
    stations: usize,
    terms: Vec<Term>,
    /// Complex amplitudes once the tap is over, m, one row of `stations` for each term.
    amplitudes: Vec<Complex64>,
    /// The same after an ideal impulse; empty where the tap is ideal.
    ideal: Vec<Complex64>,
    /// Rigid-body velocity, m/s, one for each station.
    drift: Vec<f64>,
    /// Displacement by residual flexibility, m, under the force of the impulse spread over one second; one
    /// for each station.
    rest: Vec<f64>,
    /// Decay rate, 1/s, and size, m, of each lump of modes left out once the tap is over.
    left_out: Vec<(f64, f64)>,
    blow: Blow,
}

impl FreeDecay {
    /// The motion of the stations `observed` after an ideal `impulse`, N s, at the station `struck`.
    #[must_use]
    pub fn after_impulse(model: &ModalModel, struck: usize, observed: &[usize], impulse: f64) -> FreeDecay {
        FreeDecay::after_blow(model, struck, observed, Blow::ideal(impulse))
    }

    /// The same after a tap of finite duration.
    #[must_use]
    pub fn after_blow(model: &ModalModel, struck: usize, observed: &[usize], blow: Blow) -> FreeDecay {
        let stations = observed.len();
        let rest = |j: &usize| blow.impulse * model.rest(*j, struck).re;
        let mut decay = FreeDecay {
            stations,
            terms: Vec::with_capacity(model.modes().len()),
            amplitudes: Vec::with_capacity(model.modes().len() * stations),
            ideal: Vec::new(),
            drift: vec![0.0; stations],
            rest: observed.iter().map(rest).collect(),
            left_out: model.left_out().iter().map(|lump| outdone(lump, struck, observed, blow)).collect(),
            blow,
        };
        let mut first_velocity = 0.0;
        for (number, mode) in model.modes().iter().enumerate() {
            let start = mode.shape[struck] * blow.impulse;
            if mode.is_rigid() {
                for (drift, j) in decay.drift.iter_mut().zip(observed) {
                    *drift += (mode.shape[*j] * start).re;
                }
                continue;
            }
            let (rate, omega) = pole_of(mode);
            let factor = blow.factor(Complex64::new(-rate, omega));
            let mut sum = 0.0;
            for j in observed {
                let amplitude = mode.shape[*j] * start / omega;
                sum += amplitude.norm_sqr();
                decay.amplitudes.push(amplitude * factor);
                if blow.duration > 0.0 {
                    decay.ideal.push(amplitude);
                }
            }
            let most = sum.sqrt();
            first_velocity += most * omega;
            decay.terms.push(Term { mode: number, decay: rate, omega, size: most * factor.norm(), most });
        }
        if length(&decay.drift) <= NO_DRIFT * first_velocity {
            decay.drift.fill(0.0);
        }
        decay
    }

    /// True when the base floats away, or turns, so that the observed distance keeps growing.
    pub fn drifts(&self) -> bool {
        self.drift.iter().any(|v| *v != 0.0)
    }

    /// Time at which the tap is over, s.
    pub fn free_from(&self) -> f64 {
        self.blow.duration
    }

    /// Displacement, m, of the observed station `j` (its index in the list) at `time`, s.
    pub fn motion(&self, j: usize, time: f64) -> f64 {
        let drifted = self.drift[j] * self.blow.drifted(time);
        if self.blow.duration > 0.0 && time < self.blow.duration {
            return self.oscillations(time)[j].im + drifted;
        }
        let parts = self.terms.iter().zip(self.rows()).map(|(term, row)| row[j] * term.at(time));
        parts.sum::<Complex64>().im + drifted
    }

    /// Index of the observed station that oscillates most at `time`, s; 0 where there is none.
    pub fn largest_station(&self, time: f64) -> usize {
        let oscillations = self.oscillations(time);
        let size = |j: &usize| oscillations[*j].norm();
        (0..self.stations).max_by(|a, b| size(a).total_cmp(&size(b))).unwrap_or(0)
    }

    /// Displacement, m, of each observed station at `time`, s, and the envelope, m, of their oscillation
    /// together.
    pub fn motions(&self, time: f64) -> (Vec<f64>, f64) {
        let oscillations = self.oscillations(time);
        let drifted = self.blow.drifted(time);
        let motions = oscillations.iter().zip(&self.drift).map(|(x, drift)| x.im + drift * drifted).collect();
        (motions, together(&oscillations))
    }

    /// Envelope, m, of the oscillation of all observed stations together at `time`, s.
    pub fn envelope(&self, time: f64) -> f64 {
        together(&self.oscillations(time))
    }

    /// The oscillation of each observed station, m, as a complex number: its imaginary part is the motion,
    /// its magnitude the envelope.
    fn oscillations(&self, time: f64) -> Vec<Complex64> {
        let during = self.blow.duration > 0.0 && time < self.blow.duration;
        let mut sums = vec![Complex64::ZERO; self.stations];
        let rows = if during { &self.ideal } else { &self.amplitudes };
        for (term, row) in self.terms.iter().zip(rows.chunks_exact(self.stations.max(1))) {
            let turned = match during {
                true => self.blow.within(Complex64::new(-term.decay, term.omega), time),
                false => term.at(time),
            };
            sums.iter_mut().zip(row).for_each(|(sum, amplitude)| *sum += amplitude * turned);
        }
        if during {
            let force = self.blow.force(time);
            sums.iter_mut().zip(&self.rest).for_each(|(sum, rest)| *sum += Complex64::I * rest * force);
        }
        sums
    }

    /// Upper bound, m, of what modes that were not computed add to the envelope at `time`, s; during the tap,
    /// of what they add beyond their residual flexibility. It never grows with time.
    pub fn left_out(&self, time: f64) -> f64 {
        let since = (time - self.blow.duration).max(0.0);
        self.left_out.iter().map(|(decay, size)| size * (-decay * since).exp()).sum()
    }

    /// Upper bound of the envelope, m: all modes in phase. It never grows with time.
    pub fn bound(&self, time: f64) -> f64 {
        if time < self.blow.duration {
            let rest = length(&self.rest) * self.blow.force(0.5 * self.blow.duration);
            return self.terms.iter().map(|term| term.most).sum::<f64>() + rest;
        }
        self.terms.iter().map(|term| term.size_at(time)).sum()
    }

    /// Circular frequency, rad/s, of the fastest mode that makes up at least the fraction `share` of the
    /// initial bound.
    pub fn fastest(&self, share: f64) -> f64 {
        let least = share * self.whole();
        self.terms.iter().filter(|term| term.size >= least).map(|term| term.omega).fold(0.0, f64::max)
    }

    /// Circular frequency, rad/s, of the slowest such mode; 0 when there is none.
    pub fn slowest(&self, share: f64) -> f64 {
        let least = share * self.whole();
        let seen = self.terms.iter().filter(|term| term.size > 0.0 && term.size >= least);
        seen.map(|term| term.omega).reduce(f64::min).unwrap_or(0.0)
    }

    /// All modes in phase, m, extrapolated from after the tap back to time 0.
    fn whole(&self) -> f64 {
        self.terms.iter().map(|term| term.size).sum()
    }

    /// Circular frequency, rad/s, and initial amplitude, m, of every mode that moves.
    pub fn lines(&self) -> Vec<(f64, f64)> {
        self.terms.iter().filter(|term| term.size > 0.0).map(|term| (term.omega, term.size)).collect()
    }

    /// The same motion without the modes above `omega`, rad/s, and without drift.
    pub fn below(&self, omega: f64) -> FreeDecay {
        let kept: Vec<usize> = (0..self.terms.len()).filter(|i| self.terms[*i].omega <= omega).collect();
        let rows = |all: &[Complex64]| -> Vec<Complex64> {
            let row = |i: &usize| all.get(i * self.stations..(i + 1) * self.stations).unwrap_or_default();
            kept.iter().flat_map(row).copied().collect()
        };
        FreeDecay {
            terms: kept.iter().map(|i| self.terms[*i]).collect(),
            amplitudes: rows(&self.amplitudes),
            ideal: rows(&self.ideal),
            drift: vec![0.0; self.stations],
            ..self.clone()
        }
    }

    /// The last time that the envelope exceeds `amplitude`, m; no motion settles to zero.
    ///
    /// The bound gives a time after which the envelope certainly does not exceed it. From there a march goes
    /// backwards in steps over which the square of the envelope, given its slope and a bound of its
    /// curvature, cannot rise to the square of the amplitude: it stops at the crossing and cannot step over
    /// one. So a smaller amplitude never gets an earlier settle time.
    pub fn settle(&self, amplitude: f64) -> Settle {
        if self.never_settles(amplitude) {
            let rings = !self.drifts() && self.rings_at(amplitude);
            let mode = if rings { self.largest_endless() } else { self.largest_at(0.0) };
            return Settle { time: None, mode };
        }
        let time = self.last_crossing(amplitude, f64::INFINITY);
        Settle { time: Some(time), mode: self.largest_at(time) }
    }

    /// True where the base drifts, modes without loss exceed `amplitude`, m, for ever, or it is not above zero.
    fn never_settles(&self, amplitude: f64) -> bool {
        self.drifts() || amplitude.is_nan() || amplitude <= 0.0 || self.rings_at(amplitude)
    }

    /// True where modes without loss reach `amplitude`, m.
    fn rings_at(&self, amplitude: f64) -> bool {
        let endless: f64 = self.terms.iter().filter(|t| t.decay == 0.0).map(|t| t.size).sum();
        endless >= amplitude && endless > 0.0
    }

    /// The same with its errors.
    ///
    /// No amplitude is exceeded later than a smaller one is: each march begins where that of the smaller
    /// amplitude ended.
    pub fn settle_with_errors(&self, amplitude: f64) -> SettleWithErrors {
        if self.never_settles(amplitude) {
            return SettleWithErrors { settle: self.settle(amplitude), left_out: 0.0, beats: 0.0 };
        }
        let nearly = self.nearly(amplitude);
        let later = self.last_crossing((1.0 - nearly) * amplitude, f64::INFINITY);
        let time = self.last_crossing(amplitude, later);
        let earlier = self.last_crossing((1.0 + nearly) * amplitude, time);
        SettleWithErrors {
            settle: Settle { time: Some(time), mode: self.largest_at(time) },
            left_out: self.error_left_out(amplitude, time),
            beats: (later - time).max(time - earlier).max(0.0),
        }
    }

    /// Fraction by which the motion may differ from the computed one when it falls to `amplitude`, m.
    fn nearly(&self, amplitude: f64) -> f64 {
        let time = self.bound_crossing(amplitude);
        let largest = self.terms.iter().max_by(|a, b| a.size_at(time).total_cmp(&b.size_at(time)));
        (NEARLY * (1.0 + largest.map_or(0.0, |term| term.decay * time))).min(0.5)
    }

    /// Error bound, s, of the `time` of settling to `amplitude`, m, from the modes left out.
    fn error_left_out(&self, amplitude: f64, time: f64) -> f64 {
        let here = self.left_out(time);
        if here <= NOTHING * amplitude {
            return 0.0;
        }
        let later = if here < amplitude {
            self.last_crossing(amplitude - here, f64::INFINITY)
        } else {
            self.last_crossing(0.5 * amplitude, f64::INFINITY).max(self.left_out_until(0.5 * amplitude))
        };
        // The bound falls with time: taken too late it would be too small.
        let early = 0.9 * time;
        let earlier = match self.last_crossing(amplitude + self.left_out(early), time) {
            crossing if crossing >= early => crossing,
            _ => self.last_crossing(amplitude + self.left_out(0.0), time),
        };
        (later - time).max(time - earlier).max(0.0)
    }

    /// Time, s, from which what is left out stays below `amplitude`, m; infinite without loss.
    fn left_out_until(&self, amplitude: f64) -> f64 {
        let count = self.left_out.len() as f64;
        let until = |(decay, size): &(f64, f64)| match (size * count / amplitude).ln() {
            above if above <= 0.0 => 0.0,
            above => above / decay,
        };
        self.blow.duration + self.left_out.iter().map(until).fold(0.0, f64::max)
    }

    fn rows(&self) -> impl Iterator<Item = &[Complex64]> {
        // There is at least one station wherever a term has a row.
        self.amplitudes.chunks_exact(self.stations.max(1))
    }

    fn largest_at(&self, time: f64) -> Option<usize> {
        let size = |term: &&Term| term.size_at(time);
        let largest = self.terms.iter().max_by(|a, b| size(a).total_cmp(&size(b)))?;
        (largest.size > 0.0).then_some(largest.mode)
    }

    fn largest_endless(&self) -> Option<usize> {
        let endless = self.terms.iter().filter(|term| term.decay == 0.0);
        endless.max_by(|a, b| a.size.total_cmp(&b.size)).map(|term| term.mode)
    }

    /// Time at which the bound falls to `amplitude`; 0 when it never exceeds it.
    ///
    /// The logarithm of the bound is convex and falls, so Newton steps from 0 approach the crossing from
    /// below; the last step is lengthened until it is beyond.
    fn bound_crossing(&self, amplitude: f64) -> f64 {
        let mut time = 0.0;
        for _ in 0..200 {
            let (mut sum, mut slope) = (0.0, 0.0);
            for term in &self.terms {
                let size = term.size_at(time);
                sum += size;
                slope += size * term.decay;
            }
            if sum <= amplitude || slope <= 0.0 {
                return time;
            }
            let step = (sum / amplitude).ln() * sum / slope;
            time += step.max(1e-12 * time) * (1.0 + 1e-12);
        }
        time
    }

    /// The last time, s, that the envelope exceeds `amplitude`, m; `from` is a time from which it is known not
    /// to.
    fn last_crossing(&self, amplitude: f64, from: f64) -> f64 {
        let start = self.blow.duration;
        let mut time = self.bound_crossing(amplitude).min(from).max(start);
        let target = amplitude * amplitude;
        let mut turned = vec![Complex64::ZERO; self.terms.len()];
        for _ in 0..MOST_STEPS {
            let (square, climb, bend) = self.square_climb_and_bend(time, 1e-12 * amplitude, &mut turned);
            let gap = target - square;
            if time <= start || gap <= EXACTNESS * target {
                break;
            }
            // Earlier in time the square can bend up more, so the step is computed with the bound at its far
            // end.
            let far = time - step_within(gap, climb, bend);
            time -= step_within(gap, climb, self.bend(far.max(start)));
        }
        if time <= start && start > 0.0 && self.envelope(start) < amplitude {
            return self.last_within(amplitude);
        }
        time.max(start)
    }

    /// The last time during the tap that the envelope exceeds `amplitude`, m, to within one sample; 0 when it
    /// never does.
    fn last_within(&self, amplitude: f64) -> f64 {
        let sample = |i: usize| self.blow.duration * i as f64 / WITHIN as f64;
        let above = (0..WITHIN).rev().find(|i| self.envelope(sample(*i)) > amplitude);
        above.map_or(0.0, |i| sample(i + 1))
    }

    /// The square of the envelope at `time`, m2, and its rate of rise backwards in time, m2/s, without modes
    /// smaller than `least`, and [`FreeDecay::bend`]; `turned` is work space with one entry for each mode.
    fn square_climb_and_bend(&self, time: f64, least: f64, turned: &mut [Complex64]) -> (f64, f64, f64) {
        let centre = self.centre();
        let mut sums = BendSums::default();
        for (term, turned) in self.terms.iter().zip(turned.iter_mut()) {
            let shrunk = (-term.decay * time).exp();
            sums.add(term, term.size * shrunk, centre);
            *turned = if term.size * shrunk <= least {
                Complex64::ZERO
            } else {
                Complex64::from_polar(shrunk, (term.omega - centre) * time)
            };
        }
        let (mut square, mut climb) = (0.0, 0.0);
        for j in 0..self.stations {
            let (mut sum, mut slope) = (Complex64::ZERO, Complex64::ZERO);
            for ((term, row), turned) in self.terms.iter().zip(self.rows()).zip(turned.iter()) {
                let part = row[j] * turned;
                sum += part;
                slope += part * Complex64::new(-term.decay, term.omega - centre);
            }
            square += sum.norm_sqr();
            climb -= 2.0 * (sum.conj() * slope).re;
        }
        (square, climb, sums.bound())
    }

    /// Bound of the second derivative of the envelope's square at and after `time`, m2/s2:
    ///
    /// ```text
    /// sum_r sum_s Z_r Z_s ( (w_r - w_s)^2 + (d_r + d_s)^2 ),   Z_r the size and d_r the decay of a mode
    /// ```
    fn bend(&self, time: f64) -> f64 {
        let centre = self.centre();
        let mut sums = BendSums::default();
        self.terms.iter().for_each(|term| sums.add(term, term.size_at(time), centre));
        sums.bound()
    }

    /// A circular frequency, rad/s, that the others are taken relative to: a common rotation does not change
    /// the envelope.
    fn centre(&self) -> f64 {
        self.terms.first().map_or(0.0, |term| term.omega)
    }
}

/// The sums over the modes of which [`FreeDecay::bend`] consists.
#[derive(Debug, Default)]
struct BendSums {
    size: f64,
    turn: f64,
    turn2: f64,
    decay: f64,
    decay2: f64,
}

impl BendSums {
    fn add(&mut self, term: &Term, size: f64, centre: f64) {
        let (turn, decay) = (term.omega - centre, term.decay);
        self.size += size;
        self.turn += size * turn;
        self.turn2 += size * turn * turn;
        self.decay += size * decay;
        self.decay2 += size * decay * decay;
    }

    fn bound(&self) -> f64 {
        let turning = (self.size * self.turn2 - self.turn * self.turn).max(0.0);
        2.0 * (turning + self.size * self.decay2 + self.decay * self.decay)
    }
}

/// Decay rate, 1/s, and damped circular frequency, rad/s, of an elastic mode.
fn pole_of(mode: &ModalMode) -> (f64, f64) {
    let rate = 0.5 * mode.loss_factor * mode.omega;
    // A mode with a loss factor of 2 or more does not oscillate; it is over within a period.
    let square = mode.omega * mode.omega;
    (rate, (square - rate * rate).max(1e-4 * square).sqrt())
}

/// Decay rate, 1/s, and size over the stations `observed`, m, of the motion of the lump `left` after a tap.
fn outdone(left: &Lumped, struck: usize, observed: &[usize], blow: Blow) -> (f64, f64) {
    let lump = match blow.duration > 0.0 {
        true => left.mode.clone(),
        false => ModalMode { loss_factor: left.least_loss, ..left.mode.clone() },
    };
    let (rate, omega) = pole_of(&lump);
    let seen = observed.iter().map(|j| lump.shape[*j].norm_sqr()).sum::<f64>().sqrt();
    let start = lump.shape[struck].norm() * blow.impulse.abs() / omega;
    (rate, seen * start * blow.most(lump.omega))
}

/// The longest step over which a quantity with the rate of rise `climb` and a curvature of at most `bend`
/// cannot rise by more than `gap`.
fn step_within(gap: f64, climb: f64, bend: f64) -> f64 {
    let root = (climb * climb + 2.0 * bend * gap).sqrt();
    if climb > 0.0 { 2.0 * gap / (climb + root) } else { (root - climb) / bend.max(f64::MIN_POSITIVE) }
}

impl Term {
    fn at(&self, time: f64) -> Complex64 {
        Complex64::from_polar((-self.decay * time).exp(), self.omega * time)
    }

    fn size_at(&self, time: f64) -> f64 {
        self.size * (-self.decay * time).exp()
    }
}

/// The envelope of several stations together.
fn together(oscillations: &[Complex64]) -> f64 {
    oscillations.iter().map(|x| x.norm().powi(2)).sum::<f64>().sqrt()
}

fn length(vector: &[f64]) -> f64 {
    vector.iter().map(|x| x * x).sum::<f64>().sqrt()
}

#[cfg(test)]
#[path = "settle_tests.rs"]
mod tests;
