//! The rigid-body motions that nothing holds.
//!
//! Whether a motion is held is read off the feet and anchors themselves, not off the stiffness
//! matrix, whose rounding hides a soft foot:
//!
//! ```text
//! G = Σ armᵀ k arm   over feet, and over anchors with the stiffest foot in their place
//! ```
//!
//! The motions are those with G q = 0. Mechanisms inside the frame are not among them.

use crate::frame::{Frame, Layout};
use nalgebra::{Matrix6, SymmetricEigen, Vector3, Vector6};

/// Stiffness below this share of the stiffest holds nothing.
const HOLDS: f64 = 1e-12;

/// The free rigid-body motions of the freedoms, each of shape (n), in no particular order.
pub(super) fn loose(frame: &Frame, layout: &Layout) -> Vec<Vec<f64>> {
    let count = frame.points.len().max(1) as f64;
    let centre = frame.points.iter().map(|p| p.position).sum::<Vector3<f64>>() / count;
    let reach = frame.points.iter().map(|p| (p.position - centre).norm()).fold(0.0, f64::max).max(1e-9);
    // A turn is measured by what it moves at the farthest point, so that all six compare.
    let scale = Vector6::from_fn(|i, _| if i < 3 { 1.0 } else { 1.0 / reach });
    let springs = frame.feet.iter().flat_map(|foot| {
        let six = foot.six().map(|k| k.re);
        foot.at.iter().map(move |point| (*point, six))
    });
    let springs: Vec<(usize, [f64; 6])> = springs.collect();
    let stiffest = springs.iter().flat_map(|(_, six)| six[..3].to_vec()).fold(0.0, f64::max);
    let rigid = if stiffest > 0.0 { stiffest } else { 1.0 };
    let anchors = frame.anchors.iter().flat_map(|anchor| {
        let six: [f64; 6] = std::array::from_fn(|i| match (anchor.hold[i], i < 3) {
            (false, _) => 0.0,
            (true, true) => rigid,
            (true, false) => rigid * reach * reach,
        });
        anchor.at.iter().map(move |point| (*point, six))
    });
    let mut held = Matrix6::zeros();
    for (point, six) in springs.iter().copied().chain(anchors) {
        let Some(point) = frame.points.get(point) else { continue };
        let mut arm = Matrix6::identity();
        arm.fixed_view_mut::<3, 3>(0, 3).copy_from(&-(point.position - centre).cross_matrix());
        let arm = arm * Matrix6::from_diagonal(&scale);
        held += arm.transpose() * Matrix6::from_diagonal(&Vector6::from(six)) * arm;
    }
    if !held.iter().all(|k| k.is_finite()) {
        return Vec::new();
    }
    let eigen = SymmetricEigen::new(held);
    let most = eigen.eigenvalues.max().max(0.0);
    let free = (0..6).filter(|i| eigen.eigenvalues[*i] <= HOLDS * most);
    let motion = |i: usize| eigen.eigenvectors.column(i).component_mul(&scale);
    free.map(|i| layout.rigid_motion(frame, &motion(i), &centre)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::sample::{cantilever, crooked};

    fn count(frame: &Frame) -> usize {
        loose(frame, &Layout::new(frame, &[]).unwrap()).len()
    }

    #[test]
    fn motions_are_free_until_something_holds_them() {
        let mut frame = crooked();
        assert_eq!(count(&frame), 0);
        frame.feet.clear();
        assert_eq!(count(&frame), 6);
        let mut held = cantilever();
        assert_eq!(count(&held), 0);
        held.anchors[0].hold = [true, true, true, true, false, true];
        assert_eq!(count(&held), 1);
    }

    #[test]
    fn feet_that_only_carry_leave_the_level_motions_free() {
        let mut frame = crooked();
        for foot in &mut frame.feet {
            foot.stiffness[0] = 0.0.into();
            foot.stiffness[1] = 0.0.into();
            foot.turning = [0.0.into(); 3];
        }
        assert_eq!(count(&frame), 3);
    }
}
