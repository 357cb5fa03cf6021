//! The published cases as blocks.

use super::super::block::Block;
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use stillbed_study::proof::{Case, Proof};

fn columns() -> Vec<Column<Case>> {
    let none = Unit::NONE;
    vec![
        Column::text("case", "id", |c: &Case| c.id.clone()),
        Column::number("printed", none, "printed", |c: &Case| Some(c.printed)).digits(6),
        Column::number("computed", none, "computed", |c: &Case| c.computed).digits(6),
        Column::number("tolerance", none, "tolerance", |c: &Case| Some(c.tolerance)).digits(2),
        Column::text("unit", "unit", |c: &Case| c.unit.clone()),
        Column::text("holds", "holds", |c: &Case| c.holds.to_string()),
        Column::text("what", "what", |c: &Case| c.what.clone()),
        Column::text("source", "source", |c: &Case| c.source.clone()),
        Column::text("locator", "locator", |c: &Case| c.locator.clone()),
        Column::text("because", "because", |c: &Case| c.because.clone()),
    ]
}

/// One row per published value.
pub fn table(proof: &Proof) -> Table {
    Table::new("proof", &columns(), &proof.cases)
}

/// The counts, the cases that do not hold, and all cases in short.
pub fn blocks(proof: &Proof) -> Vec<Block> {
    let mut blocks = vec![Block::Note(summary(proof))];
    let failing: Vec<Case> = proof.cases.iter().filter(|case| !case.holds).cloned().collect();
    if !failing.is_empty() {
        blocks.push(Block::Table(Table::new("What does not hold", &columns()[..6], &failing)));
    }
    let mut subjects: Vec<&str> = Vec::new();
    for case in &proof.cases {
        let subject = case.id.split('/').next().unwrap_or_default();
        if !subjects.contains(&subject) {
            subjects.push(subject);
        }
    }
    for subject in subjects {
        let own = |case: &&Case| case.id.split('/').next() == Some(subject);
        let cases: Vec<Case> = proof.cases.iter().filter(own).cloned().collect();
        let holding = cases.iter().filter(|case| case.holds).count();
        let title = format!("{subject}: {holding} of {} hold", cases.len());
        blocks.push(Block::Table(Table::new(&title, &short(), &cases)));
    }
    blocks
}

/// The columns for text and page; source and locator are in the CSV only.
fn short() -> Vec<Column<Case>> {
    vec![
        Column::text("case", "id", |c: &Case| {
            c.id.split_once('/').map_or(c.id.clone(), |(_, rest)| rest.to_string())
        }),
        Column::number("printed", Unit::NONE, "printed", |c: &Case| Some(c.printed)).digits(6),
        Column::number("computed", Unit::NONE, "computed", |c: &Case| c.computed).digits(6),
        Column::text("holds", "holds", |c: &Case| if c.holds { "yes" } else { "NO" }.to_string()),
        Column::text("source", "source", |c: &Case| c.source.clone()),
    ]
}

/// The counts in a sentence.
pub fn summary(proof: &Proof) -> String {
    let wider = proof.cases.iter().filter(|case| !case.because.is_empty()).count();
    format!(
        "{} of {} published values hold on this machine; {wider} are held to a stated tolerance that is not half of the last printed digit (its reason is in --format csv).",
        proof.holding,
        proof.cases.len()
    )
}
