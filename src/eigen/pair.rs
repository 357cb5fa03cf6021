//! The matrix pair (K, M) whose modes are sought, and the checks that it must pass first.

use super::fault::EigenFault;
use super::sparse::Sparse;
use faer::MatRef;

/// Stiffness and mass of a structure, `K φ = ω² M φ`.
///
/// Both are real and symmetric with both triangles stored, rows ascending in each column. `M` may be
/// singular (degrees of freedom without mass), and so may `K` (free bodies); no motion may have
/// neither stiffness nor mass.
#[derive(Debug, Clone, Copy)]
pub struct MatrixPair<'a> {
    /// Stiffness, `(n, n)`.
    pub stiffness: &'a Sparse,
    /// Mass, `(n, n)`.
    pub mass: &'a Sparse,
    /// The point that each degree of freedom belongs to, as any label; those of one point are eliminated
    /// together, which makes the factor faster. Empty where each stands alone.
    pub group: &'a [usize],
}

impl<'a> MatrixPair<'a> {
    /// The pair of `stiffness` and `mass`, each degree of freedom for itself.
    #[must_use]
    pub fn new(stiffness: &'a Sparse, mass: &'a Sparse) -> MatrixPair<'a> {
        MatrixPair { stiffness, mass, group: &[] }
    }

    /// Number of degrees of freedom.
    #[must_use]
    pub fn dofs(&self) -> usize {
        self.stiffness.size()
    }

    /// Checks that sizes fit and that every entry is finite and has its equal across the diagonal.
    ///
    /// # Errors
    /// [`EigenFault::Empty`], [`EigenFault::Shape`], [`EigenFault::NotFinite`] or
    /// [`EigenFault::NotSymmetric`].
    pub fn check(&self) -> Result<(), EigenFault> {
        let n = self.dofs();
        if n == 0 {
            return Err(EigenFault::Empty);
        }
        if !self.group.is_empty() && self.group.len() != n {
            return Err(EigenFault::Shape { what: "the list of points", found: self.group.len(), needed: n });
        }
        symmetric("stiffness", self.stiffness, n)?;
        symmetric("mass", self.mass, n)
    }
}

/// Checks that `matrix` is `(n, n)`, finite, sorted and symmetric to rounding.
pub(super) fn symmetric(what: &'static str, matrix: &Sparse, n: usize) -> Result<(), EigenFault> {
    let matrix = matrix.as_faer();
    for found in [matrix.nrows(), matrix.ncols()] {
        if found != n {
            return Err(EigenFault::Shape { what, found, needed: n });
        }
    }
    let mut largest = 0.0_f64;
    for column in 0..n {
        let rows = matrix.symbolic().row_idx_of_col_raw(column);
        for (&row, &value) in rows.iter().zip(matrix.val_of_col(column)) {
            if !value.is_finite() {
                return Err(EigenFault::NotFinite { what, row, column, value });
            }
            largest = largest.max(value.abs());
        }
        if let Some(pair) = rows.windows(2).find(|pair| pair[0] >= pair[1]) {
            return Err(EigenFault::NotSymmetric { what, row: pair[1], column });
        }
    }
    // Columns are visited in ascending order, so the mirror entries of their lower entries are met in the
    // order in which each later column stores its upper entries.
    let mut met = vec![0; n];
    for column in 0..n {
        let rows = matrix.symbolic().row_idx_of_col_raw(column);
        let values = matrix.val_of_col(column);
        if let Some(&row) = rows.get(met[column]).filter(|row| **row < column) {
            return Err(EigenFault::NotSymmetric { what, row, column });
        }
        for (&row, &value) in rows.iter().zip(values).filter(|(row, _)| **row > column) {
            let equal = matrix.symbolic().row_idx_of_col_raw(row).get(met[row]).copied();
            let other = matrix.val_of_col(row).get(met[row]).copied().unwrap_or(f64::NAN);
            let close = (value - other).abs() <= 1e-9 * value.abs() + 1e-12 * largest;
            if equal != Some(column) || !close {
                return Err(EigenFault::NotSymmetric { what, row, column });
            }
            met[row] += 1;
        }
    }
    Ok(())
}

/// Checks that every entry is finite.
pub(super) fn finite(what: &'static str, matrix: MatRef<f64>) -> Result<(), EigenFault> {
    for column in 0..matrix.ncols() {
        if let Some(row) = matrix.col(column).iter().position(|value| !value.is_finite()) {
            return Err(EigenFault::NotFinite { what, row, column, value: matrix[(row, column)] });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn matrix(n: usize, entries: &[(usize, usize, f64)]) -> Sparse {
        Sparse::from_triplets(n, entries).unwrap()
    }

    #[test]
    fn a_good_pair_passes() {
        let k = matrix(3, &[(0, 0, 2.0), (0, 2, -1.0), (2, 0, -1.0), (2, 2, 2.0), (1, 1, 1.0)]);
        let m = matrix(3, &[(0, 0, 1.0)]);
        assert_eq!(MatrixPair { stiffness: &k, mass: &m, group: &[0, 1, 2] }.check(), Ok(()));
    }

    #[test]
    fn what_is_wrong_is_named_with_its_place() {
        let unit = matrix(2, &[(0, 0, 1.0), (1, 1, 1.0)]);
        let check =
            |k: &Sparse, m: &Sparse, group: &[usize]| MatrixPair { stiffness: k, mass: m, group }.check();
        let upper = matrix(2, &[(0, 0, 1.0), (0, 1, 1.0), (1, 1, 1.0)]);
        let lower = matrix(2, &[(0, 0, 1.0), (1, 0, 1.0), (1, 1, 1.0)]);
        let fault = |row, column| Err(EigenFault::NotSymmetric { what: "stiffness", row, column });
        assert_eq!(check(&upper, &unit, &[0, 0]), fault(0, 1));
        assert_eq!(check(&lower, &unit, &[0, 0]), fault(1, 0));
        let skew = matrix(2, &[(0, 0, 1.0), (0, 1, 1.0), (1, 0, -1.0), (1, 1, 1.0)]);
        assert_eq!(check(&skew, &unit, &[0, 0]), fault(1, 0));
        let nan = matrix(2, &[(0, 0, 1.0), (1, 1, f64::NAN)]);
        assert!(matches!(
            check(&unit, &nan, &[0, 0]),
            Err(EigenFault::NotFinite { what: "mass", row: 1, .. })
        ));
        assert!(matches!(check(&unit, &unit, &[0]), Err(EigenFault::Shape { found: 1, needed: 2, .. })));
        assert_eq!(check(&matrix(0, &[]), &matrix(0, &[]), &[]), Err(EigenFault::Empty));
    }
}
