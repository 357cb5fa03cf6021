//! A body as a few coordinates: the motions of its patches and some of its own shapes.
//!
//! ```text
//! u = Ψ q_patches + Φ q_inner
//! ```
//!
//! Ψ are the static shapes of the body when one patch moves and the others are held, Φ the lowest mode shapes with
//! all patches held. For each of several sets of materials both are found; what the others have beyond the first
//! set joins Φ, so that the space serves any materials in between. Stiffness and mass are the projections of the
//! exact ones, apart for the two elastic constants and the density of each material, so that a set of materials
//! costs a sum of small matrices:
//!
//! ```text
//! K = Σ_m λ_m Vᵀ Kλ_m V + μ_m Vᵀ Kμ_m V,   M = Σ_m ρ_m Vᵀ M_m V
//! ```
//!
//! # Source
//! - `craig-bampton1968`: fixed-interface modes and constraint modes

use crate::assembly::Elastic;
use crate::fit::FitFault;
use crate::mesh::Mesh;
use crate::patch::PatchFault;
use faer::Mat;
use nalgebra::{DMatrix, Matrix3, Matrix6, Vector3};
use std::fmt;
use stillbed_eigen::EigenFault;

/// Why a body cannot be solved.
#[derive(Debug, Clone, PartialEq)]
pub enum BodyFault {
    /// Its parts.
    Fit(FitFault),
    /// A patch, by number.
    Patch(usize, PatchFault),
    /// It falls apart: parts that do not touch.
    Apart(usize),
    /// Its patches cannot move independently of each other.
    Dependent,
    /// The solution.
    Eigen(EigenFault),
}

impl fmt::Display for BodyFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            BodyFault::Fit(fault) => fault.fmt(f),
            BodyFault::Patch(number, fault) => write!(f, "patch {}: {fault}", number + 1),
            BodyFault::Apart(pieces) => write!(f, "its parts make {pieces} pieces that do not touch"),
            BodyFault::Dependent => f.write_str("its patches cannot move independently of each other"),
            BodyFault::Eigen(fault) => fault.fmt(f),
        }
    }
}

impl std::error::Error for BodyFault {}

/// The matrices of one material for unit constants.
#[derive(Debug, Clone, PartialEq)]
pub struct MaterialMatrices {
    /// Stiffness for λ = 1 Pa.
    pub lambda: DMatrix<f64>,
    /// Stiffness for μ = 1 Pa.
    pub mu: DMatrix<f64>,
    /// Mass for a density of 1 kg/m³.
    pub mass: DMatrix<f64>,
    /// The mass as a rigid body for unit density: its 6 x 6 matrix about the origin, m³, m⁴, m⁵.
    pub rigid: Matrix6<f64>,
    /// ∫ T div v dV for the temperatures T = 1, ξ, η, ζ, which are the coordinates along the axes of the grid from
    /// its middle, (coordinates, 4). With (3 λ + 2 μ) α before it, the forces of a free expansion.
    pub expansion: DMatrix<f64>,
}

/// A reduced body.
#[derive(Debug, Clone)]
pub struct Reduced {
    /// Number of patches; their motions, six each in global axes, are the first coordinates.
    pub patches: usize,
    /// Number of inner coordinates.
    pub inner: usize,
    /// By material.
    pub materials: Vec<MaterialMatrices>,
    /// The coordinates of the six rigid-body motions about the origin, (coordinates, 6).
    pub rigid: DMatrix<f64>,
    /// Number of degrees of freedom of the grid.
    pub dofs: usize,
    /// The grid, in its own axes.
    pub mesh: Mesh,
    /// The axes of the grid, one per column, in global axes.
    pub axes: Matrix3<f64>,
    /// The middle of the grid, global axes, m.
    pub middle: Vector3<f64>,
    /// Displacements of the nodes, global axes, by coordinate, (3 nodes, coordinates).
    pub shapes: Mat<f64>,
}

impl Reduced {
    /// Number of coordinates.
    pub fn coordinates(&self) -> usize {
        6 * self.patches + self.inner
    }

    /// Stiffness, N/m, and mass, kg, with `materials`.
    pub fn matrices(&self, materials: &[Elastic]) -> [DMatrix<f64>; 2] {
        let n = self.coordinates();
        let mut sums = [(); 2].map(|()| DMatrix::zeros(n, n));
        for (own, elastic) in self.materials.iter().zip(materials) {
            sums[0] += &own.lambda * elastic.lambda + &own.mu * elastic.mu;
            sums[1] += &own.mass * elastic.density;
        }
        sums
    }
}
