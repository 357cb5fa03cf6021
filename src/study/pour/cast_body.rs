//! A casting from a body of the design: its grid turned so that it is poured upwards.
//!
//! The axis of the grid that is steepest is taken as upright. A cell that a curved or oblique face cuts counts whole
//! where it is filled at least by half.

use super::heat::{Cell, Solid};
use super::shape::{CastShape, Side};
use nalgebra::Matrix3;
use stillbed_design::{BuildBody, Model};
use stillbed_input::problem::Problem;
use stillbed_solid::Prepared;

/// The casting of `medium` in a body.
///
/// # Errors
/// What is wrong with the parts of the body, at its place.
pub(super) fn cast_body(model: &Model, body: &BuildBody, medium: usize) -> Result<CastShape, Problem> {
    let Prepared { axes, mesh, .. } = body.grid()?;
    let (up, turned_down) = upright(axes);
    let level: Vec<usize> = (0..3).filter(|axis| *axis != up).collect();
    let order = [level[0], level[1], up];
    let mut solids = Vec::new();
    let content = |at: &usize| {
        let own = &model.media[*at];
        match (own.conductivity, own.heat_capacity) {
            _ if *at == medium => Cell::Fill,
            (Some(conductivity), Some(heat)) => {
                solids.push(Solid { conductivity, heat_capacity: heat * own.density });
                Cell::Solid(solids.len() - 1)
            }
            _ => Cell::Nothing,
        }
    };
    let contents: Vec<Cell> = body.substances.iter().map(content).collect();
    let of_medium = body.substances.iter().position(|at| *at == medium);
    let counts = order.map(|axis| mesh.axes[axis].intervals.len());
    let mut blocks = vec![Cell::Nothing; counts.iter().product()];
    let mut volume = 0.0;
    for cell in &mesh.cells {
        let volumes = mesh.volumes(cell, contents.len());
        volume += of_medium.map_or(0.0, |number| volumes[number]);
        let whole: f64 = mesh.extent(cell).1.iter().product();
        let most = (0..volumes.len()).max_by(|a, b| volumes[*a].total_cmp(&volumes[*b]));
        let Some(most) = most.filter(|_| volumes.iter().sum::<f64>() >= 0.5 * whole) else { continue };
        let [x, y, z] = order.map(|axis| cell.at[axis]);
        let z = if turned_down { counts[2] - 1 - z } else { z };
        blocks[(z * counts[1] + y) * counts[0] + x] = contents[most];
    }
    let lines = order.map(|axis| {
        let intervals = &mesh.axes[axis].intervals;
        let ends = intervals.iter().map(|interval| interval.from + interval.length);
        let lines: Vec<f64> = intervals.iter().take(1).map(|first| first.from).chain(ends).collect();
        match axis == up && turned_down {
            true => lines.iter().rev().map(|line| -line).collect(),
            false => lines,
        }
    });
    let walls = [Side::Mould; 2];
    Ok(CastShape {
        name: body.name.replace('_', " "),
        count: 1,
        volume,
        lines,
        blocks,
        solids,
        sides: [walls, walls, [Side::Mould, Side::Open]],
    })
}

/// The axis of a grid that is steepest, and whether it runs down.
fn upright(axes: &Matrix3<f64>) -> (usize, bool) {
    let steep = |axis: usize| axes[(2, axis)];
    let steeper = |a: usize, b: usize| steep(b).abs() > steep(a).abs() + 1e-9;
    let up = (0..3).fold(2, |most, axis| if steeper(most, axis) { axis } else { most });
    (up, steep(up) < 0.0)
}

/// The narrowest way that the mix has to pass in a casting, m.
pub(super) fn thinnest_gap(shape: &CastShape) -> f64 {
    let counts = shape.lines.each_ref().map(|lines| lines.len() - 1);
    let strides = [1, counts[0], counts[0] * counts[1]];
    let mut thinnest = f64::INFINITY;
    for axis in 0..3 {
        for start in (0..shape.blocks.len()).filter(|i| i / strides[axis] % counts[axis] == 0) {
            let mut run = 0.0;
            for (at, ends) in shape.lines[axis].windows(2).enumerate() {
                if shape.blocks[start + at * strides[axis]] == Cell::Fill {
                    run += ends[1] - ends[0];
                } else {
                    thinnest = if run > 0.0 { thinnest.min(run) } else { thinnest };
                    run = 0.0;
                }
            }
            thinnest = if run > 0.0 { thinnest.min(run) } else { thinnest };
        }
    }
    thinnest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design_sample::design;
    use approx::assert_relative_eq;
    use stillbed_input::quantity::Draw;

    /// A block of 500 x 350 x 120 mm around a tube, with a hole of 60 mm.
    fn shape() -> CastShape {
        let design = design(
            r#"
            points = { f = "0, 0, 0 mm" }
            patches.f = "round 40 mm"
            anchors.floor = { at = ["f"], hold = "all" }
            mixes.stone.binder = { of = "epoxy, slow casting", share = 15 }
            mixes.stone.aggregates = [{ of = "quartz sand", share = 85, grain = "0.5 to 2 mm" }]
            builds.cast.bodies.bed.parts = [
              { box = "500 x 350 x 120 mm", at = "0, 0, 60 mm", of = "stone" },
              { tube = "40 x 40 x 3 mm", from = "-250, 0, 70 mm", to = "250, 0, 70 mm", of = "structural steel" },
              { cylinder = "60 x 120 mm", at = "150, 100, 60 mm", of = "air" },
            ]
            "#,
        );
        let build = &design.builds[0];
        let model = build.weights(&design.goal, &Draw::default()).unwrap();
        let medium = build.substances.iter().position(|own| own.name() == "stone").unwrap();
        cast_body(&model, &build.bodies[0], medium).unwrap()
    }

    #[test]
    fn a_body_is_poured_as_it_stands() {
        let shape = shape();
        let steel = 0.5 * (0.04 * 0.04 - 0.034 * 0.034);
        let hole = std::f64::consts::PI * 0.03 * 0.03 * 0.12;
        assert_relative_eq!(shape.volume, 0.5 * 0.35 * 0.12 - steel - hole, max_relative = 1e-4);
        for (found, expected) in shape.size().iter().zip([0.5, 0.35, 0.12]) {
            assert_relative_eq!(*found, expected, max_relative = 1e-9);
        }
        // The tube lies above the middle: 50 mm of mix below it, 30 mm above, 34 mm within.
        assert_relative_eq!(thinnest_gap(&shape), 0.03, max_relative = 1e-6);
        // The hole is less than half of each cell that it cuts: it counts in the volume alone.
        assert!(shape.has_boards() && shape.blocks.contains(&Cell::Solid(0)));
        let parts = shape.parts(2);
        assert!(parts[0] > parts[1], "{parts:?}");
    }

    #[test]
    fn the_steepest_axis_of_a_grid_is_upright() {
        assert_eq!(upright(&Matrix3::identity()), (2, false));
        let turn = nalgebra::Rotation3::from_euler_angles(0.0, 1.5, 0.0);
        assert_eq!(upright(turn.matrix()), (0, true));
    }
}
