//! The modes of a frame, its members divided until the frequencies hold.
//!
//! A divided frame puts a frequency too high, because a vibrating element bulges between its ends and K and M
//! know only its static shapes. The bulge matrix G of the elements is known, and with it the next term of
//! their dynamic stiffness. In the space of the modes Φ with eigenvalues Λ,
//!
//! ```text
//! (Λ - λ I - λ² ΦᵀGΦ) x = 0,   excess of a mode  e = λ φᵀ G φ
//! ```
//!
//! gives the frequencies corrected to the next order. Members are divided until e is small. The error left
//! after the correction is of the order of e², plus e (ω/ω₁)² with ω₁ the lowest frequency of an element
//! between held ends; the sum is stated with each frequency.
//!
//! # Source
//! - `przemieniecki1968`: ch. 12.4, dynamic stiffness in ascending powers of frequency

use super::elimination_order::{EliminationOrder, pair};
use super::mechanism::ModesFault;
use super::rigid_body::{RigidMotion, mechanism, rigid_motions};
use super::statics::least_ratio;
use super::subdivision::{self, Waves};
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use std::f64::consts::TAU;
use std::sync::Arc;
use stillbed_eigen::EigenFault;
use stillbed_eigen::MatrixPair;
use stillbed_eigen::Patterns;
use stillbed_eigen::{Eigenpairs, Settings, Vectors, lowest_unchecked};
use stillbed_frame::{Energies, Frame, Layout, Matrices};

/// Largest number of subdivision rounds.
const ROUNDS: usize = 8;

/// Modes sought beyond those asked for, so that the last one's close neighbours are known.
pub(super) const BEYOND: usize = 2;

/// Modes closer than this, relative in ω², are corrected together.
const CLOSE: f64 = 0.1;

/// ω² below this fraction of the least ratio of stiffness to mass on the diagonal may be zero.
const DOUBTFUL: f64 = 1e-6;

/// Strain energy over kinetic energy, relative to the same ratio, that is rounding.
const ZERO: f64 = 1e-11;

/// Allowed excess of a mode, over the square root of the allowed error of its frequency.
const ROOT: f64 = 0.32;

/// Which modes are asked for, and how accurate.
#[derive(Debug, Clone)]
pub struct Asked {
    /// How many elastic modes.
    pub count: usize,
    /// Largest relative error of a frequency that the subdivision may leave.
    pub tolerance: f64,
    /// A subdivision to start from, by member; empty is a first guess from the waves.
    pub pieces: Vec<usize>,
    /// Elimination orders already found, shared with other solutions.
    pub patterns: Patterns,
}

impl Default for Asked {
    fn default() -> Asked {
        Asked { count: 10, tolerance: 1e-3, pieces: Vec::new(), patterns: Patterns::default() }
    }
}

impl Asked {
    /// The allowed excess of a mode: the error left is of the order of its square.
    pub(super) fn excess(&self) -> f64 {
        ROOT * self.tolerance.max(1e-12).sqrt()
    }

    /// The tolerance at which a mode may have an `excess`.
    pub fn tolerance_of(excess: f64) -> f64 {
        (excess / ROOT).powi(2)
    }
}

/// One undamped elastic mode of a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Elastic {
    /// ω² in (rad/s)², corrected for the bulge of the elements.
    pub omega_squared: f64,
    /// Relative error of the frequency that the subdivision may have left.
    pub frequency_error: f64,
    /// The mode shape by degree of freedom, shape (n), scaled to respond with unit modal mass:
    /// φᵀ (M + 2 ω² G) φ = 1.
    pub shape: Vec<f64>,
    /// The column of its uncorrected shape in [`Spectrum::pairs`].
    pub column: usize,
}

impl Elastic {
    /// Frequency, Hz.
    pub fn frequency(&self) -> f64 {
        self.omega_squared.max(0.0).sqrt() / TAU
    }
}

/// The lowest modes of a frame with all that a response needs.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// The divided frame.
    pub layout: Arc<Layout>,
    /// Its matrices.
    pub matrices: Matrices,
    /// Modes of the matrices as they are, without the correction: rigid-body modes first.
    pub pairs: Eigenpairs,
    /// φᵀ G φ of these modes, s2: shape (modes, modes), zero for rigid-body modes.
    pub bulge: Vectors,
    /// The rigid-body motions of the frame.
    pub rigid: Vec<RigidMotion>,
    /// The elastic modes asked for, lowest first.
    pub elastic: Vec<Elastic>,
}

impl Spectrum {
    /// The lowest `count` of the `elastic` modes, corrected from `pairs` by the `bulge` among them.
    pub(super) fn new(
        layout: Arc<Layout>,
        matrices: Matrices,
        (mut pairs, bulge): (Eigenpairs, &DMatrix<f64>),
        rigid: Vec<RigidMotion>,
        mut elastic: Vec<Elastic>,
        count: usize,
    ) -> Spectrum {
        elastic.iter_mut().for_each(|mode| mode.column += rigid.len());
        elastic.truncate(count);
        let kept = elastic.iter().map(|mode| mode.column + 1).fold(rigid.len(), usize::max);
        pairs.omega_squared.truncate(kept);
        pairs.vectors = pairs.vectors.first(kept);
        let among = |i: usize| i.checked_sub(rigid.len());
        let bulge =
            Vectors::from_fn(kept, kept, |i, j| among(i).zip(among(j)).map_or(0.0, |place| bulge[place]));
        Spectrum { layout, matrices, pairs, bulge, rigid, elastic }
    }

    /// The matrices as a matrix pair.
    pub fn pair(&self) -> MatrixPair<'_> {
        pair(&self.layout, &self.matrices)
    }

    /// The layout and elimination order of the solution, for frames that differ only in sections and springs.
    ///
    /// # Errors
    /// Those of [`EliminationOrder::analyse`], where the solution was dense.
    pub fn elimination_order(&self) -> Result<EliminationOrder, EigenFault> {
        let layout = Arc::clone(&self.layout);
        match self.pairs.factor.symbolic() {
            Some(symbolic) => Ok(EliminationOrder { layout, symbolic: Arc::clone(symbolic) }),
            None => EliminationOrder::analyse(layout, &self.matrices, &Patterns::default()),
        }
    }

    /// The fraction by which ω² of the elastic mode `i` was too high before it was corrected.
    pub fn excess(&self, i: usize) -> Option<f64> {
        let mode = self.elastic.get(i)?;
        let uncorrected = self.pairs.omega_squared.get(mode.column)?;
        Some(1.0 - mode.omega_squared / uncorrected)
    }

    /// The elastic mode nearest to `frequency`, Hz.
    pub fn nearest(&self, frequency: f64) -> Option<usize> {
        let distance = |i: &usize| (self.elastic[*i].frequency() - frequency).abs();
        (0..self.elastic.len()).min_by(|a, b| distance(a).total_cmp(&distance(b)))
    }

    /// Shape of the rigid-body mode `i` by degree of freedom, with unit modal mass; shape (n).
    pub fn rigid_shape(&self, i: usize) -> Option<&[f64]> {
        (i < self.rigid.len()).then(|| self.pairs.vectors.column(i))
    }
}

/// The lowest elastic modes of `frame`.
///
/// # Errors
/// The faults of the frame, a mechanism, or what stopped the eigenvalue solution.
pub fn solve(frame: &Frame, asked: &Asked) -> Result<Spectrum, ModesFault> {
    divided(frame, asked, None)
}

/// The same, started from fewer modes that are `known`: the subdivision is no coarser than theirs, and where
/// it is the same they are the start of the search.
///
/// # Errors
/// As [`solve`].
pub fn solve_beyond(frame: &Frame, asked: &Asked, known: &Spectrum) -> Result<Spectrum, ModesFault> {
    let asked = Asked { pieces: known.layout.pieces.clone(), ..asked.clone() };
    divided(frame, &asked, Some(known))
}

fn divided(frame: &Frame, asked: &Asked, known: Option<&Spectrum>) -> Result<Spectrum, ModesFault> {
    frame.check().map_err(ModesFault::Frame)?;
    let waves = Waves::of(frame).ok_or(ModesFault::Range)?;
    let rigid = rigid_motions(frame);
    let wanted = rigid.len() + asked.count;
    let mut sought = wanted + BEYOND;
    let allowed = asked.excess();
    let mut pieces = match asked.pieces.len() == frame.members.len() {
        true => asked.pieces.clone(),
        false => subdivision::first(&waves, wanted),
    };
    for round in 0..=ROUNDS + 1 {
        let layout = Layout::divide(frame, &pieces).map_err(ModesFault::Frame)?;
        let double: Vec<usize> = pieces.iter().map(|n| 2 * n).collect();
        if layout.dofs() < sought + 6 && round < ROUNDS {
            pieces = double;
            continue;
        }
        let matrices = layout.matrices(frame).ok_or(ModesFault::Range)?;
        let start = known.filter(|known| known.layout.pieces == pieces);
        let start = start.map(|known| &known.pairs.vectors);
        let settings = Settings { patterns: Some(&asked.patterns), start, ..Settings::default() };
        let pairs = match lowest_unchecked(&pair(&layout, &matrices), sought, &settings) {
            Ok(pairs) => pairs,
            Err(EigenFault::TooManyModes { available, .. }) if (wanted..sought).contains(&available) => {
                sought = available;
                continue;
            }
            Err(EigenFault::TooManyModes { .. }) if round < ROUNDS => {
                pieces = double;
                continue;
            }
            Err(EigenFault::MasslessMechanism { dof }) => {
                return Err(ModesFault::massless_mechanism(frame, &layout, dof));
            }
            Err(fault) => return Err(ModesFault::Eigen(fault)),
        };
        let shape = |i| pairs.vectors.column(i);
        let energies = Energies::new(frame, &layout).ok_or(ModesFault::Range)?;
        let scale = least_ratio(&matrices);
        let doubtful = pairs.omega_squared.iter().take_while(|w| **w <= DOUBTFUL * scale).count();
        if doubtful > rigid.len() {
            let motions: Vec<&[f64]> = (0..doubtful).map(shape).collect();
            let strains = energies.strain(&motions);
            let none = strains.iter().take_while(|energy| 2.0 * energy.total() <= ZERO * scale).count();
            if none > rigid.len() {
                return Err(mechanism(frame, &layout, &rigid, &motions[..none]));
            }
        }
        let motions: Vec<&[f64]> = (rigid.len()..sought).map(shape).collect();
        let bulges = energies.bulge(&motions).ok_or(ModesFault::Range)?;
        let lambda = &pairs.omega_squared[rigid.len()..];
        let top = lambda[..asked.count].last().copied().unwrap_or(0.0).max(0.0).sqrt();
        if round < ROUNDS {
            let excess = excess(&bulges, &lambda[..asked.count]);
            if let Some(finer) = subdivision::finer(&layout, &waves, top, &excess, allowed) {
                pieces = finer;
                continue;
            }
        }
        let bulge = bulges.iter().fold(DMatrix::zeros(lambda.len(), lambda.len()), |sum, g| sum + g);
        let next = |mode: usize, omega: f64| {
            let near = |((own, wave), n): ((&DMatrix<f64>, &Waves), &usize)| {
                lambda[mode] * own[(mode, mode)] * wave.nearness(omega, *n)
            };
            bulges.iter().zip(&waves).zip(&layout.pieces).map(near).sum()
        };
        let elastic = corrected(&motions, lambda, &bulge, next);
        return Ok(Spectrum::new(Arc::new(layout), matrices, (pairs, &bulge), rigid, elastic, asked.count));
    }
    Err(ModesFault::Range)
}

/// By mode and member: what the member's elements add to the excess of the mode.
fn excess(bulges: &[DMatrix<f64>], lambda: &[f64]) -> Vec<Vec<f64>> {
    let of = |(mode, lambda): (usize, &f64)| bulges.iter().map(|g| lambda * g[(mode, mode)]).collect();
    lambda.iter().enumerate().map(of).collect()
}

/// The modes corrected for the bulge of the elements, lowest first.
///
/// `next` gives, from a mode's number and circular frequency, the part of its frequency error that comes from
/// being close to the modes of single elements.
pub(super) fn corrected(
    motions: &[&[f64]],
    lambda: &[f64],
    bulge: &DMatrix<f64>,
    next: impl Fn(usize, f64) -> f64,
) -> Vec<Elastic> {
    let count = lambda.len();
    let mut elastic: Vec<Elastic> = (0..count)
        .map(|mode| {
            let close: Vec<usize> = (0..count)
                .filter(|i| (lambda[*i] - lambda[mode]).abs() <= CLOSE * lambda[mode].abs())
                .collect();
            let place = close.iter().position(|i| *i == mode).unwrap_or(0);
            let values = DVector::from_iterator(close.len(), close.iter().map(|i| lambda[*i]));
            let among = DMatrix::from_fn(close.len(), close.len(), |i, j| bulge[(close[i], close[j])]);
            let (omega_squared, weights) = together(&values, &among, place);
            let mut shape = vec![0.0; motions.first().map_or(0, |motion| motion.len())];
            for (weight, i) in weights.iter().zip(&close) {
                shape.iter_mut().zip(motions[*i]).for_each(|(sum, own)| *sum += weight * own);
            }
            let excess = lambda[mode] * bulge[(mode, mode)];
            let omega = omega_squared.max(0.0).sqrt();
            let frequency_error = excess * excess + next(mode, omega);
            Elastic { omega_squared, frequency_error, shape, column: mode }
        })
        .collect();
    elastic.sort_by(|a, b| a.omega_squared.total_cmp(&b.omega_squared));
    elastic
}

/// The `place`th of some close modes: λ, and its shape in terms of theirs, from (Λ - λ I - λ² G) x = 0, made
/// linear in λ about its last value.
fn together(values: &DVector<f64>, bulge: &DMatrix<f64>, place: usize) -> (f64, DVector<f64>) {
    let count = values.len();
    let own = bulge[(place, place)];
    let mut lambda = 2.0 * values[place] / (1.0 + (1.0 + 4.0 * values[place] * own).max(0.0).sqrt());
    let mut shape = DVector::zeros(count);
    shape[place] = 1.0 / (1.0 + 2.0 * lambda * own).max(f64::MIN_POSITIVE).sqrt();
    if count == 1 {
        return (lambda, shape);
    }
    for _ in 0..2 {
        let stiffness = DMatrix::from_diagonal(values) + bulge * (lambda * lambda);
        let mass = DMatrix::identity(count, count) + bulge * (2.0 * lambda);
        let Some(root) = mass.cholesky() else { return (lambda, shape) };
        let inverse = root.l().try_inverse().unwrap_or_else(|| DMatrix::identity(count, count));
        let SymmetricEigen { eigenvalues, eigenvectors } =
            SymmetricEigen::new(&inverse * stiffness * inverse.transpose());
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by(|a, b| eigenvalues[*a].total_cmp(&eigenvalues[*b]));
        lambda = eigenvalues[order[place]];
        shape = inverse.transpose() * eigenvectors.column(order[place]);
    }
    (lambda, shape)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{cantilever, crooked, member, point, square, table};
    use num_complex::Complex64;
    use stillbed_eigen::Sparse;
    use stillbed_frame::Joint;

    fn asked(count: usize, tolerance: f64) -> Asked {
        Asked { count, tolerance, ..Asked::default() }
    }

    /// Frequencies of a table frame by the exact dynamic stiffness of its members, Hz.
    const TABLE: [f64; 10] =
        [54.23831, 56.76468, 71.98693, 128.6406, 197.7665, 200.6165, 216.9296, 295.3563, 343.7105, 359.0698];

    #[test]
    fn errors_stay_below_the_stated_ones() {
        for tolerance in [1e-1, 1e-2, 1e-3, 1e-4] {
            let spectrum = solve(&table(), &asked(10, tolerance)).unwrap();
            for (mode, exact) in spectrum.elastic.iter().zip(TABLE) {
                let error = (mode.frequency() / exact - 1.0).abs();
                assert!(mode.frequency_error <= tolerance);
                // The exact values are given to seven digits.
                assert!(error <= mode.frequency_error + 5e-7, "{tolerance}: {error} {mode:?}");
            }
        }
    }

    #[test]
    fn more_modes_are_those_of_a_solution_of_their_own() {
        let frame = table();
        let few = solve(&frame, &asked(4, 1e-3)).unwrap();
        let more = solve_beyond(&frame, &asked(10, 1e-3), &few).unwrap();
        assert_eq!(more.elastic.len(), 10);
        for (mode, exact) in more.elastic.iter().zip(TABLE) {
            assert!((mode.frequency() / exact - 1.0).abs() <= mode.frequency_error + 5e-7, "{mode:?}");
        }
    }

    #[test]
    fn the_nearest_mode_is_found_on_both_sides() {
        let spectrum = solve(&table(), &asked(6, 1e-3)).unwrap();
        for (i, frequency) in TABLE[..6].iter().enumerate() {
            assert_eq!([0.995, 1.005].map(|off| spectrum.nearest(off * frequency)), [Some(i); 2]);
        }
    }

    #[test]
    fn shapes_have_unit_modal_mass() {
        let frame = table();
        let spectrum = solve(&frame, &asked(6, 1e-3)).unwrap();
        let mass = &spectrum.matrices.mass;
        let bulge = spectrum.layout.bulge(&frame).unwrap();
        for mode in &spectrum.elastic {
            let shape = faer::Col::from_fn(mode.shape.len(), |i| mode.shape[i]);
            let of = |m: &Sparse| shape.transpose() * (m.as_faer() * &shape);
            let modal = of(mass) + 2.0 * mode.omega_squared * of(&bulge);
            assert!((modal - 1.0).abs() < 1e-9, "{modal}");
            // The dynamic stiffness vanishes in the mode.
            let left = of(&spectrum.matrices.stiffness)
                - mode.omega_squared * of(mass)
                - mode.omega_squared.powi(2) * of(&bulge);
            assert!(left.abs() < 1e-6 * mode.omega_squared, "{left}");
        }
    }

    #[test]
    fn frames_divided_alike_share_their_order() {
        let one = Asked { tolerance: 1e9, pieces: vec![4; table().members.len()], ..Asked::default() };
        let mut other = table();
        other.sections.iter_mut().for_each(|section| *section = square(0.07));
        let order = |frame: &Frame, asked: &Asked| {
            let spectrum = solve(frame, asked).unwrap();
            Arc::clone(spectrum.pairs.factor.symbolic().unwrap())
        };
        let first = order(&table(), &one);
        assert!(Arc::ptr_eq(&first, &order(&other, &one)));
        // Other patterns and other stores have their own.
        let finer = Asked { pieces: vec![5; table().members.len()], ..one.clone() };
        assert!(!Arc::ptr_eq(&first, &order(&table(), &finer)));
        let apart = Asked { patterns: Patterns::default(), ..one };
        assert!(!Arc::ptr_eq(&first, &order(&table(), &apart)));
    }

    #[test]
    fn a_free_frame_has_six_rigid_body_modes() {
        let mut frame = crooked();
        frame.feet.clear();
        let spectrum = solve(&frame, &asked(5, 1e-3)).unwrap();
        assert_eq!(spectrum.rigid.len(), 6);
        assert!(spectrum.elastic[0].frequency() > 1.0);
        assert!(spectrum.rigid_shape(5).is_some() && spectrum.rigid_shape(6).is_none());
    }

    #[test]
    fn more_modes_than_a_coarse_division_has_are_found() {
        let mut frame = cantilever();
        frame.anchors[0].at.push(1);
        let spectrum = solve(&frame, &asked(12, 1e-3)).unwrap();
        assert_eq!(spectrum.elastic.len(), 12);
    }

    #[test]
    fn a_member_that_spins_about_itself_is_a_mechanism() {
        let mut frame = table();
        let free = Some(Complex64::default());
        frame.joints.push(Joint {
            name: "hinge".into(),
            stiffness: [None, None, None, free, None, None],
            wall: None,
        });
        frame.members[3].joint_from = Some(0);
        frame.members[3].joint_to = Some(0);
        let fault = solve(&frame, &asked(4, 1e-3)).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "1 motion without any stiffness, of member \"top1\"; make one of their joints rigid or give it \
             stiffness, or hold them with a foot or an anchor"
        );
    }

    #[test]
    fn a_free_frame_with_a_mechanism_names_the_mechanism() {
        let mut frame = cantilever();
        frame.anchors.clear();
        frame.points.push(point("far", 2.0, 0.0, 0.0));
        frame.members.push(member("second", 1, 2));
        let free = Some(Complex64::default());
        frame.joints.push(Joint {
            name: "hinge".into(),
            stiffness: [None, None, None, None, free, None],
            wall: None,
        });
        frame.members[1].joint_from = Some(0);
        frame.sections[0] = square(0.03);
        let ModesFault::Mechanism(mechanism) = solve(&frame, &asked(3, 1e-3)).unwrap_err() else {
            panic!("no mechanism")
        };
        assert_eq!(mechanism.count, 1);
        assert_eq!(mechanism.members, ["arm", "second"]);
    }

    #[test]
    fn a_tolerance_is_that_of_its_excess() {
        for excess in [1e-4, 3e-3, 0.2] {
            let asked = Asked { tolerance: Asked::tolerance_of(excess), ..Asked::default() };
            approx::assert_relative_eq!(asked.excess(), excess, max_relative = 1e-12);
        }
    }

    #[test]
    fn a_division_too_coarse_for_its_modes_is_doubled() {
        // Between held ends undivided members have nothing that moves.
        let mut frame = cantilever();
        frame.anchors[0].at.push(1);
        let asked = Asked { count: 8, pieces: vec![1], ..Asked::default() };
        let spectrum = solve(&frame, &asked).unwrap();
        assert_eq!(spectrum.elastic.len(), 8);
        // (4.73004 / L)² sqrt(E I / m), which shear of so slender a bar lowers by less than 0.5 %.
        let omega = 4.730_04f64.powi(2) * (210e9 / 7850.0 * 0.02f64.powi(2) / 12.0).sqrt();
        let ratio = spectrum.elastic[0].omega_squared.sqrt() / omega;
        assert!((0.995..1.0).contains(&ratio), "{ratio}");
        // More than 17 elements, which eight rounds of two more each would end at.
        let many = Asked { count: 100, tolerance: 1e9, ..asked };
        assert_eq!(solve(&frame, &many).unwrap().elastic.len(), 100);
    }

    #[test]
    fn freedoms_without_mass_are_no_modes_and_more_are_made() {
        // Without rotary inertia nothing resists twisting but the stiffness: of nine elements' 54 freedoms 45 have
        // mass, too few for 46 modes.
        let mut frame = cantilever();
        (3..6).for_each(|i| frame.sections[0].mass[(i, i)] = 0.0);
        let asked = Asked { count: 46, pieces: vec![9], tolerance: 1e9, ..Asked::default() };
        let spectrum = solve(&frame, &asked).unwrap();
        assert_eq!(spectrum.elastic.len(), 46);
        assert!(spectrum.layout.pieces[0] >= 18, "{:?}", spectrum.layout.pieces);
    }

    #[test]
    fn a_free_frame_names_only_the_member_that_spins() {
        let mut frame = table();
        frame.anchors.clear();
        let free = Some(Complex64::default());
        let stiffness = [None, None, None, free, None, None];
        frame.joints.push(Joint { name: "hinge".into(), stiffness, wall: None });
        frame.members[3].joint_from = Some(0);
        frame.members[3].joint_to = Some(0);
        let ModesFault::Mechanism(mechanism) = solve(&frame, &asked(3, 1e-3)).unwrap_err() else {
            panic!("no mechanism")
        };
        assert_eq!((mechanism.count, &mechanism.members[..]), (1, &["top1".to_string()][..]));
    }
}
