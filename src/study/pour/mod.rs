//! The pour: what to buy, weigh, mix and wait for, and what to beware of.

mod batch;
pub mod bodies;
mod body;
mod kinetics;
mod lift;
mod mould;
mod sheet;
mod steps;

pub use batch::{Batches, Pace, Purchase, Weight, batches, mass_to_mix, shopping, weigh};
pub use body::Body;
pub use kinetics::{Kinetics, adiabatic_rise};
pub use lift::{Cure, Lift, Moment, critical_slab};
pub use mould::{Mould, MouldAnswer};
pub use sheet::{Basis, Heat, IngredientShare, Lifts, Pour, PourSheet};
