//! Drawings as self-contained SVG text, with their colours, hatching and legend.
//!
//! Colours are attributes, so that a style sheet around the drawing can override them, as the page does in
//! dark mode. Lines also differ by their dashes and materials by their hatching.
//!
//! ```text
//! curve    lines over two axes
//! bars     values side by side
//! picture  a section to scale
//! wireframe  a machine in space with its motion
//! surface  its faces, the near ones over the far ones
//! shares   energy shares of motions, beside the frame
//! names    where names of points are placed beside it
//! scores   builds against targets
//! sheet    the element around a drawing, its legend; widths of text
//! palette  the palette: colours, dashes, hatching
//! ```

mod bars;
mod curve;
mod names;
mod palette;
mod picture;
mod scores;
mod shares;
mod sheet;
mod surface;
mod wireframe;

pub use sheet::Size;

pub(super) use curve::{Plot, plot_box, thinned};
pub(super) use palette::colours;
pub(super) use scores::strip;

#[cfg(test)]
pub(super) use palette::tests::contrast;

use super::block::Block;

/// The drawing of `block`; `None` if the block is not a drawing. `id` is a prefix of the names in it and
/// must differ between drawings of one page.
pub fn draw(block: &Block, size: Size, id: &str) -> Option<String> {
    drawn(block, size, id, None)
}

/// The narrow drawing of `block` on a page that has the wide one too, named `wide`: what both show alike is there
/// once. `None` if the block is not a drawing.
pub(super) fn draw_narrow(block: &Block, id: &str, wide: &str) -> Option<String> {
    drawn(block, Size::Narrow, id, Some(wide))
}

fn drawn(block: &Block, size: Size, id: &str, wide: Option<&str>) -> Option<String> {
    let drawing = match block {
        Block::Curve(curve) => curve::draw(curve, size, id),
        Block::Bars(bars) => bars::draw(bars, size, id),
        Block::Picture(picture) => picture::draw(picture, size, id),
        Block::Wireframe(wireframe) => wireframe::draw(wireframe, size, id, wide),
        Block::Heading(_) | Block::Note(_) | Block::Problems(_) | Block::Table(_) | Block::Scores(_) => {
            return None;
        }
    };
    Some(drawing.into_string())
}

#[cfg(test)]
mod tests;
