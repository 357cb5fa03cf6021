//! The sizes of a shape as numbers with names, and as the design file writes them.

use stillbed_input::quantity::figures;
use stillbed_section::Shape;

/// The sizes of `shape` in the order of the design file: name and value, m.
pub(super) fn sizes(shape: &Shape) -> Vec<(&'static str, f64)> {
    match shape {
        Shape::Rectangle { width, height } => vec![("width", *width), ("height", *height)],
        Shape::Tube { width, height, wall, .. } | Shape::Angle { width, height, wall, .. } => {
            vec![("width", *width), ("height", *height), ("wall", *wall)]
        }
        Shape::Round { diameter } => vec![("diameter", *diameter)],
        Shape::Pipe { diameter, wall } => vec![("diameter", *diameter), ("wall", *wall)],
        Shape::Channel { width, height, web, flange, .. }
        | Shape::Tee { width, height, web, flange, .. }
        | Shape::IShape { width, height, web, flange, .. } => {
            vec![("width", *width), ("height", *height), ("web", *web), ("flange", *flange)]
        }
        Shape::Polygon { .. } => Vec::new(),
    }
}

/// `shape` with other sizes; `None` when their number is wrong. The corner radius of a tube stays the same
/// multiple of its wall.
pub(super) fn resized(shape: &Shape, sizes: &[f64]) -> Option<Shape> {
    Some(match (shape, sizes) {
        (Shape::Rectangle { .. }, [width, height]) => Shape::Rectangle { width: *width, height: *height },
        (Shape::Tube { wall: old, radius, .. }, [width, height, wall]) => {
            let radius = radius.map(|radius| radius * wall / old);
            Shape::Tube { width: *width, height: *height, wall: *wall, radius }
        }
        (Shape::Round { .. }, [diameter]) => Shape::Round { diameter: *diameter },
        (Shape::Pipe { .. }, [diameter, wall]) => Shape::Pipe { diameter: *diameter, wall: *wall },
        (Shape::Angle { root_radius, toe_radius, .. }, [width, height, wall]) => Shape::Angle {
            width: *width,
            height: *height,
            wall: *wall,
            root_radius: *root_radius,
            toe_radius: *toe_radius,
        },
        (Shape::Channel { root_radius, .. }, [width, height, web, rest @ ..]) => {
            let flange = flange(*web, rest)?;
            Shape::Channel { width: *width, height: *height, web: *web, flange, root_radius: *root_radius }
        }
        (Shape::Tee { root_radius, .. }, [width, height, web, rest @ ..]) => {
            let flange = flange(*web, rest)?;
            Shape::Tee { width: *width, height: *height, web: *web, flange, root_radius: *root_radius }
        }
        (Shape::IShape { root_radius, .. }, [width, height, web, rest @ ..]) => {
            let flange = flange(*web, rest)?;
            Shape::IShape { width: *width, height: *height, web: *web, flange, root_radius: *root_radius }
        }
        _ => return None,
    })
}

fn flange(web: f64, rest: &[f64]) -> Option<f64> {
    match rest {
        [] => Some(web),
        [flange] => Some(*flange),
        _ => None,
    }
}

/// The key of a shape in the design file; `None` for a polygon, which has no sizes.
pub(super) fn key(shape: &Shape) -> Option<&'static str> {
    Some(match shape {
        Shape::Rectangle { .. } => "rectangle",
        Shape::Tube { .. } => "tube",
        Shape::Round { .. } => "round",
        Shape::Pipe { .. } => "pipe",
        Shape::Angle { .. } => "angle",
        Shape::Channel { .. } => "channel",
        Shape::Tee { .. } => "tee",
        Shape::IShape { .. } => "i_shape",
        Shape::Polygon { .. } => return None,
    })
}

/// The corner radius that the design file states besides the sizes, m.
pub(super) fn radius(shape: &Shape) -> Option<f64> {
    match shape {
        Shape::Tube { radius, .. } => *radius,
        Shape::Angle { root_radius, .. }
        | Shape::Channel { root_radius, .. }
        | Shape::Tee { root_radius, .. }
        | Shape::IShape { root_radius, .. } => (*root_radius > 0.0).then_some(*root_radius),
        _ => None,
    }
}

/// Lengths as the design file writes them: `60 x 40 x 3 mm`.
pub(super) fn written(lengths: &[f64], between: &str) -> String {
    let numbers: Vec<String> = lengths.iter().map(|x| millimetres(*x)).collect();
    format!("{} mm", numbers.join(between))
}

/// Rounded to a millionth of a millimetre, which removes the rounding errors of steps between limits.
fn millimetres(length: f64) -> String {
    let rounded = (length * 1e9).round() / 1e6;
    figures(rounded + 0.0, 9)
}

/// The rectangle or round that fills the inside of a hollow `shape`, extended half into its wall so that the
/// two meet; `None` for a shape without an inside.
pub(super) fn core(shape: &Shape) -> Option<Shape> {
    match shape {
        Shape::Tube { width, height, wall, .. } => {
            Some(Shape::Rectangle { width: width - wall, height: height - wall })
        }
        Shape::Pipe { diameter, wall } => Some(Shape::Round { diameter: diameter - wall }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_go_out_and_in_again() {
        let tube = Shape::Tube { width: 0.06, height: 0.04, wall: 0.003, radius: Some(0.006) };
        let numbers: Vec<f64> = sizes(&tube).iter().map(|(_, size)| *size).collect();
        assert_eq!(resized(&tube, &numbers), Some(tube.clone()));
        assert_eq!(written(&numbers, " x "), "60 x 40 x 3 mm");
        let thicker = resized(&tube, &[0.06, 0.04, 0.004]).unwrap();
        assert!((radius(&thicker).unwrap() - 0.008).abs() < 1e-12);
        assert_eq!(resized(&tube, &[0.06, 0.04]), None);
        assert_eq!(written(&[0.0, 0.1 * 0.3], ", "), "0, 30 mm");
    }
}
