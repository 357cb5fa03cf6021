//! The JSON form of an answer: the answer's own struct in an envelope.
//!
//! ```text
//! { "format": "modes/1", "program": { "name", "version" }, "design": { "file", "title" },
//!   "result": { … } }
//! ```
//!
//! JSON has no numbers that are not finite; a serialiser would write null, which here means missing. So
//! `finite` looks for them before writing, and one that is found is reported as a defect of the program.

mod finite;

pub use finite::first_not_finite;

use super::identity::DesignIdentity;
use serde::Serialize;
use std::fmt;

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
    design: Option<&'a DesignIdentity>,
    result: &'a T,
}

/// An answer that cannot be written as JSON: a defect of the program, not of the input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Defect {
    /// A number is not finite; holds its path in the answer, such as `builds.0.mass_kg`.
    NotFinite(String),
    /// The answer has a type that JSON cannot hold; holds the serialiser's message.
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

/// The JSON of `result`, the answer of the command `answer`, indented, with a newline at the end.
///
/// ```
/// let text = stillbed_report::json::envelope("modes", None, &[12.5]).unwrap();
/// assert!(text.starts_with("{\n  \"format\": \"modes/1\""));
/// assert!(stillbed_report::json::envelope("modes", None, &[f64::NAN]).is_err());
/// ```
///
/// # Errors
/// When `result` holds a number that is not finite, or a map that JSON cannot have.
pub fn envelope<T: Serialize>(
    answer: &str,
    design: Option<&DesignIdentity>,
    result: &T,
) -> Result<String, Defect> {
    if let Some(path) = first_not_finite(result) {
        return Err(Defect::NotFinite(path));
    }
    let program = Program { name: "stillbed", version: env!("CARGO_PKG_VERSION") };
    let envelope = Envelope { format: format!("{answer}/1"), program, design, result };
    let text = serde_json::to_string_pretty(&envelope).map_err(|e| Defect::NoJson(e.to_string()))?;
    Ok(text + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_envelope_has_its_four_parts_in_order() {
        let design = DesignIdentity { file: "stand.toml".to_string(), title: "Stand".to_string() };
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
