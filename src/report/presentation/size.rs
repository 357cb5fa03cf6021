//! A sizing as blocks: the result, its values beside the targets, the front of best trades as table and
//! curve, and the sensitivity to each varied size.

use super::super::block::{Axis, Block, Curve, Mark, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use stillbed_design::Measure;
use stillbed_input::quantity::{Kind, figures, show, show_apart};
use stillbed_study::size::{Entry, Inverse, LimitResult, Sensitivity, Sizing};

const N_PER_UM: Unit = Unit::new("N/µm", 1e6);
const HZ: Unit = Unit::new("Hz", 1.0);
const KG: Unit = Unit::new("kg", 1.0);
const MM: Unit = Unit::new("mm", 1e-3);

/// Most rows of the front shown in text and page; CSV and JSON have all.
const SHOWN: usize = 12;

fn columns(time: Unit) -> Vec<Column<Entry>> {
    let none = Unit::NONE;
    vec![
        Column::number("mass", KG, "mass_kg", |e: &Entry| Some(e.mass_kg)),
        Column::number("cost", none, "cost", |e: &Entry| e.cost),
        Column::number("stiffness", N_PER_UM, "stiffness_n_per_m", |e: &Entry| e.stiffness_n_per_m),
        Column::number("first frequency", HZ, "first_frequency_hz", |e: &Entry| e.first_frequency_hz),
        Column::number("settle time", time, "settle_time_s", |e: &Entry| e.settle_time_s),
        Column::number("dynamic", N_PER_UM, "dynamic_stiffness_n_per_m", |e: &Entry| {
            e.dynamic_stiffness_n_per_m
        }),
        Column::number("loss factor", none, "loss_factor", |e: &Entry| e.loss_factor),
    ]
}

/// One column per varied design variable: the value chosen for it.
fn choices(entries: &[Entry]) -> Vec<Column<Entry>> {
    let names =
        entries.first().map(|e| e.choice.keys().cloned().collect::<Vec<String>>()).unwrap_or_default();
    let column = |name: String| {
        let title = name.replace('_', " ");
        let key = format!("choice.{name}");
        Column::text(&title, &key, move |e: &Entry| e.choice.get(&name).cloned().unwrap_or_default())
    };
    names.into_iter().map(column).collect()
}

/// One row per candidate of the front, in SI: its measures, then its design variables.
pub fn table(answer: &Sizing) -> Table {
    let rows = shown(answer);
    let mut all = columns(Unit::NONE);
    all.extend(choices(&rows));
    Table::new("size", &all, &rows)
}

/// The front, or the nearest miss if no candidate meets the targets.
fn shown(answer: &Sizing) -> Vec<Entry> {
    match answer.front.is_empty() {
        true => answer.nearest_miss.iter().cloned().collect(),
        false => answer.front.clone(),
    }
}

/// The sizing for text and page.
pub fn blocks(answer: &Sizing) -> Vec<Block> {
    let mut blocks = vec![Block::Note(answer.answer.clone())];
    let rows = shown(answer);
    let largest = rows.iter().filter_map(|e| e.settle_time_s).fold(0.0, f64::max);
    let time = Unit::of(Kind::Time, largest);
    if !answer.limits.is_empty() {
        blocks.push(Block::Table(Table::new("Targets", &limit_columns(), &answer.limits)));
    }
    let one = answer.best.as_ref().map(|best| ("Best", best));
    let one = one.or(answer.nearest_miss.as_ref().map(|miss| ("Nearest miss", miss)));
    if let Some((title, entry)) = one {
        let list: Vec<(String, String)> = entry.choice.clone().into_iter().collect();
        let choice = [
            Column::text("varied", "0", |row: &(String, String)| row.0.replace('_', " ")),
            Column::text("becomes", "1", |row: &(String, String)| row.1.clone()),
        ];
        blocks.push(Block::Table(Table::new(title, &choice, &list)));
        let measures = filled(std::slice::from_ref(entry), time);
        blocks.push(Block::Table(Table::new("Its measures", &measures, std::slice::from_ref(entry))));
    }
    if answer.front.len() > 1 {
        let some = spread_out(&answer.front);
        let title = match some.len() < answer.front.len() {
            true => format!("Trades that nothing beats: {} of {}", some.len(), answer.front.len()),
            false => "Trades that nothing beats".to_string(),
        };
        blocks.push(Block::Table(Table::new(&title, &filled(&some, time), &some)));
        blocks.extend(picture(answer).map(Block::Curve));
    }
    if !answer.sensitivity.is_empty() {
        blocks.push(Block::Table(Table::new(
            "What one more millimetre, or one per cent, does",
            &sensitivity_columns(&answer.sensitivity, time),
            &answer.sensitivity,
        )));
    }
    if !answer.left_out.is_empty() {
        let sentences: Vec<String> =
            answer.left_out.iter().map(|(why, count)| format!("{why}: {count}")).collect();
        blocks.push(Block::Note(format!("Choices that cannot be built: {}.", sentences.join("; "))));
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The columns that have a value in at least one of `entries`.
fn filled(entries: &[Entry], time: Unit) -> Vec<Column<Entry>> {
    let mut columns = columns(time);
    columns.retain(|column| match column.key() {
        "cost" => entries.iter().any(|e| e.cost.is_some()),
        "stiffness_n_per_m" => entries.iter().any(|e| e.stiffness_n_per_m.is_some()),
        "settle_time_s" => entries.iter().any(|e| e.settle_time_s.is_some()),
        "dynamic_stiffness_n_per_m" => entries.iter().any(|e| e.dynamic_stiffness_n_per_m.is_some()),
        "loss_factor" => false,
        _ => true,
    });
    columns
}

/// At most `SHOWN` rows of the front, evenly spaced from the lightest to the heaviest.
fn spread_out(front: &[Entry]) -> Vec<Entry> {
    if front.len() <= SHOWN {
        return front.to_vec();
    }
    (0..SHOWN).map(|i| front[i * (front.len() - 1) / (SHOWN - 1)].clone()).collect()
}

fn measure(key: &str) -> Option<Measure> {
    Measure::ALL.into_iter().find(|measure| measure.key() == key)
}

fn value_text(key: &str, value: Option<f64>) -> String {
    let kind = measure(key).map_or(Kind::Ratio, Measure::kind);
    value.map_or("none".to_string(), |value| show(value, kind))
}

/// Value and limit as text, with enough figures to tell them apart.
fn apart(kept: &LimitResult) -> (String, String) {
    let kind = measure(kept.measure).map_or(Kind::Ratio, Measure::kind);
    match kept.value {
        Some(value) => show_apart(value, kept.limit, kind),
        None => ("none".to_string(), show(kept.limit, kind)),
    }
}

fn limit_columns() -> Vec<Column<LimitResult>> {
    vec![
        Column::text("target", "measure", |k: &LimitResult| {
            measure(k.measure).map_or(k.measure, Measure::title).to_string()
        }),
        Column::text("asked", "limit", |k: &LimitResult| {
            let word = if k.at_least { "at least" } else { "at most" };
            format!("{word} {}", apart(k).1)
        }),
        Column::text("has", "value", |k: &LimitResult| apart(k).0),
        Column::text("best of all", "reached", |k: &LimitResult| value_text(k.measure, k.reached)),
        Column::text("10 % looser saves", "saves", |k: &LimitResult| match k.saves {
            Some(saved) if saved > 0.0 => figures(saved, 3),
            Some(_) => "nothing".to_string(),
            None => String::new(),
        }),
    ]
}

/// The step to which sensitivities are scaled: 1 mm for a length, otherwise one per cent of the value.
fn step(s: &Sensitivity) -> f64 {
    if s.length { 1e-3 } else { 0.01 * s.value }
}

fn sensitivity_columns(rows: &[Sensitivity], time: Unit) -> Vec<Column<Sensitivity>> {
    let mut columns = vec![
        Column::text("varied", "of", |s: &Sensitivity| s.of.replace('_', " ")),
        Column::text("size", "size", |s: &Sensitivity| s.size.clone()),
        Column::number("mass", KG, "mass_kg", |s: &Sensitivity| Some(s.mass_kg * step(s))),
        Column::number("cost", Unit::NONE, "cost", |s: &Sensitivity| s.cost.map(|c| c * step(s))),
        Column::number("first frequency", HZ, "first_frequency_hz", |s: &Sensitivity| {
            s.first_frequency_hz.map(|f| f * step(s))
        }),
        Column::number("stiffness", N_PER_UM, "stiffness_n_per_m", |s: &Sensitivity| {
            s.stiffness_n_per_m.map(|k| k * step(s))
        }),
        Column::number("settle time", time, "settle_time_s", |s: &Sensitivity| {
            s.settle_time_s.map(|t| t * step(s))
        }),
    ];
    columns.retain(|column| match column.key() {
        "cost" => rows.iter().any(|s| s.cost.is_some()),
        "stiffness_n_per_m" => rows.iter().any(|s| s.stiffness_n_per_m.is_some()),
        "settle_time_s" => rows.iter().any(|s| s.settle_time_s.is_some()),
        _ => true,
    });
    columns
}

/// Mass over the first measure that trades against it, for the whole front.
fn picture(answer: &Sizing) -> Option<Curve> {
    let of = |read: fn(&Entry) -> Option<f64>| -> Vec<[f64; 2]> {
        answer.front.iter().filter_map(|e| Some([e.mass_kg, read(e)?])).collect()
    };
    let settle = of(|e| e.settle_time_s);
    let (points, title, key, measure) = match settle.is_empty() {
        false => (settle, "settle time", "settle_time_s", Measure::SettleTime),
        true => {
            (of(|e| e.first_frequency_hz), "first frequency", "first_frequency_hz", Measure::FirstFrequency)
        }
    };
    let largest = points.iter().map(|p| p[1]).fold(0.0, f64::max);
    let best = answer.best.as_ref()?;
    let marks = vec![Mark::X { at: best.mass_kg, label: "best".to_string() }];
    (points.len() > 1).then(|| Curve {
        title: format!("Trades that nothing beats: mass and {title}"),
        x: Axis::linear("mass", KG, "mass_kg"),
        y: Axis::linear(title, Unit::of(measure.kind(), largest), key),
        series: vec![Series::scatter("front", points)],
        marks,
    })
}

/// The size found by an inverse search, for text and page.
pub fn inverse_blocks(answer: &Inverse) -> Vec<Block> {
    let mut blocks = vec![Block::Note(answer.answer.clone())];
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The size found by an inverse search, as one row in SI.
pub fn inverse_table(answer: &Inverse) -> Table {
    let columns = [
        Column::text("size", "size", |i: &Inverse| i.size.clone()),
        Column::number("drawn", MM, "drawn_m", |i: &Inverse| Some(i.drawn_m)),
        Column::number("found", MM, "found_m", |i: &Inverse| i.found_m),
        Column::text("measure", "measure", |i: &Inverse| i.measure.to_string()),
        Column::number("asked", Unit::NONE, "asked", |i: &Inverse| Some(i.asked)),
        Column::number("drawn value", Unit::NONE, "drawn_value", |i: &Inverse| i.drawn_value),
    ];
    Table::new("size", &columns, std::slice::from_ref(answer))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::Design;
    use stillbed_material::Table as Materials;
    use stillbed_section::stock::Stock;
    use stillbed_study::size::{Options, Watch};

    const ARM: &str = r#"
[points]
wall = "0, 0, 0 mm"
tip = "800, 0, 0 mm"
[members]
arm = { from = "wall", to = "tip", section = "bar" }
[anchors.wall]
at = "wall"
hold = "all"
[tool]
tip = "tip"
work = "ground"
[targets]
first_frequency = { at_least = "LIMIT Hz" }
[vary.bar]
section = "bar"
stock = "round tube, structural steel"
[builds.steel]
sections.bar.parts = [{ pipe = "48.3 x 4 mm", of = "structural steel" }]
"#;

    fn sized(limit: &str) -> Sizing {
        let design = Design::read("arm.toml", &ARM.replace("LIMIT", limit), &Materials::built_in());
        let design = design.design.unwrap();
        let watch = Watch { progress: &|_, _| (), stop: &|| false };
        let options = Options { count: 2, ..Options::default() };
        Sizing::compute(&design, &design.builds[0], &Stock::built_in(), &options, &watch).unwrap().0
    }

    #[test]
    fn columns_agree_with_json() {
        let answer = sized("60");
        let mut all = columns(Unit::NONE);
        all.extend(choices(&answer.front));
        assert_eq!(disagreements(&all, &answer.front), Vec::<String>::new());
        assert_eq!(table(&answer).len(), answer.front.len());
    }

    #[test]
    fn text_says_what_is_best_and_what_blocks() {
        let style = crate::text::Style::default();
        let text = crate::text::render(&blocks(&sized("60")), &style);
        assert!(text.contains("none is better") && text.contains("Trades that nothing beats"), "{text}");
        let text = crate::text::render(&blocks(&sized("6000")), &style);
        assert!(text.contains("Nearest miss") && text.contains("no candidate reaches"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80));
    }
}
