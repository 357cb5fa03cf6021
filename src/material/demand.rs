//! How much binder the voids between packed grains need, and what too little or too much of it does.
//!
//! ```text
//! voids  = 1 - phi                      share of the packed volume between the grains
//! need   = solid voids/phi              liquid that just fills them
//! lies   = poured + (phi - poured) min(1, liquid/need)      how densely the grains come to lie
//! air    = 1 - lies (1 + liquid/solid)  where the liquid is short
//! ```
//!
//! phi is the solid fraction of the grains compacted as the recipe says, with enough liquid to let them
//! slip. With less liquid they stick and lie between this packing and the poured one; that this is
//! linear in the liquid is an assumption, the two ends are not. The pigment counts as liquid, since it
//! is far finer than the voids. Air that stirring draws in and compaction leaves comes on top.
//!
//! # Source
//! - `stovall1986`: packing of the grains
//! - `astmc29`: voids from bulk density

use super::compaction::Compaction;
use super::entry::MissingProperty;
use super::packing::{Class, POURED, VIBRATED, classes, compacted, densest_at};
use super::property::Property;
use super::recipe::{Aggregate, Recipe};
use serde::Serialize;
use stillbed_input::quantity::Draw;

/// Volume fraction of air above which a cast surface shows voids.
const SOUND_AIR: f64 = 0.01;
/// Depth of clear binder over settled grains, as a share of the whole, from which a mix flows by itself.
const FLOWING: f64 = 0.03;
/// The same, from which grains settle before the binder gels.
const OVERFULL: f64 = 0.12;

/// How the binder fills the voids.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Filling {
    /// Air is left: voids at the surface, less stiffness and strength.
    Short,
    /// The voids are full with little to spare: the mix has to be vibrated or rammed.
    JustFilled,
    /// There is enough excess binder for the mix to flow.
    Flowing,
    /// There is so much excess binder that stones settle; shrinkage and cost rise with it.
    Overfull,
}

/// Voids of the grains and the binder that they need.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Demand {
    /// Voids of the grains compacted as the recipe says: the volume fraction of binder that just fills
    /// them.
    pub voids: f64,
    /// Voids of the grains vibrated dry.
    pub voids_dry: f64,
    /// Voids of the grains when only poured.
    pub voids_poured: f64,
    /// Weight of binder over that of binder and grains that just fills the compacted grains.
    pub share_by_weight: f64,
    /// Excess binder over the volume of the voids; negative where it is short.
    pub excess: f64,
    /// Depth of clear binder over fully settled grains, as a share of the whole depth.
    pub clear_layer: f64,
    /// Volume fraction of air left in the compacted mix for lack of binder.
    pub air: f64,
    /// The same without compaction.
    pub air_poured: f64,
    /// Air from stirring that compaction leaves, as a fraction of the mix without the other air.
    pub air_stirred: f64,
    /// The resulting state.
    pub filling: Filling,
}

impl Demand {
    /// A binder without grains.
    const NEAT: Demand = Demand {
        voids: 1.0,
        voids_dry: 1.0,
        voids_poured: 1.0,
        share_by_weight: 1.0,
        excess: 0.0,
        clear_layer: 0.0,
        air: 0.0,
        air_poured: 0.0,
        air_stirred: 0.0,
        filling: Filling::Flowing,
    };
}

/// A point of the curve of binder demand.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DemandPoint {
    /// Share of the coarsest grains in all grains, by weight.
    pub coarse_share: f64,
    /// Voids when compacted as the recipe says.
    pub voids: f64,
    /// Weight of binder over that of binder and grains that just fills the voids.
    pub binder_share_by_weight: f64,
}

/// The proportions of the grains that need the least binder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeastBinder {
    /// Share of each kind in all grains by weight, in the order of the recipe.
    pub grains_by_weight: Vec<f64>,
    /// Voids when compacted as the recipe says.
    pub voids: f64,
    /// Excess of binder over the voids that was asked.
    pub excess: f64,
    /// Weight of binder over that of binder and grains that fills the voids with that excess.
    pub binder_share_by_weight: f64,
    /// Kinds left out because their largest grain is too large for the thinnest section.
    pub left_out: Vec<String>,
}

/// Volumes of a recipe's ingredients per unit of its weight, m3.
struct Volumes {
    binder: f64,
    pigment: f64,
    grains: Vec<f64>,
}

impl Volumes {
    fn of(recipe: &Recipe, draw: &Draw) -> Result<Volumes, MissingProperty> {
        Ok(Volumes {
            binder: recipe.binder.volume(draw)?,
            pigment: recipe.pigment.as_ref().map_or(Ok(0.0), |p| p.volume(draw))?,
            grains: recipe.aggregates.iter().map(|a| a.ingredient.volume(draw)).collect::<Result<_, _>>()?,
        })
    }
}

/// How much binder the grains of `recipe` need, and what its binder does.
///
/// # Errors
/// When the density of an ingredient is not known.
pub fn demand(recipe: &Recipe, draw: &Draw) -> Result<Demand, MissingProperty> {
    let volumes = Volumes::of(recipe, draw)?;
    let solid: f64 = volumes.grains.iter().sum();
    let liquid = volumes.binder + volumes.pigment;
    if solid <= 0.0 {
        return Ok(Demand::NEAT);
    }
    let phi = |state| packed(&recipe.aggregates, &volumes.grains, state, draw);
    let (full, poured) = (phi(State::Compacted(recipe.compaction)), phi(State::Poured));
    let need = |phi: f64| solid * (1.0 - phi) / phi;
    let air = |phi: f64| ((need(phi) - liquid) / (solid + need(phi))).max(0.0);
    let excess = (liquid - need(full)) / need(full);
    let lies = poured.min(full) + (full - poured).max(0.0) * (1.0 + excess).clamp(0.0, 1.0);
    let clear_layer = ((liquid - need(full)) / (solid + liquid)).max(0.0);
    let filling = match air(lies) {
        air if air > SOUND_AIR => Filling::Short,
        _ if clear_layer < FLOWING => Filling::JustFilled,
        _ if clear_layer < OVERFULL => Filling::Flowing,
        _ => Filling::Overfull,
    };
    let voids = 1.0 - full;
    Ok(Demand {
        voids,
        voids_dry: 1.0 - phi(State::Dry),
        voids_poured: 1.0 - poured,
        share_by_weight: by_weight(voids, &volumes.grains, recipe, draw)?,
        excess,
        clear_layer,
        air: air(lies),
        air_poured: air(poured),
        air_stirred: recipe.compaction.air_left(clear_layer / FLOWING),
        filling,
    })
}

/// State in which grains are packed.
#[derive(Clone, Copy)]
enum State {
    Poured,
    /// Vibrated without liquid.
    Dry,
    Compacted(Compaction),
}

/// Solid fraction of the grains packed together, from their volumes.
fn packed(aggregates: &[Aggregate], volumes: &[f64], state: State, draw: &Draw) -> f64 {
    let solid: f64 = volumes.iter().sum();
    let vibrated = !matches!(state, State::Poured);
    let all: Vec<Class> = aggregates
        .iter()
        .zip(volumes)
        .flat_map(|(aggregate, volume)| kind(aggregate, volume / solid, vibrated, draw))
        .collect();
    match state {
        State::Poured => compacted(&all, POURED, POURED),
        State::Dry => compacted(&all, VIBRATED, VIBRATED),
        State::Compacted(how) => compacted(&all, VIBRATED, how.index()),
    }
}

fn kind(aggregate: &Aggregate, part: f64, vibrated: bool, draw: &Draw) -> Vec<Class> {
    let (smallest, largest) = aggregate.sizes();
    classes(smallest, largest, aggregate.packing(vibrated, draw), part)
}

/// Weight of binder over that of binder and grains, where binder is the share `filled` of their volume.
fn by_weight(filled: f64, grains: &[f64], recipe: &Recipe, draw: &Draw) -> Result<f64, MissingProperty> {
    let solid: f64 = grains.iter().sum();
    let mut weight = 0.0;
    for (aggregate, volume) in recipe.aggregates.iter().zip(grains) {
        weight += volume / solid * aggregate.ingredient.material.need(Property::Density, draw)?;
    }
    let binder = filled * recipe.binder.material.need(Property::Density, draw)?;
    Ok(binder / (binder + (1.0 - filled) * weight))
}

/// Index of the kind with the largest grain.
fn coarsest(recipe: &Recipe) -> usize {
    let size = |i: &usize| recipe.aggregates[*i].sizes().1;
    (0..recipe.aggregates.len()).max_by(|a, b| size(a).total_cmp(&size(b))).unwrap_or(0)
}

/// Binder demand against the share of the coarsest grains, with the others in their proportions, in
/// `steps` equal steps from none to all; empty with a single kind of grains.
///
/// # Errors
/// When the density of an ingredient is not known.
pub fn demand_curve(recipe: &Recipe, steps: usize, draw: &Draw) -> Result<Vec<DemandPoint>, MissingProperty> {
    if recipe.aggregates.len() < 2 {
        return Ok(Vec::new());
    }
    let coarse = coarsest(recipe);
    let weights: Vec<f64> = recipe.aggregates.iter().map(|a| a.ingredient.share.at(draw)).collect();
    let density = |a: &Aggregate| a.ingredient.material.need(Property::Density, draw);
    let densities: Vec<f64> = recipe.aggregates.iter().map(density).collect::<Result<_, _>>()?;
    let others: f64 = weights.iter().sum::<f64>() - weights[coarse];
    if others <= 0.0 {
        return Ok(Vec::new());
    }
    (0..=steps)
        .map(|step| {
            let coarse_share = step as f64 / steps as f64;
            let grains: Vec<f64> = (0..weights.len())
                .map(|i| {
                    let part =
                        if i == coarse { coarse_share } else { (1.0 - coarse_share) * weights[i] / others };
                    part / densities[i]
                })
                .collect();
            let voids = 1.0 - packed(&recipe.aggregates, &grains, State::Compacted(recipe.compaction), draw);
            let binder_share_by_weight = by_weight(voids, &grains, recipe, draw)?;
            Ok(DemandPoint { coarse_share, voids, binder_share_by_weight })
        })
        .collect()
}

/// The proportions of the recipe's grains that need the least binder by volume, with an `excess` of
/// binder over the voids. Kinds with a grain larger than `largest_grain` (m) are left out.
///
/// `None` when every kind is too large.
///
/// # Errors
/// When the density of an ingredient is not known.
pub fn least_binder(
    recipe: &Recipe,
    excess: f64,
    largest_grain: Option<f64>,
    draw: &Draw,
) -> Result<Option<LeastBinder>, MissingProperty> {
    let fits = |a: &Aggregate| largest_grain.is_none_or(|limit| a.sizes().1 <= limit * (1.0 + 1e-9));
    let kept: Vec<usize> = (0..recipe.aggregates.len()).filter(|i| fits(&recipe.aggregates[*i])).collect();
    if kept.is_empty() {
        return Ok(None);
    }
    let kinds: Vec<Vec<Class>> = kept.iter().map(|i| kind(&recipe.aggregates[*i], 1.0, true, draw)).collect();
    let (parts, solid) = densest_at(&kinds, VIBRATED, recipe.compaction.index());
    let mut grains = vec![0.0; recipe.aggregates.len()];
    for (i, part) in kept.iter().zip(parts) {
        grains[*i] = part;
    }
    let mut weights = Vec::new();
    for (aggregate, volume) in recipe.aggregates.iter().zip(&grains) {
        weights.push(volume * aggregate.ingredient.material.need(Property::Density, draw)?);
    }
    let weight: f64 = weights.iter().sum();
    let voids = 1.0 - solid;
    let liquid = voids * (1.0 + excess);
    let left_out = recipe.aggregates.iter().filter(|a| !fits(a));
    Ok(Some(LeastBinder {
        grains_by_weight: weights.iter().map(|w| w / weight).collect(),
        voids,
        excess,
        binder_share_by_weight: by_weight(liquid / (solid + liquid), &grains, recipe, draw)?,
        left_out: left_out.map(|a| a.ingredient.material.name.clone()).collect(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::recipe::Ingredient;
    use super::super::table::Table;
    use super::*;

    fn sand_and_stone(binder: f64, sand: f64, stone: f64) -> Recipe {
        let table = Table::built_in();
        let get = |name| table.get(name).unwrap();
        let mut aggregates = vec![Aggregate::new(get("quartz sand"), sand, (0.3e-3, 0.8e-3))];
        if stone > 0.0 {
            aggregates.push(Aggregate::new(get("quartz sand"), stone, (4e-3, 10e-3)));
        }
        Recipe::plain("a mix", Ingredient::new(get("epoxy, slow casting"), binder), aggregates)
    }

    /// Three mixes reported by builders, tamped by hand.
    fn by_hand(binder: f64, sand: f64, stone: f64) -> Demand {
        let recipe = Recipe { compaction: Compaction::ByHand, ..sand_and_stone(binder, sand, stone) };
        demand(&recipe, &Draw::default()).unwrap()
    }

    #[test]
    fn sand_and_epoxy_at_80_to_20_just_fill() {
        let found = by_hand(20.0, 80.0, 0.0);
        assert_eq!(found.filling, Filling::JustFilled);
        assert!(found.air < 0.01 && found.air_stirred > 0.03, "{found:?}");
        assert!(found.air_poured > 0.05, "{found:?}");
    }

    #[test]
    fn sand_and_epoxy_at_85_to_15_leave_voids() {
        let found = by_hand(15.0, 85.0, 0.0);
        assert_eq!(found.filling, Filling::Short);
        assert!((0.05..0.16).contains(&found.air), "{found:?}");
    }

    #[test]
    fn two_of_sand_to_one_of_stone_with_an_eighth_of_epoxy_leave_cavities() {
        let found = by_hand(12.5, 58.3, 29.2);
        assert_eq!(found.filling, Filling::Short);
        assert!(found.air > 0.03, "{found:?}");
    }

    #[test]
    fn less_binder_leaves_more_air_and_vibrating_less_than_a_hand() {
        let draw = Draw::default();
        let air = |binder: f64| demand(&sand_and_stone(binder, 100.0 - binder, 0.0), &draw).unwrap().air;
        for binder in 1..18 {
            assert!(air(f64::from(binder)) > air(f64::from(binder) + 1.0) || binder > 16, "{binder}");
        }
        assert_eq!(air(20.0), 0.0);
        assert!(by_hand(15.0, 85.0, 0.0).air > air(15.0));
    }

    #[test]
    fn coarse_and_fine_together_need_least() {
        let recipe = sand_and_stone(15.0, 40.0, 45.0);
        let draw = Draw::default();
        let least = least_binder(&recipe, 0.05, None, &draw).unwrap().unwrap();
        let curve = demand_curve(&recipe, 20, &draw).unwrap();
        let lowest = curve.iter().map(|p| p.voids).fold(1.0, f64::min);
        assert!(least.voids <= lowest + 1e-6 && least.voids > 0.15);
        assert!((0.6..0.8).contains(&least.grains_by_weight[1]), "{least:?}");
        assert!(curve[0].voids > lowest && curve[20].voids > lowest);
        // The binder share found fills the voids with the excess asked.
        let binder = least.binder_share_by_weight;
        let grains = |i: usize| (1.0 - binder) * least.grains_by_weight[i];
        let back = demand(&sand_and_stone(binder, grains(0), grains(1)), &draw).unwrap();
        approx::assert_relative_eq!(back.excess, 0.05, max_relative = 1e-6);
    }

    #[test]
    fn stones_too_large_for_the_section_are_left_out() {
        let recipe = sand_and_stone(15.0, 40.0, 45.0);
        let least = least_binder(&recipe, 0.05, Some(6e-3), &Draw::default()).unwrap().unwrap();
        assert_eq!(least.grains_by_weight, [1.0, 0.0]);
        assert_eq!(least.left_out, ["quartz sand"]);
        assert!(least_binder(&recipe, 0.05, Some(1e-4), &Draw::default()).unwrap().is_none());
    }

    #[test]
    fn the_curve_passes_through_the_recipe_itself() {
        // With two kinds, and with a third in the proportion of the recipe.
        let mut recipe = sand_and_stone(15.0, 30.0, 45.0);
        for share in [0.6, 0.5] {
            let curve = demand_curve(&recipe, 10, &Draw::default()).unwrap();
            let found = demand(&recipe, &Draw::default()).unwrap();
            let place = (10.0 * share) as usize;
            approx::assert_relative_eq!(curve[place].voids, found.voids, max_relative = 1e-12);
            approx::assert_relative_eq!(
                curve[place].binder_share_by_weight,
                found.share_by_weight,
                max_relative = 1e-12
            );
            let table = Table::built_in();
            recipe.aggregates.push(Aggregate::new(table.get("basalt").unwrap(), 15.0, (1e-3, 2e-3)));
        }
    }

    #[test]
    fn pigment_counts_as_liquid_by_its_volume() {
        let (table, draw) = (Table::built_in(), Draw::default());
        let mut pigmented = sand_and_stone(12.0, 83.0, 0.0);
        let pigment = Ingredient::new(table.get("iron oxide").unwrap(), 4.0);
        let density = |of: &Ingredient| of.material.need(Property::Density, &draw).unwrap();
        let as_binder = 4.0 * density(&pigmented.binder) / density(&pigment);
        pigmented.pigment = Some(pigment);
        let plain = demand(&sand_and_stone(12.0 + as_binder, 83.0, 0.0), &draw).unwrap();
        let found = demand(&pigmented, &draw).unwrap();
        approx::assert_relative_eq!(found.excess, plain.excess, max_relative = 1e-12);
        approx::assert_relative_eq!(found.air, plain.air, max_relative = 1e-12);
    }

    #[test]
    fn wet_grains_lie_closer_than_dry_and_dry_than_poured() {
        let found = demand(&sand_and_stone(15.0, 85.0, 0.0), &Draw::default()).unwrap();
        let voids = [found.voids, found.voids_dry, found.voids_poured];
        assert!(
            voids[0] > 0.25 && voids.windows(2).all(|pair| pair[0] < pair[1]) && voids[2] < 0.6,
            "{found:?}"
        );
    }
}
