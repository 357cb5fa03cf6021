//! One piece of a member: its stiffness, its mass, and how it deflects between its ends.
//!
//! ```text
//! forces at s from the far end:  f(s) = (I + s B) P,   M_y -= s V_z,  M_z += s V_y
//! compliance of the cantilever:  F = ∫ (I + s B)ᵀ C (I + s B) ds,   C = S⁻¹
//! stiffness:                     K = Aᵀ F⁻¹ A,   A = [-(I + l B)ᵀ, I]
//! deflection at x:               u(x) = (I + x B)ᵀ d₁ + J(x) F⁻¹ A d
//! mass:                          M = ∫ N(x)ᵀ m N(x) dx,   u(x) = N(x) d
//! ```
//!
//! F is a polynomial in the length, so the stiffness is the exact one of a piece loaded at its
//! ends, with shear and every coupling of the section, for complex moduli too. N is the same
//! exact static deflection for the real part of the compliance: cubic, so four Gauss points
//! integrate the mass exactly. What is left to the division of a member is that a vibrating
//! piece deflects otherwise than a resting one; the frequencies converge with the fourth power
//! of the length.
//!
//! # Source
//! - `przemieniecki1968`: ch. 5 (stiffness of a beam), ch. 11 (consistent mass)
//! - `friedman1993`: shapes of the exact static deflection and their mass

use super::section::{MemberSection, inverse};
use nalgebra::{Matrix6, SMatrix, SVector, Vector6};
use num_complex::Complex64;

/// Real matrix of a piece, two ends of six freedoms.
pub(super) type Matrix12 = SMatrix<f64, 12, 12>;
/// Complex matrix of a piece.
pub(super) type Complex12 = SMatrix<Complex64, 12, 12>;
/// Freedoms of a piece: those of its first end, then those of its second.
pub(super) type Vector12 = SVector<f64, 12>;

/// Abscissae and weights of four Gauss points on 0 to 1.
///
/// # Source
/// - `abramowitz1964`: table 25.4
const GAUSS: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_93),
];

/// A piece of a member of one section, in the member's own axes.
pub(super) struct Piece {
    length: f64,
    /// Section compliance, complex.
    compliance: Matrix6<Complex64>,
    /// Inverse of the cantilever compliance, complex.
    end_stiffness: Matrix6<Complex64>,
}

impl Piece {
    /// A piece of `length` in m; `None` when the section's stiffness is not positive definite.
    pub(super) fn new(section: &MemberSection, length: f64) -> Option<Piece> {
        let compliance = inverse(&section.stiffness)?;
        let end_stiffness = inverse(&cantilever(&compliance, length))?;
        Some(Piece { length, compliance, end_stiffness })
    }

    /// Complex stiffness, shape (12, 12), in N/m, N and N m.
    pub(super) fn stiffness(&self) -> Complex12 {
        let end = &self.end_stiffness;
        let reach = transposed_reach(self.length).map(Complex64::from);
        let cross = -(end * reach);
        let mut k = Complex12::zeros();
        k.fixed_view_mut::<6, 6>(0, 0).copy_from(&-(reach.transpose() * cross));
        k.fixed_view_mut::<6, 6>(6, 0).copy_from(&cross);
        k.fixed_view_mut::<6, 6>(0, 6).copy_from(&cross.transpose());
        k.fixed_view_mut::<6, 6>(6, 6).copy_from(end);
        k
    }

    /// Consistent mass for the section's `mass` per length, shape (12, 12), in kg, kg m and kg m2.
    pub(super) fn mass(&self, mass: &Matrix6<f64>) -> Option<Matrix12> {
        let shapes = self.shapes()?;
        let mut m = Matrix12::zeros();
        for (place, weight) in GAUSS {
            let n = shapes.at(place * self.length);
            m += n.transpose() * (mass * n) * (weight * self.length);
        }
        Some(m)
    }

    /// How the piece deflects between its ends.
    pub(super) fn shapes(&self) -> Option<Shapes> {
        let compliance = self.compliance.map(|c| c.re);
        let cantilever = cantilever(&compliance.map(Complex64::from), self.length);
        let end_stiffness = inverse(&cantilever)?.map(|c| c.re);
        Some(Shapes { length: self.length, compliance, end_stiffness })
    }

    /// Complex forces at the second end when the ends are displaced by `d`, member axes.
    pub(super) fn end_forces(&self, d: &Vector12) -> Vector6<Complex64> {
        let first: Vector6<f64> = d.fixed_rows::<6>(0).into();
        let second: Vector6<f64> = d.fixed_rows::<6>(6).into();
        let stretch = second - transposed_reach(self.length) * first;
        self.end_stiffness * stretch.map(Complex64::from)
    }

    /// The matrix W that gives the energy stored in a part of the section as Pᴴ W P / 2 from the
    /// end forces P.
    ///
    /// The strains along the piece are C f; energy of a part with stiffness Sₚ is ∫ eᴴ Sₚ e / 2,
    /// which is again the polynomial of the cantilever, with Cᴴ Sₚ C in the place of C.
    pub(super) fn energy_of(&self, stiffness: &Matrix6<f64>) -> Matrix6<Complex64> {
        let part = self.compliance.adjoint() * stiffness.map(Complex64::from) * self.compliance;
        cantilever(&part, self.length)
    }
}

/// The exact static deflection of a piece between its ends.
pub(super) struct Shapes {
    length: f64,
    compliance: Matrix6<f64>,
    end_stiffness: Matrix6<f64>,
}

impl Shapes {
    /// The six motions of the section at `x` from the twelve of the ends, shape (6, 12).
    pub(super) fn at(&self, x: f64) -> SMatrix<f64, 6, 12> {
        let c = &self.compliance;
        let b = lever();
        let (cb, bc) = (c * b, b.transpose() * c);
        let rest = self.length - x;
        let j = c * x
            + cb * (x * rest + x * x / 2.0)
            + bc * (x * x / 2.0)
            + bc * b * (x * x * (rest / 2.0 + x / 3.0));
        let second = j * self.end_stiffness;
        let first = transposed_reach(x) - second * transposed_reach(self.length);
        let mut n = SMatrix::<f64, 6, 12>::zeros();
        n.fixed_view_mut::<6, 6>(0, 0).copy_from(&first);
        n.fixed_view_mut::<6, 6>(0, 6).copy_from(&second);
        n
    }
}

/// ∫ (I + s B)ᵀ C (I + s B) ds over 0 to `l`.
fn cantilever(c: &Matrix6<Complex64>, l: f64) -> Matrix6<Complex64> {
    let b = lever().map(Complex64::from);
    let (cb, bc) = (c * b, b.transpose() * c);
    let [l1, l2, l3] = [l, l * l / 2.0, l * l * l / 3.0].map(Complex64::from);
    c * l1 + (cb + bc) * l2 + bc * b * l3
}

/// B: the moments that the shear forces of the far end bring, per length of their lever.
fn lever() -> Matrix6<f64> {
    let mut b = Matrix6::zeros();
    b[(4, 2)] = -1.0;
    b[(5, 1)] = 1.0;
    b
}

/// (I + x B)ᵀ: what a rigid piece of length `x` makes of the motion of its first end.
fn transposed_reach(x: f64) -> Matrix6<f64> {
    Matrix6::identity() + lever().transpose() * x
}

#[cfg(test)]
mod tests {
    use super::super::section::Plain;
    use super::*;
    use crate::material::Role;
    use approx::assert_relative_eq;

    const PLAIN: Plain = Plain {
        ea: 3e8,
        ga: [1e8, 0.8e8],
        gj: 2e4,
        ei: [4e4, 9e4],
        rho_a: 12.0,
        rho_i: [0.01, 0.03],
        loss_factor: 0.05,
    };

    /// A section with every centre off the line, and parts of different loss.
    fn coupled() -> MemberSection {
        let mut section = MemberSection::plain("s", "steel", Role::Skeleton, &PLAIN);
        let shift = Matrix6::from_fn(|i, j| match (i, j) {
            (i, j) if i == j => 1.0,
            (0, 4) => 0.01,
            (0, 5) => -0.02,
            (1, 3) => 0.015,
            (2, 3) => -0.03,
            _ => 0.0,
        });
        section.stiffness = shift.transpose().map(Complex64::from)
            * section.stiffness.map_with_location(|i, j, s| {
                if i == j { s * Complex64::new(1.0, 0.1 * i as f64) } else { s }
            })
            * shift.map(Complex64::from);
        section.mass = shift.transpose() * section.mass * shift;
        section
    }

    fn close(a: &Complex12, b: &Complex12, scale: f64) {
        for (x, y) in a.iter().zip(b.iter()) {
            assert!((x - y).norm() < 1e-9 * scale, "{x} {y}");
        }
    }

    #[test]
    fn stiffness_of_a_plain_piece_is_the_textbook_one() {
        let section = MemberSection::plain("s", "steel", Role::Skeleton, &PLAIN);
        let l = 0.7;
        let k = Piece::new(&section, l).unwrap().stiffness();
        let phi = 12.0 * PLAIN.ei[0] / (PLAIN.ga[1] * l * l);
        let ei = PLAIN.ei[0] / (1.0 + phi);
        assert_relative_eq!(k[(0, 6)].re, -PLAIN.ea / l, max_relative = 1e-12);
        assert_relative_eq!(k[(3, 3)].re, PLAIN.gj / l, max_relative = 1e-12);
        assert_relative_eq!(k[(2, 2)].re, 12.0 * ei / l.powi(3), max_relative = 1e-12);
        assert_relative_eq!(k[(2, 4)].re, -6.0 * ei / l.powi(2), max_relative = 1e-12);
        assert_relative_eq!(k[(4, 4)].re, (4.0 + phi) * ei / l, max_relative = 1e-12);
        assert_relative_eq!(k[(4, 10)].re, (2.0 - phi) * ei / l, max_relative = 1e-12);
        assert_relative_eq!(k[(8, 8)].im, 0.05 * 12.0 * ei / l.powi(3), max_relative = 1e-12);
        close(&k, &k.transpose(), 1e9);
    }

    #[test]
    fn mass_of_a_slender_piece_is_the_textbook_one() {
        let plain = Plain { ga: [1e16, 1e16], rho_i: [0.0, 0.0], ..PLAIN };
        let section = MemberSection::plain("s", "steel", Role::Skeleton, &plain);
        let l = 1.3;
        let m = Piece::new(&section, l).unwrap().mass(&section.mass).unwrap();
        let unit = plain.rho_a * l / 420.0;
        assert_relative_eq!(m[(0, 0)], 140.0 * unit, max_relative = 1e-9);
        assert_relative_eq!(m[(1, 1)], 156.0 * unit, max_relative = 1e-6);
        assert_relative_eq!(m[(1, 5)], 22.0 * l * unit, max_relative = 1e-6);
        assert_relative_eq!(m[(2, 4)], -22.0 * l * unit, max_relative = 1e-6);
        assert_relative_eq!(m[(1, 11)], -13.0 * l * unit, max_relative = 1e-6);
        assert_relative_eq!(m[(5, 11)], -3.0 * l * l * unit, max_relative = 1e-6);
    }

    #[test]
    fn two_halves_make_the_whole() {
        let section = coupled();
        let whole = Piece::new(&section, 0.8).unwrap().stiffness();
        let half = Piece::new(&section, 0.4).unwrap().stiffness();
        let block = |i: usize, j: usize| half.fixed_view::<6, 6>(6 * i, 6 * j).into_owned();
        let middle = inverse(&(block(1, 1) + block(0, 0))).unwrap();
        let mut joined = Complex12::zeros();
        joined.fixed_view_mut::<6, 6>(0, 0).copy_from(&(block(0, 0) - block(0, 1) * middle * block(1, 0)));
        joined.fixed_view_mut::<6, 6>(0, 6).copy_from(&-(block(0, 1) * middle * block(0, 1)));
        joined.fixed_view_mut::<6, 6>(6, 0).copy_from(&-(block(1, 0) * middle * block(1, 0)));
        joined.fixed_view_mut::<6, 6>(6, 6).copy_from(&(block(1, 1) - block(1, 0) * middle * block(0, 1)));
        close(&whole, &joined, 1e9);
    }

    #[test]
    fn the_ends_of_the_shapes_are_the_ends() {
        let shapes = Piece::new(&coupled(), 0.6).unwrap().shapes().unwrap();
        let (first, last) = (shapes.at(0.0), shapes.at(0.6));
        for i in 0..6 {
            for j in 0..12 {
                assert!((first[(i, j)] - f64::from(i == j)).abs() < 1e-9);
                assert!((last[(i, j)] - f64::from(i + 6 == j)).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn energy_by_the_end_forces_is_that_of_the_stiffness() {
        let section = coupled();
        let piece = Piece::new(&section, 0.6).unwrap();
        let d = Vector12::from_fn(|i, _| ((i * 5 + 3) % 7) as f64 * 1e-3 - 2e-3);
        let p = piece.end_forces(&d);
        let of = |s: &Matrix6<f64>| (p.adjoint() * piece.energy_of(s) * p)[0].re;
        let k = piece.stiffness();
        let direct = |part: fn(&Complex64) -> f64| d.dot(&(k.map(|x| part(&x)) * d));
        assert_relative_eq!(of(&section.stiffness.map(|s| s.re)), direct(|x| x.re), max_relative = 1e-10);
        assert_relative_eq!(of(&section.stiffness.map(|s| s.im)), direct(|x| x.im), max_relative = 1e-10);
    }

    #[test]
    fn a_piece_moves_as_a_rigid_body_without_force_and_with_its_whole_mass() {
        let section = coupled();
        let piece = Piece::new(&section, 0.6).unwrap();
        let m = piece.mass(&section.mass).unwrap();
        let mut rigid = Vector12::zeros();
        rigid[1] = 1.0;
        rigid[7] = 1.0;
        assert_relative_eq!(rigid.dot(&(m * rigid)), 0.6 * PLAIN.rho_a, max_relative = 1e-12);
        rigid += Vector12::from_fn(|i, _| match i {
            5 | 11 => 1.0,
            7 => 0.6,
            _ => 0.0,
        });
        assert!(piece.end_forces(&rigid).norm() < 1e-6);
    }
}
