//! Bars: each name above its bar, with a whisker for the spread.

use super::palette::{GRID, QUIET, TEXT, series, series_class};
use super::sheet::{Size, fitted, sheet, text_width};
use crate::block::{Axis, Bar, Bars};
use crate::number::significant;
use crate::number::tenths;
use crate::scale::Scale;
use maud::{Markup, html};
use stillbed_input::quantity::Spread;

const ROW: f64 = 50.0;
const TOP: f64 = 26.0;

pub(super) fn draw(bars: &Bars, size: Size, id: &str) -> Markup {
    let values = bars.bars.iter().filter_map(|bar| bar.value).flat_map(|s| [s.value, s.low, s.high]);
    let scale = Scale::rounded(&Axis::linear("", bars.unit, ""), values.chain([0.0]), 5);
    let texts: Vec<String> = bars.bars.iter().map(|bar| said(bars, bar.value)).collect();
    let figures = texts.iter().map(|text| text_width(text)).fold(0.0, f64::max).min(0.45 * size.width());
    let (left, right) = (6.0, size.width() - figures - 16.0);
    let at = |value: f64| left + scale.fraction(value).unwrap_or(0.0).clamp(0.0, 1.0) * (right - left);
    let bottom = TOP + ROW * bars.bars.len() as f64;
    let content = html! {
        text class="quiet" fill=(QUIET) x="2" y="14" { (bars.unit.name) }
        @for tick in &scale.ticks {
            line class="grid" x1=(tenths(at(tick.at))) x2=(tenths(at(tick.at))) y1=(TOP) y2=(tenths(bottom)) stroke=(GRID) {}
            text class="quiet" fill=(QUIET) x=(tenths(at(tick.at))) y=(tenths(bottom + 17.0)) text-anchor="middle" {
                (tick.label)
            }
        }
        @for (i, (bar, text)) in bars.bars.iter().zip(&texts).enumerate() {
            (one(bar, text, TOP + ROW * i as f64, right, size, &at))
        }
        line class="axis" x1=(tenths(at(0.0))) x2=(tenths(at(0.0))) y1=(TOP) y2=(tenths(bottom)) stroke=(QUIET) {}
    };
    let sentences: Vec<String> = bars
        .bars
        .iter()
        .zip(&texts)
        .map(|(bar, text)| format!("{}: {text} {}.", bar.label, bars.unit.name))
        .collect();
    sheet(id, (size.width(), bottom + 26.0), &bars.title, &sentences.join(" "), content)
}

fn said(bars: &Bars, value: Option<Spread>) -> String {
    let figure = |v: f64| significant(v / bars.unit.size, 3);
    match value {
        None => "-".to_string(),
        Some(spread) if spread.is_exact() => figure(spread.value),
        Some(s) => format!("{} ({}–{})", figure(s.value), figure(s.low), figure(s.high)),
    }
}

fn one(bar: &Bar, text: &str, top: f64, right: f64, size: Size, at: &dyn Fn(f64) -> f64) -> Markup {
    let middle = top + 33.0;
    html! {
        text x="8" y=(tenths(top + 16.0)) { (fitted(&bar.label, size.width() - 12.0)) }
        @if let Some(spread) = bar.value.filter(|s| s.value.is_finite()) {
            @let (from, to) = (at(0.0).min(at(spread.value)), at(0.0).max(at(spread.value)));
            rect class=(format!("f0 {}", series_class(0))) x=(tenths(from)) y=(tenths(middle - 9.0)) width=(tenths(to - from))
                height="18" fill=(series(0)) fill-opacity="0.35" stroke=(series(0)) {}
            @if !spread.is_exact() {
                path class="mark" fill="none" stroke=(TEXT) stroke-width="1.5"
                    d=(whisker(at(spread.low), at(spread.high), middle)) {}
            }
        }
        text x=(tenths(right + 10.0)) y=(tenths(middle + 4.5)) { (text) }
    }
}

fn whisker(low: f64, high: f64, middle: f64) -> String {
    let (a, b, y) = (tenths(low), tenths(high), tenths(middle));
    format!("M{a} {}v10M{a} {y}H{b}M{b} {}v10", tenths(middle - 5.0), tenths(middle - 5.0))
}
