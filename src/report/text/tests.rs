//! Whole outputs held against stored ones; set `STORE=1` to store them anew, then read them.

use super::*;
use crate::problem::{Place, Problem};
use crate::quantity::Spread;
use crate::report::block::*;
use crate::report::demo;
use crate::report::table::{Column, Table};
use proptest::prelude::*;
use std::path::Path;

fn hold(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/stored/report").join(name);
    if std::env::var_os("STORE").is_some() {
        std::fs::write(&path, text).unwrap();
    }
    let stored = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!(text, stored, "{name} differs from what is stored");
}

fn widest(text: &str) -> usize {
    text.lines().map(width).max().unwrap_or(0)
}

#[test]
fn eighty_columns_as_stored() {
    let text = render(&demo::blocks(), &Look::default());
    assert!(widest(&text) <= 80, "{text}");
    hold("blocks-80.txt", &text);
}

#[test]
fn a_narrow_terminal_as_stored() {
    let text = render(&demo::blocks(), &Look { width: 48, colour: false });
    assert!(widest(&text) <= 48, "{text}");
    hold("blocks-48.txt", &text);
}

#[test]
fn without_colour_there_is_no_escape() {
    let off = render(&demo::blocks(), &Look::default());
    assert!(!off.contains('\u{1b}'));
    let on = render(&demo::blocks(), &Look { colour: true, ..Look::default() });
    // Colour changes nothing else.
    assert_eq!(without_escapes(&on), off);
    assert!(on.contains('\u{1b}'));
}

fn without_escapes(text: &str) -> String {
    let mut parts = text.split('\u{1b}');
    let first = parts.next().unwrap_or_default().to_string();
    parts.fold(first, |text, part| text + part.split_once('m').unwrap().1)
}

#[test]
fn numbers_of_a_column_end_under_each_other() {
    let columns = [
        Column::text("of", "of", |v: &f64| format!("v{v}")),
        Column::number("value", Unit::NONE, "v", |v: &f64| Some(*v)),
    ];
    let table = Table::new("", &columns, &[0.5, 12.25, 1234.5, -0.001]);
    let text = render(&[Block::Table(table)], &Look::default());
    let points: Vec<usize> = text.lines().skip(2).filter_map(|line| line[10..].find('.')).collect();
    assert_eq!(points.len(), 3, "{text}");
    assert!(points.iter().all(|point| *point == points[0]), "{text}");
}

#[test]
fn empty_blocks_say_so() {
    let empty =
        Picture { title: "p".into(), materials: vec![], areas: vec![], lines: vec![], labels: vec![] };
    let curve = Curve { series: vec![], marks: vec![], ..demo::response() };
    let wire =
        Wire { points: vec![], names: vec![], lines: vec![], feet: vec![], motions: vec![], ..demo::frame() };
    let table = Table::new("t", &[Column::text("a", "a", |v: &String| v.clone())], &[]);
    let blocks = [Block::Picture(empty), Block::Curve(curve), Block::Wire(wire), Block::Table(table)];
    let text = render(&blocks, &Look::default());
    assert_eq!(text.matches("nothing to").count(), 3, "{text}");
    assert_eq!(render(&[], &Look::default()), "");
    assert_eq!(render(&[Block::Problems(vec![])], &Look::default()), "");
}

#[test]
fn a_thin_wall_is_seen_all_around() {
    let corners = |e: f64| vec![[e, e], [0.1 - e, e], [0.1 - e, 0.1 - e], [e, 0.1 - e]];
    let tube = Area { outline: corners(0.0), holes: vec![corners(0.002)], material: 0 };
    let fill = Area { outline: corners(0.0), holes: vec![], material: 1 };
    let picture = Picture {
        title: String::new(),
        materials: vec![Filling::solid("steel"), Filling::solid("sand")],
        areas: vec![fill, tube],
        lines: vec![],
        labels: vec![],
    };
    let text = render(&[Block::Picture(picture)], &Look::default());
    let lines: Vec<&str> = text.lines().take(24).collect();
    assert!(lines[0].chars().all(|c| c == '█') && lines[23].chars().all(|c| c == '█'), "{text}");
    assert!(lines.iter().all(|line| line.starts_with('█') && line.ends_with('█')), "{text}");
    // As wide as high: 24 lines of twice as high characters.
    assert_eq!(width(lines[0]), 48);
}

fn word() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z]{1,12}", "\\PC{0,40}", "[鋳物µ a]{1,30}", "[\\x00-\\x1f a]{0,9}"]
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![proptest::num::f64::ANY, -1e3..1e3, Just(0.0), 1e-12..1e12]
}

fn any_block() -> impl Strategy<Value = Block> {
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
                .map(|(name, points, scattered)| Series { name, points, scattered })
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
        let line = Shape { points: more, label: title.clone() };
        let labels = vec![Label { at: [0.0, 1.0], text: title.clone() }];
        Block::Picture(Picture {
            materials: vec![Filling::solid(&title)],
            title,
            areas: vec![area],
            lines: vec![line],
            labels,
        })
    });
    let wire = (word(), proptest::collection::vec([number(), number(), number()], 0..8)).prop_map(
        |(name, points)| {
            let through = (0..points.len() + 1).collect();
            Block::Wire(Wire {
                names: (0..points.len()).map(|i| (i, name.clone())).collect(),
                lines: vec![WireLine { name: name.clone(), through }],
                feet: vec![0, 99],
                motions: vec![],
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
        wire,
        table,
        problem
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]
    #[test]
    fn no_line_is_wider_than_the_terminal(block in any_block(), width in 40usize..120, colour: bool) {
        let text = render(&[block], &Look { width, colour });
        let plain = if colour { without_escapes(&text) } else { text };
        prop_assert!(widest(&plain) <= width, "{plain}");
        prop_assert!(plain.chars().all(|c| c == '\n' || !c.is_control()), "{plain:?}");
    }
}
