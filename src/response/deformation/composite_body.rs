//! A body as it expands: the forces of its free strains, and the stress in each of its materials.
//!
//! ```text
//! ε_T = e₀ + g · (x - x_middle)        along all three axes
//! f   = Σ_m (3 λ + 2 μ)_m ∫ ε_T div v dV
//! σ   = λ tr(ε - ε_T) + 2 μ (ε - ε_T)
//! ```
//!
//! At the edges of patches and of stiff parts elasticity has no largest stress. The one stated is exceeded in a
//! hundredth of the material's volume.

use nalgebra::{Matrix3, SymmetricEigen, Vector3, Vector4};
use stillbed_material::{Medium, Role};
use stillbed_modes::Statics;
use stillbed_solid::{BodyStrain, Elastic, Expansion, Reduced};

/// The part of a material's volume in which the stated stress may be exceeded.
const EXCEEDED: f64 = 0.01;

/// A body of the frame with what its materials are.
#[derive(Debug, Clone)]
pub struct CompositeBody<'a> {
    /// Its name.
    pub name: &'a str,
    /// The body with its shapes, in the order of coordinates that the frame has.
    pub reduced: &'a Reduced,
    /// By material of the body.
    pub media: Vec<Medium>,
    /// By material: compressive strength, Pa.
    pub compressive_strengths: Vec<Option<f64>>,
}

/// The free strain of one material of a body, which varies linearly over it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BodyFreeStrain {
    /// At the middle of the body.
    pub at_middle: f64,
    /// Its gradient, global axes, 1/m.
    pub gradient: Vector3<f64>,
}

impl std::ops::Add for BodyFreeStrain {
    type Output = BodyFreeStrain;

    fn add(self, other: BodyFreeStrain) -> BodyFreeStrain {
        BodyFreeStrain {
            at_middle: self.at_middle + other.at_middle,
            gradient: self.gradient + other.gradient,
        }
    }
}

/// A stress along one direction at one place of a body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceStress {
    /// The largest principal stress in size, tension positive, Pa.
    pub stress: f64,
    /// Where, global axes, m.
    pub at: Vector3<f64>,
}

impl CompositeBody<'_> {
    /// The names of the materials whose expansion is not known.
    pub fn lacking_expansion(&self) -> impl Iterator<Item = &str> {
        self.media.iter().filter(|medium| medium.expansion.is_none()).map(|medium| medium.name.as_str())
    }

    /// Volume of a material, m³.
    pub(crate) fn volume(&self, number: usize) -> f64 {
        self.reduced.materials.get(number).map_or(0.0, |own| own.rigid[(0, 0)])
    }

    /// Expansion of material `number` minus the mean of the others, weighted by stiffness and volume, 1/K; its own
    /// where there are no others. `None` where one is not known.
    pub(crate) fn expansion_beyond_others(&self, number: usize) -> Option<f64> {
        let own = self.media.get(number)?.expansion?;
        let (mut sum, mut whole) = (0.0, 0.0);
        for (other, medium) in self.media.iter().enumerate().filter(|(other, _)| *other != number) {
            let weight = medium.youngs_modulus.re * self.volume(other);
            sum += weight * medium.expansion?;
            whole += weight;
        }
        Some(if whole > 0.0 { own - sum / whole } else { own })
    }

    /// The strength of material `number` against `stress`, Pa; a skeleton without a compressive strength has its
    /// tensile strength in compression, since it yields.
    pub(crate) fn strength(&self, number: usize, stress: f64) -> Option<f64> {
        let medium = self.media.get(number)?;
        if stress >= 0.0 {
            return medium.strength;
        }
        let yields = medium.strength.filter(|_| medium.role == Role::Skeleton);
        self.compressive_strengths.get(number).copied().flatten().or(yields)
    }

    /// λ and 2 μ of a material, Pa.
    fn lame(medium: &Medium) -> [f64; 2] {
        let (e, mu) = (medium.youngs_modulus.re, medium.shear_modulus.re);
        [mu * (e - 2.0 * mu) / (3.0 * mu - e), 2.0 * mu]
    }

    /// How the free strains of its materials move it.
    fn expansion(&self, strains: &[BodyFreeStrain]) -> Expansion {
        let elastic = |medium: &Medium| {
            let [lambda, two_mu] = CompositeBody::lame(medium);
            Elastic { lambda, mu: 0.5 * two_mu, density: 0.0 }
        };
        let fields = |strain: &BodyFreeStrain| {
            let along = self.reduced.axes.tr_mul(&strain.gradient);
            Vector4::new(strain.at_middle, along.x, along.y, along.z)
        };
        let elastic: Vec<Elastic> = self.media.iter().map(elastic).collect();
        self.reduced.expansion(&elastic, &strains.iter().map(fields).collect::<Vec<_>>())
    }

    /// Adds the forces of free `strains` to a `load` on the degrees of freedom, where this is body `number`.
    pub(crate) fn add_load(
        &self,
        load: &mut [f64],
        statics: &Statics,
        number: usize,
        strains: &[BodyFreeStrain],
    ) {
        let forces = self.expansion(strains).forces;
        statics.layout.add_body_forces(load, statics.frame, number, forces.as_slice());
    }

    /// The stress tensors at the places of the body, Pa, for its `coordinates` and the free `strains` of its
    /// materials.
    pub(crate) fn stresses(
        &self,
        coordinates: &[f64],
        strains: &[BodyFreeStrain],
    ) -> Vec<(BodyStrain, Matrix3<f64>)> {
        let of = |found: BodyStrain| {
            let [lambda, two_mu] = CompositeBody::lame(&self.media[found.material]);
            let free = strains.get(found.material).copied().unwrap_or_default();
            let free = free.at_middle + free.gradient.dot(&(found.at - self.reduced.middle));
            let elastic = found.strain - Matrix3::identity() * free;
            (found, Matrix3::identity() * (lambda * elastic.trace()) + elastic * two_mu)
        };
        let patch_strains = self.expansion(strains).patch_strains;
        self.reduced.strains(coordinates, patch_strains.as_slice()).into_iter().map(of).collect()
    }

    /// By material: the largest tension and the largest compression that more than a hundredth of its volume bears.
    pub(crate) fn extremes(&self, stresses: &[(BodyStrain, Matrix3<f64>)]) -> Vec<[Option<PlaceStress>; 2]> {
        let principal: Vec<(usize, Vector3<f64>, f64, [f64; 2])> = stresses
            .iter()
            .map(|(found, stress)| {
                let values = SymmetricEigen::new(*stress).eigenvalues;
                (found.material, found.at, found.volume, [values.max(), values.min()])
            })
            .collect();
        let of = |material: usize, side: usize| {
            let sign = if side == 0 { 1.0 } else { -1.0 };
            let mut own: Vec<(f64, f64, Vector3<f64>)> = principal
                .iter()
                .filter(|(other, ..)| *other == material)
                .map(|(_, at, volume, values)| (sign * values[side], *volume, *at))
                .collect();
            own.sort_by(|a, b| b.0.total_cmp(&a.0));
            let whole: f64 = own.iter().map(|(_, volume, _)| volume).sum();
            let mut passed = 0.0;
            let at = own.iter().find(|(_, volume, _)| {
                passed += volume;
                passed > EXCEEDED * whole
            });
            at.filter(|(size, ..)| *size > 0.0)
                .map(|(size, _, at)| PlaceStress { stress: sign * size, at: *at })
        };
        (0..self.media.len()).map(|material| [of(material, 0), of(material, 1)]).collect()
    }

    /// How much longer the body becomes along each axis of its grid, and how far the one of its outer faces
    /// that bows most departs from the plane that fits it best, m, for its `coordinates` and the free `strains` of
    /// its materials.
    pub(crate) fn growth_and_bow(&self, coordinates: &[f64], strains: &[BodyFreeStrain]) -> ([f64; 3], f64) {
        let axes = &self.reduced.axes;
        let places: Vec<Vector3<f64>> = self.reduced.positions().iter().map(|at| axes.tr_mul(at)).collect();
        let patch_strains = self.expansion(strains).patch_strains;
        let moved = self.reduced.displacements(coordinates, patch_strains.as_slice());
        let moved: Vec<Vector3<f64>> = moved.iter().map(|u| axes.tr_mul(u)).collect();
        let ends = [0, 1, 2].map(|axis| {
            places.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], at| {
                [low.min(at[axis]), high.max(at[axis])]
            })
        });
        let size = |axis: usize| ends[axis][1] - ends[axis][0];
        let middle = Vector3::from_fn(|i, _| 0.5 * (ends[i][0] + ends[i][1]));
        let face = |axis: usize, end: usize| {
            let slack = 1e-9 * size(axis);
            let on = (0..places.len()).filter(|node| (places[*node][axis] - ends[axis][end]).abs() <= slack);
            let face: Vec<(Vector3<f64>, f64)> =
                on.map(|node| (places[node] - middle, moved[node][axis])).collect();
            best_plane(&face, axis)
        };
        let faces = [0, 1, 2].map(|axis| [face(axis, 0), face(axis, 1)]);
        let growth = faces.map(|[low, high]| high[0] - low[0]);
        (growth, faces.iter().flatten().map(|[_, off]| *off).fold(0.0, f64::max))
    }
}

/// Of heights over a face: the height of the plane that fits them best at the middle, and the range of their
/// distances from it; `axis` is the one across the face.
fn best_plane(face: &[(Vector3<f64>, f64)], axis: usize) -> [f64; 2] {
    let [u, v] = [[1, 2], [0, 2], [0, 1]][axis];
    let row = |at: &Vector3<f64>| Vector3::new(1.0, at[u], at[v]);
    let (mut square, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for (at, height) in face {
        square += row(at) * row(at).transpose();
        right += row(at) * *height;
    }
    let Some(plane) = square.try_inverse().map(|inverse| inverse * right) else { return [0.0; 2] };
    let (low, high) = face
        .iter()
        .map(|(at, height)| height - plane.dot(&row(at)))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), off| (low.min(off), high.max(off)));
    [plane.x, (high - low).max(0.0)]
}
