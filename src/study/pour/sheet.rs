//! The batch sheet of one mix cast into one mould.

use super::batch::{Batches, Pace, Purchase, Weight, batches, mass_to_mix, shopping, weigh};
use super::kinetics::{Kinetics, adiabatic_rise};
use super::lift::{Cure, Lift};
use super::mould::{Mould, MouldAnswer};
use super::steps::{cautions, steps};
use crate::material::{Ingredient, MissingProperty, Prediction, Property, Recipe, advice, predict};
use crate::problem::{Place, Problem};
use crate::quantity::{Draw, Kind, figures, show};
use serde::Serialize;
use std::collections::BTreeMap;

/// What is poured, and with what means. [`Pour::new`] has the usual ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Pour {
    /// Volume to fill, skeleton and conduits taken off, m3.
    pub volume: f64,
    /// Depth of the mould as it is poured, m.
    pub depth: f64,
    /// Thickness of the thickest wall across the pour, m, where heat can leave sideways.
    pub across: Option<f64>,
    /// Thinnest section that the mix has to pass, m.
    pub thinnest: Option<f64>,
    /// Part lost on tools and in joints.
    pub waste: f64,
    /// Mix that the bucket takes, m3.
    pub bucket: f64,
    /// Temperature of mix, mould and air, K.
    pub temperature: f64,
    /// Time to mix a batch, s.
    pub mixing_time: f64,
    /// Mix placed and vibrated, kg/s.
    pub placing_rate: f64,
    /// Heat passed by each face of a lift, W/(m2 K).
    pub faces: [f64; 2],
    /// The mould, where its boards are to be sized.
    pub mould: Option<Mould>,
    /// Bags and cans by the name of what is weighed, kg.
    pub packs: BTreeMap<String, f64>,
    /// Mass of the skeleton that is cast in, kg.
    pub skeleton: f64,
}

/// Air on a board or on the open face passes about this much heat, W/(m2 K): memory.
const OPEN_FACE: f64 = 8.0;
/// Bags of grains, and cans of the rest, where none are stated, kg: common practice.
const BAG: f64 = 25.0;
const CAN: f64 = 1.0;
/// Part of its strength that a board may be used to.
const SAFE_USE: f64 = 1.0 / 3.0;

impl Pour {
    /// A pour of `volume` (m3) to `depth` (m) with the means of a small shop: 5 % waste, a bucket
    /// of 10 l, 20 degC, ten minutes of mixing, 2 kg placed a minute; common practice.
    pub fn new(volume: f64, depth: f64) -> Pour {
        Pour {
            volume,
            depth,
            across: None,
            thinnest: None,
            waste: 0.05,
            bucket: 0.01,
            temperature: 293.15,
            mixing_time: 600.0,
            placing_rate: 2.0 / 60.0,
            faces: [OPEN_FACE; 2],
            mould: None,
            packs: BTreeMap::new(),
            skeleton: 0.0,
        }
    }
}

/// The heat of the cure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Heat {
    /// Rise if no heat left, K.
    pub adiabatic_rise_k: f64,
    /// Thickness through which heat leaves: the lift's or the wall's, m.
    pub thickness_m: f64,
    /// How the lift cures.
    pub cure: Cure,
    /// What the binder allows, K.
    pub limit_k: Option<f64>,
    /// Thickest lift that stays below it, m; `None` where one of a metre does, or no limit is known.
    pub largest_lift_m: Option<f64>,
    /// Nearness to running away, by the critical value; a mix rich in grains runs out of binder
    /// before it does. `None` where a face keeps the heat in.
    pub runaway: Option<f64>,
}

/// The lifts of a pour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lifts {
    /// How many, all alike.
    pub count: usize,
    /// Height of one, m.
    pub height_m: f64,
    /// Time from one to the next, s: gelled and past its peak; `None` with a single one.
    pub wait_s: Option<f64>,
}

/// What masses and batches follow from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Basis {
    /// Part lost on tools and in joints.
    pub waste: f64,
    /// Mix that the bucket takes.
    pub bucket_m3: f64,
    /// Time to mix a batch.
    pub mixing_time_s: f64,
    /// Mix placed and vibrated.
    pub placing_rate_kg_per_s: f64,
    /// Ingredients by weight: binder, aggregates, pigment.
    pub shares: Vec<IngredientShare>,
    /// Weight of hardener to one of resin, where it is known.
    pub hardener_to_resin: Option<f64>,
}

/// One ingredient of a mix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IngredientShare {
    /// What.
    pub of: String,
    /// By weight, in the parts that the recipe counts in.
    pub share: f64,
}

impl Basis {
    fn of(recipe: &Recipe, pour: &Pour) -> Basis {
        let draw = Draw::default();
        let share = |ingredient: &Ingredient| IngredientShare {
            of: ingredient.material.name.clone(),
            share: ingredient.share.at(&draw),
        };
        Basis {
            waste: pour.waste,
            bucket_m3: pour.bucket,
            mixing_time_s: pour.mixing_time,
            placing_rate_kg_per_s: pour.placing_rate,
            shares: recipe.ingredients().map(share).collect(),
            hardener_to_resin: recipe.hardener_to_resin(&draw),
        }
    }
}

/// The batch sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PourSheet {
    /// Name of the mix.
    pub mix: String,
    /// Volume to fill, m3.
    pub volume_m3: f64,
    /// Density of the cast mix, kg/m3.
    pub density_kg_per_m3: f64,
    /// Mass of the cast mix without skeleton, kg.
    pub cast_mass_kg: f64,
    /// Mass to lift: cast and skeleton, kg.
    pub lifting_mass_kg: f64,
    /// Mass to mix, waste included, kg.
    pub mixed_mass_kg: f64,
    /// What masses and batches follow from.
    pub basis: Basis,
    /// Price of the mix; `None` where it is not stated.
    pub price_per_kg: Option<f64>,
    /// Everything to weigh.
    pub weights: Vec<Weight>,
    /// Time in which a batch must be placed, s, where the binder states one.
    pub working_time_s: Option<f64>,
    /// The batches; `None` where mixing alone outlasts the working time.
    pub batches: Option<Batches>,
    /// The lifts.
    pub lifts: Lifts,
    /// The heat of the cure, where the binder states what it takes.
    pub heat: Option<Heat>,
    /// Linear strain that the cure leaves: an upper estimate.
    pub cure_strain: Option<f64>,
    /// What the mould has to hold.
    pub mould: Option<MouldAnswer>,
    /// What to buy.
    pub shopping: Vec<Purchase>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What to beware of, each once.
    pub cautions: Vec<&'static str>,
    /// What is doubtful.
    pub notes: Vec<Problem>,
}

impl PourSheet {
    /// The sheet for `recipe` poured as `pour` says.
    ///
    /// # Errors
    /// When an ingredient lacks Young's modulus, Poisson's ratio, density or loss factor.
    pub fn of(recipe: &Recipe, pour: &Pour) -> Result<PourSheet, MissingProperty> {
        let draw = Draw::default();
        let found = predict(recipe, &draw)?;
        let binder = &recipe.binder.material;
        let kinetics = Kinetics::of(binder).ok();
        let density = found.medium().density;
        let working_time_s = binder.value(Property::PotLife, &draw).map(|stated| match &kinetics {
            Some(kinetics) => kinetics.working_time(stated, pour.temperature),
            None => stated,
        });
        let (lifts, heat) = cure(recipe, &found, kinetics, pour);
        let mixed_mass_kg = mass_to_mix(&found, pour.volume, pour.waste);
        let pace = Pace {
            bucket: pour.bucket,
            mixing_time: pour.mixing_time,
            placing_rate: pour.placing_rate,
            working_time: working_time_s.unwrap_or(f64::INFINITY),
        };
        let weights = weigh(recipe, mixed_mass_kg);
        let bags = recipe.aggregates.iter().map(|a| (a.ingredient.material.name.clone(), BAG));
        let mut packs: BTreeMap<String, f64> = bags.collect();
        packs.extend(pour.packs.clone());
        let head = if lifts.wait_s.is_some() { lifts.height_m } else { pour.depth };
        let mut sheet = PourSheet {
            mix: recipe.name.clone(),
            volume_m3: pour.volume,
            density_kg_per_m3: density,
            cast_mass_kg: pour.volume * density,
            lifting_mass_kg: pour.volume * density + pour.skeleton,
            mixed_mass_kg,
            basis: Basis::of(recipe, pour),
            price_per_kg: None,
            batches: batches(recipe, mixed_mass_kg, density, &pace),
            working_time_s,
            lifts,
            heat,
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

/// The lifts, as thick as the heat allows, and the heat of one of them.
fn cure(
    recipe: &Recipe,
    found: &Prediction,
    kinetics: Option<Kinetics>,
    pour: &Pour,
) -> (Lifts, Option<Heat>) {
    let single = Lifts { count: 1, height_m: pour.depth, wait_s: None };
    let Some((slab, rise)) = kinetics.and_then(|kinetics| slab(recipe, found, kinetics, pour)) else {
        return (single, None);
    };
    let limit = recipe.binder.material.value(Property::MaxTemperature, &Draw::default());
    let largest = limit.map(|limit| slab.largest(limit));
    let through = |height: f64| pour.across.map_or(height, |across| across.min(height));
    let mut lifts = single;
    if let Some(Some(largest)) = largest
        && largest > 0.0
        && through(pour.depth) > largest
    {
        lifts.count = (pour.depth / largest).ceil() as usize;
        lifts.height_m = pour.depth / lifts.count as f64;
    }
    let lift = Lift { thickness: through(lifts.height_m), ..slab };
    let cure = lift.cure();
    if lifts.count > 1 {
        lifts.wait_s = cure.gel_time_s.map(|gel| gel.max(cure.peak_time_s));
    }
    let heat = Heat {
        adiabatic_rise_k: rise,
        thickness_m: lift.thickness,
        limit_k: limit,
        largest_lift_m: largest.flatten(),
        runaway: lift.runaway(),
        cure,
    };
    (lifts, Some(heat))
}

/// A lift as deep as the pour, and its adiabatic rise (K); `None` where something is not known.
fn slab(recipe: &Recipe, found: &Prediction, kinetics: Kinetics, pour: &Pour) -> Option<(Lift, f64)> {
    let draw = Draw::default();
    let whole: f64 = recipe.ingredients().map(|i| i.share.at(&draw)).sum();
    let share = recipe.binder.share.at(&draw) / whole;
    let heat = recipe.binder.material.value(Property::HeatOfReaction, &draw)?;
    let heat_capacity = found.heat_capacity?;
    let density = found.medium().density;
    let lift = Lift {
        thickness: pour.depth,
        conductivity: found.conductivity?,
        heat_capacity: density * heat_capacity,
        heat: density * share * heat,
        kinetics,
        start: pour.temperature,
        surroundings: pour.temperature,
        faces: pour.faces,
    };
    Some((lift, adiabatic_rise(share, heat, heat_capacity)))
}

fn doubts(sheet: &PourSheet, pour: &Pour) -> Vec<Problem> {
    let mut notes = Vec::new();
    let mut note = |key: &str, message: String, help: &str| {
        let place = Place::key(&format!("pour.\"{}\".{key}", sheet.mix));
        notes.push(Problem::warning(place, message).with_help(help));
    };
    let celsius = |kelvin: f64| format!("{} °C", figures(kelvin - 273.15, 3));
    match &sheet.heat {
        None => note(
            "heat",
            "the heat of the cure is not known for this binder".to_string(),
            "state heat_of_reaction, rate_constant and activation_temperature of the binder, and \
             conductivity and heat_capacity of every ingredient",
        ),
        Some(heat) => {
            if let Some(limit) = heat.limit_k.filter(|limit| heat.cure.peak_k > *limit) {
                let message = format!(
                    "the middle reaches {}, above the {} that the binder allows",
                    celsius(heat.cure.peak_k),
                    celsius(limit)
                );
                note("heat", message, "pour cooler, with a slower hardener or with less binder");
            }
        }
    }
    if sheet.batches.is_none() {
        let message = format!(
            "mixing takes {}, the binder can be worked for {}",
            minutes(pour.mixing_time),
            sheet.working_time_s.map_or("-".to_string(), minutes)
        );
        note("batches", message, "mix faster, pour cooler, or take a slower hardener");
    }
    if let Some(mould) = &sheet.mould {
        if mould.board_m.is_none() {
            let message = format!(
                "a board of {} would be needed between ribs at {}",
                show(mould.least_board_m, Kind::Length),
                show(mould.span_m, Kind::Length)
            );
            note("mould", message, "set the ribs closer");
        } else if mould.use_of_strength > SAFE_USE {
            let message = format!(
                "the board is used to {} % of its strength",
                figures(100.0 * mould.use_of_strength, 2)
            );
            note("mould", message, "set the ribs closer, or take a thicker board");
        }
    }
    notes
}

/// A time as a shop reads it: minutes, or hours from two on.
pub(super) fn minutes(seconds: f64) -> String {
    match seconds {
        s if s < 7200.0 => format!("{} min", figures(s / 60.0, 2)),
        s => format!("{} h", figures(s / 3600.0, 2)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::{Aggregate, Ingredient, Table};

    fn recipe(binder: &str) -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 80.0, (0.3e-3, 0.8e-3));
        Recipe::plain("sand", Ingredient::new(get(binder), 20.0), vec![sand])
    }

    #[test]
    fn a_deep_pour_is_made_in_lifts_below_the_limit() {
        let sheet = PourSheet::of(&recipe("epoxy, slow casting"), &Pour::new(0.06, 0.6)).unwrap();
        let heat = sheet.heat.as_ref().unwrap();
        assert!(sheet.lifts.count > 1 && sheet.lifts.wait_s.is_some(), "{:?}", sheet.lifts);
        assert!(heat.cure.peak_k <= heat.limit_k.unwrap());
        assert!(sheet.lifts.height_m <= heat.largest_lift_m.unwrap());
        assert!(sheet.notes.is_empty(), "{:?}", sheet.notes);
        let batches = sheet.batches.as_ref().unwrap();
        let mixed: f64 = batches.weights.iter().map(|w| w.mass_kg).sum::<f64>() * batches.count as f64;
        approx::assert_relative_eq!(mixed, sheet.mixed_mass_kg, max_relative = 1e-12);
        assert!(sheet.steps.len() > 8);
    }

    #[test]
    fn a_thin_wall_lets_a_deep_pour_be_one_lift() {
        let thin = Pour { across: Some(0.03), ..Pour::new(0.02, 0.6) };
        let sheet = PourSheet::of(&recipe("epoxy, slow casting"), &thin).unwrap();
        assert_eq!(sheet.lifts.count, 1);
        assert_eq!(sheet.heat.unwrap().thickness_m, 0.03);
    }

    #[test]
    fn cautions_are_said_once_and_where_they_matter() {
        let mut pour = Pour::new(0.06, 0.6);
        let sheet = PourSheet::of(&recipe("epoxy"), &pour).unwrap();
        let mut once = sheet.cautions.clone();
        once.dedup();
        assert_eq!(once.len(), sheet.cautions.len());
        for word in ["skin", "silica", "overheat", "rated gear", "licensed engineer"] {
            assert_eq!(sheet.cautions.iter().filter(|c| c.contains(word)).count(), 1, "{word}");
        }
        pour.volume = 1e-4;
        pour.depth = 0.02;
        let small = PourSheet::of(&recipe("epoxy"), &pour).unwrap();
        assert!(!small.cautions.iter().any(|c| c.contains("rated gear")));
    }

    #[test]
    fn what_cannot_be_done_is_said() {
        let mut pour = Pour::new(0.06, 0.3);
        pour.mixing_time = 4.0 * 3600.0;
        pour.mould = Some(Mould { youngs_modulus: 8e9, strength: 40e6, span: 1.2, deflection: 1e-4 });
        let mut recipe = recipe("epoxy");
        recipe.binder.material.values.remove(&Property::HeatOfReaction);
        let said: Vec<String> =
            PourSheet::of(&recipe, &pour).unwrap().notes.iter().map(Problem::to_string).collect();
        assert!(said.iter().any(|s| s.contains("the heat of the cure is not known")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("mixing takes 4 h")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("set the ribs closer")), "{said:?}");
    }

    #[test]
    fn the_sheet_is_whole_in_json() {
        let sheet = PourSheet::of(&recipe("epoxy, slow casting"), &Pour::new(0.01, 0.05)).unwrap();
        let json = serde_json::to_value(&sheet).unwrap();
        assert!(json["heat"]["cure"]["peak_k"].is_number());
        assert!(json["heat"]["cure"]["history"].as_array().unwrap().len() > 10);
        assert_eq!(json["lifts"]["count"], 1);
    }
}
