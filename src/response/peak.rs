//! At which frequency is a response largest? A search that cannot step over a resonance.
//!
//! The modal sum is a rational function of `x = w^2` whose only poles are those of the modes. Over a step
//! that is a fraction of the distance to the nearest pole it changes smoothly, so a grid of such steps shows
//! every peak. The highest samples are then refined between their neighbours on the modal sum itself.
//!
//! Modes that were not computed are known as lumps ([`ModalModel::left_out`]). The modal sum contains a lump
//! as a spring, its residual flexibility, which at the peak is too stiff by the fraction `x / (w_i^2 - x)`. A
//! lump also has a resonance of its own, which rises at most `p_i^2 / (w_i^2 eta_i)` above the value of the
//! sum there. One mode may be split into several neighbouring lumps with weights c_i: its height
//! `(sum c_i p_i)^2 / sum c_i^2 w_i^2 eta_i` is at most the sum of their heights.

use super::modal::{Lumped, ModalMode, ModalModel, over};
use num_complex::Complex64;
use serde::Serialize;

/// Step of the search grid as a fraction of the distance to the nearest pole.
pub(super) const SEARCH_STEP: f64 = 0.5;

/// The highest sample of a peak (here its square) is at least this fraction of the peak's height.
const MISSED: f64 = 0.6;

/// Lumps whose frequencies differ by less than this fraction may be parts of one mode.
const NEAR: f64 = 0.15;

/// The same for two lumps that are not known to be modes: one sharp mode far above the computed ones comes out as
/// several lumps, some way above and below it.
const UNRESOLVED: f64 = 0.2;

/// The largest value of a response and its frequency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Peak {
    /// Frequency, Hz; 0 where the static response is the largest.
    pub frequency_hz: f64,
    /// Largest displacement per unit force, m/N.
    pub compliance_m_per_n: f64,
    /// Its inverse, N/m; `None` where nothing moves.
    pub dynamic_stiffness_n_per_m: Option<f64>,
    /// Relative error bound of that inverse from modes that were not computed.
    pub stiffness_error: f64,
}

/// Squares `w^2`, rad2/s2, from zero (for a floating base, from a hundredth of the first elastic frequency)
/// to beyond the last mode; no step is longer than `step` times the distance to a pole.
///
/// `poles` are those of [`ModalModel::poles`], rad2/s2. The range ends high enough above the last mode to
/// contain the most negative real part of a single mode.
pub fn resolving_squares(poles: &[Complex64], step: f64) -> Vec<f64> {
    let is_free = poles.iter().any(|p| p.re == 0.0);
    let mut poles: Vec<(f64, f64)> =
        poles.iter().filter(|p| p.re > 0.0).map(|p| (p.re, p.im.max(1e-7 * p.re))).collect();
    poles.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (poles.first(), poles.last()) else { return Vec::new() };
    let end = poles.iter().map(|(x, width)| x + 2.0 * width).fold(2.0 * last.0, f64::max);
    let mut x = if is_free { 1e-4 * first.0 } else { 0.0 };
    let mut squares = Vec::with_capacity(256);
    let mut passed = 0;
    while x < end {
        squares.push(x);
        // Poles are sorted, but a wide one may reach further than its neighbours, so all are checked.
        let mut distance = f64::INFINITY;
        for (pole, width) in &poles {
            distance = distance.min((pole - x).abs().max(*width));
        }
        if is_free {
            distance = distance.min(x);
        }
        while passed < poles.len() && poles[passed].0 <= x {
            passed += 1;
        }
        let next = x + step * distance;
        x = if passed < poles.len() && poles[passed].0 < next { poles[passed].0 } else { next };
    }
    squares.push(end);
    squares
}

/// The place and value of the largest `f` over sorted `squares`, refined between them.
///
/// `f` is not negative. `None` on an empty grid. Where a peak may be, each step is halved first: of two resonances
/// closer than their widths the higher one may lie between two samples on the flank of the other.
pub fn largest(squares: &[f64], mut f: impl FnMut(f64) -> f64) -> Option<(f64, f64)> {
    let values: Vec<f64> = squares.iter().map(|x| f(*x)).collect();
    let highest = values.iter().copied().fold(0.0, f64::max);
    let mut places = Vec::with_capacity(values.len() + 16);
    for i in 0..values.len() {
        if i > 0 && values[i - 1].max(values[i]) >= MISSED * highest {
            let between = 0.5 * (squares[i - 1] + squares[i]);
            places.push((between, f(between)));
        }
        places.push((squares[i], values[i]));
    }
    let mut best = *places.first()?;
    for i in 0..places.len() {
        let (left, right) = (places[i.saturating_sub(1)], places[(i + 1).min(places.len() - 1)]);
        let (middle, top) = places[i];
        if top < left.1 || top < right.1 || top < MISSED * highest {
            continue;
        }
        let refined = climb(left.0, middle, right.0, top, &mut f);
        if refined.1 > best.1 {
            best = refined;
        }
    }
    Some(best)
}

/// The largest value of `f` between `left` and `right` from the sample `f(middle) = top`, by parabolic steps,
/// and by golden-section steps where those fail.
pub(super) fn climb(
    left: f64,
    middle: f64,
    right: f64,
    top: f64,
    f: &mut impl FnMut(f64) -> f64,
) -> (f64, f64) {
    const GOLDEN: f64 = 0.381_966_011_250_105;
    let (mut a, mut b) = (left, right);
    let (mut x, mut fx) = (middle, top);
    let (mut second, mut f_second) = (middle, top);
    let (mut third, mut f_third) = (middle, top);
    let (mut step, mut before) = (0.0f64, 0.0f64);
    // The error of the height is of second order in the error of the place over the peak's width.
    let least = (1e-6 * (right - left)).max(f64::EPSILON * right.abs());
    for _ in 0..60 {
        let centre = 0.5 * (a + b);
        if (x - centre).abs() + 0.5 * (b - a) <= 2.0 * least {
            break;
        }
        let (p1, p2) = ((x - second) * (fx - f_third), (x - third) * (fx - f_second));
        let denominator = 2.0 * (p2 - p1);
        let parabola = ((x - third) * p2 - (x - second) * p1) / denominator;
        let inside = denominator != 0.0 && x - parabola > a && x - parabola < b;
        let last = before;
        before = step;
        step = if inside && parabola.abs() < 0.5 * last.abs() {
            -parabola
        } else {
            before = if x >= centre { a - x } else { b - x };
            GOLDEN * before
        };
        let u = x + if step.abs() >= least { step } else { least.copysign(step) };
        if u < left || u > right {
            break;
        }
        let fu = f(u);
        if fu >= fx {
            if u >= x {
                a = x
            } else {
                b = x
            }
            (third, f_third, second, f_second) = (second, f_second, x, fx);
            (x, fx) = (u, fu);
        } else {
            if u < x {
                a = u
            } else {
                b = u
            }
            if fu >= f_second || second == x {
                (third, f_third, second, f_second) = (second, f_second, u, fu);
            } else if fu >= f_third || third == x || third == second {
                (third, f_third) = (u, fu);
            }
        }
    }
    (x, fx)
}

/// The largest compliance between two stations over all frequencies.
///
/// `None` when the model has no elastic mode.
pub fn worst_peak(model: &ModalModel, j: usize, k: usize) -> Option<Peak> {
    let pair = model.pair(j, k);
    let squares = resolving_squares(model.poles(), SEARCH_STEP);
    let (square, value) = largest(&squares, |x| pair.at_square(x).norm_sqr())?;
    let seen = |mode: &ModalMode| mode.shape[j].norm() * mode.shape[k].norm();
    let error = doubt(model, square, value.sqrt(), seen, |x| pair.at_square(x).norm());
    Some(peak(square, value.sqrt(), error))
}

/// The largest compliance over all frequencies and directions, with force and motion each along their worst
/// direction: the greatest singular value of the 3 by 3 compliance of three stations along perpendicular
/// axes. Its inverse is the dynamic stiffness of the weakest direction.
///
/// `None` when the model has no elastic mode.
pub fn weakest_peak(model: &ModalModel, stations: [usize; 3]) -> Option<Peak> {
    let three = Three::new(model, stations);
    let squares = resolving_squares(model.poles(), SEARCH_STEP);
    let mut highest = 0.0f64;
    let (square, value) = largest(&squares, |x| {
        let h = three.at_square(x);
        // The sum of squares is one to three times the greatest square: mostly enough to rule a place out.
        let sum = h.sum_of_squares();
        if sum < 0.5 * MISSED * highest {
            return sum;
        }
        let value = h.greatest_square();
        highest = highest.max(value);
        value
    })?;
    let seen = |mode: &ModalMode| stations.iter().map(|i| mode.shape[*i].norm_sqr()).sum::<f64>();
    let error = doubt(model, square, value.sqrt(), seen, |x| three.at_square(x).greatest());
    Some(peak(square, value.sqrt(), error))
}

/// Relative error bound, from what `model` leaves out, of the inverse of the largest compliance `found` at
/// `square`. `seen` is the residue of a lump, `at` the compliance of the modal sum.
fn doubt(
    model: &ModalModel,
    square: f64,
    found: f64,
    seen: impl Fn(&ModalMode) -> f64,
    at: impl Fn(f64) -> f64,
) -> f64 {
    let (mut near, mut worst) = (0.0, found);
    for left in model.left_out() {
        let lump = &left.mode;
        let own = lump.omega * lump.omega;
        let rest = seen(lump) / own;
        if rest <= 0.0 {
            continue;
        }
        let beside = square / (own - square).abs().max(lump.pole().im);
        near += rest * beside;
        let reach = |other: &Lumped| if left.is_mode() || other.is_mode() { NEAR } else { UNRESOLVED };
        let is_near = |other: &&Lumped| (other.mode.omega / lump.omega - 1.0).abs() < reach(other);
        let near_ones = model.left_out().iter().filter(is_near);
        let heights = near_ones.map(|other| seen(&other.mode) / other.mode.pole().im);
        worst = worst.max(heights.sum::<f64>() + at(own));
    }
    if found > 0.0 { (near / found + 1.0 - found / worst).min(1.0) } else { 0.0 }
}

fn peak(square: f64, compliance: f64, stiffness_error: f64) -> Peak {
    let stiffness = (compliance > 0.0).then(|| 1.0 / compliance);
    Peak {
        frequency_hz: square.sqrt() / std::f64::consts::TAU,
        compliance_m_per_n: compliance,
        dynamic_stiffness_n_per_m: stiffness,
        stiffness_error,
    }
}

/// Three stations of a model, prepared for fast evaluation.
pub struct Three<'m> {
    poles: &'m [Complex64],
    residues: Vec<[Complex64; 6]>,
    rest: [Complex64; 6],
}

/// Indices of the six distinct entries of a symmetric 3 by 3.
const ENTRIES: [(usize, usize); 6] = [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)];

impl<'m> Three<'m> {
    /// The stations `stations` of `model`.
    pub fn new(model: &'m ModalModel, stations: [usize; 3]) -> Three<'m> {
        let at = |i: usize| stations[i];
        let residues = model
            .modes()
            .iter()
            .map(|mode| ENTRIES.map(|(i, j)| mode.shape[at(i)] * mode.shape[at(j)]))
            .collect();
        let rest = ENTRIES.map(|(i, j)| model.rest(at(i), at(j)));
        Three { poles: model.poles(), residues, rest }
    }

    /// The compliance, m/N, at the square `square` of the circular frequency, rad2/s2.
    pub fn at_square(&self, square: f64) -> Symmetric3 {
        let mut sum = self.rest;
        for (residue, pole) in self.residues.iter().zip(self.poles) {
            let factor = over(pole - square);
            for (entry, residue) in sum.iter_mut().zip(residue) {
                *entry += residue * factor;
            }
        }
        Symmetric3(sum)
    }
}

/// A complex symmetric 3 by 3 matrix: xx, yy, zz, xy, xz, yz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Symmetric3(pub [Complex64; 6]);

impl Symmetric3 {
    fn sum_of_squares(&self) -> f64 {
        let n = self.0.map(|z| z.norm_sqr());
        n[0] + n[1] + n[2] + 2.0 * (n[3] + n[4] + n[5])
    }

    /// The square of the greatest singular value: the largest root of the characteristic cubic of
    /// the Hermitian `H^H H`, by its trigonometric form.
    fn greatest_square(&self) -> f64 {
        let [xx, yy, zz, xy, xz, yz] = self.0;
        let column = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]];
        let dot = |a: &[Complex64; 3], b: &[Complex64; 3]| {
            a[0].conj() * b[0] + a[1].conj() * b[1] + a[2].conj() * b[2]
        };
        let diagonal = [0, 1, 2].map(|i| dot(&column[i], &column[i]).re);
        let g01 = dot(&column[0], &column[1]);
        let g02 = dot(&column[0], &column[2]);
        let g12 = dot(&column[1], &column[2]);
        let mean = (diagonal[0] + diagonal[1] + diagonal[2]) / 3.0;
        let d = diagonal.map(|x| x - mean);
        let off = g01.norm_sqr() + g02.norm_sqr() + g12.norm_sqr();
        let spread = ((d[0] * d[0] + d[1] * d[1] + d[2] * d[2] + 2.0 * off) / 6.0).sqrt();
        if spread <= f64::EPSILON * mean {
            return mean;
        }
        let determinant = d[0] * d[1] * d[2] + 2.0 * (g01 * g12 * g02.conj()).re
            - d[0] * g12.norm_sqr()
            - d[1] * g02.norm_sqr()
            - d[2] * g01.norm_sqr();
        let half = (0.5 * determinant / (spread * spread * spread)).clamp(-1.0, 1.0);
        mean + 2.0 * spread * (half.acos() / 3.0).cos()
    }

    /// The greatest singular value, m/N.
    pub fn greatest(&self) -> f64 {
        self.greatest_square().max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::super::modal::Lumped;
    use super::super::modal::tests::{chain, single};
    use super::*;
    use nalgebra::Matrix3;
    use proptest::prelude::*;

    #[test]
    fn one_mode_peaks_at_its_frequency() {
        let peak = worst_peak(&single(1e7, 40.0, 0.02), 0, 0).unwrap();
        approx::assert_relative_eq!(peak.frequency_hz, 500.0 / std::f64::consts::TAU, max_relative = 1e-7);
        approx::assert_relative_eq!(peak.dynamic_stiffness_n_per_m.unwrap(), 2e5, max_relative = 1e-12);
    }

    #[test]
    fn what_rests_more_than_it_rings_is_worst_at_rest() {
        let peak = worst_peak(&single(1e7, 40.0, 3.0), 0, 0).unwrap();
        assert!(peak.frequency_hz < 80.0);
        let nothing = ModalModel::complete(vec![], 1).unwrap();
        assert_eq!(worst_peak(&nothing, 0, 0), None);
        let unmoved = ModalModel::complete(vec![ModalMode::real(10.0, 0.1, &[0.0])], 1).unwrap();
        assert_eq!(worst_peak(&unmoved, 0, 0).unwrap().dynamic_stiffness_n_per_m, None);
    }

    #[test]
    fn a_peak_left_out_stays_within_the_error() {
        let chain = chain(&[(1e6, 0.05), (4e6, 0.03), (8e6, 0.01), (2e6, 0.02)], &[3.0, 2.0, 0.5]);
        let all = chain.model(3);
        let exact = worst_peak(&all, 0, 0).unwrap();
        assert_eq!(exact.stiffness_error, 0.0);
        for count in [1, 2] {
            let lumps = all.modes()[count..].iter().cloned().map(Lumped::from).collect();
            let few = chain.model(count).with_left_out(lumps);
            let found = worst_peak(&few, 0, 0).unwrap();
            let [own, other] = [exact, found].map(|peak| peak.dynamic_stiffness_n_per_m.unwrap());
            assert!((own - other).abs() <= found.stiffness_error * other, "{own} {other} {found:?}");
            assert!(found.stiffness_error < 0.5, "{found:?}");
        }
        // A mode that was not computed and peaks higher than the computed one.
        let low = ModalModel::complete(vec![ModalMode::real(500.0, 0.1, &[0.1])], 1).unwrap();
        let sharp = low.with_left_out(vec![ModalMode::real(5000.0, 0.001, &[0.16]).into()]);
        let error = worst_peak(&sharp, 0, 0).unwrap().stiffness_error;
        // 0.0256 / (2.5e7 x 0.001) = 1.024e-6 against 4e-7 m/N.
        assert!((0.58..0.64).contains(&error), "{error}");
    }

    #[test]
    fn weakest_direction_of_one_oblique_mode_is_its_own() {
        let mode = ModalMode::real(500.0, 0.02, &[0.1, 0.2, 0.2]);
        let model = ModalModel::complete(vec![mode], 3).unwrap();
        let peak = weakest_peak(&model, [0, 1, 2]).unwrap();
        // |phi|^2 / (w^2 eta) = 0.09 / 5000
        approx::assert_relative_eq!(peak.compliance_m_per_n, 1.8e-5, max_relative = 1e-9);
    }

    fn shape() -> impl Strategy<Value = Vec<Complex64>> {
        prop::array::uniform3((-1.0..1.0f64, -0.3..0.3f64)).prop_map(|shape| {
            shape.map(|(p, turn)| Complex64::from_polar(p.abs(), turn) * p.signum()).to_vec()
        })
    }

    /// Up to eight modes, half of them with a twin within a few half-power widths.
    fn any_model() -> impl Strategy<Value = ModalModel> {
        let twin = prop::option::of((-4.0..4.0f64, 0.3..3.0f64, shape()));
        let mode = (50.0..3000.0f64, -3.0..-0.3f64, shape(), twin);
        prop::collection::vec(mode, 1..9).prop_map(|modes| {
            let mut all = Vec::new();
            for (omega, loss, shape, twin) in modes {
                let loss_factor = 10f64.powf(loss);
                all.push(ModalMode { omega, loss_factor, shape });
                if let Some((widths, ratio, shape)) = twin {
                    let omega = omega * (1.0 + 0.5 * widths * loss_factor).max(0.1);
                    all.push(ModalMode { omega, loss_factor: loss_factor * ratio, shape });
                }
            }
            ModalModel::complete(all, 3).unwrap()
        })
    }

    /// The largest value of `f(w^2)` over 6000 places in the range and 3000 about each mode.
    fn brute_force(model: &ModalModel, f: impl Fn(f64) -> f64) -> f64 {
        let last =
            model.modes().iter().map(|m| m.omega * m.omega * (1.0 + m.loss_factor)).fold(0.0, f64::max);
        let mut highest = 0.0f64;
        for i in 0..6000 {
            highest = highest.max(f(2.0 * last * f64::from(i) / 6000.0));
        }
        for pole in model.poles() {
            for i in -1500..1500 {
                highest = highest.max(f((pole.re + pole.im * f64::from(i) / 500.0).max(0.0)));
            }
        }
        highest
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(80))]

        #[test]
        fn no_fine_scan_finds_a_higher_peak(model in any_model()) {
            let pair = model.pair(0, 1);
            let scanned = brute_force(&model, |x| pair.at_square(x).norm());
            let found = worst_peak(&model, 0, 1).unwrap().compliance_m_per_n;
            prop_assert!(found >= scanned * (1.0 - 1e-9), "{found} < {scanned}");
            prop_assert!(found <= scanned * (1.0 + 1e-4), "{found} > {scanned}");
        }

        #[test]
        fn no_fine_scan_finds_a_weaker_direction(model in any_model()) {
            let three = Three::new(&model, [0, 1, 2]);
            let scanned = brute_force(&model, |x| three.at_square(x).greatest());
            let found = weakest_peak(&model, [0, 1, 2]).unwrap().compliance_m_per_n;
            prop_assert!(found >= scanned * (1.0 - 1e-9), "{found} < {scanned}");
            prop_assert!(found <= scanned * (1.0 + 1e-4), "{found} > {scanned}");
        }

        #[test]
        fn greatest_singular_value_is_that_of_a_decomposition(
            re in prop::array::uniform6(-1.0..1.0f64), im in prop::array::uniform6(-1.0..1.0f64),
        ) {
            let h: [Complex64; 6] = std::array::from_fn(|i| Complex64::new(re[i], im[i]));
            let full = Matrix3::new(h[0], h[3], h[4], h[3], h[1], h[5], h[4], h[5], h[2]);
            let greatest = full.singular_values().max();
            prop_assert!((Symmetric3(h).greatest() / greatest - 1.0).abs() < 1e-8);
        }

        #[test]
        fn compliance_is_the_same_both_ways(
            springs in prop::collection::vec((1e5..1e7f64, 0.001..0.3f64), 4),
            masses in prop::collection::vec(1.0..20.0f64, 3),
        ) {
            let model = chain(&springs, &masses).model(3);
            for omega in [10.0, 300.0, 1000.0] {
                let (there, back) = (model.compliance(0, 2, omega), model.compliance(2, 0, omega));
                prop_assert!((there - back).norm() <= 1e-14 * there.norm());
            }
        }
    }
}
