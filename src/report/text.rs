//! Blocks as text for a terminal, of a given width, with colour only if asked for.
//!
//! No line is longer than the width: text is folded, and wide tables are split into groups of columns.
//! Everything can be read without colour: lines differ by their dashes and carry a letter, materials differ
//! by their shade.
//!
//! ```text
//! fold      width of text, folding, cutting
//! palette   colours by meaning
//! style     width and colour of the text; titles and legends
//! canvas    a grid of characters with braille dots
//! table     tables
//! curve     lines over two axes
//! bars      values side by side
//! picture   a section to scale
//! wireframe  a frame in space
//! problems  errors and warnings with excerpts
//! tests     outputs compared with stored ones
//! ```

mod bars;
mod canvas;
mod curve;
mod fold;
mod palette;
mod picture;
mod problems;
mod style;
mod table;
mod wireframe;

pub use problems::problems;
pub use style::Style;

use super::block::Block;
pub(super) use fold::{fold, width};
use palette::Palette;
use style::title;

/// The text of `blocks`, with an empty line between them and a newline at the end.
pub fn render(blocks: &[Block], style: &Style) -> String {
    let pieces = blocks.iter().map(|block| match block {
        Block::Heading(text) => heading(text, style),
        Block::Note(text) => fold(text, style.columns()),
        Block::Problems(list) => problems::lines(list, &[], style),
        Block::Table(table) => table::lines(table, style),
        Block::Curve(curve) => curve::lines(curve, style),
        Block::Bars(bars) => bars::lines(bars, style),
        Block::Picture(picture) => picture::lines(picture, style),
        Block::Wireframe(wireframe) => wireframe::lines(wireframe, style),
        Block::Scores(_) => {
            super::csv::values(block).map_or_else(Vec::new, |values| table::lines(&values, style))
        }
    });
    let pieces: Vec<String> =
        pieces.filter(|lines| !lines.is_empty()).map(|lines| lines.join("\n")).collect();
    if pieces.is_empty() { String::new() } else { pieces.join("\n\n") + "\n" }
}

fn heading(text: &str, style: &Style) -> Vec<String> {
    let lines = fold(text, style.columns());
    let longest = lines.iter().map(|line| width(line)).max().unwrap_or(0);
    let rule = style.paint(&"═".repeat(longest), Palette::Quiet);
    lines.iter().map(|line| style.paint(line, Palette::Strong)).chain([rule]).collect()
}

/// The heading of a whole answer and the empty line after it.
pub fn head(heading: &str, style: &Style) -> String {
    title(heading, style).join("\n") + "\n\n"
}

#[cfg(test)]
mod tests;
