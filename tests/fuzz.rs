//! Readers given corrupted inputs: they refuse them and name the place, or read them, but never panic.
//!
//! Designs are changed as trees and tables as cells, so that most cases get past the syntax.
//! `STILLBED_FUZZ=1000000 cargo test --release --test fuzz designs` runs more cases than usual, and
//! `STILLBED_FUZZ_FIRST` begins elsewhere. Choices come from bytes by `arbitrary`, so that a fuzzer that watches
//! coverage may drive the same targets; `bolero` pins a version of `indexmap` that `toml` is ahead of.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "fuzz/choices.rs"]
mod choices;
#[path = "fuzz/commands.rs"]
mod commands;
#[path = "fuzz/slips.rs"]
mod slips;
#[path = "fuzz/sound.rs"]
mod sound;
#[path = "fuzz/tables.rs"]
mod tables;
#[path = "fuzz/tree.rs"]
mod tree;

use choices::Choices;
use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::problem::Problem;
use stillbed::solid::{ClosedSurface, Part, fit, read_stl};

/// Bytes of random data per case; each case uses some of them.
const BYTES: usize = 256;

/// Runs `target` on random bytes, `usual` times unless `STILLBED_FUZZ` asks for more, and fails if a case
/// takes too long. A failing case prints its number; `STILLBED_FUZZ_FIRST` starts there.
fn fuzz(usual: u64, target: impl Fn(&mut Choices) + Sync) {
    let stated = |name: &str| std::env::var(name).ok().map(|text| text.parse::<u64>().expect("a number"));
    let (count, first) =
        (stated("STILLBED_FUZZ").unwrap_or(usual), stated("STILLBED_FUZZ_FIRST").unwrap_or(1));
    let one = |number: u64| {
        let mut bytes = [0; BYTES];
        ChaCha8Rng::seed_from_u64(number).fill_bytes(&mut bytes);
        let start = Instant::now();
        let done = catch_unwind(AssertUnwindSafe(|| target(&mut Choices::new(&bytes))));
        assert!(done.is_ok(), "case {number} fails");
        assert!(start.elapsed() < Duration::from_secs(60), "case {number} took {:?}", start.elapsed());
    };
    // Threads of its own: one of the common pool, while it waits for part of a case, may take on a whole other case,
    // whose time would be counted to the first. So would that of other tests, which wait.
    static RUNNING: Mutex<()> = Mutex::new(());
    let _alone = RUNNING.lock().unwrap_or_else(PoisonError::into_inner);
    let next = AtomicU64::new(first);
    let work = || {
        while let Some(number) = Some(next.fetch_add(1, Ordering::Relaxed)).filter(|n| *n < first + count) {
            one(number);
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    std::thread::scope(|scope| {
        (0..threads).for_each(|_| drop(scope.spawn(work)));
    });
}

/// Every problem has a message, a file or a key, and no number that is not finite.
fn told(problems: &[Problem]) {
    for problem in problems {
        assert!(!problem.message.is_empty(), "{problem:?}");
        assert!(problem.place.file.is_some() || !problem.place.key.is_empty(), "{problem:?}");
        let odd = |text: &str| {
            let words = text.split(|c: char| !c.is_alphanumeric());
            words.into_iter().any(|word| matches!(word, "NaN"))
        };
        assert!(!odd(&problem.message), "{problem:?}");
    }
    assert!(problems.len() < 500, "{} problems", problems.len());
}

/// A design with random changes.
fn design(choices: &mut Choices) -> String {
    let sample = *choices.pick(&sound::SAMPLES);
    let text = match choices.once_in(3) {
        true => sound::design(u64::from(choices.number())),
        false => sample.to_string(),
    };
    match choices.once_in(8) {
        true => slips::text(choices, &text),
        false => tree::changed(choices, &text),
    }
}

#[test]
fn designs_are_read_or_refused() {
    fuzz(1500, |choices| {
        let text = design(choices);
        let reading = Design::read("d.toml", &text, &Table::built_in());
        told(&reading.problems);
        // A build that cannot be computed is an error too, but leaves the others.
        assert!(reading.design.is_some() || reading.problems.iter().any(Problem::is_error), "{text}");
    });
}

#[test]
fn designs_that_are_read_are_answered() {
    fuzz(60, |choices| {
        let text = sound::nearly(choices);
        let reading = Design::read("d.toml", &text, &Table::built_in());
        if let Some(design) = reading.design {
            commands::ask(&design, choices);
        }
    });
}

#[test]
fn tables_of_materials_are_read_or_refused() {
    fuzz(1500, |choices| {
        let text = tables::changed(choices, tables::MATERIALS);
        told(&Table::built_in().overlay("m.csv", &text));
    });
}

#[test]
fn stocks_are_read_or_refused() {
    fuzz(1500, |choices| {
        let text = tables::changed(choices, tables::STOCK);
        told(&stillbed::section::stock::Stock::built_in().overlay("s.csv", &text));
    });
}

#[test]
fn floors_are_read_or_refused() {
    fuzz(1500, |choices| {
        let text = tables::changed(choices, tables::FLOOR);
        let (floor, problems) = stillbed::response::floor::FloorSpectrum::read("f.csv", &text);
        told(&problems);
        assert!(floor.is_some() || problems.iter().any(Problem::is_error));
    });
}

#[test]
fn records_are_read_or_refused() {
    fuzz(120, tables::record);
}

#[test]
fn bodies_are_read_or_refused() {
    fuzz(3000, |choices| {
        let body = tables::body(choices.once_in(2));
        let bytes = tables::changed_bytes(choices, &body);
        if let Ok(body) = stillbed::study::pour::Body::read(&bytes, 1e-3) {
            let numbers = [body.volume_m3].into_iter().chain(body.centre_m).chain(body.low_m);
            assert!(numbers.chain(body.high_m).all(f64::is_finite), "{body:?}");
        }
        // The same file as a part of a body.
        let Ok(triangles) = read_stl(&bytes, 1e-3) else { return };
        if let Ok(surface) = ClosedSurface::new(&triangles) {
            assert!(surface.volume() > 0.0 && surface.volume().is_finite(), "{triangles:?}");
            let along_axes = Part::cuboid([1.0; 3], [0.0; 3], None).axes;
            let part = Part::bounded(Arc::new(surface), [0.0; 3], &along_axes, Some(0));
            if let Ok(mesh) = fit(&[part], &Default::default(), 0) {
                let volumes = mesh.cells.iter().map(|cell| mesh.volumes(cell, 1)[0]);
                assert!(volumes.into_iter().all(|volume| volume > 0.0 && volume.is_finite()));
            }
        }
    });
}

#[test]
fn quantities_are_read_or_refused() {
    fuzz(20_000, tables::quantity);
}
