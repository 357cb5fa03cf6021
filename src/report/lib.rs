//! Reports: answers become blocks, and blocks become text, CSV and an HTML page.
//!
//! Each answer has a `present` function that turns its struct into a list of [`Block`]s: headings, notes,
//! problems, tables, curves, bars and pictures. Everything after that works on blocks and does not know
//! the answer:
//!
//! ```text
//! answer --serde--> json::envelope                       for programs
//!    |
//!    +--present--> [Block] --+--> text::render           for a terminal, 80 columns
//!                            +--> csv::write(table)      for a spreadsheet, SI, full precision
//!                            +--> page::render           for people who were not there
//! ```
//!
//! A `present` function lists the columns of its answer once. Terminal, CSV and page are made from that
//! list, and a test compares it with the JSON:
//!
//! ```
//! use serde::Serialize;
//! use stillbed_input::quantity::Spread;
//! use stillbed_report::{Bar, Bars, Block, Column, Table, Unit, csv, disagreements, text};
//!
//! #[derive(Serialize)]
//! struct Build {
//!     label: String,
//!     mass_kg: f64,
//!     settle_time_s: Option<Spread>,
//! }
//!
//! const MS: Unit = Unit::new("ms", 1e-3);
//!
//! fn columns() -> Vec<Column<Build>> {
//!     vec![
//!         Column::text("build", "label", |b: &Build| b.label.clone()),
//!         Column::number("mass", Unit::new("kg", 1.0), "mass_kg", |b: &Build| Some(b.mass_kg)),
//!         Column::spread("settle time", MS, "settle_time_s", |b: &Build| b.settle_time_s),
//!     ]
//! }
//!
//! fn present(builds: &[Build]) -> Vec<Block> {
//!     let bars = builds.iter().map(|b| Bar::new(&b.label, b.settle_time_s)).collect();
//!     vec![
//!         Block::Table(Table::new("Builds", &columns(), builds)),
//!         Block::Bars(Bars { title: "Settle time".into(), unit: MS, key: "settle_time_s".into(), bars }),
//!     ]
//! }
//!
//! let settle = Some(Spread::between(0.12, 0.09, 0.15));
//! let builds = [Build { label: "cast".into(), mass_kg: 118.4, settle_time_s: settle }];
//! let blocks = present(&builds);
//! assert!(text::render(&blocks, &text::Style::default()).contains("cast    118  120 (90.0–150)"));
//! assert_eq!(csv::write(&csv::main_table(&blocks).unwrap()).lines().nth(1), Some("cast,118.4,0.12,0.09,0.15"));
//! assert_eq!(disagreements(&columns(), &builds), Vec::<String>::new());
//! ```
//!
//! Blocks are plain data in SI. Values are converted to the shown unit only where they are printed, and
//! the drawings of text and page use the same scales and ticks.
//!
//! ```text
//! unit       units in which values are shown
//! block      the blocks a report is made of
//! table      columns, tables, and their comparison with the JSON
//! identity   which design an answer is about
//! number     significant figures and round ticks
//! scale      range and ticks of an axis
//! view       projection of drawings in space
//! presentation  answers turned into blocks
//! text       blocks as text for a terminal
//! svg        drawings as SVG
//! page       blocks as an HTML page
//! csv        tables as CSV
//! json       answers as JSON
//! workbook   answers as workbooks
//! demo       invented blocks for tests
//! arbitrary  random blocks for tests
//! ```

#[cfg(test)]
mod arbitrary;
mod block;
#[cfg(test)]
mod demo;
mod identity;
mod number;
mod scale;
mod table;
mod unit;
mod view;

pub mod csv;
pub mod json;
pub mod page;
pub mod presentation;
pub mod svg;
pub mod text;
pub mod workbook;

pub use block::{
    Area, Axis, Bar, Bars, Block, Curve, Divide, Edge, Face, Filling, Label, Mark, ModeShape, Picture,
    PictureLine, PointName, Score, ScoreRow, Scores, Series, Surface, Tone, Wireframe, WireframeLine,
};
pub use identity::DesignIdentity;
pub use number::significant;
pub use table::{Cell, Column, Grid, GridColumn, Table, disagreements};
pub use unit::Unit;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;
