//! Regular expressions of the texts that are read as quantities, for a schema that checks a design file.
//!
//! A pattern accepts every text that the reader accepts. It rejects the commonest mistakes (no unit, no
//! number, the wrong count of numbers) and leaves the rest to the reader.

use super::Kind;

/// The start of a number.
const NUMBER: &str = r"\s*[-+−]?[0-9._]";
/// A zero, which needs no unit.
const ZERO: &str = r"\s*[-+−]?(?:[0._]+[ -])?[0._]+(?:/[0-9._]+)?\s*";
/// A letter or sign that every unit contains; x is left out because it separates sizes.
const UNIT: &str = "[A-WYZa-wyz%°\"]";

/// The pattern of one quantity, or of `count` of them with commas between.
pub fn list_pattern(kind: Kind, count: usize) -> String {
    one_of(&separated(kind, ",", ",", &[count]))
}

/// The pattern of a size of one of `counts` lengths, such as `"60 x 40 x 3 mm"`.
pub fn size_pattern(counts: &[usize]) -> String {
    one_of(&separated(Kind::Length, "[xX×]", "xX×", counts))
}

/// The pattern of a range, such as `"0.3 to 0.8 mm"` or `"2000, 12000 rpm"`.
pub fn range_pattern(kind: Kind) -> String {
    let mut ways = separated(kind, ",", ",", &[2]);
    ways.push(format!("{NUMBER}[^,]*(?:to|[-\u{2013}]){NUMBER}[^,]*"));
    one_of(&ways)
}

/// The pattern of a ratio, such as `"100 : 30"`.
pub fn ratio_pattern() -> String {
    let part = r"[-+−0-9._eE/\s]+";
    one_of(&[format!("{part}:{part}")])
}

/// The pattern of a loss factor at an amplitude, such as `"0.05 at 0.1 um"`.
pub fn loss_pattern() -> String {
    one_of(&[format!("{NUMBER}.* at {NUMBER}.*{UNIT}.*")])
}

fn one_of(ways: &[String]) -> String {
    format!("^(?:{})$", ways.join("|"))
}

/// Every way to write the given counts of items. The unit stands behind at least one of them, except
/// where all are zero or the kind has no unit. `mark` is the pattern of a separator, `not_in` its
/// characters.
fn separated(kind: Kind, mark: &str, not_in: &str, counts: &[usize]) -> Vec<String> {
    let item = format!("{NUMBER}[^{not_in}]*");
    let with_unit = format!("{NUMBER}[^{not_in}]*{UNIT}[^{not_in}]*");
    let mut ways = Vec::new();
    for count in counts {
        if kind == Kind::Ratio {
            ways.push(vec![item.as_str(); *count].join(mark));
            continue;
        }
        for place in 0..*count {
            let mut items = vec![item.as_str(); *count];
            items[place] = &with_unit;
            ways.push(items.join(mark));
        }
        if kind != Kind::Temperature {
            ways.push(vec![ZERO; *count].join(mark));
        }
    }
    ways
}

#[cfg(test)]
mod tests {
    use super::super::{list, range, ratio, single, size};
    use super::*;
    use proptest::prelude::*;

    fn takes(pattern: &str, text: &str) -> bool {
        let schema = serde_json::json!({ "type": "string", "pattern": pattern });
        jsonschema::validator_for(&schema).unwrap().is_valid(&serde_json::json!(text))
    }

    #[test]
    fn what_is_most_often_wrong_is_refused() {
        let length = list_pattern(Kind::Length, 1);
        assert!(takes(&length, "600 mm") && takes(&length, "1-1/2 in") && takes(&length, "0"));
        assert!(!takes(&length, "600") && !takes(&length, "2,5 mm") && !takes(&length, "mm"));
        let point = list_pattern(Kind::Length, 3);
        assert!(takes(&point, "1 m, 20, 30 mm") && takes(&point, "0, 0, 0"));
        assert!(!takes(&point, "0, 10 mm") && !takes(&point, "0, 0, 5"));
        let tube = size_pattern(&[3]);
        assert!(takes(&tube, "2 x 1 x 1/8 in") && takes(&tube, "60×40×3mm"));
        assert!(!takes(&tube, "60 x 40 mm") && !takes(&tube, "60, 40, 3 mm"));
        let grain = range_pattern(Kind::Length);
        assert!(takes(&grain, "0.3 to 0.8 mm") && !takes(&grain, "0.3 mm"));
        let loss = loss_pattern();
        assert!(takes(&loss, "5 % at 0.1 um") && !takes(&loss, "0.05") && !takes(&loss, "0.05 at 0.1"));
        assert!(takes(&ratio_pattern(), "100 : 30") && !takes(&ratio_pattern(), "100"));
    }

    /// Numbers as people write them, and misspelled ones.
    fn numbers() -> impl Strategy<Value = String> {
        prop_oneof![
            "[-+−]?[0-9_]{0,3}[.]?[0-9]{0,3}",
            "-?[0-9] [0-9]/[0-9]{1,2}",
            "[0-9]-[0-9]/[0-9]",
            "[-+]?[0-9.]{1,3}[eE][-+]?[0-9]{1,3}",
            "[0-9._/ eE+-]{1,8}",
            "0[0._]{0,2}(/[1-9])?",
            "inf|nan|Infinity",
        ]
    }

    fn units() -> impl Strategy<Value = String> {
        let known = super::super::unit::names().map(str::to_string).collect::<Vec<_>>();
        prop_oneof![
            3 => Just(String::new()),
            4 => prop::sample::select(known),
            2 => Just("µm".to_string()),
            2 => Just("N/um".to_string()),
            1 => Just("kN m/rad".to_string()),
            1 => Just("1/K".to_string()),
            1 => Just("°C".to_string()),
        ]
    }

    fn items(between: &'static str) -> impl Strategy<Value = String> {
        let item = ("[ \n]{0,2}", numbers(), "[ ]{0,1}", units(), "[ ]{0,1}")
            .prop_map(|(a, number, b, unit, c)| [a, number, b, unit, c].concat());
        prop::collection::vec(item, 1..5).prop_map(move |items| items.join(between))
    }

    fn kinds() -> impl Strategy<Value = Kind> {
        prop::sample::select(vec![
            Kind::Ratio,
            Kind::Length,
            Kind::Mass,
            Kind::Frequency,
            Kind::Stiffness,
            Kind::TurningStiffness,
            Kind::Expansion,
            Kind::Temperature,
            Kind::TemperatureChange,
            Kind::Angle,
        ])
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(600))]

        #[test]
        fn no_pattern_refuses_what_the_reader_takes(
            text in prop_oneof![items(","), items(", "), items(" x "), items("×"), items(" to "), items(":"), items(" : ")],
            kind in kinds(),
        ) {
            let counts = 1 + text.chars().filter(|c| ",xX×".contains(*c)).count();
            if single(&text, kind).is_ok() {
                prop_assert!(takes(&list_pattern(kind, 1), &text), "single {text:?} {kind:?}");
            }
            if list(&text, kind, counts).is_ok() {
                prop_assert!(takes(&list_pattern(kind, counts), &text), "list {text:?} {kind:?}");
            }
            if size(&text, Kind::Length, counts).is_ok() {
                prop_assert!(takes(&size_pattern(&[counts]), &text), "size {text:?}");
            }
            if range(&text, kind).is_ok() {
                prop_assert!(takes(&range_pattern(kind), &text), "range {text:?} {kind:?}");
            }
            if ratio(&text).is_ok() {
                prop_assert!(takes(&ratio_pattern(), &text), "ratio {text:?}");
            }
        }
    }
}
