//! Response without modes: the complex system itself, for checking peaks and for heavy damping.
//!
//! ```text
//! (K + i K_i - ω² M) (u + i v) = f + i g
//!
//! [  K   -K_i ]        [ M   0 ]   [ u ]   [  f ]
//! [ -K_i  -K  ] - ω² · [ 0  -M ] · [ v ] = [ -g ]
//! ```
//!
//! The doubled form is real and symmetric, so it has the same factor as the modes have, eight times faster
//! than a complex one without symmetry. Real and imaginary part of a freedom stay neighbours in the order.
//! Its residual decides whether the solution is refined, and whether it is given.

use super::factor::Factorisation;
use super::fault::EigenFault;
use super::pencil::{Pencil, finite, symmetric, times};
use super::symbolic::Symbolic;
use faer::sparse::{SparseColMat, SymbolicSparseColMat};
use faer::{Mat, MatRef, Scale, c64};
use std::sync::Arc;

/// Residual, relative to the right side, that a solution may have.
const RESIDUAL: f64 = 1e-9;

/// A structure made ready for harmonic solutions at any frequency.
#[derive(Debug)]
pub struct Direct {
    stiffness: SparseColMat<usize, f64>,
    mass: SparseColMat<usize, f64>,
    group: Vec<usize>,
    symbolic: Arc<Symbolic>,
}

impl Direct {
    /// Prepares `pencil` with the imaginary part `loss` of its stiffness, `(n, n)`, N/m.
    ///
    /// # Errors
    /// Those of [`Pencil::check`], of `loss` as well.
    pub fn new(pencil: &Pencil, loss: &SparseColMat<usize, f64>) -> Result<Direct, EigenFault> {
        pencil.check()?;
        symmetric("loss", loss, pencil.freedoms())?;
        Direct::doubled(pencil, loss, |pencil| Ok(Arc::new(Symbolic::of_checked(pencil)?)))
    }

    /// The same in the order of an earlier one of the same pattern, of matrices that are sound.
    pub(super) fn ordered(
        pencil: &Pencil,
        loss: &SparseColMat<usize, f64>,
        symbolic: &Arc<Symbolic>,
    ) -> Result<Direct, EigenFault> {
        Direct::doubled(pencil, loss, |_| Ok(Arc::clone(symbolic)))
    }

    fn doubled(
        pencil: &Pencil,
        loss: &SparseColMat<usize, f64>,
        symbolic: impl FnOnce(&Pencil) -> Result<Arc<Symbolic>, EigenFault>,
    ) -> Result<Direct, EigenFault> {
        let stiffness = doubled(pencil.stiffness, Some(loss));
        let mass = doubled(pencil.mass, None);
        let group = [pencil.group, pencil.group].concat();
        let symbolic = symbolic(&Pencil { stiffness: &stiffness, mass: &mass, group: &group })?;
        Ok(Direct { stiffness, mass, group, symbolic })
    }

    /// The order of elimination of the doubled form.
    pub(super) fn symbolic(&self) -> &Arc<Symbolic> {
        &self.symbolic
    }

    /// Memory in bytes that a solution takes.
    pub fn bytes(&self) -> usize {
        self.symbolic.factor_bytes()
    }

    /// Solves `(K + i K_i - ω² M) x = rhs`, `(n, columns)`, at `omega` in rad/s.
    ///
    /// # Errors
    /// [`EigenFault::Shape`], [`EigenFault::NotFinite`]; [`EigenFault::Singular`] at a resonance without
    /// damping.
    pub fn solve(&self, omega: f64, rhs: MatRef<c64>) -> Result<Mat<c64>, EigenFault> {
        let n = self.group.len() / 2;
        if rhs.nrows() != n {
            return Err(EigenFault::Shape { what: "the right side", found: rhs.nrows(), needed: n });
        }
        let pencil = Pencil { stiffness: &self.stiffness, mass: &self.mass, group: &self.group };
        let real =
            Mat::from_fn(2 * n, rhs.ncols(), |i, j| if i < n { rhs[(i, j)].re } else { -rhs[(i - n, j)].im });
        finite("the right side", real.as_ref())?;
        let shift = omega * omega;
        if !shift.is_finite() {
            return Err(EigenFault::NotFinite { what: "the frequency", row: 0, column: 0, value: omega });
        }
        let factor = Factorisation::new(&pencil, &self.symbolic, shift).map_err(|fault| match fault {
            EigenFault::Singular { freedom } => EigenFault::Singular { freedom: freedom % n },
            other => other,
        })?;
        let mut x = factor.solve(real.as_ref())?;
        let mut left = self.residual(shift, &x, &real);
        if off(&left, &real).is_some() {
            x += factor.solve(left.as_ref())?;
            left = self.residual(shift, &x, &real);
        }
        if let Some(j) = off(&left, &real) {
            let worst = (0..2 * n).max_by(|a, b| left[(*a, j)].abs().total_cmp(&left[(*b, j)].abs()));
            return Err(EigenFault::Singular { freedom: worst.unwrap_or(0) % n });
        }
        Ok(Mat::from_fn(n, rhs.ncols(), |i, j| c64::new(x[(i, j)], x[(n + i, j)])))
    }

    fn residual(&self, shift: f64, x: &Mat<f64>, rhs: &Mat<f64>) -> Mat<f64> {
        rhs - times(&self.stiffness, x.as_ref()) + Scale(shift) * times(&self.mass, x.as_ref())
    }
}

/// The first column of which too much is left.
fn off(left: &Mat<f64>, rhs: &Mat<f64>) -> Option<usize> {
    (0..rhs.ncols()).find(|j| {
        let (size, off) = (rhs.col(*j).norm_l2(), left.col(*j).norm_l2());
        off.is_nan() || off > RESIDUAL * size
    })
}

/// `[A, -B; -B, -A]`, B absent being zero.
fn doubled(a: &SparseColMat<usize, f64>, b: Option<&SparseColMat<usize, f64>>) -> SparseColMat<usize, f64> {
    let n = a.ncols();
    let (mut starts, mut rows, mut values) = (vec![0], Vec::new(), Vec::new());
    for half in 0..2 {
        for j in 0..n {
            let mut push = |matrix: &SparseColMat<usize, f64>, below: usize, sign: f64| {
                rows.extend(matrix.symbolic().row_idx_of_col_raw(j).iter().map(|i| i + below));
                values.extend(matrix.val_of_col(j).iter().map(|v| sign * v));
            };
            if half == 0 {
                push(a, 0, 1.0);
            }
            if let Some(b) = b {
                push(b, if half == 0 { n } else { 0 }, -1.0);
            }
            if half == 1 {
                push(a, n, -1.0);
            }
            starts.push(rows.len());
        }
    }
    SparseColMat::new(SymbolicSparseColMat::new_checked(2 * n, 2 * n, starts, None, rows), values)
}

#[cfg(test)]
mod tests {
    use super::super::lattice::beams;
    use super::*;

    #[test]
    fn solution_satisfies_the_complex_system() {
        let sample = beams(3, 3, 3, true);
        let pencil = Pencil { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let loss = Scale(0.02) * &sample.stiffness;
        let direct = Direct::new(&pencil, &loss).unwrap();
        let n = pencil.freedoms();
        let rhs = Mat::from_fn(n, 2, |i, j| c64::new(f64::from(u8::from(i == 7 + j)), (i as f64).sin()));
        let omega = 700.0;
        let x = direct.solve(omega, rhs.as_ref()).unwrap();
        let (k, m) = (sample.stiffness.to_dense(), sample.mass.to_dense());
        let z = Mat::from_fn(n, n, |i, j| c64::new(k[(i, j)] - omega * omega * m[(i, j)], 0.02 * k[(i, j)]));
        let left = &z * &x - &rhs;
        assert!(left.norm_l2() < 1e-8 * rhs.norm_l2());
    }

    #[test]
    fn bad_right_sides_are_refused() {
        let sample = beams(2, 2, 2, true);
        let pencil = Pencil { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let direct = Direct::new(&pencil, &sample.stiffness).unwrap();
        let short = Mat::<c64>::zeros(3, 1);
        assert!(matches!(direct.solve(1.0, short.as_ref()), Err(EigenFault::Shape { found: 3, .. })));
        let nan = Mat::from_fn(24, 1, |_, _| c64::new(f64::NAN, 0.0));
        assert!(matches!(direct.solve(1.0, nan.as_ref()), Err(EigenFault::NotFinite { .. })));
    }
}
