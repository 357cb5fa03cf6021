//! Published cases of single sections: shear, torsion, tables of hollow and rolled sections, composites.

use super::{Evaluator, Inputs};
use std::f64::consts::{PI, TAU};
use stillbed_material::{Medium, Role};
use stillbed_section::{Geometry, Part, Shape, ShapeKind, Solution};

/// The evaluators by their name in the column `case`.
pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("cowper", |inputs| coefficient(inputs, |s| s.as_stated.stiffness.ga_z_n.re)),
    ("energy-shear", |inputs| coefficient(inputs, |s| s.ga_energy[1].re)),
    ("torsion", |inputs| Ok(vec![torsion(shape(inputs)?)?])),
    ("torsion-coefficient", torsion_coefficient),
    ("two-bars", two_bars),
    ("filled-tube", filled_tube),
    ("concentric", concentric),
    ("hollow-section", |inputs| Ok(table_row(tube(inputs)?)?[..4].to_vec())),
    ("hollow-torsion", |inputs| Ok(vec![1e8 * torsion(tube(inputs)?)?])),
    ("pipe-section", pipe_section),
    ("sharp-tube", sharp_tube),
    ("rolled", |inputs| table_row(shape(inputs)?)),
    ("rolled-torsion", |inputs| Ok(vec![1e8 * torsion(shape(inputs)?)?])),
    ("angle-centroid", angle_centroid),
    ("shear-centre", |inputs| Ok(vec![unit(shape(inputs)?, 0.3)?.shear_centre[0].abs()])),
    ("stacked", stacked_centre),
    ("stacked-stiffness", |inputs| Ok(vec![stacked(inputs, 1.0)?.as_stated.stiffness.ei_y_n_m2.re])),
    ("stacked-loss", stacked_loss),
    ("bimetal", bimetal),
    ("reinforced", reinforced),
    ("filled-properties", filled_properties),
    ("sliding", |inputs| Ok(vec![stacked(inputs, 0.0)?.as_stated.stiffness.ei_y_n_m2.re])),
    ("warm-strip", warm_strip),
    ("warm-expansion", warm_expansion),
    ("gradient", gradient),
];

fn solve(parts: Vec<Part>, media: &[Medium], bond: f64) -> Result<Solution, String> {
    let geometry = Geometry::fitted(parts, media).map_err(|fault| fault.to_string())?;
    geometry.solve(media, bond).map_err(|fault| fault.to_string())
}

fn elastic(modulus: f64, poissons_ratio: f64, density: f64, loss: f64) -> Medium {
    Medium::isotropic("case", Role::Skeleton, modulus, poissons_ratio, density, loss)
}

/// A section of one shape in a material with G = 1 Pa.
fn unit(shape: Shape, nu: f64) -> Result<Solution, String> {
    solve(vec![Part::new(shape, 0)], &[elastic(2.0 * (1.0 + nu), nu, 7850.0, 0.0)], 1.0)
}

fn torsion(shape: Shape) -> Result<f64, String> {
    Ok(unit(shape, 0.3)?.as_stated.stiffness.gj_n_m2.re)
}

fn coefficient(inputs: &Inputs, stiffness: fn(&Solution) -> f64) -> Result<Vec<f64>, String> {
    let solution = unit(shape(inputs)?, inputs.number("nu")?)?;
    Ok(vec![stiffness(&solution) / solution.parts[0].area_m2])
}

fn tube(inputs: &Inputs) -> Result<Shape, String> {
    sized("tube", inputs)
}

/// The shape with this key in a design file; a radius that the row does not give is sharp.
fn sized(key: &str, inputs: &Inputs) -> Result<Shape, String> {
    let kind = ShapeKind::named(key).ok_or_else(|| format!("no shape \"{key}\""))?;
    let sizes: Vec<f64> = kind.sizes.iter().map(|name| inputs.number(name)).collect::<Result<_, _>>()?;
    let radius = |key: &&str| inputs.text(key).ok().map(|_| inputs.number(key)).transpose();
    let radii: Vec<Option<f64>> = kind.radii.iter().map(radius).collect::<Result<_, _>>()?;
    kind.shape(&sizes, &radii).ok_or_else(|| format!("a {key} is not stated by sizes"))
}

/// The shape that a row names; some are polygons of many sides.
fn shape(inputs: &Inputs) -> Result<Shape, String> {
    let number = |name| inputs.number(name);
    match inputs.text("shape")? {
        "triangle" => {
            let (side, height) = (number("side")?, number("side")? * 0.75f64.sqrt());
            Ok(Shape::Polygon { points: vec![[0.0, 0.0], [side, 0.0], [0.5 * side, height]] })
        }
        "ellipse" => {
            let (a, b) = (0.5 * number("width")?, 0.5 * number("height")?);
            Ok(Shape::Polygon { points: arc(0.0, TAU, 96).map(|[c, s]| [a * c, b * s]).collect() })
        }
        "semicircle" => {
            // The diameter lies along y: the load acts along the axis of symmetry.
            let r = 0.5 * number("diameter")?;
            let bow = arc(0.0, PI, 64).skip(1).map(|[c, s]| [r * c, r * s]);
            Ok(Shape::Polygon { points: [[r, 0.0]].into_iter().chain(bow).chain([[-r, 0.0]]).collect() })
        }
        "slit" => {
            let (r, wall) = (0.5 * number("diameter")?, number("wall")?);
            let gap = 0.001;
            let outer = arc(gap, TAU - 2.0 * gap, 120).chain([[gap.cos(), -gap.sin()]]);
            let points: Vec<[f64; 2]> = outer.collect();
            let scaled = |by: f64| points.iter().map(move |[y, z]| [by * y, by * z]);
            Ok(Shape::Polygon { points: scaled(r).chain(scaled(r - wall).rev()).collect() })
        }
        key => sized(key, inputs),
    }
}

/// Points of the unit circle, `steps` of them from an angle over a sweep without its end, moved outwards so
/// that the polygon has the area of the circle.
fn arc(from: f64, sweep: f64, steps: usize) -> impl Iterator<Item = [f64; 2]> {
    let step = sweep / steps as f64;
    let scale = (step / step.sin()).sqrt();
    (0..steps).map(move |i| {
        let (s, c) = (from + step * i as f64).sin_cos();
        [scale * c, scale * s]
    })
}

fn torsion_coefficient(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (a, b) = (inputs.number("long")?, inputs.number("short")?);
    Ok(vec![torsion(Shape::Rectangle { width: a, height: b })? / (a * b.powi(3))])
}

fn two_bars(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (h, a, b) = (inputs.number("height")?, inputs.number("first")?, inputs.number("second")?);
    let bar = |width: f64, medium| Part::new(Shape::Rectangle { width, height: h }, medium);
    let parts = vec![bar(a, 0).at(-0.5 * a, 0.0), bar(b, 1).at(0.5 * b, 0.0)];
    let media = ["g1", "g2"].map(|name| inputs.number(name).map(|g| elastic(2.6 * g, 0.3, 1.0, 0.0)));
    let [first, second] = media;
    Ok(vec![solve(parts, &[first?, second?], 1.0)?.as_stated.stiffness.gj_n_m2.re])
}

fn square_tube_with_core(inputs: &Inputs) -> Result<Vec<Part>, String> {
    let (side, wall) = (inputs.number("side")?, inputs.number("wall")?);
    let core = Shape::Rectangle { width: side, height: side };
    let tube = Shape::Tube { width: side, height: side, wall, radius: None };
    Ok(vec![Part::new(core, 1), Part::new(tube, 0)])
}

fn filled_tube(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let media = [1.0, inputs.number("ratio")?].map(|g| elastic(2.6 * g, 0.3, 1.0, 0.0));
    Ok(vec![solve(square_tube_with_core(inputs)?, &media, 1.0)?.as_stated.stiffness.gj_n_m2.re])
}

fn concentric(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (diameter, wall) = (inputs.number("diameter")?, inputs.number("wall")?);
    let core = Part::new(Shape::Round { diameter: diameter - 2.0 * wall }, 1);
    let pipe = Part::new(Shape::Pipe { diameter, wall }, 0);
    let media = [inputs.number("g1")?, inputs.number("g2")?].map(|g| elastic(2.6 * g, 0.3, 1.0, 0.0));
    Ok(vec![solve(vec![core, pipe], &media, 1.0)?.as_stated.stiffness.gj_n_m2.re])
}

/// Mass in kg/m at 7850 kg/m3, area in cm2, second moments about y and z in cm4.
fn table_row(shape: Shape) -> Result<Vec<f64>, String> {
    let s = unit(shape, 0.3)?;
    let k = s.as_stated.stiffness;
    let [iy, iz] = [k.ei_y_n_m2.re, k.ei_z_n_m2.re].map(|ei| 1e8 * ei / 2.6);
    Ok(vec![s.mass_per_length, 1e4 * s.parts[0].area_m2, iy, iz])
}

fn pipe_section(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let pipe = Shape::Pipe { diameter: inputs.number("diameter")?, wall: inputs.number("wall")? };
    let mut row = table_row(pipe.clone())?;
    row[3] = 1e8 * torsion(pipe)?;
    Ok(row)
}

fn sharp_tube(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let s = solve(vec![Part::new(tube(inputs)?, 0)], &[elastic(1.0, 0.3, 2700.0, 0.0)], 1.0)?;
    let k = s.as_stated.stiffness;
    Ok(vec![k.ea_n.re, k.ei_y_n_m2.re, k.ei_z_n_m2.re, s.mass_per_length])
}

fn angle_centroid(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let s = unit(shape(inputs)?, 0.3)?;
    Ok(vec![100.0 * (s.elastic_centre[0] + 0.5 * inputs.number("width")?)])
}

/// Rectangles on top of each other, the first one uppermost; the member line is at the top face.
fn stack(inputs: &Inputs) -> Result<(Vec<Part>, Vec<Medium>), String> {
    let heights = inputs.numbers("heights")?;
    let moduli = inputs.numbers("moduli")?;
    let widths = inputs.numbers("widths").unwrap_or_else(|_| vec![0.1; heights.len()]);
    let losses = inputs.numbers("losses").unwrap_or_else(|_| vec![0.0; heights.len()]);
    let mut parts = Vec::new();
    let mut media = Vec::new();
    let mut top = 0.0;
    for (i, (height, modulus)) in heights.iter().zip(&moduli).enumerate() {
        let shape = Shape::Rectangle { width: widths[i], height: *height };
        parts.push(Part::new(shape, i).at(0.0, top - 0.5 * height));
        media.push(elastic(*modulus, 0.3, 1.0, losses[i]));
        top -= height;
    }
    Ok((parts, media))
}

fn stacked(inputs: &Inputs, bond: f64) -> Result<Solution, String> {
    let (parts, media) = stack(inputs)?;
    solve(parts, &media, bond)
}

fn stacked_centre(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let s = stacked(inputs, 1.0)?;
    let first = inputs.numbers("moduli")?[0];
    Ok(vec![-s.elastic_centre[1], s.as_stated.stiffness.ei_y_n_m2.re / first])
}

fn stacked_loss(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let loss = stacked(inputs, 1.0)?.as_stated.stiffness.loss().ei_y;
    Ok(vec![loss.ok_or("no bending stiffness")?])
}

fn bimetal(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (width, lower, upper) = (inputs.number("width")?, inputs.number("lower")?, inputs.number("upper")?);
    let strip = |height: f64, medium| Part::new(Shape::Rectangle { width, height }, medium);
    let parts = vec![strip(lower, 0).at(0.0, 0.5 * lower), strip(upper, 1).at(0.0, lower + 0.5 * upper)];
    let media = [inputs.number("e1")?, inputs.number("e2")?].map(|e| elastic(e, 0.3, 1.0, 0.0));
    let s = solve(parts, &media, 1.0)?;
    Ok(vec![s.elastic_centre[1], s.as_stated.stiffness.ea_n.re, s.as_stated.stiffness.ei_y_n_m2.re])
}

/// The bars are represented by one flat strip over the whole width; its own second moment, which separate
/// bars do not have, is a millionth of the whole.
fn reinforced(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (width, height) = (inputs.number("width")?, inputs.number("height")?);
    let below = height - inputs.number("depth")?;
    let thickness = inputs.number("steel")? / width;
    let concrete = Part::new(Shape::Rectangle { width, height }, 0).at(0.0, 0.5 * height);
    let bars = Part::new(Shape::Rectangle { width, height: thickness }, 1).at(0.0, below);
    let (ec, es) = (inputs.number("ec")?, inputs.number("es")?);
    let s = solve(vec![concrete, bars], &[elastic(ec, 0.2, 1.0, 0.0), elastic(es, 0.3, 1.0, 0.0)], 1.0)?;
    let k = s.as_stated.stiffness;
    Ok(vec![k.ea_n.re / ec, s.elastic_centre[1], k.ei_y_n_m2.re / ec])
}

fn filled_properties(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let medium = |e, rho, eta| -> Result<Medium, String> {
        Ok(elastic(inputs.number(e)?, 0.3, inputs.number(rho)?, inputs.number(eta)?))
    };
    let media = [medium("e1", "rho1", "eta1")?, medium("e2", "rho2", "eta2")?];
    let s = solve(square_tube_with_core(inputs)?, &media, 1.0)?;
    let k = s.as_stated.stiffness;
    let loss = k.loss().ei_y.ok_or("no bending stiffness")?;
    Ok(vec![k.ea_n.re, k.ei_y_n_m2.re, s.mass_per_length, loss])
}

/// Strain at the elastic centre and curvature about y of a free stack warmed by `rise`.
fn warmed(inputs: &Inputs, rise: f64) -> Result<[f64; 2], String> {
    let s = stacked(inputs, 1.0)?;
    let [n, m, _] = s.thermal_resultants(&inputs.numbers("expansions")?, rise, 0.0, 0.0);
    let k = s.as_stated.stiffness;
    Ok([n / k.ea_n.re, (m - s.elastic_centre[1] * n) / k.ei_y_n_m2.re])
}

fn warm_strip(inputs: &Inputs) -> Result<Vec<f64>, String> {
    Ok(vec![warmed(inputs, inputs.number("rise")?)?[1].abs()])
}

fn warm_expansion(inputs: &Inputs) -> Result<Vec<f64>, String> {
    Ok(vec![warmed(inputs, 1.0)?[0]])
}

fn gradient(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let height = inputs.number("height")?;
    let plate = Part::new(Shape::Rectangle { width: 0.3, height }, 0);
    let s = solve(vec![plate], &[elastic(50e9, 0.25, 2700.0, 0.0)], 1.0)?;
    let by_z = inputs.number("difference")? / height;
    let [_, m, _] = s.thermal_resultants(&[inputs.number("expansion")?], 0.0, 0.0, by_z);
    Ok(vec![m / s.as_stated.stiffness.ei_y_n_m2.re])
}

#[cfg(test)]
mod tests {
    #[test]
    fn all_cases_hold() {
        let proof = super::super::prove().unwrap();
        let wrong: Vec<_> =
            proof.cases.iter().filter(|c| c.id.starts_with("sections/") && !c.holds).collect();
        assert!(wrong.is_empty(), "{wrong:#?}");
        assert!(proof.cases.iter().filter(|c| c.id.starts_with("sections/")).count() > 150);
    }
}
