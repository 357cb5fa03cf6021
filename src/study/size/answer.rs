//! The answer of the command `size`: the best candidate, the trade-offs, what each target costs.

use super::candidate::{Candidate, Effort, SearchResult, Watch};
use super::frames::Frames;
use super::gaps::Refusal;
use super::judge::{Judge, Least, Limit, front};
use super::search::search;
use super::sensitivity::{Sensitivity, sensitivities};
use super::space::Space;
use crate::converged::measure_converged;
use crate::measures::Figures;
use serde::Serialize;
use std::collections::BTreeMap;
use stillbed_design::{Build, Design, Goal, Measure, Substance};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Kind, show};
use stillbed_material::Role;
use stillbed_section::stock::Stock;

/// Options of a sizing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Number of elastic modes of each candidate.
    pub count: usize,
    /// What to minimise.
    pub least: Least,
    /// How much of the space is searched.
    pub effort: Effort,
}

impl Default for Options {
    fn default() -> Options {
        Options { count: 5, least: Least::Mass, effort: Effort::default() }
    }
}

/// Largest number of candidates solved again with converged modes, until the best of them stays the best.
const MOST_CONVERGED: usize = 20;

/// The answer of `size` for one build.
///
/// ```
/// use stillbed_design::{Design, SMALLEST};
/// use stillbed_material::Table;
/// use stillbed_section::stock::Stock;
/// use stillbed_study::size::{Options, Sizing, Watch};
///
/// let text = format!(
///     "{SMALLEST}\n[tool]\ntip = \"tip\"\nwork = \"ground\"\n\
///      [targets]\nstiffness = {{ at_least = \"0.1 N/um\" }}\n\
///      [vary.bar]\nsection = \"bar\"\nsize = [\"40 x 10 mm\", \"40 x 12 mm\", \"40 x 15 mm\"]\n"
/// );
/// let design = Design::read("bar.toml", &text, &Table::built_in()).design.unwrap();
/// let (watch, options) = (Watch { progress: &|_, _| (), stop: &|| false }, Options::default());
/// let sized = Sizing::compute(&design, &design.builds[0], &Stock::built_in(), &options, &watch);
/// // 3 E I / L^3 is 0.077 N/um at 10 mm and 0.13 N/um at 12 mm, the lightest that meets the target.
/// let best = sized.unwrap().0.best.unwrap();
/// assert_eq!(best.choice["bar"], "40 x 12 mm");
/// assert!((best.mass_kg - 0.04 * 0.012 * 0.3 * 7850.0).abs() < 1e-6);
/// ```
#[derive(Debug, Clone, Serialize)]
pub struct Sizing {
    /// The answer in one to three sentences.
    pub answer: String,
    /// Key of the build.
    pub build: String,
    /// Key of the measure that is minimised.
    pub least: &'static str,
    /// Number of candidates that can be built and were covered.
    pub candidates: usize,
    /// Number of candidates solved; the others miss a target by mass or cost alone.
    pub solved: usize,
    /// Number of all combinations of choices; `None` where it is too large to count.
    pub combinations: Option<u64>,
    /// True when every combination was covered.
    pub complete: bool,
    /// Number of combinations that cannot be built, by reason.
    pub left_out: BTreeMap<&'static str, usize>,
    /// The candidate of least mass or cost that meets every target.
    pub best: Option<Entry>,
    /// Candidates that meet every target and that no other beats in mass, cost, stiffness, first frequency
    /// and settle time at once; by mass.
    pub front: Vec<Entry>,
    /// For each limit of a target: its value in the best candidate, and what relaxing it by a tenth would
    /// save.
    pub limits: Vec<LimitResult>,
    /// The candidate that misses least, where none meets every target.
    pub nearest_miss: Option<Entry>,
    /// Targets that no candidate meets.
    pub blocking: Vec<&'static str>,
    /// Derivatives of each measure of the best candidate with respect to each size of its design variables.
    pub sensitivity: Vec<Sensitivity>,
    /// Warnings.
    pub notes: Vec<Problem>,
    /// The choice of the best on each axis, for writing it into the design.
    #[serde(skip)]
    pub chosen: Option<Vec<usize>>,
}

/// One candidate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entry {
    /// The choice for each design variable.
    pub choice: BTreeMap<String, String>,
    /// Total mass.
    pub mass_kg: f64,
    /// Its price; `None` where prices are not stated.
    pub cost: Option<f64>,
    /// Frequency of the first mode of the structure.
    pub first_frequency_hz: Option<f64>,
    /// Static stiffness between tip and work in the weakest direction.
    pub stiffness_n_per_m: Option<f64>,
    /// Settle time after the tap.
    pub settle_time_s: Option<f64>,
    /// Dynamic stiffness at the highest peak of compliance, where a target asks for it.
    pub dynamic_stiffness_n_per_m: Option<f64>,
    /// Loss factor of the deciding mode.
    pub loss_factor: Option<f64>,
}

/// One limit of a target, with the values of the candidates.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitResult {
    /// Key of the measure.
    pub measure: &'static str,
    /// The limit, SI.
    pub limit: f64,
    /// True for a lower limit.
    pub at_least: bool,
    /// Value of the best candidate, or of the nearest miss, SI.
    pub value: Option<f64>,
    /// Best value of any solved candidate, SI.
    pub reached: Option<f64>,
    /// True when the limit is active: relaxed by a tenth, it would allow a lighter or cheaper candidate.
    pub active: bool,
    /// Mass or cost that a limit relaxed by a tenth would save, kg or in the currency of the prices.
    pub saves: Option<f64>,
}

impl Entry {
    /// `figures` with the choice for each design variable.
    pub fn new(space: &Space, choice: &[usize], figures: &Figures) -> Entry {
        Entry {
            choice: space.labels(choice).into_iter().collect(),
            mass_kg: figures.mass,
            cost: figures.cost,
            first_frequency_hz: figures.first_frequency,
            stiffness_n_per_m: figures.weakest.filter(|k| k.is_finite()),
            settle_time_s: figures.settle_time,
            dynamic_stiffness_n_per_m: figures.dynamic_stiffness.filter(|k| k.is_finite()),
            loss_factor: figures.loss_factor,
        }
    }
}

impl Sizing {
    /// Sizes `build` of `design` from `stock`; also returns the space that was searched.
    ///
    /// # Errors
    /// Everything that keeps it from being searched, at its place.
    pub fn compute(
        design: &Design,
        build: &Build,
        stock: &Stock,
        options: &Options,
        watch: &Watch,
    ) -> Result<(Sizing, Space), Problems> {
        let goal = &design.goal;
        let space = Space::new(build, goal, stock)?;
        contradictions(build, goal, options.least)?;
        let frames = Frames::new(&space, goal, options.count)?;
        let judge = Judge::new(&goal.targets, options.least);
        let found = search(&frames, &judge, &options.effort, watch);
        let sizing = sized(design, &space, &frames, &judge, &found, options)?;
        Ok((sizing, space))
    }

    /// True when a candidate meets every target.
    #[must_use]
    pub fn meets(&self) -> bool {
        self.best.is_some()
    }
}

/// Errors for targets that contradict each other or the drawing, at their place.
fn contradictions(build: &Build, goal: &Goal, least: Least) -> Result<(), Problems> {
    let mut said = Vec::new();
    let carried: f64 = build.drawing.masses.iter().map(|(_, mass)| mass.mass.value).sum();
    let of = |measure: Measure| goal.targets.iter().find(|t| t.measure == measure);
    if let Some(target) = of(Measure::Mass)
        && let Some(most) = target.at_most
        && most <= carried
    {
        let show = |mass| show(mass, Kind::Mass);
        let message = format!("at most {}, but the masses alone weigh {}", show(most), show(carried));
        let help = "allow more, or carry less";
        said.push(Problem::error(target.place.clone(), message).with_help(help));
    }
    if let (Some(dynamic), Some(at_rest)) = (of(Measure::DynamicStiffness), of(Measure::Stiffness))
        && let (Some(least), Some(most)) = (dynamic.at_least, at_rest.at_most)
        && least > most
    {
        let show = |k| show(k, Kind::Stiffness);
        let message = format!(
            "at least {} at the worst peak, but at most {} at rest, which is never less",
            show(least),
            show(most)
        );
        said.push(Problem::error(dynamic.place.clone(), message).with_help("change one of the two"));
    }
    if let Some(target) = of(Measure::Cost)
        && let (Some(most), Some(fixed)) = (target.at_most, build.drawing.prices.fixed)
        && most < fixed
    {
        let message = format!("a cost of at most {most}, but {fixed} of it is fixed");
        said.push(
            Problem::error(target.place.clone(), message).with_help("allow more, or change prices.fixed"),
        );
    }
    if least == Least::Cost && build.drawing.prices.is_empty() {
        let message = format!("build \"{}\" has no prices, so that none is the cheapest", build.name);
        let help = "add prices = { \"MATERIAL\" = \"2.4 per kg\" }";
        said.push(Problem::error(build.place.clone(), message).with_help(help));
    }
    if least == Least::Cost || of(Measure::Cost).is_some() {
        said.extend(unpriced(build));
    }
    if said.is_empty() { Ok(()) } else { Err(said.into()) }
}

/// An error for materials without a price, those of the stock included.
fn unpriced(build: &Build) -> Option<Problem> {
    let prices = &build.drawing.prices;
    let unknown = |s: &&Substance| s.role() != Role::Void && prices.get(s.name()).is_none();
    let names: Vec<String> =
        build.substances.iter().filter(unknown).map(|s| format!("\"{}\"", s.name())).collect();
    if prices.is_empty() || names.is_empty() {
        return None;
    }
    let message = format!("build \"{}\" has no price of {}", build.name, names.join(" and "));
    let help = format!("add prices = {{ {} = \"2.4 per kg\" }}", names[0]);
    Some(Problem::error(build.place.clone(), message).with_help(help))
}

fn sized(
    design: &Design,
    space: &Space,
    frames: &Frames,
    judge: &Judge,
    found: &SearchResult,
    options: &Options,
) -> Result<Sizing, Problems> {
    let solved = &settled(space, &design.goal, judge, found)?;
    let best = judge.best(solved);
    let nearest = match best {
        Some(_) => None,
        None => solved.iter().min_by(|a, b| judge.order_figures(&a.figures, &b.figures)),
    };
    if solved.is_empty() && !found.stopped {
        return Err(Problems::from(nothing_solved(space, found)));
    }
    let entry = |c: &Candidate| Entry::new(space, &c.choice, &c.figures);
    let feasible: Vec<&Candidate> = solved.iter().filter(|c| judge.meets(&c.figures)).collect();
    let shown = best.or(nearest);
    let limits = judge.limits.iter().enumerate();
    let limits: Vec<LimitResult> =
        limits.map(|(i, limit)| kept(judge, i, limit, solved, shown, best)).collect();
    let missed = |limit: &Limit| solved.iter().all(|c| limit.miss(&c.figures) > 0.0);
    let blocking = if best.is_some() || solved.is_empty() {
        Vec::new()
    } else {
        let mut keys: Vec<&str> =
            judge.limits.iter().filter(|l| missed(l)).map(|l| l.measure.key()).collect();
        keys.dedup();
        keys
    };
    let sensitivity = match best {
        Some(best) => sensitivities(space, &design.goal, frames, &best.choice, options.count)?,
        None => Vec::new(),
    };
    let mut left_out: BTreeMap<&'static str, usize> = BTreeMap::new();
    for (refusal, count) in &found.refused {
        left_out.insert(refusal.words(), *count);
    }
    let mut notes = design.notes.clone();
    if let (count, Some(said)) = &found.broken
        && *count > 0
    {
        let message = format!("{count} candidates cannot be solved; of the first: {said}");
        notes.push(Problem::warning(space.build.place.clone(), message));
    }
    let mut sizing = Sizing {
        answer: String::new(),
        build: space.build.name.clone(),
        least: options.least.measure().key(),
        candidates: found.admissible(),
        solved: solved.len(),
        combinations: u64::try_from(space.count()).ok(),
        complete: found.complete,
        left_out,
        best: best.map(entry),
        front: front(&feasible).into_iter().map(entry).collect(),
        limits,
        nearest_miss: nearest.map(entry),
        blocking,
        sensitivity,
        notes,
        chosen: best.map(|c| c.choice.clone()),
    };
    sizing.answer = told(&sizing, found);
    Ok(sizing)
}

/// The candidates found, with converged figures for the best of them (or the nearest miss): the search
/// computes the same few modes for all, so a candidate that seems best may miss a target.
fn settled(
    space: &Space,
    goal: &Goal,
    judge: &Judge,
    found: &SearchResult,
) -> Result<Vec<Candidate>, Problems> {
    let mut candidates = found.solved.clone();
    let mut known: Vec<Vec<usize>> = Vec::new();
    while known.len() < MOST_CONVERGED {
        let nearest = || candidates.iter().min_by(|a, b| judge.order_figures(&a.figures, &b.figures));
        let Some(choice) = judge.best(&candidates).or_else(nearest).map(|first| first.choice.clone()) else {
            break;
        };
        if known.contains(&choice) {
            break;
        }
        let build = space.build_at(&choice)?;
        let figures = measure_converged(&build, goal)?;
        candidates.iter_mut().filter(|c| c.choice == choice).for_each(|c| c.figures = figures.clone());
        known.push(choice);
    }
    Ok(candidates)
}

fn nothing_solved(space: &Space, found: &SearchResult) -> Problem {
    let reasons: Vec<String> =
        found.refused.iter().map(|(refusal, count)| format!("{} ({count})", refusal.words())).collect();
    let why = match (&found.broken.1, reasons.is_empty()) {
        (Some(said), true) => said.clone(),
        _ => reasons.join(", "),
    };
    let place = space.variables.first().map_or(space.build.place.clone(), |v| v.place.clone());
    let help = match found.refused.keys().all(|refusal| *refusal == Refusal::Voids) && !reasons.is_empty() {
        true => "let more binder vary, or write unfilled = true beside share",
        false => "let smaller sizes vary, or change [gaps]",
    };
    Problem::error(place, format!("no choice can be built: {why}")).with_help(help)
}

fn kept(
    judge: &Judge,
    i: usize,
    limit: &Limit,
    solved: &[Candidate],
    shown: Option<&Candidate>,
    best: Option<&Candidate>,
) -> LimitResult {
    // An infinite stiffness, where tip and work cannot move apart, meets any lower limit but is not shown.
    let values = solved.iter().filter_map(|c| c.figures.get(limit.measure));
    let reached = match limit.at_least {
        true => values.reduce(f64::max),
        false => values.reduce(f64::min),
    };
    let saves = best.and_then(|best| {
        let looser = judge.with(i, limit.relaxed());
        let other = looser.best(solved)?;
        Some((judge.least_of(&best.figures) - judge.least_of(&other.figures)).max(0.0))
    });
    LimitResult {
        measure: limit.measure.key(),
        limit: limit.limit,
        at_least: limit.at_least,
        value: shown.and_then(|c| c.figures.get(limit.measure)).filter(|value| value.is_finite()),
        reached: reached.filter(|value| value.is_finite()),
        active: saves.is_some_and(|saved| saved > 0.0),
        saves,
    }
}

fn told(sizing: &Sizing, found: &SearchResult) -> String {
    let count = sizing.candidates;
    let none_better = if sizing.best.is_some() { "; none is better" } else { "" };
    let searched = match (found.complete, found.stopped) {
        (true, _) => format!("All {count} candidates that can be built were covered{none_better}."),
        (_, true) => format!("Stopped after {count} candidates: there may be better ones."),
        _ => format!("{count} candidates were tried by a guided search: there may be better ones."),
    };
    let lean = found.refused.get(&Refusal::Voids).map_or(String::new(), |count| {
        format!(
            " {count} with too little binder to fill the voids were left out; unfilled = true beside share lets \
             them in."
        )
    });
    let unsolved = match found.broken.0 {
        0 => String::new(),
        1 => " One of them cannot be solved.".to_string(),
        count => format!(" {count} of them cannot be solved."),
    };
    let searched = searched + &unsolved + &lean;
    let Some(best) = &sizing.best else {
        let blocked: Vec<&str> = sizing
            .blocking
            .iter()
            .map(|key| Measure::ALL.into_iter().find(|m| m.key() == *key).map_or(*key, Measure::title))
            .collect();
        let why = match (blocked.is_empty(), sizing.nearest_miss.is_some()) {
            (false, _) => format!("no candidate reaches the target of {}", blocked.join(" and ")),
            (true, true) => "each target is met by some candidate, but none meets all".to_string(),
            (true, false) => "none was solved".to_string(),
        };
        return format!("No choice meets the targets: {why}. {searched}");
    };
    let choice: Vec<String> =
        best.choice.iter().map(|(name, what)| format!("{} {what}", name.replace('_', " "))).collect();
    let cost = best
        .cost
        .map_or(String::new(), |c| format!(", at a cost of {}", stillbed_input::quantity::figures(c, 4)));
    let active: Vec<&str> = sizing.limits.iter().filter(|l| l.active).map(|l| l.measure).collect();
    let held = match active.is_empty() {
        true => String::new(),
        false => format!(" The target of {} keeps it from less.", active.join(" and ").replace('_', " ")),
    };
    format!(
        "Least {}: {}; {}{cost}.{held} {searched}",
        sizing.least,
        choice.join("; "),
        show(best.mass_kg, Kind::Mass)
    )
}
