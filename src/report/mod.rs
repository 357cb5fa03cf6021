//! Reports: an answer becomes blocks, and blocks become text, CSV and one page.
//!
//! Each answer of the rungs below has one `present` function that turns its struct into a list
//! of [`Block`]s: headings, notes, problems, tables, curves, bars and pictures. From there
//! everything else follows without knowing the answer:
//!
//! ```text
//! answer --serde--> json::envelope                       for programs
//!    |
//!    +--present--> [Block] --+--> text::render           for a terminal, 80 columns
//!                            +--> csv::write(table)      for a spreadsheet, SI, full precision
//!                            +--> page::render           for people who were not there
//! ```
//!
//! Blocks are plain data in SI. A unit of the shop is attached where a number is shown, and the
//! drawing of text and page share one choice of scales and ticks.

mod block;
#[cfg(test)]
mod demo;
mod number;
mod scale;
mod table;
mod view;

pub mod csv;
pub mod json;
pub mod page;
pub mod present;
pub mod svg;
pub mod text;

pub use block::{
    Area, Axis, Bar, Bars, Block, Curve, Filling, Label, Mark, Motion, Picture, Series, Shape, Unit, Wire,
    WireLine,
};
pub use number::significant;
pub use table::{Cell, Column, Grid, Table, disagreements};
