//! What a report is based on: method, spreads, materials, sources, and its cautions.

use super::super::block::Block;
use super::super::table::{Column, Table};
use std::collections::{BTreeMap, BTreeSet};
use stillbed_design::{Design, Substance};
use stillbed_input::document::Uncertain;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, show};
use stillbed_material::{Material, Sources, keys_of};
use stillbed_study::proof::Proof;

/// Method and assumptions in a paragraph.
pub(super) fn summary(design: &Design, proof: &Proof) -> Vec<Block> {
    let mut text = "Members are beams with the exact stiffness of their sections, which are solved by finite elements; damping follows from the loss factor of every material, joint and foot. ".to_string();
    if !design.uncertain.is_empty() {
        text += "What is not known exactly lies within its limits in 90 of 100 cases, independently of the rest. ";
    }
    text += "The appendices list these limits, the materials as they were taken, and the sources.";
    vec![Block::Note(text), Block::Note(super::proof::summary(proof))]
}

/// Every uncertain input, with its limits.
pub(super) fn spreads(design: &Design) -> Vec<Block> {
    let columns = [
        Column::text("quantity", "key", |u: &Uncertain| u.key.clone()),
        Column::text("value", "value", |u: &Uncertain| show(u.spread.value, u.kind)),
        Column::text("5 %", "low", |u: &Uncertain| show(u.spread.low, u.kind)),
        Column::text("95 %", "high", |u: &Uncertain| show(u.spread.high, u.kind)),
        Column::text("limits", "guess", |u: &Uncertain| {
            let of_law =
                u.kind == Kind::Ratio && [".stiffness", ".along"].iter().any(|end| u.key.ends_with(end));
            let limits = if of_law { "of its law" } else { "stated" };
            if u.spread.guess { "usual ones" } else { limits }.to_string()
        }),
    ];
    if design.uncertain.is_empty() {
        return vec![Block::Note("Every quantity is taken as exact.".to_string())];
    }
    vec![Block::Table(Table::new("What is not known exactly", &columns, &design.uncertain))]
}

/// Every warning about the answer and about the design, each once, and what such an answer is worth.
pub(super) fn cautions(answer: &[Problem], design: &Design) -> Vec<Block> {
    let mut all = answer.to_vec();
    all.extend(design.notes.iter().filter(|note| !answer.contains(note)).cloned());
    let mut blocks = Vec::new();
    if !all.is_empty() {
        blocks.push(Block::Problems(all));
    }
    blocks.push(Block::Note(
        "These are estimates for design, not a certificate: where a failure could hurt someone, local codes and a licensed engineer decide."
            .to_string(),
    ));
    blocks
}

/// One property of one material.
struct Row {
    material: String,
    property: String,
    value: String,
    spread: String,
    source: String,
}

/// The properties of every material that the builds use, and the sources of these properties and of the
/// published cases.
pub(super) fn sources(design: &Design, proof: &Proof) -> Vec<Block> {
    let mut used: BTreeMap<&str, &Material> = BTreeMap::new();
    for substance in design.builds.iter().flat_map(|build| &build.substances) {
        match substance {
            Substance::Material(material) => {
                used.insert(&material.name, material);
            }
            Substance::Mix(recipe) => {
                let grains = recipe.aggregates.iter().map(|aggregate| &aggregate.ingredient);
                let ingredients = [&recipe.binder].into_iter().chain(&recipe.pigment).chain(grains);
                used.extend(ingredients.map(|i| (i.material.name.as_str(), &i.material)));
            }
        }
    }
    let rows: Vec<Row> = used.values().flat_map(|material| rows(material)).collect();
    let columns = [
        Column::text("material", "material", |row: &Row| row.material.clone()),
        Column::text("property", "property", |row: &Row| row.property.clone()),
        Column::text("value", "value", |row: &Row| row.value.clone()),
        Column::text("5 % to 95 %", "spread", |row: &Row| row.spread.clone()),
        Column::text("source", "source", |row: &Row| row.source.clone()),
    ];
    let known = Sources::built_in();
    let cases = proof.cases.iter().map(|case| case.source.as_str());
    let keys: BTreeSet<&str> =
        rows.iter().map(|row| row.source.as_str()).chain(cases).flat_map(keys_of).collect();
    let cited: Vec<(&str, &str)> =
        keys.into_iter().filter_map(|key| Some((key, known.citation(key)?))).collect();
    let bibliography = [
        Column::text("key", "key", |row: &(&str, &str)| row.0.to_string()),
        Column::text("source", "citation", |row: &(&str, &str)| row.1.to_string()),
    ];
    vec![
        Block::Table(Table::new("Materials as they were taken", &columns, &rows)),
        Block::Table(Table::new("Sources", &bibliography, &cited)),
    ]
}

fn rows(material: &Material) -> Vec<Row> {
    let figure = |(property, figure): (&stillbed_material::Property, &stillbed_material::Figure)| Row {
        material: material.name.clone(),
        property: property.name().replace('_', " "),
        value: property.show(figure.spread.value),
        spread: match figure.spread.is_exact() {
            true => String::new(),
            false => format!("{} to {}", property.show(figure.spread.low), property.show(figure.spread.high)),
        },
        source: figure.source.clone(),
    };
    material.values.iter().map(figure).collect()
}
