//! The pour as blocks: a sheet to print and take to the workshop.

use super::super::block::{Axis, Block, Curve, Mark, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_input::quantity::{Kind, figures, show, show_digits};
use stillbed_study::pour::bodies::{BuildPour, Pours};
use stillbed_study::pour::{CastingHeat, Heat, LiftPour, PourSheet, Purchase, Weight};

/// One weight, for CSV.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    mix: &'a str,
    #[serde(flatten)]
    weight: &'a Weight,
}

/// All weights, in SI.
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
        blocks.push(Block::Note(summary(build)));
        for sheet in &build.sheets {
            blocks.extend(of_sheet(sheet));
        }
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

fn summary(build: &BuildPour) -> String {
    let kg = |mass: f64| show_digits(mass, Kind::Mass, 5);
    let mut summary = format!(
        "The finished base weighs {}: {} cast, {} of skeleton and bare members, {} carried.",
        kg(build.base_mass_kg),
        kg(build.cast_kg),
        kg(build.skeleton_kg),
        kg(build.carried_kg)
    );
    if build.corner_overlaps > 0 {
        let ends = match build.corner_overlaps {
            1 => "one end of a member lies".to_string(),
            count => format!("{count} ends of members lie"),
        };
        let volume = show(build.corner_overlap_m3, Kind::Volume);
        summary.push_str(&format!(" Corners: {ends} inside others; {volume} were taken off once."));
    }
    if let Some(cost) = build.cost {
        summary.push_str(&format!(" The mix costs {} at the prices stated.", figures(cost, 4)));
    }
    summary
}

/// One lift of the sheet.
#[derive(Serialize)]
struct LiftRow {
    number: usize,
    begins: String,
    cast_kg: f64,
    mixed_kg: f64,
    over_kg: f64,
    batches: Option<usize>,
    batch_kg: Option<f64>,
    minutes: Option<f64>,
}

impl LiftRow {
    fn of(lift: &LiftPour) -> LiftRow {
        let batches = lift.batches.as_ref();
        LiftRow {
            number: lift.number,
            begins: lift.when(),
            cast_kg: lift.cast_kg,
            mixed_kg: lift.mixed_kg,
            over_kg: lift.over_kg,
            batches: batches.map(|b| b.count),
            batch_kg: batches.map(|b| b.mass_kg),
            minutes: batches.map(|b| b.count as f64 * b.time_s / 60.0),
        }
    }
}

fn lift_columns() -> Vec<Column<LiftRow>> {
    let (kg, none) = (Unit::new("kg", 1.0), Unit::NONE);
    vec![
        Column::number("lift", none, "number", |l: &LiftRow| Some(l.number as f64)),
        Column::text("begins", "begins", |l: &LiftRow| l.begins.clone()),
        Column::number("cast", kg, "cast_kg", |l: &LiftRow| Some(l.cast_kg)).digits(5),
        Column::number("mixed", kg, "mixed_kg", |l: &LiftRow| Some(l.mixed_kg)).digits(5),
        Column::number("over", kg, "over_kg", |l: &LiftRow| Some(l.over_kg)),
        Column::number("batches", none, "batches", |l: &LiftRow| l.batches.map(|n| n as f64)),
        Column::number("each", kg, "batch_kg", |l: &LiftRow| l.batch_kg).digits(5),
        Column::number("takes", Unit::new("min", 1.0), "minutes", |l: &LiftRow| l.minutes).digits(2),
    ]
}

/// One casting of the sheet, in shown units.
#[derive(Serialize)]
struct CastingRow {
    casting: String,
    lifts: usize,
    lift_m: f64,
    hottest_c: f64,
    low_c: f64,
    high_c: f64,
    chance: Option<f64>,
}

impl CastingRow {
    fn of(casting: &CastingHeat) -> CastingRow {
        let each = if casting.count > 1 { format!(" ({} alike)", casting.count) } else { String::new() };
        CastingRow {
            casting: format!("{}{each}", casting.name),
            lifts: casting.lifts,
            lift_m: casting.lift_m,
            hottest_c: casting.peak_k.value - 273.15,
            low_c: casting.peak_k.low - 273.15,
            high_c: casting.peak_k.high - 273.15,
            chance: casting.chance_above_limit,
        }
    }
}

fn casting_columns() -> Vec<Column<CastingRow>> {
    let (mm, celsius, none) = (Unit::new("mm", 1e-3), Unit::new("°C", 1.0), Unit::NONE);
    vec![
        Column::text("casting", "casting", |c: &CastingRow| c.casting.clone()),
        Column::number("lifts", none, "lifts", |c: &CastingRow| Some(c.lifts as f64)),
        Column::number("of", mm, "lift_m", |c: &CastingRow| Some(c.lift_m)),
        Column::number("hottest", celsius, "hottest_c", |c: &CastingRow| Some(c.hottest_c)),
        Column::number("5 %", celsius, "low_c", |c: &CastingRow| Some(c.low_c)),
        Column::number("95 %", celsius, "high_c", |c: &CastingRow| Some(c.high_c)),
        Column::number("too hot", Unit::new("%", 0.01), "chance", |c: &CastingRow| c.chance).digits(2),
    ]
}

fn of_sheet(sheet: &PourSheet) -> Vec<Block> {
    let g = Unit::new("g", 1e-3);
    let weights = |title: &str, rows: &[Weight]| {
        let columns = [
            Column::text("weigh", "of", |w: &Weight| w.of.clone()),
            Column::number("in all", g, "mass_kg", |w: &Weight| Some(w.mass_kg)),
        ];
        Block::Table(Table::new(title, &columns, rows))
    };
    let mut blocks = vec![Block::Note(filled(sheet)), weights(&sheet.mix, &sheet.weights)];
    let lifts: Vec<LiftRow> = sheet.pours.iter().map(LiftRow::of).collect();
    blocks.push(Block::Table(Table::new("Lifts", &lift_columns(), &lifts)));
    for (i, lift) in sheet.pours.iter().enumerate() {
        let Some(batches) = &lift.batches else { continue };
        let alike = |other: &&LiftPour| other.batches.as_ref().is_some_and(|b| b.weights == batches.weights);
        if sheet.pours[..i].iter().any(|other| alike(&other)) {
            continue;
        }
        let of: Vec<String> = sheet.pours.iter().filter(alike).map(|lift| lift.number.to_string()).collect();
        let title = format!(
            "One batch of lift {}: {}, mixed and placed in {}",
            of.join(", "),
            show_digits(batches.mass_kg, Kind::Mass, 5),
            show(batches.time_s, Kind::Time)
        );
        blocks.push(weights(&title, &batches.weights));
    }
    blocks.push(Block::Table(Table::new("To buy", &shopping_columns(), &sheet.shopping)));
    if let Some(heat) = &sheet.heat {
        let rows: Vec<CastingRow> = heat.castings.iter().map(CastingRow::of).collect();
        blocks.push(Block::Table(Table::new("Heat of the cure", &casting_columns(), &rows)));
        blocks.push(Block::Note(warmth(heat)));
        blocks.extend(stood(sheet).map(Block::Note));
        blocks.push(curve(heat));
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

/// Temperature over time at the hottest place of each lift, in the hottest casting.
fn curve(heat: &Heat) -> Block {
    let hottest = heat.hottest();
    let series = (0..hottest.lifts).map(|lift| {
        let points = hottest.history.iter().filter_map(|m| Some([m.time_s, m.lifts_k[lift]? - 273.15]));
        Series::line(&format!("lift {}", lift + 1), points.collect())
    });
    let limit = heat.limit_k.map(|at| Mark::Y { at: at - 273.15, label: "limit of the binder".to_string() });
    Block::Curve(Curve {
        title: format!("Hottest place of each lift: {}", hottest.name),
        x: Axis::linear("time", Unit::new("h", 3600.0), "time_s"),
        y: Axis::linear("temperature", Unit::new("°C", 1.0), "hottest_c"),
        series: series.collect(),
        marks: limit.into_iter().collect(),
    })
}

fn filled(sheet: &PourSheet) -> String {
    let kg = |mass: f64| show_digits(mass, Kind::Mass, 5);
    let mut summary = format!(
        "{} to fill at {}: {} cast, {} to mix with waste; {} to lift with its skeleton.",
        show(sheet.volume_m3, Kind::Volume),
        show(sheet.density_kg_per_m3, Kind::Density),
        kg(sheet.cast_mass_kg),
        kg(sheet.mixed_mass_kg),
        kg(sheet.lifting_mass_kg)
    );
    summary.push_str(&match sheet.lifts.wait_s {
        None => " One lift.".to_string(),
        Some(wait) => format!(
            " Up to {} lifts, {} h from the begin of one to that of the next.",
            sheet.lifts.count,
            figures(wait / 3600.0, 3)
        ),
    });
    summary
}

fn celsius(kelvin: f64) -> String {
    format!("{} °C", figures(kelvin - 273.15, 3))
}

fn warmth(heat: &Heat) -> String {
    let peak = heat.peak_k;
    let mut summary = format!(
        "Without any loss the cure would warm it by {} K. The hottest place, in the {}, reaches {}",
        figures(heat.adiabatic_rise_k, 3),
        heat.hottest().name,
        celsius(peak.value)
    );
    if heat.draws > 0 {
        summary.push_str(&format!(" ({} to {} in nine of ten draws)", celsius(peak.low), celsius(peak.high)));
    }
    if let (Some(limit), Some(chance)) = (heat.limit_k, heat.chance_above_limit) {
        summary.push_str(&format!(
            "; the binder allows {}, passed in {} % of {} draws",
            celsius(limit),
            figures(100.0 * chance, 2),
            heat.draws
        ));
    }
    if let Some(once) = heat.hottest().at_once {
        summary.push_str(&format!(
            ". Poured at once it would reach {} ({} to {})",
            celsius(once.peak_k.value),
            celsius(once.peak_k.low),
            celsius(once.peak_k.high)
        ));
        if let Some(chance) = once.chance_above_limit {
            summary.push_str(&format!(" and pass that in {} %", figures(100.0 * chance, 2)));
        }
    }
    if let Some(largest) = heat.largest_lift_m {
        summary.push_str(&format!(
            "; the thickest wide lift that stays below is {}",
            show(largest, Kind::Length)
        ));
    }
    summary.push('.');
    if let Some(advice) = &heat.advice {
        summary.push_str(&format!(" {advice}"));
    }
    summary
}

/// Working time and heat of a batch left in its bucket, and the maker's cup test behind the cure rate.
fn stood(sheet: &PourSheet) -> Option<String> {
    let bucket = sheet.bucket?;
    let mut summary = format!(
        "A batch of {} can be worked for {}; in its bucket it warms by {} K until then",
        show(bucket.mass_kg, Kind::Mass),
        show(bucket.working_time_s, Kind::Time),
        figures(bucket.warms_k, 2)
    );
    if let Some(gel) = bucket.gel_time_s {
        summary.push_str(&format!(", gels after {}", show(gel, Kind::Time)));
    }
    summary.push_str(&format!(" and, left standing, reaches {}.", celsius(bucket.left_peak_k)));
    if let Some(cup) = sheet.cup {
        summary.push_str(&format!(
            " The rate of the cure was read from the maker's cup of {}, which passes {}.",
            show(cup.mass_kg, Kind::Mass),
            show(cup.loss_w_per_m2_k, Kind::Film)
        ));
    }
    Some(summary)
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
