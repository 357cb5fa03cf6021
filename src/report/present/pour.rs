//! The pour as blocks: a sheet to print and take to the bench.

use super::super::block::{Axis, Block, Curve, Mark, Series, Unit};
use super::super::table::{Column, Table};
use crate::quantity::{Kind, figures, show};
use crate::study::pour::bodies::{BuildPour, Pours};
use crate::study::pour::{PourSheet, Purchase, Weight};
use serde::Serialize;

/// One thing to weigh, as a row for programs.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    mix: &'a str,
    #[serde(flatten)]
    weight: &'a Weight,
}

/// Everything to weigh, in SI.
pub fn table(answer: &Pours) -> Table {
    let columns = [
        Column::text("build", "build", |row: &Row| row.build.to_string()),
        Column::text("mix", "mix", |row: &Row| row.mix.to_string()),
        Column::text("of", "of", |row: &Row| row.weight.of.clone()),
        Column::number("mass", Unit::NONE, "mass_kg", |row: &Row| Some(row.weight.mass_kg)),
    ];
    let mut rows = Vec::new();
    for build in &answer.builds {
        for sheet in &build.sheets {
            rows.extend(sheet.weights.iter().map(|weight| Row {
                build: &build.name,
                mix: &sheet.mix,
                weight,
            }));
        }
    }
    Table::new("pour", &columns, &rows)
}

/// The sheets of every build.
pub fn blocks(answer: &Pours) -> Vec<Block> {
    let mut blocks = Vec::new();
    for build in &answer.builds {
        blocks.push(Block::Heading(format!("Pour sheet: {}", build.label)));
        blocks.push(Block::Note(told(build)));
        for sheet in &build.sheets {
            blocks.extend(of_sheet(sheet));
        }
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

fn told(build: &BuildPour) -> String {
    let mut told = format!("The finished base weighs {}.", show(build.base_mass_kg, Kind::Mass));
    if build.corner_overlaps > 0 {
        told.push_str(&format!(
            " Corners: {} ends of members lie inside others; {} were taken off once.",
            build.corner_overlaps,
            show(build.corner_overlap_m3, Kind::Volume)
        ));
    }
    if let Some(cost) = build.cost {
        told.push_str(&format!(" The mix costs {} at the prices stated.", figures(cost, 4)));
    }
    told
}

fn of_sheet(sheet: &PourSheet) -> Vec<Block> {
    let kg = Unit::new("kg", 1.0);
    let weights = [
        Column::text("weigh", "of", |w: &Weight| w.of.clone()),
        Column::number("in all", kg, "mass_kg", |w: &Weight| Some(w.mass_kg)).digits(4),
    ];
    let mut blocks =
        vec![Block::Note(filled(sheet)), Block::Table(Table::new(&sheet.mix, &weights, &sheet.weights))];
    if let Some(batches) = &sheet.batches {
        let title = format!(
            "One of {} batches of {}, mixed and placed in {}",
            batches.count,
            show(batches.mass_kg, Kind::Mass),
            show(batches.time_s, Kind::Time)
        );
        blocks.push(Block::Table(Table::new(&title, &weights, &batches.weights)));
    }
    blocks.push(Block::Table(Table::new("To buy", &shopping_columns(), &sheet.shopping)));
    if let Some(heat) = &sheet.heat {
        blocks.push(Block::Note(warmth(sheet)));
        let points = heat.cure.history.iter().map(|m| [m.time_s, m.middle_k - 273.15]).collect();
        let mut marks = Vec::new();
        if let Some(limit) = heat.limit_k {
            marks.push(Mark::Y { at: limit - 273.15, label: "limit of the binder".to_string() });
        }
        blocks.push(Block::Curve(Curve {
            title: "Temperature in the middle of a lift".to_string(),
            x: Axis::linear("time", Unit::new("h", 3600.0), "time_s"),
            y: Axis::linear("temperature", Unit::new("°C", 1.0), "middle_c"),
            series: vec![Series::line("middle", points)],
            marks,
        }));
    }
    if let Some(mould) = &sheet.mould {
        let board = mould
            .board_m
            .map_or("closer ribs".to_string(), |b| format!("a board of {}", show(b, Kind::Length)));
        blocks.push(Block::Note(format!(
            "The mould holds {} at its foot; with ribs {} apart and {} of bending it takes {board} of plywood.",
            show(mould.pressure_pa, Kind::Stress),
            show(mould.span_m, Kind::Length),
            show(mould.deflection_m, Kind::Length)
        )));
    }
    for (i, step) in sheet.steps.iter().enumerate() {
        blocks.push(Block::Note(format!("[ ] {}. {step}", i + 1)));
    }
    blocks.extend(sheet.cautions.iter().map(|caution| Block::Note(format!("Caution: {caution}"))));
    if !sheet.notes.is_empty() {
        blocks.push(Block::Problems(sheet.notes.clone()));
    }
    blocks
}

fn filled(sheet: &PourSheet) -> String {
    let mut told = format!(
        "{} to fill at {}: {} cast, {} to mix with waste; {} to lift with its skeleton.",
        show(sheet.volume_m3, Kind::Volume),
        show(sheet.density_kg_per_m3, Kind::Density),
        show(sheet.cast_mass_kg, Kind::Mass),
        show(sheet.mixed_mass_kg, Kind::Mass),
        show(sheet.lifting_mass_kg, Kind::Mass)
    );
    told.push_str(&match sheet.lifts.count {
        1 => format!(" One lift of {}.", show(sheet.lifts.height_m, Kind::Length)),
        n => format!(
            " {n} lifts of {}, {} apart.",
            show(sheet.lifts.height_m, Kind::Length),
            sheet.lifts.wait_s.map_or("-".to_string(), |wait| format!("{} h", figures(wait / 3600.0, 2)))
        ),
    });
    told
}

fn warmth(sheet: &PourSheet) -> String {
    let Some(heat) = &sheet.heat else {
        return String::new();
    };
    let celsius = |kelvin: f64| format!("{} °C", figures(kelvin - 273.15, 3));
    let mut told = format!(
        "Without any loss the cure would warm it by {} K. Through {} the middle reaches {}",
        figures(heat.adiabatic_rise_k, 3),
        show(heat.thickness_m, Kind::Length),
        celsius(heat.cure.peak_k)
    );
    if let Some(limit) = heat.limit_k {
        told.push_str(&format!("; the binder allows {}", celsius(limit)));
    }
    if let Some(largest) = heat.largest_lift_m {
        told.push_str(&format!("; the thickest lift that stays below is {}", show(largest, Kind::Length)));
    }
    told.push('.');
    told
}

fn shopping_columns() -> Vec<Column<Purchase>> {
    let kg = Unit::new("kg", 1.0);
    vec![
        Column::text("buy", "of", |p: &Purchase| p.of.clone()),
        Column::number("needed", kg, "needed_kg", |p: &Purchase| Some(p.needed_kg)),
        Column::number("packs", Unit::NONE, "packs", |p: &Purchase| Some(p.packs as f64)),
        Column::number("of", kg, "pack_kg", |p: &Purchase| Some(p.pack_kg)),
        Column::number("bought", kg, "bought_kg", |p: &Purchase| Some(p.bought_kg)),
    ]
}
