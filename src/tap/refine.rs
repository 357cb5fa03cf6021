//! Poles refined by least squares over all taps and channels, and their variances.
//!
//! The poles s are shared by all blocks; the amplitudes of each block are linear and eliminated:
//!
//! ```text
//! y_b[n] = sum_m a_bm exp(s_m n) + noise
//! delta s = argmin sum_b | r_b - P sum_m d_m a_bm delta s_m |^2,   d_m[n] = n exp(s_m n)
//! cov(s) = v F^-1,  F = sum_b (P d a)^H (P d a)        P projects off the span of the exponentials
//! ```
//!
//! For circular noise the real and the imaginary part of a pole each have the variance v F^-1 / 2.
//!
//! # Source
//! - `kaufman1975`: elimination of the linear amplitudes
//! - `kay1993`: ch. 15, Fisher information of complex exponentials in circular noise

use super::matrix_pencil::Block;
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// Poles fitted to all blocks.
#[derive(Clone)]
pub(super) struct Fit {
    /// Log per sample: (-sigma + i omega) / rate.
    pub(super) poles: Vec<Complex64>,
    /// By block, then by pole.
    pub(super) amplitudes: Vec<Vec<Complex64>>,
    /// Sum of squares of the residual.
    pub(super) rest: f64,
    /// Degrees of freedom of the residual: complex samples less complex unknowns.
    pub(super) freedom: usize,
    /// By pole: inverse Fisher information for unit noise. The real and the imaginary part each have half of
    /// it times v as variance.
    pub(super) unit_variance: Vec<f64>,
    /// By pole: the energy of its contribution that no other pole can take over.
    pub(super) own_energy: Vec<f64>,
}

impl Fit {
    /// Variance of one complex sample of noise, from the residual.
    pub(super) fn noise(&self) -> f64 {
        self.rest / self.freedom.max(1) as f64
    }

    /// Energy of pole `k` in all blocks, as if it were alone.
    pub(super) fn energy(&self, blocks: &[Block], k: usize) -> f64 {
        let decay = 2.0 * self.poles[k].re;
        let of_block = |(block, a): (&Block, &Vec<Complex64>)| {
            // A geometric series.
            let count = block.samples.len() as f64;
            let sum = if decay.abs() < 1e-12 { count } else { (decay * count).exp_m1() / decay.exp_m1() };
            a[k].norm_sqr() * sum
        };
        blocks.iter().zip(&self.amplitudes).map(of_block).sum()
    }
}

/// exp(s_m n) for every pole, shape (length, poles).
fn exponentials(poles: &[Complex64], length: usize) -> DMatrix<Complex64> {
    let mut all = DMatrix::zeros(length, poles.len());
    for (mut column, pole) in all.column_iter_mut().zip(poles) {
        column.iter_mut().zip(powers(*pole, length)).for_each(|(z, power)| *z = power);
    }
    all
}

/// exp(s n) for n from 0 on.
pub(super) fn powers(pole: Complex64, length: usize) -> Vec<Complex64> {
    let turn = pole.exp();
    std::iter::successors(Some(Complex64::ONE), |now| Some(now * turn)).take(length).collect()
}

/// The exponentials over the length of one block, orthonormalised: Q and R.
struct Basis {
    q: DMatrix<Complex64>,
    r: DMatrix<Complex64>,
}

impl Basis {
    fn new(poles: &[Complex64], length: usize) -> Option<Basis> {
        let phi = exponentials(poles, length);
        if !phi.iter().all(|z| z.is_finite()) {
            return None;
        }
        let (q, r) = phi.qr().unpack();
        let size = r.diagonal().iter().fold(0.0, |most: f64, d| most.max(d.norm()));
        if r.diagonal().iter().any(|d| d.norm() <= 1e-10 * size) {
            return None;
        }
        Some(Basis { q, r })
    }

    /// The part of `y` outside the span of the exponentials.
    fn outside(&self, y: &DVector<Complex64>) -> DVector<Complex64> {
        y - &self.q * (self.q.adjoint() * y)
    }

    fn amplitudes(&self, y: &DVector<Complex64>) -> Option<DVector<Complex64>> {
        self.r.solve_upper_triangular(&(self.q.adjoint() * y))
    }
}

/// Amplitudes, residual and Fisher information at given poles.
struct State {
    fit: Fit,
    information: DMatrix<Complex64>,
    slope: DVector<Complex64>,
}

fn state(blocks: &[Block], poles: &[Complex64]) -> Option<State> {
    let m = poles.len();
    let mut information = DMatrix::zeros(m, m);
    let mut slope = DVector::zeros(m);
    let mut amplitudes = Vec::with_capacity(blocks.len());
    let (mut rest, mut samples) = (0.0, 0);
    let mut own_energy = vec![0.0; m];
    let mut bases: Vec<(usize, Basis, DMatrix<Complex64>, Vec<f64>)> = Vec::new();
    for block in blocks {
        let length = block.samples.len();
        if length <= m {
            return None;
        }
        let known = bases.iter().position(|(size, ..)| *size == length);
        let place = match known {
            Some(place) => place,
            None => {
                let basis = Basis::new(poles, length)?;
                let mut d = exponentials(poles, length);
                for mut column in d.column_iter_mut() {
                    column.iter_mut().enumerate().for_each(|(n, z)| *z *= n as f64);
                }
                let outside = &d - &basis.q * (basis.q.adjoint() * &d);
                // 1 / (R^H R)^-1_mm: squared length of an exponential outside the span of the others.
                let inverse = basis.r.clone().try_inverse()?;
                let square = |j| inverse.row(j).iter().map(|z: &Complex64| z.norm_sqr()).sum::<f64>();
                let alone = (0..m).map(|j| 1.0 / square(j)).collect();
                bases.push((length, basis, outside, alone));
                bases.len() - 1
            }
        };
        let (_, basis, outside, alone) = &bases[place];
        let y = DVector::from_column_slice(&block.samples);
        let a = basis.amplitudes(&y)?;
        let left = basis.outside(&y);
        rest += left.norm_squared();
        samples += length;
        let j = DMatrix::from_fn(length, m, |n, k| outside[(n, k)] * a[k]);
        let adjoint = j.adjoint();
        information += &adjoint * &j;
        slope += &adjoint * &left;
        for k in 0..m {
            own_energy[k] += a[k].norm_sqr() * alone[k];
        }
        amplitudes.push(a.iter().copied().collect());
    }
    let freedom = samples.saturating_sub(m * (blocks.len() + 1));
    let unit_variance = Vec::new();
    let fit = Fit { poles: poles.to_vec(), amplitudes, rest, freedom, unit_variance, own_energy };
    Some(State { fit, information, slope })
}

/// Improves the poles `start` by at most `rounds` damped Gauss-Newton steps; `None` when the poles cannot
/// be told apart.
pub(super) fn refine(blocks: &[Block], start: &[Complex64], rounds: usize) -> Option<Fit> {
    let mut now = state(blocks, start)?;
    let mut damping = 1e-6;
    for _ in 0..rounds {
        let mut matrix = now.information.clone();
        for k in 0..start.len() {
            matrix[(k, k)] *= Complex64::from(1.0 + damping);
        }
        let Some(step) = matrix.lu().solve(&now.slope) else { break };
        let poles: Vec<Complex64> = now.fit.poles.iter().zip(step.iter()).map(|(p, d)| p + d).collect();
        // No pole may grow beyond what a record of this length could hold, or jump out of the band.
        let tame = step.iter().all(|d| d.norm() < 0.5) && poles.iter().all(|p| p.re < 0.3 && p.is_finite());
        match state(blocks, &poles).filter(|next| tame && next.fit.rest < now.fit.rest) {
            Some(next) => {
                let gained = now.fit.rest - next.fit.rest;
                let done = gained <= 1e-9 * now.fit.rest;
                now = next;
                damping = (damping / 10.0).max(1e-9);
                if done {
                    break;
                }
            }
            None if damping < 1e3 => damping = damping.max(1e-4) * 10.0,
            None => break,
        }
    }
    let inverse = now.information.clone().try_inverse()?;
    now.fit.unit_variance = (0..start.len()).map(|k| inverse[(k, k)].re).collect();
    now.fit.unit_variance.iter().all(|v| v.is_finite() && *v >= 0.0).then_some(now.fit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    fn noisy(seed: u64, noise: f64) -> Vec<Block> {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        let s = [Complex64::new(-0.03, 0.4), Complex64::new(-0.05, -0.3)];
        (0..2)
            .map(|tap| Block {
                tap,
                channel: 0,
                samples: (0..100)
                    .map(|n| {
                        let clean: Complex64 = s.iter().map(|s| (s * n as f64).exp()).sum();
                        let mut part = || (0..12).map(|_| random.random::<f64>() - 0.5).sum::<f64>();
                        clean + Complex64::new(part(), part()) * noise
                    })
                    .collect(),
            })
            .collect()
    }

    #[test]
    fn the_stated_variance_is_the_scatter() {
        let start = [Complex64::new(-0.031, 0.401), Complex64::new(-0.048, -0.302)];
        let noise = 0.02;
        let (mut sum, mut stated, count) = (0.0, 0.0, 120);
        for seed in 0..count {
            let fit = refine(&noisy(seed, noise), &start, 12).unwrap();
            sum += (fit.poles[0] - Complex64::new(-0.03, 0.4)).norm_sqr();
            stated += fit.noise() * fit.unit_variance[0];
        }
        let ratio = sum / stated;
        assert!((0.75..1.33).contains(&ratio), "scatter {ratio} of what is stated");
    }

    #[test]
    fn poles_that_coincide_are_refused() {
        let s = Complex64::new(-0.03, 0.4);
        assert!(refine(&noisy(1, 0.01), &[s, s], 5).is_none());
    }
}
