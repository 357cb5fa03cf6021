//! Which motions and loads of a frame matter? From a frame's modes to a modal model at a few stations.

use super::modal::{Lumped, ModalMode, ModalModel};
use nalgebra::{DMatrix, Vector3, Vector6};
use num_complex::Complex64;
use stillbed_eigen::{Damped, EigenFault, HarmonicSolver, MatrixPair, Sparse, Vectors};
use stillbed_frame::{Frame, Layout};
use stillbed_modes::{Elastic, Pushes, ResidualMode, Spectrum, Statics};

/// A station of a modal model: an observed motion, or the load that belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Station {
    /// A point along a unit direction, relative to another point or the ground. As a load: a unit force at
    /// the point and its reaction at the other, balanced by the feet ([`Pushes::between`]).
    Between {
        /// Index of the point.
        point: usize,
        /// Index of the point that it moves against; `None` is ground.
        against: Option<usize>,
        /// Unit direction, global axes.
        along: [f64; 3],
    },
    /// As a load: the inertia of the whole base under a unit acceleration of the floor along the axis with
    /// this index; motion is then relative to the floor.
    Floor(usize),
}

impl Station {
    /// `point` along `along`, against the ground.
    pub fn at(point: usize, along: [f64; 3]) -> Station {
        Station::Between { point, against: None, along }
    }

    /// The three stations of `point` against `against` along global x, y and z.
    pub fn axes(point: usize, against: Option<usize>) -> [Station; 3] {
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|along| Station::Between {
            point,
            against,
            along,
        })
    }

    fn load(&self, frame: &Frame, layout: &Layout) -> Vec<f64> {
        self.load_of(&Pushes::new(frame, layout), frame, layout)
    }

    fn load_of(&self, pushes: &Pushes, frame: &Frame, layout: &Layout) -> Vec<f64> {
        match *self {
            Station::Between { point, against, along: [x, y, z] } => {
                pushes.between(point, against, &Vector6::new(x, y, z, 0.0, 0.0, 0.0))
            }
            Station::Floor(axis) => {
                let mut along = Vector6::zeros();
                along[axis.min(2)] = 1.0;
                let load = layout.inertia_load(frame, &along, &Vector3::zeros());
                load.unwrap_or_else(|| vec![0.0; layout.dofs()])
            }
        }
    }
}

/// The loads of `stations`, (n, stations).
fn loads(frame: &Frame, layout: &Layout, stations: &[Station]) -> Vectors {
    let pushes = Pushes::new(frame, layout);
    let columns: Vec<Vec<f64>> = stations.iter().map(|s| s.load_of(&pushes, frame, layout)).collect();
    Vectors::from_fn(layout.dofs(), stations.len(), |i, j| columns[j][i])
}

/// The modes of a frame as `stations` see them, with the residual flexibility of all others. Without
/// `statics` there is none, which is enough for what follows from the modes alone.
///
/// `damped` are the damped modes of `spectrum`; without them shapes are real and loss factors follow from
/// strain energy. Frequencies and modal masses are those corrected for the subdivision of the members.
///
/// # Errors
/// What stopped the static solution, or why the modes form no modal model.
pub fn modal_model(
    frame: &Frame,
    spectrum: &Spectrum,
    damped: Option<&Damped>,
    statics: Option<&Statics>,
    stations: &[Station],
) -> Result<ModalModel, EigenFault> {
    let modes = modes_at(frame, spectrum, damped, stations);
    let model = match statics {
        Some(statics) => ModalModel::new(modes, static_compliance(frame, statics, stations)?),
        None => ModalModel::complete(modes, stations.len()),
    };
    model.map_err(|reason| EigenFault::Unfit { reason })
}

/// The modes of a frame as `stations` see them.
pub fn modes_at(
    frame: &Frame,
    spectrum: &Spectrum,
    damped: Option<&Damped>,
    stations: &[Station],
) -> Vec<ModalMode> {
    let loads = loads(frame, &spectrum.layout, stations);
    let seen = |shape: &[f64]| -> Vec<f64> {
        let dot = |j: usize| shape.iter().zip(loads.column(j)).map(|(a, b)| a * b).sum();
        (0..loads.count()).map(dot).collect()
    };
    let rigid = (0..spectrum.rigid.len()).filter_map(|i| spectrum.rigid_shape(i));
    let rigid = rigid.map(|shape| ModalMode::real(0.0, 0.0, &seen(shape)));
    let elastic = spectrum.elastic.iter().map(|mode| {
        let real = || {
            let omega = mode.omega_squared.max(0.0).sqrt();
            ModalMode::real(omega, spectrum.loss_by_energy(mode), &seen(&mode.shape))
        };
        damped.and_then(|damped| complex_mode(damped, mode, &loads)).unwrap_or_else(real)
    });
    rigid.chain(elastic).collect()
}

/// The modes above `spectrum`, lumped, in the motion of `stations`.
///
/// # Errors
/// What stopped the solutions.
pub fn left_out(frame: &Frame, spectrum: &Spectrum, stations: &[Station]) -> Result<Vec<Lumped>, EigenFault> {
    let loads = loads(frame, &spectrum.layout, stations);
    let lumps = spectrum.left_out(&loads)?;
    let sharpest = least_loss(frame);
    let of = |lump: &ResidualMode| Lumped {
        mode: ModalMode::real(lump.omega_squared.sqrt(), lump.loss_factor, &lump.seen),
        least_loss: if lump.is_mode { lump.loss_factor } else { sharpest.min(lump.loss_factor) },
    };
    Ok(lumps.iter().map(of).collect())
}

/// The least loss factor in stretching, bending, shear or torsion of any member.
fn least_loss(frame: &Frame) -> f64 {
    let used = frame.members.iter().filter_map(|member| frame.sections.get(member.section));
    let own = used.flat_map(|section| (0..6).map(|i| section.stiffness[(i, i)]));
    own.map(|s| (s.im / s.re).max(0.0)).fold(f64::INFINITY, f64::min)
}

/// The damped mode that belongs to `mode`.
fn complex_mode(damped: &Damped, mode: &Elastic, loads: &Vectors) -> Option<ModalMode> {
    let lambda = *damped.lambda.get(mode.column)?;
    let loss_factor = damped.loss_factor.get(mode.column).copied().flatten()?;
    let omega = lambda.re.max(0.0).sqrt();
    let column = damped.shapes.column(mode.column);
    let seen = |j: usize| -> Complex64 {
        let load = loads.column(j);
        load.iter().enumerate().filter(|(_, force)| **force != 0.0).map(|(i, force)| column[i] * *force).sum()
    };
    Some(ModalMode { omega, loss_factor, shape: (0..loads.count()).map(seen).collect() })
}

/// Displacement of each station under a unit load at each, m/N; for a floating base to first order in the
/// loss.
///
/// # Errors
/// What stopped the static solution.
fn static_compliance(
    frame: &Frame,
    statics: &Statics,
    stations: &[Station],
) -> Result<DMatrix<Complex64>, EigenFault> {
    let loads = loads(frame, &statics.layout, stations);
    let compliance = statics.compliance(&loads)?;
    Ok(DMatrix::from_fn(stations.len(), stations.len(), |i, j| compliance[(i, j)]))
}

/// The compliance between two stations by a harmonic solution of the subdivided frame at one circular
/// frequency, without modes; for checks of the modal sum.
pub struct HarmonicCheck<'a> {
    spectrum: &'a Spectrum,
    bulge: Sparse,
    seen: Vec<f64>,
    load: Vec<f64>,
}

impl<'a> HarmonicCheck<'a> {
    /// Between `seen` and `load`; `None` when the frame has faults.
    pub fn new(
        frame: &Frame,
        spectrum: &'a Spectrum,
        seen: &Station,
        load: &Station,
    ) -> Option<HarmonicCheck<'a>> {
        let bulge = spectrum.layout.bulge(frame)?;
        let layout = &spectrum.layout;
        Some(HarmonicCheck {
            spectrum,
            bulge,
            seen: seen.load(frame, layout),
            load: load.load(frame, layout),
        })
    }

    /// The compliance, m/N, at `omega`, rad/s, with the dynamic mass of the elements at that frequency.
    ///
    /// # Errors
    /// What stopped the solution.
    pub fn compliance(&self, omega: f64) -> Result<Complex64, EigenFault> {
        let mut mass = self.spectrum.matrices.mass.clone();
        for (value, bulge) in mass.values_mut().iter_mut().zip(self.bulge.values()) {
            *value += omega * omega * bulge;
        }
        let pair = MatrixPair { mass: &mass, ..self.spectrum.pair() };
        let direct = HarmonicSolver::prepare(&pair, &self.spectrum.matrices.loss)?;
        let load = Vectors::from_fn(self.load.len(), 1, |i, _| Complex64::from(self.load[i]));
        let motion = direct.solve(omega, &load)?;
        Ok(self.seen.iter().enumerate().map(|(i, b)| motion[(i, 0)] * *b).sum())
    }
}
