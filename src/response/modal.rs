//! How far does one station move per unit force at another? The modal sum with residual flexibility.
//!
//! ```text
//! H_jk(w) = sum_r p_jr p_kr / (w_r^2 (1 + i eta_r) - w^2)  +  R_jk
//! R_jk    = C_jk - sum_r p_jr p_kr / (w_r^2 (1 + i eta_r))        over elastic modes
//! ```
//!
//! with `p_jr = phi_r^T b_j` from the mode `phi_r` (`phi^T M phi = 1`, complex where losses are unevenly
//! distributed) and the load pattern `b_j` of the station, `w` in rad/s, and the static compliance
//! `C_jk = b_j^T K*^-1 b_k`. The time factor is `exp(+i w t)`. The residual flexibility `R`, here called the
//! rest, stands for every mode that was not computed, as a spring: accurate well below the first of those.
//! Loss is hysteretic: it does not grow with frequency.
//!
//! # Source
//! - `ewins2000`: ch. 2, receptance of a hysteretically damped system and its residual

use nalgebra::DMatrix;
use num_complex::Complex64;

/// Elastic modes with less loss than this are given this loss: no structure has so little, and a resonance
/// without loss has no finite height.
const LEAST_LOSS: f64 = 1e-9;

/// One mode as the stations see it.
#[derive(Debug, Clone, PartialEq)]
pub struct ModalMode {
    /// rad/s; 0 for a rigid-body mode.
    pub omega: f64,
    /// Ratio; 0 for a rigid-body mode.
    pub loss_factor: f64,
    /// `phi^T b` of each station, for `phi^T M phi = 1`; 1/sqrt(kg) for a unit force or displacement.
    pub shape: Vec<Complex64>,
}

impl ModalMode {
    /// A mode with a real shape.
    pub fn real(omega: f64, loss_factor: f64, shape: &[f64]) -> ModalMode {
        let shape = shape.iter().map(|x| Complex64::new(*x, 0.0)).collect();
        ModalMode { omega, loss_factor, shape }
    }

    /// True for a rigid-body mode.
    pub fn is_rigid(&self) -> bool {
        self.omega == 0.0
    }

    /// Its pole in the plane of `w^2`: `w_r^2 (1 + i eta_r)`, rad2/s2.
    pub fn pole(&self) -> Complex64 {
        let square = self.omega * self.omega;
        Complex64::new(square, square * self.loss_factor.max(LEAST_LOSS))
    }
}

/// A mode that was not computed, or several of them lumped into one.
#[derive(Debug, Clone, PartialEq)]
pub struct Lumped {
    /// The mode that represents them.
    pub mode: ModalMode,
    /// The least loss factor of any mode that it may stand for.
    pub least_loss: f64,
}

impl From<ModalMode> for Lumped {
    /// A lump that is a single mode.
    fn from(mode: ModalMode) -> Lumped {
        Lumped { least_loss: mode.loss_factor, mode }
    }
}

impl Lumped {
    /// True where it is one mode, of which the loss is known.
    pub fn is_mode(&self) -> bool {
        self.least_loss >= self.mode.loss_factor
    }
}

/// The modes of one base seen at a few stations.
///
/// A station is a load pattern `b`: a force at a point along a direction, or, for relative
/// motion, unit forces of opposite sign at two points. The motion seen at it is `b^T q`.
///
/// ```
/// use stillbed_response::modal::{ModalMode, ModalModel};
///
/// // 1 kg on a spring of 1e6 N/m with a loss factor of 0.02.
/// let modes = vec![ModalMode::real(1000.0, 0.02, &[1.0])];
/// let model = ModalModel::complete(modes, 1)?;
/// // At resonance the spring and the inertia cancel, and the loss alone is left: 1 / (k eta).
/// assert!((model.compliance(0, 0, 1000.0).norm() - 5e-5).abs() < 1e-15);
/// # Ok::<(), String>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ModalModel {
    modes: Vec<ModalMode>,
    poles: Vec<Complex64>,
    static_compliance: DMatrix<Complex64>,
    rest: DMatrix<Complex64>,
    left_out: Vec<Lumped>,
}

impl ModalModel {
    /// The model of `modes` with the `static_compliance` of the stations, m/N, `(n_stations, n_stations)`;
    /// for a free body this is its elastic part, with inertia balancing the load.
    ///
    /// # Errors
    /// What does not fit together: a shape of another length, a value that is not finite, a
    /// negative frequency or loss factor, a compliance that is not symmetric.
    pub fn new(modes: Vec<ModalMode>, static_compliance: DMatrix<Complex64>) -> Result<ModalModel, String> {
        let stations = static_compliance.nrows();
        check_compliance(&static_compliance)?;
        for (r, mode) in modes.iter().enumerate() {
            check_mode(mode, stations).map_err(|e| format!("mode {}: {e}", r + 1))?;
        }
        let static_compliance = (&static_compliance + static_compliance.transpose()).unscale(2.0);
        let poles: Vec<Complex64> = modes.iter().map(ModalMode::pole).collect();
        let mut rest = static_compliance.clone();
        for (mode, pole) in modes.iter().zip(&poles).filter(|(mode, _)| !mode.is_rigid()) {
            for j in 0..stations {
                for k in 0..stations {
                    rest[(j, k)] -= mode.shape[j] * mode.shape[k] / pole;
                }
            }
        }
        Ok(ModalModel { modes, poles, static_compliance, rest, left_out: Vec::new() })
    }

    /// The model of a structure that has no other modes, so that the residual flexibility is zero.
    ///
    /// # Errors
    /// As [`ModalModel::new`].
    pub fn complete(modes: Vec<ModalMode>, stations: usize) -> Result<ModalModel, String> {
        let mut compliance = DMatrix::zeros(stations, stations);
        for mode in modes.iter().filter(|mode| !mode.is_rigid() && mode.shape.len() == stations) {
            for j in 0..stations {
                for k in 0..stations {
                    compliance[(j, k)] += mode.shape[j] * mode.shape[k] / mode.pole();
                }
            }
        }
        let mut model = ModalModel::new(modes, compliance)?;
        model.rest.fill(Complex64::ZERO);
        Ok(model)
    }

    /// The same static compliance with other modes.
    ///
    /// # Errors
    /// As [`ModalModel::new`].
    pub fn rest_on(&self, modes: Vec<ModalMode>) -> Result<ModalModel, String> {
        ModalModel::new(modes, self.static_compliance.clone())
    }

    /// The same model with what is known of the modes that were not computed, lumped. They take no part in
    /// any sum; they bound what the sums leave out.
    #[must_use]
    pub fn with_left_out(mut self, lumps: Vec<Lumped>) -> ModalModel {
        self.left_out = lumps;
        self
    }

    /// The modes that were not computed, lumped, lowest first.
    pub fn left_out(&self) -> &[Lumped] {
        &self.left_out
    }

    /// Its modes.
    pub fn modes(&self) -> &[ModalMode] {
        &self.modes
    }

    /// Number of stations.
    pub fn stations(&self) -> usize {
        self.rest.nrows()
    }

    /// True when there is a rigid-body mode, so that the base floats.
    pub fn is_free(&self) -> bool {
        self.modes.iter().any(ModalMode::is_rigid)
    }

    /// Poles of the modes in the plane of `w^2`, rad2/s2.
    pub fn poles(&self) -> &[Complex64] {
        &self.poles
    }

    /// Residual flexibility between two stations, m/N: what the modes that were not computed add.
    pub fn rest(&self, j: usize, k: usize) -> Complex64 {
        self.rest[(j, k)]
    }

    /// Compliance `H_jk`, m/N, at `omega`, rad/s (more than zero for a free body).
    pub fn compliance(&self, j: usize, k: usize, omega: f64) -> Complex64 {
        let square = omega * omega;
        let mut sum = self.rest[(j, k)];
        for (mode, pole) in self.modes.iter().zip(&self.poles) {
            sum += mode.shape[j] * mode.shape[k] / (pole - square);
        }
        sum
    }

    /// Displacement along `direction` per unit force along it, from three stations along x, y and z.
    pub fn along(&self, stations: [usize; 3], direction: [f64; 3]) -> Pair<'_> {
        let seen =
            |shape: &[Complex64]| -> Complex64 { (0..3).map(|i| shape[stations[i]] * direction[i]).sum() };
        let residues = self.modes.iter().map(|mode| seen(&mode.shape).powi(2)).collect();
        let mut rest = Complex64::ZERO;
        for i in 0..3 {
            for j in 0..3 {
                rest += self.rest[(stations[i], stations[j])] * direction[i] * direction[j];
            }
        }
        Pair { poles: &self.poles, residues, rest }
    }

    /// The compliance between two stations, prepared for fast evaluation at many frequencies.
    pub fn pair(&self, j: usize, k: usize) -> Pair<'_> {
        let residues = self.modes.iter().map(|mode| mode.shape[j] * mode.shape[k]).collect();
        Pair { poles: &self.poles, residues, rest: self.rest[(j, k)] }
    }
}

/// Two stations of a model: `H = sum_r a_r / (pole_r - w^2) + R`.
#[derive(Debug, Clone)]
pub struct Pair<'m> {
    poles: &'m [Complex64],
    residues: Vec<Complex64>,
    rest: Complex64,
}

impl Pair<'_> {
    /// Poles in the plane of `w^2`, rad2/s2.
    pub fn poles(&self) -> &[Complex64] {
        self.poles
    }

    /// Compliance, m/N, at the square `square` of the circular frequency, rad2/s2.
    pub fn at_square(&self, square: f64) -> Complex64 {
        let mut sum = self.rest;
        for (residue, pole) in self.residues.iter().zip(self.poles) {
            sum += residue * over(pole - square);
        }
        sum
    }

    /// Compliance, m/N, at `omega`, rad/s.
    pub fn at(&self, omega: f64) -> Complex64 {
        self.at_square(omega * omega)
    }
}

/// `1 / z` with one division.
pub(super) fn over(z: Complex64) -> Complex64 {
    z.conj() * (1.0 / z.norm_sqr())
}

fn check_compliance(compliance: &DMatrix<Complex64>) -> Result<(), String> {
    let (rows, columns) = compliance.shape();
    if rows != columns {
        return Err(format!("a compliance of {rows} by {columns} stations; it must be square"));
    }
    if let Some(bad) = compliance.iter().find(|c| !c.is_finite()) {
        return Err(format!("a compliance of {bad} m/N; it must be finite"));
    }
    let largest = compliance.iter().map(|c| c.norm()).fold(0.0, f64::max);
    let skew = (compliance - compliance.transpose()).iter().map(|c| c.norm()).fold(0.0, f64::max);
    if skew > 1e-6 * largest {
        return Err(format!(
            "a compliance that differs by {skew:.3e} m/N from its mirror image; it must be symmetric"
        ));
    }
    Ok(())
}

fn check_mode(mode: &ModalMode, stations: usize) -> Result<(), String> {
    if mode.shape.len() != stations {
        return Err(format!("a shape of {} stations; {stations} are expected", mode.shape.len()));
    }
    if !(mode.omega >= 0.0 && mode.omega.is_finite()) {
        return Err(format!("a frequency of {} rad/s; it must be zero or more", mode.omega));
    }
    if !(mode.loss_factor >= 0.0 && mode.loss_factor.is_finite()) {
        return Err(format!("a loss factor of {}; it must be zero or more", mode.loss_factor));
    }
    if mode.shape.iter().any(|p| !p.is_finite()) {
        return Err("a shape that is not finite".to_string());
    }
    Ok(())
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use nalgebra::DVector;
    use proptest::prelude::*;

    /// A mass on a hysteretic spring, with force and motion at the mass.
    pub fn single(stiffness: f64, mass: f64, loss_factor: f64) -> ModalModel {
        let mode = ModalMode::real((stiffness / mass).sqrt(), loss_factor, &[1.0 / mass.sqrt()]);
        ModalModel::complete(vec![mode], 1).unwrap()
    }

    /// A chain of masses between two walls, its complex modes and its matrices.
    pub struct Chain {
        pub stiffness: DMatrix<Complex64>,
        pub mass: DVector<f64>,
        pub modes: Vec<ModalMode>,
    }

    /// Springs `(N/m, loss factor)`, one more than the masses, kg; all modes, seen at every mass.
    ///
    /// The complex modes come from the Schur form of `M^-1/2 K* M^-1/2` and inverse iteration.
    pub fn chain(springs: &[(f64, f64)], masses: &[f64]) -> Chain {
        let n = masses.len();
        let mut stiffness = DMatrix::<Complex64>::zeros(n, n);
        for (i, (k, loss)) in springs.iter().enumerate() {
            let k = Complex64::new(*k, k * loss);
            if i < n {
                stiffness[(i, i)] += k;
            }
            if i > 0 {
                stiffness[(i - 1, i - 1)] += k;
            }
            if i > 0 && i < n {
                stiffness[(i - 1, i)] -= k;
                stiffness[(i, i - 1)] -= k;
            }
        }
        let mass = DVector::from_column_slice(masses);
        let scaled = DMatrix::from_fn(n, n, |i, j| stiffness[(i, j)] / (mass[i] * mass[j]).sqrt());
        let values = scaled.clone().schur().eigenvalues().unwrap();
        let modes = values
            .iter()
            .map(|value| {
                let shift = value * Complex64::new(1.0 + 1e-9, 1e-10);
                let solver = (&scaled - DMatrix::identity(n, n) * shift).lu();
                let mut y = DVector::from_fn(n, |i, _| Complex64::new(1.0 + 0.37 * i as f64, 0.1));
                for _ in 0..4 {
                    y = solver.solve(&y).unwrap();
                    y /= (y.transpose() * &y)[(0, 0)].sqrt();
                }
                let shape = (0..n).map(|i| y[i] / mass[i].sqrt()).collect();
                ModalMode { omega: value.re.sqrt(), loss_factor: value.im / value.re, shape }
            })
            .collect();
        Chain { stiffness, mass, modes }
    }

    impl Chain {
        /// The column of the compliance for a unit force at `k`, by a harmonic solution.
        pub fn direct(&self, k: usize, omega: f64) -> DVector<Complex64> {
            let n = self.mass.len();
            let mut dynamic = self.stiffness.clone();
            for i in 0..n {
                dynamic[(i, i)] -= omega * omega * self.mass[i];
            }
            let mut load = DVector::zeros(n);
            load[k] = Complex64::ONE;
            dynamic.lu().solve(&load).unwrap()
        }

        /// The model with the lowest `count` modes and residual flexibility for the others.
        pub fn model(&self, count: usize) -> ModalModel {
            let mut modes = self.modes.clone();
            modes.sort_by(|a, b| a.omega.total_cmp(&b.omega));
            modes.truncate(count);
            ModalModel::new(modes, self.stiffness.clone().try_inverse().unwrap()).unwrap()
        }
    }

    #[test]
    fn one_spring_gives_way_as_it_must() {
        let model = single(1e7, 40.0, 0.02);
        let at_rest = model.compliance(0, 0, 0.0);
        approx::assert_relative_eq!(at_rest.norm(), 1e-7 / (1f64 + 0.02 * 0.02).sqrt(), max_relative = 1e-12);
        let peak = model.compliance(0, 0, 500.0);
        approx::assert_relative_eq!(peak.im, -5e-6, max_relative = 1e-12);
        assert!(peak.re.abs() < 1e-18);
    }

    #[test]
    fn a_free_mass_moves_as_newton_says() {
        let mode = ModalMode::real(0.0, 0.0, &[0.5]);
        let model = ModalModel::complete(vec![mode], 1).unwrap();
        approx::assert_relative_eq!(model.compliance(0, 0, 10.0).re, -1.0 / (4.0 * 100.0));
        assert!(model.is_free());
    }

    #[test]
    fn a_direction_between_two_stations_is_seen_from_both() {
        let chain = chain(&[(1e6, 0.1), (2e6, 0.01), (1e6, 0.05), (3e6, 0.02)], &[10.0, 5.0, 3.0]);
        let model = chain.model(2);
        let h = |j, k| model.compliance(j, k, 300.0);
        let sum = 0.36 * h(0, 0) + 0.64 * h(2, 2) + 0.48 * (h(0, 2) + h(2, 0));
        let along = model.along([0, 1, 2], [0.6, 0.0, 0.8]).at(300.0);
        assert!((along - sum).norm() < 1e-12 * sum.norm());
    }

    #[test]
    fn what_does_not_fit_is_refused_with_its_value() {
        let refused = |mode: ModalMode| ModalModel::new(vec![mode], DMatrix::zeros(1, 1)).unwrap_err();
        assert_eq!(
            refused(ModalMode::real(1.0, 0.1, &[1.0, 2.0])),
            "mode 1: a shape of 2 stations; 1 are expected"
        );
        assert!(refused(ModalMode::real(1.0, -0.1, &[1.0])).contains("-0.1"));
        assert!(refused(ModalMode::real(f64::NAN, 0.1, &[1.0])).contains("NaN"));
        let skew = DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 3.0, 4.0].map(|x| Complex64::new(x, 0.0)));
        assert!(ModalModel::new(vec![], skew).unwrap_err().contains("symmetric"));
    }

    #[test]
    fn fewer_modes_rest_on_the_compliance_of_all() {
        // By hand: 0.1² / (100² (1 + 0.02 i)) and 0.2² / (300² (1 + 0.01 i)).
        let modes = vec![ModalMode::real(100.0, 0.02, &[0.1]), ModalMode::real(300.0, 0.01, &[0.2])];
        let all = ModalModel::complete(modes.clone(), 1).unwrap();
        let few = all.rest_on(modes[..1].to_vec()).unwrap();
        let left = 0.04 / (9e4 * Complex64::new(1.0, 0.01));
        assert!((few.rest(0, 0) - left).norm() < 1e-12 * left.norm());
        let still = 0.01 / (1e4 * Complex64::new(1.0, 0.02)) + left;
        assert!((few.compliance(0, 0, 0.0) - still).norm() < 1e-12 * still.norm());
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(60))]

        #[test]
        fn modal_sum_is_the_direct_solution(
            springs in prop::collection::vec((1e5..1e7f64, 0.001..0.3f64), 5),
            masses in prop::collection::vec(1.0..20.0f64, 4),
            share in 0.05..2.0f64,
        ) {
            let chain = chain(&springs, &masses);
            let model = chain.model(4);
            let omega = share * chain.modes.iter().map(|m| m.omega).fold(0.0, f64::max);
            let direct = chain.direct(1, omega);
            let scale = direct.norm();
            for j in 0..4 {
                prop_assert!((model.compliance(j, 1, omega) - direct[j]).norm() < 1e-7 * scale);
                let quick = model.pair(j, 1).at(omega);
                prop_assert!((quick - model.compliance(1, j, omega)).norm() < 1e-12 * scale);
            }
        }

        #[test]
        fn the_rest_makes_few_modes_right_at_low_frequency(
            springs in prop::collection::vec((1e5..1e7f64, 0.001..0.3f64), 5),
            masses in prop::collection::vec(1.0..20.0f64, 4),
        ) {
            let chain = chain(&springs, &masses);
            let model = chain.model(2);
            let first_left_out = {
                let mut all: Vec<f64> = chain.modes.iter().map(|m| m.omega).collect();
                all.sort_by(f64::total_cmp);
                all[2]
            };
            let omega = 0.1 * first_left_out;
            let direct = chain.direct(0, omega);
            for j in 0..4 {
                let difference = (model.compliance(j, 0, omega) - direct[j]).norm();
                // A mode left out adds (w/w_r)^2 of its static flexibility beyond its spring: 1 % here.
                let left_out = chain.stiffness.clone().try_inverse().unwrap().map(|c| c.norm()).max();
                prop_assert!(difference < 0.02 * left_out);
            }
        }
    }
}
