//! Reads a text table: columns separated by comma, semicolon, tab or space, with or without titles.
//!
//! The layout is found, not stated: the first run of similar rows of numbers is the data; the lines above
//! it are titles, units and remarks. A comma is read as a decimal sign where it does not separate columns
//! or where the cell is quoted. A few missing values are interpolated, with a warning.

use super::record::{MAX_MAGNITUDE, MAX_SAMPLES, Record, RecordOptions};
use super::time_axis::{Column, sampled, time_unit};
use encoding_rs::WINDOWS_1252;
use std::borrow::Cow;
use stillbed_input::problem::{Place, Problem, Problems};

/// Number of bad cells that are listed.
const SHOWN: usize = 8;

/// Reads a table.
pub(super) fn read(file: &str, bytes: &[u8], stated: &RecordOptions) -> Result<Record, Problems> {
    let text = decode(bytes).ok_or_else(|| {
        vec![
            Problem::error(Place::file(file), "the file is neither a wave file nor text")
                .with_help("export it as uncompressed WAV (PCM), or as CSV with time and signal"),
        ]
    })?;
    let lines: Vec<(usize, &str)> = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.trim_end_matches('\r')))
        .filter(|(_, line)| !line.trim().is_empty())
        .collect();
    let layout = Layout::find(&lines).ok_or_else(|| {
        vec![
            Problem::error(Place::file(file), "no rows of numbers are found")
                .with_help("export time and signal as columns of numbers, one row a sample"),
        ]
    })?;
    let (columns, rows, mut notes) = columns(file, &lines, &layout)?;
    let remarks = lines[..layout.data].iter().map(|(_, line)| *line);
    let mut record = sampled(file, columns, &rows, remarks, stated)?;
    notes.append(&mut record.notes);
    record.notes = notes;
    Ok(record)
}

/// The bytes as text: UTF-8, UTF-16 with a byte order mark, or one byte a letter as in Western Europe.
/// Broken letters of UTF-8 are replaced. `None` when it is no text.
fn decode(bytes: &[u8]) -> Option<Cow<'_, str>> {
    let wide = |bytes: &[u8], unit: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes.chunks_exact(2).map(|b| unit([b[0], b[1]])).collect();
        Cow::Owned(String::from_utf16_lossy(&units))
    };
    match bytes {
        [0xff, 0xfe, rest @ ..] => return Some(wide(rest, u16::from_le_bytes)),
        [0xfe, 0xff, rest @ ..] => return Some(wide(rest, u16::from_be_bytes)),
        _ => {}
    }
    let bytes = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
    let head = &bytes[..bytes.len().min(4096)];
    let control = head.iter().filter(|b| **b < 9 || (14..32).contains(*b)).count();
    if control * 100 > head.len() {
        return None;
    }
    let is_one_byte_a_letter =
        std::str::from_utf8(bytes).is_err() && bytes.utf8_chunks().all(|chunk| chunk.valid().is_ascii());
    Some(match is_one_byte_a_letter {
        true => WINDOWS_1252.decode_without_bom_handling(bytes).0,
        false => String::from_utf8_lossy(bytes),
    })
}

/// Where the data begin and how the columns are separated.
struct Layout {
    delimiter: char,
    /// Index of the first row of data among the lines.
    data: usize,
    /// Cells in a row.
    width: usize,
    titles: Vec<String>,
}

impl Layout {
    fn find(lines: &[(usize, &str)]) -> Option<Layout> {
        for i in 0..lines.len().min(400) {
            if remark(lines[i].1) {
                continue;
            }
            for delimiter in ['\t', ';', ',', ' '] {
                let kinds = |line: &str| -> Vec<bool> {
                    split(line, delimiter).iter().map(|cell| numeric(cell, delimiter)).collect()
                };
                let first = kinds(lines[i].1);
                if !first.contains(&true) || (delimiter != ' ' && !lines[i].1.contains(delimiter)) {
                    continue;
                }
                let like = |line: &(usize, &str)| {
                    let other = kinds(line.1);
                    let matches = first.iter().zip(&other).filter(|(a, b)| a == b).count();
                    other.len() == first.len() && 2 * matches > first.len()
                };
                let next = lines.iter().skip(i + 1).filter(|line| !remark(line.1)).take(2);
                if next.clone().all(like) && (next.count() > 0 || first.iter().all(|n| *n)) {
                    let titles = titles(&lines[..i], delimiter, first.len());
                    return Some(Layout { delimiter, data: i, width: first.len(), titles });
                }
            }
        }
        None
    }

    fn title(&self, column: usize) -> String {
        self.titles.get(column).filter(|t| !t.is_empty()).cloned().unwrap_or(format!("column {}", column + 1))
    }
}

/// The titles of `width` columns from the lines above the data, with their units where those have a row
/// of their own.
fn titles(above: &[(usize, &str)], delimiter: char, width: usize) -> Vec<String> {
    let cells = |line: &str| -> Option<Vec<String>> {
        let cells = split(line.trim_start_matches(['#', '%']), delimiter);
        let holds_number = |cell: &&str| !cell.is_empty() && numeric(cell, delimiter);
        (cells.len() == width && !cells.iter().any(holds_number) && cells.iter().any(|cell| !cell.is_empty()))
            .then(|| cells.iter().map(|cell| cell.trim().to_string()).collect())
    };
    let mut rows = above.iter().rev().filter_map(|(_, line)| cells(line));
    let Some(last) = rows.next() else { return Vec::new() };
    match rows.next() {
        Some(names) if is_of_units(&last) && !is_of_units(&names) => {
            let joined = |(name, unit): (String, String)| match bare(&unit) {
                "" => name,
                unit => format!("{name} ({unit})"),
            };
            names.into_iter().zip(last).map(joined).collect()
        }
        _ => last,
    }
}

/// A unit without brackets around it.
fn bare(cell: &str) -> &str {
    cell.trim().trim_matches(['(', ')', '[', ']']).trim()
}

/// True for a row that holds nothing but units.
fn is_of_units(cells: &[String]) -> bool {
    const SIGNALS: [&str; 26] = [
        "", "-", "1", "g", "mg", "gn", "v", "mv", "uv", "µv", "pa", "mpa", "m/s2", "m/s^2", "m/s²", "m/s/s",
        "mm/s2", "m/s", "mm/s", "m", "mm", "um", "µm", "n", "db", "hz",
    ];
    let is_unit = |cell: &String| {
        let unit = bare(cell).to_lowercase();
        time_unit(&unit).is_some() || SIGNALS.contains(&unit.as_str())
    };
    cells.iter().all(is_unit)
}

fn remark(line: &str) -> bool {
    line.trim_start().starts_with(['#', '%'])
}

/// The cells of a line, without their quotes.
fn split(line: &str, delimiter: char) -> Vec<&str> {
    if delimiter == ' ' {
        return line.split_whitespace().collect();
    }
    if !line.contains('"') {
        let cells: Vec<&str> = line.split(delimiter).map(str::trim).collect();
        return trimmed(cells);
    }
    let (mut cells, mut quoted, mut from) = (Vec::new(), false, 0);
    for (at, c) in line.char_indices() {
        if c == '"' {
            quoted = !quoted;
        } else if c == delimiter && !quoted {
            cells.push(line[from..at].trim().trim_matches('"'));
            from = at + c.len_utf8();
        }
    }
    cells.push(line[from..].trim().trim_matches('"'));
    trimmed(cells)
}

/// The cells without the empty one that a delimiter at the end of a line makes.
fn trimmed(mut cells: Vec<&str>) -> Vec<&str> {
    if cells.len() > 1 && cells.last().is_some_and(|cell| cell.is_empty()) {
        cells.pop();
    }
    cells
}

/// The number in a cell; a comma in a cell without a point is a decimal comma.
fn number(cell: &str) -> Option<f64> {
    let value: f64 = if cell.contains(',') && !cell.contains('.') {
        cell.replacen(',', ".", 1).parse().ok()?
    } else {
        cell.parse().ok()?
    };
    (value.abs() < MAX_MAGNITUDE).then_some(value)
}

/// A time of day such as `12:03:07.125`, with or without a date before it, s.
fn clock(cell: &str) -> Option<f64> {
    let day = cell.rsplit(['T', ' ']).next()?.trim_end_matches('Z');
    let day = day.split(['+']).next()?;
    let mut seconds = 0.0;
    let parts: Vec<&str> = day.split(':').collect();
    if !(2..=3).contains(&parts.len()) {
        return None;
    }
    for part in parts {
        seconds = seconds * 60.0 + number(part)?;
    }
    Some(seconds)
}

/// True for what may occur in a column of numbers, including a missing value.
fn numeric(cell: &str, delimiter: char) -> bool {
    let lower = cell.to_ascii_lowercase();
    number(cell).is_some()
        || clock(cell).is_some()
        || matches!(lower.as_str(), "inf" | "-inf")
        || is_missing(cell) && (!cell.is_empty() || delimiter != ' ')
}

/// True for a cell that marks a missing value.
fn is_missing(cell: &str) -> bool {
    matches!(cell.to_ascii_lowercase().as_str(), "" | "nan" | "null" | "na" | "n/a" | "-")
}

/// Digits after the decimal sign.
fn decimals(cell: &str) -> i32 {
    let mantissa = cell.split(['e', 'E']).next().unwrap_or(cell);
    let power: i32 = cell.split(['e', 'E']).nth(1).and_then(|p| p.parse().ok()).unwrap_or(0);
    mantissa.split(['.', ',']).nth(1).map_or(0, |d| d.len() as i32) - power
}

type Columns = (Vec<Column>, Vec<usize>, Vec<Problem>);

/// The columns of numbers and the line of each row.
fn columns(file: &str, lines: &[(usize, &str)], layout: &Layout) -> Result<Columns, Problems> {
    let rows = &lines[layout.data..];
    let mut notes = Vec::new();
    // A column without any number in its first rows is text, or empty.
    let holds = |column: usize| {
        rows.iter().take(50).any(|(_, line)| {
            split(line, layout.delimiter)
                .get(column)
                .is_some_and(|c| number(c).or_else(|| clock(c)).is_some())
        })
    };
    let wanted: Vec<usize> = (0..layout.width).filter(|column| holds(*column)).collect();
    for column in (0..layout.width).filter(|column| !wanted.contains(column)) {
        let place = Place { file: Some(file.into()), key: layout.title(column), ..Place::default() };
        notes.push(Problem::warning(place, "this column holds no numbers and was left out"));
    }
    let mut columns: Vec<Column> = wanted
        .iter()
        .map(|i| Column {
            title: layout.title(*i),
            titled: !layout.titles.is_empty(),
            values: Vec::new(),
            decimals: 0,
        })
        .collect();
    // Empty rows after the last sample are ignored; between samples they are missing values.
    let is_filled = |text: &str| {
        let cells = split(text, layout.delimiter);
        wanted.iter().any(|place| cells.get(*place).is_some_and(|cell| !cell.is_empty()))
    };
    let filled = rows.iter().rposition(|(_, text)| is_filled(text)).unwrap_or(0);
    let (mut numbers, mut bad, mut count) = (Vec::new(), Vec::new(), 0);
    let last = rows.len().saturating_sub(1);
    for (i, (line, text)) in rows.iter().enumerate() {
        if remark(text) {
            continue;
        }
        if (numbers.len() + 1) * wanted.len() > MAX_SAMPLES {
            let message = format!("the table has more than {} million numbers", MAX_SAMPLES >> 20);
            return Err(Problems::from(
                Problem::error(Place { line: Some(*line), ..Place::file(file) }, message)
                    .with_help("cut it to the seconds around the taps"),
            ));
        }
        let mut cells = split(text, layout.delimiter);
        // `split` drops an empty last cell: it may be a missing value.
        if cells.len() + 1 == layout.width && text.trim_end_matches(' ').ends_with(layout.delimiter) {
            cells.push("");
        }
        if cells.len() < layout.width && i == last && i > 0 {
            let place = Place { line: Some(*line), ..Place::file(file) };
            notes.push(Problem::warning(place, "the last row is cut off and was left out"));
            continue;
        }
        if i > filled {
            continue;
        }
        numbers.push(*line);
        for (column, place) in columns.iter_mut().zip(&wanted) {
            let cell = cells.get(*place).copied().unwrap_or("");
            let value = number(cell).or_else(|| clock(cell));
            column.decimals = column.decimals.max(decimals(cell));
            if value.is_none() && cells.get(*place).is_some() && is_missing(cell) {
                column.values.push(f64::NAN);
                continue;
            }
            if value.is_none() {
                count += 1;
                if bad.len() < SHOWN {
                    let shown: String = cell.chars().take(24).collect();
                    let what = match (cells.get(*place), cell) {
                        (None, _) => format!("the row has {} cells, not {}", cells.len(), layout.width),
                        _ => format!("\"{shown}\" is no number"),
                    };
                    let place = Place {
                        file: Some(file.into()),
                        line: Some(*line),
                        key: column.title.clone(),
                        column: None,
                    };
                    let help = "every cell holds a number: delete the row, or export the record again";
                    bad.push(Problem::error(place, what).with_help(help));
                }
            }
            column.values.push(value.unwrap_or(0.0));
        }
    }
    if count > bad.len() {
        bad.push(Problem::error(
            Place::file(file),
            format!("{} more cells are no numbers", count - bad.len()),
        ));
    }
    if !bad.is_empty() {
        return Err(bad.into());
    }
    for column in &mut columns {
        let place = |line: Option<usize>| Place {
            file: Some(file.into()),
            line,
            key: column.title.clone(),
            ..Place::default()
        };
        match bridge(&mut column.values) {
            Ok(0) => {}
            Ok(count) => {
                let cells = if count == 1 { "1 cell holds" } else { &format!("{count} cells hold") };
                let message = format!("{cells} no number; a straight line stands in for what is missing");
                notes.push(Problem::warning(place(None), message));
            }
            Err(row) => {
                let problem =
                    Problem::error(place(numbers.get(row).copied()), "too many cells hold no number");
                return Err(Problems::from(problem.with_help(
                    "up to three rows one after another are bridged, and one row in fifty: export each sensor on \
                     its own, or record again",
                )));
            }
        }
    }
    Ok((columns, numbers, notes))
}

/// Missing values that are interpolated: at most so many rows in succession, and one in so many rows.
const BRIDGED: (usize, usize) = (3, 50);

/// Interpolates missing values linearly. Returns their number, or the row at which they are too many.
fn bridge(values: &mut [f64]) -> Result<usize, usize> {
    let (mut at, mut count) = (0, 0);
    while at < values.len() {
        if !values[at].is_nan() {
            at += 1;
            continue;
        }
        let end = (at..values.len()).find(|i| !values[*i].is_nan()).unwrap_or(values.len());
        count += end - at;
        let known = [at.checked_sub(1), Some(end).filter(|end| *end < values.len())];
        let before_and_after = known.map(|place| place.map(|place| values[place]));
        if end - at > BRIDGED.0 || count > (values.len() / BRIDGED.1).max(1) {
            return Err(at);
        }
        for i in at..end {
            let part = (i + 1 - at) as f64 / (end - at + 1) as f64;
            values[i] = match before_and_after {
                [Some(before), Some(after)] => before + part * (after - before),
                // At either end of the table the nearest value is repeated.
                [Some(near), None] | [None, Some(near)] => near,
                [None, None] => return Err(at),
            };
        }
        at = end;
    }
    Ok(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(rows: impl Fn(usize) -> String, head: &str) -> Vec<u8> {
        let rows: Vec<String> = (0..100).map(rows).collect();
        format!("{head}{}\n", rows.join("\n")).into_bytes()
    }

    fn signal(i: usize) -> f64 {
        (0.3 * i as f64).sin()
    }

    fn good(bytes: &[u8]) -> Record {
        read("a.csv", bytes, &RecordOptions::default()).unwrap()
    }

    fn holds(record: &Record, rate: f64) {
        approx::assert_relative_eq!(record.sample_rate_hz, rate, max_relative = 1e-6);
        assert_eq!(record.len(), 100);
        assert!((record.channels[0].samples[7] - signal(7)).abs() < 1e-5);
    }

    #[test]
    fn delimiters_and_decimal_commas() {
        let comma = |x: f64| format!("{x:.6}").replace('.', ",");
        holds(&good(&text(|i| format!("{:.4},{:.6}", i as f64 / 400.0, signal(i)), "")), 400.0);
        holds(&good(&text(|i| format!("{:.4};{:.6};", i as f64 / 400.0, signal(i)), "t;x;\n")), 400.0);
        holds(&good(&text(|i| format!("{}\t{}", comma(i as f64 / 400.0), comma(signal(i))), "")), 400.0);
        holds(&good(&text(|i| format!("{};{}", comma(i as f64 / 400.0), comma(signal(i))), "")), 400.0);
        holds(
            &good(&text(|i| format!("\"{}\",\"{}\"", comma(i as f64 / 400.0), comma(signal(i))), "")),
            400.0,
        );
        holds(&good(&text(|i| format!("  {:.4}  {:.6}", i as f64 / 400.0, signal(i)), "# t x\n")), 400.0);
    }

    #[test]
    fn titles_units_and_remarks() {
        let head = "Made on,2026-03-01\n\n\"Time (ms)\",\"acc, x [m/s^2]\",\"Absolute acceleration\"\n";
        let record = good(&text(|i| format!("{},{:.6},{:.6}", i * 4, signal(i), signal(i).abs()), head));
        holds(&record, 250.0);
        assert_eq!((record.channels[0].name.as_str(), record.channels[0].unit.as_str()), ("acc, x", "m/s^2"));
    }

    #[test]
    fn a_bad_cell_is_named_by_line_and_title() {
        let row =
            |i: usize| if i == 41 { "0.41,inf".into() } else { format!("{:.2},{}", i as f64 / 100.0, i % 7) };
        let problems = read("a.csv", &text(row, "t (s),x\n"), &RecordOptions::default()).unwrap_err();
        assert_eq!(problems.len(), 1);
        assert!(problems[0].to_string().starts_with("a.csv:43  x: \"inf\" is no number"), "{}", problems[0]);
    }

    #[test]
    fn a_row_of_units_belongs_to_the_titles() {
        let head = "Time,Acceleration X\n(ms),(m/s2)\n";
        let record = good(&text(|i| format!("{},{:.6}", i * 4, signal(i)), head));
        holds(&record, 250.0);
        let channel = &record.channels[0];
        assert_eq!((channel.name.as_str(), channel.unit.as_str()), ("Acceleration X", "m/s2"));
        // A single row above the data holds titles, even if they look like units.
        let record = good(&text(|i| format!("{:.3},{:.6}", i as f64 * 0.004, signal(i)), "s,g\n"));
        assert_eq!(record.channels[0].name, "g");
    }

    #[test]
    fn a_few_blank_cells_are_bridged_and_many_refused() {
        let row = |holes: &'static [usize]| {
            move |i: usize| match holes.contains(&i) {
                true => format!("{:.3},{}", i as f64 / 200.0, ["", "NaN"][i % 2]),
                false => format!("{:.3},{:.6}", i as f64 / 200.0, 3.0 * i as f64),
            }
        };
        let record = good(&text(row(&[20, 21]), "t (s),x\n"));
        approx::assert_relative_eq!(record.channels[0].samples[20], 60.0, max_relative = 1e-9);
        assert!(record.notes[0].message.starts_with("2 cells hold no number"), "{}", record.notes[0]);
        for holes in [&[20, 21, 22, 23][..], &[10, 30, 50]] {
            let refused =
                read("a.csv", &text(row(holes), "t (s),x\n"), &RecordOptions::default()).unwrap_err();
            assert!(refused[0].to_string().contains("too many cells"), "{}", refused[0]);
        }
        // Empty rows are ignored at the end and are missing values before it.
        let hollow =
            |i: usize| if i == 40 { ",".into() } else { format!("{:.4},{:.6}", i as f64 / 400.0, signal(i)) };
        let record = good(&text(hollow, "t (s),x\n"));
        holds(&record, 400.0);
        approx::assert_relative_eq!(record.channels[0].samples[60], signal(60), max_relative = 1e-4);
        let mut bytes = text(|i| format!("{:.4},{:.6}", i as f64 / 400.0, signal(i)), "t (s),x\n");
        bytes.extend_from_slice(b",\n,\n");
        holds(&good(&bytes), 400.0);
    }

    #[test]
    fn a_cut_row_at_the_end_is_left_out() {
        let mut bytes = text(|i| format!("{:.2},{},{}", i as f64 / 100.0, i % 7, i % 3), "");
        bytes.extend_from_slice(b"1.00,4");
        assert_eq!(good(&bytes).len(), 100);
    }

    #[test]
    fn wide_text_and_what_is_no_text() {
        let plain =
            String::from_utf8(text(|i| format!("{:.4},{:.6}", i as f64 / 400.0, signal(i)), "")).unwrap();
        let mut wide = vec![0xff, 0xfe];
        plain.encode_utf16().for_each(|unit| wide.extend_from_slice(&unit.to_le_bytes()));
        holds(&good(&wide), 400.0);
        assert!(read("a.bin", &[0, 1, 2, 3, 4, 5, 0, 9], &RecordOptions::default()).is_err());
        assert!(read("a.txt", b"hello\nworld\n", &RecordOptions::default()).is_err());
    }

    #[test]
    fn a_unit_is_read_in_any_coding_of_its_letters() {
        let plain =
            String::from_utf8(text(|i| format!("{},{:.6}", i * 2500, signal(i)), "t (µs),x (µm)\n")).unwrap();
        let latin: Vec<u8> = plain.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
        // One broken byte in text that otherwise is UTF-8 does not make it another coding.
        let broken = [b"# \xff\n", plain.as_bytes()].concat();
        for bytes in [plain.as_bytes(), &latin, &broken] {
            let record = good(bytes);
            holds(&record, 400.0);
            assert_eq!(record.channels[0].unit, "µm");
            assert!(record.notes.is_empty(), "{:?}", record.notes);
        }
    }

    #[test]
    fn a_time_of_day_is_a_time() {
        let row = |i: usize| format!("12:00:{:06.3};{:.6}", i as f64 / 200.0, signal(i));
        holds(&good(&text(row, "clock time;x\n")), 200.0);
    }
}
