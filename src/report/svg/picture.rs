//! A section to scale: areas hatched by material, with overall dimensions.

use super::palette::{PAPER, QUIET, TEXT, hatched};
use super::sheet::{LegendEntry, Size, legend, sheet, text_width};
use crate::block::{Area, Picture};
use crate::number::tenths;
use crate::view::extent;
use maud::{Markup, html};
use stillbed_input::quantity::figures;

pub(super) fn draw(picture: &Picture, size: Size, id: &str) -> Markup {
    let Some((low, high)) = extent(picture.corners()) else {
        let nothing = html! { text x="2" y="14" { "nothing to draw" } };
        return sheet(id, (size.width(), 24.0), &picture.title, "nothing to draw", nothing);
    };
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    let side = text_width(&millimetres(tall)) + 30.0;
    let (room, most) = (
        size.width() - side - 16.0,
        match size {
            Size::Wide => 360.0,
            Size::Narrow => 300.0,
            Size::Small => 190.0,
        },
    );
    let scale = (room.min(520.0) / wide).min(most / tall);
    let (left, top) = (12.0, 12.0);
    let place =
        |p: &[f64; 2]| (tenths(left + (p[0] - low[0]) * scale), tenths(top + (high[1] - p[1]) * scale));
    let (right, bottom) = (left + wide * scale, top + tall * scale);
    let (legend, end) = legend(entries(picture, id), 6.0, size.width() - 6.0, bottom + 46.0);
    let content = html! {
        @for (i, area) in picture.areas.iter().enumerate() {
            (filled(area, picture, &format!("{id}-area-{i}"), &place))
        }
        @for line in &picture.lines {
            polyline class="mark" points=(joined(&line.points, &place)) fill="none" stroke=(TEXT)
                stroke-dasharray="12 3 2 3" {}
        }
        @for (i, label) in picture.labels.iter().enumerate() {
            @let (x, y) = place(&label.at);
            (target(x, y))
            text class="halo" x=(tenths(x + 9.0)) y=(tenths(y - 6.0)) font-weight="600" stroke=(PAPER) stroke-width="4"
                paint-order="stroke" {
                (i + 1)
            }
        }
        (dimensions((left, right), (top, bottom), &millimetres(wide), &millimetres(tall)))
        (legend)
    };
    sheet(id, (size.width(), end + 4.0), &picture.title, &description(picture, wide, tall), content)
}

fn millimetres(length: f64) -> String {
    format!("{} mm", figures(length * 1e3, 4))
}

fn description(picture: &Picture, wide: f64, tall: f64) -> String {
    let names: Vec<&str> = picture.materials.iter().map(|filling| filling.name.as_str()).collect();
    let size = format!("Drawn to scale, {} wide and {} high", millimetres(wide), millimetres(tall));
    if names.is_empty() { format!("{size}.") } else { format!("{size}, of {}.", names.join(", ")) }
}

fn joined(points: &[[f64; 2]], place: &dyn Fn(&[f64; 2]) -> (f64, f64)) -> String {
    let finite = points.iter().filter(|p| p[0].is_finite() && p[1].is_finite());
    let pairs = finite.map(|p| {
        let (x, y) = place(p);
        format!("{x},{y}")
    });
    pairs.collect::<Vec<_>>().join(" ")
}

fn filled(area: &Area, picture: &Picture, id: &str, place: &dyn Fn(&[f64; 2]) -> (f64, f64)) -> Markup {
    let rings = std::iter::once(&area.outline).chain(&area.holes);
    let path: String = rings
        .map(|ring| joined(ring, place))
        .filter(|ring| !ring.is_empty())
        .map(|ring| format!("M{ring}Z"))
        .collect();
    let field = extent(area.outline.iter()).map(|(low, high)| {
        let ((left, bottom), (right, top)) = (place(&low), place(&high));
        [left, top, right, bottom]
    });
    let filling = picture.materials.get(area.material);
    let empty = filling.is_none_or(|filling| filling.empty);
    look(empty, id, filling.map_or(0, |filling| filling.look), &path, field.unwrap_or_default())
}

/// A shape filled with the n-th material.
fn look(empty: bool, id: &str, n: usize, path: &str, field: [f64; 4]) -> Markup {
    if !empty {
        return hatched(id, n, path, field);
    }
    html! { path class="paper outline" d=(path) fill=(PAPER) fill-rule="evenodd" stroke=(TEXT) stroke-width="1.2" {} }
}

/// A circle with a cross, the drawing symbol of a centre.
fn target(x: f64, y: f64) -> Markup {
    html! {
        circle class="halo" cx=(x) cy=(y) r="5" fill=(PAPER) stroke=(PAPER) stroke-width="3" {}
        path class="mark" d=(format!("M{} {y}h14M{x} {}v14", tenths(x - 7.0), tenths(y - 7.0))) stroke=(TEXT) {}
        circle class="mark" cx=(x) cy=(y) r="4" fill="none" stroke=(TEXT) stroke-width="1.4" {}
    }
}

/// Dimension lines: overall width below the drawing, overall height beside it.
fn dimensions((left, right): (f64, f64), (top, bottom): (f64, f64), wide: &str, tall: &str) -> Markup {
    let (y, x) = (bottom + 20.0, right + 16.0);
    let arrow = |x: f64, y: f64, dx: f64, dy: f64| {
        let (tx, ty) = (x + 7.0 * dx, y + 7.0 * dy);
        format!(
            "M{} {}L{} {}L{} {}Z",
            tenths(x),
            tenths(y),
            tenths(tx - 2.5 * dy),
            tenths(ty - 2.5 * dx),
            tenths(tx + 2.5 * dy),
            tenths(ty + 2.5 * dx)
        )
    };
    let heads = [(left, y, 1.0, 0.0), (right, y, -1.0, 0.0), (x, top, 0.0, 1.0), (x, bottom, 0.0, -1.0)];
    let lines = format!(
        "M{l} {}V{}M{rt} {}V{}M{l} {y1}H{rt}M{} {t}H{}M{} {b}H{}M{x1} {t}V{b}",
        tenths(bottom + 4.0),
        tenths(y + 4.0),
        tenths(bottom + 4.0),
        tenths(y + 4.0),
        tenths(right + 4.0),
        tenths(x + 4.0),
        tenths(right + 4.0),
        tenths(x + 4.0),
        l = tenths(left),
        rt = tenths(right),
        y1 = tenths(y),
        t = tenths(top),
        b = tenths(bottom),
        x1 = tenths(x)
    );
    html! {
        g class="dimension" stroke=(QUIET) fill=(QUIET) stroke-width="0.8" {
            path d=(lines) fill="none" {}
            path d=(heads.map(|(x, y, dx, dy)| arrow(x, y, dx, dy)).join("")) {}
        }
        text class="quiet" fill=(QUIET) x=(tenths((left + right) / 2.0)) y=(tenths(y + 16.0)) text-anchor="middle" { (wide) }
        text class="quiet" fill=(QUIET) x=(tenths(x + 8.0)) y=(tenths((top + bottom) / 2.0 + 4.5)) { (tall) }
    }
}

fn entries(picture: &Picture, id: &str) -> Vec<LegendEntry> {
    let materials = picture.materials.iter().enumerate().map(|(n, filling)| LegendEntry {
        sign: look(
            filling.empty,
            &format!("{id}-sign-{n}"),
            filling.look,
            "M1 -2h26v15h-26z",
            [1.0, -2.0, 27.0, 13.0],
        ),
        name: filling.name.clone(),
    });
    let labels = picture.labels.iter().enumerate().map(|(i, label)| LegendEntry {
        sign: html! { (target(8.0, 6.0)) text x="17" y="10" font-weight="600" { (i + 1) } },
        name: label.text.clone(),
    });
    let lines = picture.lines.iter().map(|line| LegendEntry {
        sign: html! { line class="mark" x1="0" y1="6" x2="28" y2="6" stroke=(TEXT) stroke-dasharray="12 3 2 3" {} },
        name: line.label.clone(),
    });
    materials.chain(labels).chain(lines).filter(|entry| !entry.name.is_empty()).collect()
}
