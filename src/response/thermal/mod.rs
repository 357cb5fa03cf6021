//! What do a change of temperature and the cure of a cast fill do to a base?
//!
//! ```text
//! temperature_change  a change of temperature and a cure, as the frame sees them
//! section_parts       one section: the free strains of its parts, their common strain, the stress in each
//! from_geometry       a section prepared for this from its drawn outlines: corners, borders, nests, widths
//! thermal_load        the free strains of the members, and the load that they are on the frame
//! border              where a part touches the others, and whether it lies within them
//! nest                parts that lie within each other all round, as chains of rings
//! rings               stress in a bar of concentric rings that hold each other's widths
//! bond_shear          the shear where a part is bonded to the others
//! weight_stress       stress from weight, and together with temperature and cure
//! answer              the answer: growth, bow, drift, stress, what fails
//! state               how that answer is found
//! undivided           drift and bow of a frame that is already solved
//! diffusion           how long a change of room temperature takes
//! spec                the table `[thermal]` of the design file
//! sample              sections and bars for tests
//! ```

mod answer;
mod bond_shear;
mod border;
mod diffusion;
mod from_geometry;
mod nest;
mod rings;
#[cfg(test)]
mod sample;
mod section_parts;
pub mod spec;
mod state;
mod temperature_change;
mod thermal_load;
mod undivided;
mod weight_stress;

pub use answer::{
    BodyWeightStress, CureMotion, Failure, FailureKind, Thermal, ThermalBody, ThermalBodyPart, ThermalMember,
    ThermalPart, ThermalRequest, ThermalState,
};
pub use border::{Border, Ring};
pub use diffusion::{STILL_AIR, SectionTimes, Settling, SettlingInstant, slab_decay_time, solve_settling};
pub use nest::Nest;
pub use section_parts::{CompositePart, CompositeSection};
pub use state::solve_thermal;
pub use temperature_change::{Cure, TemperatureGradient, ThermalCase};
pub use undivided::{drift_per_kelvin, largest_bow};
pub use weight_stress::WeightStress;
