//! What is wrong, or doubtful, in the user's input, and where.
//!
//! Everything that Stillbed says about an input is a [`Problem`]: its place, the value
//! found, what is allowed and the next thing to do. Warnings are problems too; they travel
//! in a result's `notes` so that they reach every output.

use serde::Serialize;
use std::fmt;
use std::ops::Range;

/// Whether an answer can still be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// No answer can be given.
    Error,
    /// An answer is given; the reader should know this beside it.
    Warning,
}

/// Where in the user's input a problem sits.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
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
    /// A place that is a whole file.
    pub fn file(name: &str) -> Place {
        Place { file: Some(name.to_string()), ..Place::default() }
    }

    /// A place known by its key alone, such as an answer's own figure.
    pub fn key(key: &str) -> Place {
        Place { key: key.to_string(), ..Place::default() }
    }
}

/// A text that a user wrote, and where its lines begin.
#[derive(Debug, Clone)]
pub struct Source<'t> {
    /// The file as the user named it.
    pub file: &'t str,
    /// All of it.
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

/// One thing said about the user's input.
///
/// Displayed as `file:line:column  key: message; help`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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

    /// A doubt that is said beside the answer.
    pub fn warning(place: Place, message: impl Into<String>) -> Problem {
        Problem { severity: Severity::Warning, place, message: message.into(), help: None }
    }

    /// The same problem with its repair.
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

/// The known name nearest to `found`, if one is near enough to be a slip of the hand.
///
/// Near is a Jaro-Winkler similarity of at least 0.8, letter case aside.
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

/// The one of `known` that differs from `found` in no more than half of its letters, with the same
/// first and last one: "feet" for "foot".
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

/// The repair for an unknown name: the nearest known one, or the list of what there is.
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
