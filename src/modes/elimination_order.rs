//! What frames of one drawing and subdivision share: the layout and the elimination order.

use super::solve::Spectrum;
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
    /// Those of [`Symbolic::new`].
    pub fn new(
        layout: Arc<Layout>,
        matrices: &Matrices,
        patterns: &Patterns,
    ) -> Result<EliminationOrder, EigenFault> {
        let pair = pair(&layout, matrices);
        pair.check()?;
        let symbolic = patterns.of(&pair)?;
        Ok(EliminationOrder { layout, symbolic })
    }

    /// The layout and elimination order that `spectrum` was solved with.
    ///
    /// # Errors
    /// Those of [`Symbolic::new`], where it was solved densely.
    pub fn of(spectrum: &Spectrum) -> Result<EliminationOrder, EigenFault> {
        let layout = Arc::clone(&spectrum.layout);
        match spectrum.pairs.factor.symbolic() {
            Some(symbolic) => Ok(EliminationOrder { layout, symbolic: Arc::clone(symbolic) }),
            None => EliminationOrder::new(layout, &spectrum.matrices, &Patterns::default()),
        }
    }
}

/// `matrices` of `layout` as a matrix pair.
pub(super) fn pair<'a>(layout: &'a Layout, matrices: &'a Matrices) -> MatrixPair<'a> {
    MatrixPair { stiffness: &matrices.stiffness, mass: &matrices.mass, group: &layout.group }
}
