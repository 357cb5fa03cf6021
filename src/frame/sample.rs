//! Frames for the tests of several packages, each of which uses some of them.

use nalgebra::{Matrix6, Vector3};
use num_complex::Complex64;
use stillbed_frame::*;
use stillbed_material::Role;

/// A solid square steel bar of width `a` in m, with a loss factor of 0.001.
pub fn square(a: f64) -> MemberSection {
    let (e, nu, rho) = (210e9, 0.3, 7850.0);
    let g = e / (2.0 * (1.0 + nu));
    let (area, i) = (a * a, a.powi(4) / 12.0);
    let plain = Plain {
        ea: e * area,
        ga: [g * area * 5.0 / 6.0; 2],
        gj: g * 0.140577 * a.powi(4),
        ei: [e * i; 2],
        rho_a: rho * area,
        rho_i: [rho * i; 2],
        loss_factor: 0.001,
    };
    MemberSection::plain("square", "steel", Role::Skeleton, &plain)
}

/// A point.
pub fn point(name: &str, x: f64, y: f64, z: f64) -> Point {
    Point::new(name, [x, y, z])
}

/// A member of section 0, rigidly joined, on the line between its points.
pub fn member(name: &str, from: usize, to: usize) -> Member {
    Member::new(name, from, to, 0)
}

/// A section whose centres are off the member line, of two materials with different loss.
pub fn filled(a: f64) -> MemberSection {
    let mut section = square(a);
    section.name = "filled".to_string();
    let shift = Matrix6::from_fn(|i, j| match (i, j) {
        (i, j) if i == j => 1.0,
        (0, 4) => 0.2 * a,
        (0, 5) => -0.1 * a,
        (1, 3) => -0.2 * a,
        (2, 3) => 0.1 * a,
        _ => 0.0,
    });
    let fill = shift.transpose() * section.stiffness.map(|s| 0.1 * s.re) * shift;
    section.stiffness += fill.map(|s| Complex64::new(s, 0.03 * s));
    section.mass += shift.transpose() * section.mass * shift * 0.3;
    section.parts.push(PartStiffness { of: "sand".to_string(), role: Role::Fill, stiffness: fill });
    section
}

/// A small irregular base with an offset, joints, a mass and two kinds of feet.
pub fn crooked() -> Frame {
    let mut rail = member("rail", 0, 1);
    rail.joint_from = Some(0);
    rail.joint_to = Some(0);
    rail.offset = Vector3::new(0.01, -0.02, 0.05);
    let mut post = member("post", 1, 2);
    post.section = 1;
    post.rigid = [0.04, 0.0];
    post.up = Some(Vector3::new(0.3, 1.0, 0.2));
    let mut strut = member("strut", 2, 3);
    strut.joint_to = Some(0);
    strut.rigid = [0.02, 0.03];
    strut.section = 1;
    let c = |re: f64, im: f64| Complex64::new(re, im);
    Frame {
        points: vec![
            point("a", 0.0, 0.0, 0.0),
            point("b", 0.7, 0.1, 0.0),
            point("c", 0.7, 0.2, 0.5),
            point("d", 0.1, 0.9, 0.4),
        ],
        sections: vec![square(0.04), filled(0.05)],
        members: vec![rail, post, strut],
        joints: vec![Joint {
            name: "corner".to_string(),
            stiffness: [None, None, Some(c(2e7, 1e6)), None, Some(c(3e4, 1e3)), Some(c(4e4, 2e3))],
            wall: None,
        }],
        arms: Vec::new(),
        masses: vec![Mass {
            name: "head".to_string(),
            at: 2,
            mass: 7.0,
            offset: Vector3::new(0.0, 0.06, 0.02),
            inertia: Vector3::new(0.02, 0.03, 0.04),
        }],
        feet: vec![
            Foot {
                name: "front".to_string(),
                at: vec![0, 1],
                stiffness: [c(1e6, 1e5), c(2e6, 2e5), c(5e6, 5e5)],
                turning: [c(0.0, 0.0); 3],
            },
            Foot {
                name: "rear".to_string(),
                at: vec![3],
                stiffness: [c(1e6, 1e4), c(1e6, 1e4), c(3e6, 3e4)],
                turning: [c(1e3, 0.0), c(0.0, 0.0), c(0.0, 0.0)],
            },
        ],
        anchors: Vec::new(),
        bodies: Vec::new(),
    }
}

/// A cantilever along x from an anchored point, length 1 m.
pub fn cantilever() -> Frame {
    Frame {
        points: vec![point("wall", 0.0, 0.0, 0.0), point("tip", 1.0, 0.0, 0.0)],
        sections: vec![square(0.02)],
        members: vec![member("arm", 0, 1)],
        anchors: vec![Anchor { name: "wall".to_string(), at: vec![0], hold: [true; 6] }],
        ..Frame::default()
    }
}

/// A table of four legs of 0.8 m on a clamped floor and a top of 1.0 m by 0.6 m.
pub fn table() -> Frame {
    let mut table = Frame { sections: vec![square(0.06)], ..Frame::default() };
    for z in [0.0, 0.8] {
        for (i, (x, y)) in [(0.0, 0.0), (1.0, 0.0), (1.0, 0.6), (0.0, 0.6)].into_iter().enumerate() {
            table.points.push(point(&format!("p{i} at {z}"), x, y, z));
        }
    }
    for i in 0..4 {
        table.members.push(member(&format!("leg{i}"), i, i + 4));
        table.members.push(member(&format!("top{i}"), 4 + i, 4 + (i + 1) % 4));
    }
    table.anchors.push(Anchor { name: "floor".to_string(), at: vec![0, 1, 2, 3], hold: [true; 6] });
    table
}
