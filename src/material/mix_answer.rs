//! The answer of the command `mix`: the cast mix of a recipe, how uncertain it is, and what to change.

use super::advice::advice;
use super::demand::{Demand, DemandPoint, LeastBinder, demand_curve, least_binder};
use super::entry::MissingProperty;
use super::grading::{Sieve, curve, largest_stone};
use super::homogenise::Schemes;
use super::measured::Implied;
use super::mix::{MOST_BUBBLES, Prediction, predict, schemes};
use super::recipe::Recipe;
use super::spec::AirSpec;
use super::strength::Strength;
use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Draw, Kind};

/// Excess of binder over the voids asked of the recipe with the least binder: enough to be worked,
/// common practice.
const WORKABLE: f64 = 0.05;
/// Steps of the curve of binder demand.
const STEPS: usize = 20;

/// A value between its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bounded {
    /// As predicted.
    pub value: f64,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

/// The shares of one ingredient.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IngredientShare {
    /// Name of its material, or `air`.
    pub of: String,
    /// Parts by weight in the units of the recipe; `None` for air.
    pub parts: Option<f64>,
    /// Fraction of the whole by weight.
    pub by_weight: f64,
    /// Fraction of the cast mix by volume.
    pub by_volume: f64,
}

/// A measurement of a test bar beside the prediction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Beside {
    /// Key of the property, with its unit.
    pub property: &'static str,
    /// What the property measures.
    #[serde(skip)]
    pub kind: Kind,
    /// Measured on the test bar.
    pub measured: f64,
    /// Predicted from the recipe.
    pub predicted: f64,
}

/// The cast mix of one recipe, at the nominal value of everything uncertain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MixAnswer {
    /// Its name in the design.
    pub name: String,
    /// Density, measured or predicted.
    pub density_kg_per_m3: f64,
    /// Young's modulus, measured or by the differential scheme, with the Hashin-Shtrikman bounds.
    pub youngs_modulus_pa: Bounded,
    /// The same for the shear modulus.
    pub shear_modulus_pa: Bounded,
    /// Poisson's ratio.
    pub poissons_ratio: f64,
    /// Loss factor in tension, measured or predicted.
    pub loss_factor: f64,
    /// Loss factor in shear.
    pub shear_loss_factor: f64,
    /// Linear expansion with its bounds.
    pub expansion_per_k: Option<Bounded>,
    /// Conductivity.
    pub conductivity_w_per_m_k: Option<f64>,
    /// Heat capacity.
    pub heat_capacity_j_per_kg_k: Option<f64>,
    /// Estimate of the tensile strength.
    pub strength: Option<Strength>,
    /// Upper estimate of the linear shrinkage strain that the cure leaves.
    pub cure_strain: Option<f64>,
    /// Volume fraction of binder in the cast mix.
    pub binder_volume_share: f64,
    /// Volume fraction of binder that just fills the compacted grains.
    pub binder_demand: f64,
    /// Volume fraction of air in the cast mix.
    pub air: f64,
    /// The same with its limits, 5 % and 95 % for what compaction leaves.
    pub air_range: Bounded,
    /// Ratio of measured to predicted modulus of similar mixes; `None` where a bar was measured.
    pub model_error: Option<Bounded>,
    /// Binder, grains, pigment and air.
    pub ingredients: Vec<IngredientShare>,
    /// Voids of the grains and the binder that they need.
    pub demand: Demand,
    /// Young's modulus by every closed form.
    pub schemes: Schemes,
    /// Sieve curve of the grains; empty where a grain size is not stated.
    pub grading: Vec<Sieve>,
    /// Binder demand against the share of the coarsest grains; empty with a single kind.
    pub demand_curve: Vec<DemandPoint>,
    /// The same grains in the proportions that need the least binder.
    pub least_binder: Option<LeastBinder>,
    /// Measurements of a test bar beside the prediction.
    pub measured: Vec<Beside>,
    /// What the test bar implies.
    pub implied: Option<Implied>,
    /// Warnings and suggestions.
    pub notes: Vec<Problem>,
}

impl MixAnswer {
    /// The answer for `recipe` at nominal values; `thinnest` is the thinnest section that it is cast
    /// into, m, where that is known.
    ///
    /// # Errors
    /// When an ingredient lacks Young's modulus, Poisson's ratio, density or loss factor.
    pub fn compute(recipe: &Recipe, thinnest: Option<f64>) -> Result<MixAnswer, MissingProperty> {
        let draw = Draw::default();
        let found = predict(recipe, &draw)?;
        let medium = found.medium();
        let (e, g) = (medium.youngs_modulus, medium.shear_modulus);
        let (low, high) = (&found.low, &found.high);
        let sizes: Option<Vec<_>> = recipe
            .aggregates
            .iter()
            .zip(&found.shares.aggregates)
            .filter(|(_, share)| **share > 0.0)
            .map(|(a, share)| a.grain.map(|(small, large)| (small, large, share / found.shares.grains())))
            .collect();
        Ok(MixAnswer {
            name: recipe.name.clone(),
            density_kg_per_m3: medium.density,
            youngs_modulus_pa: Bounded {
                value: e.re,
                low: low.youngs_modulus().re,
                high: high.youngs_modulus().re,
            },
            shear_modulus_pa: Bounded { value: g.re, low: low.shear.re, high: high.shear.re },
            poissons_ratio: medium.poissons_ratio,
            loss_factor: e.im / e.re,
            shear_loss_factor: g.im / g.re,
            expansion_per_k: found
                .expansion
                .zip(found.expansion_bounds)
                .map(|(value, (low, high))| Bounded { value, low, high }),
            conductivity_w_per_m_k: found.conductivity,
            heat_capacity_j_per_kg_k: found.heat_capacity,
            strength: found.strength,
            cure_strain: found.cure_strain,
            binder_volume_share: found.shares.binder,
            binder_demand: found.demand.voids,
            air: found.shares.air,
            air_range: air_range(recipe, &found),
            model_error: recipe.predicts_moduli().then_some(Bounded {
                value: recipe.model.value,
                low: recipe.model.low,
                high: recipe.model.high,
            }),
            ingredients: ingredients(recipe, &found, &draw),
            schemes: schemes(recipe, &found, &draw)?,
            grading: sizes.map(|sizes| curve(&sizes)).unwrap_or_default(),
            demand_curve: demand_curve(recipe, STEPS, &draw)?,
            least_binder: least_binder(recipe, WORKABLE, thinnest.map(largest_stone), &draw)?,
            measured: beside(&found),
            implied: found.implied,
            notes: advice(recipe, &found, thinnest),
            demand: found.demand,
        })
    }
}

/// The air of `recipe` with its stated limits, or those for what compaction leaves.
fn air_range(recipe: &Recipe, found: &Prediction) -> Bounded {
    let value = found.shares.air;
    let Demand { air, air_stirred, .. } = found.demand;
    let with = |left: f64| 1.0 - (1.0 - air) * (1.0 - (air_stirred * left).min(MOST_BUBBLES));
    match &recipe.air {
        AirSpec::Stated(spread) => Bounded { value, low: spread.low, high: spread.high },
        AirSpec::Predict if recipe.predicts_air() => {
            Bounded { value, low: with(recipe.air_left.low), high: with(recipe.air_left.high) }
        }
        AirSpec::Predict => Bounded { value, low: value, high: value },
    }
}

fn ingredients(recipe: &Recipe, found: &Prediction, draw: &Draw) -> Vec<IngredientShare> {
    let weight: f64 = recipe.ingredients().map(|i| i.share.at(draw)).sum();
    let shares = &found.shares;
    let by_volume = std::iter::once(shares.binder).chain(shares.aggregates.iter().copied());
    let mut list: Vec<IngredientShare> = recipe
        .ingredients()
        .zip(by_volume.chain(std::iter::once(shares.pigment)))
        .map(|(i, by_volume)| IngredientShare {
            of: i.material.name.clone(),
            parts: Some(i.share.at(draw)),
            by_weight: i.share.at(draw) / weight,
            by_volume,
        })
        .collect();
    list.push(IngredientShare { of: "air".to_string(), parts: None, by_weight: 0.0, by_volume: shares.air });
    list
}

fn beside(found: &Prediction) -> Vec<Beside> {
    let rows = [
        ("density_kg_per_m3", Kind::Density, found.measured.density, found.density),
        ("youngs_modulus_pa", Kind::Stress, found.measured.youngs_modulus, found.moduli.youngs_modulus().re),
        ("loss_factor", Kind::Ratio, found.measured.loss_factor, found.moduli.loss_factor()),
    ];
    rows.into_iter()
        .filter_map(|(property, kind, measured, predicted)| {
            measured.map(|measured| Beside { property, kind, measured, predicted })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::recipe::{Aggregate, Ingredient};
    use super::super::table::Table;
    use super::*;
    use approx::assert_relative_eq;

    fn recipe(binder: f64, air: Option<f64>) -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 100.0 - binder, (0.3e-3, 0.8e-3));
        let mut recipe = Recipe::plain("a mix", Ingredient::new(get("epoxy"), binder), vec![sand]);
        recipe.air = air.map_or(AirSpec::Predict, |air| AirSpec::Stated(air.into()));
        recipe
    }

    #[test]
    fn keys_that_other_programs_rely_on() {
        let answer = MixAnswer::compute(&recipe(20.0, None), None).unwrap();
        let json = serde_json::to_value(&answer).unwrap();
        for key in [
            "density_kg_per_m3",
            "poissons_ratio",
            "loss_factor",
            "binder_volume_share",
            "binder_demand",
            "air",
        ] {
            assert!(json[key].is_number(), "{key}");
        }
        for key in ["value", "low", "high"] {
            assert!(json["youngs_modulus_pa"][key].is_number());
        }
        let volumes: f64 = answer.ingredients.iter().map(|i| i.by_volume).sum();
        assert_relative_eq!(volumes, 1.0, max_relative = 1e-12);
    }

    #[test]
    fn the_grading_is_that_of_the_grains_that_are_there() {
        let mut recipe = recipe(20.0, None);
        // Without a share, its missing sizes do not matter.
        let absent = Ingredient::new(Table::built_in().get("basalt").unwrap(), 0.0);
        recipe.aggregates.push(Aggregate { ingredient: absent, grain: None, ..recipe.aggregates[0].clone() });
        let grading = MixAnswer::compute(&recipe, None).unwrap().grading;
        assert!(grading.iter().any(|sieve| sieve.passing > 0.1 && sieve.passing < 0.9), "{grading:?}");
        for sieve in &grading {
            assert!(sieve.opening_m > 0.3e-3 || sieve.passing < 1e-9, "{sieve:?}");
            assert!(sieve.opening_m < 0.8e-3 || sieve.passing > 1.0 - 1e-9, "{sieve:?}");
        }
    }

    #[test]
    fn predicted_air_lies_between_its_limits() {
        let recipe = recipe(20.0, None);
        let found = predict(&recipe, &Draw::default()).unwrap();
        let Bounded { value, low, high } = air_range(&recipe, &found);
        assert!(0.0 < low && low < value && value < high && high < 0.3, "{low} {value} {high}");
    }

    #[test]
    fn small_bars_of_hand_mixed_sand_and_epoxy_come_out_between_9_and_15_gpa() {
        // Four parts of sand to one of epoxy, and three to one, are common practice. The printed moduli
        // are those of bars with visible voids: a tenth of air and more, a quarter in foamed ones.
        for (binder, air) in [(20.0, 0.10), (20.0, 0.25), (25.0, 0.05), (25.0, 0.15)] {
            let e = MixAnswer::compute(&recipe(binder, Some(air)), None).unwrap().youngs_modulus_pa.value;
            assert!((9e9..15e9).contains(&e), "{binder} {air}: {e:e}");
        }
    }

    #[test]
    fn the_modulus_of_published_epoxy_concretes_lies_in_the_band() {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let grains = vec![
            Aggregate::new(get("quartz sand"), 38.0, (0.1e-3, 2e-3)),
            Aggregate::new(get("granite"), 50.0, (4e-3, 12e-3)),
        ];
        let recipe = Recipe::plain("concrete", Ingredient::new(get("epoxy"), 12.0), grains);
        let answer = MixAnswer::compute(&recipe, None).unwrap();
        let band = answer.youngs_modulus_pa;
        assert!(band.low < 24.7e9 && 27.2e9 < band.high, "{band:?}");
        assert!((band.value / 26e9 - 1.0).abs() < 0.25, "{band:?}");
    }

    #[test]
    fn a_bar_cast_as_predicted_implies_what_it_was_cast_from() {
        let mut recipe = recipe(20.0, Some(0.03));
        let cast = predict(&recipe, &Draw::default()).unwrap();
        recipe.air = AirSpec::Predict;
        recipe.measured.density = Some(cast.density.into());
        recipe.measured.youngs_modulus = Some(cast.moduli.youngs_modulus().re.into());
        recipe.measured.loss_factor = Some(cast.moduli.loss_factor().into());
        let answer = MixAnswer::compute(&recipe, None).unwrap();
        let implied = answer.implied.unwrap();
        assert_relative_eq!(implied.air.unwrap(), 0.03, max_relative = 1e-9);
        assert_relative_eq!(implied.binder_youngs_modulus_pa.unwrap(), 3e9, max_relative = 1e-6);
        assert_relative_eq!(implied.binder_loss_factor.unwrap(), 0.03, max_relative = 1e-6);
        assert_eq!(answer.measured.len(), 3);
        assert_relative_eq!(answer.youngs_modulus_pa.value, answer.measured[1].measured);
        assert_relative_eq!(answer.loss_factor, cast.moduli.loss_factor(), max_relative = 1e-9);
    }

    #[test]
    fn air_lowers_modulus_and_strength() {
        let [sound, foamed] =
            [0.0, 0.2].map(|air| MixAnswer::compute(&recipe(20.0, Some(air)), None).unwrap());
        assert!(foamed.youngs_modulus_pa.value < 0.75 * sound.youngs_modulus_pa.value);
        assert!(foamed.strength.unwrap().value_pa < 0.5 * sound.strength.unwrap().value_pa);
        assert_relative_eq!(foamed.density_kg_per_m3, 0.8 * sound.density_kg_per_m3);
    }

    #[test]
    fn a_binder_without_grains_is_itself() {
        let table = Table::built_in();
        let neat = Ingredient::new(table.get("epoxy").unwrap(), 1.0);
        let answer = MixAnswer::compute(&Recipe::plain("neat", neat, Vec::new()), None).unwrap();
        assert_relative_eq!(answer.youngs_modulus_pa.value, 3e9, max_relative = 1e-12);
        assert_relative_eq!(answer.schemes.voigt_pa, answer.schemes.three_phase_pa, max_relative = 1e-12);
        assert!(answer.notes.is_empty() && answer.least_binder.is_none());
    }

    #[test]
    fn parts_count_in_any_sum() {
        let hundred = MixAnswer::compute(&recipe(20.0, None), None).unwrap();
        let mut one_to_four = recipe(20.0, None);
        one_to_four.binder.share = 1.0.into();
        one_to_four.aggregates[0].ingredient.share = 4.0.into();
        let five = MixAnswer::compute(&one_to_four, None).unwrap();
        assert_eq!(five.ingredients[1].parts, Some(4.0));
        assert_relative_eq!(five.ingredients[1].by_weight, 0.8, max_relative = 1e-12);
        for (a, b) in [
            (hundred.youngs_modulus_pa.value, five.youngs_modulus_pa.value),
            (hundred.density_kg_per_m3, five.density_kg_per_m3),
            (hundred.demand.voids, five.demand.voids),
            (hundred.demand.excess, five.demand.excess),
        ] {
            assert_relative_eq!(a, b, max_relative = 1e-12);
        }
    }

    #[test]
    fn closed_forms_stand_in_order() {
        let s = MixAnswer::compute(&recipe(20.0, Some(0.0)), None).unwrap().schemes;
        assert!(s.reuss_pa < s.hashin_shtrikman_low_pa && s.hashin_shtrikman_low_pa < s.three_phase_pa);
        assert!(s.three_phase_pa < s.hashin_shtrikman_high_pa && s.hashin_shtrikman_high_pa < s.voigt_pa);
    }
}
