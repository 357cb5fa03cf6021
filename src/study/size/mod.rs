//! Which sizes of the stock let a build meet its targets at least mass or cost.
//!
//! ```text
//! lengths      lengths as the design file writes them
//! variable     the design variables, their choices, and which change together
//! space        all design variables of a build, and the build with given choices
//! gaps         whether parts can be built: mould, cover, grains, walls
//! frames       candidates solved quickly: what they share is computed once
//! candidate    candidates that a search solved, and what a search is asked for
//! judge        targets, the measure to minimise, the front of trade-offs
//! search       every choice, or a guided search
//! descent      from a candidate through better neighbours
//! guided       restarts of simulated annealing
//! answer       the answer of the command `size`
//! sensitivity  derivatives of the best candidate's measures with respect to its sizes
//! inverse      the one size that gives a value
//! written      the chosen sizes in the text of the design
//! ```

mod answer;
mod candidate;
mod descent;
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

pub use answer::{Entry, LimitResult, Options, Sizing};
pub use candidate::{Candidate, Effort, SearchResult, Watch};
pub use frames::{Frames, Outcome, ThreadState};
pub use gaps::Refusal;
pub use inverse::{Inverse, InverseRequest};
pub use judge::{Judge, Least, Limit};
pub use lengths::written;
pub use search::search;
pub use sensitivity::Sensitivity;
pub use space::Space;
pub use variable::{Choice, Variable};
pub use written::{reshape, write};
