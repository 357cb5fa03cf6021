//! Matrices kept in the order in which they are eliminated: a pair for a factor and the shapes sought with it, and one
//! stiffness that is factored several times, each time with other degrees of freedom held.

use super::eigen::{DENSE_UP_TO, lowest_unchecked};
use super::factor::{Factorisation, SparseFactor};
use super::fault::EigenFault;
use super::kernel::BLOCK;
use super::pair::MatrixPair;
use super::pairs::Settings;
use super::search::{capacity, sparse_approximate};
use super::sparse::Sparse;
use super::symbolic::Symbolic;
use super::vectors::Vectors;
use std::sync::{Arc, Mutex, PoisonError};

/// A matrix pair in the order in which it is eliminated, which takes less memory than both triangles do.
///
/// ```
/// use stillbed_eigen::{GatheredPair, Sparse};
///
/// // Two masses of 1 kg on two springs of 1 N/m in a row.
/// let stiffness = Sparse::from_lower(2, &[(0, 0, 2.0), (1, 0, -1.0), (1, 1, 1.0)])?;
/// let mut pair = GatheredPair::new(&stiffness, &[])?;
/// pair.set_mass(&Sparse::from_lower(2, &[(0, 0, 1.0), (1, 1, 1.0)])?)?;
/// assert_eq!(pair.factor(1.0)?.below(), 1);
/// // The same with springs ten times as stiff.
/// pair.set_stiffness(&Sparse::from_lower(2, &[(0, 0, 20.0), (1, 0, -10.0), (1, 1, 10.0)])?)?;
/// assert_eq!(pair.factor(1.0)?.below(), 0);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
#[derive(Debug, Clone)]
pub struct GatheredPair {
    symbolic: Arc<Symbolic>,
    /// Lower triangles; without a mass, none of it.
    stiffness: Vec<f64>,
    mass: Vec<f64>,
}

impl GatheredPair {
    /// Gathers `stiffness`, whose degrees of freedom belong to the points `group` as those of [`MatrixPair::group`], without
    /// a mass. It is not needed any more then, nor is what is set later once that is set.
    ///
    /// # Errors
    /// Those of [`Symbolic::analyse`].
    pub fn new(stiffness: &Sparse, group: &[usize]) -> Result<GatheredPair, EigenFault> {
        let HeldStiffness { symbolic, values, .. } = HeldStiffness::new(stiffness, group)?;
        Ok(GatheredPair { symbolic, stiffness: values, mass: Vec::new() })
    }

    /// Sets the mass.
    ///
    /// # Errors
    /// [`EigenFault::OtherPattern`] when it has entries where the stiffness has none.
    pub fn set_mass(&mut self, mass: &Sparse) -> Result<(), EigenFault> {
        self.mass = self.symbolic.gather_within(mass).ok_or(EigenFault::OtherPattern)?;
        Ok(())
    }

    /// Sets another stiffness with the entries of the first.
    ///
    /// # Errors
    /// [`EigenFault::OtherPattern`] when it has others.
    pub fn set_stiffness(&mut self, stiffness: &Sparse) -> Result<(), EigenFault> {
        // What is there goes first.
        self.stiffness = Vec::new();
        self.stiffness = self.symbolic.gather_within(stiffness).ok_or(EigenFault::OtherPattern)?;
        Ok(())
    }

    /// Number of degrees of freedom.
    #[must_use]
    pub fn dofs(&self) -> usize {
        self.symbolic.order.len()
    }

    /// The factor of `K - shift M`, as by [`Factorisation::compute`]; without a mass, that of `K`.
    ///
    /// # Errors
    /// As there.
    pub fn factor(&self, shift: f64) -> Result<Factorisation, EigenFault> {
        let Self { symbolic, stiffness, mass } = self;
        let factor = match shift == 0.0 || mass.is_empty() {
            true => SparseFactor::of(symbolic, stiffness, shift, Vec::new()),
            false => SparseFactor::new(symbolic, stiffness, mass, shift, Vec::new()),
        };
        factor.map(Factorisation::sparse)
    }

    /// Shapes near those of the lowest `count` modes, `(n, count)`, with the given `factor` of this pair at a shift
    /// below all of them: a space in which modes are sought later, at the cost of one factor. Nothing proves that none
    /// is missing, and a shape holds to a few digits only; [`lowest`](super::lowest) answers what the modes are.
    ///
    /// # Errors
    /// [`EigenFault::NoModes`], [`EigenFault::TooManyModes`], [`EigenFault::OtherPattern`] when `factor` is of another
    /// pair or there is no mass, [`EigenFault::Negative`] when its shift lies above a mode, [`EigenFault::NotConverged`].
    pub fn approximate(&self, count: usize, factor: &Factorisation) -> Result<Vectors, EigenFault> {
        let n = self.dofs();
        if count == 0 {
            return Err(EigenFault::NoModes);
        }
        if count > n {
            return Err(EigenFault::TooManyModes { asked: count, available: n });
        }
        let sparse = factor.as_sparse().filter(|own| Arc::ptr_eq(own.symbolic(), &self.symbolic));
        let sparse = sparse.filter(|_| !self.mass.is_empty()).ok_or(EigenFault::OtherPattern)?;
        if let Some(dof) = sparse.negative() {
            return Err(EigenFault::Negative { dof });
        }
        if n <= DENSE_UP_TO || capacity(count) + BLOCK > n {
            let [stiffness, mass] = [&self.stiffness, &self.mass].map(|values| self.whole(values));
            let pair = MatrixPair { stiffness: &stiffness?, mass: &mass?, group: &[] };
            return lowest_unchecked(&pair, count, &Settings::default()).map(|found| found.vectors);
        }
        sparse_approximate(sparse, [&self.stiffness, &self.mass], count).map(Vectors::from)
    }

    /// The matrix whose lower triangle has the `values`, in the order of the pair.
    fn whole(&self, values: &[f64]) -> Result<Sparse, EigenFault> {
        let Symbolic { order, lower, .. } = &*self.symbolic;
        let own = |column: usize| {
            let slots = lower.starts[column]..lower.starts[column + 1];
            slots.map(move |slot| (order[lower.rows[slot]], order[column], values[slot]))
        };
        Sparse::from_lower(self.dofs(), &(0..self.dofs()).flat_map(own).collect::<Vec<_>>())
    }
}

/// A stiffness in the order in which it is eliminated.
///
/// ```
/// use stillbed_eigen::{HeldStiffness, Sparse, Vectors};
///
/// // Three springs of 1 N/m in a row, the first held to the ground.
/// let stiffness =
///     Sparse::from_lower(3, &[(0, 0, 2.0), (1, 0, -1.0), (1, 1, 2.0), (2, 1, -1.0), (2, 2, 1.0)])?;
/// let springs = HeldStiffness::new(&stiffness, &[])?;
/// // 1 N on the second, without and with the third held as well.
/// let load = Vectors::single(&[0.0, 1.0, 0.0]);
/// let free = springs.solve(&[false; 3], &load)?;
/// let held = springs.solve(&[false, false, true], &load)?;
/// assert!((free[(1, 0)] - 2.0).abs() < 1e-12);
/// assert!((held[(1, 0)] - 2.0 / 3.0).abs() < 1e-12 && held[(2, 0)] == 0.0);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
#[derive(Debug)]
pub struct HeldStiffness {
    symbolic: Arc<Symbolic>,
    /// The lower triangle.
    values: Vec<f64>,
    /// Memory of earlier solutions, since new memory costs as much time as what is computed in it.
    spare: Mutex<Vec<Spare>>,
}

#[derive(Debug, Default)]
struct Spare {
    held: Vec<f64>,
    factor: Vec<f64>,
}

impl HeldStiffness {
    /// Orders the degrees of freedom of `stiffness`, which belong to the points `group` as those of
    /// [`MatrixPair::group`].
    ///
    /// # Errors
    /// Those of [`Symbolic::analyse`].
    pub fn new(stiffness: &Sparse, group: &[usize]) -> Result<HeldStiffness, EigenFault> {
        let symbolic = Symbolic::of_stiffness(stiffness, group)?;
        let values = symbolic.gather_within(stiffness).ok_or(EigenFault::OtherPattern)?;
        Ok(HeldStiffness { values, symbolic: Arc::new(symbolic), spare: Mutex::default() })
    }

    /// Motions under `loads`, `(n, columns)`, with the `held` degrees of freedom at rest: there it is as large as the
    /// load, which should be 0.
    ///
    /// # Errors
    /// [`EigenFault::Shape`] when `held` is not one a degree of freedom, and those of [`Factorisation::compute`] and
    /// [`Factorisation::solve`].
    pub fn solve(&self, held: &[bool], loads: &Vectors) -> Result<Vectors, EigenFault> {
        let (found, needed) = (held.len(), self.symbolic.order.len());
        if found != needed {
            return Err(EigenFault::Shape { what: "the list of what is held", found, needed });
        }
        let spares = || self.spare.lock().unwrap_or_else(PoisonError::into_inner);
        let mut spare = spares().pop().unwrap_or_default();
        let held: Vec<bool> = self.symbolic.order.iter().map(|dof| held[*dof]).collect();
        spare.held.clone_from(&self.values);
        let lower = &self.symbolic.lower;
        for (column, own) in held.iter().enumerate() {
            for slot in lower.starts[column]..lower.starts[column + 1] {
                let row = lower.rows[slot];
                if *own || held[row] {
                    spare.held[slot] = if row == column { 1.0 } else { 0.0 };
                }
            }
        }
        let factor = Factorisation::sparse(SparseFactor::of(&self.symbolic, &spare.held, 0.0, spare.factor)?);
        let motions = factor.solve(loads);
        spare.factor = factor.into_values();
        spares().push(spare);
        motions
    }

    /// Gives back the memory that is kept for further solutions.
    pub fn release(&self) {
        self.spare.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use faer::Mat;
    use faer::linalg::solvers::Solve;

    #[test]
    fn what_is_held_is_as_if_it_were_not_there() {
        // A chain with a second neighbour each, so that what is held lies between others.
        let size: usize = 12;
        let entry = |i: usize, j: usize| match i - j {
            0 => 5.0 + 0.1 * i as f64,
            1 => -1.5,
            2 => -0.5,
            _ => 0.0,
        };
        let places = (0..size).flat_map(|i| (i.saturating_sub(2)..=i).map(move |j| (i, j)));
        let entries: Vec<(usize, usize, f64)> = places.map(|(i, j)| (i, j, entry(i, j))).collect();
        let stiffness = HeldStiffness::new(&Sparse::from_lower(size, &entries).unwrap(), &[]).unwrap();
        for held in [vec![], vec![0], vec![3, 4, 9], vec![11, 1, 5, 6]] {
            let is_held: Vec<bool> = (0..size).map(|i| held.contains(&i)).collect();
            let load = |i: usize| if is_held[i] { 0.0 } else { 1.0 + i as f64 };
            let loads: Vec<f64> = (0..size).map(load).collect();
            let found = stiffness.solve(&is_held, &Vectors::single(&loads)).unwrap();
            let free: Vec<usize> = (0..size).filter(|i| !is_held[*i]).collect();
            let of = |a: usize, b: usize| entry(free[a].max(free[b]), free[a].min(free[b]));
            let dense = Mat::from_fn(free.len(), free.len(), of);
            let right = Mat::from_fn(free.len(), 1, |a, _| load(free[a]));
            let expected = dense.partial_piv_lu().solve(&right);
            for (a, dof) in free.iter().enumerate() {
                assert!((found[(*dof, 0)] / expected[(a, 0)] - 1.0).abs() < 1e-12);
            }
            assert!(held.iter().all(|dof| found[(*dof, 0)] == 0.0));
        }
        let fault = stiffness.solve(&[true], &Vectors::single(&[0.0])).unwrap_err();
        assert!(matches!(fault, EigenFault::Shape { found: 1, needed: 12, .. }));
    }
}
