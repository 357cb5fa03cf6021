//! The volume of a mould drawn as a closed surface of triangles (STL).
//!
//! ```text
//! V = sum a . (b x c)/6,    V x_c = sum (a + b + c)/4  a . (b x c)/6
//! ```
//!
//! summed over the triangles a, b, c, whose corners run counterclockwise seen from outside. The surface is
//! closed when each edge is passed once in each direction. The format has no unit: the caller gives the
//! length of one unit.

use serde::Serialize;
use std::collections::HashMap;
use stillbed_input::quantity::Fault;

type Vector = [f64; 3];
type Triangle = [Vector; 3];

/// Corners nearer to each other than this part of the body's size are one.
const SAME_CORNER: f64 = 1e-6;

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
        let triangles = match binary(bytes) {
            Some(triangles) => triangles,
            None => text(bytes)?,
        };
        Body::of(&triangles, unit)
    }

    /// True when the surface has no hole.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.open_edges == 0
    }

    fn of(triangles: &[Triangle], unit: f64) -> Result<Body, Fault> {
        let corners = || triangles.iter().flatten();
        if triangles.is_empty() || corners().flatten().any(|x| !x.is_finite()) {
            return Err(fault("the body has no triangle, or one with a corner that is no number"));
        }
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
            return Err(fault("the triangles bound no volume"));
        }
        Ok(Body {
            volume_m3: volume.abs() * unit.powi(3),
            centre_m: [0, 1, 2].map(|i| (middle[i] + moment[i] / volume) * unit),
            low_m: low.map(|x| x * unit),
            high_m: high.map(|x| x * unit),
            triangles: triangles.len(),
            open_edges: open_edges(triangles, &low, size * SAME_CORNER),
            inside_out: volume < 0.0,
        })
    }
}

fn fault(message: &str) -> Fault {
    let help = "export the mould's inside as one closed body, in STL".to_string();
    Fault { message: message.to_string(), help }
}

/// Counts the edges passed a different number of times in their two directions.
fn open_edges(triangles: &[Triangle], low: &Vector, same: f64) -> usize {
    let key = |corner: &Vector| [0, 1, 2].map(|i| ((corner[i] - low[i]) / same).round() as i64);
    let mut passes: HashMap<[[i64; 3]; 2], i64> = HashMap::new();
    for triangle in triangles {
        let corners = triangle.each_ref().map(key);
        for i in 0..3 {
            let (from, to) = (corners[i], corners[(i + 1) % 3]);
            if from < to {
                *passes.entry([from, to]).or_default() += 1;
            } else if to < from {
                *passes.entry([to, from]).or_default() -= 1;
            }
        }
    }
    passes.values().filter(|count| **count != 0).count()
}

/// The triangles of a binary file: a header of 80 bytes, their number, 50 bytes each.
fn binary(bytes: &[u8]) -> Option<Vec<Triangle>> {
    let count = u32::from_le_bytes(bytes.get(80..84)?.try_into().ok()?) as usize;
    let body = bytes.get(84..)?;
    if body.len() != count.checked_mul(50)? {
        return None;
    }
    let number = |at: &[u8]| f64::from(f32::from_le_bytes([at[0], at[1], at[2], at[3]]));
    let triangle = |record: &[u8]| -> Triangle {
        [0, 1, 2].map(|corner| [0, 1, 2].map(|i| number(&record[12 + 12 * corner + 4 * i..])))
    };
    Some(body.chunks_exact(50).map(triangle).collect())
}

/// The triangles of a text file: every `vertex x y z`, three by three.
fn text(bytes: &[u8]) -> Result<Vec<Triangle>, Fault> {
    let text = String::from_utf8_lossy(bytes);
    if !text.trim_start().to_ascii_lowercase().starts_with("solid") {
        return Err(fault(
            "the file is no STL: it neither begins with \"solid\" nor has the length it states",
        ));
    }
    let mut corners: Vec<Vector> = Vec::new();
    let mut words = text.split_ascii_whitespace();
    while let Some(word) = words.next() {
        if !word.eq_ignore_ascii_case("vertex") {
            continue;
        }
        let mut corner = [0.0; 3];
        for x in &mut corner {
            let word = words.next().unwrap_or("");
            *x = word.parse().map_err(|_| fault(&format!("a corner has \"{word}\" for a number")))?;
        }
        corners.push(corner);
    }
    if !corners.len().is_multiple_of(3) || !text.to_ascii_lowercase().contains("endsolid") {
        return Err(fault("the file ends before its last triangle"));
    }
    Ok(corners.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect())
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

    fn as_text(triangles: &[Triangle]) -> Vec<u8> {
        let mut text = "solid box\n".to_string();
        for triangle in triangles {
            text += "facet normal 0 0 0\nouter loop\n";
            for [x, y, z] in triangle {
                text += &format!("vertex {x:e} {y} {z}\n");
            }
            text += "endloop\nendfacet\n";
        }
        (text + "endsolid box\n").into_bytes()
    }

    fn as_binary(triangles: &[Triangle]) -> Vec<u8> {
        let mut bytes = b"solid by name, binary by nature".to_vec();
        bytes.resize(80, 0);
        bytes.extend((triangles.len() as u32).to_le_bytes());
        for triangle in triangles {
            bytes.extend([0; 12]);
            for x in triangle.iter().flatten() {
                bytes.extend((*x as f32).to_le_bytes());
            }
            bytes.extend([0; 2]);
        }
        bytes
    }

    #[test]
    fn a_box_in_text_and_in_binary() {
        let triangles = cuboid([100.0, 0.0, 0.0], [300.0, 30.0, 50.0]);
        for bytes in [as_text(&triangles), as_binary(&triangles)] {
            let body = Body::read(&bytes, 1e-3).unwrap();
            assert_relative_eq!(body.volume_m3, 0.2 * 0.03 * 0.05, max_relative = 1e-12);
            assert_relative_eq!(body.centre_m[0], 0.2, max_relative = 1e-12);
            assert_relative_eq!(body.centre_m[2], 0.025, max_relative = 1e-12);
            assert_eq!((body.triangles, body.open_edges, body.inside_out), (12, 0, false));
        }
    }

    #[test]
    fn a_hole_and_a_body_turned_inside_out_are_seen() {
        let mut triangles = cuboid([0.0; 3], [1.0, 2.0, 3.0]);
        for triangle in &mut triangles {
            triangle.swap(0, 1);
        }
        let turned = Body::read(&as_text(&triangles), 1.0).unwrap();
        assert!(turned.inside_out && turned.is_closed());
        assert_relative_eq!(turned.volume_m3, 6.0, max_relative = 1e-12);
        triangles.pop();
        assert_eq!(Body::read(&as_text(&triangles), 1.0).unwrap().open_edges, 3);
    }

    #[test]
    fn what_is_no_body_is_refused() {
        let message = |bytes: &[u8]| Body::read(bytes, 1.0).unwrap_err().message;
        assert!(message(b"").contains("is no STL"));
        assert!(message(&[7; 200]).contains("is no STL"));
        assert!(message(b"solid a\nvertex 1 2 x\nendsolid").contains("\"x\""));
        assert!(message(b"solid a\nvertex 1 2 3\nendsolid").contains("ends before"));
        assert!(message(b"solid a\nendsolid").contains("no triangle"));
        let flat = cuboid([0.0; 3], [1.0, 1.0, 0.0]);
        assert!(message(&as_text(&flat)).contains("no volume"));
        let mut short = as_binary(&cuboid([0.0; 3], [1.0; 3]));
        short.truncate(300);
        assert!(Body::read(&short, 1.0).is_err());
    }
}
