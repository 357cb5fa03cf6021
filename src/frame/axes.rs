//! Where a member lies: its start, its length and its own axes.
//!
//! ```text
//! x from the first point to the second,  z = up made square to x,  y = z × x
//! ```

use super::model::{Frame, Member};
use nalgebra::{Matrix3, Matrix6, Vector3};

/// Above this |direction · z| a member counts as upright, and its z axis points to global y by default.
const UPRIGHT: f64 = 0.999;

/// The line of a member.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Where it starts, m: the first point plus the member's offset, beyond what is rigid there.
    pub start: Vector3<f64>,
    /// Length of what deforms, m.
    pub length: f64,
    /// Global to member axes, shape (3, 3): the rows are x, y, z.
    pub axes: Matrix3<f64>,
}

impl Line {
    /// The line of what deforms of `member`; `None` without length or when `up` points along it.
    pub fn of(frame: &Frame, member: &Member) -> Option<Line> {
        let drawn = Line::drawn(frame, member)?;
        let [first, last] = member.rigid;
        let length = drawn.length - first - last;
        (length > 1e-9 * drawn.length).then_some(Line { start: drawn.at(first), length, ..drawn })
    }

    /// The line of the whole of `member` from point to point; `None` as [`Line::of`].
    pub fn drawn(frame: &Frame, member: &Member) -> Option<Line> {
        let from = frame.points.get(member.from)?.position;
        let to = frame.points.get(member.to)?.position;
        let along = to - from;
        let length = along.norm();
        if !length.is_finite() || length <= 1e-12 * (1.0 + from.norm() + to.norm()) {
            return None;
        }
        let x = along / length;
        let up = member.up.unwrap_or(if x.z.abs() > UPRIGHT { Vector3::y() } else { Vector3::z() });
        let up = up.try_normalize(0.0)?;
        let z = up - x * x.dot(&up);
        let z = z.try_normalize(1e-6)?;
        let y = z.cross(&x);
        let axes = Matrix3::from_rows(&[x.transpose(), y.transpose(), z.transpose()]);
        Some(Line { start: from + member.offset, length, axes })
    }

    /// The place at `x` along it, m.
    pub fn at(&self, x: f64) -> Vector3<f64> {
        self.start + self.axes.row(0).transpose() * x
    }
}

/// The matrix that gives the motion of the end of a rigid `arm` from that of its root.
///
/// ```text
/// u_end = u + r × arm,   r_end = r
/// ```
pub(super) fn arm(arm: &Vector3<f64>) -> Matrix6<f64> {
    let mut matrix = Matrix6::identity();
    matrix.fixed_view_mut::<3, 3>(0, 3).copy_from(&-arm.cross_matrix());
    matrix
}

#[cfg(test)]
mod tests {
    use super::super::model::Point;
    use super::*;
    use nalgebra::Vector6;

    fn frame(to: Vector3<f64>) -> Frame {
        let point = |name: &str, position| Point { name: name.into(), position };
        Frame { points: vec![point("a", Vector3::zeros()), point("b", to)], ..Frame::default() }
    }

    fn member(up: Option<Vector3<f64>>) -> Member {
        Member {
            name: "m".into(),
            from: 0,
            to: 1,
            section: 0,
            up,
            offset: Vector3::zeros(),
            joint_from: None,
            joint_to: None,
            rigid: [0.0; 2],
            displaced: Vec::new(),
        }
    }

    #[test]
    fn a_level_member_has_its_z_up() {
        let line = Line::of(&frame(Vector3::new(0.0, 2.0, 0.0)), &member(None)).unwrap();
        assert_eq!(line.length, 2.0);
        assert_eq!(line.axes.row(2).transpose(), Vector3::z());
        assert_eq!(line.axes.row(1).transpose(), -Vector3::x());
        assert!((line.axes.determinant() - 1.0).abs() < 1e-15);
    }

    #[test]
    fn an_upright_member_has_its_z_towards_global_y() {
        let line = Line::of(&frame(Vector3::new(0.0, 0.0, -1.0)), &member(None)).unwrap();
        assert_eq!(line.axes.row(2).transpose(), Vector3::y());
    }

    #[test]
    fn up_along_the_member_gives_no_axes() {
        let up = Some(Vector3::x() * 3.0);
        assert!(Line::of(&frame(Vector3::x()), &member(up)).is_none());
        assert!(Line::of(&frame(Vector3::zeros()), &member(None)).is_none());
    }

    #[test]
    fn a_turn_about_z_moves_the_end_of_an_arm_sideways() {
        let end = arm(&Vector3::new(2.0, 0.0, 0.0)) * Vector6::new(0.0, 0.0, 0.0, 0.0, 0.0, 0.1);
        assert_eq!(end, Vector6::new(0.0, 0.2, 0.0, 0.0, 0.0, 0.1));
    }
}
