//! The blocks a report is made of: plain data that says what to show, not how to draw it.

use super::table::Table;
use super::unit::Unit;
use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::Spread;

/// One element of a report.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Block {
    /// A title over what follows.
    Heading(String),
    /// A paragraph.
    Note(String),
    /// Errors and warnings about the input.
    Problems(Vec<Problem>),
    /// Rows of values under titles.
    Table(Table),
    /// Lines over a common axis.
    Curve(Curve),
    /// Values side by side, with their spread.
    Bars(Bars),
    /// A flat drawing to scale.
    Picture(Picture),
    /// A machine in space.
    #[serde(rename = "wire")]
    Wireframe(Wireframe),
    /// Builds against what is asked for.
    Scores(Scores),
}

/// One axis of a [`Curve`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Axis {
    /// The quantity along it: `frequency`.
    pub title: String,
    /// Unit of the shown values.
    pub unit: Unit,
    /// True for a logarithmic axis, which leaves out values that are not positive.
    pub log: bool,
    /// Name in JSON and CSV, with the SI unit: `frequency_hz`.
    pub key: String,
}

impl Axis {
    /// A linear axis.
    pub fn linear(title: &str, unit: Unit, key: &str) -> Axis {
        Axis { title: title.to_string(), unit, log: false, key: key.to_string() }
    }

    /// A logarithmic axis.
    pub fn log(title: &str, unit: Unit, key: &str) -> Axis {
        Axis { log: true, ..Axis::linear(title, unit, key) }
    }
}

/// Lines over a common axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Curve {
    /// Title of the drawing.
    pub title: String,
    /// The horizontal axis.
    pub x: Axis,
    /// The vertical axis.
    pub y: Axis,
    /// The lines, in the order of their colours.
    pub series: Vec<Series>,
    /// Places along the axes that matter: a target, a running speed.
    pub marks: Vec<Mark>,
}

/// One line, or one set of points, of a [`Curve`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// Its name in the legend.
    pub name: String,
    /// `[x, y]` in SI. A point that is not finite interrupts the line.
    pub points: Vec<[f64; 2]>,
    /// True for separate points, such as measured ones; false for a line.
    pub scattered: bool,
    /// The modes heard in the tap that this line shows, for the page to play; empty if there is no sound.
    pub tap: Vec<Tone>,
}

impl Series {
    /// A line through `points`.
    pub fn line(name: &str, points: Vec<[f64; 2]>) -> Series {
        Series { name: name.to_string(), points, scattered: false, tap: Vec::new() }
    }

    /// Separate points.
    pub fn scatter(name: &str, points: Vec<[f64; 2]>) -> Series {
        Series { scattered: true, ..Series::line(name, points) }
    }
}

/// A place along an axis of a [`Curve`] that matters.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// A value of x, in SI.
    X {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
    /// A value of y, in SI.
    Y {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
    /// A range of x, in SI.
    Band {
        /// Its lower end.
        from: f64,
        /// Its upper end.
        to: f64,
        /// What it is.
        label: String,
    },
}

impl Mark {
    /// What it is.
    pub fn label(&self) -> &str {
        match self {
            Mark::X { label, .. } | Mark::Y { label, .. } | Mark::Band { label, .. } => label,
        }
    }
}

/// Values side by side on one scale that starts at zero.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bars {
    /// What is compared.
    pub title: String,
    /// Unit of the shown values.
    pub unit: Unit,
    /// Name of the value in JSON and CSV, with the SI unit: `settle_time_s`.
    pub key: String,
    /// The bars from top to bottom.
    pub bars: Vec<Bar>,
}

/// One value of [`Bars`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bar {
    /// The thing that has this value.
    pub label: String,
    /// The value in SI with its spread; `None` is shown as missing.
    pub value: Option<Spread>,
}

impl Bar {
    /// The bar of `label` with its value and spread.
    pub fn new(label: &str, value: Option<Spread>) -> Bar {
        Bar { label: label.to_string(), value }
    }
}

/// Builds against what is asked for: a row a target, a column a build.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scores {
    /// What is compared.
    pub title: String,
    /// The builds.
    pub builds: Vec<String>,
    /// The rows.
    pub rows: Vec<ScoreRow>,
}

/// One measure of all builds in [`Scores`], and what is asked of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoreRow {
    /// The measure.
    pub title: String,
    /// Unit of the shown values.
    pub unit: Unit,
    /// What is asked, in words; empty where nothing is.
    pub asked: String,
    /// Not below this, SI.
    pub at_least: Option<f64>,
    /// Not above this, SI.
    pub at_most: Option<f64>,
    /// By build, SI.
    pub values: Vec<Option<Spread>>,
    /// By build: true where the errors of the method leave open whether it is as asked.
    pub left_open: Vec<bool>,
    /// What a missing value is called: `never`.
    pub missing: String,
}

/// Whether a value is as asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Score {
    /// It is.
    Met,
    /// It is not.
    Missed,
    /// The errors of the method leave it open.
    LeftOpen,
}

impl Score {
    /// The score as a word.
    pub fn word(self) -> &'static str {
        match self {
            Score::Met => "met",
            Score::Missed => "missed",
            Score::LeftOpen => "left open",
        }
    }
}

impl ScoreRow {
    /// Whether the value of build `number` is as asked; `None` where nothing is asked.
    pub fn score(&self, number: usize) -> Option<Score> {
        if self.left_open.get(number) == Some(&true) {
            return Some(Score::LeftOpen);
        }
        if self.at_least.is_none() && self.at_most.is_none() {
            return None;
        }
        let value = self.values.get(number).copied().flatten().map(|spread| spread.value);
        let keeps = |value: f64| {
            self.at_least.is_none_or(|least| value >= least) && self.at_most.is_none_or(|most| value <= most)
        };
        Some(if value.is_some_and(keeps) { Score::Met } else { Score::Missed })
    }
}

/// A flat drawing to scale: y to the right, z up, in metres.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picture {
    /// What is drawn.
    pub title: String,
    /// What the areas are filled with, for the legend.
    pub materials: Vec<Filling>,
    /// Filled areas; a later one covers an earlier one.
    pub areas: Vec<Area>,
    /// Lines over the areas: a mould, a neutral axis.
    pub lines: Vec<PictureLine>,
    /// Points with a name: elastic centre, shear centre.
    pub labels: Vec<Label>,
}

impl Wireframe {
    /// Displacement of each point in motion `number` relative to the largest, and the factor that scales the
    /// largest to a tenth of the size of the drawing. `None` if nothing moves.
    pub(super) fn amplitudes(&self, number: usize) -> Option<(Vec<f64>, f64)> {
        let moves = |d: &[f64; 3]| Some(d[0].hypot(d[1]).hypot(d[2])).filter(|m| m.is_finite());
        let shape = &self.motions.get(number)?.shape;
        let lengths: Vec<f64> = shape.iter().map(|d| moves(d).unwrap_or(0.0)).collect();
        let most = lengths.iter().fold(0.0, |a: f64, b| a.max(*b));
        let span = |i: usize| {
            let values = || self.points.iter().map(|p| p[i]).filter(|v| v.is_finite());
            values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min)
        };
        let size = span(0).hypot(span(1)).hypot(span(2));
        let factor = 0.1 * size / most;
        (factor.is_finite() && factor > 0.0)
            .then(|| (lengths.iter().map(|length| length / most).collect(), factor))
    }

    /// The motion that is shown first.
    pub(super) fn shown_motion(&self) -> Option<&ModeShape> {
        self.motions.get(self.shown?)
    }

    /// The kinds into which the energy of the motions is split, in order of first appearance.
    pub(super) fn kinds(&self) -> Vec<&str> {
        let mut kinds: Vec<&str> = Vec::new();
        for (kind, _) in self.motions.iter().flat_map(|motion| &motion.shares) {
            if !kinds.contains(&kind.as_str()) {
                kinds.push(kind);
            }
        }
        kinds
    }
}

impl ModeShape {
    /// The energy share of `kind`, if it is known.
    pub(super) fn share(&self, kind: &str) -> Option<f64> {
        self.shares.iter().find(|(of, _)| of == kind).map(|(_, share)| *share)
    }
}

impl Picture {
    /// All corners that must fit into the picture.
    pub(super) fn corners(&self) -> impl Iterator<Item = &[f64; 2]> {
        let areas = self.areas.iter().flat_map(|area| &area.outline);
        areas.chain(self.lines.iter().flat_map(|line| &line.points))
    }
}

/// Material of areas of a [`Picture`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Filling {
    /// The material's name.
    pub name: String,
    /// Its colour and hatching, by number: the same for one material in all drawings of a page.
    pub look: usize,
    /// True for air: drawn as an opening.
    pub empty: bool,
}

impl Filling {
    /// A material.
    pub fn solid(name: &str, look: usize) -> Filling {
        Filling { name: name.to_string(), look, empty: false }
    }

    /// Air.
    pub fn empty(name: &str) -> Filling {
        Filling { name: name.to_string(), look: 0, empty: true }
    }
}

/// A filled polygon of a [`Picture`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Area {
    /// Corners `[y, z]` in either direction of travel, the first not repeated at the end.
    pub outline: Vec<[f64; 2]>,
    /// Corners of each hole.
    pub holes: Vec<Vec<[f64; 2]>>,
    /// Index of its material in the picture's list.
    pub material: usize,
}

/// A line of a [`Picture`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PictureLine {
    /// Corners `[y, z]`.
    pub points: Vec<[f64; 2]>,
    /// What it is.
    pub label: String,
}

/// A named point of a [`Picture`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Label {
    /// `[y, z]`.
    pub at: [f64; 2],
    /// Its name.
    pub text: String,
}

/// A machine in space, as lines and as faces: z up, in metres.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wireframe {
    /// What is drawn.
    pub title: String,
    /// Position `[x, y, z]` of each point.
    pub points: Vec<[f64; 3]>,
    /// What is named, the more important first.
    pub names: Vec<PointName>,
    /// Polylines through points.
    pub lines: Vec<WireframeLine>,
    /// Points held by feet or anchors.
    pub feet: Vec<usize>,
    /// The point of the tool.
    pub tool: Option<usize>,
    /// The point of the work.
    pub work: Option<usize>,
    /// Flat faces; without any the lines are drawn.
    pub faces: Vec<Face>,
    /// The planes that tell in which order faces are drawn; the first is the root.
    pub divides: Vec<Divide>,
    /// What faces are made of, for the legend.
    pub materials: Vec<Filling>,
    /// Mode shapes; the page animates them.
    pub motions: Vec<ModeShape>,
    /// Index of the motion that is shown first; `None` shows the machine at rest.
    pub shown: Option<usize>,
}

/// The name of a point of a [`Wireframe`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointName {
    /// Index of the point.
    pub point: usize,
    /// Its name.
    pub name: String,
    /// More about it, such as its weight; may be empty.
    pub detail: String,
    /// True for what is named even where room is short.
    pub matters: bool,
}

/// A flat face of a [`Wireframe`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Face {
    /// Its curves, even-odd: the points that each passes through, with the edge to the next.
    pub rings: Vec<Vec<(usize, Edge)>>,
    /// Its outward unit normal.
    pub normal: [f64; 3],
    /// What it is made of.
    pub of: Surface,
    /// True where what stands within is seen through it.
    pub seen_through: bool,
}

/// What an edge of a [`Face`] borders on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    /// Another face at an angle.
    Sharp,
    /// The next part of a curve, with its normal: seen as an edge where the curve turns away.
    Smooth([f64; 3]),
    /// The same face beyond a cut: never seen.
    Cut,
}

/// What a [`Face`] is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// The material of this index in the list of the drawing.
    Material(usize),
    /// A mass, as a block.
    Mass,
    /// A foot or an anchor, as a pad.
    Foot,
    /// The area by which a point holds a body.
    Patch,
}

/// A plane between faces of a [`Wireframe`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Divide {
    /// Its normal.
    pub normal: [f64; 3],
    /// Indices of the faces in it.
    pub faces: Vec<usize>,
    /// Index of the divide of what lies against its normal.
    pub behind: Option<usize>,
    /// Index of the divide of what lies along its normal.
    pub before: Option<usize>,
}

/// One line of a [`Wireframe`], such as a member with points along it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WireframeLine {
    /// The member's name.
    pub name: String,
    /// Indices of the points that it passes through.
    pub through: Vec<usize>,
}

/// A mode shape of a [`Wireframe`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModeShape {
    /// Its name: `mode 1`.
    pub name: String,
    /// Its frequency and decay.
    pub tone: Tone,
    /// Displacement of each point in any scale; the largest is drawn as a tenth of the drawing's size.
    pub shape: Vec<[f64; 3]>,
    /// Shares of its energy, as `(what, share)`; they add up to one, or the list is empty.
    pub shares: Vec<(String, f64)>,
}

/// How a mode rings after a tap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tone {
    /// Its frequency.
    pub frequency_hz: f64,
    /// Its loss factor: amplitude decays as exp(-pi f loss t).
    pub loss_factor: f64,
    /// Excitation by a tap at the stated place, relative to the strongest, from -1 to 1; 0 is silent.
    pub heard: f64,
}
