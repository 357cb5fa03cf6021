//! One mode or several? Close poles are tried as one bent mode, whose pole depends on its amplitude.
//!
//! The laws are ranked by how well they fit the local poles of short stretches of the decay, and the best
//! three are fitted to the samples. The bent mode is taken if it scores better by the criterion of
//! [`super::model_order`], or if it fits about as well as linear modes with as many unknowns.

use super::amplitude_dependence::{AmplitudeDependentModes, BELOW, PoleLaw, TERMS, Term, fit_pole_laws};
use super::matrix_pencil::Block;
use super::model_order::{SelectedOrder, criterion};
use super::refine::{Fit, refine};
use num_complex::Complex64;

/// Poles this many half-widths apart or closer may be one mode.
const CLOSE: f64 = 12.0;
/// Poles whose frequencies differ by more than this share of the band's sample rate are several modes.
const FAR: f64 = 0.12;
/// A single pole is tried as a bent mode if a law lowers the misfit of its local poles by this much.
const TREND: f64 = 12.0;
/// A bent mode is taken if its residual is below this part of that of linear modes with as many
/// unknowns, ...
const CLEARLY: f64 = 0.5;
/// ... or if it is about equal to that, and below so many times the residual of all linear modes.
const NEARLY: f64 = 6.0;
/// A law whose residual is below so many times that of the best one may be the true one.
const RIVAL: f64 = 3.0;
/// Number of laws that are fitted to the samples.
const TRIED: usize = 3;

/// A band as bent and linear modes.
pub(super) struct SelectedModel {
    pub(super) bent: AmplitudeDependentModes,
    /// Indices in `bent` of the physical modes.
    pub(super) physical: Vec<usize>,
}

/// A local reading: level, pole and weight.
pub(super) type Point = (f64, Complex64, f64);

/// The poles of `fit` in groups of close ones, by frequency.
fn groups(fit: &Fit) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..fit.poles.len()).collect();
    order.sort_by(|a, b| fit.poles[*a].im.total_cmp(&fit.poles[*b].im));
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for k in order {
        let pole = fit.poles[k];
        if let Some(group) = groups.last_mut() {
            let last = fit.poles[group[group.len() - 1]];
            let width = 0.5 * (pole.re.abs() + last.re.abs());
            let first = fit.poles[group[0]];
            if pole.im - last.im < CLOSE * width && pole.im - first.im < FAR * std::f64::consts::TAU {
                group.push(k);
                continue;
            }
        }
        groups.push(vec![k]);
    }
    groups
}

/// The band with each group of poles replaced by one bent mode where that explains it better; `None`
/// when no group is.
pub(super) fn select_model(blocks: &[Block], settled: &SelectedOrder) -> Option<SelectedModel> {
    let fit = &settled.fit;
    let samples: usize = blocks.iter().map(|block| block.samples.len()).sum();
    let energy: f64 = blocks.iter().flat_map(|block| &block.samples).map(|y| y.norm_sqr()).sum();
    let per_mode = 2 * blocks.len();
    let unknowns = |laws: &[PoleLaw]| laws.iter().map(|law| 2 * law.terms.len() + per_mode).sum::<usize>();
    let cost = |rest: f64, unknowns: usize| criterion(rest, energy, samples, unknowns);
    let mut best_cost = cost(fit.rest, fit.poles.len() * (2 + per_mode));
    let mut groups = groups(fit);
    // The loudest first.
    let loudness = |group: &Vec<usize>| group.iter().map(|k| fit.energy(blocks, *k)).sum::<f64>();
    groups.sort_by(|a, b| loudness(b).total_cmp(&loudness(a)));
    // Each group consists of its linear poles until one bent mode replaces them.
    let mut parts: Vec<(Vec<PoleLaw>, bool)> = groups
        .iter()
        .map(|group| {
            let laws = group.iter().map(|k| PoleLaw::fixed(fit.poles[*k])).collect();
            (laws, group.iter().any(|k| settled.physical.contains(k)))
        })
        .collect();
    let mut best: Option<AmplitudeDependentModes> = None;
    let mut rivals: Vec<(usize, Vec<PoleLaw>)> = Vec::new();
    for (g, group) in groups.iter().enumerate() {
        if !parts[g].1 || loudness(group) < 1e-4 * energy {
            continue;
        }
        let points = local_poles(blocks, fit, group);
        if points.len() < 3 {
            continue;
        }
        let lowest = points.iter().map(|point| point.0).fold(0.0, f64::min) - BELOW;
        // The linear modes that have as many unknowns as this bent mode and the other groups together.
        // Poles nearer than their width are hardly ever two modes, so the bent mode gets more slack.
        let others: usize =
            parts.iter().enumerate().filter(|(i, _)| *i != g).map(|(_, (laws, _))| laws.len()).sum();
        let as_many = |law: &PoleLaw| (2 * law.terms.len() + per_mode).div_ceil(2 + per_mode) + others;
        let span = |of: fn(&Complex64) -> f64| {
            let all = group.iter().map(|k| of(&fit.poles[*k]));
            all.fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(x), high.max(x)))
        };
        let (low, high) = span(|pole| pole.im);
        let one = high - low < -span(|pole| pole.re).0;
        let slack = if one { 1.5 } else { 1.2 };
        let is_simpler = |rest: f64, straight: f64, slack: f64| {
            rest < CLEARLY * straight || rest < slack * straight && rest < NEARLY * fit.rest
        };
        let attempt = |terms: &'static [Term]| -> Option<(f64, AmplitudeDependentModes, PoleLaw)> {
            let start = PoleLaw::through(terms, lowest, &points)?;
            let laws: Vec<PoleLaw> = parts
                .iter()
                .enumerate()
                .flat_map(|(i, (laws, _))| if i == g { vec![start.clone()] } else { laws.clone() })
                .collect();
            let bent = fit_pole_laws(blocks, &laws, 25)?;
            let place: usize = parts[..g].iter().map(|(laws, _)| laws.len()).sum();
            let law = bent.laws[place].clone();
            Some((cost(bent.rest, unknowns(&laws)), bent, law))
        };
        // The laws that fit the local poles best are fitted to the samples.
        let mut ranked: Vec<(f64, &'static [Term])> =
            TERMS.iter().filter_map(|terms| Some((misfit(terms, lowest, &points)?, *terms))).collect();
        let straight = ranked.first().map_or(0.0, |first| first.0);
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        if group.len() == 1 && ranked.first().is_none_or(|best| straight - best.0 < TREND) {
            continue;
        }
        let mut tried: Vec<(f64, AmplitudeDependentModes, PoleLaw)> =
            ranked.into_iter().take(TRIED).filter_map(|(_, terms)| attempt(terms)).collect();
        tried.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut tried = tried.into_iter();
        if let Some((cost, bent, law)) = tried.next()
            && (cost < best_cost
                || group.len() > 1 && is_simpler(bent.rest, settled.rest_of(as_many(&law)), slack))
        {
            rivals.push((
                g,
                tried.filter(|other| other.1.rest < RIVAL * bent.rest).map(|other| other.2).collect(),
            ));
            best_cost = cost;
            parts[g].0 = vec![law];
            // The fit has moved the laws of the other groups too.
            let mut laws = bent.laws.iter().cloned();
            for (own, _) in &mut parts {
                own.iter_mut().for_each(|law| *law = laws.next().unwrap_or_else(|| law.clone()));
            }
            best = Some(bent);
        }
    }
    let mut bent = best?;
    if bent.laws.iter().all(PoleLaw::is_fixed) {
        return None;
    }
    let mut physical = Vec::new();
    let mut place = 0;
    for (g, ((laws, real), group)) in parts.iter().zip(&groups).enumerate() {
        if let Some((_, own)) = rivals.iter().find(|(own, _)| *own == g) {
            bent.rivals[place].clone_from(own);
        }
        for (i, law) in laws.iter().enumerate() {
            let alone = law.is_fixed() && laws.len() == group.len();
            let known = if alone { settled.physical.contains(&group[i]) } else { *real };
            if known && law.pole(0.0).re < 0.0 {
                physical.push(place);
            }
            place += 1;
        }
    }
    Some(SelectedModel { bent, physical })
}

/// Weighted sum of squares of `points` about the best law of `terms`, plus a penalty per term.
fn misfit(terms: &'static [Term], floor: f64, points: &[Point]) -> Option<f64> {
    if points.len() <= terms.len() {
        return None;
    }
    let law = PoleLaw::through(terms, floor, points)?;
    let left = |(level, pole, weight): &Point| weight * (pole - law.pole(*level)).norm_sqr();
    Some(points.iter().map(left).sum::<f64>() + 6.0 * terms.len() as f64)
}

/// Local poles over the decay of the mode that the poles in `group` make up together.
fn local_poles(blocks: &[Block], fit: &Fit, group: &[usize]) -> Vec<Point> {
    let value = |b: usize, k: usize, n: usize| fit.amplitudes[b][k] * (fit.poles[k] * n as f64).exp();
    let others: Vec<usize> = (0..fit.poles.len()).filter(|k| !group.contains(k)).collect();
    let alone: Vec<Block> = blocks
        .iter()
        .enumerate()
        .map(|(b, block)| Block {
            tap: block.tap,
            channel: block.channel,
            samples: block
                .samples
                .iter()
                .enumerate()
                .map(|(n, y)| y - others.iter().map(|k| value(b, *k, n)).sum::<Complex64>())
                .collect(),
        })
        .collect();
    let decay = -group
        .iter()
        .max_by(|a, b| fit.energy(blocks, **a).total_cmp(&fit.energy(blocks, **b)))
        .map_or(0.0, |k| fit.poles[*k].re);
    let mut points = local(&alone, decay, fit.noise(), 10);
    let largest = points.iter().map(|point| point.amplitude).fold(f64::MIN_POSITIVE, f64::max);
    points.retain(|point| point.amplitude > 0.0 && point.variance > 0.0);
    let smallest = points.iter().map(|point| point.variance).fold(f64::MAX, f64::min);
    points
        .iter()
        .map(|point| ((point.amplitude / largest).ln(), point.pole, 1.0 / (point.variance + smallest)))
        .collect()
}

/// The pole of one stretch of a decay.
pub(super) struct LocalPole {
    /// Of all channels together, in the middle of the stretch.
    pub(super) amplitude: f64,
    /// Log per sample.
    pub(super) pole: Complex64,
    /// Variance of its real part, and of its imaginary part.
    pub(super) variance: f64,
}

/// The poles of up to `parts` stretches of each tap, as long as a mode that decays by about `decay` per
/// sample stands out of `noise`, the variance of one sample.
pub(super) fn local(alone: &[Block], decay: f64, noise: f64, parts: usize) -> Vec<LocalPole> {
    let mut points = Vec::new();
    let taps: std::collections::BTreeSet<usize> = alone.iter().map(|block| block.tap).collect();
    for tap in taps {
        let own: Vec<&Block> = alone.iter().filter(|block| block.tap == tap).collect();
        let start = |block: &&Block| {
            let head = &block.samples[..block.samples.len().min(4)];
            head.iter().map(|y| y.norm_sqr()).sum::<f64>() / head.len().max(1) as f64
        };
        let power: f64 = own.iter().map(start).sum();
        let longest = own.iter().map(|block| block.samples.len()).max().unwrap_or(0);
        let heard = if decay > 0.0 {
            let falls = (power / (noise * own.len() as f64)).max(1.0).ln() / (2.0 * decay);
            falls.min(longest as f64) as usize
        } else {
            longest
        };
        let length = (heard / parts).max(8);
        let mut from = 0;
        while from + length <= heard {
            let blocks: Vec<Block> = own
                .iter()
                .filter(|block| block.samples.len() >= from + length)
                .map(|block| Block {
                    tap,
                    channel: block.channel,
                    samples: block.samples[from..from + length].to_vec(),
                })
                .collect();
            let start = Complex64::new(-decay, phase_step(&blocks));
            if let Some(fit) = refine(&blocks, &[start], 10) {
                // The noise of a short stretch is known better from the whole band.
                let noise = fit.noise().max(noise);
                let power: f64 = fit.amplitudes.iter().map(|a| a[0].norm_sqr()).sum();
                let middle = (fit.poles[0].re * 0.5 * length as f64).exp();
                points.push(LocalPole {
                    amplitude: power.sqrt() * middle,
                    pole: fit.poles[0],
                    variance: 0.5 * noise * fit.unit_variance[0],
                });
            }
            from += length;
        }
    }
    points.retain(|point| point.variance.is_finite() && point.amplitude > 0.0);
    points
}

/// Mean phase advance from one sample to the next.
fn phase_step(blocks: &[Block]) -> f64 {
    let turn =
        |block: &Block| block.samples.windows(2).map(|pair| pair[1] * pair[0].conj()).sum::<Complex64>();
    blocks.iter().map(turn).sum::<Complex64>().arg()
}
