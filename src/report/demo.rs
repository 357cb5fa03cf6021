//! Blocks with invented figures, used only in tests of text and page.

use super::block::{
    Area, Axis, Bar, Bars, Block, Curve, Divide, Edge, Face, Filling, Label, Mark, ModeShape, Picture,
    PictureLine, PointName, ScoreRow, Scores, Series, Surface, Tone, Wireframe, WireframeLine,
};
use super::table::{Column, Table};
use super::unit::Unit;
use std::f64::consts::PI;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::Spread;

pub(super) const MICRO: Unit = Unit::new("µm", 1e-6);
pub(super) const MILLI: Unit = Unit::new("ms", 1e-3);

struct Build {
    name: &'static str,
    mass: f64,
    stiffness: f64,
    frequency: f64,
    loss: Spread,
    settle: Option<Spread>,
}

fn builds() -> Vec<Build> {
    let build = |name, mass, stiffness, frequency, loss: [f64; 3], settle: Option<[f64; 3]>| Build {
        name,
        mass,
        stiffness,
        frequency,
        loss: Spread::between(loss[0], loss[1], loss[2]),
        settle: settle.map(|s| Spread::between(s[0], s[1], s[2])),
    };
    vec![
        build("Welded steel tube", 61.3, 21.4e6, 142.6, [0.0021, 0.001, 0.004], Some([0.612, 0.34, 1.21])),
        build("Bolted aluminium", 34.8, 9.7e6, 118.2, [0.0063, 0.003, 0.011], None),
        build(
            "Cast on a skeleton, feldspar and sand",
            118.4,
            24.9e6,
            109.7,
            [0.0212, 0.016, 0.028],
            Some([0.081, 0.062, 0.107]),
        ),
    ]
}

pub(super) fn table() -> Table {
    let columns = [
        Column::text("build", "label", |b: &Build| b.name.to_string()),
        Column::number("mass", Unit::new("kg", 1.0), "mass_kg", |b: &Build| Some(b.mass)),
        Column::number("stiffness", Unit::new("N/µm", 1e6), "stiffness_n_per_m", |b: &Build| {
            Some(b.stiffness)
        }),
        Column::number("first frequency", Unit::new("Hz", 1.0), "first_frequency_hz", |b: &Build| {
            Some(b.frequency)
        })
        .digits(4),
        Column::spread("loss factor", Unit::NONE, "loss_factor", |b: &Build| Some(b.loss)),
        Column::spread("settle time", MILLI, "settle_time_s", |b: &Build| b.settle),
    ];
    Table::new("Three ways to build it", &columns, &builds())
}

pub(super) fn bars() -> Bars {
    let bars = builds().iter().map(|b| Bar::new(b.name, b.settle)).collect();
    Bars { title: "Settle time".to_string(), unit: MILLI, key: "settle_time_s".to_string(), bars }
}

/// A curve with one damped peak per line.
pub(super) fn response() -> Curve {
    let compliance = |b: &Build, f: f64| {
        let r = f / b.frequency;
        1.0 / (b.stiffness * ((1.0 - r * r).powi(2) + b.loss.value.powi(2)).sqrt())
    };
    let frequencies: Vec<f64> = (0..600).map(|i| 20.0 * 50f64.powf(f64::from(i) / 599.0)).collect();
    let line =
        |b: &Build| Series::line(b.name, frequencies.iter().map(|f| [*f, compliance(b, *f)]).collect());
    Curve {
        title: "Compliance between tip and work".to_string(),
        x: Axis::log("frequency", Unit::new("Hz", 1.0), "frequency_hz"),
        y: Axis::log("compliance", Unit::new("µm/N", 1e-6), "compliance_m_per_n"),
        series: builds().iter().map(line).collect(),
        marks: vec![
            Mark::Band { from: 33.3, to: 200.0, label: "spindle, once a turn: 33 to 200 Hz".to_string() },
            Mark::Y { at: 1e-6, label: "most that the cut bears: 1 µm/N".to_string() },
        ],
    }
}

pub(super) fn ringdown() -> Curve {
    let motion = |t: f64| 12e-6 * (-PI * 42.0 * 0.021 * t).exp() * (2.0 * PI * 42.0 * t).sin();
    let points = |count: u32, end: f64, f: &dyn Fn(f64) -> f64| {
        (0..=count).map(|i| end * f64::from(i) / f64::from(count)).map(|t| [t, f(t)]).collect()
    };
    let tone = Tone { frequency_hz: 42.0, loss_factor: 0.021, heard: 1.0 };
    Curve {
        title: "Motion after a tap".to_string(),
        x: Axis::linear("time", MILLI, "time_s"),
        y: Axis::linear("motion of the tip", MICRO, "motion_m"),
        series: vec![
            Series { tap: vec![tone], ..Series::line("cast", points(500, 0.5, &motion)) },
            Series::scatter("measured", points(24, 0.4, &|t| 1.05 * motion(t))),
        ],
        marks: vec![Mark::X { at: 0.31, label: "settled to 5 µm".to_string() }],
    }
}

fn rectangle(y: f64, z: f64, wide: f64, tall: f64) -> Vec<[f64; 2]> {
    vec![[y, z], [y + wide, z], [y + wide, z + tall], [y, z + tall]]
}

pub(super) fn section() -> Picture {
    let area = |outline, holes, material| Area { outline, holes, material };
    let tube = |y: f64, z: f64, w: f64, h: f64, t: f64, material| {
        area(rectangle(y, z, w, h), vec![rectangle(y + t, z + t, w - 2.0 * t, h - 2.0 * t)], material)
    };
    let circle = (0..48).map(|i| f64::from(i) * PI / 24.0);
    let conduit = circle.map(|a| [0.028 + 0.009 * a.cos(), -0.022 + 0.009 * a.sin()]).collect();
    Picture {
        title: "Section of the rail".to_string(),
        materials: vec![
            Filling::solid("aluminium 6061-T6", 0),
            Filling::solid("feldspar and sand", 1),
            Filling::empty("air"),
        ],
        areas: vec![
            area(rectangle(-0.055, -0.04, 0.11, 0.08), vec![], 1),
            tube(-0.025, -0.005, 0.05, 0.03, 0.003, 0),
            area(conduit, vec![], 2),
        ],
        lines: vec![PictureLine {
            points: vec![[-0.055, 0.0], [0.055, 0.0]],
            label: "member line".to_string(),
        }],
        labels: vec![
            Label { at: [0.0, 0.0021], text: "elastic centre".to_string() },
            Label { at: [-0.004, -0.011], text: "shear centre".to_string() },
        ],
    }
}

fn name(point: usize, name: &str, detail: &str) -> PointName {
    PointName { point, name: name.to_string(), detail: detail.to_string(), matters: !detail.is_empty() }
}

/// Normals of a block and the corners of its sides, by the bits of their number along x, y and z.
const SIDES: [([f64; 3], [usize; 4]); 6] = [
    ([-1.0, 0.0, 0.0], [0, 4, 6, 2]),
    ([1.0, 0.0, 0.0], [1, 3, 7, 5]),
    ([0.0, -1.0, 0.0], [0, 1, 5, 4]),
    ([0.0, 1.0, 0.0], [2, 6, 7, 3]),
    ([0.0, 0.0, -1.0], [0, 2, 3, 1]),
    ([0.0, 0.0, 1.0], [4, 5, 7, 6]),
];

/// A cast block around the foot of the column, whose corners are the points from 16 on.
fn block() -> Vec<Face> {
    let side = |(normal, corners): ([f64; 3], [usize; 4])| Face {
        rings: vec![corners.map(|i| (16 + i, Edge::Sharp)).to_vec()],
        normal,
        of: Surface::Material(0),
        seen_through: false,
    };
    SIDES.map(side).to_vec()
}

/// One plane a side, each behind the last.
fn divides() -> Vec<Divide> {
    let divide = |(i, (normal, _)): (usize, ([f64; 3], [usize; 4]))| {
        let behind = Some(i + 1).filter(|next| *next < SIDES.len());
        Divide { normal, faces: vec![i], behind, before: None }
    };
    SIDES.into_iter().enumerate().map(divide).collect()
}

pub(super) fn frame() -> Wireframe {
    let corners = [[0.0, 0.0], [0.6, 0.0], [0.6, 0.4], [0.0, 0.4]];
    let mut points: Vec<[f64; 3]> = corners.iter().map(|c| [c[0], c[1], 0.0]).collect();
    points.extend([[0.0, 0.2, 0.0], [0.0, 0.2, 0.5], [0.25, 0.2, 0.5], [0.3, 0.2, 0.0], [0.6, 0.2, 0.0]]);
    // Points along the column, between its ends.
    points.extend((1..8).map(|i| [0.0, 0.2, 0.5 * f64::from(i) / 8.0]));
    let corner = |i: usize, axis: usize, low: f64, high: f64| if i >> axis & 1 == 1 { high } else { low };
    points.extend((0..8).map(|i| [corner(i, 0, -0.1, 0.1), corner(i, 1, 0.1, 0.3), corner(i, 2, 0.0, 0.12)]));
    let line =
        |name: &str, through: &[usize]| WireframeLine { name: name.to_string(), through: through.to_vec() };
    // The edges of the block join corners whose numbers differ by one bit.
    let edges =
        (0..8_usize).flat_map(|i| [1, 2, 4].map(|bit| [16 + i, 16 + (i | bit)])).filter(|[a, b]| a < b);
    let edges = edges.map(|ends| line("block", &ends));
    let sway = |p: &[f64; 3]| [0.25 * p[2] * p[2], 0.9 * p[2] * p[2], -0.5 * p[2] * p[2] * p[0]];
    let twist =
        |p: &[f64; 3]| [0.3 * p[2] - p[2] * (p[1] - 0.2), (p[2] + 0.1) * p[0], 0.2 * p[0] * (p[1] - 0.2)];
    let motion =
        |name: &str, frequency_hz, loss_factor, heard, shape: &dyn Fn(&[f64; 3]) -> [f64; 3]| ModeShape {
            name: name.to_string(),
            tone: Tone { frequency_hz, loss_factor, heard },
            shape: points.iter().map(shape).collect(),
            shares: vec![("skeleton".to_string(), 0.6), ("joints".to_string(), 0.4)],
        };
    Wireframe {
        title: "Wire drawing of the base".to_string(),
        names: vec![
            name(6, "tool_tip", "tool"),
            name(7, "table", "work"),
            name(0, "front_left", ""),
            name(1, "front_right", ""),
            name(2, "rear_right", ""),
            name(3, "rear_left", ""),
        ],
        tool: Some(6),
        work: Some(7),
        faces: block(),
        divides: divides(),
        materials: vec![Filling::solid("feldspar and sand", 1)],
        lines: [
            line("front_rail", &[0, 1]),
            line("right_rail", &[1, 8, 2]),
            line("rear_rail", &[2, 3]),
            line("left_rail", &[3, 4, 0]),
            line("column", &[4, 9, 10, 11, 12, 13, 14, 15, 5]),
            line("arm", &[5, 6]),
            line("table_beam", &[4, 7, 8]),
        ]
        .into_iter()
        .chain(edges)
        .collect(),
        feet: vec![0, 1, 2, 3],
        shown: Some(0),
        motions: vec![
            motion("mode 1, sway of the column", 109.7, 0.0212, 1.0, &sway),
            motion("mode 2, twist of the column", 171.3, 0.0187, -0.6, &twist),
        ],
        points,
    }
}

pub(super) fn problems() -> Vec<Problem> {
    let place =
        Place { file: Some("stand.toml".to_string()), line: Some(14), column: Some(9), ..Place::default() };
    let place = Place { key: "mixes.\"feldspar and sand\".binder".to_string(), ..place };
    vec![
        Problem::warning(place, "binder 12 % by volume; the voids of the packed sand need 17 %")
            .with_help("more binder, or a second, finer aggregate; the rest becomes air"),
    ]
}

pub(super) fn scores() -> Scores {
    let row = |title: &str, unit, asked: &str, at_least, at_most, values| ScoreRow {
        title: title.to_string(),
        unit,
        asked: asked.to_string(),
        at_least,
        at_most,
        values,
        left_open: Vec::new(),
        missing: "never".to_string(),
    };
    let newtons = Unit::new("N/µm", 1e6);
    let stiffness = builds().iter().map(|b| Some(Spread::exact(b.stiffness))).collect();
    let settle = builds().iter().map(|b| b.settle).collect();
    Scores {
        title: "Builds against targets".to_string(),
        builds: builds().iter().map(|b| b.name.to_string()).collect(),
        rows: vec![
            row("stiffness", newtons, "at least 20 N/µm", Some(20e6), None, stiffness),
            row("settle time", MILLI, "at most 100 ms", None, Some(0.1), settle),
        ],
    }
}

pub(super) fn blocks() -> Vec<Block> {
    vec![
        Block::Heading("Small mill, three ways to build it".to_string()),
        Block::Note(
            "The cast base comes to rest in an eighth of the time of the welded one, at twice its mass. \
             Its first frequency is lower, so that the spindle meets it at 6580 rpm."
                .to_string(),
        ),
        Block::Problems(problems()),
        Block::Table(table()),
        Block::Table(table().side_by_side()),
        Block::Bars(bars()),
        Block::Curve(response()),
        Block::Curve(ringdown()),
        Block::Picture(section()),
        Block::Wireframe(frame()),
        Block::Scores(scores()),
    ]
}
