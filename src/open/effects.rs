//! What a change would do to the stated values of one build: a millimetre more of a size, a stock size, another
//! material. Each is the whole answer computed again with the change made, not a slope extended.

use crate::answers::Work;
use crate::change::{Change, alone, changed};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use stillbed_design::{Build, Design, Measure, Stated, Substance};
use stillbed_input::quantity::{Kind, figures, show_digits};
use stillbed_material::{Role, Table};
use stillbed_section::stock::Stock;
use stillbed_study::compare::{BuildComparison, Comparison, Options};

/// What is asked about a section of a build.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Wanted {
    /// A millimetre more of each size of each part.
    Slopes { build: String, section: String },
    /// Stock sizes near to that of a part.
    Sizes { build: String, section: String, part: usize },
    /// Other materials for a part.
    Materials { build: String, section: String, part: usize },
}

/// The measures whose change is told, in this order.
const TOLD: [Measure; 5] =
    [Measure::FirstFrequency, Measure::Stiffness, Measure::SettleTime, Measure::Mass, Measure::Cost];

/// Most stock sizes that are tried.
const MOST_SIZES: usize = 10;

/// Changes smaller than this part of the value are not told.
const SAME: f64 = 1e-4;

/// A change, and what it would do.
#[derive(Debug, Clone, Serialize)]
struct Row {
    /// What is changed.
    name: String,
    /// What it does, such as `+6 Hz, +3 kg`.
    effect: String,
    /// The change to make.
    change: Change,
}

/// Tells the effects `wanted` for the design in `text`, row by row as they are found.
pub fn tell(file: &str, text: &str, wanted: &Wanted, table: &Table, work: &Work) {
    let (build, section) = match wanted {
        Wanted::Slopes { build, section }
        | Wanted::Sizes { build, section, .. }
        | Wanted::Materials { build, section, .. } => (build, section),
    };
    let Ok(text) = alone(file, text, build) else { return };
    let Some((design, stated)) = stated(file, &text, table) else { return };
    let changes = match design.builds.first() {
        Some(own) => changes(own, wanted, table),
        None => return,
    };
    let mut rows = Vec::new();
    let total = changes.len();
    let shown = |rows: &[Row], done: usize| -> Value {
        let about = json!({ "wanted": wanted_name(wanted), "section": section, "build": build });
        json!({ "about": about, "rows": rows, "done": done, "of": total })
    };
    for (done, (name, change)) in changes.into_iter().enumerate() {
        if (work.stop)() {
            return;
        }
        let other = changed(file, &text, &change).ok().and_then(|text| self::stated(file, &text, table));
        if let Some((_, other)) = other {
            rows.push(Row { name, effect: effect(&stated, &other), change });
        }
        (work.show)(vec![("effects", shown(&rows, done + 1))]);
    }
    if total == 0 {
        (work.show)(vec![("effects", shown(&[], 0))]);
    }
}

fn wanted_name(wanted: &Wanted) -> &'static str {
    match wanted {
        Wanted::Slopes { .. } => "slopes",
        Wanted::Sizes { .. } => "sizes",
        Wanted::Materials { .. } => "materials",
    }
}

/// The only build of the design in `text` at its stated values.
fn stated(file: &str, text: &str, table: &Table) -> Option<(Design, BuildComparison)> {
    let design = Stated::read(file, text).on_first_grids().resolve(table).design?;
    let options = Options { draws: 0, ..Options::default() };
    let found = Comparison::compute(&design, &options, |_, _| ()).ok()?.builds.into_iter().next()?;
    Some((design, found))
}

/// The changes to try, with their names.
fn changes(own: &Build, wanted: &Wanted, table: &Table) -> Vec<(String, Change)> {
    match wanted {
        Wanted::Slopes { build, section } => thicker(own, build, section),
        Wanted::Sizes { build, section, part } => stocked(own, build, section, *part),
        Wanted::Materials { build, section, part } => made_of(own, build, section, *part, table),
    }
}

fn thicker(own: &Build, build: &str, section: &str) -> Vec<(String, Change)> {
    let Some(profile) = own.profiles.iter().find(|profile| profile.name == section) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    for (part, spec) in profile.spec.parts.iter().enumerate() {
        let sizes = spec.shape.sizes();
        for (i, (name, _)) in sizes.iter().enumerate() {
            let more = |(j, (_, size)): (usize, &(&str, f64))| size * 1e3 + if i == j { 1.0 } else { 0.0 };
            let sizes = sizes.iter().enumerate().map(more).collect();
            let (build, section) = (build.to_string(), section.to_string());
            let name = format!("+1 mm {name} of the {}, {}", spec.shape.key(), spec.of.value);
            all.push((name, Change::Sizes { build, section, part, sizes }));
        }
    }
    all
}

fn stocked(own: &Build, build: &str, section: &str, part: usize) -> Vec<(String, Change)> {
    let profile = own.profiles.iter().find(|profile| profile.name == section);
    let Some(spec) = profile.and_then(|profile| profile.spec.parts.get(part)) else { return Vec::new() };
    let now = spec.shape.sizes();
    let upright = matches!(now[..], [(_, width), (_, height), ..] if height > width);
    let stock = Stock::built_in();
    let mut near: Vec<(f64, (String, Change))> = Vec::new();
    for size in stock.sizes().iter().filter(|size| size.comes_in(&spec.of.value)) {
        let shape = size.shape(upright, 0.0);
        if shape.key() != spec.shape.key() {
            continue;
        }
        let apart = |((_, a), (_, b)): (&(&str, f64), &(&str, f64))| (a / b).ln().abs();
        let far: f64 = shape.sizes().iter().zip(&now).map(apart).sum();
        // A plate is cut to any width, which is stated by its sizes.
        if !far.is_finite() || far == 0.0 {
            continue;
        }
        let (build, section) = (build.to_string(), section.to_string());
        let name = format!("{} {}", size.form, size.size);
        let (form, size) = (size.form.clone(), size.size.clone());
        near.push((far, (name, Change::Stock { build, section, part, form, size, upright })));
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    near.into_iter().take(MOST_SIZES).map(|(_, own)| own).collect()
}

fn made_of(own: &Build, build: &str, section: &str, part: usize, table: &Table) -> Vec<(String, Change)> {
    let profile = own.profiles.iter().find(|profile| profile.name == section);
    let Some(spec) = profile.and_then(|profile| profile.spec.parts.get(part)) else { return Vec::new() };
    let now = &spec.of.value;
    let Some(role) = own.substances.iter().find(|own| own.name() == *now).map(Substance::role) else {
        return Vec::new();
    };
    let mixes = own.drawing.mixes.iter().map(|(name, _)| name).filter(|_| role == Role::Fill);
    let known = table
        .materials()
        .iter()
        .filter(|material| material.role == role)
        .map(|material| material.name.as_str());
    let others = known.chain(mixes);
    let change = |of: &str| {
        let (build, section) = (build.to_string(), section.to_string());
        (of.to_string(), Change::Material { build, section, part, of: of.to_string() })
    };
    others.filter(|of| *of != now).map(change).collect()
}

/// What differs between two answers, such as `+6 Hz, +3 kg, +9 of cost`.
fn effect(before: &BuildComparison, after: &BuildComparison) -> String {
    let told = TOLD.into_iter().filter_map(|measure| {
        let value =
            |own: &BuildComparison| own.get(measure).map(|spread| spread.value).filter(|v| v.is_finite());
        let (before, after) = (value(before)?, value(after)?);
        let change = after - before;
        if change.abs() <= SAME * before.abs() {
            return None;
        }
        let sign = if change < 0.0 { "−" } else { "+" };
        Some(match measure {
            Measure::Cost => format!("{sign}{} of cost", figures(change.abs(), 2)),
            Measure::SettleTime => format!("{sign}{} until quiet", show_digits(change.abs(), Kind::Time, 2)),
            other => format!("{sign}{}", show_digits(change.abs(), other.kind(), 2)),
        })
    });
    let told: Vec<String> = told.collect();
    if told.is_empty() { "no difference".to_string() } else { told.join(", ") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;
    use stillbed_design::{SMALLEST, STARTER};

    fn told(text: &str, wanted: &Wanted) -> Value {
        let shown = Mutex::new(Value::Null);
        let show = |fields: crate::answers::Fields| {
            for (name, value) in fields {
                assert_eq!(name, "effects");
                *shown.lock().unwrap() = value;
            }
        };
        tell("a.toml", text, wanted, &Table::built_in(), &Work { show: &show, stop: &|| false });
        shown.into_inner().unwrap()
    }

    #[test]
    fn a_millimetre_more_does_what_the_bar_equation_says() {
        let wanted = Wanted::Slopes { build: "steel".to_string(), section: "bar".to_string() };
        let told = told(SMALLEST, &wanted);
        let rows = told["rows"].as_array().unwrap();
        assert_eq!(rows.len(), 2);
        // A bar of 40 x 10 mm, 300 mm long: a millimetre of width or height adds 1 x 10 or 40 x 1 mm2 of steel.
        let mass = [0.01 * 0.001 * 0.3 * 7850.0, 0.04 * 0.001 * 0.3 * 7850.0];
        for (row, mass) in rows.iter().zip(mass) {
            let told = row["effect"].as_str().unwrap();
            assert!(told.contains(&format!("+{}", show_digits(mass, Kind::Mass, 2))), "{told}");
        }
        // Its frequency grows as its height, not with its width: 91.8 Hz x 0.1.
        assert!(rows[1]["effect"].as_str().unwrap().starts_with("+9.2 Hz"), "{rows:?}");
        assert!(!rows[0]["effect"].as_str().unwrap().contains("Hz"), "{rows:?}");
    }

    #[test]
    fn stock_sizes_and_materials_say_what_they_change() {
        let (build, section) = ("welded".to_string(), "arm".to_string());
        let sizes = told(STARTER, &Wanted::Sizes { build: build.clone(), section: section.clone(), part: 0 });
        let rows = sizes["rows"].as_array().unwrap();
        assert!(rows.len() >= 5 && sizes["done"] == sizes["of"], "{sizes}");
        assert!(rows.iter().all(|row| row["change"]["kind"] == "stock"));
        let materials = told(STARTER, &Wanted::Materials { build, section, part: 0 });
        let light =
            materials["rows"].as_array().unwrap().iter().find(|row| row["name"] == "aluminium 6061-T6");
        assert!(light.unwrap()["effect"].as_str().unwrap().contains('−'), "aluminium is lighter than steel");
    }

    #[test]
    fn a_later_question_stops_it() {
        let wanted = Wanted::Slopes { build: "steel".to_string(), section: "bar".to_string() };
        let work = Work { show: &|_| panic!("nothing is shown"), stop: &|| true };
        tell("a.toml", SMALLEST, &wanted, &Table::built_in(), &work);
    }
}
