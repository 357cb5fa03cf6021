//! Bars: each with its value, and below it a whisker for the spread.

use super::fold::{fold, left, width};
use super::palette::Palette;
use super::style::Style;
use crate::block::{Axis, Bar, Bars};
use crate::number::significant;
use crate::scale::Scale;
use stillbed_input::quantity::Spread;

/// Least width of the bars themselves, in characters.
const LEAST_ROOM: usize = 8;

pub(super) fn lines(bars: &Bars, style: &Style) -> Vec<String> {
    let mut lines = fold(&bars.unit.after(&bars.title), style.columns())
        .iter()
        .map(|line| style.paint(line, Palette::Strong))
        .collect::<Vec<_>>();
    let figure = |value: f64| significant(value / bars.unit.size, 3);
    let names = bars.bars.iter().map(|bar| width(&bar.label)).max().unwrap_or(0).min(style.columns() / 3);
    let most = style.columns() - names - 3 - LEAST_ROOM;
    let texts: Vec<(String, String)> = bars
        .bars
        .iter()
        .map(|bar| texts(bar.value, &figure))
        .map(|(value, spread)| (cut(&value, most), cut(&spread, most)))
        .collect();
    let figures = texts.iter().flat_map(|t| [width(&t.0), width(&t.1)]).max().unwrap_or(0);
    let room = style.columns().saturating_sub(names + figures + 3).max(LEAST_ROOM);

    let values = bars.bars.iter().filter_map(|bar| bar.value).flat_map(|s| [s.value, s.low, s.high]);
    let axis = Axis::linear("", bars.unit, "");
    let scale = Scale::rounded(&axis, values.chain([0.0]), 4);
    for (bar, (value, spread)) in bars.bars.iter().zip(&texts) {
        let (solid, whisker) = drawn(bar, &scale, room);
        let mut names_left = fold(&bar.label, names).into_iter();
        let mut push = |drawing: &str, text: &str, colour: Palette| {
            let name = left(&names_left.next().unwrap_or_default(), names);
            let rest = format!("{} {text}", left(drawing, room));
            lines.push(format!("{name} {}", style.paint(rest.trim_end(), colour)).trim_end().to_string());
        };
        push(&solid, value, Palette::Plain);
        if let Some(whisker) = whisker {
            push(&whisker, spread, Palette::Quiet);
        }
        lines.extend(names_left);
    }
    if !bars.bars.is_empty() {
        lines.push(style.paint(&rule(&scale, room, names + 1, style.columns()), Palette::Quiet));
    }
    lines
}

/// `text` cut to `most` columns, with an ellipsis if something is cut off.
fn cut(text: &str, most: usize) -> String {
    if width(text) <= most {
        return text.to_string();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

/// The value and the spread as text.
fn texts(value: Option<Spread>, figure: &dyn Fn(f64) -> String) -> (String, String) {
    match value {
        None => ("-".to_string(), String::new()),
        Some(spread) if spread.is_exact() => (figure(spread.value), String::new()),
        Some(spread) => (figure(spread.value), format!("{}–{}", figure(spread.low), figure(spread.high))),
    }
}

/// The bar, and its whisker where there is a spread.
fn drawn(bar: &Bar, scale: &Scale, room: usize) -> (String, Option<String>) {
    let Some(spread) = bar.value.filter(|s| s.value.is_finite()) else { return (String::new(), None) };
    let at = |value: f64| scale.fraction(value).unwrap_or(0.0).clamp(0.0, 1.0) * room as f64;
    let (from, to) = (at(0.0).min(at(spread.value)), at(0.0).max(at(spread.value)));
    // The free end of a bar to the right is drawn in eighths of a cell.
    let eighths = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    let start = from.round();
    let length = if spread.value < 0.0 { (to.round() - start).max(0.0) } else { (to - start).max(0.0) };
    let (whole, rest) = (length.floor(), ((length.fract()) * 8.0).round() as usize);
    let (whole, rest) = if rest == 8 { (whole + 1.0, 0) } else { (whole, rest) };
    let solid = format!("{}{}{}", " ".repeat(start as usize), "█".repeat(whole as usize), eighths[rest]);
    let whisker = (!spread.is_exact()).then(|| {
        let cell = |value: f64| (at(value) as usize).min(room - 1);
        let (low, high) = (cell(spread.low), cell(spread.high));
        let sign = |i: usize| match i {
            i if i == low && i == high => '┼',
            i if i == low => '├',
            i if i == high => '┤',
            i if i == cell(spread.value) => '┼',
            _ => '─',
        };
        " ".repeat(low) + &(low..=high).map(sign).collect::<String>()
    });
    (solid, whisker)
}

/// The axis below the bars, within `columns`.
fn rule(scale: &Scale, room: usize, indent: usize, columns: usize) -> String {
    let mut line = String::new();
    for tick in &scale.ticks {
        let column = (scale.fraction(tick.at).unwrap_or(0.0) * room as f64).round() as usize;
        let own = width(&tick.label);
        let start = (indent + column).saturating_sub(own / 2).min(columns.saturating_sub(own));
        if line.is_empty() || start > width(&line) {
            line = left(&line, start) + &tick.label;
        }
    }
    line
}
