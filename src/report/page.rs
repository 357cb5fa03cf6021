//! A report as one self-contained HTML page that loads nothing from any server.
//!
//! The page is complete without its script. The script adds reading values off curves, zoom, turning and
//! animating the wire drawing, playing a tap, and saving drawings and tables. The content security policy
//! in the head allows this one script and this one style sheet by their hashes, and nothing else.
//!
//! ```text
//! data    what the script needs to know of a block, as JSON
//! script  the script, joined from its modules
//! table   tables of the page
//! tests   checks of a whole page
//! ```
//!
//! # Source
//! - `csp3`: hashes of inline script and style

mod data;
mod script;
mod table;

pub use data::wireframe_data;
pub use script::MODULES;

use super::block::{Block, Curve, Score, ScoreRow, Scores, Tone, Wireframe};
use super::csv;
use super::number::significant;
use super::svg::{self, Size, draw};
use base64::Engine;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};
use stillbed_input::problem::{Problem, Severity};

/// The style sheet of every page.
pub const STYLE: &str = include_str!("page/page.css");

/// Heading of the last appendix.
const INPUTS: &str = "Appendix: what it was made from";

/// Most points per line of a curve; longer lines are thinned.
const MOST_POINTS: usize = 4000;

/// A whole report.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Its title.
    pub title: String,
    /// How the page was made, as `("design", "stand.toml")`: the caller states program, version and command.
    pub facts: Vec<(String, String)>,
    /// The sections, from the answer to the details.
    pub sections: Vec<Section>,
    /// The input files, as `(name, text)`, so that the page can be reproduced.
    pub inputs: Vec<(String, String)>,
}

/// One part of a [`Document`].
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Its title.
    pub heading: String,
    /// What it shows.
    pub blocks: Vec<Block>,
    /// How it stands on the page.
    pub form: Form,
}

/// How a [`Section`] stands on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// What is seen first: words, then the machine and the builds against the targets beside each other.
    First,
    /// One block after another.
    Open,
    /// An appendix: collapsed until the reader opens it, and printed only if open.
    Folded,
}

impl Section {
    /// What is seen first.
    pub fn first(heading: &str, blocks: Vec<Block>) -> Section {
        Section { heading: heading.to_string(), blocks, form: Form::First }
    }

    /// A section that is open.
    pub fn new(heading: &str, blocks: Vec<Block>) -> Section {
        Section { form: Form::Open, ..Section::first(heading, blocks) }
    }

    /// An appendix.
    pub fn folded(heading: &str, blocks: Vec<Block>) -> Section {
        Section { form: Form::Folded, ..Section::first(heading, blocks) }
    }
}

/// The HTML of `document`.
///
/// ```
/// use stillbed_report::Block;
/// use stillbed_report::page::{Document, Section, render};
///
/// let sections = vec![Section::new("What to build", vec![Block::Note("Mass < 20 kg".to_string())])];
/// let page = render(&Document { title: "Stand".to_string(), facts: vec![], sections, inputs: vec![] });
/// assert!(page.contains("<h1>Stand</h1>") && page.contains("Mass &lt; 20 kg"));
/// ```
pub fn render(document: &Document) -> String {
    let script = script::joined();
    let mut figure = 0;
    let mut sections = Vec::new();
    for (i, section) in document.sections.iter().enumerate() {
        let id = format!("part-{}", i + 1);
        let blocks = match section.form {
            Form::First => first(&section.blocks, &mut figure),
            Form::Open | Form::Folded => all(&section.blocks, &mut figure),
        };
        sections.push(part(&id, &section.heading, section.form, blocks));
    }
    if !document.inputs.is_empty() {
        let id = format!("part-{}", document.sections.len() + 1);
        sections.push(part(&id, INPUTS, Form::Folded, inputs(&document.inputs)));
    }
    let headings = document.sections.iter().map(|section| section.heading.as_str());
    let headings: Vec<&str> = headings.chain((!document.inputs.is_empty()).then_some(INPUTS)).collect();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy(&script));
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (document.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                @if headings.len() > 1 { a class="skip" href="#contents" { "To the contents" } }
                header { h1 { (document.title) } }
                main { @for section in sections { (section) } }
                footer {
                    @if headings.len() > 1 {
                        nav id="contents" aria-label="Contents" {
                            h2 { "Contents" }
                            ol {
                                @for (i, heading) in headings.iter().enumerate() {
                                    li { a href=(format!("#part-{}", i + 1)) { (heading) } }
                                }
                            }
                        }
                    }
                    @if !document.facts.is_empty() {
                        dl class="title-block" {
                            @for (name, value) in &document.facts { div { dt { (name) } dd { (value) } } }
                        }
                    }
                }
                script { (PreEscaped(&script)) }
            }
        }
    };
    page.into_string()
}

/// The HTML of `blocks` for a page that has [`STYLE`] and runs [`MODULES`]. Ids of its figures count from
/// `before`, so that several pieces stand on one page.
///
/// ```
/// use stillbed_report::Block;
///
/// let piece = stillbed_report::page::fragment(&[Block::Note("Mass < 20 kg".to_string())], 0);
/// assert_eq!(piece, "<p>Mass &lt; 20 kg</p>");
/// ```
pub fn fragment(blocks: &[Block], before: usize) -> String {
    let mut figure = before;
    all(blocks, &mut figure).into_string()
}

fn part(id: &str, heading: &str, form: Form, content: Markup) -> Markup {
    html! {
        section aria-labelledby=(id) class=[(form == Form::First).then_some("first")] {
            @if form == Form::Folded {
                details class="appendix" aria-labelledby=(id) {
                    summary { h2 id=(id) { (heading) } }
                    (content)
                }
            } @else {
                h2 id=(id) { (heading) }
                (content)
            }
        }
    }
}

/// What is seen first: words, then what is drawn side by side.
fn first(blocks: &[Block], figure: &mut usize) -> Markup {
    let said = |block: &Block| matches!(block, Block::Heading(_) | Block::Note(_) | Block::Problems(_));
    html! {
        @for block in blocks.iter().filter(|block| said(block)) { (show(block, figure)) }
        div class="pair" { @for block in blocks.iter().filter(|block| !said(block)) { (show(block, figure)) } }
    }
}

/// Blocks one after another; successive pictures stand side by side.
fn all(blocks: &[Block], figure: &mut usize) -> Markup {
    let pictures = |block: &Block| matches!(block, Block::Picture(_));
    html! {
        @for group in blocks.chunk_by(|a, b| pictures(a) && pictures(b)) {
            @if group.first().is_some_and(pictures) {
                div class="beside" { @for block in group { (show(block, figure)) } }
            } @else {
                @for block in group { (show(block, figure)) }
            }
        }
    }
}

/// The appendix with the input files.
fn inputs(files: &[(String, String)]) -> Markup {
    html! {
        p { "With the same program and these files, the command at the end of this page makes it again." }
        @for (name, text) in files {
            h3 { (name) }
            div class="scroll" role="region" tabindex="0" aria-label=(name) { pre { code { (text) } } }
        }
    }
}

/// The content security policy: nothing is loaded; only the page's own script and style sheet are allowed.
fn policy(script: &str) -> String {
    let hash = |text: &str| base64::engine::general_purpose::STANDARD.encode(Sha256::digest(text.as_bytes()));
    format!(
        "default-src 'none'; script-src 'sha256-{}'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        hash(script),
        hash(STYLE)
    )
}

fn show(block: &Block, figure: &mut usize) -> Markup {
    match block {
        Block::Heading(text) => html! { h3 { (text) } },
        Block::Note(text) => html! { @for part in text.split("\n\n") { p { (part) } } },
        Block::Problems(list) => problems(list),
        Block::Table(values) => {
            *figure += 1;
            let id = format!("table-{figure}");
            let name = if values.title.is_empty() { "Values" } else { &values.title };
            html! {
                figure class=(if table::rows(values) <= 12 { "table short" } else { "table" }) id=(id) aria-label=(name) {
                    @if !values.title.is_empty() { figcaption { (values.title) } }
                    (table::shown(values, &format!("{name}, table {figure}")))
                    (data::script(block))
                    div class="tools" hidden { button type="button" data-save="csv" { "Save as CSV" } }
                }
            }
        }
        Block::Curve(curve) => {
            let (curve, left_out) = thinned(curve);
            let (title, tools) = (curve.title.clone(), tools_of_curve(&curve));
            html! {
                (drawing(&Block::Curve(curve), &title, tools, figure))
                @if let Some((kept, all)) = left_out {
                    p class="quiet" { "Of " (all) " points this page keeps " (kept) ", every peak among them." }
                }
            }
        }
        Block::Scores(scores) => scored(block, scores, figure),
        Block::Bars(bars) => drawing(block, &bars.title, html! {}, figure),
        Block::Picture(picture) => drawing(block, &picture.title, html! {}, figure),
        Block::Wireframe(wireframe) => {
            drawing(block, &wireframe.title, tools_of_wireframe(wireframe), figure)
        }
    }
}

/// `curve` thinned to what a page can hold; if points were dropped, also the numbers kept and in total.
fn thinned(curve: &Curve) -> (Curve, Option<(usize, usize)>) {
    let count = |curve: &Curve| curve.series.iter().map(|series| series.points.len()).sum::<usize>();
    let mut thin = curve.clone();
    for series in &mut thin.series {
        let points = svg::thinned(&series.points, MOST_POINTS).into_iter();
        series.points = points.map(|p| p.unwrap_or([f64::NAN; 2])).collect();
    }
    let (kept, all) = (count(&thin), count(curve));
    (thin, (kept < all).then_some((kept, all)))
}

/// Builds against targets: a row a target, a column a build.
fn scored(block: &Block, scores: &Scores, figure: &mut usize) -> Markup {
    *figure += 1;
    html! {
        figure class="table short scores" id=(format!("table-{figure}")) aria-label=(scores.title) {
            figcaption { (scores.title) }
            div class="scroll" role="region" tabindex="0" aria-label=(scores.title) {
                table aria-label=(scores.title) {
                    thead { tr { @for build in &scores.builds { th scope="col" { (build) } } } }
                    @for row in &scores.rows {
                        tbody {
                            tr { th scope="rowgroup" colspan=(scores.builds.len()) {
                                (row.title)
                                @if !row.unit.name.is_empty() { " " span class="in" { (row.unit.name) } }
                                @if !row.asked.is_empty() { span class="asked" { ", " (row.asked) } }
                            } }
                            tr { @for i in 0..scores.builds.len() { td { (score(row, i)) } } }
                        }
                    }
                }
            }
            p class="quiet" {
                "Dot: the value; bar: 5 % to 95 % of the draws; bracket: the target, open to the side asked for."
                @if scores.rows.iter().any(|row| row.left_open.contains(&true)) {
                    " A question mark: the value is nearer to the target than the errors of the method."
                }
            }
            (data::script(block))
            div class="tools" hidden { button type="button" data-save="csv" { "Save as CSV" } }
        }
    }
}

/// The value of one build: its strip, a tick or a cross, and its figure.
fn score(row: &ScoreRow, number: usize) -> Markup {
    let value = row.values.get(number).copied().flatten();
    let figure = |v: f64| significant(v / row.unit.size, 3);
    html! {
        @if let Some(strip) = svg::strip(row, number) { (strip) }
        @if let Some(score) = row.score(number) {
            @let (class, mark) = match score {
                Score::Met => ("met", "✓"),
                Score::Missed => ("missed", "✗"),
                Score::LeftOpen => ("left-open", "?"),
            };
            span class=(class) role="img" aria-label=(score.word()) { (mark) } " "
        }
        @match value.filter(|spread| spread.value.is_finite()) {
            None => (row.missing),
            Some(spread) => {
                (figure(spread.value))
                @if !spread.is_exact() {
                    " " span class="spread" { "(" (figure(spread.low)) "–" (figure(spread.high)) ")" }
                }
            }
        }
    }
}

/// A drawing in a wide and a narrow version, its buttons, and a table of its values.
fn drawing(block: &Block, title: &str, tools: Markup, figure: &mut usize) -> Markup {
    *figure += 1;
    let id = format!("figure-{figure}");
    let drawn = |size, end: &str| PreEscaped(draw(block, size, &format!("{id}-{end}")).unwrap_or_default());
    html! {
        figure id=(id) aria-label=(title) {
            figcaption { (title) }
            @if let Block::Picture(_) = block {
                div class="sheet small" { (drawn(Size::Small, "s")) }
            } @else {
                div class="sheet wide" { (drawn(Size::Wide, "w")) }
                @let narrow = svg::draw_narrow(block, &format!("{id}-n"), &format!("{id}-w"));
                div class="sheet narrow" { (PreEscaped(narrow.unwrap_or_default())) }
            }
            @if let Block::Curve(_) = block { p class="readout" aria-live="polite" hidden {} }
            (data::script(block))
            div class="tools" hidden {
                (tools)
                button type="button" data-save="svg" { "Save as SVG" }
                @if csv::values(block).is_some() { button type="button" data-save="csv" { "Save as CSV" } }
            }
            @if let Some(values) = csv::values(block) {
                details aria-label=(format!("Values: {title}")) {
                    summary { "Values" }
                    (table::shown(&values, &format!("{title}, values, figure {figure}")))
                }
            }
        }
    }
}

fn tools_of_curve(curve: &Curve) -> Markup {
    html! {
        span class="zoom" role="group" aria-label="Zoom along the axis" {
            button type="button" data-zoom="in" aria-label="Closer" { "+" }
            button type="button" data-zoom="out" aria-label="Further" { "−" }
            button type="button" data-zoom="all" { "Whole" }
        }
        @for (i, series) in curve.series.iter().enumerate().filter(|(_, series)| heard(&series.tap)) {
            button type="button" data-play="tap" data-line=(i) { "Hear " (series.name) }
        }
    }
}

/// True if at least one of `tones` is audible after the tap.
fn heard<'a>(tones: impl IntoIterator<Item = &'a Tone>) -> bool {
    tones.into_iter().any(|tone| tone.heard != 0.0)
}

fn tools_of_wireframe(wireframe: &Wireframe) -> Markup {
    html! {
        @if !wireframe.motions.is_empty() {
            label {
                "Shape "
                select data-motion {
                    option value="" selected[wireframe.shown.is_none()] { "at rest" }
                    @for (i, motion) in wireframe.motions.iter().enumerate() {
                        option value=(i) selected[wireframe.shown == Some(i)] { (motion.name) }
                    }
                }
            }
            button type="button" data-play="shape" aria-pressed="false" { "Move" }
            @if heard(wireframe.motions.iter().map(|motion| &motion.tone)) {
                button type="button" data-play="tap" { "Hear its tap" }
            }
        }
        button type="button" data-turn="home" { "First view" }
    }
}

fn problems(list: &[Problem]) -> Markup {
    html! {
        @if !list.is_empty() {
            ul class="problems" {
                @for problem in list {
                    @let word = if problem.severity == Severity::Error { "Error" } else { "Warning" };
                    li class=(word.to_lowercase()) {
                        strong { (word) }
                        @let place = problem.place.to_string();
                        @if !place.is_empty() { " " code { (place) } }
                        p { (problem.message) }
                        @if let Some(help) = &problem.help { p class="help" { (help) } }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
