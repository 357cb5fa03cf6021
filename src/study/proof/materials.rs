//! Values of the table of materials compared with the sources that they cite.

use super::{Evaluator, Inputs};
use stillbed_input::quantity::{Draw, Unit};
use stillbed_material::{Figure, Material, Property, Table};

pub(super) const EVALUATORS: &[(&str, Evaluator)] =
    &[("value", value), ("range", range), ("bulk-and-shear", bulk_and_shear)];

/// The nominal value of a property, in the unit of the case.
fn value(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (figure, size) = figure(inputs)?;
    Ok(vec![figure.spread.value / size])
}

/// Low limit, value and high limit of a property, in the unit of the case.
fn range(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let (figure, size) = figure(inputs)?;
    let spread = figure.spread;
    Ok([spread.low, spread.value, spread.high].map(|x| x / size).to_vec())
}

/// Bulk and shear modulus, GPa, that follow from Young's modulus and Poisson's ratio of a material.
fn bulk_and_shear(inputs: &Inputs) -> Result<Vec<f64>, String> {
    let medium = material(inputs)?.medium(&Draw::default()).map_err(|e| e.to_string())?;
    let bulk = medium.youngs_modulus.re / (3.0 * (1.0 - 2.0 * medium.poissons_ratio));
    Ok(vec![bulk / 1e9, medium.shear_modulus.re / 1e9])
}

fn material(inputs: &Inputs) -> Result<Material, String> {
    let name = inputs.text("material")?.replace('_', " ");
    Table::built_in().get(&name).cloned().ok_or_else(|| format!("no material \"{name}\""))
}

fn figure(inputs: &Inputs) -> Result<(Figure, f64), String> {
    let property = inputs.text("property")?;
    let property = Property::named(property).ok_or_else(|| format!("no property \"{property}\""))?;
    let material = material(inputs)?;
    let figure = material.figure(property).ok_or("the table lacks it")?;
    let unit = Unit::parse(&inputs.text("unit")?.replace('_', " "))?;
    Ok((figure.clone(), unit.factor))
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        let proof = super::super::prove().unwrap();
        let cases: Vec<_> = proof.cases.iter().filter(|case| case.id.starts_with("materials/")).collect();
        assert!(cases.len() > 100);
        for case in cases {
            assert!(case.holds, "{}: printed {}, computed {:?}", case.id, case.printed, case.computed);
        }
    }
}
