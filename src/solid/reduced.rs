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
use nalgebra::{DMatrix, DVector, Matrix3, Matrix6, Vector3, Vector4};
use std::fmt;
use std::ops::AddAssign;
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
    /// What the strains of the patches add.
    pub of_patches: PatchStrainMatrices,
}

/// How the strains of patches act together with the coordinates and with each other, for unit constants of one material;
/// they stand after the coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchStrainMatrices {
    /// Columns of the stiffness for λ = 1 Pa, (coordinates + strains, strains).
    pub lambda: DMatrix<f64>,
    /// For μ = 1 Pa.
    pub mu: DMatrix<f64>,
    /// As [`MaterialMatrices::expansion`], (strains, 4).
    pub expansion: DMatrix<f64>,
}

/// How a body that expands moves its patches.
#[derive(Debug, Clone, PartialEq)]
pub struct Expansion {
    /// Forces on the coordinates.
    pub forces: DVector<f64>,
    /// Strains of the patches.
    pub patch_strains: DVector<f64>,
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
    /// The same by strain of a patch: each that moves as one piece stretches and bends with a body that expands, six ways,
    /// and in no other case.
    pub patch_strains: Mat<f64>,
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

    /// How the body, of `materials`, expands by the free strains e₀ + g · (x - x_middle) of each, whose `fields` are e₀ and g
    /// along the axes of the grid, 1/m. What stands on a patch is taken to stretch and bend with the body as if it
    /// were alone; a patch that kept its size would be a clamp.
    pub fn expansion(&self, materials: &[Elastic], fields: &[Vector4<f64>]) -> Expansion {
        let (own, strained) = (self.coordinates(), self.patch_strains.ncols());
        let [stiffness, _] = self.matrices(materials);
        let mut forces = DVector::zeros(own + strained);
        let mut columns = DMatrix::zeros(own + strained, strained);
        for ((matrices, elastic), fields) in self.materials.iter().zip(materials).zip(fields) {
            let of_patches = &matrices.of_patches;
            let load = [&matrices.expansion, &of_patches.expansion].map(|own| own * fields * elastic.bulk());
            forces.rows_mut(0, own).add_assign(&load[0]);
            forces.rows_mut(own, strained).add_assign(&load[1]);
            columns += &of_patches.lambda * elastic.lambda + &of_patches.mu * elastic.mu;
        }
        if strained == 0 {
            return Expansion { forces, patch_strains: DVector::zeros(0) };
        }
        let mut all = DMatrix::zeros(own + strained, own + strained);
        all.view_mut((0, 0), (own, own)).copy_from(&stiffness);
        all.view_mut((0, own), (own + strained, strained)).copy_from(&columns);
        let across = columns.rows(0, own).transpose();
        all.view_mut((own, 0), (strained, own)).copy_from(&across);
        // Held against its rigid motions, on which these forces do no work.
        let scale = stiffness.diagonal().amax() / self.rigid.amax().powi(2);
        let held = &self.rigid * self.rigid.transpose() * scale;
        all.view_mut((0, 0), (own, own)).add_assign(&held);
        let answer = all.lu().solve(&forces).unwrap_or_else(|| DVector::zeros(own + strained));
        let patch_strains = answer.rows(own, strained).into_owned();
        let forces = forces.rows(0, own) - columns.rows(0, own) * &patch_strains;
        Expansion { forces, patch_strains }
    }
}
