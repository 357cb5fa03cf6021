//! Warnings about a recipe and suggestions for it, from experience with pouring.
//!
//! Values that rest on habit are called common practice in the messages.

use super::compaction::Compaction;
use super::demand::Filling;
use super::grading::largest_stone;
use super::mix::Prediction;
use super::property::Property;
use super::recipe::Recipe;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, figures, show};

/// Pigment by weight above which more only adds cost: a quarter of a per cent colours a mix, common
/// practice.
const MUCH_PIGMENT: f64 = 0.01;
/// Pressure above which a vacuum is too weak, Pa: common practice.
const WEAK_VACUUM: f64 = 2e4;
/// Air by volume above which a mix is a foam.
const FOAM: f64 = 0.15;
/// Negative implied air that errors of weighing may explain.
const WEIGHING: f64 = -0.01;

/// What is doubtful about `recipe` and what to change; `thinnest` is the thinnest section that it is
/// cast into, m.
pub fn advice(recipe: &Recipe, found: &Prediction, thinnest: Option<f64>) -> Vec<Problem> {
    let mut notes = Vec::new();
    let mut note = |key: &str, message: String, help: String| {
        let place = Place::key(&format!("mixes.\"{}\".{key}", recipe.name));
        notes.push(Problem::warning(place, message).with_help(help));
    };
    let demand = &found.demand;
    let percent = |x: f64| format!("{} %", figures(100.0 * x, 2));
    let fill = percent(demand.share_by_weight);
    match demand.filling {
        Filling::Short => note(
            "binder",
            format!(
                "the binder falls {} short of the voids between the grains, {}: about {} of air stays between \
                 them, stiffness and strength fall, and the surface shows voids",
                percent(-demand.excess),
                recipe.compaction.words(),
                percent(demand.air)
            ),
            format!("{fill} of binder by weight just fills; or grade the grains closer"),
        ),
        Filling::Overfull => note(
            "binder",
            format!(
                "the binder exceeds the voids by {}: grains that settle leave up to {} of the depth \
                 clear, and it shrinks, warms and costs more",
                percent(demand.excess),
                percent(demand.clear_layer)
            ),
            format!("{fill} of binder by weight just fills"),
        ),
        Filling::JustFilled | Filling::Flowing => {}
    }
    if found.shares.air > FOAM && !(recipe.predicts_air() && demand.filling == Filling::Short) {
        note(
            "air",
            format!(
                "{} of air is foam: stiffness and strength are far below the cast mix",
                percent(found.shares.air)
            ),
            "a vacuum too weak to draw the air out foams the mix (common practice); vibrate instead"
                .to_string(),
        );
    }
    if let Compaction::Vacuum { pressure } = recipe.compaction
        && pressure > WEAK_VACUUM
    {
        note(
            "vacuum_pressure",
            format!(
                "a vacuum that leaves {} draws too little out and foams the mix",
                show(pressure, Kind::Stress)
            ),
            "about 30 mbar is usual (common practice), and the pressure has to come back before it gels"
                .to_string(),
        );
    }
    let weight: f64 = recipe.ingredients().map(|i| i.share.value).sum();
    if let Some(pigment) = &recipe.pigment
        && pigment.share.value / weight > MUCH_PIGMENT
    {
        let share = percent(pigment.share.value / weight);
        let help = "about 0.25 % by weight colours a mix (common practice)".to_string();
        note("pigment", format!("{share} of pigment by weight is more than it needs"), help);
    }
    let several = recipe.aggregates.len() > 1;
    for (i, aggregate) in recipe.aggregates.iter().enumerate() {
        let name = &aggregate.ingredient.material.name;
        match (aggregate.grain, thinnest) {
            (None, _) if several => note(
                &format!("aggregates[{i}]"),
                format!("no grain size is stated for \"{name}\": it is taken for one size with the others"),
                "state it, as in grain = \"0.3 to 0.8 mm\", so that small grains can fill large voids"
                    .to_string(),
            ),
            (Some((_, largest)), Some(thinnest)) if largest > largest_stone(thinnest) => note(
                &format!("aggregates[{i}].grain"),
                format!(
                    "stones of {} jam in a section of {}",
                    show(largest, Kind::Length),
                    show(thinnest, Kind::Length)
                ),
                format!(
                    "keep them below a third of it, {} (common practice); codes for concrete ask {} in a \
                     form, {} in a gap beside bars (aci318)",
                    show(largest_stone(thinnest), Kind::Length),
                    show(thinnest / 5.0, Kind::Length),
                    show(0.75 * thinnest, Kind::Length)
                ),
            ),
            _ => {}
        }
    }
    let implied_air = found.implied.and_then(|implied| implied.air);
    if let Some(air) = implied_air.filter(|air| *air < WEIGHING) {
        note(
            "measured.density",
            format!("the bar is {} denser than its ingredients allow", percent(-air)),
            "weigh and measure it again, or state the densities of the ingredients".to_string(),
        );
    }
    let softer_or_stiffer = found.implied.filter(|_| found.measured.youngs_modulus.is_some());
    if let Some(implied) = softer_or_stiffer {
        let stated = recipe.binder.material.figure(Property::YoungsModulus).map(|figure| figure.spread);
        let show = |x: f64| show(x, Kind::Stress);
        let message = match (implied.binder_youngs_modulus_pa, stated) {
            (None, _) => Some("no binder would give the modulus of the bar".to_string()),
            (Some(e), Some(s)) if e < s.low || e > s.high => Some(format!(
                "the bar asks for a binder of {}, which is outside {} to {}",
                show(e),
                show(s.low),
                show(s.high)
            )),
            _ => None,
        };
        if let Some(message) = message {
            let help = "look for air, for voids, for binder that has not cured; or measure again".to_string();
            note("measured.youngs_modulus", message, help);
        }
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::super::mix::predict;
    use super::super::recipe::{Aggregate, Ingredient};
    use super::super::spec::AirSpec;
    use super::super::table::Table;
    use super::*;
    use stillbed_input::quantity::Draw;

    fn said(binder: f64, change: impl Fn(&mut Recipe), thinnest: Option<f64>) -> Vec<String> {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 100.0 - binder, (0.3e-3, 0.8e-3));
        let binder = Ingredient::new(get("epoxy, slow casting"), binder);
        let mut recipe = Recipe::plain("sand", binder, vec![sand]);
        change(&mut recipe);
        let found = predict(&recipe, &Draw::default()).unwrap();
        advice(&recipe, &found, thinnest).iter().map(Problem::to_string).collect()
    }

    #[test]
    fn a_sound_recipe_is_left_alone() {
        assert_eq!(said(20.0, |_| {}, Some(0.05)), Vec::<String>::new());
    }

    #[test]
    fn too_little_and_too_much_binder() {
        assert_eq!(
            said(15.0, |_| {}, None),
            [
                "mixes.\"sand\".binder: the binder falls 18 % short of the voids between the grains, vibrated: \
              about 8.3 % of air stays between them, stiffness and strength fall, and the surface shows voids; \
              18 % of binder by weight just fills; or grade the grains closer"
            ]
        );
        assert!(said(30.0, |_| {}, None)[0].contains("exceeds the voids by 100"));
    }

    #[test]
    fn stones_pigment_and_foam() {
        let stones = |r: &mut Recipe| r.aggregates[0].grain = Some((4e-3, 12e-3));
        let weak = |r: &mut Recipe| r.compaction = Compaction::Vacuum { pressure: 5e4 };
        assert!(said(20.0, weak, None)[0].contains("draws too little out"));
        assert!(said(20.0, stones, Some(0.03))[0].contains("stones of 12 mm jam in a section of 30 mm"));
        let table = Table::built_in();
        let red = |r: &mut Recipe| r.pigment = Some(Ingredient::new(table.get("iron oxide").unwrap(), 3.0));
        assert!(said(21.0, red, None)[0].contains("2.9 % of pigment"));
        assert!(said(21.0, |r| r.air = AirSpec::Stated(0.25.into()), None)[0].contains("is foam"));
    }

    #[test]
    fn a_bar_that_contradicts_its_recipe() {
        let heavy = |r: &mut Recipe| r.measured.density = Some(2400.0.into());
        assert!(said(20.0, heavy, None)[0].contains("denser than its ingredients allow"));
        let soft = |r: &mut Recipe| r.measured.youngs_modulus = Some(5e9.into());
        assert!(said(20.0, soft, None)[0].contains("asks for a binder of"));
    }
}
