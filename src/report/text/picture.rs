//! A section to scale: each material in its own shade, with a legend and a scale bar.
//!
//! A character is taken as twice as high as wide. It shows the material that fills most of it; a wall
//! thinner than a character is shown in the cells where it fills most.

use super::canvas::{Canvas, Stroke};
use super::palette::Palette;
use super::style::{Style, legend, title};
use crate::block::{Area, Picture};
use crate::number::round_step;
use crate::view::extent;
use stillbed_input::quantity::figures;

const SHADES: [char; 8] = ['█', '░', '▓', '╱', '▒', '╳', '╲', '∙'];
/// Sample points per cell, across and up.
const ACROSS: usize = 4;
const UP: usize = 8;
/// Share of a cell that a thin wall must fill to be drawn.
const TRACE: f64 = 0.1;
const MOST_ROWS: usize = 24;

/// The map from metres to dots.
struct Frame {
    low: [f64; 2],
    /// Dots per metre, equal in both directions since dots are as high as wide.
    dots: f64,
}

pub(super) fn lines(picture: &Picture, style: &Style) -> Vec<String> {
    let mut lines = title(&picture.title, style);
    let Some((low, high)) = extent(picture.corners()) else {
        lines.push(style.paint("nothing to draw", Palette::Quiet));
        return lines;
    };
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    let most_columns = style.columns().min(64);
    let dots = (2.0 * most_columns as f64 / wide).min(4.0 * MOST_ROWS as f64 / tall);
    let cells = |length: f64, a_cell: f64| ((length * dots / a_cell - 1e-9).ceil() as usize).max(1);
    let mut canvas = Canvas::new(cells(wide, 2.0), cells(tall, 4.0));
    // Centred vertically, aligned left horizontally.
    let slack = canvas.rows() as f64 * 4.0 - tall * dots;
    let frame = Frame { low: [low[0], low[1] - slack / 2.0 / dots], dots };
    fill(picture, &frame, &mut canvas);
    overlay(picture, &frame, &mut canvas);
    lines.extend(canvas.lines(style));
    lines.push(style.paint(&scale_bar(dots, wide), Palette::Quiet));
    lines.extend(legend(&entries(picture), style));
    lines
}

fn shade(picture: &Picture, material: usize) -> char {
    if picture.materials[material].empty { '·' } else { SHADES[material % SHADES.len()] }
}

fn fill(picture: &Picture, frame: &Frame, canvas: &mut Canvas) {
    let (columns, rows) = (canvas.columns(), canvas.rows());
    let mut seen = vec![vec![0usize; picture.materials.len()]; columns * rows];
    let mut total = vec![0usize; picture.materials.len()];
    for row in 0..rows {
        for column in 0..columns {
            for i in 0..ACROSS * UP {
                let u = 2.0 * (column as f64 + ((i % ACROSS) as f64 + 0.5) / ACROSS as f64);
                let v = 4.0 * ((rows - row) as f64 - ((i / ACROSS) as f64 + 0.5) / UP as f64);
                let at = [frame.low[0] + u / frame.dots, frame.low[1] + v / frame.dots];
                let top = picture.areas.iter().rev().find(|area| contains(area, at));
                if let Some(area) = top.filter(|area| area.material < total.len()) {
                    seen[row * columns + column][area.material] += 1;
                    total[area.material] += 1;
                }
            }
        }
    }
    let share = |column: usize, row: usize, m: usize| {
        let inside = column < columns && row < rows;
        if inside { seen[row * columns + column][m] as f64 / (ACROSS * UP) as f64 } else { 0.0 }
    };
    for row in 0..rows {
        for column in 0..columns {
            let shown = |m: &usize| {
                let beside = |right: usize, down: usize| {
                    share((column + right).wrapping_sub(1), (row + down).wrapping_sub(1), *m)
                };
                let across = (beside(0, 1), beside(2, 1));
                let up = (beside(1, 0), beside(1, 2));
                is_shown(share(column, row, *m), across, up)
            };
            if let Some(material) = (0..total.len()).filter(shown).min_by_key(|m| total[*m]) {
                canvas.text(column, row, &shade(picture, material).to_string(), Palette::Series(material));
            }
        }
    }
}

/// True if a material that fills the share `own` of a cell is shown there: it fills at least half, or it is a
/// thin wall that fills no less of this cell than of its neighbours `across` or `up`.
fn is_shown(own: f64, across: (f64, f64), up: (f64, f64)) -> bool {
    let ridge = |(a, b): (f64, f64), along: (f64, f64)| {
        own >= a.max(b) && own > a.min(b) && along.0.min(along.1) > 0.0
    };
    let corner = own >= across.0.max(across.1) && own >= up.0.max(up.1);
    own >= 0.5 || own >= TRACE && (ridge(across, up) || ridge(up, across) || corner)
}

/// True if `at` is inside the outline and outside all holes, by counting crossings of a ray.
fn contains(area: &Area, at: [f64; 2]) -> bool {
    let inside = |ring: &[[f64; 2]]| {
        let mut odd = false;
        for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
            if (a[1] > at[1]) != (b[1] > at[1])
                && at[0] < a[0] + (at[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
            {
                odd = !odd;
            }
        }
        odd
    };
    inside(&area.outline) && !area.holes.iter().any(|hole| inside(hole))
}

fn overlay(picture: &Picture, frame: &Frame, canvas: &mut Canvas) {
    let dot =
        |p: &[f64; 2]| ((p[0] - frame.low[0]) * frame.dots - 0.5, (p[1] - frame.low[1]) * frame.dots - 0.5);
    for line in &picture.lines {
        let points: Vec<(f64, f64)> = line.points.iter().map(dot).collect();
        canvas.polyline(&points, Stroke::Solid, Palette::Plain);
    }
    for (i, label) in picture.labels.iter().enumerate() {
        let at = dot(&label.at);
        let (right, top) = canvas.last_dot();
        if (-1.0..=right + 1.0).contains(&at.0) && (-1.0..=top + 1.0).contains(&at.1) {
            let (column, row) = canvas.cell_of(at);
            canvas.text(column, row, &number(i), Palette::Strong);
        }
    }
}

/// The number of the n-th label.
fn number(i: usize) -> String {
    char::from(b'1' + (i % 9) as u8).to_string()
}

/// A scale bar of round length, at most half as wide as the drawing.
fn scale_bar(dots: f64, wide: f64) -> String {
    let length = round_step(wide / 2.5e-3, 1).max(1e-6) * 1e-3;
    let length = if length > 0.75 * wide { length / 2.0 } else { length };
    let columns = ((length * dots / 2.0).round() as usize).max(2);
    format!("├{}┤ {} mm", "─".repeat(columns - 2), figures(length * 1e3, 3))
}

fn entries(picture: &Picture) -> Vec<(String, String, Palette)> {
    let materials = picture.materials.iter().enumerate().map(|(m, filling)| {
        (shade(picture, m).to_string().repeat(2), filling.name.clone(), Palette::Series(m))
    });
    let labels =
        picture.labels.iter().enumerate().map(|(i, label)| (number(i), label.text.clone(), Palette::Strong));
    let lines = picture.lines.iter().map(|line| ("──".to_string(), line.label.clone(), Palette::Plain));
    materials.chain(labels).chain(lines).filter(|(_, name, _)| !name.is_empty()).collect()
}
