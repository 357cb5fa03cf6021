//! What frames of one drawing and subdivision share: the layout and the elimination order.

use std::sync::Arc;
use stillbed_eigen::EigenFault;
use stillbed_eigen::MatrixPair;
use stillbed_eigen::{Patterns, Symbolic};
use stillbed_frame::{Layout, Matrices};

/// Made with the first frame of a series, and used with all others.
#[derive(Debug)]
pub struct EliminationOrder {
    /// The common layout.
    pub layout: Arc<Layout>,
    /// Elimination order and factor structure of stiffness and mass.
    pub symbolic: Arc<Symbolic>,
}

impl EliminationOrder {
    /// Finds the elimination order for `layout` with the `matrices` of one frame, unless `patterns` has it.
    ///
    /// # Errors
    /// Those of [`Symbolic::analyse`].
    pub fn analyse(
        layout: Arc<Layout>,
        matrices: &Matrices,
        patterns: &Patterns,
    ) -> Result<EliminationOrder, EigenFault> {
        let pair = pair(&layout, matrices);
        pair.check()?;
        let symbolic = patterns.analyse(&pair)?;
        Ok(EliminationOrder { layout, symbolic })
    }
}

/// `matrices` of `layout` as a matrix pair.
pub(super) fn pair<'a>(layout: &'a Layout, matrices: &'a Matrices) -> MatrixPair<'a> {
    MatrixPair { stiffness: &matrices.stiffness, mass: &matrices.mass, group: &layout.group }
}
