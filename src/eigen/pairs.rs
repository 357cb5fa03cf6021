//! What is asked of the eigensolver beside the matrices, and what it answers.

use super::factor::Factorisation;
use super::symbolic::{Patterns, Symbolic};
use super::vectors::Vectors;
use std::sync::Arc;

/// How the modes were found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// All modes by reduction to a dense standard problem.
    Dense,
    /// The lowest modes by block Lanczos on the sparse factor.
    Sparse,
}

/// What a caller may know before the search.
#[derive(Debug, Clone)]
pub struct Settings<'a> {
    /// The symbolic factor of an earlier matrix pair of the same pattern.
    pub symbolic: Option<Arc<Symbolic>>,
    /// Where it is looked up, and kept, when it is not given.
    pub patterns: Option<&'a Patterns>,
    /// Mode shapes of a similar structure, `(n, any)`, one per column.
    pub start: Option<&'a Vectors>,
    /// Basis size at which the modes of a similar structure had converged: convergence is not tested before.
    pub expected: Option<usize>,
    /// Memory in bytes that the factor may take.
    pub memory_limit: usize,
}

impl Default for Settings<'_> {
    fn default() -> Self {
        Settings { symbolic: None, patterns: None, start: None, expected: None, memory_limit: 8 << 30 }
    }
}

/// The lowest modes.
#[derive(Debug, Clone)]
pub struct Eigenpairs {
    /// ω² in (rad/s)², ascending; those of rigid-body modes are zero to rounding, of either sign.
    pub omega_squared: Vec<f64>,
    /// Mode shapes, `(n, n_modes)`, M-orthonormal, one per column.
    pub vectors: Vectors,
    /// How they were found.
    pub method: Method,
    /// The number of modes below `counted_at`, by the inertia of the factor; all of them were found.
    pub counted_below: usize,
    /// The shift of the count, just above the last mode found, (rad/s)².
    pub counted_at: f64,
    /// How many more modes, found but not returned, are equal to the last one.
    pub cut_from_multiplet: usize,
    /// How many basis vectors they were found in.
    pub basis: usize,
    /// Factor of `K - σ M` at some shift σ that is no mode, ready for static corrections.
    pub factor: Factorisation,
}
