//! What a base is made of, as a wire drawing: points, members, joints, masses, feet, anchors.
//!
//! Lengths in m, global axes with z up, degrees of freedom in the order x, y, z, turn_x, turn_y, turn_z.

use super::section::MemberSection;
use nalgebra::{DMatrix, Matrix3, Matrix6, Vector3, Vector6};
use num_complex::Complex64;
use stillbed_material::Role;

/// The base and the machine on it, ready to be divided into elements.
///
/// ```
/// use stillbed_frame::{Anchor, Frame, Layout, Member, MemberSection, Plain, Point};
/// use stillbed_material::Role;
///
/// // A square steel bar of 20 mm, 1 m long, held at one end.
/// let (e, g, rho, side) = (210e9, 80e9, 7850.0, 0.02f64);
/// let (area, i) = (side.powi(2), side.powi(4) / 12.0);
/// let plain = Plain {
///     ea: e * area,
///     ga: [g * area * 5.0 / 6.0; 2],
///     gj: g * 0.1406 * side.powi(4),
///     ei: [e * i; 2],
///     rho_a: rho * area,
///     rho_i: [rho * i; 2],
///     loss_factor: 0.001,
/// };
/// let frame = Frame {
///     points: vec![Point::new("wall", [0.0, 0.0, 0.0]), Point::new("tip", [1.0, 0.0, 0.0])],
///     sections: vec![MemberSection::plain("bar", "steel", Role::Skeleton, &plain)],
///     members: vec![Member::new("bar", 0, 1, 0)],
///     anchors: vec![Anchor { name: "wall".to_string(), at: vec![0], hold: [true; 6] }],
///     ..Frame::default()
/// };
/// assert_eq!(frame.check(), Ok(()));
/// // 7850 kg/m3 times 4 cm2 times 1 m.
/// assert!((frame.rigid_body().unwrap().mass - 3.14).abs() < 1e-9);
///
/// // Divided into two elements, it has six degrees of freedom at the tip and six in the middle.
/// let layout = Layout::divide(&frame, &[2]).unwrap();
/// assert_eq!((layout.dofs(), layout.dof(0, 2)), (12, None));
/// let stiffness = layout.matrices(&frame).unwrap().stiffness;
/// let along = layout.dof(1, 0).unwrap();
/// // The tip is held by one element of half the length: 2 EA / l.
/// assert!((stiffness.get(along, along) / (2.0 * e * area) - 1.0).abs() < 1e-9);
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Frame {
    /// Named places.
    pub points: Vec<Point>,
    /// Cross-sections that the members refer to.
    pub sections: Vec<MemberSection>,
    /// Bars between points.
    pub members: Vec<Member>,
    /// Springs between members and points that the members refer to.
    pub joints: Vec<Joint>,
    /// Rigid bodies carried by points.
    pub masses: Vec<Mass>,
    /// Springs to ground.
    pub feet: Vec<Foot>,
    /// Rigid holds to ground.
    pub anchors: Vec<Anchor>,
    /// Rigid arms between points, without mass.
    pub arms: Vec<Arm>,
    /// Bodies that points hold, each by a few coordinates.
    pub bodies: Vec<Substructure>,
}

/// A named place.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Its name.
    pub name: String,
    /// Where it is, m.
    pub position: Vector3<f64>,
}

/// A straight bar between two points.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Its name.
    pub name: String,
    /// Index of the point where its x starts.
    pub from: usize,
    /// Index of the point where it ends.
    pub to: usize,
    /// Index of its section.
    pub section: usize,
    /// Direction of the section's z axis; `None` is global z, or global y for an upright member.
    pub up: Option<Vector3<f64>>,
    /// Offset from the points to the member line, m, global axes: a rigid arm at both ends.
    pub offset: Vector3<f64>,
    /// Index of the joint at its start; `None` is rigid.
    pub joint_from: Option<usize>,
    /// Index of the joint at its end; `None` is rigid.
    pub joint_to: Option<usize>,
    /// Stretches at its start and its end, from its points, that do not deform: what lies within another member, m.
    pub rigid: [f64; 2],
    /// Where other members keep material that overlaps with this one.
    pub displaced: Vec<Displaced>,
}

/// A stretch of a member along which other members keep the material that overlaps: its section's mass is
/// less there, its stiffness stays.
#[derive(Debug, Clone, PartialEq)]
pub struct Displaced {
    /// Where it begins, m along the line between the points.
    pub from: f64,
    /// Where it ends, m.
    pub to: f64,
    /// Mass per length taken off, in the order of [`MemberSection::mass`].
    pub mass: Matrix6<f64>,
}

/// Two points that move as one rigid piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Arm {
    /// Its name.
    pub name: String,
    /// Index of one point.
    pub from: usize,
    /// Index of the other.
    pub to: usize,
}

/// Massless springs between a member's end and its point, or between a body and its point.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Its name.
    pub name: String,
    /// Complex stiffness of each degree of freedom in member axes, or in those of [`BodyJoint::axes`], N/m or N m/rad;
    /// `None` is rigid, 0 is free.
    pub stiffness: [Option<Complex64>; 6],
    /// Where it is the wall of another member that gives; `None` for a joint in the member's end itself.
    pub wall: Option<WallHinge>,
}

/// How a member's end turns on the wall of another.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WallHinge {
    /// How far from the member's end, along the member, it turns about y and about z, m.
    pub at: [f64; 2],
    /// The axis, 4 about y or 5 about z, that leans towards the member's own, and by how much, rad: the springs of the
    /// twist and of this axis act about axes turned by that angle, from x towards y or z.
    pub lean: Option<(usize, f64)>,
    /// How far its y and z are turned about the member's own axis from those of the member, rad.
    pub turn: f64,
}

impl Joint {
    /// What a unit of the relative motion `axis` (0 to 5) at the end (0 or 1) of a member moves there, member axes.
    ///
    /// ```text
    /// u = θ × (end - hinge),   the hinge at ±a x from the end
    /// ```
    pub(super) fn motion(&self, axis: usize, end: usize) -> Vector6<f64> {
        let WallHinge { at: [about_y, about_z], lean, turn } = self.wall.unwrap_or_default();
        let inward = if end == 0 { 1.0 } else { -1.0 };
        let plain = |axis: usize| {
            let mut motion = Vector6::zeros();
            motion[axis] = 1.0;
            match axis {
                4 => motion[2] = inward * about_y,
                5 => motion[1] = -inward * about_z,
                _ => (),
            }
            motion
        };
        let mut motion = match lean {
            Some((leaning, angle)) if axis == 3 || axis == leaning => {
                let (sin, cos) = angle.sin_cos();
                match axis {
                    3 => plain(3) * cos + plain(leaning) * sin,
                    _ => plain(leaning) * cos - plain(3) * sin,
                }
            }
            _ => plain(axis),
        };
        if turn != 0.0 {
            let (sin, cos) = turn.sin_cos();
            for first in [1, 4] {
                let (y, z) = (motion[first], motion[first + 1]);
                (motion[first], motion[first + 1]) = (cos * y - sin * z, sin * y + cos * z);
            }
        }
        motion
    }
}

/// A rigid body on a rigid arm from a point.
#[derive(Debug, Clone, PartialEq)]
pub struct Mass {
    /// Its name.
    pub name: String,
    /// Index of the point that carries it.
    pub at: usize,
    /// Mass, kg.
    pub mass: f64,
    /// From the point to the body's centre, m, global axes.
    pub offset: Vector3<f64>,
    /// Moments of inertia about the body's own centre, around global x, y, z: kg m2.
    pub inertia: Vector3<f64>,
}

/// Springs to ground under some points, the same under each.
#[derive(Debug, Clone, PartialEq)]
pub struct Foot {
    /// Its name.
    pub name: String,
    /// Indices of the points that stand on it.
    pub at: Vec<usize>,
    /// Complex stiffness along global x, y, z, N/m.
    pub stiffness: [Complex64; 3],
    /// Complex stiffness around global x, y, z, N m/rad.
    pub turning: [Complex64; 3],
}

/// A rigid hold to ground.
#[derive(Debug, Clone, PartialEq)]
pub struct Anchor {
    /// Its name.
    pub name: String,
    /// Indices of the points that it holds.
    pub at: Vec<usize>,
    /// Which degrees of freedom it holds, global axes.
    pub hold: [bool; 6],
}

impl Point {
    /// A point at `position`, m.
    #[must_use]
    pub fn new(name: &str, position: [f64; 3]) -> Point {
        Point { name: name.to_string(), position: position.into() }
    }
}

/// A body reduced to a few coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Substructure {
    /// Its name.
    pub name: String,
    /// Indices of its points, each once; at least one.
    pub points: Vec<usize>,
    /// Joints between it and some of its points; it holds the others rigidly.
    pub joints: Vec<BodyJoint>,
    /// Number of its inner coordinates.
    pub inner: usize,
    /// Its materials, with the stiffness that each adds.
    pub parts: Vec<SubstructurePart>,
    /// Mass, (coordinates, coordinates).
    pub mass: DMatrix<f64>,
    /// Its mass as a rigid body about the origin of the global axes: kg, kg m, kg m2.
    pub about_origin: Matrix6<f64>,
}

/// A joint between a body and one of its points, which another body holds.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyJoint {
    /// The place of the point among those of the body.
    pub point: usize,
    /// Index of the joint.
    pub joint: usize,
    /// Its axes, one per row, in global axes.
    pub axes: Matrix3<f64>,
}

/// One material of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct SubstructurePart {
    /// The material.
    pub of: String,
    /// Its role.
    pub role: Role,
    /// Complex stiffness, (coordinates, coordinates).
    pub stiffness: DMatrix<Complex64>,
}

impl Substructure {
    /// Number of coordinates.
    pub fn coordinates(&self) -> usize {
        6 * self.points.len() + self.inner
    }
}

impl Foot {
    /// The six complex stiffnesses in the order of the degrees of freedom.
    pub fn six(&self) -> [Complex64; 6] {
        let [x, y, z] = self.stiffness;
        let [rx, ry, rz] = self.turning;
        [x, y, z, rx, ry, rz]
    }
}

impl Member {
    /// A member of the section with index `section` on the line between two points given by their indices,
    /// rigidly joined to both.
    #[must_use]
    pub fn new(name: &str, from: usize, to: usize, section: usize) -> Member {
        Member {
            name: name.to_string(),
            from,
            to,
            section,
            up: None,
            offset: Vector3::zeros(),
            joint_from: None,
            joint_to: None,
            rigid: [0.0; 2],
            displaced: Vec::new(),
        }
    }

    /// The joint at an end: 0 where x starts, 1 where it ends.
    pub fn joint(&self, end: usize) -> Option<usize> {
        if end == 0 { self.joint_from } else { self.joint_to }
    }

    /// The point at an end: 0 where x starts, 1 where it ends.
    pub fn point(&self, end: usize) -> usize {
        if end == 0 { self.from } else { self.to }
    }
}
