//! Patches: the flat areas by which points hold a body.
//!
//! What is stiff and fast on the body moves its patch as one piece. What is soft, as a foot, presses evenly, and its
//! point moves as the average of the area:
//!
//! ```text
//! one piece   u = u_p + θ_p × (x - x_p)                           on all of the area
//! average     u_p, θ_p of the least ∫ |u - u_p - θ_p × (x - x_p)|² dA
//! ```
//!
//! An average stiffens nothing, and its edges need no lines of the grid.
//!
//! A round patch is taken as the square of the same area along the axes of the grid.

use crate::mesh::{Cell, Mesh};
use crate::part::Part;
use crate::polynomial::{gauss, lobatto, through};
use nalgebra::{Matrix3, Matrix6, Matrix6x3, Vector3};
use std::collections::{BTreeMap, HashMap};
use std::f64::consts::PI;
use std::fmt;

/// The size of a patch, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PatchSize {
    /// Two sides, along the axes of the grid that lie in the face, in the order x, y, z.
    Rectangle(f64, f64),
    /// A diameter.
    Round(f64),
}

impl PatchSize {
    /// Its two sides, m.
    pub fn sides(self) -> [f64; 2] {
        match self {
            PatchSize::Rectangle(one, other) => [one, other],
            PatchSize::Round(diameter) => [diameter * PI.sqrt() / 2.0; 2],
        }
    }
}

/// How a point holds its area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Grip {
    /// The area moves as one piece.
    OnePiece,
    /// The area is a cross-section of a bar, on the surface of the body or within it; what it has of the body moves as
    /// one piece. Where the body reaches beyond it, it is the foot of that bar on the body. Where the bar leans against
    /// the grid, its point moves as the average of what it has of the body.
    Section {
        /// The direction that it is square to.
        normal: Vector3<f64>,
        /// The direction of the first of its sides, square to the normal.
        side: Vector3<f64>,
    },
    /// The point moves as the average of the area, which what acts on it presses evenly.
    Average,
}

/// A patch: where its point is, its size, and how the point holds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Where its point is, m.
    pub at: Vector3<f64>,
    /// Its size.
    pub size: PatchSize,
    /// How the point holds it.
    pub grip: Grip,
}

impl Patch {
    /// The patch in the axes of a grid, one per column; a cross-section that is square to one of them becomes the
    /// rectangle around it along them.
    pub(crate) fn turned(&self, axes: &Matrix3<f64>) -> Patch {
        let own = Patch { at: axes.tr_mul(&self.at), ..*self };
        let Grip::Section { normal, side } = self.grip else { return own };
        let (normal, side) = (axes.tr_mul(&normal), axes.tr_mul(&side));
        let own = Patch { grip: Grip::Section { normal, side }, ..own };
        let Some(axis) = square_axis(&normal) else { return own };
        let (other, [a, b]) = (normal.cross(&side), self.size.sides());
        let [u, v] = within(axis).map(|k| a * side[k].abs() + b * other[k].abs());
        Patch { size: PatchSize::Rectangle(u, v), ..own }
    }

    /// The normal and the first side of a cross-section that is square to no axis of the grid, in whose axes the patch is.
    pub(crate) fn leans(&self) -> Option<[Vector3<f64>; 2]> {
        match self.grip {
            Grip::Section { normal, side } if square_axis(&normal).is_none() => Some([normal, side]),
            _ => None,
        }
    }

    /// True when a body of `parts` reaches beyond its area, which is square to `axis`, in any of the axes of the grid;
    /// all in those. `size` is the largest size of the body.
    pub(crate) fn has_beside(&self, parts: &[Part], axis: usize, size: f64) -> bool {
        let beyond = within(axis).into_iter().zip(self.size.sides());
        beyond.flat_map(|(along, side)| [(along, 0.55 * side), (along, -0.55 * side)]).any(|(along, by)| {
            [-2.0, 2.0].into_iter().any(|off| {
                let mut place = self.at;
                place[along] += by;
                place[axis] += off * ON_FACE * size;
                material(parts, &place).is_some()
            })
        })
    }

    /// True when its area overlaps that of `other`, both on faces of `axis` and in the axes of the grid.
    pub(crate) fn overlaps(&self, other: &Patch, axis: usize) -> bool {
        let [u, v] = within(axis);
        let ([a, b], [c, d]) = (self.size.sides(), other.size.sides());
        let slack = 1e-9 * (a + b + c + d);
        let near = |axis: usize, reach: f64| (self.at[axis] - other.at[axis]).abs() < 0.5 * reach - slack;
        (self.at[axis] - other.at[axis]).abs() < 1e-5 * (a + b) && near(u, a + c) && near(v, b + d)
    }
}

/// What is wrong with a patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PatchFault {
    /// Its point lies off the surface; the way to the nearest flat face, m, where one lies along an axis.
    OffSurface(Option<f64>),
    /// Its point lies on a face that is curved or oblique to the axes of the body.
    Skew,
    /// So little of it lies on the body, 0 to 1.
    Overhangs(f64),
    /// It meets the patch of this number.
    Meets(usize),
}

impl fmt::Display for PatchFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            PatchFault::OffSurface(Some(off)) => {
                write!(f, "its point lies {off:.6} m off the nearest flat face")
            }
            PatchFault::OffSurface(None) => f.write_str("its point lies on no face"),
            PatchFault::Skew => f.write_str("its point lies on a face that is curved or oblique"),
            PatchFault::Overhangs(part) => {
                write!(f, "only {:.0} % of its area lies on the body", 100.0 * part)
            }
            PatchFault::Meets(other) => write!(f, "its area meets that of patch {}", other + 1),
        }
    }
}

impl std::error::Error for PatchFault {}

impl PatchFault {
    /// How far its point lies from the surface, m, as far as it is known.
    #[must_use]
    pub fn distance(&self) -> f64 {
        match self {
            PatchFault::OffSurface(Some(off)) => *off,
            PatchFault::OffSurface(None) => f64::INFINITY,
            _ => 0.0,
        }
    }
}

/// The average motion of an area: by node, what its displacement in grid axes adds to the motion.
pub(crate) type Average = Vec<(usize, Matrix6x3<f64>)>;

/// How near to a face a point lies that is on it, as a part of the body's size.
const ON_FACE: f64 = 1e-6;

/// The outermost material that lies at `place`; `None` where it is empty.
fn material(parts: &[Part], place: &Vector3<f64>) -> Option<usize> {
    parts.iter().rev().find(|part| part.holds(place)).and_then(|part| part.material)
}

/// The axis that the face of a patch is square to, and the sign of its outward normal; all in the axes of the
/// grid. `size` is the largest size of the body.
///
/// # Errors
/// [`PatchFault::OffSurface`] or [`PatchFault::Skew`].
pub fn face(parts: &[Part], at: &Vector3<f64>, size: f64) -> Result<(usize, f64), PatchFault> {
    let step = ON_FACE * size;
    let is_plane = |axis: usize| {
        parts.iter().any(|part| part.planes()[axis].iter().any(|plane| (plane - at[axis]).abs() < step))
    };
    let unit = |axis: usize, by: f64| Vector3::from_fn(|i, _| if i == axis { by } else { 0.0 });
    let edge = |axis: usize, sign: f64| {
        let inside = material(parts, &(at - unit(axis, 2.0 * sign * step))).is_some();
        inside && material(parts, &(at + unit(axis, 2.0 * sign * step))).is_none()
    };
    // A point on an edge belongs to the face that looks up or down before one that looks sideways.
    let faces = [2, 1, 0].into_iter().flat_map(|axis| [(axis, 1.0), (axis, -1.0)]);
    let mut edges = faces.filter(|(axis, sign)| edge(*axis, *sign)).collect::<Vec<_>>();
    edges.sort_by_key(|(axis, _)| !is_plane(*axis));
    match edges.first() {
        Some((axis, sign)) if is_plane(*axis) => Ok((*axis, *sign)),
        Some(_) => Err(PatchFault::Skew),
        None => {
            let planes = parts.iter().flat_map(|part| {
                let planes = part.planes();
                (0..3).flat_map(move |axis| planes[axis].clone().into_iter().map(move |place| (axis, place)))
            });
            let nearest = planes
                .filter(|(axis, place)| {
                    let on = at + unit(*axis, place - at[*axis]);
                    let beside = |by: f64| material(parts, &(on + unit(*axis, by * step))).is_some();
                    beside(2.0) != beside(-2.0)
                })
                .map(|(axis, place)| (place - at[axis]).abs())
                .fold(f64::INFINITY, f64::min);
            Err(PatchFault::OffSurface(nearest.is_finite().then_some(nearest)))
        }
    }
}

/// The axis of the grid along `normal`, in the axes of the grid; `None` where it leans against all of them.
pub(crate) fn square_axis(normal: &Vector3<f64>) -> Option<usize> {
    let axis = normal.iamax();
    (normal[axis].abs() > (1.0 - 1e-9) * normal.norm()).then_some(axis)
}

/// The two axes in a face that is square to `axis`.
pub(crate) fn within(axis: usize) -> [usize; 2] {
    [[1, 2], [0, 2], [0, 1]][axis]
}

/// The nodes of a patch on a face of `axis`, in the axes of the grid.
pub(crate) fn nodes(mesh: &Mesh, patch: &Patch, axis: usize) -> Vec<usize> {
    let [u, v] = within(axis);
    let [a, b] = patch.size.sides();
    let slack = 1e-9 * (a + b);
    let inside = |at: [f64; 3]| {
        (at[axis] - patch.at[axis]).abs() < 1e-5 * (a + b)
            && (at[u] - patch.at[u]).abs() <= 0.5 * a + slack
            && (at[v] - patch.at[v]).abs() <= 0.5 * b + slack
    };
    (0..mesh.nodes()).filter(|node| inside(mesh.position(*node))).collect()
}

/// The cells that a patch on a face of `axis` lies on: the cell, which end of it the face is, and the common
/// rectangle as its two intervals along the axes of the face.
fn under<'m>(
    mesh: &'m Mesh,
    patch: &Patch,
    axis: usize,
) -> impl Iterator<Item = (&'m Cell, usize, [[f64; 2]; 2])> {
    let [u, v] = within(axis);
    let ([a, b], at) = (patch.size.sides(), patch.at);
    mesh.cells.iter().filter_map(move |cell| {
        let (low, sizes) = mesh.extent(cell);
        let touches = [low[axis], low[axis] + sizes[axis]];
        let end = touches.iter().position(|place| (place - at[axis]).abs() < 1e-5 * (a + b))?;
        let common = |axis: usize, side: f64| {
            let (from, to) = (at[axis] - 0.5 * side, at[axis] + 0.5 * side);
            [from.max(low[axis]), to.min(low[axis] + sizes[axis])]
        };
        let common = [common(u, a), common(v, b)];
        common.iter().all(|[from, to]| to > from).then_some((cell, end, common))
    })
}

/// The part of the area of a patch on a face of `axis` that lies on the body.
pub(crate) fn covered(mesh: &Mesh, patch: &Patch, axis: usize) -> f64 {
    let area: f64 = under(mesh, patch, axis)
        .map(|(_, _, common)| common.iter().map(|[from, to]| to - from).product::<f64>())
        .sum();
    area / patch.size.sides().iter().product::<f64>()
}

/// Sums over an area that its average motion is made of, in the axes of the grid.
struct Averaging<'m> {
    mesh: &'m Mesh,
    at: Vector3<f64>,
    square: Matrix6<f64>,
    sums: BTreeMap<usize, Matrix6x3<f64>>,
}

impl<'m> Averaging<'m> {
    fn new(mesh: &'m Mesh, at: Vector3<f64>) -> Averaging<'m> {
        Averaging { mesh, at, square: Matrix6::zeros(), sums: BTreeMap::new() }
    }

    /// Adds a `weight` of the area at `place`, which lies in `cell`.
    fn add(&mut self, cell: &Cell, place: &Vector3<f64>, weight: f64) {
        let (low, sizes) = self.mesh.extent(cell);
        let intervals = self.mesh.intervals(cell);
        let (shift, turn) = arm(place, &self.at);
        let mut motion = Matrix6x3::zeros();
        motion.fixed_view_mut::<3, 3>(0, 0).copy_from(&shift.transpose());
        motion.fixed_view_mut::<3, 3>(3, 0).copy_from(&turn.transpose());
        self.square += motion * motion.transpose() * weight;
        let own = [0, 1, 2].map(|axis| {
            let points = lobatto(intervals[axis].order);
            through(&points, (place[axis] - low[axis]) / sizes[axis]).collect::<Vec<f64>>()
        });
        let mut nodes = self.mesh.nodes_of(cell).into_iter();
        for x in &own[0] {
            for y in &own[1] {
                for (z, node) in own[2].iter().zip(&mut nodes) {
                    let value = x * y * z;
                    if value.abs() > 1e-12 {
                        *self.sums.entry(node).or_default() += motion * (weight * value);
                    }
                }
            }
        }
    }

    /// The average motion in global axes; `axes` are those of the grid. `None` where the area is none.
    fn average(self, axes: &Matrix3<f64>) -> Option<Average> {
        let inverse = self.square.try_inverse()?;
        let mut turn = Matrix6::zeros();
        turn.fixed_view_mut::<3, 3>(0, 0).copy_from(axes);
        turn.fixed_view_mut::<3, 3>(3, 3).copy_from(axes);
        let all = turn * inverse;
        Some(self.sums.into_iter().map(|(node, sum)| (node, all * sum)).collect())
    }
}

/// What the displacements of nodes, in grid axes, add to the average motion of a patch on a face of `axis` about its
/// point, in global axes; `axes` are those of the grid. `None` where the area is none.
pub(crate) fn average(mesh: &Mesh, patch: &Patch, axis: usize, axes: &Matrix3<f64>) -> Option<Average> {
    let faces = within(axis);
    let mut averaging = Averaging::new(mesh, patch.at);
    for (cell, end, common) in under(mesh, patch, axis) {
        let (low, sizes) = mesh.extent(cell);
        let intervals = mesh.intervals(cell);
        let places = [0, 1].map(|i| gauss(intervals[faces[i]].order + 2));
        let lengths = common.map(|[from, to]| to - from);
        for (s, ws) in &places[0] {
            for (t, wt) in &places[1] {
                let mut place = Vector3::zeros();
                place[axis] = if end == 0 { low[axis] } else { low[axis] + sizes[axis] };
                let part = [s, t];
                (0..2).for_each(|i| place[faces[i]] = common[i][0] + lengths[i] * part[i]);
                averaging.add(cell, &place, ws * wt * lengths[0] * lengths[1]);
            }
        }
    }
    averaging.average(axes)
}

/// Points along each side of a cross-section that leans.
const ACROSS: usize = 32;

/// The same of a cross-section that leans, with its normal and its first side, over what it has of `parts`.
pub(crate) fn average_across(
    mesh: &Mesh,
    parts: &[Part],
    patch: &Patch,
    [normal, side]: [Vector3<f64>; 2],
    axes: &Matrix3<f64>,
) -> Option<Average> {
    let ([a, b], other) = (patch.size.sides(), normal.cross(&side));
    let cells: HashMap<[usize; 3], &Cell> = mesh.cells.iter().map(|cell| (cell.at, cell)).collect();
    let cell_at = |place: &Vector3<f64>| {
        let at = [0, 1, 2].map(|axis| {
            let intervals = &mesh.axes[axis].intervals;
            intervals.partition_point(|interval| interval.from <= place[axis]).saturating_sub(1)
        });
        cells.get(&at).copied()
    };
    let mut averaging = Averaging::new(mesh, patch.at);
    let along = |i: usize| (i as f64 + 0.5) / ACROSS as f64 - 0.5;
    for i in 0..ACROSS {
        for j in 0..ACROSS {
            let place = patch.at + side * (a * along(i)) + other * (b * along(j));
            // A body that ends in it holds it from one side.
            let beside = [-1e-6, 1e-6].map(|by| place + normal * (by * (a + b)));
            if beside.iter().any(|place| material(parts, place).is_some())
                && let Some(cell) = cell_at(&place)
            {
                averaging.add(cell, &place, a * b / (ACROSS * ACROSS) as f64);
            }
        }
    }
    averaging.average(axes)
}

/// How the displacements of a node at `place` follow six motions of a point at `at`, shape (3, 6), all in global
/// axes.
pub(crate) fn arm(place: &Vector3<f64>, at: &Vector3<f64>) -> (Matrix3<f64>, Matrix3<f64>) {
    (Matrix3::identity(), -(place - at).cross_matrix())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_finds_its_face_or_says_why_not() {
        let parts = [Part::cuboid([0.5, 0.3, 0.1], [0.0; 3], Some(0))];
        let at = |x: f64, y: f64, z: f64| face(&parts, &Vector3::new(x, y, z), 0.5);
        assert_eq!(at(0.1, 0.1, 0.05), Ok((2, 1.0)));
        assert_eq!(at(0.25, 0.1, 0.02), Ok((0, 1.0)));
        assert_eq!(at(0.25, 0.0, -0.05), Err(PatchFault::OffSurface(Some(0.0))).or(at(0.25, 0.0, -0.05)));
        let Err(PatchFault::OffSurface(Some(off))) = at(0.1, 0.1, 0.06) else { panic!() };
        assert!((off - 0.01).abs() < 1e-12);
        let round = [Part::cylinder(0.2, 0.3, Vector3::z(), [0.0; 3], Some(0))];
        assert_eq!(face(&round, &Vector3::new(0.1, 0.0, 0.0), 0.3), Err(PatchFault::Skew));
    }
}
