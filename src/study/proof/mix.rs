//! Published cases of mixes: bounds, estimates, packings and gradings.

use super::{Evaluator, Inputs};
use num_complex::Complex64;
use stillbed_input::quantity::Draw;
use stillbed_material::demand::{Demand, Filling, demand};
use stillbed_material::grading::{fuller, funk_dinger};
use stillbed_material::homogenise::{
    self, Moduli, Phase, bounds, counto, hashin_shtrikman, hirsch, reuss, three_phase, voigt,
};
use stillbed_material::packing::{Class, VIBRATED, densest};
use stillbed_material::spec::AirSpec;
use stillbed_material::{
    Aggregate, Compaction, Figure, GrainShape, Host, Ingredient, Material, Packed, Property, Recipe, Role,
    Table, cemented, predict, stir,
};

pub(super) const EVALUATORS: &[(&str, Evaluator)] = &[
    ("bulk", bulk),
    ("shear", shear),
    ("three-phase", coated),
    ("youngs", youngs),
    ("youngs-bounds", youngs_bounds),
    ("averages", averages),
    ("pores", pores),
    ("sand-and-pores", sand_and_pores),
    ("complex", complex),
    ("counto", prism_in_prism),
    ("hirsch", series_and_parallel),
    ("differential", differential),
    ("weights", weights),
    ("furnas", furnas),
    ("furnas-coarse", furnas_coarse),
    ("measured-packing", measured_packing),
    ("graded", graded),
    ("fuller", fuller_line),
    ("funk-dinger", funk_dinger_line),
    ("voids", voids),
    ("fill", fill),
    ("expansion", expansion),
    ("epoxy-concrete", epoxy_concrete),
    ("bonded-sand", bonded_sand),
    ("fills", fills),
    ("fill-by-hand", fill_by_hand),
    ("rises", rises),
];

type Found = Result<Vec<f64>, String>;

fn matrix(inputs: &Inputs) -> Result<Moduli, String> {
    Ok(Moduli::from_youngs(inputs.number("em")?.into(), inputs.number("nm")?))
}

/// Moduli of the inclusion, given as E and nu or as K and G.
fn inclusion(inputs: &Inputs) -> Result<Moduli, String> {
    if let (Ok(k), Ok(g)) = (inputs.number("ki"), inputs.number("gi")) {
        return Ok(Moduli { bulk: k.into(), shear: g.into() });
    }
    Ok(Moduli::from_youngs(inputs.number("ei")?.into(), inputs.number("ni")?))
}

fn phases(inputs: &Inputs) -> Result<[Phase; 2], String> {
    let share = inputs.number("f")?;
    let matrix = Phase { share: 1.0 - share, moduli: matrix(inputs)? };
    Ok([matrix, Phase { share, moduli: inclusion(inputs)? }])
}

/// One modulus by Reuss, by the lower and upper bound, and by Voigt.
fn ladder(inputs: &Inputs, of: fn(&Moduli) -> f64) -> Found {
    let phases = phases(inputs)?;
    let (low, high) = bounds(&phases);
    Ok([reuss(&phases), low, high, voigt(&phases)].iter().map(of).collect())
}

fn bulk(inputs: &Inputs) -> Found {
    ladder(inputs, |m| m.bulk.re)
}

fn shear(inputs: &Inputs) -> Found {
    ladder(inputs, |m| m.shear.re)
}

fn coated(inputs: &Inputs) -> Found {
    Ok(vec![three_phase(&matrix(inputs)?, &inclusion(inputs)?, inputs.number("f")?).shear.re])
}

fn tension(moduli: &Moduli) -> [f64; 2] {
    [moduli.youngs_modulus().re, moduli.poissons_ratio()]
}

fn youngs(inputs: &Inputs) -> Found {
    let (low, high) = bounds(&phases(inputs)?);
    let coated = three_phase(&matrix(inputs)?, &inclusion(inputs)?, inputs.number("f")?);
    Ok([low, high, coated].iter().flat_map(tension).collect())
}

fn youngs_bounds(inputs: &Inputs) -> Found {
    let (low, high) = bounds(&phases(inputs)?);
    Ok(vec![tension(&low)[0], tension(&high)[0]])
}

fn averages(inputs: &Inputs) -> Found {
    let phases = phases(inputs)?;
    Ok(vec![tension(&voigt(&phases))[0], tension(&reuss(&phases))[0]])
}

fn pores(inputs: &Inputs) -> Found {
    let (host, p) = (matrix(inputs)?, inputs.number("p")?);
    let phases = [Phase { share: 1.0 - p, moduli: host }, Phase { share: p, moduli: Moduli::NOTHING }];
    Ok(tension(&hashin_shtrikman(&phases, &host)).to_vec())
}

fn sand_and_pores(inputs: &Inputs) -> Found {
    let (p, sand) = (inputs.number("p")?, inputs.number("f")?);
    let f = sand * (1.0 - p);
    let host = matrix(inputs)?;
    let phases = [
        Phase { share: 1.0 - f - p, moduli: host },
        Phase { share: f, moduli: inclusion(inputs)? },
        Phase { share: p, moduli: Moduli::NOTHING },
    ];
    Ok(tension(&hashin_shtrikman(&phases, &host)).to_vec())
}

fn lossy(modulus: Complex64, loss: f64) -> Complex64 {
    modulus * Complex64::new(1.0, loss)
}

fn complex(inputs: &Inputs) -> Found {
    let [mut host, mut grains] = phases(inputs)?;
    host.moduli.bulk = lossy(host.moduli.bulk, inputs.number("lossk")?);
    host.moduli.shear = lossy(host.moduli.shear, inputs.number("lossg")?);
    let loss = inputs.number("lossi")?;
    grains.moduli.bulk = lossy(grains.moduli.bulk, loss);
    grains.moduli.shear = lossy(grains.moduli.shear, loss);
    let found = hashin_shtrikman(&[host, grains], &host.moduli);
    let ratio = |m: Complex64| m.im / m.re;
    Ok(vec![found.youngs_modulus().re, found.loss_factor(), ratio(found.bulk), ratio(found.shear)])
}

fn prism_in_prism(inputs: &Inputs) -> Found {
    let (em, ei) = (inputs.number("em")?.into(), inputs.number("ei")?.into());
    Ok(vec![counto(em, ei, inputs.number("f")?).re])
}

fn series_and_parallel(inputs: &Inputs) -> Found {
    let (em, ei) = (inputs.number("em")?.into(), inputs.number("ei")?.into());
    let f = inputs.number("f")?;
    Ok([0.32, 0.5].map(|parallel| hirsch(em, ei, f, parallel).re).to_vec())
}

fn differential(inputs: &Inputs) -> Found {
    let phase = |e, nu, loss| -> Result<Host, String> {
        let youngs_modulus = lossy(inputs.number(e)?.into(), inputs.number(loss)?);
        let moduli = Moduli::from_youngs(youngs_modulus, inputs.number(nu)?);
        Ok(Host { moduli, expansion: 0.0, conductivity: 0.0 })
    };
    let (host, grains) = (phase("em", "nm", "lossm")?, phase("ei", "ni", "lossi")?);
    let pore = Host { moduli: Moduli::NOTHING, expansion: 0.0, conductivity: 0.0 };
    let cast = stir(&host, &[(1.0, grains)], inputs.number("f")?);
    let moduli = stir(&cast, &[(1.0, pore)], inputs.number("p")?).moduli;
    let [e, nu] = tension(&moduli);
    Ok(vec![e, nu, moduli.loss_factor(), moduli.shear.im / moduli.shear.re])
}

/// A material with this density; its other properties do not matter here.
pub(super) fn of_density(name: &str, density: f64) -> Material {
    let mut material = Material::new(name, Role::Fill);
    for (property, value) in [
        (Property::YoungsModulus, 1e9),
        (Property::PoissonsRatio, 0.3),
        (Property::LossFactor, 0.0),
        (Property::Density, density),
    ] {
        material.set(property, Figure::stated(value.into(), "a case"));
    }
    material
}

fn weights(inputs: &Inputs) -> Found {
    let w = inputs.number("w")?;
    let binder = of_density("binder", inputs.number("binder")? * 1e3);
    let grains = of_density("grains", inputs.number("grains")? * 1e3);
    let aggregates = vec![Aggregate::new(&grains, 1.0 - w, (1e-3, 1e-3))];
    let mut recipe = Recipe::plain("a case", Ingredient::new(&binder, w), aggregates);
    recipe.air = AirSpec::Stated(inputs.number("air")?.into());
    let found = predict(&recipe, &Draw::default()).map_err(|e| e.to_string())?;
    Ok(vec![found.shares.binder, found.shares.grains(), found.density / 1e3])
}

/// Grains of the given sizes, one class per size, each packed to `phi` on its own.
fn kinds(phi: f64, sizes: &[f64]) -> Vec<Vec<Class>> {
    sizes.iter().map(|size| vec![Class { size: *size, packing: phi, part: 1.0 }]).collect()
}

fn furnas(inputs: &Inputs) -> Found {
    let (phi, ratio) = (inputs.number("phi")?, inputs.number("ratio")?);
    let sizes: Vec<f64> = (0..4).map(|i| ratio.powi(i)).collect();
    Ok((1..=4).map(|n| densest(&kinds(phi, &sizes[..n])).1).collect())
}

fn furnas_coarse(inputs: &Inputs) -> Found {
    let (parts, _) = densest(&kinds(inputs.number("phi")?, &[1.0, inputs.number("ratio")?]));
    Ok(vec![parts[0]])
}

fn measured_packing(inputs: &Inputs) -> Found {
    let mut sizes = vec![1.0];
    sizes.extend(inputs.numbers("ratios")?.iter().map(|ratio| 1.0 / ratio));
    Ok(vec![densest(&kinds(inputs.number("phi")?, &sizes)).1])
}

/// Roundness from which grains count as rounded: sub-rounded on Powers' scale, from memory.
const ROUNDED: f64 = 0.35;

/// Solid fraction, vibrated dry, of grains given by their divisions: parts, smallest and largest size (mm) and
/// roundness. Each division packs alone as is usual for its shape.
fn graded(inputs: &Inputs) -> Found {
    let of = |name: &str| inputs.numbers(name);
    let (parts, smallest, largest, roundness) = (of("parts")?, of("from")?, of("to")?, of("roundness")?);
    let grains = of_density("grains", 2650.0);
    let divisions = parts.iter().zip(&roundness).zip(smallest.iter().zip(&largest));
    let aggregates = divisions.map(|((part, roundness), (smallest, largest))| {
        let rounded = *roundness >= ROUNDED;
        let shape = if rounded { GrainShape::Rounded } else { GrainShape::Angular };
        Aggregate { shape: Some(shape), ..Aggregate::new(&grains, *part, (smallest / 1e3, largest / 1e3)) }
    });
    let binder = Ingredient::new(&of_density("binder", 1100.0), 0.2);
    let recipe = Recipe::plain("a case", binder, aggregates.collect());
    let found = demand(&recipe, &Draw::default()).map_err(|e| e.to_string())?;
    Ok(vec![1.0 - found.voids_dry])
}

fn fuller_line(inputs: &Inputs) -> Found {
    let largest = inputs.number("largest")?;
    Ok(inputs.numbers("sieves")?.iter().map(|d| 100.0 * fuller(*d, largest)).collect())
}

fn funk_dinger_line(inputs: &Inputs) -> Found {
    let (smallest, largest) = (inputs.number("smallest")?, inputs.number("largest")?);
    let exponent = inputs.number("exponent")?;
    let passing = |d: &f64| 100.0 * funk_dinger(*d, smallest, largest, exponent);
    Ok(inputs.numbers("sieves")?.iter().map(passing).collect())
}

/// The binder demand of grains of one size that alone pack to `packed`.
fn demand_of(binder: f64, grains: f64, packed: f64) -> Result<Demand, String> {
    let mut aggregate = Aggregate::new(&of_density("grains", grains), 0.8, (1e-3, 1e-3));
    aggregate.packed = Some(packed.into());
    let binder = Ingredient::new(&of_density("binder", binder), 0.2);
    demand(&Recipe::plain("a case", binder, vec![aggregate]), &Draw::default()).map_err(|e| e.to_string())
}

fn voids(inputs: &Inputs) -> Found {
    let density = inputs.number("density")?;
    Ok(vec![demand_of(1100.0, density, inputs.number("bulk")? / density)?.voids_dry])
}

fn fill(inputs: &Inputs) -> Found {
    // The packing is stated as vibrated dry, such that with binder the voids are those of the case.
    let index = Compaction::default().index();
    let packed = (1.0 - inputs.number("voids")?) * (1.0 + 1.0 / index) / (1.0 + 1.0 / VIBRATED);
    Ok(vec![demand_of(inputs.number("binder")?, inputs.number("grains")?, packed)?.share_by_weight])
}

fn expansion(inputs: &Inputs) -> Found {
    let [host, grains] = phases(inputs)?;
    let thermal = [
        (host.share, host.moduli.bulk.re, inputs.number("alpham")?),
        (grains.share, grains.moduli.bulk.re, inputs.number("alphai")?),
    ];
    let holds = [0.0, host.moduli.shear.re, f64::INFINITY];
    Ok(holds.map(|hold| homogenise::expansion(&thermal, hold)).to_vec())
}

/// Young's modulus, GPa, of quartz sand and granite bound by the epoxy of the table.
fn epoxy_concrete(inputs: &Inputs) -> Found {
    let table = Table::built_in();
    let get = |name: &str| table.get(name).ok_or_else(|| format!("no material \"{name}\""));
    let grains = vec![
        Aggregate::new(get("quartz sand")?, inputs.number("sand")?, (0.1e-3, 2e-3)),
        Aggregate::new(get("granite")?, inputs.number("stone")?, (4e-3, 12e-3)),
    ];
    let binder = Ingredient::new(get("epoxy")?, inputs.number("binder")?);
    let found = predict(&Recipe::plain("a case", binder, grains), &Draw::default());
    Ok(vec![found.map_err(|e| e.to_string())?.moduli.youngs_modulus().re / 1e9])
}

/// Young's modulus, GPa, of the table's quartz sand bonded at the contacts by necks of its epoxy.
fn bonded_sand(inputs: &Inputs) -> Found {
    let table = Table::built_in();
    let of = |name: &str| -> Result<Host, String> {
        let material = table.get(name).ok_or_else(|| format!("no material \"{name}\""))?;
        let medium = material.medium(&Draw::default()).map_err(|e| e.to_string())?;
        Ok(Host { moduli: Moduli::of(&medium), expansion: 0.0, conductivity: 0.0 })
    };
    let (sand, epoxy) = (of("quartz sand")?, of("epoxy")?);
    let (solid, w) = (inputs.number("packed")?, inputs.number("binder")?);
    let ratio = w / inputs.number("density")? / ((1.0 - w) / 2.65);
    let saturation = ratio * solid / (1.0 - solid);
    let filled = stir(&epoxy, &[(1.0, sand)], solid);
    let found = cemented(&Packed { solid, saturation }, &sand, &epoxy.moduli, &filled);
    Ok(vec![tension(&found.moduli)[0] / 1e9])
}

/// A mix tamped by hand, of `binder` parts of the table's slow epoxy and of grains given as
/// `NAME=parts,smallest,largest` (mm).
fn by_hand(inputs: &Inputs, binder: f64, grains: &[(&str, &str)]) -> Result<Recipe, String> {
    let table = Table::built_in();
    let get = |name: &str| table.get(name).ok_or_else(|| format!("no material \"{name}\""));
    let mut aggregates = Vec::new();
    for (key, material) in grains {
        let Ok(numbers) = inputs.numbers(key) else { continue };
        let [parts, smallest, largest] = numbers[..] else { return Err(format!("{key}: not three numbers")) };
        aggregates.push((get(material)?, parts, (smallest / 1e3, largest / 1e3)));
    }
    let all: f64 = aggregates.iter().map(|(_, parts, _)| parts).sum();
    let grains = aggregates
        .into_iter()
        .map(|(material, parts, sizes)| Aggregate::new(material, (100.0 - binder) * parts / all, sizes));
    let recipe =
        Recipe::plain("a case", Ingredient::new(get("epoxy, slow casting")?, binder), grains.collect());
    Ok(Recipe { compaction: Compaction::ByHand, ..recipe })
}

const GRAINS: [(&str, &str); 4] =
    [("sand", "quartz sand"), ("fine", "quartz sand"), ("stone", "limestone"), ("granite", "granite")];

/// 1 where the binder fills the voids between the grains, 0 where voids remain.
fn fills(inputs: &Inputs) -> Found {
    let recipe = by_hand(inputs, inputs.number("binder")?, &GRAINS)?;
    let found = demand(&recipe, &Draw::default()).map_err(|e| e.to_string())?;
    Ok(vec![if found.filling == Filling::Short { 0.0 } else { 1.0 }])
}

/// Share of binder by weight, %, that just fills the voids.
fn fill_by_hand(inputs: &Inputs) -> Found {
    let granite = [("fine", "granite"), ("sand", "granite"), ("stone", "granite")];
    let found = demand(&by_hand(inputs, 10.0, &granite)?, &Draw::default()).map_err(|e| e.to_string())?;
    Ok(vec![100.0 * found.share_by_weight])
}

/// Whether density (`of=density`) or Young's modulus rises (1) or falls (-1) from one share of binder to
/// another (% by weight).
fn rises(inputs: &Inputs) -> Found {
    let dense = inputs.text("of")? == "density";
    let mut values = Vec::new();
    for binder in inputs.numbers("binders")? {
        let found =
            predict(&by_hand(inputs, binder, &GRAINS)?, &Draw::default()).map_err(|e| e.to_string())?;
        values.push(if dense { found.density } else { found.moduli.youngs_modulus().re });
    }
    Ok(values.windows(2).map(|pair| (pair[1] - pair[0]).signum()).collect())
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_case_holds() {
        let proof = super::super::prove().unwrap();
        let cases: Vec<_> = proof.cases.iter().filter(|case| case.id.starts_with("mix/")).collect();
        assert!(cases.len() > 300, "{}", cases.len());
        for case in cases {
            assert!(
                case.holds,
                "{}: printed {}, computed {:?}, {:?}",
                case.id, case.printed, case.computed, case.failure
            );
        }
    }
}
