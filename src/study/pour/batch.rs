//! What to weigh for each lift, in how many batches and when, and what to buy.
//!
//! ```text
//! mass = volume rho (1 + waste)         rho with the air that stays in
//! a batch <= bucket rho                 and mixed and placed within the working time
//! ```
//!
//! A batch is weighed to the gram, its small ingredients to a tenth. A lift takes the sum of its batches and
//! the pour the sum of its lifts, so that printed weights add up.

use super::vessel::Bucket;
use serde::Serialize;
use std::collections::BTreeMap;
use stillbed_input::quantity::{Draw, Kind, figures, show};
use stillbed_material::{Prediction, Recipe};

/// Weights below this are rounded to a tenth of a gram, kg.
const SMALL: f64 = 0.1;
/// Largest number of batches of a lift; more means that bucket or working time is not meant as stated.
const MOST: usize = 10_000;

/// One thing to weigh.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weight {
    /// Its name; resin and hardener of a binder are separate where their ratio is known.
    pub of: String,
    /// Mass, kg.
    pub mass_kg: f64,
}

/// The equal batches in which a lift is mixed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Batches {
    /// Number of batches.
    pub count: usize,
    /// Mass of one batch, kg: the sum of its weights.
    pub mass_kg: f64,
    /// Weights of one batch.
    pub weights: Vec<Weight>,
    /// Time to mix and place one batch, s.
    pub time_s: f64,
}

/// One lift: all that is poured in one go.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LiftPour {
    /// Number of the lift, from 1.
    pub number: usize,
    /// Its beginning, s after that of the first lift.
    pub begins_s: f64,
    /// Day of the pour, from 1, and time of day, s, where the start is stated.
    pub clock: Option<(u32, f64)>,
    /// The castings that it fills.
    pub fills: Vec<Filling>,
    /// Volume, m3.
    pub volume_m3: f64,
    /// Mass that stays in the moulds, kg.
    pub cast_kg: f64,
    /// Mass mixed, kg: the sum of its weights.
    pub mixed_kg: f64,
    /// Mass mixed but not cast, kg: left on tools and in the bucket, and for the test bar.
    pub over_kg: f64,
    /// Weights of the whole lift.
    pub weights: Vec<Weight>,
    /// Its batches; `None` where mixing alone outlasts the working time.
    pub batches: Option<Batches>,
}

/// One casting, or several equal ones, that a lift fills in part or in whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Filling {
    /// Its name for the reader.
    pub name: String,
    /// Number of equal castings.
    pub count: usize,
    /// Number of the lift within the casting, from 1.
    pub lift: usize,
    /// Number of lifts of the casting.
    pub of: usize,
    /// Height of the lift, m.
    pub height_m: f64,
    /// Volume in all equal castings, m3.
    pub volume_m3: f64,
}

/// One thing to buy.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Purchase {
    /// Its name.
    pub of: String,
    /// Mass needed, kg.
    pub needed_kg: f64,
    /// Mass in one bag or can, kg.
    pub pack_kg: f64,
    /// Number of bags or cans.
    pub packs: usize,
    /// Mass bought, kg.
    pub bought_kg: f64,
}

/// Limits of a batch.
pub struct Pace<'a> {
    /// Volume of mix that the bucket takes, m3.
    pub bucket: f64,
    /// Time to mix a batch, s.
    pub mixing_time: f64,
    /// Rate of placing and vibrating the mix, kg/s.
    pub placing_rate: f64,
    /// The state of a batch (kg) in its bucket; `None` where the binder data do not suffice.
    pub stands: &'a dyn Fn(f64) -> Option<Bucket>,
}

/// The mass of each ingredient in `mass` (kg) of the mix of `recipe`; resin and hardener are separate where
/// their ratio is known.
#[must_use]
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

/// Mass to mix for a cavity of `volume` (m3), with the part `waste` lost on tools and in joints, kg.
#[must_use]
pub fn mass_to_mix(prediction: &Prediction, volume: f64, waste: f64) -> f64 {
    volume * prediction.medium().density * (1.0 + waste)
}

/// `mass` (kg) of a mix of `density` (kg/m3) divided into batches, and the state of one in its bucket; `None`
/// where mixing alone takes longer than the working time, or the bucket takes nothing.
#[must_use]
pub fn batches(recipe: &Recipe, mass: f64, density: f64, pace: &Pace) -> Option<(Batches, Option<Bucket>)> {
    let largest = pace.bucket * density;
    if !(largest > 0.0 && pace.placing_rate > 0.0) {
        return None;
    }
    // An excess over the largest batch by rounding does not need another batch.
    let mut count = (mass / largest - 1e-9).ceil().max(1.0);
    loop {
        let one = mass / count;
        let stands = (pace.stands)(one);
        let working = stands.map_or(f64::INFINITY, |bucket| bucket.working_time_s);
        if working <= pace.mixing_time || count > MOST as f64 {
            return None;
        }
        let placed = pace.placing_rate * (working - pace.mixing_time);
        if one <= placed * (1.0 + 1e-9) {
            let weights = to_the_gram(weigh(recipe, one));
            let mass_kg = sum(&weights);
            let time_s = pace.mixing_time + mass_kg / pace.placing_rate;
            return Some((Batches { count: count as usize, mass_kg, weights, time_s }, stands));
        }
        count = (mass / placed - 1e-9).ceil().max(count + 1.0);
    }
}

/// Weights rounded to the gram, small ones to a tenth.
pub(super) fn to_the_gram(mut weights: Vec<Weight>) -> Vec<Weight> {
    for weight in &mut weights {
        let steps = if weight.mass_kg < SMALL { 1e4 } else { 1e3 };
        weight.mass_kg = (weight.mass_kg * steps).round() / steps;
    }
    weights
}

/// Each weight times `count`.
pub(super) fn times(weights: &[Weight], count: usize) -> Vec<Weight> {
    let tenths = |mass: f64| (mass * 1e4).round() * count as f64 / 1e4;
    weights.iter().map(|w| Weight { of: w.of.clone(), mass_kg: tenths(w.mass_kg) }).collect()
}

/// The sum of the masses, exact to a tenth of a gram, kg.
pub(super) fn sum(weights: &[Weight]) -> f64 {
    weights.iter().map(|weight| (weight.mass_kg * 1e4).round()).sum::<f64>() / 1e4
}

/// Adds weights of the same things one by one.
pub(super) fn add(all: &mut Vec<Weight>, more: &[Weight]) {
    if all.is_empty() {
        all.extend_from_slice(more);
        return;
    }
    for (weight, more) in all.iter_mut().zip(more) {
        weight.mass_kg = ((weight.mass_kg + more.mass_kg) * 1e4).round() / 1e4;
    }
}

/// What to buy for `weights`, in packs (kg) given by name, else in the `usual` pack.
#[must_use]
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

/// A time as text: minutes, or hours from two on.
pub(super) fn minutes(seconds: f64) -> String {
    match seconds {
        s if s < 7200.0 => format!("{} min", figures(s / 60.0, 2)),
        s => format!("{} h", figures(s / 3600.0, 2)),
    }
}

impl LiftPour {
    /// Its beginning as text.
    #[must_use]
    pub fn when(&self) -> String {
        match self.clock {
            Some((day, time)) => {
                let minutes = (time / 60.0).round() as u32;
                format!("day {day}, {:02}:{:02}", minutes / 60, minutes % 60)
            }
            None if self.begins_s == 0.0 => "at the start".to_string(),
            None => format!("{} after the first began", minutes(self.begins_s)),
        }
    }
}

impl Filling {
    /// The casting and the height to which it is filled, as text.
    #[must_use]
    pub fn told(&self) -> String {
        let each = if self.count > 1 { format!(" ({} alike)", self.count) } else { String::new() };
        let to = show(self.height_m * self.lift as f64, Kind::Length);
        match self.of {
            1 => format!("{}{each} to {to}", self.name),
            of => format!("{}{each} to {to}, lift {} of {of}", self.name, self.lift),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_material::{Aggregate, Ingredient, Table};

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

    /// The bucket of a batch with `seconds` of working time, whatever its mass.
    fn worked(seconds: f64) -> impl Fn(f64) -> Option<Bucket> {
        move |mass_kg| {
            let gel_time_s = Some(seconds);
            Some(Bucket { mass_kg, working_time_s: seconds, warms_k: 0.0, gel_time_s, left_peak_k: 300.0 })
        }
    }

    #[test]
    fn a_batch_fits_the_bucket_and_the_working_time() {
        let count = |working: f64, bucket: f64| {
            let stands = worked(working);
            let pace = Pace { bucket, mixing_time: 600.0, placing_rate: 0.02, stands: &stands };
            batches(&recipe(), 100.0, 2100.0, &pace).map(|(found, _)| found)
        };
        let found = count(1800.0, 0.01).unwrap();
        assert_eq!(found.count, 5);
        assert_relative_eq!(found.time_s, 600.0 + 20.0 / 0.02);
        assert_eq!(count(1200.0, 0.01).unwrap().count, 9);
        assert_eq!((count(500.0, 0.01), count(1800.0, 0.0)), (None, None));
    }

    #[test]
    fn printed_weights_add_up() {
        let stands = worked(1e5);
        let pace = Pace { bucket: 0.01, mixing_time: 600.0, placing_rate: 0.02, stands: &stands };
        let (found, _) = batches(&recipe(), 33.6789, 2100.0, &pace).unwrap();
        assert_eq!(found.count, 2);
        for weight in &found.weights {
            assert_relative_eq!(weight.mass_kg * 1e3, (weight.mass_kg * 1e3).round(), epsilon = 1e-9);
        }
        assert_eq!(sum(&times(&found.weights, 2)), (2e4 * found.mass_kg).round() / 1e4);
        assert!((2.0 * found.mass_kg - 33.6789).abs() < 4e-3);
        let mut all = Vec::new();
        add(&mut all, &found.weights);
        add(&mut all, &found.weights);
        assert_eq!(all, times(&found.weights, 2));
        let small = to_the_gram(vec![Weight { of: "pigment".to_string(), mass_kg: 0.042_04 }]);
        assert_eq!(small[0].mass_kg, 0.042);
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
