//! What can be wrong with a matrix pair before or during the search for its modes.

use std::fmt;

/// Why no eigenpairs, or no solution, can be given.
#[derive(Debug, Clone, PartialEq)]
pub enum EigenFault {
    /// There are no degrees of freedom.
    Empty,
    /// A matrix or a vector does not fit the others: what, the size found, the size needed.
    Shape {
        /// Which one.
        what: &'static str,
        /// Size found.
        found: usize,
        /// Size that fits.
        needed: usize,
    },
    /// An entry is not a finite number.
    NotFinite {
        /// Which matrix or vector.
        what: &'static str,
        /// Row of the entry.
        row: usize,
        /// Column of the entry.
        column: usize,
        /// The entry.
        value: f64,
    },
    /// An entry has no equal on the other side of the diagonal, or rows are not in ascending order.
    NotSymmetric {
        /// Which matrix.
        what: &'static str,
        /// Row of the entry.
        row: usize,
        /// Column of the entry.
        column: usize,
    },
    /// An entry lies outside the matrix, or the rows of its column are not in ascending order.
    Misplaced {
        /// Row of the entry.
        row: usize,
        /// Column of the entry.
        column: usize,
        /// Number of rows and columns of the matrix.
        size: usize,
    },
    /// No mode is asked for.
    NoModes,
    /// More modes are asked for than there are.
    TooManyModes {
        /// Modes asked for.
        asked: usize,
        /// Modes with finite frequency.
        available: usize,
    },
    /// A degree of freedom with neither stiffness nor mass: a mechanism without mass.
    MasslessMechanism {
        /// The degree of freedom, or one that takes part.
        dof: usize,
    },
    /// Stiffness or mass is negative in some motion.
    Negative {
        /// The degree of freedom, or one that takes part.
        dof: usize,
    },
    /// The factor needs more memory than is allowed.
    TooLarge {
        /// Bytes needed.
        needed: usize,
        /// Bytes allowed.
        allowed: usize,
    },
    /// The iteration ended before all modes asked for were found, or the inertia count could not be met.
    NotConverged {
        /// Modes asked for, or counted below the shift.
        wanted: usize,
        /// Modes found.
        found: usize,
    },
    /// The matrix of a linear system is singular.
    Singular {
        /// The degree of freedom, or one that takes part.
        dof: usize,
    },
    /// Modes that were found do not fit their use.
    Unfit {
        /// Why not.
        reason: String,
    },
    /// The sparsity pattern is not the one that the symbolic factor was made for.
    OtherPattern,
}

impl fmt::Display for EigenFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            EigenFault::Empty => write!(f, "the model has 0 freedoms; at least 1 is needed"),
            EigenFault::Shape { what, found, needed } => {
                write!(f, "{what} has size {found}; it must be {needed}")
            }
            EigenFault::NotFinite { what, row, column, value } => {
                write!(f, "{what} at row {row}, column {column} is {value}; it must be finite")
            }
            EigenFault::NotSymmetric { what, row, column } => {
                write!(f, "{what} at row {row}, column {column} has no equal across the diagonal")
            }
            EigenFault::Misplaced { row, column, size } => write!(
                f,
                "the entry at row {row}, column {column} has no place there; rows ascend in a column and are \
                 below {size}"
            ),
            EigenFault::NoModes => write!(f, "0 modes asked for; ask for at least 1"),
            EigenFault::TooManyModes { asked, available } => {
                write!(f, "{asked} modes asked for; the model has {available}")
            }
            EigenFault::MasslessMechanism { dof } => {
                write!(f, "freedom {dof} moves without stiffness or mass; it must have one of them")
            }
            EigenFault::Negative { dof } => {
                write!(f, "stiffness or mass about freedom {dof} is negative; both must be at least 0")
            }
            EigenFault::TooLarge { needed, allowed } => write!(
                f,
                "the factor needs {:.1} GB of memory; {:.1} GB are allowed",
                *needed as f64 / 1e9,
                *allowed as f64 / 1e9
            ),
            EigenFault::NotConverged { wanted, found } if found < wanted => {
                write!(f, "{found} of {wanted} modes were found before the iteration ended; ask for fewer")
            }
            EigenFault::NotConverged { found, .. } => write!(
                f,
                "{found} modes were found, but rounding hides whether they are all below the last; ask for fewer"
            ),
            EigenFault::Singular { dof } => {
                write!(f, "the system is singular about freedom {dof}; it must be held or shifted")
            }
            EigenFault::Unfit { reason } => write!(f, "the modes that were found do not fit: {reason}"),
            EigenFault::OtherPattern => {
                write!(f, "the symbolic factor belongs to another pattern; make one for this model")
            }
        }
    }
}

impl std::error::Error for EigenFault {}
