//! Lowest modes of a large matrix pair by block Lanczos with thick restarts.
//!
//! With `K - σ M = L D Lᵀ` positive definite, the modes are those of the symmetric operator
//!
//! ```text
//! C = D^(-1/2) L⁻¹ M L⁻ᵀ D^(-1/2),   C y = ν y,   ν = 1 / (ω² - σ),   φ = L⁻ᵀ D^(-1/2) y / √ν
//! ```
//!
//! in the plain inner product, so degrees of freedom without mass have ν = 0 and never disturb. The basis is
//! kept fully orthonormal, and a restart keeps the best vectors found (Wu and Simon's thick restart), so that
//! nothing else has to be carried over. Blocks find repeated modes; a block that loses rank is refilled at
//! random, which finds further copies. The count in `search` proves that no mode is missing.
//!
//! # Source
//! - `grimes1994`: shifted block Lanczos for the symmetric generalised eigenproblem
//! - `wu2000`: thick restart

use super::factor::SparseFactor;
use super::kernel::{BLOCK, Lane, add_combined, inner, symmetric_product};
use super::symbolic::Symbolic;
use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::evd::{ComputeEigenvectors, self_adjoint_evd, self_adjoint_evd_scratch};
use faer::{Mat, MatRef, Par, Spec};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// A residual block column below this, relative to the largest ν, carries no direction.
const NO_DIRECTION: f64 = 1e-14;

/// A vector of which projection leaves no more than this fraction must be projected again.
const CANCELLED: f64 = 1e-3;

/// The best approximations within the basis.
pub(super) struct Ritz {
    /// ν, descending.
    pub nu: Vec<f64>,
    /// Norm of `C y - ν y`.
    pub residual: Vec<f64>,
    /// Coordinates in the basis, one approximation per column.
    coordinates: Mat<f64>,
}

/// Orthonormal vectors whose images are known, and the front: one block whose images are not.
pub(super) struct Krylov<'a> {
    symbolic: &'a Symbolic,
    mass: &'a [f64],
    basis: Vec<Vec<Lane>>,
    front: Vec<Lane>,
    projected: Mat<f64>,
    /// The first block of the basis in which the image of the front may have a large part.
    coupled: usize,
    /// `C V = V T + F R Eᵀ`: R of the front F; E selects the last block of V.
    coupling: [Lane; BLOCK],
    random: StdRng,
    lanes: Vec<Lane>,
}

impl<'a> Krylov<'a> {
    /// A basis with room for `capacity` vectors and the front block, started from random vectors.
    pub fn new(symbolic: &'a Symbolic, mass: &'a [f64], capacity: usize) -> Krylov<'a> {
        let n = symbolic.order.len();
        let mut krylov = Krylov {
            symbolic,
            mass,
            basis: Vec::new(),
            front: Vec::new(),
            projected: Mat::zeros(capacity, capacity),
            coupled: 0,
            coupling: [[0.0; BLOCK]; BLOCK],
            random: StdRng::seed_from_u64(1),
            lanes: vec![[0.0; BLOCK]; n],
        };
        krylov.refresh();
        krylov
    }

    /// Discards what was found and starts from random mixtures of the columns of
    /// `shapes`, in elimination order.
    pub fn begin_with(&mut self, factor: &SparseFactor, shapes: MatRef<f64>) {
        self.lanes.fill([0.0; BLOCK]);
        for shape in shapes.col_iter() {
            let weights = random_lane(&mut self.random);
            for (lane, value) in self.lanes.iter_mut().zip(shape.iter()) {
                *lane = std::array::from_fn(|c| lane[c] + weights[c] * value);
            }
        }
        let front = self.half_image(factor);
        self.basis.clear();
        self.coupled = 0;
        self.projected.fill(0.0);
        self.set_front(front, f64::MIN_POSITIVE);
        self.coupling = [[0.0; BLOCK]; BLOCK];
    }

    /// `D^(-1/2) L⁻¹ M` times the lanes.
    fn half_image(&self, factor: &SparseFactor) -> Vec<Lane> {
        let mut image = vec![[0.0; BLOCK]; self.lanes.len()];
        symmetric_product(&self.symbolic.lower, self.mass, &self.lanes, &mut image);
        factor.half_solve(&mut image);
        image
    }

    /// Makes room for `capacity` vectors.
    pub fn grow(&mut self, capacity: usize) {
        if capacity > self.capacity() {
            self.projected.resize_with(capacity, capacity, |_, _| 0.0);
        }
    }

    pub fn capacity(&self) -> usize {
        self.projected.ncols()
    }

    pub fn filled(&self) -> usize {
        BLOCK * self.basis.len()
    }

    pub fn full(&self) -> bool {
        self.filled() + BLOCK > self.capacity()
    }

    /// Replaces the front by random vectors and keeps what has been found.
    pub fn refresh(&mut self) {
        let mut front: Vec<Lane> = self.lanes.iter().map(|_| random_lane(&mut self.random)).collect();
        for _ in 0..2 {
            self.take_out(&mut front);
        }
        self.set_front(front, f64::MIN_POSITIVE);
        self.coupling = [[0.0; BLOCK]; BLOCK];
        self.coupled = 0;
    }

    /// Adds the front to the basis and forms the next front from its image.
    pub fn step(&mut self, factor: &SparseFactor) {
        self.lanes.copy_from_slice(&self.front);
        factor.half_solve_transposed(&mut self.lanes);
        let mut image = self.half_image(factor);
        let before = self.filled();
        self.basis.push(std::mem::take(&mut self.front));
        // The large part lies in the vectors that the front came from; the second pass takes the rest.
        let mut coefficients = vec![[[0.0; BLOCK]; BLOCK]; self.basis.len()];
        for first in [self.coupled, 0] {
            for (block, sum) in self.basis.iter().zip(&mut coefficients).skip(first) {
                let part = take_out(block, &mut image);
                *sum = std::array::from_fn(|r| std::array::from_fn(|c| sum[r][c] + part[r][c]));
            }
        }
        self.coupled = self.basis.len() - 1;
        for (r, row) in coefficients.iter().flatten().enumerate() {
            for (c, value) in row.iter().enumerate() {
                self.projected[(r, before + c)] = *value;
                self.projected[(before + c, r)] = *value;
            }
        }
        let largest = (0..self.filled()).map(|i| self.projected[(i, i)]).fold(0.0, f64::max);
        self.set_front(image, NO_DIRECTION * largest);
    }

    /// Makes `block`, already orthogonal to the basis, orthonormal: the new front. R goes to `coupling`.
    fn set_front(&mut self, mut block: Vec<Lane>, least: f64) {
        if let Some((front, coupling)) = orthonormal(&block, least) {
            (self.front, self.coupling) = (front, coupling);
            return;
        }
        self.coupling = [[0.0; BLOCK]; BLOCK];
        for c in 0..BLOCK {
            let before = dot(&block, c, c).sqrt();
            for _ in 0..2 {
                for r in 0..c {
                    self.coupling[r][c] += take_column_out(&mut block, r, c);
                }
            }
            let mut norm = dot(&block, c, c).sqrt();
            if norm > least {
                self.coupling[c][c] = norm;
            }
            // Where little is left, rounding of what was subtracted shows: clean against the whole basis, and
            // start at random where nothing is left.
            let mut clean = norm > least && norm > CANCELLED * before;
            for _ in 0..4 {
                if clean {
                    break;
                }
                if norm <= least {
                    block.iter_mut().for_each(|lane| lane[c] = self.random.random_range(-1.0..1.0));
                    norm = dot(&block, c, c).sqrt();
                }
                let mut alone: Vec<Lane> = block
                    .iter()
                    .map(|lane| std::array::from_fn(|k| if k == c { lane[c] / norm } else { 0.0 }))
                    .collect();
                self.take_out(&mut alone);
                block.iter_mut().zip(&alone).for_each(|(lane, alone)| lane[c] = alone[c]);
                for r in 0..c {
                    take_column_out(&mut block, r, c);
                }
                norm = dot(&block, c, c).sqrt();
                clean = norm > 0.5;
            }
            if norm > 0.0 {
                block.iter_mut().for_each(|lane| lane[c] /= norm);
            }
        }
        self.front = block;
    }

    /// Removes from `block` its part in the span of the basis.
    fn take_out(&self, block: &mut [Lane]) {
        for known in &self.basis {
            take_out(known, block);
        }
    }

    /// The best approximations in the basis; `None` when the small eigenproblem fails.
    pub fn ritz(&self) -> Option<Ritz> {
        let m = self.filled();
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

    /// The first `count` approximations as vectors y in elimination order, a block at a time;
    /// columns beyond them are zero.
    pub fn vectors(&self, ritz: &Ritz, count: usize) -> Vec<Vec<Lane>> {
        let block = |first: usize| {
            let mut sum = vec![[0.0; BLOCK]; self.lanes.len()];
            for (k, known) in self.basis.iter().enumerate() {
                let of =
                    |r: usize, j: usize| if j < count { ritz.coordinates[(BLOCK * k + r, j)] } else { 0.0 };
                let weights = std::array::from_fn(|r| std::array::from_fn(|c| of(r, first + c)));
                add_combined(known, &weights, &mut sum);
            }
            sum
        };
        (0..count).step_by(BLOCK).map(block).collect()
    }

    /// Shrinks the basis to the first `keep` approximations, or a few more to fill a block; the front stays.
    pub fn restart(&mut self, ritz: &Ritz, keep: usize) {
        let keep = keep.next_multiple_of(BLOCK).min(self.filled());
        self.basis = self.vectors(ritz, keep);
        self.projected.fill(0.0);
        for (i, nu) in ritz.nu[..keep].iter().enumerate() {
            self.projected[(i, i)] = *nu;
        }
        self.coupled = 0;
    }
}

/// Q and R of `block` when its columns are independent, else `None`. By the Cholesky factor of the Gram
/// matrix, twice because the first time amplifies rounding.
fn orthonormal(block: &[Lane], least: f64) -> Option<(Vec<Lane>, [Lane; BLOCK])> {
    let first = root(&inner(block, block), least)?;
    let rough = combined(block, &first);
    let second = root(&inner(&rough, &rough), 0.5)?;
    let product = |r: usize, c: usize| (r..=c).map(|k| second[r][k] * first[k][c]).sum();
    let coupling = std::array::from_fn(|r| std::array::from_fn(|c| if r <= c { product(r, c) } else { 0.0 }));
    Some((combined(&rough, &second), coupling))
}

/// The upper R with `Rᵀ R` the Gram matrix; `None` when no more than `least` or than
/// rounding is left of a column.
fn root(gram: &[Lane; BLOCK], least: f64) -> Option<[Lane; BLOCK]> {
    let mut root = [[0.0; BLOCK]; BLOCK];
    for c in 0..BLOCK {
        for r in 0..c {
            let above: f64 = (0..r).map(|k| root[k][r] * root[k][c]).sum();
            root[r][c] = (gram[r][c] - above) / root[r][r];
        }
        let above: f64 = (0..c).map(|k| root[k][c] * root[k][c]).sum();
        let left = gram[c][c] - above;
        let enough = left > least * least && left > CANCELLED * CANCELLED * gram[c][c];
        root[c][c] = enough.then(|| left.sqrt())?;
    }
    Some(root)
}

/// `block R⁻¹`.
fn combined(block: &[Lane], root: &[Lane; BLOCK]) -> Vec<Lane> {
    let mut weights = [[0.0; BLOCK]; BLOCK];
    for c in 0..BLOCK {
        weights[c][c] = 1.0 / root[c][c];
        for r in (0..c).rev() {
            let known: f64 = (r + 1..=c).map(|k| root[r][k] * weights[k][c]).sum();
            weights[r][c] = -known / root[r][r];
        }
    }
    let mut result = vec![[0.0; BLOCK]; block.len()];
    add_combined(block, &weights, &mut result);
    result
}

/// Removes from `block` its part in the span of the orthonormal vectors of `known`; returns the coefficients.
fn take_out(known: &[Lane], block: &mut [Lane]) -> [Lane; BLOCK] {
    let part = inner(known, block);
    add_combined(known, &part.map(|row| row.map(|value| -value)), block);
    part
}

/// Removes from column `c` of `block` its part along column `r`; returns the coefficient.
fn take_column_out(block: &mut [Lane], r: usize, c: usize) -> f64 {
    let part = dot(block, r, c);
    block.iter_mut().for_each(|lane| lane[c] -= part * lane[r]);
    part
}

fn dot(block: &[Lane], r: usize, c: usize) -> f64 {
    block.iter().map(|lane| lane[r] * lane[c]).sum()
}

fn random_lane(random: &mut StdRng) -> Lane {
    std::array::from_fn(|_| random.random_range(-1.0..1.0))
}

/// Eigenvalues, ascending, and orthonormal eigenvectors of a dense symmetric matrix (lower triangle read);
/// `None` when an entry is not finite or the iteration fails.
pub(super) fn symmetric_eigen(matrix: MatRef<f64>) -> Option<(Vec<f64>, Mat<f64>)> {
    let n = matrix.nrows();
    if !matrix.is_all_finite() {
        return None;
    }
    if n == 0 {
        return Some((Vec::new(), Mat::zeros(0, 0)));
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
