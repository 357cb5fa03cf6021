//! Published cases of frames in plane and in space: portals, a ladder, a table, a double cross, a deep beam,
//! rings.

use super::drawing::{Bar, Drawing, OUT_OF_PLANE, in_one_plane, slender};
use super::{Evaluator, Inputs};
use nalgebra::Vector3;
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_frame::{Foot, MemberSection};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("portal", portal),
    ("portal_roots", portal_roots),
    ("square", square),
    ("ladder", ladder),
    ("table", table),
    ("cross", cross),
    ("deep", deep),
    ("ring", ring),
    ("ring_uniform", ring_uniform),
];

/// Torsion constant of a square of unit side, m4.
const SQUARE_J: f64 = 0.140577;

fn square_bar(width: f64) -> Bar {
    Bar::steel(width, width, SQUARE_J * width.powi(4))
}

/// The section of a square bar by a theory: `slender` or `shear` in one plane, or `space`.
fn by_theory(bar: &Bar, theory: &str) -> Result<MemberSection, String> {
    match theory {
        "slender" => Ok(slender(bar.section())),
        "shear" => Ok(in_one_plane(bar.section())),
        "space" => Ok(bar.section()),
        other => Err(format!("no theory \"{other}\"")),
    }
}

/// A portal of three members of 1 m in the plane of x and z.
fn portal_of(section: MemberSection, feet: &str, in_plane: bool) -> Drawing {
    let mut drawing = Drawing::new(section);
    let points = [(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0)].map(|(x, z)| drawing.point(x, 0.0, z));
    for (pair, across) in points.windows(2).zip([Vector3::x(), Vector3::z(), Vector3::x()]) {
        drawing.member(pair[0], pair[1], Some(across));
    }
    let turning = feet == "clamped";
    for foot in [points[0], points[3]] {
        drawing.hold(foot, [true, true, true, true, turning, true]);
    }
    if in_plane {
        for corner in [points[1], points[2]] {
            drawing.hold(corner, OUT_OF_PLANE);
        }
    }
    drawing
}

fn portal(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let theory = inputs.text("theory")?;
    let section = by_theory(&square_bar(inputs.number("width")?), theory)?;
    portal_of(section, inputs.text("feet")?, theory != "space").frequencies(inputs)
}

/// Frequency parameters β L of a portal whose members do not stretch.
fn portal_roots(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mut section = slender(square_bar(0.02).section());
    section.stiffness[(0, 0)] *= 1e6;
    let scale = (section.mass[(0, 0)] / section.stiffness[(4, 4)].re).sqrt();
    let drawing = portal_of(section, inputs.text("feet")?, true);
    Ok(drawing.frequencies(inputs)?.into_iter().map(|f| (TAU * f * scale).sqrt()).collect())
}

fn square(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mut drawing = Drawing::new(square_bar(0.05).section());
    let points = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| drawing.point(x, y, 0.0));
    for i in 0..4 {
        drawing.member(points[i], points[(i + 1) % 4], None);
    }
    drawing.frequencies(inputs)
}

/// Two rails of 1.2 m and three cross members of 0.8 m, 60 mm wide and 100 mm deep.
fn ladder(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (width, depth): (f64, f64) = (0.06, 0.1);
    // Saint-Venant torsion constant of a rectangle, a series in the ratio of its sides.
    let odd = (0..40).map(|n| f64::from(2 * n + 1));
    let half = std::f64::consts::FRAC_PI_2 * depth / width;
    let series: f64 = odd.map(|n| (n * half).tanh() / n.powi(5)).sum();
    let j =
        depth * width.powi(3) / 3.0 * (1.0 - 192.0 * width / (std::f64::consts::PI.powi(5) * depth) * series);
    let mut drawing = Drawing::new(Bar::steel(width, depth, j).section());
    let mut rungs = Vec::new();
    for x in [0.0, 0.6, 1.2] {
        let rung = [drawing.point(x, 0.0, 0.0), drawing.point(x, 0.8, 0.0)];
        drawing.member(rung[0], rung[1], None);
        rungs.push(rung);
    }
    for pair in rungs.windows(2) {
        for side in 0..2 {
            drawing.member(pair[0][side], pair[1][side], None);
        }
    }
    if let (Ok(kx), Ok(kz)) = (inputs.number("kx"), inputs.number("kz")) {
        drawing.frame.feet.push(Foot {
            name: "feet".to_string(),
            at: vec![rungs[0][0], rungs[0][1], rungs[2][0], rungs[2][1]],
            stiffness: [kx, kx, kz].map(Complex64::from),
            turning: [Complex64::default(); 3],
        });
    }
    drawing.frequencies(inputs)
}

fn table(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mut drawing = Drawing::new(square_bar(0.06).section());
    let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 0.6), (0.0, 0.6)];
    let floor = corners.map(|(x, y)| drawing.point(x, y, 0.0));
    let top = corners.map(|(x, y)| drawing.point(x, y, 0.8));
    for i in 0..4 {
        drawing.member(floor[i], top[i], None);
        drawing.member(top[i], top[(i + 1) % 4], None);
        drawing.hold(floor[i], [true; 6]);
    }
    drawing.frequencies(inputs)
}

/// Eight arms of 5 m from a hub, pinned at their far ends, in one plane.
fn cross(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mut bar = square_bar(0.125);
    (bar.e, bar.rho) = (200e9, 8000.0);
    let mut drawing = Drawing::new(by_theory(&bar, inputs.text("theory")?)?);
    let hub = drawing.point(0.0, 0.0, 0.0);
    drawing.hold(hub, OUT_OF_PLANE);
    for arm in 0..8 {
        let (sin, cos) = (TAU * f64::from(arm) / 8.0).sin_cos();
        let end = drawing.point(5.0 * cos, 0.0, 5.0 * sin);
        drawing.member(hub, end, Some(Vector3::new(-sin, 0.0, cos)));
        drawing.hold(end, [true, true, true, true, false, true]);
    }
    drawing.frequencies(inputs)
}

/// A deep bar of 10 m and 2 x 2 m: x, y, z and rotation about x held at one end, y and z at the other.
fn deep(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let bar = Bar {
        e: 200e9,
        nu: 0.3,
        rho: 8000.0,
        width: 2.0,
        depth: 2.0,
        kappa: inputs.number("kappa")?,
        j: inputs.number("j")?,
    };
    let mut drawing = Drawing::new(bar.section());
    let ends = [drawing.point(0.0, 0.0, 0.0), drawing.point(10.0, 0.0, 0.0)];
    drawing.member(ends[0], ends[1], None);
    drawing.hold(ends[0], [true, true, true, true, false, false]);
    drawing.hold(ends[1], [false, true, true, false, false, false]);
    drawing.frequencies(inputs)
}

/// A free ring of 0.5 m radius from a round bar of 20 mm, as a polygon of `count` sides in the plane of x and
/// y.
fn polygon(count: usize) -> Drawing {
    let d: f64 = 0.02;
    let (area, i) = (TAU * d * d / 8.0, TAU * d.powi(4) / 128.0);
    let mut section = Bar::steel(d, d, 1.0).section();
    let (e, g) = (210e9, 210e9 / 2.6);
    for (place, stiffness) in
        [e * area, 0.9 * g * area, 0.9 * g * area, 2.0 * g * i, e * i, e * i].iter().enumerate()
    {
        section.stiffness[(place, place)] = Complex64::from(*stiffness);
    }
    for (place, mass) in [area, area, area, 2.0 * i, i, i].iter().enumerate() {
        section.mass[(place, place)] = 7850.0 * mass;
    }
    let mut drawing = Drawing::new(section);
    for k in 0..count {
        let (sin, cos) = (TAU * k as f64 / count as f64).sin_cos();
        drawing.point(0.5 * cos, 0.5 * sin, 0.0);
    }
    for k in 0..count {
        drawing.member(k, (k + 1) % count, None);
    }
    drawing
}

fn ring(inputs: &Inputs) -> Result<Vec<f64>, String> {
    polygon(64).frequencies(inputs)
}

/// The mode of a ring that is most like a uniform motion: `breathing` outwards, or `rolling` of the section
/// about its own axis.
fn ring_uniform(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let rolling = inputs.text("motion")? == "rolling";
    let drawing = polygon(64);
    let spectrum = drawing.spectrum(50)?;
    let alike = |shape: &[f64]| -> f64 {
        let own = drawing.frame.points.iter().enumerate().map(|(k, point)| {
            let out = point.position.normalize();
            let (direction, first) = if rolling { (Vector3::z().cross(&out), 3) } else { (out, 0) };
            let at = |j: usize| spectrum.layout.dof(k, first + j).map_or(0.0, |f| shape[f]);
            direction.dot(&Vector3::from_fn(|j, _| at(j)))
        });
        let own: Vec<f64> = own.collect();
        own.iter().sum::<f64>().powi(2)
            / (own.len() as f64 * own.iter().map(|x| x * x).sum::<f64>()).max(1e-300)
    };
    let most = spectrum.elastic.iter().max_by(|a, b| alike(&a.shape).total_cmp(&alike(&b.shape)));
    Ok(vec![most.ok_or("no mode")?.frequency()])
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        assert_eq!(super::super::failing("frames"), Vec::<String>::new());
    }
}
