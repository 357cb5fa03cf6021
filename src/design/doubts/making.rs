//! Too little binder for the voids, and missing prices.

use super::doubt;
use crate::build::Build;
use crate::substance::Substance;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Draw, figures};
use stillbed_material::Role;
use stillbed_material::demand::{Filling, demand};
use stillbed_material::spec::AirSpec;

/// Mixes with too little binder, which leaves air between the packed grains that the recipe does not state.
pub(super) fn short_of_binder(builds: &[Build]) -> Vec<Problem> {
    let mut said: Vec<Problem> = Vec::new();
    for build in builds {
        for substance in &build.substances {
            let Substance::Mix(recipe) = substance else { continue };
            let Some(spec) = build.drawing.mixes.get(&recipe.name) else { continue };
            let Ok(demand) = demand(recipe, &Draw::default()) else { continue };
            if demand.filling != Filling::Short || !matches!(recipe.air, AirSpec::Predict) {
                continue;
            }
            let percent = |x: f64| format!("{} %", figures(100.0 * x, 2));
            let message = format!(
                "the binder of \"{}\" falls {} short of the voids between its grains, {}: about {} of air \
                 stays between them, and stiffness and strength fall with it",
                recipe.name,
                percent(-demand.excess),
                recipe.compaction.words(),
                percent(demand.air)
            );
            let help = format!(
                "{} of binder by weight just fills (it has {}); or grade the grains closer: stillbed mix shows \
                 how",
                percent(demand.share_by_weight),
                percent(recipe.binder_share())
            );
            let problem = doubt(&spec.place, message, help);
            if !said.contains(&problem) {
                said.push(problem);
            }
        }
    }
    said
}

/// Materials without a price in builds that state prices, and builds without any where others have some.
pub(super) fn without_price(builds: &[Build]) -> Vec<Problem> {
    let mut said = Vec::new();
    if builds.iter().all(|build| build.drawing.prices.is_empty()) {
        return said;
    }
    for build in builds {
        let prices = &build.drawing.prices;
        let missing: Vec<String> =
            used(build).filter(|name| prices.get(name).is_none()).map(|name| format!("\"{name}\"")).collect();
        if missing.is_empty() {
            continue;
        }
        let message = match prices.is_empty() {
            true => format!("build \"{}\" states no prices, while others do: it has no cost", build.name),
            false => {
                format!("build \"{}\" has no price of {}: it has no cost", build.name, missing.join(", "))
            }
        };
        let help = format!("add {} = \"2.4 per kg\" to its prices", missing[0]);
        said.push(doubt(&build.place, message, help));
    }
    said
}

/// What the members of a build are made of, without cavities.
fn used(build: &Build) -> impl Iterator<Item = &str> {
    let made = |medium: usize| {
        let parts = build.profiles.iter().flat_map(|profile| profile.geometry.parts());
        parts.into_iter().any(|part| part.medium == medium)
    };
    build
        .substances
        .iter()
        .enumerate()
        .filter(move |(i, substance)| substance.role() != Role::Void && made(*i))
        .map(|(_, substance)| substance.name())
}

#[cfg(test)]
mod tests {
    use super::super::tests::said_of;

    #[test]
    fn a_missing_price_is_said_at_its_build() {
        let said = said_of("{ \"structural steel\" = \"3 per kg\" }", "{ fixed = 100 }");
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("build \"steel\" has no price of \"structural steel\""), "{said:?}");
    }

    #[test]
    fn a_build_without_prices_beside_one_that_has_them() {
        let bare = "[builds.bare]\nsections.bar.parts = [{ rectangle = \"40 x 40 mm\", of = \"granite\" }]\n";
        let said = said_of("prices = { \"structural steel\" = \"3 per kg\" }\n", bare);
        assert!(said.is_empty(), "no build has prices: {said:?}");
        let said = said_of("[builds.steel]\n", &format!("{bare}[builds.steel]\n"));
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("build \"bare\" states no prices, while others do"), "{said:?}");
    }

    #[test]
    fn a_mix_short_of_binder_is_said_once() {
        let lean = |air: &str| {
            let mix = "[mixes.lean]\nbinder = { of = \"epoxy\", share = 15 }\n\
                       aggregates = [{ of = \"quartz sand\", share = 85, grain = \"0.3 to 0.8 mm\" }]\n";
            let build = "[builds.cast]\nsections.bar.parts = [{ rectangle = \"60 x 40 mm\", of = \"lean\" }]\n\
                         prices = { lean = \"1 per kg\" }\n";
            said_of("[builds.steel]\n", &format!("{mix}{air}{build}[builds.steel]\n"))
        };
        let said = lean("");
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("the binder of \"lean\" falls"), "{said:?}");
        assert!(lean("air = \"12 %\"\n").is_empty());
    }
}
