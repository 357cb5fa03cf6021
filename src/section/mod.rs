//! One cross-section: from its shapes to the 6x6 stiffness and mass of a member.
//!
//! ```text
//! shape          a shape of the drawing: its sizes, what is wrong with them, its outline
//! outline        outlines placed, drawn as polygons, displaced by later ones
//! area           first and second moments of areas
//! mirror         mirrors that map a section onto itself, and what they make of a function
//! triangulation  triangles that can be divided
//! mesh           ten-node triangles that respect the borders of the parts
//! element        one such triangle
//! dense          elimination in small matrices
//! equations      the sparse equations of one body, factorised
//! warping        torsion and transverse shear of one connected body by finite elements
//! basis          the same in a few vectors, for many moduli
//! clearance      how outlines lie to each other
//! plane          whether plane sections hold across soft layers
//! flow           shear stiffness, shear centre and torsion of all bodies together
//! geometry       all that does not depend on materials, made once
//! solution       the section in given materials: stiffness, loss, mass, who carries what
//! ```
//!
//! # Axes and signs
//!
//! x along the member, y across, z up, right-handed; rotations are positive by the right-hand
//! rule. Strains, forces and 6x6 matrices are about the member line, the origin of the
//! section's drawing:
//!
//! ```text
//! strains  e = [eps, gamma_y, gamma_z, kappa_x, kappa_y, kappa_z]
//! forces   s = [N,   V_y,     V_z,     T,       M_y,     M_z    ] = K e
//! eps(y,z) = eps + z kappa_y - y kappa_z,   M_y = int sigma z dA,   M_z = -int sigma y dA
//! ```

mod area;
mod basis;
pub mod clearance;
mod dense;
mod element;
mod equations;
mod fault;
mod flow;
mod geometry;
mod mesh;
mod mirror;
mod outline;
mod plane;
mod shape;
mod solution;
pub mod spec;
pub mod stock;
#[cfg(test)]
mod tests;
mod triangulation;
mod warping;

pub use area::Moments;
pub use fault::SectionFault;
pub use geometry::{Geometry, Part};
pub use shape::Shape;
pub use solution::{Action, Loss, PartResult, Shares, Solution, Stiffness};
