//! The sparse search: iterate, count, and iterate again while the count finds more.
//!
//! One factor is held at a time: that of the iteration is dropped before that of the count is made.

use super::factor::{Factorisation, SparseFactor};
use super::fault::EigenFault;
use super::kernel::{BLOCK, Lane, symmetric_product};
use super::lanczos::{Krylov, Ritz};
use super::pair::MatrixPair;
use super::pairs::{Eigenpairs, Method, Settings};
use super::shift::{better_shift, count_distance, multiplet_end, with_shift};
use super::symbolic::Symbolic;
use super::vectors::{Vectors, product};
use faer::Mat;
use std::cell::Cell;
use std::sync::Arc;

/// Residual of a mode in the shift-inverted operator, relative to its ν, at which it has converged.
const RESIDUAL: f64 = 1e-7;

/// The same where shapes are only to span a space in which modes are sought.
const APPROXIMATE: f64 = 1e-3;

/// Largest relative error of a known solution with the factor used for the count. That factor belongs
/// to a matrix pair whose modes near the shift are moved by this fraction of their distance from it,
/// so none changes sides.
const COUNT_ERROR: f64 = 1e-4;

/// The same where rounding stalled the iteration.
const ROUGH_COUNT_ERROR: f64 = 0.05;

/// A ν below this, relative to the largest, is a motion without mass.
const LEAST_NU: f64 = 1e-14;

/// Residual accepted where rounding allows no better: many modes of finely divided members.
const ROUGH: f64 = 1e-5;

/// Checks without the residual halving before the iteration is considered stalled by rounding, once the
/// residual is below [`NEAR`].
const IDLE: usize = 3;

/// Residual below which the iteration gains by every step, unless rounding stops it.
const NEAR: f64 = 1e-3;

/// A stalled search moves its shift when the first mode's ν is more than this times that of the last one
/// sought; the new shift brings the ratio down to this.
const WIDE: f64 = 1e4;

/// Blocks beyond as many vectors as modes at which convergence is first tested for many modes.
const EARLY: usize = 16;

/// Largest number of times that the count may find more than the iteration did.
const MOST_ROUNDS: usize = 20;

/// Largest number of steps of the block iteration.
const MOST_STEPS: usize = 2000;

/// The lowest `count` modes by block Lanczos from a shift below the spectrum; `shift` is the first to try.
pub(super) fn sparse_lowest(
    pair: &MatrixPair,
    count: usize,
    shift: f64,
    settings: &Settings,
) -> Result<Eigenpairs, EigenFault> {
    let (symbolic, own) = match (&settings.symbolic, settings.patterns) {
        (Some(symbolic), _) => (Arc::clone(symbolic), false),
        (None, Some(patterns)) => (patterns.analyse(pair)?, true),
        (None, None) => (Arc::new(Symbolic::analyse_checked(pair)?), true),
    };
    let (needed, allowed) = (symbolic.factor_bytes(), settings.memory_limit);
    if needed > allowed {
        return Err(EigenFault::TooLarge { needed, allowed });
    }
    let (stiffness, mass) = if own { symbolic.gather_own(pair)? } else { symbolic.gather(pair)? };
    let spare = Cell::new(Vec::new());
    let residual = RESIDUAL;
    let search = Search { symbolic: &symbolic, stiffness: &stiffness, mass: &mass, allowed, spare, residual };
    search.lowest(count, shift, settings)
}

/// Shapes of the lowest `count` modes by block Lanczos with a `factor` that is given, without a count; stiffness and
/// mass as lower triangles in elimination order.
pub(super) fn sparse_approximate(
    factor: &SparseFactor,
    [stiffness, mass]: [&[f64]; 2],
    count: usize,
) -> Result<Mat<f64>, EigenFault> {
    let symbolic = factor.symbolic();
    let search = Search {
        symbolic,
        stiffness,
        mass,
        allowed: usize::MAX,
        spare: Cell::new(Vec::new()),
        residual: APPROXIMATE,
    };
    let mut krylov = Krylov::new(symbolic, mass, capacity(count));
    let first = (2 * count).next_multiple_of(BLOCK);
    match search.iterate(&mut krylov, factor, count, first, f64::INFINITY, &mut 0)? {
        Iterated::Held(ritz, _, _) | Iterated::Wide(ritz, _) => {
            let found = search.found(&krylov, factor, &ritz, count);
            Ok(search.in_order(&found.vectors, count))
        }
    }
}

/// Vectors that the basis has room for when `count` modes are sought.
pub(super) fn capacity(count: usize) -> usize {
    (3 * count + 9 * BLOCK).next_multiple_of(BLOCK)
}

/// The matrices of a sparse search, in elimination order.
struct Search<'a> {
    symbolic: &'a Arc<Symbolic>,
    stiffness: &'a [f64],
    mass: &'a [f64],
    allowed: usize,
    /// Memory of the last factor that was dropped.
    spare: Cell<Vec<f64>>,
    /// Residual relative to ν at which a mode has converged.
    residual: f64,
}

/// How the iteration ended.
enum Iterated {
    /// Converged: the approximations, how many of them hold, and whether only as far as rounding lets them.
    Held(Ritz, usize, bool),
    /// Rounding hides modes whose ν is far below the first one's: what was found, and ω² - σ
    /// of the last mode sought.
    Wide(Ritz, f64),
}

/// Modes found by the iteration, in elimination order.
struct Found {
    omega_squared: Vec<f64>,
    /// ω² - σ, of these and of the approximations beyond them.
    distances: Vec<f64>,
    vectors: Mat<f64>,
}

impl Search<'_> {
    fn lowest(&self, count: usize, shift: f64, settings: &Settings) -> Result<Eigenpairs, EigenFault> {
        let (mut shift, mut factor) = with_shift(shift, |shift| self.positive(shift))?;
        let mut krylov = Krylov::new(self.symbolic, self.mass, capacity(count));
        if let Some(start) =
            settings.start.map(Vectors::as_faer).filter(|start| start.ncols() > 0 && start.is_all_finite())
        {
            let order = &self.symbolic.order;
            let start = Mat::from_fn(start.nrows(), start.ncols(), |i, j| start[(order[i], j)]);
            krylov.begin_with(&factor, start.as_ref());
        }
        let (mut wanted, mut steps, mut rounds) = (count, 0, 0);
        let (mut reshifted, mut widest) = (false, WIDE);
        let mut expected = settings.expected;
        loop {
            let first = expected.take().unwrap_or((2 * wanted + BLOCK).min(wanted + EARLY * BLOCK));
            let (ritz, end, rough) =
                match self.iterate(&mut krylov, &factor, wanted, first, widest, &mut steps)? {
                    Iterated::Held(ritz, end, rough) => (ritz, end, rough || widest.is_infinite()),
                    Iterated::Wide(ritz, distance) => {
                        widest = f64::INFINITY;
                        let found = self.found(&krylov, &factor, &ritz, wanted);
                        self.spare.set(factor.into_values());
                        (shift, factor) = with_shift(shift - distance / WIDE, |shift| self.positive(shift))?;
                        krylov.begin_with(&factor, found.vectors.as_ref());
                        continue;
                    }
                };
            let found = self.found(&krylov, &factor, &ritz, end);
            self.spare.set(factor.into_values());
            if let Some(better) = better_shift(&found.omega_squared, shift, count).filter(|_| !reshifted) {
                reshifted = true;
                (shift, factor) = with_shift(better, |shift| self.positive(shift))?;
                krylov.begin_with(&factor, found.vectors.as_ref());
                continue;
            }
            let counted = match self.count(&found, shift, rough)? {
                None => None,
                Some((_, counter)) if counter.below() > end => {
                    let counted = counter.below();
                    self.spare.set(counter.into_values());
                    Some(counted)
                }
                Some((counted_at, counter)) => {
                    return Ok(Eigenpairs {
                        omega_squared: found.omega_squared[..count].to_vec(),
                        vectors: self.in_order(&found.vectors, count).into(),
                        method: Method::Sparse,
                        counted_below: counter.below(),
                        counted_at,
                        cut_from_multiplet: multiplet_end(&found.distances[..end], count) - count,
                        basis: krylov.filled(),
                        factor: Factorisation::sparse(counter),
                    });
                }
            };
            rounds += 1;
            if rounds > MOST_ROUNDS {
                return Err(EigenFault::NotConverged { wanted: counted.unwrap_or(end), found: end });
            }
            factor = self.positive(shift)?;
            krylov.restart(&ritz, end);
            krylov.refresh();
            // Modes too close to be counted apart are sought together with those beyond them.
            wanted = counted.unwrap_or(end + 1);
        }
    }

    fn factor(&self, shift: f64) -> Result<SparseFactor, EigenFault> {
        SparseFactor::new(self.symbolic, self.stiffness, self.mass, shift, self.spare.take())
    }

    /// The factor at a shift below all modes.
    fn positive(&self, shift: f64) -> Result<SparseFactor, EigenFault> {
        let factor = self.factor(shift)?;
        match factor.negative() {
            Some(dof) => Err(EigenFault::Negative { dof }),
            None => Ok(factor),
        }
    }

    /// Iterates until `wanted` modes, and those equal to the last of them, converge. Convergence is first
    /// tested when the basis has `next` vectors. The iteration ends as wide when rounding hides modes whose ν
    /// spread over more than `widest`.
    fn iterate(
        &self,
        krylov: &mut Krylov,
        factor: &SparseFactor,
        wanted: usize,
        mut next: usize,
        widest: f64,
        steps: &mut usize,
    ) -> Result<Iterated, EigenFault> {
        let (mut least_open, mut idle) = (f64::INFINITY, 0);
        loop {
            krylov.step(factor);
            *steps += 1;
            if krylov.filled() < next && !krylov.full() {
                continue;
            }
            let fault = EigenFault::NotConverged { wanted, found: 0 };
            let ritz = krylov.ritz().ok_or(fault)?;
            let least = LEAST_NU * ritz.nu[0];
            let distances: Vec<f64> =
                ritz.nu.iter().take_while(|nu| **nu > least).map(|nu| 1.0 / nu).collect();
            let mut open = f64::INFINITY;
            let mut end = wanted;
            if wanted < ritz.nu.len() {
                if distances.len() < wanted {
                    return Err(EigenFault::TooManyModes { asked: wanted, available: distances.len() });
                }
                end = multiplet_end(&distances, wanted);
                open = (0..end).map(|i| ritz.residual[i] / ritz.nu[i]).fold(0.0, f64::max);
                idle = if open < 0.5 * least_open || open > NEAR { 0 } else { idle + 1 };
                least_open = least_open.min(open);
                if idle >= IDLE && ritz.nu[0] > widest * ritz.nu[wanted - 1] {
                    let distance = distances[wanted - 1];
                    return Ok(Iterated::Wide(ritz, distance));
                }
                let enough = if idle >= IDLE { ROUGH.max(self.residual) } else { self.residual };
                if open <= enough && end < ritz.nu.len() {
                    return Ok(Iterated::Held(ritz, end, open > self.residual));
                }
            }
            if *steps > MOST_STEPS {
                return Err(EigenFault::NotConverged { wanted, found: 0 });
            }
            if end + 4 * BLOCK > krylov.capacity() {
                self.grow(krylov, end)?;
            } else if krylov.full() {
                krylov.restart(&ritz, (end + krylov.capacity()) / 2 - BLOCK);
            }
            // A step gains about a decade: the small eigenproblem waits for as many steps as are missing, and
            // at least for a sixteenth of the basis, where that is large.
            let decades = (open / self.residual).log10().clamp(0.0, 9.0);
            let more = BLOCK * decades as usize;
            next = krylov.filled() + more.max(krylov.filled() / 16);
        }
    }

    /// Makes room for `end` modes and what they need to converge.
    fn grow(&self, krylov: &mut Krylov, end: usize) -> Result<(), EigenFault> {
        let n = self.symbolic.order.len();
        let capacity = capacity(end);
        let needed = capacity.saturating_mul(n).saturating_mul(2 * size_of::<f64>());
        if needed > self.allowed {
            return Err(EigenFault::TooLarge { needed, allowed: self.allowed });
        }
        if capacity + BLOCK > n {
            return Err(EigenFault::NotConverged { wanted: end, found: 0 });
        }
        krylov.grow(capacity);
        Ok(())
    }

    fn found(&self, krylov: &Krylov, factor: &SparseFactor, ritz: &Ritz, end: usize) -> Found {
        let mut vectors = Mat::zeros(self.symbolic.order.len(), end);
        for (b, mut lanes) in krylov.vectors(ritz, end).into_iter().enumerate() {
            factor.half_solve_transposed(&mut lanes);
            for j in BLOCK * b..end.min(BLOCK * (b + 1)) {
                let root = ritz.nu[j].sqrt();
                for (value, lane) in vectors.col_mut(j).iter_mut().zip(&lanes) {
                    *value = lane[j % BLOCK] / root;
                }
            }
        }
        let least = LEAST_NU * ritz.nu[0];
        let distances: Vec<f64> = ritz.nu.iter().take_while(|nu| **nu > least).map(|nu| 1.0 / nu).collect();
        let omega_squared = distances[..end].iter().map(|d| factor.shift() + d).collect();
        Found { omega_squared, distances, vectors }
    }

    /// The first `count` vectors with the degrees of freedom in the order of the matrix pair.
    fn in_order(&self, own: &Mat<f64>, count: usize) -> Mat<f64> {
        let mut vectors = Mat::zeros(own.nrows(), count);
        for (i, &dof) in self.symbolic.order.iter().enumerate() {
            (0..count).for_each(|j| vectors[(dof, j)] = own[(i, j)]);
        }
        vectors
    }

    /// The factor at a shift just above the modes found, tested with a known solution; `None` where further
    /// modes are too close for any such shift.
    fn count(
        &self,
        found: &Found,
        shift: f64,
        rough: bool,
    ) -> Result<Option<(f64, SparseFactor)>, EigenFault> {
        let end = found.omega_squared.len();
        let allowed = if rough { ROUGH_COUNT_ERROR } else { COUNT_ERROR };
        for part in [0.25, 0.5, 0.1, 0.7] {
            let counted_at = shift + count_distance(&found.distances, end, part);
            let factor = match self.factor(counted_at) {
                Err(EigenFault::Singular { .. }) => continue,
                other => other?,
            };
            if factor.below() >= end && self.known_solution_error(&factor, found, counted_at) <= allowed {
                return Ok(Some((counted_at, factor)));
            }
        }
        Ok(None)
    }

    /// Relative error of `(K - σ M)⁻¹ M Φ w = Φ w / (ω² - σ)` for four mixtures w.
    fn known_solution_error(&self, factor: &SparseFactor, found: &Found, shift: f64) -> f64 {
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
