//! Stillbed tells the designer of a small precision machine what its base should be made of.
//!
//! From a tube and a fill to frequencies and loss factors:
//!
//! ```
//! use stillbed::design::Design;
//! use stillbed::material::Table;
//! use stillbed::study::{modes::Modes, spread::Draws};
//!
//! let text = r#"
//! points = { wall = "0, 0, 0 mm", tip = "400, 0, 0 mm" }
//! members.arm = { from = "wall", to = "tip", section = "arm" }
//! anchors.wall = { at = "wall", hold = "all" }
//! [builds.hollow]
//! sections.arm.parts = [{ tube = "60 x 40 x 3 mm", of = "structural steel" }]
//! [builds.filled]
//! sections.arm.parts = [
//!   { rectangle = "60 x 40 mm", of = "epoxy granite" },
//!   { tube = "60 x 40 x 3 mm", of = "structural steel" },
//! ]
//! "#;
//! let reading = Design::read("arm.toml", text, &Table::built_in());
//! let design = reading.design.ok_or("the design has errors")?;
//! let answer = Modes::compute(&design, 1, &Draws::NONE, |_, _| ())?;
//! let first = |build: usize| &answer.builds[build].modes.modes[0];
//! // The fill adds more mass than stiffness, and takes the ring away.
//! assert!(first(1).frequency_hz < first(0).frequency_hz);
//! assert!(first(1).loss_factor > 3.0 * first(0).loss_factor);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The way from a drawing to an answer
//!
//! Each line is a package of its own, `stillbed-…`; it uses only those above it.
//!
//! ```text
//! problem, quantity, document   what is wrong and where; text to SI; the design file as a tree
//! eigen                         the lowest modes of large sparse matrix pairs; knows no frame
//! material                      the table, complex moduli, the mix
//! joint                         laws of joints and feet: contact, bolts, films, pads
//! section                       shapes, mesh, the 6x6 of a composite section
//! solid                         bodies of several materials by three-dimensional elasticity
//! frame                         points, members, masses, feet, joints; assembly
//! modes                         frequencies, loss factors, shares of energy
//! response                      motion in frequency and time; deformation; temperature
//! tap                           the recorded tap test; knows no design
//! design                        the design file as a whole, and its checks
//! study                         one module a question, named as its command
//! report                        blocks to text, CSV, JSON, page and workbook (feature `cli`)
//! cli                           one file a command (feature `cli`)
//! ```
//!
//! Without the feature `cli`, which is on by default, no code of terminals, pages and workbooks is built.
//!
//! # Conventions
//!
//! Axes: x along a member, y across, z up in the section's own drawing; global z is up. Degrees of freedom
//! are in the order x, y, z, turn_x, turn_y, turn_z. Every number is coherent SI.

pub use stillbed_input::{document, problem, quantity};

#[cfg(feature = "cli")]
pub use stillbed_cli as cli;
pub use stillbed_design as design;
pub use stillbed_eigen as eigen;
pub use stillbed_frame as frame;
pub use stillbed_joint as joint;
pub use stillbed_material as material;
pub use stillbed_modes as modes;
#[cfg(feature = "cli")]
pub use stillbed_report as report;
pub use stillbed_response as response;
pub use stillbed_section as section;
pub use stillbed_solid as solid;
pub use stillbed_study as study;
pub use stillbed_tap as tap;
