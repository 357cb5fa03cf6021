//! Modes whose frequency and decay are smooth functions of their own amplitude, called bent modes here.
//!
//! The joints of a bolted base slip more at a larger amplitude: as the ring dies away, its frequency
//! rises and its loss changes. Several linear modes can imitate that; one bent mode does it with fewer
//! unknowns. Its level L is the logarithm of its amplitude, its law p(L) the pole at that level.
//!
//! ```text
//! z' = p(L) = sum_k c_k phi_k(L),   z = L + i theta,   L = ln(amplitude / largest of all taps)
//! y_b[n] = sum_m a_bm exp(z_m[n] - z_m[0])            one law p_m for all taps and channels
//! phi: 1, L, L^2, L^3 (power law and its curvature), e^L (friction), e^2L (cubic spring)
//! cov(c) = v / 2 (Re J^H J)^-1,   J projected off the span of the exp(z_m)
//! ```
//!
//! # Source
//! - `kaufman1975`: elimination of the linear amplitudes
//! - `nayfeh1979`: ch. 3, frequency and decay as slow functions of amplitude; e^2L of a cubic spring

use super::COVERAGE;
use super::matrix_pencil::Block;
use super::refine::{Fit, powers};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// One term of a law, a function of the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Term {
    /// A power of the level.
    Level(i32),
    /// A power of the amplitude.
    Amplitude(f64),
}

/// The sets of terms that are tried, beginning with the fewest.
pub(super) const TERMS: [&[Term]; 8] = [
    &[Term::Level(0)],
    &[Term::Level(0), Term::Level(1)],
    &[Term::Level(0), Term::Amplitude(1.0)],
    &[Term::Level(0), Term::Amplitude(2.0)],
    &[Term::Level(0), Term::Level(1), Term::Level(2)],
    &[Term::Level(0), Term::Level(1), Term::Amplitude(2.0)],
    &[Term::Level(0), Term::Level(1), Term::Level(2), Term::Level(3)],
    &[Term::Level(0), Term::Level(1), Term::Level(2), Term::Level(3), Term::Amplitude(2.0)],
];

/// How far below the lowest level that is heard a law is still allowed to change.
pub(super) const BELOW: f64 = 0.7;

/// The pole of a mode as a function of its level.
#[derive(Debug, Clone)]
pub(super) struct PoleLaw {
    pub(super) terms: &'static [Term],
    /// Coefficients by term; the pole is a logarithm per sample.
    pub(super) of: Vec<Complex64>,
    /// Level below which the pole stays constant, since only noise is left there.
    pub(super) floor: f64,
}

impl PoleLaw {
    /// A pole that does not depend on amplitude.
    pub(super) fn fixed(pole: Complex64) -> PoleLaw {
        PoleLaw { terms: TERMS[0], of: vec![pole], floor: -5.0 }
    }

    pub(super) fn is_fixed(&self) -> bool {
        self.terms.len() == 1
    }

    /// Value and slope of the terms at a level.
    fn terms_at(&self, level: f64) -> impl Iterator<Item = (f64, f64)> {
        let (at, inside) = (level.clamp(self.floor, 0.5), level > self.floor && level < 0.5);
        self.terms.iter().map(move |term| {
            let (value, slope) = match term {
                Term::Level(0) => (1.0, 0.0),
                Term::Level(n) => (at.powi(*n), f64::from(*n) * at.powi(n - 1)),
                Term::Amplitude(n) => ((n * at).exp(), n * (n * at).exp()),
            };
            (value, if inside { slope } else { 0.0 })
        })
    }

    /// The pole at a level.
    pub(super) fn pole(&self, level: f64) -> Complex64 {
        self.terms_at(level).zip(&self.of).map(|((value, _), c)| c * value).sum()
    }

    /// The law with these terms that fits `points` (level, pole, weight) best in weighted least squares.
    pub(super) fn through(
        terms: &'static [Term],
        floor: f64,
        points: &[(f64, Complex64, f64)],
    ) -> Option<PoleLaw> {
        let law = PoleLaw { terms, of: Vec::new(), floor };
        let count = terms.len();
        let (mut normal, mut right) = (DMatrix::<f64>::zeros(count, count), DMatrix::<f64>::zeros(count, 2));
        for (level, pole, weight) in points {
            let phi: Vec<f64> = law.terms_at(*level).map(|(value, _)| value).collect();
            for i in 0..count {
                for j in 0..count {
                    normal[(i, j)] += weight * phi[i] * phi[j];
                }
                right[(i, 0)] += weight * phi[i] * pole.re;
                right[(i, 1)] += weight * phi[i] * pole.im;
            }
        }
        for i in 0..count {
            normal[(i, i)] *= 1.0 + 1e-9;
        }
        let solved = normal.lu().solve(&right)?;
        let of: Vec<Complex64> = (0..count).map(|i| Complex64::new(solved[(i, 0)], solved[(i, 1)])).collect();
        of.iter().all(|c| c.is_finite()).then_some(PoleLaw { of, ..law })
    }
}

/// The trajectory of a mode after one tap, by sample: z minus its start, and its derivative with respect
/// to each unknown.
pub(super) struct Way {
    /// z - z0.
    pub(super) z: Vec<Complex64>,
    /// exp(z - z0).
    exp: Vec<Complex64>,
    /// Derivatives of z, by unknown (real parts of all terms, then imaginary parts), then by sample.
    moves: Vec<Vec<Complex64>>,
}

/// State of the integration: level, angle, and their derivatives with respect to the real and the
/// imaginary part of each coefficient.
#[derive(Clone)]
struct Along {
    level: f64,
    angle: f64,
    level_by: Vec<f64>,
    angle_by: Vec<f64>,
    turned: Vec<f64>,
}

impl Along {
    fn rate(&self, law: &PoleLaw) -> Along {
        let (mut pole, mut slope) = (Complex64::ZERO, Complex64::ZERO);
        let terms: Vec<(f64, f64)> = law.terms_at(self.level).collect();
        for ((value, by), c) in terms.iter().zip(&law.of) {
            pole += c * *value;
            slope += c * *by;
        }
        Along {
            level: pole.re,
            angle: pole.im,
            level_by: terms.iter().zip(&self.level_by).map(|((value, _), s)| value + slope.re * s).collect(),
            angle_by: self.level_by.iter().map(|s| slope.im * s).collect(),
            turned: terms.iter().map(|(value, _)| *value).collect(),
        }
    }

    fn moved(&self, by: &Along, h: f64) -> Along {
        let add = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a + h * b).collect();
        Along {
            level: self.level + h * by.level,
            angle: self.angle + h * by.angle,
            level_by: add(&self.level_by, &by.level_by),
            angle_by: add(&self.angle_by, &by.angle_by),
            turned: add(&self.turned, &by.turned),
        }
    }
}

impl Way {
    /// The trajectory of a pole that does not depend on amplitude.
    fn straight(pole: Complex64, count: usize) -> Way {
        let real: Vec<Complex64> = (0..count).map(|n| Complex64::from(n as f64)).collect();
        let turned = real.iter().map(|n| Complex64::new(0.0, n.re)).collect();
        let z: Vec<Complex64> = real.iter().map(|n| pole * n).collect();
        Way { exp: powers(pole, count), z, moves: vec![real, turned] }
    }

    /// `count` samples of the trajectory that begins at `level`.
    pub(super) fn new(law: &PoleLaw, level: f64, count: usize) -> Way {
        let terms = law.terms.len();
        let none = vec![0.0; terms];
        let mut at =
            Along { level, angle: 0.0, level_by: none.clone(), angle_by: none.clone(), turned: none };
        if law.is_fixed() {
            return Way::straight(law.of[0], count);
        }
        let mut way = Way {
            z: Vec::with_capacity(count),
            exp: Vec::new(),
            moves: vec![Vec::with_capacity(count); 2 * terms],
        };
        for _ in 0..count {
            way.z.push(Complex64::new(at.level - level, at.angle));
            for k in 0..terms {
                way.moves[k].push(Complex64::new(at.level_by[k], at.angle_by[k]));
                way.moves[terms + k].push(Complex64::new(0.0, at.turned[k]));
            }
            // Classical Runge-Kutta step of fourth order.
            let first = at.rate(law);
            let second = at.moved(&first, 0.5).rate(law);
            let third = at.moved(&second, 0.5).rate(law);
            let fourth = at.moved(&third, 1.0).rate(law);
            at = at
                .moved(&first, 1.0 / 6.0)
                .moved(&second, 1.0 / 3.0)
                .moved(&third, 1.0 / 3.0)
                .moved(&fourth, 1.0 / 6.0);
        }
        way.exp = way.z.iter().map(|z| z.exp()).collect();
        way
    }
}

/// Bent and linear modes fitted to all blocks.
#[derive(Clone)]
pub(super) struct AmplitudeDependentModes {
    pub(super) laws: Vec<PoleLaw>,
    /// By mode: level at the start of each tap, with the number of the tap in the record.
    pub(super) levels: Vec<Vec<(usize, f64)>>,
    /// By block, then by mode.
    pub(super) amplitudes: Vec<Vec<Complex64>>,
    pub(super) rest: f64,
    /// Degrees of freedom of the residual: complex samples less half of the real unknowns.
    freedom: f64,
    /// By mode: other laws that fit nearly as well.
    pub(super) rivals: Vec<Vec<PoleLaw>>,
    /// By mode: the part of (Re J^H J)^-1 that belongs to its unknowns.
    inverse: Vec<DMatrix<f64>>,
}

impl AmplitudeDependentModes {
    /// Variance of one complex sample of noise.
    pub(super) fn noise(&self) -> f64 {
        self.rest / self.freedom.max(1.0)
    }

    /// The modes of a fit with fixed poles.
    pub(super) fn straight(fit: &Fit, blocks: &[Block]) -> AmplitudeDependentModes {
        let laws: Vec<PoleLaw> = fit.poles.iter().map(|pole| PoleLaw::fixed(*pole)).collect();
        AmplitudeDependentModes {
            levels: levels(blocks, &fit.amplitudes, laws.len()),
            amplitudes: fit.amplitudes.clone(),
            rest: fit.rest,
            freedom: fit.freedom as f64,
            rivals: vec![Vec::new(); laws.len()],
            inverse: fit.unit_variance.iter().map(|v| DMatrix::identity(2, 2) * *v).collect(),
            laws,
        }
    }

    /// Lowest level at which mode `m` still stands out of the noise.
    pub(super) fn last_level(&self, m: usize) -> f64 {
        self.laws[m].floor + BELOW
    }

    /// The level whose pole represents mode `m`.
    pub(super) fn middle(&self, m: usize) -> f64 {
        if self.laws[m].is_fixed() { 0.0 } else { 0.5 * self.last_level(m) }
    }

    /// Variance of the pole at the middle level, the larger of its real and its imaginary part.
    pub(super) fn middle_variance(&self, m: usize) -> f64 {
        let (re, im) = self.variance(m, self.middle(m), self.noise());
        re.max(im)
    }

    /// A block minus all modes except `kept`.
    pub(super) fn rest_of(&self, block: &Block, place: usize, kept: Option<usize>) -> Vec<Complex64> {
        let mut rest = block.samples.clone();
        for m in (0..self.laws.len()).filter(|m| Some(*m) != kept) {
            let share = self.share(place, block.tap, m, rest.len());
            rest.iter_mut().zip(share).for_each(|(y, share)| *y -= share);
        }
        rest
    }

    /// Level of mode `m` at the start of `tap`.
    pub(super) fn level(&self, m: usize, tap: usize) -> f64 {
        self.levels[m].iter().find(|(own, _)| *own == tap).map_or(0.0, |(_, level)| *level)
    }

    /// Variance of the real and of the imaginary part of mode `m`'s pole at a level, for the noise variance
    /// `noise`; wide enough for the limits to hold the poles of the rival laws.
    pub(super) fn variance(&self, m: usize, level: f64, noise: f64) -> (f64, f64) {
        let phi: Vec<f64> = self.laws[m].terms_at(level).map(|(value, _)| value).collect();
        let count = phi.len();
        let of = |first: usize| {
            let mut sum = 0.0;
            for i in 0..count {
                for j in 0..count {
                    sum += phi[i] * phi[j] * self.inverse[m][(first + i, first + j)];
                }
            }
            0.5 * noise * sum
        };
        let pole = self.laws[m].pole(level);
        let off = self.rivals[m].iter().map(|law| (law.pole(level) - pole) / COVERAGE);
        let off =
            off.fold((0.0, 0.0), |most: (f64, f64), z| (most.0.max(z.re.powi(2)), most.1.max(z.im.powi(2))));
        (of(0) + off.0, of(count) + off.1)
    }

    /// Energy of mode `m` in all blocks.
    pub(super) fn energy(&self, blocks: &[Block], m: usize) -> f64 {
        let own = |(b, block): (usize, &Block)| self.share(b, block.tap, m, block.samples.len());
        blocks.iter().enumerate().flat_map(own).map(|y| y.norm_sqr()).sum()
    }

    /// The contribution of mode `m` to a block, by sample.
    pub(super) fn share(&self, block: usize, tap: usize, m: usize, count: usize) -> Vec<Complex64> {
        let way = Way::new(&self.laws[m], self.level(m, tap), count);
        way.exp.iter().map(|e| self.amplitudes[block][m] * e).collect()
    }
}

struct State {
    bent: AmplitudeDependentModes,
    normal: DMatrix<f64>,
    slope: DVector<f64>,
}

/// The levels at the start of each tap, from the fitted `amplitudes`.
fn levels(blocks: &[Block], amplitudes: &[Vec<Complex64>], modes: usize) -> Vec<Vec<(usize, f64)>> {
    (0..modes)
        .map(|m| {
            let mut powers: Vec<(usize, f64)> = Vec::new();
            for (block, a) in blocks.iter().zip(amplitudes) {
                match powers.iter_mut().find(|(tap, _)| *tap == block.tap) {
                    Some((_, power)) => *power += a[m].norm_sqr(),
                    None => powers.push((block.tap, a[m].norm_sqr())),
                }
            }
            let most = powers.iter().map(|(_, power)| *power).fold(f64::MIN_POSITIVE, f64::max);
            powers.into_iter().map(|(tap, power)| (tap, 0.5 * (power / most).max(1e-12).ln())).collect()
        })
        .collect()
}

fn state(blocks: &[Block], laws: &[PoleLaw], levels: &[Vec<(usize, f64)>]) -> Option<State> {
    let modes = laws.len();
    let firsts: Vec<usize> = laws
        .iter()
        .scan(0, |sum, law| {
            let first = *sum;
            *sum += 2 * law.terms.len();
            Some(first)
        })
        .collect();
    let unknowns: usize = laws.iter().map(|law| 2 * law.terms.len()).sum();
    let (mut normal, mut slope) = (DMatrix::zeros(unknowns, unknowns), DVector::zeros(unknowns));
    let mut amplitudes = Vec::with_capacity(blocks.len());
    let (mut rest, mut samples) = (0.0, 0);
    let mut ways: Vec<(usize, usize, Vec<Way>)> = Vec::new();
    for block in blocks {
        let length = block.samples.len();
        if length <= unknowns + modes {
            return None;
        }
        if !ways.iter().any(|(tap, size, _)| *tap == block.tap && *size == length) {
            let level = |m: usize| levels[m].iter().find(|l| l.0 == block.tap).map_or(0.0, |l| l.1);
            let own = laws.iter().enumerate().map(|(m, law)| Way::new(law, level(m), length)).collect();
            ways.push((block.tap, length, own));
        }
        let (_, _, ways) = ways.iter().find(|(tap, size, _)| *tap == block.tap && *size == length)?;
        let phi = DMatrix::from_fn(length, modes, |n, m| ways[m].exp[n]);
        if !phi.iter().all(|z: &Complex64| z.is_finite()) {
            return None;
        }
        let (q, r) = phi.clone().qr().unpack();
        let size = r.diagonal().iter().fold(0.0, |most: f64, d| most.max(d.norm()));
        if r.diagonal().iter().any(|d| d.norm() <= 1e-10 * size) {
            return None;
        }
        let y = DVector::from_column_slice(&block.samples);
        let inside = q.adjoint() * &y;
        let a = r.solve_upper_triangular(&inside)?;
        let left = &y - &q * inside;
        rest += left.norm_squared();
        samples += length;
        let mut j = DMatrix::<Complex64>::zeros(length, unknowns);
        for (m, way) in ways.iter().enumerate() {
            for (k, moves) in way.moves.iter().enumerate() {
                for n in 0..length {
                    j[(n, firsts[m] + k)] = a[m] * phi[(n, m)] * moves[n];
                }
            }
        }
        let outside = &j - &q * (q.adjoint() * &j);
        let adjoint = outside.adjoint();
        normal += (&adjoint * &outside).map(|z| z.re);
        slope += (&adjoint * &left).map(|z| z.re);
        amplitudes.push(a.iter().copied().collect());
    }
    let freedom = samples as f64 - (modes * blocks.len()) as f64 - 0.5 * unknowns as f64;
    let bent = AmplitudeDependentModes {
        laws: laws.to_vec(),
        levels: levels.to_vec(),
        amplitudes,
        rest,
        freedom,
        rivals: vec![Vec::new(); modes],
        inverse: Vec::new(),
    };
    Some(State { bent, normal, slope })
}

/// Improves the laws by at most `rounds` damped Gauss-Newton steps, each followed by new levels.
fn improve(blocks: &[Block], mut now: State, rounds: usize) -> State {
    let mut damping = 1e-4;
    for _ in 0..rounds {
        let mut matrix = now.normal.clone();
        for k in 0..matrix.nrows() {
            matrix[(k, k)] *= 1.0 + damping;
        }
        let Some(step) = matrix.lu().solve(&now.slope) else { break };
        let mut at = 0;
        let mut next_laws = now.bent.laws.clone();
        for law in &mut next_laws {
            let count = law.terms.len();
            for k in 0..count {
                law.of[k] += Complex64::new(step[at + k], step[at + count + k]);
            }
            at += 2 * count;
        }
        let tame = |law: &PoleLaw| {
            let ends = [law.pole(0.0), law.pole(law.floor)];
            law.of.iter().all(|c| c.is_finite())
                && ends.iter().all(|p| p.re < 0.1 && p.re > -3.0 && p.im.abs() < 3.0)
        };
        let next = next_laws.iter().all(tame).then(|| state(blocks, &next_laws, &now.bent.levels));
        match next.flatten().filter(|next| next.bent.rest < now.bent.rest) {
            Some(next) => {
                let gained = now.bent.rest - next.bent.rest;
                let done = gained <= 1e-7 * now.bent.rest;
                let level = levels(blocks, &next.bent.amplitudes, next_laws.len());
                // A single tap is the largest itself: its level stays 0.
                let lone = level.iter().all(|taps| taps.len() < 2);
                now = if lone { next } else { state(blocks, &next_laws, &level).unwrap_or(next) };
                damping = (damping / 10.0).max(1e-9);
                if done {
                    break;
                }
            }
            None if damping < 1e3 => damping = damping.max(1e-4) * 10.0,
            None => break,
        }
    }
    now
}

/// Fits `laws` to the blocks by at most `rounds` steps; `None` when the modes cannot be told apart.
pub(super) fn fit_pole_laws(
    blocks: &[Block],
    laws: &[PoleLaw],
    rounds: usize,
) -> Option<AmplitudeDependentModes> {
    let level = vec![Vec::new(); laws.len()];
    let mut now = state(blocks, laws, &level)?;
    now = state(blocks, laws, &levels(blocks, &now.bent.amplitudes, laws.len()))?;
    now = improve(blocks, now, rounds);
    let inverse = now.normal.clone().try_inverse()?;
    let mut at = 0;
    for law in laws {
        let count = 2 * law.terms.len();
        now.bent.inverse.push(inverse.view((at, at), (count, count)).into_owned());
        at += count;
    }
    let sound = now.bent.inverse.iter().all(|m| m.diagonal().iter().all(|v| v.is_finite() && *v >= 0.0));
    sound.then_some(now.bent)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two taps of a mode whose pole is `pole` of its level, integrated in steps of 0.01 samples.
    fn taps(pole: impl Fn(f64) -> Complex64, count: usize) -> Vec<Block> {
        let of = |(tap, level): (usize, f64)| {
            let mut z = Complex64::new(level, 0.3);
            let sample = |_| {
                let now = z.exp();
                for _ in 0..100 {
                    // Midpoint rule.
                    let half = z + pole(z.re) * 0.005;
                    z += pole(half.re) * 0.01;
                }
                now
            };
            Block { tap, channel: 0, samples: (0..count).map(sample).collect() }
        };
        [(0, 0.0), (1, -0.7)].into_iter().map(of).collect()
    }

    #[test]
    fn a_law_of_the_amplitude_is_found_again() {
        let pole = |level: f64| Complex64::new(-0.01 - 0.002 * level, 0.2 - 0.05 * (2.0 * level).exp());
        let blocks = taps(pole, 150);
        let terms = TERMS[5];
        let points: Vec<(f64, Complex64, f64)> =
            (0..8).map(|i| -0.2 * f64::from(i)).map(|level| (level, pole(level) * 1.02, 1.0)).collect();
        let start = PoleLaw::through(terms, -3.0, &points).unwrap();
        let bent = fit_pole_laws(&blocks, &[start], 30).unwrap();
        for level in [0.0, -0.5, -1.5] {
            let off = (bent.laws[0].pole(level) - pole(level)).norm();
            assert!(off < 2e-5, "{level}: {off}");
        }
        assert!((bent.level(0, 1) + 0.7).abs() < 1e-3, "{:?}", bent.levels);
        assert!(bent.rest < 1e-6, "{}", bent.rest);
    }

    #[test]
    fn a_fixed_law_is_a_straight_mode() {
        let pole = Complex64::new(-0.02, 0.4);
        let bent =
            fit_pole_laws(&taps(|_| pole, 60), &[PoleLaw::fixed(Complex64::new(-0.021, 0.401))], 20).unwrap();
        assert!((bent.laws[0].pole(0.0) - pole).norm() < 1e-7, "{:?}", bent.laws[0].of);
    }
}
