//! The design file as a whole: composed of the specs that each rung owns.

mod goal;
mod named;
mod price;

pub use goal::{Cut, Goal, Measure, Speeds, Tap, Target, Tool};
pub use named::Named;
pub use price::Prices;
