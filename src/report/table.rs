//! Tables made from one list of columns, used alike for the terminal, the CSV and the page.
//!
//! A [`Column`] states the title of a value, the unit it is shown in, its name in JSON and CSV, and how it
//! is read from a row. [`disagreements`] compares the columns with the JSON of the same rows, so that no
//! output can differ from another.

use super::number::significant;
use super::unit::Unit;
use serde::Serialize;
use serde_json::Value;
use stillbed_input::quantity::Spread;

/// One value of a table, in SI.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cell {
    /// A finite number.
    Number(f64),
    /// No value; not the same as zero.
    Missing,
    /// A name, a remark.
    Text(String),
    /// A number with its 5 % and 95 % limits, and the median if it comes from draws.
    Spread {
        /// The nominal value.
        value: f64,
        /// 5 % of the values lie below.
        low: f64,
        /// 5 % of the values lie above.
        high: f64,
        /// Half of the values lie below.
        median: Option<f64>,
    },
}

/// The kind of values in a column. A spread takes three columns in CSV even if no row has limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum ColumnKind {
    Text,
    Number,
    Spread,
}

/// One column of a table with rows of type `R`.
pub struct Column<R> {
    title: String,
    unit: Unit,
    digits: usize,
    key: String,
    path: String,
    holds: ColumnKind,
    cell: Box<dyn Fn(&R) -> Cell>,
}

impl<R> Column<R> {
    fn new(
        title: &str,
        unit: Unit,
        key: &str,
        holds: ColumnKind,
        cell: Box<dyn Fn(&R) -> Cell>,
    ) -> Column<R> {
        let (title, key) = (title.to_string(), key.to_string());
        Column { title, unit, digits: 3, path: key.clone(), key, holds, cell }
    }

    /// A column of names or remarks.
    pub fn text(title: &str, key: &str, read: impl Fn(&R) -> String + 'static) -> Column<R> {
        let cell = move |row: &R| Cell::Text(read(row));
        Column::new(title, Unit::NONE, key, ColumnKind::Text, Box::new(cell))
    }

    /// A column of numbers, shown in `unit` to three significant figures. A value that is not finite is
    /// missing.
    pub fn number(
        title: &str,
        unit: Unit,
        key: &str,
        read: impl Fn(&R) -> Option<f64> + 'static,
    ) -> Column<R> {
        let finite = move |row: &R| read(row).filter(|v| v.is_finite());
        let cell = move |row: &R| finite(row).map_or(Cell::Missing, Cell::Number);
        Column::new(title, unit, key, ColumnKind::Number, Box::new(cell))
    }

    /// A column of numbers with spread, which JSON holds as `{ value, low, high }`, with `median` if it comes
    /// from draws.
    pub fn spread(
        title: &str,
        unit: Unit,
        key: &str,
        read: impl Fn(&R) -> Option<Spread> + 'static,
    ) -> Column<R> {
        let cell = move |row: &R| match read(row) {
            Some(Spread { value, low, high, median, .. })
                if value.is_finite() && low.is_finite() && high.is_finite() =>
            {
                Cell::Spread { value, low, high, median: median.filter(|v| v.is_finite()) }
            }
            _ => Cell::Missing,
        };
        Column::new(title, unit, key, ColumnKind::Spread, Box::new(cell))
    }

    /// Its name in JSON and CSV.
    pub fn key(&self) -> &str {
        &self.key
    }

    /// The same column shown to `digits` significant figures.
    pub fn digits(mut self, digits: usize) -> Column<R> {
        self.digits = digits;
        self
    }

    /// The same column, but read from the JSON at `path` instead of at its key: `0.name` for the name of the
    /// first of a pair.
    pub fn path(mut self, path: &str) -> Column<R> {
        self.path = path.to_string();
        self
    }
}

/// Title, unit, key and format of one column of a [`Table`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColumnHead {
    pub(super) title: String,
    pub(super) unit: Unit,
    pub(super) digits: usize,
    pub(super) key: String,
    pub(super) holds: ColumnKind,
}

/// Rows of values under column heads, in SI.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Table {
    /// Title of the table.
    pub title: String,
    pub(super) heads: Vec<ColumnHead>,
    pub(super) rows: Vec<Vec<Cell>>,
    pub(super) side_by_side: bool,
}

impl Table {
    /// The values of `rows` under `columns`.
    pub fn new<R>(title: &str, columns: &[Column<R>], rows: &[R]) -> Table {
        let head = |c: &Column<R>| ColumnHead {
            title: c.title.clone(),
            unit: c.unit,
            digits: c.digits,
            key: c.key.clone(),
            holds: c.holds,
        };
        Table {
            title: title.to_string(),
            heads: columns.iter().map(head).collect(),
            rows: rows.iter().map(|row| columns.iter().map(|c| (c.cell)(row)).collect()).collect(),
            side_by_side: false,
        }
    }

    /// The same table shown transposed, each row as a column headed by its first value: for few things with
    /// many properties.
    pub fn side_by_side(mut self) -> Table {
        self.side_by_side = true;
        self
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// True if it has no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text in shown units.
    pub fn shown(&self) -> Grid {
        if self.side_by_side && !self.heads.is_empty() { self.turned() } else { self.upright() }
    }

    fn upright(&self) -> Grid {
        let column = |(i, head): (usize, &ColumnHead)| GridColumn {
            title: head.title.clone(),
            unit: head.unit.name.to_string(),
            right: head.holds != ColumnKind::Text,
            cells: aligned(self.rows.iter().map(|row| shown(&row[i], head)).collect(), head.holds),
        };
        Grid { columns: self.heads.iter().enumerate().map(column).collect() }
    }

    fn turned(&self) -> Grid {
        let properties = || self.heads.iter().skip(1);
        let mut columns = vec![GridColumn {
            title: self.heads[0].title.clone(),
            unit: String::new(),
            right: false,
            cells: properties().map(|head| head.unit.after(&head.title)).collect(),
        }];
        columns.extend(self.rows.iter().map(|row| GridColumn {
            title: shown(&row[0], &self.heads[0]),
            unit: String::new(),
            right: true,
            cells: properties().zip(&row[1..]).map(|(head, cell)| shown(cell, head)).collect(),
        }));
        Grid { columns }
    }
}

/// A table as text, column by column, to be laid out by terminal or page.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// The columns from left to right.
    pub columns: Vec<GridColumn>,
}

/// One column of a [`Grid`].
#[derive(Debug, Clone, PartialEq)]
pub struct GridColumn {
    /// Its title.
    pub title: String,
    /// Unit of its numbers.
    pub unit: String,
    /// True for numbers, which are aligned right.
    pub right: bool,
    /// Cells from top to bottom; numbers are padded so that their decimal points align.
    pub cells: Vec<String>,
}

/// A smaller value, in the unit of its column, is a rounding error of zero and shown as 0.
const NOTHING: f64 = 1e-9;

/// A cell as text in the unit of its column.
fn shown(cell: &Cell, head: &ColumnHead) -> String {
    let figure = |value: f64| {
        let value = value / head.unit.size;
        // A whole number without unit is a count.
        if head.unit.name.is_empty() && value.fract() == 0.0 && value.abs() < 1e7 {
            format!("{value}")
        } else if !head.unit.name.is_empty() && value.abs() < NOTHING {
            "0".to_string()
        } else {
            significant(value, head.digits)
        }
    };
    match cell {
        Cell::Number(value) => figure(*value),
        Cell::Missing => "-".to_string(),
        Cell::Text(text) => text.clone(),
        Cell::Spread { value, low, high, .. } if low == high => figure(*value),
        Cell::Spread { value, low, high, .. } => {
            format!("{} ({}–{})", figure(*value), figure(*low), figure(*high))
        }
    }
}

/// Numbers padded on the right so that their decimal points align.
fn aligned(cells: Vec<String>, holds: ColumnKind) -> Vec<String> {
    if holds != ColumnKind::Number {
        return cells;
    }
    let after_point = |cell: &str| cell.find('.').map_or(0, |point| cell.len() - point);
    let longest = cells.iter().map(|cell| after_point(cell)).max().unwrap_or(0);
    cells.into_iter().map(|cell| format!("{cell}{}", " ".repeat(longest - after_point(&cell)))).collect()
}

/// Lists where the values of `columns` differ from the JSON of `rows`; empty if they agree. A key that the
/// JSON lacks is a difference; null is a missing value.
pub fn disagreements<R: Serialize>(columns: &[Column<R>], rows: &[R]) -> Vec<String> {
    let mut found = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        let json = match serde_json::to_value(row) {
            Ok(json) => json,
            Err(error) => return vec![format!("row {i} has no JSON: {error}")],
        };
        for column in columns {
            let cell = (column.cell)(row);
            let agree = match at(&json, &column.path) {
                Some(value) => same(&cell, value),
                None => cell == Cell::Missing && has_null_on(&json, &column.path),
            };
            if !agree {
                found.push(format!(
                    "row {i}, {}: table {cell:?}, JSON {:?}",
                    column.path,
                    at(&json, &column.path)
                ));
            }
        }
    }
    found
}

fn same(cell: &Cell, json: &Value) -> bool {
    match cell {
        Cell::Number(value) => json.as_f64() == Some(*value),
        Cell::Missing => json.is_null(),
        Cell::Text(text) => match json {
            Value::String(json) => json == text,
            Value::Bool(is) => text == if *is { "yes" } else { "no" },
            other => &other.to_string() == text,
        },
        Cell::Spread { value, low, high, median } => {
            [("value", Some(*value)), ("low", Some(*low)), ("high", Some(*high)), ("median", *median)]
                .iter()
                .all(|(key, number)| json.get(key).and_then(Value::as_f64) == *number)
        }
    }
}

fn step<'a>(json: &'a Value, key: &str) -> Option<&'a Value> {
    match key.parse::<usize>() {
        Ok(index) if json.is_array() => json.get(index),
        _ => json.get(key),
    }
}

fn at<'a>(json: &'a Value, path: &str) -> Option<&'a Value> {
    path.split('.').try_fold(json, step)
}

/// True if `path` meets a null before its end: the whole object is missing.
fn has_null_on(json: &Value, path: &str) -> bool {
    let mut here = json;
    for key in path.split('.') {
        match step(here, key) {
            Some(Value::Null) => return true,
            Some(next) => here = next,
            // An index beyond the end of a list counts as missing, like null.
            None => return here.is_array() && key.parse::<usize>().is_ok(),
        }
    }
    false
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    #[derive(Serialize)]
    pub(crate) struct Row {
        pub name: String,
        pub modes: usize,
        pub stiffness_n_per_m: Option<f64>,
        pub settle_time_s: Option<Spread>,
        pub centre_m: [f64; 2],
    }

    pub(crate) fn columns() -> Vec<Column<Row>> {
        vec![
            Column::text("build", "name", |r: &Row| r.name.clone()),
            Column::number("modes", Unit::NONE, "modes", |r: &Row| Some(r.modes as f64)),
            Column::number("stiffness", Unit::new("N/µm", 1e6), "stiffness_n_per_m", |r: &Row| {
                r.stiffness_n_per_m
            }),
            Column::spread("settle time", Unit::new("ms", 1e-3), "settle_time_s", |r: &Row| r.settle_time_s),
            Column::number("centre z", Unit::new("mm", 1e-3), "centre_m.1", |r: &Row| Some(r.centre_m[1])),
        ]
    }

    pub(crate) fn rows() -> Vec<Row> {
        let row = |name: &str, k, settle| Row {
            name: name.to_string(),
            modes: 6,
            stiffness_n_per_m: k,
            settle_time_s: settle,
            centre_m: [0.0, 0.0125],
        };
        vec![
            row("welded", Some(12.345e6), Some(Spread::between(0.12, 0.09, 0.151))),
            row("cast", Some(2e6), None),
            row("bolted, \"dry\"", None, Some(Spread::exact(0.05))),
        ]
    }

    #[test]
    fn values_are_shown_in_the_shop_s_unit_with_points_aligned() {
        let grid = Table::new("t", &columns(), &rows()).shown();
        assert_eq!(grid.columns[1].cells, ["6", "6", "6"]);
        assert_eq!(grid.columns[2].cells, ["12.3 ", "2.00", "-   "]);
        assert_eq!(grid.columns[3].cells, ["120 (90.0–151)", "-", "50.0"]);
        assert_eq!(grid.columns[2].unit, "N/µm");
    }

    #[test]
    fn turned_has_a_column_for_each_row() {
        let grid = Table::new("t", &columns(), &rows()).side_by_side().shown();
        assert_eq!(grid.columns.len(), 4);
        assert_eq!(grid.columns[1].title, "welded");
        assert_eq!(grid.columns[0].cells, ["modes", "stiffness, N/µm", "settle time, ms", "centre z, mm"]);
        assert_eq!(grid.columns[2].cells, ["6", "2.00", "-", "12.5"]);
    }

    #[test]
    fn table_and_json_agree_or_the_difference_is_named() {
        assert_eq!(disagreements(&columns(), &rows()), Vec::<String>::new());
        let wrong = [
            Column::number("k", Unit::NONE, "stiffness_n_per_m", |r: &Row| {
                r.stiffness_n_per_m.map(|k| k * 2.0)
            }),
            Column::number("k", Unit::NONE, "stiffness", |_: &Row| None),
            Column::text("n", "name", |_: &Row| "x".to_string()),
        ];
        // The stiffness of the third row is missing in both, so it is no difference.
        assert_eq!(disagreements(&wrong, &rows()).len(), 2 + 3 + 3);
    }

    #[test]
    fn rows_may_be_pairs() {
        let pairs = [(rows().remove(0), 7.0)];
        let columns = [
            Column::text("build", "build", |r: &(Row, f64)| r.0.name.clone()).path("0.name"),
            Column::number("value", Unit::NONE, "value", |r: &(Row, f64)| Some(r.1)).path("1"),
        ];
        assert_eq!(disagreements(&columns, &pairs), Vec::<String>::new());
    }

    #[test]
    fn what_is_not_finite_is_missing() {
        let columns = [Column::number("v", Unit::NONE, "v", |v: &f64| Some(*v))];
        let table = Table::new("t", &columns, &[f64::NAN, 1.0]);
        assert_eq!(table.rows, [[Cell::Missing], [Cell::Number(1.0)]]);
    }
}
