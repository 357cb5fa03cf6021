//! A body of two media in a reduced basis: projected once, solved for many sets of moduli.
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

use super::area::Moments;
use super::body::{Body, Elastic};
use super::fault::SectionFault;
use super::galerkin::{Loading, Projection, Space};
use super::mirror::{Nodal, Parity};

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
