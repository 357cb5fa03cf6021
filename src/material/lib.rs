//! Materials and mixes: properties with their sources, and what a recipe of binder and grains becomes
//! when cast.
//!
//! ```text
//! property      the properties of a material, and the physical and usual limits of each
//! medium        one material as the mechanics needs it: complex moduli, density, expansion
//! entry         one material with its properties, their spread and sources
//! sources       the bibliography
//! reader        a table of materials, read from CSV
//! table         the built-in table, overridden by tables of the user
//! listing       the answer of the command `materials`
//! spec          materials and mixes of a design file, read
//! recipe        a mix with its materials: shares by weight, grain sizes, air
//! grading       the sieve curve of the grains against ideal curves
//! packing       how densely grains of several sizes pack
//! compaction    how densely they lie after compaction, and how much air stays
//! demand        how much binder the voids between the grains need
//! homogenise    bounds and closed-form estimates of the moduli of a mixture
//! differential  the differential scheme: spheres added to a host little by little
//! cemented      packed grains with too little binder to fill the voids
//! phases        a recipe as phases stirred together
//! strength      tensile strength of a mix
//! measured      what a test bar says about its mix
//! mix           everything predicted for a cast mix
//! advice        warnings about a recipe and suggestions for it
//! mix_answer    the answer of the command `mix`
//! ```

mod advice;
mod cemented;
mod compaction;
pub mod demand;
mod differential;
mod entry;
pub mod grading;
pub mod homogenise;
mod listing;
mod measured;
mod medium;
mod mix;
mod mix_answer;
pub mod packing;
mod phases;
mod property;
mod reader;
mod recipe;
mod sources;
pub mod spec;
mod strength;
mod table;

pub use advice::advice;
pub use cemented::{Packed, cemented};
pub use compaction::Compaction;
pub use differential::{Host, Stirred, stir};
pub use entry::{Figure, GrainShape, Material, MissingProperty};
pub use listing::{ListedFigure, ListedMaterial, Listing};
pub use measured::{Implied, Measured};
pub use medium::{Medium, Role};
pub use mix::{GEL, Prediction, cure_strain, predict, schemes};
pub use mix_answer::{Beside, Bounded, IngredientShare, MixAnswer};
pub use phases::VolumeFractions;
pub use property::Property;
pub use recipe::{Aggregate, Ingredient, Recipe, model_error};
pub use sources::{Sources, WITHOUT_SOURCE, keys_of};
pub use strength::Strength;
pub use table::{Override, Table};

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;
