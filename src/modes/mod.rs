//! Modes: natural frequencies, loss factors, decay, and where the energy sits.

mod dense;
mod direct;
mod eigen;
mod factor;
mod fault;
mod kernel;
mod lanczos;
mod ordering;
mod pencil;
mod reduced;
mod search;
mod symbolic;

pub use direct::Direct;
pub use eigen::{Eigenpairs, Method, Settings, lowest};
pub use factor::Factorisation;
pub use fault::EigenFault;
pub use pencil::Pencil;
pub use reduced::{Damped, damped};
pub use symbolic::Symbolic;

#[cfg(test)]
#[path = "../../tests/bench/lattice.rs"]
mod lattice;
