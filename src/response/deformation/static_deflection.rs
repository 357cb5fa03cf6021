//! The static deflection of a frame under a load that feet and anchors hold, or that is balanced in itself.
//!
//! Members are subdivided, so that lines have places between their ends. A load that would move a free base
//! as a rigid body is refused rather than balanced by inertia:
//!
//! ```text
//! |zᵀ f| > 1e-9 Σ |z_i f_i| + 1e-5 l max |z| max |f|      for a rigid-body motion z that nothing holds
//! ```
//!
//! with l the size of the base. Three held points that are off one line by less than 1e-5 of l let the base
//! turn about that line, and a load along the line then has a lever arm as short as that.

use std::fmt;
use stillbed_eigen::{Patterns, Vectors};
use stillbed_frame::{Frame, FrameFault};
use stillbed_modes::{ModesFault, Statics};

/// Rounding lets a load act on a free rigid-body motion by up to this fraction of its components' sizes.
const BALANCED: f64 = 1e-9;

/// Held points off one line by less than this, relative to the size of the base, leave it free to turn about
/// it.
const OFF_LINE: f64 = 1e-5;

/// Elements that each member is subdivided into; even, so that the middle is a place.
pub(crate) const PIECES: usize = 24;

/// Why a frame has no static deflection.
#[derive(Debug, Clone, PartialEq)]
pub enum DeflectionFault {
    /// The frame is invalid.
    Frame(Vec<FrameFault>),
    /// It cannot be solved.
    Unsolved(ModesFault),
    /// Nothing holds the frame against the load.
    NotHeld,
}

impl fmt::Display for DeflectionFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            DeflectionFault::Frame(faults) => {
                let list: Vec<String> = faults.iter().map(FrameFault::to_string).collect();
                write!(f, "{}", list.join("\n"))
            }
            DeflectionFault::Unsolved(fault) => write!(f, "{fault}"),
            DeflectionFault::NotHeld => {
                write!(f, "0 of the feet and anchors hold the base against this load; add what it stands on")
            }
        }
    }
}

impl std::error::Error for DeflectionFault {}

impl From<ModesFault> for DeflectionFault {
    fn from(fault: ModesFault) -> DeflectionFault {
        match fault {
            ModesFault::Frame(faults) => DeflectionFault::Frame(faults),
            other => DeflectionFault::Unsolved(other),
        }
    }
}

/// `frame` ready for loads, each member subdivided into `pieces` elements.
///
/// # Errors
/// [`DeflectionFault::Frame`] for an invalid frame, [`DeflectionFault::Unsolved`] for a mechanism.
pub(crate) fn subdivided(frame: &Frame, pieces: usize) -> Result<Statics<'_>, DeflectionFault> {
    Ok(Statics::factor_divided(frame, &vec![pieces; frame.members.len()], &Patterns::default())?)
}

/// The displacements of the degrees of freedom under `load`, shape (n), m and rad.
///
/// # Errors
/// [`DeflectionFault::NotHeld`] when the load acts on a rigid-body motion that nothing holds.
pub(crate) fn deflection(statics: &Statics, load: &[f64]) -> Result<Vec<f64>, DeflectionFault> {
    let largest = |v: &[f64]| v.iter().map(|x| x.abs()).fold(0.0, f64::max);
    for free in statics.free_motions() {
        let size: f64 = free.iter().zip(load).map(|(z, f)| (z * f).abs()).sum();
        let lever = OFF_LINE * reach(statics.frame) * largest(free) * largest(load);
        if dot(free, load).abs() > BALANCED * size + lever {
            return Err(DeflectionFault::NotHeld);
        }
    }
    let motion = statics.solve(&Vectors::single(load)).map_err(ModesFault::Eigen)?;
    let motion = motion.column(0).to_vec();
    if motion.iter().all(|u| u.is_finite()) { Ok(motion) } else { Err(DeflectionFault::NotHeld) }
}

/// The largest distance of a point of `frame` from the first, m.
fn reach(frame: &Frame) -> f64 {
    let from_first = |point: &stillbed_frame::Point| (point.position - frame.points[0].position).norm();
    frame.points.iter().map(from_first).fold(0.0, f64::max)
}

/// aᵀ b.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{cantilever, crooked};
    use approx::assert_relative_eq;
    use faer::Mat;
    use nalgebra::{Vector3, Vector6};

    fn product(matrix: &stillbed_eigen::Sparse, vector: &[f64]) -> Vec<f64> {
        let column = Mat::from_fn(vector.len(), 1, |i, _| vector[i]);
        (matrix.as_faer() * &column).col_as_slice(0).to_vec()
    }

    #[test]
    fn a_held_frame_answers_as_a_dense_solution_does() {
        let frame = crooked();
        let statics = subdivided(&frame, 3).unwrap();
        let load = statics.layout.at_point(2, &Vector6::new(1.0, 2.0, -3.0, 0.5, 0.2, 0.1));
        let motion = deflection(&statics, &load).unwrap();
        let dense = statics.layout.matrices(&frame).unwrap().stiffness.as_faer().to_dense();
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
        let statics = subdivided(&frame, 4).unwrap();
        let pull = Vector6::new(1.0, 0.0, 0.0, 0.0, 0.0, 2.0);
        let strains = [[pull * 1e-4; 2], [pull * 2e-4; 2], [pull * -1e-4; 2]];
        let load = statics.layout.free_strain_load(&frame, &strains).unwrap();
        let motion = deflection(&statics, &load).unwrap();
        let matrices = statics.layout.matrices(&frame).unwrap();
        let pushed = product(&matrices.stiffness, &motion);
        let left: Vec<f64> = pushed.iter().zip(&load).map(|(a, b)| a - b).collect();
        let size = dot(&load, &load).sqrt();
        assert!(dot(&left, &left).sqrt() < 1e-8 * size);
        let momentum = product(&matrices.mass, &motion);
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
        let statics = subdivided(&frame, 4).unwrap();
        let down = statics.layout.at_point(1, &-Vector6::z());
        assert_eq!(deflection(&statics, &down), Err(DeflectionFault::NotHeld));
    }

    /// Three pinned points 0.5 um off one line: the bar can turn about the line, and its cooling can be
    /// solved.
    #[test]
    fn points_nearly_in_line_are_a_line() {
        let mut frame = cantilever();
        let far = frame.points[1].position;
        let middle = far * 0.4 + Vector3::new(0.0, 5e-7, 0.0);
        frame.points.push(stillbed_frame::Point { name: "middle".into(), position: middle });
        frame.members[0].to = 2;
        frame.members.push(crate::sample::member("rest", 2, 1));
        frame.anchors[0].at = vec![0, 1, 2];
        frame.anchors[0].hold = [true, true, true, false, false, false];
        let statics = subdivided(&frame, 4).unwrap();
        assert_eq!(statics.free_motions().count(), 1);
        let cooled = Vector6::new(-1e-4, 0.0, 0.0, 0.0, 0.0, 0.0);
        let load = statics.layout.free_strain_load(&frame, &[[cooled; 2], [cooled * 0.5; 2]]).unwrap();
        let motion = deflection(&statics, &load).unwrap();
        assert!(motion.iter().all(|u| u.abs() < 1e-6), "{motion:?}");
        // A torque about the line is not held.
        let torque = statics.layout.at_point(2, &Vector6::new(0.0, 0.0, 0.0, 1.0, 0.0, 0.0));
        assert_eq!(deflection(&statics, &torque), Err(DeflectionFault::NotHeld));
    }
}
