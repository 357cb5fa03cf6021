//! Candidates that a search solved, and what a search is asked for.

use super::frames::Outcome;
use super::gaps::Refusal;
use crate::measures::Figures;
use std::collections::BTreeMap;

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
pub struct SearchResult {
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

impl SearchResult {
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
    #[must_use]
    pub fn admissible(&self) -> usize {
        self.solved.len() + self.screened + self.broken.0
    }
}
