//! Candidate poles of a band by the matrix pencil, for every number of decaying exponentials.
//!
//! All taps and channels share their poles. Their samples, in overlapping windows of length L, span a
//! space that a shift by one sample maps into itself:
//!
//! ```text
//! R = sum_windows w w^H = U S U^H        (L, L), the strongest r columns of U: the signal
//! U_first psi = U_last                   without the last row, without the first row
//! poles z = eig(psi),  log z = (-sigma + i omega) / rate
//! ```
//!
//! # Source
//! - `roykailath1989`: rotational invariance of the signal space
//! - `huasarkar1990`: matrix pencil of overlapping windows; length between a third and a half

use faer::{Mat, Side};
use num_complex::Complex64;

/// The samples of one channel after one tap.
pub(super) struct Block {
    /// Index of the tap in the record.
    pub(super) tap: usize,
    /// Index of the channel.
    pub(super) channel: usize,
    /// Complex samples of the band.
    pub(super) samples: Vec<Complex64>,
}

/// The poles (logarithm per sample) of `blocks` for 1, 2, ... up to `most` exponentials.
///
/// Empty when no block is long enough to hold a window.
pub(super) fn poles_by_order(blocks: &[Block], most: usize) -> Vec<Vec<Complex64>> {
    let Some(longest) = blocks.iter().map(|block| block.samples.len()).max() else { return Vec::new() };
    let window = (2 * longest / 5).min(64);
    if window < 3 {
        return Vec::new();
    }
    let most = most.min(window - 2);
    let Some(space) = signal_space(blocks, window) else { return Vec::new() };
    (1..=most).map(|order| rotation(&space, order)).collect()
}

/// Eigenvectors of the windows' covariance, strongest first, shape (window, window).
fn signal_space(blocks: &[Block], window: usize) -> Option<Mat<Complex64>> {
    let mut covariance = Mat::<Complex64>::zeros(window, window);
    for block in blocks.iter().filter(|block| block.samples.len() >= window) {
        let y = &block.samples;
        let shifts = y.len() - window + 1;
        // The first column is summed directly; every other entry follows from its upper left neighbour.
        for i in 0..window {
            let mut sum: Complex64 = (0..shifts).map(|t| y[i + t] * y[t].conj()).sum();
            covariance[(i, 0)] += sum;
            for j in 1..window - i {
                sum += y[i + j + shifts - 1] * y[j + shifts - 1].conj() - y[i + j - 1] * y[j - 1].conj();
                covariance[(i + j, j)] += sum;
            }
        }
    }
    if (0..window).any(|i| (0..=i).any(|j| !covariance[(i, j)].is_finite())) {
        return None;
    }
    let eigen = covariance.self_adjoint_eigen(Side::Lower).ok()?;
    let u = eigen.U();
    Some(Mat::from_fn(window, window, |i, j| u[(i, window - 1 - j)]))
}

/// Poles of the shift by one sample, within the space of the first `order` columns.
fn rotation(space: &Mat<Complex64>, order: usize) -> Vec<Complex64> {
    let rows = space.nrows() - 1;
    let first = space.get(..rows, ..order);
    let last = space.get(1.., ..order);
    let product = first.adjoint() * last;
    // The columns are orthonormal, so that first^H first = I - u u^H with u the conjugate last row.
    let u: Vec<Complex64> = (0..order).map(|j| space[(rows, j)].conj()).collect();
    let left = 1.0 - u.iter().map(|x| x.norm_sqr()).sum::<f64>();
    if left < 1e-12 {
        return Vec::new();
    }
    let turn = Mat::from_fn(order, order, |i, j| {
        let along: Complex64 = (0..order).map(|k| u[k].conj() * product[(k, j)]).sum();
        product[(i, j)] + u[i] * along / left
    });
    let Ok(values) = turn.eigenvalues() else { return Vec::new() };
    values.into_iter().filter(|z| z.is_finite() && z.norm() > 1e-3).map(|z| z.ln()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(tap: usize, poles: &[(Complex64, Complex64)], count: usize) -> Block {
        let sample = |n: usize| poles.iter().map(|(a, s)| a * (s * n as f64).exp()).sum();
        Block { tap, channel: 0, samples: (0..count).map(sample).collect() }
    }

    #[test]
    fn exact_decays_are_found_exactly() {
        let s = [Complex64::new(-0.02, 0.5), Complex64::new(-0.03, 0.62), Complex64::new(-0.01, -1.1)];
        let one = Complex64::ONE;
        let blocks = [
            block(0, &[(one, s[0]), (one * 0.5, s[1]), (one * 0.2, s[2])], 80),
            block(1, &[(one * 0.3, s[0]), (Complex64::I, s[1])], 60),
        ];
        let orders = poles_by_order(&blocks, 5);
        assert_eq!(orders.len(), 5);
        for want in s {
            let nearest = orders[2].iter().map(|p| (p - want).norm()).fold(f64::MAX, f64::min);
            assert!(nearest < 1e-5, "{want} missed by {nearest}");
        }
    }

    #[test]
    fn too_short_a_block_has_no_poles() {
        assert!(poles_by_order(&[block(0, &[(Complex64::ONE, Complex64::new(-0.1, 0.3))], 6)], 3).is_empty());
        assert!(poles_by_order(&[], 3).is_empty());
    }
}
