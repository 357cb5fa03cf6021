//! What all drawings share: their width, the element around them, their legend, and how long a text is.

use super::palette::TEXT;
use crate::number::tenths;
use crate::text::width;
use maud::{Markup, html};

/// The width a drawing is made for; text has the same size in all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// 720 units, for a desktop screen or paper.
    Wide,
    /// 350 units, for a telephone.
    Narrow,
    /// 232 units, for several side by side.
    Small,
}

impl Size {
    pub(super) fn width(self) -> f64 {
        match self {
            Size::Wide => 720.0,
            Size::Narrow => 350.0,
            Size::Small => 232.0,
        }
    }
}

/// The SVG element of a drawing: its size, and title and description for screen readers.
pub(super) fn sheet(
    id: &str,
    (width, height): (f64, f64),
    title: &str,
    description: &str,
    content: Markup,
) -> Markup {
    let height = height.ceil();
    html! {
        svg xmlns="http://www.w3.org/2000/svg" id=(id) viewBox=(format!("0 0 {width} {height}"))
            width=(width) height=(height) role="img" aria-labelledby=(format!("{id}-title {id}-desc"))
            font-family="system-ui, sans-serif" font-size="13" fill=(TEXT) {
            title id=(format!("{id}-title")) { (title) }
            desc id=(format!("{id}-desc")) { (description) }
            (content)
        }
    }
}

/// Approximate width of `text`, in units.
pub(super) fn text_width(text: &str) -> f64 {
    7.0 * width(text) as f64
}

/// `text` cut to about `room` units.
pub(super) fn fitted(text: &str, room: f64) -> String {
    if text_width(text) <= room {
        return text.to_string();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if text_width(&kept) + 14.0 > room {
            break;
        }
        kept.push(c);
    }
    kept.trim_end().to_string() + "…"
}

/// One legend entry: the sample before the name, in a box 26 wide and 12 high.
pub(super) struct LegendEntry {
    pub sign: Markup,
    pub name: String,
}

const ROW: f64 = 20.0;

/// The legend from `top` down, with as many entries per row as fit, and its lower end.
pub(super) fn legend(entries: Vec<LegendEntry>, left: f64, right: f64, top: f64) -> (Markup, f64) {
    let (mut x, mut y) = (left, top);
    let mut placed = Vec::new();
    for entry in entries {
        let name = fitted(&entry.name, right - left - 34.0);
        let wide = 34.0 + text_width(&name);
        if x > left && x + wide > right {
            x = left;
            y += ROW;
        }
        placed.push(html! {
            g transform=(format!("translate({} {})", tenths(x), tenths(y))) {
                (entry.sign)
                text x="34" y="10" { (name) }
            }
        });
        x += wide + 18.0;
    }
    let end = if placed.is_empty() { top } else { y + ROW };
    (html! { g class="legend" { @for entry in placed { (entry) } } }, end)
}
