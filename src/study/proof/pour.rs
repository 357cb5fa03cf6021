//! Published cases of a pour: heat, runaway and weights against closed forms and independent integrations.

use super::mix::of_density;
use super::{Evaluator, Inputs};
use crate::pour::{
    Casting, Cured, End, Face, Fill, Kinetics, adiabatic_rise, critical_slab, mass_to_mix, weigh,
};
use stillbed_input::quantity::Draw;
use stillbed_material::spec::AirSpec;
use stillbed_material::{Aggregate, Figure, Ingredient, Property, Recipe, cure_strain, predict};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("rise", rise),
    ("times", times),
    ("shut-lift", shut_lift),
    ("critical", critical),
    ("steady", steady),
    ("cooling", cooling),
    ("batch", batch),
    ("cure-strain", strain),
];

type Found = Result<Vec<f64>, String>;

/// Gas constant, J/(mol K).
const GAS_CONSTANT: f64 = 8.314_462_618;

fn kinetics(inputs: &Inputs) -> Result<Kinetics, String> {
    Ok(Kinetics {
        rate_constant: inputs.number("a")?,
        activation_temperature: inputs.number("ea")? / GAS_CONSTANT,
        start_order: inputs.number("m")?,
        end_order: inputs.number("n")?,
        seed: inputs.number("seed")?,
    })
}

/// A cure at the constant rate `rate` (1/s), at any temperature.
fn even(rate: f64) -> Kinetics {
    Kinetics {
        rate_constant: rate,
        activation_temperature: 0.0,
        start_order: 0.0,
        end_order: 0.0,
        seed: 0.01,
    }
}

/// A recipe of binder and grains of the given densities, kg/m3, with the share `w` of binder by weight.
fn recipe(w: f64, binder: f64, grains: f64) -> Recipe {
    let grains = Aggregate::new(&of_density("grains", grains), 1.0 - w, (1e-3, 1e-3));
    Recipe::plain("a case", Ingredient::new(&of_density("binder", binder), w), vec![grains])
}

fn rise(inputs: &Inputs) -> Found {
    let w = inputs.number("w")?;
    let mut recipe = recipe(w, 1100.0, 2650.0);
    let state =
        |name: &str| -> Result<Figure, String> { Ok(Figure::stated(inputs.number(name)?.into(), "a case")) };
    recipe.binder.material.set(Property::HeatCapacity, state("binder")?);
    recipe.aggregates[0].ingredient.material.set(Property::HeatCapacity, state("grains")?);
    let found = predict(&recipe, &Draw::default()).map_err(|e| e.to_string())?;
    let heat_capacity = found.heat_capacity.ok_or("no heat capacity")?;
    Ok(vec![adiabatic_rise(w, inputs.number("heat")?, heat_capacity)])
}

fn times(inputs: &Inputs) -> Found {
    Ok(kinetics(inputs)?.times(inputs.number("start")?, inputs.number("rise")?, &inputs.numbers("marks")?))
}

/// Number of cells across the slabs; odd, so that one lies in the middle.
const CELLS: usize = 41;

fn shut_lift(inputs: &Inputs) -> Found {
    let start = inputs.number("start")?;
    let heat = 2e6 * inputs.number("rise")?;
    let fill = Fill { conductivity: 1.0, heat_capacity: 2e6, heat, kinetics: kinetics(inputs)? };
    let slab = Casting::slab(0.1, CELLS, [Face::SHUT; 2], start, start);
    Ok(vec![slab.cure(&fill, End::Gel, 0.01).lifts[0].gel_begins.ok_or("it did not gel")?])
}

fn critical(inputs: &Inputs) -> Found {
    Ok(vec![critical_slab(inputs.number("biot")?)])
}

/// Temperature of the middle of a slab above its held faces after `duration` (s), K. A slab that releases no
/// heat starts 10 K warmer than its faces.
fn held(thickness: f64, fill: &Fill, duration: f64) -> Result<f64, String> {
    let start = if fill.heat > 0.0 { 300.0 } else { 310.0 };
    let face = Face { air: f64::INFINITY, board: 0.0 };
    let slab = Casting::slab(thickness, CELLS, [face; 2], start, 300.0);
    let Cured { history, .. } = slab.cure(fill, End::After(duration), 1e-3);
    let end = history.last().and_then(|moment| moment.hottest[0]);
    Ok(end.ok_or("no history")? - 300.0)
}

fn steady(inputs: &Inputs) -> Found {
    let (l, k) = (inputs.number("l")?, inputs.number("k")?);
    let slow = 1e-9;
    let heat = inputs.number("q")? / slow;
    let fill = Fill { conductivity: k, heat_capacity: 1e6, heat, kinetics: even(slow) };
    Ok(vec![held(l, &fill, 5.0 * l * l / (k / 1e6))?])
}

fn cooling(inputs: &Inputs) -> Found {
    let fill = Fill { conductivity: 1.2, heat_capacity: 1e6, heat: 0.0, kinetics: even(1e-12) };
    let left = |fo: &f64| Ok(held(0.2, &fill, fo * 0.1 * 0.1 / 1.2e-6)? / 10.0);
    inputs.numbers("fo")?.iter().map(left).collect()
}

fn batch(inputs: &Inputs) -> Found {
    let mut recipe = recipe(inputs.number("w")?, inputs.number("binder")?, inputs.number("grains")?);
    recipe.air = AirSpec::Stated(inputs.number("air")?.into());
    recipe.hardener_ratio = Some((1.0, inputs.number("ratio")?));
    let found = predict(&recipe, &Draw::default()).map_err(|e| e.to_string())?;
    let mass = mass_to_mix(&found, inputs.number("volume")?, inputs.number("waste")?);
    let weights = weigh(&recipe, mass);
    let [resin, hardener, grains] = [0, 1, 2].map(|i| weights[i].mass_kg);
    Ok(vec![found.density, mass, resin + hardener, resin, hardener, grains])
}

fn strain(inputs: &Inputs) -> Found {
    let found = cure_strain(inputs.number("share")?, inputs.number("lost")?, inputs.number("after")?);
    Ok(vec![100.0 * found])
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        let proof = super::super::prove().unwrap();
        let cases: Vec<_> = proof.cases.iter().filter(|case| case.id.starts_with("pour/")).collect();
        assert!(cases.len() >= 28, "{}", cases.len());
        for case in cases {
            assert!(
                case.holds,
                "{}: printed {}, computed {:?}, {:?}",
                case.id, case.printed, case.computed, case.failure
            );
        }
    }
}
