//! What may a design file hold? A JSON Schema by which editors complete and check it.
//!
//! Nothing is stated twice: the readers of the design are run on a file that has every key, and what they ask
//! for (the keys of each table, their forms, which of them are required) becomes the schema. What a schema
//! cannot check (whether names exist, physics) is left to `check`.

use super::Sheet;
use super::described::DESCRIBED;
use serde_json::{Map, Value, json};
use stillbed_input::document::{Allowed, Asked, AskedTable, Form, Reader};
use stillbed_input::quantity::pattern::{
    list_pattern, loss_pattern, range_pattern, ratio_pattern, size_pattern,
};
use stillbed_input::quantity::{Kind, example};
use stillbed_section::ShapeKind;

/// A design that states every key once, but for the shapes.
const EVERY_KEY: &str = include_str!("every-key.toml");

/// A design that states every key: that of the file, and a section with a part of each shape.
fn every_key() -> String {
    let parts: Vec<String> = ShapeKind::ALL.iter().map(|kind| kind.part("steel")).collect();
    let bars =
        parts.iter().map(|part| part.replacen("{ ", "{ from = \"0, 0, 0 mm\", to = \"0, 0, 400 mm\", ", 1));
    let bars: Vec<String> = bars.collect();
    format!(
        "{EVERY_KEY}\n[sections.shapes]\nparts = [\n{},\n]\n[bodies.shapes]\nparts = [\n{},\n]\n",
        parts.join(",\n"),
        bars.join(",\n")
    )
}

/// What a build states may also be stated for all builds, under the same keys.
const BUILDS: &str = "builds/*/";

/// The JSON Schema (draft 2020-12) of a design file, indented, with a newline at its end.
#[must_use]
pub fn schema() -> String {
    let asked = asked();
    let mut schema = Schema { asked: &asked, defined: Map::new() };
    let mut whole = schema.table("");
    whole["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    whole["title"] = json!("Stillbed design");
    whole["description"] = json!("The base of a small precision machine and the ways to build it.");
    whole["required"] = json!(["builds"]);
    whole["$defs"] = Value::Object(schema.defined);
    format!("{whole:#}\n")
}

/// What the readers of a design ask for.
fn asked() -> Asked {
    let text = every_key();
    let reader = Reader::recording("every-key.toml", &text);
    Sheet::read(reader.root());
    reader.asked()
}

/// The description of the key at `place`; that of a shape is the shape's own.
fn described(place: &str) -> Option<&'static str> {
    let part = ["sections", "bodies"]
        .into_iter()
        .find_map(|of| place.strip_prefix(of)?.strip_prefix("/*/parts/[]/"));
    let shape = || part.and_then(ShapeKind::named);
    let known = DESCRIBED.iter().find(|(known, _)| *known == place).map(|(_, words)| *words);
    known.or_else(|| shape().map(|kind| kind.words))
}

struct Schema<'a> {
    asked: &'a Asked,
    /// By name: tables common to the file and its builds, and kinds of quantities.
    defined: Map<String, Value>,
}

impl Schema<'_> {
    /// The table at `place`.
    fn table(&mut self, place: &str) -> Value {
        let asked = self.asked;
        let Some(table) = asked.get(place) else { return json!({ "type": "object" }) };
        let mut properties = Map::new();
        let mut others = json!(false);
        for key in table.keys.keys() {
            let below = if place.is_empty() { key.clone() } else { format!("{place}/{key}") };
            let value = self.value(&below, table, key);
            match key.as_str() {
                "*" => others = value,
                _ => drop(properties.insert(key.clone(), value)),
            }
        }
        let mut schema = json!({
            "type": "object",
            "properties": properties,
            "additionalProperties": others,
        });
        let needed: Vec<&str> = table.needed().collect();
        if !needed.is_empty() {
            schema["required"] = json!(needed);
        }
        for choice in &table.choices {
            let ways: Vec<Value> = choice.iter().map(|key| json!({ "required": [key] })).collect();
            schema["oneOf"] = json!(ways);
        }
        schema
    }

    /// The value at `place`, which is `key` of `table`.
    fn value(&mut self, place: &str, table: &AskedTable, key: &str) -> Value {
        let forms = table.keys.get(key).map(|key| key.forms.as_slice()).unwrap_or_default();
        // What a build states in place of common things is read by the same reader.
        let own = place.strip_prefix(BUILDS).unwrap_or(place);
        let common = forms.contains(&Form::Table) && self.has("", own) && self.has("builds/*", own);
        let ways: Vec<Value> = match common {
            true => vec![self.shared(own)],
            false => forms.iter().map(|form| self.form(place, form)).collect(),
        };
        let mut schema = match <[Value; 1]>::try_from(ways) {
            Ok([only]) => only,
            Err(ways) => json!({ "anyOf": ways }),
        };
        let words: Vec<String> =
            described(own).or(described(place)).map(str::to_string).into_iter().chain(told(forms)).collect();
        if !words.is_empty() {
            schema["description"] = json!(words.join(" "));
        }
        schema
    }

    /// True when the tables at `place` are asked for `key`.
    fn has(&self, place: &str, key: &str) -> bool {
        self.asked.get(place).is_some_and(|table| table.keys.contains_key(key))
    }

    /// A table that the file and its builds have in common.
    fn shared(&mut self, key: &str) -> Value {
        if !self.defined.contains_key(key) {
            let table = self.table(key);
            self.defined.insert(key.to_string(), table);
        }
        reference(key)
    }

    fn form(&mut self, place: &str, form: &Form) -> Value {
        match form {
            Form::Text => json!({ "type": "string" }),
            Form::Word(words) => json!({ "enum": words }),
            Form::Words(words) => {
                json!({ "type": "string", "pattern": format!("^[ ,]*(?:(?:{})(?:[ ,]+|$))+$", words.join("|")) })
            }
            Form::False => json!({ "const": false }),
            Form::Flag => json!({ "type": "boolean" }),
            Form::Quantity { kind, count, allowed, spread } => {
                self.quantity(*kind, *count, *allowed, *spread)
            }
            Form::Losses(allowed) => {
                let at_one = json!({
                    "type": "object",
                    "properties": {
                        "loss": self.quantity(Kind::Ratio, 1, *allowed, true),
                        "at": self.quantity(Kind::Length, 1, Allowed::Positive, false),
                    },
                    "required": ["loss", "at"],
                    "additionalProperties": false,
                });
                let item = json!({ "anyOf": [text(loss_pattern()), at_one] });
                let both = json!({ "type": "array", "items": item, "minItems": 1, "maxItems": 2 });
                json!({ "anyOf": [text(loss_pattern()), both] })
            }
            Form::Size(counts) => text(size_pattern(counts)),
            Form::Range(kind) => text(range_pattern(*kind)),
            Form::Ratio => text(ratio_pattern()),
            Form::Counts => one_or_several(json!({ "type": "integer", "minimum": 1 })),
            Form::Names => one_or_several(json!({ "type": "string" })),
            Form::Table => self.table(place),
            Form::Tables => json!({ "type": "array", "items": self.table(&format!("{place}/[]")) }),
            Form::Series(one) => {
                let one = self.form(place, one);
                let steps = json!({
                    "type": "object",
                    "properties": { "from": one, "to": one, "steps": { "type": "integer", "minimum": 2 } },
                    "required": ["from", "to"],
                    "additionalProperties": false,
                });
                json!({ "anyOf": [one, { "type": "array", "items": one, "minItems": 1 }, steps] })
            }
        }
    }

    /// A quantity, or `count` of them in one text.
    fn quantity(&mut self, kind: Kind, count: usize, allowed: Allowed, spread: bool) -> Value {
        let noun = kind.name().split_once(' ').map_or(kind.name(), |(_, noun)| noun).replace(' ', "_");
        let name = if count == 1 { noun } else { format!("{noun}_{count}") };
        self.defined.entry(name.clone()).or_insert_with(|| text(list_pattern(kind, count)));
        let mut stated = reference(&name);
        if kind == Kind::Ratio && count == 1 {
            let mut number = json!({ "type": "number" });
            match allowed {
                Allowed::Any => {}
                Allowed::Positive => number["exclusiveMinimum"] = json!(0),
                Allowed::NotNegative => number["minimum"] = json!(0),
                Allowed::Between(low, high) => {
                    number["minimum"] = json!(low);
                    number["maximum"] = json!(high);
                }
            }
            stated = json!({ "anyOf": [number, stated] });
        }
        if !spread {
            return stated;
        }
        let limits = json!({
            "type": "object",
            "properties": { "value": stated, "low": stated, "high": stated },
            "required": ["value", "low", "high"],
            "additionalProperties": false,
        });
        let exact = json!({
            "type": "object",
            "properties": { "value": stated, "exact": { "const": true } },
            "required": ["value", "exact"],
            "additionalProperties": false,
        });
        json!({ "anyOf": [stated, limits, exact] })
    }
}

fn reference(name: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{name}") })
}

fn text(pattern: String) -> Value {
    json!({ "type": "string", "pattern": pattern })
}

fn one_or_several(one: Value) -> Value {
    json!({ "anyOf": [one, { "type": "array", "items": one }] })
}

/// The kind of value, with an example in its unit: `A length, as in "600 mm".`
fn told(forms: &[Form]) -> Option<String> {
    let form = match forms.iter().find(|form| **form != Form::False)? {
        Form::Series(one) => one.as_ref(),
        form => form,
    };
    Some(match form {
        Form::Quantity { kind, count, spread, .. } => {
            let many = if *count == 1 { String::new() } else { format!(", {count} of them") };
            let spread = if *spread { ", or { value, low, high }" } else { "" };
            format!("{}{many}, as in \"{}\"{spread}.", capital(kind.name()), example(*kind, ",", *count))
        }
        Form::Size(counts) => format!("A size, as in \"{}\".", example(Kind::Length, "x", counts[0])),
        Form::Range(kind) => {
            let separator = if *kind == Kind::Length { "to" } else { "," };
            format!("A range, as in \"{}\".", example(*kind, separator, 2))
        }
        Form::Ratio => "A ratio, as in \"100 : 30\".".to_string(),
        Form::Word(words) | Form::Words(words) => format!("Nominal: {}.", words.join(", ")),
        _ => return None,
    })
}

fn capital(words: &str) -> String {
    let (first, rest) = words.split_at(1);
    first.to_uppercase() + rest
}

#[cfg(test)]
#[path = "schema_tests.rs"]
mod tests;
