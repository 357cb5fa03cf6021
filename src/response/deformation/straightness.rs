//! How straight is a line, before and after the best line is removed?
//!
//! ```text
//! before:  largest minus smallest displacement perpendicular to the line
//! after:   the same without the straight line a + b x of least ∫ (w - a - b x)² dx
//! off:     largest distance from that best line
//! bow:     largest distance from the line through both ends
//! ```
//!
//! The integrals use Simpson's rule over the places of each member, exact for the parabola of a constant
//! curvature κ: over the length L, after = bow = κ L²/8 and off = κ L²/12. So a line gives the same result
//! whether it is one member or several.

use nalgebra::Vector2;
use serde::Serialize;

/// Straightness in one direction.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct LineDeviation {
    /// Largest minus smallest displacement, tilt included, m.
    pub before_m: f64,
    /// The same after the best line is removed, m.
    pub after_m: f64,
    /// Largest distance from the best line, m.
    pub off_m: f64,
}

/// One place of a deflected line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LinePlace {
    /// From the start of the line, m.
    pub x_m: f64,
    /// Displacement along y of the line's first member, m.
    pub across_m: f64,
    /// Displacement along its z, m.
    pub up_m: f64,
    /// `across_m` without the best line, m.
    pub across_off_line_m: f64,
    /// `up_m` without the best line, m.
    pub up_off_line_m: f64,
}

/// The straightness of a member, or of a rail of several, over its length.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Straightness {
    /// The member or the rail.
    pub member: String,
    /// Its members, in order along it.
    pub members: Vec<String>,
    /// m.
    pub length_m: f64,
    /// Along y of the first-named member.
    pub across: LineDeviation,
    /// Along its z.
    pub up: LineDeviation,
    /// Largest distance from the line through both ends, m.
    pub bow_m: f64,
    /// The deflected line.
    pub line: Vec<LinePlace>,
}

/// A deflected line, place after place.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct DeflectedLine {
    /// From its start, m.
    pub(crate) x: Vec<f64>,
    /// Weight of each place in an integral along the line, m.
    pub(crate) weight: Vec<f64>,
    /// Displacement along y and along z, m.
    pub(crate) moved: Vec<Vector2<f64>>,
}

impl DeflectedLine {
    /// Displacements along y (0) or z (1), m.
    pub(crate) fn along(&self, axis: usize) -> Vec<f64> {
        self.moved.iter().map(|moved| moved[axis]).collect()
    }

    /// Straightness along y (0) or z (1).
    pub(crate) fn straight(&self, axis: usize) -> LineDeviation {
        straight(&self.x, &self.weight, &self.along(axis))
    }

    /// The largest distance from the chord, m.
    pub(crate) fn bow(&self) -> f64 {
        let ends = self.moved.first().zip(self.moved.last()).zip(self.x.first().zip(self.x.last()));
        let Some(((first, last), (start, end))) = ends else { return 0.0 };
        let length = (end - start).max(f64::MIN_POSITIVE);
        let off = |(x, moved): (&f64, &Vector2<f64>)| (moved - first.lerp(last, (x - start) / length)).norm();
        let distances: Vec<f64> = self.x.iter().zip(&self.moved).map(off).collect();
        extremes(&self.x, &distances)[1]
    }

    /// Its places.
    pub(crate) fn places(&self) -> Vec<LinePlace> {
        let [across, up] = [0, 1].map(|axis| without_line(&self.x, &self.weight, &self.along(axis)));
        let place = |i: usize| LinePlace {
            x_m: self.x[i],
            across_m: self.moved[i].x,
            up_m: self.moved[i].y,
            across_off_line_m: across[i],
            up_off_line_m: up[i],
        };
        (0..self.x.len()).map(place).collect()
    }
}

/// Weights of `count` places `step` apart in an integral along them: Simpson's rule, or the trapezoidal rule
/// for an odd number of steps. A single place has the weight 1.
pub(super) fn weights(count: usize, step: f64) -> Vec<f64> {
    let last = count.saturating_sub(1);
    let of = |i: usize| match (last, i == 0 || i == last, last.is_multiple_of(2), i.is_multiple_of(2)) {
        (0, ..) => 1.0,
        (_, true, true, _) => step / 3.0,
        (_, false, true, true) => 2.0 * step / 3.0,
        (_, false, true, false) => 4.0 * step / 3.0,
        (_, true, false, _) => 0.5 * step,
        (_, false, false, _) => step,
    };
    (0..count).map(of).collect()
}

/// The straightness of displacements at the places `x` with the integration weights `weight`.
pub(super) fn straight(x: &[f64], weight: &[f64], values: &[f64]) -> LineDeviation {
    let rest = without_line(x, weight, values);
    let off_m = extremes(x, &rest).iter().fold(0.0, |most: f64, value| most.max(value.abs()));
    let off_m = if off_m.is_finite() { off_m } else { 0.0 };
    LineDeviation { before_m: range(x, values), after_m: range(x, &rest), off_m }
}

/// Displacements without the best line.
pub(super) fn without_line(x: &[f64], weight: &[f64], values: &[f64]) -> Vec<f64> {
    let sum = |of: &dyn Fn(usize) -> f64| (0..values.len()).map(|i| weight[i] * of(i)).sum::<f64>();
    let whole = sum(&|_| 1.0);
    let (middle, mean) = (sum(&|i| x[i]) / whole, sum(&|i| values[i]) / whole);
    let square = sum(&|i| (x[i] - middle).powi(2));
    let slope = if square > 0.0 { sum(&|i| (x[i] - middle) * (values[i] - mean)) / square } else { 0.0 };
    (0..values.len()).map(|i| values[i] - mean - slope * (x[i] - middle)).collect()
}

/// Largest minus smallest of values at the places `x`.
pub(super) fn range(x: &[f64], values: &[f64]) -> f64 {
    let [least, most] = extremes(x, values);
    if most >= least { most - least } else { 0.0 }
}

/// The least and the largest of values at the places `x`; between these, of the parabola through three.
pub(super) fn extremes(x: &[f64], values: &[f64]) -> [f64; 2] {
    let mut found = [f64::INFINITY, f64::NEG_INFINITY];
    let mut meet = |value: f64| found = [found[0].min(value), found[1].max(value)];
    values.iter().for_each(|value| meet(*value));
    for (at, three) in x.windows(3).zip(values.windows(3)) {
        let [before, after] = [0, 1].map(|i| (three[i + 1] - three[i]) / (at[i + 1] - at[i]));
        if before * after < 0.0 {
            let bend = (after - before) / (at[2] - at[0]);
            let slope = before + bend * (at[1] - at[0]);
            meet(three[1] - slope * slope / (4.0 * bend));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn even(values: &[f64]) -> (Vec<f64>, Vec<f64>) {
        ((0..values.len()).map(|i| i as f64).collect(), weights(values.len(), 1.0))
    }

    fn of(values: &[f64]) -> LineDeviation {
        let (x, weight) = even(values);
        straight(&x, &weight, values)
    }

    #[test]
    fn a_tilted_line_is_straight() {
        let tilted: Vec<f64> = (0..11).map(|i| 3.0 + 0.5 * i as f64).collect();
        let found = of(&tilted);
        assert_relative_eq!(found.before_m, 5.0);
        assert!(found.after_m < 1e-12 && found.off_m < 1e-12);
    }

    #[test]
    fn an_arc_keeps_its_height_under_any_tilt() {
        // w = x² over -1..1: κ L²/8 = 1 from the chord, κ L²/12 = 2/3 from the best line.
        let arc: Vec<f64> = (0..=20).map(|i| (i as f64 / 10.0 - 1.0).powi(2) + 0.1 * i as f64).collect();
        assert_relative_eq!(of(&arc).after_m, 1.0, max_relative = 1e-12);
        assert_relative_eq!(of(&arc).off_m, 2.0 / 3.0, max_relative = 1e-12);
        let (x, weight) = even(&arc);
        let moved = arc.iter().map(|v| Vector2::new(0.0, *v)).collect();
        assert_relative_eq!(DeflectedLine { x, weight, moved }.bow(), 1.0, max_relative = 1e-12);
    }

    #[test]
    fn uneven_places_find_the_line_of_even_ones() {
        // A cubic, sampled at even steps and at steps of one half and of one tenth.
        let cubic = |x: f64| 0.3 + 2.0 * x - 5.0 * x * x + 4.0 * x.powi(3);
        let fine: Vec<f64> = (0..=20).map(|i| i as f64 / 20.0).collect();
        let split: Vec<f64> =
            (0..=4).map(|i| i as f64 / 8.0).chain((1..=10).map(|i| 0.5 + i as f64 / 20.0)).collect();
        let mut uneven = weights(5, 0.125);
        let rest = weights(11, 0.05);
        uneven[4] += rest[0];
        uneven.extend(&rest[1..]);
        let line = |x: &[f64], weight: &[f64]| {
            let values: Vec<f64> = x.iter().map(|x| cubic(*x)).collect();
            let left = without_line(x, weight, &values);
            [values[0] - left[0], values[x.len() - 1] - left[x.len() - 1]]
        };
        let (one, other) = (line(&fine, &weights(21, 0.05)), line(&split, &uneven));
        // Moments of the cubic about its line are of the fourth order, where Simpson's rule has an error.
        assert_relative_eq!(one[0], other[0], epsilon = 1e-3);
        assert_relative_eq!(one[1], other[1], epsilon = 1e-3);
        // By hand: a + b x of least ∫ (w - a - b x)² on 0..1, b = 12 ∫ w x - 6 ∫ w.
        let (area, moment) = (0.3 + 1.0 - 5.0 / 3.0 + 1.0, 0.15 + 2.0 / 3.0 - 1.25 + 0.8);
        let slope = 12.0 * moment - 6.0 * area;
        assert_relative_eq!(one[1] - one[0], slope, epsilon = 1e-4);
    }

    #[test]
    fn an_extreme_between_places_is_found() {
        let parabola = |x: &[f64]| -> Vec<f64> { x.iter().map(|x| -(x - 2.3).powi(2)).collect() };
        for x in [[0.0, 1.0, 2.0, 3.0, 4.0, 5.0], [0.0, 0.4, 2.0, 2.7, 3.1, 5.0]] {
            let [least, most] = extremes(&x, &parabola(&x));
            assert_relative_eq!(least, -7.29, max_relative = 1e-12);
            assert!(most.abs() < 1e-12);
        }
        assert_eq!(extremes(&[0.0, 1.0, 2.0], &[1.0, 1.0, 1.0]), [1.0, 1.0]);
    }

    #[test]
    fn a_single_place_is_straight() {
        assert_eq!(of(&[2.0]), LineDeviation::default());
        assert_eq!(DeflectedLine::default().bow(), 0.0);
    }
}
