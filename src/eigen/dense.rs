//! All modes of a small matrix pair.
//!
//! ```text
//! K - σ M = L Lᵀ,   C = L⁻¹ M L⁻ᵀ,   C u = ν u,   ω² = σ + 1/ν,   φ = L⁻ᵀ u / √ν
//! ```
//!
//! Degrees of freedom without mass have ν = 0 and drop out. A small ν loses digits beside a large one,
//! so only those within [`WINDOW`] of the largest are taken. The rest of the spectrum is solved again
//! in the space of the remaining vectors, where it is largest. So stiff and soft modes of one matrix
//! pair are both accurate.
//!
//! # Source
//! - `parlett1998`: chapter 15, reduction to standard form

use super::lanczos::symmetric_eigen;
use super::vectors::product;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::{
    LltError, LltRegularization, cholesky_in_place, cholesky_in_place_scratch,
};
use faer::linalg::triangular_solve::{solve_lower_triangular_in_place, solve_upper_triangular_in_place};
use faer::{Mat, MatRef, Par, Spec};

/// Smallest ν, relative to the largest, that is taken from one reduction.
const WINDOW: f64 = 1e-5;

/// A ν below this, relative to the largest of all, is a motion without mass.
const MASSLESS: f64 = 1e-18;

/// Modes in ascending order.
pub(super) struct Spectrum {
    pub omega_squared: Vec<f64>,
    /// M-orthonormal, one per column.
    pub vectors: Mat<f64>,
    /// L of `K - σ M`.
    pub cholesky: Mat<f64>,
}

/// The lowest `enough` modes of `K φ = ω² M φ` or all that there are; more where they come at no cost.
///
/// The error is the row of the first pivot that is not positive; `None` when the iteration fails.
pub(super) fn spectrum(
    stiffness: MatRef<f64>,
    mass: MatRef<f64>,
    shift: f64,
    enough: usize,
) -> Result<Spectrum, Option<usize>> {
    let first = Window::new(stiffness, mass, shift)?;
    let largest = first.nu.first().copied().unwrap_or(0.0);
    let mut omega_squared = Vec::new();
    let mut columns: Vec<Mat<f64>> = Vec::new();
    let take = |window: &Window, shift: f64, omega_squared: &mut Vec<f64>| {
        let taken = window.taken(largest);
        omega_squared.extend(window.nu[..taken].iter().map(|nu| shift + 1.0 / nu));
        Mat::from_fn(window.vectors.nrows(), taken, |i, j| window.vectors[(i, j)] / window.nu[j].sqrt())
    };
    columns.push(take(&first, shift, &mut omega_squared));
    let mut rest = first.rest(largest);
    while rest.ncols() > 0 && omega_squared.len() < enough {
        let window = Window::new(
            congruent(rest.as_ref(), stiffness).as_ref(),
            congruent(rest.as_ref(), mass).as_ref(),
            0.0,
        )?;
        let taken = take(&window, 0.0, &mut omega_squared);
        if taken.ncols() == 0 {
            break;
        }
        columns.push(product(rest.as_ref(), taken.as_ref()));
        rest = product(rest.as_ref(), window.rest(largest).as_ref());
    }
    let mut vectors = Mat::zeros(stiffness.nrows(), omega_squared.len());
    let mut at = 0;
    for part in &columns {
        vectors.subcols_mut(at, part.ncols()).copy_from(part);
        at += part.ncols();
    }
    Ok(Spectrum { omega_squared, vectors, cholesky: first.cholesky })
}

/// One reduction to standard form: ν descending, vectors orthonormal to `K - σ M`.
struct Window {
    nu: Vec<f64>,
    vectors: Mat<f64>,
    cholesky: Mat<f64>,
}

impl Window {
    fn new(stiffness: MatRef<f64>, mass: MatRef<f64>, shift: f64) -> Result<Window, Option<usize>> {
        let n = stiffness.nrows();
        let mut cholesky = Mat::from_fn(n, n, |i, j| stiffness[(i, j)] - shift * mass[(i, j)]);
        let diagonal: Vec<f64> = (0..n).map(|i| cholesky[(i, i)]).collect();
        cholesky_lower(&mut cholesky)?;
        if let Some(i) = (0..n).find(|&i| cholesky[(i, i)].powi(2) <= 1e-13 * diagonal[i]) {
            return Err(Some(i));
        }
        let mut reduced = mass.to_owned();
        solve_lower_triangular_in_place(cholesky.as_ref(), reduced.as_mut(), Par::Seq);
        solve_lower_triangular_in_place(cholesky.as_ref(), reduced.as_mut().transpose_mut(), Par::Seq);
        let (values, mut vectors) = symmetric_eigen(reduced.as_ref()).ok_or(None)?;
        solve_upper_triangular_in_place(cholesky.transpose(), vectors.as_mut(), Par::Seq);
        let vectors = Mat::from_fn(n, n, |i, j| vectors[(i, n - 1 - j)]);
        Ok(Window { nu: values.into_iter().rev().collect(), vectors, cholesky })
    }

    /// How many are accurate here and have mass.
    fn taken(&self, largest: f64) -> usize {
        let least = (WINDOW * self.nu.first().copied().unwrap_or(0.0)).max(MASSLESS * largest);
        self.nu.iter().take_while(|nu| **nu > least).count()
    }

    fn rest(&self, largest: f64) -> Mat<f64> {
        let taken = self.taken(largest);
        self.vectors.subcols(taken, self.vectors.ncols() - taken).to_owned()
    }
}

/// Overwrites the lower triangle by its Cholesky factor and the upper one by zeros.
pub(super) fn cholesky_lower(matrix: &mut Mat<f64>) -> Result<(), Option<usize>> {
    let n = matrix.nrows();
    let need = cholesky_in_place_scratch::<f64>(n, Par::Seq, Spec::default());
    let mut memory = MemBuffer::try_new(need).map_err(|_| None)?;
    let stack = MemStack::new(&mut memory);
    cholesky_in_place(matrix.as_mut(), LltRegularization::default(), Par::Seq, stack, Spec::default())
        .map_err(|LltError::NonPositivePivot { index }| Some(index))?;
    for j in 1..n {
        for i in 0..j {
            matrix[(i, j)] = 0.0;
        }
    }
    Ok(())
}

/// `Yᵀ A Y`, made exactly symmetric.
fn congruent(y: MatRef<f64>, a: MatRef<f64>) -> Mat<f64> {
    let c = product(y.transpose(), product(a, y).as_ref());
    Mat::from_fn(c.nrows(), c.ncols(), |i, j| 0.5 * (c[(i, j)] + c[(j, i)]))
}
