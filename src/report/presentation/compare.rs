//! A comparison as blocks: the verdict, the table, bars of settle time and stiffness.

use super::super::block::{Bar, Bars, Block, ScoreRow, Scores};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use super::modes::{percent, solids_instead, why};
use stillbed_design::{Measure, Target};
use stillbed_input::quantity::{Kind, show};
use stillbed_modes::{Share, TheoryError};
use stillbed_study::compare::{Beats, BuildComparison, Comparison};
use stillbed_study::misses::Miss;
use stillbed_study::spread::rank::Influence;

const N_PER_UM: Unit = Unit::new("N/µm", 1e6);
const HZ: Unit = Unit::new("Hz", 1.0);
const KG: Unit = Unit::new("kg", 1.0);
const UM: Unit = Unit::new("µm", 1e-6);

/// The columns of one build, for terminal, CSV and page.
fn columns(time: Unit) -> Vec<Column<BuildComparison>> {
    vec![
        Column::text("build", "label", |b: &BuildComparison| b.label.clone()),
        Column::number("mass", KG, "mass_kg", |b: &BuildComparison| Some(b.mass_kg)),
        Column::number("cost", Unit::NONE, "cost", |b: &BuildComparison| b.cost),
        Column::number("sections scaled", Unit::NONE, "scale", |b: &BuildComparison| Some(b.scale)),
        Column::spread("stiffness x", N_PER_UM, "stiffness_n_per_m.x", |b: &BuildComparison| {
            b.stiffness_n_per_m.as_ref().and_then(|k| k.x)
        }),
        Column::spread("stiffness y", N_PER_UM, "stiffness_n_per_m.y", |b: &BuildComparison| {
            b.stiffness_n_per_m.as_ref().and_then(|k| k.y)
        }),
        Column::spread("stiffness z", N_PER_UM, "stiffness_n_per_m.z", |b: &BuildComparison| {
            b.stiffness_n_per_m.as_ref().and_then(|k| k.z)
        }),
        Column::spread("weakest", N_PER_UM, "stiffness_n_per_m", |b: &BuildComparison| {
            b.stiffness_n_per_m.as_ref().map(|k| k.weakest)
        }),
        Column::number("without feet", N_PER_UM, "structure_stiffness_n_per_m", |b: &BuildComparison| {
            b.structure_stiffness_n_per_m
        }),
        Column::spread("dynamic", N_PER_UM, "dynamic_stiffness_n_per_m", |b: &BuildComparison| {
            b.dynamic_stiffness_n_per_m
        }),
        Column::spread("first frequency", HZ, "first_frequency_hz", |b: &BuildComparison| {
            b.first_frequency_hz
        }),
        Column::spread("on its feet", HZ, "on_feet_hz", |b: &BuildComparison| b.on_feet_hz),
        Column::number("up to", HZ, "on_feet_up_to_hz", |b: &BuildComparison| b.on_feet_up_to_hz),
        Column::spread("loss factor", Unit::NONE, "loss_factor", |b: &BuildComparison| b.loss_factor),
        Column::spread("settle time", time, "settle_time_s", |b: &BuildComparison| b.settle_time_s),
        Column::spread("drift", Unit::new("µm/K", 1e-6), "drift_m_per_k", |b: &BuildComparison| {
            b.drift_m_per_k
        }),
        Column::number("division error", Unit::PERCENT, "frequency_error", |b: &BuildComparison| {
            b.frequency_error
        }),
        Column::number("division, stiffness", Unit::PERCENT, "stiffness_error", |b: &BuildComparison| {
            b.stiffness_error
        }),
        Column::number(
            "theory, frequency",
            Unit::PERCENT,
            "frequency_theory_error",
            |b: &BuildComparison| b.theory_error.frequency.as_ref().map(|error| error.error),
        )
        .path("theory_error.frequency.error"),
        Column::number(
            "theory, stiffness",
            Unit::PERCENT,
            "stiffness_theory_error",
            |b: &BuildComparison| b.theory_error.stiffness.as_ref().map(|error| error.error),
        )
        .path("theory_error.stiffness.error"),
        Column::number("bow when warm", UM, "bow_m", |b: &BuildComparison| b.bow_m),
        Column::number("sag at the tip", UM, "sag_m", |b: &BuildComparison| b.sag_m),
        Column::number("sinks on its feet", UM, "sinks_m", |b: &BuildComparison| b.sinks_m),
    ]
}

/// The columns that have a value in at least one of `builds`.
pub(crate) fn filled(builds: &[BuildComparison], at_equal: bool) -> Vec<Column<BuildComparison>> {
    let largest = builds.iter().filter_map(|b| b.settle_time_s).map(|s| s.value).fold(0.0, f64::max);
    let time = Unit::of(Kind::Time, largest);
    let mut columns = columns(time);
    let says = |measure: Measure| builds.iter().any(|b| b.get(measure).is_some());
    columns.retain(|column| match column.key() {
        "cost" => says(Measure::Cost),
        "scale" => at_equal,
        key if key.starts_with("stiffness") || key.starts_with("dynamic") => says(Measure::Stiffness),
        "settle_time_s" => says(Measure::SettleTime),
        "drift_m_per_k" => builds.iter().any(|b| b.drift_m_per_k.is_some()),
        "bow_m" => builds.iter().any(|b| b.bow_m.is_some()),
        "sag_m" => builds.iter().any(|b| b.sag_m.is_some()),
        "sinks_m" => builds.iter().any(|b| b.sinks_m.is_some()),
        "structure_stiffness_n_per_m" => builds.iter().any(|b| b.structure_stiffness_n_per_m.is_some()),
        "on_feet_hz" | "on_feet_up_to_hz" => builds.iter().any(|b| b.on_feet_hz.is_some()),
        _ => true,
    });
    columns
}

/// One row per build in SI, with every column.
pub fn table(answer: &Comparison) -> Table {
    let mut columns = columns(Unit::NONE);
    columns.insert(0, Column::text("name", "name", |b: &BuildComparison| b.name.clone()));
    Table::new("compare", &columns, &answer.builds)
}

/// The verdict, the table, then bars of settle time and stiffness.
pub fn blocks(answer: &Comparison) -> Vec<Block> {
    let mut blocks: Vec<Block> = answer.verdict.paragraphs.iter().cloned().map(Block::Note).collect();
    blocks.extend(compared(answer));
    blocks.extend(further(answer));
    blocks.extend(next(answer));
    if !answer.misses.list.is_empty() {
        blocks.push(Block::Table(missed(answer)));
    }
    blocks.extend(super::seats::blocks(&answer.joints));
    blocks.extend(guessed(answer));
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The table of the builds, and what its figures hold to.
pub(super) fn compared(answer: &Comparison) -> Vec<Block> {
    let mut blocks: Vec<Block> = super::spread::holds_at(answer.amplitude_m).into_iter().collect();
    let title = match (answer.at_equal, answer.draws) {
        (Some(what), _) => format!("Builds at equal {what}"),
        (None, 0) => "Builds, at stated values".to_string(),
        (None, n) => format!("Builds, with 5 % and 95 % limits of {n} draws"),
    };
    let columns = filled(&answer.builds, answer.at_equal.is_some());
    blocks.push(Block::Table(Table::new(&title, &columns, &answer.builds).side_by_side()));
    blocks.push(Block::Note(beam_theory(answer)));
    blocks.extend(on_feet(answer).map(Block::Note));
    blocks
}

/// Bars of the main measures, what gives way, and how often the best build is ahead.
pub(super) fn further(answer: &Comparison) -> Vec<Block> {
    let mut blocks: Vec<Block> = bars(answer).into_iter().map(Block::Bars).collect();
    if answer.builds.iter().any(|b| !b.gives_way.is_empty()) {
        blocks.push(Block::Table(gives_way(answer)));
    }
    blocks.extend(chances(answer).map(Block::Table));
    blocks
}

/// Where the spread comes from, and the measurement that would narrow it most.
pub(super) fn next(answer: &Comparison) -> Vec<Block> {
    let origins = origins(answer).map(Block::Table);
    origins.into_iter().chain(answer.advice.clone().map(Block::Note)).collect()
}

/// The builds against the targets; against each other where there are none.
pub fn scores(answer: &Comparison, targets: &[Target]) -> Scores {
    let row = |measure: Measure, target: Option<&Target>| {
        let values: Vec<_> = answer.builds.iter().map(|build| build.get(measure)).collect();
        let largest = values.iter().flatten().map(|v| v.value).filter(|v| v.is_finite()).fold(0.0, f64::max);
        let (kind, [at_least, at_most]) =
            (measure.kind(), target.map_or([None; 2], |t| [t.at_least, t.at_most]));
        let asked = [("at least", at_least), ("at most", at_most)].into_iter();
        let asked: Vec<String> =
            asked.filter_map(|(word, limit)| Some(format!("{word} {}", show(limit?, kind)))).collect();
        let unit = if kind == Kind::Ratio { Unit::NONE } else { Unit::of(kind, largest) };
        let missing = if measure == Measure::SettleTime { "never" } else { "none" }.to_string();
        let open = |build: &BuildComparison| {
            let judged = target.and(answer.verdict.judged(&build.name));
            judged.is_some_and(|judged| judged.left_open.contains(&measure.key()))
        };
        let row = ScoreRow {
            title: measure.title().to_string(),
            unit,
            asked: asked.join(", "),
            at_least,
            at_most,
            values,
            left_open: answer.builds.iter().map(open).collect(),
            missing,
        };
        (largest > 0.0).then_some(row)
    };
    let asked = targets.iter().filter_map(|target| row(target.measure, Some(target)));
    let mut rows: Vec<ScoreRow> = asked.collect();
    if rows.is_empty() {
        rows = Measure::ALL.into_iter().filter_map(|measure| row(measure, None)).collect();
    }
    let title = if targets.is_empty() { "Builds side by side" } else { "Builds against targets" };
    let builds = answer.builds.iter().map(|build| build.label.clone()).collect();
    Scores { title: title.to_string(), builds, rows }
}

/// The inputs stated without a spread that were given the usual one.
pub fn guessed(answer: &Comparison) -> Option<Block> {
    super::guesses::taken(&answer.guesses).map(Block::Table)
}

/// The estimated error of beam theory in each build.
fn beam_theory(answer: &Comparison) -> String {
    let of = |error: &Option<TheoryError>, what: &str| {
        let error = error.as_ref()?;
        let reason = error.reasons.first().map_or(String::new(), |reason| format!(" ({})", why(reason)));
        Some(format!("{} of the {what}{reason}", percent(error.error)))
    };
    let one = |build: &BuildComparison| {
        let own = &build.theory_error;
        let parts = [of(&own.stiffness, "stiffness"), of(&own.frequency, "first frequency")];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| format!("{} {}", build.label, parts.join(", ")))
    };
    let worst =
        |of: fn(&BuildComparison) -> Option<f64>| answer.builds.iter().filter_map(of).reduce(f64::max);
    let missed: Vec<String> = answer.builds.iter().filter_map(one).collect();
    let mut division = format!(
        "Errors of the method: {} by the division",
        percent(worst(|build| build.frequency_error).unwrap_or(0.0))
    );
    if let Some(cells) = worst(|build| build.stiffness_error) {
        division.push_str(&format!(", {} of the static stiffness by the cells of bodies", percent(cells)));
    }
    let errors = |build: &BuildComparison| {
        let own = &build.theory_error;
        [&own.stiffness, &own.frequency].into_iter().flatten().map(|own| own.error).reduce(f64::max)
    };
    match missed.is_empty() {
        true => format!("{division}."),
        false => {
            let instead = solids_instead(worst(errors).unwrap_or(0.0));
            format!("{division}; beam theory may miss, {}.{instead}", missed.join("; "))
        }
    }
}

/// How each build moves as a rigid body on its feet, which first frequency and sag leave out, and whether
/// the stiffness contains the feet.
fn on_feet(answer: &Comparison) -> Option<String> {
    let mut summary: Vec<String> = Vec::new();
    for build in &answer.builds {
        if let (Some(low), Some(high)) = (build.on_feet_hz, build.on_feet_up_to_hz) {
            let (low, high) = (show(low.value, Kind::Frequency), show(high, Kind::Frequency));
            let at = if low == high { low } else { format!("{low} to {high}") };
            let sinks = build.sinks_m.map_or(String::new(), |sinks| {
                format!(", and it sinks {} on them", show(sinks, Kind::Length))
            });
            summary.push(format!("{} moves as one piece on its feet at {at}{sinks}.", build.label));
        }
    }
    if !summary.is_empty() {
        summary.push("First frequency and sag are those of the structure.".to_string());
    }
    if answer.builds.iter().any(|build| build.structure_stiffness_n_per_m.is_some()) {
        summary.push("The work is on the ground, so that the stiffness contains the feet.".to_string());
    }
    (!summary.is_empty()).then(|| summary.join(" "))
}

/// Bars of the most important measures.
pub fn bars(answer: &Comparison) -> Vec<Bars> {
    let of = |measure: Measure, title: &str, key: &str| -> Option<Bars> {
        let values: Vec<_> = answer.builds.iter().map(|b| (b, b.get(measure))).collect();
        let largest = values.iter().filter_map(|(_, v)| v.map(|v| v.value)).fold(0.0, f64::max);
        (largest > 0.0).then(|| Bars {
            title: title.to_string(),
            unit: Unit::of(measure.kind(), largest),
            key: key.to_string(),
            bars: values.iter().map(|(b, value)| Bar::new(&b.label, *value)).collect(),
        })
    };
    [
        of(Measure::SettleTime, "Settle time after the tap: shorter is better", "settle_time_s"),
        of(Measure::Stiffness, "Static stiffness, weakest direction: longer is better", "stiffness_n_per_m"),
        of(
            Measure::DynamicStiffness,
            "Stiffness at the worst peak: longer is better",
            "dynamic_stiffness_n_per_m",
        ),
        of(Measure::FirstFrequency, "First frequency", "first_frequency_hz"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Shares of skeleton, fill, joints, walls and feet in the compliance between tip and work, build by build.
fn gives_way(answer: &Comparison) -> Table {
    let share = |of: &'static str| {
        move |b: &BuildComparison| b.gives_way.iter().find(|s: &&Share| s.of == of).map(|s| s.share)
    };
    let mut columns = vec![
        Column::text("build", "label", |b: &BuildComparison| b.label.clone()),
        Column::number("skeleton", Unit::PERCENT, "skeleton", share("skeleton")),
        Column::number("fill", Unit::PERCENT, "fill", share("fill")),
        Column::number("joints", Unit::PERCENT, "joints", share("joints")),
        Column::number("feet", Unit::PERCENT, "feet", share("feet")),
        Column::text("most of all", "most", |b: &BuildComparison| super::modes::most(&b.gives_way_most, 1)),
    ];
    if answer.builds.iter().any(|b| share("walls")(b).is_some()) {
        columns.insert(4, Column::number("walls", Unit::PERCENT, "walls", share("walls")));
    }
    Table::new("What gives way between tip and work, weakest direction", &columns, &answer.builds)
}

/// The share of draws in which the best build is ahead of each other build, by measure.
fn chances(answer: &Comparison) -> Option<Table> {
    let best = answer.best()?;
    let others: Vec<&BuildComparison> =
        answer.builds.iter().filter(|build| build.name != best.name).collect();
    let chance = |other: &str, measure: Measure| {
        let met = |b: &&Beats| b.build == best.name && b.over == other && b.by == measure.key();
        answer.beats.iter().find(met).map(|beats| beats.chance)
    };
    let measures = [
        Measure::SettleTime,
        Measure::DynamicStiffness,
        Measure::Stiffness,
        Measure::FirstFrequency,
        Measure::LossFactor,
    ];
    let mut columns =
        vec![Column::text("ahead of", "over", |row: &(String, Vec<Option<f64>>)| row.0.clone())];
    let mut rows: Vec<(String, Vec<Option<f64>>)> =
        others.iter().map(|other| (other.label.clone(), Vec::new())).collect();
    for measure in measures {
        let known: Vec<Option<f64>> = others.iter().map(|other| chance(&other.name, measure)).collect();
        if known.iter().any(Option::is_some) {
            let place = rows.first().map_or(0, |row| row.1.len());
            rows.iter_mut().zip(known).for_each(|(row, chance)| row.1.push(chance));
            let read = move |row: &(String, Vec<Option<f64>>)| row.1.get(place).copied().flatten();
            columns.push(Column::number(measure.title(), Unit::PERCENT, measure.key(), read));
        }
    }
    let title = format!("{}: in how many of the draws it is ahead", best.label);
    (columns.len() > 1 && !rows.is_empty()).then(|| Table::new(&title, &columns, &rows))
}

/// The inputs that cause most of the spread of the deciding measure, two per build.
fn origins(answer: &Comparison) -> Option<Table> {
    let measure = answer.deciding();
    let mut rows: Vec<(&str, &Influence)> = Vec::new();
    for build in &answer.builds {
        let origin = build.comes_from.iter().find(|origin| origin.of == measure.key());
        rows.extend(origin.iter().flat_map(|o| o.inputs.iter().take(2)).map(|i| (build.label.as_str(), i)));
    }
    let columns = [
        Column::text("build", "build", |row: &(&str, &Influence)| row.0.to_string()),
        Column::text("input", "key", |row: &(&str, &Influence)| row.1.key.clone()),
        Column::number("rank correlation", Unit::NONE, "rank_correlation", |row: &(&str, &Influence)| {
            Some(row.1.rank_correlation)
        })
        .digits(2),
    ];
    let title = format!("What the spread of the {} comes from", measure.title());
    (!rows.is_empty()).then(|| Table::new(&title, &columns, &rows))
}

/// The missed targets, by build.
fn missed(answer: &Comparison) -> Table {
    let labels: Vec<(String, String)> =
        answer.builds.iter().map(|b| (b.name.clone(), b.label.clone())).collect();
    let columns = [
        Column::text("targets missed by", "build", move |miss: &Miss| {
            labels.iter().find(|(name, _)| *name == miss.build).map_or(miss.build.clone(), |l| l.1.clone())
        }),
        Column::text("measure", "measure", |miss: &Miss| {
            miss.known().map_or(miss.measure, Measure::title).to_string()
        }),
        Column::text("found", "value", |miss: &Miss| miss.told().0),
        Column::text("asked", "limit", |miss: &Miss| miss.told().1),
    ];
    Table::new("", &columns, &answer.misses.list)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::{Design, STARTER};
    use stillbed_study::compare::Options;

    #[test]
    fn columns_agree_with_json() {
        let table = stillbed_material::Table::built_in();
        let design = Design::read("starter.toml", STARTER, &table).design.unwrap();
        let options = Options { draws: 6, ..Options::default() };
        let answer = Comparison::compute(&design, &options, |_, _| ()).unwrap();
        assert_eq!(disagreements(&columns(Unit::NONE), &answer.builds), Vec::<String>::new());
    }
}
