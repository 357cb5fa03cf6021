//! From a frame's modes to a modal model: the few motions that matter, and the loads that cause them.

use super::modal::{ModalMode, ModalModel};
use crate::frame::Layout;
use crate::modes::{Damped, EigenFault, Spectrum, Statics};
use faer::{Mat, c64};
use nalgebra::{DMatrix, Vector6};
use num_complex::Complex64;

/// A motion of one point, or of one against another, along a direction; as a load, a unit force
/// there, and its reaction at the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Index of the point.
    pub point: usize,
    /// Index of the point that it moves against; `None` is ground.
    pub against: Option<usize>,
    /// Unit direction, global axes.
    pub along: [f64; 3],
}

impl Station {
    /// `point` along `along`, against the ground.
    pub fn at(point: usize, along: [f64; 3]) -> Station {
        Station { point, against: None, along }
    }

    /// The three stations of `tip` against `work` along global x, y and z.
    pub fn between(tip: usize, work: Option<usize>) -> [Station; 3] {
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|along| Station {
            point: tip,
            against: work,
            along,
        })
    }

    fn load(&self, layout: &Layout) -> Vec<f64> {
        let [x, y, z] = self.along;
        layout.between(self.point, self.against, &Vector6::new(x, y, z, 0.0, 0.0, 0.0))
    }
}

/// The modes of a frame as `stations` see them, with the static rest of all others.
///
/// `damped` are the complex modes of `spectrum`; without them shapes are real and loss factors
/// follow from strain energy. Frequencies, and the real part of shapes, are those corrected for
/// the division of the members.
///
/// # Errors
/// What stopped the static solution.
pub fn modal_model(
    spectrum: &Spectrum,
    damped: Option<&Damped>,
    statics: &Statics,
    stations: &[Station],
) -> Result<ModalModel, EigenFault> {
    let loads: Vec<Vec<f64>> = stations.iter().map(|s| s.load(&spectrum.layout)).collect();
    let dot = |shape: &[f64], load: &[f64]| shape.iter().zip(load).map(|(a, b)| a * b).sum::<f64>();
    let mut modes = Vec::new();
    for i in 0..spectrum.rigid.len() {
        if let Some(shape) = spectrum.rigid_shape(i) {
            let seen: Vec<f64> = loads.iter().map(|load| dot(shape, load)).collect();
            modes.push(ModalMode::real(0.0, 0.0, &seen));
        }
    }
    for mode in &spectrum.elastic {
        let real: Vec<f64> = loads.iter().map(|load| dot(&mode.shape, load)).collect();
        let omega = mode.omega_squared.max(0.0).sqrt();
        let complex = damped.and_then(|damped| {
            let loss_factor = damped.loss_factor.get(mode.column).copied().flatten()?;
            Some((loss_factor, deviation(spectrum, damped, mode.column, &loads)))
        });
        modes.push(match complex {
            Some((loss_factor, deviation)) => {
                let shape = real.iter().zip(&deviation).map(|(x, d)| Complex64::from(x) + d).collect();
                ModalMode { omega, loss_factor, shape }
            }
            None => ModalMode::real(omega, spectrum.loss_by_energy(mode), &real),
        });
    }
    let compliance = static_compliance(statics, stations)?;
    ModalModel::new(modes, compliance)
        .map_err(|_| EigenFault::NotConverged { wanted: modes_asked(spectrum), found: 0 })
}

fn modes_asked(spectrum: &Spectrum) -> usize {
    spectrum.elastic.len()
}

/// By how much the damped shape in `column` differs from the real one at the stations, its sign
/// made that of the real shape.
fn deviation(spectrum: &Spectrum, damped: &Damped, column: usize, loads: &[Vec<f64>]) -> Vec<Complex64> {
    let real = spectrum.pairs.vectors.col_as_slice(column);
    let complex = damped.shapes.col(column);
    let likeness: f64 = real.iter().enumerate().map(|(i, x)| x * complex[i].re).sum();
    let sign = if likeness < 0.0 { -1.0 } else { 1.0 };
    loads
        .iter()
        .map(|load| {
            let mut sum = c64::new(0.0, 0.0);
            for (i, force) in load.iter().enumerate().filter(|(_, force)| **force != 0.0) {
                sum += (complex[i] * sign - real[i]) * *force;
            }
            sum
        })
        .collect()
}

/// How far each station gives way under a unit load at each, m/N, to first order in the loss.
///
/// # Errors
/// What stopped the static solution.
pub fn static_compliance(statics: &Statics, stations: &[Station]) -> Result<DMatrix<Complex64>, EigenFault> {
    let columns: Vec<Vec<f64>> = stations.iter().map(|s| s.load(&statics.layout)).collect();
    let loads = Mat::from_fn(statics.layout.freedoms(), stations.len(), |i, j| columns[j][i]);
    let compliance = statics.compliance(loads.as_ref())?;
    Ok(DMatrix::from_fn(stations.len(), stations.len(), |i, j| compliance[(i, j)]))
}
