//! A wire drawing in space; the page's script turns and moves the same elements.

use super::ink::{PAPER, QUIET, TEXT, series, series_class};
use super::{Size, fitted, long, r, sheet};
use crate::quantity::figures;
use crate::report::block::Wire;
use crate::report::view::{extent, seen};
use maud::{Markup, html};

pub(super) fn draw(wire: &Wire, size: Size, id: &str) -> Markup {
    let points: Vec<[f64; 2]> = wire.points.iter().map(|p| seen(*p)).collect();
    let Some((low, high)) = extent(points.iter()) else {
        let nothing = html! { text x="2" y="14" { "nothing to draw" } };
        return sheet(id, (size.width(), 24.0), &wire.title, "nothing to draw", nothing);
    };
    let names = wire.names.iter().map(|(_, name)| long(name)).fold(0.0, f64::max).min(0.25 * size.width());
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    let most = if size == Size::Wide { 420.0 } else { 320.0 };
    // Names lean inwards too, so that not all of their length is lost to the drawing.
    let scale = ((size.width() - 1.3 * names - 50.0) / wide).min((most - 70.0) / tall);
    let height = (tall * scale + 70.0).clamp(120.0, most);
    let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
    let place = |p: &[f64; 2]| {
        (r(size.width() / 2.0 + (p[0] - middle[0]) * scale), r(height / 2.0 - (p[1] - middle[1]) * scale))
    };
    let at = |i: usize| points.get(i).filter(|p| p[0].is_finite() && p[1].is_finite()).map(place);
    let through = |indices: &[usize]| {
        let pairs = indices.iter().filter_map(|i| at(*i)).map(|(x, y)| format!("{x},{y}"));
        pairs.collect::<Vec<_>>().join(" ")
    };
    let content = html! {
        g class="turns" data-scale=(r(scale)) stroke-linejoin="round" stroke-linecap="round" {
            @for line in &wire.lines {
                polyline class=(format!("member {}", series_class(0))) points=(through(&line.through)) fill="none"
                    stroke=(series(0)) stroke-width="2.4" {}
            }
            @for foot in &wire.feet {
                @if let Some((x, y)) = at(*foot) {
                    path class="foot mark" transform=(format!("translate({x} {y})")) data-point=(foot)
                        d="M0 0l-7 12h14z" fill=(TEXT) {}
                }
            }
            @for (point, name) in &wire.names {
                @if let Some((x, y)) = at(*point) {
                    @let (dx, dy, anchor) = beside(*point, wire, &at);
                    text class="name halo" transform=(format!("translate({x} {y})")) data-point=(point) x=(dx) y=(dy)
                        text-anchor=(anchor) stroke=(PAPER) stroke-width="4" paint-order="stroke" {
                        (fitted(name, names))
                    }
                }
            }
        }
        (axes(height))
    };
    sheet(id, (size.width(), height), &wire.title, &description(wire), content)
}

/// Where the name of a point stands: away from the lines that meet there.
fn beside(point: usize, wire: &Wire, at: &dyn Fn(usize) -> Option<(f64, f64)>) -> (i32, i32, &'static str) {
    let pairs = wire.lines.iter().flat_map(|line| line.through.windows(2)).filter_map(|pair| match pair {
        [a, b] if *a == point => Some(*b),
        [a, b] if *b == point => Some(*a),
        _ => None,
    });
    let (mut u, mut v) = (0.0, 0.0);
    if let Some((x, y)) = at(point) {
        for (nx, ny) in pairs.filter_map(at) {
            let length = (nx - x).hypot(ny - y).max(1e-9);
            u += (nx - x) / length;
            v += (ny - y) / length;
        }
    }
    let held = wire.feet.contains(&point);
    let dy = match (v < -0.3, held) {
        (true, true) => 26,
        (true, false) => 18,
        (false, _) => -6,
    };
    match u {
        u if u > 0.35 => (-10, dy.min(18), "end"),
        u if u < -0.35 => (10, dy.min(18), "start"),
        _ => (0, dy, "middle"),
    }
}

/// The directions of x, y and z in the lower left corner.
fn axes(height: f64) -> Markup {
    let ends = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(seen);
    let foot = (34.0, height - 44.0);
    html! {
        g class="compass" transform=(format!("translate({} {})", foot.0, foot.1)) stroke=(QUIET) fill=(QUIET) {
            @for (end, name) in ends.iter().zip(["x", "y", "z"]) {
                line x1="0" y1="0" x2=(r(26.0 * end[0])) y2=(r(-26.0 * end[1])) {}
                text class="quiet" x=(r(36.0 * end[0])) y=(r(4.0 - 36.0 * end[1])) text-anchor="middle" stroke="none" {
                    (name)
                }
            }
        }
    }
}

fn description(wire: &Wire) -> String {
    let span = |i: usize| {
        let values = || wire.points.iter().map(|p| p[i]).filter(|v| v.is_finite());
        let span = values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min);
        figures(span * 1e3, 3)
    };
    format!(
        "{} members in a space of {} by {} by {} millimetres along x, y and z; {} points are held.",
        wire.lines.len(),
        span(0),
        span(1),
        span(2),
        wire.feet.len()
    )
}
