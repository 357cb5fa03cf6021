//! Workbooks: answers whose prices and amounts the reader may change and see the rest recomputed.
//!
//! Input cells have a light background. A cell that follows from others is a formula stored with the value
//! that the program computed, so that viewers without a calculator show it too. Text stays text even if it
//! begins like a formula.
//!
//! ```text
//! sheet    one sheet: text, numbers, inputs, formulas
//! compare  the workbook of a comparison
//! pour     the workbook of a pour
//! ```

pub mod compare;
pub mod pour;
mod sheet;

use super::identity::DesignIdentity;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, XlsxError};
use sheet::{CellStyle, Sheet, TEXT_WIDTH};
use stillbed_input::problem::Problem;

/// The file of a workbook made of `worksheets`; equal sheets give equal bytes.
fn workbook_bytes(worksheets: Vec<Sheet>, design: &DesignIdentity) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A fixed date: the library does not read the clock.
    let date = ExcelDateTime::from_ymd(2000, 1, 1)?;
    let title = sheet::short(&design.title, 255);
    book.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&date));
    for worksheet in worksheets {
        book.push_worksheet(worksheet.into_worksheet()?);
    }
    book.save_to_buffer()
}

/// The last sheet: where the workbook comes from, warnings, how to use it.
fn notes_sheet(
    design: &DesignIdentity,
    paragraphs: &[String],
    problems: &[Problem],
) -> Result<Sheet, XlsxError> {
    let mut worksheet = Sheet::new("Notes", &[TEXT_WIDTH])?;
    let title = if design.title.is_empty() { &design.file } else { &design.title };
    worksheet.line(title, CellStyle::Title)?;
    worksheet.line(
        &format!("{}, computed by stillbed {}", design.file, env!("CARGO_PKG_VERSION")),
        CellStyle::Plain,
    )?;
    worksheet.line(
        "Cells on a light ground are meant to be changed; what follows from them is computed anew.",
        CellStyle::Input,
    )?;
    for text in paragraphs {
        worksheet.line(text, CellStyle::Plain)?;
    }
    for problem in problems {
        worksheet.line(&problem.to_string(), CellStyle::Plain)?;
    }
    worksheet.line(
        "These are estimates for design, not a certificate: where a failure could hurt someone, local \
         codes and a licensed engineer decide.",
        CellStyle::Plain,
    )?;
    Ok(worksheet)
}

#[cfg(test)]
mod tests {
    use super::*;
    use calamine::{Data, Reader, Xlsx};

    #[test]
    fn text_that_begins_like_a_formula_stays_text_and_the_same_book_is_the_same_bytes() {
        let book = || {
            let mut worksheet =
                Sheet::new("=1+1 [odd]/name that is far too long for a tab", &[20.0]).unwrap();
            for text in ["=1+1", "+1", "@x", "-1", "\u{1}", "a\nb"] {
                worksheet.line(text, CellStyle::Plain).unwrap();
            }
            let long = "x".repeat(40_000);
            worksheet.line(&long, CellStyle::Plain).unwrap();
            workbook_bytes(vec![worksheet], &DesignIdentity { file: "a.toml".to_string(), title: long })
                .unwrap()
        };
        let bytes = book();
        assert_eq!(bytes, book());
        let mut read: Xlsx<_> = Xlsx::new(std::io::Cursor::new(bytes)).unwrap();
        let name = read.sheet_names()[0].clone();
        assert_eq!(name, "=1+1 (odd) name that is far too");
        let cells = read.worksheet_range(&name).unwrap();
        assert_eq!(cells.get_value((0, 0)), Some(&Data::String("=1+1".to_string())));
        assert_eq!(cells.get_value((1, 0)), Some(&Data::String("+1".to_string())));
        assert_eq!(read.worksheet_formula(&name).unwrap().used_cells().count(), 0);
    }
}
