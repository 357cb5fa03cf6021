//! Stiffness and mass of one cell for unit Lamé constants and unit density.
//!
//! ```text
//! K_ij[a, b] = λ P_ij + μ (P_ji + δ_ij Σ_k P_kk),   P_ij = ∫ ∂_i φa ∂_j φb dV
//! M[a, b] = ρ ∫ φa φb dV
//! ```
//!
//! In a cell of one material the integrals are products of integrals along the axes; in a cell that a surface
//! cuts they are sums over points.

use crate::mesh::{CellPoint, Content, Interval};
use crate::polynomial::{Products, lagrange, lobatto};
use faer::linalg::matmul::matmul;
use faer::{Accum, Mat, Par};

/// The matrices of one material in one cell.
#[derive(Debug, Clone)]
pub(crate) struct CellMatrices {
    /// The material, by number.
    pub material: usize,
    /// Stiffness for λ = 1, μ = 0, m, shape (3 n, 3 n), three degrees of freedom a node.
    pub lambda: Mat<f64>,
    /// Stiffness for λ = 0, μ = 1, m, same shape.
    pub mu: Mat<f64>,
    /// Mass of one direction for unit density, m³, shape (n, n).
    pub mass: Mat<f64>,
}

/// The matrices of each material in a cell between `intervals`.
pub(crate) fn matrices(intervals: &[Interval; 3], content: &Content) -> Vec<CellMatrices> {
    match content {
        Content::Full(material) => vec![full(intervals, *material)],
        Content::Points(points) => {
            let mut materials: Vec<usize> = points.iter().map(|point| point.material).collect();
            materials.sort_unstable();
            materials.dedup();
            let of = |material| {
                let own: Vec<&CellPoint> = points.iter().filter(|p| p.material == material).collect();
                summed(intervals, &own, material)
            };
            materials.into_iter().map(of).collect()
        }
    }
}

/// Number of nodes of a cell.
fn count(intervals: &[Interval; 3]) -> usize {
    intervals.iter().map(|interval| interval.order + 1).product()
}

/// From P_ij of i ≤ j, in the order xx, yy, zz, xy, xz, yz, and the mass.
fn combined(material: usize, p: &[Mat<f64>; 6], mass: Mat<f64>) -> CellMatrices {
    let n = mass.nrows();
    let product = |i: usize, j: usize, a: usize, b: usize| match (i.min(j), i.max(j)) {
        (0, 0) => p[0][(a, b)],
        (1, 1) => p[1][(a, b)],
        (2, 2) => p[2][(a, b)],
        (0, 1) => {
            if i < j {
                p[3][(a, b)]
            } else {
                p[3][(b, a)]
            }
        }
        (0, 2) => {
            if i < j {
                p[4][(a, b)]
            } else {
                p[4][(b, a)]
            }
        }
        _ => {
            if i < j {
                p[5][(a, b)]
            } else {
                p[5][(b, a)]
            }
        }
    };
    let [mut lambda, mut mu] = [(); 2].map(|()| Mat::zeros(3 * n, 3 * n));
    for b in 0..n {
        for a in 0..n {
            let trace = p[0][(a, b)] + p[1][(a, b)] + p[2][(a, b)];
            for j in 0..3 {
                for i in 0..3 {
                    lambda[(3 * a + i, 3 * b + j)] = product(i, j, a, b);
                    mu[(3 * a + i, 3 * b + j)] = product(j, i, a, b) + if i == j { trace } else { 0.0 };
                }
            }
        }
    }
    CellMatrices { material, lambda, mu, mass }
}

fn full(intervals: &[Interval; 3], material: usize) -> CellMatrices {
    let along = [0, 1, 2].map(|axis| Products::new(intervals[axis].order, intervals[axis].length));
    let sizes = intervals.map(|interval| interval.order + 1);
    let n = count(intervals);
    let indices = |a: usize| [a / (sizes[1] * sizes[2]), a / sizes[2] % sizes[1], a % sizes[2]];
    let places: Vec<[usize; 3]> = (0..n).map(indices).collect();
    // The integral of ∂_i φa ∂_j φb; without i and j, of φa φb.
    let integral = |a: usize, b: usize, by: Option<(usize, usize)>| {
        let mut value = 1.0;
        for axis in 0..3 {
            let (k, l, size) = (places[a][axis], places[b][axis], sizes[axis]);
            let products = &along[axis];
            value *= match by {
                Some((i, j)) if i == axis && j == axis => products.slopes[k * size + l],
                Some((i, _)) if i == axis => products.slope[k * size + l],
                Some((_, j)) if j == axis => products.slope[l * size + k],
                _ => products.both[k * size + l],
            };
        }
        value
    };
    let pairs = [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)];
    let p = pairs.map(|pair| Mat::from_fn(n, n, |a, b| integral(a, b, Some(pair))));
    combined(material, &p, Mat::from_fn(n, n, |a, b| integral(a, b, None)))
}

fn summed(intervals: &[Interval; 3], points: &[&CellPoint], material: usize) -> CellMatrices {
    let nodes = intervals.map(|interval| lobatto(interval.order));
    let n = count(intervals);
    // Values and three slopes of the basis at the points, times the root of the volume, shape (n, points).
    let mut fields = [(); 4].map(|()| Mat::zeros(n, points.len()));
    for (column, point) in points.iter().enumerate() {
        let basis = [0, 1, 2].map(|axis| lagrange(&nodes[axis], point.at[axis]));
        let root = point.volume.sqrt();
        let mut row = 0;
        for (vx, sx) in &basis[0] {
            for (vy, sy) in &basis[1] {
                for (vz, sz) in &basis[2] {
                    fields[0][(row, column)] = root * vx * vy * vz;
                    fields[1][(row, column)] = root * sx * vy * vz / intervals[0].length;
                    fields[2][(row, column)] = root * vx * sy * vz / intervals[1].length;
                    fields[3][(row, column)] = root * vx * vy * sz / intervals[2].length;
                    row += 1;
                }
            }
        }
    }
    let product = |a: usize, b: usize| {
        let mut sum = Mat::zeros(n, n);
        matmul(sum.as_mut(), Accum::Replace, fields[a].as_ref(), fields[b].transpose(), 1.0, Par::Seq);
        sum
    };
    let p = [(1, 1), (2, 2), (3, 3), (1, 2), (1, 3), (2, 3)].map(|(a, b)| product(a, b));
    combined(material, &p, product(0, 0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::polynomial::gauss;
    use approx::assert_relative_eq;

    #[test]
    fn points_of_gauss_give_the_same_as_products() {
        let interval = |length, order| Interval { from: 0.0, length, order, first: 0 };
        let intervals = [interval(0.3, 2), interval(0.1, 3), interval(0.02, 1)];
        let mut points = Vec::new();
        for (x, wx) in gauss(4) {
            for (y, wy) in gauss(4) {
                for (z, wz) in gauss(4) {
                    let volume = wx * wy * wz * 0.3 * 0.1 * 0.02;
                    points.push(CellPoint { at: [x, y, z], volume, material: 7 });
                }
            }
        }
        let [whole] = &matrices(&intervals, &Content::Full(7))[..] else { panic!() };
        let [sum] = &matrices(&intervals, &Content::Points(points))[..] else { panic!() };
        assert_eq!((whole.material, sum.material), (7, 7));
        for (one, other) in [(&whole.lambda, &sum.lambda), (&whole.mu, &sum.mu), (&whole.mass, &sum.mass)] {
            let scale = one.norm_max();
            for j in 0..one.ncols() {
                for i in 0..one.nrows() {
                    assert_relative_eq!(one[(i, j)] / scale, other[(i, j)] / scale, epsilon = 1e-12);
                    assert_relative_eq!(one[(i, j)] / scale, one[(j, i)] / scale, epsilon = 1e-14);
                }
            }
        }
    }
}
