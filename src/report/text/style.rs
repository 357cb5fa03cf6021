//! Width and colour of the text, and the titles and legends that blocks have in common.

use super::fold::{fold, width};
use super::palette::Palette;

/// Width and colour of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Width of the terminal in characters; at least 40 is used.
    pub width: usize,
    /// True to add colour escape sequences.
    pub colour: bool,
}

impl Default for Style {
    fn default() -> Style {
        Style { width: 80, colour: false }
    }
}

impl Style {
    pub(super) fn columns(&self) -> usize {
        self.width.max(40)
    }

    pub(super) fn paint(&self, text: &str, colour: Palette) -> String {
        if self.colour { colour.paint(text) } else { text.to_string() }
    }
}

/// The title of a block, folded; no line if it is empty.
pub(super) fn title(text: &str, style: &Style) -> Vec<String> {
    fold(text, style.columns()).iter().map(|line| style.paint(line, Palette::Strong)).collect()
}

/// Legend entries one after another, as many per line as fit.
pub(super) fn legend(entries: &[(String, String, Palette)], style: &Style) -> Vec<String> {
    let gap = "   ";
    let mut lines: Vec<(usize, String)> = Vec::new();
    for (sign, name, colour) in entries {
        let room = style.columns() - width(sign) - 1;
        for (i, part) in fold(name, room).iter().enumerate() {
            let sign = if i == 0 { sign.clone() } else { " ".repeat(width(sign)) };
            let width = width(&sign) + 1 + width(part);
            let painted = format!("{} {part}", style.paint(&sign, *colour));
            match lines.last_mut() {
                Some((used, line)) if i == 0 && *used + gap.len() + width <= style.columns() => {
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
