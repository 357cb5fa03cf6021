//! From one candidate through better neighbours to one that no neighbour beats.

use super::candidate::Watch;
use super::frames::{Frames, Outcome};
use super::judge::Judge;
use rayon::prelude::*;
use std::collections::HashMap;

/// Largest number of combined choices of two design variables up to which a descent changes both at once.
const PAIRS: usize = 400;

/// Solves the choices that are not yet known, each starting from the modes of the drawn build.
fn solve_new(frames: &Frames, known: &mut HashMap<Vec<usize>, Outcome>, choices: &[Vec<usize>]) {
    let mut fresh: Vec<Vec<usize>> = choices.iter().filter(|c| !known.contains_key(*c)).cloned().collect();
    fresh.sort_unstable();
    fresh.dedup();
    let solved: Vec<(Vec<usize>, Outcome)> = fresh
        .into_par_iter()
        .map(|choice| {
            let outcome = frames.evaluate(&choice, &mut frames.thread_state(), |_, _| false);
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
