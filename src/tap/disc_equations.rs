//! The tones of a free disc: how high does it ring for its stiffness, at any thickness and Poisson's ratio?
//!
//! The displacements are polynomials in the radius r and the height z, and the energies of the elastic solid are
//! integrated exactly (Ritz), so that shear and rotary inertia of a thick disc are in it. A disc bends in a shape
//! with n diameters at rest: u_r and w go with cos(n phi), u_phi with sin(n phi).
//!
//! ```text
//! u_r, u_phi = sum c r^(|n-1|+2i) z^j, j odd;   w = sum c r^(n+2i) z^j, j even;   r^(1+2i) for n = 0
//! f = lambda / (2 pi R^2) sqrt(D / (rho t)),   D = E t^3 / (12 (1 - nu^2))
//! ```
//!
//! # Source
//! - `ritz1909`: stationary energy over a set of trial functions
//! - `e1876`: the disc's two tones and the form of the equation with the mass (from memory); its printed factors
//!   are replaced by those computed here
//! - `leissa1969`: factors of thin discs, for the tests
//! - `irie1980`: factors of thick discs by a plate theory with shear, for the tests

use nalgebra::{Cholesky, DMatrix};
use std::f64::consts::PI;

/// A tone of a free disc.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DiscTone {
    /// Two diameters at rest: the lowest tone, as of a saddle.
    TwoDiameters,
    /// One circle at rest: the centre moves against the rim.
    OneCircle,
    /// Three diameters at rest.
    ThreeDiameters,
}

/// Powers of the radius, and of the height, that are tried.
const POWERS: (usize, [usize; 2], [usize; 2]) = (5, [1, 3], [0, 2]);

/// One trial function: which displacement, and its powers of the radius and of the height.
#[derive(Clone, Copy)]
struct Trial {
    of: Displacement,
    radius: i32,
    height: i32,
}

#[derive(Clone, Copy, PartialEq)]
enum Displacement {
    Radial,
    Around,
    Axial,
}

impl Trial {
    /// Strains rr, pp, zz, rp, rz, pz, each a factor and powers of the radius and the height.
    fn strains(self, n: f64) -> [(f64, i32, i32); 6] {
        let (p, j) = (f64::from(self.radius), f64::from(self.height));
        let (r, z) = (self.radius, self.height);
        let none = (0.0, 0, 0);
        let across = |factor: f64| (factor, r - 1, z);
        let upwards = |factor: f64| (factor, r, z - 1);
        match self.of {
            Displacement::Radial => [across(p), across(1.0), none, across(-n), upwards(j), none],
            Displacement::Around => [none, across(n), none, across(p - 1.0), none, upwards(j)],
            Displacement::Axial => [none, none, upwards(j), none, across(p), across(-n)],
        }
    }
}

/// lambda of a tone: its angular frequency times R^2 sqrt(rho t / D), for thickness over radius `t` and Poisson's
/// ratio `nu`. `None` for sizes or ratios that no disc has.
///
/// A thin one of Poisson's ratio 0.3 has 5.358 and 9.003:
///
/// ```
/// use stillbed_tap::{DiscTone, disc_factor};
/// assert!((disc_factor(DiscTone::TwoDiameters, 0.01, 0.3).unwrap() - 5.358).abs() < 0.003);
/// assert!((disc_factor(DiscTone::OneCircle, 0.01, 0.3).unwrap() - 9.003).abs() < 0.003);
/// ```
pub fn disc_factor(tone: DiscTone, t: f64, nu: f64) -> Option<f64> {
    if !(t > 0.0 && t.is_finite() && nu > -1.0 && nu < 0.5) {
        return None;
    }
    // Of the tones with a circle at rest, the first "tone" is the disc that moves as a whole.
    let (n, place) = match tone {
        DiscTone::TwoDiameters => (2, 0),
        DiscTone::OneCircle => (0, 1),
        DiscTone::ThreeDiameters => (3, 0),
    };
    let inside = if n == 0 { 1 } else { n - 1 };
    let mut trials = Vec::new();
    for i in 0..POWERS.0 as i32 {
        for height in POWERS.1.map(|j| j as i32) {
            trials.push(Trial { of: Displacement::Radial, radius: inside + 2 * i, height });
            if n > 0 {
                trials.push(Trial { of: Displacement::Around, radius: inside + 2 * i, height });
            }
        }
        for height in POWERS.2.map(|j| j as i32) {
            trials.push(Trial { of: Displacement::Axial, radius: n + 2 * i, height });
        }
    }
    // In units of the radius, the density and Young's modulus; the height in halves of the thickness.
    let half = 0.5 * t;
    let shear = 0.5 / (1.0 + nu);
    let volume = nu / ((1.0 + nu) * (1.0 - 2.0 * nu));
    let integral = |a: (f64, i32, i32), b: (f64, i32, i32)| {
        let (r, z) = (a.1 + b.1, a.2 + b.2);
        if a.0 == 0.0 || b.0 == 0.0 || z % 2 != 0 {
            return 0.0;
        }
        a.0 * b.0 * 2.0 * half / (f64::from(r + 2) * f64::from(z + 1))
    };
    let strains: Vec<[(f64, i32, i32); 6]> = trials
        .iter()
        .map(|trial| {
            let mut all = trial.strains(f64::from(n));
            // Slopes along the height are per half of the thickness.
            for (strain, of) in all.iter_mut().enumerate() {
                let along = match trial.of {
                    Displacement::Radial => strain == 4,
                    Displacement::Around => strain == 5,
                    Displacement::Axial => strain == 2,
                };
                if along {
                    of.0 /= half;
                }
            }
            all
        })
        .collect();
    let count = trials.len();
    let stiffness = DMatrix::from_fn(count, count, |a, b| {
        let (a, b) = (&strains[a], &strains[b]);
        let direct = |i: usize, j: usize| integral(a[i], b[j]);
        let swell: f64 = (0..3).flat_map(|i| (0..3).map(move |j| (i, j))).map(|(i, j)| direct(i, j)).sum();
        let stretch: f64 = (0..3).map(|i| direct(i, i)).sum();
        let slide: f64 = (3..6).map(|i| direct(i, i)).sum();
        volume * swell + 2.0 * shear * stretch + shear * slide
    });
    let mass = DMatrix::from_fn(count, count, |a, b| {
        let (a, b) = (trials[a], trials[b]);
        if a.of == b.of { integral((1.0, a.radius, a.height), (1.0, b.radius, b.height)) } else { 0.0 }
    });
    let lower = Cholesky::new(mass)?.l();
    let left = lower.solve_lower_triangular(&stiffness)?;
    let both = lower.solve_lower_triangular(&left.transpose())?;
    let symmetric = 0.5 * (&both + both.transpose());
    let mut squares: Vec<f64> = symmetric.symmetric_eigenvalues().iter().copied().collect();
    squares.sort_by(f64::total_cmp);
    let square = *squares.get(place)?;
    let factor = (square * 12.0 * (1.0 - nu * nu)).sqrt() / t;
    (factor > 0.0 && factor.is_finite()).then_some(factor)
}

/// Poisson's ratio of a disc whose tone with a circle at rest is `ratio` times as high as that with two diameters;
/// `None` where no ratio from 0 to 0.49 gives it. `t` is thickness over radius.
pub(super) fn poissons_ratio(t: f64, ratio: f64) -> Option<f64> {
    let over = |nu: f64| {
        Some(disc_factor(DiscTone::OneCircle, t, nu)? / disc_factor(DiscTone::TwoDiameters, t, nu)? - ratio)
    };
    let (mut low, mut high) = (POISSON.0, POISSON.1);
    if over(low)? > 0.0 || over(high)? < 0.0 {
        return None;
    }
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if over(middle)? > 0.0 { high = middle } else { low = middle }
    }
    Some(0.5 * (low + high))
}

/// Poisson's ratios among which that of a disc is sought.
pub(super) const POISSON: (f64, f64) = (0.0, 0.49);

/// Young's modulus, Pa, of a disc of `radius` and `thickness`, m, and `mass`, kg, whose `tone` is at `frequency_hz`.
///
/// ```text
/// E = 48 pi (1 - nu^2) m R^2 f^2 / (lambda^2 t^3)
/// ```
pub(super) fn youngs_modulus(
    (radius, thickness, mass): (f64, f64, f64),
    tone: DiscTone,
    frequency_hz: f64,
    nu: f64,
) -> Option<f64> {
    let factor = disc_factor(tone, thickness / radius, nu)?;
    let square = (radius * frequency_hz / factor).powi(2);
    Some(48.0 * PI * (1.0 - nu * nu) * mass * square / thickness.powi(3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Bessel functions J and I of order n at x, by their series (sign -1 and 1), with the first two derivatives.
    fn bessel(n: i32, x: f64, sign: f64) -> [f64; 3] {
        let (mut value, mut slope, mut bend) = (0.0, 0.0, 0.0);
        let mut factor = (1..=n).fold(1.0, |product, k| product * 0.5 / f64::from(k));
        for k in 0..40 {
            let power = n + 2 * k;
            let p = f64::from(power);
            value += factor * x.powi(power);
            slope += factor * p * x.powi(power - 1);
            bend += factor * p * (p - 1.0) * x.powi(power - 2);
            factor *= sign * 0.25 / (f64::from(k + 1) * f64::from(n + k + 1));
        }
        [value, slope, bend]
    }

    /// lambda of a thin free plate: no bending moment and no edge force, by the equation of Kirchhoff.
    fn thin(n: i32, nu: f64, around: (f64, f64)) -> f64 {
        let n2 = f64::from(n * n);
        // At the edge (r = 1): moment and force of w(r) cos(n phi), where the Laplacian of w is sign k^2 w.
        let edge = |k: f64, sign: f64| {
            let [w, slope, bend] = bessel(n, k, sign);
            let (w, slope, bend) = (w, k * slope, k * k * bend);
            let moment = bend + nu * (slope - n2 * w);
            let force = sign * k * k * slope - (1.0 - nu) * n2 * (slope - w);
            (moment, force)
        };
        let value = |lambda: f64| {
            let k = lambda.sqrt();
            let ((a, b), (c, d)) = (edge(k, -1.0), edge(k, 1.0));
            a * d - b * c
        };
        let (mut low, mut high) = around;
        assert!(value(low) * value(high) < 0.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if value(low) * value(middle) <= 0.0 { high = middle } else { low = middle }
        }
        low
    }

    #[test]
    fn a_thin_disc_is_a_thin_plate() {
        for nu in [0.05, 0.2, 0.3, 0.45] {
            for (tone, n, around) in [
                (DiscTone::TwoDiameters, 2, (3.5, 7.0)),
                (DiscTone::OneCircle, 0, (7.0, 11.0)),
                (DiscTone::ThreeDiameters, 3, (10.0, 15.0)),
            ] {
                // The boundary layer of a thick edge lowers it by a part that is as small as the thickness.
                let found = disc_factor(tone, 0.005, nu).unwrap();
                assert_relative_eq!(found, thin(n, nu, around), max_relative = 3e-4);
            }
        }
    }

    #[test]
    fn published_factors_of_thin_discs() {
        // Leissa's table of free plates for 0.33, which goes back to sums by hand: they part from the root of the
        // equation above by 0.2 %.
        assert_relative_eq!(
            disc_factor(DiscTone::TwoDiameters, 0.005, 0.33).unwrap(),
            5.253,
            max_relative = 2e-3
        );
        assert_relative_eq!(
            disc_factor(DiscTone::OneCircle, 0.005, 0.33).unwrap(),
            9.084,
            max_relative = 2e-3
        );
    }

    #[test]
    fn thick_discs_by_a_plate_theory_with_shear() {
        // Free plates of Mindlin's theory with a shear coefficient of pi^2/12, which is off the elastic solid by
        // 0.2 %.
        for (t, two, circle) in [(0.1, 5.278, 8.868), (0.2, 5.114, 8.505)] {
            assert_relative_eq!(
                disc_factor(DiscTone::TwoDiameters, t, 0.3).unwrap(),
                two,
                max_relative = 2e-3
            );
            assert_relative_eq!(
                disc_factor(DiscTone::OneCircle, t, 0.3).unwrap(),
                circle,
                max_relative = 2e-3
            );
        }
    }

    #[test]
    fn the_ratio_of_the_tones_tells_poissons_ratio() {
        for (t, nu) in [(0.05, 0.12), (0.2, 0.3), (0.4, 0.45)] {
            let ratio = disc_factor(DiscTone::OneCircle, t, nu).unwrap()
                / disc_factor(DiscTone::TwoDiameters, t, nu).unwrap();
            assert_relative_eq!(poissons_ratio(t, ratio).unwrap(), nu, max_relative = 1e-6);
        }
        assert_eq!(poissons_ratio(0.1, 1.1), None);
        assert_eq!(disc_factor(DiscTone::OneCircle, 0.1, 0.5), None);
    }

    #[test]
    fn the_modulus_follows_from_the_mass_as_from_the_density() {
        // f = lambda / (2 pi R^2) sqrt(E t^2 / (12 (1 - nu^2) rho)) for steel of 210 GPa.
        let (r, t, nu, rho, e) = (0.05_f64, 0.006_f64, 0.29_f64, 7850.0_f64, 210e9_f64);
        let factor = disc_factor(DiscTone::OneCircle, t / r, nu).unwrap();
        let f = factor / (2.0 * PI * r * r) * (e * t * t / (12.0 * (1.0 - nu * nu) * rho)).sqrt();
        let found = youngs_modulus((r, t, rho * PI * r * r * t), DiscTone::OneCircle, f, nu).unwrap();
        assert_relative_eq!(found, e, max_relative = 1e-12);
    }
}
