//! A frame in space seen obliquely from above, in braille dots with the names of its points.

use super::canvas::{Canvas, Stroke};
use super::fold::{clean, fold, width};
use super::palette::Palette;
use super::style::{Style, title};
use crate::block::Wireframe;
use crate::view::{extent, seen};

const ROWS: usize = 20;

pub(super) fn lines(wireframe: &Wireframe, style: &Style) -> Vec<String> {
    let mut lines = title(&wireframe.title, style);
    let points: Vec<[f64; 2]> = wireframe.points.iter().map(|p| seen(*p)).collect();
    let Some((low, high)) = extent(points.iter()) else {
        lines.push(style.paint("nothing to draw", Palette::Quiet));
        return lines;
    };
    let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
    // Names need room on both sides.
    let names =
        wireframe.names.iter().map(|own| width(&own.name)).max().unwrap_or(0).min(style.columns() / 4) + 1;
    let room = (style.columns() - 2 * names).max(16) as f64;
    let scale = ((2.0 * room - 1.0) / wide).min((4 * ROWS - 1) as f64 / tall);
    // One more row above and one below for names.
    let mut canvas = Canvas::new(style.columns(), ((tall * scale + 1.0) / 4.0).ceil() as usize + 2);
    let indent = (canvas.last_dot().0 - wide * scale) / 2.0;
    let dot = |p: &[f64; 2]| (indent + (p[0] - low[0]) * scale, (p[1] - low[1]) * scale + 4.0);
    for line in &wireframe.lines {
        let through: Vec<(f64, f64)> = line.through.iter().filter_map(|i| points.get(*i)).map(dot).collect();
        canvas.polyline(&through, Stroke::Solid, Palette::Series(0));
    }
    for foot in wireframe.feet.iter().filter_map(|i| points.get(*i)) {
        let (column, row) = canvas.cell_of(dot(foot));
        canvas.text(column, row, "▲", Palette::Strong);
    }
    for own in &wireframe.names {
        if let Some(p) = points.get(own.point) {
            write_name(&mut canvas, dot(p), &clean(&own.name), 2.0 * p[0] < low[0] + high[0]);
        }
    }
    let drawn = canvas.lines(style);
    let end = drawn.iter().rposition(|line| !line.is_empty()).map_or(0, |i| i + 1);
    lines.extend(drawn[..end].iter().skip_while(|line| line.is_empty()).cloned());
    let feet = if wireframe.feet.is_empty() { "" } else { "; ▲ held" };
    let axes = format!("x to the right and near, y to the right and far, z up{feet}");
    lines.extend(fold(&axes, style.columns()).iter().map(|line| style.paint(line, Palette::Quiet)));
    lines
}

/// Writes a name beside its point where there is room: first outwards, then around it.
fn write_name(canvas: &mut Canvas, at: (f64, f64), name: &str, leftwards: bool) {
    let (column, row) = canvas.cell_of(at);
    let long = width(name);
    let before = column.checked_sub(long + 1);
    let after = Some(column + 2);
    let above = column.checked_sub(long / 2);
    let (first, second) = if leftwards { (before, after) } else { (after, before) };
    let tries = [
        (first, Some(row)),
        (second, Some(row)),
        (above, row.checked_sub(1)),
        (above, Some(row + 1)),
        (first, row.checked_sub(1)),
        (first, Some(row + 1)),
        (second, row.checked_sub(1)),
        (second, Some(row + 1)),
    ];
    for (start, row) in tries {
        if let (Some(start), Some(row)) = (start, row)
            && canvas.is_free(start, row, long)
        {
            canvas.text(start, row, name, Palette::Plain);
            return;
        }
    }
}
