//! A part bounded by a closed surface, in its place on a grid: the faces that the grid follows, and those that it cuts.
//!
//! The grid follows what is square to one of its axes and bounds the part, and of what is square to it within, a dozen
//! of the largest places that have a thousandth of its outline seen along that axis: a pad for a foot. All other
//! triangles are skew: cells are cut by them.

use crate::closed_surface::{ClosedSurface, normal};
use crate::tree::{Corners, Extent, Tree, extent_of, meets_box, overlap};
use nalgebra::{Matrix3, Vector3};
use std::sync::{Arc, OnceLock};

/// Depth of a triangle that is square to an axis along it, as a part of the size of the surface.
const FLAT: f64 = 2e-6;
/// Least part of the outline that the grid follows within the part, and most places of each axis.
const LEAST: f64 = 0.001;
const MOST: usize = 12;
/// Cosine of the angle within which triangles act as one plane.
const ONE_PLANE: f64 = 0.998;
/// Part of a normal above which a cell is divided along an axis.
const ACROSS: f64 = 1e-4;

/// What bounds a part: a closed surface, and what it is to a grid once that is asked for.
#[derive(Debug, Clone)]
pub struct Bounds {
    surface: Arc<ClosedSurface>,
    placed: Arc<OnceLock<Placed>>,
}

impl PartialEq for Bounds {
    fn eq(&self, other: &Bounds) -> bool {
        self.surface == other.surface
    }
}

/// The surface in the axes of a grid.
#[derive(Debug)]
struct Placed {
    extent: Extent,
    /// By axis: where the faces are that the grid follows, m.
    planes: [Vec<f64>; 3],
    skew: Vec<Corners>,
    normals: Vec<Vector3<f64>>,
    tree: Tree,
    /// What corners may lie off their plane, m.
    near: f64,
}

/// Where a surface stands: its middle, m, and its own axes, one per column.
pub(crate) type Stand<'a> = (&'a Vector3<f64>, &'a Matrix3<f64>);

impl Bounds {
    pub(crate) fn new(surface: Arc<ClosedSurface>) -> Bounds {
        Bounds { surface, placed: Arc::default() }
    }

    /// The same for a part that is turned.
    pub(crate) fn moved(&self) -> Bounds {
        Bounds::new(self.surface.clone())
    }

    /// The surface, in its own axes.
    pub(crate) fn surface(&self) -> &ClosedSurface {
        &self.surface
    }

    fn placed(&self, stand: Stand) -> &Placed {
        self.placed.get_or_init(|| Placed::new(&self.surface, stand))
    }

    /// The least and greatest coordinates, m.
    pub(crate) fn extent(&self, stand: Stand) -> [[f64; 3]; 2] {
        self.placed(stand).extent.map(Into::into)
    }

    /// By axis: where the faces are that the grid follows, m.
    pub(crate) fn planes(&self, stand: Stand) -> &[Vec<f64>; 3] {
        &self.placed(stand).planes
    }

    /// True when some of it is not followed by the grid.
    pub(crate) fn is_skew(&self, stand: Stand) -> bool {
        !self.placed(stand).skew.is_empty()
    }

    /// The axes to which skew faces within a box are neither square nor parallel; `None` where there is none.
    pub(crate) fn across(
        &self,
        stand: Stand,
        middle: &Vector3<f64>,
        half: &Vector3<f64>,
    ) -> Option<[bool; 3]> {
        let placed = self.placed(stand);
        let mut across = [false; 3];
        placed.within(middle, half, |i| {
            (0..3).for_each(|axis| across[axis] |= placed.normals[i][axis].abs() > ACROSS);
            across != [true; 3]
        });
        (across != [false; 3]).then_some(across)
    }

    /// Area of the skew triangles that pass through a box, m², each counted for no more than the largest face of the box.
    pub(crate) fn area(&self, stand: Stand, middle: &Vector3<f64>, half: &Vector3<f64>) -> f64 {
        let placed = self.placed(stand);
        let most = 4.0 * half.product() / half.min();
        let mut sum = 0.0;
        placed.within(middle, half, |i| {
            sum += (0.5 * normal(&placed.skew[i]).norm()).min(most);
            true
        });
        sum
    }

    /// How far the middle of a box is inside the skew faces within it, m, and their outward normal, where they are as
    /// good as one plane.
    pub(crate) fn plane(
        &self,
        stand: Stand,
        middle: &Vector3<f64>,
        half: &Vector3<f64>,
    ) -> Option<(f64, Vector3<f64>)> {
        let placed = self.placed(stand);
        let (mut sum, mut depth, mut count) = (Vector3::zeros(), 0.0, 0.0);
        let mut even = true;
        placed.within(middle, half, |i| {
            let normal = &placed.normals[i];
            even = sum.dot(normal) >= ONE_PLANE * sum.norm();
            sum += normal;
            depth += normal.dot(&(placed.skew[i][0] - middle));
            count += 1.0;
            even
        });
        (even && count > 0.0).then(|| (depth / count, sum.normalize()))
    }
}

impl Placed {
    fn new(surface: &ClosedSurface, (middle, axes): Stand) -> Placed {
        let place = |corners: &Corners| corners.map(|corner| middle + axes * corner);
        let triangles: Vec<Corners> = surface.triangles.iter().map(place).collect();
        let extent = extent_of(triangles.iter().flatten());
        let sizes = extent[1] - extent[0];
        let near = FLAT * sizes.norm();
        // By axis: the triangles that are square to it, with their place along it and their area.
        let mut square: [Vec<(f64, f64, usize)>; 3] = [const { Vec::new() }; 3];
        let mut skew = Vec::new();
        for (i, corners) in triangles.iter().enumerate() {
            let [low, high] = extent_of(corners);
            let flat: Vec<usize> = (0..3).filter(|axis| high[*axis] - low[*axis] < near).collect();
            let area = 0.5 * normal(corners).norm();
            match flat[..] {
                _ if area <= near * near => {}
                [] => skew.push(i),
                [axis, ..] => square[axis].push((0.5 * (low[axis] + high[axis]), area, i)),
            }
        }
        let mut planes = [const { Vec::new() }; 3];
        for axis in 0..3 {
            let outline = sizes[(axis + 1) % 3] * sizes[(axis + 2) % 3];
            let ends = [extent[0][axis], extent[1][axis]];
            square[axis].sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut within = Vec::new();
            for plane in square[axis].chunk_by(|a, b| b.0 - a.0 < near) {
                let area: f64 = plane.iter().map(|(_, area, _)| area).sum();
                let at = plane.iter().map(|(at, area, _)| at * area).sum::<f64>() / area;
                match ends.iter().find(|end| (at - *end).abs() < 2.0 * near) {
                    Some(end) => planes[axis].push(*end),
                    None => within.push((at, area, plane)),
                }
            }
            within.sort_by(|a, b| b.1.total_cmp(&a.1));
            for (number, (at, area, plane)) in within.into_iter().enumerate() {
                if number < MOST && area > LEAST * outline {
                    planes[axis].push(at);
                } else {
                    skew.extend(plane.iter().map(|(_, _, i)| *i));
                }
            }
        }
        let skew: Vec<Corners> = skew.into_iter().map(|i| triangles[i]).collect();
        let normals = skew.iter().map(|corners| normal(corners).normalize()).collect();
        let tree = Tree::new(&skew);
        Placed { extent, planes, skew, normals, tree, near }
    }

    /// Calls `each` with the skew triangles that pass through the inside of a box, until it returns false.
    fn within(&self, middle: &Vector3<f64>, half: &Vector3<f64>, mut each: impl FnMut(usize) -> bool) {
        // What only touches it does not cut it.
        let inner = half - Vector3::repeat(self.near.min(0.1 * half.min()));
        let own = [middle - inner, middle + inner];
        self.tree
            .find(|extent| overlap(extent, &own), |i| !meets_box(&self.skew[i], middle, &inner) || each(i));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stl::Triangle;
    use approx::assert_relative_eq;

    /// A box of 600 x 400 x 200 mm about the origin with a cavity of `wide` x `wide` x 100 mm within it.
    fn hollow(wide: f64) -> Bounds {
        use crate::stl::tests::cuboid;
        let mut triangles = cuboid([-0.3, -0.2, -0.1], [0.3, 0.2, 0.1]);
        let cavity = cuboid([-0.5 * wide, -0.5 * wide, -0.05], [0.5 * wide, 0.5 * wide, 0.05]);
        triangles.extend(cavity.iter().map(|[a, b, c]| -> Triangle { [*b, *a, *c] }));
        Bounds::new(Arc::new(ClosedSurface::new(&triangles).unwrap()))
    }

    #[test]
    fn the_grid_follows_large_faces_and_cuts_small_ones() {
        let (middle, axes) = (Vector3::zeros(), Matrix3::identity());
        let large = hollow(0.1);
        assert_eq!(large.planes((&middle, &axes)).clone().map(|places| places.len()), [4, 4, 4]);
        assert!(!large.is_skew((&middle, &axes)));
        // A hole of 10 x 10 mm is less than a thousandth of 600 x 400 mm, its walls of 10 x 100 mm are more.
        let small = hollow(0.01);
        assert_eq!(small.planes((&middle, &axes)).clone().map(|places| places.len()), [4, 4, 2]);
        let half = Vector3::new(0.005, 0.005, 0.02);
        let near = Vector3::new(0.0, 0.0, 0.06);
        assert_eq!(small.across((&middle, &axes), &near, &half), Some([false, false, true]));
        let (depth, normal) = small.plane((&middle, &axes), &near, &half).unwrap();
        assert_relative_eq!(depth, 0.01, max_relative = 1e-9);
        assert_relative_eq!(normal.z, -1.0, max_relative = 1e-9);
        assert_eq!(small.across((&middle, &axes), &Vector3::zeros(), &half), None);
        // Turned about z, its upright faces are skew.
        let turn = *nalgebra::Rotation3::from_euler_angles(0.0, 0.0, 0.5).matrix();
        let planes = hollow(0.1).planes((&middle, &turn)).clone().map(|places| places.len());
        assert_eq!(planes, [0, 0, 4]);
    }
}
