//! The guided search: restarts of simulated annealing. It may miss the best candidate, and says so.
//!
//! Each restart minimises one sum. Missed targets add a penalty, so that the path may lead through such
//! candidates; the minimised measure and, with random weights, the other trades count by their logarithm
//! relative to the start:
//!
//! ```text
//! cost = ln(least / least_0) + sum_k w_k ln(trade_k / trade_k0) + 5 miss + 1/2 where anything is missed
//! ```
//!
//! Every second restart has zero weights. All candidates solved in any restart form one archive, from which
//! the best and the front are taken. Each restart has a stream of random numbers of its own, so that the results
//! of a seed do not depend on the number of threads, and two seeds share no restart.
//!
//! A step that grows the cost by d is taken with the probability (at temperature T, which falls evenly in
//! its logarithm)
//!
//! ```text
//! p = 1 / (1 + exp(d / T))
//! ```
//!
//! # Source
//! - `kirkpatrick1983`: annealing
//! - `bernstein2008`: the stream cipher that gives the random numbers
//! - `deb2000`: section 3, comparison of candidates that miss constraints

use super::candidate::{Effort, SearchResult, Watch};
use super::descent::descend;
use super::frames::{Frames, Outcome};
use super::judge::Judge;
use crate::measures::Figures;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rayon::prelude::*;
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Number of steps of one restart.
const STEPS: usize = 600;
/// Initial temperature: a tenth more of the minimised measure is then accepted about as often as not.
const HOT: f64 = 0.1;
/// Factor on the temperature at each step: a thousandth is left at the end.
const COOLING: f64 = 0.9885;
/// Number of random choices tried to find a start that can be built.
const DRAWS: usize = 200;
/// Cost of a candidate that cannot be built or has no modes.
const NOTHING: f64 = 1e3;

/// The candidates that one restart solved.
type Archive = HashMap<Vec<usize>, Outcome>;

/// The measures traded against the minimised one, each turned so that less is better.
fn trades(figures: &Figures) -> [Option<f64>; 4] {
    let inverse = |value: Option<f64>| value.map(f64::recip);
    [figures.cost, inverse(figures.weakest), inverse(figures.first_frequency), figures.settle_time]
}

/// The cost that a restart minimises.
struct Cost<'a> {
    judge: &'a Judge,
    /// Weights of the trades.
    weights: [f64; 4],
    /// Figures of the start.
    reference: Figures,
}

impl Cost<'_> {
    fn outcome(&self, outcome: &Outcome) -> f64 {
        match outcome {
            Outcome::Solved(figures) => self.figures(figures),
            _ => NOTHING,
        }
    }

    fn figures(&self, figures: &Figures) -> f64 {
        let grown = |now: f64, then: f64| {
            let ratio = (now / then).ln();
            if ratio.is_finite() { ratio } else { 1.0 }
        };
        let miss = self.judge.miss(figures).min(NOTHING / 10.0);
        let missed = if miss > 0.0 { 0.5 + 5.0 * miss } else { 0.0 };
        let least = grown(self.judge.least_of(figures), self.judge.least_of(&self.reference));
        let others = trades(figures).into_iter().zip(trades(&self.reference)).zip(self.weights);
        let others = others.map(|((now, then), weight)| match (now, then) {
            (Some(now), Some(then)) => weight * grown(now, then),
            (None, Some(_)) => weight,
            _ => 0.0,
        });
        least + others.sum::<f64>() + missed
    }
}

/// One restart of the annealing.
struct Restart<'a, 'f> {
    frames: &'a Frames<'f>,
    watch: &'a Watch<'a>,
    random: ChaCha8Rng,
    archive: Archive,
}

impl Restart<'_, '_> {
    /// A random choice that can be built, with its figures; `None` where none was found, or the caller
    /// stopped the search.
    fn start(&mut self) -> Option<(Vec<usize>, Figures)> {
        for _ in 0..DRAWS {
            if (self.watch.stop)() {
                return None;
            }
            let axes = &self.frames.space.axes;
            let choice: Vec<usize> = axes.iter().map(|n| self.random.random_range(0..*n)).collect();
            if let Outcome::Solved(figures) = self.solve(&choice) {
                let figures = (**figures).clone();
                return Some((choice, figures));
            }
        }
        None
    }

    /// Anneals from `choice`; `step` is called before each step, and false ends the restart.
    fn anneal(&mut self, mut choice: Vec<usize>, cost: &Cost, step: impl Fn() -> bool) -> bool {
        let mut now = cost.figures(&cost.reference);
        let mut temperature = HOT;
        for _ in 0..STEPS {
            if !step() {
                return false;
            }
            let next = self.neighbour(&choice, temperature);
            let then = cost.outcome(self.solve(&next));
            let chance = 1.0 / (1.0 + ((then - now) / temperature).exp());
            if then < now || self.random.random::<f64>() < chance {
                (choice, now) = (next, then);
            }
            temperature *= COOLING;
        }
        true
    }

    /// The outcome of `choice`, solved where it is not yet in the archive.
    fn solve(&mut self, choice: &[usize]) -> &Outcome {
        let frames = self.frames;
        let outcome = || frames.evaluate(choice, &mut frames.thread_state(), |_, _| false);
        self.archive.entry(choice.to_vec()).or_insert_with(outcome)
    }

    /// A neighbour of `choice`: one design variable stepped; at high temperature often several.
    fn neighbour(&mut self, choice: &[usize], temperature: f64) -> Vec<usize> {
        let axes = &self.frames.space.axes;
        let more = (0.6 * temperature / HOT).clamp(0.1, 0.6);
        let mut next = choice.to_vec();
        loop {
            let axis = self.random.random_range(0..axes.len());
            next[axis] = stepped(next[axis], axes[axis], &mut self.random);
            if !self.random.random_bool(more) {
                return next;
            }
        }
    }
}

/// The random numbers of restart number `number` of a search with `seed`: a stream of its own.
fn stream(seed: u64, number: u64) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(number);
    random
}

/// Another index below `n`: mostly a few steps away, now and then anywhere.
fn stepped(at: usize, n: usize, random: &mut ChaCha8Rng) -> usize {
    if n < 2 || random.random_bool(0.2) {
        return random.random_range(0..n);
    }
    let step = random.random_range(1..=3usize.min(n - 1));
    if random.random_bool(0.5) { (at + step).min(n - 1) } else { at.saturating_sub(step) }
}

/// Anneals from a random start; returns the candidates solved, and whether it reached its end. `done` counts
/// the steps of all restarts.
fn restart(
    frames: &Frames,
    judge: &Judge,
    effort: &Effort,
    number: usize,
    watch: &Watch,
    done: &AtomicUsize,
) -> (Archive, bool) {
    let mut random = stream(effort.seed, number as u64);
    let weights = [0; 4].map(|_| if number.is_multiple_of(2) { 0.0 } else { random.random_range(0.0..1.0) });
    let mut one = Restart { frames, watch, random, archive: Archive::new() };
    let Some((choice, reference)) = one.start() else { return (one.archive, !(watch.stop)()) };
    let total = effort.restarts * STEPS;
    let step = || {
        let done = done.fetch_add(1, Ordering::Relaxed);
        if done.is_multiple_of(16) {
            (watch.progress)(done, total);
        }
        !(watch.stop)()
    };
    let ended = one.anneal(choice, &Cost { judge, weights, reference }, step);
    (one.archive, ended)
}

/// Searches `frames` by restarts for the best candidate according to `judge`.
pub(super) fn guided(frames: &Frames, judge: &Judge, effort: &Effort, watch: &Watch) -> SearchResult {
    let done = AtomicUsize::new(0);
    let run = |number| restart(frames, judge, effort, number, watch, &done);
    let runs: Vec<(Archive, bool)> = (0..effort.restarts).into_par_iter().map(run).collect();
    let stopped = runs.iter().any(|(_, ended)| !ended);
    let best = |archive: &Archive| {
        let order =
            |a: &&Vec<usize>, b: &&Vec<usize>| judge.order(&archive[*a], &archive[*b]).then_with(|| a.cmp(b));
        archive.keys().min_by(order).cloned()
    };
    let starts: Vec<Vec<usize>> = runs.iter().filter_map(|(archive, _)| best(archive)).collect();
    let mut known = Archive::new();
    for (archive, _) in runs {
        for (choice, outcome) in archive {
            known.entry(choice).or_insert(outcome);
        }
    }
    let ended = !stopped && starts.into_iter().all(|start| descend(frames, judge, &mut known, start, watch));
    let mut found = SearchResult { stopped: !ended, ..SearchResult::default() };
    let mut all: Vec<(Vec<usize>, Outcome)> = known.into_iter().collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all.into_iter().for_each(|(choice, outcome)| found.take(choice, outcome));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::Rng;

    #[test]
    fn no_two_restarts_of_neighbouring_seeds_are_alike() {
        let mut firsts: Vec<u64> =
            (0..8).flat_map(|seed| (0..8).map(move |number| stream(seed, number).next_u64())).collect();
        firsts.sort_unstable();
        firsts.dedup();
        assert_eq!(firsts.len(), 64);
        assert_eq!(stream(3, 2).next_u64(), stream(3, 2).next_u64());
    }
}
