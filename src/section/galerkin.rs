//! The warping equations of a body projected onto a few vectors, and the stiffnesses from them.
//!
//! Galerkin's method: the fields are sought as sums of the vectors of a space, so that the sparse
//! equations become as many small dense ones as there are vectors.
//!
//! # Source
//! - `timoshenko-goodier1970`: ch. 11 (flexure)
//! - `cowper1966`: the mean displacement of a section

use super::area::Moments;
use super::body::{Body, Elastic, Loads};
use super::fault::SectionFault;
use super::mirror::{Nodal, Parity};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use num_complex::Complex64;

/// Shear moduli below this share of the largest are raised to it, so that the equations of a part
/// without stiffness can be solved.
const LEAST_MODULUS: f64 = 1e-9;

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

/// The moduli of a body's parts as they enter its equations.
pub(super) struct Loading<'a> {
    media: &'a [Elastic],
    /// Shear moduli, each with a real part above zero.
    pub g: Vec<Complex64>,
    /// The elastic centre by the real Young's moduli, about the body's origin, m.
    pub centre: [f64; 2],
}

impl<'a> Loading<'a> {
    /// `None` when nothing is stiff.
    pub fn new(body: &Body, media: &'a [Elastic]) -> Option<Loading<'a>> {
        let stiffest = media.iter().map(|m| m.g.re).fold(0.0, f64::max);
        let centre = body.weighted(media).centroid().filter(|_| stiffest > 0.0)?;
        let least = LEAST_MODULUS * stiffest;
        let g = media.iter().map(|m| Complex64::new(m.g.re.max(least), m.g.im)).collect();
        Some(Loading { media, g, centre })
    }

    /// The real shear moduli, by part.
    pub fn moduli(&self) -> Vec<f64> {
        self.g.iter().map(|g| g.re).collect()
    }

    /// The loads of twist, w_y and w_z of one part: factors of its Loads {twist, one, y, z}.
    fn factors(&self, part: usize) -> [[Complex64; 4]; 3] {
        let (e, zero) = (Complex64::from(self.media[part].e.re), Complex64::ZERO);
        let [y, z] = self.centre;
        [[self.g[part], zero, zero, zero], [zero, -e * z, zero, e], [zero, e * y, -e, zero]]
    }

    /// The real or imaginary part of load `k`, by node.
    pub fn vector(&self, body: &Body, k: usize, pick: fn(Complex64) -> f64) -> Nodal {
        let parity = [Parity::BOTH, Parity::OF[1], Parity::OF[0]][k];
        let mut sum = Nodal::zero(body.mirrors.seen(parity), body.n);
        for (part, loads) in body.loads.iter().enumerate() {
            for (factor, vector) in self.factors(part)[k].map(pick).iter().zip(all(loads)) {
                sum.add(*factor, vector);
            }
        }
        sum
    }
}

fn all(loads: &Loads) -> [&Nodal; 4] {
    [&loads.twist, &loads.one, &loads.y, &loads.z]
}

/// The equations of a body projected onto a few vectors; integrals are over the whole body.
pub(super) struct Projection {
    /// `int grad x_i . grad x_j` over each part.
    energy: Vec<DMatrix<f64>>,
    loads: Vec<[DVector<f64>; 4]>,
    /// By part, `int dx/dy f` and `int dx/dz f` with f = 1, y, z, y z, (y^2 - z^2)/2.
    slopes: Vec<[[DVector<f64>; 5]; 2]>,
}

impl Projection {
    pub fn new(body: &Body, vectors: &[Nodal]) -> Projection {
        let (d, pieces) = (vectors.len(), body.mirrors.pieces());
        let project = |v: &Nodal| DVector::from_iterator(d, vectors.iter().map(|x| pieces * x.dot(v)));
        let loads = body.loads.iter().map(|l| all(l).map(project)).collect();
        let zero = || {
            Parity::OF.map(|along| {
                let weights = [Parity::EVEN, Parity::OF[0], Parity::OF[1], Parity::BOTH, Parity::EVEN];
                weights.map(|weight| Nodal::zero(body.mirrors.seen(weight.times(along)), body.n))
            })
        };
        let mut slopes: Vec<[[Nodal; 5]; 2]> = body.parts.iter().map(|_| zero()).collect();
        for element in &body.elements {
            let own = element.shaped.slopes(|[y, z]| [1.0, y, z, y * z, 0.5 * (y * y - z * z)]);
            for (sum, own) in slopes[element.part].iter_mut().flatten().zip(own.as_flattened()) {
                element.nodes.iter().zip(own).for_each(|(node, slope)| sum.values[*node] += slope);
            }
        }
        let slopes = slopes.iter().map(|s| [0, 1].map(|axis| s[axis].each_ref().map(project))).collect();
        Projection { energy: energies(body, vectors), loads, slopes }
    }

    /// Solves the projected equations and computes the energies by part.
    pub fn flow(&self, body: &Body, loading: &Loading) -> Result<Flow, SectionFault> {
        let g = &loading.g;
        let d = self.energy[0].nrows();
        let mut matrix = DMatrix::<Complex64>::zeros(d, d);
        let mut right = DMatrix::<Complex64>::zeros(d, 3);
        for (part, energy) in self.energy.iter().enumerate() {
            matrix.zip_apply(energy, |sum, x| *sum += g[part] * x);
            for (k, factors) in loading.factors(part).iter().enumerate() {
                for (factor, load) in factors.iter().zip(&self.loads[part]) {
                    (0..d).for_each(|i| right[(i, k)] += factor * load[i]);
                }
            }
        }
        let unsolved =
            || SectionFault::new("the section's shear has no solution: its stiffnesses differ too much");
        let real = matrix.map(|x| x.re).cholesky().ok_or_else(unsolved)?.solve(&right.map(|x| x.re));
        let solution = matrix.lu().solve(&right).ok_or_else(unsolved)?;
        let field = |k: usize| solution.column(k).into_owned();
        let (omega, w) = (field(0), [field(1), field(2)]);
        let mut flow = Flow {
            parts: body.parts.clone(),
            bending: body.bending(loading.media),
            torque: Vector2::zeros(),
            twist: Vec::new(),
            shear: Vec::new(),
            cross: Vec::new(),
            sideways: self.sideways(&body.weighted(loading.media), &body.moments, loading, &real),
        };
        // Moves from the body's origin to the member line: int G grad w_k = int s_k (y, z).
        let origin = Vector2::from(body.mirrors.origin());
        flow.torque += (flow.bending * origin).map(Complex64::from);
        for (part, energy) in self.energy.iter().enumerate() {
            let energy = energy.map(Complex64::from);
            let load = self.loads[part][0].map(Complex64::from);
            let polar = body.moments[part].yy + body.moments[part].zz;
            let bent = &energy * &omega;
            let stressed = [&energy * &w[0], &energy * &w[1]];
            flow.twist.push(g[part] * (polar - 2.0 * load.dot(&omega) + omega.dot(&bent)));
            flow.cross.push(Vector2::from_fn(|k, _| g[part] * (w[k].dot(&bent) - load.dot(&w[k]))));
            flow.shear.push(Matrix2::from_fn(|k, l| g[part] * w[k].dot(&stressed[l])));
            flow.torque -= Vector2::from_fn(|k, _| g[part] * load.dot(&w[k]));
        }
        Ok(flow)
    }

    /// `int G grad w_k . a_l`, where a_l is the in-plane deformation of a section bent to unit
    /// curvature, without its mean: (-nu y z, nu (y^2 - z^2)/2) about y, (nu (y^2 - z^2)/2, nu y z)
    /// about z. All parts share one Poisson's ratio, the mean weighted by EA.
    fn sideways(
        &self,
        whole: &Moments,
        moments: &[Moments],
        loading: &Loading,
        solved: &DMatrix<f64>,
    ) -> Matrix2<f64> {
        let weighted = moments.iter().zip(loading.media).map(|(m, x)| x.e.re * m.area * x.nu);
        let nu = weighted.sum::<f64>() / whole.area;
        let [y, z] = loading.centre;
        let [yy, zz, yz] = [whole.yy, whole.zz, whole.yz].map(|x| x / whole.area);
        // y z and (y^2 - z^2)/2 about the elastic centre, without their means.
        let product = [2.0 * y * z - yz, -z, -y, 1.0, 0.0];
        let square = [y * y - z * z - 0.5 * (yy - zz), -y, z, 0.0, 1.0];
        let mut sum = Matrix2::zeros();
        for (slopes, g) in self.slopes.iter().zip(&loading.g) {
            for k in 0..2 {
                let w = solved.column(k + 1);
                let along = |axis: usize, by: &[f64; 5]| -> f64 {
                    by.iter().zip(&slopes[axis]).map(|(by, slope)| by * slope.dot(&w)).sum()
                };
                sum[(k, 0)] += g.re * nu * (along(1, &square) - along(0, &product));
                sum[(k, 1)] += g.re * nu * (along(0, &square) + along(1, &product));
            }
        }
        sum
    }
}

/// `int grad x_i . grad x_j` over each part.
fn energies(body: &Body, vectors: &[Nodal]) -> Vec<DMatrix<f64>> {
    let (d, pieces) = (vectors.len(), body.mirrors.pieces());
    let mut energies = vec![DMatrix::<f64>::zeros(d, d); body.parts.len()];
    for (part, energy) in energies.iter_mut().enumerate() {
        for j in 0..d {
            let force = body.applied(&vectors[j], |p| if p == part { 1.0 } else { 0.0 });
            for i in j..d {
                energy[(i, j)] = pieces * vectors[i].dot(&force);
            }
        }
        energy.fill_upper_triangle_with_lower_triangle();
    }
    energies
}

/// Vectors that are orthonormal in energy, each with its load.
#[derive(Default)]
pub(super) struct Space {
    pub vectors: Vec<Nodal>,
    loads: Vec<Nodal>,
}

impl Space {
    /// Adds what is new in a vector `v` with load `r`, if its energy exceeds `least` times the energy of
    /// `v`.
    pub fn add(&mut self, mut v: Nodal, mut r: Nodal, least: f64) {
        let before = v.dot(&r);
        for _ in 0..2 {
            for (x, load) in self.vectors.iter().zip(&self.loads) {
                let share = x.dot(&r);
                v.add(-share, x);
                r.add(-share, load);
            }
        }
        let after = v.dot(&r);
        if after > least * before && after > 0.0 {
            let scale = 1.0 / after.sqrt();
            v.values.iter_mut().for_each(|x| *x *= scale);
            r.values.iter_mut().for_each(|x| *x *= scale);
            self.vectors.push(v);
            self.loads.push(r);
        }
    }
}
