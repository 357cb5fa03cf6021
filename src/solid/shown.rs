//! What a drawing of a body asks: where a place on it moves, and where its patches lie.

use crate::body::Body;
use crate::fit::best_axes;
use crate::patch::{PatchSize, within};
use crate::reduced::Reduced;
use nalgebra::Vector3;
use std::f64::consts::TAU;

impl Reduced {
    /// Displacement of the place `at` on the body for its `coordinates`, m, global axes: linear between the nodes
    /// around it. `None` where the body is not.
    pub fn motion(&self, at: &Vector3<f64>, coordinates: &[f64]) -> Option<Vector3<f64>> {
        let own = self.axes.tr_mul(at);
        let spans = [0, 1, 2].map(|axis| span(&self.mesh.axes[axis].lines, own[axis]));
        let (mut moved, mut whole) = (Vector3::zeros(), 0.0);
        for corner in 0..8 {
            let upper = |axis: usize| corner >> axis & 1 == 1;
            let weight: f64 =
                (0..3).map(|axis| if upper(axis) { spans[axis].1 } else { 1.0 - spans[axis].1 }).product();
            let place = [0, 1, 2].map(|axis| spans[axis].0 + usize::from(upper(axis)));
            if weight > 0.0
                && let Some(node) = self.mesh.node(place)
            {
                let shape = |i: usize| -> f64 {
                    coordinates.iter().enumerate().map(|(k, q)| q * self.shapes[(3 * node + i, k)]).sum()
                };
                moved += Vector3::new(shape(0), shape(1), shape(2)) * weight;
                whole += weight;
            }
        }
        (whole > 0.0).then(|| moved / whole)
    }
}

/// The line below `at` and how far towards the next it lies, 0 to 1.
fn span(lines: &[f64], at: f64) -> (usize, f64) {
    let below =
        lines.partition_point(|line| *line <= at).saturating_sub(1).min(lines.len().saturating_sub(2));
    match (lines.get(below), lines.get(below + 1)) {
        (Some(from), Some(to)) => (below, ((at - from) / (to - from)).clamp(0.0, 1.0)),
        _ => (below, 0.0),
    }
}

/// Corners of a round patch.
const ROUND: usize = 32;

impl Body {
    /// The outline of a patch as it is stated, m, and the outward normal of its face; `None` where it lies on no
    /// face.
    pub fn outline(&self, patch: usize) -> Option<(Vec<Vector3<f64>>, Vector3<f64>)> {
        let patch = self.patches.get(patch)?;
        let (axis, sign) = self.face(&patch.at).ok()?;
        let axes = best_axes(&self.parts);
        let column = |axis: usize| Vector3::from(axes.column(axis));
        let [one, other] = within(axis).map(column);
        let at = |y: f64, z: f64| patch.at + one * y + other * z;
        let outline = match patch.size {
            PatchSize::Rectangle(a, b) => [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
                .map(|[y, z]| at(0.5 * a * y, 0.5 * b * z))
                .to_vec(),
            PatchSize::Round(diameter) => {
                let angles = (0..ROUND).map(|i| TAU * i as f64 / ROUND as f64);
                angles.map(|a| at(0.5 * diameter * a.cos(), 0.5 * diameter * a.sin())).collect()
            }
        };
        Some((outline, column(axis) * sign))
    }
}

#[cfg(test)]
mod tests {
    use crate::{Body, Elastic, Grip, Part, Patch, PatchSize};
    use approx::assert_relative_eq;
    use nalgebra::Vector3;

    #[test]
    fn a_place_follows_its_body_as_one_piece() {
        let (at, size) = (Vector3::new(0.1, 0.05, 0.05), PatchSize::Rectangle(0.1, 0.08));
        let patch = Patch { at, size, grip: Grip::OnePiece };
        let parts = vec![Part::cuboid([0.5, 0.3, 0.1], [0.0; 3], Some(0))];
        let body = Body { parts, patches: vec![patch] };
        let stone = Elastic { lambda: 1e10, mu: 1.2e10, density: 2700.0 };
        let reduced = body.reduced(&[vec![stone]], 4, 0).unwrap();
        let turn = Vector3::new(1e-3, -2e-3, 5e-4);
        let coordinates: Vec<f64> = (0..reduced.coordinates())
            .map(|k| (0..3).map(|i| reduced.rigid[(k, 3 + i)] * turn[i]).sum())
            .collect();
        for at in [[0.25, 0.15, -0.05], [-0.25, 0.02, 0.05], [0.13, -0.15, 0.01]].map(Vector3::from) {
            let moved = reduced.motion(&at, &coordinates).unwrap();
            assert_relative_eq!(moved, turn.cross(&at), epsilon = 1e-12);
        }
        let (outline, normal) = body.outline(0).unwrap();
        assert_relative_eq!(normal, Vector3::z());
        assert_relative_eq!(outline[2], Vector3::new(0.15, 0.09, 0.05), epsilon = 1e-12);
    }
}
