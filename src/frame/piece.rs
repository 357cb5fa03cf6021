//! One beam element of a member: its stiffness, its mass, and how it deflects between its ends.
//!
//! ```text
//! forces at s from the far end:  f(s) = (I + s B) P,   M_y -= s V_z,  M_z += s V_y
//! compliance of the cantilever:  F = ∫ (I + s B)ᵀ C (I + s B) ds,   C = S⁻¹
//! stiffness:                     K = Aᵀ F⁻¹ A,   A = [-(I + l B)ᵀ, I]
//! deflection at x:               u(x) = (I + x B)ᵀ d₁ + J(x) F⁻¹ A d
//! mass:                          M = ∫ N(x)ᵀ m N(x) dx,   u(x) = N(x) d
//! ```
//!
//! F is a polynomial in the length, so the stiffness is exact for an element loaded at its ends, with shear
//! and every coupling of the section, also for complex moduli. N is the exact static deflection for the real
//! part of the stiffness; it is cubic, so four Gauss points integrate the mass exactly.
//!
//! Where other members keep material of the member, the mass between two places is subtracted with the same
//! shapes, so that the rest is never negative.
//!
//! A vibrating element deflects differently from one at rest: it bulges between its ends under its
//! own inertia. K and M are the first terms of its exact dynamic stiffness in powers of ω², and the
//! bulge matrix G is the next,
//!
//! ```text
//! D(ω) = K - ω² M - ω⁴ G - …,   dᵀ G d = ∫ fᵀ C f dx - vᵀ F⁻¹ v,   v = ∫ (I + s B)ᵀ C f dx
//! ```
//!
//! with f the forces that the load m N d causes in an element held at its first end; dᵀ G d is twice the
//! complementary energy with both ends held. ω⁴ φᵀ G φ over φᵀ K φ is what a subdivision leaves out.
//! Where mass is taken off, m is what is left of it place by place, and f is a polynomial between two
//! places where m changes.
//!
//! # Source
//! - `przemieniecki1968`: ch. 5 (stiffness of a beam), ch. 11 (consistent mass)
//! - `friedman1993`: shapes of the exact static deflection and their mass

use super::model::Displaced;
use super::section::{MemberSection, inverse};
use nalgebra::{Matrix6, SMatrix, SVector, Vector6};
use num_complex::Complex64;
use std::sync::OnceLock;

/// Real matrix of an element: two ends of six degrees of freedom.
pub(super) type Matrix12 = SMatrix<f64, 12, 12>;
/// Complex matrix of an element.
pub(super) type Complex12 = SMatrix<Complex64, 12, 12>;
/// Degrees of freedom of an element: those of its first end, then those of its second.
pub(super) type Vector12 = SVector<f64, 12>;

/// Abscissae and weights of two Gauss points on 0 to 1, exact for the square of a linear function.
///
/// # Source
/// - `abramowitz1964`: table 25.4
pub(super) const GAUSS_2: [(f64, f64); 2] = [(0.211_324_865_405_187_1, 0.5), (0.788_675_134_594_812_9, 0.5)];

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

/// Abscissae and weights of six Gauss points on 0 to 1.
///
/// # Source
/// - `abramowitz1964`: table 25.4
const GAUSS_6: [(f64, f64); 6] = [
    (0.033_765_242_898_423_99, 0.085_662_246_189_585_17),
    (0.169_395_306_766_867_74, 0.180_380_786_524_069_3),
    (0.380_690_406_958_401_55, 0.233_956_967_286_345_52),
    (0.619_309_593_041_598_5, 0.233_956_967_286_345_52),
    (0.830_604_693_233_132_3, 0.180_380_786_524_069_3),
    (0.966_234_757_101_576, 0.085_662_246_189_585_17),
];

/// An element of a member of one section, in the member's own axes.
pub(super) struct Piece {
    length: f64,
    /// Mass of the section per length.
    line_mass: Matrix6<f64>,
    /// Section compliance, complex.
    compliance: Matrix6<Complex64>,
    /// Compliance of the real part of the section's stiffness.
    real_compliance: Matrix6<f64>,
    /// Inverse of the cantilever compliance, complex.
    end_stiffness: Matrix6<Complex64>,
    shapes: OnceLock<Option<Shapes>>,
    mass: OnceLock<Option<Matrix12>>,
    bulge: OnceLock<Option<Matrix12>>,
}

impl Piece {
    /// An element of `length` in m; `None` when the section's stiffness is not positive definite.
    pub(super) fn new(section: &MemberSection, length: f64) -> Option<Piece> {
        let compliance = inverse(&section.stiffness)?;
        let real_compliance = inverse(&section.stiffness.map(|s| s.re.into()))?.map(|c| c.re);
        let end_stiffness = inverse(&cantilever(&compliance, length))?;
        let (shapes, mass, bulge) = Default::default();
        let line_mass = section.mass;
        Some(Piece { length, line_mass, compliance, real_compliance, end_stiffness, shapes, mass, bulge })
    }

    /// Mass of the section per length.
    pub(super) fn line_mass(&self) -> &Matrix6<f64> {
        &self.line_mass
    }

    /// Compliance of the real part of the section's stiffness.
    pub(super) fn real_compliance(&self) -> &Matrix6<f64> {
        &self.real_compliance
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

    /// Consistent mass, shape (12, 12), in kg, kg m and kg m2.
    pub(super) fn mass(&self) -> Option<&Matrix12> {
        self.mass.get_or_init(|| self.integrated_mass()).as_ref()
    }

    fn integrated_mass(&self) -> Option<Matrix12> {
        self.mass_between(0.0, self.length, &self.line_mass)
    }

    /// The consistent mass of a `line_mass` that lies only from `from` to `to` along the element, shape
    /// (12, 12), in kg, kg m and kg m2.
    pub(super) fn mass_between(&self, from: f64, to: f64, line_mass: &Matrix6<f64>) -> Option<Matrix12> {
        let shapes = self.shapes()?;
        let mut m = Matrix12::zeros();
        for (place, weight) in GAUSS {
            let n = shapes.at(from + place * (to - from));
            m += n.transpose() * (line_mass * n) * (weight * (to - from));
        }
        Some(m)
    }

    /// The bulge matrix G, shape (12, 12), in kg s2, kg m s2 and kg m2 s2.
    pub(super) fn bulge(&self) -> Option<&Matrix12> {
        self.bulge.get_or_init(|| self.integrated_bulge()).as_ref()
    }

    fn integrated_bulge(&self) -> Option<Matrix12> {
        self.bulge_of(&[Displaced { from: 0.0, to: self.length, mass: self.line_mass }])
    }

    /// The part of the bulge matrix that is lost when the mass `taken` is off, shape (12, 12), in kg s2,
    /// kg m s2 and kg m2 s2; places from the element's first end.
    pub(super) fn bulge_lost(&self, taken: &[Displaced]) -> Option<Matrix12> {
        let mut left = vec![Displaced { from: 0.0, to: self.length, mass: self.line_mass }];
        left.extend(taken.iter().map(|one| Displaced { mass: -one.mass, ..one.clone() }));
        Some(self.bulge()? - self.bulge_of(&left)?)
    }

    /// The bulge matrix for the sum of `masses`.
    fn bulge_of(&self, masses: &[Displaced]) -> Option<Matrix12> {
        let shapes = self.shapes()?;
        let (l, b, compliance) = (self.length, lever(), &shapes.compliance);
        let loads: Vec<_> = masses.iter().map(|own| shapes.powers.map(|n| own.mass * n)).collect();
        let mut ends: Vec<f64> = masses.iter().flat_map(|own| [own.from, own.to]).collect();
        ends.sort_by(f64::total_cmp);
        let mut bulge = Matrix12::zeros();
        let mut free_end = SMatrix::<f64, 6, 12>::zeros();
        for ends in ends.windows(2).filter(|ends| ends[0] < ends[1]) {
            for (place, weight) in GAUSS_6 {
                let x = ends[0] + place * (ends[1] - ends[0]);
                // The forces at x from the load beyond it: ∫ (I + (ξ - x) B) Σ ξᵏ loadₖ dξ.
                let (mut sum, mut levered) = (SMatrix::<f64, 6, 12>::zeros(), SMatrix::zeros());
                for (own, load) in masses.iter().zip(&loads).filter(|(own, _)| x < own.to) {
                    let from = own.from.max(x);
                    for (k, load) in load.iter().enumerate() {
                        let power = |n: usize| (own.to.powi(n as i32) - from.powi(n as i32)) / n as f64;
                        sum += load * power(k + 1);
                        levered += load * (power(k + 2) - x * power(k + 1));
                    }
                }
                let forces = sum + b * levered;
                let strains = compliance * forces * (weight * (ends[1] - ends[0]));
                bulge += forces.transpose() * strains;
                free_end += transposed_reach(l - x) * strains;
            }
        }
        Some(bulge - free_end.transpose() * shapes.end_stiffness * free_end)
    }

    /// How the element deflects between its ends.
    pub(super) fn shapes(&self) -> Option<&Shapes> {
        let made = || {
            let compliance = self.real_compliance;
            let cantilever = cantilever(&compliance.map(Complex64::from), self.length);
            let end_stiffness = inverse(&cantilever)?.map(|c| c.re);
            Some(Shapes::new(compliance, end_stiffness, self.length))
        };
        self.shapes.get_or_init(made).as_ref()
    }

    /// Complex forces at the second end when the ends are displaced by `d`, member axes.
    pub(super) fn end_forces(&self, d: &Vector12) -> Vector6<Complex64> {
        let first: Vector6<f64> = d.fixed_rows::<6>(0).into();
        let second: Vector6<f64> = d.fixed_rows::<6>(6).into();
        let stretch = second - transposed_reach(self.length) * first;
        self.end_stiffness * stretch.map(Complex64::from)
    }

    /// The matrix W that gives the energy stored in a part of the section from the end
    /// forces P as Pᴴ W P / 2.
    ///
    /// The strains along the element are C f; the energy of a part with stiffness Sₚ is ∫ eᴴ Sₚ e / 2. That
    /// is the polynomial of the cantilever compliance again, with Cᴴ Sₚ C in place of C.
    pub(super) fn energy_of(&self, stiffness: &Matrix6<f64>) -> Matrix6<Complex64> {
        let part = self.compliance.adjoint() * stiffness.map(Complex64::from) * self.compliance;
        cantilever(&part, self.length)
    }
}

/// The exact static deflection of an element between its ends.
pub(super) struct Shapes {
    compliance: Matrix6<f64>,
    end_stiffness: Matrix6<f64>,
    /// Coefficients of the powers 0 to 3 of x.
    powers: [SMatrix<f64, 6, 12>; 4],
}

impl Shapes {
    fn new(compliance: Matrix6<f64>, end_stiffness: Matrix6<f64>, l: f64) -> Shapes {
        let b = lever();
        let (cb, bc) = (compliance * b, b.transpose() * compliance);
        let bcb = bc * b;
        let reach = transposed_reach(l);
        let zero = Matrix6::zeros();
        // (I + x B)ᵀ and J(x), by powers of x.
        let rigid = [Matrix6::identity(), b.transpose(), zero, zero];
        let j = [zero, compliance + cb * l, bcb * (l / 2.0) + (bc - cb) / 2.0, bcb / -6.0];
        let powers = std::array::from_fn(|k| {
            let second = j[k] * end_stiffness;
            let mut n = SMatrix::<f64, 6, 12>::zeros();
            n.fixed_view_mut::<6, 6>(0, 0).copy_from(&(rigid[k] - second * reach));
            n.fixed_view_mut::<6, 6>(0, 6).copy_from(&second);
            n
        });
        Shapes { compliance, end_stiffness, powers }
    }

    /// The matrix that gives the six motions of the section at `x` from the twelve of
    /// the ends, shape (6, 12).
    pub(super) fn at(&self, x: f64) -> SMatrix<f64, 6, 12> {
        let [n0, n1, n2, n3] = &self.powers;
        n0 + (n1 + (n2 + n3 * x) * x) * x
    }
}

/// Compliance of a cantilever: ∫ (I + s B)ᵀ C (I + s B) ds over 0 to `l`.
fn cantilever(c: &Matrix6<Complex64>, l: f64) -> Matrix6<Complex64> {
    let b = lever().map(Complex64::from);
    let (cb, bc) = (c * b, b.transpose() * c);
    let [l1, l2, l3] = [l, l * l / 2.0, l * l * l / 3.0].map(Complex64::from);
    c * l1 + (cb + bc) * l2 + bc * b * l3
}

/// B: the moments of the shear forces at the far end, per length of lever arm.
fn lever() -> Matrix6<f64> {
    let mut b = Matrix6::zeros();
    b[(4, 2)] = -1.0;
    b[(5, 1)] = 1.0;
    b
}

/// (I + x B)ᵀ: gives the motion of the far end of a rigid element of length `x` from that of its first end.
pub(super) fn transposed_reach(x: f64) -> Matrix6<f64> {
    Matrix6::identity() + lever().transpose() * x
}

#[cfg(test)]
mod tests {
    use super::super::section::Plain;
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::Role;

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
        let piece = Piece::new(&section, l).unwrap();
        let m = piece.mass().unwrap();
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
    fn the_mass_of_two_stretches_is_that_of_the_whole() {
        let section = coupled();
        let piece = Piece::new(&section, 0.8).unwrap();
        let [one, other] = [(0.0, 0.25), (0.25, 0.8)]
            .map(|(from, to)| piece.mass_between(from, to, piece.line_mass()).unwrap());
        let whole = piece.mass().unwrap();
        assert!((one + other - whole).amax() < 1e-12 * whole.amax());
    }

    #[test]
    fn the_ends_of_the_shapes_are_the_ends() {
        let piece = Piece::new(&coupled(), 0.6).unwrap();
        let shapes = piece.shapes().unwrap();
        let (first, last) = (shapes.at(0.0), shapes.at(0.6));
        for i in 0..6 {
            for j in 0..12 {
                assert!((first[(i, j)] - f64::from(i == j)).abs() < 1e-9);
                assert!((last[(i, j)] - f64::from(i + 6 == j)).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn bulge_of_a_rod_and_of_a_slender_beam() {
        let plain = Plain { ga: [1e16, 1e16], rho_i: [0.0, 0.0], ..PLAIN };
        let section = MemberSection::plain("s", "steel", Role::Skeleton, &plain);
        let l = 1.3;
        let piece = Piece::new(&section, l).unwrap();
        let g = piece.bulge().unwrap();
        // A rod: load m x/l between held ends gives m² l³ / (45 EA).
        let rod = plain.rho_a.powi(2) * l.powi(3) / plain.ea;
        assert_relative_eq!(g[(6, 6)], rod / 45.0, max_relative = 1e-9);
        assert_relative_eq!(g[(0, 6)], rod * 7.0 / 360.0, max_relative = 1e-9);
        // A beam moved sideways as a whole: uniform load between clamped ends, μ² l⁵ / (720 EI).
        let mut rigid = Vector12::zeros();
        rigid[2] = 1.0;
        rigid[8] = 1.0;
        let beam = plain.rho_a.powi(2) * l.powi(5) / (720.0 * plain.ei[0]);
        assert_relative_eq!(rigid.dot(&(g * rigid)), beam, max_relative = 1e-6);
    }

    #[test]
    fn a_piece_without_the_mass_of_its_half_bulges_under_the_other() {
        let plain = Plain { ga: [1e16, 1e16], rho_i: [0.0, 0.0], ..PLAIN };
        let section = MemberSection::plain("s", "steel", Role::Skeleton, &plain);
        let l = 1.3;
        let piece = Piece::new(&section, l).unwrap();
        let taken = |from: f64, to: f64| Displaced { from, to, mass: section.mass };
        let mut along = Vector12::zeros();
        (along[0], along[6]) = (1.0, 1.0);
        // A rod moved along its axis, its first half without mass: the load m on the second half between held
        // ends stores 2U = ∫ N² dx/EA = 5 m² l³/(192 EA).
        let left = piece.bulge().unwrap() - piece.bulge_lost(&[taken(0.0, 0.5 * l)]).unwrap();
        let rod = plain.rho_a.powi(2) * l.powi(3) / plain.ea;
        assert_relative_eq!(along.dot(&(left * along)), rod * 5.0 / 192.0, max_relative = 1e-9);
        // Taking off the mass of both parts loses the whole bulge matrix.
        let whole = *piece.bulge().unwrap();
        let both = piece.bulge_lost(&[taken(0.0, 0.4 * l), taken(0.4 * l, l)]).unwrap();
        assert!((whole - both).norm() < 1e-9 * whole.norm());
        assert_eq!(piece.bulge_lost(&[]).unwrap(), Matrix12::zeros());
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
        let m = piece.mass().unwrap();
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
