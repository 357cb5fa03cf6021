//! What joints and feet are that follow from their laws.

use super::super::block::Block;
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_study::seats::SeatFact;

/// The joints and feet as a table, and how each follows; nothing where there are none.
pub fn blocks(facts: &[SeatFact]) -> Vec<Block> {
    if facts.is_empty() {
        return Vec::new();
    }
    let builds = |fact: &SeatFact| fact.builds.join(", ");
    let several = facts
        .iter()
        .any(|fact| facts.iter().any(|other| fact.key == other.key && fact.builds != other.builds));
    let mut columns = vec![Column::text("joint or foot", "key", |fact: &SeatFact| fact.key.clone())];
    if several {
        columns.push(Column::text("build", "builds", builds));
    }
    columns.extend([
        Column::number("push", Unit::new("N/µm", 1e6), "push", |fact: &SeatFact| Some(fact.push())),
        Column::text("5 % to 95 %", "limits", |fact: &SeatFact| {
            let [low, high] = fact.limits.map(|limit| figures(limit, 2));
            format!("x {low} to {high}")
        }),
        Column::number("slide", Unit::new("N/µm", 1e6), "slide", |fact: &SeatFact| Some(fact.slide())),
        Column::number("tilt", Unit::new("kN m/rad", 1e3), "tilt", |fact: &SeatFact| Some(fact.tilt())),
        Column::number("loss", Unit::NONE, "loss", |fact: &SeatFact| Some(fact.loss.value)),
    ]);
    let mut blocks =
        vec![Block::Table(Table::new("What joints and feet are, by their laws", &columns, facts))];
    let mut told: Vec<&str> = Vec::new();
    for fact in facts {
        let mut parts: Vec<String> =
            fact.steps.iter().map(|step| format!("{} {}", step.what, step.shown)).collect();
        parts.extend(fact.pressed_n.map(pressed));
        let margin = |what: &str, at: Option<f64>| at.map(|at| format!("{what} at {} times", figures(at, 2)));
        let mut margins: Vec<String> = margin("opens", fact.opens_at).into_iter().collect();
        margins.extend(margin("slips", fact.slips_at));
        if !margins.is_empty() {
            parts.push(format!("{} its loads", margins.join(" and ")));
        }
        let name = match several {
            true => format!("{} ({})", fact.key, builds(fact)),
            false => fact.key.clone(),
        };
        // An equation is told once.
        let equation =
            if told.contains(&fact.equation) { String::new() } else { format!(" {}.", fact.equation) };
        told.push(fact.equation);
        blocks.push(Block::Note(format!("{name}:{equation} Here: {}.", parts.join(", "))));
    }
    blocks
}

fn pressed([least, most]: [f64; 2]) -> String {
    let [a, b] = [least, most].map(|force| show(force, Kind::Force));
    if a == b { format!("weight presses with {a}") } else { format!("weight presses with {a} to {b}") }
}
