//! Modes as blocks: a table per build, and which parts carry the energy of each mode.

use super::super::block::{Bar, Bars, Block};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use super::missed::missed;
use super::spread::{drawn, holds_at};
use serde::Serialize;
use stillbed_input::quantity::{Kind, Spread, figures, show};
use stillbed_modes::{BuildModes, ModeAnswer, Reason, Share};
use stillbed_study::in_bodies::{BodyEnergy, Region};
use stillbed_study::modes::{ModeSpread, Modes, ModesSpread, ModesWithSpread};
use stillbed_study::spread::AnswerSpread;

/// An error of beam theory from which solids are worth their time, relative.
const MUCH: f64 = 0.1;

const HZ: Unit = Unit::new("Hz", 1.0);
const MS: Unit = Unit::new("ms", 1e-3);

/// One mode of one build, for CSV.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    number: usize,
    #[serde(flatten)]
    mode: &'a ModeAnswer,
    spread: Option<&'a ModeSpread>,
}

/// One mode with its number, for text and page.
#[derive(Serialize)]
struct Numbered<'a> {
    number: usize,
    #[serde(flatten)]
    mode: &'a ModeAnswer,
}

fn rows(answer: &Modes) -> Vec<Row<'_>> {
    let mut rows = Vec::new();
    for build in &answer.builds {
        let spread = |i: usize| build.spread.as_ref().and_then(|spread| spread.modes.get(i));
        let numbered = build.modes.modes.iter().enumerate();
        let build = &build.modes.name;
        rows.extend(numbered.map(|(i, mode)| Row { build, number: i + 1, mode, spread: spread(i) }));
    }
    rows
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    let none = Unit::NONE;
    let mut columns = vec![
        Column::text("build", "build", |row: &Row| row.build.to_string()),
        Column::number("mode", none, "number", |row: &Row| Some(row.number as f64)),
        Column::number("frequency", none, "frequency_hz", |row: &Row| Some(row.mode.frequency_hz)),
        Column::number("error", none, "frequency_error", |row: &Row| Some(row.mode.frequency_error)),
        Column::number("loss factor", none, "loss_factor", |row: &Row| Some(row.mode.loss_factor)),
        Column::number("loss factor, exact", none, "loss_factor_exact", |row: &Row| {
            Some(row.mode.loss_factor_exact)
        }),
        Column::number("half", none, "half_time_s", |row: &Row| row.mode.half_time_s),
        Column::number("to 10 %", none, "time_to_10pct_s", |row: &Row| row.mode.time_to_10pct_s),
        Column::number("to 1 %", none, "time_to_1pct_s", |row: &Row| row.mode.time_to_1pct_s),
        Column::number("cycles to half", none, "cycles_to_half", |row: &Row| row.mode.cycles_to_half),
        Column::text("on its feet", "on_feet", |row: &Row| {
            if row.mode.on_feet { "yes" } else { "no" }.to_string()
        }),
        Column::number("theory error", none, "theory_error", |row: &Row| row.mode.theory_error),
        Column::number("followed", none, "followed", |row: &Row| row.spread.map(|s| s.followed))
            .path("spread.followed"),
    ];
    type Read = fn(&ModeSpread) -> &Option<AnswerSpread>;
    let drawn: [(&str, Read); 3] = [
        ("frequency_hz", |spread| &spread.frequency_hz),
        ("loss_factor_exact", |spread| &spread.loss_factor_exact),
        ("time_to_10pct_s", |spread| &spread.time_to_10pct_s),
    ];
    type Point = fn(&Spread) -> Option<f64>;
    let points: [(&str, &str, Point); 3] = [
        ("5 %", "low", |spread| Some(spread.low)),
        ("50 %", "median", |spread| spread.median),
        ("95 %", "high", |spread| Some(spread.high)),
    ];
    for (key, read) in drawn {
        for (title, point, of) in points {
            let value = move |row: &Row| of(&read(row.spread?).as_ref()?.spread);
            let column = Column::number(title, none, &format!("{key}_{point}"), value);
            columns.push(column.path(&format!("spread.{key}.{point}")));
        }
    }
    columns
}

fn drawn_columns<'a>() -> Vec<Column<(usize, &'a ModeSpread)>> {
    vec![
        Column::number("mode", Unit::NONE, "number", |row: &(usize, &ModeSpread)| Some(row.0 as f64)),
        Column::spread("frequency", HZ, "frequency_hz", |row: &(usize, &ModeSpread)| {
            drawn(row.1.frequency_hz.as_ref()?)
        })
        .digits(4),
        Column::spread("loss", Unit::NONE, "loss_factor_exact", |row: &(usize, &ModeSpread)| {
            drawn(row.1.loss_factor_exact.as_ref()?)
        }),
        Column::spread("to 10 %", MS, "time_to_10pct_s", |row: &(usize, &ModeSpread)| {
            drawn(row.1.time_to_10pct_s.as_ref()?)
        }),
    ]
}

/// The columns for text and page; if some modes are `on_feet`, with a column that says what moves.
fn reading_columns<'a>(on_feet: bool) -> Vec<Column<Numbered<'a>>> {
    let mut columns = vec![
        Column::number("mode", Unit::NONE, "number", |row: &Numbered| Some(row.number as f64)),
        Column::number("frequency", HZ, "frequency_hz", |row: &Numbered| Some(row.mode.frequency_hz))
            .digits(4),
        Column::number("loss", Unit::NONE, "loss_factor_exact", |row: &Numbered| {
            Some(row.mode.loss_factor_exact)
        }),
        Column::number("half", MS, "half_time_s", |row: &Numbered| row.mode.half_time_s),
        Column::number("to 10 %", MS, "time_to_10pct_s", |row: &Numbered| row.mode.time_to_10pct_s),
        Column::text("energy sits in", "energy_share", |row: &Numbered| most(&row.mode.energy_share, 2)),
    ];
    if on_feet {
        let what = |row: &Numbered| if row.mode.on_feet { "on its feet" } else { "structure" }.to_string();
        columns.insert(1, Column::text("what moves", "on_feet", what));
    }
    columns
}

/// The largest shares in words: `levelling 62 %, column 20 %`.
pub(super) fn most(shares: &[Share], count: usize) -> String {
    let said: Vec<String> = shares
        .iter()
        .filter(|share| share.share >= 0.005)
        .take(count)
        .map(|share| format!("{} {} %", share.of.replace('_', " "), figures(100.0 * share.share, 2)))
        .collect();
    said.join(", ")
}

/// One row per mode, in SI.
pub fn table(answer: &Modes) -> Table {
    Table::new("modes", &columns(), &rows(answer))
}

/// A table per build, then the energy shares of its first modes.
pub fn blocks(answer: &Modes) -> Vec<Block> {
    let mut blocks = Vec::new();
    blocks.extend(holds_at(answer.amplitude_m));
    for build in &answer.builds {
        let ModesWithSpread { modes: own, spread, .. } = build;
        blocks.push(Block::Heading(own.name.replace('_', " ")));
        blocks.push(Block::Note(summary(build)));
        let rows: Vec<Numbered> =
            own.modes.iter().enumerate().map(|(i, mode)| Numbered { number: i + 1, mode }).collect();
        let on_feet = own.modes.iter().any(|mode| mode.on_feet);
        blocks.push(Block::Table(Table::new("Modes", &reading_columns(on_feet), &rows)));
        blocks.extend(spread.iter().flat_map(|spread| of_draws(spread, answer.draws)));
        blocks.extend(in_bodies(build).map(Block::Table));
        let first = own.first_of_structure().or(own.modes.first()).zip(own.first_structure_mode.or(Some(1)));
        blocks.extend(first.map(|(mode, number)| Block::Bars(shares(mode, number))));
    }
    blocks.extend(missed(&answer.misses));
    blocks.extend(super::seats::blocks(&answer.joints));
    blocks.extend(super::guesses::taken(&answer.guesses).map(Block::Table));
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// What is said of the modes of a build beside its drawing.
pub(super) fn said(build: &ModesWithSpread) -> Vec<Block> {
    let drawn = build.spread.iter().filter_map(notes_of_draws);
    let notes = std::iter::once(summary(build)).chain(drawn).map(Block::Note);
    notes.chain(in_bodies(build).map(Block::Table)).collect()
}

/// Where in the bodies of a build the energy of its modes sits; `None` without bodies.
fn in_bodies(build: &ModesWithSpread) -> Option<Table> {
    let rows: Vec<BodyEnergy> =
        build.energy_in_bodies.iter().filter(|row| row.share >= TOLD).cloned().collect();
    if rows.is_empty() {
        return None;
    }
    let columns = in_bodies_columns(rows.iter().any(|row| row.parts.len() > 1));
    Some(Table::new("Where in its bodies the energy sits", &columns, &rows))
}

/// Share of the energy of a motion from which a body has a row.
const TOLD: f64 = 0.05;

/// The columns for rows of which some bodies have `several` parts.
fn in_bodies_columns(several: bool) -> Vec<Column<BodyEnergy>> {
    let share = |share: f64| format!("{} %", figures(100.0 * share, 2));
    let regions = move |row: &BodyEnergy| {
        let told = row.regions.iter().take(2).map(|region| {
            let Region { x, y, z, share: own, .. } = region;
            format!("x {x}, y {y}, z {z} {}", share(*own))
        });
        told.collect::<Vec<String>>().join("; ")
    };
    let parts = move |row: &BodyEnergy| {
        let told = row.parts.iter().filter(|part| part.share >= 0.005).take(2);
        let told = told.map(|part| format!("{} of {} {}", part.part, part.of, share(part.share)));
        told.collect::<Vec<String>>().join(", ")
    };
    let mut columns = vec![
        Column::text("motion", "mode", |row: &BodyEnergy| match row.mode {
            Some(mode) => format!("mode {mode}"),
            None => "static give".to_string(),
        }),
        Column::text("body", "of", |row: &BodyEnergy| row.of.replace('_', " ")),
        Column::number("of all", Unit::PERCENT, "share", |row: &BodyEnergy| Some(row.share)).digits(2),
        Column::text("thirds of it with most", "regions", regions),
        Column::number("in densest tenth", Unit::PERCENT, "in_densest_tenth", |row: &BodyEnergy| {
            Some(row.in_densest_tenth)
        })
        .digits(2),
    ];
    if several {
        columns.push(Column::text("parts with most", "parts", parts));
    }
    columns
}

/// Frequency, loss and decay of the modes, a table each: a row a mode, a column a build, from draws where there are
/// any.
pub(super) fn side_by_side(answer: &Modes) -> Vec<Table> {
    type Read = fn(&ModeAnswer) -> Option<f64>;
    type Drawn = fn(&ModeSpread) -> &Option<AnswerSpread>;
    let figures: [(&str, Unit, Read, Drawn); 3] = [
        ("Frequency of the modes", HZ, |mode| Some(mode.frequency_hz), |drawn| &drawn.frequency_hz),
        (
            "Loss factor of the modes",
            Unit::NONE,
            |mode| Some(mode.loss_factor_exact),
            |drawn| &drawn.loss_factor_exact,
        ),
        ("Decay of the modes to 10 %", MS, |mode| mode.time_to_10pct_s, |drawn| &drawn.time_to_10pct_s),
    ];
    let count = answer.builds.iter().map(|build| build.modes.modes.len()).max().unwrap_or(0);
    let rows: Vec<usize> = (0..count).collect();
    let table = |(title, unit, read, read_drawn): (&str, Unit, Read, Drawn)| {
        let number = Column::number("mode", Unit::NONE, "number", |row: &usize| Some(*row as f64 + 1.0));
        let build = |build: &ModesWithSpread| {
            let own = build.clone();
            let value = move |row: &usize| {
                let spread = own.spread.as_ref().and_then(|spread| spread.modes.get(*row));
                let spread = spread.and_then(|mode| drawn(read_drawn(mode).as_ref()?));
                spread.or_else(|| own.modes.modes.get(*row).and_then(read).map(Spread::exact))
            };
            Column::spread(&build.modes.name.replace('_', " "), unit, &build.modes.name, value)
        };
        let columns: Vec<_> = std::iter::once(number).chain(answer.builds.iter().map(build)).collect();
        let title = match answer.draws {
            0 => title.to_string(),
            draws => format!("{title}, 50 % (5 %–95 %) of {draws} draws"),
        };
        Table::new(&title, &columns, &rows)
    };
    figures.into_iter().map(table).collect()
}

/// Energy shares of the mode numbered `number`, by kind and member.
fn shares(mode: &ModeAnswer, number: usize) -> Bars {
    let bar = |share: &Share| Bar::new(&share.of.replace('_', " "), Some(Spread::exact(share.share)));
    Bars {
        title: format!("Energy of mode {number}, {}", show(mode.frequency_hz, Kind::Frequency)),
        unit: Unit::PERCENT,
        key: "share".to_string(),
        bars: mode.energy_by_kind.iter().chain(mode.energy_share.iter().take(6)).map(bar).collect(),
    }
}

/// The limits of the modes over the draws, and which measurement would narrow them.
fn of_draws(spread: &ModesSpread, draws: usize) -> Vec<Block> {
    let rows: Vec<(usize, &ModeSpread)> =
        spread.modes.iter().enumerate().map(|(i, mode)| (i + 1, mode)).collect();
    let title = format!("Modes, 50 % (5 %–95 %) of {draws} draws");
    let mut blocks = vec![Block::Table(Table::new(&title, &drawn_columns(), &rows))];
    blocks.extend(notes_of_draws(spread).map(Block::Note));
    blocks
}

/// Mass and stiffness over the draws, modes that were lost, and which measurement would narrow them.
fn notes_of_draws(spread: &ModesSpread) -> Option<String> {
    let mut summary = Vec::new();
    for (what, kind, answer) in
        [("Mass", Kind::Mass, &spread.mass_kg), ("Stiffness", Kind::Stiffness, &spread.stiffness_n_per_m)]
    {
        if let Some(Spread { low, high, median: Some(median), .. }) = answer.as_ref().map(|a| a.spread)
            && low < high
        {
            summary.push(format!(
                "{what}: {} ({} to {}).",
                show(median, kind),
                show(low, kind),
                show(high, kind)
            ));
        }
    }
    for (i, mode) in spread.modes.iter().enumerate().filter(|(_, mode)| mode.followed < 0.995) {
        let share = figures(100.0 * mode.followed, 2);
        summary.push(format!("Mode {} was known again by its shape in {share} % of the draws.", i + 1));
    }
    summary.extend(spread.advice.clone());
    (!summary.is_empty()).then(|| summary.join(" "))
}

/// The estimated error of beam theory in the modes of a build: first and worst mode, and the cause.
fn beam_theory(build: &BuildModes) -> String {
    let judged =
        |mode: &ModeAnswer| mode.theory_error.map(|error| (error, mode.theory_reasons.first().cloned()));
    let worst = build.modes.iter().enumerate().filter_map(|(i, mode)| Some((i, judged(mode)?)));
    let worst = worst.max_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let Some(first) = build.modes.first().and_then(judged) else { return ".".to_string() };
    let mut summary = format!("; beam theory may miss {} of mode 1", percent(first.0));
    if let Some(reason) = &first.1 {
        summary.push_str(&format!(" ({})", why(reason)));
    }
    if let Some((i, (error, reason))) = worst.filter(|(i, _)| *i > 0) {
        summary.push_str(&format!(", {} of mode {}", percent(error), i + 1));
        if let Some(reason) = reason {
            summary.push_str(&format!(" ({})", why(&reason)));
        }
    }
    summary + "." + solids_instead(first.0)
}

/// The way to a narrower answer where beam theory may miss as much as `error`, relative.
pub(super) fn solids_instead(error: f64) -> &'static str {
    if error > MUCH { " With --as-bodies the same file is answered by solids." } else { "" }
}

/// A relative error in words.
pub(super) fn percent(error: f64) -> String {
    format!("{} %", figures(100.0 * error, 2))
}

/// A cause of an error of beam theory, and the member it concerns.
pub(super) fn why(reason: &Reason) -> String {
    format!("{}: {}", reason.of.replace('_', " "), reason.why)
}

fn summary(rings: &ModesWithSpread) -> String {
    let build = &rings.modes;
    let mut summary = format!(
        "{} in all. {} freedoms; {} modes below {} by the count of the spectrum, all found.",
        show(build.mass_kg, Kind::Mass),
        build.freedoms,
        build.counted_modes,
        show(build.counted_below_hz, Kind::Frequency)
    );
    let worst = build.modes.iter().map(|mode| mode.frequency_error).fold(0.0, f64::max);
    summary.push_str(&format!(" Frequencies hold to {} % by the division", figures(100.0 * worst, 1)));
    summary.push_str(&beam_theory(build));
    let on_feet: Vec<f64> = build.modes.iter().filter(|mode| mode.on_feet).map(|m| m.frequency_hz).collect();
    if let (Some(low), Some(high)) = (on_feet.first(), on_feet.last()) {
        let (count, low, high) = (on_feet.len(), show(*low, Kind::Frequency), show(*high, Kind::Frequency));
        summary.push_str(&match count {
            1 => format!(" One mode, at {low}, is the base as one piece on its feet"),
            _ => format!(" {count} modes, at {low} to {high}, are the base as one piece on its feet"),
        });
        summary.push_str(&match (build.first_of_structure(), build.first_structure_mode) {
            (Some(mode), Some(number)) => {
                let frequency = show(mode.frequency_hz, Kind::Frequency);
                format!("; the structure first rings at {frequency}, mode {number}.")
            }
            _ => ".".to_string(),
        });
    }
    if let Some(k) = &rings.stiffness_n_per_m {
        let weakest = show(k.weakest.value, Kind::Stiffness);
        let cells = rings.stiffness_error.map(|error| format!(", to {} by the cells", percent(error)));
        summary.push_str(&format!(
            " Tip against work: {weakest} in the weakest direction{}.",
            cells.unwrap_or_default()
        ));
    }
    if build.rigid_body_modes > 0 {
        summary.push_str(&format!(
            " {} rigid-body modes: it {}.",
            build.rigid_body_modes,
            build.rigid_body_motions.join(", ")
        ));
    }
    summary
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::{Design, STARTER};
    use stillbed_study::spread::Draws;

    #[test]
    fn columns_agree_with_json() {
        let table = stillbed_material::Table::built_in();
        let design = Design::read("starter.toml", STARTER, &table).design.unwrap();
        let answer = Modes::compute(&design, 4, &Draws { count: 8, seed: 1 }, |_, _| ()).unwrap();
        assert_eq!(disagreements(&columns(), &rows(&answer)), Vec::<String>::new());
        assert_eq!(super::table(&answer).len(), 8);
    }
}
