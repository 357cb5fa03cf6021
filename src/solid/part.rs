//! The parts that a body is drawn of: outlines with a thickness or closed surfaces, in place and turned, and how deep
//! a point lies in one.

use crate::bounded::{Bounds, Stand};
use crate::closed_surface::ClosedSurface;
use nalgebra::{Matrix3, Vector3};
use std::sync::Arc;

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

    /// A point of the curve.
    fn first(&self) -> [f64; 2] {
        match self {
            Ring::Circle { centre, radius } => [centre[0] + radius, centre[1]],
            Ring::Polygon(points) => points.first().copied().unwrap_or_default(),
        }
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

    /// Distance from `point` to the curve, m, and the direction from the nearest place to it; to its sides that `counts`
    /// alone.
    fn distance(&self, [y, z]: [f64; 2], counts: impl Fn([f64; 2], [f64; 2]) -> bool) -> (f64, [f64; 2]) {
        match self {
            Ring::Circle { centre, radius } => {
                let off = [y - centre[0], z - centre[1]];
                let reach = off[0].hypot(off[1]);
                let side = if reach < *radius { -1.0 } else { 1.0 };
                let normal = if reach > 0.0 { off.map(|x| side * x / reach) } else { [1.0, 0.0] };
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

/// What bounds a part near a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Bound {
    /// A face: how far the point is inside it, m, negative outside, and its outward normal.
    Plane(f64, Vector3<f64>),
    /// Faces that the grid follows; true when the point is inside them.
    Side(bool),
}

/// One part of a body: what lies inside an odd number of its rings, over a length, or inside a closed surface.
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
    /// The closed surface that bounds it instead of rings; made by [`Part::bounded`].
    pub bounds: Option<Bounds>,
}

impl Part {
    /// What lies inside `surface`, drawn in axes that are the columns of `turn` and whose origin is at `at`, m.
    pub fn bounded(
        surface: Arc<ClosedSurface>,
        at: [f64; 3],
        turn: &Matrix3<f64>,
        material: Option<usize>,
    ) -> Part {
        Part {
            rings: Vec::new(),
            length: surface.sizes.x,
            middle: Vector3::from(at) + turn * surface.middle,
            axes: turn * surface.axes,
            material,
            bounds: Some(Bounds::new(surface)),
        }
    }

    /// Its surface, where it is bounded by one, with where that stands.
    fn surface(&self) -> Option<(&Bounds, Stand<'_>)> {
        self.bounds.as_ref().map(|bounds| (bounds, (&self.middle, &self.axes)))
    }

    /// A box with its edges along the axes of the body; sizes in m.
    pub fn cuboid(sizes: [f64; 3], middle: [f64; 3], material: Option<usize>) -> Part {
        Part {
            rings: vec![Ring::rectangle(sizes[1], sizes[2])],
            length: sizes[0],
            middle: middle.into(),
            axes: Matrix3::identity(),
            material,
            bounds: None,
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
        Part { rings, length, middle: middle.into(), axes: upright(along), material, bounds: None }
    }

    /// True when `point` is inside.
    pub fn holds(&self, point: &Vector3<f64>) -> bool {
        let own = self.axes.tr_mul(&(point - self.middle));
        match &self.bounds {
            Some(bounds) => bounds.surface().holds(&own),
            None => own.x.abs() < 0.5 * self.length && self.within([own.y, own.z]),
        }
    }

    fn within(&self, plane: [f64; 2]) -> bool {
        self.rings.iter().fold(false, |inside, ring| inside != ring.holds(plane))
    }

    /// The axes of the body that a face cutting the box about `middle`, which reaches `half` to each side, is neither
    /// square nor parallel to; `None` where no such face is near it.
    pub(crate) fn cut_across(&self, middle: &Vector3<f64>, half: &Vector3<f64>) -> Option<[bool; 3]> {
        match self.surface() {
            Some((bounds, stand)) => bounds.across(stand, middle, half),
            None => {
                let near = self.distance(middle).is_some_and(|distance| distance < half.norm());
                near.then(|| self.skew_axes())
            }
        }
    }

    /// Of a closed surface: how far the middle of a box is inside the face that cuts it, m, negative outside, and its
    /// outward normal, as far as one plane does for it: not near its edges.
    pub(crate) fn plane_in(&self, middle: &Vector3<f64>, half: &Vector3<f64>) -> Option<(f64, Vector3<f64>)> {
        self.surface().and_then(|(bounds, stand)| bounds.plane(stand, middle, half))
    }

    /// Of a part drawn by outlines: what bounds it near `point`, by ring, with 1 for what encloses material and -1 for
    /// what encloses a hole in it, and at its nearer end; `None` for a closed surface.
    pub(crate) fn bounds_near(&self, point: &Vector3<f64>) -> Option<(Vec<(f64, Bound)>, Bound)> {
        if self.bounds.is_some() {
            return None;
        }
        let own = self.axes.tr_mul(&(point - self.middle));
        let plane = [own.y, own.z];
        let ring = |(i, ring): (usize, &Ring)| {
            let others = self.rings.iter().enumerate().filter(|(j, _)| *j != i);
            let around = others.filter(|(_, other)| other.holds(ring.first())).count();
            let (off, normal) = ring.distance(plane, self.skew_sides());
            let normal = self.axes * Vector3::new(0.0, normal[0], normal[1]);
            let bound = match (off.is_finite(), ring.holds(plane)) {
                (false, held) => Bound::Side(held),
                (true, true) => Bound::Plane(off, -normal),
                (true, false) => Bound::Plane(-off, normal),
            };
            (if around % 2 == 0 { 1.0 } else { -1.0 }, bound)
        };
        let rings = self.rings.iter().enumerate().map(ring).collect();
        let depth = 0.5 * self.length - own.x.abs();
        let end = match self.is_square(Vector3::x()) {
            true => Bound::Side(depth > 0.0),
            false => Bound::Plane(depth, self.axes * Vector3::x() * own.x.signum()),
        };
        Some((rings, end))
    }

    /// True of the sides of an outline whose faces are not square to the axes of the body.
    fn skew_sides(&self) -> impl Fn([f64; 2], [f64; 2]) -> bool + '_ {
        |a, b| !self.is_square(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]))
    }

    /// Area of the skew triangles of its surface that pass through a box, m², each counted for no more than the largest
    /// face of the box.
    pub(crate) fn skew_area(&self, middle: &Vector3<f64>, half: &Vector3<f64>) -> f64 {
        self.surface().map_or(0.0, |(bounds, stand)| bounds.area(stand, middle, half))
    }

    /// True when some face of it is not square to the axes of the body.
    pub(crate) fn is_skew(&self) -> bool {
        match self.surface() {
            Some((bounds, stand)) => bounds.is_skew(stand),
            None => self.distance(&self.middle).is_some(),
        }
    }

    /// Of a part drawn by outlines: how far `point` is from the faces that are not square to the axes of the body, m;
    /// `None` where the part has no such face.
    fn distance(&self, point: &Vector3<f64>) -> Option<f64> {
        let (rings, end) = self.bounds_near(point)?;
        let all = rings.into_iter().map(|(_, bound)| bound).chain([end]);
        all.filter_map(|bound| match bound {
            Bound::Plane(depth, _) => Some(depth.abs()),
            Bound::Side(_) => None,
        })
        .reduce(f64::min)
    }

    /// True when `point` is inside all faces that are square to the axes of the body; the others do not count.
    pub fn within_square(&self, point: &Vector3<f64>) -> bool {
        if self.bounds.is_some() {
            return self.is_skew() || self.holds(point);
        }
        let own = self.axes.tr_mul(&(point - self.middle));
        let square = |a: [f64; 2], b: [f64; 2]| self.is_square(Vector3::new(0.0, b[1] - a[1], a[0] - b[0]));
        let all_square = self.rings.iter().all(|ring| match ring {
            Ring::Circle { .. } => false,
            Ring::Polygon(points) => sides(points).all(|(a, b)| square(a, b)),
        });
        (!self.is_square(Vector3::x()) || own.x.abs() < 0.5 * self.length)
            && (!all_square || self.within([own.y, own.z]))
    }

    /// Of a part drawn by outlines: the axes of the body that some face is neither square to nor parallel to.
    fn skew_axes(&self) -> [bool; 3] {
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
        if *turn == Matrix3::identity() {
            return self.clone();
        }
        let bounds = self.bounds.as_ref().map(Bounds::moved);
        Part { middle: turn.tr_mul(&self.middle), axes: turn.tr_mul(&self.axes), bounds, ..self.clone() }
    }

    /// The least and greatest coordinates, m.
    pub fn extent(&self) -> [[f64; 3]; 2] {
        if let Some((bounds, stand)) = self.surface() {
            return bounds.extent(stand);
        }
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

    /// Of a part drawn by outlines: its least size between faces that are square to no axis of the body, m, and the axes
    /// along which such faces run obliquely.
    pub(crate) fn oblique(&self) -> Option<(f64, [bool; 3])> {
        if self.bounds.is_some() {
            return None;
        }
        let reaches = |k: usize| {
            let ends = self.rings.iter().flat_map(move |ring| match ring {
                Ring::Circle { centre, radius } => vec![centre[k] - radius, centre[k] + radius],
                Ring::Polygon(points) => points.iter().map(|point| point[k]).collect(),
            });
            ends.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], x| [low.min(x), high.max(x)])
        };
        let across = |k: usize| reaches(k)[1] - reaches(k)[0];
        let own = [(Vector3::x(), self.length), (Vector3::y(), across(0)), (Vector3::z(), across(1))];
        let oblique: Vec<(Vector3<f64>, f64)> =
            own.into_iter().filter(|(own, _)| !self.is_square(*own)).collect();
        let least = oblique.iter().map(|(_, size)| *size).reduce(f64::min)?;
        let along = |axis: usize| oblique.iter().any(|(own, _)| (self.axes * own)[axis].abs() > SQUARE);
        Some((least, [0, 1, 2].map(along)))
    }

    /// By axis of the body: the places of its faces that are square to it, m; of a closed surface without the small
    /// ones.
    pub fn planes(&self) -> [Vec<f64>; 3] {
        if let Some((bounds, stand)) = self.surface() {
            return bounds.planes(stand).clone();
        }
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
    /// one, and a closed surface as six by area.
    pub fn squareness(&self) -> isize {
        if let Some(bounds) = &self.bounds {
            let [square, skew] = bounds.surface().square(&self.axes);
            return (6.0 * (square - skew)).round() as isize;
        }
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
        assert_eq!(part.distance(&Vector3::zeros()), None);
        assert_eq!(part.planes().map(|p| p.len()), [2, 4, 4]);
        assert_eq!(part.squareness(), 10);
    }

    #[test]
    fn depth_is_the_distance_to_the_nearest_skew_face() {
        let round = Part::cylinder(0.2, 0.3, Vector3::z(), [0.0; 3], Some(0));
        let point = Vector3::new(0.06, 0.0, 0.149);
        assert_relative_eq!(round.distance(&point).unwrap(), 0.04, max_relative = 1e-12);
        let (rings, end) = round.bounds_near(&point).unwrap();
        let [(_, Bound::Plane(depth, normal))] = rings[..] else { panic!() };
        assert_relative_eq!(depth, 0.04, max_relative = 1e-12);
        assert_relative_eq!(normal, Vector3::x(), max_relative = 1e-12);
        assert_eq!(end, Bound::Side(true));
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let part = Part::cuboid([0.5, 0.3, 0.1], [0.1, 0.0, 0.0], Some(0)).turned(&turn.transpose());
        let distance = part.distance(&(turn * Vector3::new(0.2, 0.1, 0.03))).unwrap();
        assert_relative_eq!(distance, 0.02, max_relative = 1e-12);
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
