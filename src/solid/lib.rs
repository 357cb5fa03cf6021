//! Three-dimensional elasticity of bodies of several materials.
//!
//! ```text
//! polynomial  the nodal basis of an interval, and integrals of its products
//! mesh        a grid of boxes with polynomial orders by interval, and what fills each cell
//! cell        stiffness and mass of one cell
//! assembly    the sparse matrices of a mesh
//! ```

mod assembly;
mod cell;
mod mesh;
mod polynomial;

pub use assembly::{Assembly, Elastic, Matrices};
pub use mesh::{Axis, Cell, CellPoint, Content, Interval, Mesh};

#[cfg(test)]
mod trials;
