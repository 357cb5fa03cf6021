//! Stillbed tells the designer of a small precision machine what its base should be made of.
//!
//! The way from a drawing to an answer is a ladder; a module uses only those above it here:
//!
//! ```text
//! problem, quantity, document   what is wrong and where; text to SI; the design file as a tree
//! material                      the table, complex moduli, the mix
//! section                       shapes, mesh, the 6x6 of a composite section
//! frame                         points, members, masses, feet, joints; assembly
//! modes                         frequencies, loss factors, shares of energy
//! response                      motion in frequency and time; temperature; the tap read back
//! design                        the design file as a whole, and its checks
//! study                         compare, spread, size, pour
//! report                        blocks to text, CSV, JSON and page
//! cli                           one file a command
//! ```
//!
//! Axes: x along a member, y across, z up in the section's own drawing; global z is up.
//! Freedoms are in the order x, y, z, turn_x, turn_y, turn_z. Every number is coherent SI.

pub use stillbed_input::{document, problem, quantity};

pub use stillbed_cli as cli;
pub use stillbed_design as design;
pub use stillbed_eigen as eigen;
pub use stillbed_frame as frame;
pub use stillbed_material as material;
pub use stillbed_modes as modes;
pub use stillbed_report as report;
pub use stillbed_response as response;
pub use stillbed_section as section;
pub use stillbed_study as study;
pub use stillbed_tap as tap;
