//! Torsion and transverse shear of one connected body, by finite elements.
//!
//! The section's contour stays rigid in its own plane; it warps along x. Twisting by 1 rad/m warps
//! it by omega, a change of curvature along x of 1 1/m2 by w_y (about y) and w_z (about z):
//!
//! ```text
//! omega:  div G (grad omega + (-z, y)) = 0            GJ = int G |grad omega + (-z, y)|^2
//! w_k:    div G grad w_k + s_k = 0                    W_kl = int G grad w_k . grad w_l
//!         s_y = E (z - z_c),  s_z = -E (y - y_c)      T_k = int G (y dw_k/dz - z dw_k/dy)
//! ```
//!
//! The stress s_k of bending is spread by the real parts of E, so that the energy of shear is that of
//! one real loading and its loss lies between the losses of the parts.
//!
//! No traction acts on free borders; across borders of parts w and the traction are continuous.
//! A body is held at one node, which changes nothing because its loads balance.
//!
//! Moduli are complex. With A = A' + iA'' the real A' is factorised once; the vectors
//! `A'^-1 (A'' A'^-1)^j r` span a space in which the complex equations are solved by Galerkin's
//! method. Their energies converge with the square of the last vector, and equal loss factors
//! end the series at its first term.
//!
//! Left out: Poisson's ratios that differ between parts stress the plane of the section.
//!
//! # Source
//! - `timoshenko-goodier1970`: ch. 10 (torsion), ch. 11 (flexure)
//! - `muskhelishvili1953`: part VII (compound bars)
//! - `zienkiewicz-zhu1987`: recovered gradients as an estimate of the error
//! - `cowper1966`: the mean displacement of a section

use super::area::Moments;
use super::basis::{Basis, Loading, Projection, Space};
use super::element::{ElementPoint, GAUSS, NODES, SAMPLES, gauss_points, samples, square};
use super::fault::SectionFault;
use super::mesh::Mesh;
use super::shape::Point;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholesky, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat};
use faer::{Conj, MatMut, Par, Side};
use nalgebra::{Matrix2, Vector2};
use num_complex::Complex64;
use std::sync::OnceLock;

/// Shear moduli below this share of the largest are raised to it, so that the equations of a
/// part without stiffness stay solvable.
pub(super) const LEAST_MODULUS: f64 = 1e-9;

/// Pairs of nodes of an element.
const PAIRS: usize = NODES * (NODES + 1) / 2;

/// By how much strains that neighbours agree on understate the error: 2 to 2.5 found against the
/// series of rectangles and finer meshes.
const MODESTY: f64 = 2.5;

/// Vectors of the series at most, a load.
const MOST_TERMS: usize = 6;

/// The moduli of one part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Elastic {
    /// Complex Young's modulus, Pa.
    pub e: Complex64,
    /// Complex shear modulus, Pa.
    pub g: Complex64,
    /// Poisson's ratio.
    pub nu: f64,
}

impl Elastic {
    /// Moduli of 1 Pa and a Poisson's ratio of 1: the flow of a body of one material scales from it.
    pub const UNIT: Elastic = Elastic { e: Complex64::new(1.0, 0.0), g: Complex64::new(1.0, 0.0), nu: 1.0 };

    /// The same with both moduli multiplied.
    pub fn times(self, by: f64) -> Elastic {
        Elastic { e: self.e * by, g: self.g * by, nu: self.nu }
    }
}

/// What torsion and shear of a body come to, about the member line.
///
/// The pair of an index is (y, z): curvatures about y and about z.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    /// The parts of the body.
    pub parts: Vec<usize>,
    /// Moments from curvatures, about the body's own centre, N m2.
    pub bending: Matrix2<f64>,
    /// T_k, N m2 a (1/m2).
    pub torque: Vector2<Complex64>,
    /// Each part's share of GJ, N m2.
    pub twist: Vec<Complex64>,
    /// Each part's share of W.
    pub shear: Vec<Matrix2<Complex64>>,
    /// Each part's energy between w_k and twist; they add up to 0.
    pub cross: Vec<Vector2<Complex64>>,
    /// What Cowper's mean displacement takes from W because sections bent deform in their plane:
    /// `int G grad w_k . a_l`.
    pub sideways: Matrix2<f64>,
}

impl Flow {
    /// The flow of a body of one material from the one at [`Elastic::UNIT`].
    pub fn scaled(&self, by: &Elastic) -> Flow {
        let (e, g) = (by.e.re, by.g);
        Flow {
            parts: self.parts.clone(),
            bending: self.bending * e,
            torque: self.torque * Complex64::from(e),
            twist: self.twist.iter().map(|x| x * g).collect(),
            shear: self.shear.iter().map(|w| w * (e * e / g)).collect(),
            cross: self.cross.iter().map(|x| x * Complex64::from(e)).collect(),
            sideways: self.sideways * (e * by.nu),
        }
    }
}

/// The estimated error of a solution and where in the body it comes from.
pub(super) struct Estimate {
    /// Of GJ and of the diagonal of W, the largest, relative.
    pub error: f64,
    /// The share of each element, in the order of the body's triangles.
    pub elements: Vec<f64>,
}

pub(super) struct Element {
    pub nodes: [usize; NODES],
    /// Index into the body's parts.
    pub part: usize,
    pub points: [ElementPoint; GAUSS],
    samples: [ElementPoint; SAMPLES],
    /// `int grad N_i . grad N_j`.
    pub stiffness: [[f64; NODES]; NODES],
    normals: [Point; 3],
    area: f64,
    /// Places of the lower triangle among the values of the sparse matrix.
    slots: [usize; PAIRS],
}

/// `int N`, `int N y`, `int N z` and `int z dN/dy - y dN/dz` over one part, by node.
pub(super) struct Loads {
    pub one: Vec<f64>,
    pub y: Vec<f64>,
    pub z: Vec<f64>,
    pub twist: Vec<f64>,
}

/// One connected body, ready to be solved for any moduli.
pub(super) struct Body {
    /// The parts it is made of, ascending.
    pub parts: Vec<usize>,
    /// Area moments of each of them within the body.
    pub moments: Vec<Moments>,
    /// Nodes.
    pub n: usize,
    pub elements: Vec<Element>,
    /// By part.
    pub loads: Vec<Loads>,
    pattern: SymbolicSparseColMat<usize>,
    pub symbolic: SymbolicCholesky<usize>,
    /// Which of two media each part is of; `None` for more media.
    groups: Option<Vec<bool>>,
    /// With the first of two media the softer one, and the second; made when first asked for.
    bases: [OnceLock<Basis>; 2],
}

impl Body {
    /// Sets up the body made of these triangles of a mesh, whose parts are of these media.
    ///
    /// # Errors
    /// When the equations cannot be ordered.
    pub fn new(
        mesh: &Mesh,
        triangles: &[usize],
        medium: impl Fn(usize) -> usize,
    ) -> Result<Body, SectionFault> {
        let mut parts: Vec<usize> = triangles.iter().map(|t| mesh.triangles[*t].part).collect();
        parts.sort_unstable();
        parts.dedup();
        let mut local = vec![usize::MAX; mesh.points.len()];
        let mut n = 0;
        let mut elements = Vec::with_capacity(triangles.len());
        let mut moments = vec![Moments::default(); parts.len()];
        for triangle in triangles.iter().map(|t| &mesh.triangles[*t]) {
            let corners = mesh.corners(triangle);
            let (Some(points), Some(samples)) = (gauss_points(&corners), samples(&corners)) else { continue };
            let part = parts.iter().position(|p| *p == triangle.part).unwrap_or(0);
            points.iter().for_each(|point| moments[part].add(point));
            let nodes = triangle.nodes.map(|node| {
                if local[node] == usize::MAX {
                    local[node] = n;
                    n += 1;
                }
                local[node]
            });
            let area = points.iter().map(|p| p.area).sum();
            let normals = normals(&corners, &nodes);
            elements.push(Element {
                nodes,
                normals,
                area,
                part,
                stiffness: stiffness(&points),
                points,
                samples,
                slots: [0; PAIRS],
            });
        }
        let loads = (0..parts.len()).map(|part| loads(&elements, part, n)).collect();
        let pattern = pattern(&mut elements, n)?;
        let refused = |e| SectionFault::new(format!("the section's equations cannot be ordered: {e:?}"));
        let symbolic = factorize_symbolic_cholesky(
            pattern.as_ref(),
            Side::Lower,
            SymmetricOrdering::Amd,
            CholeskySymbolicParams::default(),
        )
        .map_err(refused)?;
        let other = parts.iter().map(|part| medium(*part)).find(|m| *m != medium(parts[0]));
        let two = |part: &usize| medium(*part) == medium(parts[0]) || Some(medium(*part)) == other;
        let groups = (other.is_some() && parts.iter().all(two))
            .then(|| parts.iter().map(|part| Some(medium(*part)) == other).collect());
        let bases = Default::default();
        Ok(Body { parts, moments, n, elements, loads, pattern, symbolic, groups, bases })
    }

    /// The flow for the moduli of each of the body's parts and its estimated relative error; `None`
    /// when nothing in the body is stiff. Two media within the range of the [`Basis`] are solved in
    /// it.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn quick(&self, media: &[Elastic]) -> Result<Option<(Flow, f64)>, SectionFault> {
        if let Some((basis, ratio)) = self.basis(media)? {
            let Some(loading) = Loading::new(self, media) else { return Ok(None) };
            return Ok(Some((basis.projection.flow(self, &loading)?, basis.error(ratio))));
        }
        self.solve(media)
    }

    /// The basis that serves these moduli, and the ratio of the softer to the stiffer medium.
    fn basis(&self, media: &[Elastic]) -> Result<Option<(&Basis, f64)>, SectionFault> {
        let Some(groups) = &self.groups else { return Ok(None) };
        let of = |group: bool| groups.iter().position(|g| *g == group).map_or(0.0, |i| media[i].g.re);
        let (first, second) = (of(false), of(true));
        let second_softer = second < first;
        let ratio = if second_softer { second / first } else { first / second };
        if !(Basis::LEAST_RATIO..=1.0).contains(&ratio) {
            return Ok(None);
        }
        let place = &self.bases[usize::from(second_softer)];
        if let Some(basis) = place.get() {
            return Ok(Some((basis, ratio)));
        }
        let soft: Vec<bool> = groups.iter().map(|group| *group == second_softer).collect();
        let basis = Basis::new(self, &soft)?;
        Ok(Some((place.get_or_init(|| basis), ratio)))
    }

    /// The estimated error of the mesh for real moduli; `None` when nothing in the body is stiff.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn estimated(&self, media: &[Elastic]) -> Result<Option<Estimate>, SectionFault> {
        let Some(loading) = Loading::new(self, media) else { return Ok(None) };
        let g = |part: usize| loading.g[part].re;
        let values = self.values(g);
        let mut factor = vec![0.0; self.symbolic.len_val()];
        let right = [0, 1, 2].map(|k| loading.vector(self, k, |x| x.re));
        Ok(Some(self.estimate(&self.factorised(&values, &mut factor)?.solve(&right), g)))
    }

    /// The flow and its error by the whole equations.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn solve(&self, media: &[Elastic]) -> Result<Option<(Flow, f64)>, SectionFault> {
        let Some(loading) = Loading::new(self, media) else { return Ok(None) };
        let g = &loading.g;
        let values = self.values(|part| g[part].re);
        let mut factor = vec![0.0; self.symbolic.len_val()];
        let solver = self.factorised(&values, &mut factor)?;
        let real: [Vec<f64>; 3] = [0, 1, 2].map(|k| loading.vector(self, k, |x| x.re));
        let solved = solver.solve(&real);

        let mut space = Space::default();
        let lossy = g.iter().any(|g| g.im != 0.0);
        let energies: Vec<f64> = solved.iter().zip(&real).map(|(v, r)| dot(v, r)).collect();
        let mut newest: Vec<Vec<f64>> = solved.clone();
        solved.iter().zip(&real).for_each(|(v, r)| space.add(v.clone(), r.clone(), 1e-16));
        for term in 1..if lossy { MOST_TERMS } else { 1 } {
            let right: Vec<Vec<f64>> = newest
                .iter()
                .enumerate()
                .map(|(k, v)| {
                    let mut r = self.applied(v, |part| -g[part].im);
                    if term == 1 {
                        r.iter_mut().zip(loading.vector(self, k, |x| x.im)).for_each(|(r, x)| *r += x);
                    }
                    r
                })
                .collect();
            newest = solver.solve(&right);
            let mut largest: f64 = 0.0;
            for (k, (v, r)) in newest.iter().zip(&right).enumerate() {
                largest = largest.max(dot(v, r).abs() / energies[k].max(f64::MIN_POSITIVE));
                space.add(v.clone(), r.clone(), 1e-16);
            }
            if largest < 1e-11 {
                break;
            }
        }
        let flow = Projection::new(self, &space.vectors).flow(self, &loading)?;
        Ok(Some((flow, self.estimate(&solved, |part| g[part].re).error)))
    }

    /// Moments weighted by the real Young's moduli.
    pub fn weighted(&self, media: &[Elastic]) -> Moments {
        let mut sum = Moments::default();
        for (m, medium) in self.moments.iter().zip(media) {
            sum += m.scaled(medium.e.re);
        }
        sum
    }

    /// Moments from curvatures about the body's own centre.
    pub fn bending(&self, media: &[Elastic]) -> Matrix2<f64> {
        let m = self.weighted(media);
        let mixed = -(m.yz - m.y * m.z / m.area);
        Matrix2::new(m.zz - m.z * m.z / m.area, mixed, mixed, m.yy - m.y * m.y / m.area)
    }

    /// The values of the sparse matrix, with one node held.
    pub fn values(&self, g: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut values = vec![0.0; self.pattern.row_idx().len()];
        for element in &self.elements {
            let g = g(element.part);
            let mut slot = 0;
            for i in 0..NODES {
                for j in 0..=i {
                    values[element.slots[slot]] += g * element.stiffness[i][j];
                    slot += 1;
                }
            }
        }
        if let Some(first) = values.first_mut() {
            *first *= 2.0;
        }
        values
    }

    /// The matrix with other moduli, times a vector.
    pub fn applied(&self, vector: &[f64], g: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut result = vec![0.0; self.n];
        for element in &self.elements {
            let g = g(element.part);
            if g == 0.0 {
                continue;
            }
            for i in 0..NODES {
                let sum: f64 = (0..NODES).map(|j| element.stiffness[i][j] * vector[element.nodes[j]]).sum();
                result[element.nodes[i]] += g * sum;
            }
        }
        result
    }

    pub fn factorised<'a>(
        &'a self,
        values: &'a [f64],
        factor: &'a mut [f64],
    ) -> Result<Solver<'a>, SectionFault> {
        let refused = || SectionFault::new("the section's shear cannot be solved: a part has no stiffness");
        let scratch = self.symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        let mut memory = MemBuffer::try_new(scratch).map_err(|_| refused())?;
        let matrix = SparseColMatRef::new(self.pattern.as_ref(), values);
        let llt = self
            .symbolic
            .factorize_numeric_llt(
                factor,
                matrix,
                Side::Lower,
                Default::default(),
                Par::Seq,
                MemStack::new(&mut memory),
                Default::default(),
            )
            .map_err(|_| refused())?;
        Ok(Solver { llt, symbolic: &self.symbolic, n: self.n })
    }

    /// Compares the strains with those that all elements of a part at a corner or side agree on; on
    /// borders the traction across agrees with the other side's, or vanishes.
    pub fn estimate(&self, solved: &[Vec<f64>], g: impl Fn(usize) -> f64) -> Estimate {
        let mut elements = vec![0.0; self.elements.len()];
        let mut error: f64 = 0.0;
        let place = |element: &Element, i: usize| element.sampled_at(i) * self.parts.len() + element.part;
        for (k, field) in solved.iter().enumerate() {
            let mut mean = vec![[0.0; 3]; self.n * self.parts.len()];
            let mut across = vec![(0.0, 0.0); self.n];
            let strains: Vec<[[f64; 2]; SAMPLES]> =
                self.elements.iter().map(|e| e.strains(field, k == 0)).collect();
            for (element, strain) in self.elements.iter().zip(&strains) {
                for (i, strain) in strain.iter().enumerate() {
                    let mean = &mut mean[place(element, i)];
                    mean[0] += element.area * strain[0];
                    mean[1] += element.area * strain[1];
                    mean[2] += element.area;
                    if i > 2 {
                        let across = &mut across[element.sampled_at(i)];
                        across.0 += g(element.part) * dot(strain, &element.normals[i - 3]);
                        across.1 += 1.0;
                    }
                }
            }
            let (mut whole, mut wrong) = (0.0, Vec::with_capacity(self.elements.len()));
            for (element, strain) in self.elements.iter().zip(&strains) {
                let g = g(element.part);
                let mut apart = [[0.0; SAMPLES]; 2];
                for i in 0..SAMPLES {
                    let mean = mean[place(element, i)];
                    let mut d = [0, 1].map(|axis| mean[axis] / mean[2] - strain[i][axis]);
                    let (traction, count) = across[element.sampled_at(i)];
                    if i > 2 && mean[2] == element.area {
                        let normal = element.normals[i - 3];
                        let agreed = if count > 1.0 { traction / count } else { 0.0 };
                        let jump = agreed / g - dot(&strain[i], &normal);
                        d = normal.map(|n| n * jump);
                    }
                    (apart[0][i], apart[1][i]) = (d[0], d[1]);
                }
                let both = |values: &[[f64; SAMPLES]; 2]| {
                    g * element.area * (square(&values[0]) + square(&values[1]))
                };
                whole += both(&[0, 1].map(|axis| std::array::from_fn(|i| strain[i][axis])));
                wrong.push(both(&apart));
            }
            if whole > 0.0 {
                error = error.max(MODESTY * wrong.iter().sum::<f64>() / whole);
                elements.iter_mut().zip(wrong).for_each(|(e, w)| *e += MODESTY * w / whole);
            }
        }
        Estimate { error, elements }
    }
}

impl Element {
    /// The shear strains along y and z at the samples.
    fn strains(&self, field: &[f64], twist: bool) -> [[f64; 2]; SAMPLES] {
        self.samples.map(|point| {
            let [y, z] = slope(&point, field, &self.nodes);
            if twist { [y - point.at[1], z + point.at[0]] } else { [y, z] }
        })
    }

    /// The node by which a sample is known to all elements there: of a side, the lesser of its two.
    fn sampled_at(&self, sample: usize) -> usize {
        match sample {
            0..3 => self.nodes[sample],
            _ => self.nodes[2 * sample - 3].min(self.nodes[2 * sample - 2]),
        }
    }
}

/// Unit normals of the sides at their middles, the same from both elements.
fn normals(corners: &[Point; NODES], nodes: &[usize; NODES]) -> [Point; 3] {
    [3, 5, 7].map(|i| {
        let (a, b) = if nodes[i] < nodes[i + 1] { (i, i + 1) } else { (i + 1, i) };
        let along = [corners[b][0] - corners[a][0], corners[b][1] - corners[a][1]];
        let length = along[0].hypot(along[1]);
        [along[1] / length, -along[0] / length]
    })
}

/// The slopes of a field at a point of an element.
fn slope(point: &ElementPoint, field: &[f64], nodes: &[usize; NODES]) -> [f64; 2] {
    let along = |axis: usize| (0..NODES).map(|i| point.slope[axis][i] * field[nodes[i]]).sum();
    [along(0), along(1)]
}

fn stiffness(points: &[ElementPoint; GAUSS]) -> [[f64; NODES]; NODES] {
    let mut k = [[0.0; NODES]; NODES];
    for point in points {
        for i in 0..NODES {
            for j in 0..NODES {
                let product = point.slope[0][i] * point.slope[0][j] + point.slope[1][i] * point.slope[1][j];
                k[i][j] += point.area * product;
            }
        }
    }
    k
}

fn loads(elements: &[Element], part: usize, n: usize) -> Loads {
    let mut loads = Loads { one: vec![0.0; n], y: vec![0.0; n], z: vec![0.0; n], twist: vec![0.0; n] };
    for element in elements.iter().filter(|element| element.part == part) {
        for point in &element.points {
            let [y, z] = point.at;
            for (i, node) in element.nodes.iter().enumerate() {
                let weight = point.area * point.n[i];
                loads.one[*node] += weight;
                loads.y[*node] += weight * y;
                loads.z[*node] += weight * z;
                loads.twist[*node] += point.area * (z * point.slope[0][i] - y * point.slope[1][i]);
            }
        }
    }
    loads
}

/// The lower triangle of the matrix, and the elements' places in it.
fn pattern(elements: &mut [Element], n: usize) -> Result<SymbolicSparseColMat<usize>, SectionFault> {
    // Column and row in one number, which sorts fast.
    let pairs = |nodes: &[usize; NODES]| {
        let nodes = *nodes;
        (0..NODES).flat_map(move |i| {
            (0..=i).map(move |j| {
                let (column, row) = (nodes[i].min(nodes[j]), nodes[i].max(nodes[j]));
                ((column as u64) << 32) | row as u64
            })
        })
    };
    let mut entries: Vec<u64> = elements.iter().flat_map(|e| pairs(&e.nodes)).collect();
    entries.sort_unstable();
    entries.dedup();
    let mut starts = vec![0; n + 1];
    for entry in &entries {
        starts[(entry >> 32) as usize + 1] += 1;
    }
    for column in 0..n {
        starts[column + 1] += starts[column];
    }
    for element in elements {
        for (slot, pair) in pairs(&element.nodes).enumerate() {
            let column = (pair >> 32) as usize;
            let rows = &entries[starts[column]..starts[column + 1]];
            element.slots[slot] = starts[column] + rows.partition_point(|entry| *entry < pair);
        }
    }
    let rows = entries.iter().map(|entry| (entry & 0xffff_ffff) as usize).collect();
    if n == 0 {
        return Err(SectionFault::new("a part has no area left"));
    }
    Ok(SymbolicSparseColMat::new_checked(n, n, starts, None, rows))
}

pub(super) struct Solver<'a> {
    llt: faer::sparse::linalg::cholesky::LltRef<'a, usize, f64>,
    symbolic: &'a SymbolicCholesky<usize>,
    n: usize,
}

impl Solver<'_> {
    pub fn solve(&self, right: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let mut block: Vec<f64> = right.iter().flatten().copied().collect();
        let mut memory = MemBuffer::new(self.symbolic.solve_in_place_scratch::<f64>(right.len(), Par::Seq));
        let columns = MatMut::from_column_major_slice_mut(&mut block, self.n, right.len());
        self.llt.solve_in_place_with_conj(Conj::No, columns, Par::Seq, MemStack::new(&mut memory));
        block.chunks(self.n).map(<[f64]>::to_vec).collect()
    }
}

/// The sum of products.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
