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
//! The solution is fixed at one node, which has no effect because the loads are in equilibrium.
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
//! - `cowper1966`: the mean displacement of a section

use super::basis::Basis;
use super::body::{Body, Elastic, Estimate};
use super::equations::Factor;
use super::fault::SectionFault;
use super::galerkin::{Flow, Loading, Projection, Space};
use super::mirror::Nodal;
use std::sync::OnceLock;

/// Largest number of terms of the series, per load.
const MOST_TERMS: usize = 6;

/// The series stops at vectors with less than this share of the energy of their load. Each next vector
/// is smaller by about as much again, so the energies are right to 1e-7 or better.
const LAST_TERM: f64 = 1e-6;

/// A body's fields for real moduli.
pub(super) struct Solved {
    factor: Factor,
    fields: Vec<Nodal>,
    pub estimate: Estimate,
}

/// One connected body with what was computed for earlier moduli.
pub(super) struct Warping {
    /// The body.
    pub body: Body,
    /// For a body of two media: for each part, whether it is of the second. `None` for one or more than
    /// two.
    groups: Option<Vec<bool>>,
    /// Reduced bases with the first medium the softer one and with the second; computed on first use.
    bases: [OnceLock<Basis>; 2],
}

impl Warping {
    /// The warping of `body`; `medium` gives the medium of each part of the section.
    pub fn new(body: Body, medium: impl Fn(usize) -> usize) -> Warping {
        let parts = &body.parts;
        let other = parts.iter().map(|part| medium(*part)).find(|m| *m != medium(parts[0]));
        let two = |part: &usize| medium(*part) == medium(parts[0]) || Some(medium(*part)) == other;
        let groups = (other.is_some() && parts.iter().all(two))
            .then(|| parts.iter().map(|part| Some(medium(*part)) == other).collect());
        Warping { body, groups, bases: Default::default() }
    }

    /// The results for the moduli of each part and their estimated relative error; `None` when nothing
    /// in the body is stiff. Two media whose moduli are in the range of the [`Basis`] are solved in the
    /// reduced basis.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn quick(&self, media: &[Elastic]) -> Result<Option<(Flow, f64)>, SectionFault> {
        if let Some((basis, ratio)) = self.basis(media)? {
            let Some(loading) = Loading::new(&self.body, media) else { return Ok(None) };
            return Ok(Some((basis.projection.flow(&self.body, &loading)?, basis.error(ratio))));
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
        let basis = Basis::new(&self.body, &soft)?;
        Ok(Some((place.get_or_init(|| basis), ratio)))
    }

    /// The fields for the real parts of the moduli of each part; `None` when nothing in the body is
    /// stiff.
    ///
    /// # Errors
    /// When the equations cannot be factorised.
    pub fn solved(&self, media: &[Elastic]) -> Result<Option<Solved>, SectionFault> {
        let Some(loading) = Loading::new(&self.body, media) else { return Ok(None) };
        let factor = self.body.factorised(loading.moduli())?;
        let right = [0, 1, 2].map(|k| loading.vector(&self.body, k, |x| x.re));
        let fields = self.body.fields(&factor, &right);
        let estimate = self.body.estimate(&fields, &factor.g);
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
        let Some(loading) = Loading::new(&self.body, media) else { return Ok(None) };
        let g = &loading.g;
        let real: [Nodal; 3] = [0, 1, 2].map(|k| loading.vector(&self.body, k, |x| x.re));
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
                    let mut r = self.body.applied(v, |part| -g[part].im);
                    if term == 1 {
                        r.add(1.0, &loading.vector(&self.body, k, |x| x.im));
                    }
                    r
                })
                .collect();
            newest = self.body.fields(&solved.factor, &right);
            let mut largest: f64 = 0.0;
            for (k, (v, r)) in newest.iter().zip(right).enumerate() {
                largest = largest.max(v.dot(&r).abs() / energies[k].max(f64::MIN_POSITIVE));
                space.add(v.clone(), r, 1e-16);
            }
            if largest < LAST_TERM {
                break;
            }
        }
        Ok(Some(Projection::new(&self.body, &space.vectors).flow(&self.body, &loading)?))
    }
}
