//! Lowest modes of a large pencil by block Lanczos with thick restarts.
//!
//! With `K - σ M = L D Lᵀ` positive definite, the modes are those of the symmetric operator
//!
//! ```text
//! C = D^(-1/2) L⁻¹ M L⁻ᵀ D^(-1/2),   C y = ν y,   ν = 1 / (ω² - σ),   φ = L⁻ᵀ D^(-1/2) y / √ν
//! ```
//!
//! in the plain inner product: freedoms without mass are ν = 0 and never disturb. The basis is kept
//! orthonormal in full, and a restart keeps the best vectors found (Wu and Simon's thick restart), so no
//! special bookkeeping follows it. Blocks find repeated modes; a block that loses rank is filled up at
//! random, which finds the further copies. That nothing is missing is proved elsewhere, by the count.
//!
//! # Source
//! - `grimes1994`: shifted block Lanczos for the symmetric generalised eigenproblem
//! - `wu2000`: thick restart

use super::factor::Sparse;
use super::kernel::{BLOCK, Lane, symmetric_product};
use super::symbolic::Symbolic;
use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::evd::{ComputeEigenvectors, self_adjoint_evd, self_adjoint_evd_scratch};
use faer::linalg::matmul::matmul;
use faer::{Accum, Mat, MatRef, Par, Scale, Spec};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// A residual block column below this, relative to the largest ν, carries no direction.
const NO_DIRECTION: f64 = 1e-14;

/// A vector of which projection leaves no more than this part must be projected again.
const CANCELLED: f64 = 1e-3;

/// The best approximations within the present basis.
pub(super) struct Ritz {
    /// ν, descending.
    pub nu: Vec<f64>,
    /// Norm of `C y - ν y`.
    pub residual: Vec<f64>,
    /// Coordinates in the basis, one approximation per column.
    coordinates: Mat<f64>,
}

/// A basis of `filled` vectors whose images are known, followed by one block whose images are not.
pub(super) struct Krylov<'a> {
    symbolic: &'a Symbolic,
    mass: &'a [f64],
    basis: Mat<f64>,
    projected: Mat<f64>,
    filled: usize,
    /// The first vector of the basis that the image of the front may have a large part in.
    coupled: usize,
    /// `C V = V T + F R Eᵀ`: R of the present front F, on the last block of V.
    coupling: [Lane; BLOCK],
    random: StdRng,
    lanes: Vec<Lane>,
    product: Vec<Lane>,
}

impl<'a> Krylov<'a> {
    /// A basis with room for `capacity` vectors and the front block, begun from random vectors.
    pub fn new(symbolic: &'a Symbolic, mass: &'a [f64], capacity: usize) -> Krylov<'a> {
        let n = symbolic.order.len();
        let mut krylov = Krylov {
            symbolic,
            mass,
            basis: Mat::zeros(n, capacity + BLOCK),
            projected: Mat::zeros(capacity, capacity),
            filled: 0,
            coupled: 0,
            coupling: [[0.0; BLOCK]; BLOCK],
            random: StdRng::seed_from_u64(1),
            lanes: vec![[0.0; BLOCK]; n],
            product: vec![[0.0; BLOCK]; n],
        };
        krylov.refresh();
        krylov
    }

    /// Forgets what was found and begins from a mixture of the columns of `shapes`, in the order of
    /// elimination.
    pub fn begin_with(&mut self, factor: &Sparse, shapes: MatRef<f64>) {
        let mix = Mat::from_fn(shapes.ncols(), BLOCK, |_, _| self.random.random_range(-1.0..1.0));
        let mut front = Mat::zeros(shapes.nrows(), BLOCK);
        matmul(front.as_mut(), Accum::Replace, shapes, mix.as_ref(), 1.0, Par::Seq);
        for (i, lane) in self.lanes.iter_mut().enumerate() {
            *lane = std::array::from_fn(|c| front[(i, c)]);
        }
        symmetric_product(&self.symbolic.lower, self.mass, &self.lanes, &mut self.product);
        factor.half_solve(&mut self.product);
        (self.filled, self.coupled) = (0, 0);
        self.projected.fill(0.0);
        let front = Mat::from_fn(front.nrows(), BLOCK, |i, c| self.product[i][c]);
        self.set_front(front, f64::MIN_POSITIVE);
        self.coupling = [[0.0; BLOCK]; BLOCK];
    }

    /// Makes room for `capacity` vectors.
    pub fn grow(&mut self, capacity: usize) {
        let old = self.projected.ncols();
        let n = self.basis.nrows();
        if capacity > old {
            self.basis.resize_with(n, capacity + BLOCK, |_, _| 0.0);
            self.projected.resize_with(capacity, capacity, |_, _| 0.0);
        }
    }

    pub fn capacity(&self) -> usize {
        self.projected.ncols()
    }

    pub fn filled(&self) -> usize {
        self.filled
    }

    pub fn full(&self) -> bool {
        self.filled + BLOCK > self.projected.ncols()
    }

    /// Replaces the front by random vectors, keeping what has been found.
    pub fn refresh(&mut self) {
        let n = self.basis.nrows();
        let mut front = Mat::from_fn(n, BLOCK, |_, _| self.random.random_range(-1.0..1.0));
        for _ in 0..2 {
            project_out(self.basis.subcols(0, self.filled), &mut front);
        }
        self.set_front(front, f64::MIN_POSITIVE);
        self.coupling = [[0.0; BLOCK]; BLOCK];
        self.coupled = 0;
    }

    /// Adds the front to the basis and forms the next front from its image.
    pub fn step(&mut self, factor: &Sparse) {
        let n = self.basis.nrows();
        let known = self.filled + BLOCK;
        for i in 0..n {
            self.lanes[i] = std::array::from_fn(|c| self.basis[(i, self.filled + c)]);
        }
        factor.half_solve_transposed(&mut self.lanes);
        symmetric_product(&self.symbolic.lower, self.mass, &self.lanes, &mut self.product);
        factor.half_solve(&mut self.product);
        let mut image = Mat::from_fn(n, BLOCK, |i, c| self.product[i][c]);
        // What is large lies in the vectors that the front came from; the second pass takes the rest.
        let near = project_out(self.basis.subcols(self.coupled, known - self.coupled), &mut image);
        let mut coefficients = project_out(self.basis.subcols(0, known), &mut image);
        let mut coupled = coefficients.subrows_mut(self.coupled, known - self.coupled);
        coupled += &near;
        self.coupled = self.filled;
        for c in 0..BLOCK {
            for r in 0..known {
                let value = coefficients[(r, c)];
                self.projected[(r, self.filled + c)] = value;
                self.projected[(self.filled + c, r)] = value;
            }
        }
        self.filled = known;
        let largest = (0..known).map(|i| self.projected[(i, i)]).fold(0.0, f64::max);
        self.set_front(image, NO_DIRECTION * largest);
    }

    /// Makes `block`, already free of the basis, orthonormal: the new front. R goes to `coupling`.
    fn set_front(&mut self, block: Mat<f64>, least: f64) {
        let n = self.basis.nrows();
        self.coupling = [[0.0; BLOCK]; BLOCK];
        for c in 0..BLOCK {
            let mut column = block.subcols(c, 1).to_owned();
            let before = column.norm_l2();
            for _ in 0..2 {
                let inner = project_out(self.basis.subcols(self.filled, c), &mut column);
                for r in 0..c {
                    self.coupling[r][c] += inner[(r, 0)];
                }
            }
            let mut norm = column.norm_l2();
            if norm > least {
                self.coupling[c][c] = norm;
            }
            // Where little is left, rounding in what was taken away shows: clean against the whole basis,
            // and begin at random where nothing is left.
            let mut clean = norm > least && norm > CANCELLED * before;
            for _ in 0..4 {
                if clean {
                    break;
                }
                if norm <= least {
                    column = Mat::from_fn(n, 1, |_, _| self.random.random_range(-1.0..1.0));
                    norm = column.norm_l2();
                }
                column *= Scale(1.0 / norm);
                project_out(self.basis.subcols(0, self.filled + c), &mut column);
                norm = column.norm_l2();
                clean = norm > 0.5;
            }
            if norm > 0.0 {
                column *= Scale(1.0 / norm);
            }
            self.basis.subcols_mut(self.filled + c, 1).copy_from(&column);
        }
    }

    /// The best approximations in the basis; `None` when the small eigenproblem fails.
    pub fn ritz(&self) -> Option<Ritz> {
        let m = self.filled;
        let (values, vectors) = symmetric_eigen(self.projected.submatrix(0, 0, m, m))?;
        let coordinates = Mat::from_fn(m, m, |i, j| vectors[(i, m - 1 - j)]);
        let nu: Vec<f64> = values.iter().rev().copied().collect();
        let residual = (0..m)
            .map(|j| {
                let square = |row: &Lane| {
                    let part: f64 =
                        row.iter().enumerate().map(|(c, r)| r * coordinates[(m - BLOCK + c, j)]).sum();
                    part * part
                };
                self.coupling.iter().map(square).sum::<f64>().sqrt()
            })
            .collect();
        Some(Ritz { nu, residual, coordinates })
    }

    /// The first `count` approximations as vectors y, one per column, order of elimination.
    pub fn vectors(&self, ritz: &Ritz, count: usize) -> Mat<f64> {
        let mut vectors = Mat::zeros(self.basis.nrows(), count);
        let coordinates = ritz.coordinates.subcols(0, count);
        matmul(
            vectors.as_mut(),
            Accum::Replace,
            self.basis.subcols(0, self.filled),
            coordinates,
            1.0,
            Par::Seq,
        );
        vectors
    }

    /// Shrinks the basis to the first `keep` approximations; the front stays.
    pub fn restart(&mut self, ritz: &Ritz, keep: usize) {
        let kept = self.vectors(ritz, keep);
        let front = self.basis.subcols(self.filled, BLOCK).to_owned();
        self.basis.subcols_mut(0, keep).copy_from(&kept);
        self.basis.subcols_mut(keep, BLOCK).copy_from(&front);
        self.projected.fill(0.0);
        for (i, nu) in ritz.nu[..keep].iter().enumerate() {
            self.projected[(i, i)] = *nu;
        }
        (self.filled, self.coupled) = (keep, 0);
    }
}

/// Removes from `block` its part in the span of the orthonormal `basis`; returns the coefficients.
fn project_out(basis: MatRef<f64>, block: &mut Mat<f64>) -> Mat<f64> {
    let mut part = Mat::<f64>::zeros(basis.ncols(), block.ncols());
    matmul(part.as_mut(), Accum::Replace, basis.transpose(), block.as_ref(), 1.0, Par::Seq);
    matmul(block.as_mut(), Accum::Add, basis, part.as_ref(), -1.0, Par::Seq);
    part
}

/// Eigenvalues, ascending, and orthonormal eigenvectors of a dense symmetric matrix (lower triangle read);
/// `None` when an entry is not finite or the iteration fails.
pub(super) fn symmetric_eigen(matrix: MatRef<f64>) -> Option<(Vec<f64>, Mat<f64>)> {
    let n = matrix.nrows();
    if !matrix.is_all_finite() {
        return None;
    }
    let mut values = Diag::<f64>::zeros(n);
    let mut vectors = Mat::zeros(n, n);
    let need = self_adjoint_evd_scratch::<f64>(n, ComputeEigenvectors::Yes, Par::Seq, Spec::default());
    let mut memory = MemBuffer::try_new(need).ok()?;
    let stack = MemStack::new(&mut memory);
    self_adjoint_evd(matrix, values.as_mut(), Some(vectors.as_mut()), Par::Seq, stack, Spec::default())
        .ok()?;
    let values = (0..n).map(|i| values[i]).collect();
    Some((values, vectors))
}
