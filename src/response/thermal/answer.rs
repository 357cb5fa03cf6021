//! The answer to a change of temperature and a cure: growth, bow, drift, stress, what fails.

use super::temperature_change::Cure;
use super::weight_stress::WeightStress;
use crate::deformation::{Carriage, CarriagePath, Rail, Straightness, Xyz};
use serde::Serialize;

/// What is requested besides the change itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ThermalRequest {
    /// Lines whose straightness is requested.
    pub rails: Vec<Rail>,
    /// A carriage whose path over them is requested.
    pub carriage: Option<Carriage>,
    /// Shear strength of the bond between fill and skeleton, Pa; `None` where it is not known.
    pub bond_strength: Option<f64>,
}

/// What temperature and cure do to a base.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Thermal {
    /// The build.
    pub name: String,
    /// Displacement of the tip relative to the work for one kelvin everywhere, m/K; `None` without a tool.
    pub drift_m_per_k: Option<Xyz>,
    /// The same as an angle, rad/K.
    pub turn_rad_per_k: Option<Xyz>,
    /// Under the stated change.
    #[serde(flatten)]
    pub state: ThermalState,
    /// Where fill would crack or let go; parts count as bonded until then.
    pub failures: Vec<Failure>,
    /// The state with the members of `failures` sliding.
    pub sliding: Option<ThermalState>,
    /// What the cure by itself moved, where it adds to the stresses alone.
    pub cure: Option<CureMotion>,
}

/// What the cure of the mixes did to a base before its faces are finished.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CureMotion {
    /// By mix.
    pub of: Vec<Cure>,
    /// The member that it bows most, and by how much, m.
    pub bows_most: Option<(String, f64)>,
    /// Of the requested lines.
    pub straightness: Vec<Straightness>,
}

/// Motion and stress under the stated change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalState {
    /// Displacement of the tip relative to the work, m; `None` without a tool.
    pub drift_m: Option<Xyz>,
    /// The same as an angle, rad.
    pub turn_rad: Option<Xyz>,
    /// By member.
    pub members: Vec<ThermalMember>,
    /// By body.
    pub bodies: Vec<ThermalBody>,
    /// Of the requested lines.
    pub straightness: Vec<Straightness>,
    /// The path of the carriage over the bent lines, without its own weight; `None` without a carriage.
    pub path: Option<CarriagePath>,
}

/// One member.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalMember {
    /// Its name.
    pub name: String,
    /// How much longer it becomes, m.
    pub growth_m: f64,
    /// Largest distance of its line from the line through its ends, m.
    pub bow_m: f64,
    /// By part of its section.
    pub parts: Vec<ThermalPart>,
}

/// One body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalBody {
    /// Its name.
    pub name: String,
    /// How much longer it becomes along the three axes of its grid, m.
    pub growth_m: [f64; 3],
    /// Range of the distances of an outer face from the plane that fits it best, m; of the face that bows most.
    pub bow_m: f64,
    /// By material.
    pub parts: Vec<ThermalBodyPart>,
}

/// The stress of one material of a body where its margin is least, or, without a strength, where it is largest; a
/// hundredth of its volume, at edges and patches, bears more.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalBodyPart {
    /// The material.
    pub of: String,
    /// Principal stress from temperature and cure, tension positive, Pa.
    pub stress_pa: f64,
    /// Tensile strength, or compressive where the stress is compressive, Pa.
    pub strength_pa: Option<f64>,
    /// Strength over stress; `None` without strength or stress.
    pub margin: Option<f64>,
    /// Where, global axes, m.
    pub at_m: [f64; 3],
    /// With the weight of everything; `None` where nothing holds the base.
    pub weight: Option<BodyWeightStress>,
}

/// The stress of one material of a body from weight, temperature and cure together, as that of
/// [`ThermalBodyPart`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BodyWeightStress {
    /// Principal stress, tension positive, Pa.
    pub together_pa: f64,
    /// Strength over stress; `None` without strength or stress.
    pub margin: Option<f64>,
    /// Where, global axes, m.
    pub at_m: [f64; 3],
}

/// The stress of one part where its margin is least, or, without a strength, where it is largest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThermalPart {
    /// Its material.
    pub of: String,
    /// Along the member, tension positive, Pa; the sum of the next four.
    pub stress_pa: f64,
    /// Its component from the axial force of the member, Pa.
    pub axial_pa: f64,
    /// Its component from the moments of the member, Pa.
    pub bending_pa: f64,
    /// Its component from expansion unlike that of the other parts, Pa.
    pub mismatch_pa: f64,
    /// Its component from the cure, Pa.
    pub shrinkage_pa: f64,
    /// Tensile strength, or compressive where the stress is compressive, Pa.
    pub strength_pa: Option<f64>,
    /// Strength over stress; `None` without strength or stress.
    pub margin: Option<f64>,
    /// From the member's start, m.
    pub at_m: f64,
    /// Place in the section, [y, z], m.
    pub at_section_m: [f64; 2],
    /// Largest across the member, tension positive, Pa, where it lies within other parts or around them all
    /// round; of temperature and cure.
    pub across_pa: Option<f64>,
    /// Strength over that.
    pub across_margin: Option<f64>,
    /// Mean shear of its bond to the other parts over the overlap of a lap test at the member's ends, Pa.
    pub bond_shear_pa: Option<f64>,
    /// Length from an end over which 95 % of that force is transferred, m.
    pub bond_reach_m: Option<f64>,
    /// Bond strength over that shear.
    pub bond_margin: Option<f64>,
    /// What the weight of everything adds; `None` where nothing holds the base.
    pub weight: Option<WeightStress>,
}

/// How a fill fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FailureKind {
    /// Its stress along the member exceeds its strength.
    Cracks,
    /// Its stress across the member exceeds its strength: cracks run along.
    Splits,
    /// The shear at its bond line exceeds the bond strength.
    LetsGo,
}

/// A fill that cracks or lets go.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Failure {
    /// The member.
    pub member: String,
    /// The material.
    pub of: String,
    /// How.
    pub how: FailureKind,
    /// From the member's start, m.
    pub at_m: f64,
    /// Place in the section, [y, z], m.
    pub at_section_m: [f64; 2],
    /// Stress or shear there, Pa.
    pub stress_pa: f64,
    /// The strength there, Pa.
    pub strength_pa: f64,
}
