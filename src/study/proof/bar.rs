//! Published cases of free test bars: corrections, and moduli from natural frequencies.

use super::{Evaluator, Inputs};
use stillbed_input::quantity::Spread;
use stillbed_tap::{
    Bar, BarMotion, BarReading, BarShape, BarTone, bar_moduli, flexure_factor_bar, flexure_factor_rod,
    torsion_factor_bar,
};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("t1_bar", |inputs| {
        Ok(vec![flexure_factor_bar(inputs.number("slenderness")?, inputs.number("poisson")?)])
    }),
    ("t1_rod", |inputs| {
        Ok(vec![flexure_factor_rod(inputs.number("slenderness")?, inputs.number("poisson")?)])
    }),
    ("t1_gyration", |inputs| {
        let thickness = inputs.number("gyration")? * 12f64.sqrt();
        Ok(vec![flexure_factor_bar(thickness, inputs.number("poisson")?)])
    }),
    ("torsion_factor", |inputs| {
        let (length, width) = (inputs.number("length")?, inputs.number("width")?);
        Ok(vec![torsion_factor_bar(length, width, inputs.number("thickness")?)])
    }),
    ("constant_bar", |_| {
        let shape = BarShape::Rectangular { length: one(1.0), width: one(1.0 / 1e4), thickness: one(1e-4) };
        let bar = Bar { shape, mass: one(1.0), poissons_ratio: one(0.3) };
        let reading = read(&bar, &[(BarMotion::Flexure, 1.0)])?;
        Ok(vec![youngs(&reading)? * 1e-16])
    }),
    ("constant_rod", |_| {
        let shape = BarShape::Round { length: one(1.0), diameter: one(1e-4) };
        let bar = Bar { shape, mass: one(1.0), poissons_ratio: one(0.3) };
        let reading = read(&bar, &[(BarMotion::Flexure, 1.0)])?;
        Ok(vec![youngs(&reading)? * 1e-16])
    }),
    ("bar_both", |inputs| {
        let tones = [
            (BarMotion::Flexure, inputs.number("flexure")?),
            (BarMotion::Torsion, inputs.number("torsion")?),
        ];
        let reading = read(&prism(inputs, 0.3)?, &tones)?;
        let shear = reading.shear_modulus_pa.ok_or("no shear modulus")?.value;
        let poisson = reading.poissons_ratio.ok_or("no Poisson's ratio")?.value;
        Ok(vec![youngs(&reading)?, shear, poisson])
    }),
    ("bar_flexure", |inputs| {
        let bar = prism(inputs, inputs.number("poisson")?)?;
        Ok(vec![youngs(&read(&bar, &[(BarMotion::Flexure, inputs.number("flexure")?)])?)?])
    }),
    ("bar_lengthwise", |inputs| {
        let bar = prism(inputs, inputs.number("poisson")?)?;
        Ok(vec![youngs(&read(&bar, &[(BarMotion::Longitudinal, inputs.number("longitudinal")?)])?)?])
    }),
    ("bar_density", |inputs| {
        let (length, thin) = (inputs.number("length")?, 1e-3);
        let mass = one(inputs.number("density")? * length * thin * thin);
        let shape = BarShape::Rectangular { length: one(length), width: one(thin), thickness: one(thin) };
        let bar = Bar { shape, mass, poissons_ratio: one(0.0) };
        Ok(vec![youngs(&read(&bar, &[(BarMotion::Longitudinal, inputs.number("longitudinal")?)])?)?])
    }),
];

fn one(value: f64) -> Spread {
    Spread::exact(value)
}

fn prism(inputs: &Inputs, poisson: f64) -> Result<Bar, String> {
    let shape = BarShape::Rectangular {
        length: one(inputs.number("length")?),
        width: one(inputs.number("width")?),
        thickness: one(inputs.number("thickness")?),
    };
    Ok(Bar { shape, mass: one(inputs.number("mass")?), poissons_ratio: one(poisson) })
}

fn read(bar: &Bar, tones: &[(BarMotion, f64)]) -> Result<BarReading, String> {
    let tone = |(motion, f): &(BarMotion, f64)| BarTone {
        motion: *motion,
        frequency_hz: one(*f),
        loss_factor: None,
    };
    let tones: Vec<BarTone> = tones.iter().map(tone).collect();
    bar_moduli(bar, &tones)
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
}

fn youngs(reading: &BarReading) -> Result<f64, String> {
    Ok(reading.youngs_modulus_pa.ok_or("no Young's modulus")?.value)
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        super::super::all_hold("bar");
    }
}
