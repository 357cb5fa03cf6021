//! Materials: what the table says, what a recipe makes of it, what mechanics needs.

mod medium;
pub mod spec;

pub use medium::{Medium, Role};
