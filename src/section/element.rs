//! The six-node triangle: quadratic along each side, its sides curved where the outline is.
//!
//! ```text
//! N_i = L_i (2 L_i - 1),  N_3 = 4 L_0 L_1,  N_4 = 4 L_1 L_2,  N_5 = 4 L_2 L_0
//! ```
//!
//! Integrals take the six-point rule that is exact for polynomials of degree 4.
//!
//! # Source
//! - `dunavant1985`: table of rules, degree 4 (points and weights from memory, checked by the tests below)

use super::shape::Point;

/// Points of a triangle's rule.
pub(super) const GAUSS: usize = 6;

/// The small area coordinate of the three points that lie next to corners: points 4, 5 and 3 of the
/// rule lie next to corners 0, 1 and 2.
pub(super) const NEAR_CORNER: f64 = 0.091576213509771;

/// Area coordinates (L_0, L_1) and weight of each point; the weights add up to 1.
const RULE: [(f64, f64, f64); GAUSS] = {
    const A: f64 = 0.445948490915965;
    const B: f64 = NEAR_CORNER;
    const WA: f64 = 0.223381589678011;
    const WB: f64 = 0.109951743655322;
    [
        (A, A, WA),
        (1.0 - 2.0 * A, A, WA),
        (A, 1.0 - 2.0 * A, WA),
        (B, B, WB),
        (1.0 - 2.0 * B, B, WB),
        (B, 1.0 - 2.0 * B, WB),
    ]
};

/// What an element knows at one point of its rule.
#[derive(Debug, Clone, Copy)]
pub(super) struct GaussPoint {
    /// Weight times area, m2.
    pub area: f64,
    /// Place, m.
    pub at: Point,
    /// Shape functions.
    pub n: [f64; 6],
    /// Their derivatives along y and z, 1/m.
    pub slope: [[f64; 6]; 2],
}

fn shape_functions(a: f64, b: f64) -> ([f64; 6], [[f64; 6]; 2]) {
    let c = 1.0 - a - b;
    let n = [
        a * (2.0 * a - 1.0),
        b * (2.0 * b - 1.0),
        c * (2.0 * c - 1.0),
        4.0 * a * b,
        4.0 * b * c,
        4.0 * c * a,
    ];
    let by_a = [4.0 * a - 1.0, 0.0, 1.0 - 4.0 * c, 4.0 * b, -4.0 * b, 4.0 * (c - a)];
    let by_b = [0.0, 4.0 * b - 1.0, 1.0 - 4.0 * c, 4.0 * a, 4.0 * (c - b), -4.0 * a];
    (n, [by_a, by_b])
}

/// The points of the rule in the element with these six nodes; `None` when it is folded.
pub(super) fn gauss_points(nodes: &[Point; 6]) -> Option<[GaussPoint; GAUSS]> {
    let mut points = [GaussPoint { area: 0.0, at: [0.0; 2], n: [0.0; 6], slope: [[0.0; 6]; 2] }; GAUSS];
    for (point, (a, b, weight)) in points.iter_mut().zip(RULE) {
        let (n, by) = shape_functions(a, b);
        let mut jacobian = [[0.0; 2]; 2];
        for i in 0..6 {
            for axis in 0..2 {
                point.at[axis] += n[i] * nodes[i][axis];
                jacobian[0][axis] += by[0][i] * nodes[i][axis];
                jacobian[1][axis] += by[1][i] * nodes[i][axis];
            }
        }
        let determinant = jacobian[0][0] * jacobian[1][1] - jacobian[0][1] * jacobian[1][0];
        if determinant <= 0.0 || !determinant.is_finite() {
            return None;
        }
        for i in 0..6 {
            point.slope[0][i] = (jacobian[1][1] * by[0][i] - jacobian[0][1] * by[1][i]) / determinant;
            point.slope[1][i] = (jacobian[0][0] * by[1][i] - jacobian[1][0] * by[0][i]) / determinant;
        }
        point.n = n;
        point.area = 0.5 * weight * determinant;
    }
    Some(points)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NODES: [Point; 6] = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.5, 0.0], [0.5, 0.5], [0.0, 0.5]];

    #[test]
    fn the_rule_integrates_degree_four() {
        let points = gauss_points(&NODES).unwrap();
        let integral = |i: i32, j: i32| -> f64 {
            points.iter().map(|p| p.area * p.at[0].powi(i) * p.at[1].powi(j)).sum()
        };
        // i! j! / (i + j + 2)!
        approx::assert_relative_eq!(integral(0, 0), 0.5, max_relative = 1e-13);
        approx::assert_relative_eq!(integral(4, 0), 24.0 / 720.0, max_relative = 1e-13);
        approx::assert_relative_eq!(integral(2, 2), 4.0 / 720.0, max_relative = 1e-13);
        approx::assert_relative_eq!(integral(3, 1), 6.0 / 720.0, max_relative = 1e-13);
    }

    #[test]
    fn slopes_of_a_quadratic_are_exact() {
        for p in gauss_points(&NODES).unwrap() {
            let of =
                |weights: &[f64; 6]| -> f64 { (0..6).map(|i| weights[i] * NODES[i][0] * NODES[i][1]).sum() };
            approx::assert_relative_eq!(of(&p.n), p.at[0] * p.at[1], epsilon = 1e-14);
            approx::assert_relative_eq!(of(&p.slope[0]), p.at[1], epsilon = 1e-13);
            approx::assert_relative_eq!(of(&p.slope[1]), p.at[0], epsilon = 1e-13);
        }
    }

    #[test]
    fn a_folded_element_is_refused() {
        let mut folded = NODES;
        folded.swap(1, 2);
        assert!(gauss_points(&folded).is_none());
    }
}
