//! The ten-node triangle: cubic along each side, its sides curved where the outline is.
//!
//! A thin wall sheared or twisted warps by a cubic across it, which this element follows exactly.
//!
//! ```text
//! corner       L_i (3 L_i - 1) (3 L_i - 2) / 2
//! on a side    9/2 L_i L_j (3 L_i - 1), the node nearer to corner i
//! inside       27 L_0 L_1 L_2
//! ```
//!
//! Integrals take the twelve-point rule that is exact for polynomials of degree 6.
//!
//! # Source
//! - `dunavant1985`: table of rules, degree 6 (points and weights from memory, checked by the tests below)

use super::shape::Point;

/// Nodes: corners anticlockwise, two along each side from corner i to the next, one inside.
pub(super) const NODES: usize = 10;

/// Points of a triangle's rule.
pub(super) const GAUSS: usize = 12;

/// Where strains are compared: the corners, then the middles of the sides.
pub(super) const SAMPLES: usize = 6;

/// Area coordinates and weight of each point; the weights add up to 1.
const RULE: [([f64; 3], f64); GAUSS] = {
    const A: f64 = 0.249286745170910;
    const B: f64 = 0.063089014491502;
    const C: f64 = 0.053145049844817;
    const D: f64 = 0.310352451033784;
    const E: f64 = 1.0 - C - D;
    const WA: f64 = 0.116786275726379;
    const WB: f64 = 0.050844906370207;
    const WC: f64 = 0.082851075618374;
    [
        ([1.0 - 2.0 * A, A, A], WA),
        ([A, 1.0 - 2.0 * A, A], WA),
        ([A, A, 1.0 - 2.0 * A], WA),
        ([1.0 - 2.0 * B, B, B], WB),
        ([B, 1.0 - 2.0 * B, B], WB),
        ([B, B, 1.0 - 2.0 * B], WB),
        ([C, D, E], WC),
        ([C, E, D], WC),
        ([D, C, E], WC),
        ([D, E, C], WC),
        ([E, C, D], WC),
        ([E, D, C], WC),
    ]
};

const SAMPLE: [[f64; 3]; SAMPLES] =
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]];

/// What an element knows at one point.
#[derive(Debug, Clone, Copy)]
pub(super) struct ElementPoint {
    /// Weight times area, m2.
    pub area: f64,
    /// Place, m.
    pub at: Point,
    /// Shape functions.
    pub n: [f64; NODES],
    /// Their derivatives along y and z, 1/m.
    pub slope: [[f64; NODES]; 2],
}

/// The shape functions at area coordinates and their derivatives by the first two.
fn shape_functions(l: [f64; 3]) -> ([f64; NODES], [[f64; NODES]; 2]) {
    let mut n = [0.0; NODES];
    let mut by = [[0.0; NODES]; 3];
    for i in 0..3 {
        let j = (i + 1) % 3;
        n[i] = 0.5 * l[i] * (3.0 * l[i] - 1.0) * (3.0 * l[i] - 2.0);
        by[i][i] = 0.5 * ((27.0 * l[i] - 18.0) * l[i] + 2.0);
        for (node, near, far) in [(3 + 2 * i, i, j), (4 + 2 * i, j, i)] {
            n[node] = 4.5 * l[near] * l[far] * (3.0 * l[near] - 1.0);
            by[near][node] = 4.5 * l[far] * (6.0 * l[near] - 1.0);
            by[far][node] = 4.5 * l[near] * (3.0 * l[near] - 1.0);
        }
        by[i][9] = 27.0 * l[j] * l[(i + 2) % 3];
    }
    n[9] = 27.0 * l[0] * l[1] * l[2];
    (n, [0, 1].map(|i| std::array::from_fn(|node| by[i][node] - by[2][node])))
}

/// An element with these nodes at one point; `None` where it is folded.
fn at_point(nodes: &[Point; NODES], l: [f64; 3], weight: f64) -> Option<ElementPoint> {
    let (n, by) = shape_functions(l);
    let mut at = [0.0; 2];
    let mut jacobian = [[0.0; 2]; 2];
    for i in 0..NODES {
        for axis in 0..2 {
            at[axis] += n[i] * nodes[i][axis];
            jacobian[0][axis] += by[0][i] * nodes[i][axis];
            jacobian[1][axis] += by[1][i] * nodes[i][axis];
        }
    }
    let determinant = jacobian[0][0] * jacobian[1][1] - jacobian[0][1] * jacobian[1][0];
    if determinant <= 0.0 || !determinant.is_finite() {
        return None;
    }
    let mut slope = [[0.0; NODES]; 2];
    for i in 0..NODES {
        slope[0][i] = (jacobian[1][1] * by[0][i] - jacobian[0][1] * by[1][i]) / determinant;
        slope[1][i] = (jacobian[0][0] * by[1][i] - jacobian[1][0] * by[0][i]) / determinant;
    }
    Some(ElementPoint { area: 0.5 * weight * determinant, at, n, slope })
}

/// The points of the rule in the element with these nodes; `None` when it is folded.
pub(super) fn gauss_points(nodes: &[Point; NODES]) -> Option<[ElementPoint; GAUSS]> {
    gathered(|i| at_point(nodes, RULE[i].0, RULE[i].1))
}

/// The corners and the middles of the sides; `None` when the element is folded there.
pub(super) fn samples(nodes: &[Point; NODES]) -> Option<[ElementPoint; SAMPLES]> {
    gathered(|i| at_point(nodes, SAMPLE[i], 0.0))
}

fn gathered<const N: usize>(point: impl Fn(usize) -> Option<ElementPoint>) -> Option<[ElementPoint; N]> {
    let first = point(0)?;
    let mut points = [first; N];
    for i in 1..N {
        points[i] = point(i)?;
    }
    Some(points)
}

/// The integral of the square of a function given at the corners and the middles of the sides of a
/// triangle of unit area, quadratic between them.
pub(super) fn square(f: &[f64; SAMPLES]) -> f64 {
    // Corner with corner 6, with another corner -1, with the opposite middle -4; middle with
    // middle 32, with another middle 16; all over 180.
    let [a, b, c, ab, bc, ca] = *f;
    (6.0 * (a * a + b * b + c * c) - 2.0 * (a * b + b * c + c * a) - 8.0 * (a * bc + b * ca + c * ab)
        + 32.0 * (ab * ab + bc * bc + ca * ca + ab * bc + bc * ca + ca * ab))
        / 180.0
}

/// The node inside from the others, so that straight sides give a straight element.
pub(super) fn inside(nodes: &[Point]) -> Point {
    [0, 1].map(|axis| {
        let sum = |from: usize, to: usize| nodes[from..to].iter().map(|p| p[axis]).sum::<f64>();
        0.25 * sum(3, 9) - sum(0, 3) / 6.0
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nodes() -> [Point; NODES] {
        let t = 1.0 / 3.0;
        [
            [0.0, 0.0],
            [1.0, 0.0],
            [0.0, 1.0],
            [t, 0.0],
            [2.0 * t, 0.0],
            [2.0 * t, t],
            [t, 2.0 * t],
            [0.0, 2.0 * t],
            [0.0, t],
            [t, t],
        ]
    }

    #[test]
    fn the_rule_integrates_degree_six() {
        let points = gauss_points(&nodes()).unwrap();
        let integral = |i: i32, j: i32| -> f64 {
            points.iter().map(|p| p.area * p.at[0].powi(i) * p.at[1].powi(j)).sum()
        };
        let factorial = |n: i32| -> f64 { (1..=n).map(f64::from).product() };
        for (i, j) in [(0, 0), (6, 0), (3, 3), (4, 2), (5, 1), (2, 1)] {
            let exact = factorial(i) * factorial(j) / factorial(i + j + 2);
            approx::assert_relative_eq!(integral(i, j), exact, max_relative = 1e-12);
        }
    }

    #[test]
    fn slopes_of_a_cubic_are_exact() {
        let nodes = nodes();
        let all = gauss_points(&nodes).unwrap().into_iter().chain(samples(&nodes).unwrap());
        for p in all {
            let of = |weights: &[f64; NODES]| -> f64 {
                (0..NODES).map(|i| weights[i] * nodes[i][0] * nodes[i][1] * nodes[i][1]).sum()
            };
            approx::assert_relative_eq!(of(&p.n), p.at[0] * p.at[1] * p.at[1], epsilon = 1e-14);
            approx::assert_relative_eq!(of(&p.slope[0]), p.at[1] * p.at[1], epsilon = 1e-13);
            approx::assert_relative_eq!(of(&p.slope[1]), 2.0 * p.at[0] * p.at[1], epsilon = 1e-13);
        }
        approx::assert_relative_eq!(inside(&nodes)[0], 1.0 / 3.0, epsilon = 1e-15);
    }

    #[test]
    fn a_square_is_integrated() {
        // f = y + z^2 on the unit triangle, of area 1/2: 2 int f^2 = 2 (1/12 + 2/60 + 1/30).
        let f = samples(&nodes()).unwrap().map(|p| p.at[0] + p.at[1] * p.at[1]);
        approx::assert_relative_eq!(square(&f), 0.3, max_relative = 1e-12);
    }

    #[test]
    fn a_folded_element_is_refused() {
        let mut folded = nodes();
        folded.swap(1, 2);
        assert!(gauss_points(&folded).is_none());
    }
}
