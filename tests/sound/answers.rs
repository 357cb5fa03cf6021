//! Every command asked of a design, in the process, and what must hold of each answer.

use super::dice::Dice;
use serde::Serialize;
use stillbed::design::{Build, Design, Substance};
use stillbed::material::{Role, Table};
use stillbed::modes::Share;
use stillbed::problem::{Problem, Problems};
use stillbed::quantity::Draw;
use stillbed::report::json::first_not_finite;
use stillbed::report::presentation::mix::Mixes;
use stillbed::report::text::Style;
use stillbed::report::{Block, csv, presentation, text};
use stillbed::response::floor::FloorSpectrum;
use stillbed::response::frequency::Motion;
use stillbed::section::stock::Stock;
use stillbed::study::compare::{BuildComparison, Comparison, Options};
use stillbed::study::equal::Equal;
use stillbed::study::misses::{Miss, Misses};
use stillbed::study::modes::Modes;
use stillbed::study::pour::bodies::{PourOptions, Pours, compute_mixes};
use stillbed::study::response::{Path, Response, ResponseOptions};
use stillbed::study::ringdown::{RingDownOptions, RingDowns};
use stillbed::study::sections::Sections;
use stillbed::study::shapes::Shapes;
use stillbed::study::size::{Effort, Options as Sized, Sizing, Watch};
use stillbed::study::spread::Draws;
use stillbed::study::thermal::{ThermalAnswer, ThermalOptions};

/// Losses of what a build is made of, and of what it stands on and is joined by: least and largest.
struct Range(f64, f64);

impl Range {
    /// A loss that is the ratio of two sums: right to the rounding of the larger terms.
    fn holds(&self, loss: f64) -> bool {
        self.holds_to(1e-12, loss)
    }

    /// A loss that is right to `error`.
    fn holds_to(&self, error: f64, loss: f64) -> bool {
        let rounding = 1e-6 * self.1 + error;
        loss >= self.0 - rounding && loss <= self.1 + rounding
    }
}

/// What is wrong with the answers about the design `text`; `None` where `check` refuses it.
pub fn faults(text: &str, seed: u64) -> Option<Vec<String>> {
    let reading = Design::read("sound.toml", text, &Table::built_in());
    if let Some(error) = reading.problems.iter().find(|problem| problem.is_error()) {
        if std::env::var_os("STILLBED_SOUND_REFUSED").is_some() {
            eprintln!("{seed}: {error}");
        }
        return None;
    }
    let design = reading.design?;
    let mut found = Vec::new();
    let dice = &mut Dice::new(seed ^ 0xa5a5);
    let count = 1 + dice.below(24);
    found.extend(sections(&design).err());
    let listed = rings(&design, count);
    let all = compared(&design, dice, listed.as_ref().ok());
    found.extend(listed.err());
    found.extend(moved(&design, dice, all.as_ref().ok()).err());
    found.extend(all.err());
    found.extend(warmed(&design).err());
    found.extend(poured(&design).err());
    found.extend(sized(&design).err());
    Some(found)
}

type Held = Result<(), String>;

fn refused(command: &'static str) -> impl Fn(Problems) -> String {
    move |problems| format!("{command} refuses: {}", problems[0])
}

/// Every number of the answer is finite, no build is left out, and what is shown has no number that is none.
fn sound<T: Serialize>(command: &str, answer: &T, notes: &[Problem], blocks: &[Block]) -> Held {
    if let Some(path) = first_not_finite(answer) {
        return Err(format!("{command}: {path} is not finite"));
    }
    let shown = text::render(blocks, &Style::default());
    let odd =
        |word: &&str| matches!(word.trim_matches(|c: char| !c.is_alphabetic()), "NaN" | "inf" | "singular");
    if let Some(word) = shown.split_whitespace().find(odd) {
        return Err(format!("{command} shows \"{word}\":\n{shown}"));
    }
    for table in blocks.iter().filter_map(csv::values) {
        let written = csv::write(&table);
        let odd = |cell: &&str| matches!(*cell, "NaN" | "inf" | "-inf");
        if let Some(cell) = written.split([',', '\r', '\n']).find(odd) {
            return Err(format!("{command} writes \"{cell}\" as CSV:\n{written}"));
        }
    }
    match notes.iter().find(|note| note.message.contains("is left out:")) {
        Some(note) => Err(format!("{command}: {note}")),
        None => Ok(()),
    }
}

/// Shares are a whole, unless there is nothing to share.
fn sum_to_one(command: &str, shares: &[Share]) -> Held {
    let sum: f64 = shares.iter().map(|share| share.share).sum();
    match shares.is_empty() || (sum - 1.0).abs() < 1e-6 {
        true => Ok(()),
        false => Err(format!("{command}: shares sum to {sum}")),
    }
}

/// The losses of everything in `build` that can lose energy.
fn losses(design: &Design, build: &Build, of: impl Fn(usize) -> bool) -> Range {
    let draw = Draw::default();
    let media = build.media(&draw).unwrap_or_default();
    let own = media.iter().enumerate().filter(|(i, medium)| medium.role != Role::Void && of(*i));
    let ratio = |modulus: num_complex::Complex64| modulus.im / modulus.re;
    let mut all: Vec<f64> =
        own.flat_map(|(_, m)| [ratio(m.youngs_modulus), ratio(m.shear_modulus)]).collect();
    let amplitude = design.goal.amplitude;
    all.extend(build.drawing.joints.iter().map(|(_, joint)| joint.loss.at(amplitude, &draw)));
    all.extend(build.drawing.feet.iter().map(|(_, foot)| foot.loss.at(amplitude, &draw)));
    Range(all.iter().copied().fold(f64::INFINITY, f64::min), all.iter().copied().fold(0.0, f64::max))
}

/// True for the media that some part of `build` is made of.
fn used(build: &Build) -> impl Fn(usize) -> bool + '_ {
    |medium| {
        let parts = build.profiles.iter().flat_map(|profile| profile.geometry.parts());
        parts.into_iter().any(|part| part.medium == medium)
    }
}

fn sections(design: &Design) -> Held {
    let answer = Sections::compute(design).map_err(refused("section"))?;
    sound("section", &answer, &answer.notes, &presentation::section::blocks(&answer))?;
    for (build, own) in design.builds.iter().zip(&answer.builds) {
        let range = losses(design, build, used(build));
        for section in &own.sections {
            for (way, acting) in [
                ("bonded", &section.bonded),
                ("sliding", &section.sliding),
                ("as stated", &section.as_stated),
            ] {
                let loss = serde_json::to_value(acting.loss).map_err(|e| e.to_string())?;
                for (name, value) in loss.as_object().into_iter().flatten() {
                    // A product of inertia may vanish, and has no loss of its own.
                    let Some(value) = value.as_f64().filter(|_| !name.contains("yz")) else { continue };
                    if !range.holds(value) {
                        return Err(format!(
                            "section {} {way}: loss of {name} {value} beyond {} to {}",
                            section.name, range.0, range.1
                        ));
                    }
                }
            }
        }
    }
    Ok(())
}

fn rings(design: &Design, count: usize) -> Result<Modes, String> {
    let answer = Modes::compute(design, count, &Draws::NONE, |_, _| ()).map_err(refused("modes"))?;
    sound("modes", &answer, &answer.notes, &presentation::modes::blocks(&answer))?;
    for (build, own) in design.builds.iter().zip(&answer.builds) {
        let range = losses(design, build, used(build));
        // More are listed only where all that were asked for are those of the base on its feet.
        let listed = own.modes.modes.len();
        let all_on_feet = listed > count && own.modes.modes[..count].iter().all(|mode| mode.on_feet);
        if listed != count && !all_on_feet {
            return Err(format!("modes: {} of {count} modes", own.modes.modes.len()));
        }
        for (i, mode) in own.modes.modes.iter().enumerate() {
            for shares in [&mode.energy_share, &mode.energy_by_kind, &mode.energy_by_material] {
                sum_to_one("modes", shares)?;
            }
            // The exact loss is the imaginary part of an eigenvalue by its real part, and an
            // eigenvalue is right to some 1e-11 of itself: a loss of 1e-6 has fewer digits.
            for (loss, error) in [(mode.loss_factor, 1e-12), (mode.loss_factor_exact, 1e-10)] {
                if !range.holds_to(error, loss) {
                    return Err(format!("mode {}: loss {loss} beyond {} to {}", i + 1, range.0, range.1));
                }
            }
            if mode.frequency_hz <= 0.0 {
                return Err(format!("mode {} at {} Hz", i + 1, mode.frequency_hz));
            }
        }
        Shapes::compute(design, build, count).map_err(refused("report"))?;
    }
    Ok(answer)
}

fn compared(design: &Design, dice: &mut Dice, listed: Option<&Modes>) -> Result<Comparison, String> {
    let draws = if dice.chance(0.1) { 3 } else { 0 };
    let options = Options { draws, ..Options::default() };
    let all = Comparison::compute(design, &options, |_, _| ()).map_err(refused("compare"))?;
    sound("compare", &all, &all.notes, &presentation::compare::blocks(&all))?;
    for build in &all.builds {
        sum_to_one("compare", &build.gives_way)?;
    }
    one_frequency(listed, &all)?;
    if design.builds.len() > 1 {
        let together = dice.pick(&all.builds);
        let alone = design.clone().only(&together.name).map_err(|p| p.to_string())?;
        let alone =
            Comparison::compute(&alone, &options, |_, _| ()).map_err(refused("compare of one build"))?;
        same(together, &alone.builds[0])?;
        let equal =
            Options { draws: 0, at_equal: Some(*dice.pick(&[Equal::Mass, Equal::Stiffness])), ..options };
        // Whether the first has a stiffness depends on its tool, and whether others reach it on their joints.
        match Comparison::compute(design, &equal, |_, _| ()) {
            Ok(answer) => {
                let left = answer.notes.iter().filter(|note| note.message.contains("is left out")).count();
                if answer.builds.len() + left < design.builds.len() {
                    return Err(format!("compare at equal: {} builds, {left} left out", answer.builds.len()));
                }
                sound("compare at equal", &answer, &[], &presentation::compare::blocks(&answer))?;
            }
            Err(problems) if problems[0].message.contains("to be equal to") => {}
            Err(problems) => return Err(format!("compare at equal refuses: {}", problems[0])),
        }
    }
    Ok(all)
}

/// `modes` and `compare` call the same figure the first frequency.
fn one_frequency(listed: Option<&Modes>, all: &Comparison) -> Held {
    for (own, build) in listed.into_iter().flat_map(|listed| &listed.builds).zip(&all.builds) {
        let (Some(mode), Some(found)) = (own.modes.first_of_structure(), &build.first_frequency_hz) else {
            continue;
        };
        let (a, b) = (mode.frequency_hz, found.value);
        // Damped modes hold to a part in a million, and each to what its division leaves.
        let allowed = mode.frequency_error + build.frequency_error.unwrap_or(0.0) + 4e-6;
        if (a / b - 1.0).abs() > allowed {
            return Err(format!("{}: modes says {a} Hz, compare {b}, within {allowed}", build.name));
        }
    }
    Ok(())
}

/// A build's answer is its own, whoever stands beside it.
fn same(together: &BuildComparison, alone: &BuildComparison) -> Held {
    let [a, b] = [together, alone].map(serde_json::to_value).map(Result::unwrap_or_default);
    match first_difference("", &a, &b) {
        Some(path) => Err(format!("compare: {path} of {} depends on its neighbours", together.name)),
        None => Ok(()),
    }
}

fn first_difference(path: &str, a: &serde_json::Value, b: &serde_json::Value) -> Option<String> {
    use serde_json::Value;
    let below = |key: &str| format!("{path}.{key}");
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => a
            .iter()
            .find_map(|(key, own)| first_difference(&below(key), own, b.get(key).unwrap_or(&Value::Null))),
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let mut pairs = a.iter().zip(b).enumerate();
            pairs.find_map(|(i, (a, b))| first_difference(&below(&i.to_string()), a, b))
        }
        (Value::Number(x), Value::Number(y)) => {
            let (x, y) = (x.as_f64()?, y.as_f64()?);
            // Directions and shares near zero are rounding.
            let off = (x - y).abs();
            (off > 1e-7 * x.abs().max(y.abs()) && off > 1e-12).then(|| format!("{path}: {x} and {y}"))
        }
        (a, b) => (a != b).then(|| format!("{path}: {a} and {b}")),
    }
}

fn moved(design: &Design, dice: &mut Dice, all: Option<&Comparison>) -> Held {
    let goal = &design.goal;
    let point = |dice: &mut Dice, build: &Build| {
        let names: Vec<&str> = build.drawing.points.iter().map(|(name, _)| name).collect();
        (*dice.pick(&names)).to_string()
    };
    let asked = goal.tool.is_none() || dice.chance(0.3);
    let path = asked.then(|| Path {
        from: point(dice, &design.builds[0]),
        to: dice.chance(0.5).then(|| point(dice, &design.builds[0])),
        along: dice.arrow(),
    });
    let floor = if dice.chance(0.3) { FloorSpectrum::criterion("VC-C") } else { None };
    let range = dice.chance(0.2).then_some((5.0, 400.0));
    let options = ResponseOptions { range, path, floor };
    let answer = Response::compute(design, &options).map_err(refused("response"))?;
    if options.path.is_none() {
        same_misses("response", &answer.misses, all, &["stiffness", "dynamic_stiffness"])?;
    }
    sound("response", &answer, &answer.notes, &presentation::response::blocks(&answer, Motion::Mobility))?;
    if goal.tap.is_some() {
        let draws = Draws { count: if dice.chance(0.1) { 3 } else { 0 }, seed: 1 };
        let options = RingDownOptions { duration: None, draws };
        let answer = RingDowns::compute(design, &options, |_, _| ()).map_err(refused("ringdown"))?;
        sound("ringdown", &answer, &answer.notes, &presentation::ringdown::blocks(&answer))?;
        same_misses("ringdown", &answer.misses, all, &["settle_time"])?;
    }
    Ok(())
}

/// A target of `measures` that is clearly missed is missed in `compare` too, and the other way round.
fn same_misses(command: &str, found: &Misses, all: Option<&Comparison>, measures: &[&str]) -> Held {
    let Some(all) = all else { return Ok(()) };
    let is_in = |misses: &Misses, miss: &Miss| {
        misses.list.iter().any(|own| own.build == miss.build && own.measure == miss.measure)
    };
    for (one, other) in [(found, &all.misses), (&all.misses, found)] {
        let mut clear =
            one.list.iter().filter(|miss| measures.contains(&miss.measure) && miss.by() > CLEARLY);
        if let Some(miss) = clear.find(|miss| !is_in(other, miss)) {
            return Err(format!(
                "{command} and compare differ in a miss: {}: {}",
                miss.build,
                miss.sentence()
            ));
        }
    }
    Ok(())
}

/// A figure may differ by its stated error between two paths.
const CLEARLY: f64 = 0.02;

fn warmed(design: &Design) -> Held {
    let change = design.goal.thermal.is_none().then_some(7.0);
    let answer = ThermalAnswer::compute(design, &ThermalOptions { change, ..ThermalOptions::default() })
        .map_err(refused("thermal"))?;
    sound("thermal", &answer, &answer.notes, &presentation::thermal::blocks(&answer))
}

fn poured(design: &Design) -> Held {
    let cast = design.builds.iter().any(|build| {
        let used = used(build);
        build.substances.iter().enumerate().any(|(i, of)| matches!(of, Substance::Mix(_)) && used(i))
    });
    if !cast {
        return Ok(());
    }
    let found = compute_mixes(design).map_err(refused("mix"))?;
    let found = Mixes { mixes: found, trial: None, notes: Vec::new() };
    sound("mix", &found, &[], &presentation::mix::blocks(&found, true))?;
    let options = PourOptions::default();
    let found = Pours::compute(design, &options).map_err(refused("pour"))?;
    sound("pour", &found, &found.notes, &presentation::pour::blocks(&found))
}

fn sized(design: &Design) -> Held {
    let stock = Stock::built_in();
    let effort = Effort { most: 50, restarts: 1, seed: 1 };
    let watch = Watch { progress: &|_, _| (), stop: &|| false };
    for build in design.builds.iter().filter(|build| !build.drawing.vary.is_empty()) {
        let options = Sized { effort, ..Sized::default() };
        let (found, _) = match Sizing::compute(design, build, &stock, &options, &watch) {
            // Targets that contradict the design are told before any search.
            Err(problems) if problems[0].place.key.starts_with("targets.") => continue,
            other => other.map_err(refused("size"))?,
        };
        sound("size", &found, &found.notes, &presentation::size::blocks(&found))?;
    }
    Ok(())
}
