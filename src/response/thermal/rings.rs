//! Stress in a bar of concentric rings that are bonded and differ in their free strain, far from its ends.
//!
//! ```text
//! u = A r + B/r in each ring, ε the same in all          radial displacement, axial strain
//! σ_z = λ (2A + ε) + 2μ ε - 3K t                         constant in a ring; 3K = 3λ + 2μ
//! σ_r, σ_θ = 2 (λ + μ) A ∓ 2μ B/r² + λ ε - 3K t          t: the free strain of the ring, in all directions
//! ```
//!
//! u and σ_r are continuous between rings, σ_r vanishes at the outer face and at that of an inner void (without
//! one, B = 0 in the core), and the axial forces sum to zero.
//!
//! # Source
//! - `timoshenko1970`: cylinder and ring under pressure (memory)

use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// One ring.
#[derive(Debug, Clone, Copy)]
pub(super) struct BarRing {
    /// Pa.
    pub(super) youngs_modulus: f64,
    pub(super) poissons_ratio: f64,
    /// m2.
    pub(super) area: f64,
    /// Free strain in all directions.
    pub(super) free: f64,
}

/// Stresses in one ring, Pa, tension positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RingStress {
    /// Along the bar.
    pub(super) axial: f64,
    /// Along the bar, were each ring free to widen.
    pub(super) axial_if_free: f64,
    /// Across it: radial at the inner and outer face, then hoop at these.
    pub(super) across: [f64; 4],
}

/// Lamé's constants λ and μ.
fn lame(ring: &BarRing) -> [f64; 2] {
    let (e, nu) = (ring.youngs_modulus, ring.poissons_ratio);
    [e * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)), e / (2.0 * (1.0 + nu))]
}

/// The stresses of `rings` from within outwards, around a void of the area `void` (m2).
///
/// `None` where a ring has no stiffness or no area, or is incompressible.
pub(super) fn ring_stresses(void: f64, rings: &[BarRing]) -> Option<Vec<RingStress>> {
    let sound = |ring: &BarRing| {
        ring.youngs_modulus > 0.0 && ring.area > 0.0 && (-1.0..0.5).contains(&ring.poissons_ratio)
    };
    (void >= 0.0 && !rings.is_empty() && rings.iter().all(sound)).then_some(())?;
    let (count, last) = (rings.len(), 2 * rings.len());
    // Radii and moduli in parts of the largest, so that the system is well scaled; stress is linear in the moduli.
    let whole: f64 = void + rings.iter().map(|ring| ring.area).sum::<f64>();
    let stiffest = rings.iter().map(|ring| ring.youngs_modulus).fold(0.0, f64::max);
    let mut radii = vec![(void / whole).sqrt()];
    let mut enclosed = void;
    for ring in rings {
        enclosed += ring.area;
        radii.push((enclosed / whole).sqrt());
    }
    let constants: Vec<[f64; 2]> =
        rings.iter().map(|ring| lame(ring).map(|modulus| modulus / stiffest)).collect();
    let free = |i: usize| (3.0 * constants[i][0] + 2.0 * constants[i][1]) * rings[i].free;
    // Radial stress of ring i at r: factors of A, B and ε, and what the free strain takes off.
    let radial = |i: usize, r: f64| {
        let [lambda, mu] = constants[i];
        [2.0 * (lambda + mu), if r > 0.0 { -2.0 * mu / (r * r) } else { 0.0 }, lambda, free(i)]
    };
    let (mut system, mut right) = (DMatrix::zeros(last + 1, last + 1), DVector::zeros(last + 1));
    let mut row = 0;
    let mut face = |inner: Option<usize>, outer: Option<usize>, r: f64, row: &mut usize| {
        for (side, sign) in [(inner, 1.0), (outer, -1.0)] {
            let Some(i) = side else { continue };
            let [a, b, axial, own] = radial(i, r);
            system[(*row, 2 * i)] += sign * a;
            system[(*row, 2 * i + 1)] += sign * b;
            system[(*row, last)] += sign * axial;
            right[*row] += sign * own;
            if inner.is_some() && outer.is_some() {
                system[(*row + 1, 2 * i)] += sign * r;
                system[(*row + 1, 2 * i + 1)] += sign / r;
            }
        }
        *row += if inner.is_some() && outer.is_some() { 2 } else { 1 };
    };
    if void > 0.0 {
        face(None, Some(0), radii[0], &mut row);
    }
    for i in 0..count {
        face(Some(i), (i + 1 < count).then_some(i + 1), radii[i + 1], &mut row);
    }
    if void == 0.0 {
        system[(row, 1)] = 1.0;
        row += 1;
    }
    for (i, ring) in rings.iter().enumerate() {
        let ([lambda, mu], share) = (constants[i], ring.area / whole);
        system[(row, 2 * i)] = 2.0 * lambda * share;
        system[(row, last)] += (lambda + 2.0 * mu) * share;
        right[row] += free(i) * share;
    }
    let solved = system.lu().solve(&right)?;
    let along = solved[last];
    let (pull, stiff) = rings.iter().fold((0.0, 0.0), |(pull, stiff), ring| {
        let ea = ring.youngs_modulus * ring.area;
        (pull + ea * ring.free, stiff + ea)
    });
    let of = |i: usize| {
        let [lambda, mu] = constants[i];
        let [a, b] = [solved[2 * i], solved[2 * i + 1]];
        let across = |r: f64, sign: f64| {
            let [by_a, by_b, by_strain, own] = radial(i, r);
            stiffest * (by_a * a + sign * by_b * b + by_strain * along - own)
        };
        let [inner, outer] = [radii[i], radii[i + 1]];
        RingStress {
            axial: stiffest * (2.0 * lambda * a + (lambda + 2.0 * mu) * along - free(i)),
            axial_if_free: rings[i].youngs_modulus * (pull / stiff - rings[i].free),
            across: [across(inner, 1.0), across(outer, 1.0), across(inner, -1.0), across(outer, -1.0)],
        }
    };
    let found: Vec<RingStress> = (0..count).map(of).collect();
    let finite = |ring: &RingStress| ring.across.iter().chain([&ring.axial]).all(|x| x.is_finite());
    found.iter().all(finite).then_some(found)
}

/// 1 for a circle of this `area` (m2) and length around, less for other outlines.
pub(super) fn roundness(area: f64, around: f64) -> f64 {
    (4.0 * PI * area / (around * around)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn ring(youngs_modulus: f64, poissons_ratio: f64, area: f64, free: f64) -> BarRing {
        BarRing { youngs_modulus, poissons_ratio, area, free }
    }

    #[test]
    fn a_rigid_ring_holds_all_widths() {
        // No strain in any direction: E/(1 - 2ν) in place of E, equal in all directions.
        let found = ring_stresses(0.0, &[ring(2e10, 0.3, 1e-3, 1e-4), ring(2e17, 0.3, 1e-3, 0.0)]).unwrap();
        for stress in found[0].across.into_iter().chain([found[0].axial]) {
            assert_relative_eq!(stress, -2e10 * 1e-4 / 0.4, max_relative = 1e-5);
        }
        assert_relative_eq!(found[0].axial_if_free, -2e6, max_relative = 1e-5);
    }

    #[test]
    fn parts_that_do_not_widen_as_they_are_pulled_are_free_bars() {
        let found = ring_stresses(1e-5, &[ring(2e10, 0.0, 1e-3, 1e-4), ring(7e10, 0.0, 1e-4, 0.0)]).unwrap();
        for stress in &found {
            assert_relative_eq!(stress.axial, stress.axial_if_free, max_relative = 1e-9);
        }
    }

    #[test]
    fn a_thin_shrunk_ring_presses_as_lame_says() {
        // Plane strain is left: compare the radial strain of both at the face between them.
        let rings = [ring(2e10, 0.25, 3e-3, 0.0), ring(2.1e11, 0.3, 1e-3, -2e-4)];
        let found = ring_stresses(0.0, &rings).unwrap();
        let hoop = |i: usize, [radial, around]: [f64; 2]| {
            let BarRing { youngs_modulus: e, poissons_ratio: nu, free, .. } = rings[i];
            (around - nu * (radial + found[i].axial)) / e + free
        };
        let inner = hoop(0, [found[0].across[1], found[0].across[3]]);
        let outer = hoop(1, [found[1].across[0], found[1].across[2]]);
        assert_relative_eq!(inner, outer, max_relative = 1e-9);
        assert_relative_eq!(found[0].across[1], found[1].across[0], max_relative = 1e-9);
        assert!(found[1].across[1].abs() < 1e-3 && found[0].across[1] < 0.0);
        // Thick ring under inner pressure: hoop = p (R² + r²)/(R² - r²).
        assert_relative_eq!(found[1].across[2], -found[0].across[1] * (4.0 + 3.0) / 1.0, max_relative = 1e-9);
        let force: f64 = found.iter().zip(&rings).map(|(stress, ring)| stress.axial * ring.area).sum();
        assert!(force.abs() < 1e-6);
    }

    #[test]
    fn a_ring_divided_in_two_answers_as_one() {
        let [core, tube] = [ring(1.7e10, 0.25, 9e-4, 0.0), ring(2.1e11, 0.3, 3.5e-4, -6e-6)];
        let cast = |area| ring(1.7e10, 0.25, area, 0.0);
        let whole = ring_stresses(0.0, &[core, tube, cast(4e-3)]).unwrap();
        let parted = ring_stresses(0.0, &[core, tube, cast(1e-3), cast(3e-3)]).unwrap();
        for i in 0..3 {
            assert_relative_eq!(whole[i].axial, parted[i].axial, max_relative = 1e-9);
        }
        assert_relative_eq!(parted[2].axial, parted[3].axial, max_relative = 1e-9);
        assert_relative_eq!(parted[3].across[2], parted[2].across[3], max_relative = 1e-9);
        // A core under the same free strain as what surrounds its tube is pulled harder than that.
        assert!(whole[0].axial.abs() > 1.5 * whole[2].axial.abs());
    }

    #[test]
    fn what_cannot_be_answered_is_none() {
        let sound = ring(1e9, 0.3, 1e-3, 0.0);
        for wrong in [ring(0.0, 0.3, 1e-3, 0.0), ring(1e9, 0.5, 1e-3, 0.0), ring(1e9, 0.3, 0.0, 0.0)] {
            assert_eq!(ring_stresses(0.0, &[sound, wrong]), None);
        }
        assert_eq!(ring_stresses(0.0, &[]), None);
        assert_relative_eq!(roundness(1.0, 4.0), PI / 4.0);
    }
}
