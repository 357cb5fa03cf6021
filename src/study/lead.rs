//! One build of a comparison, and how far it leads another.

use super::doubt::Doubt;
use super::guesses::OnGuesses;
use super::misses::Miss;
use super::spread::rank::chance_to_beat;
use stillbed_design::Measure;
use stillbed_input::quantity::{figures, show};

/// Share of the draws in which a winner must be ahead.
pub const SURE: f64 = 0.9;

/// Relative difference below which values are equal: rounding.
const EQUAL: f64 = 1e-9;

/// What a verdict needs to know of one build.
#[derive(Debug, Clone)]
pub struct BuildFacts {
    /// Its key in the design.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// The deciding measure at the nominal values, SI; infinite for a motion that never settles.
    pub value: Option<f64>,
    /// Its value in every draw.
    pub drawn: Vec<Option<f64>>,
    /// Errors of `value` besides its spread.
    pub doubt: Doubt,
    /// Targets that it misses at the nominal values.
    pub misses: Vec<Miss>,
    /// Measures of the targets of which the errors of the method leave open whether it meets them.
    pub left_open: Vec<Measure>,
    /// Share of the draws in which it meets all targets; `None` without targets or draws.
    pub meets_in: Option<f64>,
    /// Shares of its figures that rest on guesses.
    pub on_guesses: OnGuesses,
    /// True where the design states what may vary in it.
    pub varies: bool,
    /// True where its tip and work cannot move apart.
    pub still: bool,
    /// True where a soft layer shears in one of its sections, so that plane sections do not hold.
    pub soft: bool,
}

impl BuildFacts {
    pub(super) fn meets(&self) -> bool {
        self.misses.is_empty()
    }

    /// True where it misses a target, but none by more than the errors of the method.
    pub(super) fn may_meet(&self) -> bool {
        !self.meets() && self.misses.iter().all(Miss::is_within_error)
    }

    /// Its worst miss.
    pub(super) fn worst(&self) -> Option<&Miss> {
        self.misses.iter().max_by(|a, b| a.by().total_cmp(&b.by()))
    }

    /// Its worst miss as a part of the limit; 0 where it misses nothing.
    pub(super) fn misses_by(&self) -> f64 {
        self.worst().map_or(0.0, Miss::by)
    }
}

/// The lead of one build over another by the deciding measure.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lead {
    /// How many times better it is at the nominal values.
    pub(super) ratio: f64,
    /// The sum of the relative errors of both.
    error: f64,
    /// Share of the draws in which it is ahead; a tie counts half.
    pub(super) chance: Option<f64>,
    /// True where there are draws.
    drawn: bool,
}

impl Lead {
    pub(super) fn of(measure: Measure, one: &BuildFacts, other: &BuildFacts) -> Lead {
        let more = measure.more_is_better();
        let ratio = match (one.value, other.value) {
            (Some(a), Some(b)) if a == b => 1.0,
            (Some(a), Some(b)) => {
                if more {
                    a / b
                } else {
                    b / a
                }
            }
            _ => f64::NAN,
        };
        let error = one.doubt.total() + other.doubt.total();
        let chance = chance_to_beat(&one.drawn, &other.drawn, more);
        Lead { ratio, error, chance, drawn: !one.drawn.is_empty() }
    }

    pub(super) fn is_equal(&self) -> bool {
        (self.ratio - 1.0).abs() <= EQUAL
    }

    fn is_beyond_error(&self) -> bool {
        self.ratio > 1.0 + self.error
    }

    /// True where it is surely ahead; without draws, where it is ahead at the nominal values.
    pub(super) fn leads(&self) -> bool {
        self.is_beyond_error() && self.chance.map_or(!self.drawn, |chance| chance >= SURE)
    }

    /// True where the other one is surely ahead in the same sense.
    pub(super) fn trails(&self) -> bool {
        let behind = self.ratio * (1.0 + self.error) < 1.0;
        behind && self.chance.map_or(!self.drawn, |chance| chance <= 1.0 - SURE)
    }

    /// Why the two cannot be told apart.
    pub(super) fn reason(&self, one: &BuildFacts, other: &BuildFacts) -> String {
        let apart = (self.ratio - 1.0).abs();
        match self.chance {
            _ if self.ratio.is_nan() => "at least one of them has no figure".to_string(),
            _ if !self.error.is_finite() => "nothing bounds how far the answer may be off".to_string(),
            _ if !self.ratio.is_finite() => "at least one of them has no figure".to_string(),
            _ if apart <= self.error => format!(
                "they differ by {} %, and the answer may be off by {} %",
                figures(100.0 * apart, 2),
                figures(100.0 * self.error, 2)
            ),
            Some(chance) => format!(
                "{} comes before {} in {} % of the draws, and nine of ten are asked of a winner",
                one.label,
                other.label,
                figures(100.0 * chance, 3)
            ),
            None => "no draw answers for both".to_string(),
        }
    }

    /// The lead as text: `1.2 times sooner than`.
    pub(super) fn words(&self, measure: Measure) -> String {
        let (times, part) = match measure {
            Measure::SettleTime => ("sooner than", "sooner than"),
            Measure::DynamicStiffness => ("as stiff as", "stiffer than"),
            _ => ("as high as", "higher than"),
        };
        match self.ratio {
            ratio if ratio < 1.1 => format!("{} % {part}", figures(100.0 * (ratio - 1.0), 2)),
            ratio if ratio.is_finite() => format!("{} times {times}", figures(ratio, 2)),
            _ => "unlike".to_string(),
        }
    }
}

/// The value of a build by `measure` as a phrase.
pub(super) fn does(measure: Measure, value: Option<f64>) -> String {
    match (measure, value) {
        (Measure::SettleTime, Some(time)) if time.is_finite() => {
            format!("is quiet {} after the tap", show(time, measure.kind()))
        }
        (Measure::SettleTime, _) => "never comes to rest after the tap".to_string(),
        (Measure::DynamicStiffness, Some(k)) => {
            format!("holds {} dynamically, at its worst peak", show(k, measure.kind()))
        }
        (_, Some(f)) => format!("first rings at {}", show(f, measure.kind())),
        (_, None) => format!("has no {}", measure.title()),
    }
}

/// The value of `measure` in brackets.
pub(super) fn valued(measure: Measure, of: &BuildFacts) -> String {
    let value = of.value.filter(|value| value.is_finite());
    value.map_or_else(|| "never".to_string(), |value| show(value, measure.kind()))
}
