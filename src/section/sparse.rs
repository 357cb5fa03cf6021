//! The sparse equations of one body: their order, their factor, the space of their solutions.

use super::fault::SectionFault;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat};
use faer::{Conj, MatMut, Par, Side};

/// The elimination order of a matrix, of which the lower triangle is given.
///
/// # Errors
/// When memory does not suffice.
pub(super) fn ordered(
    pattern: &SymbolicSparseColMat<usize>,
) -> Result<SymbolicCholesky<usize>, SectionFault> {
    let refused = |e| SectionFault::new(format!("the section's equations cannot be ordered: {e:?}"));
    let parameters = CholeskySymbolicParams::default();
    factorize_symbolic_cholesky(pattern.as_ref(), Side::Lower, SymmetricOrdering::Amd, parameters)
        .map_err(refused)
}

/// The factor of a symmetric positive definite matrix.
pub(super) struct Solver<'a> {
    llt: LltRef<'a, usize, f64>,
    symbolic: &'a SymbolicCholesky<usize>,
    n: usize,
}

impl<'a> Solver<'a> {
    /// Factorises the matrix of these values into `factor`.
    ///
    /// # Errors
    /// When it is not positive definite.
    pub fn new(
        pattern: &'a SymbolicSparseColMat<usize>,
        symbolic: &'a SymbolicCholesky<usize>,
        values: &[f64],
        factor: &'a mut [f64],
    ) -> Result<Solver<'a>, SectionFault> {
        let refused = || SectionFault::new("the section's shear cannot be solved: a part has no stiffness");
        let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| refused())?;
        let llt = symbolic
            .factorize_numeric_llt(
                factor,
                SparseColMatRef::new(pattern.as_ref(), values),
                Side::Lower,
                Default::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                Default::default(),
            )
            .map_err(|_| refused())?;
        Ok(Solver { llt, symbolic, n: pattern.ncols() })
    }

    /// Solves for several right-hand sides.
    pub fn solve(&self, right: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let mut block: Vec<f64> = right.iter().flatten().copied().collect();
        let mut memory = MemBuffer::new(self.symbolic.solve_in_place_scratch::<f64>(right.len(), Par::Seq));
        let columns = MatMut::from_column_major_slice_mut(&mut block, self.n, right.len());
        self.llt.solve_in_place_with_conj(Conj::No, columns, Par::Seq, MemStack::new(&mut memory));
        block.chunks(self.n).map(<[f64]>::to_vec).collect()
    }
}

/// Vectors that are orthonormal in energy, each beside its load.
#[derive(Default)]
pub(super) struct Space {
    pub vectors: Vec<Vec<f64>>,
    loads: Vec<Vec<f64>>,
}

impl Space {
    /// Adds what is new in a vector, `v = A'^-1 r`.
    pub fn add(&mut self, mut v: Vec<f64>, mut r: Vec<f64>) {
        let before = dot(&v, &r);
        for _ in 0..2 {
            for (x, load) in self.vectors.iter().zip(&self.loads) {
                let share = dot(x, &r);
                v.iter_mut().zip(x).for_each(|(v, x)| *v -= share * x);
                r.iter_mut().zip(load).for_each(|(r, l)| *r -= share * l);
            }
        }
        let after = dot(&v, &r);
        if after > 1e-16 * before && after > 0.0 {
            let scale = 1.0 / after.sqrt();
            self.vectors.push(v.iter().map(|x| scale * x).collect());
            self.loads.push(r.iter().map(|x| scale * x).collect());
        }
    }
}

/// The scalar product.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_system_and_its_space() {
        // [[4, 1], [1, 3]] x = [1, 2] has x = [1/11, 7/11].
        let pattern = SymbolicSparseColMat::new_checked(2, 2, vec![0, 2, 3], None, vec![0, 1, 1]);
        let symbolic = ordered(&pattern).unwrap();
        let mut factor = vec![0.0; symbolic.len_val()];
        let solver = Solver::new(&pattern, &symbolic, &[4.0, 1.0, 3.0], &mut factor).unwrap();
        let x = solver.solve(&[vec![1.0, 2.0]]).remove(0);
        approx::assert_relative_eq!(x[0], 1.0 / 11.0, max_relative = 1e-14);
        approx::assert_relative_eq!(x[1], 7.0 / 11.0, max_relative = 1e-14);
        let mut space = Space::default();
        space.add(x.clone(), vec![1.0, 2.0]);
        space.add(x, vec![1.0, 2.0]);
        assert_eq!(space.vectors.len(), 1);
    }
}
