//! Published cases of masses on springs: isolators, lossy springs, decay, static deflection under weight.

use super::drawing::Drawing;
use super::{Evaluator, Inputs};
use nalgebra::Vector3;
use num_complex::Complex64;
use std::f64::consts::TAU;
use stillbed_frame::{Foot, MemberSection, Plain};
use stillbed_material::Role;
use stillbed_modes::{BuildModes, Elastic, ModeAnswer, ModeDecay, Statics};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("isolators", isolators),
    ("parallel", parallel),
    ("series", series),
    ("chain", chain),
    ("decay", decay),
    ("sinking", sinking),
];

/// Degrees of freedom held so that a point moves along x only.
const ALONG_X: [bool; 6] = [false, true, true, true, true, true];

/// A stiff section without noticeable mass.
fn stiff() -> MemberSection {
    let plain = Plain {
        ea: 1e11,
        ga: [1e11; 2],
        gj: 1e11,
        ei: [1e11; 2],
        rho_a: 1e-9,
        rho_i: [1e-9; 2],
        loss_factor: 0.0,
    };
    MemberSection::plain("stiff", "none", Role::Skeleton, &plain)
}

/// A rigid block on four springs below its centre.
fn isolators(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let number = |name: &str| inputs.number(name);
    let (mass, x, y, z) = (number("mass")?, number("x")?, number("y")?, number("z")?);
    let squares = ["a", "b", "c"].map(|side| number(side).map(|side| side * side));
    let [a, b, c] = squares;
    let (a, b, c) = (a?, b?, c?);
    let mut drawing = Drawing::new(stiff());
    let centre = drawing.point(0.0, 0.0, 0.0);
    drawing.mass(centre, mass, Vector3::new(b + c, a + c, a + b) * (mass / 12.0));
    let mut feet = Vec::new();
    for (sx, sy) in [(1.0, 1.0), (1.0, -1.0), (-1.0, -1.0), (-1.0, 1.0)] {
        let foot = drawing.point(sx * x, sy * y, -z);
        drawing.member(centre, foot, None);
        feet.push(foot);
    }
    let (kx, kz) = (number("kx")?, number("kz")?);
    drawing.frame.feet.push(Foot {
        name: "isolators".to_string(),
        at: feet,
        stiffness: [kx, kx, kz].map(Complex64::from),
        turning: [Complex64::default(); 3],
    });
    Ok(drawing.spectrum(6)?.elastic.iter().map(|mode| mode.frequency()).collect())
}

/// The modes of a chain of masses and springs.
struct Chain {
    modes: Vec<ModeAnswer>,
    /// Undamped frequencies, Hz.
    undamped: Vec<f64>,
}

/// A chain of springs between `masses`: members of 1 m along x with complex stiffness, held at the first and,
/// with `far_wall`, at the last point.
fn springs(inputs: &Inputs, masses: &[f64], far_wall: bool) -> Result<Chain, String> {
    let stiffness = inputs.numbers("k")?.into_iter().zip(inputs.numbers("eta")?);
    let mut drawing = Drawing::default();
    let first = drawing.point(0.0, 0.0, 0.0);
    drawing.hold(first, [true; 6]);
    for (number, (k, eta)) in stiffness.enumerate() {
        let point = drawing.point(1.0 + number as f64, 0.0, 0.0);
        let mut section = stiff();
        section.stiffness[(0, 0)] = Complex64::new(k, k * eta);
        drawing.frame.sections.push(section);
        drawing.member(point - 1, point, None);
        drawing.frame.members[number].section = number;
        match masses.get(number) {
            Some(mass) => {
                drawing.mass(point, *mass, Vector3::zeros());
                drawing.hold(point, ALONG_X);
            }
            None if far_wall => drawing.hold(point, [true; 6]),
            None => drawing.hold(point, ALONG_X),
        }
    }
    let count = masses.iter().filter(|mass| **mass > 1e-3).count();
    let spectrum = drawing.spectrum(count)?;
    let modes =
        BuildModes::compute("springs", &drawing.frame, &spectrum).map_err(|fault| fault.to_string())?;
    Ok(Chain { modes: modes.modes, undamped: spectrum.elastic.iter().map(Elastic::frequency).collect() })
}

/// A mass between two springs that end at walls.
fn parallel(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let modes = springs(inputs, &[5.0], true)?.modes;
    Ok(modes.iter().map(|mode| mode.loss_factor_exact).collect())
}

/// A mass on two springs in series.
fn series(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let modes = springs(inputs, &[1e-9, 5.0], false)?.modes;
    Ok(modes.iter().flat_map(|mode| [mode.loss_factor_exact, mode.loss_factor]).collect())
}

fn chain(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let Chain { modes, undamped } = springs(inputs, &inputs.numbers("m")?, true)?;
    let show = inputs.text("show")?;
    if show == "frequency" {
        return Ok(undamped);
    }
    let shown = modes.iter().map(|mode| match show {
        "damped" => Ok(mode.frequency_hz),
        "exact" => Ok(mode.loss_factor_exact),
        "energy" => Ok(mode.loss_factor),
        other => Err(format!("nothing is called \"{other}\"")),
    });
    shown.collect()
}

fn decay(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let decay = ModeDecay::of(1.0, 2.0 * inputs.number("zeta")?).ok_or("no decay")?;
    // A decay to a thousandth takes 1.5 times as long as one to a hundredth.
    Ok(vec![decay.cycles_to_half, 1.5 * decay.time_to_1pct_s])
}

/// The frequency of a mass on a spring with the static deflection `sag`; the deflection is checked too.
fn sinking(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (sag, g, mass) = (inputs.number("sag")?, inputs.number("g")?, 80.0);
    let mut drawing = Drawing::new(stiff());
    let points = [drawing.point(0.0, 0.0, 0.0), drawing.point(0.1, 0.0, 0.0)];
    drawing.member(points[0], points[1], None);
    drawing.mass(points[0], mass, Vector3::zeros());
    drawing.hold(points[0], [true, true, false, true, true, true]);
    drawing.frame.feet.push(Foot {
        name: "spring".to_string(),
        at: vec![points[0]],
        stiffness: [0.0, 0.0, mass * g / sag].map(Complex64::from),
        turning: [Complex64::default(); 3],
    });
    let statics = Statics::factor(&drawing.frame).map_err(|fault| fault.to_string())?;
    let sunk = statics.sag(&points[..1]).map_err(|fault| fault.to_string())?.ok_or("it floats")?;
    if (sunk[0].z / -sag - 1.0).abs() > 1e-8 {
        return Err(format!("it sinks by {} m", -sunk[0].z));
    }
    let lowest = drawing.spectrum(1)?;
    let omega_squared = lowest.elastic.first().ok_or("no mode")?.omega_squared;
    Ok(vec![omega_squared.sqrt() / TAU])
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        assert_eq!(super::super::failing("dynamics"), Vec::<String>::new());
    }
}
