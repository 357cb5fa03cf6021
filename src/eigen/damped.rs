//! Damped modes: the complex eigenproblem in the space of the real modes and their corrections.
//!
//! ```text
//! (K + i K_i) φ = λ M φ,   λ = ω² (1 + i η)
//! ```
//!
//! The basis starts with the real modes Φ and the static corrections (K - σ M)⁻¹ K_i Φ. It is enlarged by the
//! corrections of the complex residuals until these are small, so that heavy damping is right too. In the
//! basis Q, orthonormal to H = K + s M, the problem reads
//!
//! ```text
//! (I + i Qᵀ K_i Q)⁻¹ (Qᵀ M Q) z = z / (λ + s)
//! ```
//!
//! Because the matrices are complex symmetric, the error of λ is of second order in that of φ.
//!
//! Where the bulge matrix G of the elements is known in the real modes, their dynamic stiffness
//! `λ_i - λ - λ² φᵀ G φ` is matched at every λ_i by a matrix pair that is linear in λ,
//!
//! ```text
//! K + M Φ A Φᵀ M,   A_ij = λ_i λ_j φ_iᵀ G φ_j (1 + i (η_i + η_j) / 2)
//! M + M Φ B Φᵀ M,   B_ij = (λ_i + λ_j) φ_iᵀ G φ_j,      λ_i = ω_i² / (1 + λ_i φ_iᵀ G φ_i)
//! ```
//!
//! so that close modes mix by their corrected distance, and the modal mass is φᵀ (M + 2 λ G) φ. The elements
//! that bulge are taken to have the mode's loss factor η by strain energy.
//!
//! # Source
//! - `nashif1985`: complex stiffness and modal loss factor

use super::complex::{complex_eigen, complex_solve, matches};
use super::fault::EigenFault;
use super::lanczos::symmetric_eigen;
use super::pair::{MatrixPair, symmetric};
use super::pairs::Eigenpairs;
use super::sparse::{Sparse, times};
use super::vectors::{Vectors, beside, product};
use faer::sparse::SparseColMat;
use faer::{Mat, MatRef, Scale, c64};
use num_complex::Complex64;

/// How accurate the damped modes must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// Largest number of enlargements of the basis. With none, the residual is not known and stays 0.
    pub rounds: usize,
    /// Residual, relative to the mode in the norm of H, at which the basis is large enough; the relative
    /// error of λ is then of the order of its square.
    pub residual: f64,
    /// Relative error of a loss factor, as far as it comes from λ, at which the basis is large enough too.
    pub loss: f64,
    /// How many modes, the lowest; those above keep real shapes and the loss factor of their strain energy.
    pub most: usize,
}

impl Precision {
    /// λ accurate to 1e-6.
    pub const FULL: Precision = Precision { rounds: 8, residual: 1e-3, loss: 0.0, most: usize::MAX };
    /// The same for as many modes as can decide a result; the cost of the small complex problem grows with
    /// the cube of their number.
    pub const ANSWER: Precision = Precision { most: 40, ..Precision::FULL };
    /// The loss factor accurate to 0.5 %: for one draw of many.
    pub const DRAW: Precision = Precision { rounds: 8, residual: 1e-3, loss: 5e-3, most: 40 };
    /// Only the real modes and their static corrections: λ accurate to 1e-4 or better
    /// for a loss factor of 0.1.
    pub const QUICK: Precision = Precision { rounds: 0, residual: 0.0, loss: 0.0, most: usize::MAX };

    /// The largest residual that the mode of `lambda` may have.
    fn enough(&self, lambda: c64) -> f64 {
        let error = if lambda.re > 0.0 { self.loss * (lambda.im / lambda.re).abs() } else { 0.0 };
        self.residual.max(error.sqrt())
    }
}

/// A correction is new to the basis when its energy is above this fraction of the largest.
const LEAST_NEW: f64 = 1e-8;

/// Size of what is left out of the basis, as a fraction of the residual that a mode may have.
const LEFT_OUT: f64 = 0.01;

/// The damped modes that belong to the lowest real modes.
#[derive(Debug, Clone)]
pub struct Damped {
    /// λ = ω² (1 + i η) in (rad/s)², one for each real mode, in their order.
    pub lambda: Vec<Complex64>,
    /// η = Im λ / Re λ; `None` for rigid-body modes.
    pub loss_factor: Vec<Option<f64>>,
    /// Complex shapes, `(n, n_modes)`, `φᵀ M φ = 1` without conjugation; with a bulge `φᵀ (M + 2 λ G) φ = 1`.
    pub shapes: Vectors<Complex64>,
    /// Share of the real mode in the energy of the damped one, 0 to 1.
    pub overlap: Vec<f64>,
    /// Largest residual left, relative to the mode.
    pub residual: f64,
}

/// The damped modes of `(K + i loss) φ = λ M φ` that belong to the real modes `pairs`.
///
/// ```
/// use stillbed_eigen::{MatrixPair, Settings, Sparse, damped, lowest};
///
/// // Two masses of 1 kg, each on a spring of its own: 1 N/m with a loss factor of 0.1, and 4 N/m with 0.02.
/// let stiffness = Sparse::from_lower(2, &[(0, 0, 1.0), (1, 1, 4.0)])?;
/// let loss = Sparse::from_lower(2, &[(0, 0, 0.1), (1, 1, 0.08)])?;
/// let mass = Sparse::from_lower(2, &[(0, 0, 1.0), (1, 1, 1.0)])?;
/// let pair = MatrixPair::new(&stiffness, &mass);
/// let found = damped(&pair, &loss, &lowest(&pair, 2, &Settings::default())?)?;
/// for (eta, exact) in found.loss_factor.iter().zip([0.1, 0.02]) {
///     assert!((eta.unwrap() - exact).abs() < 1e-9);
/// }
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
///
/// # Errors
/// [`EigenFault::Shape`], [`EigenFault::NotFinite`] or [`EigenFault::NotSymmetric`] for `loss`;
/// [`EigenFault::NotConverged`] when the small eigenproblem fails.
pub fn damped(pair: &MatrixPair, loss: &Sparse, pairs: &Eigenpairs) -> Result<Damped, EigenFault> {
    damped_to(pair, loss, pairs, Precision::FULL)
}

/// The same to a given `precision`.
///
/// # Errors
/// As [`damped`].
pub fn damped_to(
    pair: &MatrixPair,
    loss: &Sparse,
    pairs: &Eigenpairs,
    precision: Precision,
) -> Result<Damped, EigenFault> {
    symmetric("loss", loss, pair.dofs())?;
    damped_unchecked(pair, loss, pairs, None, precision)
}

/// The same without checks of the entries, for a loss that is symmetric by construction. The `bulge` φᵀ G φ
/// in the real modes, shape (modes, modes), is corrected for where it is given.
///
/// # Errors
/// [`EigenFault::Shape`] for mode shapes of another structure; [`EigenFault::NotConverged`] when the small
/// eigenproblem fails.
pub fn damped_unchecked(
    pair: &MatrixPair,
    loss: &Sparse,
    pairs: &Eigenpairs,
    bulge: Option<&Vectors>,
    precision: Precision,
) -> Result<Damped, EigenFault> {
    let (n, count) = (pair.dofs(), pairs.omega_squared.len().min(precision.most));
    if pairs.vectors.rows() != n {
        return Err(EigenFault::Shape { what: "the mode shapes", found: pairs.vectors.rows(), needed: n });
    }
    let mut space = Space::new(pair, loss.as_faer(), pairs);
    let mut basis = space.modes_scaled(pairs, count);
    space.bulged = bulge.map(|bulge| space.bulged(&basis, pairs, bulge.as_faer().as_ref()));
    let corrections = pairs.factor.solve_faer(basis.loss_q.as_ref())?;
    let least = LEFT_OUT * space.least_residual(&basis, pairs, precision);
    space.enlarge(&mut basis, corrections, least);
    let fault = EigenFault::NotConverged { wanted: count, found: 0 };
    let (mut best, mut z) = space.solve(&basis, count).ok_or(fault.clone())?;
    for _ in 0..precision.rounds {
        let (columns, residual) = basis.corrections(&space, &best.lambda, &z, pairs, precision)?;
        best.residual = residual;
        if columns.ncols() == 0 || basis.q.ncols() >= n || !space.enlarge(&mut basis, columns, least) {
            break;
        }
        (best, z) = space.solve(&basis, count).ok_or(fault.clone())?;
    }
    Ok(best)
}

struct Space<'a> {
    pair: &'a MatrixPair<'a>,
    loss: &'a SparseColMat<usize, f64>,
    /// s of H = K + s M: the first elastic ω².
    s: f64,
    h: SparseColMat<usize, f64>,
    /// A mode with ω² below this is a rigid-body mode.
    rigid: f64,
    bulged: Option<Bulged>,
}

/// What the bulge adds in the first coordinates of a basis, the real modes.
struct Bulged {
    /// A + s B.
    stiffness: Mat<c64>,
    /// B.
    mass: Mat<f64>,
}

/// H-orthonormal vectors and their images.
struct Basis {
    q: Mat<f64>,
    h_q: Mat<f64>,
    mass_q: Mat<f64>,
    loss_q: Mat<f64>,
}

impl<'a> Space<'a> {
    fn new(pair: &'a MatrixPair<'a>, loss: &'a SparseColMat<usize, f64>, pairs: &Eigenpairs) -> Space<'a> {
        let found = pairs.omega_squared.iter().fold(0.0_f64, |a, w| a.max(*w));
        let largest = if found > 0.0 { found } else { pairs.counted_at };
        let rigid = 1e-9 * largest;
        let s = pairs.omega_squared.iter().copied().find(|w| *w > rigid).unwrap_or(largest);
        let s = if s > 0.0 { s } else { 1.0 };
        let h = pair.stiffness.as_faer() + Scale(s) * pair.mass.as_faer();
        Space { pair, loss, s, h, rigid, bulged: None }
    }

    /// The lowest `count` real modes, which are H-orthogonal already.
    fn modes_scaled(&self, pairs: &Eigenpairs, count: usize) -> Basis {
        let lowest = &pairs.omega_squared[..count];
        let scale: Vec<f64> = lowest.iter().map(|w| (w.max(0.0) + self.s).sqrt().recip()).collect();
        let phi = pairs.vectors.as_faer().subcols(0, count);
        let q = Mat::from_fn(phi.nrows(), phi.ncols(), |i, j| phi[(i, j)] * scale[j]);
        let image = |a: &SparseColMat<usize, f64>| times(a, q.as_ref());
        let mass_q = image(self.pair.mass.as_faer());
        let h_q = Mat::from_fn(q.nrows(), q.ncols(), |i, j| mass_q[(i, j)] / (scale[j] * scale[j]));
        Basis { h_q, mass_q, loss_q: image(self.loss), q }
    }

    /// What `bulge` in the real modes adds in the coordinates of `basis`, which must be those modes alone.
    fn bulged(&self, basis: &Basis, pairs: &Eigenpairs, bulge: MatRef<f64>) -> Bulged {
        let count = basis.q.ncols();
        let scale = |j: usize| (pairs.omega_squared[j].max(0.0) + self.s).sqrt().recip();
        let corrected = |j: usize| -> f64 {
            let own = pairs.omega_squared[j].max(0.0);
            2.0 * own / (1.0 + (1.0 + 4.0 * own * bulge[(j, j)]).max(0.0).sqrt())
        };
        let loss_factor = |j: usize| -> f64 {
            let lost: f64 = basis.q.col(j).transpose() * basis.loss_q.col(j);
            let omega_squared = pairs.omega_squared[j];
            if omega_squared > self.rigid { lost / (omega_squared * scale(j).powi(2)) } else { 0.0 }
        };
        let lambda: Vec<f64> = (0..count).map(corrected).collect();
        let eta: Vec<f64> = (0..count).map(loss_factor).collect();
        let own = |i: usize, j: usize| bulge[(i, j)] * scale(i) * scale(j);
        let mass = Mat::from_fn(count, count, |i, j| (lambda[i] + lambda[j]) * own(i, j));
        let stiffness = Mat::from_fn(count, count, |i, j| {
            lambda[i] * lambda[j] * own(i, j) * c64::new(1.0, 0.5 * (eta[i] + eta[j])) + self.s * mass[(i, j)]
        });
        Bulged { stiffness, mass }
    }

    /// The smallest residual that any mode of `basis` may have, with loss factors by strain energy.
    fn least_residual(&self, basis: &Basis, pairs: &Eigenpairs, precision: Precision) -> f64 {
        let enough = |j: usize| {
            let lost: f64 = basis.q.col(j).transpose() * basis.loss_q.col(j);
            let omega_squared = pairs.omega_squared[j];
            let stored = omega_squared / (omega_squared.max(0.0) + self.s);
            precision.enough(c64::new(stored, lost))
        };
        (0..basis.q.ncols()).map(enough).fold(f64::INFINITY, f64::min)
    }

    /// Adds what is new in `columns`, and larger than `least`, to the basis, whose modes have unit size;
    /// false when nothing is.
    fn enlarge(&self, basis: &mut Basis, mut columns: Mat<f64>, least: f64) -> bool {
        let mut image = times(&self.h, columns.as_ref());
        basis.clear(&mut columns, &mut image);
        // What is left may be small: its image is computed anew.
        image = times(&self.h, columns.as_ref());
        basis.clear(&mut columns, &mut image);
        let gram = product(columns.transpose(), image.as_ref());
        let Some((values, vectors)) = symmetric_eigen(gram.as_ref()) else { return false };
        let kept: Vec<usize> = (0..values.len())
            .filter(|&j| values[j] > (LEAST_NEW * values[values.len() - 1]).max(least * least).max(1e-20))
            .collect();
        if kept.is_empty() {
            return false;
        }
        let turn = Mat::from_fn(values.len(), kept.len(), |i, j| vectors[(i, kept[j])]);
        let mut fresh = product(columns.as_ref(), turn.as_ref());
        image = product(image.as_ref(), turn.as_ref());
        normalise(&mut fresh, &mut image);
        basis.clear(&mut fresh, &mut image);
        normalise(&mut fresh, &mut image);
        basis.h_q = beside(&basis.h_q, &image);
        basis.mass_q = beside(&basis.mass_q, &times(self.pair.mass.as_faer(), fresh.as_ref()));
        basis.loss_q = beside(&basis.loss_q, &times(self.loss, fresh.as_ref()));
        basis.q = beside(&basis.q, &fresh);
        true
    }

    /// The complex eigenpairs in the basis, matched to its first `count` vectors, and their coordinates
    /// in it.
    fn solve(&self, basis: &Basis, count: usize) -> Option<(Damped, Mat<c64>)> {
        let b = basis.q.ncols();
        let mut mass = product(basis.q.transpose(), basis.mass_q.as_ref());
        let loss = product(basis.q.transpose(), basis.loss_q.as_ref());
        let mut left = Mat::from_fn(b, b, |i, j| c64::new(f64::from(u8::from(i == j)), loss[(i, j)]));
        if let Some(bulged) = &self.bulged {
            let mut modes = left.submatrix_mut(0, 0, count, count);
            modes += &bulged.stiffness;
            let mut modes = mass.submatrix_mut(0, 0, count, count);
            modes += &bulged.mass;
        }
        let right = Mat::from_fn(b, b, |i, j| c64::new(mass[(i, j)], 0.0));
        let (mu, z) = complex_eigen(complex_solve(left, right)?.as_ref())?;
        let matched = matches(&z, count);
        let lambda: Vec<c64> = matched.iter().map(|&(k, _)| mu[k].inv() - self.s).collect();
        if lambda.iter().any(|l| !l.is_finite()) {
            return None;
        }
        let mut chosen = Mat::from_fn(b, count, |i, j| z[(i, matched[j].0)]);
        let massed = real_times(&mass, &chosen);
        for j in 0..count {
            let size: c64 = (0..b).map(|i| chosen[(i, j)] * massed[(i, j)]).sum();
            if size.norm() > 0.0 {
                let root = size.sqrt();
                chosen.col_mut(j).iter_mut().for_each(|v| *v /= root);
            }
        }
        let loss_factor = lambda.iter().map(|l| (l.re.abs() > self.rigid).then_some(l.im / l.re)).collect();
        let shapes = real_times(&basis.q, &chosen).into();
        let overlap = matched.iter().map(|m| m.1).collect();
        Some((Damped { lambda, loss_factor, shapes, overlap, residual: 0.0 }, chosen))
    }
}

impl Basis {
    /// Corrections for the damped modes, with coordinates `z`, that do not meet `precision`, and the
    /// largest relative residual.
    fn corrections(
        &self,
        space: &Space,
        lambda: &[c64],
        z: &Mat<c64>,
        pairs: &Eigenpairs,
        precision: Precision,
    ) -> Result<(Mat<f64>, f64), EigenFault> {
        let n = self.q.nrows();
        let [mut h, loss, mass] = [&self.h_q, &self.loss_q, &self.mass_q].map(|image| real_times(image, z));
        if let Some(bulged) = &space.bulged {
            // M φ of a mode is its h_q times its scale, and that scale is part of `bulged`.
            let count = bulged.mass.nrows();
            let top = z.subrows(0, count).to_owned();
            let massed = real_times(&bulged.mass, &top);
            let stiff = &bulged.stiffness * &top;
            let beyond =
                Mat::from_fn(count, z.ncols(), |i, j| stiff[(i, j)] - (lambda[j] + space.s) * massed[(i, j)]);
            h += real_times(&self.h_q.subcols(0, count).to_owned(), &beyond);
        }
        let mut residual = Mat::zeros(n, 2 * lambda.len());
        for (j, lambda) in lambda.iter().enumerate() {
            for i in 0..n {
                let left = h[(i, j)] + c64::i() * loss[(i, j)] - (lambda + space.s) * mass[(i, j)];
                residual[(i, 2 * j)] = left.re;
                residual[(i, 2 * j + 1)] = left.im;
            }
        }
        let solution = pairs.factor.solve_faer(residual.as_ref())?;
        let image = times(&space.h, solution.as_ref());
        let off = |j: usize| -> f64 { solution.col(j).transpose() * image.col(j) };
        let size = |j: usize| z.col(j).iter().map(|z| z.norm_sqr()).sum::<f64>();
        let relative = |j: usize| ((off(2 * j) + off(2 * j + 1)).max(0.0) / size(j)).sqrt();
        let errors: Vec<f64> = (0..lambda.len()).map(relative).collect();
        let is_open = |j: &usize| errors[j / 2] > precision.enough(lambda[j / 2]);
        let open: Vec<usize> = (0..2 * lambda.len()).filter(is_open).collect();
        let columns = Mat::from_fn(n, open.len(), |i, j| solution[(i, open[j])] / size(open[j] / 2).sqrt());
        Ok((columns, errors.iter().fold(0.0, |a, b| a.max(*b))))
    }

    /// Removes the part within the basis from `columns` and from their image under H.
    fn clear(&self, columns: &mut Mat<f64>, image: &mut Mat<f64>) {
        let inside = product(self.q.transpose(), image.as_ref());
        *columns -= product(self.q.as_ref(), inside.as_ref());
        *image -= product(self.h_q.as_ref(), inside.as_ref());
    }
}

/// Scales each column and its image under H to unit length in the norm of H.
fn normalise(columns: &mut Mat<f64>, image: &mut Mat<f64>) {
    for j in 0..columns.ncols() {
        let square: f64 = columns.col(j).transpose() * image.col(j);
        if square > 0.0 {
            let root = square.sqrt();
            columns.col_mut(j).iter_mut().for_each(|v| *v /= root);
            image.col_mut(j).iter_mut().for_each(|v| *v /= root);
        }
    }
}

fn real_times(a: &Mat<f64>, z: &Mat<c64>) -> Mat<c64> {
    let part = |c: fn(&c64) -> f64| {
        let z = Mat::from_fn(z.nrows(), z.ncols(), |i, j| c(&z[(i, j)]));
        product(a.as_ref(), z.as_ref())
    };
    let (re, im) = (part(|v| v.re), part(|v| v.im));
    Mat::from_fn(re.nrows(), re.ncols(), |i, j| c64::new(re[(i, j)], im[(i, j)]))
}

#[cfg(test)]
mod tests {
    use super::super::eigen::lowest;
    use super::super::lattice::beams;
    use super::super::pairs::Settings;
    use super::*;

    /// The loss of a stiffness whose loss factor differs from place to place.
    fn uneven(stiffness: &Sparse, factor: f64) -> Sparse {
        let mut loss = stiffness.as_faer().clone();
        let group = |i: usize| if (i / 6).is_multiple_of(2) { 1.0 } else { 0.2 };
        let (symbolic, values) = loss.parts_mut();
        for j in 0..symbolic.ncols() {
            for at in symbolic.col_range(j) {
                values[at] *= factor * group(j) * group(symbolic.row_idx()[at]);
            }
        }
        loss.into()
    }

    #[test]
    fn proportional_loss_is_returned_as_it_is() {
        let sample = beams(3, 3, 3, false);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let pairs = lowest(&pair, 12, &Settings::default()).unwrap();
        let loss = sample.stiffness.scaled(0.3);
        let found = damped(&pair, &loss, &pairs).unwrap();
        assert_eq!(found.loss_factor[..6], [None; 6]);
        for (eta, overlap) in found.loss_factor[6..].iter().zip(&found.overlap[6..]) {
            assert!((eta.unwrap() - 0.3).abs() < 1e-10);
            assert!((overlap - 1.0).abs() < 1e-10);
        }
    }

    #[test]
    fn heavy_uneven_loss_agrees_with_the_full_space() {
        let sample = beams(3, 3, 3, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let n = pair.dofs();
        for factor in [0.01, 0.3, 1.0] {
            let loss = uneven(&sample.stiffness, factor);
            let pairs = lowest(&pair, 10, &Settings::default()).unwrap();
            let all = damped(&pair, &loss, &lowest(&pair, n, &Settings::default()).unwrap()).unwrap();
            for precision in [Precision::FULL, Precision::DRAW] {
                let found = damped_to(&pair, &loss, &pairs, precision).unwrap();
                let enough = |lambda: &c64| precision.enough(*lambda);
                let most = found.lambda.iter().map(enough).fold(0.0, f64::max);
                assert!(found.residual < most, "{}", found.residual);
                for lambda in &found.lambda {
                    let nearest = |l: &&c64| (*l - lambda).norm();
                    let exact = all.lambda.iter().min_by(|a, b| nearest(a).total_cmp(&nearest(b))).unwrap();
                    let near = nearest(&exact);
                    assert!(near < enough(lambda).powi(2) * lambda.norm(), "{factor} {lambda} {near}");
                    // A draw's loss factor is accurate to 0.5 %.
                    let off = (lambda.im / lambda.re) / (exact.im / exact.re) - 1.0;
                    assert!(off.abs() < 5e-3, "{factor} {lambda} {off}");
                }
            }
        }
    }
}
