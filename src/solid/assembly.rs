//! The sparse matrices of a mesh, and products of them cell by cell.

use crate::cell::{CellMatrices, matrices};
use crate::mesh::{Cell, Mesh};
use faer::linalg::matmul::matmul;
use faer::sparse::{SparseColMat, SymbolicSparseColMat};
use faer::{Accum, Mat, MatRef, Par};
use rayon::prelude::*;
use std::collections::HashMap;
use stillbed_eigen::{MatrixPair, Sparse};

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
    /// kg, both triangles; same pattern.
    pub mass: Sparse,
    /// By free degree of freedom: its node, or the set of cells that it lies in.
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
                crate::mesh::Content::Points(_) => None,
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
        self.assembled(materials, held, true)
    }

    /// The same without mass, for one factor: all degrees of freedom that lie in the same cells are one group, so
    /// that there is less to put in order.
    pub fn stiffness(&self, materials: &[Elastic], held: &[bool]) -> Matrices {
        let mut made = self.assembled(materials, held, false);
        made.group.iter_mut().for_each(|node| *node = self.shared.set[*node]);
        made
    }

    fn assembled(&self, materials: &[Elastic], held: &[bool], with_mass: bool) -> Matrices {
        let mut free = vec![None; held.len()];
        let mut group = Vec::new();
        for (dof, held) in held.iter().enumerate() {
            if !held {
                free[dof] = Some(group.len());
                group.push(dof / 3);
            }
        }
        let pattern = Pattern::new(&self.shared, &free);
        let size = group.len();
        let entries = pattern.rows.len();
        let mut stiffness = vec![0.0; entries];
        let mut mass = vec![0.0; if with_mass { entries } else { 0 }];
        for (nodes, kind) in self.nodes.iter().zip(&self.kinds) {
            for own in &self.matrices[*kind] {
                let elastic = materials[own.material];
                for (b, &column_node) in nodes.iter().enumerate() {
                    let offsets = pattern.offsets(nodes, column_node);
                    for j in 0..3 {
                        let Some(column) = free[3 * column_node + j] else { continue };
                        let start = pattern.starts[column];
                        for (a, (&node, &offset)) in nodes.iter().zip(&offsets).enumerate() {
                            let mut slot = start + offset;
                            for i in 0..3 {
                                if free[3 * node + i].is_none() {
                                    continue;
                                }
                                let place = (3 * a + i, 3 * b + j);
                                stiffness[slot] +=
                                    elastic.lambda * own.lambda[place] + elastic.mu * own.mu[place];
                                if i == j && with_mass {
                                    mass[slot] += elastic.density * own.mass[(a, b)];
                                }
                                slot += 1;
                            }
                        }
                    }
                }
            }
        }
        let sparse = |starts: Vec<usize>, rows: Vec<usize>, values: Vec<f64>| {
            SparseColMat::new(SymbolicSparseColMat::new_checked(size, size, starts, None, rows), values)
        };
        let mass = match with_mass {
            true => sparse(pattern.starts.clone(), pattern.rows.clone(), mass),
            false => sparse(vec![0; size + 1], Vec::new(), mass),
        };
        Matrices {
            stiffness: sparse(pattern.starts, pattern.rows, stiffness).into(),
            mass: mass.into(),
            group,
            free,
        }
    }

    /// Stiffness times motions, and mass times motions, each of shape (3 nodes, motions).
    pub fn times(&self, materials: &[Elastic], motions: MatRef<f64>) -> [Mat<f64>; 2] {
        let mut sums = [(); 2].map(|()| Mat::zeros(motions.nrows(), motions.ncols()));
        for (nodes, kind) in self.nodes.iter().zip(&self.kinds) {
            let local = gathered(nodes, motions);
            for own in &self.matrices[*kind] {
                let elastic = materials[own.material];
                let add = |sum: &mut Mat<f64>, scale: f64, product: &Mat<f64>| {
                    for k in 0..motions.ncols() {
                        for (a, node) in nodes.iter().enumerate() {
                            (0..3).for_each(|i| sum[(3 * node + i, k)] += scale * product[(3 * a + i, k)]);
                        }
                    }
                };
                add(&mut sums[0], elastic.lambda, &(&own.lambda * &local));
                add(&mut sums[0], elastic.mu, &(&own.mu * &local));
                add(&mut sums[1], elastic.density, &mass_times(&own.mass, &local));
            }
        }
        sums
    }

    /// By material: Vᵀ Kλ V and Vᵀ Kμ V for unit constants, m, and Vᵀ M V for unit density, m³, for `motions` V
    /// of shape (3 nodes, count), each of shape (count, count).
    pub fn projected(&self, count: usize, motions: MatRef<f64>) -> Vec<[Mat<f64>; 3]> {
        let k = motions.ncols();
        let zero = || vec![[(); 3].map(|()| Mat::<f64>::zeros(k, k)); count];
        let add = |mut sums: Vec<[Mat<f64>; 3]>, (nodes, kind): (&Vec<usize>, &usize)| {
            let local = gathered(nodes, motions);
            for own in &self.matrices[*kind] {
                let products = [&own.lambda * &local, &own.mu * &local, mass_times(&own.mass, &local)];
                for (sum, product) in sums[own.material].iter_mut().zip(&products) {
                    matmul(sum.as_mut(), Accum::Add, local.transpose(), product.as_ref(), 1.0, Par::Seq);
                }
            }
            sums
        };
        let both = |mut one: Vec<[Mat<f64>; 3]>, other: Vec<[Mat<f64>; 3]>| {
            one.iter_mut().flatten().zip(other.iter().flatten()).for_each(|(one, other)| *one += other);
            one
        };
        self.nodes.par_iter().zip(&self.kinds).fold(zero, add).reduce(zero, both)
    }
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

/// Which entries of the matrices are stored.
struct Pattern<'s> {
    /// By free degree of freedom: where its column begins; one more at the end.
    starts: Vec<usize>,
    rows: Vec<usize>,
    shared: &'s Shared,
    /// By set of cells: how many free degrees of freedom lie before each of its nodes in a column.
    before: Vec<Vec<usize>>,
}

impl Pattern<'_> {
    fn new<'s>(shared: &'s Shared, free: &[Option<usize>]) -> Pattern<'s> {
        let own = |node: &usize| (0..3).filter_map(|i| free[3 * node + i]).collect::<Vec<usize>>();
        let (before, columns): (Vec<Vec<usize>>, Vec<Vec<usize>>) = (shared.near.par_iter())
            .map(|near| {
                let (mut before, mut column) = (Vec::with_capacity(near.len()), Vec::new());
                for node in near {
                    before.push(column.len());
                    column.extend(own(node));
                }
                (before, column)
            })
            .unzip();
        let mut starts = vec![0];
        let mut rows = Vec::new();
        for (node, set) in shared.set.iter().enumerate() {
            for _ in own(&node) {
                rows.extend_from_slice(&columns[*set]);
                starts.push(rows.len());
            }
        }
        Pattern { starts, rows, shared, before }
    }

    /// By node of a cell: where its entries begin in a column of `node`.
    fn offsets(&self, cell: &[usize], node: usize) -> Vec<usize> {
        let set = self.shared.set[node];
        let (near, before) = (&self.shared.near[set], &self.before[set]);
        cell.iter().map(|other| near.binary_search(other).map_or(0, |i| before[i])).collect()
    }
}
