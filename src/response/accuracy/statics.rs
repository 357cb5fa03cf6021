//! At rest under any load, held to ground or free.
//!
//! ```text
//! K u = f     by conjugate gradients, preconditioned with (K + σ M)⁻¹
//! ```
//!
//! With σ far below the first ω² a held frame takes a step or two. The rigid-body motions of a
//! free one are taken out of every step, so that the answer has no momentum (zᵀ M u = 0 for
//! each of them). A load that nothing holds is refused.
//!
//! # Source
//! - `hestenes1952`: conjugate gradients
//! - `saad2003`: section 9.2, with a preconditioner

use super::loose::loose;
use crate::frame::{Frame, FrameFault, Layout, Matrices};
use crate::modes::{EigenFault, Factorisation, Pencil, Symbolic};
use faer::Mat;
use nalgebra::Vector6;
use std::fmt;
use std::sync::Arc;

/// The shift σ as a share of the smallest stiffness to mass ratio on the diagonal, and at least
/// of the largest one, below which rounding would hide it.
const SHIFT: [f64; 2] = [1e-8, 1e-13];
/// Energy of the residual, as a share of that of the load, at which the steps end.
const ENOUGH: f64 = 1e-24;
/// The share that still is an answer when rounding forbids more.
const BARELY: f64 = 1e-14;
/// The part of a load, relative to its parts' sizes, that may push a free motion by rounding.
const BALANCED: f64 = 1e-9;
/// Steps at most: each mode near σ costs one.
const STEPS: usize = 60;

/// Why a frame has no state of rest.
#[derive(Debug, Clone, PartialEq)]
pub enum RestFault {
    /// The frame is none.
    Frame(Vec<FrameFault>),
    /// Its matrices cannot be factored.
    Matrices(EigenFault),
    /// Nothing holds the frame against the load.
    NotHeld,
}

impl fmt::Display for RestFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            RestFault::Frame(faults) => {
                let list: Vec<String> = faults.iter().map(FrameFault::to_string).collect();
                write!(f, "{}", list.join("\n"))
            }
            RestFault::Matrices(fault) => write!(f, "{fault}"),
            RestFault::NotHeld => {
                write!(f, "0 of the feet and anchors hold the base against this load; add what it stands on")
            }
        }
    }
}

impl std::error::Error for RestFault {}

/// A frame ready for loads.
pub struct Statics<'a> {
    /// The frame.
    pub frame: &'a Frame,
    /// Its freedoms.
    pub layout: Layout,
    matrices: Matrices,
    factor: Factorisation,
    free: Vec<Free>,
}

/// A rigid-body motion z that nothing holds, zᵀ M z = 1.
struct Free {
    motion: Vec<f64>,
    /// M z.
    weighed: Vec<f64>,
}

impl<'a> Statics<'a> {
    /// Prepares `frame` with each member divided into `pieces`.
    ///
    /// # Errors
    /// [`RestFault::Frame`] for what is no frame, [`RestFault::Matrices`] for one too large or
    /// with a part that has neither stiffness nor mass.
    pub fn new(frame: &'a Frame, pieces: usize) -> Result<Statics<'a>, RestFault> {
        let layout = Layout::new(frame, &vec![pieces; frame.members.len()]).map_err(RestFault::Frame)?;
        let matrices = layout.matrices(frame).ok_or(RestFault::Matrices(EigenFault::OtherPattern))?;
        let (k, m) = (&matrices.stiffness, &matrices.mass);
        let pencil = Pencil { stiffness: k, mass: m, group: &layout.group };
        let symbolic = Arc::new(Symbolic::new(&pencil).map_err(RestFault::Matrices)?);
        let ratios = (0..layout.freedoms())
            .filter_map(|i| Some((*k.get(i, i)?, *m.get(i, i)?)))
            .filter(|(_, mass)| *mass > 0.0)
            .map(|(stiffness, mass)| stiffness / mass);
        let (least, most) =
            ratios.fold((f64::INFINITY, 0.0f64), |(least, most), ratio| (least.min(ratio), most.max(ratio)));
        let shift = if most > 0.0 { (SHIFT[0] * least).max(SHIFT[1] * most) } else { 0.0 };
        let factor = Factorisation::new(&pencil, &symbolic, -shift).map_err(RestFault::Matrices)?;
        let free = independent(loose(frame, &layout), &matrices);
        Ok(Statics { frame, layout, matrices, factor, free })
    }

    /// True when some rigid-body motion is not held.
    pub fn is_free(&self) -> bool {
        !self.free.is_empty()
    }

    /// The motion of the freedoms under `load`, shape (n), m and rad.
    ///
    /// # Errors
    /// [`RestFault::NotHeld`] when the load pushes what nothing holds.
    pub fn solve(&self, load: &[f64]) -> Result<Vec<f64>, RestFault> {
        let n = load.len();
        let mut motion = vec![0.0; n];
        if load.iter().all(|f| *f == 0.0) {
            return Ok(motion);
        }
        let largest = |v: &[f64]| v.iter().map(|x| x.abs()).fold(0.0, f64::max);
        for free in &self.free {
            let size: f64 = free.motion.iter().zip(load).map(|(z, f)| (z * f).abs()).sum();
            let rounding = 1e-12 * largest(&free.motion) * largest(load);
            if dot(&free.motion, load).abs() > BALANCED * size + rounding {
                return Err(RestFault::NotHeld);
            }
        }
        let mut residual = load.to_vec();
        let mut step = self.precondition(&residual)?;
        let mut size = dot(&residual, &step);
        let first = size;
        let mut best = f64::INFINITY;
        for _ in 0..STEPS {
            let pushed = self.pushed(&step);
            let stiffness = dot(&step, &pushed);
            if stiffness <= 0.0 || stiffness.is_nan() {
                break;
            }
            let length = size / stiffness;
            for i in 0..n {
                motion[i] += length * step[i];
                residual[i] -= length * pushed[i];
            }
            let next = self.precondition(&residual)?;
            let left = dot(&residual, &next);
            best = left;
            if left <= ENOUGH * first || left.is_nan() {
                break;
            }
            let keep = left / size;
            for i in 0..n {
                step[i] = next[i] + keep * step[i];
            }
            size = left;
        }
        let finite = motion.iter().all(|u| u.is_finite());
        if finite && best <= BARELY * first { Ok(motion) } else { Err(RestFault::NotHeld) }
    }

    /// The motion of a point in global axes when the freedoms are at `motion`.
    pub fn point(&self, point: usize, motion: &[f64]) -> Vector6<f64> {
        Vector6::from_fn(|axis, _| self.layout.freedom(point, axis).map_or(0.0, |f| motion[f]))
    }

    /// `load` with what would push the free motions taken out, as if the frame fell with it.
    pub(super) fn balanced(&self, load: &[f64]) -> Vec<f64> {
        let mut balanced = load.to_vec();
        for free in &self.free {
            less(&mut balanced, &free.weighed, dot(&free.motion, load));
        }
        balanced
    }

    /// The rigid-body motions that nothing holds, zᵀ M z = 1, each of shape (n).
    pub(super) fn free_motions(&self) -> impl Iterator<Item = &[f64]> {
        self.free.iter().map(|free| free.motion.as_slice())
    }

    fn pushed(&self, motion: &[f64]) -> Vec<f64> {
        product(&self.matrices.stiffness, motion)
    }

    fn precondition(&self, residual: &[f64]) -> Result<Vec<f64>, RestFault> {
        let right = self.balanced(residual);
        let right = Mat::from_fn(right.len(), 1, |i, _| right[i]);
        let x = self.factor.solve(right.as_ref()).map_err(RestFault::Matrices)?;
        let mut step: Vec<f64> = (0..residual.len()).map(|i| x[(i, 0)]).collect();
        for free in &self.free {
            let share = dot(&free.weighed, &step);
            less(&mut step, &free.motion, share);
        }
        Ok(step)
    }
}

/// Motions made orthonormal in the mass; those that move no mass are left out.
fn independent(motions: Vec<Vec<f64>>, matrices: &Matrices) -> Vec<Free> {
    let mut free: Vec<Free> = Vec::new();
    for mut motion in motions {
        // Twice is enough.
        for _ in 0..2 {
            for other in &free {
                let share = dot(&other.weighed, &motion);
                less(&mut motion, &other.motion, share);
            }
        }
        let weighed = product(&matrices.mass, &motion);
        let size = dot(&motion, &weighed).sqrt();
        if size > 0.0 {
            let unit = |v: Vec<f64>| v.into_iter().map(|x| x / size).collect();
            free.push(Free { motion: unit(motion), weighed: unit(weighed) });
        }
    }
    free
}

/// a -= share b.
fn less(a: &mut [f64], b: &[f64], share: f64) {
    for (a, b) in a.iter_mut().zip(b) {
        *a -= share * b;
    }
}

/// aᵀ b.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn product(matrix: &faer::sparse::SparseColMat<usize, f64>, vector: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; vector.len()];
    for (column, x) in vector.iter().enumerate() {
        let rows = matrix.symbolic().row_idx_of_col_raw(column);
        for (row, value) in rows.iter().zip(matrix.val_of_col(column)) {
            sum[*row] += value * x;
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::sample::{cantilever, crooked};
    use approx::assert_relative_eq;
    use nalgebra::Vector3;

    #[test]
    fn a_held_frame_answers_as_a_dense_solution_does() {
        let frame = crooked();
        let statics = Statics::new(&frame, 3).unwrap();
        let load = statics.layout.at_point(2, &Vector6::new(1.0, 2.0, -3.0, 0.5, 0.2, 0.1));
        let motion = statics.solve(&load).unwrap();
        let dense = statics.matrices.stiffness.to_dense();
        let right = Mat::from_fn(load.len(), 1, |i, _| load[i]);
        use faer::linalg::solvers::Solve;
        let exact = dense.partial_piv_lu().solve(&right);
        let size = motion.iter().map(|u| u.abs()).fold(0.0, f64::max);
        for (i, u) in motion.iter().enumerate() {
            assert_relative_eq!(*u, exact[(i, 0)], epsilon = 1e-9 * size);
        }
    }

    #[test]
    fn a_free_frame_answers_balanced_loads_without_momentum() {
        let mut frame = crooked();
        frame.feet.clear();
        let statics = Statics::new(&frame, 4).unwrap();
        let pull = Vector6::new(1.0, 0.0, 0.0, 0.0, 0.0, 2.0);
        let strains = [[pull * 1e-4; 2], [pull * 2e-4; 2], [pull * -1e-4; 2]];
        let load = statics.layout.free_strain_load(&frame, &strains).unwrap();
        let motion = statics.solve(&load).unwrap();
        let left: Vec<f64> = statics.pushed(&motion).iter().zip(&load).map(|(a, b)| a - b).collect();
        let size = dot(&load, &load).sqrt();
        assert!(dot(&left, &left).sqrt() < 1e-8 * size);
        let momentum = product(&statics.matrices.mass, &motion);
        for axis in 0..3 {
            let unit = nalgebra::Matrix6::identity().column(axis).into_owned();
            let rigid = statics.layout.rigid_motion(&frame, &unit, &Vector3::zeros());
            let size: f64 = rigid.iter().zip(&momentum).map(|(a, b)| (a * b).abs()).sum();
            assert!(dot(&rigid, &momentum).abs() < 1e-9 * size, "{axis}");
        }
    }

    #[test]
    fn a_load_that_nothing_holds_is_refused() {
        let mut frame = cantilever();
        frame.anchors.clear();
        let statics = Statics::new(&frame, 4).unwrap();
        let down = statics.layout.at_point(1, &-Vector6::z());
        assert_eq!(statics.solve(&down), Err(RestFault::NotHeld));
    }
}
