//! Modes: natural frequencies, loss factors, decay, and where the energy sits.

mod answer;
mod decay;
mod dense;
mod direct;
mod dissection;
mod division;
mod eigen;
mod factor;
mod fault;
mod footing;
mod kernel;
mod lanczos;
mod loose;
mod lossy;
mod on_feet;
mod ordering;
mod orders;
mod pencil;
mod pivoted;
mod reduced;
mod remainder;
mod search;
mod series;
mod shares;
mod solve;
mod statics;
mod symbolic;
mod theory;
mod trouble;

pub use answer::{BuildModes, ModeAnswer, Pole};
pub use decay::Decay;
pub use direct::Direct;
pub use eigen::{Eigenpairs, Method, Settings, lowest};
pub use factor::Factorisation;
pub use fault::EigenFault;
pub use footing::{Footing, Pushes};
pub use loose::{RigidMotion, bodies};
pub use on_feet::solve_past_feet;
pub use orders::Orders;
pub use pencil::Pencil;
pub use reduced::{Damped, Precision, damped, damped_to};
pub use remainder::Lump;
pub use series::Series;
pub use shares::{Share, Shares};
pub use solve::{Asked, Elastic, Spectrum, solve, solve_beyond};
pub use statics::{GRAVITY, Statics, Stiffness};
pub use symbolic::{Patterns, Symbolic};
pub use theory::{Corner, Proportions, Reason, Theory, TheoryError};
pub use trouble::{Mechanism, ModesFault};

#[cfg(test)]
mod properties;

#[cfg(test)]
#[path = "../../tests/bench/lattice.rs"]
mod lattice;
