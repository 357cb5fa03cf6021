//! Blocks for a terminal: text of a stated width, with colour only where the caller wants it.
//!
//! No line is longer than the width. What does not fit is folded, or, for tables, split into
//! groups of columns. Everything can be read without colour: lines differ by their dashes and
//! carry a letter, materials differ by their shade.

mod bars;
mod canvas;
mod curve;
mod fold;
mod ink;
mod picture;
mod problems;
mod table;
mod wire;

pub use problems::problems;

use super::block::Block;
use fold::fold;
pub(super) use fold::width;
use ink::Ink;

/// How text is to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Columns of the terminal; less than 40 is taken as 40.
    pub width: usize,
    /// True for escape sequences of colour; the caller knows whether it writes to a terminal.
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

    fn paint(&self, text: &str, ink: Ink) -> String {
        if self.colour { ink.paint(text) } else { text.to_string() }
    }
}

/// `blocks` under each other, with an empty line between them and a newline at the end.
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
    let rule = look.paint(&"═".repeat(longest), Ink::Quiet);
    lines.iter().map(|line| look.paint(line, Ink::Strong)).chain([rule]).collect()
}

/// What stands over a whole answer, and the empty line after it.
pub fn head(heading: &str, look: &Look) -> String {
    title(heading, look).join("\n") + "\n\n"
}

/// The title of a block, if it has one.
fn title(text: &str, look: &Look) -> Vec<String> {
    fold(text, look.columns()).iter().map(|line| look.paint(line, Ink::Strong)).collect()
}

/// Legend entries one after another, as many a line as fit.
fn legend(entries: &[(String, String, Ink)], look: &Look) -> Vec<String> {
    let gap = "   ";
    let mut lines: Vec<(usize, String)> = Vec::new();
    for (sign, name, ink) in entries {
        let room = look.columns() - width(sign) - 1;
        for (i, part) in fold(name, room).iter().enumerate() {
            let sign = if i == 0 { sign.clone() } else { " ".repeat(width(sign)) };
            let width = width(&sign) + 1 + width(part);
            let painted = format!("{} {part}", look.paint(&sign, *ink));
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
