//! Modes: natural frequencies, loss factors, decay, and where the energy sits.
//!
//! ```
//! use stillbed_frame::{Anchor, Frame, Member, MemberSection, Plain, Point};
//! use stillbed_material::Role;
//! use stillbed_modes::{Asked, BuildModes, Statics, solve};
//!
//! // A square steel bar of 20 mm, 1 m long, held at one end.
//! let (e, g, rho, side) = (210e9, 80e9, 7850.0, 0.02f64);
//! let (area, i) = (side.powi(2), side.powi(4) / 12.0);
//! let plain = Plain {
//!     ea: e * area,
//!     ga: [g * area * 5.0 / 6.0; 2],
//!     gj: g * 0.1406 * side.powi(4),
//!     ei: [e * i; 2],
//!     rho_a: rho * area,
//!     rho_i: [rho * i; 2],
//!     loss_factor: 0.001,
//! };
//! let frame = Frame {
//!     points: vec![Point::new("wall", [0.0, 0.0, 0.0]), Point::new("tip", [1.0, 0.0, 0.0])],
//!     sections: vec![MemberSection::plain("bar", "steel", Role::Skeleton, &plain)],
//!     members: vec![Member::new("bar", 0, 1, 0)],
//!     anchors: vec![Anchor { name: "wall".to_string(), at: vec![0], hold: [true; 6] }],
//!     ..Frame::default()
//! };
//! let spectrum = solve(&frame, &Asked { count: 2, ..Asked::default() }).unwrap();
//! // Of a slender cantilever: 1.8751² √(EI / m l³) / 2π, in each direction across.
//! let exact = 1.8751f64.powi(2) * (e * i / 3.14).sqrt() / std::f64::consts::TAU;
//! assert!(spectrum.elastic.iter().all(|mode| (mode.frequency() / exact - 1.0).abs() < 2e-3));
//!
//! let modes = BuildModes::compute("steel", &frame, &spectrum).unwrap();
//! assert_eq!((modes.rigid_body_modes, modes.modes.len()), (0, 2));
//! assert!((modes.modes[0].loss_factor - 0.001).abs() < 1e-6);
//!
//! // The tip gives way by bending and by shear: l³ / 3 EI + l / GA.
//! let stiffness = Statics::factor(&frame).unwrap().stiffness(1, None).unwrap();
//! let exact = 1.0 / (1.0 / (3.0 * e * i) + 1.0 / plain.ga[0]);
//! assert!((stiffness.along[2] / exact - 1.0).abs() < 1e-6);
//! ```
//!
//! ```text
//! mechanism             why a frame has no modes
//! subdivision           how many elements each member is divided into
//! rigid_body            rigid-body modes, and mechanisms
//! elimination_order     what frames of one drawing and subdivision share
//! solve                 modes of a frame, its members divided until the frequencies hold
//! series                modes of one drawing with many sections
//! decay                 how long a mode rings
//! shares                strain energy of a mode as shares
//! footing               the base as a rigid body on its feet
//! on_feet               which modes are the base moving on its feet, and which are the structure's
//! theory                error of beam theory
//! answer                the modes of one build as a result
//! residual_flexibility  residual flexibility: what the computed modes leave out
//! statics               static stiffness and sag
//! properties            tests: what must hold for the modes of any frame
//! ```

mod answer;
mod decay;
mod elimination_order;
mod footing;
mod mechanism;
mod on_feet;
mod residual_flexibility;
mod rigid_body;
mod series;
mod shares;
mod solve;
mod statics;
mod subdivision;
mod theory;

pub use answer::{BuildModes, ModeAnswer, Pole};
pub use decay::ModeDecay;
pub use elimination_order::EliminationOrder;
pub use footing::{Footing, Pushes};
pub use mechanism::{Mechanism, ModesFault};
pub use on_feet::solve_past_feet;
pub use residual_flexibility::ResidualMode;
pub use rigid_body::{RigidMotion, bodies};
pub use series::Series;
pub use shares::{EnergyShares, Share};
pub use solve::{Asked, Elastic, Spectrum, solve, solve_beyond};
pub use statics::{Statics, Stiffness};
pub use theory::{Corner, HeldSection, Proportions, Reason, Theory, TheoryError};

#[cfg(test)]
mod properties;

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
#[path = "../frame/sample.rs"]
pub mod sample;
