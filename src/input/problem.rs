//! Errors and warnings about the user's input, with their places in it.
//!
//! Everything Stillbed says about an input is a [`Problem`]: the place, the value found, what is allowed
//! and what to do next. A warning is a problem that does not stop the answer; a result carries its
//! warnings in `notes`, so that they reach every output.

use serde::Serialize;
use std::collections::{HashMap, HashSet};
use std::fmt;
use std::ops::Range;

/// Whether an answer is still possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// No answer can be given.
    Error,
    /// An answer is given, and this has to be read beside it.
    Warning,
}

/// Where in the user's input a problem sits.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize)]
pub struct Place {
    /// The file as the user named it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Line, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<usize>,
    /// Column in characters, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<usize>,
    /// Dotted key of the design, or `line title, column title` of a table.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub key: String,
}

impl Place {
    /// The place of a whole file.
    pub fn file(name: &str) -> Place {
        Place { file: Some(name.to_string()), ..Place::default() }
    }

    /// A place known only by its key, such as a value of an answer.
    pub fn key(key: &str) -> Place {
        Place { key: key.to_string(), ..Place::default() }
    }
}

/// A text that a user wrote, with the offsets at which its lines begin.
#[derive(Debug, Clone)]
pub struct Source<'t> {
    /// The file as the user named it.
    pub file: &'t str,
    /// The whole text.
    pub text: &'t str,
    lines: Vec<usize>,
}

impl<'t> Source<'t> {
    /// `text`, read from `file`.
    pub fn new(file: &'t str, text: &'t str) -> Source<'t> {
        let after = text.match_indices('\n').map(|(end, _)| end + 1);
        Source { file, text, lines: std::iter::once(0).chain(after).collect() }
    }

    /// The place of the byte range `span`.
    pub fn place(&self, span: &Range<usize>, key: &str) -> Place {
        let (line, column) = self.line_and_column(span.start);
        let file = Some(self.file.to_string());
        Place { file, line: Some(line), column: Some(column), key: key.to_string() }
    }

    /// Line and column, both from 1, of the byte `offset`; the column counts characters.
    fn line_and_column(&self, offset: usize) -> (usize, usize) {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        let line = self.lines.partition_point(|start| *start <= offset).max(1);
        (line, self.text[self.lines[line - 1]..offset].chars().count() + 1)
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let mut gap = "";
        if let Some(file) = &self.file {
            write!(f, "{file}")?;
            if let Some(line) = self.line {
                write!(f, ":{line}")?;
            }
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
            gap = "  ";
        }
        if !self.key.is_empty() {
            write!(f, "{gap}{}", self.key)?;
        }
        Ok(())
    }
}

/// A list of problems, of which one at least is an error, so that `?` works in any `main`.
///
/// ```
/// use stillbed_input::problem::{Place, Problem, Problems};
///
/// fn read() -> Result<(), Problems> {
///     Err(Problem::error(Place::key("height"), "\"12\" has no unit").into())
/// }
///
/// fn main_of_a_caller() -> Result<(), Box<dyn std::error::Error>> {
///     read()?;
///     Ok(())
/// }
/// assert!(main_of_a_caller().unwrap_err().to_string().starts_with("height: "));
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Problems(Vec<Problem>);

impl Problems {
    /// The problems one by one.
    #[must_use]
    pub fn into_vec(self) -> Vec<Problem> {
        self.0
    }
}

impl std::ops::Deref for Problems {
    type Target = [Problem];

    fn deref(&self) -> &[Problem] {
        &self.0
    }
}

impl From<Vec<Problem>> for Problems {
    fn from(problems: Vec<Problem>) -> Problems {
        Problems(problems)
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Problems {
        Problems(vec![problem])
    }
}

impl From<Problems> for Vec<Problem> {
    fn from(problems: Problems) -> Vec<Problem> {
        problems.0
    }
}

impl FromIterator<Problem> for Problems {
    fn from_iter<I: IntoIterator<Item = Problem>>(problems: I) -> Problems {
        Problems(problems.into_iter().collect())
    }
}

impl IntoIterator for Problems {
    type Item = Problem;
    type IntoIter = std::vec::IntoIter<Problem>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        for (number, problem) in self.0.iter().enumerate() {
            if number > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

/// One error or warning about the user's input.
///
/// Displayed as `file:line:column  key: message; help`.
///
/// ```
/// use stillbed_input::problem::{Place, Problem, suggest};
///
/// let place = Place { line: Some(14), column: Some(9), key: "material".to_string(), ..Place::file("a.toml") };
/// let help = suggest("stel", ["steel", "epoxy"]);
/// let problem = Problem::error(place, "no material \"stel\"").with_help(help);
/// assert_eq!(
///     problem.to_string(),
///     "a.toml:14:9  material: no material \"stel\"; did you mean \"steel\"?"
/// );
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
pub struct Problem {
    /// Whether it stops the answer.
    pub severity: Severity,
    /// Where it is.
    pub place: Place,
    /// The value found and what is wrong with it, then what is allowed.
    pub message: String,
    /// The next thing to do: a repair, the nearest known name, a unit to add.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub help: Option<String>,
}

impl Problem {
    /// A problem that stops the answer.
    pub fn error(place: Place, message: impl Into<String>) -> Problem {
        Problem { severity: Severity::Error, place, message: message.into(), help: None }
    }

    /// A doubt that is reported beside the answer.
    pub fn warning(place: Place, message: impl Into<String>) -> Problem {
        Problem { severity: Severity::Warning, place, message: message.into(), help: None }
    }

    /// The same problem with a repair added.
    #[must_use]
    pub fn with_help(mut self, help: impl Into<String>) -> Problem {
        self.help = Some(help.into());
        self
    }

    /// True when no answer can be given.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let place = self.place.to_string();
        if !place.is_empty() {
            write!(f, "{place}: ")?;
        }
        write!(f, "{}", self.message)?;
        if let Some(help) = &self.help {
            write!(f, "; {help}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problem {}

/// How many problems of one kind are listed one by one.
const TOLD: usize = 20;

/// Sorts `problems` by line and removes duplicates. Of problems that differ only in names and numbers
/// the first twenty are listed, then one more with the count of the rest.
pub fn in_order(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by_key(|p| (p.place.line.unwrap_or(0), p.place.column.unwrap_or(0)));
    let (mut seen, mut of_kind) = (HashSet::new(), HashMap::<(Severity, String), usize>::new());
    let mut told: Vec<Problem> = Vec::new();
    let mut more: Vec<((Severity, String), Problem)> = Vec::new();
    for problem in problems {
        if !seen.insert(problem.clone()) {
            continue;
        }
        let kind = (problem.severity, skeleton(&problem.message));
        let count = of_kind.entry(kind.clone()).or_default();
        *count += 1;
        match *count {
            count if count <= TOLD => told.push(problem),
            count if count == TOLD + 1 => more.push((kind, problem)),
            _ => {}
        }
    }
    for (kind, first) in more {
        let count = of_kind.get(&kind).map_or(0, |count| count - TOLD);
        let place = Place { column: None, key: String::new(), ..first.place };
        let message = format!("{count} more like this: {}", first.message);
        told.push(Problem { place, message, ..first });
    }
    told
}

/// `message` without the names and numbers in it: problems with the same rest are of one kind.
fn skeleton(message: &str) -> String {
    let mut quoted = false;
    let is_kept = |c: &char| {
        quoted ^= *c == '"';
        !quoted && !c.is_ascii_digit()
    };
    message.chars().filter(is_kept).collect()
}

/// The known name nearest to `found`, if it is near enough to be a misspelling.
///
/// Near means a Jaro-Winkler similarity of at least 0.8, ignoring case.
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let found = found.to_lowercase();
    let known: Vec<&str> = known.into_iter().collect();
    known
        .iter()
        .copied()
        .map(|name| (strsim::jaro_winkler(&found, &name.to_lowercase()), name))
        .filter(|(likeness, _)| *likeness >= 0.8)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
        .or_else(|| turned(&found, &known))
}

/// The first of `known` that has the length and the first and last letter of `found`, and differs from
/// it in at most half of its letters: "feet" for "foot".
fn turned<'a>(found: &str, known: &[&'a str]) -> Option<&'a str> {
    let ends = |name: &str| (name.chars().next(), name.chars().next_back());
    let alike = |name: &&&str| {
        ends(name) == ends(found)
            && name.len() == found.len()
            && found.len() >= 4
            && 2 * strsim::levenshtein(name, found) <= found.len()
    };
    known.iter().find(alike).copied()
}

/// The repair for an unknown name: the nearest known name, or else a list of known names.
pub fn suggest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    let known: Vec<&str> = known.into_iter().collect();
    if let Some(name) = nearest(found, known.iter().copied()) {
        return format!("did you mean \"{name}\"?");
    }
    match known.len() {
        0 => "there are none".to_string(),
        1..=12 => format!("known: {}", known.join(", ")),
        n => format!("{n} are known, among them {}", known[..8].join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plural_that_turns_its_vowels_is_near() {
        assert_eq!(nearest("foot", ["points", "members", "feet", "joints"]), Some("feet"));
        assert_eq!(nearest("spring", ["points", "members", "feet", "joints"]), None);
    }

    #[test]
    fn of_many_alike_the_first_are_told() {
        let at = |line: usize, message: String| {
            Problem::error(Place { line: Some(line), ..Place::file("d.toml") }, message)
        };
        let mut all: Vec<Problem> = (1..=500).rev().map(|i| at(i, format!("\"p{i}\" is {i} away"))).collect();
        all.extend([at(7, "another thing".into()), at(7, "another thing".into())]);
        let told = in_order(all);
        assert_eq!(told.len(), TOLD + 2);
        assert_eq!(told[0].message, "\"p1\" is 1 away");
        assert_eq!(told.iter().filter(|p| p.message == "another thing").count(), 1);
        assert_eq!(told[TOLD + 1].to_string(), "d.toml:21: 480 more like this: \"p21\" is 21 away");
        assert_eq!(in_order(told.clone()).len(), told.len());
    }

    #[test]
    fn place_counts_lines_and_characters() {
        let place = Source::new("d.toml", "a = 1\nµm = 2\n").place(&(9..10), "µm");
        assert_eq!((place.line, place.column), (Some(2), Some(3)));
        assert_eq!(place.to_string(), "d.toml:2:3  µm");
    }

    #[test]
    fn place_beyond_the_text_is_its_end() {
        assert_eq!(Source::new("d.toml", "ab\n").line_and_column(99), (2, 1));
    }

    #[test]
    fn message_names_place_cause_and_repair() {
        let problem = Problem::error(Place::key("members.left_rail.section"), "no section \"rial\"")
            .with_help(suggest("rial", ["post", "rail"]));
        assert_eq!(
            problem.to_string(),
            "members.left_rail.section: no section \"rial\"; did you mean \"rail\"?"
        );
        assert!(problem.is_error());
    }

    #[test]
    fn a_far_name_lists_what_is_known() {
        assert_eq!(suggest("zzz", ["post", "rail"]), "known: post, rail");
        assert_eq!(nearest("Rail", ["rail"]), Some("rail"));
    }
}
