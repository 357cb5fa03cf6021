//! Which candidate is better: targets first, then mass or cost; and which candidates form the front of
//! trade-offs.

use super::candidate::Candidate;
use super::frames::Outcome;
use crate::measures::Figures;
use std::cmp::Ordering;
use stillbed_design::{Measure, Target};

/// Part by which a target is relaxed to see what that saves.
pub const RELAXED: f64 = 0.1;

/// Relative miss where there is no value, such as a settle time when the motion never settles.
const WORST: f64 = 1e3;

/// The measure to minimise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Least {
    /// Total mass, kg.
    Mass,
    /// Total price.
    Cost,
}

impl Least {
    /// The measure that it names.
    #[must_use]
    pub fn measure(self) -> Measure {
        match self {
            Least::Mass => Measure::Mass,
            Least::Cost => Measure::Cost,
        }
    }
}

/// One limit of one target: a constraint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The limited measure.
    pub measure: Measure,
    /// The limit, SI.
    pub limit: f64,
    /// True for a lower limit.
    pub at_least: bool,
}

/// The constraints and the measure to minimise.
#[derive(Debug, Clone, PartialEq)]
pub struct Judge {
    /// Every limit of every target.
    pub limits: Vec<Limit>,
    /// The measure to minimise.
    pub least: Least,
}

impl Limit {
    /// Relative miss of `figures`; 0 when they meet the limit.
    #[must_use]
    pub fn miss(&self, figures: &Figures) -> f64 {
        let Some(value) = figures.get(self.measure) else { return WORST };
        let beyond = if self.at_least { self.limit - value } else { value - self.limit };
        if beyond <= 0.0 { 0.0 } else { (beyond / self.limit.abs().max(f64::MIN_POSITIVE)).min(WORST) }
    }

    /// The same limit relaxed by a tenth.
    #[must_use]
    pub fn relaxed(&self) -> Limit {
        let by = if self.at_least { 1.0 - RELAXED } else { 1.0 + RELAXED };
        Limit { limit: self.limit * by, ..*self }
    }
}

impl Judge {
    /// A judge by `targets`.
    #[must_use]
    pub fn new(targets: &[Target], least: Least) -> Judge {
        let limits = targets.iter().flat_map(|target| {
            let of = |limit: Option<f64>, at_least| {
                limit.map(|limit| Limit { measure: target.measure, limit, at_least })
            };
            [of(target.at_least, true), of(target.at_most, false)].into_iter().flatten()
        });
        Judge { limits: limits.collect(), least }
    }

    /// True when `figures` meet every limit.
    #[must_use]
    pub fn meets(&self, figures: &Figures) -> bool {
        self.limits.iter().all(|limit| limit.miss(figures) == 0.0)
    }

    /// The sum of all relative misses.
    #[must_use]
    pub fn miss(&self, figures: &Figures) -> f64 {
        self.limits.iter().map(|limit| limit.miss(figures)).sum()
    }

    /// The value of the minimised measure; infinite without one.
    #[must_use]
    pub fn least_of(&self, figures: &Figures) -> f64 {
        figures.get(self.least.measure()).unwrap_or(f64::INFINITY)
    }

    /// True when mass or cost alone misses a target even if it is relaxed by a tenth.
    pub fn hopeless(&self, mass: f64, cost: Option<f64>) -> bool {
        let figures = Figures { mass, cost, ..Figures::default() };
        let known = self.limits.iter().filter(|l| matches!(l.measure, Measure::Mass | Measure::Cost));
        known.map(Limit::relaxed).any(|limit| limit.miss(&figures) > 0.0)
    }

    /// Orders figures from better to worse.
    #[must_use]
    pub fn order_figures(&self, a: &Figures, b: &Figures) -> Ordering {
        let (miss_a, miss_b) = (self.miss(a), self.miss(b));
        let least = |figures| plain(self.least_of(figures));
        let order = miss_a.total_cmp(&miss_b).then_with(|| least(a).total_cmp(&least(b)));
        order.then_with(|| by_trades(&trades(a), &trades(b)))
    }

    /// Orders outcomes from better to worse; a candidate that cannot be built or has no modes comes last.
    pub(super) fn order(&self, a: &Outcome, b: &Outcome) -> Ordering {
        match (a, b) {
            (Outcome::Solved(a), Outcome::Solved(b)) => self.order_figures(a, b),
            (Outcome::Solved(_), _) => Ordering::Less,
            (_, Outcome::Solved(_)) => Ordering::Greater,
            _ => Ordering::Equal,
        }
    }

    /// The best of `candidates` that meet all limits.
    #[must_use]
    pub fn best<'c>(&self, candidates: &'c [Candidate]) -> Option<&'c Candidate> {
        let met = candidates.iter().filter(|c| self.meets(&c.figures));
        met.min_by(|a, b| self.order_figures(&a.figures, &b.figures).then_with(|| a.choice.cmp(&b.choice)))
    }

    /// The same judge with limit number `i` replaced.
    #[must_use]
    pub fn with(&self, i: usize, limit: Limit) -> Judge {
        let mut judge = self.clone();
        judge.limits[i] = limit;
        judge
    }
}

/// `value` to nine significant figures: differences beyond are rounding and decide nothing.
fn plain(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let size = 10f64.powi(8 - value.abs().log10().floor() as i32);
    let rounded = (value * size).round() / size;
    if rounded.is_finite() { rounded } else { value }
}

/// The measures traded against each other, each turned so that less is better.
fn trades(figures: &Figures) -> [f64; 5] {
    let less = |value: Option<f64>| value.map_or(f64::INFINITY, plain);
    let more = |value: Option<f64>| value.map_or(f64::INFINITY, |v| -plain(v));
    [
        plain(figures.mass),
        less(figures.cost),
        more(figures.weakest),
        more(figures.first_frequency),
        less(figures.settle_time),
    ]
}

/// Compares mass, then cost, stiffness, first frequency and settle time.
fn by_trades(a: &[f64; 5], b: &[f64; 5]) -> Ordering {
    let order = a.iter().zip(b).map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne());
    order.unwrap_or(Ordering::Equal)
}

/// The candidates that no other beats in every trade at once, by mass.
pub fn front<'c>(candidates: &[&'c Candidate]) -> Vec<&'c Candidate> {
    let mut sorted: Vec<(&Candidate, [f64; 5])> =
        candidates.iter().map(|c| (*c, trades(&c.figures))).collect();
    // In this order a candidate comes after all that beat it.
    sorted.sort_by(|a, b| by_trades(&a.1, &b.1).then_with(|| a.0.choice.cmp(&b.0.choice)));
    let mut front: Vec<(&Candidate, [f64; 5])> = Vec::new();
    for (candidate, own) in sorted {
        // An earlier candidate with equal trades counts as better, so that one of several equal ones is kept.
        let beaten = front.iter().any(|(_, other)| other.iter().zip(&own).all(|(o, own)| o <= own));
        if !beaten {
            front.push((candidate, own));
        }
    }
    front.into_iter().map(|(candidate, _)| candidate).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn candidate(i: usize, mass: f64, frequency: f64, stiffness: f64) -> Candidate {
        let figures = Figures {
            mass,
            first_frequency: Some(frequency),
            weakest: Some(stiffness),
            ..Figures::default()
        };
        Candidate { choice: vec![i], figures }
    }

    #[test]
    fn what_misses_less_is_better_and_then_what_weighs_less() {
        let limit = Limit { measure: Measure::FirstFrequency, limit: 100.0, at_least: true };
        let judge = Judge { limits: vec![limit], least: Least::Mass };
        let all =
            [candidate(0, 5.0, 80.0, 1.0), candidate(1, 9.0, 100.0, 1.0), candidate(2, 8.0, 120.0, 1.0)];
        assert_eq!(judge.best(&all).unwrap().choice, [2]);
        assert!(judge.order_figures(&all[1].figures, &all[0].figures).is_lt());
        assert!((limit.miss(&all[0].figures) - 0.2).abs() < 1e-12);
        assert!(judge.with(0, limit.relaxed()).miss(&all[0].figures) > 0.0);
        assert_eq!(limit.relaxed().limit, 90.0);
        assert!(limit.miss(&Figures::default()) == WORST);
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn nothing_beats_the_front_and_it_beats_the_rest(
            values in prop::collection::vec((1..6u8, 1..6u8, 1..6u8), 1..40),
        ) {
            let all: Vec<Candidate> = values.iter().enumerate()
                .map(|(i, (m, f, k))| candidate(i, f64::from(*m), f64::from(*f), f64::from(*k))).collect();
            let refs: Vec<&Candidate> = all.iter().collect();
            let front = front(&refs);
            let beats = |a: &Candidate, b: &Candidate| {
                let (a, b) = (trades(&a.figures), trades(&b.figures));
                a != b && a.iter().zip(&b).all(|(a, b)| a <= b)
            };
            for a in &all {
                prop_assert!(front.iter().all(|b| !beats(a, b)));
                let same = front.iter().any(|b| trades(&a.figures) == trades(&b.figures));
                prop_assert!(same || front.iter().any(|b| beats(b, a)));
            }
        }
    }
}
