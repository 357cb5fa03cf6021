//! Frames: points, members, masses, feet and joints to matrices.
//!
//! A [`Frame`] is the wire drawing with its sections. [`Layout`] divides the members and
//! numbers the freedoms; it gives the [`Matrices`], the loads and the directions at points, and
//! [`Energies`] say where the strain energy of a motion sits.

mod along;
mod assembly;
mod axes;
mod check;
mod displaced;
mod energy;
mod layout;
mod model;
mod overlap;
mod piece;
mod portion;
mod rigid;
#[cfg(test)]
pub(crate) mod sample;
mod section;
mod solid;
pub mod spec;
mod stored;

pub use along::FreeStrain;
pub use assembly::Matrices;
pub use axes::Line;
pub use check::FrameFault;
pub use displaced::bounded;
pub use energy::{Energies, Energy};
pub use layout::{Layout, Owner};
pub use model::{Anchor, Displaced, Foot, Frame, Joint, Mass, Member, Point};
pub use overlap::{Inside, overlaps};
pub use portion::Portion;
pub use rigid::RigidBody;
pub use section::{MemberSection, PartStiffness, Plain};
pub use solid::Solid;
