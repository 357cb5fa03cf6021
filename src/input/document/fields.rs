//! One table of the file: reads its keys and reports what is wrong with them.

use super::{Allowed, Class, Form, Located, Reader};
use crate::problem::{Place, Problem, suggest};
use crate::quantity::{self, Fault, Kind, Spread};
use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table of the file.
pub struct Fields<'r, 't> {
    pub(super) reader: &'r Reader<'t>,
    path: String,
    span: Range<usize>,
    table: &'r DeTable<'t>,
    known: RefCell<BTreeSet<String>>,
    /// Its place in the record of what is asked, if one is kept.
    asked: Option<String>,
    /// True once its keys are known to be names that the user gives.
    open: Cell<bool>,
}

impl<'r, 't> Fields<'r, 't> {
    pub(super) fn new(
        reader: &'r Reader<'t>,
        path: String,
        span: Range<usize>,
        table: &'r DeTable<'t>,
        asked: Option<String>,
    ) -> Fields<'r, 't> {
        let fields =
            Fields { reader, path, span, table, known: RefCell::default(), asked, open: Cell::new(false) };
        fields.record(|asked| asked.enter());
        fields
    }

    /// Records what is asked of this table.
    fn record(&self, note: impl FnOnce(&mut super::AskedTable)) {
        if let Some(place) = &self.asked {
            note(self.reader.asked.borrow_mut().entry(place.clone()).or_default());
        }
    }

    /// `key` as it is recorded: `*` where the keys are names that the user gives.
    fn asked_key<'k>(&self, key: &'k str) -> &'k str {
        if self.open.get() { "*" } else { key }
    }

    /// The recorded place of what lies at `key`.
    fn asked_below(&self, key: &str) -> Option<String> {
        let key = self.asked_key(key);
        self.asked.as_ref().map(|own| if own.is_empty() { key.to_string() } else { format!("{own}/{key}") })
    }

    /// Place of this table.
    pub fn place(&self) -> Place {
        self.reader.place(&self.span, &self.path)
    }

    /// Place of `key`, or of this table where the key is absent.
    pub fn place_of(&self, key: &str) -> Place {
        let span = self.table.get(key).map_or(self.span.clone(), Spanned::span);
        self.reader.place(&span, &self.key(key))
    }

    /// Full dotted key of `key` in this table.
    pub fn key(&self, key: &str) -> String {
        let shown = if key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-') {
            key.to_string()
        } else {
            format!("\"{key}\"")
        };
        if self.path.is_empty() { shown } else { format!("{}.{shown}", self.path) }
    }

    /// Reports a problem.
    pub fn say(&self, problem: Problem) {
        self.reader.say(problem);
    }

    /// Reports an error at `key` of this table.
    pub fn refuse(&self, key: &str, message: impl Into<String>, help: impl Into<String>) {
        self.reader.say(Problem::error(self.place_of(key), message).with_help(help));
    }

    /// Reports a warning at `key` of this table.
    pub fn doubt(&self, key: &str, message: impl Into<String>, help: impl Into<String>) {
        self.reader.say(Problem::warning(self.place_of(key), message).with_help(help));
    }

    /// True when the file has `key` here; the key becomes known.
    pub fn has(&self, key: &str) -> bool {
        self.record(|asked| asked.add(self.asked_key(key), None));
        self.know(key);
        self.table.contains_key(key)
    }

    /// Those of `keys` that the file has here; exactly one is expected.
    pub fn stated(&self, keys: &[&'static str]) -> Vec<&'static str> {
        self.record(|asked| asked.choose(keys));
        keys.iter().copied().filter(|key| self.has(key)).collect()
    }

    /// True when the file has `key` here; does not make it known.
    pub fn holds(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Refuses the key `old`, a former name of the degree of freedom `new`.
    pub fn renamed(&self, old: &str, new: &str) {
        if let Some((key, _)) = self.table.get_key_value(old) {
            self.know(old);
            let problem = Problem::error(
                self.reader.place(&key.span(), &self.key(old)),
                format!("\"{old}\" is no freedom"),
            );
            self.say(problem.with_help(format!("write \"{new}\"")));
        }
    }

    /// Reports `key` as missing where the file does not have it.
    pub fn need(&self, key: &str, example: &str) {
        self.record(|asked| asked.need(self.asked_key(key)));
        if !self.has(key) {
            self.reader.say(
                Problem::error(self.place_of(key), format!("\"{key}\" is missing"))
                    .with_help(format!("add {key} = {example}")),
            );
        }
    }

    /// Reports every key of this table that was not asked for.
    pub fn finish(self) {
        let known = self.known.borrow();
        for (key, _) in self.table {
            let name: &str = key.get_ref();
            if !known.contains(name) {
                let place = self.reader.place(&key.span(), &self.key(name));
                let near = suggest(name, known.iter().map(String::as_str));
                self.reader
                    .say(Problem::error(place, format!("\"{name}\" is not known here")).with_help(near));
            }
        }
    }

    /// The text at `key`.
    pub fn text(&self, key: &str) -> Option<Located<String>> {
        self.text_as(key, Form::Text)
    }

    /// The text at `key`, which should be one of `words`; the caller refuses others.
    pub fn word(&self, key: &str, words: &[&'static str]) -> Option<Located<String>> {
        self.text_as(key, Form::Word(words.to_vec()))
    }

    /// The text at `key`, which should consist of `words`; the caller refuses others.
    pub fn words(&self, key: &str, words: &[&'static str]) -> Option<Located<String>> {
        self.text_as(key, Form::Words(words.to_vec()))
    }

    fn text_as(&self, key: &str, form: Form) -> Option<Located<String>> {
        let value = self.asked(key, form)?;
        self.as_text(key, value, "text in double quotes")
    }

    /// The boolean at `key`.
    pub fn flag(&self, key: &str) -> Option<bool> {
        let value = self.asked(key, Form::Flag)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong_type(key, value, "true or false", "true");
        }
        flag
    }

    /// The quantity at `key`: text, `{ value, low, high }`, or a bare number if it is a ratio.
    pub fn quantity(&self, key: &str, kind: Kind, allowed: Allowed) -> Option<Spread> {
        Some(self.quantities(key, kind, 1, allowed)?[0])
    }

    /// The quantity of `class` at `key`; without a stated spread it gets the usual one of its class.
    pub fn quantity_of(&self, key: &str, kind: Kind, allowed: Allowed, class: Class) -> Option<Spread> {
        Some(self.read_quantities(key, kind, 1, allowed, Some(class))?[0])
    }

    /// The list of `count` quantities at `key`, each with its spread.
    pub fn quantities(&self, key: &str, kind: Kind, count: usize, allowed: Allowed) -> Option<Vec<Spread>> {
        self.read_quantities(key, kind, count, allowed, None)
    }

    /// The list of `count` quantities of `class` at `key`; spreads as in [`Fields::quantity_of`].
    pub fn quantities_of(
        &self,
        key: &str,
        kind: Kind,
        count: usize,
        allowed: Allowed,
        class: Class,
    ) -> Option<Vec<Spread>> {
        self.read_quantities(key, kind, count, allowed, Some(class))
    }

    fn read_quantities(
        &self,
        key: &str,
        kind: Kind,
        count: usize,
        allowed: Allowed,
        class: Option<Class>,
    ) -> Option<Vec<Spread>> {
        let value = self.asked(key, Form::Quantity { kind, count, allowed, spread: true })?;
        let DeValue::Table(table) = value.get_ref() else {
            let values = self.numbers(&self.key(key), value, kind, count, allowed)?;
            let usual = |(i, value): (usize, &f64)| {
                self.reader.usual(&numbered(&self.key(key), (i, count)), *value, kind, class)
            };
            return Some(values.iter().enumerate().map(usual).collect());
        };
        let fields = Fields::new(self.reader, self.key(key), value.span(), table, None);
        let example = format!("\"{}\"", kind.example());
        let exact = fields.flag("exact") == Some(true);
        fields.need("value", &example);
        for limit in ["low", "high"] {
            match exact {
                false => fields.need(limit, &example),
                true if fields.has(limit) => {
                    fields.refuse(limit, "what is exact has no limits", "leave out exact, or low and high");
                }
                true => {}
            }
        }
        let read = |part: &str| {
            fields.value(part).and_then(|v| self.numbers(&fields.key(part), v, kind, count, allowed))
        };
        let (value, low, high) = (read("value"), read("low"), read("high"));
        if exact {
            fields.finish();
            let stated = |value| Spread { stated_exact: true, ..Spread::exact(value) };
            return value.map(|values| values.into_iter().map(stated).collect());
        }
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

    /// The list of `count` quantities without spread at `key`, such as a point.
    pub fn list(&self, key: &str, kind: Kind, count: usize, allowed: Allowed) -> Option<Vec<f64>> {
        let value = self.asked(key, Form::Quantity { kind, count, allowed, spread: false })?;
        self.numbers(&self.key(key), value, kind, count, allowed)
    }

    /// The lengths of a size such as `"60 x 40 x 3 mm"` at `key`, each more than zero.
    ///
    /// `counts` are the allowed numbers of lengths, the usual one first; `form` says in words what they
    /// are, such as "across x up x wall".
    pub fn size(&self, key: &str, counts: &[usize], form: &str) -> Option<Vec<f64>> {
        let value = self.asked(key, Form::Size(counts.to_vec()))?;
        let text = self.as_text(key, value, "a size in double quotes, as in \"60 x 40 x 3 mm\"")?.value;
        let found = text.to_lowercase().replace('×', "x").split('x').count();
        if !counts.contains(&found) {
            let lengths = if found == 1 { "length" } else { "lengths" };
            let message = format!("\"{text}\" has {found} {lengths}, not {}", counts[0]);
            let example = quantity::example(Kind::Length, "x", counts[0]);
            self.refuse(key, message, format!("write {form}, as in \"{example}\""));
            return None;
        }
        let count = found;
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
        let text = self.text_as(key, Form::Range(kind))?;
        self.heed(key, quantity::range(&text.value, kind))
    }

    /// The ratio at `key`, such as `"100 : 30"`.
    pub fn ratio(&self, key: &str) -> Option<(f64, f64)> {
        let text = self.text_as(key, Form::Ratio)?;
        self.heed(key, quantity::ratio(&text.value))
    }

    /// The whole numbers, from 1, at `key`: one or a list.
    pub fn counts(&self, key: &str) -> Option<Vec<usize>> {
        let value = self.asked(key, Form::Counts)?;
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
        let value = self.asked(key, Form::Names)?;
        match value.get_ref() {
            DeValue::Array(items) => {
                items.iter().map(|item| self.as_text(key, item, "a name in double quotes")).collect()
            }
            _ => Some(vec![self.as_text(key, value, "a name, or a list of names")?]),
        }
    }

    /// The table at `key`.
    pub fn fields(&self, key: &str) -> Option<Fields<'r, 't>> {
        let value = self.asked(key, Form::Table)?;
        self.as_fields(key, value, self.asked_below(key))
    }

    /// Every entry of this table, each of which has to be a table, in the order of the file.
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
        self.open.set(true);
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
        let value = self.asked(key, Form::Tables)?;
        let Some(items) = value.get_ref().as_array() else {
            self.wrong_type(key, value, "a list", "[{ … }]");
            return None;
        };
        let below = self.asked_below(key).map(|place| format!("{place}/[]"));
        let read = |(i, item)| self.as_fields(&format!("{key}[{}]", i + 1), item, below.clone());
        items.iter().enumerate().map(read).collect()
    }

    /// True when `key` holds `false`, which says that the machine lacks something usual.
    pub fn is_false(&self, key: &str) -> bool {
        self.record(|asked| asked.add(self.asked_key(key), Some(Form::False)));
        self.table.get(key).is_some_and(|v| v.get_ref().as_bool() == Some(false))
    }

    /// True when `key` holds a table.
    pub fn is_table(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(|v| v.get_ref().is_table())
    }

    /// True when `key` holds exactly `word`.
    pub fn is_word(&self, key: &str, word: &'static str) -> bool {
        self.asked(key, Form::Word(vec![word])).is_some_and(|v| v.get_ref().as_str() == Some(word))
    }

    fn know(&self, key: &str) {
        let mut known = self.known.borrow_mut();
        if !known.contains(key) {
            known.insert(key.to_string());
        }
    }

    /// The value at `key`; records that it is asked for in `form`.
    pub(super) fn asked(&self, key: &str, form: Form) -> Option<&'r Spanned<DeValue<'t>>> {
        self.record(|asked| asked.add(self.asked_key(key), Some(form)));
        self.value(key)
    }

    pub(super) fn value(&self, key: &str) -> Option<&'r Spanned<DeValue<'t>>> {
        self.know(key);
        self.table.get(key)
    }

    pub(super) fn as_fields(
        &self,
        key: &str,
        value: &'r Spanned<DeValue<'t>>,
        asked: Option<String>,
    ) -> Option<Fields<'r, 't>> {
        let path = if key.contains('[') { self.indexed(key) } else { self.key(key) };
        match value.get_ref() {
            DeValue::Table(table) => Some(Fields::new(self.reader, path, value.span(), table, asked)),
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
                let text = self.reader.source.text.get(value.span()).unwrap_or("a number");
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

    /// The numbers of one value in SI: text with units, or a bare number where one ratio is expected.
    pub(super) fn numbers(
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
        let bare = self.reader.source.text.get(value.span()).unwrap_or_default();
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
                let Some(number) = number else {
                    say(format!("{bare} is no finite number"), "write a finite number".to_string());
                    return None;
                };
                if !quantity::is_served(number, kind) {
                    let Fault { message, help } = quantity::beyond(bare, kind);
                    say(message, help);
                    return None;
                }
                vec![number]
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

    /// Checks the order of the limits and registers the spread among the uncertain quantities.
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
        let key = numbered(&self.path, (item, count));
        Some(self.reader.register(&key, Spread::between(value, low, high), kind))
    }
}

/// The key of item number `item` of `count` items at `key`.
fn numbered(key: &str, (item, count): (usize, usize)) -> String {
    if count > 1 { format!("{key}[{}]", item + 1) } else { key.to_string() }
}
