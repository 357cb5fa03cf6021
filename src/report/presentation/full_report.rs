//! The report: the answer about a design as one page, with all details where they are asked for.

use super::super::block::{
    Block, Divide, Edge, Face, Filling, ModeShape, PointName, Surface, Tone, Wireframe, WireframeLine,
};
use super::super::page::{Document, Section};
use super::{basis, compare, mix, modes, pour, proof, response, ringdown, section, size, thermal};
use stillbed_design::{Design, Goal};
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_modes::BuildModes;
use stillbed_response::frequency;
use stillbed_study::compare::Comparison;
use stillbed_study::machine::{MachineFace, Of};
use stillbed_study::modes::Modes;
use stillbed_study::pour::bodies::Pours;
use stillbed_study::proof::Proof;
use stillbed_study::response::Response;
use stillbed_study::ringdown::RingDowns;
use stillbed_study::sections::Sections;
use stillbed_study::shapes::{Named, Shape, Shapes};
use stillbed_study::size::Sizing;
use stillbed_study::thermal::ThermalAnswer;

/// The answer about one design: the comparison and the machine, and all else where it is asked for.
pub struct Report {
    /// The comparison of the builds.
    pub comparison: Comparison,
    /// The builds as they are drawn, with their mode shapes.
    pub shapes: Vec<Shapes>,
    /// All else.
    pub details: Option<Details>,
}

/// Every further answer about one design; what the design does not ask for is `None`.
pub struct Details {
    /// The sections of the builds.
    pub sections: Sections,
    /// The modes of the builds.
    pub modes: Modes,
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

/// The page with the answer about `design`.
pub fn page(design: &Design, report: &Report, provenance: Provenance) -> Document {
    let comparison = &report.comparison;
    // The verdict in a sentence; what follows it belongs to the comparison.
    let (sentence, rest) = verdict(comparison);
    let mut first = vec![Block::Note(sentence)];
    first.extend(ahead(report).map(|shapes| Block::Wireframe(at_rest(shapes))));
    first.push(Block::Scores(compare::scores(comparison, &design.goal.targets)));
    let mut compared = vec![Block::Note(question(design, comparison.draws))];
    compared.extend(rest.into_iter().map(Block::Note));
    compared.extend(compare::compared(comparison));
    let mut sections = vec![Section::first("Verdict", first), Section::new("The comparison", compared)];
    let next = compare::next(comparison);
    if !next.is_empty() {
        sections.push(Section::new("What to measure next", next));
    }
    sections.push(Section::new("Cautions", basis::cautions(&comparison.notes, design)));
    if let Some(details) = &report.details {
        sections.extend(detailed(design, report, details));
    }
    alike(&mut sections);
    let title = if design.title.is_empty() { design.file.clone() } else { design.title.clone() };
    Document { title, facts: provenance.facts, sections, inputs: provenance.inputs }
}

/// The verdict in a sentence, and the paragraphs that follow it.
pub fn verdict(comparison: &Comparison) -> (String, Vec<String>) {
    let mut said = comparison.verdict.paragraphs.iter();
    let whole = said.next().map_or("", String::as_str);
    let (sentence, rest) = whole.split_once(". ").map_or((whole, None), |(first, rest)| (first, Some(rest)));
    let stop = if rest.is_some() { "." } else { "" };
    (format!("{sentence}{stop}"), rest.map(str::to_string).into_iter().chain(said.cloned()).collect())
}

/// The sections of all else, by question.
fn detailed(design: &Design, report: &Report, details: &Details) -> Vec<Section> {
    let mut sections = vec![
        Section::new("How far the builds are apart", compare::further(&report.comparison)),
        Section::new("How each build moves, and what damps it", moving(&report.shapes, &details.modes)),
    ];
    if let Some(answer) = &details.ring_down {
        let own = |name: &str| report.shapes.iter().find(|shapes| shapes.name == name);
        let taps = answer.builds.iter().map(|build| own(&build.name).map_or_else(Vec::new, tones)).collect();
        sections.push(Section::new("After a tap", ringdown::heard(answer, taps)));
    }
    if let Some(answer) = &details.response {
        let blocks = response::blocks(answer, frequency::Motion::Compliance);
        sections.push(Section::new("Under a force", blocks));
    }
    sections.push(Section::new("What it is made of", section::overview(&details.sections)));
    if let Some(answer) = &details.warm {
        sections.push(Section::new("When it warms, and under its weight", thermal::blocks(answer)));
    }
    if !details.sizings.is_empty() {
        sections.push(Section::new("Which stock sizes", sized(&details.sizings)));
    }
    if let Some(answer) = &details.mixes {
        sections.push(Section::new("The fill", mix::blocks(answer, true)));
    }
    if let Some(answer) = &details.pours {
        sections.push(Section::new("The pour", pour::blocks(answer)));
    }
    sections.push(Section::new("What it rests on", basis::summary(design, &details.proof)));
    let mut inexact = basis::spreads(design);
    inexact.extend(super::seats::blocks(&report.comparison.joints));
    inexact.extend(compare::guessed(&report.comparison));
    sections.push(Section::folded("Appendix: what is not known exactly", inexact));
    sections.push(Section::folded("Appendix: materials and sources", basis::sources(design, &details.proof)));
    sections.push(Section::folded("Appendix: sections in figures", section::in_figures(&details.sections)));
    sections.push(Section::folded("Appendix: published cases rerun", proof::blocks(&details.proof)));
    sections
}

/// The build to look at first: the best, else the one that misses least, else the first.
fn ahead(report: &Report) -> Option<&Shapes> {
    let verdict = &report.comparison.verdict;
    let named = verdict.ahead.as_ref().or(verdict.least_miss.as_ref());
    let found = named.and_then(|name| report.shapes.iter().find(|shapes| &shapes.name == name));
    found.or(report.shapes.first())
}

/// Gives each material one colour and hatching in all drawings.
fn alike(sections: &mut [Section]) {
    let mut known: Vec<String> = Vec::new();
    for block in sections.iter_mut().flat_map(|section| &mut section.blocks) {
        let materials = match block {
            Block::Picture(picture) => &mut picture.materials,
            Block::Wireframe(wireframe) => &mut wireframe.materials,
            _ => continue,
        };
        for filling in materials {
            filling.look = known.iter().position(|name| *name == filling.name).unwrap_or(known.len());
            if filling.look == known.len() {
                known.push(filling.name.clone());
            }
        }
    }
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

/// For each build the machine with its modes and what is said of them, then one table of all builds.
fn moving(shapes: &[Shapes], answer: &Modes) -> Vec<Block> {
    let mut blocks = Vec::new();
    for build in &answer.builds {
        let Some(shapes) = shapes.iter().find(|shapes| shapes.name == build.modes.name) else {
            continue;
        };
        blocks.push(Block::Heading(shapes.label.clone()));
        blocks.push(Block::Wireframe(wireframe(shapes, Some(&build.modes))));
        blocks.extend(modes::said(build));
    }
    blocks.push(Block::Heading("The modes of all builds".to_string()));
    blocks.extend(modes::side_by_side(answer).into_iter().map(Block::Table));
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
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

/// A build as it stands; its motions can be chosen.
pub fn at_rest(shapes: &Shapes) -> Wireframe {
    Wireframe { title: format!("{}, to scale", shapes.label), shown: None, ..wireframe(shapes, None) }
}

/// A build in its first mode, with the energy shares of `build`.
fn wireframe(shapes: &Shapes, build: Option<&BuildModes>) -> Wireframe {
    let motion = |(i, (mode, tone)): (usize, (&Shape, Tone))| ModeShape {
        name: format!(
            "mode {}: {}, loss {}",
            i + 1,
            show(mode.frequency_hz, Kind::Frequency),
            figures(mode.loss_factor, 2)
        ),
        tone,
        shape: mode.movement.clone(),
        shares: build.and_then(|build| build.modes.get(i)).map_or(Vec::new(), |mode| {
            mode.energy_by_kind.iter().map(|share| (share.of.clone(), share.share)).collect()
        }),
    };
    let place = |(place, edge): &(usize, stillbed_solid::Edge)| {
        let edge = match edge {
            stillbed_solid::Edge::Sharp => Edge::Sharp,
            stillbed_solid::Edge::Smooth(normal) => Edge::Smooth((*normal).into()),
            stillbed_solid::Edge::Cut => Edge::Cut,
        };
        (shapes.first + place, edge)
    };
    let face = |face: &MachineFace| Face {
        rings: face.rings.iter().map(|ring| ring.iter().map(place).collect()).collect(),
        normal: face.normal.into(),
        of: match face.of {
            Of::Substance(number) => Surface::Material(number),
            Of::Mass => Surface::Mass,
            Of::Foot => Surface::Foot,
            Of::Patch => Surface::Patch,
        },
        seen_through: face.seen_through,
    };
    let divide = |own: &stillbed_solid::Divide| Divide {
        normal: own.normal.into(),
        faces: own.faces.clone(),
        behind: own.behind,
        before: own.before,
    };
    let name = |own: &Named| PointName {
        point: own.place,
        name: own.name.clone(),
        detail: own.detail.clone(),
        matters: own.matters,
    };
    let line = |(name, through): &(String, Vec<usize>)| WireframeLine {
        name: name.clone(),
        through: through.clone(),
    };
    let materials = shapes.substances.iter().enumerate().map(|(i, name)| Filling::solid(name, i));
    Wireframe {
        title: format!("{}: how it moves in its modes", shapes.label),
        points: shapes.places.clone(),
        names: shapes.names.iter().map(name).collect(),
        lines: shapes.lines.iter().map(line).collect(),
        feet: shapes.held.clone(),
        tool: shapes.tool,
        work: shapes.work,
        faces: shapes.machine.faces.iter().map(face).collect(),
        divides: shapes.machine.divides.iter().map(divide).collect(),
        materials: materials.collect(),
        motions: shapes.modes.iter().zip(tones(shapes)).enumerate().map(motion).collect(),
        shown: Some(0),
    }
}

/// Whether stock sizes meet the targets, as a sentence.
fn found(label: &str, sizing: &Sizing) -> String {
    match sizing.meets() {
        true => format!("{label} can be sized to meet all targets."),
        false if sizing.complete => format!("No choice of stock sizes of {label} meets all targets."),
        false => format!("No choice of stock sizes of {label} that was tried meets all targets."),
    }
}

/// The sizing of each build.
fn sized(sizings: &[(String, Sizing)]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (label, sizing) in sizings {
        blocks.push(Block::Heading(label.clone()));
        blocks.push(Block::Note(found(label, sizing)));
        blocks.extend(size::blocks(sizing));
    }
    blocks
}
