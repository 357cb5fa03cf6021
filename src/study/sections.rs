//! Stiffness, mass and loss of each section of a design: the answer of the command `section`.

use super::partial::answer_solvable;
use serde::Serialize;
use stillbed_design::{Build, Design};
use stillbed_input::problem::{Problem, Problems};
use stillbed_input::quantity::Draw;
use stillbed_section::{Loss, PartShares, Stiffness};

/// The answer of `section`: the sections of every build.
#[derive(Debug, Clone, Serialize)]
pub struct Sections {
    /// In the order of the design.
    pub builds: Vec<BuildSections>,
    /// Warnings.
    pub notes: Vec<Problem>,
}

/// The sections of one build.
#[derive(Debug, Clone, Serialize)]
pub struct BuildSections {
    /// Its key in the design.
    pub name: String,
    /// Its name for the reader.
    pub label: String,
    /// The sections of its members.
    pub sections: Vec<SectionAnswer>,
}

/// One section.
#[derive(Debug, Clone, Serialize)]
pub struct SectionAnswer {
    /// Its key in the design.
    pub name: String,
    /// Mass per length.
    pub mass_kg_per_m: f64,
    /// Point at which an axial force causes no bending, [y, z].
    pub elastic_centre_m: [f64; 2],
    /// Centre of mass, [y, z]; `None` without mass.
    pub mass_centre_m: Option<[f64; 2]>,
    /// Point at which a shear force causes no twist, [y, z].
    pub shear_centre_m: [f64; 2],
    /// Degree of composite action of its parts: 0 sliding, 1 bonded.
    pub bond: f64,
    /// Estimated relative error of torsion and shear stiffness.
    pub error: f64,
    /// False where a soft layer shears so much that the parts bend on their own: bending and shear stiffness
    /// of the bonded section are then unreliable, and their loss is not given.
    pub plane_sections_hold: bool,
    /// With all parts bonded into one body.
    pub bonded: Acting,
    /// With parts that slide on each other.
    pub sliding: Acting,
    /// With the bond of the design.
    pub as_stated: Acting,
    /// Its parts and their shares of strain energy, with the bond of the design.
    pub parts: Vec<PartAnswer>,
}

/// Stiffnesses and loss factors at one degree of composite action.
#[derive(Debug, Clone, Serialize)]
pub struct Acting {
    /// Real parts of the stiffnesses.
    #[serde(flatten)]
    pub stiffness: Stiffness,
    /// Loss factors under the same names.
    pub loss: Loss,
}

/// One part of a section.
#[derive(Debug, Clone, Serialize)]
pub struct PartAnswer {
    /// Its material or mix.
    pub of: String,
    /// Area, less what later parts displace.
    pub area_m2: f64,
    /// Its mass per length.
    pub mass_kg_per_m: f64,
    /// Its shares of the strain energy.
    #[serde(flatten)]
    pub shares: PartShares,
    /// Its outlines, less what later parts displace: regions, each an outer ring and its holes.
    #[serde(skip)]
    pub outlines: Vec<Vec<Vec<[f64; 2]>>>,
}

impl Sections {
    /// The sections of every build of `design`, at nominal values.
    ///
    /// # Errors
    /// What keeps a section from being solved, at its place.
    pub fn compute(design: &Design) -> Result<Sections, Problems> {
        answer_solvable(design, Sections::of_all, Sections::of_all)
    }

    fn of_all(design: &Design) -> Result<Sections, Problems> {
        let builds = design.builds.iter().map(|build| of_build(design, build)).collect::<Result<_, _>>()?;
        Ok(Sections { builds, notes: design.notes.clone() })
    }
}

fn of_build(design: &Design, build: &Build) -> Result<BuildSections, Problems> {
    let model = build.weights(&design.goal, &Draw::default())?;
    let mut sections = Vec::new();
    for (profile, solution) in build.profiles.iter().zip(&model.sections) {
        let sliding = |action: &stillbed_section::Action| Acting {
            stiffness: action.stiffness,
            loss: action.stiffness.loss(),
        };
        let acting = |action: &stillbed_section::Action| match sliding(action) {
            sound if solution.holds_plane() => sound,
            unsound => Acting { loss: unsound.loss.without_bending(), ..unsound },
        };
        let parts = profile.geometry.parts().iter().enumerate().map(|(i, part)| PartAnswer {
            of: build.substances[part.medium].name().to_string(),
            area_m2: solution.parts[i].area_m2,
            mass_kg_per_m: solution.parts[i].mass_kg_per_m,
            shares: solution.as_stated.shares[i],
            outlines: profile.geometry.outlines()[i].clone(),
        });
        sections.push(SectionAnswer {
            name: profile.name.clone(),
            mass_kg_per_m: solution.mass_per_length,
            elastic_centre_m: solution.elastic_centre,
            mass_centre_m: solution.mass_centre,
            shear_centre_m: solution.shear_centre,
            bond: profile.bond.value,
            error: solution.error,
            plane_sections_hold: solution.holds_plane(),
            bonded: acting(&solution.bonded),
            sliding: sliding(&solution.sliding),
            as_stated: acting(&solution.as_stated),
            parts: parts.collect(),
        });
    }
    Ok(BuildSections { name: build.name.clone(), label: build.label.clone(), sections })
}
