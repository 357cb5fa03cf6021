//! The factor of an indefinite system, with pivots chosen within each front.
//!
//! ```text
//! Q P (K - σ M) Pᵀ Qᵀ = L B Lᵀ
//! ```
//!
//! B has blocks of one or two rows, and Q moves rows only within a front, so that the structure of the
//! factor stays. Near a resonance of a structure with little loss, a single pivot of the doubled form
//! of [`super::harmonic`] is tiny beside the loss that couples real and imaginary part; a block of two
//! is as large as the loss.
//!
//! # Source
//! - `bunch1977`: choice of the pivots

use super::fault::EigenFault;
use super::pair::MatrixPair;
use super::symbolic::Symbolic;
use faer::dyn_stack::{MemBuffer, MemStack, StackReq};
use faer::perm::PermRef;
use faer::sparse::linalg::cholesky::supernodal::{
    SupernodalIntranodeLbltRef, factorize_supernodal_numeric_intranode_lblt,
    factorize_supernodal_numeric_intranode_lblt_scratch,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, Mat, MatRef, Par, Spec};
use std::sync::Arc;

/// Factor of `K - σ M` for solutions only.
pub(super) struct Pivoted {
    symbolic: Arc<Symbolic>,
    values: Vec<f64>,
    subdiagonal: Vec<f64>,
    /// By row of the factor: its row in the elimination order; then the inverse.
    moved: [Vec<usize>; 2],
}

impl Pivoted {
    /// Factors `K - shift M` of `pair` in the order of `symbolic`.
    ///
    /// # Errors
    /// [`EigenFault::OtherPattern`], [`EigenFault::TooLarge`].
    pub fn new(pair: &MatrixPair, symbolic: &Arc<Symbolic>, shift: f64) -> Result<Pivoted, EigenFault> {
        let (stiffness, mass) = symbolic.gather(pair)?;
        let shifted: Vec<f64> = stiffness.iter().zip(&mass).map(|(k, m)| k - shift * m).collect();
        let (n, lower, shape) = (symbolic.order.len(), &symbolic.lower, &symbolic.cholesky);
        let pattern = SymbolicSparseColMatRef::new_checked(n, n, &lower.starts, None, &lower.rows);
        let need = factorize_supernodal_numeric_intranode_lblt_scratch::<usize, f64>(
            shape,
            Par::Seq,
            Spec::default(),
        );
        let mut memory = memory(symbolic, need)?;
        let mut values = Vec::new();
        values.try_reserve_exact(shape.len_val()).map_err(|_| too_large(symbolic))?;
        values.resize(shape.len_val(), 0.0);
        let mut subdiagonal = vec![0.0; n];
        let mut moved = [vec![0; n], vec![0; n]];
        let [forward, inverse] = &mut moved;
        factorize_supernodal_numeric_intranode_lblt(
            &mut values,
            &mut subdiagonal,
            forward,
            inverse,
            SparseColMatRef::new(pattern, &shifted),
            shape,
            Par::Seq,
            MemStack::new(&mut memory),
            Spec::default(),
        );
        Ok(Pivoted { symbolic: Arc::clone(symbolic), values, subdiagonal, moved })
    }

    /// Solves `(K - σ M) x = rhs`, `(n, columns)`, degrees of freedom in the order of the matrix pair. Where
    /// the matrix is singular the solution is not finite, or has a large residual.
    ///
    /// # Errors
    /// [`EigenFault::TooLarge`].
    pub fn solve(&self, rhs: MatRef<f64>) -> Result<Mat<f64>, EigenFault> {
        let (order, shape) = (&self.symbolic.order, &self.symbolic.cholesky);
        let [forward, inverse] = &self.moved;
        let moved = PermRef::new_checked(forward, inverse, order.len());
        let factor = SupernodalIntranodeLbltRef::new(shape, &self.values, &self.subdiagonal, moved);
        let mut x = Mat::from_fn(rhs.nrows(), rhs.ncols(), |i, j| rhs[(order[forward[i]], j)]);
        let mut memory = memory(&self.symbolic, shape.solve_in_place_scratch::<f64>(rhs.ncols(), Par::Seq))?;
        factor.solve_in_place_no_numeric_permute_with_conj(
            Conj::No,
            x.as_mut(),
            Par::Seq,
            MemStack::new(&mut memory),
        );
        let mut solution = Mat::zeros(rhs.nrows(), rhs.ncols());
        for (i, row) in forward.iter().enumerate() {
            (0..rhs.ncols()).for_each(|j| solution[(order[*row], j)] = x[(i, j)]);
        }
        Ok(solution)
    }
}

fn memory(symbolic: &Symbolic, need: StackReq) -> Result<MemBuffer, EigenFault> {
    MemBuffer::try_new(need).map_err(|_| too_large(symbolic))
}

fn too_large(symbolic: &Symbolic) -> EigenFault {
    EigenFault::TooLarge { needed: symbolic.factor_bytes(), allowed: symbolic.factor_bytes() }
}

#[cfg(test)]
mod tests {
    use super::super::lattice::beams;
    use super::super::sparse::times;
    use super::*;
    use faer::Scale;

    #[test]
    fn solutions_satisfy_an_indefinite_system() {
        let sample = beams(3, 3, 3, true);
        let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        let n = pair.dofs();
        let rhs = Mat::from_fn(n, 3, |i, j| ((7 * i + 3 * j) as f64).sin());
        for shift in [0.0, 1e5, 3e6] {
            let x = Pivoted::new(&pair, &symbolic, shift).unwrap().solve(rhs.as_ref()).unwrap();
            let (k, m) = (sample.stiffness.as_faer(), sample.mass.as_faer());
            let left = &rhs - times(k, x.as_ref()) + Scale(shift) * times(m, x.as_ref());
            assert!(left.norm_l2() < 1e-8 * rhs.norm_l2(), "{shift}: {:e}", left.norm_l2());
        }
    }
}
