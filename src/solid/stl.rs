//! Surfaces of triangles as drawing programs write them (STL, text or binary), and whether their edges have partners.
//!
//! The format has no unit: the caller gives the length of one unit. Corners run counterclockwise seen from outside. The
//! surface is closed when each edge is passed as often in one direction as in the other.

use std::collections::{BTreeMap, HashMap};
use stillbed_input::quantity::Fault;

/// A triangle: its corners, m.
pub type Triangle = [[f64; 3]; 3];

/// Corners nearer to each other than this part of the size of a surface are one.
const SAME_CORNER: f64 = 1e-6;

/// Reads the triangles of an STL file, text or binary, in which one unit is `unit` metres; at least one.
///
/// # Errors
/// When the data are not STL, are cut short, or have no triangle or a corner that is no number.
pub fn read_stl(bytes: &[u8], unit: f64) -> Result<Vec<Triangle>, Fault> {
    let mut triangles = match binary(bytes) {
        Some(triangles) => triangles,
        None => text(bytes)?,
    };
    triangles.iter_mut().flatten().flatten().for_each(|x| *x *= unit);
    if triangles.is_empty() || triangles.iter().flatten().flatten().any(|x| !x.is_finite()) {
        return Err(fault("the body has no triangle, or one with a corner that is no number"));
    }
    Ok(triangles)
}

fn fault(message: &str) -> Fault {
    let help = "export it as one closed body, in STL".to_string();
    Fault { message: message.to_string(), help }
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
    let mut corners: Vec<[f64; 3]> = Vec::new();
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

/// By triangle: the numbers of its corners, the same where corners are as good as one.
pub(crate) fn numbered(triangles: &[Triangle]) -> Vec<[usize; 3]> {
    let corners = || triangles.iter().flatten();
    let limit = |axis: usize, start: f64, of: fn(f64, f64) -> f64| corners().map(|c| c[axis]).fold(start, of);
    let low = [0, 1, 2].map(|axis| limit(axis, f64::INFINITY, f64::min));
    let high = [0, 1, 2].map(|axis| limit(axis, f64::NEG_INFINITY, f64::max));
    let size = (0..3).map(|axis| high[axis] - low[axis]).fold(0.0, f64::max);
    let same = (size * SAME_CORNER).max(f64::MIN_POSITIVE);
    let mut numbers: HashMap<[i64; 3], usize> = HashMap::new();
    let mut number = |corner: &[f64; 3]| {
        let key = [0, 1, 2].map(|axis| ((corner[axis] - low[axis]) / same).round() as i64);
        let next = numbers.len();
        *numbers.entry(key).or_insert(next)
    };
    triangles.iter().map(|triangle| triangle.each_ref().map(&mut number)).collect()
}

/// The edges that are not passed as often in one direction as in the other, as the triangle that passes them first
/// and the number of the edge in it; none for a closed surface. Corners are `numbered`.
pub(crate) fn without_partner(numbered: &[[usize; 3]]) -> Vec<[usize; 2]> {
    let mut passes: BTreeMap<[usize; 2], (i64, [usize; 2])> = BTreeMap::new();
    for (triangle, corners) in numbered.iter().enumerate() {
        for edge in 0..3 {
            let (from, to) = (corners[edge], corners[(edge + 1) % 3]);
            if from != to {
                let first = [triangle, edge];
                let own = passes.entry([from.min(to), from.max(to)]).or_insert((0, first));
                own.0 += if from < to { 1 } else { -1 };
            }
        }
    }
    let mut open: Vec<[usize; 2]> =
        passes.into_values().filter(|(count, _)| *count != 0).map(|(_, first)| first).collect();
    open.sort_unstable();
    open
}

/// Number of edges that are not passed as often in one direction as in the other; 0 for a closed surface.
pub fn open_edges(triangles: &[Triangle]) -> usize {
    without_partner(&numbered(triangles)).len()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A box from `low` to `high` as twelve triangles that face outwards.
    pub(crate) fn cuboid(low: [f64; 3], high: [f64; 3]) -> Vec<Triangle> {
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
    fn text_and_binary_say_the_same() {
        let triangles = cuboid([100.0, 0.0, 0.0], [300.0, 30.0, 50.0]);
        let [text, binary] =
            [as_text(&triangles), as_binary(&triangles)].map(|bytes| read_stl(&bytes, 1e-3).unwrap());
        assert_eq!(text, binary);
        assert_eq!((text.len(), open_edges(&text)), (12, 0));
        assert_eq!(text, cuboid([100.0 * 1e-3, 0.0, 0.0], [300.0 * 1e-3, 30.0 * 1e-3, 50.0 * 1e-3]));
        assert_eq!(open_edges(&text[..11]), 3);
    }

    #[test]
    fn what_is_no_stl_is_refused() {
        let message = |bytes: &[u8]| read_stl(bytes, 1.0).unwrap_err().message;
        assert!(message(b"").contains("is no STL"));
        assert!(message(&[7; 200]).contains("is no STL"));
        assert!(message(b"solid a\nvertex 1 2 x\nendsolid").contains("\"x\""));
        assert!(message(b"solid a\nvertex 1 2 3\nendsolid").contains("ends before"));
        assert!(message(b"solid a\nendsolid").contains("no triangle"));
        let mut short = as_binary(&cuboid([0.0; 3], [1.0; 3]));
        short.truncate(300);
        assert!(read_stl(&short, 1.0).is_err());
    }
}
