//! The shapes that a section consists of: their sizes, what is wrong with them, their outlines.
//!
//! Sizes are given across (y), then up (z). The origin of a shape is the centre of its bounding box; a
//! polygon keeps its own coordinates. Corners may be rounded; curves stay exact circles until a mesh is
//! made.

use super::fault::SectionFault;
use stillbed_input::quantity::{Kind, show};

/// A point in the plane of the section, [y, z], m.
pub(super) type Point = [f64; 2];

/// A shape; every length in m.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A solid rectangle.
    Rectangle {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
    },
    /// A rectangular tube; what lies under it shows inside.
    Tube {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
        /// Thickness.
        wall: f64,
        /// Outer corner radius, `None` for a sharp corner; the inner radius is smaller by the wall, at
        /// least 0.
        radius: Option<f64>,
    },
    /// A solid circle.
    Round {
        /// Outside.
        diameter: f64,
    },
    /// A round tube.
    Pipe {
        /// Outside.
        diameter: f64,
        /// Thickness.
        wall: f64,
    },
    /// Two legs: one upright on the left, one along the bottom.
    Angle {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
        /// Thickness of both legs.
        wall: f64,
        /// Radius in the corner between the legs; 0: sharp.
        root_radius: f64,
        /// Radius at the inner edge of the two toes; 0: sharp.
        toe_radius: f64,
    },
    /// An upright web on the left, two flanges to the right.
    Channel {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
        /// Thickness of the web.
        web: f64,
        /// Thickness of the flanges.
        flange: f64,
        /// Radius between web and flange; 0: sharp.
        root_radius: f64,
    },
    /// A flange on top of an upright web.
    Tee {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
        /// Thickness of the web.
        web: f64,
        /// Thickness of the flange.
        flange: f64,
        /// Radius between web and flange; 0: sharp.
        root_radius: f64,
    },
    /// An upright web between two flanges.
    IShape {
        /// Across.
        width: f64,
        /// Up.
        height: f64,
        /// Thickness of the web.
        web: f64,
        /// Thickness of the flanges.
        flange: f64,
        /// Radius between web and flange; 0: sharp.
        root_radius: f64,
    },
    /// A closed outline through its points, clockwise or anticlockwise.
    Polygon {
        /// [y, z] of each corner, in the section's own coordinates.
        points: Vec<[f64; 2]>,
    },
}

/// One closed curve of the outline of a shape.
#[derive(Debug, Clone)]
pub(super) enum Ring {
    /// Corners, each with its rounding radius.
    Corners(Vec<(Point, f64)>),
    /// A full circle.
    Circle {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
    },
}

/// The curves of a shape, filled by the even-odd rule.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// The outer ring, then the hole if there is one.
    pub rings: Vec<Ring>,
    /// The smallest thickness, which sets how finely curves are drawn.
    pub thickness: f64,
}

/// Far above any practical outline; the time of the crossing check grows with the square of it.
const MOST_CORNERS: usize = 2000;

impl Shape {
    /// Checks the sizes.
    ///
    /// # Errors
    /// A size that is not positive, walls that meet, a radius too large for its place, an outline
    /// without area or one that crosses itself. The fault does not name the part.
    pub fn check(&self) -> Result<(), SectionFault> {
        match self {
            Shape::Rectangle { width, height } => positive(&[("width", *width), ("height", *height)]),
            Shape::Tube { width, height, wall, radius } => {
                positive(&[("width", *width), ("height", *height), ("wall", *wall)])?;
                below("wall", *wall, 0.5 * width.min(*height), "half of the smaller side")?;
                rounding("corner radius", radius.unwrap_or(0.0), 0.5 * width.min(*height))
            }
            Shape::Round { diameter } => positive(&[("diameter", *diameter)]),
            Shape::Pipe { diameter, wall } => {
                positive(&[("diameter", *diameter), ("wall", *wall)])?;
                below("wall", *wall, 0.5 * diameter, "half of the diameter")
            }
            Shape::Angle { width, height, wall, root_radius, toe_radius } => {
                positive(&[("width", *width), ("height", *height), ("wall", *wall)])?;
                let leg = width.min(*height);
                below("wall", *wall, leg, "the shorter leg")?;
                rounding("toe radius", *toe_radius, *wall)?;
                rounding("root radius", *root_radius, leg - wall - toe_radius)
            }
            Shape::Channel { width, height, web, flange, root_radius } => {
                flanged(*width, *height, *web, *flange)?;
                below("flange", *flange, 0.5 * height, "half of the height")?;
                rounding("root radius", *root_radius, (width - web).min(0.5 * height - flange))
            }
            Shape::Tee { width, height, web, flange, root_radius } => {
                flanged(*width, *height, *web, *flange)?;
                below("flange", *flange, *height, "the height")?;
                rounding("root radius", *root_radius, (0.5 * (width - web)).min(height - flange))
            }
            Shape::IShape { width, height, web, flange, root_radius } => {
                flanged(*width, *height, *web, *flange)?;
                below("flange", *flange, 0.5 * height, "half of the height")?;
                rounding("root radius", *root_radius, (0.5 * (width - web)).min(0.5 * height - flange))
            }
            Shape::Polygon { points } => polygon(points),
        }
    }

    /// The curves about the shape's own origin. The shape must have passed the check.
    pub(super) fn figure(&self) -> Figure {
        let sharp = |points: &[Point]| Ring::Corners(points.iter().map(|p| (*p, 0.0)).collect());
        let box_of = |w: f64, h: f64, r: f64| {
            let (y, z) = (0.5 * w, 0.5 * h);
            Ring::Corners(vec![([-y, -z], r), ([y, -z], r), ([y, z], r), ([-y, z], r)])
        };
        let circle = |radius: f64| Ring::Circle { centre: [0.0, 0.0], radius };
        match self {
            Shape::Rectangle { width, height } => {
                Figure { rings: vec![box_of(*width, *height, 0.0)], thickness: width.min(*height) }
            }
            Shape::Tube { width, height, wall, radius } => {
                let outer = radius.unwrap_or(0.0);
                let hole = box_of(width - 2.0 * wall, height - 2.0 * wall, (outer - wall).max(0.0));
                Figure { rings: vec![box_of(*width, *height, outer), hole], thickness: *wall }
            }
            Shape::Round { diameter } => Figure { rings: vec![circle(0.5 * diameter)], thickness: *diameter },
            Shape::Pipe { diameter, wall } => {
                let rings = vec![circle(0.5 * diameter), circle(0.5 * diameter - wall)];
                Figure { rings, thickness: *wall }
            }
            Shape::Angle { width, height, wall, root_radius, toe_radius } => {
                let (y, z) = (0.5 * width, 0.5 * height);
                let ring = Ring::Corners(vec![
                    ([-y, -z], 0.0),
                    ([y, -z], 0.0),
                    ([y, -z + wall], *toe_radius),
                    ([-y + wall, -z + wall], *root_radius),
                    ([-y + wall, z], *toe_radius),
                    ([-y, z], 0.0),
                ]);
                Figure { rings: vec![ring], thickness: *wall }
            }
            Shape::Channel { width, height, web, flange, root_radius } => {
                let (y, z) = (0.5 * width, 0.5 * height);
                let ring = Ring::Corners(vec![
                    ([-y, -z], 0.0),
                    ([y, -z], 0.0),
                    ([y, -z + flange], 0.0),
                    ([-y + web, -z + flange], *root_radius),
                    ([-y + web, z - flange], *root_radius),
                    ([y, z - flange], 0.0),
                    ([y, z], 0.0),
                    ([-y, z], 0.0),
                ]);
                Figure { rings: vec![ring], thickness: web.min(*flange) }
            }
            Shape::Tee { width, height, web, flange, root_radius } => {
                let (y, z, w) = (0.5 * width, 0.5 * height, 0.5 * web);
                let ring = Ring::Corners(vec![
                    ([-w, -z], 0.0),
                    ([w, -z], 0.0),
                    ([w, z - flange], *root_radius),
                    ([y, z - flange], 0.0),
                    ([y, z], 0.0),
                    ([-y, z], 0.0),
                    ([-y, z - flange], 0.0),
                    ([-w, z - flange], *root_radius),
                ]);
                Figure { rings: vec![ring], thickness: web.min(*flange) }
            }
            Shape::IShape { width, height, web, flange, root_radius } => {
                let (y, z, w, f) = (0.5 * width, 0.5 * height, 0.5 * web, 0.5 * height - flange);
                let ring = Ring::Corners(vec![
                    ([-y, -z], 0.0),
                    ([y, -z], 0.0),
                    ([y, -f], 0.0),
                    ([w, -f], *root_radius),
                    ([w, f], *root_radius),
                    ([y, f], 0.0),
                    ([y, z], 0.0),
                    ([-y, z], 0.0),
                    ([-y, f], 0.0),
                    ([-w, f], *root_radius),
                    ([-w, -f], *root_radius),
                    ([-y, -f], 0.0),
                ]);
                Figure { rings: vec![ring], thickness: web.min(*flange) }
            }
            Shape::Polygon { points } => Figure { rings: vec![sharp(points)], thickness: extent(points) },
        }
    }
}

/// Diagonal of the bounding box of `points`.
fn extent(points: &[Point]) -> f64 {
    let span = |axis: usize| {
        let low = points.iter().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max);
        high - low
    };
    span(0).hypot(span(1))
}

fn length(value: f64) -> String {
    show(value, Kind::Length)
}

fn positive(sizes: &[(&str, f64)]) -> Result<(), SectionFault> {
    for (name, value) in sizes {
        if !value.is_finite() || *value <= 0.0 {
            return Err(SectionFault::new(format!("{name} {}: a size is above 0", length(*value))));
        }
    }
    Ok(())
}

fn below(name: &str, value: f64, limit: f64, what: &str) -> Result<(), SectionFault> {
    if value < limit {
        return Ok(());
    }
    let message = format!("{name} {}: it stays below {what}, {}", length(value), length(limit));
    Err(SectionFault::new(message).with_help("sizes go across, up, then thickness"))
}

fn rounding(name: &str, value: f64, limit: f64) -> Result<(), SectionFault> {
    if value.is_finite() && value >= 0.0 && value <= limit * (1.0 + 1e-9) {
        return Ok(());
    }
    Err(SectionFault::new(format!("{name} {}: from 0 to {} fits", length(value), length(limit))))
}

fn flanged(width: f64, height: f64, web: f64, flange: f64) -> Result<(), SectionFault> {
    positive(&[("width", width), ("height", height), ("web", web), ("flange", flange)])?;
    below("web", web, width, "the width")
}

fn polygon(points: &[Point]) -> Result<(), SectionFault> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn message(shape: Shape) -> String {
        shape.check().unwrap_err().to_string()
    }

    #[test]
    fn walls_that_meet_are_refused() {
        let tube = Shape::Tube { width: 0.04, height: 0.02, wall: 0.01, radius: None };
        assert_eq!(
            message(tube),
            "wall 10 mm: it stays below half of the smaller side, 10 mm; sizes go across, up, then thickness"
        );
    }

    #[test]
    fn sizes_are_above_zero() {
        assert_eq!(message(Shape::Round { diameter: -0.01 }), "diameter -10 mm: a size is above 0");
        assert!(Shape::Rectangle { width: f64::NAN, height: 1.0 }.check().is_err());
    }

    #[test]
    fn a_radius_fits_its_corner() {
        let tube = Shape::Tube { width: 0.04, height: 0.04, wall: 0.003, radius: Some(0.021) };
        assert_eq!(message(tube), "corner radius 21 mm: from 0 to 20 mm fits");
    }

    #[test]
    fn the_root_of_an_i_fits_beside_its_web_and_between_its_flanges() {
        let shape = |width, height, flange, root_radius| {
            let web = 0.01;
            Shape::IShape { width, height, web, flange, root_radius }.check()
        };
        // Beside the web (50 - 10) / 2 mm, between the flanges 40 / 2 - 12 mm.
        assert!(shape(0.05, 0.1, 0.008, 0.0199).is_ok() && shape(0.05, 0.1, 0.008, 0.0201).is_err());
        assert!(shape(0.2, 0.04, 0.012, 0.0079).is_ok() && shape(0.2, 0.04, 0.012, 0.0081).is_err());
    }

    #[test]
    fn an_outline_that_crosses_itself_is_refused() {
        let bow = Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]] };
        assert!(message(bow).contains("does not cross itself"));
        let spike =
            Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 0.5], [0.0, 1.0]] };
        assert!(message(spike).contains("does not cross itself"));
        let square = Shape::Polygon { points: vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]] };
        assert!(square.check().is_ok());
    }
}
