//! The structure that rings: nonlinear oscillators, integrated in time and struck by half-sines of force.
//!
//! ```text
//! x'' + eta w x' + w^2 x (1 - b x^2) + sliders = f(t)
//! a slider: spring w^2 s / n up to its limit, then it slips; limits spread over decades (Iwan)
//! ```

use std::f64::consts::{PI, TAU};

/// How a mode depends on amplitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Not at all.
    Linear,
    /// Its stiffness falls by this part at the amplitude 1.
    Softening(f64),
    /// This part of its stiffness consists of friction sliders, two thirds of which slip at the amplitude 1.
    Rubbing(f64),
}

/// One mode.
#[derive(Debug, Clone, Copy)]
pub struct Oscillator {
    pub frequency_hz: f64,
    /// Loss factor of its linear damper.
    pub loss_factor: f64,
    pub law: Law,
    /// Its share in the signal of the sensor.
    pub weight: f64,
}

/// An impact: a half-sine of force.
#[derive(Debug, Clone, Copy)]
pub struct Blow {
    pub time_s: f64,
    pub duration_s: f64,
    pub strength: f64,
}

/// Frequency and loss factor of a mode at one amplitude.
#[derive(Debug, Clone, Copy)]
pub struct Local {
    pub amplitude: f64,
    pub frequency_hz: f64,
    pub loss_factor: f64,
}

const SLIDERS: usize = 24;

/// One oscillator in motion.
struct Motion {
    of: Oscillator,
    x: f64,
    v: f64,
    sliders: [f64; SLIDERS],
    /// Displacement at which each slider slips: from 0.01 to 10 times the amplitude 1.
    limits: [f64; SLIDERS],
}

impl Motion {
    fn at_rest(of: Oscillator) -> Motion {
        let limits = std::array::from_fn(|i| 10f64.powf(3.0 * i as f64 / (SLIDERS - 1) as f64 - 2.0));
        Motion { of, x: 0.0, v: 0.0, sliders: [0.0; SLIDERS], limits }
    }

    /// Restoring acceleration of springs and sliders after a displacement by `moved`.
    fn restoring(&mut self, moved: f64) -> f64 {
        let square = (TAU * self.of.frequency_hz).powi(2);
        match self.of.law {
            Law::Linear => square * self.x,
            Law::Softening(part) => square * self.x * (1.0 - part * self.x * self.x),
            Law::Rubbing(part) => {
                let each = square * part / SLIDERS as f64;
                let mut force = square * self.x * (1.0 - part);
                for (slider, limit) in self.sliders.iter_mut().zip(&self.limits) {
                    let limit = each * limit;
                    *slider = (*slider + each * moved).clamp(-limit, limit);
                    force += *slider;
                }
                force
            }
        }
    }

    /// Advances by one step of `h` seconds; returns the acceleration at its end.
    fn step(&mut self, h: f64, push: f64) -> f64 {
        let loss = self.of.loss_factor * TAU * self.of.frequency_hz;
        // Drift, then kick; the damper is integrated exactly.
        let moved = h * self.v;
        self.x += moved;
        let pull = self.restoring(moved);
        self.v = self.v * (-loss * h).exp() + h * (push - pull);
        push - pull - loss * self.v
    }
}

/// Time steps per sample: at least fifty per cycle.
fn steps(of: &Oscillator, rate_hz: f64) -> usize {
    (50.0 * of.frequency_hz / rate_hz).ceil().max(1.0) as usize
}

/// Acceleration over w^2 times the amplitude 1, by sample, under the impacts `blows`.
pub fn ring(of: &Oscillator, blows: &[Blow], rate_hz: f64, count: usize) -> Vec<f64> {
    let per = steps(of, rate_hz);
    let h = 1.0 / (rate_hz * per as f64);
    let omega = TAU * of.frequency_hz;
    let mut motion = Motion::at_rest(*of);
    let mut out = Vec::with_capacity(count);
    for n in 0..count {
        let mut sum = 0.0;
        for k in 0..per {
            let t = (n * per + k) as f64 * h;
            let push: f64 = blows
                .iter()
                .filter(|blow| (blow.time_s..blow.time_s + blow.duration_s).contains(&t))
                .map(|blow| {
                    // A short impact of strength 1 excites the amplitude 1.
                    let peak = blow.strength * omega * PI / (2.0 * blow.duration_s);
                    peak * (PI * (t - blow.time_s) / blow.duration_s).sin()
                })
                .sum();
            sum = motion.step(h, push);
        }
        out.push(of.weight * sum / (omega * omega));
    }
    out
}

/// True frequency and loss factor by amplitude, of a free decay from `start` down by 40 dB; read from the
/// upward zero crossings and the speeds there, integrated with the same time steps.
pub fn truth(of: &Oscillator, start: f64, rate_hz: f64) -> Vec<Local> {
    let h = 1.0 / (rate_hz * steps(of, rate_hz) as f64);
    let mut motion = Motion::at_rest(*of);
    motion.v = start * TAU * of.frequency_hz;
    // Upward zero crossings: the time, and the speed there over w.
    let mut crossings: Vec<(f64, f64)> = Vec::new();
    let mut before = (motion.x, motion.v);
    let mut t = 0.0;
    while crossings.len() < 20_000 {
        motion.step(h, 0.0);
        t += h;
        if before.0 < 0.0 && motion.x >= 0.0 {
            let part = -before.0 / (motion.x - before.0);
            let speed = before.1 + part * (motion.v - before.1);
            crossings.push((t - h + part * h, speed / (TAU * of.frequency_hz)));
            if speed / (TAU * of.frequency_hz) < 0.01 * start {
                break;
            }
        }
        before = (motion.x, motion.v);
    }
    let span = (crossings.len() / 12).clamp(2, 40);
    let local = |pair: &[(f64, f64)]| {
        let (first, last) = (pair[0], pair[pair.len() - 1]);
        let cycles = (pair.len() - 1) as f64;
        Local {
            amplitude: (first.1 * last.1).sqrt() * of.weight.abs(),
            frequency_hz: cycles / (last.0 - first.0),
            loss_factor: (first.1 / last.1).ln() / (PI * cycles),
        }
    };
    if crossings.len() <= span {
        return Vec::new();
    }
    crossings.windows(span + 1).step_by((span / 2).max(1)).map(local).collect()
}
