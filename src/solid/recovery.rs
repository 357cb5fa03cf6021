//! Strains and displacements of a reduced body from its coordinates.

use crate::mesh::{Cell, Content};
use crate::polynomial::{gauss, lagrange, lobatto};
use crate::reduced::Reduced;
use faer::Mat;
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

/// The strain at one place of a body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BodyStrain {
    /// The material there, by number.
    pub material: usize,
    /// Where it is, global axes, m.
    pub at: Vector3<f64>,
    /// The volume that it stands for, m³.
    pub volume: f64,
    /// Sides of the box about it in which that volume lies, along the axes of the grid, m.
    pub sides: Vector3<f64>,
    /// The strain, global axes.
    pub strain: Matrix3<f64>,
}

/// A place in a cell, from 0 to 1 along each side, the volume that it stands for, m³, and the material.
type CellPlace = ([f64; 3], f64, usize);

impl Reduced {
    /// Displacements of the nodes, global axes, m, for `coordinates` and strains of the patches, which may be left out.
    #[must_use]
    pub fn displacements(&self, coordinates: &[f64], patch_strains: &[f64]) -> Vec<Vector3<f64>> {
        let of = |shapes: &Mat<f64>, by: &[f64], dof: usize| {
            by.iter().enumerate().map(|(k, q)| shapes[(dof, k)] * q).sum::<f64>()
        };
        let sum =
            |dof: usize| of(&self.shapes, coordinates, dof) + of(&self.patch_strains, patch_strains, dof);
        (0..self.mesh.nodes())
            .into_par_iter()
            .map(|node| Vector3::new(sum(3 * node), sum(3 * node + 1), sum(3 * node + 2)))
            .collect()
    }

    /// Where the nodes are, global axes, m.
    #[must_use]
    pub fn positions(&self) -> Vec<Vector3<f64>> {
        (0..self.mesh.nodes()).map(|node| self.axes * Vector3::from(self.mesh.position(node))).collect()
    }

    /// The strains at eight places of every cell, and at one place for each material of a cell that a face cuts,
    /// for `coordinates` and strains of the patches, which may be left out.
    #[must_use]
    pub fn strains(&self, coordinates: &[f64], patch_strains: &[f64]) -> Vec<BodyStrain> {
        let moved = self.displacements(coordinates, patch_strains);
        self.mesh.cells.par_iter().flat_map_iter(|cell| self.in_cell(cell, &moved)).collect()
    }

    fn in_cell(&self, cell: &Cell, moved: &[Vector3<f64>]) -> Vec<BodyStrain> {
        let (low, sizes) = self.mesh.extent(cell);
        let sides = |part: f64| Vector3::from(sizes) * part;
        let (sides, places): (Vector3<f64>, Vec<CellPlace>) = match &cell.content {
            Content::Full(material) => {
                let volume: f64 = sizes.iter().product();
                let along = gauss(2);
                let mut places = Vec::with_capacity(8);
                for (x, wx) in &along {
                    for (y, wy) in &along {
                        places.extend(
                            along.iter().map(|(z, wz)| ([*x, *y, *z], wx * wy * wz * volume, *material)),
                        );
                    }
                }
                (sides(0.5), places)
            }
            Content::Cut(fillings) => {
                let means =
                    fillings.iter().map(|filling| (filling.centre(), filling.volume(), filling.material));
                (sides(1.0), means.collect())
            }
        };
        let nodes = self.mesh.nodes_of(cell);
        let points = self.mesh.intervals(cell).map(|interval| lobatto(interval.order));
        let strain = |at: &[f64; 3]| {
            let basis = [0, 1, 2].map(|axis| lagrange(&points[axis], at[axis]));
            // ∂u_i/∂ξ_j, displacements in global axes and slopes along those of the grid.
            let mut slopes = Matrix3::zeros();
            let mut number = 0;
            for (vx, sx) in &basis[0] {
                for (vy, sy) in &basis[1] {
                    for (vz, sz) in &basis[2] {
                        let slope = Vector3::new(
                            sx * vy * vz / sizes[0],
                            vx * sy * vz / sizes[1],
                            vx * vy * sz / sizes[2],
                        );
                        slopes += moved[nodes[number]] * slope.transpose();
                        number += 1;
                    }
                }
            }
            let slopes = slopes * self.axes.transpose();
            (slopes + slopes.transpose()) * 0.5
        };
        let found = places.into_iter().map(|(at, volume, material)| BodyStrain {
            material,
            at: self.axes * Vector3::from_fn(|i, _| low[i] + sizes[i] * at[i]),
            volume,
            sides,
            strain: strain(&at),
        });
        found.collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::{Body, Elastic, Grip, Part, Patch, PatchSize, Ring};
    use approx::assert_relative_eq;
    use nalgebra::{Matrix3, Rotation3, Vector3, Vector4};

    /// A block with a tube along it, turned, on one patch.
    fn body(turn: &Matrix3<f64>) -> Body {
        let rings = vec![Ring::rectangle(0.04, 0.04), Ring::rectangle(0.034, 0.034)];
        let tube = Part { rings, ..Part::cuboid([0.3, 0.0, 0.0], [0.0; 3], Some(1)) };
        let parts = [Part::cuboid([0.3, 0.2, 0.1], [0.0; 3], Some(0)), tube];
        let at = turn * Vector3::new(0.05, 0.0, -0.05);
        Body {
            parts: parts.iter().map(|part| part.turned(&turn.transpose())).collect(),
            patches: vec![Patch { at, size: PatchSize::Round(0.04), grip: Grip::OnePiece }],
        }
    }

    #[test]
    fn a_body_of_one_expansion_expands_without_stress() {
        let turn = *Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let materials = [Elastic::isotropic(20e9, 0.25, 2200.0), Elastic::isotropic(210e9, 0.3, 7850.0)];
        let reduced = body(&turn).reduced(&[materials.to_vec()], 12, 0).unwrap();
        // Uniform, and a gradient across the block's thickness that bends it without stress.
        let along = turn.column(2);
        for (field, free) in [(0, 1e-4), (3, 1e-3)] {
            let mut fields = Vector4::zeros();
            fields[field] = free;
            let expansion = reduced.expansion(&materials, &[fields; 2]);
            let [stiffness, _] = reduced.matrices(&materials);
            let inner = reduced.inner;
            // With its patch held where it is.
            let (k, f) = (stiffness.view((6, 6), (inner, inner)), expansion.forces.rows(6, inner));
            let answer = k.into_owned().cholesky().unwrap().solve(&f.into_owned());
            let mut coordinates = vec![0.0; 6];
            coordinates.extend(answer.iter());
            // Cells across a thin wall have one strain where a gradient has two.
            let scale = free * if field == 0 { 1e-6 } else { 0.05 * 0.03 };
            for found in reduced.strains(&coordinates, expansion.patch_strains.as_slice()) {
                let temperature = if field == 0 { 1.0 } else { along.dot(&found.at) };
                let off = found.strain - Matrix3::identity() * (free * temperature);
                assert!(off.amax() < scale, "{field} {off} {}", found.at);
            }
            // The patch does not pull on what holds it.
            let pull =
                stiffness.rows(0, 6) * nalgebra::DVector::from_vec(coordinates) - expansion.forces.rows(0, 6);
            assert!(pull.amax() < scale * 20e9 * 0.04 * 0.04, "{pull}");
        }
    }

    #[test]
    fn places_stand_for_the_whole_volume_and_rigid_motions_strain_nothing() {
        let turn = *Rotation3::from_euler_angles(0.1, 0.5, 0.2).matrix();
        let materials = [Elastic::isotropic(20e9, 0.25, 2200.0), Elastic::isotropic(210e9, 0.3, 7850.0)];
        let reduced = body(&turn).reduced(&[materials.to_vec()], 6, 0).unwrap();
        let motion = Vector3::new(1e-3, 2e-3, -1e-3);
        let moved: Vec<f64> = (0..reduced.coordinates())
            .map(|k| (0..3).map(|i| reduced.rigid[(k, 3 + i)] * motion[i]).sum())
            .collect();
        let strains = reduced.strains(&moved, &[]);
        assert!(strains.iter().all(|found| found.strain.amax() < 1e-10));
        let volume = |material: usize| {
            strains.iter().filter(|found| found.material == material).map(|found| found.volume).sum::<f64>()
        };
        let steel = 0.3 * (0.04 * 0.04 - 0.034 * 0.034);
        assert_relative_eq!(volume(1), steel, max_relative = 1e-9);
        assert_relative_eq!(volume(0), 0.3 * 0.2 * 0.1 - steel, max_relative = 1e-9);
        for (place, moved) in reduced.positions().iter().zip(reduced.displacements(&moved, &[])) {
            assert_relative_eq!(motion.cross(place), moved, epsilon = 1e-9);
        }
    }
}
