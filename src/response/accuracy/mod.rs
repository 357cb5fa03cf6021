//! Does a base stay straight and whole under temperature, cure, weight and a carriage that moves?
//!
//! ```text
//! rest       the static deflection of a frame under any load that is held
//! straight   how straight a line is
//! rail       members in one line, taken as one
//! case       a change of temperature and a cure, as the frame sees them
//! parts      one section: the free strains of its parts, their common strain, the stress in each
//! drawn      a drawn section prepared for this: corners, borders, widths
//! bond       the shear where a part is bonded to the others
//! weight     stress from weight, and together with temperature and cure
//! thermal    the result: growth, bow, drift, stress, what fails
//! quick      drift and bow of a frame that is already solved
//! diffusion  how long a change of room temperature takes
//! sag        deflection under weight
//! travel     the path of a carriage along rails
//! support    a base on a few supports, and where they are best
//! spec       the table `[thermal]` of the design file
//! sample     sections and bars for tests
//! ```

mod bond;
mod case;
mod diffusion;
mod drawn;
mod parts;
mod quick;
mod rail;
mod rest;
mod sag;
#[cfg(test)]
mod sample;
pub mod spec;
mod straight;
mod support;
mod thermal;
mod travel;
mod weight;

pub use case::{Cure, Gradient, ThermalCase};
pub use diffusion::{Moment, STILL_AIR, SectionTimes, Settling, settling, slab_decay_time};
pub use parts::{WarmPart, WarmSection};
pub use quick::{drift_per_kelvin, largest_bow};
pub use rail::{Rail, RailFault};
pub use rest::RestFault;
pub use sag::{Sag, SagAsk, SagMember, sag};
pub use straight::{Place, Straight, Straightness};
pub use support::{Aim, Bearing, Best, Carried, Carrying, best_supports, unheld};
pub use thermal::{
    AfterCure, Failure, FailureKind, Thermal, ThermalAsk, ThermalMember, ThermalPart, ThermalState, thermal,
};
pub use travel::{Carriage, Path, PathPlace, Stop, Travel};
pub use weight::Weighed;

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

/// One build, with what these results need.
#[derive(Debug, Clone, Copy)]
pub struct Base<'a> {
    /// The build's name.
    pub name: &'a str,
    /// Its frame.
    pub frame: &'a Frame,
    /// One for each section of the frame.
    pub sections: &'a [WarmSection],
    /// The point of the tip; `None` without a tool.
    pub tip: Option<usize>,
    /// The point of the work; `None` is ground.
    pub work: Option<usize>,
}

impl Base<'_> {
    /// Displacement and rotation of the tip relative to the work, m and rad.
    fn drift(&self, statics: &Statics, motion: &[f64]) -> (Option<Xyz>, Option<Xyz>) {
        let Some(tip) = self.tip else { return (None, None) };
        let work = self.work.map_or(Vector6::zeros(), |work| statics.point(work, motion));
        let [x, y, z, rx, ry, rz] = (statics.point(tip, motion) - work).into();
        (Some(Xyz { x, y, z }), Some(Xyz { x: rx, y: ry, z: rz }))
    }
}
