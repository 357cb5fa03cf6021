//! Lines over two axes, drawn in braille dots with ticks that are round in the shown units.

use super::canvas::{Canvas, Stroke};
use super::fold::{cut, fold, left, right, width};
use super::palette::Palette;
use super::style::{Style, legend, title};
use crate::block::{Curve, Mark};
use crate::scale::Scale;

const ROWS: usize = 15;
/// A letter this far from other lines is clear of them, in dots.
const FAR: f64 = 12.0;

pub(super) fn lines(curve: &Curve, style: &Style) -> Vec<String> {
    let (x, y) = scales(curve);
    let gutter = y.ticks.iter().map(|tick| width(&tick.label)).max().unwrap_or(0).min(12);
    let mut canvas = Canvas::new(style.columns() - gutter - 3, ROWS);
    draw(curve, &x, &y, &mut canvas);

    let mut lines = title(&curve.title, style);
    lines.extend(fold(&curve.y.unit.after(&curve.y.title), style.columns()));
    lines.extend(with_y_axis(&canvas, &y, gutter, style));
    lines.extend(x_axis(&canvas, &x, gutter, style));
    lines.push(right(
        &cut(&curve.x.unit.after(&curve.x.title), style.columns()),
        gutter + 2 + canvas.columns(),
    ));
    lines.extend(legend(&entries(curve), style));
    lines
}

fn scales(curve: &Curve) -> (Scale, Scale) {
    let along = |i: usize| curve.series.iter().flat_map(move |s| s.points.iter().map(move |p| p[i]));
    let levels = curve.marks.iter().filter_map(|mark| match mark {
        Mark::Y { at, .. } => Some(*at),
        _ => None,
    });
    (Scale::tight(&curve.x, along(0), 6), Scale::rounded(&curve.y, along(1).chain(levels), 5))
}

fn draw(curve: &Curve, x: &Scale, y: &Scale, canvas: &mut Canvas) {
    let (right, top) = canvas.last_dot();
    let dot = |p: &[f64; 2]| {
        let at = |scale: &Scale, v: f64, end: f64| scale.fraction(v).map_or(f64::NAN, |f| f * end);
        (at(x, p[0], right), at(y, p[1], top))
    };
    let faint = Stroke::Dashed(1.0, 3.0);
    for mark in &curve.marks {
        match mark {
            Mark::X { at, .. } => {
                canvas.polyline(&[dot(&[*at, y.low]), dot(&[*at, y.high])], faint, Palette::Quiet)
            }
            Mark::Y { at, .. } => {
                canvas.polyline(&[dot(&[x.low, *at]), dot(&[x.high, *at])], faint, Palette::Quiet)
            }
            Mark::Band { from, to, .. } => {
                for end in [from, to] {
                    canvas.polyline(&[dot(&[*end, y.low]), dot(&[*end, y.high])], faint, Palette::Quiet);
                }
            }
        }
    }
    let many = curve.series.len() > 1;
    let dots: Vec<Vec<(f64, f64)>> =
        curve.series.iter().map(|s| s.points.iter().map(dot).collect()).collect();
    for (i, points) in dots.iter().enumerate() {
        let stroke = if curve.series[i].scattered { Stroke::Points } else { Stroke::nth(i) };
        canvas.polyline(points, stroke, Palette::Series(i));
    }
    for i in (0..dots.len()).filter(|_| many) {
        for at in letter_places(&dots, i, right, top) {
            let (column, row) = canvas.cell_of(at);
            canvas.text(column, row, &letter(i), Palette::Series(i));
        }
    }
    for (i, mark) in curve.marks.iter().enumerate() {
        let at = match mark {
            Mark::X { at, .. } => dot(&[*at, y.high]),
            Mark::Y { at, .. } => dot(&[x.high, *at]),
            Mark::Band { from, to, .. } => match (x.fraction(from.max(x.low)), x.fraction(to.min(x.high))) {
                (Some(a), Some(b)) if a <= b => ((a + b) / 2.0 * right, top),
                _ => (f64::NAN, f64::NAN),
            },
        };
        if (0.0..=right).contains(&at.0) && (0.0..=top).contains(&at.1) {
            let (column, row) = canvas.cell_of(at);
            canvas.text(column, row, &number(i), Palette::Strong);
        }
    }
}

/// Up to two places on the n-th line for its letter, one in each half, away from other lines.
fn letter_places(lines: &[Vec<(f64, f64)>], n: usize, right: f64, top: f64) -> Vec<(f64, f64)> {
    let clear = |p: (f64, f64)| {
        let others = lines.iter().enumerate().filter(|(i, _)| *i != n).flat_map(|(_, line)| line);
        let near = others.filter(|q| (q.0 - p.0).abs() < 3.0).map(|q| (q.1 - p.1).abs());
        near.fold(FAR, f64::min)
    };
    let highest = lines[n].iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let in_half = |half: f64| {
        let middle = (half + 0.5 * (n as f64 + 0.6) / lines.len() as f64) * right;
        let shown = lines[n].iter().copied().filter(move |p| {
            (0.0..=top).contains(&p.1) && (half * right..=(half + 0.5) * right).contains(&p.0)
        });
        // Letters avoid the peak, which must stay visible.
        let peak = |p: (f64, f64)| if p.1 > highest - 8.0 { FAR } else { 0.0 };
        let score = |p: (f64, f64)| clear(p) - peak(p) - 2.0 * FAR * (p.0 - middle).abs() / right;
        shown.max_by(|a, b| score(*a).total_cmp(&score(*b)))
    };
    [0.0, 0.5].into_iter().filter_map(in_half).collect()
}

fn letter(i: usize) -> String {
    char::from(b'A' + (i % 26) as u8).to_string()
}

/// The number of the n-th mark.
fn number(i: usize) -> String {
    char::from(b'1' + (i % 9) as u8).to_string()
}

fn entries(curve: &Curve) -> Vec<(String, String, Palette)> {
    let many = curve.series.len() > 1;
    let series = curve.series.iter().enumerate().map(|(i, series)| {
        let sample = if series.scattered { Stroke::Points } else { Stroke::nth(i) }.sample();
        let sign = if many { format!("{} {sample}", letter(i)) } else { sample.to_string() };
        (sign, series.name.clone(), Palette::Series(i))
    });
    let marks = curve
        .marks
        .iter()
        .enumerate()
        .map(|(i, mark)| (number(i), mark.label().to_string(), Palette::Strong));
    series.chain(marks).filter(|(_, name, _)| !name.is_empty()).collect()
}

fn with_y_axis(canvas: &Canvas, y: &Scale, gutter: usize, style: &Style) -> Vec<String> {
    let top = canvas.last_dot().1;
    let row_of = |at: f64| y.fraction(at).map(|f| canvas.cell_of((0.0, f * top)).1);
    let axis = |(row, line): (usize, String)| {
        let tick = y.ticks.iter().find(|tick| row_of(tick.at) == Some(row));
        let label = tick.map_or(String::new(), |tick| cut(&tick.label, gutter));
        let sign = if tick.is_some() { "┤" } else { "│" };
        format!("{} {}{line}", right(&label, gutter), style.paint(sign, Palette::Quiet))
    };
    canvas.lines(style).into_iter().enumerate().map(axis).collect()
}

fn x_axis(canvas: &Canvas, x: &Scale, gutter: usize, style: &Style) -> Vec<String> {
    let mut rule: Vec<char> = vec!['─'; canvas.columns()];
    let mut labels = String::new();
    for tick in &x.ticks {
        let Some(part) = x.fraction(tick.at) else { continue };
        let (column, _) = canvas.cell_of((part * canvas.last_dot().0, 0.0));
        rule[column] = '┬';
        let wide = width(&tick.label);
        let start = (gutter + 2 + column + 1)
            .saturating_sub(wide.div_ceil(2))
            .min(gutter + 2 + canvas.columns() - wide);
        if labels.is_empty() || start > labels.chars().count() {
            labels = left(&labels, start) + &tick.label;
        }
    }
    let rule: String = rule.into_iter().collect();
    vec![format!("{}{}", " ".repeat(gutter + 1), style.paint(&format!("└{rule}"), Palette::Quiet)), labels]
}
