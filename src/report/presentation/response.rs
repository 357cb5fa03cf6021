//! The response to a harmonic force as blocks.

use super::super::block::{Axis, Bar, Bars, Block, Curve, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use super::missed::missed;
use serde::Serialize;
use stillbed_input::quantity::{Kind, Spread};
use stillbed_response::answer::BuildResponse;
use stillbed_response::frequency::{Motion, Resonance};
use stillbed_response::speeds::Clash;
use stillbed_study::response::Response;

const HZ: Unit = Unit::new("Hz", 1.0);
const UM: Unit = Unit::new("µm", 1e-6);
const N_PER_UM: Unit = Unit::new("N/µm", 1e6);

/// One point of one curve, for CSV.
#[derive(Serialize)]
struct PointRow<'a> {
    build: &'a str,
    frequency_hz: f64,
    real_m_per_n: f64,
    imaginary_m_per_n: f64,
}

/// A value with the label of the build it belongs to.
#[derive(Serialize)]
struct Of<'a, T> {
    build: &'a str,
    #[serde(flatten)]
    of: &'a T,
}

/// Every point of every curve, in SI.
pub fn table(answer: &Response) -> Table {
    let none = Unit::NONE;
    let columns = [
        Column::text("build", "build", |row: &PointRow| row.build.to_string()),
        Column::number("frequency", none, "frequency_hz", |row: &PointRow| Some(row.frequency_hz)),
        Column::number("real", none, "real_m_per_n", |row: &PointRow| Some(row.real_m_per_n)),
        Column::number("imaginary", none, "imaginary_m_per_n", |row: &PointRow| Some(row.imaginary_m_per_n)),
    ];
    let mut rows = Vec::new();
    for build in &answer.builds {
        let curve = &build.curve;
        for (i, frequency_hz) in curve.frequency_hz.iter().enumerate() {
            rows.push(PointRow {
                build: &build.name,
                frequency_hz: *frequency_hz,
                real_m_per_n: curve.real_m_per_n[i],
                imaginary_m_per_n: curve.imaginary_m_per_n[i],
            });
        }
    }
    Table::new("response", &columns, &rows)
}

/// Curves, peaks, running speeds, stable cut, unbalance and floor.
pub fn blocks(answer: &Response, motion: Motion) -> Vec<Block> {
    let mut blocks = vec![Block::Note(format!("Path: {}.", answer.path))];
    blocks.extend(super::spread::holds_at(answer.amplitude_m));
    blocks.push(Block::Curve(curves(answer, motion)));
    blocks.push(Block::Table(Table::new(
        "Worst peak, and what follows from it",
        &build_columns(),
        &answer.builds,
    )));
    let peaks: Vec<Of<Resonance>> = each(answer, |build| &build.curve.peaks);
    if !peaks.is_empty() {
        blocks.push(Block::Table(Table::new("Peaks of the path", &peak_columns(), &peaks)));
    }
    let clashes: Vec<Of<Clash>> = each(answer, |build| &build.clashes);
    if !clashes.is_empty() {
        blocks.push(Block::Table(Table::new(
            "Running speeds that meet a mode, or nearly",
            &clash_columns(),
            &clashes,
        )));
        blocks.push(Block::Curve(speeds(answer)));
    }
    blocks.extend(super::floor::blocks(answer));
    if answer.builds.iter().any(|build| build.stable_depth_m.is_some()) {
        blocks.push(Block::Bars(depths(answer)));
    }
    blocks.extend(missed(&answer.misses));
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

fn each<'a, T>(answer: &'a Response, list: impl Fn(&'a BuildResponse) -> &'a Vec<T>) -> Vec<Of<'a, T>> {
    answer
        .builds
        .iter()
        .flat_map(|build| list(build).iter().map(|of| Of { build: &build.label, of }))
        .collect()
}

/// The magnitude of the response of all builds over frequency.
pub fn curves(answer: &Response, motion: Motion) -> Curve {
    let series = |build: &BuildResponse| {
        let values = build.curve.values(motion);
        let points = build.curve.frequency_hz.iter().zip(values).map(|(f, h)| [*f, h.norm()]).collect();
        Series::line(&build.label, points)
    };
    let (title, unit, key) = match motion {
        Motion::Compliance => ("compliance", Unit::new("µm/N", 1e-6), "compliance_m_per_n"),
        Motion::Mobility => ("mobility", Unit::new("mm/s/N", 1e-3), "mobility_m_per_n_s"),
        Motion::Accelerance => ("accelerance", Unit::new("1/kg", 1.0), "accelerance_per_kg"),
    };
    Curve {
        title: format!("Magnitude of the {title}"),
        x: Axis::log("frequency", HZ, "frequency_hz"),
        y: Axis::log(title, unit, key),
        series: answer.builds.iter().map(series).collect(),
        marks: Vec::new(),
    }
}

fn build_columns() -> Vec<Column<BuildResponse>> {
    vec![
        Column::text("build", "label", |b: &BuildResponse| b.label.clone()),
        Column::number("dynamic stiffness", N_PER_UM, "dynamic_stiffness_n_per_m", |b: &BuildResponse| {
            b.dynamic_stiffness_n_per_m
        }),
        Column::number("at", HZ, "peak_frequency_hz", |b: &BuildResponse| b.peak_frequency_hz),
        Column::number("stable depth", Unit::new("mm", 1e-3), "stable_depth_m", |b: &BuildResponse| {
            b.stable_depth_m
        }),
        Column::number("unbalance moves", UM, "unbalance.0.worst_motion_m", |b: &BuildResponse| {
            b.unbalance.first().map(|u| u.worst_motion_m)
        }),
        Column::number("floor moves", UM, "floor.motion_m", |b: &BuildResponse| {
            b.floor.as_ref().map(|f| f.motion_m)
        }),
    ]
}

fn peak_columns<'a>() -> Vec<Column<Of<'a, Resonance>>> {
    vec![
        Column::text("build", "build", |row: &Of<Resonance>| row.build.to_string()),
        Column::number("frequency", HZ, "frequency_hz", |row: &Of<Resonance>| Some(row.of.frequency_hz))
            .digits(4),
        Column::number(
            "compliance",
            Unit::new("µm/N", 1e-6),
            "compliance_m_per_n",
            |row: &Of<Resonance>| Some(row.of.compliance_m_per_n),
        ),
        Column::number("phase", Unit::new("deg", 1.0), "phase_deg", |row: &Of<Resonance>| {
            Some(row.of.phase_deg)
        }),
        Column::number("mode", Unit::NONE, "mode", |row: &Of<Resonance>| Some(row.of.mode as f64)),
        Column::number("direct differs", Unit::PERCENT, "direct_difference", |row: &Of<Resonance>| {
            row.of.direct_difference
        })
        .digits(2),
    ]
}

fn clash_columns<'a>() -> Vec<Column<Of<'a, Clash>>> {
    vec![
        Column::text("build", "build", |row: &Of<Clash>| row.build.to_string()),
        Column::text("speeds", "speeds", |row: &Of<Clash>| row.of.speeds.clone()),
        Column::number("order", Unit::NONE, "order", |row: &Of<Clash>| Some(row.of.order as f64)),
        Column::number("mode", Unit::NONE, "mode", |row: &Of<Clash>| Some(row.of.mode as f64)),
        Column::number("at", HZ, "frequency_hz", |row: &Of<Clash>| Some(row.of.frequency_hz)),
        Column::number("speed", Unit::new("rpm", 1.0), "speed_rpm", |row: &Of<Clash>| Some(row.of.speed_rpm)),
        Column::text("in the range", "crossed", |row: &Of<Clash>| yes_or_no(row.of.crossed)),
        Column::number("margin", Unit::PERCENT, "margin", |row: &Of<Clash>| Some(row.of.margin)),
    ]
}

/// A boolean as text.
fn yes_or_no(is: bool) -> String {
    if is { "yes".to_string() } else { "no".to_string() }
}

/// The frequencies that rotation excites over speed, one line per order, and where they meet modes.
fn speeds(answer: &Response) -> Curve {
    let rpm = Unit::new("rpm", 1.0);
    let mut series = Vec::new();
    if let Some(build) = answer.builds.first() {
        series.extend(build.order_lines.iter().map(|line| {
            let ends = [0, 1].map(|i| [line.speed_rpm[i], line.frequency_hz[i]]);
            Series::line(&format!("order {}", line.order), ends.to_vec())
        }));
    }
    series.extend(answer.builds.iter().filter(|build| !build.clashes.is_empty()).map(|build| {
        let points = build.clashes.iter().map(|clash| [clash.speed_rpm, clash.frequency_hz]).collect();
        Series::scatter(&build.label, points)
    }));
    Curve {
        title: "Speed and frequency".to_string(),
        x: Axis::linear("speed", rpm, "speed_rpm"),
        y: Axis::linear("frequency", HZ, "frequency_hz"),
        series,
        marks: Vec::new(),
    }
}

fn depths(answer: &Response) -> Bars {
    let values = answer.builds.iter().filter_map(|build| build.stable_depth_m);
    Bars {
        title: "Depth of cut that is stable at every speed".to_string(),
        unit: Unit::of(Kind::Length, values.fold(0.0, f64::max)),
        key: "stable_depth_m".to_string(),
        bars: answer.builds.iter().map(|b| Bar::new(&b.label, b.stable_depth_m.map(Spread::exact))).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_design::{Design, STARTER};
    use stillbed_study::response::{Response, ResponseOptions};

    fn starter() -> Design {
        Design::read("starter.toml", STARTER, &stillbed_material::Table::built_in()).design.unwrap()
    }

    #[test]
    fn response_columns_agree_with_json() {
        let options = ResponseOptions { range: None, path: None, floor: None };
        let answer = Response::compute(&starter(), &options).unwrap();
        assert_eq!(disagreements(&build_columns(), &answer.builds), Vec::<String>::new());
        let peaks: Vec<Of<Resonance>> = each(&answer, |build| &build.curve.peaks);
        assert!(!peaks.is_empty());
        assert_eq!(disagreements(&peak_columns(), &peaks), Vec::<String>::new());
        // Low peaks between high ones are small differences of large terms; the answer states their error.
        let highest = peaks.iter().map(|peak| peak.of.compliance_m_per_n).fold(0.0, f64::max);
        for peak in peaks.iter().filter(|peak| peak.of.compliance_m_per_n > 0.1 * highest) {
            assert!(peak.of.direct_difference.unwrap() < 0.02, "{:?}", peak.of);
        }
    }
}
