//! Published cases computed again: printed value, computed value, difference, verdict.
//!
//! A case is a row of a CSV under `data/proof`. Its `case` names an evaluator, its `inputs` are `name=value`
//! pairs in SI, and `printed` has one or several values separated by a space. A case holds within half a unit
//! of the last printed digit, or within the `tolerance` of the row (`0.1 %` relative, `0.002` absolute);
//! `because` then says why it is wider.
//!
//! ```text
//! materials  values of the table of materials
//! mix        bounds, estimates, packings and gradings of mixes
//! pour       heat, runaway and weights of a pour
//! joints     flat contact, bolts, half spaces
//! sections   shear, torsion, tables of sections, composites
//! drawing    builds the frames of the cases that follow
//! beams      frequency parameters of bars
//! frames     portals, ladder, table, cross, deep beam, rings
//! dynamics   masses on springs
//! response   resonance, decay, chatter, floor, unbalance
//! damping    measures of damping, and records read back
//! thermal    temperature, stress and weight
//! solids     bodies
//! bar        free test bars
//! size       sizing
//! ```

mod bar;
mod beams;
mod damping;
mod drawing;
mod dynamics;
mod frames;
mod joints;
mod materials;
mod mix;
mod pour;
mod response;
mod sections;
mod size;
mod solids;
mod thermal;

use serde::Serialize;
use std::collections::BTreeMap;

/// Computes the values that a source prints from the inputs of its row.
type Evaluator = fn(&Inputs) -> Result<Vec<f64>, String>;

/// One subject: its rows, and the evaluators that they name.
struct Subject {
    /// File name, for messages.
    name: &'static str,
    rows: &'static str,
    evaluators: &'static [(&'static str, Evaluator)],
}

/// All subjects, in the order in which the modules of the program build on each other.
const SUBJECTS: &[Subject] = &[
    subject("materials", include_str!("../../../data/proof/materials.csv"), materials::EVALUATORS),
    subject("mix", include_str!("../../../data/proof/mix.csv"), mix::EVALUATORS),
    subject("pour", include_str!("../../../data/proof/pour.csv"), pour::EVALUATORS),
    subject("joints", include_str!("../../../data/proof/joints.csv"), joints::EVALUATORS),
    subject("sections", include_str!("../../../data/proof/sections.csv"), sections::EVALUATORS),
    subject("beams", include_str!("../../../data/proof/beams.csv"), beams::EVALUATORS),
    subject("frames", include_str!("../../../data/proof/frames.csv"), frames::EVALUATORS),
    subject("dynamics", include_str!("../../../data/proof/dynamics.csv"), dynamics::EVALUATORS),
    subject("response", include_str!("../../../data/proof/response.csv"), response::EVALUATORS),
    subject("damping", include_str!("../../../data/proof/damping.csv"), damping::EVALUATORS),
    subject("thermal", include_str!("../../../data/proof/thermal.csv"), thermal::EVALUATORS),
    subject("solids", include_str!("../../../data/proof/solids.csv"), solids::EVALUATORS),
    subject("bar", include_str!("../../../data/proof/bar.csv"), bar::EVALUATORS),
    subject("size", include_str!("../../../data/proof/size.csv"), size::EVALUATORS),
];

const fn subject(
    name: &'static str,
    rows: &'static str,
    evaluators: &'static [(&'static str, Evaluator)],
) -> Subject {
    Subject { name, rows, evaluators }
}

/// The inputs of a case.
pub struct Inputs {
    values: BTreeMap<String, String>,
}

impl Inputs {
    fn parse(text: &str) -> Result<Inputs, String> {
        let pair = |word: &str| {
            let (name, value) =
                word.split_once('=').ok_or_else(|| format!("\"{word}\" is not name=value"))?;
            Ok((name.to_string(), value.to_string()))
        };
        Ok(Inputs { values: text.split_whitespace().map(pair).collect::<Result<_, String>>()? })
    }

    /// The number given as `name`.
    ///
    /// # Errors
    /// When the row does not give it, or gives no number.
    pub fn number(&self, name: &str) -> Result<f64, String> {
        let text = self.text(name)?;
        text.parse().map_err(|_| format!("{name}={text} is no number"))
    }

    /// The word given as `name`.
    ///
    /// # Errors
    /// When the row does not give it.
    pub fn text(&self, name: &str) -> Result<&str, String> {
        self.values.get(name).map(String::as_str).ok_or_else(|| format!("the inputs lack {name}"))
    }

    /// The numbers given as `name`, separated by commas.
    ///
    /// # Errors
    /// When the row does not give them, or one is not a number.
    pub fn numbers(&self, name: &str) -> Result<Vec<f64>, String> {
        let parse = |part: &str| part.parse().map_err(|_| format!("{name}: \"{part}\" is no number"));
        self.text(name)?.split(',').map(parse).collect()
    }
}

/// One published value with the computed one.
#[derive(Debug, Clone, Serialize)]
pub struct Case {
    /// Subject, case and, of several printed values, the number: `beams/tip-mass-1/2`.
    pub id: String,
    /// Description of the value.
    pub what: String,
    /// Key of the source in the bibliography.
    pub source: String,
    /// Where in the source: equation, table, page.
    pub locator: String,
    /// Unit of both values.
    pub unit: String,
    /// The value in the source.
    pub printed: f64,
    /// The value computed here; `None` when the evaluation failed.
    pub computed: Option<f64>,
    /// Largest difference at which the case holds, in the unit of the value.
    pub tolerance: f64,
    /// Reason for a tolerance wider than half a unit of the last printed digit, if it is.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub because: String,
    /// True when computed and printed value agree within the tolerance.
    pub holds: bool,
    /// Reason why the evaluation failed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub failure: Option<String>,
}

/// Every published case.
#[derive(Debug, Clone, Serialize)]
pub struct Proof {
    /// One entry per published value.
    pub cases: Vec<Case>,
    /// Number of cases that hold.
    pub holding: usize,
}

/// One row of a case file.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: String,
    what: String,
    case: String,
    inputs: String,
    printed: String,
    unit: String,
    tolerance: String,
    because: String,
    source: String,
    locator: String,
}

/// Computes every published case again.
///
/// # Errors
/// A row that cannot be read or names no evaluator, with its file and id.
pub fn prove() -> Result<Proof, String> {
    let mut cases = Vec::new();
    for subject in SUBJECTS {
        cases.extend(subject.prove()?);
    }
    let holding = cases.iter().filter(|case| case.holds).count();
    Ok(Proof { cases, holding })
}

impl Subject {
    /// Computes every case of the subject again.
    fn prove(&self) -> Result<Vec<Case>, String> {
        let mut cases = Vec::new();
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(self.rows.as_bytes());
        for row in reader.deserialize() {
            let row: Row = row.map_err(|e| format!("data/proof/{}.csv: {e}", self.name))?;
            let place = format!("data/proof/{}.csv, {}", self.name, row.id);
            cases.extend(evaluate(self, &row).map_err(|e| format!("{place}: {e}"))?);
        }
        Ok(cases)
    }
}

/// The cases of one subject that do not hold.
#[cfg(test)]
fn failing(name: &str) -> Vec<String> {
    let subject = SUBJECTS.iter().find(|subject| subject.name == name).unwrap();
    let cases = subject.prove().unwrap();
    assert!(!cases.is_empty());
    let said = |case: &Case| {
        format!("{}: {} printed, {:?} computed, {:?}", case.id, case.printed, case.computed, case.failure)
    };
    cases.iter().filter(|case| !case.holds).map(said).collect()
}

fn evaluate(subject: &Subject, row: &Row) -> Result<Vec<Case>, String> {
    let (_, evaluator) = subject
        .evaluators
        .iter()
        .find(|(name, _)| *name == row.case)
        .ok_or_else(|| format!("no evaluator \"{}\"", row.case))?;
    let inputs = Inputs::parse(&row.inputs)?;
    let printed: Vec<&str> = row.printed.split_whitespace().collect();
    let computed = evaluator(&inputs);
    let mut cases = Vec::new();
    for (i, text) in printed.iter().enumerate() {
        let value: f64 = text.parse().map_err(|_| format!("printed \"{text}\" is no number"))?;
        let tolerance = tolerance(text, value, &row.tolerance)?;
        if !row.tolerance.is_empty() && row.because.is_empty() {
            return Err("a stated tolerance needs its reason".to_string());
        }
        let (found, failure) = match &computed {
            Ok(list) if list.len() == printed.len() => (list.get(i).copied(), None),
            Ok(list) => (None, Some(format!("{} values computed, {} printed", list.len(), printed.len()))),
            Err(e) => (None, Some(e.clone())),
        };
        let place = if printed.len() > 1 { format!("/{}", i + 1) } else { String::new() };
        cases.push(Case {
            id: format!("{}/{}{place}", subject.name, row.id),
            what: row.what.clone(),
            source: row.source.clone(),
            locator: row.locator.clone(),
            unit: row.unit.clone(),
            printed: value,
            computed: found,
            tolerance,
            because: row.because.clone(),
            holds: found.is_some_and(|x| (x - value).abs() <= tolerance),
            failure,
        });
    }
    Ok(cases)
}

/// The largest difference at which a case holds: half a unit of the last printed digit, unless the row states
/// another.
fn tolerance(printed: &str, value: f64, stated: &str) -> Result<f64, String> {
    if stated.is_empty() {
        return Ok(half_of_last_digit(printed));
    }
    let bad = || format!("tolerance \"{stated}\" is no number");
    match stated.strip_suffix('%') {
        Some(share) => Ok(share.trim().parse::<f64>().map_err(|_| bad())? / 100.0 * value.abs()),
        None => stated.parse().map_err(|_| bad()),
    }
}

/// Half a unit of the last digit of a printed number, plus a part in 1e9 for rounding.
fn half_of_last_digit(printed: &str) -> f64 {
    let (mantissa, power) = printed.split_once(['e', 'E']).unwrap_or((printed, "0"));
    let decimals = mantissa.split_once('.').map_or(0, |(_, d)| d.len()) as i32;
    0.5 * 10f64.powi(power.parse::<i32>().unwrap_or(0) - decimals) * (1.0 + 1e-9)
}

/// Panics with a list of the cases of `subject` that do not hold, if any.
#[cfg(test)]
fn all_hold(subject: &str) {
    let Some(subject) = SUBJECTS.iter().find(|known| known.name == subject) else { panic!("no {subject}") };
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(subject.rows.as_bytes());
    let rows: Vec<Row> = reader.deserialize().map(|row| row.unwrap()).collect();
    assert!(!rows.is_empty());
    let cases: Vec<Case> = rows.iter().flat_map(|row| evaluate(subject, row).unwrap()).collect();
    let failing: Vec<String> = cases
        .iter()
        .filter(|case| !case.holds)
        .map(|case| {
            format!(
                "{}: {} for {} ({:?})",
                case.id,
                case.computed.unwrap_or(f64::NAN),
                case.printed,
                case.failure
            )
        })
        .collect();
    assert!(failing.is_empty(), "{} of {} fail:\n{}", failing.len(), cases.len(), failing.join("\n"));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tolerance_follows_the_printed_digits() {
        approx::assert_relative_eq!(half_of_last_digit("42.649"), 0.0005, max_relative = 1e-8);
        approx::assert_relative_eq!(half_of_last_digit("1.50e3"), 5.0, max_relative = 1e-8);
        approx::assert_relative_eq!(tolerance("200", 200.0, "0.1 %").unwrap(), 0.2);
        assert!(tolerance("200", 200.0, "a bit").is_err());
    }

    #[test]
    fn a_wrong_value_does_not_hold() {
        const WRONG: Subject = Subject {
            name: "wrong",
            rows: "",
            evaluators: &[("double", |inputs| Ok(vec![2.0 * inputs.number("x")?]))],
        };
        let row = |printed: &str| Row {
            id: "a".into(),
            what: "twice x".into(),
            case: "double".into(),
            inputs: "x=2.1".into(),
            printed: printed.into(),
            unit: "-".into(),
            tolerance: String::new(),
            because: String::new(),
            source: "s".into(),
            locator: "l".into(),
        };
        assert!(evaluate(&WRONG, &row("4.2")).unwrap()[0].holds);
        assert!(!evaluate(&WRONG, &row("4.3")).unwrap()[0].holds);
        assert!(evaluate(&WRONG, &row("4.2 1")).unwrap()[0].failure.is_some());
    }
}
