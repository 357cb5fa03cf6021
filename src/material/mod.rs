//! Materials: what the table says, what a recipe makes of it, what mechanics needs.

mod advice;
mod cemented;
mod compaction;
pub mod demand;
mod differential;
mod entry;
pub mod grading;
pub mod homogenise;
mod listing;
mod measured;
mod medium;
mod mix;
mod mix_answer;
pub mod packing;
mod property;
mod reader;
mod recipe;
mod sources;
pub mod spec;
mod strength;
mod table;

pub use advice::advice;
pub use cemented::{Packed, cemented};
pub use compaction::Compaction;
pub use differential::{Host, Stirred, stir};
pub use entry::{Figure, GrainShape, Material, MissingProperty};
pub use listing::{ListedFigure, ListedMaterial, Listing};
pub use measured::Implied;
pub use medium::{Medium, Role};
pub use mix::{GEL, Measured, Prediction, Shares, cure_strain, model_error, predict, schemes};
pub use mix_answer::{Beside, Bounded, IngredientShare, MixAnswer};
pub use property::Property;
pub use recipe::{Aggregate, Ingredient, Recipe};
pub use sources::{Sources, WITHOUT_SOURCE, keys_of};
pub use strength::Strength;
pub use table::{Override, Table};
