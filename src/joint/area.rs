//! On which area does a joint carry: its size, and its second moments about its own middle?
//!
//! ```text
//! A = ∫ dA,   I_u = ∫ v² dA,   I_v = ∫ u² dA        u and v along the sides of the plate
//! ```
//!
//! Bolts press a plate within the feet of their cones; the feet of several bolts are counted once where they overlap and
//! end at the edge of the plate.

use std::f64::consts::PI;

/// Cells along each side over which the feet of cones are summed.
const CELLS: usize = 400;

/// The outline of a plate or a pad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outline {
    /// Two sides, m.
    Rectangle([f64; 2]),
    /// Diameter, m.
    Round(f64),
}

/// An area with its second moments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// m².
    pub area: f64,
    /// About the first and the second side through the middle, m⁴.
    pub second: [f64; 2],
}

impl Outline {
    /// The whole of it.
    #[must_use]
    pub fn area(&self) -> Area {
        match *self {
            Outline::Rectangle([u, v]) => {
                Area { area: u * v, second: [u * v.powi(3) / 12.0, v * u.powi(3) / 12.0] }
            }
            Outline::Round(d) => Area { area: 0.25 * PI * d * d, second: [PI * d.powi(4) / 64.0; 2] },
        }
    }

    /// The box around it, m.
    #[must_use]
    pub fn sides(&self) -> [f64; 2] {
        match *self {
            Outline::Rectangle(sides) => sides,
            Outline::Round(d) => [d, d],
        }
    }

    /// Its area over the area of the edge of a layer of thickness `thick`, m.
    #[must_use]
    pub fn shape(&self, thick: f64) -> f64 {
        let around = match *self {
            Outline::Rectangle([u, v]) => 2.0 * (u + v),
            Outline::Round(d) => PI * d,
        };
        self.area().area / (around * thick)
    }

    fn holds(&self, [u, v]: [f64; 2]) -> bool {
        match *self {
            Outline::Rectangle([a, b]) => u.abs() <= 0.5 * a && v.abs() <= 0.5 * b,
            Outline::Round(d) => u * u + v * v <= 0.25 * d * d,
        }
    }

    /// That part of it which lies within `radius`, m, of one of `centres`, m.
    #[must_use]
    pub fn near(&self, centres: &[[f64; 2]], radius: f64) -> Area {
        let [a, b] = self.sides();
        let (du, dv) = (a / CELLS as f64, b / CELLS as f64);
        let mut found = Area { area: 0.0, second: [0.0; 2] };
        for i in 0..CELLS {
            for j in 0..CELLS {
                let (u, v) = ((i as f64 + 0.5) * du - 0.5 * a, (j as f64 + 0.5) * dv - 0.5 * b);
                let near = centres.iter().any(|c| (u - c[0]).powi(2) + (v - c[1]).powi(2) <= radius * radius);
                if near && self.holds([u, v]) {
                    found.area += du * dv;
                    found.second[0] += v * v * du * dv;
                    found.second[1] += u * u * du * dv;
                }
            }
        }
        found
    }

    /// The places of `count` bolts that keep `edge`, m, from its edge: one in the middle, else on the corners and
    /// evenly along the longer sides of a rectangle, or evenly on a circle or an ellipse where they are odd or it is
    /// round.
    #[must_use]
    pub fn bolts(&self, count: usize, edge: f64) -> Vec<[f64; 2]> {
        let [a, b] = self.sides().map(|side| 0.5 * side - edge);
        let ring = |k: usize| {
            let angle = 2.0 * PI * k as f64 / count as f64;
            [a * angle.cos(), b * angle.sin()]
        };
        match (count, self) {
            (0 | 1, _) => vec![[0.0; 2]; count],
            (2, _) if a >= b => vec![[-a, 0.0], [a, 0.0]],
            (2, _) => vec![[0.0, -b], [0.0, b]],
            (n, Outline::Rectangle(_)) if n % 2 == 0 => {
                let row = n / 2;
                let along = |k: usize, half: f64| -half + 2.0 * half * k as f64 / (row - 1) as f64;
                let place = |k: usize, side: f64| match a >= b {
                    true => [along(k, a), side * b],
                    false => [side * a, along(k, b)],
                };
                (0..row).flat_map(|k| [place(k, -1.0), place(k, 1.0)]).collect()
            }
            (n, _) => (0..n).map(ring).collect(),
        }
    }
}

impl Area {
    /// The share `share` of it, spread evenly.
    #[must_use]
    pub fn times(&self, share: f64) -> Area {
        Area { area: self.area * share, second: self.second.map(|i| i * share) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const PLATE: Outline = Outline::Rectangle([0.12, 0.15]);

    #[test]
    fn rectangles_and_circles_by_hand() {
        let area = PLATE.area();
        assert_relative_eq!(area.area, 0.018, max_relative = 1e-12);
        assert_relative_eq!(area.second[0], 0.12 * 0.15f64.powi(3) / 12.0, max_relative = 1e-12);
        assert_relative_eq!(
            Outline::Round(0.04).area().second[1],
            PI * 0.04f64.powi(4) / 64.0,
            max_relative = 1e-12
        );
        // A disc of radius a: a/(2 t).
        assert_relative_eq!(Outline::Round(0.04).shape(0.01), 1.0, max_relative = 1e-12);
        assert_relative_eq!(Outline::Rectangle([0.06, 0.06]).shape(0.02), 0.75, max_relative = 1e-12);
    }

    #[test]
    fn cones_that_do_not_meet_are_circles_and_wide_ones_the_whole_plate() {
        let centres = PLATE.bolts(4, 0.02);
        let four = PLATE.near(&centres, 0.015);
        let disc = PI * 0.015f64.powi(2);
        assert_relative_eq!(four.area, 4.0 * disc, max_relative = 2e-3);
        // About the first side: 4 (π r⁴/4 + A v²), v = 75 - 20 mm.
        let second = 4.0 * (PI * 0.015f64.powi(4) / 4.0 + disc * 0.055f64.powi(2));
        assert_relative_eq!(four.second[0], second, max_relative = 2e-3);
        let whole = PLATE.near(&centres, 1.0);
        assert_relative_eq!(whole.area, 0.018, max_relative = 1e-9);
        assert_relative_eq!(whole.second[1], PLATE.area().second[1], max_relative = 1e-4);
    }

    #[test]
    fn bolts_stand_where_a_builder_puts_them() {
        let found = |count| PLATE.bolts(count, 0.02);
        assert_eq!(found(1), [[0.0, 0.0]]);
        assert_relative_eq!(found(2)[1][1], 0.055, max_relative = 1e-12);
        let corners = found(4);
        assert!(
            corners.iter().all(|c| (c[0].abs() - 0.04).abs() < 1e-12 && (c[1].abs() - 0.055).abs() < 1e-12)
        );
        assert_eq!(found(6).iter().filter(|c| c[1].abs() < 1e-12).count(), 2);
        for count in 2..9 {
            let places = found(count);
            assert_eq!(places.len(), count);
            let middle = |i: usize| places.iter().map(|c| c[i]).sum::<f64>();
            assert!(middle(0).abs() < 1e-12 && middle(1).abs() < 1e-12, "{count}");
            assert!(Outline::Round(0.1).bolts(count, 0.015).len() == count);
        }
    }
}
