//! How straight a line is, before and after the best line is taken off.
//!
//! ```text
//! before:  largest less smallest displacement square to the line
//! after:   the same of what a straight line fitted by least squares leaves
//! bow:     largest distance from the line through both ends
//! ```

use nalgebra::Vector6;
use serde::Serialize;

/// Straightness in one direction.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Straight {
    /// Largest less smallest displacement, tilt included, m.
    pub before_m: f64,
    /// The same after the best line is removed, m.
    pub after_m: f64,
}

/// One place of a deflected line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Place {
    /// From the member's start, m.
    pub x_m: f64,
    /// Displacement along the member's y, m.
    pub across_m: f64,
    /// Displacement along the member's z, m.
    pub up_m: f64,
}

/// The straightness of a member over its length.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Straightness {
    /// The member.
    pub member: String,
    /// m.
    pub length_m: f64,
    /// Along the member's y.
    pub across: Straight,
    /// Along the member's z.
    pub up: Straight,
    /// The deflected line.
    pub line: Vec<Place>,
}

impl Straightness {
    /// Of the motions of a member's line at even spacing, member axes.
    pub(super) fn of(member: &str, length: f64, motions: &[Vector6<f64>]) -> Straightness {
        let last = motions.len().saturating_sub(1).max(1) as f64;
        let line: Vec<Place> = motions
            .iter()
            .enumerate()
            .map(|(i, u)| Place { x_m: length * i as f64 / last, across_m: u[1], up_m: u[2] })
            .collect();
        let along = |axis: usize| straight(&motions.iter().map(|u| u[axis]).collect::<Vec<f64>>());
        Straightness { member: member.to_string(), length_m: length, across: along(1), up: along(2), line }
    }
}

/// The straightness of displacements at even spacing.
pub(super) fn straight(values: &[f64]) -> Straight {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let middle = 0.5 * (n - 1.0);
    let centred = || values.iter().enumerate().map(|(i, v)| (i as f64 - middle, v - mean));
    let square: f64 = centred().map(|(x, _)| x * x).sum();
    let slope = if square > 0.0 { centred().map(|(x, v)| x * v).sum::<f64>() / square } else { 0.0 };
    let rest: Vec<f64> = centred().map(|(x, v)| v - slope * x).collect();
    Straight { before_m: range(values), after_m: range(&rest) }
}

/// Largest less smallest of values at even spacing.
pub(super) fn range(values: &[f64]) -> f64 {
    let [least, most] = extremes(values);
    if most >= least { most - least } else { 0.0 }
}

/// The least and the largest of values at even spacing, between them by the parabola through
/// three.
pub(super) fn extremes(values: &[f64]) -> [f64; 2] {
    let mut found = [f64::INFINITY, f64::NEG_INFINITY];
    let mut meet = |value: f64| found = [found[0].min(value), found[1].max(value)];
    values.iter().for_each(|value| meet(*value));
    for three in values.windows(3) {
        let [a, b, c] = [three[0], three[1], three[2]];
        if (b - a) * (c - b) < 0.0 {
            let (slope, bend) = (0.5 * (c - a), a - 2.0 * b + c);
            meet(b - 0.5 * slope * slope / bend);
        }
    }
    found
}

/// The largest distance from the chord, m, of motions at even spacing.
pub(super) fn bow(motions: &[Vector6<f64>]) -> f64 {
    let (Some(first), Some(last)) = (motions.first(), motions.last()) else { return 0.0 };
    let span = (motions.len() - 1).max(1) as f64;
    let off = |(i, u): (usize, &Vector6<f64>)| {
        let chord = first.lerp(last, i as f64 / span);
        (u[1] - chord[1]).hypot(u[2] - chord[2])
    };
    let distances: Vec<f64> = motions.iter().enumerate().map(off).collect();
    extremes(&distances)[1]
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_tilted_line_is_straight() {
        let tilted: Vec<f64> = (0..11).map(|i| 3.0 + 0.5 * i as f64).collect();
        let found = straight(&tilted);
        assert_relative_eq!(found.before_m, 5.0);
        assert!(found.after_m < 1e-12);
    }

    #[test]
    fn an_arc_keeps_its_height_under_any_tilt() {
        let arc: Vec<f64> = (0..=20).map(|i| (i as f64 / 10.0 - 1.0).powi(2) + 0.1 * i as f64).collect();
        assert_relative_eq!(straight(&arc).after_m, 1.0, max_relative = 1e-12);
        let motions: Vec<Vector6<f64>> = arc.iter().map(|v| Vector6::z() * *v).collect();
        assert_relative_eq!(bow(&motions), 1.0, max_relative = 1e-12);
    }

    #[test]
    fn an_extreme_between_places_is_found() {
        let parabola: Vec<f64> = (0..6).map(|i| -(i as f64 - 2.3).powi(2)).collect();
        let [least, most] = extremes(&parabola);
        assert_relative_eq!(least, -7.29, max_relative = 1e-12);
        assert!(most.abs() < 1e-12);
        assert_eq!(extremes(&[1.0, 1.0, 1.0]), [1.0, 1.0]);
    }

    #[test]
    fn a_single_place_is_straight() {
        assert_eq!(straight(&[2.0]), Straight::default());
        assert_eq!(bow(&[]), 0.0);
    }
}
