//! The pour: what to buy, weigh and mix, how it cures, and what to beware of.
//!
//! ```text
//! kinetics     rate of cure of a binder
//! heat         temperature and cure of a casting poured in lifts
//! runaway      how near a wide lift is to thermal runaway
//! shape        the shape of a casting, and the grid over it
//! vessel       a cup of binder and a bucket of mix
//! cup_curve    the logged temperature of a cup of binder
//! trial        the cure of a binder read from that
//! drawn        uncertain inputs of the heat
//! plan         number of lifts and the wait between them
//! means        what is poured and by what means
//! heat_answer  the heat in the form that the sheet shows
//! mould        pressure on the mould, and the thickness of its boards
//! batch        what to weigh for each lift
//! sheet        the batch sheet of one mix
//! doubts       its warnings
//! steps        its checklist and cautions
//! compute      computes the sheet
//! members      castings from the members of a frame
//! cast_body    a casting from a body of the design
//! bodies       the sheets of every build
//! body         a body drawn as a closed surface
//! ```

mod batch;
pub mod bodies;
mod body;
mod cast_body;
mod compute;
mod cup_curve;
mod doubts;
mod drawn;
mod heat;
mod heat_answer;
mod kinetics;
mod means;
mod members;
mod mould;
mod plan;
mod runaway;
mod shape;
mod sheet;
mod steps;
mod trial;
mod vessel;

pub use batch::{Batches, Filling, LiftPour, Pace, Purchase, Weight, batches, mass_to_mix, shopping, weigh};
pub use body::Body;
pub use cup_curve::CupCurve;
pub use heat::{Casting, Cell, Cured, End, Face, Fill, Laying, Lifted, Moment, Room, Solid};
pub use heat_answer::{AtOnce, CastingHeat, Heat, HeatMoment, Joint, LiftHeat};
pub use kinetics::{Kinetics, adiabatic_rise};
pub use means::Pour;
pub use mould::{Mould, MouldAnswer};
pub use runaway::{critical_slab, runaway};
pub use shape::{CastShape, Side, Standing};
pub use sheet::{Basis, IngredientShare, Lifts, PourSheet};
pub use trial::{CupTrial, TrialFault, read_trial};
pub use vessel::{Bucket, CupReading};
