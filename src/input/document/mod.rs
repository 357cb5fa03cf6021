//! The design file as a tree of tables in which every value knows its place in the text.
//!
//! A [`Reader`] parses TOML and collects all problems in one pass; a [`Fields`] is one table of the
//! file. A key that was read is known, and [`Fields::finish`] reports the keys that are not. A value
//! that cannot be read is `None`, and its problem has been reported already.
//!
//! ```text
//! fields  one table: reads its keys and reports what is wrong with them
//! series  several values of one quantity: a list, or equal steps between two limits
//! loss    a loss factor: one value, or values at one or two amplitudes
//! usual   the usual spread of a joint, foot or bond that is stated without one
//! form    a record of every key that was asked for and its form, for a schema
//! ```

mod fields;
mod form;
mod loss;
mod series;
mod usual;

pub use fields::Fields;
pub use form::{Asked, AskedKey, AskedTable, Form};
pub use usual::{Class, Usual};

use crate::problem::{Place, Problem, Source, in_order};
use crate::quantity::{self, Kind, Spread};
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeTable;

/// A value with the place where it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// What was read.
    pub value: T,
    /// Where.
    pub place: Place,
}

/// Distribution of an uncertain quantity through its 5 % and 95 % limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Its logarithm is normal, with its own width on each side of the value: loss factors, stiffnesses,
    /// moduli.
    LogNormal,
    /// Normal, with its own width on each side of the value.
    Normal,
}

/// A quantity with a spread; its index in the list is its [`Spread::index`].
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertain {
    /// Dotted key in the design, or `materials.NAME.property` for the materials table.
    pub key: String,
    /// Nominal value and limits.
    pub spread: Spread,
    /// What it measures, for showing it.
    pub kind: Kind,
    /// Its distribution.
    pub law: Law,
}

impl Uncertain {
    /// The quantity at `key` with the distribution usual for its kind: log-normal for positive
    /// quantities known within a factor, normal for the rest.
    pub fn new(key: &str, spread: Spread, kind: Kind) -> Uncertain {
        // The loss factor at the second of two amplitudes has the key `loss[2]`.
        let name = key.rsplit_once('[').filter(|(_, rest)| rest.ends_with(']')).map_or(key, |(name, _)| name);
        let by_value = match kind {
            Kind::Ratio => !name.ends_with("loss") && !name.ends_with("loss_factor"),
            Kind::Length | Kind::Expansion | Kind::TemperatureChange | Kind::Temperature => true,
            _ => false,
        };
        let law = if by_value || spread.low <= 0.0 { Law::Normal } else { Law::LogNormal };
        Uncertain { key: key.to_string(), spread, kind, law }
    }
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

/// Reads one file and collects everything wrong with it.
///
/// ```
/// use stillbed_input::document::{Allowed, Reader};
/// use stillbed_input::quantity::Kind;
///
/// let reader = Reader::new("a.toml", "wall = \"3 mm\"\nwal = \"4 mm\"\n");
/// let root = reader.root();
/// assert_eq!(root.list("wall", Kind::Length, 1, Allowed::Positive), Some(vec![0.003]));
/// root.finish();
/// let (problems, _) = reader.finish();
/// assert!(problems[0].to_string().starts_with("a.toml:2:1  wal: "));
/// ```
pub struct Reader<'t> {
    source: Source<'t>,
    root: Spanned<DeTable<'t>>,
    problems: RefCell<Vec<Problem>>,
    uncertain: RefCell<Vec<Uncertain>>,
    /// How many of the problems are errors of TOML itself.
    broken: usize,
    records: bool,
    asked: RefCell<Asked>,
}

impl<'t> Reader<'t> {
    /// Parses `text`, read from `file`; TOML errors become problems.
    pub fn new(file: &'t str, text: &'t str) -> Reader<'t> {
        let (root, errors) = DeTable::parse_recoverable(text);
        let source = Source::new(file, text);
        let mut problems: Vec<Problem> = Vec::new();
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            let place = source.place(&span, "");
            if problems.iter().all(|p| p.place.line != place.line) {
                let help = match error.message() {
                    "duplicate key" => "each name stands once in a table",
                    _ => "mend the line; text stands in double quotes",
                };
                problems
                    .push(Problem::error(place, format!("not TOML: {}", error.message())).with_help(help));
            }
        }
        Reader {
            source,
            root,
            broken: problems.len(),
            problems: RefCell::new(problems),
            uncertain: RefCell::default(),
            records: false,
            asked: RefCell::default(),
        }
    }

    /// A reader that records which keys it is asked for.
    pub fn recording(file: &'t str, text: &'t str) -> Reader<'t> {
        Reader { records: true, ..Reader::new(file, text) }
    }

    /// The keys asked for so far; empty unless the reader records.
    pub fn asked(&self) -> Asked {
        self.asked.borrow().clone()
    }

    /// The whole file as one table.
    pub fn root(&self) -> Fields<'_, 't> {
        let asked = self.records.then(String::new);
        Fields::new(self, String::new(), self.root.span(), self.root.get_ref(), asked)
    }

    /// True when the text is not valid TOML; a key that seems missing may then be lost to the parse
    /// error.
    pub fn is_broken(&self) -> bool {
        self.broken > 0
    }

    /// Adds a problem found by a later check.
    pub fn say(&self, problem: Problem) {
        self.problems.borrow_mut().push(problem);
    }

    /// All problems in the order of the file, and all quantities with a spread. Where the text is not
    /// valid TOML only those errors are returned, since the other problems may follow from them.
    pub fn finish(self) -> (Vec<Problem>, Vec<Uncertain>) {
        let mut problems = self.problems.into_inner();
        if self.broken > 0 {
            problems.truncate(self.broken);
        }
        (in_order(problems), self.uncertain.into_inner())
    }

    fn place(&self, span: &Range<usize>, key: &str) -> Place {
        self.source.place(span, key)
    }

    /// `value` with the usual spread of `class`; exact where there is no class.
    fn usual(&self, key: &str, value: f64, kind: Kind, class: Option<Class>) -> Spread {
        let spread = class.map_or(Spread::exact(value), |class| Usual::of(class).about(value));
        if spread.is_exact() { spread } else { self.register(key, spread, kind) }
    }

    fn register(&self, key: &str, mut spread: Spread, kind: Kind) -> Spread {
        let mut list = self.uncertain.borrow_mut();
        spread.index = Some(list.len());
        list.push(Uncertain::new(key, spread, kind));
        spread
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
    fn an_exact_value_has_no_limits() {
        let said = problems("k = { value = \"2 N/um\", exact = true, low = \"1 N/um\" }\n", |f| {
            f.quantity_of("k", Kind::Stiffness, Allowed::Positive, Class::FootStiffness);
        });
        assert_eq!(
            said,
            ["d.toml:1:45  k.low: what is exact has no limits; leave out exact, or low and high"]
        );
        let said = problems("k = { value = \"2 N/um\" }\n", |f| {
            f.quantity_of("k", Kind::Stiffness, Allowed::Positive, Class::FootStiffness);
        });
        assert_eq!(said.len(), 2, "{said:?}");
    }

    #[test]
    fn a_guess_is_registered_with_the_usual_limits() {
        let reader = Reader::new("d.toml", "k = \"2, 0, 4 N/um\"\n");
        let of = (Kind::Stiffness, 3, Allowed::NotNegative);
        let k = reader.root().quantities_of("k", of.0, of.1, of.2, Class::FootStiffness).unwrap();
        let usual = Usual::of(Class::FootStiffness);
        assert_eq!((k[0].low, k[0].high, k[0].guess), (2e6 * usual.low, 2e6 * usual.high, true));
        assert!(k[1].is_exact() && !k[1].guess);
        let keys: Vec<String> = reader.finish().1.into_iter().map(|u| u.key).collect();
        assert_eq!(keys, ["k[1]", "k[3]"]);
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
        let said = problems("a = \nb = 1\n", |f| f.need("mass", "\"1 kg\""));
        assert!(said[0].starts_with("d.toml:1:"), "{said:?}");
        assert_eq!(said.len(), 1, "what follows from it is left out: {said:?}");
    }
}
