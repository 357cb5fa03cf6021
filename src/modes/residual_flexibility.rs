//! Residual flexibility: what the computed modes leave out, as a few lumped modes that given loads see.
//!
//! The modes above the last computed one are not known one by one, but their response to loads B is: a few
//! steps of inverse iteration from the loads, with the computed modes projected out, span a small space
//!
//! ```text
//! x₁ = (K - σ M)⁻¹ (B - M Φ Φᵀ B),   x₂ = (K - σ M)⁻¹ M x₁, ...   σ just above the last mode found
//! ```
//!
//! in which K and M have a few modes of their own, the lumps. Where the loads see one mode above strongly, a
//! lump comes out as that mode. Where many modes share what is left, a lump stands for several of them: its
//! frequency lies among theirs, its loss factor is the mean of theirs by strain energy, and the sum of
//! `(bᵀy)²/ω²` over all lumps is the flexibility that the computed modes leave out, as far as the steps
//! resolve it. A sharp mode hidden in a lump of lossy ones is not resolved.
//!
//! Modes that are closer together than their bandwidth exchange damping. The loss factor of a lump is
//! therefore the smaller of that by strain energy and that of the complex eigenproblem of the lumps and the
//! last computed modes together.
//!
//! # Source
//! - `wilson1982`: vectors that follow from the loads in place of modes

use super::solve::Spectrum;
use faer::Col;
use nalgebra::{DMatrix, SymmetricEigen};
use num_complex::Complex64;
use stillbed_eigen::{EigenFault, Vectors, matched_eigenvalues};

/// Steps of inverse iteration.
const STEPS: usize = 4;

/// A vector is dependent when less than this fraction of its length is left once the modes and the vectors
/// before it are projected out.
const LEAST_LEFT: f64 = 1e-6;

/// How many of the computed modes, the last, may exchange damping with a lump.
const LAST: usize = 6;

/// A lump is a mode when one step less finds ω² within this relative difference.
const FOUND: f64 = 0.01;

/// A lump of modes that were not computed.
#[derive(Debug, Clone, PartialEq)]
pub struct ResidualMode {
    /// ω² in (rad/s)².
    pub omega_squared: f64,
    /// Loss factor, the smallest that it may have.
    pub loss_factor: f64,
    /// True when one step less finds it too: it is one mode, not a lump of several.
    pub is_mode: bool,
    /// What each load sees of it, bᵀ y with yᵀ M y = 1.
    pub seen: Vec<f64>,
}

impl Spectrum {
    /// The residual flexibility seen by `loads`, (n, count), as lumps, lowest first.
    ///
    /// # Errors
    /// What stopped the solutions.
    pub fn left_out(&self, loads: &Vectors) -> Result<Vec<ResidualMode>, EigenFault> {
        let (mass, modes) = (self.matrices.mass.as_faer(), &self.pairs.vectors);
        let mass_modes = self.matrices.mass.times(modes)?;
        let inside = mass_modes.combined(&modes.inner(loads)?)?;
        let mut step = Vectors::from(loads.as_faer() - inside.as_faer());
        // Vectors of unit length in the norm of M, and their images under M.
        let mut space: Vec<[Col<f64>; 2]> = Vec::new();
        let mut before_last = 0;
        for _ in 0..STEPS {
            let solution = self.pairs.factor.solve(&step)?;
            let mut cleared = solution.clone();
            for _ in 0..2 {
                let inside = modes.combined(&mass_modes.inner(&cleared)?)?;
                cleared = (cleared.as_faer() - inside.as_faer()).into();
            }
            let (solution, cleared) = (solution.as_faer(), cleared.as_faer());
            let known = space.len();
            for j in 0..cleared.ncols() {
                let mut column = cleared.col(j).to_owned();
                for _ in 0..2 {
                    for [own, image] in &space {
                        let part: f64 = image.transpose() * &column;
                        column -= faer::Scale(part) * own;
                    }
                }
                let image = mass * &column;
                let length = |square: f64| square.max(0.0).sqrt();
                let left = length(column.transpose() * &image);
                let whole = solution.col(j);
                let before = length(whole.transpose() * (mass * whole));
                if left > LEAST_LEFT * before {
                    space.push([column, image].map(|c| faer::Scale(1.0 / left) * c));
                }
            }
            let fresh = &space[known..];
            before_last = known;
            if fresh.is_empty() {
                break;
            }
            step = Vectors::from_fn(loads.rows(), fresh.len(), |i, j| fresh[j][1][i]);
        }
        let space = Vectors::from_fn(loads.rows(), space.len(), |i, j| space[j][0][i]);
        self.lumps(&space, before_last, loads)
    }

    /// The modes of K and M in `space`, whose vectors are orthonormal in M and orthogonal to the computed
    /// modes; those of the last step follow `before_last` others.
    fn lumps(
        &self,
        space: &Vectors,
        before_last: usize,
        loads: &Vectors,
    ) -> Result<Vec<ResidualMode>, EigenFault> {
        let inner = space.inner(&self.matrices.stiffness.times(space)?)?;
        let stiffness =
            DMatrix::from_fn(inner.rows(), inner.count(), |i, j| 0.5 * (inner[(i, j)] + inner[(j, i)]));
        if stiffness.is_empty() || stiffness.iter().any(|k| !k.is_finite()) {
            return Ok(Vec::new());
        }
        let fewer = match before_last {
            0 => Vec::new(),
            few => stiffness.view((0, 0), (few, few)).symmetric_eigenvalues().as_slice().to_vec(),
        };
        let SymmetricEigen { eigenvalues, eigenvectors } = SymmetricEigen::new(stiffness);
        let is_mode = |own: f64| fewer.iter().any(|other| (other - own).abs() < FOUND * own);
        let count = eigenvalues.len();
        let shapes = space.combined(&Vectors::from_fn(count, count, |i, j| eigenvectors[(i, j)]))?;
        let losses = self.least_losses(&shapes, eigenvalues.as_slice())?;
        let seen = loads.inner(&shapes)?;
        let lump = |j: usize| ResidualMode {
            omega_squared: eigenvalues[j],
            loss_factor: losses[j],
            is_mode: is_mode(eigenvalues[j]),
            seen: seen.column(j).to_vec(),
        };
        let mut lumps: Vec<ResidualMode> = (0..count).map(lump).filter(|l| l.omega_squared > 0.0).collect();
        lumps.sort_by(|a, b| a.omega_squared.total_cmp(&b.omega_squared));
        Ok(lumps)
    }

    /// The smallest loss factor of each lump; `shapes` have unit mass, `squares` are their ω².
    fn least_losses(&self, shapes: &Vectors, squares: &[f64]) -> Result<Vec<f64>, EigenFault> {
        let modes = &self.pairs.vectors;
        let beside = LAST.min(self.elastic.len());
        let first = modes.count() - beside;
        let own = squares.len();
        let both = Vectors::from_fn(shapes.rows(), own + beside, |i, j| {
            if j < own { shapes[(i, j)] } else { modes[(i, first + j - own)] }
        });
        let lost = both.inner(&self.matrices.loss.times(&both)?)?;
        let stored = |j: usize| if j < own { squares[j] } else { self.pairs.omega_squared[first + j - own] };
        let by_energy = |j: usize| if stored(j) > 0.0 { (lost[(j, j)] / stored(j)).max(0.0) } else { 0.0 };
        let complex = Vectors::from_fn(own + beside, own + beside, |i, j| {
            Complex64::new(if i == j { stored(i) } else { 0.0 }, 0.5 * (lost[(i, j)] + lost[(j, i)]))
        });
        let loss = |lambda: &Complex64| (lambda.im / lambda.re).max(0.0);
        let shared: Option<Vec<f64>> =
            matched_eigenvalues(&complex, own).map(|lambda| lambda.iter().map(loss).collect());
        let least = |j: usize| shared.as_ref().map_or(by_energy(j), |shared| shared[j].min(by_energy(j)));
        Ok((0..own).map(least).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Asked, solve};
    use super::*;
    use crate::sample::{cantilever, member, point, square};
    use nalgebra::Vector6;

    /// A cantilever in one plane, so slender that bending alone matters, and a force at its tip.
    fn bent(count: usize) -> (Spectrum, Vectors) {
        let mut frame = cantilever();
        for (i, stiff) in [(0, 1e3), (1, 1e6), (2, 1e6), (3, 1e3), (5, 1e3)] {
            frame.sections[0].stiffness[(i, i)] *= stiff;
        }
        (3..6).for_each(|i| frame.sections[0].mass[(i, i)] *= 1e-4);
        let asked = Asked { count, pieces: vec![24], tolerance: 1e9, ..Asked::default() };
        let spectrum = solve(&frame, &asked).unwrap();
        let load = spectrum.layout.between(1, None, &Vector6::new(0.0, 0.0, 1.0, 0.0, 0.0, 0.0));
        let load = Vectors::single(&load);
        (spectrum, load)
    }

    #[test]
    fn the_flexibility_left_out_is_that_of_the_closed_form() {
        // At the tip every bending mode has φ² = 4/m: l³/(3 EI) = Σ 4 l³ / (β⁴ EI), so that with two modes
        // 1 - 12/1.8751⁴ - 12/4.6941⁴ = 0.0046852 of the static flexibility is left out.
        let (spectrum, load) = bent(2);
        let lumps = spectrum.left_out(&load).unwrap();
        let left: f64 = lumps.iter().map(|l| l.seen[0].powi(2) / l.omega_squared).sum();
        let ei = 210e9 * 0.02f64.powi(4) / 12.0;
        let share = left * 3.0 * ei;
        let exact = 1.0 - 12.0 / 1.875_104_07f64.powi(4) - 12.0 / 4.694_091_13f64.powi(4);
        assert!((share / exact - 1.0).abs() < 0.03, "{share} {exact}");
        // The lowest lump is nearly the third mode, and never below it.
        let third = 7.854_757_44f64.powi(4) * ei / (7850.0 * 4e-4);
        let ratio = lumps[0].omega_squared / third;
        assert!((0.99..1.1).contains(&ratio), "{ratio}");
    }

    #[test]
    fn a_lump_that_is_a_mode_is_no_lossier_than_the_mode() {
        // Two posts beside each other, one of them lossy, of nearly one frequency and joined by a soft rail:
        // the two modes exchange damping, and the sharper one is far below its loss factor by strain energy.
        let mut frame = cantilever();
        frame.points.extend([point("p2", 0.0, 0.5, 0.0), point("p3", 1.0, 0.5, 0.0)]);
        frame.anchors[0].at.push(2);
        frame.members.extend([member("other", 2, 3), member("rail", 1, 3)]);
        let lossy = |side: f64, loss: f64| {
            let mut section = square(side);
            section.stiffness.iter_mut().for_each(|s| s.im = loss * s.re);
            section
        };
        frame.sections = vec![lossy(0.02, 1e-4), lossy(0.02, 0.1), lossy(0.004, 1e-4)];
        (frame.members[1].section, frame.members[2].section) = (1, 2);
        let asked = |count| Asked { count, tolerance: 1e-6, ..Asked::default() };
        let all = solve(&frame, &asked(12)).unwrap();
        let damped = all.poles(stillbed_eigen::Precision::FULL).unwrap();
        let mut shared = 0;
        for count in 1..6 {
            let few = solve(&frame, &asked(count)).unwrap();
            let load = few.layout.between(1, None, &Vector6::new(0.0, 0.4, 1.0, 0.0, 0.0, 0.0));
            let load = Vectors::single(&load);
            for lump in few.left_out(&load).unwrap().iter().filter(|lump| lump.is_mode) {
                let same =
                    |i: &usize| (all.elastic[*i].omega_squared / lump.omega_squared - 1.0).abs() < 1e-3;
                let Some(mode) = (0..all.elastic.len()).find(same) else { continue };
                let by_energy = all.loss_by_energy(&all.elastic[mode]);
                assert!(
                    lump.loss_factor <= 1.02 * damped[mode].loss_factor,
                    "{count} {mode}: {lump:?} {damped:?}"
                );
                assert!(lump.loss_factor > 0.0);
                shared += usize::from(lump.loss_factor < 0.5 * by_energy);
            }
        }
        assert!(shared > 0);
    }

    #[test]
    fn nothing_is_left_where_nothing_is_loaded() {
        let (spectrum, load) = bent(2);
        let none = Vectors::single(&vec![0.0; load.rows()]);
        assert!(spectrum.left_out(&none).unwrap().is_empty());
    }

    #[test]
    fn more_modes_leave_less() {
        let left = |count| -> f64 {
            let (spectrum, load) = bent(count);
            let lumps = spectrum.left_out(&load).unwrap();
            lumps.iter().map(|l| l.seen[0].powi(2) / l.omega_squared).sum()
        };
        let [few, more, most] = [1, 3, 5].map(left);
        assert!(few > 3.0 * more && more > 1.5 * most && most > 0.0, "{few} {more} {most}");
    }

    #[test]
    fn a_lump_is_called_a_mode_only_where_one_is() {
        let (few, load) = bent(2);
        let (all, _) = bent(20);
        let lumps = few.left_out(&load).unwrap();
        let near = |lump: &ResidualMode| {
            let off = |mode: &super::super::Elastic| (mode.omega_squared / lump.omega_squared - 1.0).abs();
            all.elastic.iter().map(off).fold(f64::INFINITY, f64::min)
        };
        for lump in lumps.iter().filter(|lump| lump.is_mode) {
            assert!(near(lump) < 0.01, "{lump:?}: {}", near(lump));
        }
        let [modes, others] = [true, false].map(|is| lumps.iter().filter(|lump| lump.is_mode == is).count());
        assert!(modes > 0 && others > 0, "{lumps:?}");
    }
}
