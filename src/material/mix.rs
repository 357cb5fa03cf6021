//! Everything predicted for a cast mix: moduli, loss, density, expansion and the rest.
//!
//! The estimate is that of the phases stirred together (`phases.rs`). Low and high are the Hashin-Shtrikman formulas with the softest solid phase
//! and the stiffest phase as reference. With air in the mix the true lower bound is zero; low is then
//! the estimate with the binder continuous, or the mix itself where that is softer.
//!
//! # Source
//! - `hashin1963`: low and high
//! - `weng1984`: binder, grains and pores with the binder as reference

use super::demand::{Demand, demand};
use super::entry::MissingProperty;
use super::homogenise::{self, Moduli, Phase, Schemes};
use super::measured::{Implied, Measured, implied};
use super::medium::{Medium, Role};
use super::phases::{Air, Phases, VolumeFractions};
use super::property::Property;
use super::recipe::Recipe;
use super::spec::AirSpec;
use super::strength::{Cast, Strength, strength};
use stillbed_input::quantity::Draw;

/// Degree of cure at which a resin of two functional groups and a hardener of four gels and begins to
/// carry load.
///
/// # Source
/// - `flory1941`: 1/sqrt(3)
pub const GEL: f64 = 0.577;

/// Largest volume fraction of bubbles that stirring and compaction can leave.
pub(super) const MOST_BUBBLES: f64 = 0.5;

/// Linear shrinkage strain of a cast mix from the cure: what the binder shrinks after it has gelled.
///
/// ```text
/// strain = f_binder (volume lost by the neat binder) (part of the cure after the gel)/3
/// ```
///
/// Assumes that shrinkage is proportional to the degree of cure and that the grains do not restrain it,
/// so this is an upper estimate. A binder of 3 % at a share of 0.24 with 0.4 left after the gel: 0.096
/// %.
pub fn cure_strain(binder_share: f64, cure_shrinkage: f64, after_gel: f64) -> f64 {
    binder_share * cure_shrinkage * after_gel / 3.0
}

/// The cast mix in one draw of its uncertain values, SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Its name in the design.
    pub name: String,
    /// Volume fractions.
    pub shares: VolumeFractions,
    /// Voids of the grains and the binder that they need.
    pub demand: Demand,
    /// Predicted density, kg/m3.
    pub density: f64,
    /// Predicted moduli, Pa.
    pub moduli: Moduli,
    /// Lower Hashin-Shtrikman estimate, Pa.
    pub low: Moduli,
    /// Upper Hashin-Shtrikman bound, Pa.
    pub high: Moduli,
    /// Linear expansion, 1/K, where that of every ingredient is known.
    pub expansion: Option<f64>,
    /// Expansion with the lower and the upper bulk modulus, 1/K, the larger last.
    pub expansion_bounds: Option<(f64, f64)>,
    /// Conductivity, W/(m K), where that of every ingredient is known.
    pub conductivity: Option<f64>,
    /// Heat capacity, J/(kg K), where that of every ingredient is known.
    pub heat_capacity: Option<f64>,
    /// Tensile strength, where that of the binder is known.
    pub strength: Option<Strength>,
    /// Linear strain left by the cure, where the shrinkage of the binder is known.
    pub cure_strain: Option<f64>,
    /// Measurements of a test bar, in this draw.
    pub measured: Measured,
    /// What the test bar implies, where there is one.
    pub implied: Option<Implied>,
}

/// The cast mix of `recipe` in `draw`.
///
/// Where the air is to be predicted but a test bar was weighed, the air follows from its density. Moduli
/// include the model error of `draw` unless a bar was measured.
///
/// # Errors
/// When an ingredient lacks Young's modulus, Poisson's ratio, density or loss factor.
pub fn predict(recipe: &Recipe, draw: &Draw) -> Result<Prediction, MissingProperty> {
    let phases = Phases::of(recipe, draw)?;
    let demand = demand(recipe, draw)?;
    let measured = Measured {
        density: recipe.measured.density.map(|s| s.at(draw)),
        youngs_modulus: recipe.measured.youngs_modulus.map(|s| s.at(draw)),
        loss_factor: recipe.measured.loss_factor.map(|s| s.at(draw)),
    };
    let air = match (&recipe.air, measured.density) {
        (AirSpec::Stated(air), _) => air.at(draw),
        (AirSpec::Predict, Some(density)) => 1.0 - density / phases.sound_density(),
        (AirSpec::Predict, None) => {
            1.0 - (1.0 - demand.air)
                * (1.0 - (demand.air_stirred * recipe.air_left.at(draw)).min(MOST_BUBBLES))
        }
    }
    .clamp(0.0, 0.9);
    let shares = phases.shares(air);
    let voids = Air::of(air, demand.air);
    let filled = phases.filled(&phases.binder, voids.short);
    let mixed = phases.cast(&phases.binder, &voids);
    let error = if recipe.predicts_moduli() { recipe.model.at(draw) } else { 1.0 };
    let list = phases.list(&shares);
    let elastic: Vec<Phase> =
        list.iter().map(|(share, host)| Phase { share: *share, moduli: host.moduli }).collect();
    let solid = &elastic[..elastic.len() - 1];
    let (softest, stiffest) = homogenise::extremes(solid);
    let all_state = |property| recipe.ingredients().all(|i| i.material.figure(property).is_some());
    let with_expansion = all_state(Property::Expansion);
    let thermal: Vec<_> = list.iter().map(|(f, h)| (*f, h.moduli.bulk.re, h.expansion)).collect();
    let bounds = [softest, stiffest].map(|m| homogenise::expansion(&thermal, m.shear.re));
    let saturation = phases.packed(voids.short).map_or(1.0, |(packed, _)| packed.saturation);
    let shrinkage = recipe.binder.material.value(Property::CureShrinkage, draw);
    Ok(Prediction {
        name: recipe.name.clone(),
        density: (1.0 - air) * phases.sound_density(),
        moduli: Moduli { bulk: mixed.moduli.bulk * error, shear: mixed.moduli.shear * error },
        low: softer(homogenise::hashin_shtrikman(&elastic, &softest), mixed.moduli),
        high: homogenise::hashin_shtrikman(&elastic, &stiffest),
        expansion: with_expansion.then_some(mixed.expansion),
        expansion_bounds: with_expansion.then_some((bounds[0].min(bounds[1]), bounds[0].max(bounds[1]))),
        conductivity: all_state(Property::Conductivity).then_some(mixed.conductivity),
        heat_capacity: heat_capacity(recipe, draw),
        strength: strength(recipe, &shares, &Cast { filled: filled.moduli, air: voids, saturation }, draw),
        cure_strain: shrinkage.map(|lost| cure_strain(shares.binder, lost, 1.0 - GEL)),
        implied: implied(&phases, air, demand.air, &measured),
        measured,
        shares,
        demand,
    })
}

/// The softer of two, for bulk and shear separately.
fn softer(a: Moduli, b: Moduli) -> Moduli {
    let less = |a: num_complex::Complex64, b: num_complex::Complex64| if a.re < b.re { a } else { b };
    Moduli { bulk: less(a.bulk, b.bulk), shear: less(a.shear, b.shear) }
}

/// Heat capacity averaged by weight, J/(kg K).
fn heat_capacity(recipe: &Recipe, draw: &Draw) -> Option<f64> {
    let (mut heat, mut weight) = (0.0, 0.0);
    for ingredient in recipe.ingredients() {
        let share = ingredient.share.at(draw);
        heat += share * ingredient.material.value(Property::HeatCapacity, draw)?;
        weight += share;
    }
    Some(heat / weight)
}

impl Prediction {
    /// The mix as the mechanics needs it; measurements of a test bar replace the prediction.
    pub fn medium(&self) -> Medium {
        let youngs_modulus = self.moduli.youngs_modulus();
        let stiffer = self.measured.youngs_modulus.map_or(1.0, |e| e / youngs_modulus.re);
        let loss = |modulus: num_complex::Complex64| modulus.im / modulus.re;
        let lossier = self.measured.loss_factor.map_or(1.0, |eta| {
            let predicted = loss(youngs_modulus);
            if predicted > 0.0 { eta / predicted } else { 1.0 }
        });
        let corrected = |modulus: num_complex::Complex64| {
            num_complex::Complex64::new(modulus.re, modulus.im * lossier) * stiffer
        };
        let mut medium = Medium::isotropic(
            &self.name,
            Role::Fill,
            youngs_modulus.re,
            self.moduli.poissons_ratio(),
            self.measured.density.unwrap_or(self.density),
            0.0,
        );
        medium.youngs_modulus = corrected(youngs_modulus);
        medium.shear_modulus = corrected(self.moduli.shear);
        medium.expansion = self.expansion;
        medium.conductivity = self.conductivity;
        medium.heat_capacity = self.heat_capacity;
        medium.strength = self.strength.map(|s| s.value_pa);
        medium
    }
}

/// Young's modulus of the mix of `recipe` by every closed form, in `draw`.
///
/// The formulas for two phases take grains and pigment as one phase with the mean of their Voigt and
/// Reuss averages; air is added last.
///
/// # Errors
/// As [`predict`].
pub fn schemes(recipe: &Recipe, prediction: &Prediction, draw: &Draw) -> Result<Schemes, MissingProperty> {
    let phases = Phases::of(recipe, draw)?;
    let list: Vec<Phase> = phases
        .list(&prediction.shares)
        .iter()
        .map(|(share, host)| Phase { share: *share, moduli: host.moduli })
        .collect();
    let solid = 1.0 - prediction.shares.air;
    let grains = solid - prediction.shares.binder;
    let filler: Vec<Phase> =
        list[1..list.len() - 1].iter().map(|p| Phase { share: p.share / grains, moduli: p.moduli }).collect();
    let matrix = list[0].moduli;
    let (filler, share) = match grains > 0.0 {
        true => (homogenise::hill(&filler), grains / solid),
        false => (matrix, 0.0),
    };
    let porous = |moduli: Moduli| {
        let pair =
            [Phase { share: solid, moduli }, Phase { share: prediction.shares.air, moduli: Moduli::NOTHING }];
        homogenise::hashin_shtrikman(&pair, &moduli).youngs_modulus().re
    };
    let scalar =
        |e: num_complex::Complex64| porous(Moduli::from_youngs(e, prediction.moduli.poissons_ratio()));
    let (em, ei) = (matrix.youngs_modulus(), filler.youngs_modulus());
    Ok(Schemes {
        reuss_pa: homogenise::reuss(&list).youngs_modulus().re,
        hashin_shtrikman_low_pa: prediction.low.youngs_modulus().re,
        three_phase_pa: porous(homogenise::three_phase(&matrix, &filler, share)),
        counto_pa: scalar(homogenise::counto(em, ei, share)),
        hirsch_pa: scalar(homogenise::hirsch(em, ei, share, 0.32)),
        hashin_shtrikman_high_pa: prediction.high.youngs_modulus().re,
        voigt_pa: homogenise::voigt(&list).youngs_modulus().re,
    })
}

#[cfg(test)]
mod tests {
    use super::super::compaction::Compaction;
    use super::super::recipe::{Aggregate, Ingredient};
    use super::super::table::Table;
    use super::*;
    use proptest::prelude::*;

    fn sand(binder: f64, compaction: Compaction) -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 100.0 - binder, (0.3e-3, 0.8e-3));
        let recipe = Recipe::plain("sand", Ingredient::new(get("epoxy, slow casting"), binder), vec![sand]);
        Recipe { compaction, ..recipe }
    }

    fn stiffness(binder: f64) -> f64 {
        let found = predict(&sand(binder, Compaction::default()), &Draw::default()).unwrap();
        found.moduli.youngs_modulus().re
    }

    #[test]
    fn sand_with_less_binder_than_its_voids_is_softer() {
        let e = [1.0, 3.0, 6.0, 10.0, 15.0, 18.0].map(stiffness);
        assert!(e.windows(2).all(|pair| pair[0] < pair[1]), "{e:?}");
        assert!(e[3] < 0.8 * e[5], "{e:?}");
        // Beyond full voids it falls again.
        assert!(stiffness(25.0) < stiffness(20.0));
    }

    #[test]
    fn a_draw_of_air_and_of_the_model_reaches_what_is_predicted_alone() {
        let mut recipe = sand(20.0, Compaction::default());
        recipe.air_left.index = Some(0);
        recipe.model.index = Some(1);
        let at = |recipe: &Recipe, air, model| predict(recipe, &Draw { values: vec![air, model] }).unwrap();
        let usual = at(&recipe, 1.0, 1.0);
        let airy = at(&recipe, 2.5, 1.0);
        assert!(airy.density < usual.density && airy.moduli.bulk.re < usual.moduli.bulk.re);
        let off = at(&recipe, 1.0, 0.7);
        approx::assert_relative_eq!(off.moduli.shear.re, 0.7 * usual.moduli.shear.re, max_relative = 1e-12);
        assert_eq!(off.density, usual.density);
        recipe.measured.youngs_modulus = Some(15e9.into());
        recipe.measured.density = Some(2050.0.into());
        assert_eq!(at(&recipe, 2.5, 0.7), at(&recipe, 1.0, 1.0));
    }

    #[test]
    fn a_measured_bar_gives_the_modulus_and_the_loss_of_the_medium() {
        let mut recipe = sand(20.0, Compaction::default());
        recipe.measured.youngs_modulus = Some(15e9.into());
        recipe.measured.loss_factor = Some(0.017.into());
        let medium = predict(&recipe, &Draw::default()).unwrap().medium();
        approx::assert_relative_eq!(medium.youngs_modulus.re, 15e9, max_relative = 1e-12);
        approx::assert_relative_eq!(medium.youngs_modulus.im, 0.017 * 15e9, max_relative = 1e-12);
        // A shear modulus with the same Poisson's ratio, to the square of the loss factor.
        let shear = 15e9 / (2.0 * (1.0 + medium.poissons_ratio));
        approx::assert_relative_eq!(medium.shear_modulus.re, shear, max_relative = 1e-3);
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(64))]

        #[test]
        fn every_share_of_binder_gives_a_material(binder in 0.2..60.0f64, stated in 0.0..0.45f64, how in 0..3usize) {
            let mut recipe = sand(binder, Compaction::named(Compaction::NAMES[how], None, None).unwrap());
            for air in [AirSpec::Predict, AirSpec::Stated(stated.into())] {
                recipe.air = air;
                let found = predict(&recipe, &Draw::default()).unwrap();
                let e = found.moduli.youngs_modulus().re;
                let eta = found.moduli.loss_factor();
                prop_assert!(e > 0.0 && e < 95e9 && eta > 0.0 && eta <= 0.03 * (1.0 + 1e-9), "{e} {eta}");
                prop_assert!(found.low.bulk.re <= found.high.bulk.re);
                prop_assert!(found.strength.unwrap().value_pa >= 0.0 && found.conductivity.unwrap() > 0.0);
                let sum = found.shares.binder + found.shares.grains() + found.shares.air;
                prop_assert!((sum - 1.0).abs() < 1e-9);
            }
        }
    }
}
