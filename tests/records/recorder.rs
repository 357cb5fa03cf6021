//! What happens to a signal between the part and the file: room, hum, handling, gain, codec.

use rand::{RngExt, SeedableRng, rngs::StdRng};
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::{PI, TAU};

/// Random numbers with short names.
pub struct Chance(pub StdRng);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(StdRng::seed_from_u64(seed))
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }
    /// Uniform in the logarithm.
    pub fn over(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.0.random::<f64>())
    }
    pub fn one_in(&mut self, n: u32) -> bool {
        self.0.random_range(0..n) == 0
    }
    pub fn pick(&mut self, n: usize) -> usize {
        self.0.random_range(0..n)
    }
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }
}

pub fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |most: f64, x| most.max(x.abs()))
}

/// Adds the reverberation of a room (comb filters and two all-passes), which falls by 60 dB in `seconds`.
pub fn reverberate(x: &mut [f64], rate: f64, seconds: f64, level: f64) {
    let dry = x.to_vec();
    let mut wet = vec![0.0; x.len()];
    for delay in [0.0297, 0.0371, 0.0411, 0.0437, 0.0503, 0.0571, 0.0613, 0.0677] {
        let n = (delay * rate) as usize;
        let back = 10f64.powf(-3.0 * delay / seconds);
        let mut line = vec![0.0; n];
        for (i, (w, d)) in wet.iter_mut().zip(&dry).enumerate() {
            let out = line[i % n];
            *w += out / 8.0;
            line[i % n] = d + back * out;
        }
    }
    for delay in [0.005, 0.0017] {
        let n = ((delay * rate) as usize).max(1);
        let mut line = vec![0.0; n];
        for (i, w) in wet.iter_mut().enumerate() {
            let held = line[i % n];
            let out = held - 0.7 * *w;
            line[i % n] = *w + 0.7 * out;
            *w = out;
        }
    }
    x.iter_mut().zip(wet).for_each(|(x, w)| *x += level * w);
}

/// Adds mains hum with overtones; with `wanders` its frequency and strength drift slowly.
pub fn hum(x: &mut [f64], rate: f64, mains: f64, level: f64, wanders: bool, chance: &mut Chance) {
    let overtones: Vec<(f64, f64, f64)> =
        (1..=5).map(|k| (f64::from(k), chance.between(0.1, 1.0), chance.between(0.0, TAU))).collect();
    let (mut phase, mut pitch, mut swell) = (0.0, 0.0, 0.0);
    for x in x.iter_mut() {
        if wanders {
            let step = (1.0 / rate).sqrt();
            pitch += step * (0.3 * chance.normal()) - pitch / rate;
            swell += step * (0.5 * chance.normal()) - swell / rate;
        }
        phase += TAU * (mains + pitch) / rate;
        let sum: f64 = overtones.iter().map(|(k, a, p)| a * (k * phase + p).sin()).sum();
        *x += level * (swell.clamp(-0.8, 0.8) + 1.0) * sum;
    }
}

/// Adds noise below `corner`, Hz, with a root mean square of `level`.
pub fn rumble(x: &mut [f64], rate: f64, corner: f64, level: f64, chance: &mut Chance) {
    let keep = (-TAU * corner / rate).exp();
    let (mut one, mut two) = (0.0, 0.0);
    let scale = level / (0.5 * (1.0 - keep) / (1.0 + keep)).sqrt();
    for x in x.iter_mut() {
        one = keep * one + (1.0 - keep) * chance.normal();
        two = keep * two + (1.0 - keep) * one;
        *x += scale * two;
    }
}

/// Adds two thumps of a hand before `until`, s.
pub fn handle(x: &mut [f64], rate: f64, until: f64, level: f64, chance: &mut Chance) {
    for _ in 0..2 {
        let at = chance.between(0.05, (until - 0.3).max(0.06));
        let (length, pitch) = (chance.between(0.02, 0.06), chance.between(20.0, 90.0));
        for (n, x) in x.iter_mut().enumerate() {
            let t = n as f64 / rate - at;
            if (0.0..length).contains(&t) {
                *x += level * (PI * t / length).sin() * ((TAU * pitch * t).sin() + 0.3 * chance.normal());
            }
        }
    }
}

/// How a recorder changes its gain automatically.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gain {
    /// Falls at once and rises slowly.
    Creeping,
    /// Follows the level within a tenth of a second.
    Compressing,
    /// Reduces only the loudest part.
    Limiting,
    /// Makes quiet parts quieter.
    Gating,
}

pub fn turn(x: &mut [f64], rate: f64, gain: Gain, chance: &mut Chance) {
    let top = peak(x);
    let (release, slope, threshold): (f64, f64, f64) = match gain {
        Gain::Creeping => (chance.between(0.8, 3.0), -0.5, 0.05),
        Gain::Compressing => (0.1, -0.5, 0.03),
        Gain::Limiting => (0.05, -0.9, 0.4),
        Gain::Gating => (0.05, 0.7, 0.01),
    };
    let mut held = 0.0;
    let fall = (-1.0 / (release * rate)).exp();
    for x in x.iter_mut() {
        held = (held * fall).max(x.abs());
        let over = held / (threshold * top);
        let quiet = gain == Gain::Gating;
        if quiet == (over < 1.0) {
            *x *= over.max(1e-6).powf(slope);
        }
    }
}

/// A lossy codec.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Codec {
    /// Long transform blocks: lines coarsely quantized in each band, weak ones set to zero.
    Long,
    /// The same in short blocks.
    Short,
    /// Differential coding with four bits per sample.
    Differences,
}

pub fn code(x: &mut [f64], codec: Codec) {
    match codec {
        Codec::Differences => differences(x),
        Codec::Long => lines(x, 1024, 0.04),
        Codec::Short => lines(x, 256, 0.06),
    }
}

fn differences(x: &mut [f64]) {
    let (mut value, mut step) = (0.0, 1e-3 * peak(x));
    for x in x.iter_mut() {
        let code = ((*x - value) / step).round().clamp(-7.0, 7.0);
        value += code * step;
        step = (step * if code.abs() > 4.0 { 1.5 } else { 0.92 }).max(3e-5);
        *x = value;
    }
}

/// Lapped transform with blocks of `half` lines: each band is quantized in steps of `coarse` times its
/// largest line; lines below a floor become zero.
fn lines(x: &mut [f64], half: usize, coarse: f64) {
    let whole = 2 * half;
    let window: Vec<f64> = (0..whole).map(|n| (PI * (n as f64 + 0.5) / whole as f64).sin()).collect();
    let floor = 1.5e-4 * peak(x);
    let mut planner = realfft::RealFftPlanner::<f64>::new();
    let mut padded = vec![0.0; half];
    padded.extend_from_slice(x);
    padded.resize(padded.len().div_ceil(half) * half + half, 0.0);
    let mut out = vec![0.0; padded.len()];
    // The transform is computed by an FFT of four times the length: simple, and fast enough here.
    let plan = planner.plan_fft_forward(4 * whole);
    let mut input = plan.make_input_vec();
    let mut output = plan.make_output_vec();
    for from in (0..padded.len() - half).step_by(half) {
        if from + whole > padded.len() {
            break;
        }
        // X_k = sum x_n cos(pi/half (n + 1/2 + half/2)(k + 1/2)): the odd points of a grid twice as fine.
        input.fill(0.0);
        for n in 0..whole {
            let place = 2 * n + 1 + half;
            input[place % (4 * whole)] += padded[from + n] * window[n];
        }
        if plan.process(&mut input, &mut output).is_err() {
            return;
        }
        let mut spectrum: Vec<f64> = (0..half).map(|k| output[2 * k + 1].re).collect();
        let mut low = 0;
        while low < half {
            let high = (low + 4 + low / 4).min(half);
            let band = &mut spectrum[low..high];
            let step = (coarse * peak(band)).max(floor * (half as f64).sqrt());
            band.iter_mut().for_each(|line| *line = (*line / step).round() * step);
            low = high;
        }
        // Inverse: x_n = 2/half sum X_k cos(...), on the same grid.
        let mut back = vec![0.0; 4 * whole];
        for (k, line) in spectrum.iter().enumerate() {
            back[2 * k + 1] = *line;
        }
        input.copy_from_slice(&back);
        if plan.process(&mut input, &mut output).is_err() {
            return;
        }
        for n in 0..whole {
            let place = 2 * n + 1 + half;
            let mirrored = place.min(4 * whole - place);
            out[from + n] += 2.0 / half as f64 * output[mirrored].re * window[n];
        }
    }
    x.copy_from_slice(&out[half..half + x.len()]);
}
