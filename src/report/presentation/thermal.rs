//! Temperature and own weight as blocks: drift, bow, stress, sag.

use super::super::block::{Axis, Bar, Bars, Block, Curve, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_input::quantity::{Kind, Spread, figures, show};
use stillbed_response::deformation::{CarriagePath, CarriagePlace, CarriageStop, LinePlace, Straightness};
use stillbed_response::thermal::{FailureKind, ThermalBody, ThermalBodyPart, ThermalMember, ThermalPart};
use stillbed_study::thermal::{BuildThermal, ThermalAnswer, without_rounding};

const UM: Unit = Unit::new("µm", 1e-6);
const MPA: Unit = Unit::new("MPa", 1e6);

/// One part of one member, or one material of a body.
#[derive(Serialize)]
struct Row<'a> {
    build: &'a str,
    member: &'a str,
    bow_m: f64,
    growth_m: f64,
    #[serde(flatten)]
    part: RowPart<'a>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum RowPart<'a> {
    Member(&'a ThermalPart),
    Body(&'a ThermalBodyPart),
}

impl Row<'_> {
    /// The part of a member; `None` for a body.
    fn of_member(&self) -> Option<&ThermalPart> {
        match self.part {
            RowPart::Member(part) => Some(part),
            RowPart::Body(_) => None,
        }
    }

    fn of(&self) -> &str {
        match self.part {
            RowPart::Member(part) => &part.of,
            RowPart::Body(part) => &part.of,
        }
    }

    fn stress(&self) -> f64 {
        match self.part {
            RowPart::Member(part) => part.stress_pa,
            RowPart::Body(part) => part.stress_pa,
        }
    }

    fn margin(&self) -> Option<f64> {
        match self.part {
            RowPart::Member(part) => part.margin,
            RowPart::Body(part) => part.margin,
        }
    }

    /// Stress with the weight of everything, Pa, and the margin of that.
    fn together(&self) -> Option<(f64, Option<f64>)> {
        match self.part {
            RowPart::Member(part) => part.weight.as_ref().map(|weight| (weight.together_pa, weight.margin)),
            RowPart::Body(part) => part.weight.map(|weight| (weight.together_pa, weight.margin)),
        }
    }
}

fn rows(build: &BuildThermal) -> Vec<Row<'_>> {
    let build_name = build.thermal.name.as_str();
    let mut rows = Vec::new();
    for member in &build.thermal.state.members {
        rows.extend(member.parts.iter().map(|part| Row {
            build: build_name,
            member: &member.name,
            bow_m: member.bow_m,
            growth_m: member.growth_m,
            part: RowPart::Member(part),
        }));
    }
    for body in &build.thermal.state.bodies {
        rows.extend(body.parts.iter().map(|part| Row {
            build: build_name,
            member: &body.name,
            bow_m: body.bow_m,
            growth_m: largest(&body.growth_m),
            part: RowPart::Body(part),
        }));
    }
    rows
}

/// The entry that is largest in size.
fn largest(all: &[f64]) -> f64 {
    all.iter().copied().fold(0.0, |most: f64, own| if own.abs() > most.abs() { own } else { most })
}

fn columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("member", "member", |row: &Row| row.member.to_string()),
        Column::text("part", "of", |row: &Row| row.of().to_string()),
        Column::number("growth", UM, "growth_m", |row: &Row| Some(row.growth_m)),
        Column::number("bow", UM, "bow_m", |row: &Row| Some(row.bow_m)),
        Column::number("warmth, cure", MPA, "stress_pa", |row: &Row| Some(row.stress())),
        Column::number("margin", Unit::NONE, "margin", Row::margin),
        Column::number("weight", MPA, "weight.stress_pa", |row: &Row| {
            Some(row.of_member()?.weight.as_ref()?.stress_pa)
        }),
        Column::number("together", MPA, "weight.together_pa", |row: &Row| Some(row.together()?.0)),
        Column::number("margin", Unit::NONE, "weight.margin", |row: &Row| row.together()?.1),
        Column::number("across", MPA, "across_pa", |row: &Row| row.of_member()?.across_pa),
        Column::number("margin", Unit::NONE, "across_margin", |row: &Row| row.of_member()?.across_margin),
        Column::number("bond shear", MPA, "bond_shear_pa", |row: &Row| row.of_member()?.bond_shear_pa),
    ]
}

/// Expansion and bow, one row per member.
fn member_columns() -> Vec<Column<ThermalMember>> {
    vec![
        Column::text("member", "name", |member: &ThermalMember| member.name.clone()),
        Column::number("growth", UM, "growth_m", |member: &ThermalMember| Some(member.growth_m)),
        Column::number("bow", UM, "bow_m", |member: &ThermalMember| Some(member.bow_m)),
    ]
}

/// Expansion and bow, one row per body.
fn body_columns() -> Vec<Column<ThermalBody>> {
    let along = |title: &str, axis: usize| {
        Column::number(title, UM, &format!("growth_m.{axis}"), move |body: &ThermalBody| {
            Some(body.growth_m[axis])
        })
    };
    vec![
        Column::text("body", "name", |body: &ThermalBody| body.name.clone()),
        along("growth x", 0),
        along("y", 1),
        along("z", 2),
        Column::number("faces bow", UM, "bow_m", |body: &ThermalBody| Some(body.bow_m)),
    ]
}

/// Materials of bodies whose stress exceeds their strength.
fn cracks(build: &BuildThermal) -> Vec<Block> {
    let parts =
        build.thermal.state.bodies.iter().flat_map(|body| body.parts.iter().map(move |part| (body, part)));
    let mut notes = Vec::new();
    for (body, part) in parts {
        let own = part.weight.map_or((part.stress_pa, part.margin, part.at_m), |weight| {
            (weight.together_pa, weight.margin, weight.at_m)
        });
        let (stress, Some(margin), at) = own else { continue };
        if margin < 1.0 {
            let at: Vec<String> = at.iter().map(|x| figures(1e3 * x, 3)).collect();
            notes.push(Block::Note(format!(
                "{} in {} would crack near {} mm: {} where it stands {}.",
                part.of,
                body.name.replace('_', " "),
                at.join(", "),
                show(stress, Kind::Stress),
                show(margin * stress.abs(), Kind::Stress)
            )));
        }
    }
    notes
}

/// The columns of stress along a member: with those of weight if it is `carried`, else the margin without it.
fn stress_columns<'a>(carried: bool) -> Vec<Column<Row<'a>>> {
    let mut columns = columns();
    columns.retain(|column| match column.key() {
        "growth_m" | "bow_m" | "across_pa" | "across_margin" | "bond_shear_pa" => false,
        "margin" => !carried,
        key => carried || !key.starts_with("weight"),
    });
    columns
}

/// One row per part of a member, in SI.
pub fn table(answer: &ThermalAnswer) -> Table {
    let mut columns = columns();
    columns.insert(0, Column::text("build", "build", |row: &Row| row.build.to_string()));
    let rows: Vec<Row> = answer.builds.iter().flat_map(rows).collect();
    Table::new("thermal", &columns, &rows)
}

/// Drift of all builds, then for each build its members, straightness, sag and carriage travel.
pub fn blocks(answer: &ThermalAnswer) -> Vec<Block> {
    let mut blocks = vec![Block::Bars(drifts(answer))];
    for build in &answer.builds {
        blocks.push(Block::Heading(build.label.clone()));
        blocks.push(Block::Note(summary(build)));
        let state = &build.thermal.state;
        if !state.members.is_empty() {
            blocks.push(Block::Table(Table::new(
                "Under the stated change",
                &member_columns(),
                &state.members,
            )));
        }
        if !state.bodies.is_empty() {
            blocks.push(Block::Table(Table::new(
                "Bodies under the stated change, along the axes of each",
                &body_columns(),
                &state.bodies,
            )));
        }
        let rows = rows(build);
        let carried = rows.iter().any(|row| row.together().is_some());
        let title = if carried {
            "Stress, largest in each part, tension positive (warmth and weight may relieve each other), and strength over it"
        } else {
            "Stress, largest in each part"
        };
        blocks.push(Block::Table(Table::new(title, &stress_columns(carried), &rows)));
        if !state.bodies.is_empty() {
            blocks.push(Block::Note(
                "In a body the stress is the largest principal one; a hundredth of the material, at edges of \
                 patches and of stiff parts, bears more."
                    .to_string(),
            ));
        }
        blocks.extend(cracks(build));
        let of_members = rows.partition_point(|row| row.of_member().is_some());
        blocks.extend(across(&rows[..of_members]).map(Block::Note));
        blocks.extend(bonds(&rows[..of_members], answer));
        blocks.extend(cured(build, &rows).map(Block::Note));
        blocks.extend(build.thermal.cure.as_ref().and_then(|cure| {
            straightness("Straightness as cast, before faces are finished", &cure.straightness)
        }));
        blocks.extend(straightness("Straightness under the stated change", &state.straightness));
        if let Some(sag) = &build.sag {
            blocks.extend(straightness("Straightness under its own weight", &sag.straightness));
        }
        blocks.extend(lines(build).into_iter().map(Block::Curve));
        for failure in &build.thermal.failures {
            let how = match failure.how {
                FailureKind::Cracks => "would crack",
                FailureKind::Splits => "would split lengthwise",
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
        blocks.extend(path_summary(build).map(Block::Note));
        blocks.extend(path(build).map(Block::Curve));
        blocks.extend(travel(build).map(Block::Curve));
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// The part that is closest to its strength across its member because parts hold each other's widths.
fn across(rows: &[Row]) -> Option<String> {
    let held = rows.iter().filter_map(|row| {
        let part = row.of_member()?;
        Some((row, part.across_pa.filter(|stress| stress.abs() >= 1.0)?, part.across_margin?))
    });
    let (row, stress, margin) = held.min_by(|a, b| a.2.total_cmp(&b.2))?;
    Some(format!(
        "Parts that lie within each other hold each other's widths, which the stress contains. Across the member \
         {} in {} is closest to its strength: {} where it stands {}; square corners bear up to twice as much.",
        row.of(),
        row.member.replace('_', " "),
        show(stress, Kind::Stress),
        show(margin * stress.abs(), Kind::Stress)
    ))
}

/// Shear of the bonds and the strength it is compared with; only the largest if all are far below strength.
fn bonds(rows: &[Row], answer: &ThermalAnswer) -> Vec<Block> {
    let shear = |row: &&Row| row.of_member().and_then(|part| part.bond_shear_pa).unwrap_or(0.0);
    let Some(worst) = rows.iter().max_by(|a, b| shear(a).total_cmp(&shear(b))) else { return Vec::new() };
    let Some(most) = worst.of_member().and_then(|part| part.bond_shear_pa) else { return Vec::new() };
    let strength = answer.bond_strength_pa;
    let mut blocks = Vec::new();
    if !answer.bond_strength_usual || most > strength.low {
        let columns = [
            Column::text("member", "member", |row: &Row| row.member.to_string()),
            Column::text("part", "of", |row: &Row| row.of().to_string()),
            Column::number("shear", MPA, "bond_shear_pa", |row: &Row| row.of_member()?.bond_shear_pa),
            Column::number("passes within", Unit::new("mm", 1e-3), "bond_reach_m", |row: &Row| {
                row.of_member()?.bond_reach_m
            }),
            Column::number("margin", Unit::NONE, "bond_margin", |row: &Row| row.of_member()?.bond_margin),
        ];
        blocks.push(Block::Table(Table::new("Shear of the bond at the members' ends", &columns, rows)));
    }
    let mega = |pa: f64| show(pa, Kind::Stress);
    let judged = match (answer.bond_strength_usual, strength.is_exact()) {
        (true, _) => format!(
            "it is judged by the usual strength, {} ({} to {}): state bond_strength in [thermal] where yours \
             was tested",
            mega(strength.value),
            mega(strength.low),
            mega(strength.high)
        ),
        (false, true) => format!("the bond stands {}", mega(strength.value)),
        (false, false) => format!(
            "the bond stands {} ({} to {})",
            mega(strength.value),
            mega(strength.low),
            mega(strength.high)
        ),
    };
    blocks.push(Block::Note(format!(
        "The largest shear of a bond is {}, of {} in {}, a mean over the overlap of a lap test; {judged}.",
        mega(most),
        worst.of(),
        worst.member.replace('_', " ")
    )));
    blocks
}

/// The stresses left by the cure, and how much the cure bows members before their faces are finished.
fn cured(build: &BuildThermal, rows: &[Row]) -> Option<String> {
    let cure = build.thermal.cure.as_ref()?;
    let of: Vec<String> = cure
        .of
        .iter()
        .map(|cure| {
            format!(
                "{} shrinks by {} % after it has gelled and cools by {} K from its hottest",
                cure.of,
                figures(100.0 * cure.shrinkage, 2),
                figures(cure.cooling_k, 2)
            )
        })
        .collect();
    let mut summary = format!("The cure: {}; the stresses contain it.", of.join(", "));
    let parts = rows.iter().filter_map(|row| Some((row.member, row.of_member()?)));
    let pulled = parts.filter(|(_, part)| cure.of.iter().any(|cure| cure.of == part.of));
    if let Some((member, most)) = pulled.max_by(|a, b| a.1.shrinkage_pa.total_cmp(&b.1.shrinkage_pa)) {
        summary.push_str(&format!(
            " It pulls the fill of {} with {}.",
            member.replace('_', " "),
            show(most.shrinkage_pa, Kind::Stress)
        ));
    }
    if let Some((member, bow)) = cure.bows_most.as_ref().filter(|(_, bow)| without_rounding(*bow) > 0.0) {
        summary.push_str(&format!(
            " It bows {} by {}: finish faces after the cure.",
            member.replace('_', " "),
            show(*bow, Kind::Length)
        ));
    }
    summary.push_str(
        " Creep and relaxation, which lower these stresses with time, are left out; cure = false in [thermal] \
         leaves the cure out.",
    );
    Some(summary)
}

fn drifts(answer: &ThermalAnswer) -> Bars {
    let size = |build: &BuildThermal| {
        build.thermal.drift_m_per_k.map(|d| Spread::exact((d.x * d.x + d.y * d.y + d.z * d.z).sqrt()))
    };
    Bars {
        title: "Drift of the tip from the work for one kelvin everywhere".to_string(),
        unit: Unit::new("µm/K", 1e-6),
        key: "drift_m_per_k".to_string(),
        bars: answer.builds.iter().map(|build| Bar::new(&build.label, size(build))).collect(),
    }
}

fn summary(build: &BuildThermal) -> String {
    let um = |x: f64| format!("{} µm", figures(1e6 * without_rounding(x), 3));
    let mut summary = Vec::new();
    if let Some(drift) = build.thermal.drift_m_per_k {
        summary.push(format!(
            "Drift per kelvin: {}, {}, {} along x, y, z.",
            um(drift.x),
            um(drift.y),
            um(drift.z)
        ));
    }
    if let Some(turn) = build.thermal.turn_rad_per_k {
        let urad = |x: f64| format!("{} µrad", figures(1e6 * without_rounding(x), 3));
        summary.push(format!("It turns by {}, {}, {}.", urad(turn.x), urad(turn.y), urad(turn.z)));
    }
    if let Some(settling) = &build.settling {
        let known = settling.sections.iter().filter_map(|s| Some((&s.section, s.time_constant_s?)));
        if let Some((section, slowest)) = known.max_by(|a, b| a.1.total_cmp(&b.1)) {
            summary.push(format!(
                "Its slowest section, \"{section}\", follows the room with {} h.",
                figures(slowest / 3600.0, 2)
            ));
        }
        if let Some(time) = settling.drift_settled_s {
            summary.push(format!(
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
        summary.push(format!(
            "Under its own weight the tip moves from the work by {}, {}, {}.",
            um(drift.x),
            um(drift.y),
            um(drift.z)
        ));
    }
    if let Some((sinks, leans)) = build.sag.as_ref().and_then(|sag| sag.sinks_m.zip(sag.leans_rad)) {
        summary.push(format!(
            "As one piece it sinks {} on its feet and leans by {} µrad, which sag and straightness leave out.",
            show(without_rounding(sinks), Kind::Length),
            figures(1e6 * without_rounding(leans), 3)
        ));
    }
    if let Some(best) = &build.carry {
        let shares: Vec<String> = best.shares.iter().map(|s| figures(*s, 4)).collect();
        let spacing = best.shares.last().zip(best.shares.first()).map_or(0.0, |(b, a)| b - a);
        summary.push(format!(
            "Carry it at {} of the length (the outer ones {} of it apart).",
            shares.join(", "),
            figures(spacing, 4)
        ));
    }
    summary.join(" ")
}

/// Straightness, one row per line.
fn straightness(title: &str, lines: &[Straightness]) -> Option<Block> {
    let title = format!("{title}, in the base's own plane");
    (!lines.is_empty()).then(|| Block::Table(Table::new(&title, &straightness_columns(), lines)))
}

fn straightness_columns() -> Vec<Column<Straightness>> {
    let number = |title: &str, key: &str, read: fn(&Straightness) -> f64| {
        Column::number(title, UM, key, move |s: &Straightness| Some(read(s)))
    };
    vec![
        Column::text("line", "member", |s: &Straightness| s.member.clone()),
        Column::number("long", Unit::new("mm", 1e-3), "length_m", |s: &Straightness| Some(s.length_m)),
        number("across", "across.before_m", |s| s.across.before_m),
        number("best line off", "across.after_m", |s| s.across.after_m),
        number("up", "up.before_m", |s| s.up.before_m),
        number("best line off", "up.after_m", |s| s.up.after_m),
    ]
}

/// Each line asked for, less its best-fit line, under the stated temperature change and under weight.
fn lines(build: &BuildThermal) -> Vec<Curve> {
    let weighed = build.sag.as_ref().map_or(&[][..], |sag| &sag.straightness);
    let causes = [("warm", build.thermal.state.straightness.as_slice()), ("weight", weighed)];
    let of = |number: usize| {
        let mut series = Vec::new();
        let mut name = String::new();
        for (cause, line) in causes.iter().filter_map(|(cause, lines)| Some((cause, lines.get(number)?))) {
            name = line.member.replace('_', " ");
            type Read = fn(&LinePlace) -> f64;
            let directions: [(&str, Read); 2] =
                [("across", |place| place.across_off_line_m), ("up", |place| place.up_off_line_m)];
            for (direction, read) in directions {
                let points: Vec<[f64; 2]> =
                    line.line.iter().map(|place| [place.x_m, without_rounding(read(place))]).collect();
                if points.iter().any(|point| point[1] != 0.0) {
                    series.push(Series::line(&format!("{cause}, {direction}"), points));
                }
            }
        }
        Curve {
            title: format!("Line of {name}, its best line removed"),
            x: Axis::linear("along it", Unit::new("mm", 1e-3), "x_m"),
            y: Axis::linear("off the best line", UM, "off_line_m"),
            series,
            marks: Vec::new(),
        }
    };
    let lines = (0..causes[0].1.len().max(causes[1].1.len())).map(of);
    lines.filter(|curve| !curve.series.is_empty()).collect()
}

/// The error of the carriage's path, in words.
fn path_summary(build: &BuildThermal) -> Option<String> {
    let path = build.path.as_ref()?;
    let mass = show(build.sag.as_ref()?.travel.as_ref()?.mass_kg, Kind::Mass);
    let um = |x: f64| format!("{} µm", figures(1e6 * without_rounding(x), 3));
    Some(format!(
        "The carriage of {mass} leaves a straight path by {} up and {} across over {}, the best line removed, and pitches by {} µrad: by its own weight and the stated change together.",
        um(path.up.after_m),
        um(path.across.after_m),
        show(path.length_m, Kind::Length),
        figures(1e6 * without_rounding(path.pitch_range_rad), 3)
    ))
}

/// The carriage's path less its best-fit line; `None` without a carriage.
fn path(build: &BuildThermal) -> Option<Curve> {
    let both = build.path.as_ref()?;
    let line = |name: &str, path: Option<&CarriagePath>, read: fn(&CarriagePlace) -> f64| {
        path.map(|path| {
            Series::line(name, path.places.iter().map(|place| [place.at_m, read(place)]).collect())
        })
    };
    let weight = build.sag.as_ref().and_then(|sag| sag.travel.as_ref()).map(|travel| &travel.path);
    let warm = build.thermal.state.path.as_ref();
    let series = [
        line("up, both", Some(both), |place| place.up_off_line_m),
        line("up, own weight", weight, |place| place.up_off_line_m),
        line("up, warm", warm, |place| place.up_off_line_m),
        line("across, both", Some(both), |place| place.across_off_line_m),
    ];
    Some(Curve {
        title: "Path of the carriage, its best line removed".to_string(),
        x: Axis::linear("travel", Unit::new("mm", 1e-3), "at_m"),
        y: Axis::linear("off the best line", UM, "off_line_m"),
        series: series.into_iter().flatten().collect(),
        marks: Vec::new(),
    })
}

/// Position of the tip relative to the work over the travel of the carriage; `None` without a carriage.
fn travel(build: &BuildThermal) -> Option<Curve> {
    let travel = build.sag.as_ref()?.travel.as_ref()?;
    let line = |name: &str, read: fn(&CarriageStop) -> Option<f64>| {
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
