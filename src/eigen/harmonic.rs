//! Harmonic solution without modes: the complex system itself, for checking peaks and for heavy damping.
//!
//! ```text
//! (K + i K_i - ω² M) (u + i v) = f + i g
//!
//! [  K   -K_i ]        [ M   0 ]   [ u ]   [  f ]
//! [ -K_i  -K  ] - ω² · [ 0  -M ] · [ v ] = [ -g ]
//! ```
//!
//! The doubled form is real and symmetric, so it is factored like the matrix pair of the modes, eight times
//! faster than a complex matrix without symmetry. Real and imaginary part of a degree of freedom stay
//! neighbours in the elimination order.
//!
//! A solution is judged by its backward error ε: it solves exactly a system whose entries
//! differ by a fraction ε,
//!
//! ```text
//! ε = ‖D r‖ / ‖D (|A| |x| + |b|)‖,   r = b - A x,   D = diag(|A|)^(-1/2)
//! ```
//!
//! D puts forces and moments on one scale. Near a resonance of a structure with little loss the motion is
//! large, and r is small against |A| |x| without being small against b. Such a solution is right for a
//! structure that differs by ε, and no structure is known as closely.
//!
//! # Source
//! - `oettli1964`: backward error of a solution, by entries

use super::factor::Factorisation;
use super::fault::EigenFault;
use super::pair::{MatrixPair, finite, symmetric};
use super::pivoted::Pivoted;
use super::sparse::{Sparse, times};
use super::symbolic::Symbolic;
use super::vectors::Vectors;
use faer::sparse::{SparseColMat, SymbolicSparseColMat};
use faer::{Mat, MatRef, Scale};
use num_complex::Complex64;
use std::sync::Arc;

/// Largest backward error of a solution.
const BACKWARD: f64 = 1e-9;

/// Backward error above which a solution is refined.
const REFINED: f64 = 1e-13;

/// Largest number of refinement rounds.
const ROUNDS: usize = 4;

/// A structure ready for harmonic solutions at any frequency.
///
/// ```
/// use num_complex::Complex64;
/// use stillbed_eigen::{HarmonicSolver, MatrixPair, Sparse, Vectors};
///
/// // 1 kg on 1 N/m with a loss factor of 0.1, under 1 N at its resonance: it moves by 1 / (0.1 i) m.
/// let stiffness = Sparse::from_lower(1, &[(0, 0, 1.0)])?;
/// let mass = Sparse::from_lower(1, &[(0, 0, 1.0)])?;
/// let solver = HarmonicSolver::prepare(&MatrixPair::new(&stiffness, &mass), &stiffness.scaled(0.1))?;
/// let motion = solver.solve(1.0, &Vectors::single(&[Complex64::ONE]))?;
/// assert!((motion[(0, 0)] - Complex64::new(0.0, -10.0)).norm() < 1e-9);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
#[derive(Debug)]
pub struct HarmonicSolver {
    stiffness: Sparse,
    mass: Sparse,
    group: Vec<usize>,
    symbolic: Arc<Symbolic>,
}

impl HarmonicSolver {
    /// Prepares `pair` with the imaginary part `loss` of its stiffness, `(n, n)`, N/m.
    ///
    /// # Errors
    /// Those of [`MatrixPair::check`], also for `loss`.
    pub fn prepare(pair: &MatrixPair, loss: &Sparse) -> Result<HarmonicSolver, EigenFault> {
        pair.check()?;
        symmetric("loss", loss, pair.dofs())?;
        let stiffness = doubled(pair.stiffness, Some(loss));
        let mass = doubled(pair.mass, None);
        let group: Vec<usize> = match pair.group.is_empty() {
            true => (0..pair.dofs()).chain(0..pair.dofs()).collect(),
            false => [pair.group, pair.group].concat(),
        };
        let doubled = MatrixPair { stiffness: &stiffness, mass: &mass, group: &group };
        let symbolic = Arc::new(Symbolic::analyse_checked(&doubled)?);
        Ok(HarmonicSolver { stiffness, mass, group, symbolic })
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
    pub fn solve(&self, omega: f64, rhs: &Vectors<Complex64>) -> Result<Vectors<Complex64>, EigenFault> {
        let n = self.group.len() / 2;
        if rhs.rows() != n {
            return Err(EigenFault::Shape { what: "the right side", found: rhs.rows(), needed: n });
        }
        let pair = MatrixPair { stiffness: &self.stiffness, mass: &self.mass, group: &self.group };
        let real =
            Mat::from_fn(2 * n, rhs.count(), |i, j| if i < n { rhs[(i, j)].re } else { -rhs[(i - n, j)].im });
        finite("the right side", real.as_ref())?;
        let shift = omega * omega;
        if !shift.is_finite() {
            return Err(EigenFault::NotFinite { what: "the frequency", row: 0, column: 0, value: omega });
        }
        let factor = Factor::new(&pair, &self.symbolic, shift).map_err(|fault| match fault {
            EigenFault::Singular { dof } => EigenFault::Singular { dof: dof % n },
            other => other,
        })?;
        let mut x = factor.solve(real.as_ref())?;
        let (mut left, mut error) = self.left(shift, &x, &real);
        for _ in 0..ROUNDS {
            if error.iter().all(|e| *e <= REFINED) {
                break;
            }
            let better = &x + factor.solve(left.as_ref())?;
            let (next, after) = self.left(shift, &better, &real);
            // Stops where rounding leaves nothing to gain.
            let (before, now) = (worst(&error).1, worst(&after).1);
            if now.is_nan() || now >= before {
                break;
            }
            (x, left, error) = (better, next, after);
        }
        let (column, most) = worst(&error);
        if most.is_nan() || most > BACKWARD {
            let row = (0..2 * n).max_by(|a, b| left[(*a, column)].abs().total_cmp(&left[(*b, column)].abs()));
            return Err(EigenFault::Singular { dof: row.unwrap_or(0) % n });
        }
        Ok(Vectors::from_fn(n, rhs.count(), |i, j| Complex64::new(x[(i, j)], x[(n + i, j)])))
    }

    /// The residual that `x` leaves of `rhs`, and its backward error by column.
    fn left(&self, shift: f64, x: &Mat<f64>, rhs: &Mat<f64>) -> (Mat<f64>, Vec<f64>) {
        let mut left = rhs - times(self.stiffness.as_faer(), x.as_ref());
        if shift != 0.0 {
            left += Scale(shift) * times(self.mass.as_faer(), x.as_ref());
        }
        let mut sizes = Mat::from_fn(rhs.nrows(), rhs.ncols(), |i, j| rhs[(i, j)].abs());
        let mut diagonal = vec![0.0; rhs.nrows()];
        for (matrix, factor) in
            [(&self.stiffness, 1.0), (&self.mass, shift)].into_iter().filter(|m| m.1 != 0.0)
        {
            let matrix = matrix.as_faer();
            for column in 0..matrix.ncols() {
                let rows = matrix.symbolic().row_idx_of_col_raw(column);
                for (row, value) in rows.iter().zip(matrix.val_of_col(column)) {
                    let size = (factor * value).abs();
                    if *row == column {
                        diagonal[column] += size;
                    }
                    (0..x.ncols()).for_each(|j| sizes[(*row, j)] += size * x[(column, j)].abs());
                }
            }
        }
        let norm = |m: &Mat<f64>, j: usize| {
            let own = |(i, d): (usize, &f64)| if *d > 0.0 { m[(i, j)].powi(2) / d } else { 0.0 };
            diagonal.iter().enumerate().map(own).sum::<f64>().sqrt()
        };
        let error = |j: usize| match norm(&left, j) {
            0.0 => 0.0,
            off => off / norm(&sizes, j),
        };
        let errors = (0..rhs.ncols()).map(error).collect();
        (left, errors)
    }
}

/// The factor of the doubled form. The static one needs no pivoting: K is positive definite, and -K
/// below it negative definite.
enum Factor {
    Plain(Factorisation),
    Pivoted(Pivoted),
}

impl Factor {
    fn new(pair: &MatrixPair, symbolic: &Arc<Symbolic>, shift: f64) -> Result<Factor, EigenFault> {
        Ok(match shift {
            0.0 => Factor::Plain(Factorisation::compute(pair, symbolic, shift)?),
            _ => Factor::Pivoted(Pivoted::new(pair, symbolic, shift)?),
        })
    }

    fn solve(&self, rhs: MatRef<f64>) -> Result<Mat<f64>, EigenFault> {
        match self {
            Factor::Plain(factor) => factor.solve_faer(rhs),
            Factor::Pivoted(factor) => factor.solve(rhs),
        }
    }
}

/// The column of the largest error, and that error; NaN counts as the largest.
fn worst(errors: &[f64]) -> (usize, f64) {
    let size = |error: f64| if error.is_nan() { f64::INFINITY } else { error };
    errors.iter().map(|e| size(*e)).enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0))
}

/// `[A, -B; -B, -A]`; an absent B is zero.
fn doubled(a: &Sparse, b: Option<&Sparse>) -> Sparse {
    let (a, b) = (a.as_faer(), b.map(Sparse::as_faer));
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
    SparseColMat::new(SymbolicSparseColMat::new_checked(2 * n, 2 * n, starts, None, rows), values).into()
}

#[cfg(test)]
mod tests {
    use super::super::lattice::beams;
    use super::*;

    #[test]
    fn solution_satisfies_the_complex_system() {
        let sample = beams(3, 3, 3, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let loss = sample.stiffness.scaled(0.02);
        let direct = HarmonicSolver::prepare(&pair, &loss).unwrap();
        let n = pair.dofs();
        let rhs =
            Vectors::from_fn(n, 2, |i, j| Complex64::new(f64::from(u8::from(i == 7 + j)), (i as f64).sin()));
        let omega = 700.0;
        let x = direct.solve(omega, &rhs).unwrap();
        let (k, m) = (&sample.stiffness, &sample.mass);
        let z = Mat::from_fn(n, n, |i, j| {
            Complex64::new(k.get(i, j) - omega * omega * m.get(i, j), 0.02 * k.get(i, j))
        });
        let left = &z * x.as_faer() - rhs.as_faer();
        assert!(left.norm_l2() < 1e-8 * rhs.as_faer().norm_l2());
    }

    /// Two masses on two springs, 1 N/m and 1 kg each, with the loss factor `loss`.
    fn chain(loss: f64) -> HarmonicSolver {
        let matrix = |entries: [f64; 4]| {
            let at = [(0, 0), (1, 0), (0, 1), (1, 1)].into_iter().zip(entries);
            let triplets: Vec<_> = at.map(|((i, j), v)| (i, j, v)).collect();
            Sparse::from_triplets(2, &triplets).unwrap()
        };
        let (stiffness, mass) = (matrix([2.0, -1.0, -1.0, 1.0]), matrix([1.0, 0.0, 0.0, 1.0]));
        let pair = MatrixPair { stiffness: &stiffness, mass: &mass, group: &[0, 1] };
        HarmonicSolver::prepare(&pair, &stiffness.scaled(loss)).unwrap()
    }

    /// At a resonance of loss factor η, rounding in ω² shows 1 / η times larger.
    #[test]
    fn a_resonance_that_hardly_loses_energy_is_answered() {
        let square = (3.0 - 5f64.sqrt()) / 2.0;
        // Participation of the second mass in the first mode; the second has ω² = 1 / square.
        let part = (5.0 + 5f64.sqrt()) / 10.0;
        let load = Vectors::single(&[Complex64::ZERO, Complex64::ONE]);
        for loss in [1e-1, 1e-4, 1e-8, 1e-10] {
            let seen = chain(loss).solve(square.sqrt(), &load).unwrap()[(1, 0)];
            let other = Complex64::new(1.0 / square - square, loss / square);
            let exact = Complex64::new(part, 0.0) / Complex64::new(0.0, loss * square)
                + Complex64::new(1.0 - part, 0.0) / other;
            assert!(
                (seen - exact).norm() < 1e-14 / loss.min(1e-2) * exact.norm(),
                "{loss}: {seen} of {exact}"
            );
        }
    }

    /// A solution that is off by a fraction ε has a backward error of at most about ε.
    #[test]
    fn the_backward_error_is_a_part_of_the_entries() {
        let direct = chain(1e-3);
        let rhs = Mat::from_fn(4, 1, |i, _| if i == 1 { 1.0 } else { 0.0 });
        // In the static case each spring of 1 N/m stretches by 1 m, less the loss squared.
        for (off, least, most) in [(0.0, 0.0, 2e-6), (1e-2, 1e-3, 1e-2), (1.0, 0.1, 1.0)] {
            let x = Mat::from_fn(4, 1, |i, _| [1.0 + off, 2.0, -1e-3, -2e-3][i]);
            let (left, error) = direct.left(0.0, &x, &rhs);
            assert!(
                (left[(0, 0)] + 2.0 * off).abs() < 2e-6 && (least..=most).contains(&error[0]),
                "{error:?}"
            );
        }
    }

    #[test]
    fn bad_right_sides_are_refused() {
        let sample = beams(2, 2, 2, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let direct = HarmonicSolver::prepare(&pair, &sample.stiffness).unwrap();
        let short = Vectors::single(&[Complex64::ZERO; 3]);
        assert!(matches!(direct.solve(1.0, &short), Err(EigenFault::Shape { found: 3, .. })));
        let nan = Vectors::single(&[Complex64::from(f64::NAN); 24]);
        assert!(matches!(direct.solve(1.0, &nan), Err(EigenFault::NotFinite { .. })));
    }
}
