//! The sparse matrices of a mesh, and products of them cell by cell.

use crate::cell::{CellMatrices, matrices};
use crate::mesh::{Cell, Mesh};
use faer::linalg::matmul::matmul;
use faer::sparse::{SparseColMat, SymbolicSparseColMat};
use faer::{Accum, Mat, MatRef, Par};
use rayon::prelude::*;
use std::collections::HashMap;
use stillbed_eigen::{MatrixPair, Sparse};

/// Shares of the cells whose products are summed apart.
const SHARES: usize = 16;

/// The elastic constants and the density of one material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elastic {
    /// First Lamé constant, Pa.
    pub lambda: f64,
    /// Shear modulus, Pa.
    pub mu: f64,
    /// kg/m³.
    pub density: f64,
}

impl Elastic {
    /// From Young's modulus, Pa, Poisson's ratio and density, kg/m³.
    pub fn isotropic(youngs_modulus: f64, poissons_ratio: f64, density: f64) -> Elastic {
        let mu = youngs_modulus / (2.0 * (1.0 + poissons_ratio));
        Elastic { lambda: 2.0 * mu * poissons_ratio / (1.0 - 2.0 * poissons_ratio), mu, density }
    }

    /// 3 λ + 2 μ, the pressure of a strain that is the same along all axes over that strain, Pa.
    pub fn bulk(&self) -> f64 {
        3.0 * self.lambda + 2.0 * self.mu
    }
}

/// Stiffness and mass of the degrees of freedom that are free.
#[derive(Debug, Clone)]
pub struct Matrices {
    /// N/m, both triangles.
    pub stiffness: Sparse,
    /// kg, both triangles; one direction does not move another.
    pub mass: Sparse,
    /// By free degree of freedom: the set of cells that it lies in. Those of one set have the same neighbours and are
    /// eliminated together, so that there is less to put in order.
    pub group: Vec<usize>,
    /// By degree of freedom, three a node: its number among the free ones.
    pub free: Vec<Option<usize>>,
}

impl Matrices {
    /// The two as a pair for the eigensolver.
    pub fn pair(&self) -> MatrixPair<'_> {
        MatrixPair { stiffness: &self.stiffness, mass: &self.mass, group: &self.group }
    }
}

/// The cells of a mesh with their matrices, computed once for each kind of cell.
pub struct Assembly<'m> {
    /// The mesh.
    pub mesh: &'m Mesh,
    /// By cell: its nodes.
    nodes: Vec<Vec<usize>>,
    /// By cell: the index of its matrices.
    kinds: Vec<usize>,
    matrices: Vec<Vec<CellMatrices>>,
    shared: Shared,
}

impl<'m> Assembly<'m> {
    /// Computes the matrices of the cells of `mesh`.
    pub fn new(mesh: &'m Mesh) -> Assembly<'m> {
        let alike = |a: &Cell, b: &Cell| {
            let same = |axis: usize| {
                let (a, b) = (mesh.intervals(a)[axis], mesh.intervals(b)[axis]);
                a.order == b.order && (a.length - b.length).abs() <= 1e-12 * a.length
            };
            a.content == b.content && (0..3).all(same)
        };
        let mut first: Vec<usize> = Vec::new();
        let mut kinds = Vec::new();
        for (number, cell) in mesh.cells.iter().enumerate() {
            let known = match cell.content {
                crate::mesh::Content::Full(_) => first.iter().position(|k| alike(&mesh.cells[*k], cell)),
                crate::mesh::Content::Cut(_) => None,
            };
            kinds.push(known.unwrap_or_else(|| {
                first.push(number);
                first.len() - 1
            }));
        }
        let of = |&number: &usize| {
            let cell = &mesh.cells[number];
            matrices(&mesh.intervals(cell), &cell.content)
        };
        let matrices = first.par_iter().map(of).collect();
        let nodes: Vec<Vec<usize>> = mesh.cells.iter().map(|cell| mesh.nodes_of(cell)).collect();
        let shared = Shared::new(&nodes, mesh.nodes());
        Assembly { mesh, nodes, kinds, matrices, shared }
    }

    /// Stiffness and mass with `materials`, of the degrees of freedom that `held` (three a node) leaves free.
    pub fn matrices(&self, materials: &[Elastic], held: &[bool]) -> Matrices {
        Matrices { mass: self.mass(materials, held), ..self.stiffness(materials, held) }
    }

    /// The same without mass.
    pub fn stiffness(&self, materials: &[Elastic], held: &[bool]) -> Matrices {
        let free = numbered(held);
        let of_node = |(dof, free): (usize, &Option<usize>)| free.map(|_| self.shared.set[dof / 3]);
        let group: Vec<usize> = free.iter().enumerate().filter_map(of_node).collect();
        let stiffness = self.filled(
            Pattern::new(&self.shared, &free, true),
            &free,
            |own, elastic, (i, a), (j, b)| {
                let place = (3 * a + i, 3 * b + j);
                elastic[own.material].lambda * own.lambda[place] + elastic[own.material].mu * own.mu[place]
            },
            materials,
        );
        let size = group.len();
        let mass = SparseColMat::new(
            SymbolicSparseColMat::new_checked(size, size, vec![0; size + 1], None, Vec::new()),
            Vec::new(),
        );
        Matrices { stiffness: stiffness.into(), mass: mass.into(), group, free }
    }

    /// The mass alone.
    pub fn mass(&self, materials: &[Elastic], held: &[bool]) -> Sparse {
        let free = numbered(held);
        let mass = self.filled(
            Pattern::new(&self.shared, &free, false),
            &free,
            |own, elastic, (_, a), (_, b)| elastic[own.material].density * own.mass[(a, b)],
            materials,
        );
        mass.into()
    }

    /// The matrix of `pattern` with what `entry` says of a cell's own direction and node, row and column.
    fn filled(
        &self,
        pattern: Pattern,
        free: &[Option<usize>],
        entry: impl Fn(&CellMatrices, &[Elastic], (usize, usize), (usize, usize)) -> f64,
        materials: &[Elastic],
    ) -> SparseColMat<usize, f64> {
        let mut values = vec![0.0; pattern.rows.len()];
        for (nodes, kind) in self.nodes.iter().zip(&self.kinds) {
            for own in &self.matrices[*kind] {
                for (b, &column_node) in nodes.iter().enumerate() {
                    let offsets = pattern.offsets(nodes, column_node);
                    for j in 0..3 {
                        let Some(column) = free[3 * column_node + j] else { continue };
                        let start = pattern.starts[column];
                        for (a, (&node, offset)) in nodes.iter().zip(&offsets).enumerate() {
                            let mut slot = start + offset[if pattern.coupled { 0 } else { j }];
                            for i in (0..3).filter(|i| free[3 * node + i].is_some()) {
                                if pattern.coupled || i == j {
                                    values[slot] += entry(own, materials, (i, a), (j, b));
                                    slot += 1;
                                }
                            }
                        }
                    }
                }
            }
        }
        let size = pattern.starts.len() - 1;
        SparseColMat::new(
            SymbolicSparseColMat::new_checked(size, size, pattern.starts, None, pattern.rows),
            values,
        )
    }

    /// Stiffness times motions, of shape (3 nodes, motions).
    pub fn forces(&self, materials: &[Elastic], motions: MatRef<f64>) -> Mat<f64> {
        self.images(motions, |own, local, add| {
            let elastic = materials[own.material];
            add(elastic.lambda, &own.lambda * local);
            add(elastic.mu, &own.mu * local);
        })
    }

    /// Mass times motions, of shape (3 nodes, motions).
    pub fn inertia(&self, materials: &[Elastic], motions: MatRef<f64>) -> Mat<f64> {
        self.images(motions, |own, local, add| {
            add(materials[own.material].density, mass_times(&own.mass, local));
        })
    }

    /// The sums over cells of what `act` adds for the motions of each; columns are shared out to the threads.
    fn images(
        &self,
        motions: MatRef<f64>,
        act: impl Fn(&CellMatrices, &Mat<f64>, &mut dyn FnMut(f64, Mat<f64>)) + Sync,
    ) -> Mat<f64> {
        let columns = motions.ncols();
        let some = columns.div_ceil(rayon::current_num_threads()).max(1);
        let of = |first: usize| {
            let own = motions.subcols(first, some.min(columns - first));
            let mut sum = Mat::<f64>::zeros(own.nrows(), own.ncols());
            for (nodes, kind) in self.nodes.iter().zip(&self.kinds) {
                let local = gathered(nodes, own);
                for cell in &self.matrices[*kind] {
                    act(cell, &local, &mut |scale, product| {
                        for k in 0..product.ncols() {
                            for (a, node) in nodes.iter().enumerate() {
                                (0..3)
                                    .for_each(|i| sum[(3 * node + i, k)] += scale * product[(3 * a + i, k)]);
                            }
                        }
                    });
                }
            }
            sum
        };
        let firsts: Vec<usize> = (0..columns).step_by(some).collect();
        let parts: Vec<Mat<f64>> = firsts.into_par_iter().map(of).collect();
        Mat::from_fn(motions.nrows(), columns, |row, k| parts[k / some][(row, k % some)])
    }

    /// By material: Vᵀ Kλ V and Vᵀ Kμ V for unit constants, m, and Vᵀ M V for unit density, m³, for `motions` V
    /// of shape (3 nodes, count), each of shape (count, count).
    pub fn projected(&self, count: usize, motions: MatRef<f64>) -> Vec<[Mat<f64>; 3]> {
        let k = motions.ncols();
        let zero = || vec![[(); 3].map(|()| Mat::<f64>::zeros(k, k)); count];
        // Fixed shares, so that sums are the same whatever the number of threads.
        let share = self.nodes.len().div_ceil(SHARES).max(1);
        let of = |(nodes, kinds): (&[Vec<usize>], &[usize])| {
            let mut sums = zero();
            for (nodes, kind) in nodes.iter().zip(kinds) {
                let local = gathered(nodes, motions);
                for own in &self.matrices[*kind] {
                    let products = [&own.lambda * &local, &own.mu * &local, mass_times(&own.mass, &local)];
                    for (sum, product) in sums[own.material].iter_mut().zip(&products) {
                        matmul(sum.as_mut(), Accum::Add, local.transpose(), product.as_ref(), 1.0, Par::Seq);
                    }
                }
            }
            sums
        };
        let shares: Vec<Vec<[Mat<f64>; 3]>> =
            self.nodes.par_chunks(share).zip(self.kinds.par_chunks(share)).map(of).collect();
        shares.into_iter().fold(zero(), |mut sum, own| {
            sum.iter_mut().flatten().zip(own.iter().flatten()).for_each(|(sum, own)| *sum += own);
            sum
        })
    }
}

/// By degree of freedom: its number among those that are not `held`.
fn numbered(held: &[bool]) -> Vec<Option<usize>> {
    let mut count = 0;
    let number = |held: &bool| {
        (!held).then(|| {
            count += 1;
            count - 1
        })
    };
    held.iter().map(number).collect()
}

fn gathered(nodes: &[usize], motions: MatRef<f64>) -> Mat<f64> {
    Mat::from_fn(3 * nodes.len(), motions.ncols(), |row, k| motions[(3 * nodes[row / 3] + row % 3, k)])
}

/// The mass of one direction times motions of three.
fn mass_times(mass: &Mat<f64>, local: &Mat<f64>) -> Mat<f64> {
    let (n, count) = (mass.nrows(), local.ncols());
    let wide = Mat::from_fn(n, 3 * count, |a, c| local[(3 * a + c % 3, c / 3)]);
    let product = mass * &wide;
    Mat::from_fn(3 * n, count, |row, k| product[(row / 3, 3 * k + row % 3)])
}

/// Nodes that lie in the same cells have the same neighbours.
struct Shared {
    /// By node: the set of cells that it lies in.
    set: Vec<usize>,
    /// By set: the nodes of its cells, ascending.
    near: Vec<Vec<usize>>,
}

impl Shared {
    fn new(cells: &[Vec<usize>], nodes: usize) -> Shared {
        let mut of_node: Vec<Vec<usize>> = vec![Vec::new(); nodes];
        for (number, cell) in cells.iter().enumerate() {
            cell.iter().for_each(|node| of_node[*node].push(number));
        }
        let mut known: HashMap<&[usize], usize> = HashMap::new();
        let mut sets: Vec<&[usize]> = Vec::new();
        let mut set = Vec::with_capacity(nodes);
        for own in of_node.iter().map(Vec::as_slice) {
            set.push(*known.entry(own).or_insert_with(|| {
                sets.push(own);
                sets.len() - 1
            }));
        }
        let near = |set: &&[usize]| {
            let mut near: Vec<usize> = set.iter().flat_map(|cell| cells[*cell].iter().copied()).collect();
            near.sort_unstable();
            near.dedup();
            near
        };
        Shared { near: sets.par_iter().map(near).collect(), set }
    }
}

/// Which entries of a matrix are stored.
struct Pattern<'s> {
    /// By free degree of freedom: where its column begins; one more at the end.
    starts: Vec<usize>,
    rows: Vec<usize>,
    shared: &'s Shared,
    /// Whether directions are coupled, as in a stiffness; in a mass each stands alone.
    coupled: bool,
    /// By set of cells: how many stored entries lie before those of each of its nodes in a column, by the column's
    /// direction.
    before: Vec<ByDirection>,
}

/// By node: a number for each direction.
type ByDirection = Vec<[usize; 3]>;

impl Pattern<'_> {
    fn new<'s>(shared: &'s Shared, free: &[Option<usize>], coupled: bool) -> Pattern<'s> {
        let own = |node: usize, j: usize| {
            (0..3).filter(move |i| coupled || *i == j).filter_map(move |i| free[3 * node + i])
        };
        let (before, columns): (Vec<ByDirection>, Vec<[Vec<usize>; 3]>) = (shared.near.par_iter())
            .map(|near| {
                let mut columns = [(); 3].map(|()| Vec::new());
                let mut before = Vec::with_capacity(near.len());
                for &node in near {
                    before.push(columns.each_ref().map(Vec::len));
                    let directions = if coupled { 0..1 } else { 0..3 };
                    directions.for_each(|j| columns[j].extend(own(node, j)));
                }
                (before, columns)
            })
            .unzip();
        let mut starts = vec![0];
        let mut rows = Vec::new();
        for (node, set) in shared.set.iter().enumerate() {
            for j in (0..3).filter(|j| free[3 * node + j].is_some()) {
                rows.extend_from_slice(&columns[*set][if coupled { 0 } else { j }]);
                starts.push(rows.len());
            }
        }
        Pattern { starts, rows, shared, coupled, before }
    }

    /// By node of a cell: where its entries begin in a column of `node`, by the column's direction.
    fn offsets(&self, cell: &[usize], node: usize) -> ByDirection {
        let set = self.shared.set[node];
        let (near, before) = (&self.shared.near[set], &self.before[set]);
        cell.iter().map(|other| near.binary_search(other).map_or([0; 3], |i| before[i])).collect()
    }
}
