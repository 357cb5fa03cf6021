//! The checklist of a pour with its quantities, and what to beware of.
//!
//! The sequence is that of the trade (common practice).

use super::batch::{Batches, LiftPour, Weight, minutes};
use super::heat_answer::Joint;
use super::means::Pour;
use super::sheet::PourSheet;
use stillbed_input::quantity::{Kind, figures, show, show_digits};
use stillbed_material::Recipe;

/// Depth from which a mix has to be vibrated, about an inch: common practice.
const VIBRATE_FROM: f64 = 0.025;
/// Mass that one person lifts, kg: common practice.
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
    let first = if recipe.pigment.is_some() {
        "the pigment into the resin, then the hardener"
    } else {
        "the hardener into the resin"
    };
    steps.push(format!(
        "For each batch stir {first}, scraping the bucket; then the grains, the finest first: {} in all.",
        minutes(pour.mixing_time)
    ));
    steps.extend(bucket(sheet));
    for (i, lift) in sheet.pours.iter().enumerate() {
        if let Some(joint) = sheet.lifts.joint.filter(|_| i > 0) {
            steps.push(join(joint, lift.number));
        }
        let alike = sheet.pours[..i].iter().find(|earlier| earlier.weights == lift.weights);
        steps.push(pour_lift(lift, sheet.pours.len(), alike));
    }
    if pour.depth() > VIBRATE_FROM {
        steps.push(
            format!(
                "Vibrate each layer until bubbles stop rising: from {} deep on it does not let its air out by itself.",
                show(VIBRATE_FROM, Kind::Length)
            ),
        );
    }
    steps.push("Cast a test bar from the same batch, for density, modulus and loss.".to_string());
    if let Some(heat) = &sheet.heat {
        let hottest = heat.hottest();
        let after = hottest.of_lifts.iter().enumerate().max_by(|a, b| a.1.peak_k.total_cmp(&b.1.peak_k));
        let (lift, time) = after.map_or((1, 0.0), |(i, lift)| (i + 1, lift.peak_time_s));
        steps.push(format!(
            "Leave it alone and read a thermometer in the {}: it is hottest, {} ({} to {}), about {} after lift \
             {lift} was laid. Hotter than that, cool the mould with a fan{}.",
            hottest.name,
            celsius(heat.peak_k.value),
            celsius(heat.peak_k.low),
            celsius(heat.peak_k.high),
            minutes(time),
            if sheet.pours.len() > 1 { " and pour the next lift later" } else { "" }
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

/// How long a batch can be worked, and what to do if it gets hot.
fn bucket(sheet: &PourSheet) -> Option<String> {
    let batches = sheet.pours.iter().filter_map(|lift| lift.batches.as_ref());
    let longest = batches.map(|batches| batches.time_s).reduce(f64::max)?;
    let working = minutes(sheet.working_time_s?);
    let mut told = format!(
        "Place each batch within {working} of adding the hardener; mixing and placing take {}.",
        minutes(longest)
    );
    if let Some(bucket) = sheet.bucket {
        told.push_str(&format!(
            " In the bucket {} warm by {} K until then. If it feels warmer, place it at once; if it smells or \
             smokes, stop, take it into the open and spread it thinly on sand or foil.",
            kilograms(bucket.mass_kg),
            figures(bucket.warms_k, 2)
        ));
    }
    Some(told)
}

fn join(joint: Joint, lift: usize) -> String {
    let before = lift - 1;
    match joint {
        Joint::Wet => format!("Lift {before} has not gelled when lift {lift} begins: the mould bears both."),
        Joint::Soft => format!(
            "See that lift {before} has gelled and is still soft: a nail marks it and nothing flows. Wipe off \
             what has bled out."
        ),
        Joint::Hard => format!(
            "Lift {before} is hard by now: roughen its top, vacuum the dust (with a respirator), wipe it, and \
             brush on a thin coat of mixed binder just before lift {lift}."
        ),
    }
}

fn pour_lift(lift: &LiftPour, of: usize, alike: Option<&LiftPour>) -> String {
    let fills: Vec<String> = lift.fills.iter().map(|filling| filling.told()).collect();
    let mut told = match of {
        1 => "In one lift".to_string(),
        _ => format!("Lift {} of {of}, {}", lift.number, lift.when()),
    };
    let weighed = |batches: &Batches| match alike {
        Some(alike) => format!("as for lift {}", alike.number),
        None => list(&batches.weights),
    };
    match &lift.batches {
        Some(batches) if batches.count == 1 => {
            told.push_str(&format!(
                ": weigh one batch of {}: {}.",
                kilograms(batches.mass_kg),
                weighed(batches)
            ));
        }
        Some(batches) => told.push_str(&format!(
            ": weigh {} batches, each of {}: {}. One person needs {} for them.",
            batches.count,
            kilograms(batches.mass_kg),
            weighed(batches),
            minutes(batches.count as f64 * batches.time_s)
        )),
        None => told.push_str(&format!(", {} of mix.", kilograms(lift.mixed_kg))),
    }
    told.push_str(&format!(" Fill {}.", fills.join("; ")));
    told
}

fn list(weights: &[Weight]) -> String {
    let one = |w: &Weight| format!("{} {}", kilograms(w.mass_kg), w.of);
    weights.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn kilograms(mass: f64) -> String {
    show_digits(mass, Kind::Mass, 5)
}

/// What to beware of in this pour, each point once.
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
        .push("Thick or warm pours can overheat and smoke: keep to lifts and waits, and spread left-over mix thinly, \
             never leave it standing in the bucket.");
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
