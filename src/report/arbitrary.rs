//! Random blocks for property tests: invariants that every output format must keep for any content.

use super::block::*;
use super::demo;
use super::table::{Column, Table};
use super::unit::Unit;
use proptest::prelude::*;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::Spread;

fn word() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z]{1,12}", "\\PC{0,40}", "[鋳物µ a]{1,30}", "[\\x00-\\x1f a]{0,9}"]
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![proptest::num::f64::ANY, -1e3..1e3, Just(0.0), 1e-12..1e12]
}

/// Any block, with names and numbers as bad as they come.
pub(super) fn any_block() -> impl Strategy<Value = Block> {
    let spread = (number(), number(), number()).prop_map(|(v, a, b)| Spread::between(v, a.min(b), a.max(b)));
    let points = || proptest::collection::vec([number(), number()], 0..12);
    let bars = (word(), proptest::collection::vec((word(), proptest::option::of(spread)), 0..5)).prop_map(
        |(title, bars)| {
            let bars = bars.into_iter().map(|(label, value)| Bar { label, value }).collect();
            Block::Bars(Bars { title, unit: demo::MILLI, key: String::new(), bars })
        },
    );
    let series = proptest::collection::vec((word(), points(), any::<bool>()), 0..4);
    let curve =
        (word(), series, any::<bool>(), any::<bool>(), number()).prop_map(|(title, series, x, y, at)| {
            let axis = |log| Axis { title: title.clone(), unit: demo::MICRO, log, key: String::new() };
            let series = series
                .into_iter()
                .map(|(name, points, scattered)| Series { scattered, ..Series::line(&name, points) })
                .collect();
            let marks = vec![
                Mark::X { at, label: title.clone() },
                Mark::Y { at, label: title.clone() },
                Mark::Band { from: at, to: 2.0 * at, label: title.clone() },
            ];
            Block::Curve(Curve { x: axis(x), y: axis(y), title, series, marks })
        });
    let picture = (word(), points(), points(), points()).prop_map(|(title, outline, hole, more)| {
        let area = Area { outline, holes: vec![hole], material: 0 };
        let line = PictureLine { points: more, label: title.clone() };
        let labels = vec![Label { at: [0.0, 1.0], text: title.clone() }];
        Block::Picture(Picture {
            materials: vec![Filling::solid(&title, 0)],
            title,
            areas: vec![area],
            lines: vec![line],
            labels,
        })
    });
    let wireframe = (word(), proptest::collection::vec([number(), number(), number()], 0..8)).prop_map(
        |(name, points)| {
            let motion = ModeShape {
                name: name.clone(),
                tone: Tone { frequency_hz: 1.0, loss_factor: 0.1, heard: 1.0 },
                shape: points.clone(),
                shares: vec![(name.clone(), 0.5), ("b".to_string(), points.first().map_or(0.5, |p| p[0]))],
            };
            let through = (0..points.len() + 1).collect();
            Block::Wireframe(Wireframe {
                names: (0..points.len())
                    .map(|point| PointName {
                        point,
                        name: name.clone(),
                        detail: name.clone(),
                        matters: point > 2,
                    })
                    .collect(),
                lines: vec![WireframeLine { name: name.clone(), through }],
                feet: vec![0, 99],
                tool: Some(1),
                work: Some(98),
                faces: vec![Face {
                    rings: vec![
                        (0..points.len() + 1).map(|i| (i, Edge::Smooth([0.0, 0.0, -1.0]))).collect(),
                        vec![],
                    ],
                    normal: points.first().copied().unwrap_or_default(),
                    of: Surface::Material(points.len()),
                    seen_through: points.len() > 3,
                }],
                divides: vec![Divide {
                    normal: [0.0, 1.0, 0.0],
                    faces: vec![0, 9],
                    behind: Some(7),
                    before: None,
                }],
                materials: vec![Filling::solid(&name, 3)],
                motions: vec![motion],
                shown: Some(0),
                title: name,
                points,
            })
        },
    );
    let rows = proptest::collection::vec((word(), number(), word()), 0..5);
    let table = (word(), rows, any::<bool>()).prop_map(|(title, rows, turned)| {
        type Row = (String, f64, String);
        let mut columns = vec![
            Column::text(&title, "a", |r: &Row| r.0.clone()),
            Column::text(&title, "b", |r: &Row| r.2.clone()),
        ];
        columns.extend((0..6).map(|_| Column::number(&title, demo::MICRO, "c", |r: &Row| Some(r.1))));
        columns.push(Column::spread(&title, Unit::NONE, "d", |r: &Row| {
            Some(Spread::between(r.1, 1.01 * r.1, r.1 / 1.1))
        }));
        let table = Table::new(&title, &columns, &rows);
        Block::Table(if turned { table.side_by_side() } else { table })
    });
    let problem = (word(), word(), word()).prop_map(|(key, message, help)| {
        let place = Place { file: Some(help.clone()), line: Some(3), column: Some(4), key };
        Block::Problems(vec![Problem::error(place, message).with_help(help)])
    });
    prop_oneof![
        word().prop_map(Block::Heading),
        word().prop_map(Block::Note),
        bars,
        curve,
        picture,
        wireframe,
        table,
        problem
    ]
}
