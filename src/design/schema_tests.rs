//! The schema compared with the reader: keys, words, valid designs and invalid ones.

use super::*;
use crate::STARTER;
use proptest::prelude::*;
use std::sync::LazyLock;

static VALIDATOR: LazyLock<jsonschema::Validator> =
    LazyLock::new(|| jsonschema::draft202012::new(&serde_json::from_str(&schema()).unwrap()).unwrap());

fn faults(text: &str) -> Vec<String> {
    let design: Value = toml::from_str(text).unwrap();
    VALIDATOR.iter_errors(&design).map(|e| format!("{}: {e}", e.instance_path())).collect()
}

#[test]
fn the_file_of_every_key_is_read_without_a_fault() {
    let text = every_key();
    let reader = Reader::new("every-key.toml", &text);
    Sheet::read(reader.root());
    let said: Vec<String> = reader.finish().0.iter().map(|p| p.to_string()).collect();
    assert_eq!(said, Vec::<String>::new());
}

#[test]
fn every_key_that_is_asked_for_has_a_form_and_words_and_every_table_was_entered() {
    let asked = asked();
    let mut places = Vec::new();
    for (place, table) in &asked {
        for (key, found) in &table.keys {
            let below = if place.is_empty() { key.clone() } else { format!("{place}/{key}") };
            let own = below.strip_prefix(BUILDS).filter(|own| asked[""].keys.contains_key(*own));
            let own = own.unwrap_or(&below).to_string();
            assert!(!found.forms.is_empty(), "{below} is only looked for: state it in every-key.toml");
            for form in &found.forms {
                let entered = match form {
                    Form::Table => asked.contains_key(&own),
                    Form::Tables => asked.contains_key(&format!("{own}/[]")),
                    _ => true,
                };
                assert!(entered, "{below} was never entered: state it in every-key.toml");
            }
            assert!(described(&own).is_some(), "{own} has no words in described.rs");
            places.push(own);
        }
    }
    let idle: Vec<&str> =
        DESCRIBED.iter().map(|(at, _)| *at).filter(|at| !places.iter().any(|p| p == at)).collect();
    assert_eq!(idle, Vec::<&str>::new(), "described, but nobody asks for it");
}

#[test]
fn every_shape_is_described_in_the_schema_and_listed_in_the_starter() {
    let whole: Value = serde_json::from_str(&schema()).unwrap();
    let section = &whole["$defs"]["sections"]["additionalProperties"]["anyOf"][1];
    let parts = &section["properties"]["parts"]["items"]["properties"];
    for kind in &ShapeKind::ALL {
        let words = parts[kind.key]["description"].as_str().unwrap_or_default();
        assert!(words.starts_with(kind.words), "{}: {words}", kind.key);
        assert!(STARTER.contains(kind.key), "the starter does not list {}", kind.key);
    }
}

#[test]
fn the_schema_is_one_and_names_shapes_words_and_units() {
    assert!(jsonschema::meta::is_valid(&serde_json::from_str(&schema()).unwrap()));
    let whole: Value = serde_json::from_str(&schema()).unwrap();
    let defs = &whole["$defs"];
    assert_eq!(
        defs["members"]["additionalProperties"]["anyOf"].as_array().map(Vec::len),
        Some(2),
        "{defs:#}"
    );
    let parts = &defs["sections"]["additionalProperties"]["anyOf"][1]["properties"]["parts"]["items"];
    assert_eq!(parts["oneOf"].as_array().unwrap().len(), ShapeKind::ALL.len());
    assert_eq!(parts["required"], json!(["of"]));
    let words = parts["properties"]["tube"]["description"].as_str().unwrap();
    assert!(words.contains("60 x 40 x 3 mm"), "{words}");
    let grain = &defs["mixes"]["additionalProperties"]["anyOf"][1]["properties"]["aggregates"]["items"];
    assert_eq!(grain["properties"]["shape"]["enum"], json!(["spherical", "rounded", "angular"]));
}

#[test]
fn the_starter_and_the_file_of_every_key_hold() {
    assert_eq!(faults(STARTER), Vec::<String>::new());
    assert_eq!(faults(&every_key()), Vec::<String>::new());
}

/// The places of all tables in a design.
fn tables(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(keys) => {
            found.push(at.to_string());
            keys.iter().for_each(|(key, value)| {
                tables(value, &format!("{at}/{}", key.replace('~', "~0").replace('/', "~1")), found);
            });
        }
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(i, item)| tables(item, &format!("{at}/{i}"), found));
        }
        _ => {}
    }
}

#[test]
fn an_unknown_key_in_any_table_is_refused_where_the_reader_refuses_it() {
    let whole: Value = toml::from_str(&every_key()).unwrap();
    let mut places = Vec::new();
    tables(&whole, "", &mut places);
    assert!(places.len() > 60, "{}", places.len());
    // A key among prices is the name of a material, one among patches that of a point; whether its text is
    // valid is left to the reader.
    let named_by_the_user = |place: &&String| place.ends_with("prices") || place.ends_with("patches");
    for place in places.iter().filter(|place| !named_by_the_user(place)) {
        let mut changed = whole.clone();
        changed.pointer_mut(place).unwrap()["no_such_key"] = json!("x");
        let text = toml::to_string(&changed).unwrap();
        let reader = Reader::new("d.toml", &text);
        Sheet::read(reader.root());
        let refused = reader.finish().0.iter().any(|problem| problem.is_error());
        assert_eq!(refused, !VALIDATOR.is_valid(&changed), "{place}");
    }
}

#[test]
fn a_key_that_is_needed_and_left_out_is_refused_by_both() {
    let whole: Value = toml::from_str(&every_key()).unwrap();
    for (table, key) in [
        ("/members/rail", "section"),
        ("/masses/head", "mass"),
        ("/feet/levelling", "stiffness"),
        ("/sections/rail/parts/0", "of"),
        ("/sections/rail/parts/0", "rectangle"),
        ("/mixes/sand", "binder"),
        ("/vary/bond", "bond"),
        ("/tool", "tip"),
        ("", "builds"),
    ] {
        let mut changed = whole.clone();
        changed.pointer_mut(table).unwrap().as_object_mut().unwrap().remove(key).unwrap();
        let text = toml::to_string(&changed).unwrap();
        let reader = Reader::new("d.toml", &text);
        Sheet::read(reader.root());
        assert!(reader.finish().0.iter().any(|problem| problem.is_error()), "{table} {key}");
        assert!(!VALIDATOR.is_valid(&changed), "{table} {key}");
    }
}

/// `text` with what stands in quotes in one line changed.
fn mutated(text: &str, line: usize, slip: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let chosen = line % lines.len();
    let changed = |(i, line): (usize, &&str)| match (i == chosen, line.find('"'), line.rfind('"')) {
        (true, Some(a), Some(b)) if a < b => format!("{}{slip}{}", &line[..=a], &line[b..]),
        _ => (*line).to_string(),
    };
    lines.iter().enumerate().map(changed).collect::<Vec<_>>().join("\n")
}

proptest! {
    #![proptest_config(crate::seeds::cases(400))]

    #[test]
    fn no_design_that_is_read_is_refused(
        line in 0usize..400,
        slip in prop_oneof![
            "[-+]?[0-9.]{1,4} (mm|in|kg|N/um|GPa|K|N s|rpm|%)",
            "[0-9]{1,2}( ?x ?[0-9]{1,2}){1,3} mm",
            "[0-9], [0-9], [0-9] (mm|N/um|kg m2)",
            "[0-9.]{1,3}( to |, )[0-9.]{1,3} (mm|rpm)",
            "0(, 0){0,2}",
            "[a-z ,]{0,12}",
            "u[xyz],? ?r[xyz] ",
        ],
    ) {
        for text in [every_key().as_str(), STARTER] {
            let text = mutated(text, line, &slip);
            let reader = Reader::new("d.toml", &text);
            Sheet::read(reader.root());
            if !reader.finish().0.iter().any(|problem| problem.is_error()) {
                prop_assert_eq!(faults(&text), Vec::<String>::new());
            }
        }
    }
}
