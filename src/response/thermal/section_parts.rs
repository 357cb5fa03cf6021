//! One section in a change of temperature: the strain that each part would take alone, the strain of all
//! together, and the stress in each part.
//!
//! ```text
//! strain at (y, z):  φ · e,   φ = (1, z, -y),   e = (eps, kappa_y, kappa_z) about the member line
//! free strain:       t = (α T + s, α g_z, -α g_y)       of a part; s: its own strain, shrinkage being < 0
//! bonded:            e_T = (Σ E G)⁻¹ Σ E G t,           G = ∫ φ φᵀ dA
//!                    σ = E φ · (e - t)
//! sliding:           common curvature; each part bends about its own centroid and stretches freely;
//!                    the joints hold the skeleton, so e_T stretches as the skeleton does
//! in between:        stiffness, thermal forces and stress interpolated by the bond, 0 to 1
//! ```
//!
//! Cavities are not parts here. The temperature field is linear over the section, so the stresses of a part
//! are extreme at its corners. With bond 1 and one expansion everywhere a free section has no stress; with
//! bond 0 it has none for any expansions.
//!
//! Parts that lie within each other all round hold each other's widths. What that adds to the stress along the
//! member, and the stress across it, are those of concentric rings of the same areas ([`super::rings`]) whose
//! free strains are those at the parts' centroids. Flat walls bend: of what is added along the member the share
//! 4π A/b² counts, by area and length around of the innermost border. Against plane elements of filled square
//! tubes the sum along the member is up to 11 % above under thin walls (18 % for a fill of 1 GPa), within 5 % in
//! thick ones and around bars; across, the fill's corners bear up to twice what is stated. The strain of all
//! together is that of free widths, exact where the Poisson's ratios are one.
//!
//! # Source
//! - `timoshenko1925`: bonded strips; the same in general form for any parts
//! - `boley1960`: thermal force and moments of a beam (memory)

use super::border::Border;
use super::nest::Nest;
use super::rings::{BarRing, ring_stresses};
use nalgebra::{Matrix3, Vector3};
use stillbed_frame::MemberSection;
use stillbed_material::{Medium, Role};
use stillbed_section::Moments;

/// One solid part of a section.
#[derive(Debug, Clone, PartialEq)]
pub struct CompositePart {
    /// What it is made of.
    pub medium: Medium,
    /// Compressive strength, Pa; `None` where it is not known.
    pub compressive_strength: Option<f64>,
    /// Area moments of what other parts leave of it, about the member line.
    pub moments: Moments,
    /// Its outermost points, [y, z], m.
    pub corners: Vec<[f64; 2]>,
    /// Its borders with other parts; empty where they are not known.
    pub borders: Vec<Border>,
}

/// A section with what changes of temperature need.
#[derive(Debug, Clone, PartialEq)]
pub struct CompositeSection {
    /// Its solid parts.
    pub parts: Vec<CompositePart>,
    /// Those that lie within each other; empty where they are not known.
    pub nests: Vec<Nest>,
    /// 0 where the parts slide, 1 where they act as one body.
    pub bond: f64,
    /// The same section with sliding parts, for a frame whose fill has let go.
    pub sliding: MemberSection,
}

/// The change of temperature over one section: `change + across[0] y + across[1] z`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TemperatureField {
    /// At the member line, K.
    pub change: f64,
    /// Along y and z, K/m.
    pub across: [f64; 2],
}

/// The components of the stress at one place of a part, Pa.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PartStress {
    /// From the section's axial force.
    pub axial: f64,
    /// From the section's moments.
    pub bending: f64,
    /// From the different free strains of the parts.
    pub mismatch: f64,
}

impl PartStress {
    /// With what holding each other's widths adds.
    pub(super) fn with(self, held: &HeldStress) -> PartStress {
        PartStress { mismatch: self.mismatch + held.axial, ..self }
    }
}

/// What a ring of a part has in addition because parts hold each other's widths.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct HeldStress {
    /// Its area, m2.
    pub(super) area: f64,
    /// Added along the member, Pa.
    pub(super) axial: f64,
    /// Across the member, Pa: radial at the inner and outer face, then hoop at these.
    pub(super) across: [f64; 4],
}

/// Stiffness and thermal strain of the parts together.
pub(super) struct SectionStiffness<'a> {
    pub(super) section: &'a CompositeSection,
    centre: [f64; 2],
    ea: f64,
    bonded: Matrix3<f64>,
    /// At the section's bond.
    stated: Matrix3<f64>,
}

/// The free strains of the parts of a section, and their common strain.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ThermalStrains {
    /// Free strain of each part: (eps, kappa_y, kappa_z) about the member line.
    parts: Vec<Vector3<f64>>,
    /// Stretch at the elastic centre when the parts slide.
    slid: f64,
    /// Of the section at its bond, about the member line.
    pub(super) strain: Vector3<f64>,
}

fn phi([y, z]: [f64; 2]) -> Vector3<f64> {
    Vector3::new(1.0, z, -y)
}

impl CompositePart {
    fn modulus(&self) -> f64 {
        self.medium.youngs_modulus.re
    }

    /// ∫ φ φᵀ dA.
    fn spread(&self) -> Matrix3<f64> {
        let m = &self.moments;
        Matrix3::new(m.area, m.z, -m.y, m.z, m.zz, -m.yz, -m.y, -m.yz, m.yy)
    }

    fn centroid(&self) -> [f64; 2] {
        self.moments.centroid().unwrap_or_default()
    }

    /// ∫ φ φᵀ dA about the part's own centroid, without its area.
    fn own_bending(&self) -> Matrix3<f64> {
        let p = phi(self.centroid());
        self.spread() - p * p.transpose() * self.moments.area
    }

    /// Its free strain in `field`, with the additional strain `own`; an expansion that is not known counts as
    /// zero.
    fn free_strain(&self, field: &TemperatureField, own: f64) -> Vector3<f64> {
        let alpha = self.medium.expansion.unwrap_or(0.0);
        Vector3::new(alpha * field.change + own, alpha * field.across[1], -alpha * field.across[0])
    }

    /// The strength against `stress`, Pa. In compression, a skeleton without a compressive strength has its
    /// tensile strength, since it yields.
    pub fn strength(&self, stress: f64) -> Option<f64> {
        let tension = self.medium.strength;
        if stress >= 0.0 {
            return tension;
        }
        let yields = tension.filter(|_| self.medium.role == Role::Skeleton);
        self.compressive_strength.or(yields)
    }
}

impl CompositeSection {
    /// Expansion of part `number` minus the mean of the others, weighted by axial stiffness, 1/K; its own
    /// where there are no others. `None` where one is not known.
    pub(super) fn expansion_beyond_others(&self, number: usize) -> Option<f64> {
        let own = self.parts.get(number)?.medium.expansion?;
        let (mut sum, mut whole) = (0.0, 0.0);
        for (_, other) in self.parts.iter().enumerate().filter(|(i, _)| *i != number) {
            let ea = other.modulus() * other.moments.area;
            sum += ea * other.medium.expansion?;
            whole += ea;
        }
        Some(if whole > 0.0 { own - sum / whole } else { own })
    }

    /// The names of the materials whose expansion is not known.
    pub fn lacking_expansion(&self) -> impl Iterator<Item = &str> {
        let lacking = self.parts.iter().filter(|part| part.medium.expansion.is_none());
        lacking.map(|part| part.medium.name.as_str())
    }

    /// The stress of part `number` at [y, z] under the section forces [N, M_y, M_z] about the member line,
    /// Pa; `None` when there is no such part.
    pub fn stress(&self, number: usize, at: [f64; 2], forces: [f64; 3]) -> Option<f64> {
        self.parts.get(number)?;
        let stiffness = self.stiffness()?;
        let unmoved =
            stiffness.thermal_strains(&TemperatureField::default(), &vec![0.0; self.parts.len()])?;
        let stress = stiffness.stress(number, at, &Vector3::from(forces), &unmoved)?;
        Some(stress.axial + stress.bending)
    }

    /// The parts together; `None` when none of them has stiffness.
    pub(super) fn stiffness(&self) -> Option<SectionStiffness<'_>> {
        let sum = |of: &dyn Fn(&CompositePart) -> Matrix3<f64>| -> Matrix3<f64> {
            self.parts.iter().map(|part| of(part) * part.modulus()).sum()
        };
        let bonded = sum(&CompositePart::spread);
        let ea = bonded[(0, 0)];
        (ea > 0.0).then_some(())?;
        let centre = [-bonded[(0, 2)] / ea, bonded[(0, 1)] / ea];
        let line = phi(centre);
        let sliding = line * line.transpose() * ea + sum(&CompositePart::own_bending);
        let stated = bonded * self.bond + sliding * (1.0 - self.bond);
        Some(SectionStiffness { section: self, centre, ea, bonded, stated })
    }
}

impl SectionStiffness<'_> {
    /// The strains from a change of temperature `field` and the parts' own strains `own`.
    pub(super) fn thermal_strains(&self, field: &TemperatureField, own: &[f64]) -> Option<ThermalStrains> {
        let parts: Vec<Vector3<f64>> =
            self.section.parts.iter().zip(own).map(|(part, own)| part.free_strain(field, *own)).collect();
        let listed = || self.section.parts.iter().zip(&parts);
        let held = |part: &CompositePart| part.medium.role == Role::Skeleton;
        let any_held = self.section.parts.iter().any(|part| held(part) && part.modulus() > 0.0);
        let (mut pull, mut ea) = (0.0, 0.0);
        for (part, t) in listed().filter(|(part, _)| !any_held || held(part)) {
            let weight = part.modulus() * part.moments.area;
            pull += weight * phi(part.centroid()).dot(t);
            ea += weight;
        }
        let slid = pull / ea;
        let bonded: Vector3<f64> = listed().map(|(part, t)| part.spread() * t * part.modulus()).sum();
        let bending: Vector3<f64> = listed().map(|(part, t)| part.own_bending() * t * part.modulus()).sum();
        let sliding = phi(self.centre) * (self.ea * slid) + bending;
        let bond = self.section.bond;
        let forces = bonded * bond + sliding * (1.0 - bond);
        let strain = solve(&self.stated, &forces)?;
        strain.iter().all(|e| e.is_finite()).then_some(ThermalStrains { parts, slid, strain })
    }

    /// The stress in part `number` at [y, z] when the section carries `forces` (N, M_y, M_z).
    pub(super) fn stress(
        &self,
        number: usize,
        at: [f64; 2],
        forces: &Vector3<f64>,
        strains: &ThermalStrains,
    ) -> Option<PartStress> {
        let part = &self.section.parts[number];
        let strain = solve(&self.stated, forces)?;
        let (bond, e) = (self.section.bond, part.modulus());
        let (place, centre, own) = (phi(at), phi(self.centre), phi(part.centroid()));
        let bending = (place - centre) * bond + (place - own) * (1.0 - bond);
        let (free, t) = (&strains.strain, &strains.parts[number]);
        let bonded = place.dot(&(free - t));
        let sliding = centre.dot(free) - strains.slid + (place - own).dot(&(free - t));
        Some(PartStress {
            axial: e * centre.dot(&strain),
            bending: e * bending.dot(&strain),
            mismatch: e * (bonded * bond + sliding * (1.0 - bond)),
        })
    }

    /// What holding each other's widths adds to the rings of part `number`; empty where it lies in no nest.
    pub(super) fn held(&self, number: usize, strains: &ThermalStrains) -> Vec<HeldStress> {
        let ring = |&(part, area): &(usize, f64)| {
            let own = &self.section.parts[part];
            BarRing {
                youngs_modulus: own.modulus(),
                poissons_ratio: own.medium.poissons_ratio,
                area,
                free: phi(own.centroid()).dot(&strains.parts[part]),
            }
        };
        let bond = self.section.bond;
        let mut found = Vec::new();
        for nest in self.section.nests.iter().filter(|nest| nest.rings.iter().any(|ring| ring.0 == number)) {
            let rings: Vec<BarRing> = nest.rings.iter().map(ring).collect();
            let Some(stresses) = ring_stresses(nest.void, &rings) else { continue };
            let own = nest.rings.iter().zip(&stresses).filter(|((part, _), _)| *part == number);
            found.extend(own.map(|((_, area), stress)| HeldStress {
                area: *area,
                axial: bond * nest.round * (stress.axial - stress.axial_if_free),
                across: stress.across.map(|across| bond * across),
            }));
        }
        found
    }

    /// The axial force on part `number` from the others when all are bonded, N.
    pub(super) fn transferred(&self, number: usize, strains: &ThermalStrains) -> Option<f64> {
        let parts = self.section.parts.iter().zip(&strains.parts);
        let forces: Vector3<f64> = parts.map(|(part, t)| part.spread() * t * part.modulus()).sum();
        let free = solve(&self.bonded, &forces)?;
        let part = &self.section.parts[number];
        let strain = phi(part.centroid()).dot(&(free - strains.parts[number]));
        let held: f64 = self.held(number, strains).iter().map(|ring| ring.area * ring.axial).sum();
        Some(part.modulus() * part.moments.area * strain + held)
    }
}

/// K⁻¹ f for a symmetric positive definite K, scaled by its diagonal.
fn solve(k: &Matrix3<f64>, f: &Vector3<f64>) -> Option<Vector3<f64>> {
    let scale = k.diagonal().map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 0.0 });
    let scaled = Matrix3::from_fn(|i, j| k[(i, j)] * scale[i] * scale[j]);
    let x = scaled.cholesky()?.solve(&f.component_mul(&scale));
    Some(x.component_mul(&scale))
}

/// Strength over stress; a stress below one pascal counts as rounding.
pub(super) fn margin(strength: Option<f64>, stress: f64) -> Option<f64> {
    strength.filter(|_| stress.abs() >= 1.0).map(|strength| strength / stress.abs())
}

#[cfg(test)]
mod tests {
    use super::super::sample::{layer, section};
    use super::*;
    use approx::assert_relative_eq;

    /// Steel 4 mm under aluminium 6 mm, 50 K.
    fn strip(bond: f64) -> CompositeSection {
        let parts = [
            layer("steel", 210e9, 12e-6, 0.02, -0.005, -0.001),
            layer("al", 70e9, 23.6e-6, 0.02, -0.001, 0.005),
        ];
        section(parts.to_vec(), bond)
    }

    const WARM: TemperatureField = TemperatureField { change: 50.0, across: [0.0; 2] };

    #[test]
    fn a_bar_is_stressed_by_both_moments_as_by_hand() {
        // M_y stretches where z is positive, M_z where y is negative.
        let bar = section(vec![layer("steel", 210e9, 12e-6, 0.02, -0.005, 0.005)], 1.0);
        let at = |moments: [f64; 2]| bar.stress(0, [0.01, 0.005], [0.0, moments[0], moments[1]]).unwrap();
        assert_relative_eq!(at([1.0, 0.0]), 6.0 / (0.02 * 0.01 * 0.01), max_relative = 1e-9);
        assert_relative_eq!(at([0.0, 1.0]), -6.0 / (0.01 * 0.02 * 0.02), max_relative = 1e-9);
    }

    #[test]
    fn a_bonded_strip_curves_as_timoshenko_says() {
        let strip = strip(1.0);
        let strains = strip.stiffness().unwrap().thermal_strains(&WARM, &[0.0; 2]).unwrap();
        // The aluminium above grows more: the middle rises, kappa_y (tension above) is positive.
        assert_relative_eq!(strains.strain[1], 0.08656716418, max_relative = 1e-9);
    }

    #[test]
    fn forces_of_a_free_section_vanish() {
        for bond in [0.0, 0.4, 1.0] {
            let strip = strip(bond);
            let stiffness = strip.stiffness().unwrap();
            let field = TemperatureField { change: 30.0, across: [20.0, 400.0] };
            let strains = stiffness.thermal_strains(&field, &[0.0, -2e-4]).unwrap();
            let mut sums = [0.0; 2];
            for (number, part) in strip.parts.iter().enumerate() {
                let at = |p| stiffness.stress(number, p, &Vector3::zeros(), &strains).unwrap().mismatch;
                let mean = at(part.centroid());
                sums[0] += mean * part.moments.area;
                // Moment of the linear stress: the mean times its arm, plus the slope times the part's own
                // inertia.
                let [y, z] = part.centroid();
                let slope = (at([y, z + 1e-3]) - mean) / 1e-3;
                sums[1] += mean * part.moments.area * z + slope * part.own_bending()[(1, 1)];
            }
            assert!(sums[0].abs() < 1e-6 && sums[1].abs() < 1e-8, "{bond} {sums:?}");
        }
    }

    #[test]
    fn sliding_parts_feel_nothing_of_each_other() {
        let strip = strip(0.0);
        let stiffness = strip.stiffness().unwrap();
        let strains = stiffness.thermal_strains(&WARM, &[0.0; 2]).unwrap();
        for (number, part) in strip.parts.iter().enumerate() {
            for corner in &part.corners {
                let stress = stiffness.stress(number, *corner, &Vector3::zeros(), &strains).unwrap();
                assert!(stress.mismatch.abs() < 1e-3, "{stress:?}");
            }
        }
        assert_relative_eq!(strains.strain[1], 0.0, epsilon = 1e-15);
    }

    #[test]
    fn forces_bring_the_stresses_of_the_transformed_section() {
        let strip = strip(1.0);
        let stiffness = strip.stiffness().unwrap();
        let nothing = stiffness.thermal_strains(&TemperatureField::default(), &[0.0; 2]).unwrap();
        let moment = Vector3::new(0.0, 10.0, 0.0);
        let top = stiffness.stress(1, [0.0, 0.005], &moment, &nothing).unwrap();
        // EI = 187.6 N m2; the elastic centre is 3.6667 mm above the steel's face.
        assert_relative_eq!(top.bending, 70e9 * 10.0 / 187.6 * (0.010 - 0.00366666667), max_relative = 1e-6);
        assert!(top.axial.abs() < 1e-6 && top.mismatch == 0.0);
    }

    #[test]
    fn strength_in_compression_is_that_of_tension_only_for_metals() {
        let mut part = layer("steel", 210e9, 12e-6, 0.02, 0.0, 0.01);
        part.medium.strength = Some(235e6);
        assert_eq!(part.strength(-1.0), Some(235e6));
        part.medium.role = Role::Fill;
        assert_eq!((part.strength(1.0), part.strength(-1.0)), (Some(235e6), None));
        part.compressive_strength = Some(90e6);
        assert_eq!(part.strength(-1.0), Some(90e6));
    }
}

#[cfg(test)]
#[path = "held_tests.rs"]
mod held_tests;
