//! Projects drawings in space onto a plane and finds their extent.

/// Direction of view in degrees: angle from the x axis towards y, and elevation above the ground. Close to
/// isometric, in which opposite corners of a cube would coincide.
pub(super) const TURN: f64 = -52.0;
pub(super) const RISE: f64 = 27.0;

/// The projection of a point in space: across and up.
pub(super) fn seen(p: [f64; 3]) -> [f64; 2] {
    let (turn, rise) = (TURN.to_radians(), RISE.to_radians());
    let along = turn.cos() * p[0] + turn.sin() * p[1];
    [turn.cos() * p[1] - turn.sin() * p[0], rise.cos() * p[2] - rise.sin() * along]
}

/// The direction towards the viewer, a unit vector.
pub(super) fn towards() -> [f64; 3] {
    let (turn, rise) = (TURN.to_radians(), RISE.to_radians());
    [turn.cos() * rise.cos(), turn.sin() * rise.cos(), rise.sin()]
}

/// Least and largest coordinates of the finite ones of `points`. `None` if nothing can be drawn to scale:
/// there is no point, all coincide, or the size is out of range.
pub(super) fn extent<'a>(points: impl Iterator<Item = &'a [f64; 2]>) -> Option<([f64; 2], [f64; 2])> {
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    for p in points.filter(|p| p[0].is_finite() && p[1].is_finite()) {
        low = [low[0].min(p[0]), low[1].min(p[1])];
        high = [high[0].max(p[0]), high[1].max(p[1])];
    }
    let size = (high[0] - low[0]).max(high[1] - low[1]);
    (1e-9..=1e9).contains(&size).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn up_is_up_and_lengths_do_not_grow() {
        assert!(seen([0.0, 0.0, 1.0])[0].abs() < 1e-12 && seen([0.0, 0.0, 1.0])[1] > 0.8);
        for axis in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]] {
            let [u, v] = seen(axis);
            assert!(u.hypot(v) < 1.0 && u >= 0.0);
        }
    }

    #[test]
    fn what_lies_towards_the_viewer_is_not_displaced() {
        let [u, v] = seen(towards());
        assert!(u.abs() < 1e-12 && v.abs() < 1e-12);
        assert!(towards()[2] > 0.0);
    }

    #[test]
    fn what_has_no_size_has_no_extent() {
        assert_eq!(
            extent([[0.0, 1.0], [f64::NAN, 0.0], [2.0, -1.0]].iter()),
            Some(([0.0, -1.0], [2.0, 1.0]))
        );
        assert_eq!(extent([].iter()), None);
        assert_eq!(extent([[1.0, 1.0]].iter()), None);
        assert_eq!(extent([[0.0, 0.0], [1e300, 0.0]].iter()), None);
    }
}
