//! Warnings about a pour: what it cannot keep, and what to do about it.

use super::batch::minutes;
use super::heat_answer::Joint;
use super::means::Pour;
use super::sheet::PourSheet;
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, figures, show};

/// Share of its strength that a board may use.
const SAFE_USE: f64 = 1.0 / 3.0;

/// The warnings about `sheet`.
pub(super) fn doubts(sheet: &PourSheet, pour: &Pour) -> Vec<Problem> {
    let mut notes = Vec::new();
    let mut note = |key: &str, message: String, help: &str| {
        let place = Place::key(&format!("pour.\"{}\".{key}", sheet.mix));
        notes.push(Problem::warning(place, message).with_help(help));
    };
    let celsius = |kelvin: f64| format!("{} °C", figures(kelvin - 273.15, 3));
    match &sheet.heat {
        None => note(
            "heat",
            "the heat of the cure is not known for this binder".to_string(),
            "state heat_of_reaction, rate_constant and activation_temperature of the binder, and \
             conductivity and heat_capacity of every ingredient",
        ),
        Some(heat) => {
            let peak = heat.peak_k;
            if let Some(limit) = heat.limit_k.filter(|limit| peak.high > *limit + 0.5) {
                let chance = heat.chance_above_limit.unwrap_or(1.0);
                let message = format!(
                    "the hottest place reaches {} ({} to {}), the binder allows {}: passed in {} % of the draws",
                    celsius(peak.value),
                    celsius(peak.low),
                    celsius(peak.high),
                    celsius(limit),
                    figures(100.0 * chance, 2)
                );
                let help = match (pour.lift, pour.wait) {
                    (None, None) => {
                        "no number of lifts keeps it below: pour cooler, with a slower hardener \
                                     or with less binder, or measure the cure of your own binder"
                    }
                    _ => "leave out lift and wait of [pour] to have them proposed, or pour cooler",
                };
                note("heat", message, help);
            }
        }
    }
    if let (Some(Joint::Hard), Some(wait)) = (sheet.lifts.joint, sheet.lifts.wait_s) {
        let message = format!(
            "a lift laid {} after the last meets it hard: no earlier time is cool enough",
            minutes(wait)
        );
        note("lifts", message, "roughen and wipe each lift before the next, or take a slower binder");
    }
    if sheet.pours.iter().any(|lift| lift.batches.is_none()) {
        let message = format!(
            "mixing takes {}, the binder can be worked for {}",
            minutes(pour.mixing_time),
            sheet.working_time_s.map_or("-".to_string(), minutes)
        );
        note("batches", message, "mix faster, pour cooler, or take a slower hardener");
    }
    if let Some(mould) = &sheet.mould {
        if mould.board_m.is_none() {
            let message = format!(
                "a board of {} would be needed between ribs at {}",
                show(mould.least_board_m, Kind::Length),
                show(mould.span_m, Kind::Length)
            );
            note("mould", message, "set the ribs closer");
        } else if mould.use_of_strength > SAFE_USE {
            let message = format!(
                "the board is used to {} % of its strength",
                figures(100.0 * mould.use_of_strength, 2)
            );
            note("mould", message, "set the ribs closer, or take a thicker board");
        }
    }
    notes
}
