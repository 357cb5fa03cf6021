//! The modes of one drawing with many sections: what they share is made once.
//!
//! The members are divided once, finely enough for the frames that the caller names. Elimination order and
//! sparsity pattern are shared, and each search starts from the modes of a similar frame. A frame for which
//! the common subdivision is too coarse gets no modes here; the caller solves it on its own.

use super::elimination_order::{EliminationOrder, pair};
use super::mechanism::ModesFault;
use super::rigid_body::RigidMotion;
use super::solve::{Asked, BEYOND, Spectrum, corrected, solve};
use super::subdivision::{NEAREST, Waves};
use nalgebra::DMatrix;
use std::sync::Arc;
use stillbed_eigen::EigenFault;
use stillbed_eigen::{Patterns, Settings, Sparse, Vectors, lowest_unchecked};
use stillbed_frame::{Frame, Layout, Matrices};

/// What the frames of one drawing share.
#[derive(Debug, Clone)]
pub struct Series {
    /// The common subdivision.
    pub layout: Arc<Layout>,
    /// The common elimination order.
    pub orders: Arc<EliminationOrder>,
    /// Modes of the first frame, (n, any): a start for frames without a similar one.
    pub start: Vectors,
    /// How many basis vectors they were found in.
    basis: usize,
    rigid: Vec<RigidMotion>,
    asked: Asked,
}

impl Series {
    /// A subdivision that serves all of `frames`, which differ only in their sections and springs.
    ///
    /// # Errors
    /// Those of [`solve`] for the first frame; [`ModesFault::Frame`] when there is none. Other frames that
    /// have no solution are left out.
    pub fn prepare(frames: &[Frame], asked: &Asked) -> Result<Series, ModesFault> {
        let broken = || ModesFault::Frame(Vec::new());
        let first = frames.first().ok_or_else(broken)?;
        let mut pieces = solve(first, asked)?.layout.pieces.clone();
        for frame in &frames[1..] {
            if let Ok(spectrum) = solve(frame, asked) {
                pieces.iter_mut().zip(&spectrum.layout.pieces).for_each(|(all, own)| *all = (*own).max(*all));
            }
        }
        let spectrum = solve(first, &Asked { pieces, ..asked.clone() })?;
        Series::about(&spectrum, asked).map_err(ModesFault::Eigen)
    }

    /// The subdivision of `spectrum`, for frames that differ from its own only in sections and springs.
    ///
    /// # Errors
    /// Those of [`EliminationOrder::analyse`].
    pub fn about(spectrum: &Spectrum, asked: &Asked) -> Result<Series, EigenFault> {
        let orders = spectrum.elimination_order()?;
        Ok(Series {
            layout: Arc::clone(&spectrum.layout),
            orders: Arc::new(orders),
            start: spectrum.pairs.vectors.clone(),
            basis: spectrum.pairs.basis,
            rigid: spectrum.rigid.clone(),
            asked: Asked { pieces: Vec::new(), ..asked.clone() },
        })
    }

    /// The same for frames that are joined like `frame`, which differs from the others in its joints: its members
    /// are divided alike, and the search starts from the same motions.
    ///
    /// # Errors
    /// The faults of the frame, or those of [`EliminationOrder::analyse`].
    pub fn jointed(&self, frame: &Frame) -> Result<Series, ModesFault> {
        let layout = Arc::new(Layout::divide(frame, &self.layout.pieces).map_err(ModesFault::Frame)?);
        let matrices = layout.matrices(frame).ok_or(ModesFault::Range)?;
        let orders = EliminationOrder::analyse(Arc::clone(&layout), &matrices, &Patterns::default());
        let start: Vec<Vec<f64>> =
            self.start.columns().map(|motion| layout.taken_over(&self.layout, motion)).collect();
        Ok(Series {
            orders: Arc::new(orders.map_err(ModesFault::Eigen)?),
            start: Vectors::from_fn(layout.dofs(), start.len(), |i, j| start[j][i]),
            layout,
            ..self.clone()
        })
    }

    /// The modes of a whole frame in the common layout, as [`Series::solve`].
    ///
    /// # Errors
    /// What stopped the eigenvalue solution.
    pub fn solve_frame(&self, frame: &Frame, limit: f64) -> Result<Option<Spectrum>, EigenFault> {
        let Some((matrices, bulge)) = self.layout.matrices_and_bulge(frame) else { return Ok(None) };
        self.solve(matrices, &bulge, limit, &self.start)
    }

    /// The circular frequency, rad/s, up to which the common subdivision serves all members of `frame`.
    pub fn least_limit(&self, frame: &Frame) -> f64 {
        (0..frame.sections.len()).map(|section| self.limit(frame, section)).fold(f64::INFINITY, f64::min)
    }

    /// The circular frequency, rad/s, up to which the common subdivision serves the members of
    /// section `section` of `frame`.
    pub fn limit(&self, frame: &Frame, section: usize) -> f64 {
        let members = frame.members.iter().zip(&self.layout.pieces);
        let own = members.filter(|(member, _)| member.section == section);
        let limit = |(member, pieces): (_, &usize)| {
            Waves::along(frame, member).map_or(0.0, |waves| waves.limit(*pieces))
        };
        own.map(limit).fold(f64::INFINITY, f64::min)
    }

    /// The modes of `matrices` in the common layout, started from the modes `start` of a similar
    /// frame; `None` when the common subdivision is too coarse for them, or a mode asked for
    /// lies above `limit`, rad/s.
    ///
    /// # Errors
    /// What stopped the eigenvalue solution.
    pub fn solve(
        &self,
        matrices: Matrices,
        bulge: &Sparse,
        limit: f64,
        start: &Vectors,
    ) -> Result<Option<Spectrum>, EigenFault> {
        let (rigid, count) = (self.rigid.len(), self.asked.count);
        let sought = (rigid + count + BEYOND).min(self.layout.dofs());
        if sought < rigid + count {
            return Ok(None);
        }
        let settings = Settings {
            symbolic: Some(Arc::clone(&self.orders.symbolic)),
            start: Some(start),
            expected: Some(self.basis),
            ..Settings::default()
        };
        let pairs = match lowest_unchecked(&pair(&self.layout, &matrices), sought, &settings) {
            Err(EigenFault::TooManyModes { .. }) => return Ok(None),
            other => other?,
        };
        let lambda = &pairs.omega_squared[rigid..];
        let motions: Vec<&[f64]> = (rigid..sought).map(|i| pairs.vectors.column(i)).collect();
        let bulged = bulge.times(&pairs.vectors)?;
        let bulge = DMatrix::from_fn(sought - rigid, sought - rigid, |i, j| {
            motions[i].iter().zip(bulged.column(rigid + j)).map(|(a, b)| a * b).sum()
        });
        let excess = |mode: usize| lambda[mode] * bulge[(mode, mode)];
        let top = lambda[count - 1].max(0.0).sqrt();
        let worst = (0..count).map(excess).fold(0.0, f64::max);
        // A little more than the reference is allowed, because frames are seldom equal to it.
        if top > limit || worst > 2.0 * self.asked.excess() {
            return Ok(None);
        }
        let elastic = corrected(&motions, lambda, &bulge, |mode, _| NEAREST * excess(mode));
        let layout = Arc::clone(&self.layout);
        Ok(Some(Spectrum::new(layout, matrices, (pairs, &bulge), self.rigid.clone(), elastic, count)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{square, table};
    use stillbed_frame::Portion;

    #[test]
    fn a_neighbour_has_the_modes_of_its_own_solution() {
        let asked = Asked { count: 6, ..Asked::default() };
        let first = table();
        let mut other = table();
        other.sections = vec![square(0.05)];
        let series = Series::prepare(&[first, other.clone()], &asked).unwrap();
        let portions: [Portion; 2] = [
            series.layout.portion_of_section(&other, 0).unwrap(),
            series.layout.portion_carried(&other).unwrap(),
        ];
        let (matrices, bulge) = series.layout.summed(portions.iter());
        let limit = series.limit(&other, 0);
        let found = series.solve(matrices, &bulge, limit, &series.start).unwrap().unwrap();
        let alone = solve(&other, &asked).unwrap();
        for (a, b) in found.elastic.iter().zip(&alone.elastic) {
            let error = (a.frequency() / b.frequency() - 1.0).abs();
            assert!(error <= a.frequency_error + b.frequency_error + 1e-9, "{error}");
            assert!(a.frequency_error <= 4.0 * asked.tolerance, "{}", a.frequency_error);
        }
        let (matrices, bulge) = series.layout.summed(portions.iter());
        assert!(series.solve(matrices, &bulge, 1.0, &series.start).unwrap().is_none());
    }
}
