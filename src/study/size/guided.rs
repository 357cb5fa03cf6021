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
//! the best and the front are taken. A restart depends on its seed alone, so that the results of a seed do
//! not depend on the number of threads.
//!
//! # Source
//! - `kirkpatrick1983`: annealing
//! - `deb2000`: section 3, comparison of candidates that miss constraints

use super::frames::{Frames, Outcome};
use super::judge::Judge;
use super::search::{Effort, Found, Watch, descend};
use crate::measures::Figures;
use argmin::core::{CostFunction, Error, Executor, State};
use argmin::solver::simulatedannealing::{Anneal, SATempFunc, SimulatedAnnealing};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::SeedableRng as _;
use rayon::prelude::*;
use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Number of steps of one restart.
const STEPS: u64 = 600;
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

/// One restart as the annealing algorithm sees it.
struct Restart<'a, 'f> {
    frames: &'a Frames<'f>,
    judge: &'a Judge,
    watch: &'a Watch<'a>,
    done: &'a AtomicUsize,
    total: usize,
    /// Weights of the trades.
    weights: [f64; 4],
    /// Figures of the start.
    reference: Figures,
    random: RefCell<ChaCha8Rng>,
    archive: &'a RefCell<Archive>,
}

/// The measures traded against the minimised one, each turned so that less is better.
fn trades(figures: &Figures) -> [Option<f64>; 4] {
    let inverse = |value: Option<f64>| value.map(f64::recip);
    [figures.cost, inverse(figures.weakest), inverse(figures.first_frequency), figures.settle_time]
}

impl Restart<'_, '_> {
    fn charge(&self, figures: &Figures) -> f64 {
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

impl CostFunction for Restart<'_, '_> {
    type Param = Vec<usize>;
    type Output = f64;

    fn cost(&self, choice: &Vec<usize>) -> Result<f64, Error> {
        if (self.watch.stop)() {
            return Err(Error::msg("stopped"));
        }
        let done = self.done.fetch_add(1, Ordering::Relaxed);
        if done.is_multiple_of(16) {
            (self.watch.progress)(done.min(self.total), self.total);
        }
        let mut archive = self.archive.borrow_mut();
        let outcome = archive
            .entry(choice.clone())
            .or_insert_with(|| self.frames.evaluate(choice, &mut self.frames.hand(), |_, _| false));
        Ok(match outcome {
            Outcome::Solved(figures) => self.charge(figures),
            _ => NOTHING,
        })
    }
}

impl Anneal for Restart<'_, '_> {
    type Param = Vec<usize>;
    type Output = Vec<usize>;
    type Float = f64;

    /// A neighbour: one design variable stepped; at high temperature often several.
    fn anneal(&self, choice: &Vec<usize>, temperature: f64) -> Result<Vec<usize>, Error> {
        let axes = &self.frames.space.axes;
        let mut random = self.random.borrow_mut();
        let more = (0.6 * temperature / HOT).clamp(0.1, 0.6);
        let mut next = choice.clone();
        loop {
            let axis = random.random_range(0..axes.len());
            next[axis] = stepped(next[axis], axes[axis], &mut random);
            if !random.random_bool(more) {
                return Ok(next);
            }
        }
    }
}

/// Another index below `n`: mostly a few steps away, now and then anywhere.
fn stepped(at: usize, n: usize, random: &mut ChaCha8Rng) -> usize {
    if n < 2 || random.random_bool(0.2) {
        return random.random_range(0..n);
    }
    let step = random.random_range(1..=3usize.min(n - 1));
    if random.random_bool(0.5) { (at + step).min(n - 1) } else { at.saturating_sub(step) }
}

/// Anneals from a random start; returns the candidates solved, and whether it reached its end.
fn restart(
    frames: &Frames,
    judge: &Judge,
    seed: u64,
    number: usize,
    watch: &Watch,
    (done, total): (&AtomicUsize, usize),
) -> (Archive, bool) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let weights = [0; 4].map(|_| if number.is_multiple_of(2) { 0.0 } else { random.random_range(0.0..1.0) });
    let archive = RefCell::new(Archive::new());
    let mut start = None;
    for _ in 0..DRAWS {
        if (watch.stop)() {
            return (archive.into_inner(), false);
        }
        let choice: Vec<usize> = frames.space.axes.iter().map(|n| random.random_range(0..*n)).collect();
        let outcome = frames.evaluate(&choice, &mut frames.hand(), |_, _| false);
        let figures = if let Outcome::Solved(figures) = &outcome { Some((**figures).clone()) } else { None };
        archive.borrow_mut().insert(choice.clone(), outcome);
        if let Some(figures) = figures {
            start = Some((choice, figures));
            break;
        }
    }
    let Some((choice, reference)) = start else { return (archive.into_inner(), true) };
    let generator = Xoshiro256PlusPlus::seed_from_u64(seed);
    let Ok(annealing) = SimulatedAnnealing::new_with_rng(HOT, generator) else {
        return (archive.into_inner(), false);
    };
    let annealing = annealing.with_temp_func(SATempFunc::Exponential(COOLING));
    let random = RefCell::new(random);
    let one = Restart { frames, judge, watch, done, total, weights, reference, random, archive: &archive };
    let run = Executor::new(one, annealing)
        .configure(|state| state.param(choice).max_iters(STEPS))
        .ctrlc(false)
        .timer(false)
        .run();
    let ended = run.is_ok_and(|run| run.state().get_iter() >= STEPS);
    (archive.into_inner(), ended)
}

/// Searches `frames` by restarts for the best candidate according to `judge`.
pub(super) fn guided(frames: &Frames, judge: &Judge, effort: &Effort, watch: &Watch) -> Found {
    let done = AtomicUsize::new(0);
    let total = effort.restarts * STEPS as usize;
    let runs: Vec<(Archive, bool)> = (0..effort.restarts)
        .into_par_iter()
        .map(|number| {
            let seed = effort.seed.wrapping_add(number as u64);
            restart(frames, judge, seed, number, watch, (&done, total))
        })
        .collect();
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
    let mut found = Found { stopped: !ended, ..Found::default() };
    let mut all: Vec<(Vec<usize>, Outcome)> = known.into_iter().collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all.into_iter().for_each(|(choice, outcome)| found.take(choice, outcome));
    found
}
