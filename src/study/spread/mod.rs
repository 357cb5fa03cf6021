//! How sure is an answer, and which measurement would make it surer?
//!
//! Every quantity with a spread is drawn by a Latin hypercube ([`draws`]) from its own law
//! ([`law`]); the answers of all draws are ranked ([`rank`]). The same draws serve all builds, so
//! that two builds are compared within a draw and what they have in common cancels.

pub mod draws;
pub mod law;
pub mod rank;

use crate::document::Uncertain;
use crate::quantity::{Draw, Spread};
use draws::latin_hypercube;
use rank::{Advice, Influence, influences, percentiles};
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::{AtomicUsize, Ordering};

/// How many draws, and of which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draws {
    /// 0 leaves the spreads out.
    pub count: usize,
    /// The same seed gives the same draws.
    pub seed: u64,
}

impl Draws {
    /// No draw at all.
    pub const NONE: Draws = Draws { count: 0, seed: 1 };

    /// The draws of `uncertain`; none where everything is known.
    pub fn of(&self, uncertain: &[Uncertain]) -> Vec<Draw> {
        if uncertain.is_empty() { Vec::new() } else { latin_hypercube(uncertain, self.count, self.seed) }
    }
}

/// Inputs that are named as the origin of one spread, at most.
const NAMED: usize = 3;

/// The few inputs that the spread of `answers` comes from, strongest first, as far as they are seen
/// above chance.
pub fn strongest(uncertain: &[Uncertain], draws: &[Draw], answers: &[Option<f64>]) -> Vec<Influence> {
    let mut found = influences(uncertain, draws, answers);
    found.retain(|influence| influence.seen);
    found.truncate(NAMED);
    found
}

/// An answer at the stated values, what the draws make of it, and where that comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answered {
    /// The answer at the stated values with the 5, 50 and 95 % points of the draws.
    #[serde(flatten)]
    pub spread: Spread,
    /// The inputs that its spread comes from, strongest first, as far as they are seen above chance.
    pub comes_from: Vec<Influence>,
}

impl Answered {
    /// `value` with what `draws` of `uncertain` answer; `None` where a limit is without end.
    pub fn new(
        value: f64,
        answers: &[Option<f64>],
        uncertain: &[Uncertain],
        draws: &[Draw],
    ) -> Option<Answered> {
        let found = percentiles(answers);
        let spread = Spread { median: found.median, ..Spread::between(value, found.low?, found.high?) };
        Some(Answered { spread, comes_from: strongest(uncertain, draws, answers) })
    }

    /// Which measurement would narrow its spread most; `what` names the answer.
    pub fn advice(&self, what: &str) -> Option<String> {
        Some(Advice::from(&self.comes_from)?.sentence(what))
    }
}

/// The answers of `answer` to all `draws`, in their order whatever the number of threads.
///
/// `progress` is told how many are done, from whichever thread did the last.
pub fn run<A: Send>(
    draws: &[Draw],
    answer: impl Fn(&Draw) -> A + Sync,
    progress: impl Fn(usize) + Sync,
) -> Vec<A> {
    let done = AtomicUsize::new(0);
    draws
        .par_iter()
        .map(|draw| {
            let found = answer(draw);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1);
            found
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::Law;
    use std::sync::Mutex;

    /// A normal quantity with the given value and standard deviation.
    fn normal(key: &str, value: f64, deviation: f64) -> Uncertain {
        let reach = law::NINETY_FIVE * deviation;
        let spread = Spread::between(value, value - reach, value + reach);
        Uncertain { key: key.to_string(), spread, kind: crate::quantity::Kind::Ratio, law: Law::Normal }
    }

    #[test]
    fn answers_stand_in_the_order_of_the_draws() {
        let draws: Vec<Draw> = (0..100).map(|i| Draw { values: vec![f64::from(i)] }).collect();
        let seen = Mutex::new(Vec::new());
        let answers = run(&draws, |d| d.values[0], |n| seen.lock().unwrap().push(n));
        assert!(answers.iter().enumerate().all(|(i, a)| *a == i as f64));
        let mut seen = seen.into_inner().unwrap();
        seen.sort_unstable();
        assert_eq!(seen, (1..=100).collect::<Vec<_>>());
    }

    #[test]
    fn one_thread_and_two_give_the_same() {
        let uncertain = vec![normal("a", 10.0, 1.0), normal("b", 5.0, 2.0)];
        let with = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| run(&latin_hypercube(&uncertain, 50, 7), |d| d.values[0] * d.values[1], |_| ()))
        };
        assert_eq!(with(1), with(2));
    }

    #[test]
    fn a_sum_of_normals_has_the_percentiles_of_its_closed_form() {
        // 2 a - b with deviations 1 and 2: mean 15, deviation sqrt(4 + 4).
        let uncertain = vec![normal("a", 10.0, 1.0), normal("b", 5.0, 2.0)];
        let draws = latin_hypercube(&uncertain, 2000, 3);
        let answers = run(&draws, |d| Some(2.0 * d.values[0] - d.values[1]), |_| ());
        let found = percentiles(&answers);
        let reach = law::NINETY_FIVE * 8f64.sqrt();
        // Standard error of a 5 % point of 2000 independent draws: 0.047 deviations.
        approx::assert_abs_diff_eq!(found.median.unwrap(), 15.0, epsilon = 0.2);
        approx::assert_abs_diff_eq!(found.low.unwrap(), 15.0 - reach, epsilon = 0.3);
        approx::assert_abs_diff_eq!(found.high.unwrap(), 15.0 + reach, epsilon = 0.3);
        let influences = influences(&uncertain, &draws, &answers);
        // Both carry half of the variance: r = 1/sqrt 2, in ranks (6/pi) asin(r/2).
        let expected = 6.0 / std::f64::consts::PI * (0.5f64.sqrt() / 2.0).asin();
        for influence in &influences {
            approx::assert_abs_diff_eq!(influence.rank_correlation.abs(), expected, epsilon = 0.04);
            assert_eq!(influence.rank_correlation > 0.0, influence.key == "a");
        }
    }
}
