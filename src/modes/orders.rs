//! What frames of one drawing and subdivision share: the layout and the elimination order.

use super::solve::Spectrum;
use std::sync::Arc;
use stillbed_eigen::EigenFault;
use stillbed_eigen::Pencil;
use stillbed_eigen::{Patterns, Symbolic};
use stillbed_frame::{Layout, Matrices};

/// Made with the first frame of a series, and used with all others.
#[derive(Debug)]
pub struct Orders {
    /// The common layout.
    pub layout: Arc<Layout>,
    /// Elimination order and factor structure of stiffness and mass.
    pub symbolic: Arc<Symbolic>,
}

impl Orders {
    /// Finds the elimination order for `layout` with the `matrices` of one frame, unless `patterns` has it.
    ///
    /// # Errors
    /// Those of [`Symbolic::new`].
    pub fn new(layout: Arc<Layout>, matrices: &Matrices, patterns: &Patterns) -> Result<Orders, EigenFault> {
        let pencil = pencil(&layout, matrices);
        pencil.check()?;
        let symbolic = patterns.of(&pencil)?;
        Ok(Orders { layout, symbolic })
    }

    /// The layout and elimination order that `spectrum` was solved with.
    ///
    /// # Errors
    /// Those of [`Symbolic::new`], where it was solved densely.
    pub fn of(spectrum: &Spectrum) -> Result<Orders, EigenFault> {
        let layout = Arc::clone(&spectrum.layout);
        match spectrum.pairs.factor.symbolic() {
            Some(symbolic) => Ok(Orders { layout, symbolic: Arc::clone(symbolic) }),
            None => Orders::new(layout, &spectrum.matrices, &Patterns::default()),
        }
    }
}

/// `matrices` of `layout` as a matrix pair.
pub(super) fn pencil<'a>(layout: &'a Layout, matrices: &'a Matrices) -> Pencil<'a> {
    Pencil { stiffness: &matrices.stiffness, mass: &matrices.mass, group: &layout.group }
}
