//! How warm the middle of a lift gets while it cures.
//!
//! ```text
//! rho c dT/dt = k d2T/dz2 + rho w H d(alpha)/dt        d(alpha)/dt as of the binder, in place
//! k dT/dz     = u (T - T_surroundings)                 at each face
//! ```
//!
//! A wide slab: heat leaves through its two faces only. Finite volumes in space; in time a
//! Rosenbrock method of third order whose steps follow an embedded second. Conversion is
//! eliminated cell by cell, so that each stage is one tridiagonal solution. Linear invariants
//! pass through unharmed: heat set free, stored and lost add up to rounding.
//!
//! # Source
//! - `sandu1997`: coefficients of the method RODAS3
//! - `carslaw1959`: conduction with generation

use super::kinetics::Kinetics;
use crate::material::GEL;
use serde::Serialize;

/// Cells across the thickness: odd, so that one of them is the middle.
const CELLS: usize = 41;
const MIDDLE: usize = CELLS / 2;
/// Accuracy of a step in temperature, K, and in conversion.
const TOLERANCE: (f64, f64) = (2e-3, 1e-5);
/// Nothing is followed beyond sixty days.
const LONGEST: f64 = 60.0 * 86400.0;
/// The span in which the largest lift is looked for, m.
const LIFTS: (f64, f64) = (2e-3, 1.0);
/// Points of a history that are kept.
const POINTS: usize = 60;

/// One lift as a wide slab.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lift {
    /// m, from face to face.
    pub thickness: f64,
    /// k, W/(m K).
    pub conductivity: f64,
    /// rho c, J/(m3 K).
    pub heat_capacity: f64,
    /// rho w H, J/m3: heat that the whole cure sets free.
    pub heat: f64,
    /// Rate of the cure.
    pub kinetics: Kinetics,
    /// Temperature of the mix as poured, K.
    pub start: f64,
    /// Temperature around, K.
    pub surroundings: f64,
    /// u, heat passed by each face, W/(m2 K); 0 keeps it in, infinity holds the face.
    pub faces: [f64; 2],
}

/// One moment of a cure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Moment {
    /// s after mixing.
    pub time_s: f64,
    /// In the middle, K.
    pub middle_k: f64,
    /// At the warmer face, in the outermost cell, K.
    pub face_k: f64,
    /// Conversion in the middle.
    pub conversion: f64,
}

/// How a lift cured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cure {
    /// Highest temperature anywhere, K.
    pub peak_k: f64,
    /// When, s after mixing.
    pub peak_time_s: f64,
    /// When the middle gels, s after mixing; `None` if it did not within the time followed.
    pub gel_time_s: Option<f64>,
    /// Heat set free less heat stored and lost, by the heat set free.
    pub balance: f64,
    /// Moments from first to last.
    pub history: Vec<Moment>,
}

/// Temperatures, conversions and the heat lost per face area (J/m2).
#[derive(Clone)]
struct State {
    t: [f64; CELLS],
    alpha: [f64; CELLS],
    lost: f64,
}

impl State {
    const NOTHING: State = State { t: [0.0; CELLS], alpha: [0.0; CELLS], lost: 0.0 };

    fn add(&mut self, factor: f64, other: &State) {
        for i in 0..CELLS {
            self.t[i] += factor * other.t[i];
            self.alpha[i] += factor * other.alpha[i];
        }
        self.lost += factor * other.lost;
    }
}

impl Lift {
    fn cell(&self) -> f64 {
        self.thickness / CELLS as f64
    }

    /// Heat passed between two cells, and from the outermost to the surroundings, W/(m2 K).
    fn passed(&self) -> (f64, [f64; 2]) {
        let between = self.conductivity / self.cell();
        let out = self.faces.map(|u| if u > 0.0 { 1.0 / (1.0 / u + 0.5 / between) } else { 0.0 });
        (between, out)
    }

    fn change(&self, x: &State) -> State {
        let (between, out) = self.passed();
        let stored = self.heat_capacity * self.cell();
        let mut change = State::NOTHING;
        for i in 0..CELLS {
            let rate = self.kinetics.rate(x.alpha[i], x.t[i]);
            let mut flow = 0.0;
            if i > 0 {
                flow += between * (x.t[i - 1] - x.t[i]);
            }
            if i + 1 < CELLS {
                flow += between * (x.t[i + 1] - x.t[i]);
            }
            change.alpha[i] = rate;
            change.t[i] = flow / stored + self.heat / self.heat_capacity * rate;
        }
        for (end, u) in [(0, out[0]), (CELLS - 1, out[1])] {
            let flow = u * (x.t[end] - self.surroundings);
            change.t[end] -= flow / stored;
            change.lost += flow;
        }
        change
    }

    /// Solves (shift - J) u = b with the Jacobian at `x`; `None` where the step is too long for
    /// a cure that feeds on itself.
    fn solve(&self, x: &State, shift: f64, b: &State) -> Option<State> {
        let (between, out) = self.passed();
        let stored = self.heat_capacity * self.cell();
        let (off, warming) = (between / stored, self.heat / self.heat_capacity);
        let mut u = State::NOTHING;
        let mut upper = [0.0; CELLS];
        let mut held = [(0.0, 0.0); CELLS];
        for i in 0..CELLS {
            let (with_conversion, with_temperature) = self.kinetics.slopes(x.alpha[i], x.t[i]);
            let rest = shift - with_conversion;
            if rest <= 0.1 * shift {
                return None;
            }
            held[i] = (rest, with_temperature);
            let neighbours = if i == 0 || i + 1 == CELLS { 1.0 } else { 2.0 };
            let mut diagonal = shift + neighbours * off - warming * with_temperature * shift / rest;
            let ends = [(i == 0, out[0]), (i + 1 == CELLS, out[1])];
            diagonal += ends.iter().filter(|(here, _)| *here).map(|(_, u)| u / stored).sum::<f64>();
            let mut right = b.t[i] + warming * with_conversion * b.alpha[i] / rest;
            if i > 0 {
                diagonal -= off * upper[i - 1];
                right += off * u.t[i - 1];
            }
            if diagonal <= 0.0 {
                return None;
            }
            upper[i] = off / diagonal;
            u.t[i] = right / diagonal;
        }
        for i in (0..CELLS - 1).rev() {
            u.t[i] += upper[i] * u.t[i + 1];
        }
        for i in 0..CELLS {
            let (rest, with_temperature) = held[i];
            u.alpha[i] = (b.alpha[i] + with_temperature * u.t[i]) / rest;
        }
        u.lost = (b.lost + out[0] * u.t[0] + out[1] * u.t[CELLS - 1]) / shift;
        Some(u)
    }

    /// One step of length `h`, and its error by the accuracy asked.
    fn step(&self, x: &State, h: f64) -> Option<(State, f64)> {
        const GAMMA: f64 = 0.5;
        let shift = 1.0 / (GAMMA * h);
        let begin = self.change(x);
        let first = self.solve(x, shift, &begin)?;
        let mut right = begin;
        right.add(4.0 / h, &first);
        let second = self.solve(x, shift, &right)?;
        let mut middle = x.clone();
        middle.add(2.0, &first);
        let mut right = self.change(&middle);
        right.add(1.0 / h, &first);
        right.add(-1.0 / h, &second);
        let third = self.solve(x, shift, &right)?;
        let mut end = middle;
        end.add(1.0, &third);
        let mut right = self.change(&end);
        right.add(1.0 / h, &first);
        right.add(-1.0 / h, &second);
        right.add(-8.0 / (3.0 * h), &third);
        let error = self.solve(x, shift, &right)?;
        end.add(1.0, &error);
        let size = |i: usize| (error.t[i].abs() / TOLERANCE.0).max(error.alpha[i].abs() / TOLERANCE.1);
        let size = (0..CELLS).map(size).fold(0.0, f64::max);
        size.is_finite().then_some((end, size))
    }

    /// Follows the lift for `duration` (s), or until `done` says so of the moment and the peak.
    fn follow(&self, duration: f64, done: impl Fn(&Moment, f64) -> bool) -> Cure {
        let mut x = State { t: [self.start; CELLS], ..State::NOTHING };
        let mut cure = Cure {
            peak_k: self.start,
            peak_time_s: 0.0,
            gel_time_s: None,
            balance: 0.0,
            history: vec![self.moment(0.0, &x)],
        };
        let (mut time, mut h) = (0.0, 1.0f64.min(duration));
        while time < duration {
            h = h.min(duration - time);
            let Some((next, error)) = self.step(&x, h).filter(|(_, error)| *error <= 1.0) else {
                h *= 0.4;
                if h < 1e-9 {
                    break;
                }
                continue;
            };
            let before = x.alpha[MIDDLE];
            time = if h >= duration - time { duration } else { time + h };
            if before < GEL && next.alpha[MIDDLE] >= GEL {
                let part = (GEL - before) / (next.alpha[MIDDLE] - before);
                cure.gel_time_s = Some(time - h * (1.0 - part));
            }
            x = next;
            let warmest = x.t.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            if warmest > cure.peak_k {
                (cure.peak_k, cure.peak_time_s) = (warmest, time);
            }
            let moment = self.moment(time, &x);
            cure.history.push(moment);
            if done(&moment, cure.peak_k) {
                break;
            }
            h *= (0.9 * error.max(1e-6).powf(-1.0 / 3.0)).clamp(0.3, 3.0);
        }
        cure.balance = self.balance(&x);
        thin(&mut cure.history);
        cure
    }

    fn moment(&self, time_s: f64, x: &State) -> Moment {
        let face_k = x.t[0].max(x.t[CELLS - 1]);
        Moment { time_s, middle_k: x.t[MIDDLE], face_k, conversion: x.alpha[MIDDLE] }
    }

    fn balance(&self, x: &State) -> f64 {
        let free: f64 = x.alpha.iter().map(|alpha| alpha * self.heat * self.cell()).sum();
        let stored: f64 = x.t.iter().map(|t| (t - self.start) * self.heat_capacity * self.cell()).sum();
        let scale = free.abs().max(stored.abs()).max(x.lost.abs()).max(1.0);
        (free - stored - x.lost) / scale
    }

    /// The lift over `duration` seconds.
    pub fn over(&self, duration: f64) -> Cure {
        self.follow(duration, |_, _| false)
    }

    /// The lift until it has cured and its peak is well past.
    pub fn cure(&self) -> Cure {
        self.follow(LONGEST, |moment, peak| {
            let past = moment.middle_k < peak - 0.3 * (peak - self.surroundings) && moment.conversion > GEL;
            past || moment.conversion > 0.98
        })
    }

    /// The thickest lift like this one that stays below `limit` (K); `None` where one of a metre
    /// still does, 0 where even a skin of 2 mm does not.
    pub fn largest(&self, limit: f64) -> Option<f64> {
        let over = |thickness: f64| Lift { thickness, ..*self }.cure().peak_k > limit;
        let (mut low, mut high) = LIFTS;
        if !over(high) {
            return None;
        }
        if over(low) {
            return Some(0.0);
        }
        while high / low > 1.005 {
            let middle = (low * high).sqrt();
            if over(middle) { high = middle } else { low = middle }
        }
        Some(low)
    }

    /// How near the lift is to running away, by the critical value: above 1 it does if the
    /// binder does not run out first. `None` where a face keeps the heat in: nothing is steady
    /// then. Both faces count as the worse of the two.
    ///
    /// ```text
    /// delta = (theta/T^2) a^2 q/k,      q the highest heat set free at T, a half the thickness
    /// ```
    ///
    /// # Source
    /// - `frank1955`: the parameter and the steady solution of a slab
    pub fn runaway(&self) -> Option<f64> {
        let half = self.thickness / 2.0;
        let heat = self.heat * self.kinetics.highest_rate(self.surroundings);
        let steepness = self.kinetics.activation_temperature / self.surroundings.powi(2);
        let passed = self.faces[0].min(self.faces[1]);
        let critical = critical_slab(passed * half / self.conductivity);
        let delta = steepness * half * half * heat / self.conductivity;
        (critical > 0.0).then_some(delta / critical)
    }
}

/// The critical parameter of a slab whose faces pass heat with the Biot number `biot`.
///
/// The steady slab with a middle of D has delta = 2 D^2 exp(-2 ln cosh D - 2 D tanh(D)/biot);
/// beyond the largest of these none is steady. 0.8785 for faces held at their temperature.
///
/// # Source
/// - `frank1955`: the solution for held faces; the other follows with the face's own balance
pub fn critical_slab(biot: f64) -> f64 {
    if biot <= 0.0 {
        return 0.0;
    }
    let delta = |d: f64| 2.0 * d * d * (-2.0 * d.cosh().ln() - 2.0 * d * d.tanh() / biot).exp();
    let (mut low, mut high) = (0.0, 3.0);
    while high - low > 1e-9 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if delta(a) < delta(b) { low = a } else { high = b }
    }
    delta((low + high) / 2.0)
}

/// Keeps the first, the last and evenly chosen moments between.
fn thin(history: &mut Vec<Moment>) {
    let count = history.len();
    if count <= POINTS {
        return;
    }
    let kept = (0..POINTS).map(|i| history[i * (count - 1) / (POINTS - 1)]).collect();
    *history = kept;
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn lift(thickness: f64) -> Lift {
        Lift {
            thickness,
            conductivity: 1.5,
            heat_capacity: 1.9e6,
            heat: 2100.0 * 0.2 * 4e5,
            kinetics: Kinetics {
                rate_constant: 1.3e6,
                activation_temperature: 7000.0,
                start_order: 0.5,
                end_order: 1.5,
                seed: 0.01,
            },
            start: 295.0,
            surroundings: 295.0,
            faces: [8.0, 8.0],
        }
    }

    #[test]
    fn without_loss_it_warms_by_the_adiabatic_rise_at_the_adiabatic_time() {
        let shut = Lift { faces: [0.0, 0.0], ..lift(0.1) };
        let rise = shut.heat / shut.heat_capacity;
        let cure = shut.cure();
        let end = cure.history.last().unwrap();
        assert_relative_eq!(cure.peak_k - 295.0, rise * end.conversion, max_relative = 1e-9);
        let gel = shut.kinetics.times(295.0, rise, &[GEL])[0];
        assert_relative_eq!(cure.gel_time_s.unwrap(), gel, max_relative = 2e-3);
    }

    #[test]
    fn heat_adds_up() {
        for thickness in [0.02, 0.1, 0.3] {
            assert!(lift(thickness).cure().balance.abs() < 1e-9);
        }
    }

    #[test]
    fn thicker_lifts_get_warmer_and_none_beyond_the_adiabatic_rise() {
        let peaks: Vec<f64> = [0.01, 0.03, 0.1, 0.3, 0.9].map(|d| lift(d).cure().peak_k).to_vec();
        assert!(peaks.windows(2).all(|pair| pair[0] < pair[1]), "{peaks:?}");
        let one = lift(0.9);
        assert!(peaks[4] < 295.0 + one.heat / one.heat_capacity);
        assert!(peaks[0] < 300.0);
    }

    #[test]
    fn the_largest_lift_just_keeps_below_the_limit() {
        let largest = lift(0.1).largest(333.15).unwrap();
        let peak = |d: f64| lift(d).cure().peak_k;
        assert!(peak(largest) <= 333.15 && peak(1.01 * largest) > 333.15, "{largest}");
        assert_eq!(lift(0.1).largest(1000.0), None);
        assert_eq!(lift(0.1).largest(294.0), Some(0.0));
    }

    #[test]
    fn a_lift_runs_away_beyond_the_critical_thickness_when_the_binder_does_not_run_out() {
        // So much heat that a thousandth of the binder already warms it by hundreds of kelvin.
        let mut slab = lift(0.1);
        slab.kinetics = Kinetics { start_order: 0.0, end_order: 0.0, ..slab.kinetics };
        slab.kinetics.activation_temperature = 15_000.0;
        slab.kinetics.rate_constant = 1e-9 * (15_000.0f64 / 295.0).exp();
        slab.heat = 1e13;
        slab.faces = [f64::INFINITY; 2];
        let critical = slab.thickness / slab.runaway().unwrap().sqrt();
        let hot = |part: f64| Lift { thickness: part * critical, ..slab }.over(4e5).peak_k;
        assert!(hot(0.95) < 305.0, "{}", hot(0.95));
        assert!(hot(1.08) > 400.0, "{}", hot(1.08));
    }

    #[test]
    fn a_skin_that_passes_no_heat_has_no_steady_state() {
        assert_eq!(critical_slab(0.0), 0.0);
        assert_eq!(Lift { faces: [0.0, 8.0], ..lift(0.1) }.runaway(), None);
        assert!(critical_slab(1.0) < critical_slab(100.0));
    }
}
