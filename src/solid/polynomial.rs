//! Polynomials on one interval: the points of a nodal basis, and integrals of products of its members.
//!
//! The basis of order p has p + 1 members, each 1 at one of the Gauss-Lobatto points of the interval 0 to 1
//! and 0 at the others. Its members at the ends are shared with the neighbouring intervals.
//!
//! # Source
//! - `hughes1987`: ch. 3, Lagrange bases and Gaussian quadrature

use std::f64::consts::PI;

/// Value and first derivative of the Legendre polynomial of `order` at `x`, -1 to 1.
fn legendre(order: usize, x: f64) -> (f64, f64) {
    let (mut before, mut now) = (1.0, x);
    if order == 0 {
        return (1.0, 0.0);
    }
    for n in 1..order {
        let n = n as f64;
        (before, now) = (now, ((2.0 * n + 1.0) * x * now - n * before) / (n + 1.0));
    }
    let n = order as f64;
    let slope = if (1.0 - x * x).abs() < 1e-14 {
        x.powi(order as i32 + 1) * n * (n + 1.0) / 2.0
    } else {
        n * (before - x * now) / (1.0 - x * x)
    };
    (now, slope)
}

/// Gauss points on 0 to 1 and their weights; exact for polynomials up to order 2 `count` - 1.
pub fn gauss(count: usize) -> Vec<(f64, f64)> {
    let point = |i: usize| {
        let mut x = -((i as f64 + 0.75) / (count as f64 + 0.5) * PI).cos();
        for _ in 0..100 {
            let (value, slope) = legendre(count, x);
            let step = value / slope;
            x -= step;
            if step.abs() < 1e-16 {
                break;
            }
        }
        let slope = legendre(count, x).1;
        (0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * slope * slope))
    };
    (0..count).map(point).collect()
}

/// The Gauss-Lobatto points of `order` on 0 to 1, ends included, ascending.
pub fn lobatto(order: usize) -> Vec<f64> {
    let mut points = vec![0.0];
    for i in 1..order {
        // Between the ends they are the zeros of the derivative of the Legendre polynomial.
        let n = order as f64;
        let mut x = -(i as f64 / n * PI).cos();
        for _ in 0..100 {
            let (value, slope) = legendre(order, x);
            let curvature = (2.0 * x * slope - n * (n + 1.0) * value) / (1.0 - x * x);
            let step = slope / curvature;
            x -= step;
            if step.abs() < 1e-16 {
                break;
            }
        }
        points.push(0.5 * (1.0 + x));
    }
    points.push(1.0);
    points
}

/// Values at `x` of the Lagrange basis through `points`.
pub fn through(points: &[f64], x: f64) -> impl Iterator<Item = f64> {
    (0..points.len()).map(move |i| {
        let others = (0..points.len()).filter(|j| *j != i);
        others.map(|j| (x - points[j]) / (points[i] - points[j])).product()
    })
}

/// Values and slopes at `x` of the Lagrange basis through `points`.
pub fn lagrange(points: &[f64], x: f64) -> Vec<(f64, f64)> {
    let slope = |i: usize| -> f64 {
        let others = || (0..points.len()).filter(move |j| *j != i);
        let factor = |j: usize| (x - points[j]) / (points[i] - points[j]);
        others()
            .map(|k| others().filter(|j| *j != k).map(factor).product::<f64>() / (points[i] - points[k]))
            .sum()
    };
    through(points, x).zip((0..points.len()).map(slope)).collect()
}

/// Integrals over an interval of length h of products of its basis, each of shape (p + 1, p + 1), row by row.
#[derive(Debug, Clone)]
pub struct Products {
    /// ∫ φa φb, m.
    pub both: Vec<f64>,
    /// ∫ φa' φb.
    pub slope: Vec<f64>,
    /// ∫ φa' φb', 1/m.
    pub slopes: Vec<f64>,
}

impl Products {
    /// The integrals for `order` over an interval of length `h`, m.
    pub fn new(order: usize, h: f64) -> Products {
        let n = order + 1;
        let points = lobatto(order);
        let [mut both, mut slope, mut slopes] = [(); 3].map(|()| vec![0.0; n * n]);
        for (x, weight) in gauss(n) {
            let basis = lagrange(&points, x);
            for (a, (va, sa)) in basis.iter().enumerate() {
                for (b, (vb, sb)) in basis.iter().enumerate() {
                    both[a * n + b] += weight * h * va * vb;
                    slope[a * n + b] += weight * sa * vb;
                    slopes[a * n + b] += weight / h * sa * sb;
                }
            }
        }
        Products { both, slope, slopes }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn gauss_points_integrate_what_they_should() {
        for count in 1..24 {
            let most = 2 * count - 1;
            let sum: f64 = gauss(count).iter().map(|(x, w)| w * x.powi(most as i32)).sum();
            assert_relative_eq!(sum, 1.0 / (most as f64 + 1.0), max_relative = 1e-12);
        }
    }

    #[test]
    fn lobatto_points_of_order_3_are_known() {
        let points = lobatto(3);
        assert_relative_eq!(points[1], 0.5 * (1.0 - (0.2_f64).sqrt()), max_relative = 1e-14);
        assert_relative_eq!(points[2], 0.5 * (1.0 + (0.2_f64).sqrt()), max_relative = 1e-14);
        assert_eq!((lobatto(1), lobatto(2)), (vec![0.0, 1.0], vec![0.0, 0.5, 1.0]));
    }

    #[test]
    fn a_basis_is_one_at_its_own_point_and_gives_polynomials_back() {
        let points = lobatto(5);
        let at = lagrange(&points, points[2]);
        (0..6).for_each(|i| assert_relative_eq!(at[i].0, f64::from(u8::from(i == 2)), epsilon = 1e-14));
        let basis = lagrange(&points, 0.37);
        let value: f64 = basis.iter().zip(&points).map(|((v, _), x)| v * x.powi(5)).sum();
        let slope: f64 = basis.iter().zip(&points).map(|((_, s), x)| s * x.powi(5)).sum();
        assert_relative_eq!(value, 0.37_f64.powi(5), max_relative = 1e-12);
        assert_relative_eq!(slope, 5.0 * 0.37_f64.powi(4), max_relative = 1e-12);
    }

    #[test]
    fn linear_products_are_those_of_the_book() {
        let products = Products::new(1, 2.0);
        let close = |found: &[f64], known: [f64; 4]| {
            found.iter().zip(known).for_each(|(f, k)| assert_relative_eq!(*f, k, max_relative = 1e-13));
        };
        close(&products.both, [2.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0, 2.0 / 3.0]);
        close(&products.slope, [-0.5, -0.5, 0.5, 0.5]);
        close(&products.slopes, [0.5, -0.5, -0.5, 0.5]);
    }
}
