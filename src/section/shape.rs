//! The shapes that a section consists of: how a design file states them, what is wrong with their sizes,
//! their outlines. Everything about a shape stands here; the others ask it.
//!
//! Sizes are given across (y), then up (z). The origin of a shape is the centre of its bounding box; a
//! polygon keeps its own coordinates. Corners may be rounded; curves stay exact circles until a mesh is
//! made.

use super::fault::SectionFault;
use super::outline::{Figure, Ring};
use super::point::Point;
use super::polygon;
use std::f64::consts::FRAC_PI_4;
use stillbed_input::quantity::{Kind, show};

/// A shape; every length in m.
///
/// ```
/// use stillbed_section::{Shape, ShapeKind};
///
/// let tube = ShapeKind::named("tube").unwrap().shape(&[0.06, 0.04, 0.003], &[Some(0.006)]).unwrap();
/// assert_eq!(tube, Shape::Tube { width: 0.06, height: 0.04, wall: 0.003, radius: Some(0.006) });
/// assert_eq!((tube.key(), tube.wall(), tube.largest()), ("tube", Some(0.003), Some(("side", 0.06))));
///
/// let closed = tube.resized(&[0.06, 0.04, 0.02]).unwrap();
/// assert!(closed.check().unwrap_err().to_string().starts_with("wall 20 mm: it stays below half"));
/// ```
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

/// One kind of shape: how a design file states it, and what it becomes.
#[derive(Debug)]
pub struct ShapeKind {
    /// Its key in a design file, such as `tube`.
    pub key: &'static str,
    /// What it is and which sizes it takes, in one sentence.
    pub words: &'static str,
    /// How its sizes are written, such as `across x up x wall`.
    pub form: &'static str,
    /// Sizes as a design file writes them; of a polygon its list of corners.
    pub example: &'static str,
    /// Names of its sizes in the order of the design file; none for a polygon, which has corners.
    pub sizes: &'static [&'static str],
    /// The fewest sizes that are stated; a size that is left out is as large as the one before.
    pub least: usize,
    /// Keys of the radii that may be stated beside its sizes.
    pub radii: &'static [&'static str],
    /// The shape of all its sizes and radii; `None` for a polygon.
    of: Option<Made>,
}

/// The shape of all sizes and all radii of its kind.
type Made = fn(&[f64], &[Option<f64>]) -> Shape;

/// Names of sizes that are the thickness of a wall.
const WALLS: [&str; 3] = ["wall", "web", "flange"];

impl ShapeKind {
    /// Every kind, in the order in which they are listed to the user.
    pub const ALL: [ShapeKind; 9] = [
        ShapeKind {
            key: "rectangle",
            words: "A solid rectangle: across, up.",
            form: "across x up",
            example: "110 x 80 mm",
            sizes: &["width", "height"],
            least: 2,
            radii: &[],
            of: Some(|s, _| Shape::Rectangle { width: s[0], height: s[1] }),
        },
        ShapeKind {
            key: "tube",
            words: "A rectangular tube: across, up, wall. Its inside belongs to what lies under it.",
            form: "across x up x wall",
            example: "60 x 40 x 3 mm",
            sizes: &["width", "height", "wall"],
            least: 3,
            radii: &["radius"],
            of: Some(|s, r| Shape::Tube { width: s[0], height: s[1], wall: s[2], radius: r[0] }),
        },
        ShapeKind {
            key: "round",
            words: "A solid round: diameter.",
            form: "the diameter",
            example: "12 mm",
            sizes: &["diameter"],
            least: 1,
            radii: &[],
            of: Some(|s, _| Shape::Round { diameter: s[0] }),
        },
        ShapeKind {
            key: "pipe",
            words: "A round tube: diameter, wall. Its inside belongs to what lies under it.",
            form: "diameter x wall",
            example: "48 x 3 mm",
            sizes: &["diameter", "wall"],
            least: 2,
            radii: &[],
            of: Some(|s, _| Shape::Pipe { diameter: s[0], wall: s[1] }),
        },
        ShapeKind {
            key: "angle",
            words: "An L: across, up, wall.",
            form: "across x up x wall",
            example: "50 x 50 x 5 mm",
            sizes: &["width", "height", "wall"],
            least: 3,
            radii: &["radius", "toe_radius"],
            of: Some(|s, r| {
                let (root_radius, toe_radius) = (r[0].unwrap_or(0.0), r[1].unwrap_or(0.0));
                Shape::Angle { width: s[0], height: s[1], wall: s[2], root_radius, toe_radius }
            }),
        },
        flanged(
            "channel",
            "A U: across, up, web, and the flange where it differs.",
            "50 x 100 x 6 mm",
            |s, r| {
                let root_radius = r[0].unwrap_or(0.0);
                Shape::Channel { width: s[0], height: s[1], web: s[2], flange: s[3], root_radius }
            },
        ),
        flanged("tee", "A T: across, up, web, and the flange where it differs.", "60 x 60 x 7 mm", |s, r| {
            let root_radius = r[0].unwrap_or(0.0);
            Shape::Tee { width: s[0], height: s[1], web: s[2], flange: s[3], root_radius }
        }),
        flanged(
            "i_shape",
            "An I: across, up, web, and the flange where it differs.",
            "55 x 100 x 4.1 x 5.7 mm",
            |s, r| {
                let root_radius = r[0].unwrap_or(0.0);
                Shape::IShape { width: s[0], height: s[1], web: s[2], flange: s[3], root_radius }
            },
        ),
        ShapeKind {
            key: "polygon",
            words: "Corners in order, each y, z, as in [\"0, 0 mm\", \"40, 0 mm\", \"0, 40 mm\"].",
            form: "a list of corners",
            example: "[\"0, 0 mm\", \"40, 0 mm\", \"0, 40 mm\"]",
            sizes: &[],
            least: 0,
            radii: &[],
            of: None,
        },
    ];

    /// The kind that a design file calls `key`.
    pub fn named(key: &str) -> Option<&'static ShapeKind> {
        ShapeKind::ALL.iter().find(|kind| kind.key == key)
    }

    /// A part of this shape with its example sizes and radii of 1 mm, of `material`, as a design file
    /// states it.
    pub fn part(&self, material: &str) -> String {
        let sizes = match self.sizes {
            [] => self.example.to_string(),
            _ => format!("\"{}\"", self.example),
        };
        let radii: String = self.radii.iter().map(|key| format!(", {key} = \"1 mm\"")).collect();
        format!("{{ {} = {sizes}, of = \"{material}\"{radii} }}", self.key)
    }

    /// How many sizes may be stated.
    pub fn counts(&self) -> Vec<usize> {
        (self.least..=self.sizes.len()).collect()
    }

    /// The shape of these sizes and radii, m, in the order of their names; a radius that is missing is not
    /// stated. `None` when the number of sizes is wrong, and for a polygon.
    pub fn shape(&self, sizes: &[f64], radii: &[Option<f64>]) -> Option<Shape> {
        let last = *sizes.last().filter(|_| self.counts().contains(&sizes.len()))?;
        let mut all = sizes.to_vec();
        all.resize(self.sizes.len(), last);
        let radii: Vec<Option<f64>> =
            (0..self.radii.len()).map(|i| radii.get(i).copied().flatten()).collect();
        self.of.map(|of| of(&all, &radii))
    }
}

/// A kind with a web and one or two flanges.
const fn flanged(key: &'static str, words: &'static str, example: &'static str, of: Made) -> ShapeKind {
    ShapeKind {
        key,
        words,
        form: "across x up x web, then x flange where it differs",
        example,
        sizes: &["width", "height", "web", "flange"],
        least: 3,
        radii: &["radius"],
        of: Some(of),
    }
}

/// What a hollow shape encloses.
#[derive(Debug, Clone, PartialEq)]
pub struct Hollow {
    /// Thickness of its wall, m.
    pub wall: f64,
    /// Least clear width inside, m.
    pub clear: f64,
    /// Area within its outline, corners taken as sharp, m2.
    pub area: f64,
    /// The solid shape that fills it, extended half into its wall so that the two meet.
    pub core: Shape,
}

/// A shape as a design file states it.
struct Stated {
    key: &'static str,
    sizes: Vec<f64>,
    radii: Vec<Option<f64>>,
}

impl Shape {
    /// What a design file states of it: key, sizes and radii as in [`ShapeKind::ALL`].
    fn stated(&self) -> Stated {
        let some = |radius: &f64| (*radius > 0.0).then_some(*radius);
        let (key, sizes, radii) = match self {
            Shape::Rectangle { width, height } => ("rectangle", vec![*width, *height], vec![]),
            Shape::Tube { width, height, wall, radius } => {
                ("tube", vec![*width, *height, *wall], vec![*radius])
            }
            Shape::Round { diameter } => ("round", vec![*diameter], vec![]),
            Shape::Pipe { diameter, wall } => ("pipe", vec![*diameter, *wall], vec![]),
            Shape::Angle { width, height, wall, root_radius, toe_radius } => {
                ("angle", vec![*width, *height, *wall], vec![some(root_radius), some(toe_radius)])
            }
            Shape::Channel { width, height, web, flange, root_radius } => {
                ("channel", vec![*width, *height, *web, *flange], vec![some(root_radius)])
            }
            Shape::Tee { width, height, web, flange, root_radius } => {
                ("tee", vec![*width, *height, *web, *flange], vec![some(root_radius)])
            }
            Shape::IShape { width, height, web, flange, root_radius } => {
                ("i_shape", vec![*width, *height, *web, *flange], vec![some(root_radius)])
            }
            Shape::Polygon { .. } => ("polygon", vec![], vec![]),
        };
        Stated { key, sizes, radii }
    }

    /// What it encloses, where it is hollow.
    pub fn hollow(&self) -> Option<Hollow> {
        match self {
            Shape::Tube { width, height, wall, .. } => Some(Hollow {
                wall: *wall,
                clear: width.min(*height) - 2.0 * wall,
                area: width * height,
                core: Shape::Rectangle { width: width - wall, height: height - wall },
            }),
            Shape::Pipe { diameter, wall } => Some(Hollow {
                wall: *wall,
                clear: diameter - 2.0 * wall,
                area: FRAC_PI_4 * diameter * diameter,
                core: Shape::Round { diameter: diameter - wall },
            }),
            Shape::Rectangle { .. }
            | Shape::Round { .. }
            | Shape::Angle { .. }
            | Shape::Channel { .. }
            | Shape::Tee { .. }
            | Shape::IShape { .. }
            | Shape::Polygon { .. } => None,
        }
    }

    /// Its key in a design file.
    pub fn key(&self) -> &'static str {
        self.stated().key
    }

    /// Its sizes in the order of the design file, name and value, m; none for a polygon.
    pub fn sizes(&self) -> Vec<(&'static str, f64)> {
        let stated = self.stated();
        let names = ShapeKind::named(stated.key).map_or(&[][..], |kind| kind.sizes);
        names.iter().copied().zip(stated.sizes).collect()
    }

    /// The radii that a design file may state beside its sizes, key and value, m; `None` is not stated.
    pub fn radii(&self) -> Vec<(&'static str, Option<f64>)> {
        let stated = self.stated();
        let keys = ShapeKind::named(stated.key).map_or(&[][..], |kind| kind.radii);
        keys.iter().copied().zip(stated.radii).collect()
    }

    /// The same kind of shape with other sizes, m; `None` when their number is wrong. Radii stay, but the
    /// corner radius of a tube stays the same multiple of its wall.
    #[must_use]
    pub fn resized(&self, sizes: &[f64]) -> Option<Shape> {
        let mut stated = self.stated();
        if let (Some(hollow), Some(wall)) = (self.hollow(), sizes.last()) {
            stated.radii.iter_mut().flatten().for_each(|radius| *radius = *radius * wall / hollow.wall);
        }
        ShapeKind::named(stated.key)?.shape(sizes, &stated.radii)
    }

    /// The same with width and height exchanged, where it has both and is the same shape when turned by a
    /// quarter.
    pub(super) fn turned(&self) -> Shape {
        let stated = self.stated();
        let turned = match (self, &stated.sizes[..]) {
            (
                Shape::Rectangle { .. } | Shape::Tube { .. } | Shape::Angle { .. },
                [width, height, thickness @ ..],
            ) => ShapeKind::named(stated.key)
                .and_then(|kind| kind.shape(&[&[*height, *width], thickness].concat(), &stated.radii)),
            _ => None,
        };
        turned.unwrap_or_else(|| self.clone())
    }

    /// The thinnest wall, web or flange, m; `None` for a solid shape.
    pub fn wall(&self) -> Option<f64> {
        let walls = self.sizes().into_iter().filter(|(name, _)| WALLS.contains(name));
        walls.map(|(_, wall)| wall).reduce(f64::min)
    }

    /// The largest outer size, m, and whether it is a side or a diameter; `None` for a polygon.
    pub fn largest(&self) -> Option<(&'static str, f64)> {
        let outer = self.sizes().into_iter().filter(|(name, _)| !WALLS.contains(name));
        let word = |name: &'static str| if name == "diameter" { name } else { "side" };
        outer.map(|(name, size)| (word(name), size)).reduce(|a, b| (a.0, a.1.max(b.1)))
    }

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
                flanges(*width, *height, *web, *flange)?;
                below("flange", *flange, 0.5 * height, "half of the height")?;
                rounding("root radius", *root_radius, (width - web).min(0.5 * height - flange))
            }
            Shape::Tee { width, height, web, flange, root_radius } => {
                flanges(*width, *height, *web, *flange)?;
                below("flange", *flange, *height, "the height")?;
                rounding("root radius", *root_radius, (0.5 * (width - web)).min(height - flange))
            }
            Shape::IShape { width, height, web, flange, root_radius } => {
                flanges(*width, *height, *web, *flange)?;
                below("flange", *flange, 0.5 * height, "half of the height")?;
                rounding("root radius", *root_radius, (0.5 * (width - web)).min(0.5 * height - flange))
            }
            Shape::Polygon { points } => polygon::check(points),
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
            Shape::Polygon { points } => {
                Figure { rings: vec![sharp(points)], thickness: polygon::extent(points) }
            }
        }
    }
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

fn flanges(width: f64, height: f64, web: f64, flange: f64) -> Result<(), SectionFault> {
    positive(&[("width", width), ("height", height), ("web", web), ("flange", flange)])?;
    below("web", web, width, "the width")
}
