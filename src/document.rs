//! The design file as a tree whose every value knows its place.
//!
//! A [`Reader`] parses TOML and collects every problem in one pass; a [`Fields`] is one table
//! of it. Reading a key makes it known, so that [`Fields::finish`] can name the keys that
//! nobody asked for. What cannot be read is `None` and has been said.

use crate::problem::{Place, Problem, suggest};
use crate::quantity::{self, Fault, Kind, Spread};
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value with the place where it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// What was read.
    pub value: T,
    /// Where.
    pub place: Place,
}

/// How an uncertain quantity is distributed between its 5 % and 95 % limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Its logarithm is normal on each side of the value: loss factors, stiffnesses, moduli.
    LogNormal,
    /// It is normal on each side of the value.
    Normal,
}

/// A quantity that has a spread; its place in the list is its [`Spread::index`].
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertain {
    /// Dotted key in the design, or `materials.NAME.property` of the table.
    pub key: String,
    /// Stated value and limits.
    pub spread: Spread,
    /// Its distribution.
    pub law: Law,
}

/// The values that a quantity may have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Allowed {
    /// Any finite value.
    Any,
    /// More than zero.
    Positive,
    /// Zero or more.
    NotNegative,
    /// From the first to the second, both included.
    Between(f64, f64),
}

impl Allowed {
    fn refuse(self, value: f64, kind: Kind) -> Option<String> {
        let (holds, allowed) = match self {
            Allowed::Any => (true, String::new()),
            Allowed::Positive => (value > 0.0, "must be more than zero".to_string()),
            Allowed::NotNegative => (value >= 0.0, "must not be negative".to_string()),
            Allowed::Between(low, high) => (
                value >= low && value <= high,
                format!("must be from {} to {}", quantity::show(low, kind), quantity::show(high, kind)),
            ),
        };
        (!holds).then_some(allowed)
    }
}

/// Reads one file and remembers everything wrong with it.
pub struct Reader<'t> {
    file: &'t str,
    text: &'t str,
    root: Spanned<DeTable<'t>>,
    problems: RefCell<Vec<Problem>>,
    uncertain: RefCell<Vec<Uncertain>>,
}

impl<'t> Reader<'t> {
    /// Parses `text`, read from `file`; errors of TOML itself become problems.
    pub fn new(file: &'t str, text: &'t str) -> Reader<'t> {
        let (root, errors) = DeTable::parse_recoverable(text);
        let mut problems: Vec<Problem> = Vec::new();
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            let place = Place::in_text(file, text, &span, "");
            if problems.iter().all(|p| p.place.line != place.line) {
                problems.push(
                    Problem::error(place, format!("not TOML: {}", error.message()))
                        .with_help("mend the line; text stands in double quotes"),
                );
            }
        }
        Reader { file, text, root, problems: RefCell::new(problems), uncertain: RefCell::default() }
    }

    /// The whole file as one table.
    pub fn root(&self) -> Fields<'_, 't> {
        Fields::new(self, String::new(), self.root.span(), self.root.get_ref())
    }

    /// Adds a problem found by a later check.
    pub fn say(&self, problem: Problem) {
        self.problems.borrow_mut().push(problem);
    }

    /// Everything said so far, in the order of the file, and the quantities with a spread.
    pub fn finish(self) -> (Vec<Problem>, Vec<Uncertain>) {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|p| (p.place.line.unwrap_or(0), p.place.column.unwrap_or(0)));
        problems.dedup();
        (problems, self.uncertain.into_inner())
    }

    fn place(&self, span: &Range<usize>, key: &str) -> Place {
        Place::in_text(self.file, self.text, span, key)
    }

    fn register(&self, key: &str, mut spread: Spread, kind: Kind) -> Spread {
        let mut list = self.uncertain.borrow_mut();
        spread.index = Some(list.len());
        let law = match kind {
            Kind::Ratio if !key.ends_with("loss") && !key.ends_with("loss_factor") => Law::Normal,
            Kind::Length | Kind::Expansion | Kind::TemperatureChange | Kind::Temperature => Law::Normal,
            _ if spread.low > 0.0 => Law::LogNormal,
            _ => Law::Normal,
        };
        list.push(Uncertain { key: key.to_string(), spread, law });
        spread
    }
}

/// One table of the file.
pub struct Fields<'r, 't> {
    reader: &'r Reader<'t>,
    path: String,
    span: Range<usize>,
    table: &'r DeTable<'t>,
    known: RefCell<Vec<String>>,
}

impl<'r, 't> Fields<'r, 't> {
    fn new(
        reader: &'r Reader<'t>,
        path: String,
        span: Range<usize>,
        table: &'r DeTable<'t>,
    ) -> Fields<'r, 't> {
        Fields { reader, path, span, table, known: RefCell::default() }
    }

    /// Where this table stands.
    pub fn place(&self) -> Place {
        self.reader.place(&self.span, &self.path)
    }

    /// Where `key` stands, or this table where it is absent.
    pub fn place_of(&self, key: &str) -> Place {
        let span = self.table.get(key).map_or(self.span.clone(), Spanned::span);
        self.reader.place(&span, &self.key(key))
    }

    /// Dotted key of `key` in this table.
    pub fn key(&self, key: &str) -> String {
        let shown = if key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-') {
            key.to_string()
        } else {
            format!("\"{key}\"")
        };
        if self.path.is_empty() { shown } else { format!("{}.{shown}", self.path) }
    }

    /// Adds a problem at `key` of this table.
    pub fn refuse(&self, key: &str, message: impl Into<String>, help: impl Into<String>) {
        self.reader.say(Problem::error(self.place_of(key), message).with_help(help));
    }

    /// Adds a doubt at `key` of this table.
    pub fn doubt(&self, key: &str, message: impl Into<String>, help: impl Into<String>) {
        self.reader.say(Problem::warning(self.place_of(key), message).with_help(help));
    }

    /// True when the file has `key` here.
    pub fn has(&self, key: &str) -> bool {
        self.know(key);
        self.table.contains_key(key)
    }

    /// Says that `key` is missing where the file does not have it.
    pub fn need(&self, key: &str, example: &str) {
        if !self.has(key) {
            self.reader.say(
                Problem::error(self.place_of(key), format!("\"{key}\" is missing"))
                    .with_help(format!("add {key} = {example}")),
            );
        }
    }

    /// Names every key of this table that nobody asked for.
    pub fn finish(self) {
        let known = self.known.borrow();
        for (key, _) in self.table {
            let name: &str = key.get_ref();
            if !known.iter().any(|k| k == name) {
                let place = self.reader.place(&key.span(), &self.key(name));
                let near = suggest(name, known.iter().map(String::as_str));
                self.reader
                    .say(Problem::error(place, format!("\"{name}\" is not known here")).with_help(near));
            }
        }
    }

    /// The text at `key`.
    pub fn text(&self, key: &str) -> Option<Located<String>> {
        let value = self.value(key)?;
        self.as_text(key, value, "text in double quotes")
    }

    /// The truth value at `key`.
    pub fn flag(&self, key: &str) -> Option<bool> {
        let value = self.value(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong_type(key, value, "true or false", "true");
        }
        flag
    }

    /// The quantity at `key`, as text, as `{ value, low, high }`, or bare where it is a ratio.
    pub fn quantity(&self, key: &str, kind: Kind, allowed: Allowed) -> Option<Spread> {
        Some(self.quantities(key, kind, 1, allowed)?[0])
    }

    /// The list of `count` quantities at `key`, each with its spread.
    pub fn quantities(&self, key: &str, kind: Kind, count: usize, allowed: Allowed) -> Option<Vec<Spread>> {
        let value = self.value(key)?;
        let DeValue::Table(table) = value.get_ref() else {
            let values = self.numbers(&self.key(key), value, kind, count, allowed)?;
            return Some(values.into_iter().map(Spread::exact).collect());
        };
        let fields = Fields::new(self.reader, self.key(key), value.span(), table);
        let example = format!("\"{}\"", kind.example());
        for part in ["value", "low", "high"] {
            fields.need(part, &example);
        }
        let read = |part: &str| {
            fields.value(part).and_then(|v| self.numbers(&fields.key(part), v, kind, count, allowed))
        };
        let (value, low, high) = (read("value"), read("low"), read("high"));
        let spreads = value.zip(low).zip(high).and_then(|((value, low), high)| {
            let mut spreads = Vec::new();
            for i in 0..count {
                spreads.push(fields.spread(value[i], low[i], high[i], kind, (i, count))?);
            }
            Some(spreads)
        });
        fields.finish();
        spreads
    }

    /// The list of `count` plain quantities at `key`, such as a point.
    pub fn list(&self, key: &str, kind: Kind, count: usize, allowed: Allowed) -> Option<Vec<f64>> {
        let value = self.value(key)?;
        self.numbers(&self.key(key), value, kind, count, allowed)
    }

    /// The numbers of a size such as `"60 x 40 x 3 mm"` at `key`, each more than zero.
    ///
    /// `counts` are the numbers of sizes allowed, the usual one first.
    pub fn size(&self, key: &str, counts: &[usize]) -> Option<Vec<f64>> {
        let value = self.value(key)?;
        let text = self.as_text(key, value, "a size in double quotes, as in \"60 x 40 x 3 mm\"")?.value;
        let found = text.to_lowercase().replace('×', "x").split('x').count();
        let count = if counts.contains(&found) { found } else { counts[0] };
        let sizes = self.heed(key, quantity::size(&text, Kind::Length, count))?;
        if let Some(size) = sizes.iter().find(|s| **s <= 0.0) {
            self.refuse(
                key,
                format!("{} in \"{text}\" must be more than zero", quantity::show(*size, Kind::Length)),
                "write the outer sizes, then the wall",
            );
            return None;
        }
        Some(sizes)
    }

    /// The range at `key`, such as `"0.3 to 0.8 mm"`.
    pub fn range(&self, key: &str, kind: Kind) -> Option<(f64, f64)> {
        let text = self.text(key)?;
        self.heed(key, quantity::range(&text.value, kind))
    }

    /// The ratio at `key`, such as `"100 : 30"`.
    pub fn ratio(&self, key: &str) -> Option<(f64, f64)> {
        let text = self.text(key)?;
        self.heed(key, quantity::ratio(&text.value))
    }

    /// The whole numbers from 1 at `key`.
    pub fn counts(&self, key: &str) -> Option<Vec<usize>> {
        let value = self.value(key)?;
        let read = |item: &Spanned<DeValue>| {
            let count = item.get_ref().as_integer().and_then(|i| i.as_str().parse::<usize>().ok());
            if count.is_none_or(|n| n < 1) {
                self.wrong_type(key, item, "a whole number from 1", "[1, 2]");
            }
            count.filter(|n| *n >= 1)
        };
        match value.get_ref() {
            DeValue::Array(items) => items.iter().map(read).collect(),
            _ => Some(vec![read(value)?]),
        }
    }

    /// The names at `key`: one text or a list of them.
    pub fn names(&self, key: &str) -> Option<Vec<Located<String>>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Array(items) => {
                items.iter().map(|item| self.as_text(key, item, "a name in double quotes")).collect()
            }
            _ => Some(vec![self.as_text(key, value, "a name, or a list of names")?]),
        }
    }

    /// The table at `key`.
    pub fn fields(&self, key: &str) -> Option<Fields<'r, 't>> {
        let value = self.value(key)?;
        self.as_fields(key, value)
    }

    /// Every entry of this table that is a table itself, in the order of the file.
    pub fn entries(&self) -> Vec<(Located<String>, Fields<'r, 't>)> {
        let mut entries = Vec::new();
        for name in self.keys() {
            if let Some(fields) = self.fields(&name.value) {
                entries.push((name, fields));
            }
        }
        entries
    }

    /// Every key of this table, in the order of the file; all of them become known.
    pub fn keys(&self) -> Vec<Located<String>> {
        let mut keys: Vec<_> = self.table.keys().collect();
        keys.sort_by_key(|key| key.span().start);
        keys.iter()
            .map(|key| {
                let name: &str = key.get_ref();
                self.know(name);
                Located { value: name.to_string(), place: self.reader.place(&key.span(), &self.key(name)) }
            })
            .collect()
    }

    /// The tables of the list at `key`.
    pub fn array(&self, key: &str) -> Option<Vec<Fields<'r, 't>>> {
        let value = self.value(key)?;
        let Some(items) = value.get_ref().as_array() else {
            self.wrong_type(key, value, "a list", "[{ … }]");
            return None;
        };
        items.iter().enumerate().map(|(i, item)| self.as_fields(&format!("{key}[{}]", i + 1), item)).collect()
    }

    /// True when `key` holds a list.
    pub fn is_list(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(|v| v.get_ref().is_array())
    }

    /// True when `key` holds a table.
    pub fn is_table(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(|v| v.get_ref().is_table())
    }

    fn know(&self, key: &str) {
        let mut known = self.known.borrow_mut();
        if !known.iter().any(|k| k == key) {
            known.push(key.to_string());
        }
    }

    fn value(&self, key: &str) -> Option<&'r Spanned<DeValue<'t>>> {
        self.know(key);
        self.table.get(key)
    }

    fn as_fields(&self, key: &str, value: &'r Spanned<DeValue<'t>>) -> Option<Fields<'r, 't>> {
        let path = if key.contains('[') { self.indexed(key) } else { self.key(key) };
        match value.get_ref() {
            DeValue::Table(table) => Some(Fields::new(self.reader, path, value.span(), table)),
            _ => {
                self.wrong_type(key, value, "a table", "{ … }");
                None
            }
        }
    }

    fn indexed(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_string() } else { format!("{}.{key}", self.path) }
    }

    fn as_text(&self, key: &str, value: &Spanned<DeValue>, wanted: &str) -> Option<Located<String>> {
        match value.get_ref().as_str() {
            Some(text) => Some(Located {
                value: text.to_string(),
                place: self.reader.place(&value.span(), &self.key(key)),
            }),
            None => {
                self.wrong_type(key, value, wanted, "\"…\"");
                None
            }
        }
    }

    fn wrong_type(&self, key: &str, value: &Spanned<DeValue>, wanted: &str, example: &str) {
        let found = match value.get_ref() {
            DeValue::Integer(_) | DeValue::Float(_) => {
                let text = self.reader.text.get(value.span()).unwrap_or("a number");
                format!("the bare number {text}")
            }
            DeValue::String(text) => format!("the text \"{text}\""),
            DeValue::Boolean(flag) => flag.to_string(),
            DeValue::Datetime(_) => "a date".to_string(),
            DeValue::Array(_) => "a list".to_string(),
            DeValue::Table(_) => "a table".to_string(),
        };
        let place = self.reader.place(&value.span(), &self.key(key));
        self.reader.say(
            Problem::error(place, format!("{found} stands where {wanted} is expected"))
                .with_help(format!("write it like {example}")),
        );
    }

    fn heed<T>(&self, key: &str, read: Result<T, Fault>) -> Option<T> {
        read.map_err(|fault| self.refuse(key, fault.message, fault.help)).ok()
    }

    /// Numbers in SI of one value: text with units, or a bare number where a ratio is asked for.
    fn numbers(
        &self,
        path: &str,
        value: &Spanned<DeValue>,
        kind: Kind,
        count: usize,
        allowed: Allowed,
    ) -> Option<Vec<f64>> {
        let place = self.reader.place(&value.span(), path);
        let say = |message: String, help: String| {
            self.reader.say(Problem::error(place.clone(), message).with_help(help));
        };
        let bare = self.reader.text.get(value.span()).unwrap_or_default();
        let numbers = match value.get_ref() {
            DeValue::String(text) => {
                let read = if count == 1 {
                    quantity::single(text, kind).map(|v| vec![v])
                } else {
                    quantity::list(text, kind, count)
                };
                read.map_err(|fault| say(fault.message, fault.help)).ok()?
            }
            DeValue::Integer(_) | DeValue::Float(_) if kind == Kind::Ratio && count == 1 => {
                let number = bare.replace('_', "").parse::<f64>().ok().filter(|n| n.is_finite());
                if number.is_none() {
                    say(format!("{bare} is no finite number"), "write a finite number".to_string());
                }
                vec![number?]
            }
            DeValue::Integer(_) | DeValue::Float(_) => {
                let unit = kind.example().trim_start_matches(|c: char| !c.is_alphabetic());
                say(
                    format!("the bare number {bare} has no unit; {} is expected", kind.name()),
                    format!("write \"{bare} {unit}\", if {unit} is meant"),
                );
                return None;
            }
            _ => {
                say(
                    format!("{} is expected here", kind.name()),
                    format!("write it like \"{}\"", kind.example()),
                );
                return None;
            }
        };
        for number in &numbers {
            if let Some(rule) = allowed.refuse(*number, kind) {
                say(
                    format!("{} {rule}", quantity::show(*number, kind)),
                    format!("write it like \"{}\"", kind.example()),
                );
                return None;
            }
        }
        Some(numbers)
    }

    /// Checks the order of a spread and gives it its place among the uncertain quantities.
    fn spread(
        &self,
        value: f64,
        low: f64,
        high: f64,
        kind: Kind,
        (item, count): (usize, usize),
    ) -> Option<Spread> {
        if !(low <= value && value <= high) {
            let show = |v| quantity::show_digits(v, kind, 6);
            self.refuse(
                "value",
                format!("{} does not lie between low {} and high {}", show(value), show(low), show(high)),
                "low is the 5 % limit and high the 95 % limit around the value",
            );
            return None;
        }
        if low == high {
            return Some(Spread::exact(value));
        }
        let key = if count > 1 { format!("{}[{}]", self.path, item + 1) } else { self.path.clone() };
        Some(self.reader.register(&key, Spread::between(value, low, high), kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problems(text: &str, read: impl FnOnce(&Fields)) -> Vec<String> {
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        read(&root);
        root.finish();
        reader.finish().0.iter().map(Problem::to_string).collect()
    }

    #[test]
    fn unknown_keys_are_named_with_the_nearest() {
        let said = problems("titel = \"a\"\n", |f| {
            f.text("title");
        });
        assert_eq!(said, ["d.toml:1:1  titel: \"titel\" is not known here; did you mean \"title\"?"]);
    }

    #[test]
    fn a_bare_number_is_refused_with_a_unit_to_add() {
        let said = problems("mass = 6\n", |f| {
            f.quantity("mass", Kind::Mass, Allowed::Positive);
        });
        assert_eq!(
            said,
            [
                "d.toml:1:8  mass: the bare number 6 has no unit; a mass is expected; write \"6 kg\", if kg is meant"
            ]
        );
    }

    #[test]
    fn spreads_are_registered_in_order() {
        let text = "e = { value = \"18 GPa\", low = \"14 GPa\", high = \"24 GPa\" }\nloss_factor = 0.02\n";
        let reader = Reader::new("d.toml", text);
        let root = reader.root();
        let e = root.quantity("e", Kind::Stress, Allowed::Positive).unwrap();
        let loss = root.quantity("loss_factor", Kind::Ratio, Allowed::NotNegative).unwrap();
        assert_eq!((e.value, e.low, e.high, e.index), (18e9, 14e9, 24e9, Some(0)));
        assert!(loss.is_exact() && loss.index.is_none());
        root.finish();
        let (said, uncertain) = reader.finish();
        assert_eq!((said.len(), uncertain[0].key.as_str(), uncertain[0].law), (0, "e", Law::LogNormal));
    }

    #[test]
    fn faults_of_one_pass_stand_in_file_order() {
        let said = problems("a = \"1 m\"\nb = -1\nc = \"2 lb\"\n", |f| {
            f.quantity("c", Kind::Length, Allowed::Any);
            f.quantity("b", Kind::Ratio, Allowed::NotNegative);
            f.quantity("a", Kind::Mass, Allowed::Any);
        });
        assert_eq!(said.len(), 3);
        assert!(said[0].starts_with("d.toml:1:5  a: "));
        assert!(said[1].contains("-1 must not be negative"));
        assert!(said[2].contains("\"2 lb\" is not a length"));
    }

    #[test]
    fn broken_toml_is_placed() {
        let said = problems("a = \n", |_| ());
        assert!(said[0].starts_with("d.toml:1:"), "{said:?}");
    }
}
