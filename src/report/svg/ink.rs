//! Colours, dashes and hatchings. Series and materials are told apart without colour too.
//!
//! The colours are those of Okabe and Ito that stand out from white paper by 3 to 1.
//!
//! # Source
//! - `okabe2008`: the set of eight colours

use maud::{Markup, html};

/// Text and outlines: 15 to 1 on white.
pub(super) const TEXT: &str = "#1c2529";
/// Axes, ticks and what is beside: 5.6 to 1 on white.
pub(super) const QUIET: &str = "#56666e";
/// Lines of a grid.
pub(super) const GRID: &str = "#d5dde0";
/// The surface drawn on.
pub(super) const PAPER: &str = "#ffffff";

/// Blue, vermilion, bluish green, reddish purple, black.
const SERIES: [&str; 5] = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#1c2529"];
const DASHES: [&str; 5] = ["", "9 5", "2 4", "14 4 2 4", "5 2"];

/// Colour of the n-th series.
pub(super) fn series(n: usize) -> &'static str {
    SERIES[n % SERIES.len()]
}

/// Class by which a style sheet finds the n-th series.
pub(super) fn series_class(n: usize) -> String {
    format!("s{}", n % SERIES.len())
}

/// Dashes of the n-th series; empty for none.
pub(super) fn dashes(n: usize) -> &'static str {
    // Colours and dashes repeat at different places, so that no two of twenty look the same.
    DASHES[(n + n / DASHES.len()) % DASHES.len()]
}

/// From what hardly moves to what moves most; lightness alone tells them apart.
const AMPLITUDES: [&str; 6] = ["#87949f", "#b07d2c", "#bf6514", "#b04600", "#8c2800", "#611000"];

/// How many steps of amplitude are told apart.
pub(super) const STEPS: usize = AMPLITUDES.len();

/// Colour of a step of amplitude.
pub(super) fn amplitude(step: usize) -> &'static str {
    AMPLITUDES[step.min(STEPS - 1)]
}

/// How the lines of a hatching run in a square of 8 units.
const HATCHES: [&str; 6] = [
    "M-2 2L2 -2M0 8L8 0M6 10L10 6",
    "M2 2h.01M6 6h.01",
    "M-2 6L2 10M0 0L8 8M6 -2L10 2",
    "M0 2h8M0 6h8",
    "M2 0v8M6 0v8",
    "M0 8L8 0M0 0L8 8",
];

/// The pattern of the n-th material under the name `id`.
pub(super) fn hatching(id: &str, n: usize) -> Markup {
    let colour = series(n);
    let dots = HATCHES[n % HATCHES.len()].contains("h.01");
    html! {
        pattern id=(id) width="8" height="8" patternUnits="userSpaceOnUse" {
            rect width="8" height="8" fill=(PAPER) class="paper" {}
            rect width="8" height="8" fill=(colour) fill-opacity="0.16" class=(format!("f{}", n % SERIES.len())) {}
            path d=(HATCHES[n % HATCHES.len()]) stroke=(colour) stroke-width=(if dots { 1.8 } else { 1.2 })
                stroke-linecap=(if dots { "round" } else { "butt" }) fill="none" class=(series_class(n)) {}
        }
    }
}

#[cfg(test)]
pub(in crate::report) mod tests {
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

    pub(in crate::report) fn contrast(a: &str, b: &str) -> f64 {
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
    fn no_two_of_twenty_series_look_the_same() {
        for a in 0..20 {
            for b in 0..a {
                assert!(series(a) != series(b) || dashes(a) != dashes(b), "{a} and {b}");
            }
        }
    }
}
