//! One sheet of a workbook, filled row by row.

use super::super::table::{Cell, Table};
use crate::text::fold;
use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Formula, Worksheet, XlsxError};
use std::collections::BTreeMap;

/// Number format of money.
pub(super) const MONEY: &str = "#,##0.00";
/// Shown in place of a cost while a price is missing.
pub(super) const NO_PRICE: &str = "price missing";
/// Longest text that is written into a cell, in characters.
const LONGEST: usize = 32_000;
/// Longest name of a sheet, in characters.
const LONGEST_NAME: usize = 31;

/// Height of a line of text, in points.
const LINE_HEIGHT: f64 = 15.0;
/// Height of the row of a title, in points.
const TITLE_HEIGHT: f64 = 20.0;
/// The greatest height that a row can have, in points.
const MAX_HEIGHT: f64 = 409.0;
/// Characters that the indent of a cell takes from its width.
const INDENT: f64 = 2.0;
/// Width of a column of long text, which a page in landscape holds, in characters.
pub(super) const TEXT_WIDTH: f64 = 90.0;
/// Width of the columns that are printed side by side on one page, in characters.
const PAGE_WIDTH: f64 = 150.0;

/// How a cell looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CellStyle {
    /// A title over what follows.
    Title,
    /// The head of a column.
    Head,
    /// Computed or computed.
    Plain,
    /// A total at the end.
    Sum,
    /// A cell for the reader to change.
    Input,
}

/// The computed result of a formula.
pub(super) enum Computed {
    Number(f64),
    Text(&'static str),
}

/// One sheet; columns count from 0.
pub(super) struct Sheet {
    sheet: Worksheet,
    row: u32,
    widths: Vec<f64>,
    /// Heights of the rows that need more than one line.
    heights: BTreeMap<u32, f64>,
}

impl Sheet {
    /// An empty sheet; `widths` are column widths in characters.
    pub fn new(name: &str, widths: &[f64]) -> Result<Sheet, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(tab(name))?;
        for (column, width) in (0..).zip(widths) {
            sheet.set_column_width(column, *width)?;
        }
        let pages = (widths.iter().sum::<f64>() / PAGE_WIDTH).ceil().max(1.0);
        sheet.set_landscape().set_print_fit_to_pages(pages as u16, 0);
        if pages > 1.0 {
            sheet.set_repeat_columns(0, 0)?;
        }
        Ok(Sheet { sheet, row: 0, widths: widths.to_vec(), heights: BTreeMap::new() })
    }

    /// The finished worksheet.
    ///
    /// # Errors
    /// What the format cannot hold.
    pub fn into_worksheet(mut self) -> Result<Worksheet, XlsxError> {
        for (row, height) in self.heights {
            self.sheet.set_row_height(row, height)?;
        }
        Ok(self.sheet)
    }

    /// Makes the current row high enough for `text` in `column`.
    fn make_room(&mut self, column: u16, text: &str, style: CellStyle) {
        let width = self.widths.get(usize::from(column)).copied().unwrap_or(8.0);
        let height = match style {
            CellStyle::Title => TITLE_HEIGHT,
            CellStyle::Sum => LINE_HEIGHT,
            CellStyle::Plain if column > 0 => LINE_HEIGHT * lines(text, width - INDENT),
            CellStyle::Head | CellStyle::Plain | CellStyle::Input => LINE_HEIGHT * lines(text, width),
        };
        if height > LINE_HEIGHT {
            let tallest = self.heights.entry(self.row).or_insert(height);
            *tallest = tallest.max(height).min(MAX_HEIGHT);
        }
    }

    /// Moves to the row numbered `row` in formulas.
    pub fn go_to(&mut self, row: u32) {
        self.row = row.saturating_sub(1);
    }

    /// Moves to the next row.
    pub fn next(&mut self) {
        self.row += 1;
    }

    /// The number of the current row, counted from 1 as in formulas.
    pub fn row(&self) -> u32 {
        self.row + 1
    }

    /// Keeps the rows above the current one visible while scrolling, and prints them on every page.
    pub fn freeze(&mut self) -> Result<(), XlsxError> {
        self.sheet.set_freeze_panes(self.row, 0)?;
        self.sheet.set_repeat_rows(0, self.row.saturating_sub(1))?;
        Ok(())
    }

    /// A row that holds only `text`.
    pub fn line(&mut self, text: &str, style: CellStyle) -> Result<(), XlsxError> {
        self.text(0, text, style)?;
        self.next();
        Ok(())
    }

    /// A row of column heads.
    pub fn heads<T: AsRef<str>>(&mut self, heads: &[T]) -> Result<(), XlsxError> {
        for (column, head) in (0..).zip(heads) {
            self.text(column, head.as_ref(), CellStyle::Head)?;
        }
        self.next();
        Ok(())
    }

    pub fn text(&mut self, column: u16, text: &str, style: CellStyle) -> Result<(), XlsxError> {
        let text = short(text, LONGEST);
        self.make_room(column, &text, style);
        let format = match style {
            // Set off from the number that ends where the column begins.
            CellStyle::Plain if column > 0 => format(style, "@").set_align(FormatAlign::Left).set_indent(1),
            _ => format(style, "@"),
        };
        self.sheet.write_string_with_format(self.row, column, text, &format)?;
        Ok(())
    }

    /// A number with the number format `shown`.
    pub fn number(
        &mut self,
        column: u16,
        value: f64,
        shown: &str,
        style: CellStyle,
    ) -> Result<(), XlsxError> {
        self.sheet.write_number_with_format(self.row, column, value, &format(style, shown))?;
        Ok(())
    }

    /// An input cell with a number, or empty for the reader to fill.
    pub fn input(&mut self, column: u16, value: Option<f64>, shown: &str) -> Result<(), XlsxError> {
        match value {
            Some(value) => self.number(column, value, shown, CellStyle::Input),
            None => {
                self.sheet.write_blank(self.row, column, &format(CellStyle::Input, shown))?;
                Ok(())
            }
        }
    }

    /// A formula, stored with the value that the program computed for it.
    pub fn formula(
        &mut self,
        column: u16,
        formula: &str,
        computed: &Computed,
        shown: &str,
        style: CellStyle,
    ) -> Result<(), XlsxError> {
        let result = match computed {
            Computed::Number(value) => value.to_string(),
            Computed::Text(text) => (*text).to_string(),
        };
        let formula = Formula::new(formula).set_result(result);
        self.sheet.write_formula_with_format(self.row, column, formula, &format(style, shown))?;
        Ok(())
    }

    /// The rows of `table` under its heads, in the units of its columns; of a spread only the value.
    pub fn table(&mut self, table: &Table) -> Result<(), XlsxError> {
        let heads: Vec<String> = table.heads.iter().map(|head| head.unit.after(&head.title)).collect();
        self.heads(&heads)?;
        self.freeze()?;
        let value = |cell: &Cell, size: f64| match cell {
            Cell::Number(value) | Cell::Spread { value, .. } => Some(value / size),
            _ => None,
        };
        let shown: Vec<String> = (table.heads.iter().enumerate())
            .map(|(i, head)| decimals(table.rows.iter().filter_map(|row| value(&row[i], head.unit.size))))
            .collect();
        for row in &table.rows {
            for (i, (cell, head)) in row.iter().zip(&table.heads).enumerate() {
                match cell {
                    Cell::Text(text) => self.text(i as u16, text, CellStyle::Plain)?,
                    cell => {
                        if let Some(value) = value(cell, head.unit.size) {
                            self.number(i as u16, value, &shown[i], CellStyle::Plain)?;
                        }
                    }
                }
            }
            self.next();
        }
        Ok(())
    }
}

/// How many lines `text` takes in a column as wide as this number of digits: its letters are on average no
/// wider than a digit, even in bold.
fn lines(text: &str, columns: f64) -> f64 {
    fold(text, columns as usize).len().max(1) as f64
}

/// The number format that shows the smallest of `values` other than zero to three figures.
pub(super) fn decimals(values: impl Iterator<Item = f64>) -> String {
    let smallest = values.map(f64::abs).filter(|value| *value > 0.0).fold(f64::INFINITY, f64::min);
    if !smallest.is_finite() {
        return "0".to_string();
    }
    match 2 - smallest.log10().floor() as i32 {
        ..=0 => "0".to_string(),
        digits @ 1..=6 => format!("0.{}", "0".repeat(digits as usize)),
        _ => "0.00E+00".to_string(),
    }
}

/// The name of a cell: `B3` for column 1 in row 3.
pub(super) fn cell(column: u16, row: u32) -> String {
    format!("{}{row}", char::from(b'A' + column.min(25) as u8))
}

/// `text` cut to `longest` characters.
pub(super) fn short(text: &str, longest: usize) -> String {
    text.chars().take(longest).collect()
}

/// `name` without what a sheet's name must not contain, cut to the allowed length.
fn tab(name: &str) -> String {
    let plain = name.replace(['/', '\\', ':', '*', '?', '\''], " ").replace('[', "(").replace(']', ")");
    let plain: String = plain.chars().filter(|c| !c.is_control()).collect();
    let short = short(plain.trim(), LONGEST_NAME).trim().to_string();
    if short.is_empty() || short.eq_ignore_ascii_case("history") { "Sheet".to_string() } else { short }
}

fn format(style: CellStyle, shown: &str) -> Format {
    let grey = Color::RGB(0xBBBBBB);
    let format = Format::new().set_num_format(shown).set_align(FormatAlign::Top);
    match style {
        CellStyle::Title => format.set_bold().set_font_size(14.0),
        CellStyle::Head => format.set_bold().set_text_wrap().set_border_bottom(FormatBorder::Thin),
        CellStyle::Plain if shown == "@" => format.set_text_wrap(),
        CellStyle::Plain => format,
        CellStyle::Sum => format.set_bold().set_border_top(FormatBorder::Thin),
        CellStyle::Input => format
            .set_background_color(Color::RGB(0xFFF4CC))
            .set_border(FormatBorder::Thin)
            .set_border_color(grey)
            .set_text_wrap(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_value_keeps_three_figures() {
        for (values, shown) in [
            (vec![12.3, 456.0], "0.0"),
            (vec![0.0], "0"),
            (vec![1234.0], "0"),
            (vec![0.0123, 5.0], "0.0000"),
            (vec![1e-9], "0.00E+00"),
        ] {
            assert_eq!(decimals(values.into_iter()), shown);
        }
    }

    #[test]
    fn a_tab_has_a_name_that_tabs_may_have() {
        assert_eq!(tab("grit 60/40"), "grit 60 40");
        assert_eq!(tab("''"), "Sheet");
        assert_eq!(tab("History"), "Sheet");
        assert_eq!(cell(1, 3), "B3");
    }
}
