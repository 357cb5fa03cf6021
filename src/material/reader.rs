//! Reads a table of materials from CSV and reports what is wrong with it, cell by cell.
//!
//! Each row states one property: `material,property,value,unit,low,high,source,note`. Columns are found
//! by their titles, in any order; `low`, `high`, `source` and `note` may be missing. The values of two
//! properties are words: `role` and `grain_shape`.

use super::entry::{Figure, GrainShape};
use super::medium::Role;
use super::property::Property;
use std::collections::BTreeMap;
use stillbed_input::problem::{Place, Problem, suggest};
use stillbed_input::quantity::{Spread, single};

const COLUMNS: [&str; 8] = ["material", "property", "value", "unit", "low", "high", "source", "note"];
const REQUIRED: [&str; 4] = ["material", "property", "value", "unit"];
const ROLE: &str = "role";
const GRAIN_SHAPE: &str = "grain_shape";

/// What one row states of a material.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Statement {
    Role(Role),
    GrainShape(GrainShape),
    Figure(Property, Figure),
}

/// A usable row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub line: usize,
    pub material: String,
    pub statement: Statement,
}

/// Reads the usable rows of `text`, the contents of `file`, and what is wrong with the others.
pub(super) fn read(file: &str, text: &str) -> (Vec<Row>, Vec<Problem>) {
    let text = text.trim_start_matches('\u{feff}');
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let mut problems = Vec::new();
    let mut rows = Vec::new();
    let titles = match reader.headers() {
        Ok(titles) => titles.clone(),
        Err(e) => return (rows, vec![Problem::error(Place::file(file), e.to_string())]),
    };
    let header = Header::read(file, &titles, &mut problems);
    if problems.iter().any(Problem::is_error) {
        return (rows, problems);
    }
    let mut seen = BTreeMap::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(e) => {
                problems.push(Problem::error(Place::file(file), e.to_string()));
                continue;
            }
        };
        let line = record.position().map_or(0, |position| position.line() as usize);
        let cells = Cells { file, line, header: &header, record: &record };
        if record.len() != titles.len() {
            problems.push(cells.uneven(titles.len()));
            continue;
        }
        let name = (cells.text("material").to_string(), cells.text("property").to_string());
        if let Some(first) = seen.insert(name, line) {
            let message = format!("\"{}\" is stated a second time", cells.title());
            problems.push(
                Problem::error(cells.place("property"), message)
                    .with_help(format!("line {first} has it already; remove one of the two")),
            );
            continue;
        }
        if let Some(statement) = cells.statement(&mut problems) {
            rows.push(Row { line, material: cells.text("material").to_string(), statement });
        }
    }
    (rows, problems)
}

/// The position of each known column.
struct Header {
    columns: BTreeMap<&'static str, usize>,
}

impl Header {
    fn read(file: &str, titles: &csv::StringRecord, problems: &mut Vec<Problem>) -> Header {
        let place = |key: &str| Place { line: Some(1), key: key.to_string(), ..Place::file(file) };
        let mut columns = BTreeMap::new();
        for (i, title) in titles.iter().enumerate() {
            let Some(known) = COLUMNS.into_iter().find(|known| *known == title) else {
                let message = format!("no column \"{title}\" is known");
                problems.push(Problem::error(place(title), message).with_help(suggest(title, COLUMNS)));
                continue;
            };
            if columns.insert(known, i).is_some() {
                let message = format!("the column \"{title}\" stands there twice");
                problems.push(Problem::error(place(title), message).with_help("remove one of the two"));
            }
        }
        for missing in REQUIRED.into_iter().filter(|title| !columns.contains_key(title)) {
            let message = format!("the header has no column \"{missing}\"");
            let help = format!("begin with {}, separated by commas", COLUMNS.join(","));
            problems.push(Problem::error(place(missing), message).with_help(help));
        }
        Header { columns }
    }
}

/// One row; its cells are found by column title.
struct Cells<'a> {
    file: &'a str,
    line: usize,
    header: &'a Header,
    record: &'a csv::StringRecord,
}

impl Cells<'_> {
    fn text(&self, title: &str) -> &str {
        self.header.columns.get(title).and_then(|i| self.record.get(*i)).unwrap_or("")
    }

    /// What the row states, in words: `structural steel density`.
    fn title(&self) -> String {
        format!("{} {}", self.text("material"), self.text("property")).trim().to_string()
    }

    fn place(&self, column: &str) -> Place {
        let key = format!("{}, {column}", self.title());
        Place { line: Some(self.line), key, ..Place::file(self.file) }
    }

    fn uneven(&self, expected: usize) -> Problem {
        let message = format!("the row has {} cells, the header has {expected}", self.record.len());
        let help = if self.record.len() > expected {
            "put a text that holds a comma between double quotes"
        } else {
            "leave a cell empty, but keep its comma"
        };
        let place = Place { line: Some(self.line), key: self.title(), ..Place::file(self.file) };
        Problem::error(place, message).with_help(help)
    }

    fn statement(&self, problems: &mut Vec<Problem>) -> Option<Statement> {
        if self.text("material").is_empty() {
            problems.push(Problem::error(self.place("material"), "the row names no material"));
            return None;
        }
        let word = self.text("value");
        match self.text("property") {
            ROLE => self.word(Role::named(word), Role::ALL.map(Role::name), problems).map(Statement::Role),
            GRAIN_SHAPE => {
                let known = GrainShape::ALL.map(GrainShape::name);
                self.word(GrainShape::named(word), known, problems).map(Statement::GrainShape)
            }
            name => match Property::named(name) {
                Some(property) => self.figure(property, problems),
                None => {
                    let known = Property::ALL.iter().map(|p| p.name()).chain([ROLE, GRAIN_SHAPE]);
                    let message = format!("no property \"{name}\" is known");
                    let problem = Problem::error(self.place("property"), message);
                    problems.push(problem.with_help(suggest(name, known)));
                    None
                }
            },
        }
    }

    fn word<T>(&self, found: Option<T>, known: [&str; 3], problems: &mut Vec<Problem>) -> Option<T> {
        if found.is_none() {
            let word = self.text("value");
            let message = format!("\"{word}\" is no {}", self.text("property").replace('_', " "));
            problems.push(Problem::error(self.place("value"), message).with_help(suggest(word, known)));
        }
        found
    }

    fn figure(&self, property: Property, problems: &mut Vec<Problem>) -> Option<Statement> {
        let value = self.number("value", property, problems);
        let [low, high] = ["low", "high"].map(|title| {
            if self.text(title).is_empty() { value } else { self.number(title, property, problems) }
        });
        let spread = Spread::between(value?, low?, high?);
        let doubts = property.judge(&spread, &self.place("value"));
        let wrong = doubts.iter().any(Problem::is_error);
        problems.extend(doubts);
        let source = self.text("source");
        let source = if source.is_empty() { self.file } else { source };
        let figure = Figure { spread, source: source.to_string(), note: self.text("note").to_string() };
        (!wrong).then_some(Statement::Figure(property, figure))
    }

    /// The number in the column `title`, in SI; in the unit of the row unless it has its own.
    fn number(&self, title: &str, property: Property, problems: &mut Vec<Problem>) -> Option<f64> {
        let (cell, unit) = (self.text(title), self.text("unit"));
        let has_unit = cell.ends_with(|c: char| c.is_alphabetic() || c == '%');
        let text = match has_unit {
            true => cell.to_string(),
            // After a mere space "5 1/K" would be read as a number with a fraction.
            false if unit.starts_with("1/") => format!("{cell} *{unit}"),
            false => format!("{cell} {unit}"),
        };
        match single(text.trim(), property.kind()) {
            Ok(number) => Some(number),
            Err(fault) => {
                problems.push(Problem::error(self.place(title), fault.message).with_help(fault.help));
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "material,property,value,unit,low,high,source,note\n";

    fn problems(rows: &str) -> Vec<String> {
        read("mine.csv", &format!("{HEADER}{rows}")).1.iter().map(Problem::to_string).collect()
    }

    #[test]
    fn a_row_is_read_in_the_units_of_the_shop() {
        let text = format!(
            "\u{feff}{HEADER}\"my, bar\",youngs_modulus,17.2,GPa,16,18 GPa,bar of May,\n\
             bar,expansion,12e-6,1/K,,,,\n"
        );
        let (rows, problems) = read("mine.csv", &text);
        assert!(problems.is_empty());
        assert_eq!((rows[0].line, rows[0].material.as_str()), (2, "my, bar"));
        let Statement::Figure(property, figure) = &rows[0].statement else { panic!() };
        assert_eq!(*property, Property::YoungsModulus);
        assert_eq!(figure.spread, Spread::between(17.2e9, 16e9, 18e9));
        assert_eq!(figure.source, "bar of May");
        let Statement::Figure(_, figure) = &rows[1].statement else { panic!() };
        assert_eq!(figure.spread, Spread::exact(12e-6));
        assert_eq!(figure.source, "mine.csv");
    }

    #[test]
    fn every_bad_cell_is_named_by_line_and_title_in_one_pass() {
        let rows = "bar,youngs_modulus,stiff,GPa,,,,\n\
                    bar,density,2300,kg/mm,,,,\n\
                    bar,denisty,2300,kg/m3,,,,\n\
                    bar,role,skelton,,,,,\n\
                    bar,loss_factor,0.02,,0.03,0.01,,\n\
                    bar,loss_factor,0.02,,,,,\n\
                    bar,strength,20,MPa,x,,,\n\
                    ,strength,20,MPa,,,,\n";
        let said = problems(rows);
        assert_eq!(said.len(), 8, "{said:#?}");
        assert_eq!(
            said[0],
            "mine.csv:2  bar youngs_modulus, value: \"stiff\" is not a modulus or stress; \
             write a number and a unit, as in \"18 GPa\""
        );
        assert!(said[1].starts_with("mine.csv:3  bar density, value: \"2300 kg/mm\" is not a density"));
        assert!(said[2].ends_with("no property \"denisty\" is known; did you mean \"density\"?"));
        assert!(said[3].ends_with("\"skelton\" is no role; did you mean \"skeleton\"?"));
        assert!(said[4].contains("low 0.03 is above high 0.01"));
        assert!(said[5].contains("stated a second time; line 6 has it already"));
        assert!(said[6].starts_with("mine.csv:8  bar strength, low: "));
        assert!(said[7].contains("names no material"));
    }

    #[test]
    fn a_header_is_held_to_its_columns() {
        let (_, said) = read("mine.csv", "material;property;value;unit\na;density;1;kg/m3\n");
        assert!(said[0].to_string().contains("no column \"material;property;value;unit\" is known"));
        assert!(said[1].to_string().contains("the header has no column \"material\"; begin with"));
        let (_, said) = read("mine.csv", "material,property,value,unit,unit\n");
        assert!(said[0].to_string().contains("stands there twice"));
        assert_eq!(read("mine.csv", "").1.len(), 4);
    }

    #[test]
    fn uneven_rows_are_refused() {
        let said = problems("epoxy, slow,density,1100,kg/m3,,,,\nbar,density,1100,kg/m3\n");
        assert!(said[0].contains("has 9 cells, the header has 8; put a text that holds a comma"));
        assert!(said[1].contains("has 4 cells, the header has 8; leave a cell empty"));
    }
}
