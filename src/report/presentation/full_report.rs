//! The full report: all answers about a design as one page.

use super::super::block::{Block, ModeShape, Tone, Wireframe, WireframeLine};
use super::super::page::{Document, Section};
use super::{basis, compare, mix, modes, pour, proof, response, ringdown, section, size, thermal};
use stillbed_design::{Design, Goal};
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_modes::BuildModes;
use stillbed_response::frequency;
use stillbed_study::compare::Comparison;
use stillbed_study::misses::Misses;
use stillbed_study::modes::Modes;
use stillbed_study::pour::bodies::Pours;
use stillbed_study::proof::Proof;
use stillbed_study::response::Response;
use stillbed_study::ringdown::RingDowns;
use stillbed_study::sections::Sections;
use stillbed_study::shapes::{Shape, Shapes};
use stillbed_study::size::Sizing;
use stillbed_study::thermal::ThermalAnswer;

/// Every answer about one design; what the design does not ask for is `None`.
pub struct FullReport {
    /// The comparison of the builds.
    pub comparison: Comparison,
    /// The sections of the builds.
    pub sections: Sections,
    /// The modes of the builds.
    pub modes: Modes,
    /// Their mode shapes.
    pub shapes: Vec<Shapes>,
    /// The response to a harmonic force.
    pub response: Option<Response>,
    /// The decay after the tap.
    pub ring_down: Option<RingDowns>,
    /// The effects of temperature and weight.
    pub warm: Option<ThermalAnswer>,
    /// The sizing of each build that states what may vary, with the build's label.
    pub sizings: Vec<(String, Sizing)>,
    /// The recipes.
    pub mixes: Option<mix::Mixes>,
    /// The batch sheets.
    pub pours: Option<Pours>,
    /// The published cases, rerun.
    pub proof: Proof,
}

/// What the caller knows about the making of the page.
pub struct Provenance {
    /// The title block: program, version, the command that makes the page again.
    pub facts: Vec<(String, String)>,
    /// The input files, as `(name, text)`.
    pub inputs: Vec<(String, String)>,
}

/// The page with all answers about `design`.
pub fn page(design: &Design, report: &FullReport, provenance: Provenance) -> Document {
    let mut first = vec![Block::Note(question(design, report.comparison.draws))];
    first.extend(compare::compared(&report.comparison));
    first.extend(compare::doubts(&report.comparison));
    if !design.goal.targets.is_empty() {
        // After the question and the verdict on the targets.
        let sized = report.sizings.iter().map(|(label, sizing)| Block::Note(found(label, sizing)));
        first.splice(2..2, sized);
    }
    let mut sections = vec![
        Section::new("The question and the answer", first),
        Section::new("How each build moves, and what damps it", moving(report)),
    ];
    if let Some(answer) = &report.ring_down {
        let own = |name: &str| report.shapes.iter().find(|shapes| shapes.name == name);
        let taps = answer.builds.iter().map(|build| own(&build.name).map_or_else(Vec::new, tones)).collect();
        sections.push(Section::new("After a tap", ringdown::heard(answer, taps)));
    }
    if let Some(answer) = &report.response {
        let blocks = response::blocks(answer, frequency::Motion::Compliance);
        sections.push(Section::new("Under a force", blocks));
    }
    sections.push(Section::new("What it is made of", section::overview(&report.sections)));
    if let Some(answer) = &report.warm {
        sections.push(Section::new("When it warms, and under its weight", thermal::blocks(answer)));
    }
    if !report.sizings.is_empty() {
        sections.push(Section::new("Which stock sizes", sized(&report.sizings)));
    }
    if let Some(answer) = &report.mixes {
        sections.push(Section::new("The fill", mix::blocks(answer, true)));
    }
    if let Some(answer) = &report.pours {
        sections.push(Section::new("The pour", pour::blocks(answer)));
    }
    sections.push(Section::new("Cautions", basis::cautions(design)));
    sections.push(Section::new("What it rests on", basis::summary(design, &report.proof)));
    let mut inexact = basis::spreads(design);
    inexact.extend(compare::guessed(&report.comparison));
    sections.push(Section::folded("Appendix: what is not known exactly", inexact));
    sections.push(Section::folded("Appendix: materials and sources", basis::sources(design, &report.proof)));
    sections.push(Section::folded("Appendix: sections in figures", section::in_figures(&report.sections)));
    sections.push(Section::folded("Appendix: published cases rerun", proof::blocks(&report.proof)));
    let title = if design.title.is_empty() { design.file.clone() } else { design.title.clone() };
    Document { title, facts: provenance.facts, sections, inputs: provenance.inputs }
}

/// What the design asks, in a paragraph.
fn question(design: &Design, draws: usize) -> String {
    let labels: Vec<&str> = design.builds.iter().map(|build| build.label.as_str()).collect();
    let mut text = match labels.split_last() {
        Some((last, [])) => format!("What does this base do, built as {last}?"),
        Some((last, others)) => {
            format!(
                "Which of {} ways should this base be built: {} or {last}?",
                labels.len(),
                others.join(", ")
            )
        }
        None => String::new(),
    };
    let goal = &design.goal;
    text += &asked(goal);
    if let (Some(tap), Some(tool)) = (&goal.tap, &goal.tool) {
        let name = |name: &str| name.replace('_', " ");
        text += &format!(
            " It is quiet when, after a tap of {}{} at {}, {} moves by less than {} against {}.",
            show(tap.impulse.value, Kind::Impulse),
            match tap.duration {
                0.0 => String::new(),
                lasting => format!(" within {}", show(lasting, Kind::Time)),
            },
            name(&tap.at.value),
            name(&tool.tip.value),
            show(tap.settle_to, Kind::Length),
            name(&tool.work.value)
        );
    }
    if draws > 0 && !design.uncertain.is_empty() {
        text += &format!(
            " {} quantities are not known exactly; they were drawn {draws} times from their spreads, alike for all builds.",
            design.uncertain.len()
        );
    }
    text
}

/// The targets in a sentence.
fn asked(goal: &Goal) -> String {
    let mut targets = Vec::new();
    for target in &goal.targets {
        let (kind, title) = (target.measure.kind(), target.measure.title());
        let limits = [("at least", target.at_least), ("at most", target.at_most)];
        for (word, limit) in limits.into_iter().filter_map(|(word, limit)| Some((word, limit?))) {
            targets.push(format!("{title} {word} {}", show(limit, kind)));
        }
    }
    if targets.is_empty() { String::new() } else { format!(" Asked for: {}.", targets.join("; ")) }
}

/// For each build the animated frame, then its table of modes.
fn moving(report: &FullReport) -> Vec<Block> {
    let mut blocks = Vec::new();
    for build in &report.modes.builds {
        let Some(shapes) = report.shapes.iter().find(|shapes| shapes.name == build.modes.name) else {
            continue;
        };
        blocks.push(Block::Heading(shapes.label.clone()));
        blocks.push(Block::Wireframe(wireframe(shapes, &build.modes)));
        let alone = Modes {
            builds: vec![build.clone()],
            notes: Vec::new(),
            misses: Misses::new(&[]),
            guesses: Vec::new(),
            ..report.modes.clone()
        };
        // The drawing already shows the heading and the energy shares.
        let shown = |block: &Block| !matches!(block, Block::Heading(_) | Block::Bars(_));
        blocks.extend(modes::blocks(&alone).into_iter().filter(shown));
    }
    if !report.modes.notes.is_empty() {
        blocks.push(Block::Problems(report.modes.notes.clone()));
    }
    blocks
}

/// The modes heard in the tap of a build, the loudest scaled to 1.
fn tones(shapes: &Shapes) -> Vec<Tone> {
    let loudest = shapes.modes.iter().map(|mode| mode.heard).fold(0.0, f64::max);
    let tone = |mode: &Shape| Tone {
        frequency_hz: mode.frequency_hz,
        loss_factor: mode.loss_factor,
        heard: if loudest > 0.0 { mode.heard / loudest } else { 0.0 },
    };
    shapes.modes.iter().map(tone).collect()
}

/// The frame of a build with its mode shapes.
fn wireframe(shapes: &Shapes, build: &BuildModes) -> Wireframe {
    let motion = |(i, (mode, tone)): (usize, (&Shape, Tone))| ModeShape {
        name: format!(
            "mode {}: {}, loss {}",
            i + 1,
            show(mode.frequency_hz, Kind::Frequency),
            figures(mode.loss_factor, 2)
        ),
        tone,
        shape: mode.movement.clone(),
        shares: build.modes.get(i).map_or(Vec::new(), |mode| {
            mode.energy_by_kind.iter().map(|share| (share.of.clone(), share.share)).collect()
        }),
    };
    Wireframe {
        title: format!("{}: how it moves in its modes", shapes.label),
        points: shapes.places.clone(),
        names: shapes.names.clone(),
        lines: shapes
            .lines
            .iter()
            .map(|(name, through)| WireframeLine { name: name.clone(), through: through.clone() })
            .collect(),
        feet: shapes.held.clone(),
        motions: shapes.modes.iter().zip(tones(shapes)).enumerate().map(motion).collect(),
    }
}

/// Whether stock sizes meet the targets, as a sentence.
fn found(label: &str, sizing: &Sizing) -> String {
    match sizing.meets() {
        true => format!("{label} can be sized to meet all targets: see \"Which stock sizes\" below."),
        false if sizing.complete => format!("No choice of stock sizes of {label} meets all targets."),
        false => format!("No choice of stock sizes of {label} that was tried meets all targets."),
    }
}

/// The sizing of each build.
fn sized(sizings: &[(String, Sizing)]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (label, sizing) in sizings {
        blocks.push(Block::Heading(label.clone()));
        blocks.extend(size::blocks(sizing));
    }
    blocks
}
