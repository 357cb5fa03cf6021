//! The uncertain inputs of the heat of a pour, and their values in draws.
//!
//! Drawn are heat, rate and activation temperature of the cure, conductivity and heat capacity of every
//! ingredient, the shares, and the film coefficient from a surface to air; densities and air content stay
//! nominal. Where the time in a cup says more about the rate than the table does, that time is drawn, and the
//! rate of each draw follows from it and from the draw's heat: both limits at once, most heat at the highest
//! rate, would be a binder that gels long before its time.

use super::heat::Fill;
use super::kinetics::{Kinetics, adiabatic_rise};
use super::plan::Case;
use super::vessel::{rate_by_cup, timed, timed_by_cup};
use std::collections::BTreeMap;
use stillbed_input::document::Uncertain;
use stillbed_input::quantity::{Draw, Kind, Spread};
use stillbed_material::spec::AirSpec;
use stillbed_material::{Ingredient, Material, Prediction, Property, Recipe, predict};

/// Properties whose spreads are drawn.
const COUNT: [Property; 5] = [
    Property::HeatOfReaction,
    Property::RateConstant,
    Property::ActivationTemperature,
    Property::Conductivity,
    Property::HeatCapacity,
];

/// Key of the film coefficient to air.
pub(super) const AIR: &str = "pour.film";

/// A recipe whose spreads are indexed into a list of draws of its own, and that list of spreads.
pub(super) struct Drawn {
    pub recipe: Recipe,
    pub uncertain: Vec<Uncertain>,
    film: Spread,
    /// The known rate constant over that by the cup, at the nominal values; `None` where the rate is drawn.
    by_cup: Option<f64>,
}

impl Drawn {
    /// `recipe` with the film coefficient `film` (W/(m2 K)) from a surface to air.
    pub fn of(recipe: &Recipe, film: Spread) -> Drawn {
        let binder = &recipe.binder.material;
        let known = binder.value(Property::RateConstant, &Draw::default());
        let cup = timed_by_cup(binder).then(|| rate_by_cup(binder, &Draw::default())).flatten();
        let by_cup = known.zip(cup).map(|(known, cup)| known / cup);
        let counts = |material: &Material, property: Property| match by_cup {
            Some(_) if property == Property::RateConstant => material.name != binder.name,
            Some(_) if property == timed(binder) => material.name == binder.name,
            _ => COUNT.contains(&property),
        };
        let mut drawn = Drawn { recipe: recipe.clone(), uncertain: Vec::new(), film, by_cup };
        let mut places = BTreeMap::new();
        let uncertain = &mut drawn.uncertain;
        let mut enter = |key: String, spread: &mut Spread, kind: Kind| {
            spread.index = None;
            if !spread.is_exact() {
                let next = uncertain.len();
                let index = *places.entry(key.clone()).or_insert(next);
                spread.index = Some(index);
                if index == next {
                    uncertain.push(Uncertain::new(&key, *spread, kind));
                }
            }
        };
        let mut ingredient = |ingredient: &mut Ingredient| {
            let name = ingredient.material.name.clone();
            let known = ingredient.material.values.keys().copied();
            let counted: Vec<Property> = known.filter(|p| counts(&ingredient.material, *p)).collect();
            for (property, spread) in ingredient.material.spreads_mut() {
                spread.index = None;
                if counted.contains(&property) {
                    enter(format!("materials.\"{name}\".{}", property.name()), spread, property.kind());
                }
            }
            enter(format!("the share of {name}"), &mut ingredient.share, Kind::Ratio);
        };
        let recipe = &mut drawn.recipe;
        ingredient(&mut recipe.binder);
        for aggregate in &mut recipe.aggregates {
            ingredient(&mut aggregate.ingredient);
            for packing in [&mut aggregate.loose, &mut aggregate.packed].into_iter().flatten() {
                packing.index = None;
            }
        }
        recipe.pigment.iter_mut().for_each(ingredient);
        if let AirSpec::Stated(air) = &mut recipe.air {
            air.index = None;
        }
        let measured = &mut recipe.measured;
        for spread in [&mut measured.density, &mut measured.youngs_modulus, &mut measured.loss_factor] {
            spread.iter_mut().for_each(|spread| spread.index = None);
        }
        enter(AIR.to_string(), &mut drawn.film, Kind::Film);
        drawn
    }

    /// The inputs of `draw` and the adiabatic rise (K); `None` where a property is not known.
    pub fn case(&self, draw: &Draw) -> Option<(Case, f64)> {
        let found = predict(&self.recipe, draw).ok()?;
        let (mut fill, rise) = fill(&self.recipe, &found, draw)?;
        let binder = &self.recipe.binder.material;
        if let Some((ratio, rate)) = self.by_cup.zip(self.by_cup.and_then(|_| rate_by_cup(binder, draw))) {
            let theta = binder.value(Property::ActivationTemperature, draw)?;
            fill.kinetics = Kinetics::usual(ratio * rate, theta);
        }
        Some((Case { fill, air: self.film.at(draw) }, rise))
    }
}

/// The thermal properties of the mix, and its adiabatic rise (K); `None` where a property is not known.
fn fill(recipe: &Recipe, found: &Prediction, draw: &Draw) -> Option<(Fill, f64)> {
    let whole: f64 = recipe.ingredients().map(|i| i.share.at(draw)).sum();
    let share = recipe.binder.share.at(draw) / whole;
    let heat = recipe.binder.material.value(Property::HeatOfReaction, draw)?;
    let heat_capacity = found.heat_capacity?;
    let density = found.medium().density;
    let fill = Fill {
        conductivity: found.conductivity?,
        heat_capacity: density * heat_capacity,
        heat: density * share * heat,
        kinetics: Kinetics::of(&recipe.binder.material, draw).ok()?,
    };
    Some((fill, adiabatic_rise(share, heat, heat_capacity)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spread::Draws;
    use stillbed_material::{Aggregate, Table};

    #[test]
    fn each_spread_has_its_place_and_stated_values_stay() {
        let table = Table::built_in();
        let get = |name: &str| table.get(name).unwrap();
        let sand = |grain| Aggregate::new(get("quartz sand"), 40.0, grain);
        let binder = Ingredient::new(get("epoxy"), Spread::between(20.0, 19.0, 21.0));
        let mut recipe = Recipe::plain("sand", binder, vec![sand((1e-3, 2e-3)), sand((1e-4, 3e-4))]);
        // An index into another list of draws must not be taken for one into this list.
        for (_, spread) in recipe.binder.material.spreads_mut() {
            spread.index = Some(0);
        }
        let drawn = Drawn::of(&recipe, Spread::between(8.0, 5.0, 12.0));
        let keys: Vec<&str> = drawn.uncertain.iter().map(|u| u.key.as_str()).collect();
        assert_eq!(keys.len(), 9, "{keys:?}");
        assert!(keys.contains(&AIR) && keys.contains(&"materials.\"epoxy\".pot_life"));
        let (stated, rise) = drawn.case(&Draw::default()).unwrap();
        let expected = adiabatic_rise(0.2, 4.5e5, 0.2 * 1400.0 + 0.8 * 737.0);
        approx::assert_relative_eq!(rise, expected, max_relative = 1e-9);
        let cases: Vec<Case> = Draws { count: 20, seed: 1 }
            .sample(&drawn.uncertain)
            .iter()
            .map(|d| drawn.case(d).unwrap().0)
            .collect();
        assert!(cases.iter().any(|case| case.air < 6.0) && cases.iter().any(|case| case.air > 10.0));
        for vary in [|case: &Case| case.fill.heat, |case: &Case| case.fill.kinetics.rate(0.3, 300.0)] {
            let (low, high) =
                cases.iter().map(vary).fold((f64::INFINITY, 0.0f64), |(l, h), x| (l.min(x), h.max(x)));
            assert!(low < vary(&stated) && high > vary(&stated), "{low} {high}");
        }
    }

    #[test]
    fn every_draw_keeps_the_time_of_the_cup() {
        let table = Table::built_in();
        let get = |name: &str| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 80.0, (1e-4, 1e-3));
        let slow = Ingredient::new(get("epoxy, slow casting"), 20.0);
        let drawn = Drawn::of(&Recipe::plain("sand", slow, vec![sand]), Spread::exact(8.0));
        let keys: Vec<&str> = drawn.uncertain.iter().map(|u| u.key.as_str()).collect();
        assert!(keys.iter().any(|key| key.ends_with("pot_life")), "{keys:?}");
        assert!(!keys.iter().any(|key| key.ends_with("rate_constant")), "{keys:?}");
        // More heat in the same time is a slower rate; more time too.
        let place = |name: &str| drawn.uncertain.iter().position(|u| u.key.ends_with(name)).unwrap();
        let nominal: Vec<f64> = drawn.uncertain.iter().map(|u| u.spread.value).collect();
        let rate = |name: &str, value: f64| {
            let mut values = nominal.clone();
            values[place(name)] = value;
            drawn.case(&Draw { values }).unwrap().0.fill.kinetics.rate(0.3, 298.15)
        };
        let stated = drawn.case(&Draw::default()).unwrap().0.fill.kinetics;
        approx::assert_relative_eq!(stated.rate_constant, 9.05e5, max_relative = 1e-9);
        let known = stated.rate(0.3, 298.15);
        assert!(rate("heat_of_reaction", 5e5) < 0.95 * known && rate("heat_of_reaction", 3e5) > 1.05 * known);
        assert!(rate("pot_life", 14_400.0) < 0.8 * known && rate("pot_life", 3600.0) > 1.3 * known);
    }

    #[test]
    fn a_rate_that_is_stated_is_drawn_itself() {
        let table = Table::built_in();
        let get = |name: &str| table.get(name).unwrap();
        let mut binder = Ingredient::new(get("epoxy"), 20.0);
        let stated = stillbed_material::Figure::stated(Spread::between(2e6, 1.9e6, 2.1e6), "design");
        binder.material.set(Property::RateConstant, stated);
        let sand = Aggregate::new(get("quartz sand"), 80.0, (1e-4, 1e-3));
        let drawn = Drawn::of(&Recipe::plain("sand", binder, vec![sand]), Spread::exact(8.0));
        let keys: Vec<&str> = drawn.uncertain.iter().map(|u| u.key.as_str()).collect();
        assert!(keys.iter().any(|key| key.ends_with("rate_constant")), "{keys:?}");
        assert!(!keys.iter().any(|key| key.ends_with("pot_life")), "{keys:?}");
    }
}
