//! The table of joints and feet as blocks.

use super::super::block::Block;
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use stillbed_input::quantity::{Spread, figures};
use stillbed_joint::{JointClass, JointListing, ListedConstant};

const STIFFNESS: Unit = Unit::new("N/µm", 1e6);
const TURNING: Unit = Unit::new("kN m/rad", 1e3);

fn columns() -> Vec<Column<ListedConstant>> {
    vec![
        Column::text("class", "class", |c: &ListedConstant| c.constant.class.clone()),
        Column::text("name", "name", |c: &ListedConstant| c.constant.name.clone()),
        Column::text("quantity", "quantity", |c: &ListedConstant| c.constant.quantity.clone()),
        Column::spread("value", Unit::NONE, "value", |c: &ListedConstant| Some(c.constant.value)),
        Column::text("unit", "unit", |c: &ListedConstant| c.constant.unit.clone()),
        Column::text("status", "status", |c: &ListedConstant| c.constant.status.clone()),
        Column::text("source", "source", |c: &ListedConstant| c.constant.source.clone()),
        Column::text("note", "note", |c: &ListedConstant| c.constant.note.clone()),
    ]
}

/// Every constant of the listing.
pub fn table(listing: &JointListing) -> Table {
    Table::new("joints", &columns(), &listing.constants)
}

/// Each way to state a joint or a foot, with its equation and a worked row.
pub fn overview(listing: &JointListing) -> Vec<Block> {
    let mut blocks = vec![classes(listing)];
    blocks.extend(listing.classes.iter().map(told));
    blocks.push(Block::Note("With constants, spreads and sources: stillbed joints NAME".to_string()));
    blocks
}

fn classes(listing: &JointListing) -> Block {
    let columns = [
        Column::text("stated as", "name", |c: &JointClass| c.name.to_string()),
        Column::number("push", STIFFNESS, "push", |c: &JointClass| Some(c.worked.push_n_per_m)),
        Column::text("5 % to 95 %", "limits", |c: &JointClass| {
            let [low, high] = c.worked.limits.map(|limit| figures(limit, 2));
            format!("x {low} to {high}")
        }),
        Column::number("slide", STIFFNESS, "slide", |c: &JointClass| Some(c.worked.slide_n_per_m)),
        Column::number("tilt", TURNING, "tilt", |c: &JointClass| Some(c.worked.tilt_n_m_per_rad)),
        Column::number("loss", Unit::NONE, "loss", |c: &JointClass| Some(c.worked.loss.value)),
    ];
    Block::Table(Table::new("Joints and feet, one example of each", &columns, &listing.classes))
}

/// What a class is, how it is stated, its equation and the numbers of its example.
fn told(class: &JointClass) -> Block {
    let steps: Vec<String> =
        class.worked.steps.iter().map(|step| format!("{} {}", step.what, step.shown)).collect();
    let steps = if steps.is_empty() { String::new() } else { format!(" Here: {}.", steps.join(", ")) };
    Block::Note(format!(
        "{}, {} ({}): {{ {} }}. Equation: {}.{steps}",
        class.name, class.words, class.place, class.worked.stated, class.equation
    ))
}

/// The classes of the listing, then every constant with its limits and source.
pub fn blocks(listing: &JointListing) -> Vec<Block> {
    let mut blocks = Vec::new();
    if !listing.classes.is_empty() {
        blocks.push(classes(listing));
        blocks.extend(listing.classes.iter().map(told));
    }
    let limits = |value: Spread| match value.is_exact() {
        true => String::new(),
        false => format!("{} to {}", figures(value.low, 3), figures(value.high, 3)),
    };
    let mut of_class: Vec<&str> = listing.constants.iter().map(|c| c.constant.class.as_str()).collect();
    of_class.dedup();
    for class in of_class {
        let columns = [
            Column::text("name", "name", |c: &ListedConstant| c.constant.name.clone()),
            Column::text("constant", "quantity", |c: &ListedConstant| c.constant.quantity.clone()),
            Column::text("value", "value", |c: &ListedConstant| {
                format!("{} {}", figures(c.constant.value.value, 3), c.constant.unit).trim_end().to_string()
            }),
            Column::text("5 % to 95 %", "limits", move |c: &ListedConstant| limits(c.constant.value)),
            Column::text("status", "status", |c: &ListedConstant| c.constant.status.clone()),
        ];
        let own: Vec<ListedConstant> =
            listing.constants.iter().filter(|c| c.constant.class == class).cloned().collect();
        blocks.push(Block::Table(Table::new(&format!("Constants: {class}"), &columns, &own)));
    }
    let notes: Vec<String> = listing
        .constants
        .iter()
        .filter(|c| !c.constant.note.is_empty())
        .map(|c| format!("{} {}: {}.", c.constant.name, c.constant.quantity, c.constant.note))
        .collect();
    if !notes.is_empty() {
        blocks.push(Block::Note(notes.join(" ")));
    }
    let mut cited: Vec<String> = Vec::new();
    for listed in &listing.constants {
        let line = format!("{}: {}", listed.constant.source, listed.citation);
        if listed.citation != listed.constant.source && !cited.contains(&line) {
            cited.push(line);
        }
    }
    if !cited.is_empty() {
        blocks.push(Block::Note(format!("Sources. {}", cited.join(" — "))));
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disagreements;
    use stillbed_material::{Sources, Table as Materials};

    #[test]
    fn columns_agree_with_json() {
        let listing = JointListing::of(&Materials::built_in(), &Sources::built_in());
        assert!(listing.constants.len() > 30);
        assert_eq!(disagreements(&columns(), &listing.constants), Vec::<String>::new());
    }
}
