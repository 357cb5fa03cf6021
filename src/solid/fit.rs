//! A grid fitted to the parts of a body.
//!
//! The axes are those that most parts are square to. Every face that is square to them lies between cells; cells
//! that a curved or oblique face cuts are integrated by points. A point near a face counts in part on both sides,
//! by its distance from it over the spacing of the points.
//!
//! ```text
//! orders along an interval of length l, with H the least size of the body:
//!   l < 0.25 H: 1 (walls within a cast, borders of patches), l < 0.6 H: 2, else 3
//!   where walls stand free: 2 across walls (l < 0.08 H) and 4 along
//! ```
//!
//! One order more makes the finer grid, but in walls thinner than 0.04 H that do not stand free.

use crate::cut::filling;
use crate::mesh::{Axis, Cell, Content, Mesh};
use crate::part::Part;
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;
use std::fmt;

/// Planes nearer to each other than this part of the body's size are one.
const SAME_PLANE: f64 = 1e-6;

/// What is wrong with the parts of a body.
#[derive(Debug, Clone, PartialEq)]
pub enum FitFault {
    /// There is no part with a material, or others cut all of it away.
    Empty,
    /// The grid would have more nodes than can be solved; their number.
    TooLarge(usize),
}

impl fmt::Display for FitFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            FitFault::Empty => f.write_str("its parts leave nothing of it"),
            FitFault::TooLarge(nodes) => {
                write!(f, "its grid would have {nodes} nodes, more than the {MOST_NODES} that can be solved")
            }
        }
    }
}

impl std::error::Error for FitFault {}

/// Most nodes of a grid.
const MOST_NODES: usize = 400_000;

/// The axes that most faces are square to, one per column.
pub fn best_axes(parts: &[Part]) -> Matrix3<f64> {
    let score = |axes: &Matrix3<f64>| parts.iter().map(|part| part.turned(axes).squareness()).sum::<isize>();
    let mut best = (Matrix3::identity(), score(&Matrix3::identity()));
    for part in parts {
        let own = score(&part.axes);
        if own > best.1 {
            best = (part.axes, own);
        }
    }
    best.0
}

/// The grid of `parts`, later ones displacing earlier ones, with grid lines also at `extra` places by axis, m, and
/// orders higher by `finer`. The parts are in the axes of the grid.
///
/// # Errors
/// [`FitFault`].
pub fn fit(parts: &[Part], extra: &[Vec<f64>; 3], finer: usize) -> Result<Mesh, FitFault> {
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for part in parts.iter().filter(|part| part.material.is_some()) {
        let [from, to] = part.extent();
        for axis in 0..3 {
            low[axis] = low[axis].min(from[axis]);
            high[axis] = high[axis].max(to[axis]);
        }
    }
    let sizes = [0, 1, 2].map(|axis| high[axis] - low[axis]);
    if sizes.iter().any(|size| !size.is_finite() || *size <= 0.0) {
        return Err(FitFault::Empty);
    }
    let planes: Vec<[Vec<f64>; 3]> = parts.iter().map(Part::planes).collect();
    let largest = sizes.iter().fold(0.0_f64, |a, b| a.max(*b));
    let least = sizes.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    let breaks = [0, 1, 2].map(|axis| {
        let own = planes.iter().flat_map(|planes| planes[axis].iter().copied());
        let within = |x: &f64| *x > low[axis] && *x < high[axis];
        let mut all: Vec<f64> = own.chain(extra[axis].iter().copied()).filter(within).collect();
        all.extend([low[axis], high[axis]]);
        merged(all, SAME_PLANE * largest)
    });
    let skew = parts.iter().any(Part::is_skew);
    let longest = (1.4 * least).max(0.25 * largest).min(if skew { 0.35 } else { 0.6 } * largest);
    let breaks = breaks.map(|breaks| divided(&breaks, |_| longest));
    // Around a slender part that leans, cells are of its size, and bend as it does.
    let leaning: Vec<Leaning> = parts.iter().filter_map(Leaning::of).collect();
    let breaks = [0, 1, 2].map(|axis| {
        let longest = |[from, to]: [f64; 2]| {
            let within = leaning.iter().filter(|leaning| leaning.reaches(axis, [from, to]));
            within.map(|leaning| leaning.longest).fold(f64::INFINITY, f64::min)
        };
        divided(&breaks[axis], longest)
    });
    let order = |length: f64, leans: bool, free: bool| {
        let usual = if leans {
            3
        } else if length < 0.25 * least {
            1
        } else if length < 0.6 * least {
            2
        } else {
            3
        };
        let free_standing = if length < 0.08 * least { 2 } else { 4 };
        match free {
            true => free_standing + finer,
            // Between neighbours that it is bonded to, a thin wall only stretches and shears.
            false if length < 0.04 * least => 1,
            false => usual + finer,
        }
    };
    let axes = |free: bool| {
        [0, 1, 2].map(|axis| {
            let of = |ends: &[f64]| {
                let leans = leaning.iter().any(|leaning| leaning.reaches(axis, [ends[0], ends[1]]));
                order(ends[1] - ends[0], leans, free)
            };
            let orders: Vec<usize> = breaks[axis].windows(2).map(of).collect();
            Axis::new(&breaks[axis], &orders)
        })
    };
    let grid = axes(false);
    let cells = filled(parts, &grid);
    if cells.is_empty() {
        return Err(FitFault::Empty);
    }
    let stand_free = walls_stand_free(&grid, &cells, 0.15 * least);
    let (grid, cells) = if stand_free { (axes(true), filled(parts, &axes(true))) } else { (grid, cells) };
    let mesh = Mesh::new(grid, cells);
    match mesh.nodes() {
        nodes if nodes > MOST_NODES => Err(FitFault::TooLarge(nodes)),
        _ => Ok(mesh),
    }
}

/// Ascending, with places nearer than `same` made one.
fn merged(mut places: Vec<f64>, same: f64) -> Vec<f64> {
    places.sort_by(f64::total_cmp);
    let last = places.last().copied();
    let mut kept: Vec<f64> = Vec::new();
    for place in places {
        if kept.last().is_none_or(|before| place - before > same) {
            kept.push(place);
        }
    }
    if let (Some(end), Some(last)) = (kept.last_mut(), last) {
        *end = last;
    }
    kept
}

/// A slender part that leans against the axes of the body.
struct Leaning {
    /// The longest cell that it is to pass through, m.
    longest: f64,
    /// By axis that it leans against: from where to where it reaches, m.
    reach: [Option<[f64; 2]>; 3],
}

impl Leaning {
    fn of(part: &Part) -> Option<Leaning> {
        part.material?;
        let (least, along) = part.oblique()?;
        let extent = part.extent();
        let largest = (0..3).map(|axis| extent[1][axis] - extent[0][axis]).fold(0.0, f64::max);
        let longest = (IN_CELL * least).max(largest / MOST_CELLS);
        let reach = [0, 1, 2].map(|axis| along[axis].then_some([extent[0][axis], extent[1][axis]]));
        (largest > IN_CELL * least).then_some(Leaning { longest, reach })
    }

    /// True when it passes through an interval along `axis` that is not thin against it.
    fn reaches(&self, axis: usize, [from, to]: [f64; 2]) -> bool {
        let meets = |[low, high]: [f64; 2]| to.min(high) - from.max(low) > 1e-6 * (to - from);
        self.reach[axis].is_some_and(meets) && to - from > THIN * self.longest
    }
}

/// The longest cell that a slender part passes through, in sizes of it, and how many there are along it at most.
const IN_CELL: f64 = 3.0;
const MOST_CELLS: f64 = 12.0;
/// Cells thinner than this part of that are layers of something else.
const THIN: f64 = 0.25;

/// With the intervals longer than what `longest` allows them divided evenly.
fn divided(breaks: &[f64], longest: impl Fn([f64; 2]) -> f64) -> Vec<f64> {
    let mut all: Vec<f64> = breaks.first().copied().into_iter().collect();
    for ends in breaks.windows(2) {
        let count = ((ends[1] - ends[0]) / longest([ends[0], ends[1]]) - 1e-9).ceil().max(1.0);
        all.extend((1..=count as usize).map(|i| ends[0] + (ends[1] - ends[0]) * i as f64 / count));
    }
    all
}

/// The cells of a grid that are not empty, filled with `parts`, later ones displacing earlier ones.
pub fn filled(parts: &[Part], axes: &[Axis; 3]) -> Vec<Cell> {
    let [nx, ny, nz] = [0, 1, 2].map(|axis| axes[axis].intervals.len());
    let content = |number: usize| {
        let at = [number / (ny * nz), number / nz % ny, number % nz];
        let intervals = [0, 1, 2].map(|axis| axes[axis].intervals[at[axis]]);
        let half = Vector3::from(intervals.map(|i| 0.5 * i.length));
        let middle = Vector3::from(intervals.map(|i| i.from)) + half;
        let mut owner = None;
        let mut cut = false;
        for part in parts.iter().filter(|part| part.within_square(&middle)) {
            if part.cut_across(&middle, &half).is_some() {
                cut = true;
            } else if part.holds(&middle) {
                (owner, cut) = (part.material, false);
            }
        }
        let content = match cut {
            false => owner.map(Content::Full),
            true => filling(parts, &middle, &half, intervals.map(|interval| interval.order)),
        };
        content.map(|content| Cell { at, content })
    };
    (0..nx * ny * nz).into_par_iter().filter_map(content).collect()
}

/// True when a cell thinner than `thin` along an axis has nothing on either side of it.
fn walls_stand_free(axes: &[Axis; 3], cells: &[Cell], thin: f64) -> bool {
    let taken: std::collections::HashSet<[usize; 3]> = cells.iter().map(|cell| cell.at).collect();
    cells.iter().any(|cell| {
        (0..3).any(|axis| {
            let beside = |step: isize| {
                let mut at = cell.at;
                let Some(next) = at[axis].checked_add_signed(step) else { return false };
                at[axis] = next;
                taken.contains(&at)
            };
            axes[axis].intervals[cell.at[axis]].length < thin && !beside(-1) && !beside(1)
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Filling;
    use approx::assert_relative_eq;

    fn volume(mesh: &Mesh) -> f64 {
        let of = |cell: &Cell| match &cell.content {
            Content::Full(_) => mesh.extent(cell).1.iter().product(),
            Content::Cut(fillings) => fillings.iter().map(Filling::volume).sum::<f64>(),
        };
        mesh.cells.iter().map(of).sum()
    }

    const NOTHING: [Vec<f64>; 3] = [const { Vec::new() }; 3];

    #[test]
    fn later_parts_displace_earlier_ones() {
        let block = Part::cuboid([0.5, 0.3, 0.1], [0.0; 3], Some(0));
        let rings = vec![Ring::rectangle(0.04, 0.04), Ring::rectangle(0.034, 0.034)];
        let tube = Part { rings, ..Part::cuboid([0.5, 0.0, 0.0], [0.0; 3], Some(1)) };
        let hole = Part::cuboid([0.1, 0.1, 0.2], [0.2, 0.1, 0.0], None);
        let mesh = fit(&[block, tube, hole], &NOTHING, 0).unwrap();
        assert_relative_eq!(volume(&mesh), 0.5 * 0.3 * 0.1 - 0.1 * 0.1 * 0.1, max_relative = 1e-12);
        let steel = mesh.cells.iter().filter(|cell| cell.content == Content::Full(1));
        let steel: f64 = steel.map(|cell| mesh.extent(cell).1.iter().product::<f64>()).sum();
        assert_relative_eq!(steel, 0.5 * (0.04 * 0.04 - 0.034 * 0.034), max_relative = 1e-12);
    }

    #[test]
    fn a_cylinder_keeps_its_volume() {
        let round = Part::cylinder(0.2, 0.3, Vector3::new(0.0, 0.0, 1.0), [0.0; 3], Some(0));
        let mesh = fit(&[round], &NOTHING, 0).unwrap();
        assert_relative_eq!(volume(&mesh), std::f64::consts::PI * 0.01 * 0.3, max_relative = 2e-4);
    }

    #[test]
    fn turned_bodies_have_the_axes_of_their_parts() {
        let turn = *nalgebra::Rotation3::from_euler_angles(0.3, 0.2, 0.1).matrix();
        let parts = [Part::cuboid([0.5, 0.3, 0.1], [0.0; 3], Some(0)).turned(&turn)];
        let axes = best_axes(&parts);
        assert_eq!(parts[0].turned(&axes).squareness(), 6);
    }

    use crate::part::Ring;
}
