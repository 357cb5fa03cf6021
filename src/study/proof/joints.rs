//! Published cases of joints and feet: flat contact, bolts, half spaces.

use super::{Evaluator, Inputs};
use num_complex::Complex64;
use stillbed_joint::{Bolt, Finish, HalfSpace, bolt_share, constants, corner_sink, mean_sink, middle_sink};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("constants", table_constants),
    ("contact-stiffness", contact_stiffness),
    ("bolt", bolt),
    ("share", share),
    ("disc", disc),
    ("even-pressure", even_pressure),
];

/// The finish of a row, with `-` for a space.
fn finish(inputs: &Inputs) -> Result<String, String> {
    Ok(inputs.text("finish")?.replace('-', " "))
}

/// C and m of a finish, as the table has them.
fn table_constants(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let name = finish(inputs)?;
    let of = |quantity: &str| {
        let found =
            constants().iter().find(|c| c.class == "flat joint" && c.name == name && c.quantity == quantity);
        found.map(|c| c.value.value).ok_or_else(|| format!("no {quantity} of \"{name}\""))
    };
    Ok(vec![of("C")?, of("m")?])
}

/// Tangent stiffness per area of a finish under the pressure `p`, N/m³.
fn contact_stiffness(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let name = finish(inputs)?;
    let finish = Finish::named(&name).ok_or_else(|| format!("no finish \"{name}\""))?;
    Ok(vec![finish.law.stiffness(inputs.number("p")?)])
}

/// Clamped parts by cones and by the fit, and the bolt: N/µm.
fn bolt(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (e, grip) = (inputs.number("e")?, inputs.number("grip")?);
    let bolt = Bolt::metric(inputs.number("m")?).ok_or("no such bolt")?;
    Ok([bolt.clamped(e, grip), bolt.clamped_by_fit(e, grip), bolt.stiffness(e, grip)]
        .map(|k| k / 1e6)
        .to_vec())
}

/// The share of an outer load that a bolt takes beside parts `ratio` times as stiff.
fn share(inputs: &Inputs) -> Result<Vec<f64>, String> {
    Ok(vec![bolt_share(1.0, inputs.number("ratio")?)])
}

/// Push on a rigid disc, N/µm.
fn disc(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let space = HalfSpace {
        youngs_modulus: Complex64::from(inputs.number("e")?),
        poissons_ratio: inputs.number("nu")?,
    };
    Ok(vec![space.push(inputs.number("a")?).re / 1e6])
}

/// Mean, middle and, with `corner=1`, corner sink of a rectangle of `ratio`.
fn even_pressure(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let sides = [inputs.number("ratio")?, 1.0];
    let mut found = vec![mean_sink(sides), middle_sink(sides)];
    if inputs.number("corner").is_ok() {
        found.push(corner_sink(sides));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    #[test]
    fn published_cases_hold() {
        super::super::all_hold("joints");
    }
}
