//! The section with given materials: stiffness, loss, mass, and the share of each part in them.
//!
//! ```text
//! axial, bending   K = int E* p p^T dA,  p = (1, z, -y) for (eps, kappa_y, kappa_z)
//! shear, torsion   about the shear centre, brought to the member line by
//!                  gamma_y - z_s kappa_x,  gamma_z + y_s kappa_x
//! bonded           one body
//! sliding          EA and elastic centre of the whole; EI, GJ, GA the sums of the parts' own
//! as stated        (1 - b) sliding + b bonded
//! ```
//!
//! Every stiffness is a sum over parts. The real part of a part's term is its share of the strain
//! energy, so that the shares add up exactly and the loss factor is the mean of the parts' loss factors
//! weighted by them.
//!
//! # Source
//! - `gere-goodno2009`: composite beams, transformed section
//! - `ungar-kerwin1962`: loss factor of a system from the energies of its parts

use super::area::Moments;
use super::body::Elastic;
use super::fault::SectionFault;
use super::galerkin::Flow;
use super::geometry::Geometry;
use super::plane_sections;
use super::shear_flow::{ShearTorsion, together};
use super::stiffness::Stiffness;
use nalgebra::{Matrix3, Matrix6, Vector3};
use num_complex::Complex64;
use serde::Serialize;
use stillbed_material::Medium;

/// The share of a part in the strain energy of each pure deformation about the elastic centre and the
/// shear centre.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct PartShares {
    /// In axial strain.
    pub axial: f64,
    /// In bending about y.
    pub bending_y: f64,
    /// In bending about z.
    pub bending_z: f64,
    /// In torsion.
    pub torsion: f64,
    /// In shear along y.
    pub shear_y: f64,
    /// In shear along z.
    pub shear_z: f64,
}

/// A section with its parts acting together in one way: bonded, sliding or between.
#[derive(Debug, Clone)]
pub struct Action {
    /// Its stiffnesses.
    pub stiffness: Stiffness,
    /// Forces from strains about the member line, complex symmetric.
    pub matrix: Matrix6<Complex64>,
    /// Contribution of each part to the real part of `matrix`: under strains e it stores e^T K e / 2.
    pub parts: Vec<Matrix6<f64>>,
    /// The shares of each part.
    pub shares: Vec<PartShares>,
    /// Contributions of the parts about the elastic and the shear centre.
    centred: Centred,
}

/// Contribution of each part, about the centres: (eps, kappa_y, kappa_z) and (gamma_y, gamma_z,
/// kappa_x).
#[derive(Debug, Clone)]
struct Centred {
    bending: Vec<Matrix3<f64>>,
    shear: Vec<Matrix3<f64>>,
}

/// Results of one part of the section.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartResult {
    /// Area that later parts leave of it, m2.
    pub area_m2: f64,
    /// Mass per length, kg/m.
    pub mass_kg_per_m: f64,
    /// Its centroid [y, z], m; `None` where nothing is left.
    pub centroid_m: Option<[f64; 2]>,
}

/// A section with given materials.
///
/// ```
/// use stillbed_material::{Medium, Role};
/// use stillbed_section::{Geometry, Part, Shape};
///
/// let bar = Geometry::new(vec![Part::new(Shape::Rectangle { width: 0.04, height: 0.06 }, 0)]).unwrap();
/// let steel = Medium::isotropic("steel", Role::Skeleton, 210e9, 0.3, 7850.0, 0.001);
/// let solved = bar.solve(&[steel], 1.0).unwrap();
/// assert!((solved.mass_per_length - 7850.0 * 0.0024).abs() < 1e-9);
/// // E b h^3/12 about y, with the loss factor of the steel.
/// let bending = solved.as_stated.stiffness.ei_y_n_m2;
/// assert!((bending.re / (210e9 * 0.04 * 0.06f64.powi(3) / 12.0) - 1.0).abs() < 1e-9);
/// assert!((bending.im / bending.re - 0.001).abs() < 1e-9);
/// ```
#[derive(Debug, Clone)]
pub struct Solution {
    /// Mass per length, kg/m.
    pub mass_per_length: f64,
    /// Elastic centre, where an axial force does not bend the section, [y, z], m.
    pub elastic_centre: [f64; 2],
    /// Centre of mass [y, z], m; `None` without mass.
    pub mass_centre: Option<[f64; 2]>,
    /// Shear centre, where a shear force does not twist the bonded section, [y, z], m.
    pub shear_centre: [f64; 2],
    /// With all parts bonded to one body.
    pub bonded: Action,
    /// With the parts sliding on each other.
    pub sliding: Action,
    /// Between the two as the bond says.
    pub as_stated: Action,
    /// Mass matrix per length about the member line, by velocities x, y, z, turn_x, turn_y, turn_z.
    pub mass: Matrix6<f64>,
    /// By part.
    pub parts: Vec<PartResult>,
    /// Shear stiffness of the bonded body along y and z from the energy alone, without Poisson's ratio
    /// (5/6 G A for a rectangle), N.
    pub ga_energy: [Complex64; 2],
    /// Estimated relative error of torsion and shear stiffness.
    pub error: f64,
    /// Share of the true stiffness of a bonded bar of ten depths that plane sections miss.
    pub plane_shortfall: f64,
    bond: f64,
    moments: Vec<Moments>,
    moduli: Vec<f64>,
}

impl Geometry {
    /// The section with these media and a `bond` from 0 (sliding) to 1 (one body).
    ///
    /// # Errors
    /// A bond out of range, a part without its medium, moduli that are negative or not finite, nothing
    /// stiff.
    pub fn solve(&self, media: &[Medium], bond: f64) -> Result<Solution, SectionFault> {
        if !(0.0..=1.0).contains(&bond) {
            return Err(SectionFault::new(format!("bond {bond}: from 0 (slides) to 1 (one body)")));
        }
        let media = self.media(media)?;
        let elastic: Vec<Elastic> = media.iter().map(Elastic::of).collect();
        let mut error: f64 = 0.0;
        let mut flows: Vec<Option<Flow>> = Vec::with_capacity(self.solids().len());
        for solid in self.solids() {
            let own: Vec<Elastic> = solid.parts.iter().map(|part| elastic[*part]).collect();
            let solved = match &solid.warping {
                Some(_) if own == solid.media => Some((solid.flow.clone(), solid.error)),
                Some(warping) => warping.quick(&own)?,
                None => (own[0].g.re > 0.0 && own[0].e.re > 0.0)
                    .then(|| (solid.flow.scaled(&own[0]), solid.error)),
            };
            error = solved.as_ref().map_or(error, |(_, e)| error.max(*e));
            flows.push(solved.map(|(flow, _)| flow));
        }
        let join = |which: &[usize]| together(which.iter().filter_map(|i| flows[*i].as_ref()), media.len());
        let whole = AxialBending::new(self.moments(), &elastic)?;
        let [bonded, sliding] = self.ways().map(join);
        let shear_centre = bonded.centre.map(|x| x.re);
        let ga_energy = [bonded.ga_energy[(0, 0)], bonded.ga_energy[(1, 1)]];
        let bonded = whole.action(whole.centre, &bonded, |part| whole.bending[part]);
        let sliding = whole.action(whole.line(), &sliding, |part| whole.own[part]);
        let plane_shortfall = plane_sections::shortfall(&bonded.stiffness, &sliding.stiffness, self.size());
        let (mass, parts) = masses(self.moments(), &media);
        let mass_per_length = mass[(0, 0)];
        let solution = Solution {
            mass_per_length,
            elastic_centre: whole.centre.map(|x| x.re),
            mass_centre: (mass_per_length > 0.0)
                .then(|| [-mass[(0, 5)] / mass_per_length, mass[(0, 4)] / mass_per_length]),
            shear_centre,
            as_stated: Action::mixed(&sliding, &bonded, bond),
            bonded,
            sliding,
            mass,
            parts,
            ga_energy,
            error,
            plane_shortfall,
            bond,
            moments: self.moments().to_vec(),
            moduli: elastic.iter().map(|m| m.e.re).collect(),
        };
        let stiff = solution.as_stated.matrix.iter().all(|x| x.re.is_finite() && x.im.is_finite());
        stiff.then_some(solution).ok_or_else(|| SectionFault::new("the section's stiffness is not finite"))
    }

    /// The medium of each part; a cavity has none.
    fn media(&self, media: &[Medium]) -> Result<Vec<Medium>, SectionFault> {
        let mut list = Vec::new();
        for (i, part) in self.parts().iter().enumerate() {
            if part.cavity {
                list.push(Medium::void("cavity"));
                continue;
            }
            let medium = media.get(part.medium).ok_or_else(|| {
                SectionFault::new(format!("medium {} of {} given", part.medium + 1, media.len())).in_part(i)
            })?;
            let (e, g) = (medium.youngs_modulus, medium.shear_modulus);
            let fit = [e.re, g.re, e.im, g.im, medium.density].iter().all(|x| x.is_finite() && *x >= 0.0);
            if !fit || !medium.poissons_ratio.is_finite() {
                let message = format!("the moduli or density of \"{}\": none is below 0", medium.name);
                return Err(SectionFault::new(message).in_part(i));
            }
            list.push(medium.clone());
        }
        Ok(list)
    }
}

impl Solution {
    /// True where plane sections are accepted: the parts slide freely, or no layer is so soft that the
    /// others bend on their own.
    pub fn holds_plane(&self) -> bool {
        self.bond == 0.0 || plane_sections::holds(self.plane_shortfall)
    }

    /// Thermal forces [N, M_y, M_z] about the member line that hold the section undeformed, with the
    /// bond as stated. The temperature rise is `level + by_y y + by_z z` (K, K/m), `expansion` is alpha
    /// of each part, 1/K.
    ///
    /// ```text
    /// N = sum E alpha int dT,   M_y = sum E alpha int dT z,   M_z = -sum E alpha int dT y
    /// ```
    ///
    /// A bar of EA 1 MN and alpha 1e-5/K, 10 K warmer, is held by 100 N. Sliding parts pass on their
    /// axial force at the elastic centre and bend about their own centroids.
    pub fn thermal_resultants(&self, expansion: &[f64], level: f64, by_y: f64, by_z: f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for ((m, e), alpha) in self.moments.iter().zip(&self.moduli).zip(expansion) {
            let Some(own) = m.centroid() else { continue };
            let warm = [
                level * m.area + by_y * m.y + by_z * m.z,
                level * m.z + by_y * m.yz + by_z * m.zz,
                level * m.y + by_y * m.yy + by_z * m.yz,
            ];
            let slid = [
                warm[1] + (self.elastic_centre[1] - own[1]) * warm[0],
                warm[2] + (self.elastic_centre[0] - own[0]) * warm[0],
            ];
            let mix = |i: usize| self.bond * warm[i + 1] + (1.0 - self.bond) * slid[i];
            sum[0] += e * alpha * warm[0];
            sum[1] += e * alpha * mix(0);
            sum[2] -= e * alpha * mix(1);
        }
        sum
    }
}

/// Axial and bending stiffness of all parts.
struct AxialBending {
    ea: Complex64,
    centre: [Complex64; 2],
    /// Contribution of each part by (eps, kappa_y, kappa_z) about the member line.
    bending: Vec<Matrix3<Complex64>>,
    /// The same for parts that stretch with the whole and bend about their own centroids.
    own: Vec<Matrix3<Complex64>>,
}

impl AxialBending {
    fn new(moments: &[Moments], elastic: &[Elastic]) -> Result<AxialBending, SectionFault> {
        let full = |m: &Moments| Matrix3::new(m.area, m.z, -m.y, m.z, m.zz, -m.yz, -m.y, -m.yz, m.yy);
        let bending: Vec<Matrix3<Complex64>> =
            moments.iter().zip(elastic).map(|(m, x)| full(m).map(|k| x.e * k)).collect();
        let sum: Matrix3<Complex64> = bending.iter().sum();
        let ea = sum[(0, 0)];
        if ea.re <= 0.0 || sum[(1, 1)].re <= 0.0 || elastic.iter().all(|x| x.g.re <= 0.0) {
            return Err(SectionFault::new("nothing in the section is stiff: at least one part carries load")
                .with_help("give a part a material with a modulus"));
        }
        let centre = [-sum[(0, 2)] / ea, sum[(0, 1)] / ea];
        // The common line on which sliding parts stretch is real, so that they lose only what their own
        // strains lose. With a complex centre the coupling could lose more energy than all parts do.
        let line = Vector3::new(1.0, centre[1].re, -centre[0].re);
        let own = moments
            .iter()
            .zip(elastic)
            .map(|(m, x)| {
                let Some([y, z]) = m.centroid() else { return Matrix3::zeros() };
                let (zz, yy, yz) = (m.zz - m.z * z, m.yy - m.y * y, m.yz - m.y * z);
                let bending = Matrix3::new(0.0, 0.0, 0.0, 0.0, zz, -yz, 0.0, -yz, yy);
                (line * line.transpose() * m.area + bending).map(Complex64::from) * x.e
            })
            .collect();
        Ok(AxialBending { ea, centre, bending, own })
    }

    /// The line on which sliding parts stretch, y and z, m; it is real and so causes no loss.
    fn line(&self) -> [Complex64; 2] {
        self.centre.map(|x| Complex64::from(x.re))
    }

    /// The section with the bending terms `bending` and the shear terms `shear`; EI about `centre`.
    fn action(
        &self,
        centre: [Complex64; 2],
        shear: &ShearTorsion,
        bending: impl Fn(usize) -> Matrix3<Complex64>,
    ) -> Action {
        let (one, zero) = (Complex64::ONE, Complex64::ZERO);
        let [yc, zc] = centre;
        let [ys, zs] = shear.centre;
        // Strains about the member line from those about the centres.
        let from_elastic = Matrix3::new(one, -zc, yc, zero, one, zero, zero, zero, one);
        let to_shear = Matrix3::new(one, zero, -zs, zero, one, ys, zero, zero, one);
        let count = shear.parts.len();
        let at_centre: Vec<Matrix3<Complex64>> =
            (0..count).map(|i| from_elastic.transpose() * bending(i) * from_elastic).collect();
        let by_part: Vec<Matrix6<Complex64>> = (0..count)
            .map(|i| placed(&bending(i), &(to_shear.transpose() * shear.parts[i] * to_shear)))
            .collect();
        let sum: Matrix3<Complex64> = at_centre.iter().sum();
        let centred = Centred {
            bending: at_centre.iter().map(|k| k.map(|x| x.re)).collect(),
            shear: shear.parts.iter().map(|k| k.map(|x| x.re)).collect(),
        };
        Action {
            stiffness: Stiffness {
                ea_n: self.ea,
                ei_y_n_m2: sum[(1, 1)],
                ei_z_n_m2: sum[(2, 2)],
                ei_yz_n_m2: -sum[(1, 2)],
                gj_n_m2: shear.gj,
                ga_y_n: shear.ga[(0, 0)],
                ga_z_n: shear.ga[(1, 1)],
            },
            matrix: symmetric(by_part.iter().sum()),
            parts: by_part.iter().map(|k| symmetric(k.map(|x| x.re))).collect(),
            shares: centred.shares(),
            centred,
        }
    }
}

impl Centred {
    fn shares(&self) -> Vec<PartShares> {
        let bending: Matrix3<f64> = self.bending.iter().sum();
        let shear: Matrix3<f64> = self.shear.iter().sum();
        let of = |part: &Matrix3<f64>, whole: &Matrix3<f64>, i: usize| {
            if whole[(i, i)] > 0.0 { part[(i, i)] / whole[(i, i)] } else { 0.0 }
        };
        self.bending
            .iter()
            .zip(&self.shear)
            .map(|(b, s)| PartShares {
                axial: of(b, &bending, 0),
                bending_y: of(b, &bending, 1),
                bending_z: of(b, &bending, 2),
                torsion: of(s, &shear, 2),
                shear_y: of(s, &shear, 0),
                shear_z: of(s, &shear, 1),
            })
            .collect()
    }
}

impl Action {
    fn mixed(a: &Action, b: &Action, share: f64) -> Action {
        let mix3 = |x: &[Matrix3<f64>], y: &[Matrix3<f64>]| {
            x.iter().zip(y).map(|(x, y)| x * (1.0 - share) + y * share).collect()
        };
        let centred = Centred {
            bending: mix3(&a.centred.bending, &b.centred.bending),
            shear: mix3(&a.centred.shear, &b.centred.shear),
        };
        Action {
            stiffness: Stiffness::mixed(&a.stiffness, &b.stiffness, share),
            matrix: a.matrix * Complex64::from(1.0 - share) + b.matrix * Complex64::from(share),
            parts: a.parts.iter().zip(&b.parts).map(|(x, y)| x * (1.0 - share) + y * share).collect(),
            shares: centred.shares(),
            centred,
        }
    }
}

/// The 6x6 matrix from those of (eps, kappa_y, kappa_z) and (gamma_y, gamma_z, kappa_x).
fn placed(bending: &Matrix3<Complex64>, shear: &Matrix3<Complex64>) -> Matrix6<Complex64> {
    let mut matrix = Matrix6::zeros();
    for i in 0..3 {
        for j in 0..3 {
            matrix[([0, 4, 5][i], [0, 4, 5][j])] = bending[(i, j)];
            matrix[([1, 2, 3][i], [1, 2, 3][j])] = shear[(i, j)];
        }
    }
    matrix
}

/// Removes rounding errors from a symmetric matrix.
fn symmetric<T: nalgebra::ComplexField>(matrix: Matrix6<T>) -> Matrix6<T> {
    let half: T = nalgebra::convert(0.5);
    (&matrix + matrix.transpose()) * half
}

/// Mass matrix per length about the member line, and the results of each part.
fn masses(moments: &[Moments], media: &[Medium]) -> (Matrix6<f64>, Vec<PartResult>) {
    let mut mass = Matrix6::zeros();
    let mut parts = Vec::new();
    for (m, medium) in moments.iter().zip(media) {
        let rho = medium.density;
        parts.push(PartResult { area_m2: m.area, mass_kg_per_m: rho * m.area, centroid_m: m.centroid() });
        // u = (ux + z ry - y rz, uy - z rx, uz + y rx)
        for i in 0..3 {
            mass[(i, i)] += rho * m.area;
        }
        let upper = [
            (0, 4, m.z),
            (0, 5, -m.y),
            (1, 3, -m.z),
            (2, 3, m.y),
            (3, 3, m.yy + m.zz),
            (4, 4, m.zz),
            (5, 5, m.yy),
            (4, 5, -m.yz),
        ];
        for (i, j, value) in upper {
            mass[(i, j)] += rho * value;
            if i != j {
                mass[(j, i)] += rho * value;
            }
        }
    }
    (mass, parts)
}
