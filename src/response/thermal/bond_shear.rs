//! Shear between a part and the others that it is bonded to: highest at the ends of a member, where the force
//! from their different free strains is transferred.
//!
//! ```text
//! dF/dx = Σ b τ,  τ = k (u₂ - u₁),   1/k = h₁/(c G₁) + h₂/(c G₂)          both sides shear; over all borders
//! β² = Σ b k (1/E₁A₁ + 1/E₂A₂)
//! F(x) = F (1 - cosh(β (L/2 - x))/cosh(β L/2))               F: the force far from the ends
//! τ = F(l)/(l Σ b)                                           mean over the length l at an end
//!
//! h = A/b                                                    of a layer, and of what lies within the other
//! h = (r/(R² - r²)²) (R⁴ ln(R/r) - R² (R² - r²)/2 - (R² - r²)²/4)         of what lies around it
//! ```
//!
//! l is the overlap of a lap test, by which bond strengths are stated, or half the member where that is less:
//! stress and strength are then means over the same length. At the very end an elastic shear stress is
//! unbounded. r and R are the radii of circles of the enclosed area, and of that with the area around it: h of
//! a ring is its mean displacement against its inner face under the shear there. The ends carry no force.
//!
//! What is held all round cannot widen freely, so it pulls harder: F contains that
//! ([`super::section_parts`]).
//!
//! With c = 1.2, fitted to plane finite elements of cores of 20 to 100 mm between plates of 3 to 10 mm, the
//! mean over l is within 10 % of theirs. Against axisymmetric and three-dimensional elements of filled
//! tubes and of bars within a cast it is from 5 % below to 20 % above. Where a pipe lies within a cast that
//! also fills it, the mean over both its faces is 1 to 14 % above elements; the one face bears up to a fifth more
//! than the mean, the other less. A part that touches others on a part of its outline is treated as a layer.
//!
//! # Source
//! - `volkersen1938`: shear along a lap joint (memory)
//! - `cox1952`: the same for a core in a matrix (memory)
//! - `iso4587`: overlap of 12.5 mm (memory)

use super::border::Border;
use std::f64::consts::PI;

/// Overlap of a lap test, m.
const OVERLAP: f64 = 0.0125;
/// Shear stiffness of a side that is sheared over its depth, over that of one that is sheared evenly.
const SHEARED: f64 = 1.2;

/// One side of a bond line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Pa.
    pub(super) shear_modulus: f64,
    /// Pa.
    pub(super) youngs_modulus: f64,
    /// m2.
    pub(super) area: f64,
}

/// A part bonded to the rest of its section.
#[derive(Debug, Clone)]
pub(super) struct BondLine {
    /// The part and the others.
    pub(super) sides: [Side; 2],
    /// Where they touch.
    pub(super) borders: Vec<Border>,
    /// Length of the member, m.
    pub(super) length: f64,
}

/// Shear at the ends of a bond line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct EndShear {
    /// Mean over the overlap of a lap test from an end, Pa.
    pub(super) shear: f64,
    /// Length from an end over which 95 % of the force is transferred, m.
    pub(super) reach: f64,
}

impl BondLine {
    /// The shear at the ends when the parts transfer the axial `force` (N) far from them.
    pub(super) fn end_shear(&self, force: f64) -> Option<EndShear> {
        let contact: f64 = self.borders.iter().map(|border| border.length).sum();
        let known = self.sides.iter().flat_map(|s| [s.shear_modulus, s.youngs_modulus, s.area]);
        known.chain([contact, self.length]).all(|x| x > 0.0).then_some(())?;
        let stiffness = |border: &Border| {
            let depths = self.depths(border, contact);
            let soft = depths.iter().zip(&self.sides).map(|(h, side)| h / (SHEARED * side.shear_modulus));
            border.length / soft.sum::<f64>()
        };
        let k: f64 = self.borders.iter().map(stiffness).sum();
        let softness: f64 = self.sides.iter().map(|side| 1.0 / (side.youngs_modulus * side.area)).sum();
        let beta = (k * softness).sqrt();
        let (half, over) = (0.5 * self.length, OVERLAP.min(0.5 * self.length));
        // 1 - cosh(β (h - l))/cosh(β h), written without large numbers.
        let (down, whole) = ((-beta * over).exp(), (-2.0 * beta * half).exp());
        let passed = 1.0 - (down + whole / down) / (1.0 + whole);
        let shear = force.abs() * passed / (contact * over);
        shear.is_finite().then_some(EndShear { shear, reach: (3.0 / beta).min(half) })
    }

    /// Depth over which each side is sheared at `border`, m; `contact` is the length of all borders.
    fn depths(&self, border: &Border, contact: f64) -> [f64; 2] {
        let own = border.area / border.around;
        match border.ring {
            None => [own, self.sides[1].area / contact],
            Some(ring) if ring.within => [own, around(ring.enclosed, ring.other_area)],
            Some(ring) => [around(ring.enclosed, border.area), ring.other_area / ring.other_around],
        }
    }
}

/// Depth of a ring of this `area` (m2) around what has the area `enclosed` (m2), m.
fn around(enclosed: f64, area: f64) -> f64 {
    let (inner, outer) = (enclosed / PI, (enclosed + area) / PI);
    let wide = outer - inner;
    // The terms cancel in a thin ring, whose depth is a third of its thickness.
    if wide < 1e-3 * inner {
        return wide / (6.0 * inner.sqrt());
    }
    let bent = outer * outer * 0.5 * (outer / inner).ln() - 0.5 * outer * wide - 0.25 * wide * wide;
    inner.sqrt() * bent / (wide * wide)
}

#[cfg(test)]
mod tests {
    use super::super::border::Ring;
    use super::*;
    use approx::assert_relative_eq;

    fn line() -> BondLine {
        BondLine {
            sides: [
                Side { shear_modulus: 7e9, youngs_modulus: 2e10, area: 4e-3 },
                Side { shear_modulus: 27e9, youngs_modulus: 2e11, area: 1e-3 },
            ],
            borders: vec![Border::beside(0.1, 4e-3)],
            length: 1.0,
        }
    }

    #[test]
    fn shear_over_the_overlap_is_that_of_the_force_along_the_line() {
        // dF/dx = τ b with F(x) from the solution of the differential equation.
        let depth = 4e-3 / (1.2 * 7e9) + 1e-3 / (1.2 * 27e9);
        let beta = (0.01 / depth * (1.0 / 8e7 + 1.0 / 2e8f64)).sqrt();
        let force = |x: f64| 1000.0 * (1.0 - (beta * (0.5 - x)).cosh() / (beta * 0.5).cosh());
        let found = line().end_shear(-1000.0).unwrap();
        assert_relative_eq!(found.shear, force(0.0125) / (0.1 * 0.0125), max_relative = 1e-9);
        assert_relative_eq!(force(found.reach) / force(0.5), 0.95, max_relative = 2e-3);
        let short = BondLine { length: 0.01, ..line() }.end_shear(1000.0).unwrap();
        let middle = 1000.0 * (1.0 - 1.0 / (beta * 0.005).cosh());
        assert_relative_eq!(short.shear, middle / (0.1 * 0.005), max_relative = 1e-9);
    }

    #[test]
    fn both_sides_have_one_shear() {
        let [a, b] = line().sides;
        let other = BondLine { sides: [b, a], borders: vec![Border::beside(0.1, 1e-3)], ..line() };
        assert_eq!(line().end_shear(500.0), other.end_shear(500.0));
        // A core of 4000 mm2 in a ring of 1000 mm2.
        let ring = |within, other_area| Ring { within, enclosed: 4e-3, other_area, other_around: 0.2242 };
        let closed = |area, ring| vec![Border { length: 0.2242, area, around: 0.2242, ring: Some(ring) }];
        let core = BondLine { borders: closed(4e-3, ring(true, 1e-3)), ..line() };
        let tube = BondLine { sides: [b, a], borders: closed(1e-3, ring(false, 4e-3)), ..line() };
        let (core, tube) = (core.end_shear(500.0).unwrap(), tube.end_shear(500.0).unwrap());
        assert_relative_eq!(core.shear, tube.shear, max_relative = 1e-12);
        assert_relative_eq!(core.reach, tube.reach, max_relative = 1e-12);
    }

    #[test]
    fn a_part_without_bond_line_has_no_shear() {
        assert_eq!(BondLine { borders: Vec::new(), ..line() }.end_shear(1.0), None);
        assert_eq!(BondLine { borders: vec![Border::beside(0.0, 1e-3)], ..line() }.end_shear(1.0), None);
    }

    #[test]
    fn a_ring_is_displaced_as_its_shear_says() {
        // u' = τ r (R² - x²)/(x (R² - r²) G) from r to R, and its mean over the area, integrated.
        for (r, big) in [(0.03, 0.034), (0.005, 0.05f64), (0.02, 0.0202)] {
            let (steps, mut u, mut mean) = (20_000, 0.0, 0.0);
            let dx = (big - r) / f64::from(steps);
            for i in 0..steps {
                let x = r + (f64::from(i) + 0.5) * dx;
                let slope = r * (big * big - x * x) / (x * (big * big - r * r));
                mean += 2.0 * x * (u + 0.5 * slope * dx) * dx / (big * big - r * r);
                u += slope * dx;
            }
            let found = around(PI * r * r, PI * (big * big - r * r));
            assert_relative_eq!(found, mean, max_relative = 1e-5);
        }
        let thin = around(PI * 1e-4, PI * (0.010_004f64.powi(2) - 1e-4));
        assert_relative_eq!(thin, 4e-6 / 3.0, max_relative = 1e-3);
    }
}

#[cfg(test)]
#[path = "axisymmetric_tests.rs"]
mod axisymmetric_tests;
