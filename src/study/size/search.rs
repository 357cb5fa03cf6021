//! The search: every choice where there are few enough, else a guided search, which says so.
//!
//! **Every choice.** Choices are enumerated in a reflected mixed-radix code, in which neighbours differ in
//! one design variable, and in blocks of fixed length, so that results do not depend on the number of
//! threads. A candidate whose mass or cost misses its target by more than a tenth is not solved, since both
//! follow from its sections alone and the answer needs nothing more of it. If no candidate meets all targets,
//! those left out are solved as well.
//!
//! **Guided.** Restarts of simulated annealing ([`super::guided`]), then from the best candidate of each a
//! descent through all neighbours that ends where none is better.
//!
//! # Source
//! - `knuth2011`: section 7.2.1.1, algorithm H, reflected mixed-radix Gray code

use super::frames::{Frames, Outcome};
use super::gaps::Refusal;
use super::guided::guided;
use super::judge::Judge;
use crate::measures::Figures;
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};

/// Number of candidates that one thread goes through from neighbour to neighbour.
const BLOCK: u64 = 64;

/// Number of blocks between two checks whether the caller stops the search.
const BATCH: u64 = 16;

/// Largest number of combined choices of two design variables up to which a descent changes both at once.
const PAIRS: usize = 400;

/// Effort of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Largest number of combinations that are all tried; beyond it the search is guided.
    pub most: usize,
    /// Number of restarts of a guided search.
    pub restarts: usize,
    /// Seed of a guided search.
    pub seed: u64,
}

impl Default for Effort {
    fn default() -> Effort {
        Effort { most: 200_000, restarts: 6, seed: 1 }
    }
}

/// One solved candidate.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Index of the choice on each axis.
    pub choice: Vec<usize>,
    /// Its measures.
    pub figures: Figures,
}

/// What a search found.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// All candidates solved.
    pub solved: Vec<Candidate>,
    /// Number of candidates left out by mass or cost alone.
    pub screened: usize,
    /// Number of combinations that cannot be built, by reason.
    pub refused: BTreeMap<Refusal, usize>,
    /// Number of candidates without modes, and the reason for the first.
    pub broken: (usize, Option<String>),
    /// True when every choice was covered.
    pub complete: bool,
    /// True when the caller stopped it.
    pub stopped: bool,
}

/// Callbacks by which the caller follows and stops a search.
pub struct Watch<'a> {
    /// Receives the number of candidates done and the total.
    pub progress: &'a (dyn Fn(usize, usize) + Sync),
    /// True to stop the search.
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

impl Found {
    pub(super) fn take(&mut self, choice: Vec<usize>, outcome: Outcome) {
        match outcome {
            Outcome::Solved(figures) => self.solved.push(Candidate { choice, figures: *figures }),
            Outcome::Screened => self.screened += 1,
            Outcome::Refused(refusal) => *self.refused.entry(refusal).or_default() += 1,
            Outcome::Broken(said) => {
                self.broken.0 += 1;
                self.broken.1.get_or_insert(said);
            }
        }
    }

    /// Number of candidates that can be built.
    pub fn admissible(&self) -> usize {
        self.solved.len() + self.screened + self.broken.0
    }
}

/// Searches `frames` for the best candidate according to `judge`.
pub fn search(frames: &Frames, judge: &Judge, effort: &Effort, watch: &Watch) -> Found {
    match u64::try_from(frames.space.count()) {
        Ok(count) if count <= effort.most as u64 => every(frames, judge, count, watch),
        _ => guided(frames, judge, effort, watch),
    }
}

/// The choice with `number` in the reflected mixed-radix code of `axes`.
fn coded(axes: &[usize], mut number: u64) -> Vec<usize> {
    let mut digits: Vec<u64> = Vec::with_capacity(axes.len());
    for n in axes {
        digits.push(number % *n as u64);
        number /= *n as u64;
    }
    // A digit runs backwards where the digits above it, read as one number, are odd.
    let mut above = 0u64;
    let mut choice = vec![0; axes.len()];
    for i in (0..axes.len()).rev() {
        let digit = digits[i] as usize;
        choice[i] = if above.is_multiple_of(2) { digit } else { axes[i] - 1 - digit };
        above = above.wrapping_mul(axes[i] as u64).wrapping_add(digits[i]);
    }
    choice
}

fn every(frames: &Frames, judge: &Judge, count: u64, watch: &Watch) -> Found {
    let mut found = Found::default();
    let pass = |found: &mut Found, screen: bool| -> bool {
        let blocks = count.div_ceil(BLOCK);
        let mut first = 0;
        while first < blocks {
            if (watch.stop)() {
                return false;
            }
            let last = (first + BATCH).min(blocks);
            let batch: Vec<Vec<(Vec<usize>, Outcome)>> = (first..last)
                .into_par_iter()
                .map(|block| {
                    let mut hand = frames.hand();
                    let numbers = block * BLOCK..((block + 1) * BLOCK).min(count);
                    numbers
                        .map(|number| {
                            let choice = coded(&frames.space.axes, number);
                            let out = |mass, cost| screen && judge.hopeless(mass, cost);
                            let outcome = frames.evaluate(&choice, &mut hand, out);
                            (choice, outcome)
                        })
                        .collect()
                })
                .collect();
            for (choice, outcome) in batch.into_iter().flatten() {
                found.take(choice, outcome);
            }
            first = last;
            (watch.progress)((last * BLOCK).min(count) as usize, count as usize);
        }
        true
    };
    found.complete = pass(&mut found, true);
    let met = found.solved.iter().any(|c| judge.meets(&c.figures));
    if found.complete && !met && found.screened > 0 {
        let mut all = Found::default();
        all.complete = pass(&mut all, false);
        if all.complete {
            found = all;
        } else {
            found.complete = false;
        }
    }
    found.stopped = !found.complete;
    found
}

/// Solves the choices that are not yet known, each starting from the modes of the drawn build.
fn solve_new(frames: &Frames, known: &mut HashMap<Vec<usize>, Outcome>, choices: &[Vec<usize>]) {
    let mut fresh: Vec<Vec<usize>> = choices.iter().filter(|c| !known.contains_key(*c)).cloned().collect();
    fresh.sort_unstable();
    fresh.dedup();
    let solved: Vec<(Vec<usize>, Outcome)> = fresh
        .into_par_iter()
        .map(|choice| {
            let outcome = frames.evaluate(&choice, &mut frames.hand(), |_, _| false);
            (choice, outcome)
        })
        .collect();
    known.extend(solved);
}

/// Moves from `best` to better neighbours until none is better. Neighbours differ in one design variable or,
/// where two have few combined choices, in two. False when the caller stopped it.
pub(super) fn descend(
    frames: &Frames,
    judge: &Judge,
    known: &mut HashMap<Vec<usize>, Outcome>,
    mut best: Vec<usize>,
    watch: &Watch,
) -> bool {
    let axes = &frames.space.axes;
    loop {
        if (watch.stop)() {
            return false;
        }
        let mut neighbours = Vec::new();
        for i in 0..axes.len() {
            for at in 0..axes[i] {
                let mut neighbour = best.clone();
                neighbour[i] = at;
                neighbours.push(neighbour.clone());
                for j in (i + 1..axes.len()).filter(|j| axes[i] * axes[*j] <= PAIRS) {
                    for other in 0..axes[j] {
                        neighbour[j] = other;
                        neighbours.push(neighbour.clone());
                    }
                    neighbour[j] = best[j];
                }
            }
        }
        solve_new(frames, known, &neighbours);
        let better =
            |a: &&Vec<usize>, b: &&Vec<usize>| judge.order(&known[*a], &known[*b]).then_with(|| a.cmp(b));
        match neighbours.iter().min_by(better) {
            Some(next) if judge.order(&known[next], &known[&best]).is_lt() => best.clone_from(next),
            _ => return true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn the_code_visits_every_choice_once_by_single_steps(axes in prop::collection::vec(1usize..5, 1..5)) {
            let count: usize = axes.iter().product();
            let all: Vec<Vec<usize>> = (0..count).map(|i| coded(&axes, i as u64)).collect();
            let mut sorted = all.clone();
            sorted.sort();
            sorted.dedup();
            prop_assert_eq!(sorted.len(), count);
            for pair in all.windows(2) {
                let steps: usize = pair[0].iter().zip(&pair[1]).map(|(a, b)| a.abs_diff(*b)).sum();
                prop_assert_eq!(steps, 1);
            }
        }
    }
}
