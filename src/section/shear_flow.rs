//! Shear stiffness, shear centre and torsion of all bodies of a section together.
//!
//! The shear forces V = (V_y, V_z) change the moments along x, M_y' = V_z and M_z' = -V_y, and so the
//! curvatures by H V with H = D^-1 Q, D the bending stiffness about the body's own elastic centre:
//!
//! ```text
//! S = H^T W H            shear flexibility by energy: V^T S V = int |tau|^2 / G
//! T = (H^T t) . V = y_s V_z - z_s V_y                    the shear centre, after Trefftz
//! S_C = S - H^T (int G grad w . a) H                     Cowper's mean displacement
//! GA = C^T S^-1 C,  C = S^(1/2) S_C^(-1/2)               real parts in C
//! ```
//!
//! W does not contain Poisson's ratio and gives 5/6 for a rectangle. Published frequencies of short
//! beams rest on Cowper's definition by the mean displacement of a section, which does contain Poisson's
//! ratio. It enters as the real factor C, so that loss and shares stay those of the energy. Bodies that
//! do not touch are held by a rigid contour: each takes its share of the shear force at its own shear
//! centre and warps alone, so that their GA and GJ add up.
//!
//! # Source
//! - `cowper1966`: eqs. 4 to 10 (mean displacement and rotation; equation numbers from memory)
//! - `trefftz1935`: shear centre by uncoupled energies

use super::galerkin::Flow;
use nalgebra::{Matrix2, Matrix3, SymmetricEigen, Vector2};
use num_complex::Complex64;

/// Shear and torsion about the shear centre.
#[derive(Debug, Clone)]
pub(super) struct ShearTorsion {
    /// Shear forces (V_y, V_z) from shear strains, N.
    pub ga: Matrix2<Complex64>,
    /// The same from the energy alone, without Poisson's ratio.
    pub ga_energy: Matrix2<Complex64>,
    /// Shear centre [y, z], m.
    pub centre: [Complex64; 2],
    /// Torsional stiffness, N m2.
    pub gj: Complex64,
    /// Contribution of each part of the section, by (gamma_y, gamma_z, kappa_x).
    pub parts: Vec<Matrix3<Complex64>>,
}

/// Combines the results of the bodies of a section of `parts` parts.
pub(super) fn together<'a>(flows: impl Iterator<Item = &'a Flow>, parts: usize) -> ShearTorsion {
    let turn = Matrix2::new(0.0, 1.0, -1.0, 0.0);
    let mut all = ShearTorsion {
        ga: Matrix2::zeros(),
        ga_energy: Matrix2::zeros(),
        centre: [Complex64::ZERO; 2],
        gj: Complex64::ZERO,
        parts: vec![Matrix3::zeros(); parts],
    };
    let mut moment: Vector2<Complex64> = Vector2::zeros();
    let mut bodies = 0;
    for flow in flows {
        let Some(real_h) = flow.bending.try_inverse().map(|inverse| inverse * turn) else { continue };
        let h = real_h.map(Complex64::from);
        let s = h.transpose() * flow.shear.iter().sum::<Matrix2<Complex64>>() * h;
        let Some(energy) = s.try_inverse() else { continue };
        let c = cowper_factor(&s.map(|x| x.re), &real_h, &flow.sideways).map(Complex64::from);
        let ga = c.transpose() * energy * c;
        for (i, part) in flow.parts.iter().enumerate() {
            let to_strain = h * energy * c;
            let shear = to_strain.transpose() * flow.shear[i] * to_strain;
            let cross = to_strain.transpose() * flow.cross[i];
            let sum = &mut all.parts[*part];
            for k in 0..2 {
                for l in 0..2 {
                    sum[(k, l)] += shear[(k, l)];
                }
                sum[(k, 2)] += cross[k];
                sum[(2, k)] += cross[k];
            }
            sum[(2, 2)] += flow.twist[i];
        }
        moment += ga * (h.transpose() * flow.torque);
        bodies += 1;
        all.ga += ga;
        all.ga_energy += energy;
        all.gj += flow.twist.iter().sum::<Complex64>();
    }
    if let Some(inverse) = all.ga.try_inverse() {
        let arm = inverse * moment;
        all.centre = [arm[1], -arm[0]];
        // GA and GJ of several bodies are plain sums, without the effect of the distance between their
        // shear centres. About a complex centre the section could lose more energy than all bodies do.
        if bodies > 1 {
            all.centre = all.centre.map(|x| Complex64::from(x.re));
        }
    }
    all
}

/// The real factor from shear strain by Cowper's mean displacement to shear strain by energy.
fn cowper_factor(s: &Matrix2<f64>, h: &Matrix2<f64>, sideways: &Matrix2<f64>) -> Matrix2<f64> {
    let correction = h.transpose() * sideways * h;
    let cowper = s - 0.5 * (correction + correction.transpose());
    match (power(s, 0.5), power(&cowper, -0.5)) {
        (Some(root), Some(inverse)) => root * inverse,
        _ => Matrix2::identity(),
    }
}

/// A power of a symmetric positive definite matrix.
fn power(matrix: &Matrix2<f64>, exponent: f64) -> Option<Matrix2<f64>> {
    let eigen = SymmetricEigen::new(0.5 * (matrix + matrix.transpose()));
    if eigen.eigenvalues.iter().any(|x| !x.is_finite() || *x <= 0.0) {
        return None;
    }
    let powers = Matrix2::from_diagonal(&eigen.eigenvalues.map(|x| x.powf(exponent)));
    Some(eigen.eigenvectors * powers * eigen.eigenvectors.transpose())
}
