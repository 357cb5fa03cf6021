//! CSV tables: SI values at full precision under the names used in the JSON.
//!
//! UTF-8 as in RFC 4180: comma, CRLF, quotes where needed. A missing value is an empty field,
//! never 0. A column with spread becomes three: `settle_time_s.value`, `.low`, `.high`.
//!
//! Text that a spreadsheet would read as a formula gets an apostrophe in front: text that is not a number
//! and begins with `=`, `+`, `-`, `@`, their full-width forms, a tab, a null or a line break.
//!
//! # Source
//! - `rfc4180`: sections 2 and 3
//! - `asvs5`: requirement 1.2.10, characters that begin a formula, and the apostrophe before them

use super::block::{Bars, Block, Curve, ModeShape, Picture, Score, Scores, Wireframe};
use super::table::{Cell, Column, ColumnKind, Table};
use super::unit::Unit;
use stillbed_input::quantity::Spread;

/// The CSV of `table`.
pub fn write(table: &Table) -> String {
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    let head = table.heads.iter().flat_map(|head| match head.holds {
        ColumnKind::Spread => ["value", "low", "high"].map(|end| format!("{}.{end}", head.key)).to_vec(),
        ColumnKind::Text | ColumnKind::Number => vec![head.key.clone()],
    });
    let mut records = vec![head.collect::<Vec<String>>()];
    for row in &table.rows {
        records
            .push(row.iter().zip(&table.heads).flat_map(|(cell, head)| fields(cell, head.holds)).collect());
    }
    // Writing to memory fails only for records of unequal length, which a table cannot have.
    let written = records.iter().try_for_each(|record| writer.write_record(record));
    let bytes = written.ok().and_then(|()| writer.into_inner().ok()).unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

fn fields(cell: &Cell, holds: ColumnKind) -> Vec<String> {
    match cell {
        Cell::Number(value) => vec![value.to_string()],
        Cell::Text(text) => vec![harmless(text)],
        Cell::Spread { value, low, high, .. } => [value, low, high].map(f64::to_string).to_vec(),
        Cell::Missing if holds == ColumnKind::Spread => vec![String::new(); 3],
        Cell::Missing => vec![String::new()],
    }
}

/// `text` with an apostrophe in front if a spreadsheet would read it as a formula.
pub fn harmless(text: &str) -> String {
    const BEGIN: [char; 12] = ['=', '+', '-', '@', '\t', '\r', '\n', '\0', '＝', '＋', '－', '＠'];
    match text.starts_with(BEGIN) && text.parse::<f64>().is_err() {
        true => format!("'{text}"),
        false => text.to_string(),
    }
}

/// The table that represents a whole answer: the first table, or if there is none, the values of the
/// first curve or bars.
pub fn main_table(blocks: &[Block]) -> Option<Table> {
    let table = blocks.iter().find_map(|block| match block {
        Block::Table(table) => Some(table.clone()),
        _ => None,
    });
    table.or_else(|| blocks.iter().find_map(values))
}

/// The values that `block` shows, as a table; `None` if it shows none.
pub fn values(block: &Block) -> Option<Table> {
    match block {
        Block::Table(table) => Some(table.clone()),
        Block::Curve(curve) => Some(curve_values(curve)),
        Block::Bars(bars) => Some(bar_values(bars)),
        Block::Picture(picture) => Some(corners(picture)),
        Block::Scores(scores) => Some(score_values(scores)),
        Block::Wireframe(wireframe) if !wireframe.motions.is_empty() => Some(motions(wireframe)),
        _ => None,
    }
}

/// Every corner of every area, enough to redraw the picture elsewhere.
fn corners(picture: &Picture) -> Table {
    type Row<'a> = (&'a str, usize, [f64; 2]);
    let mm = Unit::new("mm", 1e-3);
    let columns = [
        Column::text("of", "of", |row: &Row| row.0.to_string()),
        Column::number("outline", Unit::NONE, "outline", |row: &Row| Some(row.1 as f64)),
        Column::number("y", mm, "y_m", |row: &Row| Some(row.2[0])).digits(5),
        Column::number("z", mm, "z_m", |row: &Row| Some(row.2[1])).digits(5),
    ];
    let mut rows: Vec<Row> = Vec::new();
    let mut outline = 0;
    for area in &picture.areas {
        let of = picture.materials.get(area.material).map_or("", |filling| filling.name.as_str());
        for points in std::iter::once(&area.outline).chain(&area.holes) {
            outline += 1;
            rows.extend(points.iter().map(|point| (of, outline, *point)));
        }
    }
    Table::new(&picture.title, &columns, &rows)
}

/// One row per motion: frequency, loss factor, energy shares.
fn motions(wireframe: &Wireframe) -> Table {
    let none = Unit::NONE;
    let mut columns = vec![
        Column::text("motion", "motion", |m: &ModeShape| m.name.clone()),
        Column::number("frequency", Unit::new("Hz", 1.0), "frequency_hz", |m: &ModeShape| {
            Some(m.tone.frequency_hz)
        })
        .digits(4),
        Column::number("loss factor", none, "loss_factor", |m: &ModeShape| Some(m.tone.loss_factor)),
    ];
    for kind in wireframe.kinds() {
        let (kind, key) = (kind.to_string(), format!("energy_share.{kind}"));
        columns.push(Column::number(&kind.clone(), Unit::PERCENT, &key, move |m: &ModeShape| m.share(&kind)));
    }
    Table::new(&wireframe.title, &columns, &wireframe.motions)
}

/// The points of all series in one list, since each series may have its own x values.
fn curve_values(curve: &Curve) -> Table {
    let columns = [
        Column::text("series", "series", |row: &(&str, [f64; 2])| row.0.to_string()),
        Column::number(&curve.x.title, curve.x.unit, &curve.x.key, |row: &(&str, [f64; 2])| Some(row.1[0]))
            .digits(5),
        Column::number(&curve.y.title, curve.y.unit, &curve.y.key, |row: &(&str, [f64; 2])| Some(row.1[1]))
            .digits(4),
    ];
    let rows: Vec<(&str, [f64; 2])> = curve
        .series
        .iter()
        .flat_map(|series| series.points.iter().map(|point| (series.name.as_str(), *point)))
        .collect();
    Table::new(&curve.title, &columns, &rows)
}

/// A row per target, a column per build, in the unit of the row.
fn score_values(scores: &Scores) -> Table {
    type Row<'a> = (&'a super::block::ScoreRow,);
    let mut columns = vec![
        Column::text("measure", "measure", |row: &Row| row.0.title.clone()),
        Column::text("asked", "asked", |row: &Row| row.0.asked.clone()),
        Column::text("unit", "unit", |row: &Row| row.0.unit.name.to_string()),
    ];
    for (i, build) in scores.builds.iter().enumerate() {
        columns.push(Column::spread(build, Unit::NONE, build, move |row: &Row| {
            let shown = |v: f64| v / row.0.unit.size;
            let spread = row.0.values.get(i).copied().flatten()?;
            Some(Spread::between(shown(spread.value), shown(spread.low), shown(spread.high)))
        }));
        columns.push(Column::text("met", &format!("{build}.met"), move |row: &Row| {
            let word = |score| match score {
                Score::Met => "yes",
                Score::Missed => "no",
                Score::LeftOpen => "open",
            };
            row.0.score(i).map_or("", word).to_string()
        }));
    }
    let rows: Vec<Row> = scores.rows.iter().map(|row| (row,)).collect();
    Table::new(&scores.title, &columns, &rows)
}

fn bar_values(bars: &Bars) -> Table {
    let columns = [
        Column::text("of", "of", |bar: &super::block::Bar| bar.label.clone()),
        Column::spread("value", Unit { ..bars.unit }, &bars.key, |bar: &super::block::Bar| bar.value),
    ];
    Table::new(&bars.title, &columns, &bars.bars)
}

#[cfg(test)]
mod tests {
    use super::super::table::tests::{columns, rows};
    use super::*;

    fn table() -> Table {
        Table::new("t", &columns(), &rows())
    }

    #[test]
    fn si_under_keys_missing_is_empty() {
        let expected = [
            "name,modes,stiffness_n_per_m,settle_time_s.value,settle_time_s.low,settle_time_s.high,centre_m.1",
            "welded,6,12345000,0.12,0.09,0.151,0.0125",
            "cast,6,2000000,,,,0.0125",
            "\"bolted, \"\"dry\"\"\",6,,0.05,0.05,0.05,0.0125",
            "",
        ];
        assert_eq!(write(&table()), expected.join("\r\n"));
    }

    #[test]
    fn numbers_come_back_as_they_were() {
        let values = [1.0 / 3.0, 6.02e23, -0.0, 5e-324, f64::MAX];
        let columns = [Column::number("v", Unit::NONE, "v", |v: &f64| Some(*v))];
        let text = write(&Table::new("t", &columns, &values));
        let back: Vec<f64> = text.lines().skip(1).map(|line| line.parse().unwrap()).collect();
        assert_eq!(back, values);
    }

    #[test]
    fn a_reader_of_csv_gets_the_json_s_values() {
        let text = write(&table());
        let mut reader = ::csv::Reader::from_reader(text.as_bytes());
        let json = serde_json::to_value(rows()).unwrap();
        let heads = reader.headers().unwrap().clone();
        for (i, record) in reader.records().enumerate() {
            for (key, field) in heads.iter().zip(&record.unwrap()) {
                let path = format!("/{i}/{}", key.replace('.', "/"));
                match json.pointer(&path) {
                    Some(serde_json::Value::String(text)) => assert_eq!(field, text),
                    Some(serde_json::Value::Number(n)) => assert_eq!(field.parse::<f64>().ok(), n.as_f64()),
                    _ => assert_eq!(field, "", "{path}"),
                }
            }
        }
    }

    #[test]
    fn a_label_is_no_formula() {
        let columns = [Column::text("label", "label", |label: &&str| label.to_string())];
        let labels = ["=1+1", "+A1", "-A1", "@SUM(A1)", "\t=1", "\r=1", "＝1", "-3.5", "a=b", "", "+"];
        let text = write(&Table::new("t", &columns, &labels));
        let mut reader = ::csv::Reader::from_reader(text.as_bytes());
        let read: Vec<String> = reader.records().map(|record| record.unwrap()[0].to_string()).collect();
        let guarded =
            ["'=1+1", "'+A1", "'-A1", "'@SUM(A1)", "'\t=1", "'\r=1", "'＝1", "-3.5", "a=b", "", "'+"];
        assert_eq!(read, guarded);
    }

    #[test]
    fn an_answer_without_table_is_its_curve() {
        use super::super::block::{Axis, Series};
        let curve = Curve {
            title: "c".to_string(),
            x: Axis::linear("time", Unit::new("ms", 1e-3), "time_s"),
            y: Axis::linear("motion", Unit::new("µm", 1e-6), "motion_m"),
            series: vec![Series::line("a", vec![[0.0, 1e-6], [1e-3, f64::NAN]])],
            marks: vec![],
        };
        let blocks = [Block::Note("n".to_string()), Block::Curve(curve)];
        let text = write(&main_table(&blocks).unwrap());
        assert_eq!(text, "series,time_s,motion_m\r\na,0,0.000001\r\na,0.001,\r\n");
    }
}
