//! A recipe as phases: the volume, moduli and expansion of each ingredient, stirred together.
//!
//! The binder is the host. By the differential scheme the aggregates are added together in their
//! proportions, then the pigment. Where the binder does not fill the voids between the grains, this
//! gives the state with full voids, from which stiffness falls with the binder ([`super::cemented()`]).
//! Bubbles are added last.
//!
//! # Source
//! - `mclaughlin1977`: the scheme

use super::cemented::{AIR_CONDUCTIVITY, Packed, cemented};
use super::differential::{Host, Stirred, stir};
use super::entry::MissingProperty;
use super::homogenise::{self, Moduli, Phase};
use super::recipe::{Ingredient, Recipe};
use stillbed_input::quantity::Draw;

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
    /// The phases of `recipe` in `draw`.
    ///
    /// # Errors
    /// When an ingredient lacks Young's modulus, Poisson's ratio, density or loss factor.
    pub fn of(recipe: &Recipe, draw: &Draw) -> Result<Phases, MissingProperty> {
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
    pub fn packed(&self, short: f64) -> Option<(Packed, Host)> {
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

    /// Volume fractions with the volume fraction `air` of air.
    pub fn shares(&self, air: f64) -> VolumeFractions {
        let solid = (1.0 - air) / self.solid_volume();
        VolumeFractions {
            binder: self.binder_volume * solid,
            aggregates: self.grains.iter().map(|(volume, _)| volume * solid).collect(),
            pigment: self.pigment.map_or(0.0, |(volume, _)| volume * solid),
            air,
        }
    }

    /// Every phase with its volume fraction: binder, grains, pigment, air.
    pub fn list(&self, shares: &VolumeFractions) -> Vec<(f64, Host)> {
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
