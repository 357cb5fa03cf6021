//! The search: every choice where there are few enough, else a guided search, which says so.
//!
//! **Every choice.** Choices are enumerated in a reflected mixed-radix code, in which neighbours differ in
//! one design variable, and in blocks of fixed length, so that results do not depend on the number of
//! threads. A candidate whose mass or cost misses its target by more than a tenth is not solved, since both
//! follow from its sections alone and the answer needs nothing more of it. If no candidate meets all targets,
//! those left out are solved as well.
//!
//! **Guided.** Restarts of simulated annealing and descents from what they find ([`super::guided`]).
//!
//! # Source
//! - `knuth2011`: section 7.2.1.1, algorithm H, reflected mixed-radix Gray code

use super::candidate::{Effort, SearchResult, Watch};
use super::frames::{Frames, Outcome};
use super::guided::guided;
use super::judge::Judge;
use rayon::prelude::*;

/// Number of candidates that one thread goes through from neighbour to neighbour.
const BLOCK: u64 = 64;

/// Number of blocks between two checks whether the caller stops the search.
const BATCH: u64 = 16;

/// Searches `frames` for the best candidate according to `judge`.
pub fn search(frames: &Frames, judge: &Judge, effort: &Effort, watch: &Watch) -> SearchResult {
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

fn every(frames: &Frames, judge: &Judge, count: u64, watch: &Watch) -> SearchResult {
    let mut found = SearchResult::default();
    let pass = |found: &mut SearchResult, screen: bool| -> bool {
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
                    let mut state = frames.thread_state();
                    let numbers = block * BLOCK..((block + 1) * BLOCK).min(count);
                    numbers
                        .map(|number| {
                            let choice = coded(&frames.space.axes, number);
                            let out = |mass, cost| screen && judge.hopeless(mass, cost);
                            let outcome = frames.evaluate(&choice, &mut state, out);
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
        let mut all = SearchResult::default();
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
