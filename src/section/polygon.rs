//! What is wrong with the corners of a polygon?

use super::fault::SectionFault;
use super::point::{Point, cross, distance, distance_to_segment};

/// Far above any practical outline; the time of the crossing check grows with the square of it.
const MOST_CORNERS: usize = 2000;

/// Checks the corners of an outline.
///
/// # Errors
/// Too few or too many corners, two that lie on each other, an outline that crosses itself.
pub(super) fn check(points: &[Point]) -> Result<(), SectionFault> {
    let n = points.len();
    if !(3..=MOST_CORNERS).contains(&n) {
        return Err(SectionFault::new(format!("{n} points: an outline has 3 to {MOST_CORNERS}")));
    }
    if points.iter().flatten().any(|x| !x.is_finite()) {
        return Err(SectionFault::new("a point without a place: both coordinates are lengths"));
    }
    let near = 1e-6 * extent(points);
    let at = |i: usize| points[i % n];
    for i in 0..n {
        if distance(at(i), at(i + 1)) <= near {
            let message = format!("points {} and {}: they lie on each other", i + 1, (i + 1) % n + 1);
            return Err(SectionFault::new(message).with_help("leave one out; the outline closes by itself"));
        }
    }
    for i in 0..n {
        for j in i + 1..n {
            let neighbours = j == i + 1 || (i == 0 && j == n - 1);
            let folded = neighbours && {
                let (a, b, c) = if j == i + 1 { (i, j, j + 1) } else { (j, i, i + 1) };
                folds_back(at(a), at(b), at(c), near)
            };
            if folded || !neighbours && meet(at(i), at(i + 1), at(j), at(j + 1), near) {
                let sides = [i + 1, (i + 1) % n + 1, j + 1, (j + 1) % n + 1];
                let message = format!(
                    "the side from point {} to {} meets the side from {} to {}: an outline does not cross itself",
                    sides[0], sides[1], sides[2], sides[3]
                );
                return Err(
                    SectionFault::new(message).with_help("put the points in order around the outline")
                );
            }
        }
    }
    Ok(())
}

/// Diagonal of the bounding box of `points`.
pub(super) fn extent(points: &[Point]) -> f64 {
    let span = |axis: usize| {
        let low = points.iter().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max);
        high - low
    };
    span(0).hypot(span(1))
}

/// True when the path from `a` over `b` to `c` runs back along itself.
fn folds_back(a: Point, b: Point, c: Point, near: f64) -> bool {
    let back = (a[0] - b[0]) * (c[0] - b[0]) + (a[1] - b[1]) * (c[1] - b[1]) > 0.0;
    back && (distance_to_segment(c, a, b) <= near || distance_to_segment(a, b, c) <= near)
}

/// True when two segments cross or touch.
fn meet(a: Point, b: Point, c: Point, d: Point, near: f64) -> bool {
    let crossing = cross(a, b, c) * cross(a, b, d) < 0.0 && cross(c, d, a) * cross(c, d, b) < 0.0;
    crossing
        || distance_to_segment(c, a, b) <= near
        || distance_to_segment(d, a, b) <= near
        || distance_to_segment(a, c, d) <= near
        || distance_to_segment(b, c, d) <= near
}
