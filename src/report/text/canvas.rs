//! A grid of characters for drawing lines in braille dots, two across and four up per cell.

use super::palette::Palette;
use super::style::Style;
use textplots::{Chart, Plot, Shape};
use unicode_width::UnicodeWidthChar;

/// Dash pattern of a line, so that lines differ without colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stroke {
    Solid,
    /// Lengths of dash and gap, in dots.
    Dashed(f64, f64),
    /// Only the points themselves.
    Points,
}

impl Stroke {
    /// The stroke of the n-th line.
    pub(super) fn nth(i: usize) -> Stroke {
        [Stroke::Solid, Stroke::Dashed(5.0, 4.0), Stroke::Dashed(1.0, 2.0), Stroke::Dashed(11.0, 4.0)][i % 4]
    }

    /// Sample for the legend.
    pub(super) fn sample(self) -> &'static str {
        match self {
            Stroke::Solid => "───",
            Stroke::Dashed(on, _) if on < 2.0 => "···",
            Stroke::Dashed(on, _) if on < 8.0 => "╌╌╌",
            Stroke::Dashed(..) => "─ ─",
            Stroke::Points => "∙ ∙",
        }
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Glyph {
    dots: u32,
    /// A character shown instead of the dots; `Some('\0')` is the second half of a wide character.
    letter: Option<char>,
    colour: Palette,
}

/// A grid of characters. Dots are counted from the lower left corner, cells from the upper left.
pub(super) struct Canvas {
    columns: usize,
    rows: usize,
    cells: Vec<Glyph>,
}

impl Canvas {
    /// An empty canvas of at least 17 columns and one row: a plot narrower than 32 dots is refused.
    pub(super) fn new(columns: usize, rows: usize) -> Canvas {
        let (columns, rows) = (columns.max(17), rows.max(1));
        Canvas { columns, rows, cells: vec![Glyph::default(); columns * rows] }
    }

    pub(super) fn columns(&self) -> usize {
        self.columns
    }

    pub(super) fn rows(&self) -> usize {
        self.rows
    }

    /// Coordinates of the dot in the upper right corner.
    pub(super) fn last_dot(&self) -> (f64, f64) {
        ((2 * self.columns - 1) as f64, (4 * self.rows - 1) as f64)
    }

    /// Draws the line through `points`, given in dots. It is clipped at the edges and interrupted at points
    /// that are not finite.
    pub(super) fn polyline(&mut self, points: &[(f64, f64)], stroke: Stroke, colour: Palette) {
        let last = self.last_dot();
        let dots: Vec<(f32, f32)> = match stroke {
            Stroke::Points => {
                points.iter().filter(|p| inside(**p, last)).map(|p| (p.0 as f32, p.1 as f32)).collect()
            }
            Stroke::Solid => walk(points, last, |_| true),
            Stroke::Dashed(on, off) => walk(points, last, |at| at % (on + off) < on),
        };
        if !dots.is_empty() {
            self.stamp(&dots, colour);
        }
    }

    fn stamp(&mut self, dots: &[(f32, f32)], colour: Palette) {
        let (right, top) = self.last_dot();
        let shape = Shape::Points(dots);
        let mut chart = Chart::new_with_y_range(right as u32, top as u32, 0.0, right as f32, 0.0, top as f32);
        let chart = chart.lineplot(&shape);
        chart.figures();
        for (row, line) in chart.frame().lines().enumerate().take(self.rows) {
            for (column, c) in line.chars().enumerate().take(self.columns) {
                let dots = u32::from(c).wrapping_sub(0x2800);
                if (1..=0xff).contains(&dots) {
                    let cell = &mut self.cells[row * self.columns + column];
                    cell.dots |= dots;
                    cell.letter = None;
                    cell.colour = colour;
                }
            }
        }
    }

    /// The cell of a dot: column and row from the upper left.
    pub(super) fn cell_of(&self, dot: (f64, f64)) -> (usize, usize) {
        let column = (dot.0.round().max(0.0) as usize / 2).min(self.columns - 1);
        let from_top = (self.last_dot().1 - dot.1.round()).max(0.0) as usize / 4;
        (column, from_top.min(self.rows - 1))
    }

    /// True if nothing is written in the `width` cells from `column` on.
    pub(super) fn is_free(&self, column: usize, row: usize, width: usize) -> bool {
        row < self.rows
            && column + width <= self.columns
            && self.cells[row * self.columns + column..][..width]
                .iter()
                .all(|c| c.letter.is_none() && c.dots == 0)
    }

    /// Writes text from `column` on, in place of dots; it is cut off at the edge.
    pub(super) fn text(&mut self, column: usize, row: usize, text: &str, colour: Palette) {
        let mut at = column;
        for c in text.chars() {
            let width = c.width().unwrap_or(0);
            if width == 0 {
                continue;
            }
            if row >= self.rows || at + width > self.columns {
                return;
            }
            for (i, letter) in [c, '\0'][..width.min(2)].iter().enumerate() {
                self.cells[row * self.columns + at + i] = Glyph { dots: 0, letter: Some(*letter), colour };
            }
            at += width;
        }
    }

    /// The rows from top to bottom, without trailing spaces.
    pub(super) fn lines(&self, style: &Style) -> Vec<String> {
        self.cells.chunks(self.columns).map(|row| line(row, style)).collect()
    }
}

fn line(row: &[Glyph], style: &Style) -> String {
    let shown = |cell: &Glyph| match cell.letter {
        Some(letter) => letter,
        None if cell.dots == 0 => ' ',
        None => char::from_u32(0x2800 + cell.dots).unwrap_or(' '),
    };
    let end = row.iter().rposition(|cell| shown(cell) != ' ').map_or(0, |i| i + 1);
    let runs = row[..end].chunk_by(|a, b| a.colour == b.colour);
    let run = |cells: &[Glyph]| {
        let text: String = cells.iter().map(shown).filter(|c| *c != '\0').collect();
        style.paint(&text, cells[0].colour)
    };
    runs.map(run).collect()
}

fn inside(p: (f64, f64), last: (f64, f64)) -> bool {
    (-0.5..=last.0 + 0.49).contains(&p.0) && (-0.5..=last.1 + 0.49).contains(&p.1)
}

/// The dots along `points` for which `drawn` is true at the length from the start.
fn walk(points: &[(f64, f64)], last: (f64, f64), drawn: impl Fn(f64) -> bool) -> Vec<(f32, f32)> {
    let mut dots = Vec::new();
    let mut length = 0.0;
    for pair in points.windows(2) {
        let Some((from, to)) = clipped(pair[0], pair[1], last) else { continue };
        let (du, dv) = (to.0 - from.0, to.1 - from.1);
        // Length is counted along the larger component, so that dashes look alike at all slopes.
        let steps = du.abs().max(dv.abs()).ceil().max(1.0);
        for i in 0..=steps as usize {
            let part = i as f64 / steps;
            if drawn(length + part * du.abs().max(dv.abs())) {
                dots.push(((from.0 + part * du) as f32, (from.1 + part * dv) as f32));
            }
        }
        length += du.abs().max(dv.abs());
    }
    dots
}

/// The part of a straight segment that lies on the canvas, found from the parameters where it crosses the
/// four sides.
fn clipped(from: (f64, f64), to: (f64, f64), last: (f64, f64)) -> Option<((f64, f64), (f64, f64))> {
    let (du, dv) = (to.0 - from.0, to.1 - from.1);
    if !(du.is_finite() && dv.is_finite()) {
        return None;
    }
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for (start, step, end) in [(from.0, du, last.0), (from.1, dv, last.1)] {
        if step == 0.0 {
            if !(0.0..=end).contains(&start) {
                return None;
            }
            continue;
        }
        let (a, b) = (-start / step, (end - start) / step);
        enter = enter.max(a.min(b));
        leave = leave.min(a.max(b));
    }
    let at = |t: f64| (from.0 + t * du, from.1 + t * dv);
    (enter <= leave).then(|| (at(enter), at(leave)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dots_are_where_they_are_put() {
        let mut canvas = Canvas::new(17, 2);
        canvas.polyline(&[(0.0, 0.0), (33.0, 0.0)], Stroke::Solid, Palette::Plain);
        canvas.polyline(&[(0.0, 7.0)], Stroke::Points, Palette::Plain);
        let lines = canvas.lines(&Style::default());
        assert_eq!(lines, ["⠁", "⣀".repeat(17).as_str()]);
    }

    #[test]
    fn lines_are_cut_at_the_edges_and_broken_where_there_is_no_value() {
        let mut canvas = Canvas::new(17, 1);
        canvas.polyline(
            &[(-1e6, 0.0), (3.0, 0.0), (f64::NAN, 1.0), (9.0, 0.0), (1e9, 0.0)],
            Stroke::Solid,
            Palette::Plain,
        );
        canvas.polyline(&[(0.0, 50.0), (10.0, 50.0)], Stroke::Solid, Palette::Plain);
        assert_eq!(canvas.lines(&Style::default()), [format!("⣀⣀  ⢀{}", "⣀".repeat(12))]);
    }

    #[test]
    fn writing_is_cut_at_the_edge_and_wide_characters_take_two_cells() {
        let mut canvas = Canvas::new(17, 1);
        canvas.text(12, 0, "鋳物鋳物", Palette::Plain);
        canvas.text(0, 0, "a\u{301}b", Palette::Plain);
        assert_eq!(canvas.lines(&Style::default()), ["ab          鋳物"]);
    }

    #[test]
    fn colour_only_where_asked() {
        let mut canvas = Canvas::new(17, 1);
        canvas.text(0, 0, "x", Palette::Error);
        assert_eq!(canvas.lines(&Style::default()), ["x"]);
        assert!(canvas.lines(&Style { colour: true, ..Style::default() })[0].contains('\u{1b}'));
    }
}
