//! Did the striker bounce? Then the ring of one hit comes twice: again after a delay, and weaker.
//!
//! A bounce strikes the place of the first hit, so that every mode answers alike: by the same factor, after the
//! same delay. With these two numbers for all modes, and a free amplitude for each mode and channel, the start of
//! the tap is fitted and compared with the fit of a single hit.
//!
//! ```text
//! x(t) = sum_m 2 Re a_m [phi_m(t) + rho phi_m(t - d)],   phi_m(t) = exp(s_m t), and 0 before t = 0
//! bounce:  left(rho, d) < left(0) / MUCH,   left(0) > LITTLE
//! ```
//!
//! `left` is the share of the energy that a fit leaves unexplained.

use super::identify::Mode;
use super::tap_detection::Tap;
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Strengths of a second hit over that of the first which are tried.
const STRENGTHS: [f64; 7] = [0.1, 0.14, 0.2, 0.28, 0.4, 0.56, 0.8];
/// Shortest and longest time between the two hits, s.
pub(super) const DELAYS: (f64, f64) = (0.018, 0.11);
/// Share that a single hit has to leave unexplained.
const LITTLE: f64 = 0.004;
/// By so much a bounce has to leave less.
const MUCH: f64 = 3.0;
/// Time over which the two are compared, s, in periods of the lowest mode at least, and fewest samples.
const COMPARED: (f64, f64, usize) = (0.16, 1.5, 24);
/// Most samples of one channel, modes, and delays that are compared.
const MOST: (usize, usize, usize) = (240, 6, 400);
/// Delays that are tried in one period of the highest mode.
const PER_PERIOD: f64 = 12.0;
/// Places around the best delay and strength, in steps between two of them, that are tried then.
const FINER: [f64; 7] = [-0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6];
/// Strength over that of the strongest below which a mode is left out.
const FAINT: f64 = 0.05;

/// A bounce that explains the start of a tap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounce {
    /// Samples from the first hit to the second one.
    pub(super) delay: f64,
    /// Strength over that of the first hit.
    pub(super) strength: f64,
    /// Share of the energy that one hit leaves unexplained, and that this bounce leaves.
    pub(super) left: (f64, f64),
}

impl Bounce {
    /// True when one hit explains all but a little.
    pub(super) fn is_needless(&self) -> bool {
        self.left.0 < LITTLE
    }

    /// True when it explains much more than one hit.
    pub(super) fn is_plain(&self) -> bool {
        !self.is_needless() && MUCH * self.left.1 < self.left.0
    }
}

/// The bounce after the first hit of `tap`, number `number`, that explains its start best; `None` when it cannot
/// be compared with one hit. With `near`, in samples from the first hit, only delays around it are tried.
pub(super) fn best_bounce(
    modes: &[Mode],
    channels: &[Vec<f64>],
    (number, tap): (usize, &Tap),
    near: Option<f64>,
    rate_hz: f64,
) -> Option<Bounce> {
    let start = |mode: &Mode| {
        let own = mode.starts.iter().filter(|start| start.0 == number);
        own.map(|start| start.2.norm()).fold(0.0, f64::max)
    };
    let mut heard: Vec<&Mode> = modes.iter().filter(|mode| start(mode) > 0.0).collect();
    heard.sort_by(|a, b| start(b).total_cmp(&start(a)));
    let top = heard.first().map(|mode| start(mode))?;
    heard.retain(|mode| start(mode) > FAINT * top);
    heard.truncate(MOST.1);
    let (lowest, highest) = heard.iter().fold((f64::MAX, 0.0), |(low, high), mode| {
        (f64::min(low, mode.ringing / TAU), f64::max(high, mode.ringing / TAU))
    });
    let from = tap.first + ((0.004 * rate_hz) as usize).max(1);
    let length = ((COMPARED.0.max(COMPARED.1 / lowest) * rate_hz) as usize).max(COMPARED.2);
    let to = from.saturating_add(length).min(tap.end).min(channels.first()?.len());
    if to < from + COMPARED.2 + 2 * heard.len() {
        return None;
    }
    let thinned = ((to - from) / MOST.0).max(1);
    let places: Vec<usize> = (from..to).step_by(thinned).collect();
    let samples: Vec<DVector<f64>> =
        channels.iter().map(|x| DVector::from_iterator(places.len(), places.iter().map(|n| x[*n]))).collect();
    let all: f64 = samples.iter().map(|x| x.norm_squared()).sum();
    let waves: Vec<Wave> =
        heard.iter().map(|mode| Wave::new(mode, start(mode), to - tap.first, rate_hz)).collect();
    let start_of_ring = Start::new(waves, places, tap.first, samples);
    let all = all.max(f64::MIN_POSITIVE);
    let single = start_of_ring.after(0.0).unexplained(0.0)? / all;
    let none = Bounce { delay: 0.0, strength: 0.0, left: (single, single) };
    if none.is_needless() {
        return Some(none);
    }
    let step = rate_hz / (PER_PERIOD * highest);
    let longest = (DELAYS.1 * rate_hz).min(0.8 * (to - tap.first) as f64);
    let (low, high) = match near {
        Some(near) => (near - 0.002 * rate_hz - 1.5, near + 0.002 * rate_hz + 1.5),
        None => (DELAYS.0 * rate_hz, longest),
    };
    let (low, high) = (low.max(DELAYS.0 * rate_hz).max(2.5), high.min(longest));
    if high <= low || (high - low) / step > MOST.2 as f64 {
        return None;
    }
    let best = |delays: &[f64], strengths: &[f64]| {
        let tried = delays.iter().flat_map(|delay| {
            let after = start_of_ring.after(*delay);
            let left = move |strength: &f64| Some((*strength, after.unexplained(*strength)? / all));
            strengths.iter().filter_map(left).map(|(strength, left)| Bounce {
                delay: *delay,
                strength,
                left: (single, left),
            })
        });
        tried.min_by(|a, b| a.left.1.total_cmp(&b.left.1))
    };
    let count = ((high - low) / step).ceil();
    let delays: Vec<f64> = (0..=count as usize).map(|i| low + (high - low) * i as f64 / count).collect();
    let coarse = best(&delays, &STRENGTHS)?;
    best(
        &FINER.map(|part| coarse.delay + part * step),
        &FINER.map(|part| coarse.strength * STRENGTHS[1].powf(part) / STRENGTHS[0].powf(part)),
    )
}

/// The ring of one mode after a hit: its complex exponent by sample.
struct Wave(Vec<Complex64>);

impl Wave {
    /// The wave of `mode`, which rings with the amplitude `start` where its reading begins.
    fn new(mode: &Mode, start: f64, length: usize, rate_hz: f64) -> Wave {
        let loudest = mode.starts.iter().map(|start| start.2.norm()).fold(0.0, f64::max);
        let mut level = (start / loudest).ln();
        let mut exponent = Complex64::ZERO;
        let mut list = Vec::with_capacity(length + 1);
        for _ in 0..=length {
            list.push(exponent);
            let pole = mode.pole_at(level) / rate_hz;
            exponent += pole;
            level += pole.re;
        }
        Wave(list)
    }

    /// The wave at `at` samples after the hit; zero before it.
    fn at(&self, at: f64) -> Complex64 {
        if at < 0.0 {
            return Complex64::ZERO;
        }
        let (n, part) = (at.floor() as usize, at.fract());
        match (self.0.get(n), self.0.get(n + 1)) {
            (Some(a), Some(b)) => (a + part * (b - a)).exp(),
            _ => Complex64::ZERO,
        }
    }
}

/// The samples at the start of a tap, and the ring of its first hit.
struct Start {
    waves: Vec<Wave>,
    /// Samples after the hit.
    places: Vec<f64>,
    /// One column a channel.
    samples: Vec<DVector<f64>>,
    /// One row a sample; of each wave its real and imaginary part, then a constant.
    first: DMatrix<f64>,
    /// Products of the columns of `first` with each other.
    products: DMatrix<f64>,
}

impl Start {
    fn new(waves: Vec<Wave>, places: Vec<usize>, hit: usize, samples: Vec<DVector<f64>>) -> Start {
        let places: Vec<f64> = places.into_iter().map(|place| (place - hit) as f64).collect();
        let first = columns(&waves, &places, 0.0, 1.0);
        let products = first.transpose() * &first;
        Start { waves, places, samples, first, products }
    }

    /// What a second hit `delay` samples after the first one adds.
    fn after(&self, delay: f64) -> Second<'_> {
        let second = columns(&self.waves, &self.places, delay, 0.0);
        let mixed = self.first.transpose() * &second;
        Second {
            start: self,
            mixed: &mixed + mixed.transpose(),
            own: second.transpose() * &second,
            along: self
                .samples
                .iter()
                .map(|x| (self.first.transpose() * x, second.transpose() * x))
                .collect(),
        }
    }
}

/// A start with a second hit: products of its columns with those of the first hit, with themselves, and of both
/// with the samples of each channel.
struct Second<'a> {
    start: &'a Start,
    mixed: DMatrix<f64>,
    own: DMatrix<f64>,
    along: Vec<(DVector<f64>, DVector<f64>)>,
}

impl Second<'_> {
    /// Sum of squares of the samples that both hits cannot explain, the second of this strength.
    fn unexplained(&self, strength: f64) -> Option<f64> {
        let mut normal = &self.start.products + strength * &self.mixed + strength * strength * &self.own;
        for i in 0..normal.nrows() {
            normal[(i, i)] = normal[(i, i)] * (1.0 + 1e-9) + f64::MIN_POSITIVE;
        }
        let solver = normal.cholesky()?;
        let rest = |(x, (first, second)): (&DVector<f64>, &(DVector<f64>, DVector<f64>))| {
            let right = first + strength * second;
            x.norm_squared() - right.dot(&solver.solve(&right))
        };
        Some(self.start.samples.iter().zip(&self.along).map(rest).sum::<f64>().max(0.0))
    }
}

/// The real and imaginary parts of `waves`, `delay` samples late, and a column of `constant`.
fn columns(waves: &[Wave], places: &[f64], delay: f64, constant: f64) -> DMatrix<f64> {
    let mut columns = DMatrix::from_element(places.len(), 2 * waves.len() + 1, constant);
    for (m, wave) in waves.iter().enumerate() {
        for (row, at) in places.iter().enumerate() {
            let value = wave.at(at - delay);
            columns[(row, 2 * m)] = value.re;
            columns[(row, 2 * m + 1)] = value.im;
        }
    }
    columns
}
