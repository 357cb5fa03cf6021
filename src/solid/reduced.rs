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

use crate::assembly::{Assembly, Elastic};
use crate::fit::{FitFault, best_axes, fit};
use crate::mesh::Mesh;
use crate::part::Part;
use crate::patch::{Patch, PatchFault, arm, face, nodes, within};
use faer::Mat;
use nalgebra::{DMatrix, Matrix3, Matrix6, Vector3};
use std::fmt;
use stillbed_eigen::{EigenFault, Factorisation, Patterns, Settings, Vectors, approximate, lowest_unchecked};

/// A body: its parts, later ones displacing earlier ones, and its patches.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Its parts.
    pub parts: Vec<Part>,
    /// Its patches.
    pub patches: Vec<Patch>,
}

/// Why a body cannot be solved.
#[derive(Debug, Clone, PartialEq)]
pub enum BodyFault {
    /// Its parts.
    Fit(FitFault),
    /// A patch, by number.
    Patch(usize, PatchFault),
    /// It falls apart: parts that do not touch.
    Apart(usize),
    /// The solution.
    Eigen(EigenFault),
}

impl fmt::Display for BodyFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            BodyFault::Fit(fault) => fault.fmt(f),
            BodyFault::Patch(number, fault) => write!(f, "patch {}: {fault}", number + 1),
            BodyFault::Apart(pieces) => write!(f, "its parts make {pieces} pieces that do not touch"),
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

/// Directions that are new to the space by less than this are left out.
const NEW: f64 = 1e-3;

/// A body with its grid, its patches found on it.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// The axes of the grid, one per column, in global axes.
    pub axes: Matrix3<f64>,
    /// The grid, in its own axes.
    pub mesh: Mesh,
    /// By node: its patch.
    owner: Vec<Option<usize>>,
}

impl Body {
    /// The axis of the body that the face at `at` is square to, and the sign of its outward normal.
    ///
    /// # Errors
    /// [`PatchFault::OffSurface`] or [`PatchFault::Skew`].
    pub fn face(&self, at: &Vector3<f64>) -> Result<(usize, f64), PatchFault> {
        let axes = best_axes(&self.parts);
        let parts: Vec<Part> = self.parts.iter().map(|part| part.turned(&axes)).collect();
        face(&parts, &axes.tr_mul(at), extent(&parts))
    }

    /// True when `at` lies within a part that is not empty.
    pub fn holds(&self, at: &Vector3<f64>) -> bool {
        self.parts.iter().rev().find(|part| part.holds(at)).is_some_and(|part| part.material.is_some())
    }

    /// Reduces the body, with `modes` fixed-interface modes for each of the `sets` of materials, on a grid whose
    /// orders are higher by `finer`.
    ///
    /// # Errors
    /// [`BodyFault`].
    pub fn reduced(&self, sets: &[Vec<Elastic>], modes: usize, finer: usize) -> Result<Reduced, BodyFault> {
        let Prepared { axes, mesh, owner } = self.prepare(finer)?;
        let space = Space { body: self, axes, owner, assembly: Assembly::new(&mesh) };
        space.reduced(sets, modes)
    }

    /// The grid of the body, whose orders are higher by `finer`, and its patches on it.
    ///
    /// # Errors
    /// [`BodyFault`], but of the solution.
    pub fn prepare(&self, finer: usize) -> Result<Prepared, BodyFault> {
        let axes = best_axes(&self.parts);
        let parts: Vec<Part> = self.parts.iter().map(|part| part.turned(&axes)).collect();
        let size = extent(&parts);
        let mut extra = [const { Vec::new() }; 3];
        let mut faces = Vec::new();
        for (number, patch) in self.patches.iter().enumerate() {
            let own = Patch { at: axes.tr_mul(&patch.at), ..*patch };
            let (axis, _) = face(&parts, &own.at, size).map_err(|fault| BodyFault::Patch(number, fault))?;
            for (axis, side) in within(axis).into_iter().zip(own.size.sides()) {
                extra[axis].extend([own.at[axis] - 0.5 * side, own.at[axis] + 0.5 * side]);
            }
            faces.push((own, axis));
        }
        let mesh = fit(&parts, &extra, finer).map_err(BodyFault::Fit)?;
        let mut owner = vec![None; mesh.nodes()];
        for (number, (patch, axis)) in faces.iter().enumerate() {
            let (nodes, covered) = nodes(&mesh, patch, *axis);
            if covered < 0.5 || nodes.len() < 3 {
                return Err(BodyFault::Patch(number, PatchFault::Overhangs(covered)));
            }
            for node in nodes {
                if let Some(other) = owner[node].replace(number) {
                    return Err(BodyFault::Patch(number, PatchFault::Meets(other)));
                }
            }
        }
        let pieces = mesh.pieces();
        if pieces > 1 {
            return Err(BodyFault::Apart(pieces));
        }
        Ok(Prepared { axes, mesh, owner })
    }
}

fn extent(parts: &[Part]) -> f64 {
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for [from, to] in parts.iter().filter(|part| part.material.is_some()).map(Part::extent) {
        for axis in 0..3 {
            (low[axis], high[axis]) = (low[axis].min(from[axis]), high[axis].max(to[axis]));
        }
    }
    (0..3).map(|axis| high[axis] - low[axis]).fold(0.0, f64::max)
}

struct Space<'b> {
    body: &'b Body,
    axes: Matrix3<f64>,
    /// By node: its patch.
    owner: Vec<Option<usize>>,
    assembly: Assembly<'b>,
}

impl Space<'_> {
    fn place(&self, node: usize) -> Vector3<f64> {
        self.axes * Vector3::from(self.assembly.mesh.position(node))
    }

    /// Displacements in grid axes when the point at `at` moves rigidly, of the nodes that `counts`, (3 nodes, 6).
    fn rigid(&self, at: &Vector3<f64>, counts: impl Fn(usize) -> bool) -> Mat<f64> {
        let nodes = self.owner.len();
        let mut motions = Mat::zeros(3 * nodes, 6);
        for node in (0..nodes).filter(|node| counts(*node)) {
            let (shift, turn) = arm(&self.place(node), at);
            let (shift, turn) = (self.axes.tr_mul(&shift), self.axes.tr_mul(&turn));
            for i in 0..3 {
                for j in 0..3 {
                    motions[(3 * node + i, j)] = shift[(i, j)];
                    motions[(3 * node + i, 3 + j)] = turn[(i, j)];
                }
            }
        }
        motions
    }

    /// The middle of the grid in its own axes, m.
    fn middle(&self) -> Vector3<f64> {
        let middle = |axis: usize| {
            let lines = &self.assembly.mesh.axes[axis].lines;
            0.5 * (lines[0] + lines[lines.len() - 1])
        };
        Vector3::from([0, 1, 2].map(middle))
    }

    /// Displacements w in grid axes whose divergence is 1, ξ, η and ζ, (3 nodes, 4): Kλ w is then the force of that
    /// temperature, since Kλ is ∫ div v div w.
    fn expansions(&self) -> Mat<f64> {
        let mesh = self.assembly.mesh;
        let middle = self.middle();
        Mat::from_fn(3 * mesh.nodes(), 4, |dof, field| {
            let (node, axis) = (dof / 3, dof % 3);
            let own = mesh.position(node)[axis] - middle[axis];
            match field {
                0 => own / 3.0,
                _ if field == axis + 1 => 0.5 * own * own,
                _ => 0.0,
            }
        })
    }

    fn reduced(&self, sets: &[Vec<Elastic>], modes: usize) -> Result<Reduced, BodyFault> {
        let mesh = self.assembly.mesh;
        let held: Vec<bool> = (0..3 * mesh.nodes()).map(|dof| self.owner[dof / 3].is_some()).collect();
        let count = self.body.patches.len();
        let patterns = Patterns::default();
        let nominal = sets.first().map(Vec::as_slice).unwrap_or_default();
        let mut moved = Mat::<f64>::zeros(held.len(), 0);
        for (number, patch) in self.body.patches.iter().enumerate() {
            moved = beside(&moved, &self.rigid(&patch.at, |node| self.owner[node] == Some(number)));
        }
        let expansions = self.expansions();
        let mut constraint = Mat::<f64>::zeros(held.len(), 0);
        let mut inner = Mat::<f64>::zeros(held.len(), 0);
        for (number, set) in sets.iter().enumerate() {
            let matrices = self.assembly.matrices(set, &held);
            let (pair, free) = (matrices.pair(), &matrices.free);
            let spread = |own: &Vectors| {
                Mat::from_fn(held.len(), own.count(), |dof, k| free[dof].map_or(0.0, |row| own[(row, k)]))
            };
            if count == 0 {
                let settings = Settings { patterns: Some(&patterns), ..Settings::default() };
                let wanted = (modes + 6).min(pair.dofs());
                let pairs = lowest_unchecked(&pair, wanted, &settings).map_err(BodyFault::Eigen)?;
                inner = beside(&inner, &spread(&pairs.vectors));
                continue;
            }
            let symbolic = patterns.analyse(&pair).map_err(BodyFault::Eigen)?;
            let factor = Factorisation::compute(&pair, &symbolic, 0.0).map_err(BodyFault::Eigen)?;
            let load = |of: &Mat<f64>, by: f64| {
                let mut load = Mat::<f64>::zeros(pair.dofs(), of.ncols());
                for (dof, row) in free.iter().enumerate() {
                    if let Some(row) = row {
                        (0..of.ncols()).for_each(|k| load[(*row, k)] = by * of[(dof, k)]);
                    }
                }
                Vectors::from(load)
            };
            let [force, _] = self.assembly.times(set, moved.as_ref());
            let answer = factor.solve(&load(&force, -1.0)).map_err(BodyFault::Eigen)?;
            let shapes = &moved + spread(&answer);
            let own = if number == 0 {
                constraint = shapes;
                approximate(&pair, modes.min(pair.dofs()), &factor)
            } else {
                // One step of inverse iteration brings the lowest shapes of the first set to those of this one.
                let [_, inertia] = self.assembly.times(set, inner.subcols(0, (modes / 2).min(inner.ncols())));
                inner = beside(&inner, &(&shapes - &constraint));
                factor.solve(&load(&inertia, 1.0))
            };
            inner = beside(&inner, &spread(&own.map_err(BodyFault::Eigen)?));
            if number == 0 {
                // How each material moves the body when it alone expands.
                for material in 0..set.len() {
                    let alone: Vec<Elastic> = (0..set.len())
                        .map(|other| {
                            let lambda = if other == material { set[other].bulk() } else { 0.0 };
                            Elastic { lambda, mu: 0.0, density: 0.0 }
                        })
                        .collect();
                    let [force, _] = self.assembly.times(&alone, expansions.as_ref());
                    let answer = factor.solve(&load(&force, 1.0)).map_err(BodyFault::Eigen)?;
                    inner = beside(&inner, &spread(&answer));
                }
            }
        }
        let inner = self.independent(nominal, inner);
        let shapes = beside(&constraint, &inner);
        let size = shapes.ncols();
        let projected = self.assembly.projected(nominal.len(), beside(&shapes, &expansions).as_ref());
        let origin = self.rigid(&Vector3::zeros(), |_| true);
        let volumes = self.assembly.projected(nominal.len(), origin.as_ref());
        let dense = |m: &Mat<f64>| DMatrix::from_fn(size, size, |i, j| m[(i, j)]);
        let materials = projected.iter().zip(&volumes).map(|([lambda, mu, mass], [_, _, rigid])| {
            let rigid = Matrix6::from_fn(|i, j| rigid[(i, j)]);
            let expansion = DMatrix::from_fn(size, 4, |i, field| lambda[(i, size + field)]);
            MaterialMatrices { lambda: dense(lambda), mu: dense(mu), mass: dense(mass), rigid, expansion }
        });
        let rigid = self.rigid_coordinates(nominal, &shapes, &origin);
        Ok(Reduced {
            patches: count,
            inner: inner.ncols(),
            materials: materials.collect(),
            rigid,
            dofs: held.iter().filter(|held| !**held).count() + 6 * count,
            mesh: mesh.clone(),
            axes: self.axes,
            middle: self.axes * self.middle(),
            shapes: self.in_global_axes(&shapes),
        })
    }

    /// The columns of `all` made M-orthonormal, without those that are not new.
    fn independent(&self, materials: &[Elastic], all: Mat<f64>) -> Mat<f64> {
        let [_, massive] = self.assembly.times(materials, all.as_ref());
        let gram = all.transpose() * &massive;
        // Pivoted Cholesky of the scaled Gram matrix tells which columns are new.
        let size: Vec<f64> = (0..all.ncols()).map(|k| gram[(k, k)].max(0.0).sqrt()).collect();
        let mut kept: Vec<Vec<f64>> = Vec::new();
        let product = |a: &[f64], b: &[f64]| -> f64 {
            let mut sum = 0.0;
            for (i, a) in a.iter().enumerate() {
                for (j, b) in b.iter().enumerate() {
                    sum += a * gram[(i, j)] * b;
                }
            }
            sum
        };
        for k in (0..all.ncols()).filter(|k| size[*k] > 0.0) {
            let mut own = vec![0.0; all.ncols()];
            own[k] = 1.0 / size[k];
            for _ in 0..2 {
                for other in &kept {
                    let part = product(other, &own);
                    own.iter_mut().zip(other).for_each(|(own, other)| *own -= part * other);
                }
            }
            let left = product(&own, &own).max(0.0).sqrt();
            if left > NEW {
                own.iter_mut().for_each(|own| *own /= left);
                kept.push(own);
            }
        }
        let coefficients = Mat::from_fn(all.ncols(), kept.len(), |i, k| kept[k][i]);
        &all * &coefficients
    }

    /// The coordinates of the rigid motions `origin` in `shapes`, by least squares of the mass.
    fn rigid_coordinates(&self, materials: &[Elastic], shapes: &Mat<f64>, origin: &Mat<f64>) -> DMatrix<f64> {
        let patches = &self.body.patches;
        if !patches.is_empty() {
            let mut coordinates = DMatrix::zeros(shapes.ncols(), 6);
            for (number, patch) in patches.iter().enumerate() {
                let (shift, turn) = arm(&patch.at, &Vector3::zeros());
                let row = 6 * number;
                coordinates.view_mut((row, 0), (3, 3)).copy_from(&shift);
                coordinates.view_mut((row, 3), (3, 3)).copy_from(&turn);
                coordinates.view_mut((row + 3, 3), (3, 3)).copy_from(&Matrix3::identity());
            }
            return coordinates;
        }
        // Inner shapes are M-orthonormal.
        let [_, massive] = self.assembly.times(materials, origin.as_ref());
        let parts = shapes.transpose() * &massive;
        DMatrix::from_fn(shapes.ncols(), 6, |i, j| parts[(i, j)])
    }

    fn in_global_axes(&self, shapes: &Mat<f64>) -> Mat<f64> {
        Mat::from_fn(shapes.nrows(), shapes.ncols(), |dof, k| {
            let (node, i) = (dof / 3, dof % 3);
            (0..3).map(|j| self.axes[(i, j)] * shapes[(3 * node + j, k)]).sum()
        })
    }
}

/// Two blocks of columns beside each other.
fn beside(one: &Mat<f64>, other: &Mat<f64>) -> Mat<f64> {
    let first = one.ncols();
    Mat::from_fn(other.nrows(), first + other.ncols(), |i, k| {
        if k < first { one[(i, k)] } else { other[(i, k - first)] }
    })
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::PatchSize;
    use approx::assert_relative_eq;
    use nalgebra::{Cholesky, SymmetricEigen};

    fn frequencies([k, m]: [DMatrix<f64>; 2]) -> Vec<f64> {
        let l = Cholesky::new(m).unwrap().l();
        let inverse = l.try_inverse().unwrap();
        let mut values: Vec<f64> =
            SymmetricEigen::new(&inverse * k * inverse.transpose()).eigenvalues.iter().copied().collect();
        values.sort_by(f64::total_cmp);
        values.iter().map(|w| w.max(0.0).sqrt() / std::f64::consts::TAU).collect()
    }

    fn granite() -> Elastic {
        Elastic::isotropic(60e9, 0.25, 2900.0)
    }

    fn slab(patches: Vec<Patch>) -> Body {
        Body { parts: vec![Part::cuboid([0.6, 0.4, 0.1], [0.0; 3], Some(0))], patches }
    }

    fn feet() -> Vec<Patch> {
        let foot = |x: f64, y: f64| Patch { at: Vector3::new(x, y, -0.05), size: PatchSize::Round(0.04) };
        vec![foot(0.2, 0.0), foot(-0.2, 0.12), foot(-0.2, -0.12)]
    }

    #[test]
    fn a_reduced_slab_keeps_its_mass_its_rigid_motions_and_its_frequencies() {
        let few = slab(feet()).reduced(&[vec![granite()]], 24, 0).unwrap();
        let many = slab(feet()).reduced(&[vec![granite()]], 72, 0).unwrap();
        let [k, m] = many.matrices(&[granite()]);
        let scale = k.diagonal().amax();
        let energy = many.rigid.transpose() * &k * &many.rigid;
        assert!(energy.amax() < 1e-9 * scale, "{energy}");
        let mass = many.rigid.transpose() * &m * &many.rigid;
        let own = 0.6 * 0.4 * 0.1 * 2900.0;
        for axis in 0..3 {
            assert_relative_eq!(mass[(axis, axis)], own, max_relative = 1e-9);
        }
        assert_relative_eq!(mass[(5, 5)], own * (0.6 * 0.6 + 0.4 * 0.4) / 12.0, max_relative = 1e-9);
        assert_relative_eq!(many.materials[0].rigid[(0, 0)], 0.6 * 0.4 * 0.1, max_relative = 1e-12);
        let [few, many] = [few, many].map(|reduced| frequencies(reduced.matrices(&[granite()])));
        for (few, many) in few[6..10].iter().zip(&many[6..10]) {
            assert_relative_eq!(few, many, max_relative = 2e-3);
        }
        // Small patches that move as one piece stiffen it a little.
        assert!((1071.96..1090.0).contains(&many[6]), "{}", many[6]);
    }

    #[test]
    fn shapes_of_other_materials_serve_a_draw_between_them() {
        let fill = Elastic::isotropic(20e9, 0.25, 2200.0);
        let steel = Elastic::isotropic(210e9, 0.3, 7850.0);
        let parts = vec![
            Part::cuboid([0.5, 0.2, 0.1], [0.0; 3], Some(0)),
            Part::cuboid([0.5, 0.03, 0.03], [0.0; 3], Some(1)),
        ];
        let softer = |factor: f64| Elastic { lambda: fill.lambda * factor, mu: fill.mu * factor, ..fill };
        let sets = [1.0, 0.7].map(|factor| vec![softer(factor), steel]);
        let patch = |x: f64, z: f64| Patch { at: Vector3::new(x, 0.0, z), size: PatchSize::Round(0.05) };
        for patches in [Vec::new(), vec![patch(-0.2, -0.05), patch(0.15, 0.05)]] {
            let body = Body { parts: parts.clone(), patches };
            let reduced = body.reduced(&sets, 24, 0).unwrap();
            for factor in [0.6, 0.85, 1.3] {
                let draw = [softer(factor), steel];
                let exact = body.reduced(&[draw.to_vec()], 24, 0).unwrap();
                let [own, exact] = [&reduced, &exact].map(|reduced| frequencies(reduced.matrices(&draw)));
                for (own, exact) in own[6..12].iter().zip(&exact[6..12]) {
                    assert_relative_eq!(own, exact, max_relative = 1e-3);
                }
            }
        }
    }

    #[test]
    fn parts_that_do_not_touch_and_patches_off_the_body_are_refused() {
        let mut apart = slab(Vec::new());
        apart.parts.push(Part::cuboid([0.1; 3], [0.0, 0.0, 0.3], Some(0)));
        assert!(matches!(apart.prepare(0).map(drop), Err(BodyFault::Apart(2))));
        let off = slab(vec![Patch { at: Vector3::new(0.0, 0.0, 0.2), size: PatchSize::Round(0.04) }]);
        assert!(matches!(off.prepare(0).map(drop), Err(BodyFault::Patch(0, PatchFault::OffSurface(_)))));
        let edge = slab(vec![Patch { at: Vector3::new(0.299, 0.199, 0.05), size: PatchSize::Round(0.1) }]);
        assert!(matches!(edge.prepare(0).map(drop), Err(BodyFault::Patch(0, PatchFault::Overhangs(_)))));
        let mut near = feet();
        near.push(Patch { at: near[0].at + Vector3::new(0.01, 0.0, 0.0), ..near[0] });
        assert!(matches!(slab(near).prepare(0).map(drop), Err(BodyFault::Patch(3, PatchFault::Meets(0)))));
    }
}
