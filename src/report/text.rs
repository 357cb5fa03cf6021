//! Blocks as text for a terminal, of a given width, with colour only if asked for.
//!
//! No line is longer than the width: text is folded, and wide tables are split into groups of columns.
//! Everything can be read without colour: lines differ by their dashes and carry a letter, materials differ
//! by their shade.
//!
//! ```text
//! fold      width of text, folding, cutting
//! palette   colours by meaning
//! canvas    a grid of characters with braille dots
//! table     tables
//! curve     lines over two axes
//! bars      values side by side
//! picture   a section to scale
//! wire      a frame in space
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
mod table;
mod wire;

pub use problems::problems;

use super::block::Block;
use fold::fold;
pub(super) use fold::width;
use palette::Palette;

/// Width and colour of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Width of the terminal in characters; at least 40 is used.
    pub width: usize,
    /// True to add colour escape sequences.
    pub colour: bool,
}

impl Default for Look {
    fn default() -> Look {
        Look { width: 80, colour: false }
    }
}

impl Look {
    fn columns(&self) -> usize {
        self.width.max(40)
    }

    fn paint(&self, text: &str, colour: Palette) -> String {
        if self.colour { colour.paint(text) } else { text.to_string() }
    }
}

/// The text of `blocks`, with an empty line between them and a newline at the end.
pub fn render(blocks: &[Block], look: &Look) -> String {
    let pieces = blocks.iter().map(|block| match block {
        Block::Heading(text) => heading(text, look),
        Block::Note(text) => fold(text, look.columns()),
        Block::Problems(list) => problems::lines(list, &[], look),
        Block::Table(table) => table::lines(table, look),
        Block::Curve(curve) => curve::lines(curve, look),
        Block::Bars(bars) => bars::lines(bars, look),
        Block::Picture(picture) => picture::lines(picture, look),
        Block::Wire(wire) => wire::lines(wire, look),
    });
    let pieces: Vec<String> =
        pieces.filter(|lines| !lines.is_empty()).map(|lines| lines.join("\n")).collect();
    if pieces.is_empty() { String::new() } else { pieces.join("\n\n") + "\n" }
}

fn heading(text: &str, look: &Look) -> Vec<String> {
    let lines = fold(text, look.columns());
    let longest = lines.iter().map(|line| width(line)).max().unwrap_or(0);
    let rule = look.paint(&"═".repeat(longest), Palette::Quiet);
    lines.iter().map(|line| look.paint(line, Palette::Strong)).chain([rule]).collect()
}

/// The heading of a whole answer and the empty line after it.
pub fn head(heading: &str, look: &Look) -> String {
    title(heading, look).join("\n") + "\n\n"
}

/// The title of a block, folded; no line if it is empty.
fn title(text: &str, look: &Look) -> Vec<String> {
    fold(text, look.columns()).iter().map(|line| look.paint(line, Palette::Strong)).collect()
}

/// Legend entries one after another, as many per line as fit.
fn legend(entries: &[(String, String, Palette)], look: &Look) -> Vec<String> {
    let gap = "   ";
    let mut lines: Vec<(usize, String)> = Vec::new();
    for (sign, name, colour) in entries {
        let room = look.columns() - width(sign) - 1;
        for (i, part) in fold(name, room).iter().enumerate() {
            let sign = if i == 0 { sign.clone() } else { " ".repeat(width(sign)) };
            let width = width(&sign) + 1 + width(part);
            let painted = format!("{} {part}", look.paint(&sign, *colour));
            match lines.last_mut() {
                Some((used, line)) if i == 0 && *used + gap.len() + width <= look.columns() => {
                    *used += gap.len() + width;
                    line.push_str(gap);
                    line.push_str(&painted);
                }
                _ => lines.push((width, painted)),
            }
        }
    }
    lines.into_iter().map(|(_, line)| line).collect()
}

#[cfg(test)]
mod tests;
