//! Does a rotating part excite the base? Speeds that meet a mode, and the motion from unbalance.
//!
//! A speed `n`, turns per second, excites at its orders `o n`; it clashes where that is the frequency of a
//! mode. An unbalance `u`, mass times radius, is a rotating force of magnitude `u w^2`. The axis of rotation
//! is not stated, so the worst one is taken: with the row `h = p + i q` of the compliance from the force's
//! three directions to one motion,
//!
//! ```text
//! X = u w^2 sqrt( |p|^2 + |q|^2 + 2 |p x q| )
//! ```
//!
//! which is `u w^2 |h|` where only one direction moves it.
//!
//! # Source
//! - `rao2011`: ch. 3, response to a rotating unbalance

use super::modal::ModalModel;
use super::peak::{SEARCH_STEP, largest, resolving_squares};
use serde::Serialize;
use std::f64::consts::TAU;

/// A mode up to this fraction beyond an end of the range is still listed: speeds and models are not exact.
const NEAR: f64 = 0.15;

/// A range of running speeds.
#[derive(Debug, Clone, PartialEq)]
pub struct RunningSpeeds {
    /// Its name in the design.
    pub name: String,
    /// Turns per second, lower end first.
    pub range: (f64, f64),
    /// Multiples of the speed that excite.
    pub orders: Vec<usize>,
}

/// A running speed that meets a mode, or nearly.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Clash {
    /// Name of the range of speeds.
    pub speeds: String,
    /// Multiple of the speed.
    pub order: usize,
    /// The mode, from 1 in the order of the model.
    pub mode: usize,
    /// Its frequency, Hz.
    pub frequency_hz: f64,
    /// Its loss factor: the smaller, the narrower and higher the resonance.
    pub loss_factor: f64,
    /// The speed that meets it, rpm.
    pub speed_rpm: f64,
    /// True when that speed is in the range; false when it lies beyond, but near.
    pub crossed: bool,
    /// Distance of that speed from the nearer end of the range as a fraction of that end: how far inside the
    /// range where it is crossed, how far outside where it is near.
    pub margin: f64,
}

/// The stretch of one order in a plot of frequency over speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OrderLine {
    /// Multiple of the speed.
    pub order: usize,
    /// Slowest and fastest speed, rpm.
    pub speed_rpm: [f64; 2],
    /// Frequencies excited there, Hz.
    pub frequency_hz: [f64; 2],
}

/// Every elastic mode that an order of `speeds` crosses or comes near, by order and then by mode.
pub fn clashes(model: &ModalModel, speeds: &RunningSpeeds) -> Vec<Clash> {
    let (low, high) = speeds.range;
    let mut found = Vec::new();
    for order in &speeds.orders {
        for (number, mode) in model.modes().iter().enumerate().filter(|(_, mode)| !mode.is_rigid()) {
            let frequency = mode.omega / TAU;
            let speed = frequency / *order as f64;
            let outside = if speed > high { (speed - high) / high } else { (low - speed) / low };
            let crossed = speed >= low && speed <= high;
            if !crossed && outside > NEAR {
                continue;
            }
            let inside = ((high - speed) / high).min(if low > 0.0 { (speed - low) / low } else { f64::MAX });
            found.push(Clash {
                speeds: speeds.name.clone(),
                order: *order,
                mode: number + 1,
                frequency_hz: frequency,
                loss_factor: mode.loss_factor,
                speed_rpm: 60.0 * speed,
                crossed,
                margin: if crossed { inside } else { outside },
            });
        }
    }
    found
}

/// The lines of all orders of `speeds` in a plot of frequency over speed.
pub fn order_lines(speeds: &RunningSpeeds) -> Vec<OrderLine> {
    let (low, high) = speeds.range;
    let line = |order: &usize| OrderLine {
        order: *order,
        speed_rpm: [60.0 * low, 60.0 * high],
        frequency_hz: [*order as f64 * low, *order as f64 * high],
    };
    speeds.orders.iter().map(line).collect()
}

/// Motion caused by an unbalance over a range of speeds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnbalanceMotion {
    /// rpm, rising.
    pub speed_rpm: Vec<f64>,
    /// Amplitude at the observed station, m.
    pub motion_m: Vec<f64>,
    /// Speed in the range at which it is greatest, rpm.
    pub worst_speed_rpm: f64,
    /// Greatest amplitude, m.
    pub worst_motion_m: f64,
}

/// Amplitude, m, at the station `observed` for an `unbalance`, kg m, that rotates at `speed`, turns per
/// second, about the worst axis through the point of the stations `at` (forces along x, y, z).
pub fn unbalance_at(model: &ModalModel, observed: usize, at: [usize; 3], unbalance: f64, speed: f64) -> f64 {
    let omega = TAU * speed;
    let h = at.map(|k| model.compliance(observed, k, omega));
    let cross = |a: usize, b: usize| h[a].re * h[b].im - h[b].re * h[a].im;
    let area = cross(0, 1).hypot(cross(1, 2)).hypot(cross(2, 0));
    let squares: f64 = h.iter().map(|z| z.norm_sqr()).sum();
    unbalance * omega * omega * (squares + 2.0 * area).sqrt()
}

/// The motion at the station `observed` over `range`, turns per second, refined about its greatest value.
///
/// `None` unless the range rises from more than zero.
pub fn unbalance_motion(
    model: &ModalModel,
    observed: usize,
    at: [usize; 3],
    unbalance: f64,
    range: (f64, f64),
) -> Option<UnbalanceMotion> {
    let (low, high) = range;
    if !(low > 0.0 && high >= low) {
        return None;
    }
    let (first, last) = ((TAU * low).powi(2), (TAU * high).powi(2));
    let mut squares = resolving_squares(model.poles(), 0.4 * SEARCH_STEP);
    squares.retain(|x| *x > first && *x < last);
    squares.extend((0..=60).map(|i| first + (last - first) * f64::from(i) / 60.0));
    squares.sort_by(f64::total_cmp);
    let motion = |x: f64| unbalance_at(model, observed, at, unbalance, x.sqrt() / TAU);
    let (worst, greatest) = largest(&squares, motion)?;
    Some(UnbalanceMotion {
        speed_rpm: squares.iter().map(|x| 60.0 * x.sqrt() / TAU).collect(),
        motion_m: squares.iter().map(|x| motion(*x)).collect(),
        worst_speed_rpm: 60.0 * worst.sqrt() / TAU,
        worst_motion_m: greatest,
    })
}

#[cfg(test)]
mod tests {
    use super::super::modal::ModalMode;
    use super::*;
    use num_complex::Complex64;

    fn model() -> ModalModel {
        let modes = [(100.0, 0.02), (115.0, 0.02), (260.0, 0.02)]
            .iter()
            .map(|(f, loss)| ModalMode::real(TAU * f, *loss, &[0.1, 0.0, 0.0]))
            .collect();
        ModalModel::complete(modes, 3).unwrap()
    }

    #[test]
    fn modes_in_the_range_and_just_beyond_it_are_named() {
        let speeds = RunningSpeeds { name: "spindle".into(), range: (20.0, 105.0), orders: vec![1, 2] };
        let found: Vec<(usize, usize, bool)> =
            clashes(&model(), &speeds).iter().map(|c| (c.order, c.mode, c.crossed)).collect();
        // Order 2 meets 260 Hz at 130 turns per second, 24 % beyond: not near.
        assert_eq!(found, [(1, 1, true), (1, 2, false), (2, 1, true), (2, 2, true)]);
        let lines = order_lines(&speeds);
        assert_eq!((lines[1].order, lines[1].speed_rpm), (2, [1200.0, 6300.0]));
        assert_eq!(lines[1].frequency_hz, [40.0, 210.0]);
        let near = &clashes(&model(), &speeds)[1];
        approx::assert_relative_eq!(near.margin, 10.0 / 105.0, max_relative = 1e-12);
        approx::assert_relative_eq!(near.speed_rpm, 6900.0, max_relative = 1e-12);
    }

    #[test]
    fn a_range_from_standstill_has_no_near_below() {
        let speeds = RunningSpeeds { name: "slow".into(), range: (0.0, 90.0), orders: vec![1] };
        let found = clashes(&model(), &speeds);
        assert_eq!(found.len(), 1);
        assert!(found.iter().all(|c| c.margin.is_finite() && !c.crossed));
        assert_eq!(order_lines(&speeds)[0].frequency_hz, [0.0, 90.0]);
    }

    #[test]
    fn far_above_resonance_the_whole_turns_about_its_mass_centre() {
        // X -> u / M: 1e-3 kg m on 100 kg is 10 um.
        let at = unbalance_at(&model_of_one(), 0, [0, 1, 2], 1e-3, 1000.0);
        approx::assert_relative_eq!(at, 1e-5, max_relative = 1e-3);
    }

    fn model_of_one() -> ModalModel {
        ModalModel::complete(vec![ModalMode::real(TAU * 20.0, 0.05, &[0.1, 0.0, 0.0])], 3).unwrap()
    }

    #[test]
    fn the_worst_speed_is_at_the_resonance_or_at_an_end() {
        let across = unbalance_motion(&model_of_one(), 0, [0, 1, 2], 1e-3, (5.0, 60.0)).unwrap();
        approx::assert_relative_eq!(across.worst_speed_rpm, 1200.0, max_relative = 0.01);
        assert!(across.motion_m.iter().all(|m| *m <= across.worst_motion_m));
        let below = unbalance_motion(&model_of_one(), 0, [0, 1, 2], 1e-3, (5.0, 10.0)).unwrap();
        approx::assert_relative_eq!(below.worst_speed_rpm, 600.0, max_relative = 1e-6);
        assert_eq!(unbalance_motion(&model_of_one(), 0, [0, 1, 2], 1e-3, (0.0, 10.0)), None);
    }

    #[test]
    fn no_axis_of_turning_is_worse_than_the_stated_one() {
        let shape =
            |x: f64, y: f64, z: f64, turn: f64| [x, y, z].map(|p| Complex64::from_polar(p, turn)).to_vec();
        let modes = vec![
            ModalMode { omega: 300.0, loss_factor: 0.1, shape: shape(0.1, 0.2, 0.05, 0.1) },
            ModalMode { omega: 330.0, loss_factor: 0.2, shape: shape(0.2, -0.1, 0.1, -0.2) },
        ];
        let model = ModalModel::complete(modes, 3).unwrap();
        let speed = 50.0;
        let bound = unbalance_at(&model, 0, [0, 1, 2], 1.0, speed) / (TAU * speed).powi(2);
        let h = [0, 1, 2].map(|k| model.compliance(0, k, TAU * speed));
        let mut highest = 0.0f64;
        for i in 0..60 {
            for j in 0..60 {
                // Two perpendicular directions of the plane in which the force rotates.
                let (a, b) = (f64::from(i) * TAU / 60.0, f64::from(j) * TAU / 60.0);
                let e1 = [a.cos(), a.sin(), 0.0];
                let e2 = [-a.sin() * b.cos(), a.cos() * b.cos(), b.sin()];
                let sum: Complex64 = (0..3).map(|n| h[n] * Complex64::new(e1[n], -e2[n])).sum();
                highest = highest.max(sum.norm());
            }
        }
        assert!(highest <= bound * (1.0 + 1e-12) && highest > 0.99 * bound, "{highest} {bound}");
    }
}
