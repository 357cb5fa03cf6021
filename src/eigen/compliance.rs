//! Static compliance of a lossy structure under loads, without a complex factor.
//!
//! ```text
//! C = Fᵀ (K + i L)⁻¹ F  ≈  (QᵀF)ᵀ (I + i QᵀLQ)⁻¹ QᵀF,   QᵀKQ = I
//! ```
//!
//! with Q the vectors K⁻¹F, K⁻¹L K⁻¹F, … made orthonormal to K. C is symmetric in its loads, so its error is
//! of second order in what Q leaves out.
//!
//! # Source
//! - `parlett1998`: approximations from a subspace, and Krylov subspaces (chapters 11 and 12, from memory)

use super::complex::complex_solve;
use super::fault::EigenFault;
use super::lanczos::symmetric_eigen;
use super::sparse::{Sparse, times};
use super::vectors::{Vectors, beside, product};
use faer::sparse::SparseColMat;
use faer::{Mat, MatRef, c64};
use num_complex::Complex64;

/// Largest number of blocks of vectors.
const MOST: usize = 16;

/// Change of the compliance from block to block, relative to those of the two loads, at
/// which it has converged.
const ENOUGH: f64 = 1e-10;

/// What is new in a vector is rounding when its energy is below this fraction of the vector's.
const ROUNDING: f64 = 1e-22;

/// Unit vectors are dependent when their Gram matrix has an eigenvalue below this.
const ALIKE: f64 = 1e-12;

/// The compliance, (loads, loads), m/N for unit forces, of the `stiffness` K with the `loss` L under `loads`,
/// (n, count); `solve` gives K⁻¹ of a block.
///
/// # Errors
/// Those of `solve`; [`EigenFault::NotConverged`] where the compliance does not converge.
pub fn compliance(
    stiffness: &Sparse,
    loss: &Sparse,
    loads: &Vectors,
    solve: impl Fn(&Vectors) -> Result<Vectors, EigenFault>,
) -> Result<Vectors<Complex64>, EigenFault> {
    let (stiffness, loss, loads) = (stiffness.as_faer(), loss.as_faer(), loads.as_faer().as_ref());
    let fault = || EigenFault::NotConverged { wanted: loads.ncols(), found: 0 };
    let empty = || Mat::<f64>::zeros(loads.nrows(), 0);
    let mut space = Space { vectors: empty(), stiff: empty(), lossy: empty() };
    let mut pushed = Vectors::from(loads.to_owned());
    let mut found = Mat::<c64>::zeros(loads.ncols(), loads.ncols());
    for _ in 0..MOST {
        let fresh = Mat::from(solve(&pushed)?);
        let fresh = space.new_in(fresh, pushed.as_faer(), stiffness).ok_or_else(fault)?;
        if fresh.ncols() == 0 {
            return Ok(found.into());
        }
        pushed = space.enlarge(fresh, stiffness, loss).into();
        let next = space.compliance(loads).ok_or_else(fault)?;
        let count = loads.ncols();
        let moved = |i: usize, j: usize| (next[(i, j)] - found[(i, j)]).norm();
        let size = |i: usize, j: usize| (next[(i, i)].norm() * next[(j, j)].norm()).sqrt();
        let holds = (0..count).all(|i| (0..count).all(|j| moved(i, j) <= ENOUGH * size(i, j)));
        found = next;
        if holds {
            return Ok(found.into());
        }
    }
    Err(fault())
}

/// Vectors that are orthonormal to K, and their images under K and L.
struct Space {
    vectors: Mat<f64>,
    stiff: Mat<f64>,
    lossy: Mat<f64>,
}

impl Space {
    /// What is new in `columns`, K⁻¹ of `pushed`, made orthonormal to K; `None` where it is not finite.
    fn new_in(
        &self,
        mut columns: Mat<f64>,
        pushed: &Mat<f64>,
        stiffness: &SparseColMat<usize, f64>,
    ) -> Option<Mat<f64>> {
        if !columns.is_all_finite() {
            return None;
        }
        let whole: Vec<f64> =
            (0..columns.ncols()).map(|j| pushed.col(j).transpose() * columns.col(j)).collect();
        for _ in 0..2 {
            let inside = product(self.stiff.transpose(), columns.as_ref());
            columns -= product(self.vectors.as_ref(), inside.as_ref());
        }
        let gram = product(columns.transpose(), times(stiffness, columns.as_ref()).as_ref());
        let kept: Vec<usize> =
            (0..columns.ncols()).filter(|&j| gram[(j, j)] > ROUNDING * whole[j].abs()).collect();
        let unit = |j: usize| gram[(kept[j], kept[j])].sqrt().recip();
        let gram = Mat::from_fn(kept.len(), kept.len(), |i, j| gram[(kept[i], kept[j])] * unit(i) * unit(j));
        let (values, turn) = symmetric_eigen(gram.as_ref())?;
        let apart: Vec<usize> = (0..values.len()).filter(|j| values[*j] > ALIKE).collect();
        let turn = Mat::from_fn(kept.len(), apart.len(), |i, j| {
            unit(i) * turn[(i, apart[j])] / values[apart[j]].sqrt()
        });
        let columns = Mat::from_fn(columns.nrows(), kept.len(), |i, j| columns[(i, kept[j])]);
        Some(product(columns.as_ref(), turn.as_ref()))
    }

    /// Adds `fresh` to the space and returns its image under L.
    fn enlarge(
        &mut self,
        fresh: Mat<f64>,
        stiffness: &SparseColMat<usize, f64>,
        loss: &SparseColMat<usize, f64>,
    ) -> Mat<f64> {
        let image = times(loss, fresh.as_ref());
        self.stiff = beside(&self.stiff, &times(stiffness, fresh.as_ref()));
        self.lossy = beside(&self.lossy, &image);
        self.vectors = beside(&self.vectors, &fresh);
        image
    }

    /// The compliance under `loads` within the space.
    fn compliance(&self, loads: MatRef<f64>) -> Option<Mat<c64>> {
        let size = self.vectors.ncols();
        let stored = product(self.vectors.transpose(), self.stiff.as_ref());
        let lost = product(self.vectors.transpose(), self.lossy.as_ref());
        let seen = product(self.vectors.transpose(), loads);
        let complex = |i: usize, j: usize| c64::new(stored[(i, j)], lost[(i, j)]);
        let system = Mat::from_fn(size, size, |i, j| 0.5 * (complex(i, j) + complex(j, i)));
        let load = Mat::from_fn(size, loads.ncols(), |i, j| c64::new(seen[(i, j)], 0.0));
        let motion = complex_solve(system, load)?;
        let count = loads.ncols();
        let under = |i: usize, j: usize| -> c64 { (0..size).map(|k| motion[(k, j)] * seen[(k, i)]).sum() };
        let found = Mat::from_fn(count, count, |i, j| 0.5 * (under(i, j) + under(j, i)));
        found.is_all_finite().then_some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::super::lattice::beams;
    use super::super::pair::MatrixPair;
    use super::super::{HarmonicSolver, Symbolic};
    use super::*;
    use crate::factor::Factorisation;
    use std::sync::Arc;

    #[test]
    fn the_compliance_is_that_of_the_complex_system_itself() {
        let sample = beams(4, 3, 4, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let n = pair.dofs();
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        let factor = Factorisation::compute(&pair, &symbolic, 0.0).unwrap();
        // Forces and a moment, one load a thousand times another, and the sum of two, which adds nothing new.
        let loads = Vectors::from_fn(n, 4, |i, j| match (i, j) {
            (33, 0) | (33, 3) => 1.0,
            (100, 1) | (100, 3) => -1.0,
            (64, 2) => 1e3,
            _ => 0.0,
        });
        for factor_of_loss in [1e-6, 0.05, 1.0] {
            let mut loss = sample.stiffness.clone();
            let lossy = |i: usize| if (i / 6).is_multiple_of(2) { 1.0 } else { 0.1 };
            let own = |(i, j, k): (usize, usize, f64)| factor_of_loss * lossy(i) * lossy(j) * k;
            let values: Vec<f64> = loss.entries().map(own).collect();
            loss.values_mut().copy_from_slice(&values);
            let found = compliance(&sample.stiffness, &loss, &loads, |rhs| factor.solve(rhs)).unwrap();
            let complex = Vectors::from_fn(n, 4, |i, j| Complex64::from(loads[(i, j)]));
            let motion = HarmonicSolver::prepare(&pair, &loss).unwrap().solve(0.0, &complex).unwrap();
            let exact = complex.as_faer().transpose() * motion.as_faer();
            for i in 0..4 {
                for j in 0..4 {
                    let size = (exact[(i, i)].norm() * exact[(j, j)].norm()).sqrt();
                    let error = (found[(i, j)] - exact[(i, j)]).norm() / size;
                    assert!(error < 1e-8, "{factor_of_loss} {i} {j}: {error}");
                }
            }
        }
    }
}
