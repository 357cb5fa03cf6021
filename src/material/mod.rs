//! Materials: what the table says, what a recipe makes of it, what mechanics needs.

mod medium;

pub use medium::{Medium, Role};
