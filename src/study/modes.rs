//! Where each build of a design rings: the answer of the command `modes`.

use super::measures::Misses;
use crate::design::{Design, Measure};
use crate::modes::{Asked, BuildModes, solve};
use crate::problem::Problem;
use crate::quantity::Draw;
use serde::Serialize;

/// The modes of every build.
#[derive(Debug, Clone, Serialize)]
pub struct Modes {
    /// In the order of the design.
    pub builds: Vec<BuildModes>,
    /// What is doubtful.
    pub notes: Vec<Problem>,
    /// Targets of mass and first frequency, as far as every build misses them.
    pub misses: Misses,
}

impl Modes {
    /// The lowest `count` elastic modes of every build of `design`, at the stated values.
    ///
    /// # Errors
    /// What keeps a build from having modes, at its place.
    pub fn of(design: &Design, count: usize) -> Result<Modes, Vec<Problem>> {
        let asked = Asked { count, ..Asked::default() };
        let mut builds = Vec::new();
        let mut notes = design.notes.clone();
        let mut misses = Misses::new(&design.goal.targets);
        for build in &design.builds {
            let model = build.model(&design.goal, &Draw::default())?;
            let answer = solve(&model.frame, &asked)
                .and_then(|spectrum| BuildModes::new(&build.name, &model.frame, &spectrum))
                .map_err(|fault| build.problems(&fault))?;
            notes.extend(answer.notes.iter().cloned());
            misses.judge(&build.name, |measure| match measure {
                Measure::Mass => Some(Some(answer.mass_kg)),
                Measure::FirstFrequency => Some(answer.modes.first().map(|mode| mode.frequency_hz)),
                _ => None,
            });
            builds.push(answer);
        }
        Ok(Modes { builds, notes, misses })
    }
}
