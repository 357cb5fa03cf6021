//! One connected body of a section: its elements, loads and equations, and the error of its fields.
//!
//! Where mirrors map a body onto itself, one piece is solved and stands for the whole; the body's origin
//! then lies on the mirror lines.
//!
//! # Source
//! - `zienkiewicz-zhu1987`: recovered gradients as an estimate of the error

use super::area::Moments;
use super::element::{Element, OUTER, SAMPLES, Shaped, square, times};
use super::equations::{Equations, Factor};
use super::fault::SectionFault;
use super::mesh::Mesh;
use super::mirror::{Lines, Mirrors, Nodal, Parity};
use nalgebra::Matrix2;
use num_complex::Complex64;
use stillbed_material::Medium;

/// Factor by which the error estimate from averaged strains is too small: 2 to 2.5 was found against the
/// series solution of rectangles and finer meshes.
const ERROR_UNDERESTIMATE: f64 = 2.5;

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

/// The estimated error of a solution and its distribution over the elements.
pub(super) struct Estimate {
    /// Relative, the largest of GJ and the diagonal of W.
    pub error: f64,
    /// The contribution of each element, in the order of the body's triangles.
    pub elements: Vec<f64>,
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
}

impl Body {
    /// Sets up the body made of these triangles of a mesh, which covers the piece between `mirrors`.
    ///
    /// # Errors
    /// When the equations cannot be ordered.
    pub fn new(mesh: &Mesh, triangles: &[usize], mirrors: Mirrors) -> Result<Body, SectionFault> {
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
        Ok(Body { parts, moments, mirrors, n, elements, loads, equations, lines })
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
