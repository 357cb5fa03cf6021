//! The table of materials as blocks.

use super::super::block::Block;
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_material::{ListedFigure, ListedMaterial, Listing};

/// One property of one material.
#[derive(Serialize)]
struct Row<'a> {
    material: &'a str,
    #[serde(flatten)]
    figure: &'a ListedFigure,
}

fn rows(listing: &Listing) -> Vec<Row<'_>> {
    listing
        .materials
        .iter()
        .flat_map(|material| material.figures.iter().map(|figure| Row { material: &material.name, figure }))
        .collect()
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("material", "material", |row: &Row| row.material.to_string()),
        Column::text("property", "property", |row: &Row| row.figure.property.name().to_string()),
        Column::number("value", Unit::NONE, "value", |row: &Row| Some(row.figure.value)),
        Column::number("low", Unit::NONE, "low", |row: &Row| Some(row.figure.low)),
        Column::number("high", Unit::NONE, "high", |row: &Row| Some(row.figure.high)),
        Column::text("source", "source", |row: &Row| row.figure.source.clone()),
        Column::text("note", "note", |row: &Row| row.figure.note.clone()),
    ]
}

/// Every property of the listing in SI.
pub fn table(listing: &Listing) -> Table {
    Table::new("materials", &columns(), &rows(listing))
}

/// Each material with its properties in shown units; the sources once at the end.
pub fn blocks(listing: &Listing) -> Vec<Block> {
    let mut blocks = Vec::new();
    let columns = || {
        vec![
            Column::text("property", "property", |f: &ListedFigure| f.property.name().replace('_', " ")),
            Column::text("value", "shown", |f: &ListedFigure| f.shown.clone()),
            Column::text("5 % to 95 %", "shown_spread", |f: &ListedFigure| f.shown_spread.clone()),
            Column::text("source", "source", |f: &ListedFigure| {
                if f.overridden { format!("{} (yours)", f.source) } else { f.source.clone() }
            }),
        ]
    };
    for material in &listing.materials {
        let title = format!("{} ({})", material.name, material.role.name());
        blocks.push(Block::Table(Table::new(&title, &columns(), &material.figures)));
        let notes: Vec<String> = material
            .figures
            .iter()
            .filter(|figure| !figure.note.is_empty())
            .map(|figure| format!("{}: {}.", figure.property.name().replace('_', " "), figure.note))
            .collect();
        if !notes.is_empty() {
            blocks.push(Block::Note(notes.join(" ")));
        }
    }
    blocks.extend(sources(listing));
    blocks
}

/// An overview with one row per material.
pub fn overview(listing: &Listing) -> Vec<Block> {
    let shown = |name: &'static str| {
        move |m: &ListedMaterial| {
            m.figures.iter().find(|f| f.property.name() == name).map_or("-".to_string(), |f| f.shown.clone())
        }
    };
    let columns = [
        Column::text("material", "name", |m: &ListedMaterial| m.name.clone()),
        Column::text("role", "role", |m: &ListedMaterial| m.role.name().to_string()),
        Column::text("modulus", "youngs_modulus", shown("youngs_modulus")),
        Column::text("density", "density", shown("density")),
        Column::text("loss factor", "loss_factor", shown("loss_factor")),
    ];
    vec![
        Block::Table(Table::new("Materials", &columns, &listing.materials)),
        Block::Note("One with all its values, spreads and sources: stillbed materials NAME".to_string()),
    ]
}

/// The citations of the listing's source keys, each once.
fn sources(listing: &Listing) -> Option<Block> {
    let mut cited: Vec<String> = Vec::new();
    for figure in listing.materials.iter().flat_map(|material| &material.figures) {
        let line = format!("{}: {}", figure.source, figure.citation);
        if figure.citation != figure.source && !figure.citation.is_empty() && !cited.contains(&line) {
            cited.push(line);
        }
    }
    (!cited.is_empty()).then(|| Block::Note(format!("Sources. {}", cited.join(" — "))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_material::{Sources, Table as Materials};

    #[test]
    fn columns_agree_with_json() {
        let listing = Listing::of(&Materials::built_in(), &Sources::built_in());
        let rows = rows(&listing);
        assert!(rows.len() > 200);
        assert_eq!(disagreements(&columns(), &rows), Vec::<String>::new());
    }
}
