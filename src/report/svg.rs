//! Drawings as self-contained SVG text, with their colours, hatching and legend.
//!
//! Colours are attributes, so that a style sheet around the drawing can override them, as the page does in
//! dark mode. Lines also differ by their dashes and materials by their hatching.
//!
//! ```text
//! curve    lines over two axes
//! bars     values side by side
//! picture  a section to scale
//! wire     a frame in space with its motion
//! shares   energy shares of motions, beside the frame
//! names    where names of points are placed
//! palette  the palette: colours, dashes, hatching
//! ```

mod bars;
mod curve;
mod names;
mod palette;
mod picture;
mod shares;
mod wire;

pub(super) use curve::{Plot, plot_box, thinned};

#[cfg(test)]
pub(super) use palette::tests::contrast;

use super::block::Block;
use super::text::width;
use maud::{Markup, html};
use palette::TEXT;

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
    fn width(self) -> f64 {
        match self {
            Size::Wide => 720.0,
            Size::Narrow => 350.0,
            Size::Small => 232.0,
        }
    }
}

/// The drawing of `block`; `None` if the block is not a drawing. `id` is a prefix of the names in it and
/// must differ between drawings of one page.
pub fn draw(block: &Block, size: Size, id: &str) -> Option<String> {
    let drawing = match block {
        Block::Curve(curve) => curve::draw(curve, size, id),
        Block::Bars(bars) => bars::draw(bars, size, id),
        Block::Picture(picture) => picture::draw(picture, size, id),
        Block::Wire(wire) => wire::draw(wire, size, id),
        Block::Heading(_) | Block::Note(_) | Block::Problems(_) | Block::Table(_) => return None,
    };
    Some(drawing.into_string())
}

/// The SVG element of a drawing: its size, and title and description for screen readers.
fn sheet(id: &str, (width, height): (f64, f64), title: &str, description: &str, content: Markup) -> Markup {
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

/// A coordinate rounded to a tenth of a unit.
fn r(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Approximate width of `text`, in units.
fn long(text: &str) -> f64 {
    7.0 * width(text) as f64
}

/// `text` cut to about `room` units.
fn fitted(text: &str, room: f64) -> String {
    if long(text) <= room {
        return text.to_string();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if long(&kept) + 14.0 > room {
            break;
        }
        kept.push(c);
    }
    kept.trim_end().to_string() + "…"
}

/// One legend entry: the sample before the name, in a box 26 wide and 12 high.
struct Entry {
    sign: Markup,
    name: String,
}

const ROW: f64 = 20.0;

/// The legend from `top` down, with as many entries per row as fit, and its lower end.
fn legend(entries: Vec<Entry>, left: f64, right: f64, top: f64) -> (Markup, f64) {
    let (mut x, mut y) = (left, top);
    let mut placed = Vec::new();
    for entry in entries {
        let name = fitted(&entry.name, right - left - 34.0);
        let wide = 34.0 + long(&name);
        if x > left && x + wide > right {
            x = left;
            y += ROW;
        }
        placed.push(html! {
            g transform=(format!("translate({} {})", r(x), r(y))) {
                (entry.sign)
                text x="34" y="10" { (name) }
            }
        });
        x += wide + 18.0;
    }
    let end = if placed.is_empty() { top } else { y + ROW };
    (html! { g class="legend" { @for entry in placed { (entry) } } }, end)
}

#[cfg(test)]
mod tests;
