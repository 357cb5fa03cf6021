//! The cross-section of a member as the frame needs it: stiffness and mass about the member line.
//!
//! ```text
//! strains  e = [eps_x, gamma_y, gamma_z, kappa_x, kappa_y, kappa_z]
//! forces   f = [N, V_y, V_z, T, M_y, M_z] = S e
//! axial strain at (y, z):  eps_x + z kappa_y - y kappa_z
//! ```
//!
//! The mass per length follows the order x, y, z, turn_x, turn_y, turn_z. Neither matrix needs to be
//! diagonal: elastic centre, shear centre and mass centre may all lie off the member line.

use nalgebra::{Matrix6, Vector6};
use num_complex::Complex64;
use stillbed_material::Role;

/// A cross-section, constant along its member.
#[derive(Debug, Clone, PartialEq)]
pub struct MemberSection {
    /// Its name in the design.
    pub name: String,
    /// Complex section stiffness, shape (6, 6): N, N m or N m2.
    pub stiffness: Matrix6<Complex64>,
    /// Mass per length, shape (6, 6): kg/m, kg or kg m.
    pub mass: Matrix6<f64>,
    /// What each material contributes; they sum to the real part of `stiffness`.
    pub parts: Vec<PartStiffness>,
}

/// The contribution of one material to a section's stiffness.
#[derive(Debug, Clone, PartialEq)]
pub struct PartStiffness {
    /// The material.
    pub of: String,
    /// Its role in the section.
    pub role: Role,
    /// Real stiffness, as in [`MemberSection::stiffness`].
    pub stiffness: Matrix6<f64>,
}

/// The properties of a section of one material whose centres all lie on the member line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plain {
    /// Axial stiffness E A, N.
    pub ea: f64,
    /// Shear stiffnesses across y and z, N.
    pub ga: [f64; 2],
    /// Torsional stiffness, N m2.
    pub gj: f64,
    /// Bending stiffnesses about y and z, N m2.
    pub ei: [f64; 2],
    /// Mass per length, kg/m.
    pub rho_a: f64,
    /// Rotary inertia per length about y and z, kg m; their sum acts about x.
    pub rho_i: [f64; 2],
    /// Loss factor of every stiffness.
    pub loss_factor: f64,
}

impl MemberSection {
    /// The largest loss factor among stretching, shearing, twisting and bending.
    pub fn loss_factor(&self) -> f64 {
        let own = |stiffness: &Complex64| if stiffness.re > 0.0 { stiffness.im / stiffness.re } else { 0.0 };
        self.stiffness.diagonal().iter().map(own).fold(0.0, f64::max)
    }

    /// A section of one material whose centres all lie on the member line.
    pub fn plain(name: &str, of: &str, role: Role, plain: &Plain) -> MemberSection {
        let Plain { ea, ga, gj, ei, rho_a, rho_i, loss_factor } = *plain;
        let stiffness = Matrix6::from_diagonal(&Vector6::new(ea, ga[0], ga[1], gj, ei[0], ei[1]));
        let polar = rho_i[0] + rho_i[1];
        MemberSection {
            name: name.to_string(),
            stiffness: stiffness.map(|s| Complex64::new(s, s * loss_factor)),
            mass: Matrix6::from_diagonal(&Vector6::new(rho_a, rho_a, rho_a, polar, rho_i[0], rho_i[1])),
            parts: vec![PartStiffness { of: of.to_string(), role, stiffness }],
        }
    }
}

/// The inverse of a complex-symmetric matrix with positive definite real part, by L D Lᵀ.
///
/// Such a matrix needs no pivoting, even with entries of very different size. `None` when it is not finite or
/// its real part is not positive definite.
pub(super) fn inverse(matrix: &Matrix6<Complex64>) -> Option<Matrix6<Complex64>> {
    let mut l = Matrix6::<Complex64>::identity();
    let mut d = [Complex64::default(); 6];
    for j in 0..6 {
        let sum: Complex64 = (0..j).map(|k| l[(j, k)] * l[(j, k)] * d[k]).sum();
        d[j] = matrix[(j, j)] - sum;
        // A pivot below rounding of its diagonal is a zero stiffness.
        if !d[j].is_finite() || d[j].re <= 1e-13 * matrix[(j, j)].re {
            return None;
        }
        for i in j + 1..6 {
            let sum: Complex64 = (0..j).map(|k| l[(i, k)] * l[(j, k)] * d[k]).sum();
            l[(i, j)] = (matrix[(i, j)] - sum) / d[j];
        }
    }
    // The inverse of L, by forward substitution.
    let mut inverse_l = Matrix6::<Complex64>::identity();
    for j in 0..6 {
        for i in j + 1..6 {
            inverse_l[(i, j)] = -(j..i).map(|k| l[(i, k)] * inverse_l[(k, j)]).sum::<Complex64>();
        }
    }
    let mut inverse = Matrix6::zeros();
    for i in 0..6 {
        for j in 0..=i {
            let sum: Complex64 = (i..6).map(|k| inverse_l[(k, i)] * inverse_l[(k, j)] / d[k]).sum();
            inverse[(i, j)] = sum;
            inverse[(j, i)] = sum;
        }
    }
    inverse.iter().all(|x| x.is_finite()).then_some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_of_a_coupled_complex_matrix() {
        let root = Matrix6::from_fn(|i, j| if i >= j { 1.0 + (i * 7 + j * 3) as f64 % 5.0 } else { 0.0 });
        let scale = Matrix6::from_diagonal(&Vector6::new(1e5, 1.0, 1e-4, 1e3, 1e-2, 10.0));
        let real = scale * root * root.transpose() * scale;
        let matrix = real.map(|x| Complex64::new(x, 0.1 * x))
            + Matrix6::from_diagonal_element(Complex64::new(0.0, 1e-9));
        let product = matrix * inverse(&matrix).unwrap();
        // Compared in the scale of its own rows and columns.
        for i in 0..6 {
            for j in 0..6 {
                let expected = if i == j { 1.0 } else { 0.0 };
                let error = (product[(i, j)] - expected).norm() * scale[(j, j)] / scale[(i, i)];
                assert!(error < 1e-9, "{i} {j} {error}");
            }
        }
    }

    #[test]
    fn a_matrix_without_stiffness_has_no_inverse() {
        let mut matrix = Matrix6::<Complex64>::identity();
        matrix[(3, 3)] = Complex64::new(0.0, 0.0);
        assert!(inverse(&matrix).is_none());
        matrix[(3, 3)] = Complex64::new(f64::NAN, 0.0);
        assert!(inverse(&matrix).is_none());
    }

    #[test]
    fn a_matrix_that_is_not_positive_definite_has_no_inverse() {
        let mut matrix = Matrix6::<Complex64>::identity();
        matrix[(2, 2)] = Complex64::new(-1.0, 0.1);
        assert!(inverse(&matrix).is_none());
        // Two rows that are alike but for rounding.
        matrix[(2, 2)] = Complex64::new(1.0 + 4.0 * f64::EPSILON, 0.0);
        (matrix[(1, 2)], matrix[(2, 1)]) = (Complex64::ONE, Complex64::ONE);
        assert!(inverse(&matrix).is_none());
    }

    #[test]
    fn a_plain_section_has_the_sum_of_both_inertias_about_its_line_and_the_largest_loss() {
        let plain = Plain {
            ea: 2e8,
            ga: [5e7, 6e7],
            gj: 3e4,
            ei: [4e4, 7e4],
            rho_a: 12.0,
            rho_i: [0.002, 0.005],
            loss_factor: 0.003,
        };
        let mut section = MemberSection::plain("bar", "steel", Role::Skeleton, &plain);
        assert!((section.mass[(3, 3)] - 0.007).abs() < 1e-15);
        assert!((section.loss_factor() - 0.003).abs() < 1e-15);
        section.stiffness[(4, 4)].im = 0.02 * 4e4;
        assert!((section.loss_factor() - 0.02).abs() < 1e-15);
    }
}
