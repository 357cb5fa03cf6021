//! The lowest modes of large sparse symmetric matrix pairs, with the proof that none is missing.
//!
//! ```text
//! K φ = ω² M φ        K, M real, symmetric, sparse
//! ```
//!
//! K is the stiffness and M the mass of a structure, or any other pair of which no negative eigenvalue is
//! expected. Either may be singular: a body that nothing holds has rigid-body modes, which are found as such
//! (ω² zero to rounding), and degrees of freedom without mass take no part. Only a motion with neither
//! stiffness nor mass is refused, by its place.
//!
//! # An example
//!
//! Ten masses of 1 kg in a row, joined by springs of 1 N/m and held by one at the first mass: a chain with
//! ω_j = 2 √(k/m) sin((2j - 1) π / (2 (2n + 1))).
//!
//! ```
//! use std::f64::consts::PI;
//! use stillbed_eigen::{MatrixPair, Settings, Sparse, lowest};
//!
//! let n = 10;
//! let springs = (0..n).map(|i| (i, i, if i + 1 < n { 2.0 } else { 1.0 }));
//! let links = (1..n).map(|i| (i, i - 1, -1.0));
//! let stiffness = Sparse::from_lower(n, &springs.chain(links).collect::<Vec<_>>())?;
//! let mass = Sparse::from_lower(n, &(0..n).map(|i| (i, i, 1.0)).collect::<Vec<_>>())?;
//!
//! let found = lowest(&MatrixPair::new(&stiffness, &mass), 3, &Settings::default())?;
//! for (j, square) in found.omega_squared.iter().enumerate() {
//!     let exact = 2.0 * ((2 * j + 1) as f64 * PI / (2 * (2 * n + 1)) as f64).sin();
//!     assert!((square.sqrt() - exact).abs() < 1e-9);
//! }
//! // The proof: three modes lie below the shift of the count, and three were found.
//! assert_eq!(found.counted_below, 3);
//! # Ok::<(), stillbed_eigen::EigenFault>(())
//! ```
//!
//! # What else it answers
//!
//! - [`damped`]: the complex modes of `(K + i K_i) φ = λ M φ`, where K_i is what is lost of the stiffness.
//! - [`HarmonicSolver`]: the motion under a force at one frequency, without modes.
//! - [`Factorisation`]: solutions of `(K - σ M) x = f`, and how many modes lie below σ.
//! - [`compliance`]: the static compliance of a lossy structure under a few loads.
//!
//! # Why no mode is missing
//!
//! By Sylvester's law of inertia, the factor `K - σ M = L D Lᵀ` has as many negative entries in D as there
//! are ω² below σ. After the iteration, σ is put just above the last mode found, and the negative entries are
//! counted. The iteration goes on until it has found as many modes as are counted; both numbers and σ are in
//! the answer ([`Eigenpairs::counted_below`], [`Eigenpairs::counted_at`]). The factor itself is tested with a
//! known solution, so that rounding does not deceive the count.
//!
//! # How accurate
//!
//! Eigenvalues are accurate to about 1e-9 of their value in the tests of this package, which compare with
//! closed forms and with dense solutions. Rounding of K itself, about 1e-16 of its largest entries, bounds what
//! any method can find of an eigenvalue that is smaller than the largest one by many decades.
//!
//! # What it does not do
//!
//! No interior or highest modes alone, no matrices without symmetry, no buckling (an indefinite M). One matrix
//! pair is solved on one thread, because programs with many pairs solve several at once. Memory is taken for
//! one factor at a time, and up to a limit that [`Settings`] states.
//!
//! # Matrices of other crates
//!
//! [`Sparse`] and [`Vectors`] are converted from and to matrices of `faer`, which computes inside, and with
//! the feature `nalgebra` from those of `nalgebra-sparse` and `nalgebra`. The example
//! `examples/matrix_market.rs` reads files in the Matrix Market exchange format.
//!
//! # Sources
//!
//! The head of each file names what its method rests on: shifted block Lanczos by Grimes, Lewis and Simon
//! (1994), thick restarts by Wu and Simon (2000), slicing the spectrum by inertia by Parlett (1998), nested
//! dissection by George (1973), pivots by Bunch and Kaufman (1977), backward errors by Oettli and Prager (1964).
//! `data/sources.csv` of the repository lists them in full. To cite this package itself, give its name, version
//! and repository.
//!
//! # The files
//!
//! ```text
//! fault       what can be wrong with matrices, or stop a solution
//! vectors     vectors side by side
//! sparse      a symmetric sparse matrix
//! pair        the matrix pair (K, M) and the checks that it must pass
//! pattern     where the entries of a symmetric matrix are
//! dissection  nested dissection of a graph by distances
//! ordering    elimination order of the degrees of freedom
//! symbolic    elimination order and structure of the factor, shared by pairs of one sparsity pattern
//! kernel      products and triangular solutions for four vectors at a time
//! factor      the factor of K - σ M, and the count of modes below σ
//! gathered    matrices in the order in which they are eliminated, for several factors
//! pivoted     the same with pivots chosen, for indefinite systems
//! pairs       what is asked beside the matrices, and what is answered
//! shift       where the shift is put for the search and for the count
//! dense       all modes of a small matrix pair
//! lanczos     block Lanczos with thick restarts
//! search      the sparse search: iterate, count, iterate again
//! eigen       the lowest modes of a matrix pair, none missing
//! complex     solutions and eigenvalues of small complex matrices
//! damped      damped modes in the space of the real modes and their corrections
//! compliance  static compliance of a lossy structure, without a complex factor
//! harmonic    harmonic solution of the complex system, without modes
//! ```

mod complex;
mod compliance;
mod damped;
mod dense;
mod dissection;
mod eigen;
mod factor;
mod fault;
mod gathered;
mod harmonic;
mod kernel;
mod lanczos;
mod ordering;
mod pair;
mod pairs;
mod pattern;
mod pivoted;
mod search;
mod shift;
mod sparse;
mod symbolic;
mod vectors;

pub use complex::matched_eigenvalues;
pub use compliance::compliance;
pub use damped::{Damped, Precision, damped, damped_to, damped_unchecked};
pub use eigen::{lowest, lowest_unchecked};
pub use factor::Factorisation;
pub use fault::EigenFault;
pub use gathered::{GatheredPair, HeldStiffness};
pub use harmonic::HarmonicSolver;
pub use pair::MatrixPair;
pub use pairs::{Eigenpairs, Method, Settings};
pub use sparse::Sparse;
pub use symbolic::{Patterns, Symbolic};
pub use vectors::Vectors;

#[cfg(test)]
#[path = "../../tests/bench/lattice.rs"]
mod lattice;

/// The example of the front page is run with the tests.
#[cfg(doctest)]
#[doc = include_str!("README.md")]
struct Readme;

// In the tests, the matrices of the benchmarks name this package as others do.
#[cfg(test)]
extern crate self as stillbed_eigen;
