//! Gestures as changes of the text of a design, which otherwise stays as it was, with comments and order.
//!
//! What the build in view states itself is changed there, anything else where it stands for all builds.

use serde::{Deserialize, Serialize};
use stillbed_design::edit::{editable, in_place, on_item, set};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Kind, figures};
use stillbed_section::ShapeKind;
use stillbed_section::stock::Stock;
use stillbed_study::size::{reshape, written};
use toml_edit::{Array, DocumentMut, Item, Table, TableLike, Value};

/// One change that a gesture makes.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Change {
    /// A point goes to another place, mm.
    Move { build: String, point: String, to: [f64; 3] },
    /// A member from a point to a new one, mm.
    AddPoint { from: String, to: [f64; 3], section: String },
    /// A member between two points.
    AddMember { from: String, to: String, section: String },
    /// A mass at a point, such as `5 kg`.
    AddMass { at: String, mass: String },
    /// A foot under a point, like the others.
    AddFoot { at: String },
    /// A member or a mass goes, in all builds.
    Remove { of: Removable, name: String },
    /// The foot under a point goes, in all builds.
    RemoveFoot { at: String },
    /// A part of a section takes other sizes, mm.
    Sizes { build: String, section: String, part: usize, sizes: Vec<f64> },
    /// A part of a section becomes a stock size.
    Stock { build: String, section: String, part: usize, form: String, size: String, upright: bool },
    /// A part of a section becomes of another material.
    Material { build: String, section: String, part: usize, of: String },
}

/// What is removed by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Removable {
    /// A member.
    Members,
    /// A mass.
    Masses,
}

impl Removable {
    fn key(self) -> &'static str {
        match self {
            Removable::Members => "members",
            Removable::Masses => "masses",
        }
    }
}

/// Stiffness and loss of the first feet of a design that has none: an invented foot of a small stand, as in the
/// starter design.
const FOOT: [&str; 2] = ["20, 20, 80 N/um", "0.15"];

/// `text`, the design in `file`, with `change`.
///
/// # Errors
/// What the text lacks for it.
pub fn changed(file: &str, text: &str, change: &Change) -> Result<String, Problem> {
    let mut document = editable(file, text)?;
    let lost = |what: &str| Problem::error(Place::file(file), format!("the design has no {what}"));
    match change {
        Change::Move { build, point, to } => {
            let points = home(&mut document, build, "points", point).ok_or_else(|| lost(point))?;
            let old = points.get(point).and_then(Item::as_str).unwrap_or_default().to_string();
            set(points, point, placed(to, &old).into());
        }
        Change::AddPoint { from, to, section } => {
            let points = table(&mut document, "points").ok_or_else(|| lost("points"))?;
            let name = free(points, "point");
            points.insert(&name, Item::Value(placed(to, "").into()));
            add_member(&mut document, [from, &name, section]).ok_or_else(|| lost("members"))?;
        }
        Change::AddMember { from, to, section } => {
            if from == to {
                let problem = Problem::error(Place::file(file), "a member joins two points");
                return Err(problem.with_help("choose another end"));
            }
            add_member(&mut document, [from, to, section]).ok_or_else(|| lost("members"))?;
        }
        Change::AddMass { at, mass } => {
            let place = || Place { key: "mass".to_string(), ..Place::file(file) };
            quantity::single(mass, Kind::Mass)
                .map_err(|fault| Problem::error(place(), fault.message).with_help(fault.help))?;
            let own = added(&mut document, "masses", "mass").ok_or_else(|| lost("masses"))?;
            own.insert("at", Item::Value(at.as_str().into()));
            own.insert("mass", Item::Value(mass.as_str().into()));
        }
        Change::AddFoot { at } => add_foot(&mut document, at).ok_or_else(|| lost("feet"))?,
        Change::Remove { of, name } => {
            let (mut found, mut ends) = (false, Vec::new());
            for builds in [false, true] {
                each(&mut document, builds, of.key(), &mut |things| {
                    let end =
                        |key| things.get(name).and_then(|own| own.get(key)?.as_str()).map(str::to_string);
                    ends.extend(["from", "to"].into_iter().filter_map(end));
                    found |= things.remove(name).is_some();
                });
            }
            // A point that nothing names any more would meet nothing.
            for end in ends {
                if !document.to_string().contains(&format!("\"{end}\"")) {
                    each(&mut document, false, "points", &mut |points| drop(points.remove(&end)));
                }
            }
            if !found {
                return Err(lost(name));
            }
        }
        Change::RemoveFoot { at } => {
            let mut found = false;
            for builds in [false, true] {
                each(&mut document, builds, "feet", &mut |feet| found |= lift(feet, at));
            }
            if !found {
                return Err(lost(&format!("foot at {at}")));
            }
        }
        Change::Sizes { build, section, part, sizes } => {
            let sizes: Vec<f64> = sizes.iter().map(|size| size * 1e-3).collect();
            on_part(&mut document, build, section, *part, |own| {
                if let Some(kind) = ShapeKind::ALL.iter().find(|kind| own.contains_key(kind.key)) {
                    set(own, kind.key, written(&sizes, " x ").into());
                }
            })
            .ok_or_else(|| lost(section))?;
        }
        Change::Stock { build, section, part, form, size, upright } => {
            let stock = Stock::built_in();
            let found = stock.sizes().iter().find(|own| own.form == *form && own.size == *size);
            let shape = found.ok_or_else(|| lost(&format!("{form} {size}")))?.shape(*upright, 0.0);
            on_part(&mut document, build, section, *part, |own| reshape(own, &shape, None))
                .ok_or_else(|| lost(section))?;
        }
        Change::Material { build, section, part, of } => {
            on_part(&mut document, build, section, *part, |own| set(own, "of", of.as_str().into()))
                .ok_or_else(|| lost(section))?;
        }
    }
    Ok(in_place(text, &document))
}

/// `text` with `build` as its only build.
///
/// # Errors
/// Text that is not TOML.
pub fn alone(file: &str, text: &str, build: &str) -> Result<String, Problem> {
    let mut document = editable(file, text)?;
    if let Some(builds) = document.get_mut("builds").and_then(Item::as_table_like_mut) {
        let others: Vec<String> = builds.iter().map(|(name, _)| name.to_string()).collect();
        for other in others.iter().filter(|other| *other != build) {
            builds.remove(other);
        }
    }
    Ok(document.to_string())
}

/// A place, mm, in the unit of the `old` text.
pub fn placed(to: &[f64; 3], old: &str) -> String {
    let unit = old.rsplit(|c: char| !c.is_ascii_alphabetic()).next().unwrap_or_default();
    let (unit, size) = match unit {
        "cm" => ("cm", 10.0),
        "m" => ("m", 1000.0),
        "in" => ("in", 25.4),
        _ => ("mm", 1.0),
    };
    // To a micrometre, which no drawing of a base goes below.
    let number = |v: &f64| figures((v / size * 1e6).round() / 1e6 + 0.0, 9);
    format!("{} {unit}", to.iter().map(number).collect::<Vec<_>>().join(", "))
}

fn table<'d>(document: &'d mut DocumentMut, key: &str) -> Option<&'d mut dyn TableLike> {
    if document.get(key).is_none() {
        let mut table = Table::new();
        table.set_implicit(true);
        document.insert(key, Item::Table(table));
    }
    document.get_mut(key)?.as_table_like_mut()
}

/// The table that states `name`: that of the build, else the common one.
fn home<'d>(
    document: &'d mut DocumentMut,
    build: &str,
    kind: &str,
    name: &str,
) -> Option<&'d mut dyn TableLike> {
    let own = document.get("builds").and_then(|builds| builds.get(build)?.get(kind)?.get(name)).is_some();
    let item = if own {
        document.get_mut("builds")?.get_mut(build)?.get_mut(kind)?
    } else {
        document.get_mut(kind)?
    };
    item.as_table_like_mut().filter(|things| things.contains_key(name))
}

fn on_part(
    document: &mut DocumentMut,
    build: &str,
    section: &str,
    part: usize,
    act: impl FnOnce(&mut dyn TableLike),
) -> Option<()> {
    let sections = home(document, build, "sections", section)?;
    on_item(sections.get_mut(section)?.as_table_like_mut()?, "parts", part, act)
}

/// The first of `word`_1, `word`_2, … that `things` does not hold.
fn free(things: &dyn TableLike, word: &str) -> String {
    let mut number = 1;
    loop {
        let name = format!("{word}_{number}");
        if !things.contains_key(&name) {
            return name;
        }
        number += 1;
    }
}

/// A new, empty table of `kind`, common to all builds.
fn added<'d>(document: &'d mut DocumentMut, kind: &str, word: &str) -> Option<&'d mut dyn TableLike> {
    let things = table(document, kind)?;
    let name = free(things, word);
    things.insert(&name, Item::Table(Table::new()));
    things.get_mut(&name)?.as_table_like_mut()
}

fn add_member(document: &mut DocumentMut, ends_and_section: [&str; 3]) -> Option<()> {
    let own = added(document, "members", "member")?;
    for (key, value) in ["from", "to", "section"].into_iter().zip(ends_and_section) {
        own.insert(key, Item::Value(value.into()));
    }
    Some(())
}

fn add_foot(document: &mut DocumentMut, at: &str) -> Option<()> {
    let feet = table(document, "feet")?;
    let first = feet.iter().map(|(name, _)| name.to_string()).next();
    if let Some(places) = first.and_then(|name| feet.get_mut(&name)?.get_mut("at")?.as_array_mut()) {
        places.push(at);
        return Some(());
    }
    let own = added(document, "feet", "feet")?;
    own.insert("at", Item::Value(Value::Array(Array::from_iter([at]))));
    own.insert("stiffness", Item::Value(FOOT[0].into()));
    own.insert("loss", Item::Value(FOOT[1].parse::<f64>().ok()?.into()));
    Some(())
}

/// Takes the foot under `at` away; feet under nothing go.
fn lift(feet: &mut dyn TableLike, at: &str) -> bool {
    let mut found = false;
    let names: Vec<String> = feet.iter().map(|(name, _)| name.to_string()).collect();
    for name in names {
        let places =
            feet.get_mut(&name).and_then(|own| own.as_table_like_mut()?.get_mut("at")?.as_array_mut());
        let Some(places) = places else { continue };
        let before = places.len();
        places.retain(|place| place.as_str() != Some(at));
        found |= places.len() < before;
        if places.is_empty() {
            feet.remove(&name);
        }
    }
    found
}

/// Calls `act` on the tables of `kind`: the common one, or that of each build.
fn each(document: &mut DocumentMut, builds: bool, kind: &str, act: &mut dyn FnMut(&mut dyn TableLike)) {
    if !builds {
        if let Some(things) = document.get_mut(kind).and_then(Item::as_table_like_mut) {
            act(things);
        }
        return;
    }
    let Some(builds) = document.get_mut("builds").and_then(Item::as_table_like_mut) else { return };
    for (_, build) in builds.iter_mut() {
        if let Some(things) = build.get_mut(kind).and_then(Item::as_table_like_mut) {
            act(things);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_design::{Design, STARTER};
    use stillbed_material::Table as Materials;

    /// The lines of the starter that `change` removes, and those that it adds.
    fn lines(change: &str) -> (Vec<String>, Vec<String>) {
        let change: Change = serde_json::from_str(change).unwrap();
        let text = changed("a.toml", STARTER, &change).unwrap();
        let reading = Design::read("a.toml", &text, &Materials::built_in());
        assert!(reading.design.is_some(), "{:?}", reading.problems);
        let only = |one: &str, other: &str| -> Vec<String> {
            let others: Vec<&str> = other.lines().collect();
            one.lines()
                .filter(|line| !line.is_empty() && !others.contains(line))
                .map(str::to_string)
                .collect()
        };
        (only(STARTER, &text), only(&text, STARTER))
    }

    #[test]
    fn a_point_is_moved_where_it_stands_and_nothing_else_changes() {
        let (gone, new) = lines(r#"{"kind":"move","build":"cast","point":"head","to":[0,185.5,365]}"#);
        assert_eq!(
            (&*gone, &*new),
            (
                &["head = \"0, 180, 360 mm\"".to_string()][..],
                &["head = \"0, 185.5, 365 mm\"".to_string()][..]
            )
        );
        assert_eq!(placed(&[25.4, 0.0, -50.8], "1, 2, 3 in"), "1, 0, -2 in");
    }

    #[test]
    fn a_build_that_states_its_own_point_has_that_moved() {
        let text = STARTER.replace("[builds.cast]", "[builds.cast]\npoints.head = \"0, 180, 340 mm\"");
        let moved = |build: &str| {
            let change =
                Change::Move { build: build.to_string(), point: "head".to_string(), to: [0.0, 180.0, 300.0] };
            changed("a.toml", &text, &change).unwrap()
        };
        assert!(
            moved("cast").contains("points.head = \"0, 180, 300 mm\"") && moved("cast").contains("360 mm")
        );
        assert!(!moved("welded").contains("360 mm") && moved("welded").contains("340 mm"));
    }

    #[test]
    fn things_come_and_go() {
        let (gone, new) = lines(r#"{"kind":"add_member","from":"column_foot","to":"drill","section":"arm"}"#);
        assert!(gone.is_empty());
        assert_eq!(new, ["[members.member_1]"], "its other lines are found in other members too");
        let (gone, new) = lines(r#"{"kind":"add_mass","at":"table","mass":"5 kg"}"#);
        assert!(gone.is_empty() && new.contains(&"[masses.mass_1]".to_string()));
        let (gone, _) = lines(r#"{"kind":"remove","of":"masses","name":"chuck"}"#);
        assert!(gone.contains(&"[masses.chuck]".to_string()));
        let (_, new) = lines(r#"{"kind":"add_foot","at":"table"}"#);
        assert_eq!(new, ["at = [\"front_left\", \"front_right\", \"column_foot\", \"table\"]"]);
        let point = r#"{"kind":"add_point","from":"head","to":[0,300,360],"section":"arm"}"#;
        let (_, new) = lines(point);
        assert_eq!(new, ["point_1 = \"0, 300, 360 mm\"", "[members.member_1]", "to = \"point_1\""]);
        let more = changed("a.toml", STARTER, &serde_json::from_str(point).unwrap()).unwrap();
        let gone = Change::Remove { of: Removable::Members, name: "member_1".to_string() };
        assert_eq!(changed("a.toml", &more, &gone).unwrap(), STARTER, "the point goes with its last member");
    }

    #[test]
    fn the_last_foot_takes_its_table_with_it() {
        let text = "feet.a = { at = [\"p\"], stiffness = \"1 N/um\" }\nfeet.b = { at = [\"q\"] }\n";
        let change = Change::RemoveFoot { at: "p".to_string() };
        assert_eq!(changed("a.toml", text, &change).unwrap(), "feet.b = { at = [\"q\"] }\n");
        assert!(changed("a.toml", "feet.b = { at = [\"q\"] }\n", &change).is_err());
        let change = Change::AddFoot { at: "p".to_string() };
        assert!(changed("a.toml", "title = \"x\"\n", &change).unwrap().contains("at = [\"p\"]"));
    }

    #[test]
    fn a_part_takes_other_sizes_a_stock_size_or_another_material() {
        let at = r#""build":"cast","section":"arm","part":1"#;
        let (gone, new) = lines(&format!(r#"{{"kind":"sizes",{at},"sizes":[60,60,5]}}"#));
        assert_eq!(
            (gone.len(), &*new),
            (0, &["  { tube = \"60 x 60 x 5 mm\", of = \"aluminium 6061-T6\" },".to_string()][..])
        );
        let (_, new) = lines(&format!(r#"{{"kind":"material",{at},"of":"structural steel"}}"#));
        assert_eq!(new, ["  { tube = \"60 x 60 x 4 mm\", of = \"structural steel\" },"]);
        let stock = r#"{"kind":"stock","build":"welded","section":"arm","part":0,"form":"square tube","size":"60 x 60 x 4 mm","upright":false}"#;
        let (_, new) = lines(stock);
        assert!(new.len() == 1 && new[0].contains("tube = \"60 x 60 x 4 mm\""), "{new:?}");
    }

    #[test]
    fn what_is_not_there_is_told() {
        for change in [
            Change::Move { build: "cast".into(), point: "nose".into(), to: [0.0; 3] },
            Change::Remove { of: Removable::Members, name: "nose".into() },
            Change::AddMass { at: "head".into(), mass: "heavy".into() },
            Change::AddMember { from: "head".into(), to: "head".into(), section: "arm".into() },
            Change::Sizes { build: "cast".into(), section: "arm".into(), part: 7, sizes: vec![1.0] },
        ] {
            assert!(changed("a.toml", STARTER, &change).is_err(), "{change:?}");
        }
    }

    #[test]
    fn one_build_stands_alone() {
        let text = alone("a.toml", STARTER, "cast").unwrap();
        let design = Design::read("a.toml", &text, &Materials::built_in()).design.unwrap();
        assert_eq!(design.builds.iter().map(|build| build.name.as_str()).collect::<Vec<_>>(), ["cast"]);
    }
}
