//! What each section of a design is worth: the answer of the command `section`.

use super::apart::apart;
use crate::design::{Build, Design};
use crate::problem::Problem;
use crate::quantity::Draw;
use crate::section::{Loss, Shares, Stiffness};
use serde::Serialize;

/// The sections of every build.
#[derive(Debug, Clone, Serialize)]
pub struct Sections {
    /// In the order of the design.
    pub builds: Vec<BuildSections>,
    /// What is doubtful.
    pub notes: Vec<Problem>,
}

/// The sections of one build.
#[derive(Debug, Clone, Serialize)]
pub struct BuildSections {
    /// Its key in the design.
    pub name: String,
    /// What a reader calls it.
    pub label: String,
    /// Those that its members are made of.
    pub sections: Vec<SectionAnswer>,
}

/// One section.
#[derive(Debug, Clone, Serialize)]
pub struct SectionAnswer {
    /// Its key in the design.
    pub name: String,
    /// Mass per length.
    pub mass_kg_per_m: f64,
    /// Where an axial force does not bend, [y, z].
    pub elastic_centre_m: [f64; 2],
    /// [y, z]; `None` without mass.
    pub mass_centre_m: Option<[f64; 2]>,
    /// Where a shear force does not twist, [y, z].
    pub shear_centre_m: [f64; 2],
    /// How far its parts act together, 0 to 1.
    pub bond: f64,
    /// Estimated relative error of torsion and shear stiffness.
    pub error: f64,
    /// False where a soft layer lets the parts bend for themselves: bending and shear of the bonded
    /// section are then not sound, and their loss is not given.
    pub plane_sections_hold: bool,
    /// As one body.
    pub bonded: Acting,
    /// Parts sliding on each other.
    pub sliding: Acting,
    /// As the bond says.
    pub as_stated: Acting,
    /// Who carries what, as stated.
    pub parts: Vec<PartAnswer>,
}

/// Stiffnesses and their loss for one way of acting together.
#[derive(Debug, Clone, Serialize)]
pub struct Acting {
    /// Real parts.
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
    /// What later parts leave of it.
    pub area_m2: f64,
    /// Its mass per length.
    pub mass_kg_per_m: f64,
    /// Its shares of strain energy.
    #[serde(flatten)]
    pub shares: Shares,
    /// What is left of it: pieces, each an outer ring and its holes.
    #[serde(skip)]
    pub outlines: Vec<Vec<Vec<[f64; 2]>>>,
}

impl Sections {
    /// The sections of every build of `design`, at the stated values.
    ///
    /// # Errors
    /// What keeps a section from being solved, at its place.
    pub fn of(design: &Design) -> Result<Sections, Vec<Problem>> {
        apart(design, Sections::of_all, Sections::of_all)
    }

    fn of_all(design: &Design) -> Result<Sections, Vec<Problem>> {
        let builds = design.builds.iter().map(|build| of_build(design, build)).collect::<Result<_, _>>()?;
        Ok(Sections { builds, notes: design.notes.clone() })
    }
}

fn of_build(design: &Design, build: &Build) -> Result<BuildSections, Vec<Problem>> {
    let model = build.model(&design.goal, &Draw::default())?;
    let mut sections = Vec::new();
    for (profile, solution) in build.profiles.iter().zip(&model.sections) {
        let sliding = |action: &crate::section::Action| Acting {
            stiffness: action.stiffness,
            loss: action.stiffness.loss(),
        };
        let acting = |action: &crate::section::Action| match sliding(action) {
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
