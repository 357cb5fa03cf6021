//! The batch sheet of one mix cast into its moulds: the answer of `pour`.

use super::batch::{LiftPour, Purchase, Weight};
use super::heat_answer::{Heat, Joint};
use super::means::Pour;
use super::mould::MouldAnswer;
use super::vessel::{Bucket, CupReading};
use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::Draw;
use stillbed_material::{Ingredient, Recipe};

/// The lifts of a pour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lifts {
    /// Number of lifts of the casting that has most.
    pub count: usize,
    /// Height of the highest lift, m.
    pub height_m: f64,
    /// Time from the beginning of one lift to that of the next, s; `None` with a single one.
    pub wait_s: Option<f64>,
    /// How a lift joins the one below; `None` with a single one, or where the cure is not known.
    pub joint: Option<Joint>,
}

/// The inputs of masses and batches.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Basis {
    /// Part of the mix lost on tools and in joints.
    pub waste: f64,
    /// Volume of mix that the bucket takes.
    pub bucket_m3: f64,
    /// Time to mix a batch.
    pub mixing_time_s: f64,
    /// Rate of placing and vibrating the mix.
    pub placing_rate_kg_per_s: f64,
    /// Ingredients by weight: binder, aggregates, pigment.
    pub shares: Vec<IngredientShare>,
    /// Weight of hardener to one of resin, where it is known.
    pub hardener_to_resin: Option<f64>,
}

/// One ingredient of a mix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IngredientShare {
    /// Name of the ingredient.
    pub of: String,
    /// Share by weight, in the recipe's parts.
    pub share: f64,
}

impl Basis {
    pub(super) fn of(recipe: &Recipe, pour: &Pour) -> Basis {
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

/// The batch sheet of one mix.
///
/// ```
/// use stillbed_material::{Aggregate, Ingredient, Recipe, Table};
/// use stillbed_study::pour::{CastShape, Pour, PourSheet};
///
/// let table = Table::built_in();
/// let binder = Ingredient::new(table.get("epoxy, slow casting").unwrap(), 20.0);
/// let sand = Aggregate::new(table.get("quartz sand").unwrap(), 80.0, (0.3e-3, 0.8e-3));
/// // A slab 20 mm thick that takes a litre.
/// let pour = Pour::new(vec![CastShape::slab("bed", 0.02, 1e-3)]);
/// let sheet = PourSheet::compute(&Recipe::plain("sand", binder, vec![sand]), &pour).unwrap();
/// assert!((sheet.cast_mass_kg - 1e-3 * sheet.density_kg_per_m3).abs() < 1e-12);
/// // A twentieth more is mixed for what sticks to the tools, and weighed to the gram.
/// assert!((sheet.mixed_mass_kg - 1.05 * sheet.cast_mass_kg).abs() < 5e-3);
/// assert_eq!(sheet.lifts.count, 1);
/// ```
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
    /// Mass to be lifted: cast mix and skeleton, kg.
    pub lifting_mass_kg: f64,
    /// Mass to mix, waste included, kg.
    pub mixed_mass_kg: f64,
    /// The inputs of masses and batches.
    pub basis: Basis,
    /// Price of the mix; `None` where it is not stated.
    pub price_per_kg: Option<f64>,
    /// All weights: the sum over the lifts.
    pub weights: Vec<Weight>,
    /// Time in which a batch must be placed, s, where the binder states one.
    pub working_time_s: Option<f64>,
    /// The state of the largest batch in its bucket, where the binder data suffice.
    pub bucket: Option<Bucket>,
    /// What each lift takes, in the order of pouring.
    pub pours: Vec<LiftPour>,
    /// The lifts.
    pub lifts: Lifts,
    /// The reading of the maker's cup, where the design states one.
    pub cup: Option<CupReading>,
    /// The heat of the cure, where the binder data suffice.
    pub heat: Option<Heat>,
    /// Linear strain that the cure leaves, an upper estimate.
    pub cure_strain: Option<f64>,
    /// The load on the mould and the board for it.
    pub mould: Option<MouldAnswer>,
    /// What to buy.
    pub shopping: Vec<Purchase>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What to beware of, each point once.
    pub cautions: Vec<&'static str>,
    /// Warnings.
    pub notes: Vec<Problem>,
}
