//! Modes: natural frequencies, loss factors, decay, and where the energy sits.
//!
//! ```text
//! mechanism             why a frame has no modes
//! subdivision           how many elements each member is divided into
//! rigid_body            rigid-body modes, and mechanisms
//! elimination_order     what frames of one drawing and subdivision share
//! solve                 modes of a frame, its members divided until the frequencies hold
//! series                modes of one drawing with many sections
//! decay                 how long a mode rings
//! shares                strain energy of a mode as shares
//! footing               the base as a rigid body on its feet
//! on_feet               which modes are the base moving on its feet, and which are the structure's
//! theory                error of beam theory
//! answer                the modes of one build as a result
//! residual_flexibility  residual flexibility: what the computed modes leave out
//! statics               static stiffness and sag
//! properties            tests: what must hold for the modes of any frame
//! ```

mod answer;
mod decay;
mod elimination_order;
mod footing;
mod mechanism;
mod on_feet;
mod residual_flexibility;
mod rigid_body;
mod series;
mod shares;
mod solve;
mod statics;
mod subdivision;
mod theory;

pub use answer::{BuildModes, ModeAnswer, Pole};
pub use decay::ModeDecay;
pub use elimination_order::EliminationOrder;
pub use footing::{Footing, Pushes};
pub use mechanism::{Mechanism, ModesFault};
pub use on_feet::solve_past_feet;
pub use residual_flexibility::ResidualMode;
pub use rigid_body::{RigidMotion, bodies};
pub use series::Series;
pub use shares::{EnergyShares, Share};
pub use solve::{Asked, Elastic, Spectrum, solve, solve_beyond};
pub use statics::{Statics, Stiffness};
pub use theory::{Corner, Proportions, Reason, Theory, TheoryError};

#[cfg(test)]
mod properties;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
#[path = "../frame/sample.rs"]
mod sample;
