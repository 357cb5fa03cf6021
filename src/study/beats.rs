//! How often one build beats another, over the draws.

use super::measures::Figures;
use super::spread::rank::chance_to_beat;
use serde::Serialize;
use stillbed_design::{Design, Measure};

/// The chance that one build beats another.
#[derive(Debug, Clone, Serialize)]
pub struct Beats {
    /// The build that wins.
    pub build: String,
    /// The build that it beats.
    pub over: String,
    /// The measure compared.
    pub by: &'static str,
    /// 0 to 1; a tie counts half.
    pub chance: f64,
}

/// For every pair of builds and every measure, the chance that the first beats the second.
pub(super) fn beats(design: &Design, drawn: &[Vec<Option<Figures>>]) -> Vec<Beats> {
    let mut beats = Vec::new();
    for measure in Measure::ALL {
        let column = |i: usize| -> Vec<Option<f64>> {
            drawn.iter().map(|row| row[i].as_ref().and_then(|f| f.get(measure))).collect()
        };
        let columns: Vec<Vec<Option<f64>>> = (0..design.builds.len()).map(column).collect();
        for (i, build) in design.builds.iter().enumerate() {
            for (j, other) in design.builds.iter().enumerate().filter(|(j, _)| *j != i) {
                if let Some(chance) = chance_to_beat(&columns[i], &columns[j], measure.more_is_better()) {
                    let (build, over) = (build.name.clone(), other.name.clone());
                    beats.push(Beats { build, over, by: measure.key(), chance });
                }
            }
        }
    }
    beats
}
