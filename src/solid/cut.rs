//! The points of a cell that a curved or oblique face cuts.
//!
//! The cell is divided, across the directions in which the face runs, until its divisions are small. A division
//! that no face cuts has Gauss points; the smallest ones that a face cuts have one point each, which counts by
//! the part of their volume that a plane at the distance of the face leaves:
//!
//! ```text
//! V(d)/V = Σ over corners (-1)^m (d + Σ a/2 - Σ_m a)₊ⁿ / (n! Π a),   a_i = |n_i| h_i
//! ```
//!
//! for the n axes that the normal n is not square to. Where a closed surface has an edge there, points of the division
//! are looked at instead. Where the cell is empty a part in ten thousand of the
//! material is left, since a cell that is nearly empty would make the matrices ill-conditioned.

use crate::mesh::{CellPoint, Content};
use crate::part::Part;
use crate::polynomial::gauss;
use nalgebra::Vector3;

/// How often a cell is halved.
const HALVINGS: usize = 5;
/// How often it is halved at least and at most where a closed surface cuts it across all axes, and the most divisions
/// that a surface through it is to meet.
const CLOSED_HALVINGS: [usize; 2] = [4, 6];
const MOST_DIVISIONS: f64 = 1000.0;
/// Gauss points an axis that are enough in a quarter of a cell.
const FEW: usize = 2;
/// The part of a material that is left where a cut cell is empty.
const LEFT: f64 = 1e-4;
/// The middles of three parts of an interval, in half lengths from its middle.
const THIRDS: [f64; 3] = [-2.0 / 3.0, 0.0, 2.0 / 3.0];

/// The points of the cell about `middle` with half sizes `half`, `count` Gauss points an axis where no face is
/// near; `None` where all of it is empty.
pub(crate) fn points(
    parts: &[Part],
    middle: &Vector3<f64>,
    half: &Vector3<f64>,
    count: usize,
) -> Option<Content> {
    let materials = 1 + parts.iter().filter_map(|part| part.material).max()?;
    let all_round = parts.iter().filter(|part| part.bounds.is_some());
    let all_round = all_round.filter(|part| part.cut_across(middle, half) == Some([true; 3]));
    let area = all_round.map(|part| part.skew_area(middle, half)).reduce(|a, b| a + b);
    let (halvings, few) = match area {
        Some(area) => (closed_halvings(area, half), gauss(count.min(FEW))),
        None => (HALVINGS, gauss(count)),
    };
    let gauss = gauss(count);
    let mut cell = Cutting { parts, middle, half, gauss, few, materials, found: Vec::new(), held: 0.0 };
    cell.divide(Vector3::repeat(0.5), Vector3::repeat(0.5), halvings);
    (cell.held > 1e-9 * 8.0 * half.product()).then_some(Content::Points(cell.found))
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
    materials: usize,
    found: Vec<CellPoint>,
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
        let mut shares = vec![0.0; self.materials];
        if let Some(owner) = owner {
            shares[owner] = 1.0;
        }
        let lines = [0, 1, 2].map(|axis| self.line(reach[axis]));
        for (x, wx) in &lines[0] {
            for (y, wy) in &lines[1] {
                for (z, wz) in &lines[2] {
                    let off = Vector3::new(2.0 * x - 1.0, 2.0 * y - 1.0, 2.0 * z - 1.0).component_mul(reach);
                    self.add(at + off, wx * wy * wz * 8.0 * reach.product(), &shares);
                }
            }
        }
    }

    /// A small division that a face cuts: one point across, Gauss points along.
    fn weigh(&mut self, at: &Vector3<f64>, reach: &Vector3<f64>, across: [bool; 3]) {
        let place = self.place(at);
        let half = 2.0 * self.half.component_mul(reach);
        let mut shares = vec![0.0; self.materials];
        for part in self.parts.iter().filter(|part| part.within_square(&place)) {
            let inside = share(part, &place, &half, across);
            shares.iter_mut().for_each(|share| *share *= 1.0 - inside);
            if let Some(material) = part.material {
                shares[material] += inside;
            }
        }
        let line = |axis: usize| if across[axis] { vec![(0.5, 1.0)] } else { self.line(reach[axis]) };
        let [xs, ys, zs] = [line(0), line(1), line(2)];
        for (x, wx) in &xs {
            for (y, wy) in &ys {
                for (z, wz) in &zs {
                    let off = Vector3::new(2.0 * x - 1.0, 2.0 * y - 1.0, 2.0 * z - 1.0).component_mul(reach);
                    self.add(at + off, wx * wy * wz * 8.0 * reach.product(), &shares);
                }
            }
        }
    }

    /// Adds a point that stands for `part` of the cell's volume.
    fn add(&mut self, at: Vector3<f64>, part: f64, shares: &[f64]) {
        let volume = part * 8.0 * self.half.product();
        let full: f64 = shares.iter().sum();
        self.held += full * volume;
        let largest = (0..self.materials).max_by(|a, b| shares[*a].total_cmp(&shares[*b]));
        let last = self.parts.iter().rev().find_map(|part| part.material).unwrap_or(0);
        let filler = largest.filter(|material| shares[*material] > 0.0).unwrap_or(last);
        for (material, share) in shares.iter().enumerate() {
            let share = share + if material == filler { LEFT * (1.0 - full) } else { 0.0 };
            if share > 0.0 {
                self.found.push(CellPoint { at: at.into(), volume: share * volume, material });
            }
        }
    }
}

/// The part of a division about `middle` that lies inside `part`; faces run across the axes of `across`.
fn share(part: &Part, middle: &Vector3<f64>, half: &Vector3<f64>, across: [bool; 3]) -> f64 {
    if let Some((depth, normal)) = part.plane_in(middle, half) {
        return kept(depth, &normal, half);
    }
    if part.cut_across(middle, half).is_none() {
        return if part.holds(middle) { 1.0 } else { 0.0 };
    }
    let steps = across.map(|across| if across { &THIRDS[..] } else { &THIRDS[1..2] });
    let mut held = 0;
    for x in steps[0] {
        for y in steps[1] {
            for z in steps[2] {
                let at = middle + half.component_mul(&Vector3::new(*x, *y, *z));
                held += usize::from(part.holds(&at));
            }
        }
    }
    held as f64 / steps.iter().map(|steps| steps.len()).product::<usize>() as f64
}

/// The part of a box with half sizes `half` that lies on the inner side of a plane whose distance from its middle
/// is `depth`, positive when the middle is inside.
fn kept(depth: f64, normal: &Vector3<f64>, half: &Vector3<f64>) -> f64 {
    let widths = 2.0 * normal.abs().component_mul(half);
    let widest = widths.max();
    let widths: Vec<f64> = widths.iter().copied().filter(|a| *a > 1e-3 * widest).collect();
    let (n, product) = (widths.len() as i32, widths.iter().product::<f64>());
    let reach = depth + 0.5 * widths.iter().sum::<f64>();
    let corners = (0..1_u32 << n).map(|corner| {
        let off: f64 = widths.iter().enumerate().filter(|(i, _)| corner >> i & 1 == 1).map(|(_, a)| a).sum();
        let sign = if corner.count_ones() % 2 == 0 { 1.0 } else { -1.0 };
        sign * (reach - off).max(0.0).powi(n)
    });
    let factorial = f64::from((1..=n).product::<i32>());
    (corners.sum::<f64>() / (factorial * product)).clamp(0.0, 1.0)
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
            assert_relative_eq!(kept(0.0, &normal, &half), 0.5, max_relative = 1e-12);
            assert_relative_eq!(kept(10.0, &normal, &half), 1.0, max_relative = 1e-9);
            assert_relative_eq!(
                kept(0.3, &normal, &half) + kept(-0.3, &normal, &half),
                1.0,
                max_relative = 1e-9
            );
        }
        // The corner of a cube of edge 2 beyond x + y + z = 2 from that corner: a tetrahedron with legs 1.
        let normal = Vector3::repeat(1.0 / 3.0_f64.sqrt());
        let depth = (1.0 - 3.0) / 3.0_f64.sqrt();
        assert_relative_eq!(
            kept(depth, &normal, &Vector3::repeat(1.0)),
            1.0 / 6.0 / 8.0,
            max_relative = 1e-9
        );
    }
}
