//! Small dense complex matrices: solutions and eigenvalues.

use super::vectors::Vectors;
use faer::diag::Diag;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::evd::{ComputeEigenvectors, evd_cplx, evd_scratch};
use faer::linalg::lu::partial_pivoting::{factor, solve};
use faer::{Mat, MatRef, Par, Spec, c64};
use num_complex::Complex64;

/// Eigenvalues of a small dense complex matrix, one for each of the first `count` coordinates: that of the
/// eigenvector with the largest part along the coordinate, each used once. For a matrix whose off-diagonal
/// entries couple modes, this keeps the modes in their order.
///
/// `None` where the matrix is not square, has fewer rows than `count` or is not finite, or the iteration fails.
///
/// ```
/// use num_complex::Complex64;
/// use stillbed_eigen::{Vectors, matched_eigenvalues};
///
/// // Two modes, coupled by their damping.
/// let entries = [[9.0, 0.1], [0.1, 4.0]];
/// let coupled = Vectors::from_fn(2, 2, |i, j| {
///     if i == j { Complex64::from(entries[i][j]) } else { Complex64::new(0.0, entries[i][j]) }
/// });
/// let found = matched_eigenvalues(&coupled, 2).unwrap();
/// // The roots of (9 - x)(4 - x) + 0.01 = 0.
/// assert!((found[0].re - 8.997999).abs() < 1e-6 && (found[1].re - 4.002001).abs() < 1e-6);
/// ```
#[must_use]
pub fn matched_eigenvalues(matrix: &Vectors<Complex64>, count: usize) -> Option<Vec<Complex64>> {
    if matrix.rows() != matrix.count() || count > matrix.count() {
        return None;
    }
    let (values, vectors) = complex_eigen(matrix.as_faer().as_ref())?;
    Some(matches(&vectors, count).iter().map(|(k, _)| values[*k]).collect())
}

/// For each of the first `count` basis vectors, the eigenvector with the largest part along it
/// (each used once), and that part.
pub(super) fn matches(z: &Mat<c64>, count: usize) -> Vec<(usize, f64)> {
    let sizes: Vec<f64> = (0..z.ncols()).map(|k| z.col(k).iter().map(|v| v.norm_sqr()).sum()).collect();
    let mut pairs: Vec<(f64, usize, usize)> = (0..count)
        .flat_map(|j| (0..z.ncols()).map(move |k| (j, k)))
        .map(|(j, k)| (z[(j, k)].norm_sqr() / sizes[k], j, k))
        .collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut matched = vec![(0, 0.0); count];
    let (mut done, mut used) = (vec![false; count], vec![false; z.ncols()]);
    for (part, j, k) in pairs {
        if !done[j] && !used[k] {
            (done[j], used[k]) = (true, true);
            matched[j] = (k, part);
        }
    }
    matched
}

/// `A⁻¹ B` on the calling thread.
pub(super) fn complex_solve(mut a: Mat<c64>, mut b: Mat<c64>) -> Option<Mat<c64>> {
    let (n, columns) = (a.nrows(), b.ncols());
    let need = factor::lu_in_place_scratch::<usize, c64>(n, n, Par::Seq, Spec::default())
        .or(solve::solve_in_place_scratch::<usize, c64>(n, columns, Par::Seq));
    let mut memory = MemBuffer::try_new(need).ok()?;
    let stack = MemStack::new(&mut memory);
    let (mut forward, mut back) = (vec![0_usize; n], vec![0_usize; n]);
    let (_, order) =
        factor::lu_in_place(a.as_mut(), &mut forward, &mut back, Par::Seq, stack, Spec::default());
    solve::solve_in_place(a.as_ref(), a.as_ref(), order, b.as_mut(), Par::Seq, stack);
    Some(b)
}

/// The eigenvalues of a complex matrix and its eigenvectors; `None` where they are not found.
pub(super) fn complex_eigen(matrix: MatRef<c64>) -> Option<(Vec<c64>, Mat<c64>)> {
    let n = matrix.nrows();
    if !matrix.is_all_finite() {
        return None;
    }
    let (no, yes) = (ComputeEigenvectors::No, ComputeEigenvectors::Yes);
    let mut memory = MemBuffer::try_new(evd_scratch::<c64>(n, no, yes, Par::Seq, Spec::default())).ok()?;
    let mut values = Diag::<c64>::zeros(n);
    let mut vectors = Mat::<c64>::zeros(n, n);
    let (stack, all) = (MemStack::new(&mut memory), Some(vectors.as_mut()));
    evd_cplx(matrix, values.as_mut(), None, all, Par::Seq, stack, Spec::default()).ok()?;
    let values: Vec<c64> = (0..n).map(|i| values[i]).collect();
    Some((values, vectors))
}
