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
//! `(A'^-1 A'')^j A'^-1 r` span a space in which the complex equations are solved by Galerkin's
//! method. The error of its energies is the square of what the next vector would add; equal loss
//! factors end the series at its first term.
//!
//! Left out: Poisson's ratios that differ between parts stress the plane of the section.
//!
//! # Source
//! - `timoshenko-goodier1970`: ch. 10 (torsion), ch. 11 (flexure)
//! - `muskhelishvili1953`: part VII (compound bars)
//! - `zienkiewicz-zhu1987`: recovered gradients as an estimate of the error
//! - `cowper1966`: the mean displacement of a section

use super::area::Moments;
use super::element::{GAUSS, GaussPoint, NEAR_CORNER, gauss_points};
use super::fault::SectionFault;
use super::mesh::Mesh;
use super::sparse::{Solver, Space, dot, ordered};
use faer::sparse::SymbolicSparseColMat;
use faer::sparse::linalg::cholesky::SymbolicCholesky;
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use num_complex::Complex64;
use std::collections::HashMap;

/// Shear moduli below this share of the largest are raised to it, so that the equations of a
/// part without stiffness stay solvable.
const LEAST_MODULUS: f64 = 1e-9;

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

struct Element {
    nodes: [usize; 6],
    /// Index into the body's parts.
    part: usize,
    points: [GaussPoint; GAUSS],
    /// `int grad N_i . grad N_j`.
    stiffness: [[f64; 6]; 6],
    /// Places of the lower triangle among the values of the sparse matrix.
    slots: [usize; 21],
}

/// `int N`, `int N y`, `int N z` and `int z dN/dy - y dN/dz` over one part, by node.
struct Loads {
    one: Vec<f64>,
    y: Vec<f64>,
    z: Vec<f64>,
    twist: Vec<f64>,
}

/// One connected body, ready to be solved for any moduli.
pub(super) struct Body {
    /// The parts it is made of, ascending.
    pub parts: Vec<usize>,
    /// Area moments of each of them within the body.
    pub moments: Vec<Moments>,
    n: usize,
    elements: Vec<Element>,
    loads: Vec<Loads>,
    pattern: SymbolicSparseColMat<usize>,
    symbolic: SymbolicCholesky<usize>,
}

impl Body {
    /// Sets up the body made of these triangles of a mesh.
    ///
    /// # Errors
    /// When the equations cannot be ordered.
    pub fn new(mesh: &Mesh, triangles: &[usize]) -> Result<Body, SectionFault> {
        let mut parts: Vec<usize> = triangles.iter().map(|t| mesh.triangles[*t].part).collect();
        parts.sort_unstable();
        parts.dedup();
        let mut local: HashMap<usize, usize> = HashMap::new();
        let mut elements = Vec::new();
        let mut moments = vec![Moments::default(); parts.len()];
        for triangle in triangles.iter().map(|t| &mesh.triangles[*t]) {
            let Some(points) = gauss_points(&mesh.corners(triangle)) else { continue };
            let part = parts.iter().position(|p| *p == triangle.part).unwrap_or(0);
            points.iter().for_each(|point| moments[part].add(point));
            let nodes = triangle.nodes.map(|node| {
                let next = local.len();
                *local.entry(node).or_insert(next)
            });
            elements.push(Element { nodes, part, stiffness: stiffness(&points), points, slots: [0; 21] });
        }
        let n = local.len();
        let loads = (0..parts.len()).map(|part| loads(&elements, part, n)).collect();
        let pattern = pattern(&mut elements, n)?;
        let symbolic = ordered(&pattern)?;
        Ok(Body { parts, moments, n, elements, loads, pattern, symbolic })
    }

    /// The flow for the moduli of each of the body's parts and its estimated error; `None` when
    /// nothing in the body is stiff.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn solve(&self, media: &[Elastic]) -> Result<Option<(Flow, Estimate)>, SectionFault> {
        let stiffest = media.iter().map(|m| m.g.re).fold(0.0, f64::max);
        let [centre_y, centre_z] = match self.centre(media) {
            Some(centre) if stiffest > 0.0 => centre,
            _ => return Ok(None),
        };
        let g: Vec<Complex64> =
            media.iter().map(|m| Complex64::new(m.g.re.max(LEAST_MODULUS * stiffest), m.g.im)).collect();
        // Loads of twist, w_y and w_z as sums over parts: factors of Loads {twist, one, y, z}.
        let factors = |part: usize| {
            let (e, zero) = (Complex64::from(media[part].e.re), Complex64::ZERO);
            [[g[part], zero, zero, zero], [zero, -e * centre_z, zero, e], [zero, e * centre_y, -e, zero]]
        };
        let load = |k: usize, pick: fn(Complex64) -> f64| {
            let mut sum = vec![0.0; self.n];
            for (part, loads) in self.loads.iter().enumerate() {
                let factor = factors(part)[k].map(pick);
                for (weight, vector) in factor.iter().zip([&loads.twist, &loads.one, &loads.y, &loads.z]) {
                    if *weight != 0.0 {
                        sum.iter_mut().zip(vector).for_each(|(s, v)| *s += weight * v);
                    }
                }
            }
            sum
        };
        let values = self.values(|part| g[part].re);
        let mut factor = vec![0.0; self.symbolic.len_val()];
        let solver = Solver::new(&self.pattern, &self.symbolic, &values, &mut factor)?;
        let real: [Vec<f64>; 3] = [0, 1, 2].map(|k| load(k, |x| x.re));
        let solved = solver.solve(&real);

        let mut space = Space::default();
        let lossy = g.iter().any(|g| g.im != 0.0);
        let energies: Vec<f64> = solved.iter().zip(&real).map(|(v, r)| dot(v, r)).collect();
        let mut newest: Vec<Vec<f64>> = solved.clone();
        solved.iter().zip(&real).for_each(|(v, r)| space.add(v.clone(), r.clone()));
        for term in 1..if lossy { MOST_TERMS } else { 1 } {
            let right: Vec<Vec<f64>> = newest
                .iter()
                .enumerate()
                .map(|(k, v)| {
                    let mut r = self.applied(v, |part| -g[part].im);
                    if term == 1 {
                        r.iter_mut().zip(load(k, |x| x.im)).for_each(|(r, x)| *r += x);
                    }
                    r
                })
                .collect();
            newest = solver.solve(&right);
            let mut largest: f64 = 0.0;
            for (k, (v, r)) in newest.iter().zip(&right).enumerate() {
                largest = largest.max(dot(v, r).abs() / energies[k].max(f64::MIN_POSITIVE));
                space.add(v.clone(), r.clone());
            }
            if largest < 1e-6 {
                break;
            }
        }
        let sideways = self.sideways(media, &solved);
        let flow = self.reduced(&space.vectors, &g, media, factors, sideways)?;
        Ok(Some((flow, self.estimate(&solved, |part| g[part].re))))
    }

    /// The elastic centre of the body.
    fn centre(&self, media: &[Elastic]) -> Option<[f64; 2]> {
        self.weighted(media).centroid()
    }

    /// Moments weighted by the real Young's moduli.
    fn weighted(&self, media: &[Elastic]) -> Moments {
        let mut sum = Moments::default();
        for (m, medium) in self.moments.iter().zip(media) {
            sum += m.scaled(medium.e.re);
        }
        sum
    }

    /// Solves the equations projected on the vectors and takes the energies by part.
    fn reduced(
        &self,
        vectors: &[Vec<f64>],
        g: &[Complex64],
        media: &[Elastic],
        factors: impl Fn(usize) -> [[Complex64; 4]; 3],
        sideways: Matrix2<f64>,
    ) -> Result<Flow, SectionFault> {
        let d = vectors.len();
        let energy = self.projected(vectors);
        let project = |v: &Vec<f64>| DVector::from_iterator(d, vectors.iter().map(|x| dot(x, v)));
        let loads: Vec<[DVector<f64>; 4]> =
            self.loads.iter().map(|l| [&l.twist, &l.one, &l.y, &l.z].map(project)).collect();
        let mut matrix = DMatrix::<Complex64>::zeros(d, d);
        let mut right = DMatrix::<Complex64>::zeros(d, 3);
        for (part, energy) in energy.iter().enumerate() {
            matrix += energy.map(|x| g[part] * x);
            for (k, factor) in factors(part).iter().enumerate() {
                for (weight, load) in factor.iter().zip(&loads[part]) {
                    (0..d).for_each(|i| right[(i, k)] += weight * load[i]);
                }
            }
        }
        let solution = matrix.lu().solve(&right).ok_or_else(|| {
            SectionFault::new("the section's shear has no solution: its stiffnesses differ too much")
        })?;
        let field = |k: usize| solution.column(k).into_owned();
        let (omega, w) = (field(0), [field(1), field(2)]);
        let complex = |m: &DMatrix<f64>| m.map(Complex64::from);
        let mut flow = Flow {
            parts: self.parts.clone(),
            bending: self.bending(media),
            torque: Vector2::zeros(),
            twist: Vec::new(),
            shear: Vec::new(),
            cross: Vec::new(),
            sideways,
        };
        for (part, energy) in energy.iter().enumerate() {
            let energy = complex(energy);
            let load = loads[part][0].map(Complex64::from);
            let polar = self.moments[part].yy + self.moments[part].zz;
            let bent = &energy * &omega;
            flow.twist.push(g[part] * (polar - 2.0 * load.dot(&omega) + omega.dot(&bent)));
            flow.cross.push(Vector2::from_fn(|k, _| g[part] * (w[k].dot(&bent) - load.dot(&w[k]))));
            flow.shear.push(Matrix2::from_fn(|k, l| g[part] * w[k].dot(&(&energy * &w[l]))));
            flow.torque -= Vector2::from_fn(|k, _| g[part] * load.dot(&w[k]));
        }
        Ok(flow)
    }

    /// Moments from curvatures about the body's own centre.
    fn bending(&self, media: &[Elastic]) -> Matrix2<f64> {
        let m = self.weighted(media);
        let mixed = -(m.yz - m.y * m.z / m.area);
        Matrix2::new(m.zz - m.z * m.z / m.area, mixed, mixed, m.yy - m.y * m.y / m.area)
    }

    /// `int grad x_i . grad x_j` over each part.
    fn projected(&self, vectors: &[Vec<f64>]) -> Vec<DMatrix<f64>> {
        let d = vectors.len();
        let mut energy = vec![DMatrix::<f64>::zeros(d, d); self.parts.len()];
        let mut at = vec![[0.0; 6]; d];
        for element in &self.elements {
            for (values, vector) in at.iter_mut().zip(vectors) {
                *values = element.nodes.map(|node| vector[node]);
            }
            let energy = &mut energy[element.part];
            for j in 0..d {
                let force: [f64; 6] =
                    std::array::from_fn(|i| (0..6).map(|l| element.stiffness[i][l] * at[j][l]).sum());
                for i in j..d {
                    energy[(i, j)] += (0..6).map(|l| at[i][l] * force[l]).sum::<f64>();
                }
            }
        }
        for energy in &mut energy {
            energy.fill_upper_triangle_with_lower_triangle();
        }
        energy
    }

    /// The values of the sparse matrix, with one node held.
    fn values(&self, g: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut values = vec![0.0; self.pattern.row_idx().len()];
        for element in &self.elements {
            let g = g(element.part);
            let mut slot = 0;
            for i in 0..6 {
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
    fn applied(&self, vector: &[f64], g: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut result = vec![0.0; self.n];
        for element in &self.elements {
            let g = g(element.part);
            if g == 0.0 {
                continue;
            }
            for i in 0..6 {
                let sum: f64 = (0..6).map(|j| element.stiffness[i][j] * vector[element.nodes[j]]).sum();
                result[element.nodes[i]] += g * sum;
            }
        }
        result
    }

    /// `int G grad w_k . a_l`, where a_l is how a section bent to unit curvature deforms in its
    /// plane, without its mean: (-nu y z, nu (y^2 - z^2)/2) about y, (nu (y^2 - z^2)/2, nu y z)
    /// about z. One Poisson's ratio stands for all parts, their mean by EA.
    fn sideways(&self, media: &[Elastic], solved: &[Vec<f64>]) -> Matrix2<f64> {
        let whole = self.weighted(media);
        let mut nu: f64 = self.moments.iter().zip(media).map(|(m, x)| x.e.re * m.area * x.nu).sum();
        let Some(centre) = whole.centroid() else { return Matrix2::zeros() };
        nu /= whole.area;
        let yy = whole.yy / whole.area - centre[0] * centre[0];
        let zz = whole.zz / whole.area - centre[1] * centre[1];
        let yz = whole.yz / whole.area - centre[0] * centre[1];
        let mut sum = Matrix2::zeros();
        for element in &self.elements {
            let g = media[element.part].g.re;
            for point in &element.points {
                let (y, z) = (point.at[0] - centre[0], point.at[1] - centre[1]);
                let square = 0.5 * nu * (y * y - z * z - yy + zz);
                let product = nu * (y * z - yz);
                let fields = [[-product, square], [square, product]];
                for (k, w) in solved[1..].iter().enumerate() {
                    let slope = slope(point, w, &element.nodes);
                    for (l, a) in fields.iter().enumerate() {
                        sum[(k, l)] += g * point.area * (slope[0] * a[0] + slope[1] * a[1]);
                    }
                }
            }
        }
        sum
    }

    /// Compares the strains with those averaged at the corners of elements, within each part.
    fn estimate(&self, solved: &[Vec<f64>], g: impl Fn(usize) -> f64) -> Estimate {
        let mut elements = vec![0.0; self.elements.len()];
        let mut error: f64 = 0.0;
        for (k, field) in solved.iter().enumerate() {
            let strains: Vec<[[f64; 2]; 3]> =
                self.elements.iter().map(|element| corner_strains(element, field, k == 0)).collect();
            let mut mean = vec![[0.0; 3]; self.n * self.parts.len()];
            let place = |element: &Element, i: usize| element.nodes[i] * self.parts.len() + element.part;
            for (element, strain) in self.elements.iter().zip(&strains) {
                let area: f64 = element.points.iter().map(|p| p.area).sum();
                for i in 0..3 {
                    let mean = &mut mean[place(element, i)];
                    mean[0] += area * strain[i][0];
                    mean[1] += area * strain[i][1];
                    mean[2] += area;
                }
            }
            let (mut whole, mut wrong) = (0.0, Vec::with_capacity(self.elements.len()));
            for (element, strain) in self.elements.iter().zip(&strains) {
                let area: f64 = element.points.iter().map(|p| p.area).sum();
                let weight = g(element.part) * area / 12.0;
                // A linear function squared: A/12 (sum of squares + square of the sum).
                let square = |values: [[f64; 2]; 3]| -> f64 {
                    (0..2)
                        .map(|axis| {
                            let sum: f64 = values.iter().map(|v| v[axis]).sum();
                            sum * sum + values.iter().map(|v| v[axis] * v[axis]).sum::<f64>()
                        })
                        .sum()
                };
                let apart: [[f64; 2]; 3] = std::array::from_fn(|i| {
                    let mean = mean[place(element, i)];
                    [mean[0] / mean[2] - strain[i][0], mean[1] / mean[2] - strain[i][1]]
                });
                whole += weight * square(*strain);
                wrong.push(weight * square(apart));
            }
            if whole > 0.0 {
                error = error.max(wrong.iter().sum::<f64>() / whole);
                elements.iter_mut().zip(wrong).for_each(|(e, w)| *e += w / whole);
            }
        }
        Estimate { error, elements }
    }
}

/// The slopes of a field at a point of an element.
fn slope(point: &GaussPoint, field: &[f64], nodes: &[usize; 6]) -> [f64; 2] {
    let along = |axis: usize| (0..6).map(|i| point.slope[axis][i] * field[nodes[i]]).sum();
    [along(0), along(1)]
}

/// The shear strains at the corners, from the three points of the rule that lie next to them.
fn corner_strains(element: &Element, field: &[f64], twist: bool) -> [[f64; 2]; 3] {
    const NEXT: [usize; 3] = [4, 5, 3];
    let inner = NEXT.map(|i| {
        let point = &element.points[i];
        let s = slope(point, field, &element.nodes);
        if twist { [s[0] - point.at[1], s[1] + point.at[0]] } else { s }
    });
    let sum = [0, 1].map(|axis| inner[0][axis] + inner[1][axis] + inner[2][axis]);
    inner.map(|s| [0, 1].map(|axis| (s[axis] - NEAR_CORNER * sum[axis]) / (1.0 - 3.0 * NEAR_CORNER)))
}

fn stiffness(points: &[GaussPoint; GAUSS]) -> [[f64; 6]; 6] {
    let mut k = [[0.0; 6]; 6];
    for point in points {
        for i in 0..6 {
            for j in 0..6 {
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
    let pairs = |nodes: &[usize; 6]| {
        let nodes = *nodes;
        (0..6).flat_map(move |i| (0..=i).map(move |j| (nodes[i].min(nodes[j]), nodes[i].max(nodes[j]))))
    };
    let mut entries: Vec<(usize, usize)> = elements.iter().flat_map(|e| pairs(&e.nodes)).collect();
    entries.sort_unstable();
    entries.dedup();
    for element in elements {
        for (slot, pair) in pairs(&element.nodes).enumerate() {
            element.slots[slot] = entries.partition_point(|entry| *entry < pair);
        }
    }
    let starts = (0..=n).map(|column| entries.partition_point(|entry| entry.0 < column)).collect();
    let rows = entries.iter().map(|entry| entry.1).collect();
    if n == 0 {
        return Err(SectionFault::new("a part has no area left"));
    }
    Ok(SymbolicSparseColMat::new_checked(n, n, starts, None, rows))
}
