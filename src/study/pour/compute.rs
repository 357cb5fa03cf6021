//! Computes the batch sheet of one mix: its lifts and their heat, the masses and batches, then the words.

use super::batch::{
    Batches, Filling, LiftPour, Pace, add, batches, mass_to_mix, shopping, sum, times, to_the_gram, weigh,
};
use super::doubts::doubts;
use super::drawn::Drawn;
use super::heat_answer::{Heat, head, plan_and_heat};
use super::means::Pour;
use super::plan::Plan;
use super::sheet::{Basis, Lifts, PourSheet};
use super::steps::{cautions, steps};
use super::vessel::{Bucket, bucket, read_cup};
use std::collections::BTreeMap;
use stillbed_input::quantity::Draw;
use stillbed_material::{MissingProperty, Property, Recipe, advice, predict};

/// Usual bag of grains, and can of anything else, kg: common practice.
const BAG: f64 = 25.0;
const CAN: f64 = 1.0;

impl PourSheet {
    /// Computes the sheet for `recipe` poured as `pour` says.
    ///
    /// # Errors
    /// When an ingredient lacks Young's modulus, Poisson's ratio, density or loss factor.
    pub fn compute(recipe: &Recipe, pour: &Pour) -> Result<PourSheet, MissingProperty> {
        let draw = Draw::default();
        let found = predict(recipe, &draw)?;
        let mut drawn = Drawn::of(recipe, pour.film);
        let cup = read_cup(&mut drawn.recipe.binder.material);
        if cup.is_some() {
            drawn = Drawn::of(&drawn.recipe, pour.film);
        }
        let density = found.medium().density;
        let board = |head: f64| pour.mould.map_or(0.0, |mould| mould.resistance(density, head));
        let planned = plan_and_heat(&drawn, pour, &board);
        let pot_life = recipe.binder.material.value(Property::PotLife, &draw);
        let stands = |mass: f64| {
            let case = planned.case?;
            Some(bucket(&case.fill, density, mass, pour.temperature, pot_life?))
        };
        let mixed = mass_to_mix(&found, pour.volume(), pour.waste);
        let (pours, standing) = lift_pours(recipe, pour, planned.plan.as_ref(), density, mixed, &stands);
        let mut weights = Vec::new();
        pours.iter().for_each(|lift| add(&mut weights, &lift.weights));
        let bags = recipe.aggregates.iter().map(|a| (a.ingredient.material.name.clone(), BAG));
        let mut packs: BTreeMap<String, f64> = bags.collect();
        packs.extend(pour.packs.clone());
        let lifts = lifts(pour, planned.plan.as_ref(), planned.heat.as_ref());
        let head = planned.plan.as_ref().map_or(pour.depth(), |plan| head(plan, &pour.shapes));
        let mut sheet = PourSheet {
            mix: recipe.name.clone(),
            volume_m3: pour.volume(),
            density_kg_per_m3: density,
            cast_mass_kg: pour.volume() * density,
            lifting_mass_kg: pour.volume() * density + pour.skeleton,
            mixed_mass_kg: sum(&weights),
            basis: Basis::of(recipe, pour),
            price_per_kg: None,
            working_time_s: standing.map(|bucket| bucket.working_time_s).or(pot_life),
            bucket: standing,
            pours,
            lifts,
            cup,
            heat: planned.heat,
            cure_strain: found.cure_strain,
            mould: pour.mould.map(|mould| mould.hold(density, head)),
            shopping: shopping(&weights, &packs, CAN),
            weights,
            steps: Vec::new(),
            cautions: Vec::new(),
            notes: advice(recipe, &found, pour.thinnest),
        };
        sheet.notes.extend(doubts(&sheet, pour));
        sheet.steps = steps(&sheet, recipe, pour);
        sheet.cautions = cautions(&sheet, recipe);
        Ok(sheet)
    }
}

fn lifts(pour: &Pour, plan: Option<&Plan>, heat: Option<&Heat>) -> Lifts {
    let of = |i: usize| plan.map_or(1, |plan| plan.castings[i].lifts);
    let heights = pour.shapes.iter().enumerate().map(|(i, shape)| shape.size()[2] / of(i) as f64);
    Lifts {
        count: (0..pour.shapes.len()).map(of).max().unwrap_or(1),
        height_m: heights.fold(0.0, f64::max),
        wait_s: plan.and_then(|plan| plan.wait),
        joint: heat.and_then(Heat::joint),
    }
}

/// The `mixed` mass (kg) divided over the lifts, and the state in its bucket of the batch with the shortest
/// working time.
fn lift_pours(
    recipe: &Recipe,
    pour: &Pour,
    plan: Option<&Plan>,
    density: f64,
    mixed: f64,
    stands: &dyn Fn(f64) -> Option<Bucket>,
) -> (Vec<LiftPour>, Option<Bucket>) {
    let wait = plan.and_then(|plan| plan.wait).unwrap_or(0.0);
    let mut fills: Vec<Vec<Filling>> = Vec::new();
    for (i, shape) in pour.shapes.iter().enumerate() {
        let of = plan.map_or(1, |plan| plan.castings[i].lifts);
        for (lift, part) in shape.parts(of).into_iter().enumerate() {
            if fills.len() <= lift {
                fills.push(Vec::new());
            }
            fills[lift].push(Filling {
                name: shape.name.clone(),
                count: shape.count,
                lift: lift + 1,
                of,
                height_m: shape.size()[2] / of as f64,
                volume_m3: part * shape.volume,
            });
        }
    }
    let pace =
        Pace { bucket: pour.bucket, mixing_time: pour.mixing_time, placing_rate: pour.placing_rate, stands };
    let mut hottest: Option<Bucket> = None;
    let whole = pour.volume();
    let mut lift = |(i, fills): (usize, Vec<Filling>)| {
        let volume: f64 = fills.iter().map(|filling| filling.volume_m3).sum();
        let mass = if whole > 0.0 { mixed * volume / whole } else { 0.0 };
        let found = batches(recipe, mass, density, &pace);
        let (batches, bucket): (Option<Batches>, _) = found.map_or((None, None), |(b, s)| (Some(b), s));
        if let Some(bucket) = bucket
            && hottest.is_none_or(|most| bucket.working_time_s < most.working_time_s)
        {
            hottest = Some(bucket);
        }
        let weights = match &batches {
            Some(batches) => times(&batches.weights, batches.count),
            None => to_the_gram(weigh(recipe, mass)),
        };
        let begins = i as f64 * wait;
        let clock = pour.start.map(|start| {
            let (day, time) = ((start + begins).div_euclid(86400.0), (start + begins).rem_euclid(86400.0));
            (day as u32 + 1, time)
        });
        let mixed_kg = sum(&weights);
        LiftPour {
            number: i + 1,
            begins_s: begins,
            clock,
            fills,
            volume_m3: volume,
            cast_kg: volume * density,
            mixed_kg,
            over_kg: mixed_kg - volume * density,
            weights,
            batches,
        }
    };
    let pours = fills.into_iter().enumerate().map(&mut lift).collect();
    (pours, hottest.or_else(|| stands(pour.bucket.min(whole) * density)))
}

#[cfg(test)]
mod tests {
    use super::super::means::DRAWS;
    use super::super::mould::Mould;
    use super::super::shape::CastShape;
    use super::*;
    use stillbed_input::problem::Problem;
    use stillbed_input::quantity::Spread;
    use stillbed_material::{Aggregate, Ingredient, Table};

    fn recipe(binder: &str) -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 80.0, (0.3e-3, 0.8e-3));
        Recipe::plain("sand", Ingredient::new(get(binder), 20.0), vec![sand])
    }

    fn slab(depth: f64, volume: f64) -> Pour {
        Pour::new(vec![CastShape::slab("bed", depth, volume)])
    }

    #[test]
    fn a_deep_pour_is_made_in_lifts_below_the_limit() {
        let sheet = PourSheet::compute(&recipe("epoxy, slow casting"), &slab(0.3, 0.03)).unwrap();
        let heat = sheet.heat.as_ref().unwrap();
        let limit = heat.limit_k.unwrap();
        assert!(sheet.lifts.count > 1 && sheet.lifts.wait_s.is_some(), "{:?}", sheet.lifts);
        assert!(heat.peak_k.value < limit && heat.peak_k.high < limit + 0.5, "{:?}", heat.peak_k);
        assert!(heat.peak_k.low < heat.peak_k.value && heat.draws == DRAWS);
        assert!(heat.advice.is_some() && heat.chance_above_limit.unwrap() < 0.06);
        assert!(heat.castings[0].balance.abs() < 1e-9);
        assert!(sheet.steps.len() > 8);
    }

    #[test]
    fn lifts_and_their_batches_add_up_to_the_gram() {
        let mut pour = slab(0.3, 0.03);
        pour.start = Some(8.0 * 3600.0);
        let sheet = PourSheet::compute(&recipe("epoxy, slow casting"), &pour).unwrap();
        assert_eq!(sheet.pours.len(), sheet.lifts.count);
        let mixed: f64 = sheet.pours.iter().map(|lift| lift.mixed_kg).sum();
        assert!((mixed - sheet.mixed_mass_kg).abs() < 1e-9);
        let cast: f64 = sheet.pours.iter().map(|lift| lift.cast_kg).sum();
        approx::assert_relative_eq!(cast, sheet.cast_mass_kg, max_relative = 1e-12);
        for lift in &sheet.pours {
            let batches = lift.batches.as_ref().unwrap();
            approx::assert_relative_eq!(
                batches.count as f64 * batches.mass_kg,
                lift.mixed_kg,
                epsilon = 1e-9
            );
            let weights: f64 = lift.weights.iter().map(|weight| weight.mass_kg).sum();
            approx::assert_relative_eq!(weights, lift.mixed_kg, epsilon = 1e-9);
            approx::assert_relative_eq!(lift.cast_kg + lift.over_kg, lift.mixed_kg, epsilon = 1e-9);
            let (day, time) = lift.clock.unwrap();
            let since = f64::from(day - 1) * 86400.0 + time - 8.0 * 3600.0;
            approx::assert_relative_eq!(since, lift.begins_s, epsilon = 1e-6);
        }
        for (i, weight) in sheet.weights.iter().enumerate() {
            let of_lifts: f64 = sheet.pours.iter().map(|lift| lift.weights[i].mass_kg).sum();
            approx::assert_relative_eq!(weight.mass_kg, of_lifts, epsilon = 1e-9);
        }
        // Rounding is within a gram per ingredient and batch.
        let asked = 1.05 * sheet.cast_mass_kg;
        assert!((sheet.mixed_mass_kg - asked).abs() < 0.02, "{} {asked}", sheet.mixed_mass_kg);
    }

    #[test]
    fn a_slender_casting_of_a_binder_that_is_known_is_one_lift() {
        let column = Pour::new(vec![CastShape::block("column", [0.1, 0.1, 0.6], 0.006)]);
        let mut recipe = recipe("epoxy, slow casting");
        let unknown = PourSheet::compute(&recipe, &column).unwrap();
        let heat = unknown.heat.unwrap();
        let once = heat.hottest().at_once.unwrap();
        assert!(unknown.lifts.count > 1 && once.chance_above_limit.unwrap() > 0.05, "{once:?}");
        assert!(once.peak_k.value < 333.15 && once.peak_k.high > 333.15, "{once:?}");
        // What would narrow it is told with how to measure it: the faces and the cure weigh alike here.
        let keys: Vec<&str> = heat.comes_from.iter().map(|from| from.key.as_str()).collect();
        assert!(keys.iter().any(|key| key.ends_with("pot_life")), "{keys:?}");
        assert!(heat.advice.unwrap().contains("gives it"), "{keys:?}");
        for property in [Property::RateConstant, Property::HeatOfReaction, Property::ActivationTemperature] {
            let value = recipe.binder.material.value(property, &Draw::default()).unwrap();
            let close = Spread::between(value, 0.97 * value, 1.03 * value);
            recipe.binder.material.set(property, stillbed_material::Figure::stated(close, "design"));
        }
        let sheet = PourSheet::compute(&recipe, &column).unwrap();
        let heat = sheet.heat.as_ref().unwrap();
        assert_eq!((sheet.lifts.count, sheet.pours.len()), (1, 1), "{:?}", heat.peak_k);
        assert_eq!(heat.hottest().at_once, None);
        assert!(heat.largest_lift_m.unwrap() < 0.6);
    }

    #[test]
    fn cautions_are_said_once_and_where_they_matter() {
        let mut pour = slab(0.05, 0.06);
        let sheet = PourSheet::compute(&recipe("epoxy"), &pour).unwrap();
        let mut once = sheet.cautions.clone();
        once.dedup();
        assert_eq!(once.len(), sheet.cautions.len());
        for word in ["skin", "silica", "overheat", "rated gear", "licensed engineer"] {
            assert_eq!(sheet.cautions.iter().filter(|c| c.contains(word)).count(), 1, "{word}");
        }
        pour.shapes = vec![CastShape::slab("tile", 0.02, 1e-4)];
        let small = PourSheet::compute(&recipe("epoxy"), &pour).unwrap();
        assert!(!small.cautions.iter().any(|c| c.contains("rated gear")));
    }

    #[test]
    fn what_cannot_be_done_is_said() {
        let mut pour = slab(0.3, 0.06);
        pour.mixing_time = 4.0 * 3600.0;
        let mould =
            Mould { youngs_modulus: 8e9, strength: 40e6, conductivity: 0.17, span: 1.2, deflection: 1e-4 };
        pour.mould = Some(mould);
        let mut recipe = recipe("epoxy");
        let late = PourSheet::compute(&recipe, &pour).unwrap();
        assert!(
            late.notes.iter().any(|note| note.to_string().contains("mixing takes 4 h")),
            "{:?}",
            late.notes
        );
        recipe.binder.material.values.remove(&Property::HeatOfReaction);
        let said: Vec<String> =
            PourSheet::compute(&recipe, &pour).unwrap().notes.iter().map(Problem::to_string).collect();
        assert!(said.iter().any(|s| s.contains("the heat of the cure is not known")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("set the ribs closer")), "{said:?}");
    }

    #[test]
    fn the_sheet_is_whole_in_json() {
        let sheet = PourSheet::compute(&recipe("epoxy, slow casting"), &slab(0.02, 0.01)).unwrap();
        let json = serde_json::to_value(&sheet).unwrap();
        assert!(json["heat"]["peak_k"]["high"].is_number());
        assert!(json["heat"]["castings"][0]["history"].as_array().unwrap().len() > 10);
        assert!(json["bucket"]["working_time_s"].is_number());
        assert_eq!(json["lifts"]["count"], 1);
    }
}
