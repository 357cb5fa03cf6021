//! Compares whole outputs with stored ones; `STORE=1` stores them anew, to be read before committing.

use super::*;
use crate::arbitrary::any_block;
use crate::block::*;
use crate::demo;
use crate::table::{Column, Table};
use crate::unit::Unit;
use proptest::prelude::*;
use std::path::Path;
use stillbed_input::quantity::Spread;

fn hold(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/stored/report").join(name);
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
    let text = render(&demo::blocks(), &Style::default());
    assert!(widest(&text) <= 80, "{text}");
    hold("blocks-80.txt", &text);
}

#[test]
fn a_narrow_terminal_as_stored() {
    let text = render(&demo::blocks(), &Style { width: 48, colour: false });
    assert!(widest(&text) <= 48, "{text}");
    hold("blocks-48.txt", &text);
}

#[test]
fn without_colour_there_is_no_escape() {
    let off = render(&demo::blocks(), &Style::default());
    assert!(!off.contains('\u{1b}'));
    let on = render(&demo::blocks(), &Style { colour: true, ..Style::default() });
    // Colour must change nothing else.
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
    let text = render(&[Block::Table(table)], &Style::default());
    let points: Vec<usize> = text.lines().skip(2).filter_map(|line| line[10..].find('.')).collect();
    assert_eq!(points.len(), 3, "{text}");
    assert!(points.iter().all(|point| *point == points[0]), "{text}");
}

#[test]
fn empty_blocks_say_so() {
    let empty =
        Picture { title: "p".into(), materials: vec![], areas: vec![], lines: vec![], labels: vec![] };
    let curve = Curve { series: vec![], marks: vec![], ..demo::response() };
    let wireframe = Wireframe {
        points: vec![],
        names: vec![],
        lines: vec![],
        feet: vec![],
        faces: vec![],
        divides: vec![],
        motions: vec![],
        ..demo::frame()
    };
    let table = Table::new("t", &[Column::text("a", "a", |v: &String| v.clone())], &[]);
    let blocks =
        [Block::Picture(empty), Block::Curve(curve), Block::Wireframe(wireframe), Block::Table(table)];
    let text = render(&blocks, &Style::default());
    assert_eq!(text.matches("nothing to").count(), 3, "{text}");
    assert_eq!(render(&[], &Style::default()), "");
    assert_eq!(render(&[Block::Problems(vec![])], &Style::default()), "");
}

#[test]
fn a_thin_wall_is_seen_all_around() {
    let corners = |e: f64| vec![[e, e], [0.1 - e, e], [0.1 - e, 0.1 - e], [e, 0.1 - e]];
    let tube = Area { outline: corners(0.0), holes: vec![corners(0.002)], material: 0 };
    let fill = Area { outline: corners(0.0), holes: vec![], material: 1 };
    let picture = Picture {
        title: String::new(),
        materials: vec![Filling::solid("steel", 0), Filling::solid("sand", 1)],
        areas: vec![fill, tube],
        lines: vec![],
        labels: vec![],
    };
    let text = render(&[Block::Picture(picture)], &Style::default());
    let lines: Vec<&str> = text.lines().take(24).collect();
    assert!(lines[0].chars().all(|c| c == '█') && lines[23].chars().all(|c| c == '█'), "{text}");
    assert!(lines.iter().all(|line| line.starts_with('█') && line.ends_with('█')), "{text}");
    // As wide as high: 24 rows of characters twice as high as wide.
    assert_eq!(width(lines[0]), 48);
}

#[test]
fn the_last_tick_of_bars_stays_within_the_terminal() {
    let value = Spread::between(0.0, 989.0, 989.0);
    let bar = Bar { label: "a".into(), value: Some(value) };
    let unit = Unit { name: "ms", size: 1e-3 };
    let bars = Bars { title: "a".into(), unit, key: String::new(), bars: vec![bar] };
    let text = render(&[Block::Bars(bars)], &Style { width: 40, colour: false });
    assert!(text.contains("1000000") && widest(&text) <= 40, "{text}");
}

proptest! {
    #![proptest_config(crate::seeds::cases(400))]
    #[test]
    fn no_line_is_wider_than_the_terminal(block in any_block(), width in 40usize..120, colour: bool) {
        let text = render(&[block], &Style { width, colour });
        let plain = if colour { without_escapes(&text) } else { text };
        prop_assert!(widest(&plain) <= width, "{plain}");
        prop_assert!(plain.chars().all(|c| c == '\n' || !c.is_control()), "{plain:?}");
    }
}
