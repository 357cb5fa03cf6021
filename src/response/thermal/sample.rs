//! Sections and bars for the tests.

use super::border::Border;
use super::section_parts::{CompositePart, CompositeSection};
pub(crate) use crate::deformation::sample::member;
use nalgebra::Matrix6;
use num_complex::Complex64;
use stillbed_frame::{Frame, MemberSection, Plain};
use stillbed_material::{Medium, Role};
use stillbed_section::Moments;

/// A layer of `width` across from `low` to `high` up, m.
pub(crate) fn layer(of: &str, modulus: f64, alpha: f64, width: f64, low: f64, high: f64) -> CompositePart {
    let mut medium = Medium::isotropic(of, Role::Skeleton, modulus, 0.3, 2500.0, 0.0);
    medium.expansion = Some(alpha);
    let area = width * (high - low);
    let middle = 0.5 * (low + high);
    let moments = Moments {
        area,
        y: 0.0,
        z: area * middle,
        yy: area * width * width / 12.0,
        zz: area * ((high - low).powi(2) / 12.0 + middle * middle),
        yz: 0.0,
    };
    let y = 0.5 * width;
    let corners = vec![[-y, low], [y, low], [y, high], [-y, high]];
    CompositePart {
        medium,
        compressive_strength: None,
        moments,
        corners,
        borders: vec![Border::beside(width, area)],
    }
}

/// A section for the frame with the axial and bending stiffness of `parts`; its shear and torsional stiffness
/// are arbitrary.
pub(crate) fn member_section(parts: &[CompositePart], bonded: bool) -> MemberSection {
    let plain = Plain {
        ea: 1.0,
        ga: [1e9; 2],
        gj: 1e5,
        ei: [1.0; 2],
        rho_a: parts.iter().map(|p| p.medium.density * p.moments.area).sum(),
        rho_i: [1e-3; 2],
        loss_factor: 0.0,
    };
    let mut section = MemberSection::plain("layers", "layers", Role::Skeleton, &plain);
    let sum = |of: fn(&CompositePart) -> f64| -> f64 {
        parts.iter().map(|p| p.medium.youngs_modulus.re * of(p)).sum()
    };
    let (ea, sy, sz) = (sum(|p| p.moments.area), sum(|p| p.moments.y), sum(|p| p.moments.z));
    let [yy, zz, yz] = if bonded {
        [sum(|p| p.moments.yy), sum(|p| p.moments.zz), sum(|p| p.moments.yz)]
    } else {
        let part = |f: fn(&Moments) -> f64| -> f64 {
            parts.iter().map(|p| p.medium.youngs_modulus.re * f(&p.moments)).sum()
        };
        [
            part(|m| m.yy - m.y * m.y / m.area) + sy * sy / ea,
            part(|m| m.zz - m.z * m.z / m.area) + sz * sz / ea,
            part(|m| m.yz - m.y * m.z / m.area) + sy * sz / ea,
        ]
    };
    let mut k = Matrix6::zeros();
    let rows = [[ea, sz, -sy], [sz, zz, -yz], [-sy, -yz, yy]];
    for (i, row) in [0, 4, 5].into_iter().zip(rows) {
        for (j, value) in [0, 4, 5].into_iter().zip(row) {
            k[(i, j)] = value;
        }
    }
    for i in 1..4 {
        k[(i, i)] = section.stiffness[(i, i)].re;
    }
    section.stiffness = k.map(Complex64::from);
    section.parts[0].stiffness = k;
    section
}

/// Parts with a bond.
pub(crate) fn section(parts: Vec<CompositePart>, bond: f64) -> CompositeSection {
    let sliding = member_section(&parts, false);
    CompositeSection { parts, nests: Vec::new(), bond, sliding }
}

/// A bar of `length` along x, free, of one section.
pub(crate) fn bar(length: f64, section: &CompositeSection) -> Frame {
    let mut stated = member_section(&section.parts, true);
    let (bond, sliding) = (Complex64::from(section.bond), &section.sliding.stiffness);
    stated.stiffness = stated.stiffness * bond + sliding * (Complex64::from(1.0) - bond);
    crate::deformation::sample::bar(length, &stated)
}
