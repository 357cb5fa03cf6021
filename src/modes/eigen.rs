//! The lowest modes of a pencil, with the proof that none below the last is missing.
//!
//! The number of ω² below a shift is the number of negative pivots of `K - σ M` (inertia). After the
//! iteration the shift is put just above the last mode found; when the count finds more modes than the
//! iteration did, the iteration goes on until they agree.
//!
//! # Source
//! - `parlett1998`: section 3.3, slicing the spectrum by inertia

use super::dense::{product, spectrum};
use super::factor::{Factorisation, Sparse, by_blocks};
use super::fault::EigenFault;
use super::kernel::{BLOCK, Lane, symmetric_product};
use super::lanczos::{Krylov, Ritz};
use super::pencil::Pencil;
use super::symbolic::Symbolic;
use faer::sparse::SparseColMat;
use faer::{Mat, MatRef};
use std::sync::Arc;

/// Freedoms up to which the dense solution is faster.
const DENSE_UP_TO: usize = 60;

/// Relative distance, in ω² - σ, below which two modes are one multiplet.
const MULTIPLET: f64 = 1e-6;

/// Residual of a mode in the shift-inverted operator, relative to its ν.
const RESIDUAL: f64 = 1e-8;

/// How far a test solution with the factor used for the count may be off.
const COUNT_ERROR: f64 = 1e-4;

/// A ν below this, relative to the largest, is a motion without mass.
const LEAST_NU: f64 = 1e-14;

/// Steps of the block iteration before it is given up.
const MOST_STEPS: usize = 2000;

/// How the modes were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// All modes by reduction to a dense standard problem.
    Dense,
    /// The lowest modes by block Lanczos on the sparse factor.
    Sparse,
}

/// What a caller may know before the modes are sought.
#[derive(Debug, Clone)]
pub struct Settings<'a> {
    /// The symbolic factor of an earlier pencil of the same pattern.
    pub symbolic: Option<Arc<Symbolic>>,
    /// Mode shapes of a neighbour, `(n, any)`, one per column.
    pub start: Option<MatRef<'a, f64>>,
    /// Memory in bytes that the factor may take.
    pub memory_limit: usize,
}

impl Default for Settings<'_> {
    fn default() -> Self {
        Settings { symbolic: None, start: None, memory_limit: 8 << 30 }
    }
}

/// The lowest modes.
#[derive(Debug, Clone)]
pub struct Eigenpairs {
    /// ω² in (rad/s)², ascending; those of rigid-body modes are zero to rounding, of either sign.
    pub omega_squared: Vec<f64>,
    /// Mode shapes, `(n, n_modes)`, M-orthonormal, one per column.
    pub vectors: Mat<f64>,
    /// How they were found.
    pub method: Method,
    /// The number of modes below `counted_at`, by the inertia of the factor; all of them were found.
    pub counted_below: usize,
    /// The shift of the count, just above the last mode found, (rad/s)².
    pub counted_at: f64,
    /// How many more modes, found but not returned, are equal to the last one.
    pub cut_from_multiplet: usize,
    /// Factor of `K - σ M` at some shift σ that is no mode, ready for static corrections.
    pub factor: Factorisation,
}

/// The lowest `count` modes of `pencil`.
///
/// Rigid-body modes count as modes. The answer is complete: as many modes as the inertia counts were found.
///
/// # Errors
/// Those of [`Pencil::check`]; [`EigenFault::NoModes`]; [`EigenFault::TooManyModes`] when there are not so many;
/// [`EigenFault::Loose`] for a motion with neither stiffness nor mass; [`EigenFault::Negative`] for
/// negative stiffness; [`EigenFault::TooLarge`] before memory beyond the limit is taken;
/// [`EigenFault::NotConverged`].
pub fn lowest(pencil: &Pencil, count: usize, settings: &Settings) -> Result<Eigenpairs, EigenFault> {
    pencil.check()?;
    let n = pencil.freedoms();
    if count == 0 {
        return Err(EigenFault::NoModes);
    }
    if count > n {
        return Err(EigenFault::TooManyModes { asked: count, available: n });
    }
    if let Some(start) = settings.start.filter(|start| start.nrows() != n) {
        return Err(EigenFault::Shape { what: "the start", found: start.nrows(), needed: n });
    }
    let scale = first_shift(pencil)?;
    let dense = n <= DENSE_UP_TO || 3 * count + 6 * BLOCK > n;
    if dense {
        dense_lowest(pencil, count, scale, settings)
    } else {
        sparse_lowest(pencil, count, scale, settings)
    }
}

/// A negative shift that is small beside every elastic mode of usual structures: a part in ten million of the
/// least ratio of stiffness to mass at a freedom.
fn first_shift(pencil: &Pencil) -> Result<f64, EigenFault> {
    let diagonal = |matrix: &SparseColMat<usize, f64>, i| matrix.get(i, i).copied().unwrap_or(0.0);
    let mut least = f64::INFINITY;
    let mut massive = 0;
    for i in 0..pencil.freedoms() {
        let (k, m) = (diagonal(pencil.stiffness, i), diagonal(pencil.mass, i));
        if k < 0.0 || m < 0.0 {
            return Err(EigenFault::Negative { freedom: i });
        }
        massive += usize::from(m > 0.0);
        if k > 0.0 && m > 0.0 {
            least = least.min(k / m);
        }
    }
    if massive == 0 {
        return Err(EigenFault::TooManyModes { asked: 1, available: 0 });
    }
    Ok(if least.is_finite() { -1e-7 * least } else { -1.0 })
}

/// Tries `attempt` with ever larger negative shifts while rounding makes the matrix look indefinite.
fn with_shift<T>(shift: f64, attempt: impl Fn(f64) -> Result<T, EigenFault>) -> Result<(f64, T), EigenFault> {
    let mut fault = EigenFault::Empty;
    for grown in [1.0, 1e3, 1e5] {
        match attempt(shift * grown) {
            Ok(found) => return Ok((shift * grown, found)),
            Err(EigenFault::Negative { freedom }) => fault = EigenFault::Negative { freedom },
            Err(EigenFault::Singular { freedom }) => fault = EigenFault::Loose { freedom },
            Err(other) => return Err(other),
        }
    }
    Err(fault)
}

fn dense_lowest(
    pencil: &Pencil,
    count: usize,
    shift: f64,
    settings: &Settings,
) -> Result<Eigenpairs, EigenFault> {
    let n = pencil.freedoms();
    let needed = n.saturating_mul(n).saturating_mul(8 * size_of::<f64>());
    if needed > settings.memory_limit {
        return Err(EigenFault::TooLarge { needed, allowed: settings.memory_limit });
    }
    let (stiffness, mass) = (pencil.stiffness.to_dense(), pencil.mass.to_dense());
    let solve = |shift| {
        spectrum(stiffness.as_ref(), mass.as_ref(), shift, count + 1).map_err(|row| match row {
            Some(freedom) => EigenFault::Singular { freedom },
            None => EigenFault::NotConverged { wanted: count, found: 0 },
        })
    };
    let (mut shift, mut found) = with_shift(shift, solve)?;
    if let Some(better) = better_shift(&found.omega_squared, shift, count) {
        (shift, found) = with_shift(better, solve)?;
    }
    let available = found.omega_squared.len();
    if available < count {
        return Err(EigenFault::TooManyModes { asked: count, available });
    }
    let distances: Vec<f64> = found.omega_squared.iter().map(|w| w - shift).collect();
    let end = multiplet_end(&distances, count);
    let counted_at = shift + count_distance(&distances, end, 0.25);
    Ok(Eigenpairs {
        counted_below: found.omega_squared.iter().filter(|w| **w < counted_at).count(),
        counted_at,
        cut_from_multiplet: end - count,
        vectors: found.vectors.subcols(0, count).to_owned(),
        omega_squared: found.omega_squared[..count].to_vec(),
        method: Method::Dense,
        factor: Factorisation::dense(shift, found.cholesky),
    })
}

/// A shift nearer to the elastic modes, where the first guess would cost digits or speed: rigid-body modes
/// more than a million times nearer to the shift than elastic ones, or all modes within the shift's reach.
fn better_shift(omega_squared: &[f64], shift: f64, count: usize) -> Option<f64> {
    let size = -shift;
    let zero = omega_squared.iter().take_while(|w| w.abs() < 1e-2 * size).count();
    let elastic = omega_squared.get(zero).copied().filter(|_| zero < count)?;
    (zero > 0 && elastic > 1e5 * size).then_some(-1e-2 * elastic)
}

/// The end of the multiplet that the `count`th of the ascending distances belongs to.
fn multiplet_end(distances: &[f64], count: usize) -> usize {
    let mut end = count;
    while end > 0
        && end < distances.len()
        && distances[end] - distances[end - 1] <= MULTIPLET * distances[end]
    {
        end += 1;
    }
    end
}

/// A distance just above that of the last of `end` modes: a `part` of the gap, at most 1 %.
fn count_distance(distances: &[f64], end: usize, part: f64) -> f64 {
    let Some(last) = end.checked_sub(1).and_then(|i| distances.get(i)).copied() else { return 0.0 };
    let gap = distances.get(end).map_or(f64::INFINITY, |next| next - last);
    last + (part * gap).min(0.01 * last)
}

fn sparse_lowest(
    pencil: &Pencil,
    count: usize,
    shift: f64,
    settings: &Settings,
) -> Result<Eigenpairs, EigenFault> {
    let symbolic = match &settings.symbolic {
        Some(symbolic) => Arc::clone(symbolic),
        None => Arc::new(Symbolic::new(pencil)?),
    };
    let (needed, allowed) = (symbolic.factor_bytes(), settings.memory_limit);
    if needed > allowed {
        return Err(EigenFault::TooLarge { needed, allowed });
    }
    let (stiffness, mass) = symbolic.gather(pencil)?;
    let search = Search { symbolic: &symbolic, stiffness: &stiffness, mass: &mass, allowed };
    search.lowest(count, shift, settings.start)
}

/// The matrices of a sparse search, in the order of elimination.
struct Search<'a> {
    symbolic: &'a Arc<Symbolic>,
    stiffness: &'a [f64],
    mass: &'a [f64],
    allowed: usize,
}

/// Modes found by the iteration, in the order of elimination.
struct Found {
    omega_squared: Vec<f64>,
    /// ω² - σ, of these and of the approximations beyond them.
    distances: Vec<f64>,
    vectors: Mat<f64>,
}

impl Search<'_> {
    fn lowest(&self, count: usize, shift: f64, start: Option<MatRef<f64>>) -> Result<Eigenpairs, EigenFault> {
        let order = &self.symbolic.order;
        let (mut shift, mut factor) = with_shift(shift, |shift| self.positive(shift))?;
        let mut krylov =
            Krylov::new(self.symbolic, self.mass, (2 * count + 5 * BLOCK).next_multiple_of(BLOCK));
        if let Some(start) = start.filter(|start| start.ncols() > 0 && start.is_all_finite()) {
            let start = Mat::from_fn(start.nrows(), start.ncols(), |i, j| start[(order[i], j)]);
            krylov.begin_with(&factor, start.as_ref());
        }
        let (mut wanted, mut steps, mut reshifted) = (count, 0, false);
        loop {
            let (ritz, end) = self.iterate(&mut krylov, &factor, wanted, &mut steps)?;
            let found = self.found(&krylov, &factor, &ritz, end);
            drop(factor);
            if let Some(better) = better_shift(&found.omega_squared, shift, count).filter(|_| !reshifted) {
                reshifted = true;
                (shift, factor) = with_shift(better, |shift| self.positive(shift))?;
                krylov.begin_with(&factor, found.vectors.as_ref());
                continue;
            }
            let (counted_at, counter) = self.count(&found, shift)?;
            let counted = counter.below();
            if counted <= end {
                let mut vectors = Mat::zeros(order.len(), count);
                for (i, &freedom) in order.iter().enumerate() {
                    for j in 0..count {
                        vectors[(freedom, j)] = found.vectors[(i, j)];
                    }
                }
                return Ok(Eigenpairs {
                    omega_squared: found.omega_squared[..count].to_vec(),
                    vectors,
                    method: Method::Sparse,
                    counted_below: counted,
                    counted_at,
                    cut_from_multiplet: multiplet_end(&found.distances[..end], count) - count,
                    factor: Factorisation::sparse(counter),
                });
            }
            drop(counter);
            factor = self.positive(shift)?;
            krylov.restart(&ritz, end);
            krylov.refresh();
            wanted = counted;
        }
    }

    /// The factor at a shift below all modes.
    fn positive(&self, shift: f64) -> Result<Sparse, EigenFault> {
        let factor = Sparse::new(self.symbolic, self.stiffness, self.mass, shift)?;
        match factor.negative() {
            Some(freedom) => Err(EigenFault::Negative { freedom }),
            None => Ok(factor),
        }
    }

    /// Iterates until `wanted` modes, and those equal to the last of them, hold; returns how many.
    fn iterate(
        &self,
        krylov: &mut Krylov,
        factor: &Sparse,
        wanted: usize,
        steps: &mut usize,
    ) -> Result<(Ritz, usize), EigenFault> {
        let mut end = wanted;
        loop {
            if end + 3 * BLOCK > krylov.capacity() {
                let capacity = (2 * end + 5 * BLOCK).next_multiple_of(BLOCK);
                let needed = (capacity * self.symbolic.order.len()).saturating_mul(2 * size_of::<f64>());
                if needed > self.allowed {
                    return Err(EigenFault::TooLarge { needed, allowed: self.allowed });
                }
                krylov.grow(capacity);
            }
            krylov.step(factor);
            *steps += 1;
            if krylov.filled() < wanted + 2 * BLOCK {
                continue;
            }
            let fault = EigenFault::NotConverged { wanted, found: 0 };
            let ritz = krylov.ritz().ok_or(fault)?;
            let least = LEAST_NU * ritz.nu[0];
            if ritz.nu[wanted.max(1) - 1] <= least {
                let available = ritz.nu.iter().take_while(|nu| **nu > least).count();
                return Err(EigenFault::TooManyModes { asked: wanted, available });
            }
            let distances: Vec<f64> =
                ritz.nu.iter().take_while(|nu| **nu > least).map(|nu| 1.0 / nu).collect();
            end = multiplet_end(&distances, wanted);
            let held = (0..end).take_while(|&i| ritz.residual[i] <= RESIDUAL * ritz.nu[i]).count();
            if held == end && end < ritz.nu.len() {
                return Ok((ritz, end));
            }
            if *steps > MOST_STEPS {
                return Err(EigenFault::NotConverged { wanted, found: held });
            }
            if krylov.full() {
                let keep = (end + krylov.capacity()) / 2 - BLOCK;
                krylov.restart(&ritz, keep.clamp(end.min(ritz.nu.len()), krylov.capacity() - BLOCK));
            }
        }
    }

    fn found(&self, krylov: &Krylov, factor: &Sparse, ritz: &Ritz, end: usize) -> Found {
        let natural: Vec<usize> = (0..self.symbolic.order.len()).collect();
        let y = krylov.vectors(ritz, end);
        let mut vectors = by_blocks(y.as_ref(), &natural, |lanes| factor.half_solve_transposed(lanes));
        for (j, nu) in ritz.nu[..end].iter().enumerate() {
            vectors.col_mut(j).iter_mut().for_each(|v| *v /= nu.sqrt());
        }
        let least = LEAST_NU * ritz.nu[0];
        let distances: Vec<f64> = ritz.nu.iter().take_while(|nu| **nu > least).map(|nu| 1.0 / nu).collect();
        let omega_squared = distances[..end].iter().map(|d| factor.shift() + d).collect();
        Found { omega_squared, distances, vectors }
    }

    /// The factor at a shift just above the modes found, tested by a solution that is known.
    fn count(&self, found: &Found, shift: f64) -> Result<(f64, Sparse), EigenFault> {
        let end = found.omega_squared.len();
        for part in [0.25, 0.5, 0.1, 0.7] {
            let counted_at = shift + count_distance(&found.distances, end, part);
            let factor = match Sparse::new(self.symbolic, self.stiffness, self.mass, counted_at) {
                Err(EigenFault::Singular { .. }) => continue,
                other => other?,
            };
            if factor.below() >= end && self.known_solution_error(&factor, found, counted_at) <= COUNT_ERROR {
                return Ok((counted_at, factor));
            }
        }
        Err(EigenFault::NotConverged { wanted: end, found: end })
    }

    /// Relative error of `(K - σ M)⁻¹ M Φ w = Φ w / (ω² - σ)` for four mixtures w.
    fn known_solution_error(&self, factor: &Sparse, found: &Found, shift: f64) -> f64 {
        let end = found.omega_squared.len();
        let weight = |j: usize, c: usize| 1.0 + ((j * (c + 1)) as f64).cos();
        let mix = |scale: &dyn Fn(usize) -> f64| -> Vec<Lane> {
            let weights = Mat::from_fn(end, BLOCK, |j, c| weight(j, c) * scale(j));
            let mixed = product(found.vectors.as_ref(), weights.as_ref());
            (0..mixed.nrows()).map(|i| std::array::from_fn(|c| mixed[(i, c)])).collect()
        };
        let expected = mix(&|j| 1.0 / (found.omega_squared[j] - shift));
        let mut solution = vec![[0.0; BLOCK]; expected.len()];
        symmetric_product(&self.symbolic.lower, self.mass, &mix(&|_| 1.0), &mut solution);
        factor.solve(&mut solution);
        let (mut off, mut size) = (0.0, 0.0);
        for (s, e) in solution.iter().flatten().zip(expected.iter().flatten()) {
            off += (s - e).powi(2);
            size += e * e;
        }
        if size > 0.0 { (off / size).sqrt() } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::super::lattice::{Sample, beams};
    use super::*;

    fn pencil(sample: &Sample) -> Pencil<'_> {
        Pencil { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group }
    }

    fn solve(sample: &Sample, count: usize) -> Eigenpairs {
        lowest(&pencil(sample), count, &Settings::default()).unwrap()
    }

    /// All modes by the dense solution, whatever the size.
    fn dense(sample: &Sample, count: usize) -> Eigenpairs {
        let pencil = pencil(sample);
        dense_lowest(&pencil, count, first_shift(&pencil).unwrap(), &Settings::default()).unwrap()
    }

    #[test]
    fn sparse_agrees_with_dense() {
        let sample = beams(5, 4, 6, true);
        assert_eq!(sample.group.len(), 600);
        let (all, few) = (dense(&sample, 40), solve(&sample, 40));
        assert_eq!((all.method, few.method), (Method::Dense, Method::Sparse));
        for (a, b) in all.omega_squared.iter().zip(&few.omega_squared) {
            assert!((a - b).abs() <= 1e-9 * a, "{a} {b}");
        }
        assert!(few.counted_below >= 40);
    }

    #[test]
    fn a_free_lattice_has_six_rigid_modes() {
        let sample = beams(4, 4, 4, false);
        let found = solve(&sample, 10);
        assert_eq!(found.method, Method::Sparse);
        for w in &found.omega_squared[..6] {
            assert!(w.abs() < 1e-6 * found.omega_squared[6], "{:?}", found.omega_squared);
        }
        let all = dense(&sample, 10);
        for (a, b) in all.omega_squared[6..].iter().zip(&found.omega_squared[6..]) {
            assert!((a - b).abs() <= 1e-9 * a, "{a} {b}");
        }
    }
}
