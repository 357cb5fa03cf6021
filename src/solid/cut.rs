//! What fills a cell that a curved or oblique face cuts.
//!
//! The cell is divided, across the directions in which the face runs, until its divisions are small. A division
//! that no face cuts has Gauss points; the smallest ones that a face cuts have one point each, which counts by
//! the part of their volume that a plane at the distance of the face leaves:
//!
//! ```text
//! V(d)/V = Σ over corners (-1)^m (d + Σ a/2 - Σ_m a)₊ⁿ / (n! Π a),   a_i = |n_i| h_i
//! ```
//!
//! for the n axes that the normal n is not square to. What is found so is kept as weights at the Gauss points of twice
//! the cell's orders, which integrate all products of its basis as the points themselves do: there can be a million of
//! those. Where a closed surface has an edge there, points of the division are looked at instead. What is empty is
//! weighed too, beside the material next to it.

use crate::mesh::{Content, Filling};
use crate::part::{Bound, Part};
use crate::polynomial::{gauss, through};
use nalgebra::Vector3;

/// How often a cell is halved.
const HALVINGS: usize = 5;
/// How often it is halved at least and at most where a closed surface cuts it across all axes, and the most divisions
/// that a surface through it is to meet.
const CLOSED_HALVINGS: [usize; 2] = [4, 6];
const MOST_DIVISIONS: f64 = 1000.0;
/// Gauss points an axis that are enough in a quarter of a cell.
const FEW: usize = 2;
/// The middles of three parts of an interval, in half lengths from its middle.
const THIRDS: [f64; 3] = [-2.0 / 3.0, 0.0, 2.0 / 3.0];

/// What fills the cell about `middle` with half sizes `half` and `orders` along its axes; `None` where all of it is
/// empty.
pub(crate) fn filling(
    parts: &[Part],
    middle: &Vector3<f64>,
    half: &Vector3<f64>,
    orders: [usize; 3],
) -> Option<Content> {
    let materials = 1 + parts.iter().filter_map(|part| part.material).max()?;
    let all_round = parts.iter().filter(|part| part.bounds.is_some());
    let all_round = all_round.filter(|part| part.cut_across(middle, half) == Some([true; 3]));
    let area = all_round.map(|part| part.skew_area(middle, half)).reduce(|a, b| a + b);
    let count = orders.into_iter().max().unwrap_or(1) + 1;
    let (halvings, few) = match area {
        Some(area) => (closed_halvings(area, half), gauss(count.min(FEW))),
        None => (HALVINGS, gauss(count)),
    };
    let places = orders.map(|order| gauss(2 * order + 1).into_iter().map(|(x, _)| x).collect());
    let gauss = gauss(count);
    let found = vec![None; materials];
    let mut cell = Cutting { parts, middle, half, gauss, few, places, found, held: 0.0 };
    cell.divide(Vector3::repeat(0.5), Vector3::repeat(0.5), halvings);
    if cell.held <= 1e-9 * 8.0 * half.product() {
        return None;
    }
    let found = cell.found.into_iter().enumerate();
    Some(Content::Cut(
        found.filter_map(|(material, both)| Some(Filling::new(material, orders, both?))).collect(),
    ))
}

/// How often a cell is halved whose closed surfaces have an area of `area`, m².
fn closed_halvings(area: f64, half: &Vector3<f64>) -> usize {
    let face = 4.0 * half.product().powf(2.0 / 3.0);
    let divisions = |halvings: usize| area / face * 4.0_f64.powi(halvings as i32);
    let [least, most] = CLOSED_HALVINGS;
    (least..most).find(|halvings| divisions(halvings + 1) > MOST_DIVISIONS).unwrap_or(most)
}

struct Cutting<'p> {
    parts: &'p [Part],
    middle: &'p Vector3<f64>,
    half: &'p Vector3<f64>,
    gauss: Vec<(f64, f64)>,
    /// Gauss points of divisions that are a quarter of the cell or less.
    few: Vec<(f64, f64)>,
    /// By axis: the points at which what fills the cell is weighed, 0 to 1.
    places: [Vec<f64>; 3],
    /// By material: the weights at those points of what it fills and of what is empty beside it, m³, z running fastest;
    /// `None` where there is nothing of it.
    found: Vec<Option<[Vec<f64>; 2]>>,
    /// Volume that is not empty, m³.
    held: f64,
}

impl Cutting<'_> {
    /// The place of a point given by parts of the cell, m.
    fn place(&self, at: &Vector3<f64>) -> Vector3<f64> {
        self.middle + self.half.component_mul(&(2.0 * at - Vector3::repeat(1.0)))
    }

    /// Adds the points of the division about `at` that reaches `reach` to each side, in parts of the cell.
    fn divide(&mut self, at: Vector3<f64>, reach: Vector3<f64>, left: usize) {
        let place = self.place(&at);
        let half = 2.0 * self.half.component_mul(&reach);
        // Axes that a face cutting this division is not square to.
        let mut across = [false; 3];
        for part in self.parts.iter().filter(|part| part.within_square(&place)) {
            if let Some(skew) = part.cut_across(&place, &half) {
                (0..3).for_each(|axis| across[axis] |= skew[axis]);
            } else if part.holds(&place) {
                across = [false; 3];
            }
        }
        if across == [false; 3] {
            self.fill(&at, &reach);
        } else if left == 0 {
            self.weigh(&at, &reach, across);
        } else {
            let steps = [0, 1, 2].map(|axis| if across[axis] { vec![-0.5, 0.5] } else { vec![0.0] });
            let smaller = Vector3::from_fn(|i, _| if across[i] { 0.5 * reach[i] } else { reach[i] });
            for x in &steps[0] {
                for y in &steps[1] {
                    for z in &steps[2] {
                        let off = Vector3::new(*x, *y, *z).component_mul(&reach);
                        self.divide(at + off, smaller, left - 1);
                    }
                }
            }
        }
    }

    /// Gauss points along a division that reaches `reach` to each side, in parts of the cell.
    fn line(&self, reach: f64) -> Vec<(f64, f64)> {
        if reach < 0.2 { self.few.clone() } else { self.gauss.clone() }
    }

    /// A division of one material or of none.
    fn fill(&mut self, at: &Vector3<f64>, reach: &Vector3<f64>) {
        let place = self.place(at);
        let owner = self.parts.iter().rev().find(|part| part.holds(&place)).and_then(|part| part.material);
        let lines = [0, 1, 2].map(|axis| self.line(reach[axis]));
        let filler = self.filler(std::iter::empty());
        self.add(at, reach, &lines, (owner.unwrap_or(filler), owner.is_none()), 1.0);
    }

    /// A small division that a face cuts: for each material one point across, at the centre of what it fills, and Gauss
    /// points along.
    fn weigh(&mut self, at: &Vector3<f64>, reach: &Vector3<f64>, across: [bool; 3]) {
        let place = self.place(at);
        let half = 2.0 * self.half.component_mul(reach);
        // The share of each material, and that share times the place of its centre from the middle.
        let mut filled = vec![(0.0, Vector3::zeros()); self.found.len()];
        for part in self.parts.iter().filter(|part| part.within_square(&place)) {
            let (inside, moment) = share(part, &place, &half, across);
            for (share, own) in &mut filled {
                *own = *own * (1.0 - inside) - moment * *share;
                *share *= 1.0 - inside;
            }
            if let Some(material) = part.material {
                filled[material].0 += inside;
                filled[material].1 += moment;
            }
        }
        let full: f64 = filled.iter().map(|(share, _)| share).sum();
        let beside = filled.iter().fold(Vector3::zeros(), |sum, (_, moment)| sum - moment);
        let filler = self.filler(filled.iter().map(|(share, _)| *share));
        let line = |axis: usize| if across[axis] { vec![(0.5, 1.0)] } else { self.line(reach[axis]) };
        let lines = [0, 1, 2].map(line);
        let mut add = |material: usize, share: f64, moment: Vector3<f64>, is_empty: bool| {
            if share > 0.0 {
                let off = (moment / share).component_div(&(2.0 * self.half));
                let centre = Vector3::from_fn(|i, _| {
                    if across[i] { at[i] + off[i].clamp(-reach[i], reach[i]) } else { at[i] }
                });
                self.add(&centre, reach, &lines, (material, is_empty), share);
            }
        };
        filled
            .into_iter()
            .enumerate()
            .for_each(|(material, (share, moment))| add(material, share, moment, false));
        add(filler, 1.0 - full, beside, true);
    }

    /// The material that counts for what is empty beside these shares.
    fn filler(&self, shares: impl Iterator<Item = f64>) -> usize {
        let largest = shares.enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
        let last = || self.parts.iter().rev().find_map(|part| part.material).unwrap_or(0);
        largest.filter(|(_, share)| *share > 0.0).map_or_else(last, |(material, _)| material)
    }

    /// Adds a share of a division about `at` to a material, or to what is empty beside it, by points along `lines`.
    fn add(
        &mut self,
        at: &Vector3<f64>,
        reach: &Vector3<f64>,
        lines: &[Vec<(f64, f64)>; 3],
        (material, is_empty): (usize, bool),
        share: f64,
    ) {
        let volume = share * 64.0 * self.half.product() * reach.product();
        if !is_empty {
            self.held += volume;
        }
        let [xs, ys, zs] = [0, 1, 2].map(|axis| {
            let places = &self.places[axis];
            let mut weights = vec![0.0; places.len()];
            for (x, weight) in &lines[axis] {
                let values = through(places, at[axis] + (2.0 * x - 1.0) * reach[axis]);
                weights.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
            }
            weights
        });
        let size = xs.len() * ys.len() * zs.len();
        let both = self.found[material].get_or_insert_with(|| [vec![0.0; size], vec![0.0; size]]);
        let mut sums = both[usize::from(is_empty)].iter_mut();
        for x in &xs {
            for y in &ys {
                let along = x * y * volume;
                zs.iter().zip(&mut sums).for_each(|(z, sum)| *sum += along * z);
            }
        }
    }
}

/// The share of a division about `middle` that lies inside `part`, and that times the place of its centre from the
/// middle, m; faces run across the axes of `across`.
fn share(part: &Part, middle: &Vector3<f64>, half: &Vector3<f64>, across: [bool; 3]) -> (f64, Vector3<f64>) {
    // A middle that lies on a face lies on neither side of it: a little beside it has one.
    let near = middle + half.component_mul(&Vector3::new(1e-9, 0.7e-9, 0.3e-9));
    if let Some((rings, end)) = part.bounds_near(&near) {
        // A wall can be thinner than the division: what is inside its outline, less what is inside its hole.
        let add = |(share, moment), (sign, bound): &(f64, Bound)| {
            let own = within(bound, half);
            (share + sign * own.0, moment + own.1 * *sign)
        };
        let (share, moment) = rings.iter().fold((0.0, Vector3::zeros()), add);
        let (share, (ends, cut)) = (f64::clamp(share, 0.0, 1.0), within(&end, half));
        return (share * ends, moment * ends + cut * share);
    }
    if let Some((depth, normal)) = part.plane_in(&near, half) {
        return kept(depth, &normal, half);
    }
    if part.cut_across(middle, half).is_none() {
        return (if part.holds(middle) { 1.0 } else { 0.0 }, Vector3::zeros());
    }
    let steps = across.map(|across| if across { &THIRDS[..] } else { &THIRDS[1..2] });
    let all = steps.iter().map(|steps| steps.len()).product::<usize>() as f64;
    let (mut held, mut moment) = (0.0, Vector3::zeros());
    for x in steps[0] {
        for y in steps[1] {
            for z in steps[2] {
                let off = half.component_mul(&Vector3::new(*x, *y, *z));
                if part.holds(&(middle + off)) {
                    held += 1.0 / all;
                    moment += off / all;
                }
            }
        }
    }
    (held, moment)
}

/// The share of a box within a bound near its middle, and that times the place of its centre from the middle.
fn within(bound: &Bound, half: &Vector3<f64>) -> (f64, Vector3<f64>) {
    match bound {
        Bound::Plane(depth, normal) => kept(*depth, normal, half),
        Bound::Side(held) => (f64::from(u8::from(*held)), Vector3::zeros()),
    }
}

/// The share of a box with half sizes `half` on the inner side of a plane whose distance from its middle is `depth`,
/// positive when the middle is inside, and whose outward normal is `normal`; and that times the place of its centre
/// from the middle.
fn kept(depth: f64, normal: &Vector3<f64>, half: &Vector3<f64>) -> (f64, Vector3<f64>) {
    let widths = 2.0 * normal.abs().component_mul(half);
    let widest = widths.max();
    let axes: Vec<usize> = (0..3).filter(|axis| widths[*axis] > 1e-3 * widest).collect();
    let (n, product) = (axes.len() as i32, axes.iter().map(|axis| widths[*axis]).product::<f64>());
    let reach = depth + 0.5 * axes.iter().map(|axis| widths[*axis]).sum::<f64>();
    let scale = f64::from((1..=n).product::<i32>()) * product;
    let (mut volume, mut moment) = (0.0, Vector3::zeros());
    // What lies beyond each corner, seen from the innermost, is a simplex with its own centre.
    for corner in 0..1_u32 << n {
        let is_far = |k: usize| corner >> k & 1 == 1;
        let off: f64 =
            axes.iter().enumerate().filter(|(k, _)| is_far(*k)).map(|(_, axis)| widths[*axis]).sum();
        let left = (reach - off).max(0.0);
        let sign = if corner.count_ones() % 2 == 0 { 1.0 } else { -1.0 };
        let own = sign * left.powi(n) / scale;
        volume += own;
        for (k, &axis) in axes.iter().enumerate() {
            // From the innermost corner along the axis, in parts of the width.
            let from = f64::from(u8::from(is_far(k))) + left / (f64::from(n + 1) * widths[axis]);
            moment[axis] += own * (2.0 * from - 1.0) * half[axis] * normal[axis].signum();
        }
    }
    if volume >= 1.0 { (1.0, Vector3::zeros()) } else { (volume.max(0.0), moment) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_small_surface_in_a_large_cell_is_cut_finer() {
        let half = Vector3::repeat(0.1);
        assert_eq!(closed_halvings(0.04, &half), 4);
        assert_eq!(closed_halvings(0.01, &half), 5);
        assert_eq!(closed_halvings(0.001, &half), 6);
    }

    #[test]
    fn a_plane_through_the_middle_keeps_half_and_a_corner_a_sixth_of_its_cube() {
        let half = Vector3::new(1.0, 2.0, 3.0);
        for normal in [Vector3::x(), Vector3::new(0.6, 0.8, 0.0), Vector3::new(1.0, 2.0, 3.0).normalize()] {
            assert_relative_eq!(kept(0.0, &normal, &half).0, 0.5, max_relative = 1e-12);
            assert_relative_eq!(kept(10.0, &normal, &half).0, 1.0, max_relative = 1e-9);
            assert_relative_eq!(
                kept(0.3, &normal, &half).0 + kept(-0.3, &normal, &half).0,
                1.0,
                max_relative = 1e-9
            );
        }
        // The corner of a cube of edge 2 beyond x + y + z = 2 from that corner: a tetrahedron with legs 1.
        let normal = Vector3::repeat(1.0 / 3.0_f64.sqrt());
        let depth = (1.0 - 3.0) / 3.0_f64.sqrt();
        assert_relative_eq!(
            kept(depth, &normal, &Vector3::repeat(1.0)).0,
            1.0 / 6.0 / 8.0,
            max_relative = 1e-9
        );
        // Its centre is a quarter of its legs from the corner.
        let (share, moment) = kept(depth, &normal, &Vector3::repeat(1.0));
        (0..3).for_each(|axis| assert_relative_eq!(moment[axis] / share, -0.75, max_relative = 1e-9));
        let (share, moment) = kept(0.0, &-Vector3::x(), &half);
        assert_relative_eq!(moment / share, Vector3::new(0.5, 0.0, 0.0), max_relative = 1e-9);
    }
}
