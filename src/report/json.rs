//! The answer for programs: the answer's own struct in an envelope.
//!
//! ```text
//! { "format": "modes/1", "program": { "name", "version" }, "design": { "file", "title" },
//!   "result": { … } }
//! ```
//!
//! A value that is not finite has no JSON and would silently read as null, which means missing.
//! It is searched for before writing and reported as the defect that it is.

mod finite;

pub use finite::first_not_finite;

use serde::Serialize;
use std::fmt;

/// Which design was answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Design {
    /// The file as the user named it.
    pub file: String,
    /// Its title.
    pub title: String,
}

#[derive(Serialize)]
struct Program {
    name: &'static str,
    version: &'static str,
}

#[derive(Serialize)]
struct Envelope<'a, T> {
    format: String,
    program: Program,
    #[serde(skip_serializing_if = "Option::is_none")]
    design: Option<&'a Design>,
    result: &'a T,
}

/// An answer that has no JSON: a defect of the program, not of the input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Defect {
    /// A number is not finite; where in the answer, as `builds.0.mass_kg`.
    NotFinite(String),
    /// The answer is of a kind that JSON does not know, as the serialiser says it.
    NoJson(String),
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Defect::NotFinite(path) => write!(f, "the answer's {path} is not a finite number")?,
            Defect::NoJson(cause) => write!(f, "the answer has no JSON: {cause}")?,
        }
        write!(f, "; this is a defect of the program, please report it with the design")
    }
}

impl std::error::Error for Defect {}

/// The JSON of the answer called `answer`, indented, with a newline at its end.
///
/// # Errors
/// When `result` holds a number that is not finite, or a map that JSON cannot have.
pub fn envelope<T: Serialize>(answer: &str, design: Option<&Design>, result: &T) -> Result<String, Defect> {
    if let Some(path) = first_not_finite(result) {
        return Err(Defect::NotFinite(path));
    }
    let program = Program { name: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION") };
    let envelope = Envelope { format: format!("{answer}/1"), program, design, result };
    let text = serde_json::to_string_pretty(&envelope).map_err(|e| Defect::NoJson(e.to_string()))?;
    Ok(text + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_envelope_has_its_four_parts_in_order() {
        let design = Design { file: "stand.toml".to_string(), title: "Stand".to_string() };
        let text = envelope("modes", Some(&design), &serde_json::json!({ "mass_kg": 12.5 })).unwrap();
        let version = env!("CARGO_PKG_VERSION");
        let expected = [
            "{",
            "  \"format\": \"modes/1\",",
            "  \"program\": {",
            "    \"name\": \"stillbed\",",
            &format!("    \"version\": \"{version}\""),
            "  },",
            "  \"design\": {",
            "    \"file\": \"stand.toml\",",
            "    \"title\": \"Stand\"",
            "  },",
            "  \"result\": {",
            "    \"mass_kg\": 12.5",
            "  }",
            "}",
            "",
        ];
        assert_eq!(text, expected.join("\n"));
    }

    #[test]
    fn what_is_not_finite_never_becomes_null() {
        let error = envelope("mix", None, &[Some(1.0), None, Some(f64::NAN)]).unwrap_err();
        assert_eq!(error, Defect::NotFinite("2".to_string()));
        assert!(envelope("mix", None, &[Some(1.0), None]).unwrap().contains("null"));
    }
}
