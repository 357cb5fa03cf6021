//! Temperature and weight as blocks: drift, bow, stress, sag.

use super::super::block::{Axis, Bar, Bars, Block, Curve, Series, Unit};
use super::super::table::{Column, Table};
use crate::quantity::{Kind, Spread, figures, show};
use crate::response::accuracy::{FailureKind, Straightness, ThermalMember, ThermalPart, Weighed};
use crate::study::warm::{BuildWarm, Warm, settled};
use serde::Serialize;

const UM: Unit = Unit::new("µm", 1e-6);
const MPA: Unit = Unit::new("MPa", 1e6);

/// One part of one member, as a row for programs.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    member: &'a str,
    bow_m: f64,
    growth_m: f64,
    #[serde(flatten)]
    part: &'a ThermalPart,
}

fn rows(build: &BuildWarm) -> Vec<Row<'_>> {
    let of = |member: &'_ ThermalMember| member.parts.len();
    let mut rows = Vec::with_capacity(build.thermal.state.members.iter().map(of).sum());
    for member in &build.thermal.state.members {
        rows.extend(member.parts.iter().map(|part| Row {
            build: &build.thermal.name,
            member: &member.name,
            bow_m: member.bow_m,
            growth_m: member.growth_m,
            part,
        }));
    }
    rows
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("member", "member", |row: &Row| row.member.to_string()),
        Column::text("part", "of", |row: &Row| row.part.of.clone()),
        Column::number("growth", UM, "growth_m", |row: &Row| Some(row.growth_m)),
        Column::number("bow", UM, "bow_m", |row: &Row| Some(row.bow_m)),
        Column::number("warmth", MPA, "stress_pa", |row: &Row| Some(row.part.stress_pa)),
        Column::number("margin", Unit::NONE, "margin", |row: &Row| row.part.margin),
        weighed("weight", MPA, "weight.stress_pa", |weight| Some(weight.stress_pa)),
        weighed("together", MPA, "weight.together_pa", |weight| Some(weight.together_pa)),
        weighed("margin", Unit::NONE, "weight.margin", |weight| weight.margin),
        Column::number("bond shear", MPA, "bond_shear_pa", |row: &Row| row.part.bond_shear_pa),
    ]
}

fn weighed<'a>(title: &str, unit: Unit, key: &str, read: fn(&Weighed) -> Option<f64>) -> Column<Row<'a>> {
    Column::number(title, unit, key, move |row: &Row| row.part.weight.as_ref().and_then(read))
}

/// Growth and bow, one row a member.
fn member_columns() -> Vec<Column<ThermalMember>> {
    vec![
        Column::text("member", "name", |member: &ThermalMember| member.name.clone()),
        Column::number("growth", UM, "growth_m", |member: &ThermalMember| Some(member.growth_m)),
        Column::number("bow", UM, "bow_m", |member: &ThermalMember| Some(member.bow_m)),
    ]
}

/// Those of `columns` that are stresses along a member, without the margin that weight lessens.
fn stress_columns<'a>(carried: bool) -> Vec<Column<Row<'a>>> {
    let mut columns = columns();
    columns.retain(|column| match column.key() {
        "growth_m" | "bow_m" | "bond_shear_pa" => false,
        "margin" => !carried,
        key => carried || !key.starts_with("weight"),
    });
    columns
}

/// One row a part of a member, in SI.
pub fn table(answer: &Warm) -> Table {
    let mut columns = columns();
    columns.insert(0, Column::text("build", "build", |row: &Row| row.build.to_string()));
    let rows: Vec<Row> = answer.builds.iter().flat_map(rows).collect();
    Table::new("thermal", &columns, &rows)
}

/// Drift of all builds, then each build's members, straightness, sag and travel.
pub fn blocks(answer: &Warm) -> Vec<Block> {
    let mut blocks = vec![Block::Bars(drifts(answer))];
    for build in &answer.builds {
        blocks.push(Block::Heading(build.label.clone()));
        blocks.push(Block::Note(told(build)));
        let state = &build.thermal.state;
        blocks.push(Block::Table(Table::new("Under the stated change", &member_columns(), &state.members)));
        let rows = rows(build);
        let carried = rows.iter().any(|row| row.part.weight.is_some());
        let title = if carried {
            "Stress, largest in each part, tension positive (warmth and weight may relieve each other), and strength over it"
        } else {
            "Stress, largest in each part"
        };
        blocks.push(Block::Table(Table::new(title, &stress_columns(carried), &rows)));
        blocks.extend(bonds(&rows));
        if !state.straightness.is_empty() {
            blocks.push(Block::Table(Table::new(
                "Straightness",
                &straightness_columns(),
                &state.straightness,
            )));
        }
        for failure in &build.thermal.failures {
            let how = match failure.how {
                FailureKind::Cracks => "would crack",
                FailureKind::LetsGo => "would let go of the skeleton",
            };
            blocks.push(Block::Note(format!(
                "{} in {} {how}, {} from its start: {} where it stands {}. The answer with it sliding is in --format json.",
                failure.of,
                failure.member.replace('_', " "),
                show(failure.at_m, Kind::Length),
                show(failure.stress_pa, Kind::Stress),
                show(failure.strength_pa, Kind::Stress)
            )));
        }
        blocks.extend(travel(build).map(Block::Curve));
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The shear of the bonds: the largest in words, or all where the bond strength is stated.
fn bonds(rows: &[Row]) -> Option<Block> {
    if rows.iter().any(|row| row.part.bond_margin.is_some()) {
        let columns = [
            Column::text("member", "member", |row: &Row| row.member.to_string()),
            Column::text("part", "of", |row: &Row| row.part.of.clone()),
            Column::number("shear", MPA, "bond_shear_pa", |row: &Row| row.part.bond_shear_pa),
            Column::number("margin", Unit::NONE, "bond_margin", |row: &Row| row.part.bond_margin),
        ];
        return Some(Block::Table(Table::new("Shear of the bond at the members' ends", &columns, rows)));
    }
    let shear = |row: &&Row| row.part.bond_shear_pa.unwrap_or(0.0);
    let worst = rows.iter().max_by(|a, b| shear(a).total_cmp(&shear(b)))?;
    let (most, part) = (worst.part.bond_shear_pa?, &worst.part);
    Some(Block::Note(format!(
        "The largest shear of a bond is {}, of {} in {}. With bond_strength in [thermal] every bond is judged.",
        show(most, Kind::Stress),
        part.of,
        worst.member.replace('_', " ")
    )))
}

fn drifts(answer: &Warm) -> Bars {
    let size = |build: &BuildWarm| {
        build.thermal.drift_m_per_k.map(|d| Spread::exact((d.x * d.x + d.y * d.y + d.z * d.z).sqrt()))
    };
    Bars {
        title: "Drift of the tip from the work for one kelvin everywhere".to_string(),
        unit: Unit::new("µm/K", 1e-6),
        key: "drift_m_per_k".to_string(),
        bars: answer.builds.iter().map(|build| Bar::new(&build.label, size(build))).collect(),
    }
}

fn told(build: &BuildWarm) -> String {
    let um = |x: f64| format!("{} µm", figures(1e6 * settled(x), 3));
    let mut told = Vec::new();
    if let Some(drift) = build.thermal.drift_m_per_k {
        told.push(format!(
            "Drift per kelvin: {}, {}, {} along x, y, z.",
            um(drift.x),
            um(drift.y),
            um(drift.z)
        ));
    }
    if let Some(turn) = build.thermal.turn_rad_per_k {
        let urad = |x: f64| format!("{} µrad", figures(1e6 * settled(x), 3));
        told.push(format!("It turns by {}, {}, {}.", urad(turn.x), urad(turn.y), urad(turn.z)));
    }
    if let Some(settling) = &build.settling {
        let known = settling.sections.iter().filter_map(|s| Some((&s.section, s.time_constant_s?)));
        if let Some((section, slowest)) = known.max_by(|a, b| a.1.total_cmp(&b.1)) {
            told.push(format!(
                "Its slowest section, \"{section}\", follows the room with {} h.",
                figures(slowest / 3600.0, 2)
            ));
        }
        if let Some(time) = settling.drift_settled_s {
            told.push(format!(
                "Tip and work are within {} of where they will stay after {} h{}, with a film of {}.",
                show(settling.settle_to_m, Kind::Length),
                figures(time / 3600.0, 2),
                build.drift_settled_between_s.map_or(String::new(), |[least, most]| {
                    format!(" ({} to {} h)", figures(least / 3600.0, 2), figures(most / 3600.0, 2))
                }),
                show(settling.air_w_per_m2_k, Kind::Film)
            ));
        }
    }
    if let Some(drift) = build.sag.as_ref().and_then(|sag| sag.drift_m) {
        told.push(format!(
            "Under its own weight the tip moves by {}, {}, {}.",
            um(drift.x),
            um(drift.y),
            um(drift.z)
        ));
    }
    if let Some(best) = &build.carry {
        let shares: Vec<String> = best.shares.iter().map(|s| figures(*s, 4)).collect();
        let spacing = best.shares.last().zip(best.shares.first()).map_or(0.0, |(b, a)| b - a);
        told.push(format!(
            "Carry it at {} of the length (the outer ones {} of it apart).",
            shares.join(", "),
            figures(spacing, 4)
        ));
    }
    told.join(" ")
}

fn straightness_columns() -> Vec<Column<Straightness>> {
    let number = |title: &str, key: &str, read: fn(&Straightness) -> f64| {
        Column::number(title, UM, key, move |s: &Straightness| Some(read(s)))
    };
    vec![
        Column::text("member", "member", |s: &Straightness| s.member.clone()),
        number("across", "across.before_m", |s| s.across.before_m),
        number("best line removed", "across.after_m", |s| s.across.after_m),
        number("up", "up.before_m", |s| s.up.before_m),
        number("best line removed", "up.after_m", |s| s.up.after_m),
    ]
}

/// Tip from work along the travel of the carriage; `None` without one.
fn travel(build: &BuildWarm) -> Option<Curve> {
    let travel = build.sag.as_ref()?.travel.as_ref()?;
    let line = |name: &str, read: fn(&crate::response::accuracy::Stop) -> Option<f64>| {
        Series::line(name, travel.stops.iter().filter_map(|s| Some([s.share, read(s)?])).collect())
    };
    Some(Curve {
        title: "Tip from work as the carriage travels".to_string(),
        x: Axis::linear("travel", Unit::PERCENT, "share"),
        y: Axis::linear("tip from work", UM, "drift_m"),
        series: vec![
            line("x", |s| s.drift_m.map(|d| d.x)),
            line("y", |s| s.drift_m.map(|d| d.y)),
            line("z", |s| s.drift_m.map(|d| d.z)),
        ],
        marks: Vec::new(),
    })
}
