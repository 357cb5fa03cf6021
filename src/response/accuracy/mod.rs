//! Whether a base stays where it was machined: temperature, cure, weight.
//!
//! ```text
//! rest        a frame at rest under any load that it holds
//! case        a change of temperature and a cure
//! parts       one section: what its parts want, and the stress in each
//! bond        the shear where a part is bonded
//! weight      the stress of the weight, and of both together
//! quick       drift and bow of a frame that is solved already
//! thermal     the answer: growth, bow, drift, stress, what fails
//! drawn       a drawn section made ready
//! diffusion   how long a change of the room takes
//! rail        members in line as one
//! sag         weight
//! travel      a carriage that moves along rails
//! support     carrying points, and where they are best
//! spec        what the design file says of temperature and cure
//! straight    how straight a line is
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

use crate::frame::Frame;
use crate::modes::Statics;
use nalgebra::Vector6;
use serde::Serialize;

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

/// One build, as accuracy sees it.
#[derive(Debug, Clone, Copy)]
pub struct Base<'a> {
    /// The build's name.
    pub name: &'a str,
    /// Its frame.
    pub frame: &'a Frame,
    /// By section of the frame.
    pub sections: &'a [WarmSection],
    /// The point of the tip; `None` without a tool.
    pub tip: Option<usize>,
    /// The point of the work; `None` is ground.
    pub work: Option<usize>,
}

impl Base<'_> {
    /// How far the tip moves and turns from the work, m and rad.
    fn drift(&self, statics: &Statics, motion: &[f64]) -> (Option<Xyz>, Option<Xyz>) {
        let Some(tip) = self.tip else { return (None, None) };
        let work = self.work.map_or(Vector6::zeros(), |work| statics.point(work, motion));
        let [x, y, z, rx, ry, rz] = (statics.point(tip, motion) - work).into();
        (Some(Xyz { x, y, z }), Some(Xyz { x: rx, y: ry, z: rz }))
    }
}
