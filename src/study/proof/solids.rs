//! Published cases of bodies: their grid is fitted as for a design, with orders higher by `finer`.

use super::{Evaluator, Inputs};
use nalgebra::{DVector, Vector3};
use stillbed_eigen::{Settings, lowest};
use stillbed_solid::{Assembly, Body, Elastic, Grip, Mesh, Part, Patch, PatchSize, Ring, fit};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("free-body", free_body),
    ("on-diaphragms", on_diaphragms),
    ("cantilever", cantilever),
    ("pressed-cube", pressed_cube),
];

/// Materials from the inputs `e`, `nu` and `rho`, one number for each.
fn materials(inputs: &Inputs) -> Result<Vec<Elastic>, String> {
    let (e, nu, rho) = (inputs.numbers("e")?, inputs.numbers("nu")?, inputs.numbers("rho")?);
    Ok(e.iter().zip(&nu).zip(&rho).map(|((e, nu), rho)| Elastic::isotropic(*e, *nu, *rho)).collect())
}

/// The parts of a body: `shape=block size=x,y,z`, with `core=y,z` of the second material through it along x or
/// `core=x,y,z` in its middle, or `tube=y,z,wall` of it around the first; `shape=cylinder size=diameter,length`, with `hole=diameter` through it.
fn parts(inputs: &Inputs) -> Result<Vec<Part>, String> {
    let size = inputs.numbers("size")?;
    match (inputs.text("shape")?, &size[..]) {
        ("block", &[x, y, z]) => {
            let mut parts = vec![Part::cuboid([x, y, z], [0.0; 3], Some(0))];
            if let Ok(core) = inputs.numbers("core") {
                let core = match core[..] {
                    [y, z] => [x, y, z],
                    [x, y, z] => [x, y, z],
                    _ => return Err("core is neither y,z nor x,y,z".to_string()),
                };
                parts.push(Part::cuboid(core, [0.0; 3], Some(1)));
            }
            if let Ok(tube) = inputs.numbers("tube") {
                let &[y, z, wall] = &tube[..] else { return Err("tube is not y,z,wall".to_string()) };
                let inside = Ring::rectangle(y - 2.0 * wall, z - 2.0 * wall);
                let rings = vec![Ring::rectangle(y, z), inside];
                parts.push(Part { rings, ..Part::cuboid([x, 0.0, 0.0], [0.0; 3], Some(1)) });
            }
            Ok(parts)
        }
        ("cylinder", &[diameter, length]) => {
            let bar = |diameter, material| Part::cylinder(diameter, length, Vector3::z(), [0.0; 3], material);
            let hole = inputs.number("hole").ok().map(|hole| bar(hole, None));
            Ok(std::iter::once(bar(diameter, Some(0))).chain(hole).collect())
        }
        (shape, size) => Err(format!("no body \"{shape}\" of {} sizes", size.len())),
    }
}

fn finer(inputs: &Inputs) -> usize {
    inputs.number("finer").map_or(1, |finer| finer as usize)
}

/// The lowest `count` elastic angular frequencies of a free body, rad/s, or with `hertz=1` its frequencies, Hz.
fn free_body(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mesh = mesh(inputs)?;
    frequencies(inputs, &mesh, &vec![false; 3 * mesh.nodes()], 6)
}

/// The lowest angular frequencies, as of [`free_body`], of a body on thin diaphragms: the faces at both ends of the
/// axes `diaphragms`, 0 to 2, move along their normal only. With `turned=axis` it is the upper half of a body that moves
/// so that what lies in the middle plane across that axis moves along it only, as where a plate bends. With `rigid=count` as many
/// rigid-body motions are left out.
fn on_diaphragms(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let mesh = mesh(inputs)?;
    let (axes, turned) = (inputs.numbers("diaphragms")?, inputs.number("turned").ok());
    let ends = [0, 1, 2].map(|axis: usize| {
        let lines = &mesh.axes[axis].lines;
        [lines[0], lines[lines.len() - 1]]
    });
    let is_held = |dof: usize| {
        let (at, way) = (mesh.position(dof / 3), dof % 3);
        let on = |axis: usize, end: usize| (at[axis] - ends[axis][end]).abs() < 1e-9 && way != axis;
        axes.iter().any(|axis| on(*axis as usize, 0) || on(*axis as usize, 1))
            || turned.is_some_and(|axis| on(axis as usize, 0))
    };
    let held: Vec<bool> = (0..3 * mesh.nodes()).map(is_held).collect();
    let rigid = inputs.number("rigid").map_or(0, |count| count as usize);
    frequencies(inputs, &mesh, &held, rigid)
}

fn mesh(inputs: &Inputs) -> Result<Mesh, String> {
    fit(&parts(inputs)?, &[const { Vec::new() }; 3], finer(inputs)).map_err(|fault| fault.to_string())
}

/// The lowest `count` beyond the `rigid` ones.
fn frequencies(inputs: &Inputs, mesh: &Mesh, held: &[bool], rigid: usize) -> Result<Vec<f64>, String> {
    let count = inputs.number("count")? as usize;
    let matrices = Assembly::new(mesh).matrices(&materials(inputs)?, held);
    let found =
        lowest(&matrices.pair(), count + rigid, &Settings::default()).map_err(|fault| fault.to_string())?;
    let unit = if inputs.number("hertz").is_ok() { std::f64::consts::TAU } else { 1.0 };
    Ok(found.omega_squared[rigid..].iter().map(|square| square.sqrt() / unit).collect())
}

/// The mean deflection of the end face of a cantilever 3 : 1 : 1 under an even shear on it, times E h / F.
fn cantilever(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let bar = Part::cuboid([3.0, 1.0, 1.0], [0.0; 3], Some(0));
    let face = |x: f64, grip: Grip| Patch {
        at: Vector3::new(x, 0.0, 0.0),
        size: PatchSize::Rectangle(1.0, 1.0),
        grip,
    };
    let patches = vec![face(-1.5, Grip::OnePiece), face(1.5, Grip::Average)];
    compliance(&Body { parts: vec![bar], patches }, inputs, 2, 1.0)
}

/// The mean sink under an even pressure of 1 on the middle 0.4 x 0.4 of the top of a unit cube that is held below,
/// times E.
fn pressed_cube(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let cube = Part::cuboid([1.0; 3], [0.0; 3], Some(0));
    let patch = |z: f64, side: f64, grip: Grip| Patch {
        at: Vector3::new(0.0, 0.0, z),
        size: PatchSize::Rectangle(side, side),
        grip,
    };
    let patches = vec![patch(-0.5, 1.0, Grip::OnePiece), patch(0.5, 0.4, Grip::Average)];
    compliance(&Body { parts: vec![cube], patches }, inputs, 2, 0.16)
}

/// The shift of the second patch along `axis` under a `force` along it, the first patch held, E = 1.
fn compliance(body: &Body, inputs: &Inputs, axis: usize, force: f64) -> Result<Vec<f64>, String> {
    let material = Elastic::isotropic(1.0, inputs.number("nu")?, 1.0);
    let reduced = body.reduced(&[vec![material]], 16, finer(inputs)).map_err(|fault| fault.to_string())?;
    let [stiffness, _] = reduced.matrices(&[material]);
    let count = stiffness.nrows() - 6;
    let mut load = DVector::zeros(count);
    load[axis] = force;
    let solved = stiffness.view((6, 6), (count, count)).into_owned().cholesky();
    Ok(vec![solved.ok_or("the body is not held")?.solve(&load)[axis]])
}

#[cfg(test)]
mod tests {
    #[test]
    fn published_cases_hold() {
        super::super::all_hold("solids");
    }
}
