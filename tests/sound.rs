//! Every design that `check` accepts, every command answers: tried on random plausible designs.
//!
//! `STILLBED_SOUND_DESIGNS=5000 STILLBED_SOUND_FIRST=1 cargo test --test sound` tries more designs;
//! `STILLBED_SOUND_REFUSED=1` prints what `check` refuses. A design that fails is printed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "sound/alike.rs"]
mod alike;
#[path = "sound/answers.rs"]
mod answers;
#[path = "sound/design.rs"]
mod design;
#[path = "sound/dice.rs"]
mod dice;
#[path = "sound/made.rs"]
mod made;
#[path = "sound/program.rs"]
mod program;
#[path = "sound/shape.rs"]
mod shape;

use rayon::prelude::*;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Number of designs in an ordinary test run.
const DESIGNS: u64 = 300;

fn stated(name: &str, usual: u64) -> u64 {
    std::env::var(name).ok().map_or(usual, |text| text.parse().expect("a number"))
}

#[test]
fn what_is_accepted_is_answered() {
    let (count, first) = (stated("STILLBED_SOUND_DESIGNS", DESIGNS), stated("STILLBED_SOUND_FIRST", 1));
    let refused = AtomicUsize::new(0);
    let one = |seed: u64| -> Vec<String> {
        let text = design::text(seed);
        let found = match catch_unwind(AssertUnwindSafe(|| answers::faults(&text, seed))) {
            Ok(Some(found)) => found,
            Ok(None) => {
                refused.fetch_add(1, Ordering::Relaxed);
                Vec::new()
            }
            Err(_) => vec!["a panic".to_string()],
        };
        if found.is_empty() { found } else { vec![format!("{}\n{text}", found.join("\n"))] }
    };
    let found: Vec<String> = (first..first + count).into_par_iter().flat_map_iter(one).collect();
    let refused = refused.into_inner();
    eprintln!("{count} designs from {first}: {refused} refused by check, {} with faults", found.len());
    assert!(found.is_empty(), "{} of {count} designs:\n\n{}", found.len(), found.join("\n\n"));
    // Designs that are refused test nothing, so they must be few.
    assert!((refused as u64) * 20 <= count, "{refused} of {count} designs are refused");
}

/// One design in this many is given to the program itself.
const RARE: u64 = 60;

#[test]
fn the_program_answers_in_every_form() {
    let (count, first) = (stated("STILLBED_SOUND_DESIGNS", DESIGNS), stated("STILLBED_SOUND_FIRST", 1));
    let seeds: Vec<u64> = (first..first + count).step_by(RARE as usize).collect();
    let found: Vec<String> = seeds.par_iter().flat_map_iter(|seed| program::faults(*seed)).collect();
    assert!(found.is_empty(), "{}", found.join("\n\n"));
}

/// One design in this many is also written in other ways.
const OTHERWISE: usize = 5;

#[test]
fn order_units_and_place_change_nothing() {
    let (count, first) = (stated("STILLBED_SOUND_DESIGNS", DESIGNS), stated("STILLBED_SOUND_FIRST", 1));
    let seeds: Vec<u64> = (first..first + count).step_by(OTHERWISE).collect();
    let found: Vec<String> = seeds.par_iter().flat_map_iter(|seed| alike::faults(*seed)).collect();
    assert!(found.is_empty(), "{} of {}:\n\n{}", found.len(), 3 * seeds.len(), found.join("\n\n"));
}
