//! How a body is reduced: the shapes, and the coordinates in which the patches move by themselves.
//!
//! ```text
//! V = [Ψ, A, Φ, ...]     shapes of one factor a set of materials
//! Ψ                      one piece moves, the others are held, areas of averages are free
//! A = (K + σ M)⁻¹ Bᵀ     B u: the average motions of the other patches
//! T                      V T has the motions of all patches as its first coordinates: B V T = [0, I, 0]
//! ```
//!
//! Where no patch moves as one piece, nothing holds the body: a small σ makes the factor possible, and the
//! rigid-body motions are taken out of A and added by themselves.

use crate::assembly::{Assembly, Elastic, Matrices};
use crate::patch::{Average, Patch, arm};
use crate::reduced::{BodyFault, MaterialMatrices, PatchStrainMatrices, Reduced};
use faer::{Col, Mat, MatRef};
use nalgebra::{Cholesky, DMatrix, Matrix3, Matrix6, SymmetricEigen, Vector3};
use std::ops::SubAssign;
use stillbed_eigen::{Factorisation, GatheredPair, Patterns, Settings, Vectors, lowest_unchecked};

/// Directions that are new to the space by less than this are left out.
const NEW: f64 = 1e-3;

/// Of so many columns at a time the inertia is computed, to spare memory.
const SOME: usize = 32;

/// The shift below the spectrum of a free body, over (c / l)² with the speed c of shear waves and the size l.
const BELOW: f64 = 1e-5;

/// A body on its grid.
pub(crate) struct Space<'b> {
    pub patches: &'b [Patch],
    pub axes: Matrix3<f64>,
    /// By node: the patch that it moves with as one piece.
    pub owner: Vec<Option<usize>>,
    /// By patch whose motion is an average: the six rows of B, (6, 3 nodes), global axes, as entries of one node
    /// each.
    pub averages: Vec<(usize, Average)>,
    pub assembly: Assembly<'b>,
}

impl Space<'_> {
    fn is_average(&self, patch: usize) -> bool {
        self.averages.iter().any(|(number, _)| *number == patch)
    }

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

    /// Bᵀ, (3 nodes, 6 averages).
    fn averages_transposed(&self) -> Mat<f64> {
        let mut rows = Mat::zeros(3 * self.owner.len(), 6 * self.averages.len());
        for (number, (_, average)) in self.averages.iter().enumerate() {
            for (node, own) in average {
                for i in 0..3 {
                    (0..6).for_each(|j| rows[(3 * node + i, 6 * number + j)] = own[(j, i)]);
                }
            }
        }
        rows
    }

    /// The shift that makes the factor of a body possible, (rad/s)².
    fn shift(&self, materials: &[Elastic]) -> f64 {
        if self.owner.iter().any(Option::is_some) {
            return 0.0;
        }
        let size = |axis: usize| {
            let lines = &self.assembly.mesh.axes[axis].lines;
            lines[lines.len() - 1] - lines[0]
        };
        let size = [0, 1, 2].map(size).into_iter().fold(0.0, f64::max);
        let slowest = materials.iter().map(|own| own.mu / own.density).fold(f64::INFINITY, f64::min);
        -BELOW * slowest / (size * size)
    }

    pub fn reduced(&self, sets: &[Vec<Elastic>], modes: usize) -> Result<Reduced, BodyFault> {
        let nodes = self.assembly.mesh.nodes();
        let nominal = sets.first().map(Vec::as_slice).unwrap_or_default();
        let expansions = self.expansions();
        let Shapes { pieces, free, strained } = self.shapes(sets, modes, &expansions)?;
        let free = self.independent(nominal, free);
        let (of_pieces, strains) = (pieces.ncols(), strained.ncols());
        let size = of_pieces + free.ncols();
        let whole = size + strains;
        let all = side_by_side(vec![pieces, free, strained, expansions]);
        let projected = self.assembly.projected(nominal.len(), all.as_ref());
        let origin = self.rigid(&Vector3::zeros(), |_| true);
        let volumes = self.assembly.projected(nominal.len(), origin.as_ref());
        let dense = |m: &Mat<f64>| DMatrix::from_fn(whole, whole, |i, j| m[(i, j)]);
        let nominal_stiffness: DMatrix<f64> = projected
            .iter()
            .zip(nominal)
            .map(|([lambda, mu, _], own)| dense(lambda) * own.lambda + dense(mu) * own.mu)
            .fold(DMatrix::zeros(whole, whole), |sum, own| sum + own);
        let nominal_stiffness = nominal_stiffness.view((0, 0), (size, size)).into_owned();
        let change = self.coordinates(all.subcols(0, size), of_pieces, &nominal_stiffness)?;
        let own = change.ncols();
        // Strains of patches leave the average motions of others as they are.
        let mut change_all = DMatrix::zeros(whole, own + strains);
        change_all.view_mut((0, 0), (size, own)).copy_from(&change);
        change_all.view_mut((size, own), (strains, strains)).fill_with_identity();
        let moved = self.averages_transposed().transpose() * all.subcols(size, strains);
        for (number, (patch, _)) in self.averages.iter().enumerate() {
            for (axis, strain) in (0..6).flat_map(|axis| (0..strains).map(move |strain| (axis, strain))) {
                let less = change.column(6 * patch + axis) * moved[(6 * number + axis, strain)];
                let mut column = change_all.column_mut(own + strain);
                column.rows_mut(0, size).sub_assign(&less);
            }
        }
        let materials = projected.iter().zip(&volumes).map(|([lambda, mu, mass], [_, _, rigid])| {
            let rigid = Matrix6::from_fn(|i, j| rigid[(i, j)]);
            let expansion =
                change_all.tr_mul(&DMatrix::from_fn(whole, 4, |i, field| lambda[(i, whole + field)]));
            let [lambda, mu, mass] = [lambda, mu, mass].map(|m| change_all.tr_mul(&(dense(m) * &change_all)));
            let first = |m: &DMatrix<f64>| m.view((0, 0), (own, own)).into_owned();
            let of_patches = PatchStrainMatrices {
                lambda: lambda.columns(own, strains).into_owned(),
                mu: mu.columns(own, strains).into_owned(),
                expansion: expansion.rows(own, strains).into_owned(),
            };
            let expansion = expansion.rows(0, own).into_owned();
            let [lambda, mu, mass] = [&lambda, &mu, &mass].map(first);
            MaterialMatrices { lambda, mu, mass, rigid, expansion, of_patches }
        });
        let materials = materials.collect();
        let combined = |from: usize, count: usize| {
            all.subcols(0, whole) * Mat::from_fn(whole, count, |i, j| change_all[(i, from + j)])
        };
        let (shapes, strained) = (combined(0, own), combined(own, strains));
        drop(all);
        let count = self.patches.len();
        Ok(Reduced {
            patches: count,
            inner: shapes.ncols() - 6 * count,
            materials,
            rigid: self.rigid_coordinates(nominal, &shapes, &origin),
            dofs: 3 * nodes - 3 * self.owner.iter().flatten().count() + 6 * (count - self.averages.len()),
            mesh: self.assembly.mesh.clone(),
            axes: self.axes,
            middle: self.axes * self.middle(),
            shapes: self.in_global_axes(&shapes),
            patch_strains: self.in_global_axes(&strained),
        })
    }

    /// Motions of the patches that move as one piece, in grid axes, (3 nodes, 6 a patch): they stretch along both
    /// sides and shear, and bend about both and twist, by as much as makes 1 at half their size.
    fn strained(&self) -> Mat<f64> {
        let pieces = (0..self.patches.len()).filter(|number| self.owner.contains(&Some(*number)));
        let mut all = vec![Mat::<f64>::zeros(3 * self.owner.len(), 0)];
        for number in pieces {
            let nodes: Vec<usize> =
                (0..self.owner.len()).filter(|node| self.owner[*node] == Some(number)).collect();
            let middle = self.axes.tr_mul(&self.patches[number].at);
            let arms: Vec<Vector3<f64>> =
                nodes.iter().map(|node| Vector3::from(self.assembly.mesh.position(*node)) - middle).collect();
            let reach = [0, 1, 2].map(|axis| arms.iter().map(|arm| arm[axis].abs()).fold(0.0, f64::max));
            let size = reach.into_iter().fold(0.0, f64::max);
            let normal = (0..3).min_by(|a, b| reach[*a].total_cmp(&reach[*b])).unwrap_or(2);
            let [u, v] = [(normal + 1) % 3, (normal + 2) % 3];
            let mut own = Mat::<f64>::zeros(3 * self.owner.len(), 6);
            for (node, arm) in nodes.iter().zip(&arms) {
                let (a, b) = (arm[u] / size, arm[v] / size);
                let of = [(u, 0, a), (v, 1, b), (u, 2, b), (v, 2, a)];
                let bent = [(normal, 3, a * a), (normal, 4, b * b), (normal, 5, a * b)];
                of.into_iter().chain(bent).for_each(|(axis, way, x)| own[(3 * node + axis, way)] = x);
            }
            all.push(own);
        }
        side_by_side(all)
    }

    /// The shapes of the body, all in grid axes.
    fn shapes(
        &self,
        sets: &[Vec<Elastic>],
        modes: usize,
        expansions: &Mat<f64>,
    ) -> Result<Shapes, BodyFault> {
        let nodes = self.assembly.mesh.nodes();
        let held: Vec<bool> = (0..3 * nodes).map(|dof| self.owner[dof / 3].is_some()).collect();
        let mut moved = vec![Mat::<f64>::zeros(held.len(), 0)];
        for (number, patch) in self.patches.iter().enumerate().filter(|(number, _)| !self.is_average(*number))
        {
            moved.push(self.rigid(&patch.at, |node| self.owner[node] == Some(number)));
        }
        let moved = side_by_side(moved);
        let patterns = Patterns::default();
        if self.patches.is_empty() {
            let mut free = vec![Mat::<f64>::zeros(held.len(), 0)];
            for set in sets {
                let matrices = self.assembly.matrices(set, &held);
                let settings = Settings { patterns: Some(&patterns), ..Settings::default() };
                let wanted = (modes + 6).min(matrices.pair().dofs());
                let pairs =
                    lowest_unchecked(&matrices.pair(), wanted, &settings).map_err(BodyFault::Eigen)?;
                free.push(spread(&matrices.free, &pairs.vectors));
            }
            let none = Mat::zeros(held.len(), 0);
            return Ok(Shapes { pieces: none.clone(), free: side_by_side(free), strained: none });
        }
        let origin = (moved.ncols() == 0).then(|| self.rigid(&Vector3::zeros(), |_| true));
        let averages = self.averages_transposed();
        let held = Held { space: self, held, moved, averages, origin };
        let Some((first, others)) = sets.split_first() else {
            let none = Mat::zeros(held.held.len(), 0);
            return Ok(Shapes { pieces: held.moved, free: none.clone(), strained: none });
        };
        let own = held.solved(first)?;
        let lowest = held.lowest(&own, modes)?;
        // How each material moves the body when it alone expands.
        let mut expanded = Vec::new();
        for material in 0..first.len() {
            let alone: Vec<Elastic> = (0..first.len())
                .map(|other| {
                    let lambda = if other == material { first[other].bulk() } else { 0.0 };
                    Elastic { lambda, mu: 0.0, density: 0.0 }
                })
                .collect();
            let force = self.assembly.forces(&alone, expansions.as_ref());
            expanded.push(own.answer(&force, 1.0)?);
        }
        let strained = self.strained();
        let force = self.assembly.forces(first, strained.as_ref());
        let strained = strained + own.answer(&force, -1.0)?;
        // One at a time, because each takes much memory.
        let Solved { pieces, attached, mut pair, factor, .. } = own;
        drop(factor);
        let mut more = Vec::new();
        for set in others {
            let other = held.solved_again(set, pair)?;
            // One step of inverse iteration brings the lowest shapes of the first set to those of this one.
            let inertia = self.assembly.inertia(set, lowest.subcols(0, (modes / 2).min(lowest.ncols())));
            more.push(&other.pieces - &pieces);
            more.push(other.answer(&inertia, 1.0)?);
            more.push(other.attached);
            pair = other.pair;
        }
        drop(pair);
        // The average motions first, so that none of them is left out as nearly known.
        let free = [vec![attached], held.origin.into_iter().collect(), vec![lowest], expanded, more];
        Ok(Shapes { pieces, free: side_by_side(free.into_iter().flatten().collect()), strained })
    }

    /// `shapes` without their parts along the rigid-body motions `origin`, by the mass.
    fn without(&self, materials: &[Elastic], shapes: Mat<f64>, origin: &Mat<f64>) -> Mat<f64> {
        let massive = self.assembly.inertia(materials, origin.as_ref());
        let dense = |m: Mat<f64>| DMatrix::from_fn(m.nrows(), m.ncols(), |i, j| m[(i, j)]);
        let square = dense(massive.transpose() * origin);
        let parts = dense(massive.transpose() * &shapes);
        let Some(parts) = square.lu().solve(&parts) else { return shapes };
        let parts = Mat::from_fn(parts.nrows(), parts.ncols(), |i, j| parts[(i, j)]);
        shapes - origin * &parts
    }

    /// The change T to coordinates of which the first are the motions of the patches, in their order, for the
    /// shapes `raw`, of which the first `pieces` belong to the patches that move as one piece.
    ///
    /// An average motion is the shape of least energy with that motion; what has none is the rest.
    fn coordinates(
        &self,
        raw: MatRef<f64>,
        pieces: usize,
        stiffness: &DMatrix<f64>,
    ) -> Result<DMatrix<f64>, BodyFault> {
        let (size, averages) = (raw.ncols(), 6 * self.averages.len());
        let free = size - pieces;
        if averages == 0 {
            return Ok(DMatrix::identity(size, size));
        }
        let motions = self.averages_transposed();
        let motions = motions.transpose() * raw;
        let of_pieces = DMatrix::from_fn(averages, pieces, |i, j| motions[(i, j)]);
        let of_free = DMatrix::from_fn(averages, free, |i, j| motions[(i, pieces + j)]);
        // Rows of like size, and the stiffness made definite by them: with the motions given, their part is fixed.
        let row = |i: usize| of_free.row(i).norm_squared().max(f64::MIN_POSITIVE);
        let own = stiffness.view((pieces, pieces), (free, free)).into_owned();
        let scale = own.trace() / free as f64;
        let mut definite = own;
        for i in 0..averages {
            let own = of_free.row(i);
            definite += own.transpose() * own * (scale / row(i));
        }
        let dependent = || BodyFault::Dependent;
        let compliant = Cholesky::new(definite).ok_or_else(dependent)?.solve(&of_free.transpose());
        let square = &of_free * &compliant;
        let unit = compliant * square.try_inverse().ok_or_else(dependent)?;
        let mut scaled = of_free.transpose();
        for i in 0..averages {
            scaled.column_mut(i).scale_mut(1.0 / row(i).sqrt());
        }
        let along = scaled.qr().q();
        let across = SymmetricEigen::new(DMatrix::identity(free, free) - &along * along.transpose());
        let rest: Vec<usize> = (0..free).filter(|k| across.eigenvalues[*k] > 0.5).collect();
        let mut change = DMatrix::zeros(size, 6 * self.patches.len() + rest.len());
        let with_pieces = &unit * of_pieces;
        let (mut piece, mut average) = (0, 0);
        for number in 0..self.patches.len() {
            for k in 0..6 {
                let to = 6 * number + k;
                if self.is_average(number) {
                    change.view_mut((pieces, to), (free, 1)).copy_from(&unit.column(average));
                    average += 1;
                } else {
                    change[(piece, to)] = 1.0;
                    change.view_mut((pieces, to), (free, 1)).copy_from(&(-with_pieces.column(piece)));
                    piece += 1;
                }
            }
        }
        for (k, from) in rest.iter().enumerate() {
            let to = 6 * self.patches.len() + k;
            change.view_mut((pieces, to), (free, 1)).copy_from(&across.eigenvectors.column(*from));
        }
        Ok(change)
    }

    /// The columns of `all` made M-orthonormal, without those that are not new.
    fn independent(&self, materials: &[Elastic], all: Mat<f64>) -> Mat<f64> {
        let mut gram = Mat::<f64>::zeros(all.ncols(), all.ncols());
        for first in (0..all.ncols()).step_by(SOME) {
            let some = SOME.min(all.ncols() - first);
            let massive = self.assembly.inertia(materials, all.subcols(first, some));
            gram.subcols_mut(first, some).copy_from(all.transpose() * &massive);
        }
        // Of the scaled columns one after another: what is new beside those before.
        let size: Vec<f64> = (0..all.ncols()).map(|k| gram[(k, k)].max(0.0).sqrt()).collect();
        let product = |a: &Col<f64>, b: &Col<f64>| -> f64 { a.transpose() * b };
        // Each with its image.
        let mut kept: Vec<[Col<f64>; 2]> = Vec::new();
        for k in (0..all.ncols()).filter(|k| size[*k] > 0.0) {
            let mut own = Col::<f64>::zeros(all.ncols());
            own[k] = 1.0 / size[k];
            for _ in 0..2 {
                for [other, image] in &kept {
                    let part = product(image, &own);
                    own -= part * other;
                }
            }
            let image = &gram * &own;
            let left = product(&own, &image).max(0.0).sqrt();
            if left > NEW {
                kept.push([own, image].map(|own| own * faer::Scale(1.0 / left)));
            }
        }
        let coefficients = Mat::from_fn(all.ncols(), kept.len(), |i, k| kept[k][0][i]);
        &all * &coefficients
    }

    /// The coordinates of the rigid motions `origin` in `shapes`, by least squares of the mass.
    fn rigid_coordinates(&self, materials: &[Elastic], shapes: &Mat<f64>, origin: &Mat<f64>) -> DMatrix<f64> {
        let patches = self.patches;
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
        let massive = self.assembly.inertia(materials, origin.as_ref());
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

/// Shapes of a body, (3 nodes, shapes).
struct Shapes {
    /// One patch moves as one piece, the others are held.
    pieces: Mat<f64>,
    /// None does.
    free: Mat<f64>,
    /// One of them stretches or bends.
    strained: Mat<f64>,
}

/// What a body's own solutions have in common.
struct Held<'s> {
    space: &'s Space<'s>,
    /// By degree of freedom, three a node: whether a patch moves it as one piece.
    held: Vec<bool>,
    /// The motions of these patches, (3 nodes, motions).
    moved: Mat<f64>,
    averages: Mat<f64>,
    /// The rigid-body motions, where nothing is held.
    origin: Option<Mat<f64>>,
}

/// A body with one set of materials, solved under the motions of its patches.
struct Solved {
    pair: GatheredPair,
    factor: Factorisation,
    free: Vec<Option<usize>>,
    /// As [`Space::shapes`] has them.
    pieces: Mat<f64>,
    attached: Mat<f64>,
}

impl Held<'_> {
    fn solved(&self, set: &[Elastic]) -> Result<Solved, BodyFault> {
        let Held { space, held, .. } = self;
        // One matrix after the other: with both triangles each is nearly as large as the factor.
        let Matrices { stiffness, group, free, .. } = space.assembly.stiffness(set, held);
        let mut pair = GatheredPair::new(&stiffness, &group).map_err(BodyFault::Eigen)?;
        drop(stiffness);
        pair.set_mass(&space.assembly.mass(set, held)).map_err(BodyFault::Eigen)?;
        self.under(set, pair, free)
    }

    /// The same for a set of other moduli, with the pair of the first, whose order and mass it shares.
    fn solved_again(&self, set: &[Elastic], mut pair: GatheredPair) -> Result<Solved, BodyFault> {
        let Matrices { stiffness, free, .. } = self.space.assembly.stiffness(set, &self.held);
        pair.set_stiffness(&stiffness).map_err(BodyFault::Eigen)?;
        drop(stiffness);
        self.under(set, pair, free)
    }

    fn under(
        &self,
        set: &[Elastic],
        pair: GatheredPair,
        free: Vec<Option<usize>>,
    ) -> Result<Solved, BodyFault> {
        let Held { space, held, moved, averages, origin } = self;
        let factor = pair.factor(space.shift(set)).map_err(BodyFault::Eigen)?;
        let nothing = Mat::zeros(held.len(), 0);
        let mut solved = Solved { pair, factor, free, pieces: nothing.clone(), attached: nothing };
        let force = space.assembly.forces(set, moved.as_ref());
        solved.pieces = moved + solved.answer(&force, -1.0)?;
        let attached = solved.answer(averages, 1.0)?;
        solved.attached = match origin {
            Some(origin) => space.without(set, attached, origin),
            None => attached,
        };
        Ok(solved)
    }

    /// The lowest shapes in which no patch moves as one piece.
    fn lowest(&self, of: &Solved, modes: usize) -> Result<Mat<f64>, BodyFault> {
        let wanted = (modes + if self.origin.is_some() { 6 } else { 0 }).min(of.pair.dofs());
        let found = of.pair.approximate(wanted, &of.factor).map_err(BodyFault::Eigen)?;
        Ok(spread(&of.free, &found))
    }
}

impl Solved {
    /// Motions of all nodes under `by` times the forces `of`.
    fn answer(&self, of: &Mat<f64>, by: f64) -> Result<Mat<f64>, BodyFault> {
        let mut load = Mat::<f64>::zeros(self.pair.dofs(), of.ncols());
        for (dof, row) in self.free.iter().enumerate() {
            if let Some(row) = row {
                (0..of.ncols()).for_each(|k| load[(*row, k)] = by * of[(dof, k)]);
            }
        }
        Ok(spread(&self.free, &self.factor.solve(&load.into()).map_err(BodyFault::Eigen)?))
    }
}

/// Motions of all nodes, of which those that are `free` have their own.
fn spread(free: &[Option<usize>], own: &Vectors) -> Mat<f64> {
    Mat::from_fn(free.len(), own.count(), |dof, k| free[dof].map_or(0.0, |row| own[(row, k)]))
}

/// Blocks of columns beside each other.
fn side_by_side(blocks: Vec<Mat<f64>>) -> Mat<f64> {
    let rows = blocks.first().map_or(0, Mat::nrows);
    let mut all = Mat::zeros(rows, blocks.iter().map(Mat::ncols).sum());
    let mut from = 0;
    // Each is given back once it is copied.
    for block in blocks {
        all.subcols_mut(from, block.ncols()).copy_from(&block);
        from += block.ncols();
    }
    all
}
