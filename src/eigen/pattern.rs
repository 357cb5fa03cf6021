//! Where the entries of a symmetric matrix are.

use faer::sparse::SparseColMat;

/// The rows of the entries in each column, ascending.
pub(super) trait Columns {
    fn len(&self) -> usize;
    fn column(&self, j: usize) -> &[usize];

    /// Number of entries.
    fn entries(&self) -> usize {
        (0..self.len()).map(|j| self.column(j).len()).sum()
    }
}

/// A pattern by columns.
#[derive(Debug, Clone, Default)]
pub(super) struct Pattern {
    pub starts: Vec<usize>,
    pub rows: Vec<usize>,
}

impl Columns for Pattern {
    fn len(&self) -> usize {
        self.starts.len().saturating_sub(1)
    }

    fn column(&self, j: usize) -> &[usize] {
        &self.rows[self.starts[j]..self.starts[j + 1]]
    }
}

/// That of a matrix, without a copy.
impl Columns for SparseColMat<usize, f64> {
    fn len(&self) -> usize {
        self.ncols()
    }

    fn column(&self, j: usize) -> &[usize] {
        self.symbolic().row_idx_of_col_raw(j)
    }
}
