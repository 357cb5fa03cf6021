//! The palette: colours, dashes, hatching. Series and materials can be told apart without colour.
//!
//! Colours are those of Okabe and Ito with a contrast of at least 3 to 1 on white.
//!
//! # Source
//! - `okabe2008`: the set of eight colours

use crate::number::tenths;
use maud::{Markup, html};

/// Text and outlines: contrast 15 to 1 on white.
pub(super) const TEXT: &str = "#1c2529";
/// Axes, ticks and secondary text: contrast 5.6 to 1 on white.
pub(super) const QUIET: &str = "#56666e";
/// Lines of a grid.
pub(super) const GRID: &str = "#d5dde0";
/// The background.
pub(super) const PAPER: &str = "#ffffff";

/// Blue, vermilion, bluish green, reddish purple, black.
const SERIES: [&str; 5] = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#1c2529"];
const DASHES: [&str; 5] = ["", "9 5", "2 4", "14 4 2 4", "5 2"];

/// Colour of the n-th series.
pub(super) fn series(n: usize) -> &'static str {
    SERIES[n % SERIES.len()]
}

/// CSS class of the n-th series.
pub(super) fn series_class(n: usize) -> String {
    format!("s{}", n % SERIES.len())
}

/// Dash pattern of the n-th series; empty for a solid line.
pub(super) fn dashes(n: usize) -> &'static str {
    // Colours and dashes cycle out of step, so that the first twenty series all look different.
    DASHES[(n + n / DASHES.len()) % DASHES.len()]
}

/// From the least to the largest amplitude; lightness alone tells them apart.
const AMPLITUDES: [&str; 6] = ["#87949f", "#b07d2c", "#b86010", "#a84300", "#8c2800", "#611000"];

/// Number of amplitude steps.
pub(super) const STEPS: usize = AMPLITUDES.len();

/// Colour of an amplitude step.
pub(super) fn amplitude(step: usize) -> &'static str {
    AMPLITUDES[step.min(STEPS - 1)]
}

/// A shape filled with the n-th material: a tint with hatching lines, clipped at the outline `path`.
/// `field` is the box around it (left, top, right, bottom), `clip` a unique name for the clip path. Not an
/// SVG pattern, since browsers print those as bitmaps of megabytes.
pub(super) fn hatched(clip: &str, n: usize, path: &str, field: [f64; 4]) -> Markup {
    let (fill, line) = (format!("f{}", n % SERIES.len()), series_class(n));
    let dots = n % HATCHES == 1;
    html! {
        clipPath id=(clip) { path d=(path) clip-rule="evenodd" {} }
        path class="paper" d=(path) fill=(PAPER) fill-rule="evenodd" {}
        path class=(fill) d=(path) fill=(series(n)) fill-opacity="0.16" fill-rule="evenodd" {}
        path class=(line) d=(lines(n, field)) clip-path=(format!("url(#{clip})")) stroke=(series(n)) fill="none"
            stroke-width=(if dots { 1.8 } else { 1.1 }) stroke-linecap=[dots.then_some("round")]
            stroke-dasharray=[dots.then_some("0 6")] {}
        path class="outline" d=(path) fill="none" stroke=(TEXT) stroke-width="1.2" stroke-linejoin="round" {}
    }
}

/// Number of hatchings.
const HATCHES: usize = 6;

/// The lines of the n-th hatching over a field: rising, dotted, falling, level, upright, crossed.
fn lines(n: usize, [left, top, right, bottom]: [f64; 4]) -> String {
    let (wide, tall) = (tenths(right - left), tenths(bottom - top));
    let steps = |from: f64, length: f64, step: f64| {
        (0..=(length / step) as usize).map(move |i| tenths(from + step * i as f64))
    };
    let rising = || steps(left, wide + tall, 6.0).map(|x| format!("M{x} {top}l-{tall} {tall}"));
    let falling = || steps(left - tall, wide + tall, 6.0).map(|x| format!("M{x} {top}l{tall} {tall}"));
    match n % HATCHES {
        0 => rising().collect(),
        1 => {
            let rows = steps(top + 2.0, tall, 4.0).enumerate();
            rows.map(|(i, y)| format!("M{} {y}h{wide}", tenths(left + 2.0 + 3.0 * (i % 2) as f64))).collect()
        }
        2 => falling().collect(),
        3 => steps(top + 2.0, tall, 4.0).map(|y| format!("M{left} {y}h{wide}")).collect(),
        4 => steps(left + 2.0, wide, 4.0).map(|x| format!("M{x} {top}v{tall}")).collect(),
        _ => rising().chain(falling()).collect(),
    }
}

/// Parts of a colour in a tint, from a face in the light to one in the shade; the page's style sheet has the same.
const SHADES: [f64; 3] = [0.14, 0.24, 0.36];

/// Number of shades.
pub(super) const SHADE_COUNT: usize = SHADES.len();

/// The tint of the n-th series in a shade.
pub(super) fn tint(n: usize, shade: usize) -> String {
    mixed(series(n), SHADES[shade])
}

/// The grey of a mass in a shade: twice as dark as the tints of materials.
pub(super) fn grey(shade: usize) -> String {
    mixed(QUIET, 2.0 * SHADES[shade])
}

/// So much of `colour`, `#rrggbb`, on paper.
fn mixed(colour: &str, part: f64) -> String {
    let of = |colour: &str, i: usize| {
        let digits = colour.get(2 * i + 1..2 * i + 3).unwrap_or_default();
        f64::from(u8::from_str_radix(digits, 16).unwrap_or_default())
    };
    let channel = |i: usize| (part * of(colour, i) + (1.0 - part) * of(PAPER, i)).round() as u8;
    format!("#{:02x}{:02x}{:02x}", channel(0), channel(1), channel(2))
}

/// The colours of a machine for the page's script, so that drawings that it saves stand alone.
pub(crate) fn colours() -> serde_json::Value {
    let shades = |of: &dyn Fn(usize) -> String| (0..SHADE_COUNT).map(of).collect::<Vec<_>>();
    serde_json::json!({
        "tints": (0..SERIES.len()).map(|n| shades(&|shade| tint(n, shade))).collect::<Vec<_>>(),
        "greys": shades(&grey),
        "lines": SERIES,
        "amplitudes": AMPLITUDES,
        "paper": PAPER,
        "ink": TEXT,
        "quiet": QUIET,
    })
}

/// The n-th hatching within an area drawn in space, its lines in step with those of all others, and whether it is
/// of dots.
pub(super) fn hatching(n: usize, rings: &[Vec<(f64, f64)>]) -> (String, bool) {
    let diagonal = std::f64::consts::FRAC_1_SQRT_2;
    let along: &[[f64; 2]] = match n % HATCHES {
        0 => &[[diagonal, -diagonal]],
        1 | 3 => &[[1.0, 0.0]],
        2 => &[[diagonal, diagonal]],
        4 => &[[0.0, 1.0]],
        _ => &[[diagonal, -diagonal], [diagonal, diagonal]],
    };
    let path = along.iter().map(|along| within(rings, *along)).collect();
    (path, n % HATCHES == 1)
}

/// Distance of the lines of a hatching in space.
const APART: f64 = 6.0;

/// Lines along a direction within an area.
fn within(rings: &[Vec<(f64, f64)>], [dx, dy]: [f64; 2]) -> String {
    let across = |(x, y): &(f64, f64)| (y * dx - x * dy) / APART;
    let levels = || rings.iter().flatten().map(across);
    let (low, high) = (levels().fold(f64::INFINITY, f64::min), levels().fold(f64::NEG_INFINITY, f64::max));
    let mut path = String::new();
    if !(high - low).is_finite() {
        return path;
    }
    for level in low.ceil() as i64..=high.floor() as i64 {
        let level = level as f64;
        let mut met: Vec<f64> = Vec::new();
        for ring in rings {
            for (i, a) in ring.iter().enumerate() {
                let b = &ring[(i + 1) % ring.len()];
                let (d, e) = (across(a) - level, across(b) - level);
                if (d > 0.0) != (e > 0.0) {
                    let t = d / (d - e);
                    met.push((a.0 + t * (b.0 - a.0)) * dx + (a.1 + t * (b.1 - a.1)) * dy);
                }
            }
        }
        met.sort_by(f64::total_cmp);
        for pair in met.chunks_exact(2).filter(|pair| pair[1] - pair[0] > 0.5) {
            let [(x, y), (u, v)] =
                [pair[0], pair[1]].map(|t| (t * dx - level * APART * dy, t * dy + level * APART * dx));
            path += &format!("M{} {}L{} {}", tenths(x), tenths(y), tenths(u), tenths(v));
        }
    }
    path
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Relative luminance of `#rrggbb`.
    ///
    /// # Source
    /// - `wcag22`: definition of relative luminance
    fn luminance(colour: &str) -> f64 {
        let part = |i: usize| {
            let c = f64::from(u8::from_str_radix(&colour[i..i + 2], 16).unwrap()) / 255.0;
            if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    pub(crate) fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_and_lines_stand_out_from_paper() {
        assert!(contrast(TEXT, PAPER) > 7.0);
        assert!(contrast(QUIET, PAPER) > 4.5);
        for colour in SERIES {
            assert!(contrast(colour, PAPER) >= 3.0, "{colour} {}", contrast(colour, PAPER));
        }
    }

    #[test]
    fn amplitudes_grow_darker_and_stand_out() {
        let steps: Vec<f64> = AMPLITUDES.iter().map(|colour| contrast(colour, PAPER)).collect();
        assert!(steps[0] >= 3.0 && steps.windows(2).all(|pair| pair[1] > 1.15 * pair[0]), "{steps:?}");
    }

    #[test]
    fn a_tint_lies_between_paper_and_its_colour() {
        assert_eq!(mixed("#0072b2", 0.0), PAPER);
        assert_eq!(mixed("#0072b2", 1.0), "#0072b2");
        assert_eq!(mixed("#0072b2", 0.5), "#80b9d9");
    }

    #[test]
    fn hatching_stays_within_its_area() {
        let ring = |a: f64, b: f64| vec![(a, a), (b, a), (b, b), (a, b)];
        let (path, _) = hatching(3, &[ring(1.0, 31.0), ring(9.0, 21.0)]);
        // Level lines at 6, 12, 18, 24 and 30; two of them are interrupted by the hole.
        let lines: Vec<&str> = path.split('M').skip(1).collect();
        assert_eq!(lines.len(), 7, "{path}");
        assert_eq!(lines[1..3], ["1 12L9 12", "21 12L31 12"]);
    }

    #[test]
    fn no_two_of_twenty_series_look_the_same() {
        for a in 0..20 {
            for b in 0..a {
                assert!(series(a) != series(b) || dashes(a) != dashes(b), "{a} and {b}");
            }
        }
    }
}
