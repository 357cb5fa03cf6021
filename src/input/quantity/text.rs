//! Reads text as numbers in SI: a single quantity, a list, a size, a range, a ratio.

use super::kind::{Kind, show};
use super::unit::{self, Unit};
use crate::problem::nearest;

/// Why a text cannot be read as the quantity expected.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// What is wrong with the value found.
    pub message: String,
    /// The repair.
    pub help: String,
}

impl Fault {
    fn new(message: impl Into<String>, help: impl Into<String>) -> Fault {
        Fault { message: message.into(), help: help.into() }
    }
}

/// A number and the unit behind it as written, empty where there is none.
struct Item<'a> {
    number: f64,
    unit: &'a str,
}

/// One quantity, such as `"12.5 N/um"`, in SI.
///
/// # Errors
/// Says what is wrong and how to repair it: no number, no unit, a unit of another kind, a decimal comma.
pub fn single(text: &str, kind: Kind) -> Result<f64, Fault> {
    if let Some((whole, decimals)) = text.trim().split_once(',') {
        let number = format!("{}.{}", whole.trim(), decimals.trim());
        return Err(Fault::new(
            format!("\"{text}\" has a comma, which separates the items of a list"),
            format!("write the decimal point: \"{number}\""),
        ));
    }
    let item = item(text, text, kind, kind.example())?;
    in_si(&item, text, kind, kind.example())
}

/// The items of a list such as `"0, 0, 600 mm"`, in SI; an item without a unit takes that of the next
/// item.
///
/// # Errors
/// As [`single`], or when there are not `count` items.
pub fn list(text: &str, kind: Kind, count: usize) -> Result<Vec<f64>, Fault> {
    separated(text, ",", kind, count)
}

/// A size such as `"60 x 40 x 3 mm"` or `"2 x 1 x 1/8 in"`, in SI.
///
/// # Errors
/// As [`single`], or when there are not `count` numbers.
pub fn size(text: &str, kind: Kind, count: usize) -> Result<Vec<f64>, Fault> {
    separated(&text.replace(['×', 'X'], "x"), "x", kind, count)
}

/// A range such as `"0.3 to 0.8 mm"`, `"20-800 Hz"` or `"2000, 12000 rpm"`, in SI, lower limit first.
/// Both limits may be the same: grains of one size are a range, too.
///
/// # Errors
/// As [`single`], when there are not two numbers, or when the first is the larger.
pub fn range(text: &str, kind: Kind) -> Result<(f64, f64), Fault> {
    let items = match dash(text) {
        _ if text.contains(',') => separated(text, ",", kind, 2)?,
        Some(dash) if !text.contains("to") => {
            let (low, high) = text.split_at(dash);
            separated(&format!("{} to {}", low.trim_end(), high.trim_start_matches(DASHES)), "to", kind, 2)?
        }
        _ => separated(text, "to", kind, 2)?,
    };
    if items[0] > items[1] {
        return Err(Fault::new(
            format!("the range \"{text}\" is reversed"),
            "write the smaller value first".to_string(),
        ));
    }
    Ok((items[0], items[1]))
}

/// Characters that stand for "to" between two numbers.
const DASHES: [char; 2] = ['-', '\u{2013}'];

/// Offset of the only dash of `text` that separates two numbers, each with or without its unit. The dash
/// of an exponent, of a sign or of `1-1/2` does not count.
fn dash(text: &str) -> Option<usize> {
    let parts = |(i, sign): (usize, &str)| {
        let (before, after) = (text[..i].trim(), text[i + sign.len()..].trim_start());
        let power = before.ends_with(['e', 'E'])
            && before[..before.len() - 1].ends_with(|c: char| c.is_ascii_digit());
        let begins = before.starts_with(|c: char| c.is_ascii_digit() || c == '.');
        begins && !power && after.starts_with(|c: char| c.is_ascii_digit() || c == '.') && !is_fraction(after)
    };
    let mut found = text.match_indices(DASHES).filter(|at| parts(*at)).map(|(i, _)| i);
    found.next().filter(|_| found.next().is_none())
}

/// A ratio such as `"100 : 30"`: its two parts.
///
/// # Errors
/// When it is not two positive numbers with a colon between them.
pub fn ratio(text: &str) -> Result<(f64, f64), Fault> {
    let fault =
        || Fault::new(format!("\"{text}\" is no ratio"), "write two positive parts, as in \"100 : 30\"");
    let (first, second) = text.split_once(':').ok_or_else(fault)?;
    let part = |text: &str| number(text.trim()).filter(|n| *n > 0.0 && n.is_finite()).ok_or_else(fault);
    Ok((part(first)?, part(second)?))
}

/// An example of `count` quantities of `kind` with `separator` (`,`, `x` or `to`) between them.
pub fn example(kind: Kind, separator: &str, count: usize) -> &'static str {
    match (separator, count, kind) {
        (",", 1, _) => kind.example(),
        ("x", 1, _) => "12 mm",
        ("x", 2, _) => "110 x 80 mm",
        ("x", 3, _) => "60 x 40 x 3 mm",
        ("x", ..) => "100 x 50 x 4 x 6 mm",
        ("to", _, Kind::Frequency) => "20 to 800 Hz",
        ("to", ..) => "0.3 to 0.8 mm",
        (_, 2, Kind::Frequency) => "20, 800 Hz",
        (_, 2, Kind::Length) => "0, 10 mm",
        (_, _, Kind::Length) => "0, 0, 600 mm",
        (_, _, Kind::Stiffness) => "20, 20, 80 N/um",
        (_, _, Kind::TurningStiffness) => "40, 40, 10 kN m/rad",
        (_, _, Kind::Inertia) => "0.02, 0.02, 0.01 kg m2",
        (_, _, Kind::Ratio) => "1, 0, 0",
        _ => kind.example(),
    }
}

fn separated(text: &str, separator: &str, kind: Kind, count: usize) -> Result<Vec<f64>, Fault> {
    let example = example(kind, separator, count);
    let read = |part| item(part, text, kind, example);
    let mut items = text.split(separator).map(read).collect::<Result<Vec<_>, _>>()?;
    if items.len() != count {
        return Err(Fault::new(
            format!(
                "\"{text}\" has {} number{}, not {count}",
                items.len(),
                if items.len() == 1 { "" } else { "s" }
            ),
            format!("write it like \"{example}\""),
        ));
    }
    let mut unit = "";
    for item in items.iter_mut().rev() {
        if item.unit.is_empty() {
            item.unit = unit;
        }
        unit = item.unit;
    }
    items.iter().map(|item| in_si(item, text, kind, example)).collect()
}

/// Splits `part` of `text` into its number and its unit.
fn item<'a>(part: &'a str, text: &str, kind: Kind, example: &str) -> Result<Item<'a>, Fault> {
    let part = part.trim();
    let end = part.char_indices().find(|(i, c)| !is_of_number(part, *i, *c)).map_or(part.len(), |(i, _)| i);
    let (digits, unit) = part.split_at(end);
    match number(digits.trim()) {
        Some(number) if number.is_finite() => Ok(Item { number, unit: unit.trim() }),
        _ => Err(Fault::new(
            format!("\"{text}\" is not {}", kind.name()),
            format!("write a number and a unit, as in \"{example}\""),
        )),
    }
}

/// True while `c` at offset `i` still belongs to the number, as in `-1.5e-3`, `1 1/2`, `1/8`.
fn is_of_number(part: &str, i: usize, c: char) -> bool {
    let next_is_digit = |i: usize| part[i + 1..].starts_with(|n: char| n.is_ascii_digit());
    match c {
        '0'..='9' | '.' => true,
        '-' | '+' | '\u{2212}' if i == 0 => true,
        '-' | '+' => part[..i].ends_with(['e', 'E']) || next_is_digit(i) && part[i..].contains('/'),
        'e' | 'E' => {
            let rest = part[i + 1..].trim_start_matches(['-', '+']);
            rest.starts_with(|n: char| n.is_ascii_digit())
        }
        '/' => next_is_digit(i) && part[..i].ends_with(|n: char| n.is_ascii_digit()),
        ' ' => is_fraction(&part[i + 1..]),
        '_' => next_is_digit(i),
        _ => false,
    }
}

/// True when `text` starts with a fraction such as `1/2`.
fn is_fraction(text: &str) -> bool {
    let rest = text.trim_start_matches(|c: char| c.is_ascii_digit());
    rest.len() < text.len()
        && rest.strip_prefix('/').is_some_and(|r| r.starts_with(|c: char| c.is_ascii_digit()))
}

/// Reads `2.5`, `1/8`, `1 1/2`, `1-1/2` or `1e9`.
fn number(text: &str) -> Option<f64> {
    let text = text.replace('\u{2212}', "-");
    if let Some((above, below)) = text.split_once('/') {
        let (whole, above) = match above.rfind([' ', '-']).filter(|i| *i > 0) {
            Some(i) => (above[..i].trim().parse::<f64>().ok()?, &above[i + 1..]),
            None => (0.0, above),
        };
        let (above, below) = (above.trim().parse::<f64>().ok()?, below.trim().parse::<f64>().ok()?);
        let part = above / below;
        return Some(if whole < 0.0 { whole - part } else { whole + part });
    }
    if text.contains(' ') {
        return None;
    }
    text.replace('_', "").parse().ok()
}

fn in_si(item: &Item, text: &str, kind: Kind, example: &str) -> Result<f64, Fault> {
    if item.unit.is_empty() {
        if kind == Kind::Ratio && !is_served(item.number, kind) {
            return Err(beyond(text, kind));
        }
        if kind == Kind::Ratio || item.number == 0.0 && !matches!(kind, Kind::Temperature) {
            return Ok(item.number);
        }
        return Err(Fault::new(
            format!("\"{text}\" has no unit; {} is expected", kind.name()),
            format!("add a unit, as in \"{example}\""),
        ));
    }
    let unit = Unit::parse(item.unit).map_err(|unknown| {
        let likely = nearest(&unknown, unit::names()).map(|name| format!("did you mean \"{name}\"? "));
        Fault::new(
            format!("\"{unknown}\" in \"{text}\" is no unit known here"),
            format!("{}write {} like \"{example}\"", likely.unwrap_or_default(), kind.name()),
        )
    })?;
    if kind == Kind::TemperatureChange && unit.offset != 0.0 {
        return Err(Fault::new(
            format!("\"{text}\" is read off a scale; a difference is expected"),
            format!("write it in K, as in \"{example}\""),
        ));
    }
    if !kind.admits(unit.dimension) {
        return Err(Fault::new(
            format!("\"{text}\" is not {}", kind.name()),
            format!("write it like \"{example}\""),
        ));
    }
    let turns = if kind == Kind::Frequency && unit.dimension[4] == 1 { std::f64::consts::TAU } else { 1.0 };
    let value = (item.number * unit.factor + unit.offset) / turns;
    match is_served(value, kind) {
        true => Ok(value),
        false => Err(beyond(text, kind)),
    }
}

/// True for zero and for a magnitude within the limits of the kind.
pub fn is_served(value: f64, kind: Kind) -> bool {
    let [least, most] = kind.served();
    value == 0.0 || (least..=most).contains(&value.abs())
}

/// The fault of a `text` whose magnitude is outside those limits.
pub fn beyond(text: &str, kind: Kind) -> Fault {
    let [least, most] = kind.served().map(|size| show(size, kind));
    let sizes = if kind == Kind::Ratio { format!("up to {most}") } else { format!("from {least} to {most}") };
    Fault::new(
        format!("\"{text}\" is beyond any size that is computed with"),
        format!("write {} {sizes}", kind.name()),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn single_quantities_in_shop_units() {
        for (text, kind, expected) in [
            ("600 mm", Kind::Length, 0.6),
            ("600mm", Kind::Length, 0.6),
            ("1/8 in", Kind::Length, 0.003175),
            ("1 1/2 in", Kind::Length, 0.0381),
            ("1-1/2 in", Kind::Length, 0.0381),
            ("-25 mm", Kind::Length, -0.025),
            ("1e-3 m", Kind::Length, 0.001),
            ("20 N/um", Kind::Stiffness, 2e7),
            ("29000 ksi", Kind::Stress, 1.9994796e11),
            ("2 %", Kind::Ratio, 0.02),
            ("12 um/m K", Kind::Expansion, 12e-6),
            ("3000 rpm", Kind::Frequency, 50.0),
            ("6.283185307179586 rad/s", Kind::Frequency, 1.0),
            ("20 degC", Kind::Temperature, 293.15),
            ("68 degF", Kind::Temperature, 293.15),
            ("400 J/g", Kind::HeatPerMass, 4e5),
            ("12e-6 1/K", Kind::Expansion, 12e-6),
            ("0.01 1/s", Kind::Rate, 0.01),
            ("8 W/m2/K", Kind::Film, 8.0),
            ("8 W/m2 K", Kind::Film, 8.0),
        ] {
            assert_relative_eq!(single(text, kind).unwrap(), expected, max_relative = 1e-7);
        }
    }

    #[test]
    fn lists_and_sizes_share_their_unit() {
        assert_eq!(list("0, 0, 600 mm", Kind::Length, 3).unwrap(), [0.0, 0.0, 0.6]);
        assert_eq!(list("1 m, 20, 30 mm", Kind::Length, 3).unwrap(), [1.0, 0.02, 0.03]);
        let size = size("2 x 1 x 1/8 in", Kind::Length, 3).unwrap();
        assert_relative_eq!(size[2], 0.003175);
        assert_eq!(range("0.3 to 0.8 mm", Kind::Length).unwrap(), (0.0003, 0.0008));
        assert_relative_eq!(range("2000, 12000 rpm", Kind::Frequency).unwrap().1, 200.0);
        for text in ["20-800 Hz", " 20 - 800 Hz", "20 Hz\u{2013}0.8 kHz", "2e1 - 800 Hz", "20 to 800 Hz"] {
            assert_eq!(range(text, Kind::Frequency).unwrap(), (20.0, 800.0), "{text}");
        }
        // A sign, a power of ten, a fraction and a third number are no range.
        for text in ["-20 Hz", "2e-1 Hz", "1-1/2 Hz", "1-2-3 Hz", "800-20 Hz", "20-800"] {
            assert!(range(text, Kind::Frequency).is_err(), "{text}");
        }
        assert_relative_eq!(range("0.1-0.5 mm", Kind::Length).unwrap().1, 5e-4);
        assert_eq!(ratio("100 : 30").unwrap(), (100.0, 30.0));
    }

    fn fault(text: &str, kind: Kind) -> String {
        let fault = single(text, kind).unwrap_err();
        format!("{}; {}", fault.message, fault.help)
    }

    #[test]
    fn faults_say_what_was_found_and_the_repair() {
        assert_eq!(
            fault("2,5 mm", Kind::Length),
            "\"2,5 mm\" has a comma, which separates the items of a list; write the decimal point: \"2.5 mm\""
        );
        assert_eq!(
            fault("600", Kind::Length),
            "\"600\" has no unit; a length is expected; add a unit, as in \"600 mm\""
        );
        assert!(fault("10 degC", Kind::TemperatureChange).contains("write it in K"));
        assert!(fault("10 kg", Kind::Length).contains("is not a length"));
        assert!(fault("inf mm", Kind::Length).contains("is not a length"));
        assert!(fault("1e999 mm", Kind::Length).contains("is not a length"));
        assert_eq!(
            fault("1e300 mm", Kind::Length),
            "\"1e300 mm\" is beyond any size that is computed with; write a length from 1e-6 µm to 1e7 mm"
        );
        assert!(fault("5e-324 W/m2 K", Kind::Film).contains("from 1e-6 W/(m² K) to 1e9 W/(m² K)"));
        assert!(fault("1e300", Kind::Ratio).contains("write a ratio up to 1e12"));
        assert!(range("5, 1e308 Hz", Kind::Frequency).is_err());
        assert!(fault("", Kind::Length).contains("is not a length"));
        assert!(fault("5 mmm", Kind::Length).contains("did you mean \"mm\""));
        assert!(list("0, 0 mm", Kind::Length, 3).unwrap_err().message.contains("2 numbers, not 3"));
        assert_eq!(range("2 to 2 mm", Kind::Length).unwrap(), (0.002, 0.002));
        assert!(range("5 to 2 mm", Kind::Length).unwrap_err().message.contains("reversed"));
        assert!(ratio("100 : -3").is_err() && ratio("inf : 3").is_err());
    }
}
