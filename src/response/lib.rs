//! Response: motion in frequency and time, and straightness under temperature and weight.
//!
//! ```text
//! stations     a frame's modes as a few observed motions and loads: the modal model
//! modal        the modal model: compliance between stations as a modal sum with residual flexibility
//! peak         at which frequency a response is largest, and how large it is there
//! frequency    the response curve between two stations
//! cut          the depth of cut without chatter, and the lobes above it
//! speeds       running speeds that meet a mode, and the motion from unbalance
//! floor        how much of the floor's vibration reaches the cut
//! answer       the results of these, one entry per build
//! blow         a tap as a half-sine of force, and its effect on a mode
//! settle       the decay after a tap as a sum of modes, and when it settles
//! ringdown     the motion after a tap: curve, envelope, energy and times
//! sound        that motion as a sound file
//! deformation  static deflection, weight, carriages and supports: whether a base stays straight
//! thermal      temperature and cure: whether a base stays straight and whole
//! ```

pub mod answer;
pub mod blow;
pub mod cut;
pub mod deformation;
pub mod floor;
pub mod frequency;
pub mod modal;
pub mod peak;
pub mod ringdown;
pub mod settle;
pub mod sound;
pub mod speeds;
pub mod stations;
pub mod thermal;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
#[path = "../frame/sample.rs"]
pub mod sample;
