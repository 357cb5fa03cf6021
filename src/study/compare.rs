//! All builds of a design side by side, with spreads and the chance that one beats another: the answer of the
//! command `compare`.

pub use super::beats::Beats;
use super::beats::beats;
use super::build_facts::{build_facts, narrows};
use super::equal::{self, Equal};
use super::guesses::{Guess, find_guesses};
use super::measures::{Figures, TheoryErrors};
use super::misses::Misses;
use super::nominal::Nominal;
use super::partial::answer_solvable;
use super::rigid_walls::{Seen, told};
use super::seats::{SeatFact, seat_facts};
use super::size::Watch;
use super::solved::{Solved, nothing_gives};
use super::spread::draws::latin_hypercube;
use super::spread::rank::{Advice, Influence, influences, percentiles};
use super::spread::{run, strongest};
use super::thermal::DriftAndBow;
use super::verdict::{Circumstances, Verdict};
use serde::Serialize;
use stillbed_design::{Build, Costs, Design, Measure, Model};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::{Draw, Spread, figures};
use stillbed_modes::Share;

/// Options of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Number of draws of the uncertain values; 0 leaves the spreads out.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// The quantity in which the builds are made equal; `None` compares them as drawn.
    pub at_equal: Option<Equal>,
}

impl Default for Options {
    fn default() -> Options {
        Options { draws: 200, seed: 1, at_equal: None }
    }
}

/// The answer of `compare`: all builds side by side.
///
/// ```
/// use stillbed_design::{Design, SMALLEST};
/// use stillbed_material::Table;
/// use stillbed_study::compare::{Comparison, Options};
///
/// let light = "sections.bar.parts = [{ rectangle = \"40 x 10 mm\", of = \"aluminium 6061-T6\" }]";
/// let tool = "[tool]\ntip = \"tip\"\nwork = \"ground\"";
/// let text = format!("{SMALLEST}\n{tool}\n[builds.light]\n{light}\n");
/// let design = Design::read("bar.toml", &text, &Table::built_in()).design.unwrap();
/// let options = Options { draws: 0, ..Options::default() };
/// let compared = Comparison::compute(&design, &options, |_, _| ()).unwrap();
/// let stiffness = |i: usize| compared.builds[i].stiffness_n_per_m.as_ref().unwrap().weakest.value;
/// // 3 E I / L^3 with I = 40 mm (10 mm)^3 / 12 and L = 300 mm; shear takes off a thousandth.
/// assert!((stiffness(0) / 76_667.0 - 1.0).abs() < 1.5e-3);
/// // Of one shape, the builds differ as their moduli, 69 GPa and 207 GPa.
/// assert!((stiffness(1) / stiffness(0) - 69.0 / 207.0).abs() < 1e-3);
/// ```
#[derive(Debug, Clone, Serialize)]
pub struct Comparison {
    /// The answer in a few sentences: those of the verdict, then where the best build is most compliant.
    pub answer: String,
    /// Which build is best, and how surely.
    pub verdict: Verdict,
    /// The quantity in which the builds are made equal, if any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_equal: Option<&'static str>,
    /// Amplitude of motion at which losses are taken, m; left out where no loss is stated over amplitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub amplitude_m: Option<f64>,
    /// Number of draws behind the spreads.
    pub draws: usize,
    /// In the order of the design.
    pub builds: Vec<BuildComparison>,
    /// The chance that one build beats another.
    pub beats: Vec<Beats>,
    /// The one measurement that would narrow the spread of the best build's deciding measure most.
    pub advice: Option<String>,
    /// Targets that are missed, by build.
    pub misses: Misses,
    /// Values stated without a spread, which took the usual spread of their class.
    pub guesses: Vec<Guess>,
    /// Joints and feet that follow from their laws.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub joints: Vec<SeatFact>,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// One build of a comparison.
#[derive(Debug, Clone, Serialize)]
pub struct BuildComparison {
    /// Its key in the design.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// Scale of its section sizes; 1 is as drawn.
    pub scale: f64,
    /// Total mass.
    pub mass_kg: f64,
    /// Its price; `None` where prices are not stated.
    pub cost: Option<f64>,
    /// Where the prices come from.
    pub costs: Costs,
    /// Static stiffness between tip and work.
    pub stiffness_n_per_m: Option<Directions>,
    /// Static stiffness of the structure alone, without the feet, in its weakest direction. `None` unless the
    /// work is on the ground; only then does the stiffness between tip and work contain the feet.
    pub structure_stiffness_n_per_m: Option<f64>,
    /// Frequency of the first mode of the structure.
    pub first_frequency_hz: Option<Spread>,
    /// Lowest frequency of a mode in which the base moves as a rigid body on its feet; `None` without one.
    pub on_feet_hz: Option<Spread>,
    /// Highest frequency of such a mode, at the nominal values.
    pub on_feet_up_to_hz: Option<f64>,
    /// Loss factor of the deciding mode.
    pub loss_factor: Option<Spread>,
    /// Dynamic stiffness at the highest peak of compliance between tip and work.
    pub dynamic_stiffness_n_per_m: Option<Spread>,
    /// Error bound of the nominal dynamic stiffness, from modes above the computed ones.
    pub dynamic_stiffness_error_n_per_m: Option<f64>,
    /// Settle time after the tap; `None` without a tap or when the motion never settles.
    pub settle_time_s: Option<Spread>,
    /// Error bound of the nominal settle time, from modes above the computed ones or from beating.
    pub settle_time_error_s: Option<f64>,
    /// Number of elastic modes behind its figures.
    pub modes: usize,
    /// Direction of least static stiffness.
    pub weakest_direction: Option<[f64; 3]>,
    /// Displacement of the tip relative to the work per kelvin of uniform heating; `None` without a tool, or
    /// where a thermal expansion is not known.
    pub drift_m_per_k: Option<Spread>,
    /// Largest bow of the members that `[thermal]` wants straight, under its temperatures.
    pub bow_m: Option<f64>,
    /// Sag of the tip relative to the work under the base's own weight, in axes that follow the base on its
    /// feet.
    pub sag_m: Option<f64>,
    /// How far the base sinks on its feet as a rigid body under its own weight.
    pub sinks_m: Option<f64>,
    /// Centre of gravity.
    pub centre_of_gravity_m: Option<[f64; 3]>,
    /// Number of rigid-body modes.
    pub rigid_body_modes: usize,
    /// Shares of skeleton, fill, joints and feet in the compliance between tip and work; they sum to 1.
    pub gives_way: Vec<Share>,
    /// The five largest such shares by member, joint and foot, largest first.
    pub gives_way_most: Vec<Share>,
    /// The inputs from which the spread of each measure comes.
    pub comes_from: Vec<Origin>,
    /// Relative error of the first frequency that the subdivision of the members may have left.
    pub frequency_error: Option<f64>,
    /// Relative error of the static stiffness in the weakest direction that the cells of bodies may have left.
    pub stiffness_error: Option<f64>,
    /// Relative errors from beam theory.
    pub theory_error: TheoryErrors,
}

/// Static stiffness by direction, and in the weakest one.
#[derive(Debug, Clone, Serialize)]
pub struct Directions {
    /// Along global x; `None` where tip and work cannot move apart along it.
    pub x: Option<Spread>,
    /// Along global y; `None` where tip and work cannot move apart along it.
    pub y: Option<Spread>,
    /// Along global z; `None` where tip and work cannot move apart along it.
    pub z: Option<Spread>,
    /// In the weakest direction.
    #[serde(flatten)]
    pub weakest: Spread,
}

impl Directions {
    /// Stiffnesses without spread, N/m; `None` where tip and work cannot move apart in any direction.
    pub(super) fn exact(along: [f64; 3], weakest: f64) -> Option<Directions> {
        let finite = |k: f64| k.is_finite().then_some(Spread::exact(k));
        let [x, y, z] = along.map(finite);
        Some(Directions { x, y, z, weakest: finite(weakest)? })
    }
}

/// The inputs from which the spread of one measure comes.
#[derive(Debug, Clone, Serialize)]
pub struct Origin {
    /// Which measure.
    pub of: &'static str,
    /// Strongest first, those alone whose influence is significant.
    pub inputs: Vec<Influence>,
}

impl BuildComparison {
    /// The value of `measure`, with its spread.
    pub fn get(&self, measure: Measure) -> Option<Spread> {
        match measure {
            Measure::FirstFrequency => self.first_frequency_hz,
            Measure::Stiffness => self.stiffness_n_per_m.as_ref().map(|d| d.weakest),
            Measure::DynamicStiffness => self.dynamic_stiffness_n_per_m,
            Measure::Mass => Some(Spread::exact(self.mass_kg)),
            Measure::SettleTime => self.settle_time_s,
            Measure::Cost => self.cost.map(Spread::exact),
            Measure::LossFactor => self.loss_factor,
        }
    }
}

impl BuildComparison {
    fn seen(&self, measure: Measure, modes: usize) -> Option<Seen<'_>> {
        let share = self.gives_way.iter().find(|share| share.of == "walls").map(|share| share.share);
        Some(Seen { name: &self.name, label: &self.label, value: self.get(measure)?.value, share, modes })
    }
}

impl Comparison {
    /// Compares the builds of `design`; `progress` receives the number of draws done and the total.
    ///
    /// # Errors
    /// What keeps a build from being solved, at its place.
    pub fn compute(
        design: &Design,
        options: &Options,
        progress: impl Fn(usize, usize) + Sync,
    ) -> Result<Comparison, Problems> {
        let watch = Watch { progress: &progress, stop: &|| false };
        Comparison::watched(design, options, &watch)
    }

    /// The same; once `watch` stops it, further draws count as unsolved, and the answer is of no use.
    ///
    /// # Errors
    /// Those of [`Comparison::compute`].
    pub fn watched(design: &Design, options: &Options, watch: &Watch) -> Result<Comparison, Problems> {
        let trial = Options { draws: 0, ..*options };
        let answer = |design: &Design| Comparison::scaled(design, options, watch);
        answer_solvable(design, answer, |design| Comparison::scaled(design, &trial, watch))
    }

    fn scaled(design: &Design, options: &Options, watch: &Watch) -> Result<Comparison, Problems> {
        match options.at_equal {
            None => Comparison::of_all(design, &vec![1.0; design.builds.len()], options, watch),
            Some(equal) => {
                let (design, scales) = equal::compute_scales(design, equal)?;
                Comparison::of_all(&design, &scales, options, watch)
            }
        }
    }

    fn of_all(
        design: &Design,
        scales: &[f64],
        options: &Options,
        watch: &Watch,
    ) -> Result<Comparison, Problems> {
        let uncertain = &design.uncertain;
        let draws = match uncertain.is_empty() {
            true => Vec::new(),
            false => latin_hypercube(uncertain, options.draws, options.seed),
        };
        let stated =
            |(build, scale): (&Build, &f64)| build.scaled_model(&design.goal, &Draw::default(), *scale);
        let models: Vec<Model> = design.builds.iter().zip(scales).map(stated).collect::<Result<_, _>>()?;
        let solve = |(build, model)| -> Result<Solved, Problems> {
            Solved::converge(build, &design.goal, model, None).map_err(|fault| build.problems(&fault))
        };
        let solved: Vec<Solved> = design.builds.iter().zip(&models).map(solve).collect::<Result<_, _>>()?;
        let know =
            |(build, solved): (&Build, &Solved)| Nominal::of(solved).map_err(|fault| build.problems(&fault));
        let known: Vec<Nominal> = match draws.is_empty() {
            true => Vec::new(),
            false => design.builds.iter().zip(&solved).map(know).collect::<Result<_, _>>()?,
        };
        let one_draw = |draw: &Draw| -> Vec<Option<Figures>> {
            if (watch.stop)() {
                return vec![None; design.builds.len()];
            }
            let builds = design.builds.iter().zip(scales).zip(&known);
            builds.map(|((build, scale), known)| one(design, build, draw, *scale, known).ok()).collect()
        };
        let total = draws.len();
        let drawn = run(&draws, one_draw, |done| (watch.progress)(done, total));
        let (mut builds, mut at_stated) = (Vec::new(), Vec::new());
        let mut misses = Misses::new(&design.goal.targets);
        for (i, ((build, scale), solved)) in design.builds.iter().zip(scales).zip(&solved).enumerate() {
            let column = |read: &Read| -> Vec<Option<f64>> {
                drawn.iter().map(|row| row[i].as_ref().and_then(read)).collect()
            };
            let (mut compared, stated) = compared(design, build, *scale, solved, &column)?;
            compared.comes_from = origins(design, &draws, &column);
            misses.judge(&build.name, |measure| Some(stated.get(measure)));
            builds.push(compared);
            at_stated.push(stated);
        }
        let measure = deciding(&builds);
        let mut facts = Vec::new();
        for (i, (build, solved)) in design.builds.iter().zip(&solved).enumerate() {
            let drawn: Vec<Option<&Figures>> = drawn.iter().map(|row| row[i].as_ref()).collect();
            let errors = (&builds[i].theory_error, builds[i].stiffness_error);
            facts.push(build_facts(design, build, solved, errors, &at_stated[i], &drawn, measure)?);
        }
        let about = Circumstances {
            file: &design.file,
            measure,
            has_targets: !design.goal.targets.is_empty(),
            draws: total,
            uncertain: !uncertain.is_empty(),
        };
        let verdict =
            Verdict::judge(&about, &facts, |one, other| narrows(design, &draws, &facts[one], &facts[other]));
        let drifts = design.builds.iter().filter_map(|build| no_drift(design, build));
        let doubts =
            design.builds.iter().zip(&solved).flat_map(|(build, own)| own.doubts(build, &design.goal));
        let held = design.builds.iter().zip(&builds);
        let held = held.filter_map(|(build, own): (_, &BuildComparison)| {
            nothing_gives(design, build, own.stiffness_n_per_m.is_some())
        });
        let notes = design.notes.iter().cloned().chain(drifts).chain(doubts).chain(held).collect();
        let mut comparison = Comparison {
            answer: String::new(),
            verdict,
            at_equal: options.at_equal.map(Equal::word),
            amplitude_m: design.goal.amplitude,
            draws: total,
            beats: beats(design, &drawn),
            builds,
            advice: None,
            misses,
            guesses: find_guesses(design),
            joints: seat_facts(design),
            notes,
        };
        comparison.advice = comparison.advise(design, &draws, &drawn);
        comparison.verdict.paragraphs.extend(comparison.give_told());
        let ahead = comparison.verdict.ahead.as_deref();
        let seen: Option<Vec<Seen>> = comparison
            .builds
            .iter()
            .zip(&solved)
            .map(|(build, own)| build.seen(measure, own.spectrum.elastic.len()))
            .collect();
        let walls = seen.and_then(|seen| told(design, scales, &seen, ahead, measure));
        comparison.verdict.paragraphs.extend(walls);
        comparison.answer = comparison.verdict.paragraphs.join(" ");
        Ok(comparison)
    }

    /// The measure that decides between the builds: settle time, else dynamic stiffness, else the
    /// first frequency.
    #[must_use]
    pub fn deciding(&self) -> Measure {
        deciding(&self.builds)
    }

    /// The best build by the deciding measure, of those that meet all targets where any does.
    #[must_use]
    pub fn best(&self) -> Option<&BuildComparison> {
        let ahead = self.verdict.ahead.as_ref()?;
        self.builds.iter().find(|build| build.name == *ahead)
    }

    /// Names the most compliant part of the best build between tip and work.
    fn give_told(&self) -> Option<String> {
        let best = self.best()?;
        let way = best.gives_way.iter().max_by(|a, b| a.share.total_cmp(&b.share))?;
        let percent = |share: f64| figures(100.0 * share, 2);
        let most = best.gives_way_most.first().map_or(String::new(), |share| {
            format!(" (most of all {}, {} %)", share.of.replace('_', " "), percent(share.share))
        });
        let label = if self.builds.len() > 1 { format!(" of {}", best.label) } else { String::new() };
        Some(format!(
            "Between tip and work {} % of the give{label} lies in the {}{most}.",
            percent(way.share),
            way.of
        ))
    }

    /// The one measurement that would narrow the best build's spread most.
    fn advise(&self, design: &Design, draws: &[Draw], drawn: &[Vec<Option<Figures>>]) -> Option<String> {
        let measure = self.deciding();
        let best = self.best()?;
        let number = design.builds.iter().position(|build| build.name == best.name)?;
        let answers: Vec<Option<f64>> =
            drawn.iter().map(|row| row[number].as_ref().and_then(|f| f.get(measure))).collect();
        let advice = Advice::from(&influences(&design.uncertain, draws, &answers))?;
        Some(advice.sentence(&format!("the {} of {}", measure.title(), best.label)))
    }
}

/// The measure that decides between `builds`.
fn deciding(builds: &[BuildComparison]) -> Measure {
    let known = |measure: Measure| builds.iter().any(|build| build.get(measure).is_some());
    let first = [Measure::SettleTime, Measure::DynamicStiffness].into_iter().find(|m| known(*m));
    first.unwrap_or(Measure::FirstFrequency)
}

/// The figures of `build` at `draw`.
fn one(
    design: &Design,
    build: &Build,
    draw: &Draw,
    scale: f64,
    known: &Nominal,
) -> Result<Figures, Problems> {
    let model = build.scaled_model(&design.goal, draw, scale)?;
    let at_fault = |fault| build.problems(&fault);
    let solved = known.solved(build, &design.goal, &model, Some(&[])).map_err(at_fault)?;
    let mut figures = solved.figures(build, &design.goal).map_err(at_fault)?;
    figures.drift = DriftAndBow::compute(design, build, &model, &solved.statics, draw).drift;
    Ok(figures)
}

/// Says why the drift of `build` is not computed, if the design has a tool.
fn no_drift(design: &Design, build: &Build) -> Option<Problem> {
    design.goal.tool.as_ref()?;
    let media = build.media(&Draw::default()).ok()?;
    let used = |medium: usize| {
        let parts = build.profiles.iter().flat_map(|profile| profile.geometry.parts());
        parts.filter(|part| !part.cavity).any(|part| part.medium == medium)
    };
    let lacking = media.iter().enumerate().filter(|(i, medium)| medium.expansion.is_none() && used(*i));
    let names: Vec<String> = lacking.map(|(_, medium)| format!("\"{}\"", medium.name)).collect();
    let message = format!("the thermal drift is left out: no expansion is known of {}", names.join(", "));
    let place = build.place.clone();
    (!names.is_empty()).then(|| Problem::warning(place, message).with_help("add expansion = \"12 um/m K\""))
}

/// Reads one figure of a build.
type Read<'a> = dyn Fn(&Figures) -> Option<f64> + 'a;

/// One build at nominal values; `column` gives the values of one figure in all draws, for its spread.
fn compared(
    design: &Design,
    build: &Build,
    scale: f64,
    solved: &Solved,
    column: &dyn Fn(&Read) -> Vec<Option<f64>>,
) -> Result<(BuildComparison, Figures), Problems> {
    let (goal, model) = (&design.goal, solved.model);
    let at_fault = |fault| build.problems(&fault);
    let mut stated = solved.figures(build, goal).map_err(at_fault)?;
    let quick = DriftAndBow::compute(design, build, model, &solved.statics, &Draw::default());
    stated.drift = quick.drift;
    let spread = |read: &Read| -> Option<Spread> {
        let value = read(&stated).filter(|value| value.is_finite())?;
        let drawn = column(read);
        if drawn.is_empty() {
            return Some(Spread::exact(value));
        }
        let found = percentiles(&drawn);
        Some(Spread { median: found.median, ..Spread::between(value, found.low?, found.high?) })
    };
    let direction = stated.weakest_direction;
    let shares = match direction {
        Some(direction) => solved.gives_way(direction).map_err(at_fault)?,
        None => None,
    };
    let sunk = solved.sag().map_err(at_fault)?.unwrap_or_default();
    let along = |axis: usize| spread(&move |f: &Figures| f.stiffness.map(|k| k[axis]));
    let directions = || {
        let (x, y, z) = (along(0), along(1), along(2));
        Some(Directions { x, y, z, weakest: spread(&|f| f.weakest)? })
    };
    let compared = BuildComparison {
        name: build.name.clone(),
        label: build.label.clone(),
        scale,
        mass_kg: stated.mass,
        cost: stated.cost,
        costs: model.costs(build),
        stiffness_n_per_m: directions(),
        structure_stiffness_n_per_m: solved.structure_stiffness().map_err(at_fault)?,
        first_frequency_hz: spread(&|f| f.first_frequency),
        on_feet_hz: spread(&|f| f.on_feet.map(|[low, _]| low)),
        on_feet_up_to_hz: stated.on_feet.map(|[_, high]| high),
        loss_factor: spread(&|f| f.loss_factor),
        dynamic_stiffness_n_per_m: spread(&|f| f.dynamic_stiffness),
        dynamic_stiffness_error_n_per_m: stated.dynamic_stiffness_error,
        settle_time_s: spread(&|f| f.settle_time),
        settle_time_error_s: stated.settle_time_error,
        modes: solved.spectrum.elastic.len(),
        weakest_direction: direction,
        drift_m_per_k: spread(&|f| f.drift),
        bow_m: quick.bow,
        sag_m: sunk.sag,
        sinks_m: sunk.on_feet,
        centre_of_gravity_m: model.frame.rigid_body().map(|body| body.centre.into()),
        rigid_body_modes: solved.spectrum.rigid.len(),
        gives_way: shares.as_ref().map(|s| s.kinds.clone()).unwrap_or_default(),
        gives_way_most: shares.map(|s| s.elements.into_iter().take(5).collect()).unwrap_or_default(),
        comes_from: Vec::new(),
        frequency_error: solved.frequency_error(),
        stiffness_error: solved.stiffness_error(),
        theory_error: solved.theory(build, direction).map_err(at_fault)?,
    };
    Ok((compared, stated))
}

/// The inputs from which the spread of each measure comes; a measure without spread is left out.
fn origins(design: &Design, draws: &[Draw], column: &dyn Fn(&Read) -> Vec<Option<f64>>) -> Vec<Origin> {
    let of = |measure: Measure| {
        let answers = column(&|figures: &Figures| figures.get(measure));
        Origin { of: measure.key(), inputs: strongest(&design.uncertain, draws, &answers) }
    };
    Measure::ALL.into_iter().map(of).filter(|origin| !origin.inputs.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;

    fn starter() -> Design {
        design(stillbed_design::STARTER)
    }

    #[test]
    fn the_starter_compares() {
        let options = Options { draws: 0, ..Options::default() };
        let comparison = Comparison::compute(&starter(), &options, |_, _| ()).unwrap();
        assert_eq!(comparison.builds.len(), 2);
        let way: f64 = comparison.builds[0].gives_way.iter().map(|s| s.share).sum();
        approx::assert_relative_eq!(way, 1.0, max_relative = 1e-9);
        assert_eq!(comparison.verdict.measure, "settle_time");
        assert!(comparison.answer.contains("after the tap"), "{}", comparison.answer);
        assert!(comparison.verdict.winner.is_none() && comparison.answer.contains("No draws were made"));
        assert!(comparison.beats.is_empty());
    }

    #[test]
    fn spreads_enclose_most_draws_and_chances_add_up() {
        let options = Options { draws: 40, ..Options::default() };
        let comparison = Comparison::compute(&starter(), &options, |_, _| ()).unwrap();
        let settle = comparison.builds[1].settle_time_s.unwrap();
        assert!(settle.low < settle.value && settle.value < settle.high);
        for by in ["settle_time", "stiffness"] {
            let chances: Vec<f64> =
                comparison.beats.iter().filter(|b| b.by == by).map(|b| b.chance).collect();
            assert_eq!(chances.len(), 2);
            approx::assert_relative_eq!(chances[0] + chances[1], 1.0);
        }
        let again = Comparison::compute(&starter(), &options, |_, _| ()).unwrap();
        assert_eq!(again.builds[1].settle_time_s, comparison.builds[1].settle_time_s);
    }

    #[test]
    fn builds_are_made_equal() {
        for (equal, tolerance) in [(Equal::Mass, 1e-9), (Equal::Cost, 1e-9), (Equal::Stiffness, 1e-6)] {
            let options = Options { draws: 0, at_equal: Some(equal), ..Options::default() };
            let comparison = Comparison::compute(&starter(), &options, |_, _| ()).unwrap();
            let value = |i: usize| match equal {
                Equal::Mass => comparison.builds[i].mass_kg,
                Equal::Cost => comparison.builds[i].cost.unwrap(),
                Equal::Stiffness => comparison.builds[i].get(Measure::Stiffness).unwrap().value,
            };
            approx::assert_relative_eq!(value(0), value(1), max_relative = tolerance);
            assert_ne!(comparison.builds[1].scale, 1.0);
        }
    }

    /// The starter with its first build repeated under another name.
    #[test]
    fn two_identical_builds_are_equal() {
        let text = stillbed_design::STARTER;
        let starts: Vec<usize> = text.match_indices("\n[builds.").map(|(at, _)| at).collect();
        let build = &text[starts[0]..starts[1]];
        let name = &build["\n[builds.".len()..build.find(']').unwrap()];
        let twin = build.replacen(&format!("[builds.{name}]"), "[builds.twin]", 1);
        let design = design(&format!("{}{build}{twin}", &text[..starts[0]]));
        let options = Options { draws: 20, ..Options::default() };
        let comparison = Comparison::compute(&design, &options, |_, _| ()).unwrap();
        let verdict = &comparison.verdict;
        assert_eq!((verdict.winner.as_ref(), verdict.level.len()), (None, 1));
        assert!(comparison.answer.contains("are equal"), "{}", comparison.answer);
    }
}
