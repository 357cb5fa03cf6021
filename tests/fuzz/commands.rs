//! Runs every command on a design: it answers in finite numbers, or refuses and names the place.

use super::choices::Choices;
use super::told;
use serde::Serialize;
use stillbed::design::Design;
use stillbed::problem::{Problem, Problems};
use stillbed::report::json::first_not_finite;
use stillbed::study::compare::{Comparison, Options};
use stillbed::study::modes::Modes;
use stillbed::study::pour::bodies::{PourOptions, Pours, compute_mixes};
use stillbed::study::response::{Response, ResponseOptions};
use stillbed::study::ringdown::{RingDownOptions, RingDowns};
use stillbed::study::sections::Sections;
use stillbed::study::spread::Draws;
use stillbed::study::thermal::{ThermalAnswer, ThermalOptions};

/// Runs every command.
pub fn ask(design: &Design, choices: &mut Choices) {
    let draws = if choices.once_in(5) { 2 } else { 0 };
    finite("section", Sections::compute(design));
    finite("modes", Modes::compute(design, 1 + choices.below(12), &Draws::NONE, |_, _| ()));
    finite("compare", Comparison::compute(design, &Options { draws, ..Options::default() }, |_, _| ()));
    let asked = ResponseOptions { range: None, path: None, floor: None };
    finite("response", Response::compute(design, &asked));
    let asked = RingDownOptions { duration: None, draws: Draws::NONE };
    finite("ringdown", RingDowns::compute(design, &asked, |_, _| ()));
    let change = design.goal.thermal.is_none().then_some(5.0);
    finite(
        "thermal",
        ThermalAnswer::compute(design, &ThermalOptions { change, ..ThermalOptions::default() }),
    );
    finite("mix", compute_mixes(design));
    let asked = PourOptions::default();
    finite("pour", Pours::compute(design, &asked));
}

fn finite<T: Serialize>(command: &str, answer: Result<T, Problems>) {
    match answer {
        Ok(answer) => assert_eq!(first_not_finite(&answer), None, "{command}"),
        Err(problems) => {
            assert!(problems.iter().any(Problem::is_error), "{command} refuses without a word");
            told(&problems);
        }
    }
}
