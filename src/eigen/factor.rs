//! The factor of `K - σ M`, for solutions with many columns and for counting modes.
//!
//! ```text
//! P (K - σ M) Pᵀ = L D Lᵀ
//! ```
//!
//! By Sylvester's law of inertia the number of negative pivots in D is the number of ω² below σ; this count
//! proves a list of modes complete. There is no pivoting: the caller keeps the shift off the modes, and tests
//! the factor with a solution that is known.
//!
//! # Source
//! - `parlett1998`: section 3.3, slicing the spectrum by inertia

use super::fault::EigenFault;
use super::kernel::{BLOCK, Lane, pack, solve_lower, solve_upper};
use super::pair::{MatrixPair, finite};
use super::symbolic::Symbolic;
use super::vectors::Vectors;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::ldlt::factor::{LdltError, LdltRegularization};
use faer::linalg::triangular_solve::{solve_lower_triangular_in_place, solve_upper_triangular_in_place};
use faer::sparse::linalg::cholesky::supernodal::{
    SupernodalLdltRef, factorize_supernodal_numeric_ldlt, factorize_supernodal_numeric_ldlt_scratch,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Mat, MatRef, Par, Spec};
use rayon::prelude::*;
use std::sync::Arc;

/// From this many entries on all threads work on one factor; smaller ones are solved side by side.
const SHARED: usize = 4_000_000;

/// Smallest pivot, relative to the diagonal it came from, that is distinguished from rounding.
const LEAST_PIVOT: f64 = 1e-13;

/// Factor of `K - σ M`.
///
/// ```
/// use std::sync::Arc;
/// use stillbed_eigen::{Factorisation, MatrixPair, Sparse, Symbolic, Vectors};
///
/// // Two masses of 1 kg on two springs of 1 N/m in a row: ω² = (3 ∓ √5) / 2 = 0.38 and 2.62.
/// let stiffness = Sparse::from_lower(2, &[(0, 0, 2.0), (1, 0, -1.0), (1, 1, 1.0)])?;
/// let mass = Sparse::from_lower(2, &[(0, 0, 1.0), (1, 1, 1.0)])?;
/// let pair = MatrixPair::new(&stiffness, &mass);
/// let symbolic = Arc::new(Symbolic::analyse(&pair)?);
/// assert_eq!(Factorisation::compute(&pair, &symbolic, 1.0)?.below(), 1);
/// // At rest, 1 N on the second mass stretches both springs by 1 m.
/// let motion = Factorisation::compute(&pair, &symbolic, 0.0)?.solve(&Vectors::single(&[0.0, 1.0]))?;
/// assert!((motion[(1, 0)] - 2.0).abs() < 1e-12);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
#[derive(Debug, Clone)]
pub struct Factorisation {
    shift: f64,
    kind: Kind,
}

#[derive(Debug, Clone)]
enum Kind {
    Sparse(SparseFactor),
    /// L of a positive definite `L Lᵀ`.
    Dense(Mat<f64>),
}

/// The supernodal factor, in the elimination order.
#[derive(Debug, Clone)]
pub(super) struct SparseFactor {
    shift: f64,
    symbolic: Arc<Symbolic>,
    /// L, packed.
    values: Vec<f64>,
    pivots: Vec<f64>,
}

impl Factorisation {
    /// Factors `K - shift M`, shift in (rad/s)²; 0 for static solutions of a held structure.
    ///
    /// # Errors
    /// [`EigenFault::OtherPattern`] when `symbolic` was made for another pattern, [`EigenFault::TooLarge`]
    /// when the memory cannot be had, [`EigenFault::NotFinite`], [`EigenFault::Singular`] when a pivot
    /// vanishes: the structure is not held, or the shift is a mode.
    pub fn compute(
        pair: &MatrixPair,
        symbolic: &Arc<Symbolic>,
        shift: f64,
    ) -> Result<Factorisation, EigenFault> {
        let (stiffness, mass) = symbolic.gather(pair)?;
        Ok(Factorisation::sparse(SparseFactor::new(symbolic, &stiffness, &mass, shift, Vec::new())?))
    }

    pub(super) fn sparse(factor: SparseFactor) -> Factorisation {
        Factorisation { shift: factor.shift, kind: Kind::Sparse(factor) }
    }

    pub(super) fn dense(shift: f64, cholesky: Mat<f64>) -> Factorisation {
        Factorisation { shift, kind: Kind::Dense(cholesky) }
    }

    /// The memory of a sparse factor, to be reused.
    pub(super) fn into_values(self) -> Vec<f64> {
        match self.kind {
            Kind::Sparse(factor) => factor.into_values(),
            Kind::Dense(_) => Vec::new(),
        }
    }

    /// The shift σ, (rad/s)².
    pub fn shift(&self) -> f64 {
        self.shift
    }

    /// The elimination order of a sparse factor.
    pub fn symbolic(&self) -> Option<&Arc<Symbolic>> {
        match &self.kind {
            Kind::Sparse(factor) => Some(&factor.symbolic),
            Kind::Dense(_) => None,
        }
    }

    /// Number of degrees of freedom.
    pub fn dofs(&self) -> usize {
        match &self.kind {
            Kind::Sparse(factor) => factor.pivots.len(),
            Kind::Dense(cholesky) => cholesky.nrows(),
        }
    }

    /// The number of eigenvalues ω² below the shift.
    pub fn below(&self) -> usize {
        match &self.kind {
            Kind::Sparse(factor) => factor.below(),
            Kind::Dense(_) => 0,
        }
    }

    /// Solves `(K - σ M) x = rhs`, `(n, columns)`, degrees of freedom in the order of the matrix pair.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] when the rows of `rhs` do not fit, [`EigenFault::NotFinite`].
    pub fn solve(&self, rhs: &Vectors) -> Result<Vectors, EigenFault> {
        self.solve_faer(rhs.as_faer().as_ref()).map(Vectors::from)
    }

    pub(super) fn as_sparse(&self) -> Option<&SparseFactor> {
        match &self.kind {
            Kind::Sparse(factor) => Some(factor),
            Kind::Dense(_) => None,
        }
    }

    pub(super) fn solve_faer(&self, rhs: MatRef<f64>) -> Result<Mat<f64>, EigenFault> {
        if rhs.nrows() != self.dofs() {
            let (found, needed) = (rhs.nrows(), self.dofs());
            return Err(EigenFault::Shape { what: "the right side", found, needed });
        }
        finite("the right side", rhs)?;
        Ok(match &self.kind {
            Kind::Sparse(factor) => {
                let symbolic = &factor.symbolic;
                by_blocks(rhs, &symbolic.order, threads(symbolic), |lanes| factor.solve(lanes))
            }
            Kind::Dense(cholesky) => {
                let mut x = rhs.to_owned();
                solve_lower_triangular_in_place(cholesky.as_ref(), x.as_mut(), Par::Seq);
                solve_upper_triangular_in_place(cholesky.transpose(), x.as_mut(), Par::Seq);
                x
            }
        })
    }
}

impl SparseFactor {
    /// Factors `K - shift M` from the values of both lower triangles, into the memory of `values`.
    pub fn new(
        symbolic: &Arc<Symbolic>,
        stiffness: &[f64],
        mass: &[f64],
        shift: f64,
        values: Vec<f64>,
    ) -> Result<SparseFactor, EigenFault> {
        let shifted: Vec<f64> = stiffness.iter().zip(mass).map(|(k, m)| k - shift * m).collect();
        SparseFactor::of(symbolic, &shifted, shift, values)
    }

    /// The same from the values of `K - shift M`.
    pub fn of(
        symbolic: &Arc<Symbolic>,
        shifted: &[f64],
        shift: f64,
        mut values: Vec<f64>,
    ) -> Result<SparseFactor, EigenFault> {
        let n = symbolic.order.len();
        let lower = &symbolic.lower;
        if let Some(slot) = shifted.iter().position(|value| !value.is_finite()) {
            let column = lower.starts.partition_point(|start| *start <= slot) - 1;
            let (row, column) = (symbolic.order[lower.rows[slot]], symbolic.order[column]);
            return Err(EigenFault::NotFinite {
                what: "stiffness or mass",
                row,
                column,
                value: shifted[slot],
            });
        }
        let pattern = SymbolicSparseColMatRef::new_checked(n, n, &lower.starts, None, &lower.rows);
        let too_large =
            |_| EigenFault::TooLarge { needed: symbolic.factor_bytes(), allowed: symbolic.factor_bytes() };
        let need = factorize_supernodal_numeric_ldlt_scratch::<usize, f64>(
            &symbolic.cholesky,
            threads(symbolic),
            Spec::default(),
        );
        let mut memory = MemBuffer::try_new(need).map_err(too_large)?;
        let length = symbolic.cholesky.len_val();
        if values.len() != length {
            // Tested first, because an allocation that fails would end the program.
            values = Vec::new();
            if values.try_reserve_exact(length).is_err() {
                return Err(EigenFault::TooLarge { needed: symbolic.factor_bytes(), allowed: 0 });
            }
            drop(values);
            values = vec![0.0; length];
        }
        factorize_supernodal_numeric_ldlt(
            &mut values,
            SparseColMatRef::new(pattern, shifted),
            LdltRegularization::default(),
            &symbolic.cholesky,
            threads(symbolic),
            MemStack::new(&mut memory),
            Spec::default(),
        )
        .map_err(|LdltError::ZeroPivot { index }| EigenFault::Singular { dof: symbolic.order[index] })?;
        let pivots = pivots(symbolic, &values);
        for (place, &pivot) in pivots.iter().enumerate() {
            let diagonal = shifted[lower.starts[place]].abs();
            if pivot.is_nan() || pivot.abs() <= LEAST_PIVOT * diagonal {
                return Err(EigenFault::Singular { dof: symbolic.order[place] });
            }
        }
        pack(&symbolic.cholesky, &mut values);
        Ok(SparseFactor { shift, symbolic: Arc::clone(symbolic), values, pivots })
    }

    /// The shift σ.
    pub fn shift(&self) -> f64 {
        self.shift
    }

    /// The memory of the factor, to be reused.
    pub fn symbolic(&self) -> &Arc<Symbolic> {
        &self.symbolic
    }

    pub fn into_values(self) -> Vec<f64> {
        self.values
    }

    /// The number of negative pivots.
    pub fn below(&self) -> usize {
        self.pivots.iter().filter(|pivot| **pivot < 0.0).count()
    }

    /// A degree of freedom with a negative pivot, if any.
    pub fn negative(&self) -> Option<usize> {
        self.pivots.iter().position(|pivot| *pivot < 0.0).map(|place| self.symbolic.order[place])
    }

    /// `L⁻ᵀ D⁻¹ L⁻¹ x` in place.
    pub fn solve(&self, x: &mut [Lane]) {
        solve_lower(&self.symbolic.cholesky, &self.values, x);
        for (lane, pivot) in x.iter_mut().zip(&self.pivots) {
            *lane = lane.map(|v| v / pivot);
        }
        solve_upper(&self.symbolic.cholesky, &self.values, x);
    }

    /// `D^(-1/2) L⁻¹ x` in place, for a positive definite factor.
    pub fn half_solve(&self, x: &mut [Lane]) {
        solve_lower(&self.symbolic.cholesky, &self.values, x);
        self.scale(x);
    }

    /// `L⁻ᵀ D^(-1/2) x` in place, for a positive definite factor.
    pub fn half_solve_transposed(&self, x: &mut [Lane]) {
        self.scale(x);
        solve_upper(&self.symbolic.cholesky, &self.values, x);
    }

    fn scale(&self, x: &mut [Lane]) {
        for (lane, pivot) in x.iter_mut().zip(&self.pivots) {
            let root = pivot.sqrt();
            *lane = lane.map(|v| v / root);
        }
    }
}

/// Who works on one factor.
fn threads(symbolic: &Symbolic) -> Par {
    if symbolic.cholesky.len_val() < SHARED { Par::Seq } else { Par::rayon(0) }
}

/// Applies `act` to the columns of `rhs`, a block at a time, with the rows put into `order` and back.
fn by_blocks(rhs: MatRef<f64>, order: &[usize], threads: Par, act: impl Fn(&mut [Lane]) + Sync) -> Mat<f64> {
    let mut result = Mat::zeros(rhs.nrows(), rhs.ncols());
    let solved = |first: usize| {
        let width = BLOCK.min(rhs.ncols() - first);
        let mut lanes: Vec<Lane> = order
            .iter()
            .map(|&dof| std::array::from_fn(|c| if c < width { rhs[(dof, first + c)] } else { 0.0 }))
            .collect();
        act(&mut lanes);
        (first, width, lanes)
    };
    let mut put = |(first, width, lanes): (usize, usize, Vec<Lane>)| {
        for (lane, &dof) in lanes.iter().zip(order) {
            for c in 0..width {
                result[(dof, first + c)] = lane[c];
            }
        }
    };
    let mut blocks = (0..rhs.ncols()).step_by(BLOCK);
    match threads {
        Par::Seq => blocks.for_each(|first| put(solved(first))),
        Par::Rayon(_) => loop {
            let some: Vec<usize> = blocks.by_ref().take(rayon::current_num_threads()).collect();
            if some.is_empty() {
                break;
            }
            some.into_par_iter().map(solved).collect::<Vec<_>>().into_iter().for_each(&mut put);
        },
    }
    result
}

fn pivots(symbolic: &Symbolic, values: &[f64]) -> Vec<f64> {
    let factor = SupernodalLdltRef::new(&symbolic.cholesky, values);
    let mut pivots = Vec::with_capacity(symbolic.order.len());
    for s in 0..symbolic.cholesky.n_supernodes() {
        let node = factor.supernode(s).val();
        pivots.extend((0..node.ncols()).map(|j| node[(j, j)]));
    }
    pivots
}
