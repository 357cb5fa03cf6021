//! How densely grains of several sizes pack: the linear packing model, and how close compaction comes to
//! it.
//!
//! ```text
//! V_i   = sum over j of  c_ij y_j         1/phi = max over i of V_i     each grain put where it fits best
//! c_ij  = V_j - (V_j - 1) g(d_i/d_j)    j coarser: solid stones in the packing of i (wall effect)
//!       = V_j                           j = i
//!       = V_j (1 - f(d_j/d_i))          j finer: in the voids of i (loosening)
//! f(r)  = (1 - r)^3.33 + 2.81 r (1 - r)^2.77
//! g(r)  = (1 - r)^1.97 + 0.36 r (1 - r)^3.67
//! ```
//!
//! phi is the solid fraction, y_j the part of class j in the solid volume, V_j = 1/phi_j that of the
//! class alone. At infinite size ratios the model reaches the limits of Furnas. A range of grains wider
//! than 1 to 3 is divided into classes, with equal volume in equal steps of the logarithm of size.
//!
//! No compaction reaches this density; its compaction index K says how close it comes:
//!
//! ```text
//! K = sum over i of (y_i V_i0) / (1/phi - V_i),      a class alone: phi_i = 1/V_i0 K/(1 + K)
//! ```
//!
//! with V_i computed from the V_i0 of ideal placing, which follow from how each class packs alone at the
//! index of that test. K = infinite is the linear model; balls of four sizes, shaken one into the other,
//! come within one percentage point of it. f and g hold for spheres; with them the index gives packings
//! of natural grains within two points of those from coefficients fitted to gravel.
//!
//! # Source
//! - `stovall1986`: one class governs, the others fill its voids or displace it
//! - `yu1987`: the linear form in specific volumes
//! - `yu1996`: f and g, from memory
//! - `larrard1999`: the index K, from memory; the same model is said to err by 0.8 % for round and 1.8 % for
//!   crushed grains, as quoted by a thesis that was read
//! - `furnas1931`: limits at infinite ratios
//! - `boyd2004`: ch. 11, the barrier method and its distance from the least; from memory

use super::entry::GrainShape;
use nalgebra::{DMatrix, DVector};
use stillbed_input::quantity::Spread;

/// The widest range treated as one class, largest over smallest grain.
const CLASS_RATIO: f64 = 3.0;

/// Compaction index of poured grains.
///
/// # Source
/// - `larrard1999`: 4.1, from memory
pub const POURED: f64 = 4.1;
/// Compaction index of grains tamped with a rod.
///
/// # Source
/// - `larrard1999`: 4.5, from memory; 4.5 to 4.75 for the usual tests, as quoted where it was read
pub const RODDED: f64 = 4.5;
/// Compaction index of grains vibrated dry, the test by which packings are stated.
///
/// # Source
/// - `larrard1999`: 4.75, from memory
pub const VIBRATED: f64 = 4.75;
/// Compaction index of grains vibrated wet, where liquid lets them slip.
///
/// # Source
/// - `larrard1999`: 6.7 for grains packed wet, from memory
pub const WET: f64 = 6.7;

/// Upper limit of the ideal solid fraction of a class alone.
const DENSEST: f64 = 0.98;

/// One class of grains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Size of the grains, m.
    pub size: f64,
    /// Solid fraction when packed alone.
    pub packing: f64,
    /// Its part of the total solid volume.
    pub part: f64,
}

/// Solid fraction of one narrow class, loose and vibrated, where none is stated for the material.
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

/// Divides a range of grains of one kind into classes; `part` is shared out equally among them.
pub fn classes(smallest: f64, largest: f64, packing: f64, part: f64) -> Vec<Class> {
    let span = (largest / smallest).ln().max(0.0);
    let count = (span / CLASS_RATIO.ln() - 1e-9).ceil().max(1.0);
    let step = span / count;
    (0..count as usize)
        .map(|i| Class { size: smallest * ((i as f64 + 0.5) * step).exp(), packing, part: part / count })
        .collect()
}

/// Loosening function f at the size ratio `r` of a finer grain: 1 for r = 0, 0 for equal sizes.
fn filling(r: f64) -> f64 {
    (1.0 - r).powf(3.33) + 2.81 * r * (1.0 - r).powf(2.77)
}

/// Wall-effect function g at the size ratio `r` to a coarser grain: 1 for r = 0, 0 for equal sizes.
fn displacing(r: f64) -> f64 {
    (1.0 - r).powf(1.97) + 0.36 * r * (1.0 - r).powf(3.67)
}

/// Specific volume c_ij of class `j` where class `i` governs.
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

/// Solid fraction of the ideally packed mixture of `classes`, whose parts sum to one.
///
/// Returns 0 when there are no grains.
pub fn solid_share(classes: &[Class]) -> f64 {
    let volume = classes
        .iter()
        .filter(|i| i.part > 0.0)
        .map(|i| classes.iter().map(|j| taken(i, j) * j.part).sum::<f64>())
        .fold(0.0, f64::max);
    if volume > 0.0 { 1.0 / volume } else { 0.0 }
}

/// Solid fraction of `classes` compacted with the index `index`; their own packings were measured with
/// the index `tested`, and their parts sum to one.
///
/// Returns 0 when there are no grains. By hand: one class of 0.63 when vibrated dry (4.75) comes to 0.63
/// (1 + 1/4.75)/(1 + 1/6.7) = 0.664 with an index of 6.7.
pub fn compacted(classes: &[Class], tested: f64, index: f64) -> f64 {
    let present: Vec<&Class> = classes.iter().filter(|class| class.part > 0.0).collect();
    let best = |class: &Class| (class.packing * (1.0 + 1.0 / tested)).min(DENSEST);
    let placed: Vec<Class> = present.iter().map(|c| Class { packing: best(c), ..**c }).collect();
    let volumes: Vec<f64> =
        placed.iter().map(|i| placed.iter().map(|j| taken(i, j) * j.part).sum()).collect();
    let least = volumes.iter().copied().fold(0.0, f64::max);
    if least == 0.0 {
        return 0.0;
    }
    let weight = |class: &Class| class.part / class.packing;
    let reached = |volume: f64| -> f64 {
        placed.iter().zip(&volumes).map(|(class, own)| weight(class) / (volume - own)).sum()
    };
    // The index is infinite at the smallest volume and falls from there; this width is an upper limit.
    let (mut low, mut high) = (0.0, placed.iter().map(weight).sum::<f64>() / index);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if reached(least + middle) > index { low = middle } else { high = middle }
    }
    // A class that alone is denser than the ideal limit keeps its own packing.
    let alone = |class: &&Class| class.packing * (1.0 + 1.0 / tested) / (1.0 + 1.0 / index);
    let apart: f64 = present.iter().map(|class| class.part / alone(class).min(DENSEST)).sum();
    (1.0 / (least + high)).max(1.0 / apart)
}

/// Bisections that give the volume at an index to a part in 1e12.
const HALVINGS: usize = 42;

/// The parts of each of `kinds` that give the fewest voids when compacted with `index`, and the solid
/// fraction then: starts from [`densest`] and moves parts between kinds as long as that helps.
pub fn densest_at(kinds: &[Vec<Class>], tested: f64, index: f64) -> (Vec<f64>, f64) {
    let solid = |parts: &[f64]| {
        let all = kinds.iter().zip(parts).flat_map(|(kind, part)| {
            kind.iter().map(move |class| Class { part: class.part * part, ..*class })
        });
        compacted(&all.collect::<Vec<Class>>(), tested, index)
    };
    let (mut parts, _) = densest(kinds);
    let mut best = solid(&parts);
    let mut step: f64 = 0.1;
    while step > 1e-5 {
        let mut moved = false;
        for (from, to) in (0..kinds.len()).flat_map(|i| (0..kinds.len()).map(move |j| (i, j))) {
            let mut trial = parts.clone();
            let by = step.min(trial[from]);
            if from == to || by == 0.0 {
                continue;
            }
            trial[from] -= by;
            trial[to] += by;
            let found = solid(&trial);
            if found > best + 1e-10 {
                (parts, best, moved) = (trial, found, true);
            }
        }
        if !moved {
            step *= 0.5;
        }
    }
    (parts, best)
}

/// The parts of the solid volume, one for each kind, at which `kinds` ideally packed together have the
/// fewest voids, and the solid fraction then. Each kind is given by its classes, with parts that sum to
/// one.
///
/// Kinds are left out one by one as long as that helps, since a kind that is absent does not govern.
pub fn densest(kinds: &[Vec<Class>]) -> (Vec<f64>, f64) {
    let mut kept: Vec<usize> = (0..kinds.len()).collect();
    let mut best = together(kinds, &kept);
    loop {
        let without =
            |out: usize| -> Vec<usize> { kept.iter().copied().filter(|kind| *kind != out).collect() };
        let rests = kept.iter().map(|out| without(*out)).filter(|rest| !rest.is_empty());
        let tried = rests.map(|rest| (together(kinds, &rest), rest));
        let Some((found, rest)) = tried.max_by(|(a, _), (b, _)| a.1.total_cmp(&b.1)) else { return best };
        if found.1 <= best.1 * (1.0 + 1e-9) {
            return best;
        }
        (best, kept) = (found, rest);
    }
}

/// The same for the kinds in `kept`, all of them present.
///
/// The volume is the largest of several sums that are linear in the parts, so it is convex with edges.
/// The barrier function
///
/// ```text
/// t V - Σ log(V - a_i p) - Σ log p,   Σ p = 1
/// ```
///
/// is smooth; as t grows, its minimum approaches that of V, within (number of logarithms)/t.
fn together(kinds: &[Vec<Class>], kept: &[usize]) -> (Vec<f64>, f64) {
    let count = kept.len();
    let whole = |parts: &[f64]| {
        let mut all = vec![0.0; kinds.len()];
        kept.iter().zip(parts).for_each(|(kind, part)| all[*kind] = *part);
        let classes = kinds.iter().zip(&all).flat_map(|(kind, part)| {
            kind.iter().map(move |class| Class { part: class.part * part, ..*class })
        });
        let solid = solid_share(&classes.collect::<Vec<Class>>());
        (all, solid)
    };
    if count < 2 {
        return whole(&vec![1.0; count]);
    }
    let sum = |i: &Class, kind: usize| kinds[kind].iter().map(|j| taken(i, j) * j.part).sum::<f64>();
    let rows: Vec<Vec<f64>> = kept
        .iter()
        .flat_map(|kind| &kinds[*kind])
        .map(|i| kept.iter().map(|kind| sum(i, *kind)).collect())
        .collect();
    let mut parts = vec![1.0 / count as f64; count];
    let largest = |parts: &[f64]| {
        let own = |row: &Vec<f64>| row.iter().zip(parts).map(|(a, p)| a * p).sum::<f64>();
        rows.iter().map(own).fold(0.0, f64::max)
    };
    let mut volume = 1.1 * largest(&parts);
    let mut t = 10.0;
    while t < 1e9 {
        for _ in 0..MOST_STEPS {
            let Some(gain) = step(&rows, t, &mut parts, &mut volume) else { break };
            if gain < 1e-6 {
                break;
            }
        }
        t *= 8.0;
    }
    parts.iter_mut().filter(|part| **part < 1e-6).for_each(|part| *part = 0.0);
    let rest: f64 = parts.iter().sum();
    parts.iter_mut().for_each(|part| *part /= rest);
    whole(&parts)
}

/// Largest number of Newton steps for one t.
const MOST_STEPS: usize = 30;

/// One Newton step towards the minimum of the barrier function, shortened until all logarithms are
/// defined and the function falls. Returns half of the squared length of the full step in the metric of
/// the function.
fn step(rows: &[Vec<f64>], t: f64, parts: &mut [f64], volume: &mut f64) -> Option<f64> {
    // Unknowns: all parts but the last, which is one minus the others, and the volume.
    let (count, last) = (parts.len(), parts.len() - 1);
    let mut slope = DVector::<f64>::zeros(count);
    let mut curve = DMatrix::<f64>::zeros(count, count);
    let mut wall = |reach: f64, normal: &DVector<f64>| {
        slope.axpy(-1.0 / reach, normal, 1.0);
        curve.ger(1.0 / (reach * reach), normal, normal, 1.0);
    };
    for row in rows {
        let normal = DVector::from_fn(count, |j, _| if j == last { 1.0 } else { row[last] - row[j] });
        let reach = *volume - row.iter().zip(parts.iter()).map(|(a, p)| a * p).sum::<f64>();
        wall(reach, &normal);
    }
    for (j, part) in parts.iter().enumerate() {
        let own = |i: usize| if i == last { 0.0 } else { f64::from(i == j) - f64::from(j == last) };
        wall(*part, &DVector::from_fn(count, |i, _| own(i)));
    }
    slope[last] += t;
    let way = -curve.cholesky()?.solve(&slope);
    let gain = -0.5 * slope.dot(&way);
    let at = |length: f64| -> Option<(Vec<f64>, f64, f64)> {
        let mut own: Vec<f64> = (0..last).map(|j| parts[j] + length * way[j]).collect();
        own.push(1.0 - own.iter().sum::<f64>());
        let volume = *volume + length * way[last];
        let reaches = rows.iter().map(|row| volume - row.iter().zip(&own).map(|(a, p)| a * p).sum::<f64>());
        let mut value = t * volume;
        for reach in reaches.chain(own.iter().copied()) {
            if reach <= 0.0 {
                return None;
            }
            value -= reach.ln();
        }
        Some((own, volume, value))
    };
    let (.., here) = at(0.0)?;
    let mut length = 1.0;
    while length > 1e-9 {
        if let Some((own, new, value)) = at(length)
            && value <= here - 0.1 * length * gain
        {
            parts.copy_from_slice(&own);
            *volume = new;
            return Some(gain);
        }
        length *= 0.5;
    }
    None
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
    fn a_few_stones_among_grains_of_half_their_size_disturb_them_as_by_hand() {
        // 0.5^1.97 + 0.36 x 0.5 x 0.5^3.67 = 0.25525 + 0.01414; the finer class governs:
        // 0.8/0.6 + 0.2 (1/0.6 - (1/0.6 - 1) 0.26939) = 1.63075.
        let mix = [class(10e-3, 0.6, 0.2), class(5e-3, 0.6, 0.8)];
        assert_relative_eq!(solid_share(&mix), 1.0 / 1.63075, max_relative = 1e-5);
    }

    #[test]
    fn compaction_comes_near_the_best_placing_from_below() {
        let one = [class(1e-3, 0.63, 1.0)];
        assert_relative_eq!(compacted(&one, VIBRATED, VIBRATED), 0.63, max_relative = 1e-9);
        let wet = 0.63 * (1.0 + 1.0 / 4.75) / (1.0 + 1.0 / 6.7);
        assert_relative_eq!(compacted(&one, VIBRATED, WET), wet, max_relative = 1e-9);
        assert_eq!(compacted(&[], VIBRATED, WET), 0.0);
        // A wide range that was measured as one class keeps the measured value.
        assert_relative_eq!(compacted(&[class(1e-3, 0.9, 1.0)], VIBRATED, VIBRATED), 0.9);
        let two = [class(10e-3, 0.63, 0.7), class(1e-3, 0.63, 0.3)];
        let at = |index| compacted(&two, 1e12, index);
        assert_relative_eq!(at(1e9), solid_share(&two), max_relative = 1e-6);
        assert!(at(4.1) < at(4.75) && at(4.75) < at(6.7) && at(6.7) < at(100.0));
    }

    #[test]
    fn grains_to_the_line_of_fuller_leave_the_voids_of_a_graded_aggregate() {
        // Graded aggregate for concrete has 18 to 28 % voids; from memory.
        let (smallest, largest, count): (f64, f64, i32) = (0.125e-3, 8e-3, 6);
        let ratio = (largest / smallest).powf(1.0 / f64::from(count));
        let passing = |d: f64| (d / largest).sqrt() - (smallest / largest).sqrt();
        let all: Vec<Class> = (0..count)
            .map(|i| {
                let low = smallest * ratio.powi(i);
                let part = (passing(low * ratio) - passing(low)) / passing(largest);
                class(low * ratio.sqrt(), 0.63, part)
            })
            .collect();
        let voids = 1.0 - compacted(&all, VIBRATED, VIBRATED);
        assert!((0.18..0.28).contains(&voids), "{voids}");
    }

    #[test]
    fn the_best_parts_shift_to_the_fine_where_compaction_is_less() {
        let kinds = [vec![class(10e-3, 0.63, 1.0)], vec![class(1e-3, 0.63, 1.0)]];
        let ((placed, most), (parts, solid)) = (densest(&kinds), densest_at(&kinds, VIBRATED, VIBRATED));
        assert!(parts[1] > placed[1] && solid > 0.63, "{parts:?} {placed:?}");
        assert!(solid < most * (1.0 + 1.0 / VIBRATED));
        let near = |by: f64| {
            let all = [class(10e-3, 0.63, parts[0] + by), class(1e-3, 0.63, parts[1] - by)];
            compacted(&all, VIBRATED, VIBRATED)
        };
        assert!(near(0.01) < solid && near(-0.01) < solid);
    }

    #[test]
    fn infinite_ratios_reach_furnas() {
        let kinds: Vec<Vec<Class>> = (0..3).map(|i| vec![class(1e-3 * 1e-12f64.powi(i), 0.6, 1.0)]).collect();
        let (parts, solid) = densest(&kinds[..2]);
        assert_relative_eq!(solid, 0.84, max_relative = 1e-4);
        assert_relative_eq!(parts[0], 1.0 / 1.4, max_relative = 1e-3);
        assert_relative_eq!(densest(&kinds).1, 0.936, max_relative = 2e-4);
    }

    // The same by nested line searches, for which it is enough that the voids are convex.
    /// Stores the best parts from `first` on, summing to `left`, in `parts`; returns the solid fraction.
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

    #[test]
    fn many_kinds_are_mixed_at_once() {
        let kinds: Vec<Vec<Class>> = (0..12).map(|i| vec![class(0.5f64.powi(i), 0.6, 1.0)]).collect();
        let (parts, solid) = densest(&kinds);
        assert_relative_eq!(parts.iter().sum::<f64>(), 1.0, max_relative = 1e-9);
        assert!(solid > densest(&kinds[..6]).1 && solid < 0.99, "{solid}");
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
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn the_densest_mixture_is_that_of_nested_searches(
            grains in prop::collection::vec((-5.0..-1.5f64, 0.0..1.2f64, 0.5..0.65f64), 1..4),
        ) {
            let kind = |(size, span, packing): &(f64, f64, f64)| {
                classes(10f64.powf(*size), 10f64.powf(size + span), *packing, 1.0)
            };
            let kinds: Vec<Vec<Class>> = grains.iter().map(kind).collect();
            let (parts, solid) = densest(&kinds);
            let nested = search(&kinds, &mut vec![0.0; kinds.len()], 0, 1.0);
            prop_assert!((parts.iter().sum::<f64>() - 1.0).abs() < 1e-9);
            prop_assert!(solid >= nested - 1e-6, "{solid} {nested}");
            // Nested searches can stop short of a steep maximum; a better result found here must still
            // be real.
            let part = |(kind, part): (&Vec<Class>, &f64)| -> Vec<Class> {
                kind.iter().map(|c| Class { part: c.part * part, ..*c }).collect()
            };
            let all: Vec<Class> = kinds.iter().zip(&parts).flat_map(part).collect();
            prop_assert!((solid_share(&all) - solid).abs() < 1e-9, "{solid}");
        }

        #[test]
        fn a_second_size_packs_no_looser_than_the_average_of_the_two(
            ratio in 1.0..1e4f64, y in 0.0..1.0f64, a in 0.5..0.65f64, b in 0.5..0.65f64,
        ) {
            let solid = solid_share(&[class(ratio, a, y), class(1.0, b, 1.0 - y)]);
            prop_assert!(1.0 / solid <= y / a + (1.0 - y) / b + 1e-9);
            prop_assert!(solid <= a.max(b) + (1.0 - a.max(b)) * a.max(b) + 1e-9);
            let both = [class(ratio, a, y), class(1.0, b, 1.0 - y)];
            let vibrated = compacted(&both, VIBRATED, VIBRATED);
            prop_assert!(1.0 / vibrated <= y / a + (1.0 - y) / b + 1e-9);
            prop_assert!(vibrated < compacted(&both, VIBRATED, WET) && vibrated < 1.0);
        }
    }
}
