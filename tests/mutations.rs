//! Designs with any one line changed: no panic, no hang, no number that is not finite.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;
use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::report::json::first_not_finite;
use stillbed::study::compare::{Comparison, Options};

const STARTER: &str = stillbed::design::STARTER;

/// Texts that a typing error may leave in a line.
fn slips() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        Just("0".to_string()),
        Just("-1 mm".to_string()),
        Just("1e300 m".to_string()),
        Just("nan".to_string()),
        Just("1e-300 m".to_string()),
        Just("0, 0, 0 mm".to_string()),
        Just("60 x 60 x 30 mm".to_string()),
        Just("\"".to_string()),
        Just("]".to_string()),
        "[ -~]{0,12}",
        "[0-9.e-]{1,6} (mm|m|kg|N/um|GPa)",
    ]
}

/// Replaces the quoted text of one line, replaces the line, or deletes it.
fn mutated(line: usize, kind: u8, slip: &str) -> String {
    let lines: Vec<&str> = STARTER.lines().collect();
    let chosen = line % lines.len();
    let mut out = Vec::new();
    for (i, text) in lines.iter().enumerate() {
        if i != chosen {
            out.push((*text).to_string());
            continue;
        }
        match kind % 3 {
            0 => {}
            1 => out.push(slip.to_string()),
            _ => match (text.find('"'), text.rfind('"')) {
                (Some(a), Some(b)) if a < b => out.push(format!("{}{slip}{}", &text[..=a], &text[b..])),
                _ => out.push(format!("{text}{slip}")),
            },
        }
    }
    out.join("\n")
}

/// `cases` random cases, after the stored ones that failed once.
fn kept(cases: u32) -> ProptestConfig {
    let seeds = FileFailurePersistence::Direct("tests/seeds/mutations.txt");
    ProptestConfig { cases, failure_persistence: Some(Box::new(seeds)), ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(kept(96))]

    #[test]
    fn a_mutated_design_is_answered_or_refused(line in 0usize..200, kind in 0u8..3, slip in slips()) {
        let text = mutated(line, kind, &slip);
        let reading = Design::read("mutated.toml", &text, &Table::built_in());
        for problem in &reading.problems {
            prop_assert!(!problem.message.contains("NaN") && !problem.message.is_empty(), "{problem}");
        }
        if let Some(design) = &reading.design {
            let options = Options { draws: 0, ..Options::default() };
            match Comparison::compute(design, &options, |_, _| ()) {
                Ok(answer) => prop_assert_eq!(first_not_finite(&answer), None),
                Err(problems) => prop_assert!(!problems.is_empty()),
            }
        } else {
            prop_assert!(reading.problems.iter().any(|problem| problem.is_error()));
        }
    }
}
