//! Beams for the tests.

use nalgebra::Vector3;
use stillbed_frame::{Anchor, Frame, Member, MemberSection, Plain, Point};
use stillbed_material::Role;

/// Young's modulus of the steel of [`steel`], Pa.
const MODULUS: f64 = 210e9;

/// Steel 60 mm wide and 40 mm high, of 2500 kg/m3; its shear and torsional stiffness are arbitrary.
pub(crate) fn steel() -> MemberSection {
    let (width, height) = (0.06, 0.04);
    let area: f64 = width * height;
    let plain = Plain {
        ea: MODULUS * area,
        ga: [1e9; 2],
        gj: 1e5,
        ei: [height, width].map(|depth| MODULUS * area * depth * depth / 12.0),
        rho_a: 2500.0 * area,
        rho_i: [1e-3; 2],
        loss_factor: 0.0,
    };
    MemberSection::plain("steel", "steel", Role::Skeleton, &plain)
}

/// The same without shear deformation, as in handbooks.
pub(crate) fn slender() -> MemberSection {
    let mut section = steel();
    section.stiffness[(1, 1)] = 1e12.into();
    section.stiffness[(2, 2)] = 1e12.into();
    section
}

/// A bar of `length` along x, free, of one section.
pub(crate) fn bar(length: f64, section: &MemberSection) -> Frame {
    let point = |name: &str, x: f64| Point { name: name.to_string(), position: Vector3::new(x, 0.0, 0.0) };
    Frame {
        points: vec![point("left", 0.0), point("right", length)],
        sections: vec![section.clone()],
        members: vec![member("bar", 0, 1)],
        ..Frame::default()
    }
}

/// A rigidly joined member of section 0.
pub(crate) fn member(name: &str, from: usize, to: usize) -> Member {
    Member {
        name: name.to_string(),
        from,
        to,
        section: 0,
        up: None,
        offset: Vector3::zeros(),
        joint_from: None,
        joint_to: None,
        rigid: [0.0; 2],
        displaced: Vec::new(),
    }
}

/// Where the beam of [`cut`] is cut into six.
pub(crate) const SIXTHS: [f64; 5] = [0.2, 0.4, 0.6, 0.8, 1.0];

/// A beam of 1.2 m on two pins, cut at the `cuts`, its members in `order` and some drawn backwards.
pub(crate) fn cut(section: &MemberSection, cuts: &[f64], order: &[usize], backwards: &[usize]) -> Frame {
    let mut frame = bar(1.2, section);
    let ends: Vec<f64> = [&[0.0], cuts, &[1.2]].concat();
    frame.points = ends
        .iter()
        .enumerate()
        .map(|(i, x)| Point { name: format!("p{i}"), position: Vector3::new(*x, 0.0, 0.0) })
        .collect();
    let piece = |i: &usize| match backwards.contains(i) {
        false => member(&format!("rail_{i}"), *i, i + 1),
        true => member(&format!("rail_{i}"), i + 1, *i),
    };
    frame.members = order.iter().map(piece).collect();
    let pin = |at: usize, x: bool| Anchor {
        name: format!("pin {at}"),
        at: vec![at],
        hold: [x, true, true, true, false, false],
    };
    frame.anchors = vec![pin(0, true), pin(ends.len() - 1, false)];
    frame
}
