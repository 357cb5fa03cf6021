//! Three-dimensional elasticity of bodies of several materials.
//!
//! ```text
//! polynomial  the nodal basis of an interval, and integrals of its products
//! mesh        a grid of boxes with polynomial orders by interval, and what fills each cell
//! cell        stiffness and mass of one cell
//! stl         surfaces of triangles as drawing programs write them
//! tree        a tree of boxes over triangles
//! closed_surface  a closed surface of triangles: its faults, its axes, what it holds
//! bounded     a part bounded by one: what the grid follows of it and what it cuts
//! part        the parts that a body is drawn of
//! fit         a grid fitted to the parts
//! cut         the points of a cell that a curved or oblique face cuts
//! assembly    the sparse matrices of a mesh
//! patch       the flat areas by which points hold a body
//! reduced     a body as a few coordinates
//! space       the shapes of a body, and its coordinates
//! body        a body as it is drawn: parts, patches, grid, reduction
//! recovery    strains and displacements of a reduced body
//! spec        bodies and patches as the design file states them
//! surface     what of its parts is seen, as flat faces
//! back_to_front  the order in which faces are drawn over each other
//! shown       where a place on a body moves, and the outlines of patches
//! tube_joint  one tube on another, and the motions of its end
//! tube_beams  what the two give as beams
//! walls       how the wall of one tube gives under the end of another
//! wall_grid   the solid of such a joint, for all ways in which it is loaded
//! wall_table  the same from a table of ratios
//! solvers     threads that solve solids and nothing else
//! solved_walls  the same of pairs that the table does not cover, each solved once
//! bearing     how a solid chord gives under the end of a tube, from a table
//! ```

mod assembly;
mod back_to_front;
mod bearing;
mod body;
mod bounded;
mod cell;
mod closed_surface;
mod cut;
mod fit;
mod mesh;
mod part;
mod patch;
mod polynomial;
mod recovery;
mod reduced;
mod shown;
mod solved_walls;
mod solvers;
mod space;
pub mod spec;
mod stl;
mod surface;
mod tree;
mod tube_beams;
mod tube_joint;
mod wall_grid;
mod wall_table;
mod walls;

pub use assembly::{Assembly, Elastic, Matrices};
pub use back_to_front::{BackToFront, Divide};
pub use bearing::Bearing;
pub use body::{Body, Prepared};
pub use bounded::Bounds;
pub use closed_surface::{ClosedSurface, SurfaceFault};
pub use fit::{FitFault, best_axes, filled, fit};
pub use mesh::{Axis, Cell, Content, Filling, Interval, Mesh};
pub use part::{Part, Ring, upright};
pub use patch::{Grip, Patch, PatchFault, PatchSize};
pub use recovery::BodyStrain;
pub use reduced::{BodyFault, Expansion, MaterialMatrices, PatchStrainMatrices, Reduced};
pub use solvers::apart;
pub use stl::{Triangle, open_edges, read_stl};
pub use surface::{Corner, Edge, Face, Shown, surface};
pub use tube_joint::{
    BeamStiffness, ChordEnd, CornerEnd, SolvedWalls, TubeJoint, TubeSection, WallFlexibility,
};
pub use wall_table::{LossyWall, WallPair};

#[cfg(test)]
mod trials;
