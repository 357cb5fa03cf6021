//! What a user wrote: text with units to SI, the design file as a tree, and what is wrong with it.
//!
//! ```text
//! problem   what is wrong with the input, where, and what to do next
//! quantity  text with units to SI and back; a value with its spread; a draw of values
//! document  the design file as a tree whose every value knows its place
//! ```

pub mod document;
pub mod problem;
pub mod quantity;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;
