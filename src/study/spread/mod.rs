//! How sure an answer is, and which measurement would make it surer.
//!
//! ```text
//! law    the value of an uncertain quantity at a given probability
//! draws  draws of all uncertain quantities: a Latin hypercube
//! rank   percentiles, chances, and the inputs from which a spread comes
//! ```
//!
//! Every quantity with a spread is drawn from its own law ([`law`]) by a Latin hypercube ([`draws`]); the
//! answers of all draws are ranked ([`rank`]). All builds share the same draws, so that two builds are
//! compared within a draw and common effects cancel.

pub mod draws;
pub mod law;
pub mod rank;

use draws::latin_hypercube;
use rank::{Advice, Influence, influences, percentiles};
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::{AtomicUsize, Ordering};
use stillbed_input::document::Uncertain;
use stillbed_input::quantity::{Draw, Spread};

/// Number of draws, and their seed.
///
/// ```
/// use stillbed_input::document::Uncertain;
/// use stillbed_input::quantity::{Kind, Spread};
/// use stillbed_study::spread::Draws;
///
/// let mass = Uncertain::new("masses.head.mass", Spread::between(10.0, 9.0, 11.0), Kind::Mass);
/// let draws = Draws { count: 20, seed: 1 }.sample(&[mass]);
/// // A Latin hypercube: one draw in each twentieth, so that one lies below the 5 % limit and one above that
/// // of 95 %.
/// assert_eq!(draws.iter().filter(|draw| draw.values[0] < 9.0).count(), 1);
/// assert_eq!(draws.iter().filter(|draw| draw.values[0] > 11.0).count(), 1);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draws {
    /// Number of draws; 0 leaves the spreads out.
    pub count: usize,
    /// The same seed gives the same draws.
    pub seed: u64,
}

impl Draws {
    /// No draws.
    pub const NONE: Draws = Draws { count: 0, seed: 1 };

    /// Draws `uncertain`; no draw where it is empty.
    #[must_use]
    pub fn sample(&self, uncertain: &[Uncertain]) -> Vec<Draw> {
        if uncertain.is_empty() { Vec::new() } else { latin_hypercube(uncertain, self.count, self.seed) }
    }
}

/// Largest number of inputs named as the origin of one spread.
const NAMED: usize = 3;

/// The few inputs from which the spread of `answers` comes, strongest first, those alone whose influence is
/// significant.
#[must_use]
pub fn strongest(uncertain: &[Uncertain], draws: &[Draw], answers: &[Option<f64>]) -> Vec<Influence> {
    let mut found = influences(uncertain, draws, answers);
    found.retain(|influence| influence.seen);
    found.truncate(NAMED);
    found
}

/// An answer at the nominal values, its spread over the draws, and the origin of that spread.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnswerSpread {
    /// The nominal answer with the 5, 50 and 95 % points of the draws.
    #[serde(flatten)]
    pub spread: Spread,
    /// The inputs from which its spread comes, strongest first, those alone whose influence is significant.
    pub comes_from: Vec<Influence>,
}

impl AnswerSpread {
    /// `value` with the answers of all `draws` of `uncertain`; `None` where a limit is infinite.
    #[must_use]
    pub fn new(
        value: f64,
        answers: &[Option<f64>],
        uncertain: &[Uncertain],
        draws: &[Draw],
    ) -> Option<AnswerSpread> {
        let found = percentiles(answers);
        let spread = Spread { median: found.median, ..Spread::between(value, found.low?, found.high?) };
        Some(AnswerSpread { spread, comes_from: strongest(uncertain, draws, answers) })
    }

    /// The one measurement that would narrow its spread most, in a sentence; `what` names the answer.
    #[must_use]
    pub fn advice(&self, what: &str) -> Option<String> {
        Some(Advice::from(&self.comes_from)?.sentence(what))
    }
}

/// The results of `answer` for all `draws`, in their order whatever the number of threads.
///
/// `progress` receives the number of draws done, from whichever thread did the last.
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
    use std::sync::Mutex;
    use stillbed_input::document::Law;

    /// A normal quantity with the given value and standard deviation.
    fn normal(key: &str, value: f64, deviation: f64) -> Uncertain {
        let reach = law::NINETY_FIVE * deviation;
        let spread = Spread::between(value, value - reach, value + reach);
        Uncertain {
            key: key.to_string(),
            spread,
            kind: stillbed_input::quantity::Kind::Ratio,
            law: Law::Normal,
        }
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
        // 2 a - b with standard deviations 1 and 2: mean 15, standard deviation sqrt(4 + 4).
        let uncertain = vec![normal("a", 10.0, 1.0), normal("b", 5.0, 2.0)];
        let draws = latin_hypercube(&uncertain, 2000, 3);
        let answers = run(&draws, |d| Some(2.0 * d.values[0] - d.values[1]), |_| ());
        let found = percentiles(&answers);
        let reach = law::NINETY_FIVE * 8f64.sqrt();
        // Standard error of a 5 % point of 2000 independent draws: 0.047 standard deviations.
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
