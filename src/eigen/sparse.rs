//! A symmetric sparse matrix, whatever crate holds it inside.

use super::fault::EigenFault;
use super::vectors::Vectors;
use faer::sparse::{SparseColMat, SymbolicSparseColMat, Triplet};
use faer::{Mat, MatRef};

/// A symmetric sparse matrix of real numbers, by columns with both triangles stored.
///
/// That it is symmetric is checked where it is used, by [`MatrixPair::check`](super::MatrixPair::check).
///
/// ```
/// use stillbed_eigen::Sparse;
///
/// // Two springs of 3 N/m in a row, the first held to the ground.
/// let stiffness = Sparse::from_lower(2, &[(0, 0, 6.0), (1, 0, -3.0), (1, 1, 3.0)])?;
/// assert_eq!(stiffness.get(0, 1), -3.0);
/// // Both masses move by 1 m: only the first spring stretches, and stores 1/2 * 3 J.
/// assert_eq!(0.5 * stiffness.energy(&[1.0, 1.0]), 1.5);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
#[derive(Debug, Clone)]
pub struct Sparse(SparseColMat<usize, f64>);

impl Sparse {
    /// The matrix of `size` rows and columns with the given entries: row, column, value. Entries of one place
    /// are added up, as in an assembly of elements; both triangles must be given.
    ///
    /// # Errors
    /// [`EigenFault::Misplaced`] for an entry outside the matrix.
    pub fn from_triplets(size: usize, entries: &[(usize, usize, f64)]) -> Result<Sparse, EigenFault> {
        Sparse::gathered(size, entries.iter().copied())
    }

    /// The same from one triangle and the diagonal: an entry off the diagonal stands for its equal across the
    /// diagonal as well.
    ///
    /// # Errors
    /// As [`Sparse::from_triplets`].
    pub fn from_lower(size: usize, entries: &[(usize, usize, f64)]) -> Result<Sparse, EigenFault> {
        let mirrored = entries.iter().filter(|(row, column, _)| row != column).map(|&(i, j, v)| (j, i, v));
        Sparse::gathered(size, entries.iter().copied().chain(mirrored))
    }

    fn gathered(
        size: usize,
        entries: impl Iterator<Item = (usize, usize, f64)>,
    ) -> Result<Sparse, EigenFault> {
        let inside = |(row, column, value): (usize, usize, f64)| match row < size && column < size {
            true => Ok(Triplet::new(row, column, value)),
            false => Err(EigenFault::Misplaced { row, column, size }),
        };
        let triplets = entries.map(inside).collect::<Result<Vec<_>, EigenFault>>()?;
        let too_large = |_| EigenFault::TooLarge { needed: usize::MAX, allowed: isize::MAX as usize };
        SparseColMat::try_new_from_triplets(size, size, &triplets).map(Sparse).map_err(too_large)
    }

    /// The matrix in compressed columns: those of column j are `rows[starts[j]..starts[j + 1]]`, ascending,
    /// and the `values` at the same places.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] for lists that do not fit each other, [`EigenFault::Misplaced`] for rows outside
    /// the matrix or not in ascending order.
    pub fn from_columns(
        starts: Vec<usize>,
        rows: Vec<usize>,
        values: Vec<f64>,
    ) -> Result<Sparse, EigenFault> {
        let fits = |what, found: usize, needed: usize| match found == needed {
            true => Ok(()),
            false => Err(EigenFault::Shape { what, found, needed }),
        };
        let size = starts.len().saturating_sub(1);
        fits("the list of values", values.len(), rows.len())?;
        fits("the first start of a column", starts.first().copied().unwrap_or(1), 0)?;
        fits("the end of the last column", starts[size], rows.len())?;
        for column in 0..size {
            let own = rows.get(starts[column]..starts[column + 1]);
            let own = own.ok_or(EigenFault::Misplaced { row: 0, column, size })?;
            let falling = own.windows(2).find(|pair| pair[0] >= pair[1]).map(|pair| pair[1]);
            if let Some(row) = falling.or(own.last().copied().filter(|row| *row >= size)) {
                return Err(EigenFault::Misplaced { row, column, size });
            }
        }
        let pattern = SymbolicSparseColMat::new_checked(size, size, starts, None, rows);
        Ok(Sparse(SparseColMat::new(pattern, values)))
    }

    /// Number of rows, and of columns.
    #[must_use]
    pub fn size(&self) -> usize {
        self.0.ncols()
    }

    /// The entry at `row` and `column`; 0 where none is stored.
    #[must_use]
    pub fn get(&self, row: usize, column: usize) -> f64 {
        self.0.get(row, column).copied().unwrap_or(0.0)
    }

    /// The stored entries column after column, by ascending rows.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        self.0.val()
    }

    /// The same to be changed, each together with its equal across the diagonal.
    pub fn values_mut(&mut self) -> &mut [f64] {
        self.0.val_mut()
    }

    /// Row, column and value of each stored entry, in the order of [`Sparse::values`].
    pub fn entries(&self) -> impl Iterator<Item = (usize, usize, f64)> + '_ {
        self.0.triplet_iter().map(|entry| (entry.row, entry.col, *entry.val))
    }

    /// The matrix with every entry multiplied by `factor`.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Sparse {
        let mut scaled = self.clone();
        scaled.values_mut().iter_mut().for_each(|value| *value *= factor);
        scaled
    }

    /// A x for each column x, on the calling thread.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] when the rows of `x` do not fit.
    pub fn times(&self, x: &Vectors) -> Result<Vectors, EigenFault> {
        if x.rows() != self.size() {
            let (found, needed) = (x.rows(), self.size());
            return Err(EigenFault::Shape { what: "the vectors", found, needed });
        }
        Ok(times(&self.0, x.as_faer().as_ref()).into())
    }

    /// xᵀ A x: twice the strain energy of a stiffness, twice the kinetic energy of a mass. NaN for an `x`
    /// that does not fit.
    #[must_use]
    pub fn energy(&self, x: &[f64]) -> f64 {
        if x.len() != self.size() {
            return f64::NAN;
        }
        let column = faer::Col::from_fn(x.len(), |i| x[i]);
        column.transpose() * (&self.0 * &column)
    }

    /// The matrix inside, for callers that use `faer` themselves.
    #[must_use]
    pub fn as_faer(&self) -> &SparseColMat<usize, f64> {
        &self.0
    }
}

impl From<SparseColMat<usize, f64>> for Sparse {
    fn from(matrix: SparseColMat<usize, f64>) -> Sparse {
        Sparse(matrix)
    }
}

impl From<Sparse> for SparseColMat<usize, f64> {
    fn from(matrix: Sparse) -> SparseColMat<usize, f64> {
        matrix.0
    }
}

#[cfg(feature = "nalgebra")]
impl From<&nalgebra_sparse::CscMatrix<f64>> for Sparse {
    fn from(matrix: &nalgebra_sparse::CscMatrix<f64>) -> Sparse {
        let (starts, rows, values) = matrix.csc_data();
        let (starts, rows) = (starts.to_vec(), rows.to_vec());
        let pattern = SymbolicSparseColMat::new_checked(matrix.nrows(), matrix.ncols(), starts, None, rows);
        Sparse(SparseColMat::new(pattern, values.to_vec()))
    }
}

/// `A x` on the calling thread only, because several structures are solved in parallel. Each row of `x` is
/// stored contiguously, so that an entry of `A` meets all columns at once.
pub(super) fn times(a: &SparseColMat<usize, f64>, x: MatRef<f64>) -> Mat<f64> {
    let (n, width) = (a.nrows(), x.ncols());
    let mut row = vec![0.0; width];
    let mut sums = vec![0.0; n * width];
    for j in 0..a.ncols() {
        row.iter_mut().enumerate().for_each(|(k, value)| *value = x[(j, k)]);
        for (&i, value) in a.symbolic().row_idx_of_col_raw(j).iter().zip(a.val_of_col(j)) {
            let sum = &mut sums[i * width..(i + 1) * width];
            sum.iter_mut().zip(&row).for_each(|(sum, x)| *sum += value * x);
        }
    }
    Mat::from_fn(n, width, |i, k| sums[i * width + k])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_of_one_place_are_added_up() {
        let whole = Sparse::from_triplets(2, &[(0, 0, 1.0), (0, 0, 2.0), (1, 0, 4.0), (0, 1, 4.0)]).unwrap();
        let half = Sparse::from_lower(2, &[(0, 0, 3.0), (1, 0, 4.0)]).unwrap();
        let listed = Sparse::from_columns(vec![0, 2, 3], vec![0, 1, 0], vec![3.0, 4.0, 4.0]).unwrap();
        for matrix in [&whole, &half, &listed] {
            let entries: Vec<_> = matrix.entries().collect();
            assert_eq!(entries, [(0, 0, 3.0), (1, 0, 4.0), (0, 1, 4.0)]);
            assert_eq!(matrix.scaled(2.0).values(), [6.0, 8.0, 8.0]);
        }
        let x = Vectors::single(&[1.0, 2.0]);
        assert_eq!(whole.times(&x).unwrap().column(0), [11.0, 4.0]);
        assert_eq!((whole.energy(&[1.0, 2.0]), whole.get(1, 1)), (19.0, 0.0));
        assert!(whole.energy(&[1.0]).is_nan() && whole.times(&Vectors::single(&[1.0])).is_err());
    }

    #[test]
    fn lists_that_are_no_matrix_are_refused() {
        let misplaced = |row, column, size| Err(EigenFault::Misplaced { row, column, size });
        assert_eq!(Sparse::from_triplets(2, &[(0, 2, 1.0)]).map(|_| ()), misplaced(0, 2, 2));
        let listed = |starts: &[usize], rows: &[usize]| {
            Sparse::from_columns(starts.to_vec(), rows.to_vec(), vec![1.0; rows.len()]).map(|_| ())
        };
        assert_eq!(listed(&[0, 2, 2], &[1, 0]), misplaced(0, 0, 2));
        assert_eq!(listed(&[0, 1, 2], &[0, 5]), misplaced(5, 1, 2));
        assert_eq!(listed(&[0, 2, 1, 2], &[0, 1]), misplaced(0, 1, 3));
        for starts in [&[][..], &[1], &[0, 1], &[0, 9]] {
            assert!(matches!(listed(starts, &[0, 1]), Err(EigenFault::Shape { .. })), "{starts:?}");
        }
        assert!(Sparse::from_columns(vec![0], Vec::new(), vec![1.0]).is_err());
    }

    #[cfg(feature = "nalgebra")]
    #[test]
    fn nalgebra_matrices_are_taken() {
        let mut entries = nalgebra_sparse::CooMatrix::new(2, 2);
        entries.push(0, 1, 4.0);
        entries.push(1, 0, 4.0);
        let matrix = Sparse::from(&nalgebra_sparse::CscMatrix::from(&entries));
        assert_eq!(matrix.entries().collect::<Vec<_>>(), [(1, 0, 4.0), (0, 1, 4.0)]);
    }
}
