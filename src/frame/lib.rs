//! Frames: points, members, masses, feet and joints, and the matrices assembled from them.
//!
//! A [`Frame`] is the wire drawing with its sections. [`Layout`] divides the members into elements and
//! numbers the degrees of freedom; it gives the [`Matrices`], the loads and the directions at points.
//! [`Energies`] say where the strain energy of a motion sits.
//!
//! ```text
//! spec       points, members, masses, feet, anchors and joints as the design file states them
//! model      the same as a frame of numbers: indices in place of names
//! section    stiffness and mass of a member's cross-section about the member line
//! arms       rigid arms: points that follow others
//! axes       where a member lies: its line and its own axes
//! check      what makes a frame invalid
//! piece      one beam element: stiffness, mass, shape functions, next term of its dynamic stiffness
//! layout     subdivision into elements, numbering of the degrees of freedom, sparsity pattern
//! reach      motion of points that follow others, directions at points
//! assembly   stiffness, loss and mass matrices of the divided frame
//! portion    the same matrices as a sum of contributions, one for each section
//! rigid      the frame as a rigid body, inertia loads, unit loads at points
//! along      along a member: thermal strains, loads between nodes, deflected line, section forces
//! energy     strain energy of a motion by member, material, joint and foot
//! stored     strain energy along one member, and the forces at its ends
//! solid      the solid of a member, and where a ray passes through it
//! overlap    material that two members share, counted once
//! displaced  the mass taken off a member, limited to what it has
//! sample     frames for the tests
//! ```

mod along;
mod arms;
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
mod reach;
mod rigid;
#[cfg(test)]
pub mod sample;
mod section;
mod solid;
pub mod spec;
mod stored;
mod substructure;

pub use along::FreeStrain;
pub use assembly::Matrices;
pub use axes::Line;
pub use check::FrameFault;
pub use displaced::bounded;
pub use energy::{Energies, Energy};
pub use layout::{Layout, Owner};
pub use model::{
    Anchor, Arm, BodyJoint, Displaced, Foot, Frame, Joint, Mass, Member, Point, Substructure,
    SubstructurePart, WallHinge,
};
pub use overlap::{Inside, Solids, overlaps};
pub use portion::Portion;
pub use rigid::RigidBody;
pub use section::{MemberSection, PartStiffness, Plain};
pub use solid::Solid;

#[cfg(test)]
extern crate self as stillbed_frame;
