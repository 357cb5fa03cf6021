//! The lowest modes of large symmetric matrix pairs, with proof that none is missing.
//!
//! ```text
//! fault       what can be wrong with matrices, or stop a solution
//! pair        the matrix pair (K, M) and the checks that it must pass
//! dissection  nested dissection of a graph by distances
//! ordering    elimination order of the degrees of freedom
//! symbolic    elimination order and structure of the factor, shared by pairs of one sparsity pattern
//! kernel      products and triangular solutions for four vectors at a time
//! factor      the factor of K - σ M, and the count of modes below σ
//! pivoted     the same with pivots chosen, for indefinite systems
//! dense       all modes of a small matrix pair
//! lanczos     block Lanczos with thick restarts
//! search      the sparse search: iterate, count, iterate again
//! eigen       the lowest modes of a matrix pair, none missing
//! damped      damped modes in the space of the real modes and their corrections
//! compliance  static compliance of a lossy structure, without a complex factor
//! harmonic    harmonic solution of the complex system, without modes
//! ```

pub mod compliance;
mod damped;
mod dense;
mod dissection;
mod eigen;
mod factor;
mod fault;
mod harmonic;
mod kernel;
mod lanczos;
mod ordering;
mod pair;
mod pivoted;
mod search;
mod symbolic;

pub use damped::{Damped, Precision, complex_eigen, damped, damped_of_sound, damped_to, matches};
pub use dense::product;
pub use eigen::{Eigenpairs, Method, Settings, lowest, lowest_of_sound};
pub use factor::Factorisation;
pub use fault::EigenFault;
pub use harmonic::HarmonicSolver;
pub use pair::{MatrixPair, times};
pub use symbolic::{Patterns, Symbolic};

#[cfg(test)]
#[path = "../../tests/bench/lattice.rs"]
mod lattice;
