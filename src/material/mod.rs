//! Materials: what the table says, what a recipe makes of it, what mechanics needs.

mod entry;
mod listing;
mod medium;
mod property;
mod reader;
mod sources;
pub mod spec;
mod table;

pub use entry::{Figure, GrainShape, Material, MissingProperty};
pub use listing::{ListedFigure, ListedMaterial, Listing};
pub use medium::{Medium, Role};
pub use property::Property;
pub use sources::{Sources, WITHOUT_SOURCE, keys_of};
pub use table::{Override, Table};
