//! Torsion and transverse shear of one connected body, by finite elements.
//!
//! The contour of the section stays rigid in its own plane; the section warps along x. The warping is
//! omega for a twist of 1 rad/m, and w_y (about y) and w_z (about z) for a change of curvature of 1 1/m2
//! along x:
//!
//! ```text
//! omega:  div G (grad omega + (-z, y)) = 0            GJ = int G |grad omega + (-z, y)|^2
//! w_k:    div G grad w_k + s_k = 0                    W_kl = int G grad w_k . grad w_l
//!         s_y = E (z - z_c),  s_z = -E (y - y_c)      T_k = int G (y dw_k/dz - z dw_k/dy)
//! ```
//!
//! The bending stress s_k is distributed by the real parts of E, so that the shear energy is that of one
//! real load and its loss factor lies between those of the parts.
//!
//! There is no traction on free borders; across borders between parts w and the traction are continuous.
//! The solution is fixed at one node, which has no effect because the loads are in equilibrium. Where
//! mirrors map a body onto itself, one piece is solved and stands for the whole; the body's origin then
//! lies on the mirror lines.
//!
//! Moduli are complex. With A = A' + iA'' the real A' is factorised once; the vectors
//! `A'^-1 (A'' A'^-1)^j r` span a space in which the complex equations are solved by Galerkin's method.
//! The error of the energies falls with the square of the last vector; with equal loss factors the first
//! term is exact.
//!
//! Left out: stresses in the plane of the section caused by different Poisson's ratios of the parts.
//!
//! # Source
//! - `timoshenko-goodier1970`: ch. 10 (torsion), ch. 11 (flexure)
//! - `muskhelishvili1953`: part VII (compound bars)
//! - `zienkiewicz-zhu1987`: recovered gradients as an estimate of the error
//! - `cowper1966`: the mean displacement of a section

use super::area::Moments;
use super::basis::{Basis, Loading, Projection, Space};
use super::element::{NODES, SAMPLES, Shaped, square, times};
use super::equations::{Equations, Factor, OUTER};
use super::fault::SectionFault;
use super::mesh::Mesh;
use super::mirror::{Lines, Mirrors, Nodal, Parity};
use super::shape::Point;
use nalgebra::{Matrix2, Vector2};
use num_complex::Complex64;
use std::sync::OnceLock;
use stillbed_material::Medium;

/// Shear moduli below this share of the largest are raised to it, so that the equations of a part
/// without stiffness can be solved.
pub(super) const LEAST_MODULUS: f64 = 1e-9;

/// Factor by which the error estimate from averaged strains is too small: 2 to 2.5 was found against the
/// series solution of rectangles and finer meshes.
const ERROR_UNDERESTIMATE: f64 = 2.5;

/// Largest number of terms of the series, per load.
const MOST_TERMS: usize = 6;

/// The series stops at vectors with less than this share of the energy of their load. Each next vector
/// is smaller by about as much again, so the energies are right to 1e-7 or better.
const LAST_TERM: f64 = 1e-6;

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
    /// Moduli of 1 Pa and a Poisson's ratio of 1; the results of a body of one material scale from
    /// these.
    pub const UNIT: Elastic = Elastic { e: Complex64::new(1.0, 0.0), g: Complex64::new(1.0, 0.0), nu: 1.0 };

    /// The moduli of a medium.
    pub fn of(medium: &Medium) -> Elastic {
        Elastic { e: medium.youngs_modulus, g: medium.shear_modulus, nu: medium.poissons_ratio }
    }

    /// The same with both moduli multiplied by a factor.
    pub fn times(self, by: f64) -> Elastic {
        Elastic { e: self.e * by, g: self.g * by, nu: self.nu }
    }
}

/// Results of torsion and shear for one body, about the member line.
///
/// Indices of two are (y, z): curvature about y and about z.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    /// The parts of the body.
    pub parts: Vec<usize>,
    /// Moments from curvatures, about the body's own elastic centre, N m2.
    pub bending: Matrix2<f64>,
    /// The torque T_k, N m2 a (1/m2).
    pub torque: Vector2<Complex64>,
    /// Each part's share of GJ, N m2.
    pub twist: Vec<Complex64>,
    /// Each part's share of W.
    pub shear: Vec<Matrix2<Complex64>>,
    /// Each part's energy of interaction between w_k and twist; the sum over the parts is 0.
    pub cross: Vec<Vector2<Complex64>>,
    /// What Cowper's mean displacement subtracts from W because bent sections deform in their own plane:
    /// `int G grad w_k . a_l`.
    pub sideways: Matrix2<f64>,
}

impl Flow {
    /// The results for a body of one material from those for [`Elastic::UNIT`].
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

/// The estimated error of a solution and its distribution over the elements.
pub(super) struct Estimate {
    /// Relative, the largest of GJ and the diagonal of W.
    pub error: f64,
    /// The contribution of each element, in the order of the body's triangles.
    pub elements: Vec<f64>,
}

/// A body's fields for real moduli.
pub(super) struct Solved {
    factor: Factor,
    fields: Vec<Nodal>,
    pub estimate: Estimate,
}

pub(super) struct Element {
    /// Node numbers within the body; the inner node comes last.
    pub nodes: [usize; NODES],
    /// Index into the body's parts.
    pub part: usize,
    pub shaped: Shaped,
    /// Normals of its sides, with the same sign from both elements.
    normals: [Point; 3],
}

/// `int N`, `int N y`, `int N z` and `int z dN/dy - y dN/dz` over one part, by node.
pub(super) struct Loads {
    pub one: Nodal,
    pub y: Nodal,
    pub z: Nodal,
    pub twist: Nodal,
}

/// One connected body, ready to be solved for any moduli.
pub(super) struct Body {
    /// The parts it consists of, ascending.
    pub parts: Vec<usize>,
    /// Moments of area of each of its parts within the body, about the body's origin.
    pub moments: Vec<Moments>,
    /// The mirrors between which the elements lie.
    pub mirrors: Mirrors,
    /// Number of nodes.
    pub n: usize,
    pub elements: Vec<Element>,
    /// By part.
    pub loads: Vec<Loads>,
    equations: Equations,
    /// Mirror lines, by node that is not inside a triangle.
    lines: Vec<Lines>,
    /// For a body of two media: for each part, whether it is of the second. `None` for one or more than
    /// two.
    groups: Option<Vec<bool>>,
    /// Reduced bases with the first medium the softer one and with the second; computed on first use.
    bases: [OnceLock<Basis>; 2],
}

impl Body {
    /// Sets up the body made of these triangles of a mesh, which covers the piece between `mirrors`;
    /// `medium` gives the medium of each part.
    ///
    /// # Errors
    /// When the equations cannot be ordered.
    pub fn new(
        mesh: &Mesh,
        triangles: &[usize],
        mirrors: Mirrors,
        medium: impl Fn(usize) -> usize,
    ) -> Result<Body, SectionFault> {
        let mut parts: Vec<usize> = triangles.iter().map(|t| mesh.triangles[*t].part).collect();
        parts.sort_unstable();
        parts.dedup();
        let mut local = vec![usize::MAX; mesh.points.len()];
        let origin = mirrors.origin();
        let mut lines = Vec::new();
        let mut elements = Vec::with_capacity(triangles.len());
        let mut moments = vec![Moments::default(); parts.len()];
        for triangle in triangles.iter().map(|t| &mesh.triangles[*t]) {
            let corners = mesh.corners(triangle).map(|[y, z]| [y - origin[0], z - origin[1]]);
            let Some(shaped) = Shaped::new(corners) else { continue };
            let part = parts.iter().position(|p| *p == triangle.part).unwrap_or(0);
            shaped.shares().for_each(|(at, share)| moments[part].add(at, share));
            let mut nodes = triangle.nodes;
            for node in &mut nodes[..OUTER] {
                if local[*node] == usize::MAX {
                    local[*node] = lines.len();
                    lines.push(mirrors.through(mesh.points[*node]));
                }
                *node = local[*node];
            }
            let along = shaped.normals();
            let normals = std::array::from_fn(|side| {
                let sign = if nodes[3 + 2 * side] < nodes[4 + 2 * side] { 1.0 } else { -1.0 };
                along[side].map(|x| sign * x)
            });
            elements.push(Element { nodes, part, shaped, normals });
        }
        for (i, element) in elements.iter_mut().enumerate() {
            element.nodes[OUTER] = lines.len() + i;
        }
        let moments = moments.iter().map(|piece| mirrors.whole(piece)).collect();
        let n = lines.len() + elements.len();
        let loads = loads(&elements, parts.len(), n, &mirrors);
        let equations = Equations::new(&elements, lines.clone())?;
        let other = parts.iter().map(|part| medium(*part)).find(|m| *m != medium(parts[0]));
        let two = |part: &usize| medium(*part) == medium(parts[0]) || Some(medium(*part)) == other;
        let groups = (other.is_some() && parts.iter().all(two))
            .then(|| parts.iter().map(|part| Some(medium(*part)) == other).collect());
        let bases = Default::default();
        Ok(Body { parts, moments, mirrors, n, elements, loads, equations, lines, groups, bases })
    }

    /// The results for the moduli of each part and their estimated relative error; `None` when nothing
    /// in the body is stiff. Two media whose moduli are in the range of the [`Basis`] are solved in the
    /// reduced basis.
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

    /// The reduced basis for these moduli, and the ratio of the softer to the stiffer medium.
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

    /// The fields for the real parts of the moduli of each part; `None` when nothing in the body is
    /// stiff.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn solved(&self, media: &[Elastic]) -> Result<Option<Solved>, SectionFault> {
        let Some(loading) = Loading::new(self, media) else { return Ok(None) };
        let factor = self.factorised(loading.moduli())?;
        let right = [0, 1, 2].map(|k| loading.vector(self, k, |x| x.re));
        let fields = self.fields(&factor, &right);
        let estimate = self.estimate(&fields, &factor.g);
        Ok(Some(Solved { factor, fields, estimate }))
    }

    /// The results and their error from the full equations.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn solve(&self, media: &[Elastic]) -> Result<Option<(Flow, f64)>, SectionFault> {
        let Some(solved) = self.solved(media)? else { return Ok(None) };
        Ok(self.flow(media, &solved)?.map(|flow| (flow, solved.estimate.error)))
    }

    /// The results from the fields of the real parts of the same moduli.
    ///
    /// # Errors
    /// When the equations have no solution.
    pub fn flow(&self, media: &[Elastic], solved: &Solved) -> Result<Option<Flow>, SectionFault> {
        let Some(loading) = Loading::new(self, media) else { return Ok(None) };
        let g = &loading.g;
        let real: [Nodal; 3] = [0, 1, 2].map(|k| loading.vector(self, k, |x| x.re));
        let mut space = Space::default();
        let lossy = g.iter().any(|g| g.im != 0.0);
        let energies: Vec<f64> = solved.fields.iter().zip(&real).map(|(v, r)| v.dot(r)).collect();
        let mut newest: Vec<Nodal> = solved.fields.clone();
        solved.fields.iter().zip(real).for_each(|(v, r)| space.add(v.clone(), r, 1e-16));
        for term in 1..if lossy { MOST_TERMS } else { 1 } {
            let right: Vec<Nodal> = newest
                .iter()
                .enumerate()
                .map(|(k, v)| {
                    let mut r = self.applied(v, |part| -g[part].im);
                    if term == 1 {
                        r.add(1.0, &loading.vector(self, k, |x| x.im));
                    }
                    r
                })
                .collect();
            newest = self.fields(&solved.factor, &right);
            let mut largest: f64 = 0.0;
            for (k, (v, r)) in newest.iter().zip(right).enumerate() {
                largest = largest.max(v.dot(&r).abs() / energies[k].max(f64::MIN_POSITIVE));
                space.add(v.clone(), r, 1e-16);
            }
            if largest < LAST_TERM {
                break;
            }
        }
        Ok(Some(Projection::new(self, &space.vectors).flow(self, &loading)?))
    }

    /// Moments of area weighted by the real Young's moduli.
    pub fn weighted(&self, media: &[Elastic]) -> Moments {
        let mut sum = Moments::default();
        for (m, medium) in self.moments.iter().zip(media) {
            sum += m.scaled(medium.e.re);
        }
        sum
    }

    /// Moments from curvatures about the body's own elastic centre.
    pub fn bending(&self, media: &[Elastic]) -> Matrix2<f64> {
        let m = self.weighted(media);
        let mixed = -(m.yz - m.y * m.z / m.area);
        Matrix2::new(m.zz - m.z * m.z / m.area, mixed, mixed, m.yy - m.y * m.y / m.area)
    }

    /// The stiffness matrix with the moduli `g`, times a vector.
    pub fn applied(&self, vector: &Nodal, g: impl Fn(usize) -> f64) -> Nodal {
        let mut result = Nodal::zero(vector.parity, self.n);
        for element in &self.elements {
            let g = g(element.part);
            if g == 0.0 {
                continue;
            }
            let sum = times(&element.shaped.stiffness, &element.of(&vector.values));
            element.nodes.iter().zip(sum).for_each(|(node, sum)| result.values[*node] += g * sum);
        }
        result
    }

    /// Factorises the equations with the shear modulus of each part.
    ///
    /// # Errors
    /// When the matrix is singular.
    pub fn factorised(&self, g: Vec<f64>) -> Result<Factor, SectionFault> {
        self.equations.factorised(&self.elements, g, &self.mirrors.parities())
    }

    /// The field of each load, by node.
    pub fn fields(&self, factor: &Factor, loads: &[Nodal]) -> Vec<Nodal> {
        self.equations.fields(&self.elements, factor, loads)
    }

    /// Estimates the error from the difference between the strains of an element and strains averaged
    /// over all elements of a part at a corner or side. On borders between parts the traction across is
    /// averaged instead; on free borders it has to vanish. On a mirror line the images of the elements
    /// take part.
    pub fn estimate(&self, solved: &[Nodal], g: &[f64]) -> Estimate {
        let mut elements = vec![0.0; self.elements.len()];
        let mut error: f64 = 0.0;
        let place = |element: &Element, i: usize| element.sampled_at(i) * self.parts.len() + element.part;
        for (k, field) in solved.iter().enumerate() {
            let mut mean = vec![[0.0; 3]; self.n * self.parts.len()];
            let mut across = vec![(0.0, 0.0); self.n];
            let strains: Vec<[[f64; 2]; SAMPLES]> =
                self.elements.iter().map(|e| e.strains(&field.values, k == 0)).collect();
            let parities = Parity::OF.map(|along| self.mirrors.seen(field.parity.times(along)));
            for (element, strain) in self.elements.iter().zip(&strains) {
                let area = element.shaped.area;
                for (i, strain) in strain.iter().enumerate() {
                    let mean = &mut mean[place(element, i)];
                    mean[0] += area * strain[0];
                    mean[1] += area * strain[1];
                    mean[2] += area;
                    if i > 2 {
                        let across = &mut across[element.sampled_at(i)];
                        across.0 += g[element.part] * dot(strain, &element.normals[i - 3]);
                        across.1 += 1.0;
                    }
                }
            }
            let (mut whole, mut wrong) = (0.0, Vec::with_capacity(self.elements.len()));
            for (element, strain) in self.elements.iter().zip(&strains) {
                let (area, g) = (element.shaped.area, g[element.part]);
                let mut apart = [[0.0; SAMPLES]; 2];
                for i in 0..SAMPLES {
                    let mean = mean[place(element, i)];
                    let node = element.sampled_at(i);
                    let lines = self.lines[node];
                    let mut d = [0, 1].map(|axis| {
                        let agreed =
                            if parities[axis].vanishes_on(lines) { 0.0 } else { mean[axis] / mean[2] };
                        agreed - strain[i][axis]
                    });
                    let (traction, count) = across[node];
                    if i > 2 && mean[2] == area && lines == Lines::NONE {
                        let normal = element.normals[i - 3];
                        let agreed = if count > 1.0 { traction / count } else { 0.0 };
                        let jump = agreed / g - dot(&strain[i], &normal);
                        d = normal.map(|n| n * jump);
                    }
                    (apart[0][i], apart[1][i]) = (d[0], d[1]);
                }
                let both =
                    |values: &[[f64; SAMPLES]; 2]| g * area * (square(&values[0]) + square(&values[1]));
                whole += both(&[0, 1].map(|axis| std::array::from_fn(|i| strain[i][axis])));
                wrong.push(both(&apart));
            }
            if whole > 0.0 {
                error = error.max(ERROR_UNDERESTIMATE * wrong.iter().sum::<f64>() / whole);
                elements.iter_mut().zip(wrong).for_each(|(e, w)| *e += ERROR_UNDERESTIMATE * w / whole);
            }
        }
        Estimate { error, elements }
    }
}

impl Element {
    /// The values of a field at the element's nodes.
    fn of(&self, field: &[f64]) -> [f64; NODES] {
        let mut own = [0.0; NODES];
        own.iter_mut().zip(self.nodes).for_each(|(own, node)| *own = field[node]);
        own
    }

    /// The shear strains along y and z at the sample points.
    fn strains(&self, field: &[f64], twist: bool) -> [[f64; 2]; SAMPLES] {
        let sampled = self.shaped.sampled(&self.of(field));
        sampled.map(|([y, z], at)| if twist { [y - at[1], z + at[0]] } else { [y, z] })
    }

    /// The node that identifies a sample point in all elements there; for a side the smaller of its two
    /// nodes.
    fn sampled_at(&self, sample: usize) -> usize {
        match sample {
            0..3 => self.nodes[sample],
            _ => self.nodes[2 * sample - 3].min(self.nodes[2 * sample - 2]),
        }
    }
}

fn loads(elements: &[Element], parts: usize, n: usize, mirrors: &Mirrors) -> Vec<Loads> {
    let zero = |parity: Parity| Nodal::zero(mirrors.seen(parity), n);
    let none = || Loads {
        one: zero(Parity::EVEN),
        y: zero(Parity::OF[0]),
        z: zero(Parity::OF[1]),
        twist: zero(Parity::BOTH),
    };
    let mut loads: Vec<Loads> = (0..parts).map(|_| none()).collect();
    for element in elements {
        let loads = &mut loads[element.part];
        let [one, y, z, twist] = element.shaped.loads();
        for (i, node) in element.nodes.iter().enumerate() {
            loads.one.values[*node] += one[i];
            loads.y.values[*node] += y[i];
            loads.z.values[*node] += z[i];
            loads.twist.values[*node] += twist[i];
        }
    }
    loads
}

fn dot(a: &[f64; 2], b: &[f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}
