//! Where the entries of a symmetric matrix are.

/// A symmetric pattern by columns, both triangles, rows ascending.
#[derive(Debug, Clone, Default)]
pub(super) struct Pattern {
    pub starts: Vec<usize>,
    pub rows: Vec<usize>,
}

impl Pattern {
    pub fn len(&self) -> usize {
        self.starts.len().saturating_sub(1)
    }

    pub fn column(&self, j: usize) -> &[usize] {
        &self.rows[self.starts[j]..self.starts[j + 1]]
    }
}
