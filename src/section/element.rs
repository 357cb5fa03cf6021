//! The ten-node triangle: cubic along each side, with curved sides where the outline is curved.
//!
//! A thin wall in shear or torsion warps by a cubic across its thickness, which this element represents
//! exactly.
//!
//! ```text
//! corner       L_i (3 L_i - 1) (3 L_i - 2) / 2
//! on a side    9/2 L_i L_j (3 L_i - 1), the node nearer to corner i
//! inside       27 L_0 L_1 L_2
//! ```
//!
//! Integration uses a twelve-point rule that is exact for polynomials of degree 6.
//!
//! # Source
//! - `dunavant1985`: table of rules, degree 6 (points and weights from memory, checked by the tests below)

use super::point::Point;
use std::sync::LazyLock;

/// Nodes: corners anticlockwise, two along each side from corner i to the next, one inside.
pub(super) const NODES: usize = 10;

/// Nodes on the border of a triangle.
pub(super) const OUTER: usize = NODES - 1;

/// Points of the integration rule.
pub(super) const GAUSS: usize = 12;

/// Pairs of nodes, for a symmetric matrix.
pub(super) const PAIRS: usize = NODES * (NODES + 1) / 2;

/// Points at which strains are compared: the corners, then the middles of the sides.
pub(super) const SAMPLES: usize = 6;

/// Area coordinates and weights of the rule; the weights add up to 1.
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

/// An element at one integration point.
#[derive(Debug, Clone, Copy)]
pub(super) struct ElementPoint {
    /// Weight times area, m2.
    pub area: f64,
    /// Coordinates, m.
    pub at: Point,
    /// Shape functions.
    pub n: [f64; NODES],
    /// Derivatives of the shape functions along y and z, 1/m.
    pub slope: [[f64; NODES]; 2],
}

/// A point of the reference triangle: shape functions, their derivatives by the first two area
/// coordinates, integration weight.
struct Reference {
    n: [f64; NODES],
    by: [[f64; NODES]; 2],
    weight: f64,
}

impl Reference {
    fn new(l: [f64; 3], weight: f64) -> Reference {
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
        Reference { n, by: [0, 1].map(|i| std::array::from_fn(|node| by[i][node] - by[2][node])), weight }
    }

    /// The same point in an element with these nodes; `None` where the element is folded.
    fn in_element(&self, nodes: &[Point; NODES]) -> Option<ElementPoint> {
        let map = Map::new(nodes, &self.by)?;
        let mut at = [0.0; 2];
        for (n, node) in self.n.iter().zip(nodes) {
            at[0] += n * node[0];
            at[1] += n * node[1];
        }
        Some(ElementPoint {
            area: 0.5 * self.weight * map.determinant,
            at,
            n: self.n,
            slope: [0, 1].map(|axis| {
                let [a, b] = map.inverse[axis];
                std::array::from_fn(|i| a * self.by[0][i] + b * self.by[1][i])
            }),
        })
    }
}

/// Maps derivatives by area coordinates to derivatives along y and z.
struct Map {
    determinant: f64,
    inverse: [[f64; 2]; 2],
}

impl Map {
    fn new(nodes: &[Point; NODES], by: &[[f64; NODES]; 2]) -> Option<Map> {
        let mut jacobian = [[0.0; 2]; 2];
        for (row, by) in jacobian.iter_mut().zip(by) {
            for (by, node) in by.iter().zip(nodes) {
                row[0] += by * node[0];
                row[1] += by * node[1];
            }
        }
        let [[a, b], [c, d]] = jacobian;
        let determinant = a * d - b * c;
        if determinant <= 0.0 || !determinant.is_finite() {
            return None;
        }
        let inverse = [[d / determinant, -b / determinant], [-c / determinant, a / determinant]];
        Some(Map { determinant, inverse })
    }
}

static POINTS: LazyLock<[Reference; GAUSS]> =
    LazyLock::new(|| RULE.map(|(l, weight)| Reference::new(l, weight)));

static SAMPLED: LazyLock<[Reference; SAMPLES]> = LazyLock::new(|| SAMPLE.map(|l| Reference::new(l, 0.0)));

/// Integrals over a triangle of unit area of products of two derivatives by area coordinates:
/// first by first, first by second and second by first, second by second.
static PRODUCTS: LazyLock<[[f64; PAIRS]; 3]> = LazyLock::new(|| {
    let mut sums = [[0.0; PAIRS]; 3];
    for point in POINTS.iter() {
        for (slot, (i, j)) in pairs().enumerate() {
            let [first, second] = &point.by;
            sums[0][slot] += point.weight * first[i] * first[j];
            sums[1][slot] += point.weight * (first[i] * second[j] + second[i] * first[j]);
            sums[2][slot] += point.weight * second[i] * second[j];
        }
    }
    sums
});

/// Integrals over a triangle of unit area of each area coordinate times a shape function, and times
/// its derivatives by the first two area coordinates.
static BY_PLACE: LazyLock<[[[f64; NODES]; 3]; 3]> = LazyLock::new(|| {
    let mut sums = [[[0.0; NODES]; 3]; 3];
    for (point, (l, _)) in POINTS.iter().zip(RULE) {
        for (sums, factors) in sums.iter_mut().zip([&point.n, &point.by[0], &point.by[1]]) {
            for (sums, l) in sums.iter_mut().zip(l) {
                sums.iter_mut().zip(factors).for_each(|(sum, factor)| *sum += point.weight * l * factor);
            }
        }
    }
    sums
});

/// Integrals over a triangle of unit area of the derivatives of the shape functions by the first two
/// area coordinates, times the quadratic that is 1 at one sample and 0 at the others.
static BY_SAMPLE: LazyLock<[[[f64; NODES]; SAMPLES]; 2]> = LazyLock::new(|| {
    let mut sums = [[[0.0; NODES]; SAMPLES]; 2];
    for (point, (l, _)) in POINTS.iter().zip(RULE) {
        let quadratics: [f64; SAMPLES] = std::array::from_fn(|sample| match sample {
            0..3 => l[sample] * (2.0 * l[sample] - 1.0),
            _ => 4.0 * l[sample - 3] * l[(sample - 2) % 3],
        });
        for (sums, by) in sums.iter_mut().zip(&point.by) {
            for (sums, quadratic) in sums.iter_mut().zip(quadratics) {
                sums.iter_mut().zip(by).for_each(|(sum, by)| *sum += point.weight * quadratic * by);
            }
        }
    }
    sums
});

/// The pairs (i, j), j up to i, in the order of a lower triangle by rows.
fn pairs() -> impl Iterator<Item = (usize, usize)> {
    (0..NODES).flat_map(|i| (0..=i).map(move |j| (i, j)))
}

/// Product of a symmetric matrix, given by rows of its lower triangle, and a vector.
pub(super) fn times(lower: &[f64; PAIRS], x: &[f64; NODES]) -> [f64; NODES] {
    let mut product = [0.0; NODES];
    let mut from = 0;
    for i in 0..NODES {
        let (row, mut sum) = (&lower[from..=from + i], 0.0);
        for j in 0..i {
            sum += row[j] * x[j];
            product[j] += row[j] * x[i];
        }
        product[i] += sum + row[i] * x[i];
        from += i + 1;
    }
    product
}

/// One element with its nodes.
pub(super) struct Shaped {
    corners: [Point; NODES],
    /// Area, m2.
    pub area: f64,
    /// `int grad N_i . grad N_j`, lower triangle by rows.
    pub stiffness: [f64; PAIRS],
    /// Derivatives of the area coordinates; `None` where a side is curved.
    straight: Option<[[f64; 2]; 2]>,
}

impl Shaped {
    /// `None` when the element is folded.
    pub fn new(corners: [Point; NODES]) -> Option<Shaped> {
        let map = Map::new(&corners, &POINTS[0].by)?;
        let size = map.determinant.sqrt();
        let bent = |i: usize| {
            let (a, b) = (corners[i], corners[(i + 1) % 3]);
            let off = |node: usize, share: f64| {
                (0..2).any(|axis| {
                    (a[axis] + share * (b[axis] - a[axis]) - corners[node][axis]).abs() > 1e-9 * size
                })
            };
            off(3 + 2 * i, 1.0 / 3.0) || off(4 + 2 * i, 2.0 / 3.0)
        };
        if (0..3).any(bent) {
            return Shaped::curved(corners);
        }
        let area = 0.5 * map.determinant;
        let [[a, b], [c, d]] = map.inverse;
        let by = [area * (a * a + c * c), area * (a * b + c * d), area * (b * b + d * d)];
        let [first, mixed, second] = &*PRODUCTS;
        let mut stiffness = [0.0; PAIRS];
        for k in 0..PAIRS {
            stiffness[k] = by[0] * first[k] + by[1] * mixed[k] + by[2] * second[k];
        }
        Some(Shaped { corners, area, stiffness, straight: Some(map.inverse) })
    }

    fn curved(corners: [Point; NODES]) -> Option<Shaped> {
        let mut shaped = Shaped { corners, area: 0.0, stiffness: [0.0; PAIRS], straight: None };
        for reference in POINTS.iter() {
            let ElementPoint { area, slope: [y, z], .. } = reference.in_element(&corners)?;
            shaped.area += area;
            for (sum, (i, j)) in shaped.stiffness.iter_mut().zip(pairs()) {
                *sum += area * (y[i] * y[j] + z[i] * z[j]);
            }
        }
        SAMPLED.iter().all(|reference| reference.in_element(&corners).is_some()).then_some(shaped)
    }

    /// The mean of the three corners.
    pub fn middle(&self) -> Point {
        [0, 1].map(|axis| self.corners[..3].iter().map(|p| p[axis]).sum::<f64>() / 3.0)
    }

    /// The integration points.
    pub fn points(&self) -> impl Iterator<Item = ElementPoint> {
        POINTS.iter().filter_map(|reference| reference.in_element(&self.corners))
    }

    /// `int N`, `int N y`, `int N z` and `int z dN/dy - y dN/dz`, by node.
    pub fn loads(&self) -> [[f64; NODES]; 4] {
        let mut loads = [[0.0; NODES]; 4];
        let Some([[a, b], [c, d]]) = self.straight else {
            for ElementPoint { area, at: [y, z], n, slope: [along_y, along_z] } in self.points() {
                for i in 0..NODES {
                    loads[0][i] += area * n[i];
                    loads[1][i] += area * n[i] * y;
                    loads[2][i] += area * n[i] * z;
                    loads[3][i] += area * (z * along_y[i] - y * along_z[i]);
                }
            }
            return loads;
        };
        let [values, first, second] = &*BY_PLACE;
        for (corner, [y, z]) in self.corners[..3].iter().enumerate() {
            let (by_first, by_second) = (self.area * (z * a - y * c), self.area * (z * b - y * d));
            for i in 0..NODES {
                let n = self.area * values[corner][i];
                loads[0][i] += n;
                loads[1][i] += n * y;
                loads[2][i] += n * z;
                loads[3][i] += by_first * first[corner][i] + by_second * second[corner][i];
            }
        }
        loads
    }

    /// Points and areas of a rule that integrates quadratics.
    pub fn shares(&self) -> impl Iterator<Item = (Point, f64)> {
        let middle = |i: usize| {
            let (a, b) = (self.corners[i], self.corners[(i + 1) % 3]);
            ([0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])], self.area / 3.0)
        };
        let curved = self.straight.is_none().then(|| self.points().map(|point| (point.at, point.area)));
        let straight = self.straight.map(|_| (0..3).map(middle));
        curved.into_iter().flatten().chain(straight.into_iter().flatten())
    }

    /// `int f dN/dy` and `int f dN/dz` by node, for quadratics f given as functions of the point.
    pub fn slopes<const K: usize>(&self, f: impl Fn(Point) -> [f64; K]) -> [[[f64; NODES]; K]; 2] {
        let mut sums = [[[0.0; NODES]; K]; 2];
        let mut add = |axis: usize, values: &[f64; K], slopes: &[f64; NODES]| {
            for (sums, value) in sums[axis].iter_mut().zip(values) {
                sums.iter_mut().zip(slopes).for_each(|(sum, slope)| *sum += value * slope);
            }
        };
        let Some(inverse) = self.straight else {
            for ElementPoint { area, at, slope, .. } in self.points() {
                let values = f(at).map(|f| area * f);
                (0..2).for_each(|axis| add(axis, &values, &slope[axis]));
            }
            return sums;
        };
        let [by_first, by_second] = &*BY_SAMPLE;
        for sample in 0..SAMPLES {
            let values = f(self.sample_place(sample)).map(|f| self.area * f);
            let (first, second) = (&by_first[sample], &by_second[sample]);
            for (axis, [a, b]) in inverse.iter().enumerate() {
                let mut slopes = [0.0; NODES];
                (0..NODES).for_each(|i| slopes[i] = a * first[i] + b * second[i]);
                add(axis, &values, &slopes);
            }
        }
        sums
    }

    fn sample_place(&self, sample: usize) -> Point {
        match sample {
            0..3 => self.corners[sample],
            _ => {
                let [a, b] = [2 * sample - 3, 2 * sample - 2].map(|node| self.corners[node]);
                let ends = [self.corners[sample - 3], self.corners[(sample - 2) % 3]];
                [0, 1].map(|k| (9.0 * (a[k] + b[k]) - ends[0][k] - ends[1][k]) / 16.0)
            }
        }
    }

    /// The derivatives along y and z of a field with these nodal values, and the points: the corners,
    /// then the middles of the sides.
    pub fn sampled(&self, field: &[f64; NODES]) -> [([f64; 2], Point); SAMPLES] {
        let mut sampled = [([0.0; 2], [0.0; 2]); SAMPLES];
        for ((sample, reference), sampled) in SAMPLED.iter().enumerate().zip(&mut sampled) {
            let (mut first, mut second) = (0.0, 0.0);
            for i in 0..NODES {
                first += reference.by[0][i] * field[i];
                second += reference.by[1][i] * field[i];
            }
            let inverse = self
                .straight
                .or_else(|| Map::new(&self.corners, &reference.by).map(|map| map.inverse))
                .unwrap_or_default();
            let slope = inverse.map(|[a, b]| a * first + b * second);
            *sampled = (slope, self.sample_place(sample));
        }
        sampled
    }

    /// Unit normals at the middles of the sides; seen along the normal, the second of the side's inner
    /// nodes lies to the left of the first.
    pub fn normals(&self) -> [Point; 3] {
        [3, 5, 7].map(|i| {
            let (a, b) = (self.corners[i], self.corners[i + 1]);
            let along = [b[0] - a[0], b[1] - a[1]];
            let length = along[0].hypot(along[1]);
            [along[1] / length, -along[0] / length]
        })
    }
}

/// True when an element with these nodes is folded somewhere.
pub(super) fn folded(nodes: &[Point; NODES]) -> bool {
    Shaped::new(*nodes).is_none()
}

/// The integral over a triangle of unit area of the square of a quadratic, given at the corners and the
/// middles of the sides.
pub(super) fn square(f: &[f64; SAMPLES]) -> f64 {
    // Mass matrix times 180: corner with itself 6, with another corner -1, with the opposite middle -4;
    // middle with itself 32, with another middle 16.
    let [a, b, c, ab, bc, ca] = *f;
    (6.0 * (a * a + b * b + c * c) - 2.0 * (a * b + b * c + c * a) - 8.0 * (a * bc + b * ca + c * ab)
        + 32.0 * (ab * ab + bc * bc + ca * ca + ab * bc + bc * ca + ca * ab))
        / 180.0
}

/// The inner node from the nine others, so that straight sides give a straight element.
pub(super) fn inside(nodes: &[Point]) -> Point {
    [0, 1].map(|axis| {
        let sum = |from: usize, to: usize| nodes[from..to].iter().map(|p| p[axis]).sum::<f64>();
        0.25 * sum(3, 9) - sum(0, 3) / 6.0
    })
}

/// One triangle of a body.
pub(super) struct Element {
    /// Node numbers within the body; the inner node comes last.
    pub nodes: [usize; NODES],
    /// Index into the body's parts.
    pub part: usize,
    pub shaped: Shaped,
    /// Normals of its sides, with the same sign from both elements.
    pub normals: [Point; 3],
}

impl Element {
    /// The values of a field at the element's nodes.
    pub fn of(&self, field: &[f64]) -> [f64; NODES] {
        let mut own = [0.0; NODES];
        own.iter_mut().zip(self.nodes).for_each(|(own, node)| *own = field[node]);
        own
    }

    /// The shear strains along y and z at the sample points.
    pub fn strains(&self, field: &[f64], twist: bool) -> [[f64; 2]; SAMPLES] {
        let sampled = self.shaped.sampled(&self.of(field));
        sampled.map(|([y, z], at)| if twist { [y - at[1], z + at[0]] } else { [y, z] })
    }

    /// The node that identifies a sample point in all elements there; for a side the smaller of its two
    /// nodes.
    pub fn sampled_at(&self, sample: usize) -> usize {
        match sample {
            0..3 => self.nodes[sample],
            _ => self.nodes[2 * sample - 3].min(self.nodes[2 * sample - 2]),
        }
    }

    /// The row of the inner node in the element matrix.
    pub fn inner(&self) -> &[f64] {
        &self.shaped.stiffness[PAIRS - NODES..]
    }
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
        let shaped = Shaped::new(nodes()).unwrap();
        let integral = |i: i32, j: i32| -> f64 {
            shaped.points().map(|p| p.area * p.at[0].powi(i) * p.at[1].powi(j)).sum()
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
        let shaped = Shaped::new(nodes).unwrap();
        let cubic = nodes.map(|[y, z]| y * z * z);
        for p in shaped.points() {
            let of = |weights: &[f64; NODES]| -> f64 { weights.iter().zip(cubic).map(|(w, x)| w * x).sum() };
            approx::assert_relative_eq!(of(&p.n), p.at[0] * p.at[1] * p.at[1], epsilon = 1e-14);
            approx::assert_relative_eq!(of(&p.slope[0]), p.at[1] * p.at[1], epsilon = 1e-13);
            approx::assert_relative_eq!(of(&p.slope[1]), 2.0 * p.at[0] * p.at[1], epsilon = 1e-13);
        }
        for ([along_y, along_z], [y, z]) in shaped.sampled(&cubic) {
            approx::assert_relative_eq!(along_y, z * z, epsilon = 1e-13);
            approx::assert_relative_eq!(along_z, 2.0 * y * z, epsilon = 1e-13);
        }
        approx::assert_relative_eq!(inside(&nodes)[0], 1.0 / 3.0, epsilon = 1e-15);
    }

    #[test]
    fn a_straight_side_taken_as_curved_changes_nothing() {
        let straight = Shaped::new(nodes()).unwrap();
        let curved = Shaped::curved(nodes()).unwrap();
        approx::assert_relative_eq!(straight.area, curved.area, max_relative = 1e-14);
        for (a, b) in straight.stiffness.iter().zip(curved.stiffness) {
            approx::assert_relative_eq!(*a, b, epsilon = 1e-13);
        }
        for (a, b) in straight.loads().as_flattened().iter().zip(curved.loads().as_flattened()) {
            approx::assert_relative_eq!(a, b, epsilon = 1e-14);
        }
        let quadratics = |[y, z]: Point| [1.0, z, y * z, y * y];
        let slopes = [&straight, &curved].map(|shaped| shaped.slopes(quadratics));
        let [one, two] = slopes.each_ref().map(|slopes| slopes.as_flattened().as_flattened());
        for (a, b) in one.iter().zip(two) {
            approx::assert_relative_eq!(a, b, epsilon = 1e-14);
        }
        for shaped in [straight, curved] {
            let integral: f64 = shaped.shares().map(|([y, z], share)| share * y * z).sum();
            approx::assert_relative_eq!(integral, 1.0 / 24.0, epsilon = 1e-15);
        }
    }

    #[test]
    fn a_square_is_integrated() {
        // f = y + z^2 on the unit triangle, of area 1/2: 2 int f^2 = 2 (1/12 + 2/60 + 1/30).
        let f = Shaped::new(nodes()).unwrap().sampled(&[0.0; NODES]).map(|(_, at)| at[0] + at[1] * at[1]);
        approx::assert_relative_eq!(square(&f), 0.3, max_relative = 1e-12);
    }

    #[test]
    fn a_folded_element_is_refused() {
        let mut folded = nodes();
        folded.swap(1, 2);
        assert!(Shaped::new(folded).is_none());
    }
}
