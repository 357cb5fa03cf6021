//! The volume of a mould drawn as a closed surface of triangles.
//!
//! ```text
//! V = sum a . (b x c)/6,    V x_c = sum (a + b + c)/4  a . (b x c)/6
//! ```
//!
//! summed over the triangles a, b, c, whose corners run counterclockwise seen from outside.

use serde::Serialize;
use stillbed_input::quantity::Fault;
use stillbed_solid::{Triangle, open_edges, read_stl};

type Vector = [f64; 3];

/// A body bounded by triangles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Body {
    /// Volume, m3.
    pub volume_m3: f64,
    /// Centre of the volume, m.
    pub centre_m: Vector,
    /// Least coordinates, m.
    pub low_m: Vector,
    /// Greatest coordinates, m.
    pub high_m: Vector,
    /// Number of triangles.
    pub triangles: usize,
    /// Number of edges that are not passed once in each direction; 0 for a closed surface.
    pub open_edges: usize,
    /// True when the triangles face inwards; the volume is right all the same.
    pub inside_out: bool,
}

impl Body {
    /// Reads a body from STL, text or binary, in which one unit is `unit` metres.
    ///
    /// # Errors
    /// When the data are not STL, are cut short, or have no triangle or no size.
    pub fn read(bytes: &[u8], unit: f64) -> Result<Body, Fault> {
        Body::of(&read_stl(bytes, unit)?)
    }

    /// True when the surface has no hole.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.open_edges == 0
    }

    fn of(triangles: &[Triangle]) -> Result<Body, Fault> {
        let corners = || triangles.iter().flatten();
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        for corner in corners() {
            for i in 0..3 {
                low[i] = low[i].min(corner[i]);
                high[i] = high[i].max(corner[i]);
            }
        }
        let size = (0..3).map(|i| high[i] - low[i]).fold(0.0, f64::max);
        let middle: Vector = [0, 1, 2].map(|i| (low[i] + high[i]) / 2.0);
        let (mut volume, mut moment) = (0.0, [0.0; 3]);
        for triangle in triangles {
            let [a, b, c] = triangle.map(|corner| [0, 1, 2].map(|i| corner[i] - middle[i]));
            let sixth = (a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0]))
                / 6.0;
            volume += sixth;
            for i in 0..3 {
                moment[i] += sixth * (a[i] + b[i] + c[i]) / 4.0;
            }
        }
        if volume.abs() < 1e-12 * size.powi(3) || size == 0.0 {
            return Err(Fault {
                message: "the triangles bound no volume".to_string(),
                help: "export the mould's inside as one closed body, in STL".to_string(),
            });
        }
        Ok(Body {
            volume_m3: volume.abs(),
            centre_m: [0, 1, 2].map(|i| middle[i] + moment[i] / volume),
            low_m: low,
            high_m: high,
            triangles: triangles.len(),
            open_edges: open_edges(triangles),
            inside_out: volume < 0.0,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A box from `low` to `high` as twelve triangles that face outwards.
    fn cuboid(low: Vector, high: Vector) -> Vec<Triangle> {
        let corner = |i: usize| [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { high[axis] } else { low[axis] });
        let faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        faces
            .iter()
            .flat_map(|f| [[f[0], f[1], f[2]], [f[0], f[2], f[3]]])
            .map(|t: [usize; 3]| t.map(corner))
            .collect()
    }

    #[test]
    fn a_box_has_its_volume_and_its_centre() {
        let body = Body::of(&cuboid([0.1, 0.0, 0.0], [0.3, 0.03, 0.05])).unwrap();
        assert_relative_eq!(body.volume_m3, 0.2 * 0.03 * 0.05, max_relative = 1e-12);
        assert_relative_eq!(body.centre_m[0], 0.2, max_relative = 1e-12);
        assert_relative_eq!(body.centre_m[2], 0.025, max_relative = 1e-12);
        assert_eq!((body.triangles, body.open_edges, body.inside_out), (12, 0, false));
    }

    #[test]
    fn a_hole_and_a_body_turned_inside_out_are_seen() {
        let mut triangles = cuboid([0.0; 3], [1.0, 2.0, 3.0]);
        for triangle in &mut triangles {
            triangle.swap(0, 1);
        }
        let turned = Body::of(&triangles).unwrap();
        assert!(turned.inside_out && turned.is_closed());
        assert_relative_eq!(turned.volume_m3, 6.0, max_relative = 1e-12);
        triangles.pop();
        assert_eq!(Body::of(&triangles).unwrap().open_edges, 3);
    }

    #[test]
    fn what_is_no_body_is_refused() {
        let flat = cuboid([0.0; 3], [1.0, 1.0, 0.0]);
        assert!(Body::of(&flat).unwrap_err().message.contains("no volume"));
        assert!(Body::read(b"solid a\nendsolid", 1.0).is_err());
    }
}
