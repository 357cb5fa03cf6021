//! What frames of one drawing and division share: the layout and the orders of elimination.

use super::fault::EigenFault;
use super::pencil::Pencil;
use super::solve::Spectrum;
use super::symbolic::{Patterns, Symbolic};
use crate::frame::{Layout, Matrices};
use std::sync::Arc;

/// Made with the first frame of a series, used with all others.
#[derive(Debug)]
pub struct Orders {
    /// The common layout.
    pub layout: Arc<Layout>,
    /// Of stiffness and mass.
    pub symbolic: Arc<Symbolic>,
}

impl Orders {
    /// Orders the freedoms of `layout`, of which `matrices` are those of one frame, unless `patterns` has
    /// their order.
    ///
    /// # Errors
    /// Those of [`Symbolic::new`].
    pub fn new(layout: Arc<Layout>, matrices: &Matrices, patterns: &Patterns) -> Result<Orders, EigenFault> {
        let pencil = pencil(&layout, matrices);
        pencil.check()?;
        let symbolic = patterns.of(&pencil)?;
        Ok(Orders { layout, symbolic })
    }

    /// Those that `spectrum` was solved with.
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

/// `matrices` of `layout` as a pencil.
pub(super) fn pencil<'a>(layout: &'a Layout, matrices: &'a Matrices) -> Pencil<'a> {
    Pencil { stiffness: &matrices.stiffness, mass: &matrices.mass, group: &layout.group }
}
