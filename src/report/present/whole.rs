//! Everything about a design as one page.

use super::super::block::{Block, Motion, Wire, WireLine};
use super::super::page::{Document, Section};
use super::{compare, mix, modes, pour, proof, response, ringdown, section, thermal};
use crate::design::Design;
use crate::response::answer::Response;
use crate::response::frequency;
use crate::study::compare::Comparison;
use crate::study::modes::Modes;
use crate::study::pour::bodies::Pours;
use crate::study::proof::Proof;
use crate::study::ringdown::RingDowns;
use crate::study::sections::Sections;
use crate::study::shapes::Shapes;
use crate::study::warm::Warm;

/// Every answer about one design; what it does not ask for is `None`.
pub struct Whole {
    /// The builds side by side.
    pub comparison: Comparison,
    /// Their sections.
    pub sections: Sections,
    /// Their modes.
    pub modes: Modes,
    /// How they move.
    pub shapes: Vec<Shapes>,
    /// Under a force.
    pub response: Option<Response>,
    /// After the tap.
    pub ring_down: Option<RingDowns>,
    /// Under temperature.
    pub warm: Option<Warm>,
    /// Their recipes.
    pub mixes: Option<mix::Mixes>,
    /// Their pours.
    pub pours: Option<Pours>,
    /// Published cases rerun.
    pub proof: Proof,
}

/// The page of everything about `design`; `facts` are what the caller knows beside it: date, version.
pub fn page(design: &Design, whole: &Whole, facts: Vec<(String, String)>) -> Document {
    let mut sections = vec![part("Which build", compare::blocks(&whole.comparison))];
    sections
        .push(part("How it moves", whole.shapes.iter().map(|shapes| Block::Wire(wire(shapes))).collect()));
    if let Some(answer) = &whole.ring_down {
        sections.push(part("After a tap", ringdown::blocks(answer)));
    }
    if let Some(answer) = &whole.response {
        sections.push(part("Under a force", response::blocks(answer, frequency::Motion::Compliance)));
    }
    sections.push(part("Where it rings", modes::blocks(&whole.modes)));
    sections.push(part("What it is made of", section::blocks(&whole.sections)));
    if let Some(answer) = &whole.warm {
        sections.push(part("When it warms, and under its weight", thermal::blocks(answer)));
    }
    if let Some(answer) = &whole.mixes {
        sections.push(part("The fill", mix::blocks(answer, true)));
    }
    if let Some(answer) = &whole.pours {
        sections.push(part("The pour", pour::blocks(answer)));
    }
    sections.push(part("What it rests on", assumptions(design)));
    sections.push(part("Published cases rerun", vec![Block::Note(proof::told(&whole.proof))]));
    let title = if design.title.is_empty() { design.file.clone() } else { design.title.clone() };
    Document { title, facts, sections }
}

fn part(heading: &str, blocks: Vec<Block>) -> Section {
    Section { heading: heading.to_string(), blocks }
}

/// The frame of a build with its modes.
pub fn wire(shapes: &Shapes) -> Wire {
    let loudest = shapes.modes.iter().map(|mode| mode.heard).fold(0.0, f64::max);
    let motion = |(i, mode): (usize, &crate::study::shapes::Shape)| Motion {
        name: format!("mode {}", i + 1),
        frequency_hz: mode.frequency_hz,
        loss_factor: mode.loss_factor,
        shape: mode.movement.clone(),
        heard: if loudest > 0.0 { mode.heard / loudest } else { 0.0 },
    };
    Wire {
        title: shapes.label.clone(),
        points: shapes.places.clone(),
        names: shapes.names.clone(),
        lines: shapes
            .lines
            .iter()
            .map(|(name, through)| WireLine { name: name.clone(), through: through.clone() })
            .collect(),
        feet: shapes.held.clone(),
        motions: shapes.modes.iter().enumerate().map(motion).collect(),
    }
}

/// Every uncertain quantity with its limits, and the cautions.
fn assumptions(design: &Design) -> Vec<Block> {
    use super::super::table::{Column, Table};
    use crate::document::Uncertain;
    let figure = |x: f64| crate::quantity::figures(x, 4);
    let columns = [
        Column::text("quantity", "key", |u: &Uncertain| u.key.clone()),
        Column::text("value, SI", "value", move |u: &Uncertain| figure(u.spread.value)),
        Column::text("5 %", "low", move |u: &Uncertain| figure(u.spread.low)),
        Column::text("95 %", "high", move |u: &Uncertain| figure(u.spread.high)),
    ];
    let mut blocks = Vec::new();
    if !design.uncertain.is_empty() {
        blocks.push(Block::Table(Table::new("What is not known exactly", &columns, &design.uncertain)));
    }
    blocks.push(Block::Note(
        "These are estimates for design, not a certificate: where a failure could hurt someone, local codes and a licensed engineer decide."
            .to_string(),
    ));
    if !design.notes.is_empty() {
        blocks.push(Block::Problems(design.notes.clone()));
    }
    blocks
}
