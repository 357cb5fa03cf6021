//! How densely grains of several sizes pack: the linear packing model.
//!
//! ```text
//! 1/phi = max over i of  sum over j of  c_ij y_j
//! c_ij  = V_j - (V_j - 1) g(d_i/d_j)    j coarser: solid stones in the packing of i (wall effect)
//!       = V_j                           j = i
//!       = V_j (1 - f(d_j/d_i))          j finer: in the voids of i (loosening)
//! f(r)  = (1 - r)^3.33 + 2.81 r (1 - r)^2.77
//! g(r)  = (1 - r)^1.97 + 0.36 r (1 - r)^3.67
//! ```
//!
//! phi is the share of solid, y_j that of class j in the solid, V_j = 1/phi_j of the class alone.
//! At infinite ratios it reaches the limits of Furnas. A range of grains wider than 1 to 3 is cut
//! into classes with equal volume in each equal step of log size.
//!
//! # Source
//! - `stovall1986`: one class governs, the others fill its voids or displace it
//! - `yu1987`: the linear form in specific volumes
//! - `yu1996`: f and g, from memory
//! - `furnas1931`: limits at infinite ratios

use super::entry::GrainShape;
use crate::quantity::Spread;

/// The widest range that counts as one class, largest to smallest grain.
const CLASS_RATIO: f64 = 3.0;

/// One class of grains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Size of the grains, m.
    pub size: f64,
    /// Share of solid when packed alone.
    pub packing: f64,
    /// Its part of the solid volume.
    pub part: f64,
}

/// Share of solid of one narrow class, loose and vibrated, where the material states none.
///
/// # Source
/// - `mcgeary1961`: 0.625 for vibrated spheres
/// - `elliott2002`: 0.60 to 0.64 for spheres
/// - `astmc29`: the test by which bulk densities of sand and stone are known; values from memory
pub fn usual_packing(shape: GrainShape) -> (Spread, Spread) {
    match shape {
        GrainShape::Spherical => (Spread::between(0.58, 0.55, 0.60), Spread::between(0.63, 0.60, 0.64)),
        GrainShape::Rounded => (Spread::between(0.57, 0.53, 0.60), Spread::between(0.63, 0.60, 0.66)),
        GrainShape::Angular => (Spread::between(0.51, 0.47, 0.56), Spread::between(0.58, 0.54, 0.62)),
    }
}

/// A range of grains of one kind as classes; `part` is shared out among them.
pub fn classes(smallest: f64, largest: f64, packing: f64, part: f64) -> Vec<Class> {
    let span = (largest / smallest).ln().max(0.0);
    let count = (span / CLASS_RATIO.ln() - 1e-9).ceil().max(1.0);
    let step = span / count;
    (0..count as usize)
        .map(|i| Class { size: smallest * ((i as f64 + 0.5) * step).exp(), packing, part: part / count })
        .collect()
}

/// How far a finer grain of size ratio `r` fails to loosen a packing, 1 at no size to 0 at equal.
fn filling(r: f64) -> f64 {
    (1.0 - r).powf(3.33) + 2.81 * r * (1.0 - r).powf(2.77)
}

/// How far a coarser grain of size ratio 1/`r` disturbs no packing around it, 1 to 0.
fn displacing(r: f64) -> f64 {
    (1.0 - r).powf(1.97) + 0.36 * r * (1.0 - r).powf(3.67)
}

/// Specific volume that grains of class `j` take up where class `i` governs.
fn taken(i: &Class, j: &Class) -> f64 {
    let volume = 1.0 / j.packing;
    if j.size > i.size {
        volume - (volume - 1.0) * displacing(i.size / j.size)
    } else if j.size < i.size {
        volume * (1.0 - filling(j.size / i.size))
    } else {
        volume
    }
}

/// Share of solid of the packed mixture of `classes`, whose parts sum to one.
///
/// Returns 0 when there is nothing to pack.
pub fn solid_share(classes: &[Class]) -> f64 {
    let volume = classes
        .iter()
        .filter(|i| i.part > 0.0)
        .map(|i| classes.iter().map(|j| taken(i, j) * j.part).sum::<f64>())
        .fold(0.0, f64::max);
    if volume > 0.0 { 1.0 / volume } else { 0.0 }
}

/// The parts of the solid volume, one a kind, at which `kinds` packed together leave the least
/// voids, and the share of solid then; each kind is its classes with parts that sum to one.
///
/// The voids are a convex function of the parts, so nested one-dimensional searches find the
/// least; a kind beyond the fourth costs thirty times more each.
pub fn densest(kinds: &[Vec<Class>]) -> (Vec<f64>, f64) {
    let mut parts = vec![0.0; kinds.len()];
    let solid = search(kinds, &mut parts, 0, 1.0);
    (parts, solid)
}

/// Puts the best parts from `first` on, of `left` in all, into `parts`; returns the share of solid.
fn search(kinds: &[Vec<Class>], parts: &mut Vec<f64>, first: usize, left: f64) -> f64 {
    if first + 1 >= kinds.len() {
        if let Some(last) = parts.get_mut(first) {
            *last = left;
        }
        let all: Vec<Class> = kinds
            .iter()
            .zip(parts.iter())
            .flat_map(|(kind, part)| kind.iter().map(move |c| Class { part: c.part * part, ..*c }))
            .collect();
        return solid_share(&all);
    }
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let mut best = (f64::NEG_INFINITY, parts.clone());
    let mut at = |x: f64| {
        let mut trial = parts.clone();
        trial[first] = x;
        let solid = search(kinds, &mut trial, first + 1, left - x);
        if solid > best.0 {
            best = (solid, trial);
        }
        solid
    };
    let (mut low, mut high) = (0.0, left);
    at(low);
    at(high);
    let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_a, mut at_b) = (at(a), at(b));
    while high - low > 1e-4 {
        if at_a >= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - GOLDEN * (high - low);
            at_a = at(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + GOLDEN * (high - low);
            at_b = at(b);
        }
    }
    *parts = best.1;
    best.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn class(size: f64, packing: f64, part: f64) -> Class {
        Class { size, packing, part }
    }

    #[test]
    fn one_class_packs_as_it_does() {
        assert_relative_eq!(solid_share(&[class(1e-3, 0.6, 1.0)]), 0.6);
        assert_relative_eq!(solid_share(&[class(1e-3, 0.6, 0.5), class(1e-3, 0.6, 0.5)]), 0.6);
        assert_eq!(solid_share(&[]), 0.0);
    }

    #[test]
    fn infinite_ratios_reach_furnas() {
        let kinds: Vec<Vec<Class>> = (0..3).map(|i| vec![class(1e-3 * 1e-12f64.powi(i), 0.6, 1.0)]).collect();
        let (parts, solid) = densest(&kinds[..2]);
        assert_relative_eq!(solid, 0.84, max_relative = 1e-4);
        assert_relative_eq!(parts[0], 1.0 / 1.4, max_relative = 1e-3);
        assert_relative_eq!(densest(&kinds).1, 0.936, max_relative = 2e-4);
    }

    #[test]
    fn a_narrow_range_is_one_class_and_a_wide_one_is_several() {
        assert_eq!(classes(0.3e-3, 0.8e-3, 0.63, 1.0).len(), 1);
        let wide = classes(0.1e-3, 4e-3, 0.63, 0.5);
        assert_eq!(wide.len(), 4);
        assert_relative_eq!(wide.iter().map(|c| c.part).sum::<f64>(), 0.5);
        let all: Vec<Class> = wide.iter().map(|c| class(c.size, c.packing, 2.0 * c.part)).collect();
        assert!(solid_share(&all) > 0.70);
    }

    proptest! {
        #[test]
        fn a_second_size_packs_no_looser_than_the_average_of_the_two(
            ratio in 1.0..1e4f64, y in 0.0..1.0f64, a in 0.5..0.65f64, b in 0.5..0.65f64,
        ) {
            let solid = solid_share(&[class(ratio, a, y), class(1.0, b, 1.0 - y)]);
            prop_assert!(1.0 / solid <= y / a + (1.0 - y) / b + 1e-9);
            prop_assert!(solid <= a.max(b) + (1.0 - a.max(b)) * a.max(b) + 1e-9);
        }
    }
}
