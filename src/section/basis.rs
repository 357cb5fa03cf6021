//! The warping equations in a reduced basis: projected once, solved for many sets of moduli.
//!
//! With two media the fields depend on the ratio r of their shear moduli as sums of a / (1 + r b) with
//! b >= 0. The solutions at a few ratios r_j span a space in which Galerkin's method finds the solution
//! at every ratio between them. The error of its energy is at most the square of
//!
//! ```text
//! max over b >= 0 of  prod_j |1 - r_j b| / (1 + r_j b)  times  prod_j |r - r_j| / (r + r_j)
//! ```
//!
//! and far smaller for smooth fields. The loads of the two media are kept separate, so that their
//! Young's moduli are free.
//!
//! # Source
//! - `timoshenko-goodier1970`: ch. 11 (flexure)
//! - `cowper1966`: the mean displacement of a section

use super::area::Moments;
use super::fault::SectionFault;
use super::mirror::{Nodal, Parity};
use super::warping::{Body, Elastic, Flow, LEAST_MODULUS, Loads};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2};
use num_complex::Complex64;

/// The moduli of a body's parts as they enter its equations.
pub(super) struct Loading<'a> {
    media: &'a [Elastic],
    /// Shear moduli, each with a real part above zero.
    pub g: Vec<Complex64>,
    centre: [f64; 2],
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

/// A body of two media, solved at several ratios of their moduli.
pub(super) struct Basis {
    pub projection: Projection,
    /// The estimated error at each ratio.
    errors: Vec<f64>,
}

impl Basis {
    /// Ratios of the softer to the stiffer shear modulus, falling.
    const RATIOS: [f64; 5] = [1.0, 0.25, 0.0625, 1.0 / 64.0, 1.0 / 256.0];

    /// The smallest ratio covered.
    pub const LEAST_RATIO: f64 = 1.0 / 300.0;

    /// Solves the body; `soft` says which parts are of the softer medium.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn new(body: &Body, soft: &[bool]) -> Result<Basis, SectionFault> {
        // Loads that are in equilibrium by themselves: bending of each medium, and one medium against
        // the other, which acts where the common centre is not fixed by two mirrors.
        let mut moments = [Moments::default(); 2];
        let none = |parity: Parity| Nodal::zero(body.mirrors.seen(parity), body.n);
        let mut sums = [(); 2].map(|()| [Parity::EVEN, Parity::OF[0], Parity::OF[1]].map(none));
        for (part, loads) in body.loads.iter().enumerate() {
            let group = usize::from(soft[part]);
            moments[group] += body.moments[part];
            for (sum, load) in sums[group].iter_mut().zip([&loads.one, &loads.y, &loads.z]) {
                sum.add(1.0, load);
            }
        }
        let centroids = moments.map(|m| m.centroid().unwrap_or_default());
        let mut right = vec![none(Parity::BOTH)];
        for ([one, y, z], [by, bz]) in sums.iter().zip(centroids) {
            for (load, mean) in [(y, by), (z, bz)] {
                let mut load = load.clone();
                load.add(-mean, one);
                right.push(load);
            }
        }
        let mut against = none(Parity::EVEN);
        against.add(1.0 / moments[1].area, &sums[1][0]);
        against.add(-1.0 / moments[0].area, &sums[0][0]);
        right.extend(body.mirrors.crossing().is_none().then_some(against));

        let mut space = Space::default();
        let mut errors = Vec::new();
        for ratio in Basis::RATIOS {
            let media: Vec<Elastic> =
                soft.iter().map(|soft| Elastic::UNIT.times(if *soft { ratio } else { 1.0 })).collect();
            let Some(loading) = Loading::new(body, &media) else { continue };
            right[0] = loading.vector(body, 0, |x| x.re);
            let factor = body.factorised(loading.moduli())?;
            let solved = body.fields(&factor, &right);
            // The fields for E = G from those of the separate loads.
            let field = |axis: usize, sign: f64| {
                let mut sum = none(Parity::OF[axis]);
                sum.add(sign, &solved[1 + axis]);
                sum.add(sign * ratio, &solved[3 + axis]);
                let arm = centroids[1][axis] - loading.centre[axis];
                if let Some(against) = solved.get(5) {
                    sum.add(sign * ratio * arm * moments[1].area, against);
                }
                sum
            };
            let fields = [solved[0].clone(), field(1, 1.0), field(0, -1.0)];
            errors.push(body.estimate(&fields, &factor.g).error);
            for v in solved {
                let load = body.applied(&v, |_| 1.0);
                space.add(v, load, 1e-10);
            }
        }
        Ok(Basis { projection: Projection::new(body, &space.vectors), errors })
    }

    /// The estimated relative error at a ratio: the larger of those at the neighbouring ratios.
    pub fn error(&self, ratio: f64) -> f64 {
        let after = Basis::RATIOS.partition_point(|r| *r > ratio).min(self.errors.len().saturating_sub(1));
        self.errors[after.saturating_sub(1)].max(self.errors[after])
    }
}
