//! A mix as a recipe: ingredients by weight, grain sizes, air.

use super::compaction::Compaction;
use super::entry::{GrainShape, Material, MissingProperty};
use super::packing::usual_packing;
use super::property::Property;
use super::spec::{AirSpec, IngredientSpec, MeasuredSpec, MixSpec};
use super::table::Table;
use stillbed_input::problem::Problems;
use stillbed_input::quantity::{Draw, Spread};

/// A material and its share of the whole by weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Ingredient {
    /// The material.
    pub material: Material,
    /// Its share by weight; shares need not add up to one.
    pub share: Spread,
}

/// Grains of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Aggregate {
    /// Material and share.
    pub ingredient: Ingredient,
    /// Smallest and largest grain, m.
    pub grain: Option<(f64, f64)>,
    /// Their shape, where it differs from that of the material in the table.
    pub shape: Option<GrainShape>,
    /// Measured solid fraction when poured.
    pub loose: Option<Spread>,
    /// Measured solid fraction when vibrated.
    pub packed: Option<Spread>,
}

/// A mix with its materials, ready to be computed.
///
/// ```
/// use stillbed_input::quantity::Draw;
/// use stillbed_material::{Aggregate, Ingredient, Recipe, Table, predict};
///
/// let table = Table::built_in();
/// let get = |name| table.get(name).unwrap();
/// let sand = Aggregate::new(get("quartz sand"), 75.0, (0.3e-3, 0.8e-3));
/// let recipe = Recipe::plain("sand", Ingredient::new(get("epoxy, slow casting"), 25.0), vec![sand]);
/// assert_eq!(recipe.binder_share(), 0.25);
///
/// let mix = predict(&recipe, &Draw::default()).unwrap();
/// let parts = mix.shares.binder + mix.shares.grains() + mix.shares.air;
/// assert!((parts - 1.0).abs() < 1e-12);
/// let e = mix.moduli.youngs_modulus().re;
/// assert!(mix.low.youngs_modulus().re <= e && e <= mix.high.youngs_modulus().re);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// Its name in the design.
    pub name: String,
    /// Binder: resin with its hardener.
    pub binder: Ingredient,
    /// The aggregates, at least one kind of grains.
    pub aggregates: Vec<Aggregate>,
    /// Pigment.
    pub pigment: Option<Ingredient>,
    /// Air by volume, stated or to be predicted.
    pub air: AirSpec,
    /// Resin to hardener by weight.
    pub hardener_ratio: Option<(f64, f64)>,
    /// Measurements of a test bar.
    pub measured: MeasuredSpec,
    /// How the mix is compacted in the mould.
    pub compaction: Compaction,
    /// Factor on the predicted air that compaction leaves.
    pub air_left: Spread,
    /// Factor on the predicted moduli.
    pub model: Spread,
}

/// Ratio of measured to predicted modulus for a mix without a measured bar: 0.68 to 1.15.
///
/// Moduli of published mixes lie 40 % below to 15 % above the scheme for the recipe without air. This
/// includes the effect of air in their bars. With a spread of 12 % in modulus allowed for that air (5 %
/// by hand, up to 12 %), the logarithms leave `sqrt((ln 0.6 + 0.10)² - 0.15²) = 0.38` for the model
/// below, and the whole 15 % above.
pub fn model_error() -> Spread {
    Spread::between(1.0, 0.68, 1.15)
}

/// Size of grains whose size is not stated, m; only ratios of sizes matter.
const UNSTATED_GRAIN: (f64, f64) = (0.5e-3, 0.5e-3);

impl Ingredient {
    /// `share` by weight of `material`.
    pub fn new(material: &Material, share: impl Into<Spread>) -> Ingredient {
        Ingredient { material: material.clone(), share: share.into() }
    }

    /// Volume in `draw`, m3, for a recipe whose shares are in kg.
    ///
    /// # Errors
    /// When the density is not known.
    pub fn volume(&self, draw: &Draw) -> Result<f64, MissingProperty> {
        Ok(self.share.at(draw) / self.material.need(Property::Density, draw)?)
    }
}

impl Aggregate {
    /// `share` by weight of grains of `material` between two sizes in m.
    pub fn new(material: &Material, share: impl Into<Spread>, grain: (f64, f64)) -> Aggregate {
        Aggregate {
            ingredient: Ingredient::new(material, share),
            grain: Some(grain),
            shape: None,
            loose: None,
            packed: None,
        }
    }

    /// Smallest and largest grain, m; all kinds without a stated size are taken to have the same.
    pub fn sizes(&self) -> (f64, f64) {
        self.grain.unwrap_or(UNSTATED_GRAIN)
    }

    /// Solid fraction in `draw` when vibrated, or when only poured: the measured one, or else that of
    /// the material in the table, or else the usual one for the shape.
    pub fn packing(&self, vibrated: bool, draw: &Draw) -> f64 {
        let (stated, property) = match vibrated {
            true => (self.packed, Property::VibratedPacking),
            false => (self.loose, Property::LoosePacking),
        };
        let material = &self.ingredient.material;
        let same_shape = self.shape.is_none() || self.shape == material.grain_shape;
        let of_table = if same_shape { material.value(property, draw) } else { None };
        let shape = self.shape.or(material.grain_shape).unwrap_or(GrainShape::Rounded);
        let (loose, packed) = usual_packing(shape);
        let usual = if vibrated { packed } else { loose };
        stated.map(|s| s.at(draw)).or(of_table).unwrap_or(usual.value).clamp(0.05, 0.98)
    }
}

impl Recipe {
    /// The recipe of `spec` with its materials from `table`.
    ///
    /// # Errors
    /// An error for each ingredient that the table lacks, with the nearest known name.
    pub fn from_spec(name: &str, spec: &MixSpec, table: &Table) -> Result<Recipe, Problems> {
        let mut problems = Vec::new();
        let mut ingredient = |spec: &IngredientSpec| {
            let found = table.get(&spec.of.value);
            if found.is_none() {
                problems.push(table.absent(&spec.of.value, spec.of.place.clone()));
            }
            found.map(|material| Ingredient { material: material.clone(), share: spec.share })
        };
        let binder = ingredient(&spec.binder);
        let pigment = spec.pigment.as_ref().map(&mut ingredient);
        let grains: Vec<Option<Ingredient>> =
            spec.aggregates.iter().map(|a| ingredient(&a.ingredient)).collect();
        let mut aggregates = Vec::new();
        for (spec, found) in spec.aggregates.iter().zip(grains) {
            aggregates.extend(found.map(|ingredient| Aggregate {
                ingredient,
                grain: spec.grain,
                shape: spec.shape,
                loose: spec.loose,
                packed: spec.packed,
            }));
        }
        match binder {
            Some(binder) if problems.is_empty() => Ok(Recipe {
                name: name.to_string(),
                binder,
                aggregates,
                pigment: pigment.flatten(),
                air: spec.air.clone(),
                hardener_ratio: spec.hardener_ratio,
                measured: spec.measured.clone(),
                compaction: spec.compaction,
                air_left: Compaction::spread(),
                model: model_error(),
            }),
            _ => Err(problems.into()),
        }
    }

    /// A recipe of binder and aggregates alone, with predicted air.
    pub fn plain(name: &str, binder: Ingredient, aggregates: Vec<Aggregate>) -> Recipe {
        Recipe {
            name: name.to_string(),
            binder,
            aggregates,
            pigment: None,
            air: AirSpec::Predict,
            hardener_ratio: None,
            measured: MeasuredSpec::default(),
            compaction: Compaction::default(),
            air_left: Compaction::spread(),
            model: model_error(),
        }
    }

    /// Nominal weight of the binder over that of binder and grains.
    pub fn binder_share(&self) -> f64 {
        let grains: f64 = self.aggregates.iter().map(|a| a.ingredient.share.value).sum();
        self.binder.share.value / (self.binder.share.value + grains)
    }

    /// True where the air is predicted: neither stated nor known from a weighed bar.
    pub fn predicts_air(&self) -> bool {
        matches!(self.air, AirSpec::Predict) && self.measured.density.is_none()
    }

    /// True where the moduli are predicted, since no bar was measured.
    pub fn predicts_moduli(&self) -> bool {
        self.measured.youngs_modulus.is_none()
    }

    /// Every ingredient: binder, aggregates, pigment.
    pub fn ingredients(&self) -> impl Iterator<Item = &Ingredient> {
        let grains = self.aggregates.iter().map(|aggregate| &aggregate.ingredient);
        std::iter::once(&self.binder).chain(grains).chain(self.pigment.as_ref())
    }

    /// Weight of hardener per weight of resin, from the recipe or else from the table.
    pub fn hardener_to_resin(&self, draw: &Draw) -> Option<f64> {
        let stated = self.hardener_ratio.map(|(resin, hardener)| hardener / resin);
        stated.or_else(|| self.binder.material.value(Property::HardenerRatio, draw))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::document::Reader;
    use stillbed_input::problem::Problem;

    fn spec(text: &str) -> MixSpec {
        let reader = Reader::new("d.toml", text);
        MixSpec::read(&reader.root()).unwrap()
    }

    #[test]
    fn a_spec_becomes_a_recipe() {
        let spec = spec(
            "binder = { of = \"epoxy, slow casting\", share = 20 }\n\
             aggregates = [{ of = \"basalt\", share = 80, grain = \"2 to 5 mm\", packed = 0.6 }]\n\
             hardener_ratio = \"100 : 25\"\n",
        );
        let recipe = Recipe::from_spec("a", &spec, &Table::built_in()).unwrap();
        assert_eq!(recipe.ingredients().count(), 2);
        assert!((recipe.binder_share() - 0.2).abs() < 1e-12);
        let draw = Draw::default();
        assert_eq!(recipe.hardener_to_resin(&draw), Some(0.25));
        let basalt = &recipe.aggregates[0];
        assert_eq!(basalt.packing(true, &draw), 0.6);
        assert_eq!(basalt.packing(false, &draw), 0.51);
        let rounded = Aggregate { shape: Some(GrainShape::Rounded), ..basalt.clone() };
        assert_eq!(rounded.packing(false, &draw), 0.57);
    }

    #[test]
    fn every_unknown_ingredient_is_named() {
        let spec = spec(
            "binder = { of = \"epoxi\", share = 20 }\n\
             aggregates = [{ of = \"quarz sand\", share = 80, shape = \"angular\" }]\n",
        );
        let said = Recipe::from_spec("a", &spec, &Table::built_in()).unwrap_err();
        let said: Vec<String> = said.iter().map(Problem::to_string).collect();
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(said[0].contains("did you mean \"epoxy\"?"));
        assert!(said[1].contains("did you mean \"quartz sand\"?"));
    }

    #[test]
    fn air_is_predicted_unless_stated_or_weighed() {
        let text = "binder = { of = \"epoxy\", share = 20 }\n\
                    aggregates = [{ of = \"quartz sand\", share = 80 }]\n";
        let recipe =
            |more: &str| Recipe::from_spec("a", &spec(&format!("{text}{more}")), &Table::built_in()).unwrap();
        assert!(recipe("").predicts_air());
        assert!(!recipe("air = \"3 %\"\n").predicts_air());
        assert!(!recipe("measured = { density = \"2100 kg/m3\" }\n").predicts_air());
    }
}
