//! Published cases of beams: frequency parameters of slender and of shear-flexible bars for every kind of
//! end.

use super::drawing::{Bar, Drawing, OUT_OF_PLANE, in_one_plane, slender};
use super::{Evaluator, Inputs};
use nalgebra::Vector3;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use stillbed_frame::{Foot, MemberSection, Plain};
use stillbed_material::Role;

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("slender", slender_roots),
    ("slender_hz", slender_frequencies),
    ("coefficients", coefficients),
    ("nodes", nodes),
    ("timoshenko", timoshenko),
    ("timoshenko_rod", timoshenko_rod),
];

/// Degrees of freedom that an end holds, those out of the plane included.
fn end(kind: &str) -> Result<[bool; 6], String> {
    let [uz, ry] = match kind {
        "clamped" => [true, true],
        "pinned" => [true, false],
        "sliding" => [false, true],
        "free" => [false, false],
        other => return Err(format!("no end \"{other}\"")),
    };
    let [_, uy, _, rx, _, rz] = OUT_OF_PLANE;
    Ok([true, uy, uz, rx, ry, rz])
}

/// A bar along x with the ends, springs and masses of the inputs, in one or two members.
fn bar(section: MemberSection, length: f64, inputs: &Inputs) -> Result<Drawing, String> {
    let number = |name: &str| inputs.number(name).unwrap_or(0.0);
    let mut drawing = Drawing::new(section);
    let kinds = inputs.text("ends")?;
    let (first, last) = kinds.split_once('-').ok_or("ends are named as one-other")?;
    let ends = [drawing.point(0.0, 0.0, 0.0), drawing.point(length, 0.0, 0.0)];
    drawing.hold(ends[0], end(first)?);
    drawing.hold(ends[1], end(last)?);
    let centre = number("centre_mass");
    if centre > 0.0 {
        let middle = drawing.point(0.5 * length, 0.0, 0.0);
        drawing.member(ends[0], middle, None);
        drawing.member(middle, ends[1], None);
        drawing.mass(middle, centre, Vector3::zeros());
    } else {
        drawing.member(ends[0], ends[1], None);
    }
    for (at, mass) in [(0, number("end_mass")), (1, number("end_mass") + number("tip_mass"))] {
        if mass > 0.0 {
            drawing.mass(ends[at], mass, Vector3::zeros());
        }
    }
    let along = |z: f64| [0.0, 0.0, z].map(Complex64::from);
    let around = |y: f64| [0.0, y, 0.0].map(Complex64::from);
    drawing.frame.feet.push(Foot {
        name: "springs".to_string(),
        at: ends.to_vec(),
        stiffness: along(number("spring")),
        turning: around(number("turning")),
    });
    Ok(drawing)
}

/// A section with EI = 1 and mass per length 1, far stiffer in all other motions, for bars of length 1.
fn unit_section() -> MemberSection {
    let plain = Plain {
        ea: 1e6,
        ga: [1e8; 2],
        gj: 1e3,
        ei: [1.0, 1e6],
        rho_a: 1.0,
        rho_i: [0.0; 2],
        loss_factor: 0.0,
    };
    let mut section = MemberSection::plain("unit", "solid", Role::Skeleton, &plain);
    section.mass[(3, 3)] = 1e-4;
    section
}

/// Frequency parameters β L of a slender bar.
fn slender_roots(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let drawing = bar(unit_section(), 1.0, inputs)?;
    Ok(drawing.frequencies(inputs)?.into_iter().map(|f| (TAU * f).sqrt()).collect())
}

/// Frequency coefficients (β L)² / 2π of a slender bar.
fn coefficients(inputs: &Inputs) -> Result<Vec<f64>, String> {
    bar(unit_section(), 1.0, inputs)?.frequencies(inputs)
}

fn slender_frequencies(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (e, rho) = (inputs.number("e")?, inputs.number("rho")?);
    let (depth, length) = (inputs.number("depth")?, inputs.number("length")?);
    let bar_of = Bar { e, nu: 0.3, rho, width: 0.02, depth, kappa: 1.0, j: 1e-8 };
    bar(slender(bar_of.section()), length, inputs)?.frequencies(inputs)
}

/// Positions of the nodes of a mode of a free slender bar, from sign changes of its deflection.
fn nodes(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mode = inputs.number("mode")? as usize;
    let free = Inputs::parse("ends=free-free")?;
    let drawing = bar(unit_section(), 1.0, &free)?;
    let spectrum = drawing.spectrum_to(mode, 1e-8)?;
    let shape = &spectrum.elastic.last().ok_or("no mode")?.shape;
    let between = 1600 / spectrum.layout.pieces[0];
    let along = spectrum.layout.along(&drawing.frame, 0, shape, between).ok_or("no shape")?;
    let crossing = |pair: &[(Vector3<f64>, nalgebra::Vector6<f64>)]| {
        let ((a, left), (b, right)) = (&pair[0], &pair[1]);
        (left[2] * right[2] < 0.0).then(|| a.x + (b.x - a.x) * left[2] / (left[2] - right[2]))
    };
    let mut places: Vec<f64> = along.windows(2).filter_map(crossing).collect();
    // Nodes that coincide with a computed place.
    places.extend(along.iter().filter(|(_, moved)| moved[2] == 0.0).map(|(place, _)| place.x));
    places.sort_by(f64::total_cmp);
    Ok(places)
}

/// Frequency parameters λ = (ω L² √(ρA/EI))^½ of a steel bar of 1 m with shear and rotary inertia.
fn roots_of(section: MemberSection, inputs: &Inputs) -> Result<Vec<f64>, String> {
    let scale = (section.mass[(0, 0)] / section.stiffness[(4, 4)].re).sqrt();
    let mut section = in_one_plane(section);
    section.stiffness[(0, 0)] *= 1e4;
    let drawing = bar(section, 1.0, inputs)?;
    Ok(drawing.frequencies(inputs)?.into_iter().map(|f| (TAU * f * scale).sqrt()).collect())
}

fn timoshenko(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let depth = 1.0 / inputs.number("l_over_h")?;
    let mut bar = Bar::steel(depth, depth, 0.14 * depth.powi(4));
    bar.kappa = inputs.number("kappa")?;
    roots_of(bar.section(), inputs)
}

fn timoshenko_rod(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (e, nu, rho, d) = (210e9, 0.3, 7850.0, inputs.number("d_over_l")?);
    let (area, i) = (PI * d * d / 4.0, PI * d.powi(4) / 64.0);
    let g = e / (2.0 * (1.0 + nu));
    let plain = Plain {
        ea: e * area,
        ga: [g * area * 6.0 * (1.0 + nu) / (7.0 + 6.0 * nu); 2],
        gj: 2.0 * g * i,
        ei: [e * i; 2],
        rho_a: rho * area,
        rho_i: [rho * i; 2],
        loss_factor: 0.0,
    };
    let free = format!("ends=free-free modes={}", inputs.number("modes")?);
    roots_of(MemberSection::plain("rod", "solid", Role::Skeleton, &plain), &Inputs::parse(&free)?)
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        assert_eq!(super::super::failing("beams"), Vec::<String>::new());
    }
}
