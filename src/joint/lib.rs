//! Joints and feet: how stiff they are by what a builder knows of them, and what they lose.
//!
//! ```text
//! contact     flat faces under pressure: δ = C pᵐ
//! bolt        preload from torque, stiffness of bolts and clamped parts, parting
//! half_space  the face of a large block under a rigid disc or an even pressure
//! film        thin bonded layers of glue, grout, rubber
//! rubber      modulus from hardness
//! air         air springs
//! ball        a ball in a groove
//! area        where a joint carries: area and second moments, places of bolts
//! hold        when a joint opens or slips
//! constants   the table of joints and feet
//! spec        joints and feet as the design file states them
//! derived     the six springs that follow, with loss and spread
//! seat        a joint or foot with what is known of it at rest
//! listing     the answer of the command `joints`
//! ```

pub mod air;
mod area;
mod ball;
mod bolt;
mod constants;
mod contact;
mod derived;
mod film;
mod half_space;
mod hold;
mod listing;
pub mod rubber;
mod seat;
mod spec;

pub use area::{Area, Outline};
pub use ball::Ball;
pub use bolt::{Bolt, bolt_share, separation};
pub use constants::{Constant, Finish, constants, names};
pub use contact::FlatContact;
pub use derived::{Derived, Step, Stuff, bolt_load};
pub use film::Film;
pub use half_space::{HalfSpace, corner_sink, mean_sink, middle_sink};
pub use hold::{Hold, Margins};
pub use listing::{JointClass, JointListing, ListedConstant, Worked, stuff};
pub use seat::Seat;
pub use spec::{BoltedSpec, FEET, JOINTS, SeatKind, SeatSpec};
