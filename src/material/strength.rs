//! Tensile strength of a cast mix, as far as it follows from the recipe.
//!
//! ```text
//! full bond:  sigma = E (sigma_b/E_b) (1 - f^(1/3))       the binder's strain between grains
//! no bond:    sigma = sigma_b (1 - 1.21 f^(2/3))          only the binder's own section carries
//! both times exp(-n p) for the share p of bubbles, and min(s, exp(-n q)) for the air q between the grains
//! ```
//!
//! E and f, the volume fraction of grains, are those of the mix with its voids full of binder. s is the
//! saturation of the voids, with which the necks of binder grow. The value is the mean of both limits;
//! neither exceeds the strength of the binder. Printed values for cement concrete, 5 to 6 % of strength
//! per per cent of voids, agree in direction. Left out: weak stones, notches, size. This is an estimate
//! for comparing recipes, to be replaced by a test bar.
//!
//! # Source
//! - `nielsen1966`: full bond
//! - `nicolais1971`: no bond
//! - `ib46`: 5 to 6 % per per cent of voids
//! - `dvorkin1996`: area of the necks in proportion to the binder, from memory
//! - `ryshkewitch1953`: air, with n = 4 to 7; 5 is used, from memory

use super::homogenise::Moduli;
use super::phases::{Air, VolumeFractions};
use super::property::Property;
use super::recipe::Recipe;
use serde::Serialize;
use stillbed_input::quantity::Draw;

/// Exponent n of the strength lost to air.
const AIR_EXPONENT: f64 = 5.0;

/// Tensile strength of a cast mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Strength {
    /// Mean of both limits, Pa.
    pub value_pa: f64,
    /// Without bond, Pa.
    pub low_pa: f64,
    /// With full bond, Pa.
    pub high_pa: f64,
}

/// A mix as cast.
pub(super) struct Cast {
    /// Moduli with all voids full of binder.
    pub filled: Moduli,
    pub air: Air,
    /// Saturation: the part of the voids between the grains filled by binder.
    pub saturation: f64,
}

/// Strength of `recipe` cast with `shares`; `None` where the strength of the binder is not known.
pub(super) fn strength(
    recipe: &Recipe,
    shares: &VolumeFractions,
    cast: &Cast,
    draw: &Draw,
) -> Option<Strength> {
    let binder = &recipe.binder.material;
    let strength = binder.value(Property::Strength, draw)?;
    let strain = strength / binder.value(Property::YoungsModulus, draw)?;
    let grains = (shares.grains() + shares.pigment) / (1.0 - cast.air.bubbles);
    let lost = |air: f64| (-AIR_EXPONENT * air).exp();
    let air = lost(cast.air.bubbles) * lost(cast.air.short).min(cast.saturation);
    let full = (cast.filled.youngs_modulus().re * strain * (1.0 - grains.cbrt())).min(strength) * air;
    let none = (strength * (1.0 - 1.21 * grains.powf(2.0 / 3.0))).max(0.0) * air;
    let (low_pa, high_pa) = (none.min(full), none.max(full));
    Some(Strength { value_pa: (low_pa + high_pa) / 2.0, low_pa, high_pa })
}

#[cfg(test)]
mod tests {
    use super::super::recipe::{Aggregate, Ingredient};
    use super::super::table::Table;
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn both_limits_are_those_of_the_formulas() {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let sand = Aggregate::new(get("quartz sand"), 80.0, (0.3e-3, 0.8e-3));
        let recipe = Recipe::plain("sand", Ingredient::new(get("epoxy, slow casting"), 20.0), vec![sand]);
        let value = |property| recipe.binder.material.value(property, &Draw::default()).unwrap();
        let (own, modulus) = (value(Property::Strength), value(Property::YoungsModulus));
        let of = |grains: f64, stiffer: f64, air: Air, saturation: f64| {
            let filled = Moduli::from_youngs((stiffer * modulus).into(), 0.3);
            let shares =
                VolumeFractions { binder: 1.0 - grains, aggregates: vec![grains], pigment: 0.0, air: 0.0 };
            strength(&recipe, &shares, &Cast { filled, air, saturation }, &Draw::default()).unwrap()
        };
        // 0.512 of grains: their cube root is 0.8, its square 0.64; a mix three times as stiff as the binder.
        let sound = of(0.512, 3.0, Air { short: 0.0, bubbles: 0.0 }, 1.0);
        assert_relative_eq!(sound.high_pa, 3.0 * 0.2 * own, max_relative = 1e-9);
        assert_relative_eq!(sound.low_pa, (1.0 - 1.21 * 0.64) * own, max_relative = 1e-9);
        assert_relative_eq!(sound.value_pa, 0.5 * (sound.low_pa + sound.high_pa), max_relative = 1e-12);
        // No stronger than the binder.
        assert_relative_eq!(of(0.512, 6.0, Air { short: 0.0, bubbles: 0.0 }, 1.0).high_pa, own);
        // A tenth of air between the grains costs exp(-0.5), or the part of the voids that is empty.
        let short = Air { short: 0.1, bubbles: 0.0 };
        assert_relative_eq!(
            of(0.512, 3.0, short, 1.0).high_pa / sound.high_pa,
            (-0.5f64).exp(),
            max_relative = 1e-9
        );
        assert_relative_eq!(of(0.512, 3.0, short, 0.3).high_pa / sound.high_pa, 0.3, max_relative = 1e-9);
    }
}
