//! Tables of the page. A long table shows evenly chosen rows; its CSV has them all.

use crate::table::{GridColumn, Table};
use maud::{Markup, html};

/// Rows shown at most.
const MOST: usize = 120;

/// Number of rows that `table` has on the page.
pub(super) fn rows(table: &Table) -> usize {
    table.shown().columns.first().map_or(0, |column| column.cells.len())
}

/// `table` without its title, which the caller prints above it, in a region of this `name`, which no other has.
pub(super) fn shown(table: &Table, name: &str) -> Markup {
    let grid = table.shown();
    let count = grid.columns.first().map_or(0, |column| column.cells.len());
    let every = count.div_ceil(MOST).max(1);
    html! {
        div class="scroll" role="region" tabindex="0" aria-label=(name) {
            table aria-label=(name) {
                thead {
                    tr { @for column in &grid.columns { (head(column)) } }
                }
                tbody {
                    @for row in (0..count).step_by(every) {
                        tr { @for (i, column) in grid.columns.iter().enumerate() { (cell(column, row, i == 0)) } }
                    }
                }
            }
        }
        @if every > 1 {
            p class="quiet" { "One of every " (every) " of " (count) " rows; the CSV has them all." }
        }
        @if count == 0 { p class="quiet" { "Nothing to list." } }
    }
}

fn head(column: &GridColumn) -> Markup {
    html! {
        th scope="col" class=[column.right.then_some("number")] {
            (column.title)
            @if !column.unit.is_empty() { " " span class="unit" { (column.unit) } }
        }
    }
}

fn cell(column: &GridColumn, row: usize, first: bool) -> Markup {
    let text = if column.right { padded(&column.cells[row]) } else { column.cells[row].clone() };
    let content = match text.split_once(" (").filter(|_| column.right) {
        Some((value, spread)) => html! { (value) " " span class="spread" { "(" (spread) } },
        None => html! { (text) },
    };
    html! {
        @if first {
            th scope="row" class=[column.right.then_some("number")] { (content) }
        } @else {
            td class=[column.right.then_some("number")] { (content) }
        }
    }
}

/// The trailing spaces that align decimal points, as spaces of the width of a point and of digits.
fn padded(cell: &str) -> String {
    let text = cell.trim_end();
    let spaces = cell.len() - text.len();
    let point = if spaces > 0 && !text.contains('.') { "\u{2008}" } else { "" };
    let digits = if point.is_empty() { spaces } else { spaces - 1 };
    format!("{text}{point}{}", "\u{2007}".repeat(digits))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Column;
    use crate::unit::Unit;

    #[test]
    fn padding_is_as_wide_as_what_it_stands_for() {
        assert_eq!(padded("12  "), "12\u{2008}\u{2007}");
        assert_eq!(padded("1.5 "), "1.5\u{2007}");
        assert_eq!(padded("1.25"), "1.25");
    }

    #[test]
    fn a_long_table_is_thinned_and_says_so() {
        let columns = [Column::number("v", Unit::NONE, "v", |v: &f64| Some(*v))];
        let rows: Vec<f64> = (0..1000).map(f64::from).collect();
        let text = shown(&Table::new("t", &columns, &rows), "t").into_string();
        assert!(text.contains("One of every 9 of 1000 rows"), "{text}");
        assert_eq!(text.matches("<tr>").count(), 1 + 112);
    }
}
