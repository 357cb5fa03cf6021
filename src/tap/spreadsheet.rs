//! Converts a workbook (xlsx, xls, ods) to the text of a table.

use super::record::MAX_SAMPLES;
use calamine::{Data, Reader, open_workbook_auto_from_rs};
use stillbed_input::problem::{Place, Problem, Problems};

/// The largest workbook that is unpacked, bytes.
const MAX_PACKED: usize = 16 << 20;
/// Smallest number of rows of a sheet that may hold a record.
const ROWS: usize = 32;

/// The first sheet of the workbook `bytes` with enough rows, its cells separated by tabs, and warnings.
///
/// # Errors
/// A file that is no workbook, or too large, or has no sheet with enough rows.
pub(super) fn text(file: &str, bytes: &[u8]) -> Result<(String, Vec<Problem>), Problems> {
    let stop = |message: String| {
        let help = "export the sheet as CSV with time and signal";
        Err(Problems::from(Problem::error(Place::file(file), message).with_help(help)))
    };
    if bytes.len() > MAX_PACKED {
        return stop(format!(
            "the spreadsheet has {} MB; at most {} MB are unpacked",
            bytes.len() >> 20,
            MAX_PACKED >> 20
        ));
    }
    let mut book = match open_workbook_auto_from_rs(std::io::Cursor::new(bytes.to_vec())) {
        Ok(book) => book,
        Err(fault) => return stop(format!("the file is no spreadsheet that can be read: {fault}")),
    };
    let names = book.sheet_names();
    for name in &names {
        let Ok(range) = book.worksheet_range(name) else { continue };
        if range.height() < ROWS {
            continue;
        }
        if range.height() * range.width() > MAX_SAMPLES {
            return stop(format!("the sheet \"{name}\" has more than {} million cells", MAX_SAMPLES >> 20));
        }
        let mut text = String::new();
        for row in range.rows() {
            let cells: Vec<String> = row.iter().map(cell).collect();
            text.push_str(&cells.join("\t"));
            text.push('\n');
        }
        let mut notes = Vec::new();
        if names.len() > 1 {
            let message = format!("read from the sheet \"{name}\", one of {}", names.len());
            notes.push(Problem::warning(Place::file(file), message));
        }
        return Ok((text, notes));
    }
    stop(format!("no sheet has {ROWS} rows"))
}

/// A cell as text.
fn cell(data: &Data) -> String {
    match data {
        Data::Float(x) => x.to_string(),
        Data::Int(n) => n.to_string(),
        // A time of day is stored as a fraction of a day.
        Data::DateTime(time) => (time.as_f64() * 86_400.0).to_string(),
        Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) => {
            text.replace(['\t', '\n', '\r'], " ")
        }
        Data::Bool(value) => u8::from(*value).to_string(),
        Data::Error(_) | Data::Empty => String::new(),
    }
}
