//! A frame in space, displaced as in its first motion, with the energy shares of all motions beside it.
//! The page's script turns and animates the same elements.
//!
//! Amplitude is shown by the displaced shape, by colour and by line width; the undeformed frame is dashed.

use super::names::{Names, beside};
use super::palette::{PAPER, QUIET, STEPS, TEXT, amplitude, series, series_class};
use super::shares;
use super::sheet::{Size, fitted, sheet, text_width};
use crate::block::Wireframe;
use crate::number::tenths;
use crate::view::{extent, seen};
use maud::{Markup, html};
use stillbed_input::quantity::figures;

pub(super) fn draw(wireframe: &Wireframe, size: Size, id: &str) -> Markup {
    let rest: Vec<[f64; 2]> = wireframe.points.iter().map(|p| seen(*p)).collect();
    let Some((low, high)) = extent(rest.iter()) else {
        let nothing = html! { text x="2" y="14" { "nothing to draw" } };
        return sheet(id, (size.width(), 24.0), &wireframe.title, "nothing to draw", nothing);
    };
    let beside_it = shares::known(wireframe) && size == Size::Wide;
    let room = if beside_it { 0.58 * size.width() } else { size.width() };
    let names = wireframe.names.iter().map(|(_, name)| text_width(name)).fold(0.0, f64::max).min(0.22 * room);
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    let most = if size == Size::Wide { 420.0 } else { 320.0 };
    // Names may also extend inwards, so their full width need not be kept free; a tenth is left for motion.
    let scale = ((room - names - 40.0) / (1.1 * wide)).min((most - 80.0) / (1.1 * tall));
    let height = (1.1 * tall * scale + 80.0).clamp(if beside_it { 300.0 } else { 150.0 }, most);
    let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
    let place = |p: &[f64; 2]| {
        (tenths(room / 2.0 + (p[0] - middle[0]) * scale), tenths(height / 2.0 - (p[1] - middle[1]) * scale))
    };
    let finite = |p: &&[f64; 2]| p[0].is_finite() && p[1].is_finite();
    let still = |i: usize| rest.get(i).filter(finite).map(place);
    let moving = wireframe.amplitudes(0);
    let now: Vec<[f64; 2]> = match &moving {
        Some((_, factor)) => moved(wireframe, *factor),
        None => rest.clone(),
    };
    let at = |i: usize| now.get(i).filter(finite).map(place);
    let mut taken = Names::new(room, height - 6.0);
    taken.keep_free([0.0, 76.0, height - 92.0, height]);
    let (beside_drawing, end) = match beside_it {
        true => shares::draw(wireframe, (room + 14.0, size.width() - 4.0), 40.0, id),
        false => shares::draw(wireframe, (4.0, size.width() - 4.0), height + 34.0, id),
    };
    let content = html! {
        g class="turns" data-scale=(tenths(scale)) data-middle=(format!("{} {}", tenths(room / 2.0), tenths(height / 2.0)))
            stroke-linejoin="round" stroke-linecap="round" fill="none" {
            path class="ghost" stroke=(QUIET) stroke-dasharray="3 4"
                d=[moving.is_some().then(|| all(wireframe, &still))] {}
            path class=(format!("member {}", series_class(0))) stroke=(series(0)) stroke-width="2.4"
                d=[moving.is_none().then(|| all(wireframe, &still))] {}
            @for step in 0..STEPS {
                path class=(format!("a{step}")) data-step=(step) stroke=(amplitude(step))
                    stroke-width=(2.0 + 0.6 * step as f64)
                    d=[moving.as_ref().map(|(amplitudes, _)| stepped(wireframe, amplitudes, step, &at))] {}
            }
            @for foot in &wireframe.feet {
                @if let Some((x, y)) = at(*foot) {
                    path class="foot mark" transform=(format!("translate({x} {y})")) data-point=(foot)
                        d="M0 0l-7 12h14z" fill=(TEXT) {}
                }
            }
            @for (point, name) in &wireframe.names {
                @if let Some((x, y)) = at(*point) {
                    @let name = fitted(&name.replace('_', " "), names);
                    @if let Some((dx, dy, anchor)) = taken.find((x, y), text_width(&name), beside(*point, wireframe, &at)) {
                        text class="name halo" transform=(format!("translate({x} {y})")) data-point=(point) x=(dx)
                            y=(dy) text-anchor=(anchor) fill=(TEXT) stroke=(PAPER) stroke-width="4"
                            paint-order="stroke" { (name) }
                    }
                }
            }
        }
        (axes(height))
        @if moving.is_some() { (key(room, height)) }
        (beside_drawing)
    };
    sheet(id, (size.width(), height.max(end)), &wireframe.title, &description(wireframe), content)
}

/// The projected points at the largest displacement of the first motion.
fn moved(wireframe: &Wireframe, factor: f64) -> Vec<[f64; 2]> {
    let shape = wireframe.motions.first().map(|motion| motion.shape.as_slice()).unwrap_or_default();
    let by = |i: usize, k: usize| shape.get(i).map_or(0.0, |d| d[k] * factor);
    let points = wireframe.points.iter().enumerate();
    points.map(|(i, p)| seen([p[0] + by(i, 0), p[1] + by(i, 1), p[2] + by(i, 2)])).collect()
}

/// All members as one path.
fn all(wireframe: &Wireframe, at: &dyn Fn(usize) -> Option<(f64, f64)>) -> String {
    let mut path = String::new();
    for line in &wireframe.lines {
        for (i, (x, y)) in line.through.iter().filter_map(|i| at(*i)).enumerate() {
            path += &format!("{}{x} {y}", if i == 0 { "M" } else { "L" });
        }
    }
    path
}

/// The segments of members whose amplitude falls in `step`.
fn stepped(
    wireframe: &Wireframe,
    parts: &[f64],
    step: usize,
    at: &dyn Fn(usize) -> Option<(f64, f64)>,
) -> String {
    let part = |i: usize| parts.get(i).copied().unwrap_or(0.0);
    let mut path = String::new();
    let stretches = wireframe.lines.iter().flat_map(|line| line.through.windows(2));
    for pair in stretches {
        let &[a, b] = pair else { continue };
        let amplitude = (part(a) + part(b)) / 2.0;
        if ((amplitude * STEPS as f64) as usize).min(STEPS - 1) == step
            && let (Some((x, y)), Some((u, v))) = (at(a), at(b))
        {
            path += &format!("M{x} {y}L{u} {v}");
        }
    }
    path
}

/// The legend of amplitude colours.
fn key(room: f64, height: f64) -> Markup {
    let (wide, y) = (14.0, height - 14.0);
    let left = room - 66.0 - wide * STEPS as f64;
    html! {
        g class="key" {
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
        "{} members in a space of {} by {} by {} millimetres along x, y and z; {} points are held.",
        wireframe.lines.len(),
        span(0),
        span(1),
        span(2),
        wireframe.feet.len()
    );
    if let Some(motion) = wireframe.motions.first() {
        text += &format!(" Shown: {}.", motion.name);
    }
    text
}
