//! Which targets a build meets, and by how much it misses the others.

use super::measures::Figures;
use serde::Serialize;
use stillbed_design::{Measure, Target};
use stillbed_input::quantity::{Kind, figures, show, show_apart};

/// A target that a build does not meet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Miss {
    /// Key of the build.
    pub build: String,
    /// Key of the measure.
    pub measure: &'static str,
    /// The value, SI; `None` without one, such as a settle time when the motion never settles.
    pub value: Option<f64>,
    /// The limit that is not met, SI.
    pub limit: f64,
    /// True for a lower limit.
    pub at_least: bool,
    /// How far the value may be off by the errors of the method, relative to it; 0 where that was not judged.
    #[serde(skip)]
    pub error: f64,
}

impl Miss {
    /// The measure that is missed.
    #[must_use]
    pub fn known(&self) -> Option<Measure> {
        Measure::ALL.into_iter().find(|measure| measure.key() == self.measure)
    }

    /// Relative miss, as a part of the limit; infinite where there is no value or the limit is 0.
    #[must_use]
    pub fn by(&self) -> f64 {
        let Some(value) = self.value else { return f64::INFINITY };
        let short = if self.at_least { self.limit - value } else { value - self.limit };
        if self.limit > 0.0 { short / self.limit } else { f64::INFINITY }
    }

    /// The value and the limit as text, with as many digits as tell them apart: `220.4 kg`, `at most 220 kg`.
    pub fn told(&self) -> (String, String) {
        let kind = self.known().map_or(Kind::Ratio, Measure::kind);
        let word = if self.at_least { "at least" } else { "at most" };
        let none = || if self.known() == Some(Measure::SettleTime) { "never" } else { "none" };
        match self.value {
            Some(value) => {
                let (found, asked) = show_apart(value, self.limit, kind);
                (found, format!("{word} {asked}"))
            }
            None => (none().to_string(), format!("{word} {}", show(self.limit, kind))),
        }
    }

    /// True when the limit lies within the errors of the method about the value.
    #[must_use]
    pub fn is_within_error(&self) -> bool {
        is_left_open(self.value, (self.limit, self.at_least), self.error)
    }

    /// The miss as text: `mass 220.4 kg, at most 220 kg (0.18 % off)`.
    pub fn sentence(&self) -> String {
        let (found, asked) = self.told();
        let title = self.known().map_or(self.measure, Measure::title);
        let by = self.by();
        let within = if self.is_within_error() { ", within the errors of the method" } else { "" };
        let off = match by.is_finite() {
            true => format!(" ({} % off{within})", figures(100.0 * by, 2)),
            false => String::new(),
        };
        format!("{title} {found}, {asked}{off}")
    }
}

/// The limits of `target`, each with true for a lower one.
fn limits(target: &Target) -> impl Iterator<Item = (f64, bool)> {
    let limits = [(target.at_least, true), (target.at_most, false)];
    limits.into_iter().filter_map(|(limit, at_least)| Some((limit?, at_least)))
}

/// True when `value` meets the limit; a missing value meets none.
fn keeps(value: Option<f64>, (limit, at_least): (f64, bool)) -> bool {
    value.is_some_and(|value| if at_least { value >= limit } else { value <= limit })
}

/// True when `value`, which may be off by the part `error` of it to either side, may lie on either side of the limit.
fn is_left_open(value: Option<f64>, limit: (f64, bool), error: f64) -> bool {
    let at = |sign: f64| keeps(value.map(|value| value * (1.0 + sign * error)), limit);
    at(-1.0) != at(1.0)
}

/// The measures of `targets` of which `error`, relative to the value, leaves open whether `figures` meet them.
pub fn left_open(targets: &[Target], figures: &Figures, error: impl Fn(Measure) -> f64) -> Vec<Measure> {
    let open = |target: &&Target| {
        let value = figures.get(target.measure);
        limits(target).any(|limit| is_left_open(value, limit, error(target.measure)))
    };
    targets.iter().filter(open).map(|target| target.measure).collect()
}

/// True when `figures` meet all `targets`.
#[must_use]
pub fn keep_all(targets: &[Target], figures: &Figures) -> bool {
    targets.iter().all(|target| limits(target).all(|limit| keeps(figures.get(target.measure), limit)))
}

/// Which targets are missed by which builds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Misses {
    /// In the order of the builds.
    pub list: Vec<Miss>,
    #[serde(skip)]
    targets: Vec<Target>,
    #[serde(skip)]
    builds: usize,
}

impl Misses {
    /// Nothing judged yet.
    #[must_use]
    pub fn new(targets: &[Target]) -> Misses {
        Misses { list: Vec::new(), targets: targets.to_vec(), builds: 0 }
    }

    /// Judges `build` by `figure`, which gives the value of a measure; where it gives `None`, the target is
    /// not judged.
    pub fn judge(&mut self, build: &str, figure: impl Fn(Measure) -> Option<Option<f64>>) {
        self.builds += 1;
        for target in &self.targets {
            let Some(value) = figure(target.measure) else {
                continue;
            };
            for (limit, at_least) in limits(target).filter(|limit| !keeps(value, *limit)) {
                let value = value.filter(|v| v.is_finite());
                let (build, measure) = (build.to_string(), target.measure.key());
                self.list.push(Miss { build, measure, value, limit, at_least, error: 0.0 });
            }
        }
    }

    /// True when the build called `name` meets every target by which it was judged.
    #[must_use]
    pub fn meets(&self, name: &str) -> bool {
        self.list.iter().all(|miss| miss.build != name)
    }

    /// True when every build misses a target.
    #[must_use]
    pub fn all_miss(&self) -> bool {
        let mut missing: Vec<&str> = self.list.iter().map(|miss| miss.build.as_str()).collect();
        missing.dedup();
        self.builds > 0 && missing.len() == self.builds
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::problem::Place;

    fn miss(measure: Measure, value: Option<f64>, limit: f64, at_least: bool) -> Miss {
        Miss { build: "a".to_string(), measure: measure.key(), value, limit, at_least, error: 0.0 }
    }

    #[test]
    fn a_miss_is_told_from_its_limit() {
        let heavy = miss(Measure::Mass, Some(220.4), 220.0, false);
        assert_eq!(heavy.sentence(), "mass 220.4 kg, at most 220 kg (0.18 % off)");
        approx::assert_relative_eq!(heavy.by(), 0.4 / 220.0, max_relative = 1e-9);
        let soft = miss(Measure::Stiffness, Some(0.9e6), 1.2e6, true);
        assert_eq!(soft.sentence(), "stiffness 0.9 N/µm, at least 1.2 N/µm (25 % off)");
        let unsure = |error: f64| Miss { error, ..soft.clone() }.sentence();
        assert!(unsure(0.34).ends_with("(25 % off, within the errors of the method)"));
        assert!(unsure(0.32).ends_with("(25 % off)"));
        let never = miss(Measure::SettleTime, None, 0.5, false);
        assert_eq!(
            (never.sentence(), never.by()),
            ("settle time never, at most 500 ms".into(), f64::INFINITY)
        );
    }

    fn mass_and_frequency() -> [Target; 2] {
        let target =
            |measure, at_least, at_most| Target { measure, at_least, at_most, place: Place::default() };
        [target(Measure::Mass, None, Some(10.0)), target(Measure::FirstFrequency, Some(50.0), Some(90.0))]
    }

    #[test]
    fn a_limit_within_the_error_is_left_open() {
        let open = |mass, first, error: f64| {
            let figures = Figures { mass, first_frequency: first, ..Figures::default() };
            let errors = |measure| if measure == Measure::FirstFrequency { error } else { 0.0 };
            left_open(&mass_and_frequency(), &figures, errors)
        };
        let first = [Measure::FirstFrequency];
        // 52 Hz keeps 50 Hz, 48 Hz misses it, and 4.5 % take either to the other side; 88 Hz is near the other end.
        for hz in [52.0, 48.0, 88.0, 92.0] {
            assert_eq!(open(10.1, Some(hz), 0.045), first, "{hz}");
            assert!(open(10.1, Some(hz), 0.02).is_empty() && open(10.1, Some(hz), 0.0).is_empty(), "{hz}");
        }
        assert!(open(9.9, Some(70.0), 0.2).is_empty() && open(9.9, None, 0.2).is_empty());
    }

    #[test]
    fn targets_are_kept_up_to_their_limits() {
        let targets = mass_and_frequency();
        let figures = |mass, first| Figures { mass, first_frequency: first, ..Figures::default() };
        assert!(keep_all(&targets, &figures(10.0, Some(50.0))));
        assert!(!keep_all(&targets, &figures(10.1, Some(50.0))));
        assert!(!keep_all(&targets, &figures(10.0, Some(49.9))));
        assert!(!keep_all(&targets, &figures(10.0, Some(90.1))));
        assert!(!keep_all(&targets, &figures(10.0, None)));
        let mut misses = Misses::new(&targets);
        misses.judge("a", |measure| Some(figures(11.0, Some(40.0)).get(measure)));
        misses.judge("b", |_| None);
        assert_eq!(misses.list.len(), 2);
        assert!(!misses.meets("a") && misses.meets("b") && !misses.all_miss());
    }
}
