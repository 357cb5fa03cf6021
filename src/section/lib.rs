//! One cross-section: from its shapes to the 6x6 stiffness and mass per length of a member.
//!
//! ```text
//! spec            the section of a design file, read
//! stock           stock sections by name
//! point           points in the plane of the section
//! polygon         what is wrong with the corners of a polygon
//! shape           a shape: how it is stated, its sizes, what is wrong with them, its outline
//! outline         outlines placed in the section, drawn as polygons, cut by later ones
//! area            area, first and second moments
//! clearance       how outlines lie to each other: inside, apart, sticking out
//! mirror          mirror symmetries of a section and of functions on it
//! triangulation   a triangulation that can be refined
//! mesh            ten-node triangles that follow the borders of the parts
//! element         one ten-node triangle
//! dense           factorisation of small dense matrices
//! equations       the sparse equations of one body, factorised
//! body            one connected body: elements, loads, equations, error of its fields
//! galerkin        its equations projected onto a few vectors, and the stiffnesses from them
//! basis           a body of two media in a reduced basis, for many sets of moduli
//! warping         torsion and transverse shear of a body for any moduli
//! stiffness       the stiffnesses of a section and their loss
//! plane_sections  whether plane sections are a fair assumption across soft layers
//! shear_flow      shear stiffness, shear centre and torsion of all bodies together
//! geometry        everything that does not depend on materials, computed once
//! solution        the section with given materials: stiffness, loss, mass, shares of the parts
//! fault           what is wrong with a section
//! ```
//!
//! # Axes and signs
//!
//! x along the member, y across, z up, right-handed; rotations are positive by the right-hand rule.
//! Strains, forces and 6x6 matrices refer to the member line, which is the origin of the section's
//! drawing:
//!
//! ```text
//! strains  e = [eps, gamma_y, gamma_z, kappa_x, kappa_y, kappa_z]
//! forces   s = [N,   V_y,     V_z,     T,       M_y,     M_z    ] = K e
//! eps(y,z) = eps + z kappa_y - y kappa_z,   M_y = int sigma z dA,   M_z = -int sigma y dA
//! ```

mod area;
mod basis;
mod body;
pub mod clearance;
mod dense;
mod element;
mod equations;
mod fault;
mod galerkin;
mod geometry;
mod mesh;
mod mirror;
mod outline;
mod plane_sections;
mod point;
mod polygon;
mod shape;
#[cfg(test)]
mod shape_tests;
mod shear_flow;
mod solution;
pub mod spec;
mod stiffness;
pub mod stock;
#[cfg(test)]
mod tests;
mod triangulation;
mod warping;

pub use area::Moments;
pub use fault::SectionFault;
pub use geometry::{Geometry, Part};
pub use shape::{Hollow, Shape, ShapeKind};
pub use solution::{Action, PartResult, PartShares, Solution};
pub use stiffness::{Loss, Stiffness};

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;
