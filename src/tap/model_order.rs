//! How many poles has a band, and which are physical? Those that stay when the number of poles changes.
//!
//! The band is fitted with every number of poles, and the number with the least criterion below is taken.
//! Of its poles those are physical that stand out of the noise, that decay, and that at least half of the
//! larger fits have too: a pole that fits noise moves with every pole added. Poles at one frequency are
//! one mode.
//!
//! ```text
//! criterion = 2N ln(rest / N) + 1.5 (2 + 2B) M ln(2N)      N complex samples, B blocks, M poles
//! ```
//!
//! # Source
//! - `schwarz1978`: the criterion, for real unknowns

use super::matrix_pencil::{Block, poles_by_order};
use super::refine::{Fit, refine};
use num_complex::Complex64;

/// The fit of a band and which of its poles are physical.
pub(super) struct SelectedOrder {
    /// All poles: the physical ones and those that only improve the fit.
    pub(super) fit: Fit,
    /// Indices in `fit` of the physical poles.
    pub(super) physical: Vec<usize>,
    /// Residual sum of squares, by number of poles from one on.
    pub(super) rests: Vec<f64>,
}

impl SelectedOrder {
    /// Residual sum of squares of the best fit with at most `poles` poles.
    pub(super) fn rest_of(&self, poles: usize) -> f64 {
        let own = if poles >= self.fit.poles.len() { self.fit.rest } else { f64::MAX };
        self.rests.iter().take(poles).copied().fold(own, f64::min)
    }
}

/// Finds the poles of a band in which about `expected` modes ring.
pub(super) fn select_order(blocks: &[Block], expected: usize) -> Option<SelectedOrder> {
    let most = (2 * expected + 4).min(14);
    let orders = poles_by_order(blocks, most);
    let samples: usize = blocks.iter().map(|block| block.samples.len()).sum();
    let energy: f64 = blocks.iter().flat_map(|block| &block.samples).map(|y| y.norm_sqr()).sum();
    let per_pole = 2 + 2 * blocks.len();
    let criterion = |fit: &Fit| criterion(fit.rest, energy, samples, per_pole * fit.poles.len());
    let mut fits: Vec<Fit> = Vec::new();
    let mut rests = Vec::new();
    for poles in orders.iter().filter(|poles| !poles.is_empty()) {
        let start: Vec<Complex64> = poles.iter().map(|p| Complex64::new(p.re.min(0.05), p.im)).collect();
        let fit = refine(blocks, &start, 4);
        rests.push(fit.as_ref().map_or(f64::MAX, |fit| fit.rest));
        fits.extend(fit);
    }
    let best = fits.iter().min_by(|a, b| criterion(a).total_cmp(&criterion(b)))?.clone();
    let mut fit = refine(blocks, &best.poles, 25)?;
    // Poles that do not stand out of the noise are removed, the weakest first.
    loop {
        let floor = fit.noise() * threshold(blocks.len(), samples);
        let floor = floor.max(1e-9 * energy);
        let weakest =
            (0..fit.poles.len()).min_by(|a, b| fit.own_energy[*a].total_cmp(&fit.own_energy[*b]))?;
        if fit.own_energy[weakest] >= floor {
            break;
        }
        let mut left = fit.poles.clone();
        left.remove(weakest);
        if left.is_empty() {
            return None;
        }
        fit = refine(blocks, &left, 25)?;
    }
    let fit = one_of_a_kind(blocks, fit);
    let stable = |k: usize| {
        let pole = fit.poles[k];
        let spread = (0.5 * fit.noise() * fit.unit_variance[k]).sqrt();
        let near = |p: &Complex64| {
            let apart = p - pole;
            apart.im.abs() < (5.0 * spread).max(0.15 * pole.re.abs()).max(1e-4)
                && apart.re.abs() < (5.0 * spread).max(0.6 * pole.re.abs()).max(1e-4)
        };
        let larger = fits.iter().filter(|other| other.poles.len() >= fit.poles.len());
        let (mut all, mut with) = (0, 0);
        for other in larger {
            all += 1;
            with += usize::from(other.poles.iter().any(near));
        }
        // Poles that nearly cancel each other describe something other than a ring.
        let shared = fit.own_energy[k] < 0.005 * fit.energy(blocks, k);
        pole.re < 3.0 * spread && 2 * with >= all && !shared
    };
    let physical = (0..fit.poles.len()).filter(|k| stable(*k)).collect();
    Some(SelectedOrder { fit, physical, rests })
}

/// The criterion for a fit of `unknowns` real unknowns to `samples` complex samples of total `energy`,
/// with the residual sum of squares `rest`.
pub(super) fn criterion(rest: f64, energy: f64, samples: usize, unknowns: usize) -> f64 {
    let count = samples as f64;
    let rest = rest.max(1e-22 * energy);
    // The factor 1.5 allows for the noise of a filtered band, which is not quite white.
    2.0 * count * (rest / count).ln() + 1.5 * unknowns as f64 * (2.0 * count).ln()
}

/// Joins poles that have one frequency and differ in decay alone. They arise from a mode whose damping
/// depends on amplitude; two modes would have to lie within an eighth of their width to look the same.
fn one_of_a_kind(blocks: &[Block], mut fit: Fit) -> Fit {
    loop {
        let mut pair = None;
        for a in 0..fit.poles.len() {
            for b in 0..fit.poles.len() {
                let (p, q) = (fit.poles[a], fit.poles[b]);
                let near = (p.im - q.im).abs() < 0.25 * p.re.abs().min(q.re.abs());
                if a != b && near && fit.energy(blocks, a) < fit.energy(blocks, b) {
                    pair = Some(a);
                }
            }
        }
        let Some(weaker) = pair else { return fit };
        let mut left = fit.poles.clone();
        left.remove(weaker);
        match refine(blocks, &left, 25) {
            Some(next) => fit = next,
            None => return fit,
        }
    }
}

/// Energy, over the noise variance of one sample, that noise alone seldom exceeds: mean plus four standard
/// deviations of the energy of `blocks` random phasors, plus a term for the search over all `samples`.
fn threshold(blocks: usize, samples: usize) -> f64 {
    let blocks = blocks as f64;
    blocks + 4.0 * blocks.sqrt() + 2.0 * (samples as f64).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    fn noise(random: &mut rand::rngs::StdRng) -> Complex64 {
        let mut part = || (0..12).map(|_| random.random::<f64>() - 0.5).sum::<f64>();
        Complex64::new(part(), part())
    }

    fn blocks(seed: u64, poles: &[Complex64], level: f64) -> Vec<Block> {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        (0..2)
            .map(|tap| Block {
                tap,
                channel: 0,
                samples: (0..90)
                    .map(|n| {
                        let clean: Complex64 = poles.iter().map(|s| (s * n as f64).exp()).sum();
                        clean + noise(&mut random) * level
                    })
                    .collect(),
            })
            .collect()
    }

    #[test]
    fn a_close_pair_is_two_and_noise_is_none() {
        let pair = [Complex64::new(-0.03, 0.10), Complex64::new(-0.03, 0.16)];
        for seed in 0..10 {
            let settled = select_order(&blocks(seed, &pair, 0.01), 1).unwrap();
            assert_eq!(settled.physical.len(), 2, "seed {seed}");
        }
        let found: usize = (0..30)
            .map(|seed| select_order(&blocks(seed, &[], 1.0), 1).map_or(0, |s| s.physical.len()))
            .sum();
        assert!(found <= 2, "{found} modes in 30 bands of noise");
    }
}
