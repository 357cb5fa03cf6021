//! Modes: natural frequencies, loss factors, decay, and where the energy sits.
//!
//! ```text
//! trouble     why a frame has no modes
//! division    how many elements each member is divided into
//! loose       rigid-body modes, and mechanisms
//! orders      what frames of one drawing and subdivision share
//! solve       modes of a frame, its members divided until the frequencies hold
//! series      modes of one drawing with many sections
//! decay       how long a mode rings
//! shares      strain energy of a mode as shares
//! footing     the base as a rigid body on its feet
//! on_feet     which modes are the base moving on its feet, and which are the structure's
//! theory      error of beam theory
//! answer      the modes of one build as a result
//! remainder   residual flexibility: what the computed modes leave out
//! statics     static stiffness and sag
//! properties  tests: what must hold for the modes of any frame
//! ```

mod answer;
mod decay;
mod division;
mod footing;
mod loose;
mod on_feet;
mod orders;
mod remainder;
mod series;
mod shares;
mod solve;
mod statics;
mod theory;
mod trouble;

pub use answer::{BuildModes, ModeAnswer, Pole};
pub use decay::Decay;
pub use footing::{Footing, Pushes};
pub use loose::{RigidMotion, bodies};
pub use on_feet::solve_past_feet;
pub use orders::Orders;
pub use remainder::Lump;
pub use series::Series;
pub use shares::{Share, Shares};
pub use solve::{Asked, Elastic, Spectrum, solve, solve_beyond};
pub use statics::{GRAVITY, Statics, Stiffness};
pub use theory::{Corner, Proportions, Reason, Theory, TheoryError};
pub use trouble::{Mechanism, ModesFault};

#[cfg(test)]
mod properties;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
#[path = "../frame/sample.rs"]
mod sample;
