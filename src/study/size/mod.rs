//! Which sizes of the stock let a build meet its targets at least mass or cost.
//!
//! ```text
//! lengths      lengths as the design file writes them
//! variable     the design variables, their choices, and which change together
//! space        all design variables of a build, and the build with given choices
//! gaps         whether parts can be built: mould, cover, grains, walls
//! frames       candidates solved quickly: what they share is computed once
//! judge        targets, the measure to minimise, the front of trade-offs
//! search       every choice, or a guided search
//! guided       restarts of simulated annealing
//! answer       the answer of the command `size`
//! sensitivity  derivatives of the best candidate's measures with respect to its sizes
//! inverse      the one size that gives a value
//! written      the chosen sizes in the text of the design
//! ```

mod answer;
mod frames;
mod gaps;
mod guided;
mod inverse;
mod judge;
mod lengths;
mod search;
mod sensitivity;
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
