//! What to weigh, in how many batches, and what to buy for it.
//!
//! ```text
//! mass = volume rho (1 + waste)         rho with the air that stays in
//! a batch <= bucket rho                 and mixed and placed within the working time
//! ```

use crate::material::{Prediction, Recipe};
use crate::quantity::Draw;
use serde::Serialize;
use std::collections::BTreeMap;

/// One thing to weigh.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weight {
    /// What: the resin and the hardener of a binder stand apart where their ratio is known.
    pub of: String,
    /// kg.
    pub mass_kg: f64,
}

/// The batches that a pour is mixed in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Batches {
    /// How many, all alike.
    pub count: usize,
    /// Mass of one, kg.
    pub mass_kg: f64,
    /// What to weigh for one.
    pub weights: Vec<Weight>,
    /// Time to mix and place one, s.
    pub time_s: f64,
}

/// One thing to buy.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Purchase {
    /// What.
    pub of: String,
    /// Needed, kg.
    pub needed_kg: f64,
    /// In one bag or can, kg.
    pub pack_kg: f64,
    /// Bags or cans.
    pub packs: usize,
    /// Bought, kg.
    pub bought_kg: f64,
}

/// What limits a batch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Mix that the bucket takes, m3.
    pub bucket: f64,
    /// Time to mix a batch, s.
    pub mixing_time: f64,
    /// Mix placed and vibrated, kg/s.
    pub placing_rate: f64,
    /// Time in which a batch must be placed, s.
    pub working_time: f64,
}

/// The mass of each ingredient for `mass` (kg) of the mix of `recipe`; resin and hardener apart
/// where their ratio is known.
pub fn weigh(recipe: &Recipe, mass: f64) -> Vec<Weight> {
    let draw = Draw::default();
    let whole: f64 = recipe.ingredients().map(|i| i.share.at(&draw)).sum();
    let mut weights = Vec::new();
    for (i, ingredient) in recipe.ingredients().enumerate() {
        let mass_kg = mass * ingredient.share.at(&draw) / whole;
        let name = &ingredient.material.name;
        match recipe.hardener_to_resin(&draw).filter(|_| i == 0) {
            Some(ratio) => {
                let resin = mass_kg / (1.0 + ratio);
                weights.push(Weight { of: format!("{name} (resin)"), mass_kg: resin });
                weights.push(Weight { of: format!("{name} (hardener)"), mass_kg: mass_kg - resin });
            }
            None => weights.push(Weight { of: name.clone(), mass_kg }),
        }
    }
    weights
}

/// The mass to mix for a cavity of `volume` (m3) with `waste` lost on tools and in joints, kg.
pub fn mass_to_mix(prediction: &Prediction, volume: f64, waste: f64) -> f64 {
    volume * prediction.medium().density * (1.0 + waste)
}

/// `mass` (kg) of a mix of `density` (kg/m3) in batches; `None` where mixing alone outlasts the
/// working time or the bucket takes nothing.
pub fn batches(recipe: &Recipe, mass: f64, density: f64, pace: &Pace) -> Option<Batches> {
    let placed = pace.placing_rate * (pace.working_time - pace.mixing_time);
    let largest = placed.min(pace.bucket * density);
    if largest.is_nan() || largest <= 0.0 {
        return None;
    }
    // A batch a hair over the largest is not worth another.
    let count = (mass / largest - 1e-9).ceil().max(1.0);
    let mass_kg = mass / count;
    Some(Batches {
        count: count as usize,
        mass_kg,
        weights: weigh(recipe, mass_kg),
        time_s: pace.mixing_time + mass_kg / pace.placing_rate,
    })
}

/// What to buy for `weights`, in the packs (kg) given by name, else in `usual` ones.
pub fn shopping(weights: &[Weight], packs: &BTreeMap<String, f64>, usual: f64) -> Vec<Purchase> {
    weights
        .iter()
        .map(|weight| {
            let pack_kg = packs.get(&weight.of).copied().filter(|pack| *pack > 0.0).unwrap_or(usual);
            let packs = (weight.mass_kg / pack_kg - 1e-9).ceil().max(1.0);
            Purchase {
                of: weight.of.clone(),
                needed_kg: weight.mass_kg,
                pack_kg,
                packs: packs as usize,
                bought_kg: packs * pack_kg,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::{Aggregate, Ingredient, Table};
    use approx::assert_relative_eq;

    fn recipe() -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 80.0, (0.3e-3, 0.8e-3));
        let mut recipe = Recipe::plain("sand", Ingredient::new(get("epoxy"), 20.0), vec![sand]);
        recipe.hardener_ratio = Some((100.0, 25.0));
        recipe
    }

    #[test]
    fn resin_and_hardener_stand_apart() {
        let weights = weigh(&recipe(), 50.0);
        let masses: Vec<f64> = weights.iter().map(|w| w.mass_kg).collect();
        for (found, expected) in masses.iter().zip([8.0, 2.0, 40.0]) {
            assert_relative_eq!(*found, expected, max_relative = 1e-12);
        }
        assert_eq!(weights[1].of, "epoxy (hardener)");
    }

    #[test]
    fn a_batch_fits_the_bucket_and_the_working_time() {
        let pace = Pace { bucket: 0.01, mixing_time: 600.0, placing_rate: 0.02, working_time: 1800.0 };
        let found = batches(&recipe(), 100.0, 2100.0, &pace).unwrap();
        assert_eq!(found.count, 5);
        assert_relative_eq!(found.time_s, 600.0 + 20.0 / 0.02);
        let hasty = Pace { working_time: 1200.0, ..pace };
        assert_eq!(batches(&recipe(), 100.0, 2100.0, &hasty).unwrap().count, 9);
        assert_eq!(batches(&recipe(), 100.0, 2100.0, &Pace { working_time: 500.0, ..pace }), None);
    }

    #[test]
    fn packs_are_whole() {
        let packs = BTreeMap::from([("quartz sand".to_string(), 25.0)]);
        let bought = shopping(&weigh(&recipe(), 50.0), &packs, 1.0);
        assert_eq!(bought[2].packs, 2);
        assert_eq!(bought[0].packs, 8);
        assert_eq!(bought[2].bought_kg, 50.0);
    }
}
