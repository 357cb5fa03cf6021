//! A frame at rest under loads: stiffness between tip and work, sag under its own weight.
//!
//! Undivided members suffice: point loads and weight give the exact motion of the points. A base that
//! nothing holds is treated as floating: the inertia of the whole balances the load, and the
//! rigid-body motion is left out.
//!
//! ```text
//! K u = f - M R Rᵀ f,   Rᵀ M u = Rᵀ G R Rᵀ f,   Rᵀ M R = I
//! ```
//!
//! with R the rigid-body motions. The bulge matrix G adds the deflection of the elements under their own
//! inertia, which the motion of the points alone does not show.
//!
//! # Source
//! - `przemieniecki1968`: ch. 6, displacement method; ch. 10.10, free bodies

use super::elimination_order::{EliminationOrder, pair};
use super::footing::{FootSpring, Pushes, springs};
use super::mechanism::ModesFault;
use super::rigid_body::rigid_motions;
use faer::Mat;
use nalgebra::{Matrix3, SymmetricEigen, Vector3, Vector6};
use num_complex::Complex64;
use std::sync::Arc;
use stillbed_eigen::EigenFault;
use stillbed_eigen::Factorisation;
use stillbed_eigen::HarmonicSolver;
use stillbed_eigen::Patterns;
use stillbed_eigen::Vectors;
use stillbed_eigen::compliance;
use stillbed_frame::{Frame, Layout, Matrices};
use stillbed_input::quantity::GRAVITY;

/// Refinement rounds of a floating solution, and of one with divided members.
const ROUNDS: usize = 4;

/// The shift under a floating base, relative to the least ratio of stiffness to mass on the diagonal; it is
/// no smaller than the second number times the largest ratio, below which rounding would hide it.
const SHIFT: [f64; 2] = [1e-8, 1e-13];

/// A frame ready to be loaded.
pub struct Statics<'a> {
    /// The frame.
    pub frame: &'a Frame,
    /// Its layout, not divided or with a subdivision that is at hand: the motion of points is the same.
    pub layout: Arc<Layout>,
    /// The layout and elimination order shared with other frames of the same drawing.
    pub orders: Arc<EliminationOrder>,
    matrices: Matrices,
    factor: Factorisation,
    /// Rigid-body motions, (n, count), orthonormal in M; none for a held base.
    floating: Mat<f64>,
    /// Rᵀ G R of these motions.
    bulge: Mat<f64>,
}

/// Static stiffness between two points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stiffness {
    /// Along global x, y and z, N/m: force over displacement in the same direction, infinite
    /// where both points are held.
    pub along: [f64; 3],
    /// In the weakest direction, N/m, infinite where the points are held in all directions.
    pub weakest: f64,
    /// That direction, a unit vector.
    pub direction: [f64; 3],
}

impl Stiffness {
    /// From the `compliance` along x, y and z, m/N, shape (3, 3).
    fn of(compliance: &Matrix3<f64>) -> Stiffness {
        let SymmetricEigen { eigenvectors, eigenvalues } = SymmetricEigen::new(*compliance);
        let most = eigenvalues.imax();
        let direction = eigenvectors.column(most);
        // Its sign is free: the largest component is made positive.
        let direction = direction * direction[direction.iamax()].signum();
        Stiffness {
            along: [0, 1, 2].map(|i| over(compliance[(i, i)])),
            weakest: over(eigenvalues[most]),
            direction: direction.into(),
        }
    }
}

impl<'a> Statics<'a> {
    /// Factors the stiffness of `frame`.
    ///
    /// # Errors
    /// The faults of the frame, a mechanism, or what stopped the factorisation.
    pub fn factor(frame: &'a Frame) -> Result<Statics<'a>, ModesFault> {
        Statics::factor_divided(frame, &[], &Patterns::default())
    }

    /// The same with each member divided into `pieces` elements; the elimination order is taken from
    /// `patterns` or added there. Where every point is held, each member has at least two elements, so that
    /// there is something to move.
    ///
    /// # Errors
    /// As [`Statics::factor`].
    pub fn factor_divided(
        frame: &'a Frame,
        pieces: &[usize],
        patterns: &Patterns,
    ) -> Result<Statics<'a>, ModesFault> {
        let mut layout = Layout::divide(frame, pieces).map_err(ModesFault::Frame)?;
        if layout.dofs() == 0 {
            layout = Layout::divide(frame, &vec![2; frame.members.len()]).map_err(ModesFault::Frame)?;
        }
        let matrices = layout.matrices(frame).ok_or(ModesFault::Range)?;
        let orders =
            EliminationOrder::analyse(Arc::new(layout), &matrices, patterns).map_err(ModesFault::Eigen)?;
        Statics::factor_matrices(frame, matrices, &Arc::new(orders))
    }

    /// The same in the layout of another frame of the same drawing.
    ///
    /// # Errors
    /// A frame that does not fit, a mechanism, or what stopped the factorisation.
    pub fn factor_like(frame: &'a Frame, orders: &Arc<EliminationOrder>) -> Result<Statics<'a>, ModesFault> {
        let matrices = orders.layout.matrices(frame).ok_or(ModesFault::Range)?;
        Statics::factor_matrices(frame, matrices, orders)
    }

    /// The same from given matrices.
    ///
    /// # Errors
    /// A mechanism, or what stopped the factorisation.
    pub fn factor_matrices(
        frame: &'a Frame,
        matrices: Matrices,
        orders: &Arc<EliminationOrder>,
    ) -> Result<Statics<'a>, ModesFault> {
        let layout = &orders.layout;
        let floating = floating(frame, layout, &matrices);
        let bulge = match floating.ncols() {
            0 => Mat::zeros(0, 0),
            _ => {
                let bulge = layout.bulge(frame).ok_or(ModesFault::Range)?;
                floating.transpose() * (bulge.as_faer() * &floating)
            }
        };
        let shift = if floating.ncols() > 0 { -shift(&matrices) } else { 0.0 };
        let factor = Factorisation::compute(&pair(layout, &matrices), &orders.symbolic, shift);
        let factor = factor.map_err(|fault| match fault {
            EigenFault::Singular { dof } => ModesFault::massless_mechanism(frame, layout, dof),
            other => ModesFault::Eigen(other),
        })?;
        let (layout, orders) = (Arc::clone(layout), Arc::clone(orders));
        Ok(Statics { frame, layout, orders, matrices, factor, floating, bulge })
    }

    /// The motion under loads, (n, loads).
    ///
    /// # Errors
    /// [`EigenFault::Shape`] when the loads do not fit the layout.
    pub fn solve(&self, loads: &Vectors) -> Result<Vectors, EigenFault> {
        let stiffness = self.matrices.stiffness.as_faer();
        if self.floating.ncols() == 0 {
            let mut motion = Mat::from(self.factor.solve(loads)?);
            let loads = loads.as_faer();
            // The more elements in a row, the more of the motion is lost to rounding.
            let rounds = if self.layout.pieces.iter().any(|n| *n > 1) { ROUNDS } else { 1 };
            for _ in 1..rounds {
                let left = loads - stiffness * &motion;
                motion += self.factor.solve(&left.into())?.as_faer();
            }
            return Ok(motion.into());
        }
        if loads.rows() != self.floating.nrows() {
            let (found, needed) = (loads.rows(), self.floating.nrows());
            return Err(EigenFault::Shape { what: "the load", found, needed });
        }
        let (r, loads) = (&self.floating, loads.as_faer());
        let mass_r = self.matrices.mass.as_faer() * r;
        let whole = r.transpose() * loads;
        let balanced = loads - &mass_r * &whole;
        let mut motion = Mat::zeros(loads.nrows(), loads.ncols());
        for _ in 0..ROUNDS {
            let left = &balanced - stiffness * &motion;
            motion += self.factor.solve(&left.into())?.as_faer();
            let drift = mass_r.transpose() * &motion;
            motion -= r * drift;
        }
        motion += r * (&self.bulge * whole);
        Ok(motion.into())
    }

    /// The rigid-body motions z that nothing holds, zᵀ M z = 1, each of shape (n).
    pub fn free_motions(&self) -> impl Iterator<Item = &[f64]> {
        (0..self.floating.ncols()).map(|i| self.floating.col_as_slice(i))
    }

    /// `load` without what would push the free motions, as if the frame fell with it.
    pub fn balanced(&self, load: &[f64]) -> Vec<f64> {
        let load = Mat::from_fn(load.len(), 1, |i, _| load[i]);
        let whole = self.floating.transpose() * &load;
        let balanced = load - self.matrices.mass.as_faer() * (&self.floating * whole);
        balanced.col_as_slice(0).to_vec()
    }

    /// The motion of a point in global axes for the `motion` of the degrees of freedom.
    pub fn point(&self, point: usize, motion: &[f64]) -> Vector6<f64> {
        self.layout.moved(point, motion)
    }

    /// Compliance of `loads`, (n, count), under each other, (count, count), m/N for unit forces.
    ///
    /// ```text
    /// C = F^T (K + i K_i)^-1 F                                     of a held base
    /// C = F^T K^-1 F - i (K^-1 F)^T K_i (K^-1 F)                   of a floating one, to first order
    /// ```
    ///
    /// # Errors
    /// As [`Statics::solve`].
    pub fn compliance(&self, loads: &Vectors) -> Result<Vectors<Complex64>, EigenFault> {
        let count = loads.count();
        let lossless = self.matrices.loss.values().iter().all(|value| *value == 0.0);
        if self.floating.ncols() == 0 && !lossless {
            let Matrices { stiffness, loss, .. } = &self.matrices;
            return match compliance(stiffness, loss, loads, |pushed| self.factor.solve(pushed)) {
                // Where far more is lost than stored, the complex system itself is solved.
                Err(EigenFault::NotConverged { .. }) => self.complex_compliance(loads),
                found => found,
            };
        }
        let motion = Mat::from(self.solve(loads)?);
        let stored = loads.as_faer().transpose() * &motion;
        let lost = motion.transpose() * (self.matrices.loss.as_faer() * &motion);
        let half = |m: &Mat<f64>, i, j| 0.5 * (m[(i, j)] + m[(j, i)]);
        Ok(Vectors::from_fn(count, count, |i, j| Complex64::new(half(&stored, i, j), -half(&lost, i, j))))
    }

    /// The compliance of a held base by a factor of its complex system.
    fn complex_compliance(&self, loads: &Vectors) -> Result<Vectors<Complex64>, EigenFault> {
        let direct = HarmonicSolver::prepare(&pair(&self.layout, &self.matrices), &self.matrices.loss)?;
        let count = loads.count();
        let complex = Vectors::from_fn(loads.rows(), count, |i, j| Complex64::from(loads[(i, j)]));
        let seen = complex.as_faer().transpose() * direct.solve(0.0, &complex)?.as_faer();
        Ok(Vectors::from_fn(count, count, |i, j| (seen[(i, j)] + seen[(j, i)]) * 0.5))
    }

    /// The motion under a unit force along `direction` between `tip` and `work`, loaded as by [`Pushes::between`],
    /// (n, 1), m/N.
    ///
    /// # Errors
    /// As [`Statics::solve`].
    pub fn pushed(
        &self,
        tip: usize,
        work: Option<usize>,
        direction: [f64; 3],
    ) -> Result<Vectors, EigenFault> {
        let [x, y, z] = direction;
        let along = Vector6::new(x, y, z, 0.0, 0.0, 0.0);
        self.solve(&Vectors::single(&Pushes::new(self.frame, &self.layout).between(tip, work, &along)))
    }

    /// Stiffness between point `tip` and point `work`, loaded as by [`Pushes::between`]; `None` is ground.
    ///
    /// # Errors
    /// As [`Statics::solve`].
    pub fn stiffness(&self, tip: usize, work: Option<usize>) -> Result<Stiffness, EigenFault> {
        let directions = [Vector6::x(), Vector6::y(), Vector6::z()];
        let pushes = Pushes::new(self.frame, &self.layout);
        let directions = directions.map(|direction| pushes.between(tip, work, &direction));
        let loads = Vectors::from_fn(self.layout.dofs(), 3, |i, j| directions[j][i]);
        let motion = self.solve(&loads)?;
        let compliance = loads.as_faer().transpose() * motion.as_faer();
        let compliance = Matrix3::from_fn(|i, j| 0.5 * (compliance[(i, j)] + compliance[(j, i)]));
        Ok(Stiffness::of(&compliance))
    }

    /// Stiffness between point `tip` and `work` (`None` is ground) without the part of the compliance
    /// that lies in the feet.
    ///
    /// ```text
    /// C_own = Fᵀ U - Uᵀ K_f U        U the motions under unit forces F
    /// ```
    ///
    /// `None` for a base without feet, or where only rounding is left.
    ///
    /// # Errors
    /// As [`Statics::solve`].
    pub fn stiffness_of_structure(
        &self,
        tip: usize,
        work: Option<usize>,
    ) -> Result<Option<Stiffness>, EigenFault> {
        let springs = springs(self.frame, &self.layout);
        if springs.is_empty() {
            return Ok(None);
        }
        let directions = [Vector6::x(), Vector6::y(), Vector6::z()];
        let pushes = Pushes::new(self.frame, &self.layout);
        let loads = directions.map(|direction| pushes.between(tip, work, &direction));
        let loads = Vectors::from_fn(self.layout.dofs(), 3, |i, j| loads[j][i]);
        let motion = self.solve(&loads)?;
        let give = loads.as_faer().transpose() * motion.as_faer();
        let own = Matrix3::from_fn(|i, j| {
            let seen = |spring: &FootSpring, k: usize| spring.seen(motion.column(k));
            let feet: f64 = springs.iter().map(|own| own.stiffness * seen(own, i) * seen(own, j)).sum();
            0.5 * (give[(i, j)] + give[(j, i)]) - feet
        });
        // Less than rounding is nothing.
        let whole = (0..3).map(|i| give[(i, i)]).fold(0.0, f64::max);
        let gives =
            own.iter().all(|give| give.is_finite()) && own.symmetric_eigenvalues().max() > 1e-9 * whole;
        Ok(gives.then(|| Stiffness::of(&own)))
    }

    /// How far each of the `points` moves under the weight of the whole, m, global axes; `None` for a
    /// base that nothing holds.
    ///
    /// # Errors
    /// As [`Statics::solve`].
    pub fn sag(&self, points: &[usize]) -> Result<Option<Vec<Vector3<f64>>>, EigenFault> {
        let down = -Vector6::z() * GRAVITY;
        let Some(load) = self.layout.inertia_load(self.frame, &down, &Vector3::zeros()) else {
            return Ok(None);
        };
        if self.floating.ncols() > 0 {
            return Ok(None);
        }
        let motion = self.solve(&Vectors::single(&load))?;
        let at = |point: &usize| self.layout.moved(*point, motion.column(0)).fixed_rows::<3>(0).into_owned();
        Ok(Some(points.iter().map(at).collect()))
    }
}

/// The inverse of a compliance; infinite where it is zero.
fn over(compliance: f64) -> f64 {
    if compliance > 0.0 { 1.0 / compliance } else { f64::INFINITY }
}

/// The size of the shift under a floating base, (rad/s)².
fn shift(matrices: &Matrices) -> f64 {
    let largest = ratios(matrices).fold(0.0, f64::max);
    (SHIFT[0] * least_ratio(matrices)).max(SHIFT[1] * largest)
}

/// The least ratio of stiffness to mass on the diagonal, (rad/s)².
pub(super) fn least_ratio(matrices: &Matrices) -> f64 {
    ratios(matrices).fold(f64::INFINITY, f64::min)
}

fn ratios(matrices: &Matrices) -> impl Iterator<Item = f64> + '_ {
    let diagonal = move |i: usize| {
        let (k, m) = (matrices.stiffness.get(i, i), matrices.mass.get(i, i));
        (k > 0.0 && m > 0.0).then(|| k / m)
    };
    (0..matrices.mass.size()).filter_map(diagonal)
}

/// The rigid-body motions by degree of freedom, orthonormal in the mass.
fn floating(frame: &Frame, layout: &Layout, matrices: &Matrices) -> Mat<f64> {
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for rigid in rigid_motions(frame) {
        let mut column = layout.rigid_motion_of(frame, &rigid.body, &rigid.motion, &rigid.origin);
        let massed = |column: &[f64]| {
            let product = matrices.mass.as_faer() * faer::Col::from_fn(column.len(), |i| column[i]);
            (0..column.len()).map(|i| product[i]).collect::<Vec<f64>>()
        };
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        for _ in 0..2 {
            let own = massed(&column);
            for other in &columns {
                let part = dot(&own, other);
                column.iter_mut().zip(other).for_each(|(c, o)| *c -= part * o);
            }
        }
        let size = dot(&massed(&column), &column).sqrt();
        if size > 0.0 {
            column.iter_mut().for_each(|c| *c /= size);
            columns.push(column);
        }
    }
    Mat::from_fn(layout.dofs(), columns.len(), |i, j| columns[j][i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{cantilever, crooked};
    use approx::assert_relative_eq;

    const EI: f64 = 210e9 * 0.02 * 0.02 * 0.02 * 0.02 / 12.0;
    const GA: f64 = 210e9 / 2.6 * 4e-4 * 5.0 / 6.0;

    #[test]
    fn stiffness_of_a_cantilever_tip() {
        let frame = cantilever();
        let statics = Statics::factor(&frame).unwrap();
        let stiffness = statics.stiffness(1, None).unwrap();
        assert_relative_eq!(stiffness.along[0], 210e9 * 4e-4, max_relative = 1e-9);
        assert_relative_eq!(stiffness.along[1], 1.0 / (1.0 / (3.0 * EI) + 1.0 / GA), max_relative = 1e-9);
        assert_relative_eq!(stiffness.weakest, stiffness.along[2], max_relative = 1e-9);
        assert!(stiffness.direction[0].abs() < 1e-9);
    }

    #[test]
    fn sag_of_a_cantilever_tip() {
        let frame = cantilever();
        let sag = Statics::factor(&frame).unwrap().sag(&[0, 1]).unwrap().unwrap();
        let weight = 7850.0 * 4e-4 * GRAVITY;
        assert_relative_eq!(sag[1].z, -weight * (1.0 / (8.0 * EI) + 0.5 / GA), max_relative = 1e-9);
        assert_eq!(sag[0], Vector3::zeros());
    }

    #[test]
    fn a_floating_bar_stretches_between_its_ends() {
        let mut frame = cantilever();
        frame.anchors.clear();
        let statics = Statics::factor(&frame).unwrap();
        // Pulled at both ends: no inertia takes part.
        let stiffness = statics.stiffness(1, Some(0)).unwrap();
        assert_relative_eq!(stiffness.along[0], 210e9 * 4e-4, max_relative = 1e-8);
        assert_eq!(statics.sag(&[1]).unwrap(), None);
        // Pulled at one end: accelerated, the force falls linearly; the end moves l/(3 EA) ahead
        // of the centre of mass.
        let pulled = statics.stiffness(1, None).unwrap();
        assert_relative_eq!(pulled.along[0], 3.0 * 210e9 * 4e-4, max_relative = 1e-8);
    }

    #[test]
    fn a_crooked_base_on_feet_is_weakest_where_it_says() {
        let frame = crooked();
        let statics = Statics::factor(&frame).unwrap();
        let stiffness = statics.stiffness(2, Some(3)).unwrap();
        let [x, y, z] = stiffness.direction;
        let direction = Vector6::new(x, y, z, 0.0, 0.0, 0.0);
        let load = Pushes::new(&frame, &statics.layout).between(2, Some(3), &direction);
        let motion = statics.solve(&Vectors::single(&load)).unwrap();
        let moved: f64 = load.iter().enumerate().map(|(i, f)| f * motion[(i, 0)]).sum();
        assert_relative_eq!(1.0 / moved, stiffness.weakest, max_relative = 1e-9);
        assert!(stiffness.along.iter().all(|along| *along >= stiffness.weakest));
    }

    #[test]
    fn any_loss_leaves_the_compliance_that_of_the_complex_system() {
        for loss in [0.01, 1.0, 300.0] {
            let mut frame = crooked();
            for foot in &mut frame.feet {
                foot.stiffness.iter_mut().for_each(|spring| spring.im = loss * spring.re);
            }
            let statics = Statics::factor(&frame).unwrap();
            let along = [Vector6::x(), Vector6::y(), Vector6::z()];
            let columns = along.map(|along| statics.layout.between(2, Some(3), &along));
            let loads = Vectors::from_fn(statics.layout.dofs(), 3, |i, j| columns[j][i]);
            let found = statics.compliance(&loads).unwrap();
            let exact = statics.complex_compliance(&loads).unwrap();
            for i in 0..3 {
                for j in 0..3 {
                    let size = (exact[(i, i)].norm() * exact[(j, j)].norm()).sqrt();
                    assert!((found[(i, j)] - exact[(i, j)]).norm() < 1e-8 * size, "{loss}: {i} {j}");
                }
            }
        }
    }

    #[test]
    fn a_spinning_member_cannot_be_loaded() {
        let mut frame = cantilever();
        let free = Some(Complex64::default());
        let stiffness = [None, None, None, free, None, None];
        frame.joints.push(stillbed_frame::Joint { name: "pivot".into(), stiffness, wall: None });
        frame.members[0].joint_from = Some(0);
        let fault = Statics::factor(&frame).err().unwrap();
        assert!(fault.to_string().contains("of member \"arm\""), "{fault}");
    }

    #[test]
    fn points_that_are_all_held_do_not_give_way() {
        let mut frame = cantilever();
        frame.anchors[0].at.push(1);
        let statics = Statics::factor(&frame).unwrap();
        assert_eq!(statics.layout.dofs(), 6);
        let stiffness = statics.stiffness(1, None).unwrap();
        assert_eq!((stiffness.weakest, stiffness.along), (f64::INFINITY, [f64::INFINITY; 3]));
        assert_eq!(statics.sag(&[0, 1]).unwrap().unwrap(), [Vector3::zeros(); 2]);
        // The middle of a beam between held ends: 192 E I / L^3, and its shear compliance, L / (4 GA).
        let section = &frame.sections[0].stiffness;
        let load = Vectors::single(&[0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);
        let give = statics.solve(&load).unwrap()[(2, 0)];
        let length = (frame.points[1].position - frame.points[0].position).norm();
        let exact = length.powi(3) / (192.0 * section[(4, 4)].re) + length / (4.0 * section[(2, 2)].re);
        approx::assert_relative_eq!(give, exact, max_relative = 1e-9);
    }

    #[test]
    fn an_angle_that_floats_gives_way_as_by_hand() {
        // Two bars of 1 m at a right angle, drawn apart by their free ends, without rotary inertia: the twist of an
        // end has no mass. Each bar is pulled and bent by 1/√2 of the force.
        let mut frame = cantilever();
        frame.anchors.clear();
        frame.points.push(crate::sample::point("end", 1.0, 1.0, 0.0));
        frame.members.push(crate::sample::member("other", 1, 2));
        (3..6).for_each(|i| frame.sections[0].mass[(i, i)] = 0.0);
        let statics = Statics::factor(&frame).unwrap();
        let away = Vector3::new(1.0, 1.0, 0.0) / 2f64.sqrt();
        let motion = statics.pushed(2, Some(0), away.into()).unwrap();
        let apart = statics.point(2, motion.column(0)) - statics.point(0, motion.column(0));
        let give = 1.0 / (3.0 * EI) + 1.0 / GA + 1.0 / (210e9 * 4e-4);
        assert_relative_eq!(apart.fixed_rows::<3>(0).dot(&away), give, max_relative = 1e-6);
    }
}
