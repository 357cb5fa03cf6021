//! The checklist of a pour with its quantities, and what to beware of.
//!
//! The order is that of the trade (common practice).

use super::batch::Weight;
use super::sheet::{Pour, PourSheet, minutes};
use crate::material::Recipe;
use crate::quantity::{Kind, figures, show, show_digits};

/// Depth from which a mix has to be vibrated, about an inch: common practice.
const VIBRATE_FROM: f64 = 0.025;
/// What one person lifts, kg: common practice.
const ONE_PERSON: f64 = 25.0;

/// What to do, in order.
pub(super) fn steps(sheet: &PourSheet, recipe: &Recipe, pour: &Pour) -> Vec<String> {
    let length = |x: f64| show(x, Kind::Length);
    let celsius = |kelvin: f64| format!("{} °C", figures(kelvin - 273.15, 3));
    let mut steps = Vec::new();
    if let Some(mould) = &sheet.mould {
        let board = mould.board_m.unwrap_or(mould.least_board_m);
        steps.push(format!(
            "Build the mould of {} boards on ribs at {}: it holds {} at its foot.",
            length(board),
            length(mould.span_m),
            show(mould.pressure_pa, Kind::Stress)
        ));
    }
    steps.push("Seal the joints of the mould, wax it, plug conduits and threads.".to_string());
    if pour.skeleton > 0.0 {
        steps.push(
            "Degrease and roughen the skeleton, fix it in the mould, check that it is square.".to_string(),
        );
    }
    steps.push(format!(
        "Dry the grains; bring grains, binder, mould and room to {}.",
        celsius(pour.temperature)
    ));
    if let Some(batches) = &sheet.batches {
        let each = if batches.count == 1 { "one batch" } else { "batches, each" };
        let count = if batches.count == 1 { String::new() } else { format!("{} ", batches.count) };
        steps.push(format!(
            "Weigh out {count}{each} of {}: {}.",
            kilograms(batches.mass_kg),
            list(&batches.weights)
        ));
        let first = if recipe.pigment.is_some() {
            "the pigment into the resin, then the hardener"
        } else {
            "the hardener into the resin"
        };
        steps.push(format!(
            "Stir {first}, scraping the bucket; then the grains, the finest first: {} in all.",
            minutes(pour.mixing_time)
        ));
        if let Some(working) = sheet.working_time_s {
            steps.push(format!(
                "Place each batch within {} of adding the hardener; mixing and placing take {}.",
                minutes(working),
                minutes(batches.time_s)
            ));
        }
    }
    match (sheet.lifts.count, sheet.lifts.wait_s) {
        (1, _) => steps.push(format!("Fill the mould to {} in one lift.", length(pour.depth))),
        (count, wait) => steps.push(format!(
            "Fill the mould in {count} lifts of {}; begin the next {} after the last, while it is \
             gelled but not hard, or roughen it first.",
            length(sheet.lifts.height_m),
            wait.map_or("a day".to_string(), minutes)
        )),
    }
    if pour.depth > VIBRATE_FROM {
        steps.push(
            format!(
                "Vibrate each layer until bubbles stop rising: from {} deep on it does not let its air out by itself.",
                show(VIBRATE_FROM, Kind::Length)
            ),
        );
    }
    steps.push("Cast a test bar from the same batch, for density, modulus and loss.".to_string());
    if let Some(heat) = &sheet.heat {
        steps.push(format!(
            "Leave it alone: the middle is warmest, {}, about {} after mixing.",
            celsius(heat.cure.peak_k),
            minutes(heat.cure.peak_time_s)
        ));
    }
    steps.push(format!(
        "Open the mould when it is back at {}; cure it on as the maker's sheet says.",
        celsius(pour.temperature)
    ));
    steps.push(format!(
        "Weigh it: {} with its skeleton is expected; what is missing is air.",
        kilograms(sheet.lifting_mass_kg)
    ));
    steps
}

fn list(weights: &[Weight]) -> String {
    let one = |w: &Weight| format!("{} {}", kilograms(w.mass_kg), w.of);
    weights.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn kilograms(mass: f64) -> String {
    show_digits(mass, Kind::Mass, 4)
}

/// What to beware of in this pour, each once.
pub(super) fn cautions(sheet: &PourSheet, recipe: &Recipe) -> Vec<&'static str> {
    let mut cautions = vec![
        "Uncured binder and its fumes sensitise skin and lungs: wear gloves, ventilate, follow the \
         maker's data sheet.",
    ];
    if !recipe.aggregates.is_empty() {
        cautions.push(
            "Dry sand and stone dust carry crystalline silica: wear a respirator, work wet where you can.",
        );
    }
    cautions
        .push("Thick or warm pours can overheat and smoke: keep to the lifts, spread left-over mix thinly.");
    if sheet.lifting_mass_kg > ONE_PERSON {
        cautions.push(
            "The casting is beyond one person's lift: use rated gear and cast-in inserts for the \
             stated mass.",
        );
    }
    cautions.push(
        "These are estimates for design, not a certificate: where a failure could hurt someone, \
         local codes and a licensed engineer decide.",
    );
    cautions
}
