//! A body as it is drawn: its parts with their patches, its grid, and its reduction.

use crate::assembly::{Assembly, Elastic};
use crate::fit::{best_axes, fit};
use crate::mesh::Mesh;
use crate::part::Part;
use crate::patch::{
    Average, Grip, Patch, PatchFault, average, average_across, covered, face, nodes, square_axis, within,
};
use crate::reduced::{BodyFault, Reduced};
use crate::solvers::apart;
use crate::space::Space;
use nalgebra::{Matrix3, Vector3};

/// A body: its parts, later ones displacing earlier ones, and its patches.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Its parts.
    pub parts: Vec<Part>,
    /// Its patches.
    pub patches: Vec<Patch>,
}

/// A body with its grid, its patches found on it.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// The axes of the grid, one per column, in global axes.
    pub axes: Matrix3<f64>,
    /// The grid, in its own axes.
    pub mesh: Mesh,
    /// By node: the patch that it moves with as one piece.
    owner: Vec<Option<usize>>,
    /// By patch whose motion is an average: what nodes add to it.
    averages: Vec<(usize, Average)>,
}

/// A side of an average longer than this part of the body's size has lines of the grid at its ends.
const LARGE: f64 = 0.3;

/// Bodies with more nodes are solved one at a time.
const LARGE_GRID: usize = 5000;

impl Body {
    /// The axis of the body that the face at `at` is square to, and the sign of its outward normal.
    ///
    /// # Errors
    /// [`PatchFault::OffSurface`] or [`PatchFault::Skew`].
    pub fn face(&self, at: &Vector3<f64>) -> Result<(usize, f64), PatchFault> {
        let axes = best_axes(&self.parts);
        let parts: Vec<Part> = self.parts.iter().map(|part| part.turned(&axes)).collect();
        face(&parts, &axes.tr_mul(at), extents(&parts).into_iter().fold(0.0, f64::max))
    }

    /// Axes of the face at `at`, one per row, in global axes: its outward normal, then along its sides, of which the
    /// first is that of a patch.
    ///
    /// # Errors
    /// [`PatchFault::OffSurface`] or [`PatchFault::Skew`].
    pub fn face_axes(&self, at: &Vector3<f64>) -> Result<Matrix3<f64>, PatchFault> {
        let (axis, sign) = self.face(at)?;
        let axes = best_axes(&self.parts);
        let column = |axis: usize| Vector3::from(axes.column(axis));
        let (normal, side) = (column(axis) * sign, column(within(axis)[0]));
        Ok(Matrix3::from_columns(&[normal, side, normal.cross(&side)]).transpose())
    }

    /// True when `at` lies within a part that is not empty.
    pub fn holds(&self, at: &Vector3<f64>) -> bool {
        self.parts.iter().rev().find(|part| part.holds(at)).is_some_and(|part| part.material.is_some())
    }

    /// True when `at` lies within the extent of its parts, or on it.
    pub fn encloses(&self, at: &Vector3<f64>) -> bool {
        let slack = 1e-9 * extents(&self.parts).into_iter().fold(0.0, f64::max);
        self.parts.iter().map(Part::extent).any(|[from, to]| {
            (0..3).all(|axis| at[axis] >= from[axis] - slack && at[axis] <= to[axis] + slack)
        })
    }

    /// Reduces the body, with `modes` fixed-interface modes for each of the `sets` of materials, on a grid whose
    /// orders are higher by `finer`.
    ///
    /// # Errors
    /// [`BodyFault`].
    pub fn reduced(&self, sets: &[Vec<Elastic>], modes: usize, finer: usize) -> Result<Reduced, BodyFault> {
        let Prepared { axes, mesh, owner, averages } = self.prepare(finer)?;
        let patches = &self.patches;
        Space { patches, axes, owner, averages, assembly: Assembly::new(&mesh) }.reduced(sets, modes)
    }

    /// The body reduced on a grid whose orders are lower by one, for the first of the `sets` alone, and as by
    /// [`Self::reduced`]: what the two differ by tells what the second holds to. Both are solved by threads that do
    /// nothing else.
    ///
    /// # Errors
    /// [`BodyFault`].
    pub fn reduced_twice(
        &self,
        sets: &[Vec<Elastic>],
        modes: usize,
        finer: usize,
    ) -> Result<[Reduced; 2], BodyFault> {
        let large = self.prepare(finer)?.mesh.nodes() > LARGE_GRID;
        let coarse = || self.reduced(&sets[..sets.len().min(1)], modes, finer - 1);
        let fine = || self.reduced(sets, modes, finer);
        // All threads work on each large one, and both at once would take the memory of both.
        let (coarse, fine) =
            apart(large, || if large { (coarse(), fine()) } else { rayon::join(coarse, fine) });
        Ok([coarse?, fine?])
    }

    /// As [`Self::reduced`], by threads that do nothing else.
    ///
    /// # Errors
    /// [`BodyFault`].
    pub fn reduced_alone(
        &self,
        sets: &[Vec<Elastic>],
        modes: usize,
        finer: usize,
    ) -> Result<Reduced, BodyFault> {
        let large = self.prepare(finer)?.mesh.nodes() > LARGE_GRID;
        apart(large, || self.reduced(sets, modes, finer))
    }

    /// The grid of the body, whose orders are higher by `finer`, and its patches on it.
    ///
    /// # Errors
    /// [`BodyFault`], but of the solution.
    pub fn prepare(&self, finer: usize) -> Result<Prepared, BodyFault> {
        let axes = best_axes(&self.parts);
        let parts: Vec<Part> = self.parts.iter().map(|part| part.turned(&axes)).collect();
        let sizes = extents(&parts);
        let size = sizes.into_iter().fold(0.0, f64::max);
        let mut extra = [const { Vec::new() }; 3];
        let mut faces = Vec::new();
        for (number, patch) in self.patches.iter().enumerate() {
            let fault = |fault| BodyFault::Patch(number, fault);
            let mut own = patch.turned(&axes);
            if let Some(leaning) = own.leans() {
                faces.push((own, Lies::Across(leaning)));
                continue;
            }
            let on_face = face(&parts, &own.at, size);
            let (axis, outward) = match own.grip {
                Grip::Section { normal, .. } => {
                    let axis = square_axis(&normal).ok_or(fault(PatchFault::Skew))?;
                    let beside = own.has_beside(&parts, axis, size);
                    match on_face {
                        Ok((face, outward)) if beside && face == axis => {
                            own.grip = Grip::OnePiece;
                            (axis, outward)
                        }
                        _ => (axis, 1.0),
                    }
                }
                _ => on_face.map_err(fault)?,
            };
            if let Grip::Section { .. } = own.grip {
                extra[axis].push(own.at[axis]);
                for (along, side) in within(axis).into_iter().zip(own.size.sides()) {
                    extra[along].extend([own.at[along] - 0.5 * side, own.at[along] + 0.5 * side]);
                }
                faces.push((own, Lies::On(axis)));
                continue;
            }
            let mut depth = f64::INFINITY;
            for (along, side) in within(axis).into_iter().zip(own.size.sides()) {
                if own.grip == Grip::OnePiece || side > LARGE * sizes[along] {
                    extra[along].extend([own.at[along] - 0.5 * side, own.at[along] + 0.5 * side]);
                    depth = depth.min(0.5 * side);
                }
            }
            // What the patch holds back fades within its size below it: a line there, unless the parts have one.
            let near = |plane: f64| (0.3..1.7).contains(&(outward * (own.at[axis] - plane) / depth));
            let planes = parts.iter().flat_map(|part| part.planes()[axis].clone());
            if depth < 0.7 * sizes[axis] && !planes.chain(extra[axis].clone()).any(near) {
                extra[axis].push(own.at[axis] - outward * depth);
            }
            let meets = |(other, lies): &(Patch, Lies)| *lies == Lies::On(axis) && own.overlaps(other, axis);
            if let Some(other) = faces.iter().position(meets) {
                return Err(BodyFault::Patch(number, PatchFault::Meets(other)));
            }
            faces.push((own, Lies::On(axis)));
        }
        let mesh = fit(&parts, &extra, finer).map_err(BodyFault::Fit)?;
        let mut owner = vec![None; mesh.nodes()];
        let mut averages = Vec::new();
        for (number, (patch, lies)) in faces.iter().enumerate() {
            let axis = match *lies {
                Lies::On(axis) => axis,
                Lies::Across(leaning) => {
                    let average = average_across(&mesh, &parts, patch, leaning, &axes);
                    averages
                        .push((number, average.ok_or(BodyFault::Patch(number, PatchFault::Overhangs(0.0)))?));
                    continue;
                }
            };
            let covered = covered(&mesh, patch, axis);
            let overhangs = || BodyFault::Patch(number, PatchFault::Overhangs(covered));
            if covered < 0.5 && !matches!(patch.grip, Grip::Section { .. }) {
                return Err(overhangs());
            }
            if patch.grip == Grip::Average {
                averages.push((number, average(&mesh, patch, axis, &axes).ok_or_else(overhangs)?));
                continue;
            }
            let nodes = nodes(&mesh, patch, axis);
            if nodes.len() < 3 {
                return Err(overhangs());
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
        Ok(Prepared { axes, mesh, owner, averages })
    }
}

/// How a patch lies in the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Lies {
    /// Square to this axis.
    On(usize),
    /// Square to none: its normal and its first side, in the axes of the grid.
    Across([Vector3<f64>; 2]),
}

/// The sizes of what is not empty along the axes of the grid, m.
fn extents(parts: &[Part]) -> [f64; 3] {
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for [from, to] in parts.iter().filter(|part| part.material.is_some()).map(Part::extent) {
        for axis in 0..3 {
            (low[axis], high[axis]) = (low[axis].min(from[axis]), high[axis].max(to[axis]));
        }
    }
    [0, 1, 2].map(|axis| high[axis] - low[axis])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Grip, PatchSize};
    use approx::assert_relative_eq;
    use nalgebra::{Cholesky, DMatrix, SymmetricEigen};

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
        let foot = |x: f64, y: f64| Patch {
            at: Vector3::new(x, y, -0.05),
            size: PatchSize::Round(0.04),
            grip: Grip::OnePiece,
        };
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
    fn averages_leave_a_free_body_as_it_is_and_move_with_it() {
        let feet = feet().into_iter().map(|foot| Patch { grip: Grip::Average, ..foot }).collect();
        let body = slab(feet).reduced(&[vec![granite()]], 32, 1).unwrap();
        let [k, m] = body.matrices(&[granite()]);
        let scale = k.diagonal().amax();
        assert!((body.rigid.transpose() * &k * &body.rigid).amax() < 1e-9 * scale);
        let mass = body.rigid.transpose() * &m * &body.rigid;
        assert_relative_eq!(mass[(2, 2)], 0.6 * 0.4 * 0.1 * 2900.0, max_relative = 1e-9);
        // The free slab, computed by Legendre polynomials of degree 22.
        let known = [1071.96, 1191.16, 2283.02, 2516.5, 2787.13, 2815.03, 3154.21];
        let found = frequencies([k, m]);
        assert!(found[5] < 1.0, "{found:?}");
        for (found, known) in found[6..].iter().zip(known) {
            assert_relative_eq!(*found, known, max_relative = 1e-3);
        }
    }

    /// # Source
    /// - `visscher1991`: the method by which the value was computed, with products of polynomials
    #[test]
    fn an_even_pressure_on_a_cube_sinks_as_is_known() {
        // A cube with its base held, a pressure on the middle 0.4 x 0.4 of its top; E = 1, ν = 0.3.
        let unit = Elastic::isotropic(1.0, 0.3, 1.0);
        let at = |z: f64| Vector3::new(0.0, 0.0, z);
        let below = Patch { at: at(-0.5), size: PatchSize::Rectangle(1.0, 1.0), grip: Grip::OnePiece };
        let sinks = |grip: Grip, finer: usize| {
            let above = Patch { at: at(0.5), size: PatchSize::Rectangle(0.4, 0.4), grip };
            let block = Part::cuboid([1.0; 3], [0.0; 3], Some(0));
            let body = Body { parts: vec![block], patches: vec![below, above] };
            let [k, _] = body.reduced(&[vec![unit]], 24, finer).unwrap().matrices(&[unit]);
            let free = k.view((6, 6), (k.nrows() - 6, k.nrows() - 6)).into_owned();
            let mut force = nalgebra::DVector::zeros(free.nrows());
            force[2] = 0.16;
            free.cholesky().unwrap().solve(&force)[2]
        };
        // From below, as the grid becomes finer.
        let found = [1, 2, 3].map(|finer| sinks(Grip::Average, finer) / 0.33388);
        assert!(found[0] > 0.975 && found[0] < found[1] && found[1] < found[2], "{found:?}");
        assert!(found[2] > 0.996 && found[2] < 1.0, "{found:?}");
        assert!(sinks(Grip::OnePiece, 1) < 0.97 * 0.33388);
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
        let patch = |x: f64, z: f64| Patch {
            at: Vector3::new(x, 0.0, z),
            size: PatchSize::Round(0.05),
            grip: Grip::OnePiece,
        };
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
        let off = slab(vec![Patch {
            at: Vector3::new(0.0, 0.0, 0.2),
            size: PatchSize::Round(0.04),
            grip: Grip::OnePiece,
        }]);
        assert!(matches!(off.prepare(0).map(drop), Err(BodyFault::Patch(0, PatchFault::OffSurface(_)))));
        let edge = slab(vec![Patch {
            at: Vector3::new(0.299, 0.199, 0.05),
            size: PatchSize::Round(0.1),
            grip: Grip::OnePiece,
        }]);
        assert!(matches!(edge.prepare(0).map(drop), Err(BodyFault::Patch(0, PatchFault::Overhangs(_)))));
        let mut near = feet();
        near.push(Patch { at: near[0].at + Vector3::new(0.01, 0.0, 0.0), ..near[0] });
        assert!(matches!(slab(near).prepare(0).map(drop), Err(BodyFault::Patch(3, PatchFault::Meets(0)))));
    }
}
