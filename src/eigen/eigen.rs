//! The lowest modes of a matrix pair, with the proof that none below the last is missing.
//!
//! The number of ω² below a shift is the number of negative pivots of `K - σ M` (inertia). After the
//! iteration the shift is put just above the last mode found. When the count finds more modes than the
//! iteration did, the iteration goes on until they agree.
//!
//! # Source
//! - `parlett1998`: section 3.3, slicing the spectrum by inertia

use super::dense::spectrum;
use super::factor::Factorisation;
use super::fault::EigenFault;
use super::kernel::BLOCK;
use super::pair::MatrixPair;
use super::pairs::{Eigenpairs, Method, Settings};
use super::search::{capacity, sparse_lowest};
use super::shift::{better_shift, count_distance, first_shift, multiplet_end, with_shift};

/// Degrees of freedom up to which the dense solution is faster.
pub(super) const DENSE_UP_TO: usize = 60;

/// Degrees of freedom up to which the dense solution replaces a sparse one that does not converge.
const DENSE_AT_MOST: usize = 2000;

/// The lowest `count` modes of `pair`.
///
/// Rigid-body modes count as modes. The answer is complete: as many modes were found as the inertia counts.
///
/// ```
/// use stillbed_eigen::{MatrixPair, Settings, Sparse, lowest};
///
/// // A chain of three masses of 2 kg and two springs of 8 N/m that nothing holds: it moves as a whole, then
/// // at ω² = k/m and 3 k/m.
/// let springs = [(0, 0, 8.0), (1, 0, -8.0), (1, 1, 16.0), (2, 1, -8.0), (2, 2, 8.0)];
/// let stiffness = Sparse::from_lower(3, &springs)?;
/// let mass = Sparse::from_lower(3, &[(0, 0, 2.0), (1, 1, 2.0), (2, 2, 2.0)])?;
/// let found = lowest(&MatrixPair::new(&stiffness, &mass), 3, &Settings::default())?;
/// for (square, exact) in found.omega_squared.iter().zip([0.0, 4.0, 12.0]) {
///     assert!((square - exact).abs() < 1e-6);
/// }
/// // The rigid-body mode is counted with the others; its shape has unit modal mass: 3 * 2 kg * φ² = 1.
/// assert_eq!(found.counted_below, 3);
/// assert!((found.vectors[(0, 0)].abs() - 6f64.sqrt().recip()).abs() < 1e-9);
/// # Ok::<(), stillbed_eigen::EigenFault>(())
/// ```
///
/// # Errors
/// Those of [`MatrixPair::check`]; [`EigenFault::NoModes`]; [`EigenFault::TooManyModes`] when there are fewer;
/// [`EigenFault::MasslessMechanism`] for a motion with neither stiffness nor mass; [`EigenFault::Negative`] for negative
/// stiffness; [`EigenFault::TooLarge`] before memory beyond the limit is taken; [`EigenFault::NotConverged`].
pub fn lowest(pair: &MatrixPair, count: usize, settings: &Settings) -> Result<Eigenpairs, EigenFault> {
    pair.check()?;
    lowest_unchecked(pair, count, settings)
}

/// The same without [`MatrixPair::check`], for a pair that is finite and symmetric by construction: for many
/// pairs of one pattern the checks take time. What it finds for another pair is not said.
///
/// # Errors
/// As [`lowest`], but for those of the check.
pub fn lowest_unchecked(
    pair: &MatrixPair,
    count: usize,
    settings: &Settings,
) -> Result<Eigenpairs, EigenFault> {
    let n = pair.dofs();
    if count == 0 {
        return Err(EigenFault::NoModes);
    }
    if count > n {
        return Err(EigenFault::TooManyModes { asked: count, available: n });
    }
    if let Some(start) = settings.start.filter(|start| start.rows() != n) {
        return Err(EigenFault::Shape { what: "the start", found: start.rows(), needed: n });
    }
    let scale = first_shift(pair, count)?;
    if n <= DENSE_UP_TO || capacity(count) + BLOCK > n {
        return dense_lowest(pair, count, scale, settings);
    }
    match sparse_lowest(pair, count, scale, settings) {
        Err(EigenFault::NotConverged { .. }) if n <= DENSE_AT_MOST => {
            dense_lowest(pair, count, scale, settings)
        }
        other => other,
    }
}

fn dense_lowest(
    pair: &MatrixPair,
    count: usize,
    shift: f64,
    settings: &Settings,
) -> Result<Eigenpairs, EigenFault> {
    let n = pair.dofs();
    let needed = n.saturating_mul(n).saturating_mul(8 * size_of::<f64>());
    if needed > settings.memory_limit {
        return Err(EigenFault::TooLarge { needed, allowed: settings.memory_limit });
    }
    let (stiffness, mass) = (pair.stiffness.as_faer().to_dense(), pair.mass.as_faer().to_dense());
    let solve = |shift| {
        spectrum(stiffness.as_ref(), mass.as_ref(), shift, count + 1).map_err(|row| match row {
            Some(dof) => EigenFault::Singular { dof },
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
        basis: n,
        vectors: found.vectors.subcols(0, count).to_owned().into(),
        omega_squared: found.omega_squared[..count].to_vec(),
        method: Method::Dense,
        factor: Factorisation::dense(shift, found.cholesky),
    })
}

#[cfg(test)]
mod tests {
    use super::super::lattice::{Assembly, Sample, beams};
    use super::super::sparse::Sparse;
    use super::super::symbolic::Symbolic;
    use super::super::vectors::Vectors;
    use super::*;
    use faer::Mat;
    use std::sync::Arc;

    fn pair(sample: &Sample) -> MatrixPair<'_> {
        MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group }
    }

    fn solve(sample: &Sample, count: usize) -> Eigenpairs {
        lowest(&pair(sample), count, &Settings::default()).unwrap()
    }

    /// All modes by the dense solution, whatever the size.
    fn dense(sample: &Sample, count: usize) -> Eigenpairs {
        let pair = pair(sample);
        dense_lowest(&pair, count, first_shift(&pair, count).unwrap(), &Settings::default()).unwrap()
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
        sound(&sample, &few);
    }

    #[test]
    fn every_eigenvalue_agrees_with_the_inertia_about_it() {
        let sample = beams(5, 4, 6, true);
        let pair = pair(&sample);
        let all = dense(&sample, 600).omega_squared;
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        let below = |shift| Factorisation::compute(&pair, &symbolic, shift).unwrap().below();
        for (i, w) in all.iter().enumerate() {
            assert!(below(w * (1.0 - 1e-9)) <= i, "{i} {w}");
            assert!(below(w * (1.0 + 1e-9)) > i, "{i} {w}");
        }
    }

    #[test]
    fn free_bodies_have_six_rigid_modes_each() {
        let one = beams(4, 4, 4, false);
        for (sample, rigid) in
            [(copies(&one, 1), 6), (copies(&one, 2), 12), (copies(&beams(2, 1, 4, false), 1), 6)]
        {
            let (found, all) = (solve(&sample, rigid + 4), dense(&sample, rigid + 4));
            for w in &found.omega_squared[..rigid] {
                assert!(w.abs() < 1e-8 * found.omega_squared[rigid], "{:?}", found.omega_squared);
            }
            for (a, b) in all.omega_squared[rigid..].iter().zip(&found.omega_squared[rigid..]) {
                assert!((a - b).abs() <= 1e-9 * a, "{a} {b}");
            }
            sound(&sample, &found);
        }
    }

    #[test]
    fn every_copy_of_a_repeated_mode_is_found() {
        let one = beams(2, 2, 3, true);
        let sample = copies(&one, 9);
        let (alone, found) = (dense(&one, 3), solve(&sample, 27));
        assert_eq!(found.method, Method::Sparse);
        for (i, w) in found.omega_squared.iter().enumerate() {
            assert!((w - alone.omega_squared[i / 9]).abs() <= 1e-9 * w, "{i} {w}");
        }
        assert_eq!((found.counted_below % 9, found.cut_from_multiplet), (0, 0));
        sound(&sample, &found);
        let cut = solve(&sample, 5);
        assert_eq!((cut.omega_squared.len(), cut.counted_below % 9, cut.cut_from_multiplet), (5, 0, 4));
    }

    #[test]
    fn the_count_finds_what_no_iteration_from_the_start_can() {
        // Two bodies that do not touch, and a start that knows only one of them: only
        // the count sees the other.
        let one = beams(3, 2, 4, true);
        let sample = copies(&one, 2);
        let (alone, n) = (dense(&one, 4), one.group.len());
        let start = Vectors::from_fn(2 * n, 4, |i, j| if i < n { alone.vectors[(i, j)] } else { 0.0 });
        let settings = Settings { start: Some(&start), ..Settings::default() };
        let found = lowest(&pair(&sample), 8, &settings).unwrap();
        assert_eq!(found.method, Method::Sparse);
        for (i, w) in found.omega_squared.iter().enumerate() {
            assert!((w - alone.omega_squared[i / 2]).abs() <= 1e-9 * w, "{i} {w}");
        }
        sound(&sample, &found);
    }

    #[test]
    fn stiff_joints_leave_soft_modes_right() {
        // Each mass is two halves joined by a spring 1e9 times stiffer than the rest.
        let joined = |masses: usize| chain(2 * masses, |i| if i % 2 == 0 { 1.0 } else { 1e9 }, |_| 0.5);
        // A stiffness of 1e9 beside one of 1 is stored to about 1e-7 of the latter: no method sees more.
        let rounding = 1e9 * f64::EPSILON;
        for masses in [20, 200] {
            let found = solve(&joined(masses), 8);
            for (j, w) in found.omega_squared.iter().enumerate() {
                let exact = chain_mode(j, masses);
                assert!((w - exact).abs() < 2.0 * rounding, "{masses} {j} {w} {exact}");
            }
        }
    }

    #[test]
    fn dofs_without_mass_count_for_nothing() {
        // Each link is two springs of twice the stiffness about a point without mass.
        let series = |masses: usize| chain(2 * masses, |_| 2.0, |i| if i % 2 == 1 { 1.0 } else { 0.0 });
        for masses in [20, 150] {
            let found = solve(&series(masses), 12);
            for (j, w) in found.omega_squared.iter().enumerate() {
                let exact = chain_mode(j, masses);
                assert!((w - exact).abs() < 1e-9 * exact, "{masses} {j} {w} {exact}");
            }
            sound(&series(masses), &found);
            let all = solve(&series(masses), masses);
            let last = chain_mode(masses - 1, masses);
            assert!((all.omega_squared[masses - 1] - last).abs() < 1e-9 * last);
            let sample = series(masses);
            let more = lowest(&pair(&sample), masses + 1, &Settings::default());
            assert_eq!(more.err(), Some(EigenFault::TooManyModes { asked: masses + 1, available: masses }));
        }
    }

    #[test]
    fn few_masses_on_many_dofs() {
        let sample = chain(300, |_| 1.0, |i| if i % 100 == 99 { 1.0 } else { 0.0 });
        let found = solve(&sample, 3);
        for (j, w) in found.omega_squared.iter().enumerate() {
            assert!((w - chain_mode(j, 3) / 100.0).abs() < 1e-9 * w);
        }
        let more = lowest(&pair(&sample), 4, &Settings::default());
        assert_eq!(more.err(), Some(EigenFault::TooManyModes { asked: 4, available: 3 }));
    }

    #[test]
    fn inertia_counts_the_modes_below_any_shift() {
        let sample = beams(3, 3, 4, true);
        let pair = pair(&sample);
        let all = dense(&sample, pair.dofs()).omega_squared;
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        for i in 0..60 {
            // Shifts spread over the logarithm of the whole spectrum.
            let part = ((i + 1) as f64 * 0.618_034).fract();
            let shift = all[0] * (1.2 * all[all.len() - 1] / all[0]).powf(part);
            let factor = Factorisation::compute(&pair, &symbolic, shift).unwrap();
            assert_eq!(factor.below(), all.iter().filter(|w| **w < shift).count(), "{shift}");
        }
    }

    #[test]
    fn what_a_neighbour_knows_is_used_and_changes_nothing() {
        let sample = beams(5, 4, 6, true);
        let pair = pair(&sample);
        let symbolic = Arc::new(Symbolic::analyse(&pair).unwrap());
        let first = solve(&sample, 10);
        let start = Some(&first.vectors);
        let settings = Settings { symbolic: Some(symbolic), start, ..Settings::default() };
        let again = lowest(&pair, 10, &settings).unwrap();
        for (a, b) in first.omega_squared.iter().zip(&again.omega_squared) {
            assert!((a - b).abs() <= 1e-10 * a);
        }
        let other = beams(5, 4, 5, true);
        let refused = lowest(&self::pair(&other), 10, &Settings { start: None, ..settings });
        assert_eq!(refused.err(), Some(EigenFault::OtherPattern));
    }

    #[test]
    fn what_cannot_be_solved_is_refused() {
        let few = chain(5, |_| 1.0, |_| 1.0);
        let refusal = |sample: &Sample, count| lowest(&pair(sample), count, &Settings::default()).err();
        assert_eq!(refusal(&few, 6), Some(EigenFault::TooManyModes { asked: 6, available: 5 }));
        assert_eq!(refusal(&few, 0), Some(EigenFault::NoModes));
        let none = chain(0, |_| 1.0, |_| 1.0);
        assert_eq!(refusal(&none, 1), Some(EigenFault::Empty));
        for n in [6, 200] {
            // A point that nothing holds and that has no mass.
            let loose =
                chain(n, |i| if i + 1 < n { 1.0 } else { 0.0 }, |i| if i + 1 < n { 1.0 } else { 0.0 });
            assert_eq!(refusal(&loose, 3), Some(EigenFault::MasslessMechanism { dof: n - 1 }));
            let negative = chain(n, |i| if i + 1 < n { 1.0 } else { -3.0 }, |_| 1.0);
            assert!(refusal(&negative, 3).is_some());
            let massless = chain(n, |_| 1.0, |_| 0.0);
            assert_eq!(refusal(&massless, 3), Some(EigenFault::TooManyModes { asked: 3, available: 0 }));
        }
        let large = beams(5, 4, 6, true);
        let small = Settings { memory_limit: 100_000, ..Settings::default() };
        let refused = lowest(&pair(&large), 10, &small).err();
        assert!(matches!(refused, Some(EigenFault::TooLarge { allowed: 100_000, .. })), "{refused:?}");
    }

    /// Masses in a row, each held to the one before by a spring, the first to the ground.
    fn chain(n: usize, spring: impl Fn(usize) -> f64, mass: impl Fn(usize) -> f64) -> Sample {
        let mut assembly = Assembly::default();
        for i in 0..n {
            assembly.add(i, i, spring(i), mass(i));
            if let Some(before) = i.checked_sub(1) {
                assembly.add(before, before, spring(i), 0.0);
                assembly.add(i, before, -spring(i), 0.0);
                assembly.add(before, i, -spring(i), 0.0);
            }
        }
        assembly.finish(n, 1)
    }

    /// ω² of a uniform chain of `n` unit masses and springs, the first to the ground.
    fn chain_mode(j: usize, n: usize) -> f64 {
        4.0 * ((2 * j + 1) as f64 * std::f64::consts::PI / (2 * (2 * n + 1)) as f64).sin().powi(2)
    }

    /// The same structure several times over, side by side.
    fn copies(one: &Sample, times: usize) -> Sample {
        let n = one.group.len();
        let repeat = |matrix: &Sparse| {
            let all = |t| matrix.entries().map(move |(i, j, v)| (t * n + i, t * n + j, v));
            let entries: Vec<_> = (0..times).flat_map(all).collect();
            Sparse::from_triplets(times * n, &entries).unwrap()
        };
        Sample {
            stiffness: repeat(&one.stiffness),
            mass: repeat(&one.mass),
            group: (0..times * n).map(|i| i / 6).collect(),
        }
    }

    /// Shapes are M-orthonormal and satisfy the equation of motion.
    fn sound(sample: &Sample, found: &Eigenpairs) {
        let (k, m) = (sample.stiffness.as_faer(), sample.mass.as_faer());
        let phi = found.vectors.as_faer();
        let gram = phi.transpose() * (m * phi);
        let identity = Mat::<f64>::identity(gram.nrows(), gram.ncols());
        assert!((&gram - &identity).norm_max() < 1e-9, "{:e}", (&gram - &identity).norm_max());
        let scale = found.omega_squared.iter().fold(0.0_f64, |a, w| a.max(w.abs()));
        let weighted = Mat::from_fn(phi.nrows(), phi.ncols(), |i, j| phi[(i, j)] * found.omega_squared[j]);
        // The residual is measured by the motion that it would cause.
        let residual = found.factor.solve_faer((k * phi - m * weighted).as_ref()).unwrap();
        let energy = residual.transpose() * (m * &residual);
        for j in 0..energy.ncols() {
            let distance = (found.factor.shift() - found.omega_squared[j]).abs().min(scale);
            assert!(energy[(j, j)].abs().sqrt() < 1e-5 * scale / distance, "{j} {:e}", energy[(j, j)]);
        }
    }
}
