//! Which sizes of the stock make a build meet its targets at the least mass or cost.
//!
//! ```text
//! variable      what may vary, its choices, what moves together
//! space         all of it; the build with given choices
//! gaps          skeleton in its mould, cover, stones, walls
//! frames        candidates solved quickly: what they share is computed once
//! search        every choice, or a guided search
//! guided        restarts of simulated annealing
//! judge         targets, what is least, trades that nothing beats
//! answer        the answer of the command
//! sensitivity   how the measures of the best change with its sizes
//! inverse       the one size that reaches a value
//! written       the chosen sizes in the text of the design
//! ```

mod answer;
mod frames;
mod gaps;
mod guided;
mod inverse;
mod judge;
mod search;
mod sensitivity;
mod shape;
mod space;
#[cfg(test)]
mod tests;
mod variable;
mod written;

pub use answer::{Entry, Kept, Options, Sizing};
pub use frames::{Frames, Hand, Outcome};
pub use gaps::Refusal;
pub use inverse::{Asking, Inverse};
pub use judge::{Judge, Least, Limit};
pub use search::{Candidate, Effort, Found, Watch, search};
pub use sensitivity::Sensitivity;
pub use space::Space;
pub use variable::{Choice, Variable};
pub use written::write;
