//! Rows whose wrapped text needs more lines than their height has, found in the file of a workbook.
//!
//! A column's width counts digits. A letter takes on average 0.9 of a digit, in bold 1.0; a line at 11 points
//! takes 12.8 points in fonts of wide lines, such as DejaVu Sans.

use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Height of a line, in points.
const LINE: f64 = 12.8;
/// Height of a row that states none, in points.
const DEFAULT: f64 = 15.0;

/// The value of the attribute `name` of an element that begins at the begin of `element`.
fn attribute<'a>(element: &'a str, name: &str) -> Option<&'a str> {
    let tag = element.split('>').next()?;
    tag.split(&format!(" {name}=\"")).nth(1)?.split('"').next()
}

fn number(element: &str, name: &str) -> Option<f64> {
    attribute(element, name)?.parse().ok()
}

/// Lines of `text`, broken at spaces, where a line has room for `room` digits and a letter takes `each` of one.
fn lines(text: &str, room: f64, each: f64) -> usize {
    let mut lines = 0;
    for paragraph in text.lines() {
        lines += 1;
        let mut used = 0.0;
        for word in paragraph.split(' ') {
            let wide = each * word.chars().count() as f64;
            if used > 0.0 && used + each + wide > room {
                lines += 1;
                used = wide;
            } else {
                used += wide + if used > 0.0 { each } else { 0.0 };
            }
        }
    }
    lines
}

/// The part `name` of a workbook.
fn part(book: &mut zip::ZipArchive<File>, name: &str) -> Option<String> {
    let mut text = String::new();
    book.by_name(name).ok()?.read_to_string(&mut text).unwrap();
    Some(text)
}

/// The width of each column of a sheet; neighbours of one width stand in one element.
fn widths(sheet: &str) -> Vec<f64> {
    let columns = sheet.split("<col ").skip(1).map(|column| format!(" {column}"));
    columns
        .flat_map(|column| {
            let [from, to, width] = ["min", "max", "width"].map(|name| number(&column, name).unwrap());
            vec![width; (to - from) as usize + 1]
        })
        .collect()
}

/// The rows of the workbook at `path` that are too low for their wrapped text, and the number of texts that
/// take more than one line.
pub fn too_low(path: &Path) -> (Vec<String>, usize) {
    let mut book = zip::ZipArchive::new(File::open(path).unwrap()).unwrap();
    let styles = part(&mut book, "xl/styles.xml").unwrap();
    let fonts: Vec<bool> = styles.split("<font>").skip(1).map(|font| font.starts_with("<b/>")).collect();
    let formats = styles.split("<cellXfs").nth(1).unwrap().split("</cellXfs>").next().unwrap();
    let formats: Vec<(bool, bool)> = formats
        .split("<xf")
        .skip(1)
        .map(|format| (format.contains("wrapText=\"1\""), fonts[number(format, "fontId").unwrap() as usize]))
        .collect();
    let strings = part(&mut book, "xl/sharedStrings.xml").unwrap();
    let strings: Vec<&str> =
        strings.split("<t").skip(1).map(|text| &text[text.find('>').unwrap() + 1..]).collect();
    let strings: Vec<&str> = strings.iter().map(|text| text.split("</t>").next().unwrap()).collect();
    let (mut found, mut folded) = (Vec::new(), 0);
    for sheet in (1..).map_while(|n| part(&mut book, &format!("xl/worksheets/sheet{n}.xml"))) {
        let widths = widths(&sheet);
        for row in sheet.split("<row").skip(1) {
            let height = number(row, "ht").unwrap_or(DEFAULT);
            for cell in row.split("<c ").skip(1).map(|cell| format!(" {cell}")) {
                let (wraps, bold) = formats[number(&cell, "s").unwrap() as usize];
                if !wraps || attribute(&cell, "t") != Some("s") {
                    continue;
                }
                let index = cell.split("<v>").nth(1).unwrap().split('<').next().unwrap();
                let text = strings[index.parse::<usize>().unwrap()];
                let place = attribute(&cell, "r").unwrap();
                let room = widths[usize::from(place.as_bytes()[0] - b'A')];
                let lines = lines(text, room, if bold { 1.0 } else { 0.9 });
                folded += usize::from(lines > 1);
                if lines as f64 * LINE > height {
                    found.push(format!("{place} of {height} points takes {lines} lines: {text}"));
                }
            }
        }
    }
    (found, folded)
}
