//! Stiffness and mass of one cell for unit Lamé constants and unit density.
//!
//! ```text
//! K_ij[a, b] = λ P_ij + μ (P_ji + δ_ij Σ_k P_kk),   P_ij = ∫ ∂_i φa ∂_j φb dV
//! M[a, b] = ρ ∫ φa φb dV
//! ```
//!
//! In a cell of one material the integrals are products of integrals along the axes; in a cell that a surface
//! cuts they are sums over points, one axis after the other. A little of the material is left where such a cell is empty,
//! since a cell that is nearly empty would make the matrices ill-conditioned: it has stiffness but nearly no mass, so
//! that what is not there has no modes of its own among those of the body.

use crate::mesh::{Content, Filling, Interval};
use crate::polynomial::{Products, lagrange, lobatto};
use faer::linalg::matmul::matmul;
use faer::{Accum, Mat, MatRef, Par};

/// The part of the stiffness of a material that is left where a cut cell is empty, and that of its mass.
const LEFT: [f64; 2] = [1e-6, 1e-10];

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
        Content::Cut(fillings) => fillings.iter().map(|filling| summed(intervals, filling)).collect(),
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

/// Products of the basis along an axis at the points of a cut cell, each of shape (points, (p + 1)²), the first of the
/// pair running slower.
struct PointProducts {
    /// φa φb.
    both: Mat<f64>,
    /// φa' φb, 1/m.
    first: Mat<f64>,
    /// φa φb', 1/m.
    second: Mat<f64>,
    /// φa' φb', 1/m².
    slopes: Mat<f64>,
}

impl PointProducts {
    fn new(interval: &Interval, places: &[f64]) -> PointProducts {
        let nodes = lobatto(interval.order);
        let n = nodes.len();
        let basis: Vec<Vec<(f64, f64)>> = places.iter().map(|x| lagrange(&nodes, *x)).collect();
        let of = |product: &dyn Fn((f64, f64), (f64, f64)) -> f64| {
            Mat::from_fn(places.len(), n * n, |point, pair| {
                product(basis[point][pair / n], basis[point][pair % n])
            })
        };
        let h = interval.length;
        PointProducts {
            both: of(&|(a, _), (b, _)| a * b),
            first: of(&|(_, a), (b, _)| a / h * b),
            second: of(&|(a, _), (_, b)| a * b / h),
            slopes: of(&|(_, a), (_, b)| a * b / (h * h)),
        }
    }

    fn of(&self, first: bool, second: bool) -> &Mat<f64> {
        match (first, second) {
            (true, true) => &self.slopes,
            (true, false) => &self.first,
            (false, true) => &self.second,
            (false, false) => &self.both,
        }
    }
}

fn summed(intervals: &[Interval; 3], filling: &Filling) -> CellMatrices {
    let along = [0, 1, 2].map(|axis| PointProducts::new(&intervals[axis], &filling.places[axis]));
    let [qx, qy, qz] = [0, 1, 2].map(|axis| filling.places[axis].len());
    let sizes = intervals.map(|interval| interval.order + 1);
    let pairs = sizes.map(|size| size * size);
    let n = count(intervals);
    let times = |a: MatRef<f64>, b: MatRef<f64>| {
        let mut product = Mat::zeros(a.nrows(), b.ncols());
        matmul(product.as_mut(), Accum::Replace, a, b, 1.0, Par::Seq);
        product
    };
    let [stiff, heavy] = LEFT.map(|left| {
        let both = filling.weights.iter().zip(&filling.empty);
        both.map(|(own, empty)| own + left * empty).collect::<Vec<f64>>()
    });
    // The integral of ∂_i φa ∂_j φb; without i and j, of φa φb.
    let integral = |by: Option<(usize, usize)>| {
        let weights = if by.is_some() { &stiff } else { &heavy };
        let [x, y, z] = [0, 1, 2].map(|axis| {
            let (i, j) = by.unwrap_or((3, 3));
            along[axis].of(i == axis, j == axis)
        });
        // Over z, shape (z pairs, x and y points); over y, shape (y pairs, z pairs) for each x point; then over x.
        let weights = MatRef::from_column_major_slice(weights, qz, qx * qy);
        let in_z = times(z.transpose(), weights);
        let mut in_y = Mat::zeros(pairs[1] * pairs[2], qx);
        for point in 0..qx {
            let own = times(y.transpose(), in_z.subcols(point * qy, qy).transpose());
            for k in 0..pairs[2] {
                for j in 0..pairs[1] {
                    in_y[(j * pairs[2] + k, point)] = own[(j, k)];
                }
            }
        }
        let all = times(in_y.as_ref(), x.as_ref());
        let places = |a: usize| [a / (sizes[1] * sizes[2]), a / sizes[2] % sizes[1], a % sizes[2]];
        Mat::from_fn(n, n, |a, b| {
            let (a, b) = (places(a), places(b));
            let [x, y, z] = [0, 1, 2].map(|axis| a[axis] * sizes[axis] + b[axis]);
            all[(y * pairs[2] + z, x)]
        })
    };
    let p = [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)].map(|pair| integral(Some(pair)));
    combined(filling.material, &p, integral(None))
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
        let orders = intervals.map(|interval| interval.order);
        let [xs, ys, zs] = orders.map(|order| gauss(2 * order + 1));
        let mut weights = Vec::new();
        for (_, wx) in &xs {
            for (_, wy) in &ys {
                weights.extend(zs.iter().map(|(_, wz)| wx * wy * wz * 0.3 * 0.1 * 0.02));
            }
        }
        let cut = Content::Cut(vec![Filling::new(7, orders, [weights.clone(), vec![0.0; weights.len()]])]);
        let [whole] = &matrices(&intervals, &Content::Full(7))[..] else { panic!() };
        let [sum] = &matrices(&intervals, &cut)[..] else { panic!() };
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
