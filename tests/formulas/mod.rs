//! Reads a workbook back and evaluates the few kinds of formulas in it from their text.

pub mod rows;

use calamine::{Data, Reader, Xlsx, open_workbook};
use std::collections::BTreeMap;
use std::path::Path;

/// The content of a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    Empty,
    Number(f64),
    Text(String),
    Truth(bool),
}

struct Sheet {
    values: BTreeMap<(u32, u32), Value>,
    formulas: BTreeMap<(u32, u32), String>,
}

pub struct Book {
    names: Vec<String>,
    leaves: BTreeMap<String, Sheet>,
}

/// Row and column, from 0, of a cell such as `B3`.
fn place(cell: &str) -> (u32, u32) {
    let column = cell.bytes().next().unwrap() - b'A';
    (cell[1..].parse::<u32>().unwrap() - 1, u32::from(column))
}

fn name((row, column): (u32, u32)) -> String {
    format!("{}{}", char::from(b'A' + column as u8), row + 1)
}

impl Book {
    pub fn open(path: &Path) -> Book {
        let mut file: Xlsx<_> = open_workbook(path).unwrap();
        let names = file.sheet_names().to_vec();
        let mut leaves = BTreeMap::new();
        for leaf in &names {
            let mut values = BTreeMap::new();
            let range = file.worksheet_range(leaf).unwrap();
            let start = range.start().unwrap_or((0, 0));
            for (row, column, cell) in range.used_cells() {
                let value = match cell {
                    Data::Float(value) => Value::Number(*value),
                    Data::Int(value) => Value::Number(*value as f64),
                    Data::String(text) => Value::Text(text.clone()),
                    Data::Bool(truth) => Value::Truth(*truth),
                    other => panic!("{leaf}: {other:?}"),
                };
                values.insert((start.0 + row as u32, start.1 + column as u32), value);
            }
            let range = file.worksheet_formula(leaf).unwrap();
            let start = range.start().unwrap_or((0, 0));
            let formulas = range
                .used_cells()
                .map(|(row, column, text)| ((start.0 + row as u32, start.1 + column as u32), text.clone()))
                .collect();
            leaves.insert(leaf.clone(), Sheet { values, formulas });
        }
        Book { names, leaves }
    }

    pub fn leaves(&self) -> &[String] {
        &self.names
    }

    /// Sheet, cell and text of every formula.
    pub fn formulas(&self) -> Vec<(String, String, String)> {
        let of = |(leaf, found): (&String, &Sheet)| -> Vec<(String, String, String)> {
            found.formulas.iter().map(|(at, text)| (leaf.clone(), name(*at), text.clone())).collect()
        };
        self.leaves.iter().flat_map(of).collect()
    }

    /// The value stored in a cell.
    pub fn value(&self, leaf: &str, cell: &str) -> Value {
        self.leaves[leaf].values.get(&place(cell)).cloned().unwrap_or(Value::Empty)
    }

    /// The cells of row `row`, which counts from 1.
    pub fn row(&self, leaf: &str, row: u32) -> Vec<Value> {
        (0..26).map(|column| self.value(leaf, &name((row - 1, column)))).collect()
    }

    /// The values of a column, counted from 0.
    pub fn column(&self, leaf: &str, column: u32) -> Vec<Value> {
        let values = self.leaves[leaf].values.iter();
        values.filter(|((_, c), _)| *c == column).map(|(_, value)| value.clone()).collect()
    }

    /// The first row, from 1, that has `text` in `column`.
    pub fn find(&self, leaf: &str, column: u32, text: &str) -> u32 {
        let wanted = Value::Text(text.to_string());
        let found = self.leaves[leaf].values.iter().find(|((_, c), value)| *c == column && **value == wanted);
        found.unwrap_or_else(|| panic!("no {text:?} in {leaf}")).0.0 + 1
    }

    /// Writes a number into a cell, as a reader would.
    pub fn set(&mut self, leaf: &str, cell: &str, value: f64) {
        let leaf = self.leaves.get_mut(leaf).unwrap();
        assert!(!leaf.formulas.contains_key(&place(cell)), "{cell} is a formula");
        leaf.values.insert(place(cell), Value::Number(value));
    }

    /// The value of a cell, evaluated anew through all formulas that it depends on.
    pub fn computed(&self, leaf: &str, cell: &str) -> Value {
        match self.leaves[leaf].formulas.get(&place(cell)) {
            Some(formula) => {
                let text = formula.trim_start_matches('=');
                let mut parser = Parser { book: self, leaf, rest: text };
                let value = parser.comparison();
                assert_eq!(parser.rest, "", "{formula}");
                value
            }
            None => self.value(leaf, cell),
        }
    }

    fn range(&self, leaf: &str, from: &str, to: &str) -> Vec<Value> {
        let ((top, left), (bottom, right)) = (place(from), place(to));
        (top..=bottom)
            .flat_map(|row| (left..=right).map(move |column| name((row, column))))
            .map(|cell| self.computed(leaf, &cell))
            .collect()
    }
}

/// Reads a formula from left to right.
struct Parser<'a> {
    book: &'a Book,
    leaf: &'a str,
    rest: &'a str,
}

impl Parser<'_> {
    fn take(&mut self, sign: &str) -> bool {
        self.rest = self.rest.trim_start();
        match self.rest.strip_prefix(sign) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn comparison(&mut self) -> Value {
        let left = self.sum();
        if self.take("<") {
            return Value::Truth(number(&left) < number(&self.sum()));
        }
        if self.take(">") {
            return Value::Truth(number(&left) > number(&self.sum()));
        }
        left
    }

    fn sum(&mut self) -> Value {
        let mut value = self.product();
        loop {
            if self.take("+") {
                value = Value::Number(number(&value) + number(&self.product()));
            } else if self.take("-") {
                value = Value::Number(number(&value) - number(&self.product()));
            } else {
                return value;
            }
        }
    }

    fn product(&mut self) -> Value {
        let mut value = self.factor();
        loop {
            if self.take("*") {
                value = Value::Number(number(&value) * number(&self.factor()));
            } else if self.take("/") {
                value = Value::Number(number(&value) / number(&self.factor()));
            } else {
                return value;
            }
        }
    }

    fn factor(&mut self) -> Value {
        if self.take("(") {
            let value = self.comparison();
            assert!(self.take(")"));
            return value;
        }
        if self.take("\"") {
            let (text, rest) = self.rest.split_once('"').unwrap();
            self.rest = rest;
            return Value::Text(text.to_string());
        }
        let word = self.word();
        if self.take("(") {
            return self.function(&word);
        }
        if self.take("!") {
            let cell = self.word();
            return self.book.computed(&word, &cell);
        }
        match word.parse() {
            Ok(value) => Value::Number(value),
            Err(_) => self.book.computed(self.leaf, &word),
        }
    }

    fn word(&mut self) -> String {
        self.rest = self.rest.trim_start();
        let end = self.rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '.').unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at(end);
        self.rest = rest;
        word.to_string()
    }

    /// Evaluates a function after its opening bracket; a range is one argument with many values.
    fn function(&mut self, function: &str) -> Value {
        let mut arguments: Vec<Vec<Value>> = Vec::new();
        loop {
            arguments.push(self.argument());
            if self.take(")") {
                break;
            }
            assert!(self.take(","), "{}", self.rest);
        }
        let first = |i: usize| arguments[i][0].clone();
        let numbers = || arguments.iter().flatten().filter(|v| matches!(v, Value::Number(_))).map(number);
        match function {
            "SUM" => Value::Number(numbers().sum()),
            "COUNT" => Value::Number(numbers().count() as f64),
            "MIN" => Value::Number(numbers().fold(f64::INFINITY, f64::min)),
            "MAX" => Value::Number(numbers().fold(f64::NEG_INFINITY, f64::max)),
            "ROUNDUP" => {
                assert_eq!(first(1), Value::Number(0.0));
                let value = number(&first(0));
                Value::Number(value.signum() * value.abs().ceil())
            }
            "ROUND" => {
                let (value, power) = (number(&first(0)), 10f64.powf(number(&first(1))));
                Value::Number((value * power).round() / power)
            }
            "IF" => match first(0) {
                Value::Truth(true) => first(1),
                Value::Truth(false) => first(2),
                other => panic!("{other:?} is no condition"),
            },
            other => panic!("{other} is not known here"),
        }
    }

    fn argument(&mut self) -> Vec<Value> {
        let before = self.rest;
        let from = self.word();
        if self.take(":") {
            let to = self.word();
            return self.book.range(self.leaf, &from, &to);
        }
        self.rest = before;
        vec![self.comparison()]
    }
}

/// The value as a number; an empty cell counts as 0.
fn number(value: &Value) -> f64 {
    match value {
        Value::Number(value) => *value,
        Value::Empty => 0.0,
        other => panic!("{other:?} is no number"),
    }
}
