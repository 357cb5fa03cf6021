//! Everything predicted for a cast mix: moduli, loss, density, expansion and the rest.
//!
//! The binder is the host. By the differential scheme the aggregates are added together in their
//! proportions, then the pigment. Where the binder does not fill the voids between the grains, this
//! gives the state with full voids, from which stiffness falls with the binder ([`super::cemented()`]).
//! Bubbles are added last. Low and high are the Hashin-Shtrikman formulas with the softest solid phase
//! and the stiffest phase as reference. With air in the mix the true lower bound is zero; low is then
//! the estimate with the binder continuous, or the mix itself where that is softer.
//!
//! # Source
//! - `mclaughlin1977`: the scheme
//! - `hashin1963`: low and high
//! - `weng1984`: binder, grains and pores with the binder as reference

use super::cemented::{AIR_CONDUCTIVITY, Packed, cemented};
use super::demand::{Demand, demand};
use super::differential::{Host, Stirred, stir};
use super::entry::MissingProperty;
use super::homogenise::{self, Moduli, Phase, Schemes};
use super::measured::{Implied, implied};
use super::medium::{Medium, Role};
use super::property::Property;
use super::recipe::{Ingredient, Recipe};
use super::spec::AirSpec;
use super::strength::{Cast, Strength, strength};
use stillbed_input::quantity::{Draw, Spread};

/// Degree of cure at which a resin of two functional groups and a hardener of four gels and begins to
/// carry load.
///
/// # Source
/// - `flory1941`: 1/sqrt(3)
pub const GEL: f64 = 0.577;

/// Ratio of measured to predicted modulus for a mix without a measured bar: 0.68 to 1.15.
///
/// Moduli of published mixes lie 40 % below to 15 % above the scheme for the recipe without air. This
/// includes the effect of air in their bars. With a spread of 12 % in modulus allowed for that air (5 %
/// by hand, up to 12 %), the logarithms leave `sqrt((ln 0.6 + 0.10)² - 0.15²) = 0.38` for the model
/// below, and the whole 15 % above.
pub fn model_error() -> Spread {
    Spread::between(1.0, 0.68, 1.15)
}

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

/// Volume fractions of the cast mix; they sum to one.
#[derive(Debug, Clone, PartialEq)]
pub struct VolumeFractions {
    /// Binder: resin and hardener.
    pub binder: f64,
    /// Each kind of grains, in the order of the recipe.
    pub aggregates: Vec<f64>,
    /// Pigment.
    pub pigment: f64,
    /// Air.
    pub air: f64,
}

impl VolumeFractions {
    /// All grains together.
    pub fn grains(&self) -> f64 {
        self.aggregates.iter().sum()
    }
}

/// The cast mix in one draw of its uncertain values, SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Its name in the design.
    pub name: String,
    /// VolumeFractions by volume.
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

/// Measurements of a test bar in one draw, SI.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measured {
    /// kg/m3.
    pub density: Option<f64>,
    /// Pa.
    pub youngs_modulus: Option<f64>,
    /// Ratio.
    pub loss_factor: Option<f64>,
}

/// The ingredients of a recipe as phases, in one draw.
pub(super) struct Phases {
    pub binder: Host,
    /// Volume without air and properties of each kind of grains.
    pub grains: Vec<(f64, Host)>,
    pub pigment: Option<(f64, Host)>,
    pub binder_volume: f64,
    /// Weight of binder, grains and pigment, in the units of the recipe.
    pub weight: f64,
}

impl Phases {
    fn of(recipe: &Recipe, draw: &Draw) -> Result<Phases, MissingProperty> {
        let phase = |i: &Ingredient| Ok((i.volume(draw)?, host(i, draw)?));
        Ok(Phases {
            binder: host(&recipe.binder, draw)?,
            grains: recipe.aggregates.iter().map(|a| phase(&a.ingredient)).collect::<Result<_, _>>()?,
            pigment: recipe.pigment.as_ref().map(phase).transpose()?,
            binder_volume: recipe.binder.volume(draw)?,
            weight: recipe.ingredients().map(|i| i.share.at(draw)).sum(),
        })
    }

    /// Total volume without air.
    pub fn solid_volume(&self) -> f64 {
        let grains: f64 = self.grains.iter().map(|(volume, _)| volume).sum();
        self.binder_volume + grains + self.pigment.map_or(0.0, |(volume, _)| volume)
    }

    /// The mixture without air, with `binder` in place of the recipe's binder and of the air `short`.
    pub fn filled(&self, binder: &Host, short: f64) -> Host {
        let grains: f64 = self.grains.iter().map(|(volume, _)| volume).sum();
        let kinds: Vec<Stirred> = self.grains.iter().map(|(volume, host)| (volume / grains, *host)).collect();
        let all = self.solid_volume() / (1.0 - short);
        let binder_volume = self.binder_volume + short * all;
        let mut mixed = stir(binder, &kinds, grains / (grains + binder_volume));
        if let Some((volume, pigment)) = self.pigment {
            mixed = stir(&mixed, &[(1.0, pigment)], volume / all);
        }
        mixed
    }

    /// The cast mix with `binder` in place of the recipe's binder.
    pub fn cast(&self, binder: &Host, air: &Air) -> Host {
        let filled = self.filled(binder, air.short);
        let packed = match self.packed(air.short) {
            Some((packed, grains)) => cemented(&packed, &grains, &binder.moduli, &filled),
            None => filled,
        };
        stir(&packed, &[(1.0, PORE)], air.bubbles)
    }

    /// The packing of the grains where the air `short` is in their voids, and the mean properties of the
    /// grains.
    fn packed(&self, short: f64) -> Option<(Packed, Host)> {
        let solid: f64 = self.grains.iter().map(|(volume, _)| volume).sum();
        if short <= 0.0 || solid <= 0.0 {
            return None;
        }
        let liquid = self.solid_volume() - solid;
        let all = self.solid_volume() / (1.0 - short);
        let parts: Vec<Phase> =
            self.grains.iter().map(|(v, host)| Phase { share: v / solid, moduli: host.moduli }).collect();
        let thermal: Vec<_> =
            self.grains.iter().map(|(v, h)| (v / solid, h.moduli.bulk.re, h.expansion)).collect();
        let moduli = homogenise::hill(&parts);
        let grains = Host {
            moduli,
            expansion: homogenise::expansion(&thermal, moduli.shear.re),
            conductivity: self.grains.iter().map(|(v, h)| v / solid * h.conductivity).sum(),
        };
        Some((Packed { solid: solid / all, saturation: liquid / (all - solid) }, grains))
    }

    /// Density without air, kg/m3.
    pub fn sound_density(&self) -> f64 {
        self.weight / self.solid_volume()
    }

    fn shares(&self, air: f64) -> VolumeFractions {
        let solid = (1.0 - air) / self.solid_volume();
        VolumeFractions {
            binder: self.binder_volume * solid,
            aggregates: self.grains.iter().map(|(volume, _)| volume * solid).collect(),
            pigment: self.pigment.map_or(0.0, |(volume, _)| volume * solid),
            air,
        }
    }

    /// Every phase with its volume fraction: binder, grains, pigment, air.
    fn list(&self, shares: &VolumeFractions) -> Vec<(f64, Host)> {
        let grains = shares.aggregates.iter().zip(&self.grains).map(|(share, (_, host))| (*share, *host));
        let mut list: Vec<_> = std::iter::once((shares.binder, self.binder)).chain(grains).collect();
        list.extend(self.pigment.map(|(_, host)| (shares.pigment, host)));
        list.push((shares.air, PORE));
        list
    }
}

/// The air of a cast mix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Air {
    /// Air that the binder leaves between the grains, as a fraction of the mix without bubbles.
    pub short: f64,
    /// Bubbles, as a fraction of the whole.
    pub bubbles: f64,
}

impl Air {
    /// A total volume fraction `all` of air, of which up to `short` is left between grains; the rest is
    /// bubbles.
    pub fn of(all: f64, short: f64) -> Air {
        let all = all.clamp(0.0, 0.9);
        let short = short.clamp(0.0, all);
        Air { short, bubbles: 1.0 - (1.0 - all) / (1.0 - short) }
    }
}

const PORE: Host = Host { moduli: Moduli::NOTHING, expansion: 0.0, conductivity: AIR_CONDUCTIVITY };

/// An ingredient as a phase; an unknown property is 0 and must not be used.
fn host(ingredient: &Ingredient, draw: &Draw) -> Result<Host, MissingProperty> {
    let medium = ingredient.material.medium(draw)?;
    Ok(Host {
        moduli: Moduli::of(&medium),
        expansion: medium.expansion.unwrap_or(0.0),
        conductivity: medium.conductivity.unwrap_or(0.0),
    })
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
    use super::super::recipe::Aggregate;
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
