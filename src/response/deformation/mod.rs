//! How does a frame deform under a load that is held: under its weight, under a carriage, on a few supports?
//!
//! ```text
//! static_deflection  the displacements of a frame under any load that is held
//! composite_body     a body as it expands, and the stress in it
//! straightness       how straight a deflected line is
//! rail               members in one line, taken as one
//! carriage           the path of a carriage along rails
//! sag                deflection under weight
//! supports           a base on a few supports, and where they are best
//! sample             beams for tests
//! ```

mod carriage;
mod composite_body;
mod rail;
mod sag;
#[cfg(test)]
pub(crate) mod sample;
mod static_deflection;
mod straightness;
mod supports;

pub(crate) use carriage::path_over;
pub use carriage::{Carriage, CarriagePath, CarriagePlace, CarriageStop, CarriageTravel};
pub use composite_body::{BodyFreeStrain, CompositeBody, PlaceStress};
pub use rail::{Rail, RailFault};
pub use sag::{Sag, SagMember, SagRequest, solve_sag};
pub use static_deflection::DeflectionFault;
pub(crate) use static_deflection::{PIECES, deflection, subdivided};
pub(crate) use straightness::DeflectedLine;
pub use straightness::{LineDeviation, LinePlace, Straightness};
pub use supports::{
    BestSupports, Support, SupportAim, SupportReactions, SupportedFrame, find_best_supports, unheld,
};

use nalgebra::Vector6;
use serde::Serialize;
use stillbed_frame::Frame;
use stillbed_modes::Statics;

/// Three numbers along or around the global axes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Xyz {
    /// Along or around x.
    pub x: f64,
    /// Along or around y.
    pub y: f64,
    /// Along or around z.
    pub z: f64,
}

/// The frame of one build with its bodies, and the two points between which it is to keep its shape.
#[derive(Debug, Clone, Copy)]
pub struct Base<'a> {
    /// The build's name.
    pub name: &'a str,
    /// Its frame.
    pub frame: &'a Frame,
    /// The point of the tip; `None` without a tool.
    pub tip: Option<usize>,
    /// The point of the work; `None` is ground.
    pub work: Option<usize>,
    /// The bodies of the frame as they expand, in its order; empty where temperature is not asked for.
    pub bodies: &'a [CompositeBody<'a>],
}

impl Base<'_> {
    /// Displacement and rotation of the tip relative to the work, m and rad.
    pub(crate) fn drift(&self, statics: &Statics, motion: &[f64]) -> (Option<Xyz>, Option<Xyz>) {
        let Some(tip) = self.tip else { return (None, None) };
        let work = self.work.map_or(Vector6::zeros(), |work| statics.point(work, motion));
        let [x, y, z, rx, ry, rz] = (statics.point(tip, motion) - work).into();
        (Some(Xyz { x, y, z }), Some(Xyz { x: rx, y: ry, z: rz }))
    }
}
