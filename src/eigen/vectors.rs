//! Vectors side by side, whatever crate holds them inside.

use super::fault::EigenFault;
use faer::linalg::matmul::matmul;
use faer::{Accum, Mat, MatRef, Par};
use std::ops::Index;

/// Vectors of one length, one per column: mode shapes, loads, motions. `T` is `f64`, or
/// [`Complex64`](num_complex::Complex64) where motions lag behind each other.
///
/// ```
/// use stillbed_eigen::Vectors;
///
/// let loads = Vectors::from_fn(3, 2, |row, column| if row == column { 1.0 } else { 0.0 });
/// assert_eq!((loads.rows(), loads.count()), (3, 2));
/// assert_eq!(loads.column(1), [0.0, 1.0, 0.0]);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Vectors<T = f64>(Mat<T>);

impl<T> Vectors<T> {
    /// `count` vectors of `rows` entries, each given by its row and column.
    pub fn from_fn(rows: usize, count: usize, entry: impl FnMut(usize, usize) -> T) -> Vectors<T> {
        Vectors(Mat::from_fn(rows, count, entry))
    }

    /// Number of entries of each vector.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.0.nrows()
    }

    /// Number of vectors.
    #[must_use]
    pub fn count(&self) -> usize {
        self.0.ncols()
    }

    /// The entries of vector `k`.
    ///
    /// # Panics
    /// When there are no more than `k` vectors.
    #[must_use]
    pub fn column(&self, k: usize) -> &[T] {
        self.0.col_as_slice(k)
    }

    /// The vectors, one after the other.
    pub fn columns(&self) -> impl Iterator<Item = &[T]> {
        (0..self.count()).map(|k| self.column(k))
    }

    /// The matrix inside, one vector per column, for callers that use `faer` themselves.
    #[must_use]
    pub fn as_faer(&self) -> &Mat<T> {
        &self.0
    }
}

impl<T: Copy> Vectors<T> {
    /// One vector alone.
    #[must_use]
    pub fn single(vector: &[T]) -> Vectors<T> {
        Vectors::from_fn(vector.len(), 1, |row, _| vector[row])
    }

    /// The first `count` vectors, or all where there are fewer.
    #[must_use]
    pub fn first(&self, count: usize) -> Vectors<T> {
        Vectors::from_fn(self.rows(), count.min(self.count()), |row, column| self.0[(row, column)])
    }
}

impl Vectors {
    /// aᵀ b of each of these vectors a, by row, with each of the vectors b of `other`, by column; on the
    /// calling thread.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] where the vectors differ in length.
    pub fn inner(&self, other: &Vectors) -> Result<Vectors, EigenFault> {
        fits(other.rows(), self.rows())?;
        Ok(product(self.0.transpose(), other.0.as_ref()).into())
    }

    /// These vectors combined with `weights`, one combination per column; on the calling thread.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] where there are not as many weights as vectors.
    pub fn combined(&self, weights: &Vectors) -> Result<Vectors, EigenFault> {
        fits(weights.rows(), self.count())?;
        Ok(product(self.0.as_ref(), weights.0.as_ref()).into())
    }
}

fn fits(found: usize, needed: usize) -> Result<(), EigenFault> {
    let fault = EigenFault::Shape { what: "the vectors", found, needed };
    if found == needed { Ok(()) } else { Err(fault) }
}

impl<T> Index<(usize, usize)> for Vectors<T> {
    type Output = T;

    fn index(&self, (row, column): (usize, usize)) -> &T {
        &self.0[(row, column)]
    }
}

impl<T> From<Mat<T>> for Vectors<T> {
    fn from(columns: Mat<T>) -> Vectors<T> {
        Vectors(columns)
    }
}

impl<T> From<Vectors<T>> for Mat<T> {
    fn from(vectors: Vectors<T>) -> Mat<T> {
        vectors.0
    }
}

#[cfg(feature = "nalgebra")]
impl<T: nalgebra::Scalar + Copy> From<&nalgebra::DMatrix<T>> for Vectors<T> {
    fn from(columns: &nalgebra::DMatrix<T>) -> Vectors<T> {
        Vectors::from_fn(columns.nrows(), columns.ncols(), |row, column| columns[(row, column)])
    }
}

#[cfg(feature = "nalgebra")]
impl<T: nalgebra::Scalar + Copy> From<&Vectors<T>> for nalgebra::DMatrix<T> {
    fn from(vectors: &Vectors<T>) -> nalgebra::DMatrix<T> {
        nalgebra::DMatrix::from_fn(vectors.rows(), vectors.count(), |row, column| vectors[(row, column)])
    }
}

/// `A B` on the calling thread.
pub(super) fn product(a: MatRef<f64>, b: MatRef<f64>) -> Mat<f64> {
    let mut c = Mat::zeros(a.nrows(), b.ncols());
    matmul(c.as_mut(), Accum::Replace, a, b, 1.0, Par::Seq);
    c
}

/// The columns of both, side by side.
pub(super) fn beside(left: &Mat<f64>, right: &Mat<f64>) -> Mat<f64> {
    let split = left.ncols();
    Mat::from_fn(left.nrows(), split + right.ncols(), |i, j| {
        if j < split { left[(i, j)] } else { right[(i, j - split)] }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_vectors() {
        let vectors = Vectors::from_fn(2, 3, |i, j| (10 * i + j) as f64);
        assert_eq!(vectors.columns().collect::<Vec<_>>(), [[0.0, 10.0], [1.0, 11.0], [2.0, 12.0]]);
        assert_eq!((vectors[(1, 2)], vectors.first(2).count(), vectors.first(9).count()), (12.0, 2, 3));
        assert_eq!(vectors.first(1), Vectors::single(&[0.0, 10.0]));
        assert_eq!(vectors.inner(&vectors.first(1)).unwrap().column(0), [100.0, 110.0, 120.0]);
        let sum = vectors.combined(&Vectors::single(&[1.0, 0.0, 2.0])).unwrap();
        assert_eq!(sum.column(0), [4.0, 34.0]);
        assert!(vectors.inner(&sum.inner(&sum).unwrap()).is_err() && vectors.combined(&sum).is_err());
        let inside: Mat<f64> = vectors.clone().into();
        assert_eq!(Vectors::from(inside), vectors);
    }

    #[cfg(feature = "nalgebra")]
    #[test]
    fn nalgebra_matrices_are_taken_and_given() {
        let columns = nalgebra::DMatrix::from_fn(2, 3, |i, j| (10 * i + j) as f64);
        let vectors = Vectors::from(&columns);
        assert_eq!(vectors.column(1), [1.0, 11.0]);
        assert_eq!(nalgebra::DMatrix::from(&vectors), columns);
    }
}
