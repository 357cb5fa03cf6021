//! A machine in space, at rest or displaced as in one of its motions, with the energy shares of all motions beside it.
//! The page's script turns and animates the same elements.
//!
//! Amplitude is shown by the displaced shape, by the colour of edges and by their width; the machine at rest is
//! dashed.

use super::names::{self, Placed};
use super::palette::{PAPER, QUIET, STEPS, TEXT, amplitude, grey, hatched, series, series_class};
use super::shares;
use super::sheet::{LegendEntry, Size, legend, sheet};
use super::surface::{self, Place};
use crate::block::{Surface, Wireframe};
use crate::number::tenths;
use crate::view::{extent, seen};
use maud::{Markup, html};
use stillbed_input::quantity::figures;

/// Width of a drawing without energy shares on a desk.
const ALONE: f64 = 560.0;

/// Where a drawing has its machine.
struct Frame {
    /// Width of the whole drawing, and of the part with the machine and its names.
    whole: f64,
    room: f64,
    height: f64,
    /// Room for names on each side.
    margin: f64,
    /// True where only names that matter are shown: on a telephone there is room for no others.
    brief: bool,
    scale: f64,
    /// What is in the middle of the drawing.
    middle: [f64; 2],
}

impl Frame {
    /// `None` where there is nothing to draw.
    fn of(wireframe: &Wireframe, size: Size, rest: &[[f64; 2]]) -> Option<Frame> {
        let (low, high) = extent(rest.iter())?;
        let (beside, whole) = (has_shares_beside(wireframe, size), width(wireframe, size));
        let room = if beside { 0.58 * whole } else { whole };
        let brief = size == Size::Narrow;
        let margin = names::room(wireframe, brief, 0.23 * room) + 20.0;
        let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
        let most = if size == Size::Wide { 420.0 } else { 250.0 };
        // A tenth is left for motion.
        let scale = ((room - 2.0 * margin) / (1.1 * wide)).min((most - 40.0) / (1.1 * tall));
        let height = (1.1 * tall * scale + 40.0).clamp(if beside { 300.0 } else { 180.0 }, most);
        let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        Some(Frame { whole, room, height, margin, brief, scale, middle })
    }

    fn place(&self, p: &[f64; 2]) -> (f64, f64) {
        let at = |i: usize| (p[i] - self.middle[i]) * self.scale;
        (tenths(self.room / 2.0 + at(0)), tenths(self.height / 2.0 - at(1)))
    }

    /// The transform by which what is drawn in `other` lies in this one.
    fn from(&self, other: &Frame) -> String {
        let k = self.scale / other.scale;
        let (x, y) = (self.room - k * other.room, self.height - k * other.height);
        format!("translate({:.2} {:.2}) scale({k:.4})", x / 2.0, y / 2.0)
    }
}

fn has_shares_beside(wireframe: &Wireframe, size: Size) -> bool {
    shares::known(wireframe) && size == Size::Wide
}

fn width(wireframe: &Wireframe, size: Size) -> f64 {
    if size == Size::Wide && !has_shares_beside(wireframe, size) { ALONE } else { size.width() }
}

/// The drawing; with the `id` of a wide one of the same page, its faces are used again.
pub(super) fn draw(wireframe: &Wireframe, size: Size, id: &str, wide: Option<&str>) -> Markup {
    let rest: Vec<[f64; 2]> = wireframe.points.iter().map(|p| seen(*p)).collect();
    let Some(frame) = Frame::of(wireframe, size, &rest) else {
        let nothing = html! { text x="2" y="14" { "nothing to draw" } };
        return sheet(id, (width(wireframe, size), 24.0), &wireframe.title, "nothing to draw", nothing);
    };
    let Frame { whole, room, height, margin, brief, scale, .. } = frame;
    let beside_it = has_shares_beside(wireframe, size);
    let used = wide.zip(Frame::of(wireframe, Size::Wide, &rest).filter(|_| !wireframe.faces.is_empty()));
    let placed = |points: &[[f64; 2]]| -> Vec<Place> {
        points.iter().map(|p| (p[0].is_finite() && p[1].is_finite()).then(|| frame.place(p))).collect()
    };
    let moving = wireframe.shown.and_then(|shown| wireframe.amplitudes(shown));
    let still = placed(&rest);
    let now = match &moving {
        Some((_, factor)) => placed(&moved(wireframe, *factor)),
        None => still.clone(),
    };
    let at = |i: usize| now.get(i).copied().flatten();
    let amplitudes = moving.as_ref().map(|(amplitudes, _)| amplitudes.as_slice());
    let (beside_drawing, shares_end) = match beside_it {
        true => shares::draw(wireframe, (room + 14.0, whole - 4.0), 40.0, id),
        false => shares::draw(wireframe, (4.0, whole - 4.0), height + 34.0, id),
    };
    let top = if beside_it { height } else { height.max(shares_end) } + 8.0;
    let (legend, legend_end) = legend(entries(wireframe, id), 4.0, room - 4.0, top);
    // Pads under a body are hidden by it.
    let held = wireframe.faces.is_empty() || wireframe.faces.iter().any(|face| face.of == Surface::Patch);
    let placing = Placing { wireframe, frame: &frame };
    let content = html! {
        g class="turns" data-scale=(format!("{scale:.2}")) data-middle=(format!("{} {}", tenths(room / 2.0), tenths(height / 2.0)))
            data-names=(format!("{} {} {} {}", tenths(margin), tenths(room), tenths(height), u8::from(brief)))
            stroke-linejoin="round" stroke-linecap="round" fill="none" fill-rule="evenodd" {
            path class="ghost" stroke=(QUIET) stroke-dasharray="3 4"
                d=[moving.is_some().then(|| all(wireframe, &still))] {}
            g class="faces" id=(format!("{id}-faces")) {
                @if wireframe.faces.is_empty() { (lines(wireframe, &now, amplitudes)) }
                @match used {
                    Some((wide, other)) => { use href=(format!("#{wide}-faces")) transform=(frame.from(&other)) {} }
                    None => (surface::draw(wireframe, &now, amplitudes)),
                }
            }
            g class="marks" {
                @if let Some((x, y)) = wireframe.work.and_then(at) {
                    path class="mark work" transform=(format!("translate({x} {y})")) data-point=[wireframe.work] d=(WORK)
                        stroke=(TEXT) stroke-width="1.6" {}
                }
                @if let Some((x, y)) = wireframe.tool.and_then(at) {
                    path class="mark tool" transform=(format!("translate({x} {y})")) data-point=[wireframe.tool] d=(TOOL)
                        fill=(TEXT) stroke=(PAPER) stroke-width="1" {}
                }
                @if held {
                    @for foot in &wireframe.feet {
                        @if let Some((x, y)) = at(*foot) {
                            path class="mark" transform=(format!("translate({x} {y})")) data-point=(foot) d=(HELD)
                                stroke=(TEXT) stroke-width="1.2" stroke-dasharray="3 2" {}
                        }
                    }
                }
            }
            g class="names" { (placing.draw(&still, &now)) }
        }
        (axes(height))
        @if !wireframe.motions.is_empty() { (key(room, height, moving.is_some())) }
        (beside_drawing)
        (legend)
    };
    let end = height.max(shares_end).max(legend_end);
    sheet(id, (whole, end), &wireframe.title, &description(wireframe), content)
}

/// A tool from above: its tip is at the point.
const TOOL: &str = "M0 0l-5 -9h3v-7h4v7h3z";
/// The work: a square around the point.
const WORK: &str = "M-6 -6h12v12h-12z";

/// A foot or an anchor: its point is at the top.
const HELD: &str = "M0 0l-6 11h12z";

/// What the names of a drawing are placed by.
struct Placing<'a> {
    wireframe: &'a Wireframe,
    frame: &'a Frame,
}

impl Placing<'_> {
    /// The names beside the machine with its points `at` these places while it rests, and a line from each to where
    /// its point is `now`.
    fn draw(&self, at: &[Place], now: &[Place]) -> Markup {
        let wide = self.frame.margin - 18.0;
        let lines: Vec<Vec<String>> =
            self.wireframe.names.iter().map(|name| names::lines(name, wide)).collect();
        let known = self.wireframe.names.iter().zip(&lines).enumerate();
        let known = known.filter(|(_, (name, _))| names::is_shown(name, self.frame.brief));
        let known = known
            .filter_map(|(i, (name, lines))| Some((i, lines.len(), at.get(name.point).copied().flatten()?)));
        let known: Vec<(usize, usize, (f64, f64))> = known.collect();
        let across = || at.iter().flatten().map(|place| place.0);
        let (left, right) =
            (across().fold(f64::INFINITY, f64::min), across().fold(f64::NEG_INFINITY, f64::max));
        // Room for the machine to move.
        let sway = 0.05 * (right - left);
        let sides =
            [(left - sway).max(self.frame.margin), (right + sway).min(self.frame.room - self.frame.margin)];
        let placed = names::place(&known, sides, self.frame.height, 92.0);
        html! { @for own in &placed { (self.one(own, &lines[own.name], now)) } }
    }

    fn one(&self, own: &Placed, lines: &[String], at: &[Place]) -> Markup {
        let point = at.get(self.wireframe.names[own.name].point).copied().flatten().unwrap_or_default();
        let [x, y] = own.at.map(tenths);
        let (side, anchor) = if own.left { (4.0, "end") } else { (-4.0, "start") };
        html! {
            path class="leader" d=(format!("M{} {}L{} {}", tenths(x + side), tenths(y - 4.0), point.0, point.1))
                stroke=(QUIET) stroke-width="0.8" {}
            circle class="dot" cx=(point.0) cy=(point.1) r="2" fill=(TEXT) {}
            text class="name" x=(x) y=(y) text-anchor=(anchor) fill=(TEXT) {
                @for (i, line) in lines.iter().enumerate() {
                    tspan x=(x) dy=[(i > 0).then_some("14")] class=[(i > 0).then_some("quiet")] { (line) }
                }
            }
        }
    }
}

/// The legend: materials, and what stands for masses, feet, patches, tool and work.
fn entries(wireframe: &Wireframe, id: &str) -> Vec<LegendEntry> {
    const SIGN: &str = "M0 0h26v12h-26z";
    let has = |of: Surface| wireframe.faces.iter().any(|face| face.of == of);
    let used = wireframe.materials.iter().enumerate().filter(|(i, _)| has(Surface::Material(*i)));
    let mut entries: Vec<LegendEntry> = used
        .map(|(i, filling)| LegendEntry {
            sign: hatched(&format!("{id}-of-{i}"), filling.look, SIGN, [0.0, 0.0, 26.0, 12.0]),
            name: filling.name.clone(),
        })
        .collect();
    let mut sign = |known: bool, sign: Markup, name: &str| {
        if known {
            entries.push(LegendEntry { sign, name: name.to_string() });
        }
    };
    let block = html! { path class="block shade1 outline" d=(SIGN) fill=(grey(1)) stroke=(TEXT) stroke-width="0.9" {} };
    sign(has(Surface::Mass), block, "mass, as a cube of steel");
    sign(
        has(Surface::Foot) && !has(Surface::Patch),
        html! { path class="pad" d="M2 1h22v10h-22z" fill=(TEXT) {} },
        "foot",
    );
    let held = html! { path class="mark" transform="translate(13 0)" d=(HELD) fill="none" stroke=(TEXT) stroke-width="1.2" stroke-dasharray="3 2" {} };
    sign(has(Surface::Patch), held, "foot, hidden or not");
    let dashed = html! { path class="mark" d="M2 1h22v10h-22z" fill="none" stroke=(TEXT) stroke-width="0.9" stroke-dasharray="4 2.5" {} };
    sign(has(Surface::Patch), dashed, "holds a body");
    let tool = html! { path class="mark tool" transform="translate(13 14)" d=(TOOL) fill=(TEXT) {} };
    sign(wireframe.tool.is_some(), tool, "tool");
    let work = html! { path class="mark work" transform="translate(13 6)" d=(WORK) fill="none" stroke=(TEXT) stroke-width="1.6" {} };
    sign(wireframe.work.is_some(), work, "work");
    entries
}

/// The members of a machine without faces.
fn lines(wireframe: &Wireframe, at: &[Place], amplitudes: Option<&[f64]>) -> Markup {
    html! {
        @match amplitudes {
            None => {
                path class=(format!("member {}", series_class(0))) stroke=(series(0)) stroke-width="2.4"
                    d=(all(wireframe, at)) {}
            }
            Some(amplitudes) => {
                @for step in 0..STEPS {
                    path class=(format!("a{step}")) data-step=(step) stroke=(amplitude(step))
                        stroke-width=(2.0 + 0.6 * step as f64) d=(stepped(wireframe, amplitudes, step, at)) {}
                }
            }
        }
    }
}

/// The projected points at the largest displacement of the motion that is shown.
fn moved(wireframe: &Wireframe, factor: f64) -> Vec<[f64; 2]> {
    let shape = wireframe.shown_motion().map(|motion| motion.shape.as_slice()).unwrap_or_default();
    let by = |i: usize, k: usize| shape.get(i).map_or(0.0, |d| d[k] * factor);
    let points = wireframe.points.iter().enumerate();
    points.map(|(i, p)| seen([p[0] + by(i, 0), p[1] + by(i, 1), p[2] + by(i, 2)])).collect()
}

/// All members as one path.
fn all(wireframe: &Wireframe, at: &[Place]) -> String {
    let mut path = String::new();
    for line in &wireframe.lines {
        for (i, (x, y)) in line.through.iter().filter_map(|i| at.get(*i).copied().flatten()).enumerate() {
            path += &format!("{}{x} {y}", if i == 0 { "M" } else { "L" });
        }
    }
    path
}

/// The segments of members whose amplitude falls in `step`.
fn stepped(wireframe: &Wireframe, parts: &[f64], step: usize, at: &[Place]) -> String {
    let place = |i: usize| at.get(i).copied().flatten();
    let part = |i: usize| parts.get(i).copied().unwrap_or(0.0);
    let mut path = String::new();
    let stretches = wireframe.lines.iter().flat_map(|line| line.through.windows(2));
    for pair in stretches {
        let &[a, b] = pair else { continue };
        let amplitude = (part(a) + part(b)) / 2.0;
        if ((amplitude * STEPS as f64) as usize).min(STEPS - 1) == step
            && let (Some((x, y)), Some((u, v))) = (place(a), place(b))
        {
            path += &format!("M{x} {y}L{u} {v}");
        }
    }
    path
}

/// The legend of amplitude colours.
fn key(room: f64, height: f64, shown: bool) -> Markup {
    let (wide, y) = (14.0, height - 14.0);
    let left = room - 66.0 - wide * STEPS as f64;
    html! {
        g class="key" visibility=[(!shown).then_some("hidden")] {
            text class="quiet" fill=(QUIET) x=(tenths(left - 6.0)) y=(tenths(y + 4.5)) text-anchor="end" { "still" }
            @for step in 0..STEPS {
                line class=(format!("a{step}")) x1=(tenths(left + wide * step as f64)) x2=(tenths(left + wide * (step + 1) as f64))
                    y1=(tenths(y)) y2=(tenths(y)) stroke=(amplitude(step)) stroke-width=(2.0 + 0.6 * step as f64) {}
            }
            text class="quiet" fill=(QUIET) x=(tenths(left + wide * STEPS as f64 + 6.0)) y=(tenths(y + 4.5)) { "most" }
        }
    }
}

/// The directions of x, y and z in the lower left corner.
fn axes(height: f64) -> Markup {
    let ends = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(seen);
    let foot = (34.0, height - 44.0);
    html! {
        g class="compass" transform=(format!("translate({} {})", foot.0, foot.1)) stroke=(QUIET) fill=(QUIET) {
            @for (end, name) in ends.iter().zip(["x", "y", "z"]) {
                line x1="0" y1="0" x2=(tenths(26.0 * end[0])) y2=(tenths(-26.0 * end[1])) {}
                text class="quiet" x=(tenths(36.0 * end[0])) y=(tenths(4.0 - 36.0 * end[1])) text-anchor="middle" stroke="none" {
                    (name)
                }
            }
        }
    }
}

fn description(wireframe: &Wireframe) -> String {
    let span = |i: usize| {
        let values = || wireframe.points.iter().map(|p| p[i]).filter(|v| v.is_finite());
        let span = values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min);
        figures(span * 1e3, 3)
    };
    let mut text = format!(
        "A machine of {} by {} by {} millimetres along x, y and z; {} points are held.",
        span(0),
        span(1),
        span(2),
        wireframe.feet.len()
    );
    let named = wireframe.names.iter().filter(|name| !name.detail.is_empty());
    let named: Vec<String> = named.map(|own| format!("{} ({})", own.name, own.detail)).collect();
    if !named.is_empty() {
        text += &format!(" On it: {}.", named.join(", "));
    }
    if let Some(motion) = wireframe.shown_motion() {
        text += &format!(" Shown: {}.", motion.name);
    }
    text
}
