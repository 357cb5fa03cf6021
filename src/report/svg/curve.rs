//! Lines over two axes with a grid.

use super::palette::{GRID, QUIET, TEXT, dashes, series, series_class};
use super::sheet::{LegendEntry, Size, fitted, legend, sheet, text_width};
use crate::block::{Axis, Curve, Mark, Series};
use crate::number::significant;
use crate::number::tenths;
use crate::scale::Scale;
use maud::{Markup, html};

/// The plotting area of a curve and the scales of its axes.
pub(crate) struct Plot {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
    pub(crate) x: Scale,
    pub(crate) y: Scale,
}

/// The plotting area of `curve` in its drawing.
pub(crate) fn plot_box(curve: &Curve, size: Size) -> Plot {
    let along = |i: usize| curve.series.iter().flat_map(move |s| s.points.iter().map(move |p| p[i]));
    let levels = curve.marks.iter().filter_map(|mark| match mark {
        Mark::Y { at, .. } => Some(*at),
        _ => None,
    });
    let (columns, height) = if size == Size::Wide { (8, 300.0) } else { (4, 240.0) };
    let x = Scale::tight(&curve.x, along(0), columns);
    let y = Scale::rounded(&curve.y, along(1).chain(levels), 5);
    let labels = y.ticks.iter().map(|tick| text_width(&tick.label)).fold(0.0, f64::max);
    let left = labels.min(90.0) + 14.0;
    Plot { left, top: 28.0, width: size.width() - left - 16.0, height, x, y }
}

impl Plot {
    fn right(&self) -> f64 {
        self.left + self.width
    }

    fn bottom(&self) -> f64 {
        self.top + self.height
    }

    fn across(&self, x: f64) -> Option<f64> {
        self.x.fraction(x).map(|part| self.left + part * self.width)
    }

    fn up(&self, y: f64) -> Option<f64> {
        self.y.fraction(y).map(|part| self.bottom() - part * self.height)
    }
}

pub(super) fn draw(curve: &Curve, size: Size, id: &str) -> Markup {
    let plot = plot_box(curve, size);
    let clip = format!("{id}-field");
    let (legend, end) = legend(entries(curve), plot.left, size.width() - 6.0, plot.bottom() + 52.0);
    let content = html! {
        clipPath id=(clip) { rect x=(tenths(plot.left)) y=(tenths(plot.top)) width=(tenths(plot.width)) height=(tenths(plot.height)) {} }
        (rules(curve, &plot))
        text class="quiet" fill=(QUIET) x="2" y="14" {
            (fitted(&curve.y.unit.after(&curve.y.title), size.width() - 4.0))
        }
        text class="quiet" fill=(QUIET) x=(tenths(plot.right())) y=(tenths(plot.bottom() + 38.0)) text-anchor="end" {
            (fitted(&curve.x.unit.after(&curve.x.title), size.width() - 4.0))
        }
        g clip-path=(format!("url(#{clip})")) {
            g class="moves" {
                (marks(curve, &plot))
                @for (i, series) in curve.series.iter().enumerate() { (line(series, i, &plot)) }
            }
        }
        rect class="axis" x=(tenths(plot.left)) y=(tenths(plot.top)) width=(tenths(plot.width)) height=(tenths(plot.height))
            fill="none" stroke=(QUIET) {}
        (numbers(curve, &plot))
        (legend)
    };
    sheet(id, (size.width(), end + 4.0), &curve.title, &description(curve), content)
}

/// A sentence or two about the drawing for screen readers.
fn description(curve: &Curve) -> String {
    let say = |axis: &Axis, v: f64| {
        format!("{} {}", significant(v / axis.unit.size, 3), axis.unit.name).trim_end().to_string()
    };
    let mut text = format!("{} over {}.", curve.y.title, curve.x.title);
    for series in &curve.series {
        let shown = series.points.iter().filter(|p| p[0].is_finite() && p[1].is_finite());
        if let Some(peak) = shown.max_by(|a, b| a[1].total_cmp(&b[1])) {
            let (y, x) = (say(&curve.y, peak[1]), say(&curve.x, peak[0]));
            text += &format!(" {}: at most {y}, at {x}.", series.name);
        }
    }
    for mark in &curve.marks {
        text += &format!(" Marked: {}.", mark.label());
    }
    text
}

/// The grid, with finer lines within decades, and the labels of the ticks.
fn rules(curve: &Curve, plot: &Plot) -> Markup {
    let upright = |x: f64, width: f64| {
        let x = tenths(plot.across(x)?);
        let (top, bottom) = (tenths(plot.top), tenths(plot.bottom()));
        Some(
            html! { line class="grid" x1=(x) x2=(x) y1=(top) y2=(bottom) stroke=(GRID) stroke-width=(width) {} },
        )
    };
    let level = |y: f64, width: f64| {
        let y = tenths(plot.up(y)?);
        let (left, right) = (tenths(plot.left), tenths(plot.right()));
        Some(
            html! { line class="grid" x1=(left) x2=(right) y1=(y) y2=(y) stroke=(GRID) stroke-width=(width) {} },
        )
    };
    html! {
        g {
            @for line in between(&plot.y, &curve.y).filter_map(|y| level(y, 0.5)) { (line) }
            @for tick in &plot.y.ticks {
                @if let (Some(line), Some(y)) = (level(tick.at, 1.0), plot.up(tick.at)) {
                    (line)
                    text x=(tenths(plot.left - 6.0)) y=(tenths(y + 4.5)) text-anchor="end" { (fitted(&tick.label, 90.0)) }
                }
            }
        }
        g class="x-ticks" {
            @for line in between(&plot.x, &curve.x).filter_map(|x| upright(x, 0.5)) { (line) }
            @for tick in &plot.x.ticks {
                @if let (Some(line), Some(x)) = (upright(tick.at, 1.0), plot.across(tick.at)) {
                    (line)
                    text x=(tenths(x)) y=(tenths(plot.bottom() + 17.0)) text-anchor="middle" { (tick.label) }
                }
            }
        }
    }
}

/// The multiples two to nine of each power of ten, for a logarithmic axis of few decades.
fn between(scale: &Scale, axis: &Axis) -> impl Iterator<Item = f64> {
    let (low, high, size) = (scale.low, scale.high, axis.unit.size);
    let power = |value: f64| (value / size).log10().floor() as i32;
    let powers = if scale.log && high / low < 1e6 { power(low)..power(high) + 1 } else { 0..0 };
    powers
        .flat_map(move |power| (2..10).map(move |f| f64::from(f) * 10f64.powi(power) * size))
        .filter(move |v| *v > low && *v < high)
}

/// The parts of the marks that stretch when the axis is zoomed.
fn marks(curve: &Curve, plot: &Plot) -> Markup {
    let dashed = |x1: f64, y1: f64, x2: f64, y2: f64| {
        html! {
            line class="mark" x1=(tenths(x1)) y1=(tenths(y1)) x2=(tenths(x2)) y2=(tenths(y2)) stroke=(TEXT) stroke-dasharray="2 3"
                vector-effect="non-scaling-stroke" {}
        }
    };
    html! {
        @for mark in &curve.marks {
            @match mark {
                Mark::X { at, .. } => @if let Some(x) = plot.across(*at) {
                    (dashed(x, plot.top, x, plot.bottom()))
                }
                Mark::Y { at, .. } => @if let Some(y) = plot.up(*at) {
                    (dashed(plot.left, y, plot.right(), y))
                }
                Mark::Band { from, to, .. } => @if let Some((from, to)) = ends(*from, *to, plot) {
                    @let (x, wide) = (plot.left + from * plot.width, (to - from) * plot.width);
                    rect class="band" x=(tenths(x)) y=(tenths(plot.top)) width=(tenths(wide)) height=(tenths(plot.height)) fill=(QUIET)
                        fill-opacity="0.12" {}
                }
            }
        }
    }
}

/// The ends of a range of x as fractions of the axis; `None` if it lies outside.
fn ends(from: f64, to: f64, plot: &Plot) -> Option<(f64, f64)> {
    let (from, to) = (plot.x.fraction(from.max(plot.x.low))?, plot.x.fraction(to.min(plot.x.high))?);
    (0.0 <= from && from < to && to <= 1.0).then_some((from, to))
}

/// The numbers of the marks, which keep their shape when the axis is zoomed.
fn numbers(curve: &Curve, plot: &Plot) -> Markup {
    let riding = |part: f64, i: usize| {
        html! {
            text x=(tenths(plot.left + part * plot.width)) y=(tenths(plot.top + 15.0)) dx="4" font-weight="600" data-at=(part) {
                (i + 1)
            }
        }
    };
    html! {
        @for (i, mark) in curve.marks.iter().enumerate() {
            @match mark {
                Mark::X { at, .. } => @if let Some(part) = plot.x.fraction(*at).filter(|f| (0.0..=1.0).contains(f)) {
                    (riding(part, i))
                }
                Mark::Band { from, to, .. } => @if let Some((from, to)) = ends(*from, *to, plot) {
                    (riding((from + to) / 2.0, i))
                }
                Mark::Y { at, .. } => @if let Some(y) = plot.up(*at) {
                    text x=(tenths(plot.right() - 12.0)) y=(tenths(y - 4.0)) font-weight="600" { (i + 1) }
                }
            }
        }
    }
}

fn line(series: &Series, i: usize, plot: &Plot) -> Markup {
    let place = |p: &[f64; 2]| Some((plot.across(p[0])?, plot.up(p[1])?));
    if series.scattered {
        let dots =
            series.points.iter().filter_map(place).map(|(x, y)| format!("M{} {}h.01", tenths(x), tenths(y)));
        let path: String = dots.collect();
        // Dots are round caps of lines without length, so that they stay round when the axis is zoomed.
        return html! {
            path class=(series_class(i)) d=(path) fill="none" stroke=(self::series(i)) stroke-width="6"
                stroke-linecap="round" vector-effect="non-scaling-stroke" {}
        };
    }
    let mut path = String::new();
    let mut down = false;
    for point in thinned(&series.points, 1500) {
        match point.and_then(|p| place(&p)) {
            Some((x, y)) => {
                // Points far outside are clamped: the plotting area clips them, and the numbers stay short.
                let y = y.clamp(plot.top - plot.height, plot.bottom() + plot.height);
                path += &format!("{}{} {}", if down { "L" } else { "M" }, tenths(x), tenths(y));
                down = true;
            }
            None => down = false,
        }
    }
    html! {
        path class=(series_class(i)) d=(path) fill="none" stroke=(self::series(i)) stroke-width="1.8"
            stroke-linejoin="round" stroke-dasharray=[Some(dashes(i)).filter(|d| !d.is_empty())]
            vector-effect="non-scaling-stroke" {}
    }
}

/// `points` thinned to about `most`: the lowest and the highest of each stretch, so that no peak is lost.
/// `None` where the line is interrupted.
pub(crate) fn thinned(points: &[[f64; 2]], most: usize) -> Vec<Option<[f64; 2]>> {
    let shown = |p: &[f64; 2]| (p[0].is_finite() && p[1].is_finite()).then_some(*p);
    if points.len() <= most {
        return points.iter().map(shown).collect();
    }
    let stretch = (2 * points.len()).div_ceil(most.max(2));
    let mut kept = Vec::new();
    for part in points.chunks(stretch) {
        let order = |a: &usize, b: &usize| part[*a][1].total_cmp(&part[*b][1]);
        let finite = || (0..part.len()).filter(|i| shown(&part[*i]).is_some());
        match (finite().min_by(order), finite().max_by(order)) {
            (Some(a), Some(b)) if a == b => kept.push(Some(part[a])),
            (Some(a), Some(b)) => kept.extend([Some(part[a.min(b)]), Some(part[a.max(b)])]),
            _ => {}
        }
        if part.iter().any(|p| shown(p).is_none()) {
            kept.push(None);
        }
    }
    kept
}

fn entries(curve: &Curve) -> Vec<LegendEntry> {
    let series = curve.series.iter().enumerate().filter(|(_, s)| !s.name.is_empty()).map(|(i, series)| {
        let sign = if series.scattered {
            html! {
                path class=(series_class(i)) d="M14 6h.01" fill="none" stroke=(self::series(i)) stroke-width="6"
                    stroke-linecap="round" {}
            }
        } else {
            html! { line class=(series_class(i)) x1="0" y1="6" x2="28" y2="6" stroke=(self::series(i)) stroke-width="1.8"
            stroke-dasharray=[Some(dashes(i)).filter(|d| !d.is_empty())] {} }
        };
        LegendEntry { sign, name: series.name.clone() }
    });
    let marks = curve.marks.iter().enumerate().map(|(i, mark)| LegendEntry {
        sign: html! { text x="13" y="10" text-anchor="middle" font-weight="600" { (i + 1) } },
        name: mark.label().to_string(),
    });
    series.chain(marks).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_keeps_peaks_and_gaps() {
        let mut points: Vec<[f64; 2]> = (0..10_000).map(|i| [f64::from(i), 0.0]).collect();
        points[4567][1] = 9.0;
        points[8000][1] = f64::NAN;
        let kept = thinned(&points, 1000);
        assert!(kept.len() <= 1001, "{}", kept.len());
        assert!(kept.contains(&Some([4567.0, 9.0])));
        assert_eq!(kept.iter().filter(|p| p.is_none()).count(), 1);
        let xs: Vec<f64> = kept.iter().flatten().map(|p| p[0]).collect();
        assert!(xs.windows(2).all(|w| w[0] < w[1]));
    }

    #[test]
    fn the_description_names_the_peaks() {
        let text = description(&crate::demo::ringdown());
        assert!(text.starts_with("motion of the tip over time. cast: at most 11."), "{text}");
        assert!(text.ends_with("Marked: settled to 5 µm."), "{text}");
    }
}
