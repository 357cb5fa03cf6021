//! The parts that a body is drawn of: outlines with a thickness, in place and turned, and how deep a point lies
//! in one.

use nalgebra::{Matrix3, Vector3};

/// A closed curve in the plane of an outline.
#[derive(Debug, Clone, PartialEq)]
pub enum Ring {
    /// Straight lines through points, m.
    Polygon(Vec<[f64; 2]>),
    /// A circle.
    Circle {
        /// Its centre, m.
        centre: [f64; 2],
        /// Its radius, m.
        radius: f64,
    },
}

impl Ring {
    /// A rectangle about the origin.
    pub fn rectangle(width: f64, height: f64) -> Ring {
        let (y, z) = (width / 2.0, height / 2.0);
        Ring::Polygon(vec![[-y, -z], [y, -z], [y, z], [-y, z]])
    }

    /// True when `point` is inside.
    fn holds(&self, [y, z]: [f64; 2]) -> bool {
        match self {
            Ring::Circle { centre, radius } => (y - centre[0]).hypot(z - centre[1]) < *radius,
            Ring::Polygon(points) => sides(points).fold(false, |inside, (a, b)| {
                let crosses =
                    (a[1] > z) != (b[1] > z) && y < a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                inside != crosses
            }),
        }
    }

    /// Distance from `point` to the curve, m, and the direction of the nearest place; to its sides that `counts`
    /// alone.
    fn distance(&self, [y, z]: [f64; 2], counts: impl Fn([f64; 2], [f64; 2]) -> bool) -> (f64, [f64; 2]) {
        match self {
            Ring::Circle { centre, radius } => {
                let off = [y - centre[0], z - centre[1]];
                let reach = off[0].hypot(off[1]);
                let normal = if reach > 0.0 { off.map(|x| x / reach) } else { [1.0, 0.0] };
                ((reach - radius).abs(), normal)
            }
            Ring::Polygon(points) => {
                let sides = sides(points).filter(|(a, b)| counts(*a, *b));
                sides.fold((f64::INFINITY, [1.0, 0.0]), |least, (a, b)| {
                    let along = [b[0] - a[0], b[1] - a[1]];
                    let square = along[0] * along[0] + along[1] * along[1];
                    let t = ((y - a[0]) * along[0] + (z - a[1]) * along[1]) / square.max(f64::MIN_POSITIVE);
                    let t = t.clamp(0.0, 1.0);
                    let off = [y - a[0] - t * along[0], z - a[1] - t * along[1]];
                    let reach = off[0].hypot(off[1]);
                    if reach < least.0 {
                        (reach, off.map(|x| x / reach.max(f64::MIN_POSITIVE)))
                    } else {
                        least
                    }
                })
            }
        }
    }
}

fn sides(points: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    let count = points.len();
    (0..count).map(move |i| (points[i], points[(i + 1) % count]))
}

/// One part of a body: what lies inside an odd number of its rings, over a length.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The curves, in its own axes y and z.
    pub rings: Vec<Ring>,
    /// Its extent along its own x axis, m.
    pub length: f64,
    /// Where its middle is, m.
    pub middle: Vector3<f64>,
    /// Its own axes x, y and z, one per column, orthonormal.
    pub axes: Matrix3<f64>,
    /// Its material, by number; `None` is empty and cuts what lies under it.
    pub material: Option<usize>,
}

impl Part {
    /// A box with its edges along the axes of the body; sizes in m.
    pub fn cuboid(sizes: [f64; 3], middle: [f64; 3], material: Option<usize>) -> Part {
        Part {
            rings: vec![Ring::rectangle(sizes[1], sizes[2])],
            length: sizes[0],
            middle: middle.into(),
            axes: Matrix3::identity(),
            material,
        }
    }

    /// A round bar along the direction `along`; m.
    pub fn cylinder(
        diameter: f64,
        length: f64,
        along: Vector3<f64>,
        middle: [f64; 3],
        material: Option<usize>,
    ) -> Part {
        let rings = vec![Ring::Circle { centre: [0.0; 2], radius: diameter / 2.0 }];
        Part { rings, length, middle: middle.into(), axes: upright(along), material }
    }

    /// True when `point` is inside.
    pub fn holds(&self, point: &Vector3<f64>) -> bool {
        let own = self.axes.tr_mul(&(point - self.middle));
        own.x.abs() < 0.5 * self.length && self.within([own.y, own.z])
    }

    fn within(&self, plane: [f64; 2]) -> bool {
        self.rings.iter().fold(false, |inside, ring| inside != ring.holds(plane))
    }

    /// How far `point` is inside the faces that are not square to the axes of the body, m, negative outside, and
    /// the normal of the nearest one; `None` where the part has no such face.
    pub fn depth(&self, point: &Vector3<f64>) -> Option<(f64, Vector3<f64>)> {
        let own = self.axes.tr_mul(&(point - self.middle));
        let plane = [own.y, own.z];
        let skew = |a: [f64; 2], b: [f64; 2]| !self.is_square(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]));
        let nearest = self.rings.iter().map(|ring| ring.distance(plane, skew));
        let (off, normal) = nearest.fold((f64::INFINITY, [0.0; 2]), |a, b| if b.0 < a.0 { b } else { a });
        let mut found = off.is_finite().then(|| {
            let depth = if self.within(plane) { off } else { -off };
            (depth, self.axes * Vector3::new(0.0, normal[0], normal[1]))
        });
        if !self.is_square(Vector3::x()) {
            let end = 0.5 * self.length - own.x.abs();
            let nearer = found.is_none_or(|(depth, _)| end < depth);
            found = if nearer { Some((end, self.axes * Vector3::x())) } else { found };
        }
        found
    }

    /// True when `point` is inside all faces that are square to the axes of the body; the others do not count.
    pub fn within_square(&self, point: &Vector3<f64>) -> bool {
        let own = self.axes.tr_mul(&(point - self.middle));
        let square = |a: [f64; 2], b: [f64; 2]| self.is_square(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]));
        let all_square = self.rings.iter().all(|ring| match ring {
            Ring::Circle { .. } => false,
            Ring::Polygon(points) => sides(points).all(|(a, b)| square(a, b)),
        });
        (!self.is_square(Vector3::x()) || own.x.abs() < 0.5 * self.length)
            && (!all_square || self.within([own.y, own.z]))
    }

    /// The axes of the body that some face is neither square to nor parallel to.
    pub fn skew_axes(&self) -> [bool; 3] {
        let mut skew = [false; 3];
        let mut meet = |own: Vector3<f64>| {
            if !self.is_square(own) {
                let normal = self.axes * own;
                (0..3).for_each(|axis| skew[axis] |= normal[axis].abs() > SQUARE);
            }
        };
        meet(Vector3::x());
        for ring in &self.rings {
            match ring {
                Ring::Circle { .. } => {
                    // All directions of the plane, of which two are enough.
                    meet(Vector3::new(0.0, 0.8, 0.6));
                    meet(Vector3::new(0.0, -0.6, 0.8));
                }
                Ring::Polygon(points) => sides(points)
                    .for_each(|(a, b)| meet(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]).normalize())),
            }
        }
        skew
    }

    /// True when a face with this normal in the part's own axes is square to an axis of the body.
    fn is_square(&self, own: Vector3<f64>) -> bool {
        let normal = self.axes * own;
        normal.iter().filter(|x| x.abs() > SQUARE * normal.norm()).count() == 1
    }

    /// The part in axes turned by `turn`: coordinates c become `turn`ᵀ c.
    pub fn turned(&self, turn: &Matrix3<f64>) -> Part {
        Part { middle: turn.tr_mul(&self.middle), axes: turn.tr_mul(&self.axes), ..self.clone() }
    }

    /// The least and greatest coordinates, m.
    pub fn extent(&self) -> [[f64; 3]; 2] {
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        let mut meet = |corner: Vector3<f64>, reach: [f64; 3]| {
            for axis in 0..3 {
                low[axis] = low[axis].min(corner[axis] - reach[axis]);
                high[axis] = high[axis].max(corner[axis] + reach[axis]);
            }
        };
        let at = |x: f64, y: f64, z: f64| self.middle + self.axes * Vector3::new(x, y, z);
        for x in [-0.5 * self.length, 0.5 * self.length] {
            for ring in &self.rings {
                match ring {
                    Ring::Polygon(points) => points.iter().for_each(|[y, z]| meet(at(x, *y, *z), [0.0; 3])),
                    Ring::Circle { centre, radius } => {
                        let reach = [0, 1, 2].map(|i| radius * self.axes[(i, 1)].hypot(self.axes[(i, 2)]));
                        meet(at(x, centre[0], centre[1]), reach);
                    }
                }
            }
        }
        [low, high]
    }

    /// By axis of the body: the places of its faces that are square to it, m.
    pub fn planes(&self) -> [Vec<f64>; 3] {
        let mut planes = [const { Vec::new() }; 3];
        let mut place = |own: Vector3<f64>, at: Vector3<f64>| {
            if self.is_square(own) {
                let axis = (self.axes * own).iamax();
                planes[axis].push((self.middle + self.axes * at)[axis]);
            }
        };
        for end in [-0.5, 0.5] {
            place(Vector3::x(), Vector3::new(end * self.length, 0.0, 0.0));
        }
        for ring in &self.rings {
            let Ring::Polygon(points) = ring else { continue };
            for (a, b) in sides(points) {
                place(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]), Vector3::new(0.0, a[0], a[1]));
            }
        }
        planes
    }

    /// Number of its faces that are square to the axes of the body, less those that are not; a circle counts as
    /// one.
    pub fn squareness(&self) -> isize {
        let one = |square: bool| if square { 1 } else { -1 };
        let ring = |ring: &Ring| match ring {
            Ring::Circle { .. } => -1,
            Ring::Polygon(points) => sides(points)
                .map(|(a, b)| one(self.is_square(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]))))
                .sum::<isize>(),
        };
        2 * one(self.is_square(Vector3::x())) + self.rings.iter().map(ring).sum::<isize>()
    }
}

/// Sine of the angle below which faces are square to an axis.
const SQUARE: f64 = 1e-9;

/// Own axes of a part that runs along `along`: its z axis as near to global z as can be, to y where it is upright.
pub fn upright(along: Vector3<f64>) -> Matrix3<f64> {
    let x = along.normalize();
    let up = if x.z.abs() > 1.0 - SQUARE { Vector3::y() } else { Vector3::z() };
    let y = up.cross(&x).normalize();
    Matrix3::from_columns(&[x, y, x.cross(&y)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_tube_along_the_axes_has_planes_and_no_skew_face() {
        let rings = vec![Ring::rectangle(0.04, 0.06), Ring::rectangle(0.034, 0.054)];
        let part = Part { rings, ..Part::cuboid([0.5, 0.0, 0.0], [0.0; 3], Some(0)) };
        assert!(part.holds(&Vector3::new(0.0, 0.019, 0.0)) && !part.holds(&Vector3::zeros()));
        assert_eq!(part.depth(&Vector3::zeros()), None);
        assert_eq!(part.planes().map(|p| p.len()), [2, 4, 4]);
        assert_eq!(part.squareness(), 10);
    }

    #[test]
    fn depth_is_the_distance_to_the_nearest_skew_face() {
        let round = Part::cylinder(0.2, 0.3, Vector3::z(), [0.0; 3], Some(0));
        let (depth, normal) = round.depth(&Vector3::new(0.06, 0.0, 0.149)).unwrap();
        assert_relative_eq!(depth, 0.04, max_relative = 1e-12);
        assert_relative_eq!(normal.x.abs(), 1.0, max_relative = 1e-12);
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let part = Part::cuboid([0.5, 0.3, 0.1], [0.1, 0.0, 0.0], Some(0)).turned(&turn.transpose());
        let (depth, _) = part.depth(&(turn * Vector3::new(0.2, 0.1, 0.03))).unwrap();
        assert_relative_eq!(depth, 0.02, max_relative = 1e-12);
        assert!(part.squareness() < 0 && part.turned(&turn).squareness() > 0);
    }

    #[test]
    fn a_leaning_cylinder_reaches_as_far_as_its_rim() {
        let along = Vector3::new(1.0, 0.0, 1.0);
        let [low, high] = Part::cylinder(0.2, 0.4, along, [0.0; 3], Some(0)).extent();
        let reach = (0.2 + 0.1) * 0.5_f64.sqrt();
        assert_relative_eq!(high[0], reach, max_relative = 1e-12);
        assert_relative_eq!(low[2], -reach, max_relative = 1e-12);
        assert_relative_eq!(high[1], 0.1, max_relative = 1e-12);
    }
}
