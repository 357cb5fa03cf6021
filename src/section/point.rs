//! Points in the plane of the section, and distances between them.

/// A point in the plane of the section, [y, z], m.
pub(super) type Point = [f64; 2];

/// Distance between two points.
pub(super) fn distance(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Twice the signed area of a triangle, positive anticlockwise.
pub(super) fn cross(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Distance of `p` from the segment `a` to `b`.
pub(super) fn distance_to_segment(p: Point, a: Point, b: Point) -> f64 {
    let (dy, dz) = (b[0] - a[0], b[1] - a[1]);
    let along = ((p[0] - a[0]) * dy + (p[1] - a[1]) * dz) / (dy * dy + dz * dz).max(f64::MIN_POSITIVE);
    let t = along.clamp(0.0, 1.0);
    distance(p, [a[0] + t * dy, a[1] + t * dz])
}
