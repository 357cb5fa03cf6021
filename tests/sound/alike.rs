//! One design written in other ways: in another order, in metres, elsewhere, turned about the vertical.

use super::design;
use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::study::compare::{Comparison, Options};
use toml::{Table as Tree, Value};

/// Places of what is moved, mm.
const MOVED: [f64; 3] = [1370.0, -520.0, 410.0];

/// What stands in one text, `"a, b, c unit"`: its three numbers and its unit.
fn three(text: &str) -> ([f64; 3], &str) {
    let parts: Vec<&str> = text.splitn(3, ',').map(str::trim).collect();
    let end = parts[2].find(' ').unwrap_or(parts[2].len());
    let numbers = [parts[0], parts[1], &parts[2][..end]].map(|number| number.parse().unwrap());
    (numbers, &parts[2][end..])
}

fn written([x, y, z]: [f64; 3], unit: &str) -> Value {
    Value::String(format!("{x:.12}, {y:.12}, {z:.12}{unit}"))
}

/// Each of the tables in the table `name` of `tree`, by `change`.
fn each(tree: &mut Tree, name: &str, mut change: impl FnMut(&mut Tree)) {
    let tables = tree.get_mut(name).and_then(Value::as_table_mut);
    tables.into_iter().flatten().filter_map(|(_, value)| value.as_table_mut()).for_each(&mut change);
}

/// The three numbers at `key`, where they stand, by `change`.
fn changed(table: &mut Tree, key: &str, change: impl Fn([f64; 3]) -> [f64; 3]) {
    if let Some(Value::String(text)) = table.get(key) {
        let (numbers, unit) = three(text);
        let text = written(change(numbers), unit);
        table.insert(key.to_string(), text);
    }
}

/// In metres, and somewhere else.
fn elsewhere(tree: &mut Tree) {
    for (_, point) in tree["points"].as_table_mut().unwrap() {
        let (at, _) = three(point.as_str().unwrap());
        *point = written([0, 1, 2].map(|i| 1e-3 * (at[i] + MOVED[i])), " m");
    }
}

/// A quarter of a turn about the vertical.
fn turned(tree: &mut Tree) {
    let turn = |[x, y, z]: [f64; 3]| [-y, x, z];
    let swap = |[x, y, z]: [f64; 3]| [y, x, z];
    let points = tree["points"].as_table_mut().unwrap();
    let mut at = std::collections::BTreeMap::new();
    for (name, point) in points {
        let (place, unit) = three(point.as_str().unwrap());
        at.insert(name.clone(), place);
        *point = written(turn(place), unit);
    }
    each(tree, "members", |member| {
        changed(member, "offset", turn);
        // Upright members turn with the rest: their own z points along y where nothing is said.
        let [from, to] = ["from", "to"].map(|end| at[member[end].as_str().unwrap()]);
        let along: Vec<f64> = (0..3).map(|i| to[i] - from[i]).collect();
        let length = along.iter().map(|d| d * d).sum::<f64>().sqrt();
        if (along[2] / length).abs() > 0.999 {
            member.insert("up".to_string(), written([-1.0, 0.0, 0.0], ""));
        }
    });
    each(tree, "masses", |mass| {
        changed(mass, "offset", turn);
        changed(mass, "inertia", swap);
    });
    each(tree, "feet", |foot| {
        changed(foot, "stiffness", swap);
        changed(foot, "turning", swap);
    });
    each(tree, "anchors", |anchor| {
        let held = |word: &str| {
            match word {
                "x" => "y",
                "y" => "x",
                "turn_x" => "turn_y",
                "turn_y" => "turn_x",
                other => other,
            }
            .to_string()
        };
        let words: Vec<String> = anchor["hold"].as_str().unwrap().split(' ').map(held).collect();
        anchor.insert("hold".to_string(), Value::String(words.join(" ")));
    });
    for (table, key) in [("tap", "along"), ("cut", "normal")] {
        if let Some(table) = tree.get_mut(table).and_then(Value::as_table_mut) {
            changed(table, key, turn);
        }
    }
}

/// Points, members, masses and builds from the last to the first.
fn backwards(tree: &mut Tree) {
    for name in ["points", "members", "masses", "builds"] {
        if let Some(table) = tree.get_mut(name).and_then(Value::as_table_mut) {
            *table = std::mem::take(table).into_iter().rev().collect();
        }
    }
}

/// What `text` answers: by build, figures with their names and what they may be off by.
type Answer = Vec<(String, Vec<(&'static str, f64, f64)>)>;

fn answer(text: &str) -> Result<Option<Answer>, String> {
    let reading = Design::read("alike.toml", text, &Table::built_in());
    if reading.problems.iter().any(|problem| problem.is_error()) {
        return Ok(None);
    }
    let design = reading.design.ok_or("no design")?;
    let options = Options { draws: 0, ..Options::default() };
    let found =
        Comparison::compute(&design, &options, |_, _| ()).map_err(|problems| problems[0].to_string())?;
    let of = |build: &stillbed::study::compare::BuildComparison| {
        let value = |spread: &Option<stillbed::quantity::Spread>| spread.as_ref().map(|s| s.value);
        // Damped modes hold to a part in a million.
        let frequency = 2.0 * build.frequency_error.unwrap_or(0.0) + 4e-6;
        let of_peak = build.dynamic_stiffness_error_n_per_m.unwrap_or(0.0);
        let of_settling = build.settle_time_error_s.unwrap_or(0.0);
        let weakest = build.stiffness_n_per_m.as_ref().map(|k| k.weakest.value);
        let rows = [
            ("mass", Some(build.mass_kg), 0.0),
            ("cost", build.cost, 0.0),
            ("weakest stiffness", weakest, 0.0),
            ("first frequency", value(&build.first_frequency_hz), frequency),
            ("dynamic stiffness", value(&build.dynamic_stiffness_n_per_m), 2e-3),
            ("settle time", value(&build.settle_time_s), 2e-3),
            ("drift", value(&build.drift_m_per_k), 0.0),
            ("sag", build.sag_m, 0.0),
        ];
        let further = |name: &str| match name {
            "dynamic stiffness" => of_peak,
            "settle time" => of_settling,
            _ => 0.0,
        };
        let row = |(name, value, part): (&'static str, Option<f64>, f64)| {
            value.filter(|v| v.is_finite()).map(|v| (name, v, part * v.abs() + further(name)))
        };
        (build.name.clone(), rows.into_iter().filter_map(row).collect())
    };
    let mut all: Answer = found.builds.iter().map(of).collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(Some(all))
}

/// Writes a design in another way.
type Way = fn(&mut Tree);

/// In what the design of `seed`, written in other ways, answers otherwise.
pub fn faults(seed: u64) -> Vec<String> {
    let text = design::text(seed);
    let own = match answer(&text) {
        Ok(Some(own)) => own,
        Ok(None) => return Vec::new(),
        Err(fault) => return vec![format!("{fault}\n{text}")],
    };
    let ways: [(&str, Way); 3] =
        [("backwards", backwards), ("in metres, elsewhere", elsewhere), ("turned", turned)];
    let mut found = Vec::new();
    for (way, change) in ways {
        let mut tree: Tree = text.parse().unwrap();
        change(&mut tree);
        let other = match answer(&tree.to_string()) {
            Ok(Some(other)) => other,
            Ok(None) => {
                found.push(format!("{way}: it is refused\n{tree}"));
                continue;
            }
            Err(fault) => {
                found.push(format!("{way}: {fault}\n{tree}"));
                continue;
            }
        };
        for ((build, a), (_, b)) in own.iter().zip(&other) {
            if a.len() != b.len() {
                found.push(format!("{way}: {build} answers {a:?} and {b:?}\n{text}"));
                continue;
            }
            let apart = a.iter().zip(b).find(|((_, x, off), (_, y, further))| {
                (x - y).abs() > 1e-6 * x.abs().max(y.abs()) + off + further + 1e-12
            });
            if let Some((one, two)) = apart {
                found.push(format!("{way}: {build} {one:?} {two:?}\n{text}"));
            }
        }
    }
    found
}
