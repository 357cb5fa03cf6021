//! Every published case holds on this machine.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[test]
fn every_published_case_holds() {
    let proof = stillbed::study::proof::prove().unwrap();
    let failing: Vec<String> = proof
        .cases
        .iter()
        .filter(|case| !case.holds)
        .map(|case| {
            format!(
                "{}: printed {}, computed {:?}, tolerance {}",
                case.id, case.printed, case.computed, case.tolerance
            )
        })
        .collect();
    assert!(proof.cases.len() > 300, "only {} cases", proof.cases.len());
    assert!(failing.is_empty(), "{}", failing.join("\n"));
    assert_eq!(proof.holding, proof.cases.len());
}
