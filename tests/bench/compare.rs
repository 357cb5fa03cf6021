//! How long a comparison takes from the text to the answer: thirty members, ten modes, four builds.
//!
//! Prints the processor time without spread and with 200 draws, if the system reports it, the speed-up on
//! two threads, and the wall times.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod clock;

use std::hint::black_box;
use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::study::compare::{Comparison, Options};

const MILL: &str = include_str!("../../examples/gantry-mill.toml");

fn main() {
    let design = design().expect("the example is sound");
    let drawn = || {
        let options = Options { draws: 200, ..Options::default() };
        black_box(Comparison::compute(&design, &options, |_, _| ()).expect("it has modes"));
    };
    processor_time("comparison without spread", 20, || drop(black_box(compare_without_spread())));
    processor_time("200 draws", 1, drawn);
    println!(
        "200 draws on two threads against one: {:.2} times as fast",
        clock::two_threads_against_one(drawn)
    );
    divan::main();
}

fn processor_time(what: &str, times: usize, act: impl Fn()) {
    let before = clock::processor();
    (0..times).for_each(|_| act());
    if let Some((before, now)) = before.zip(clock::processor()) {
        println!("{what}: {:.3} s of processor time", (now - before) / times as f64);
    }
}

fn design() -> Option<Design> {
    Design::read("gantry-mill.toml", MILL, &Table::built_in()).design
}

/// Only reading and meshing.
#[divan::bench(sample_count = 10)]
fn read() -> Option<Design> {
    design()
}

/// From text to answer, without spreads.
#[divan::bench(sample_count = 10)]
fn compare_without_spread() -> Option<Comparison> {
    let options = Options { draws: 0, ..Options::default() };
    Comparison::compute(&design()?, &options, |_, _| ()).ok()
}

/// 200 draws of a design that has been read already.
#[divan::bench(sample_count = 3)]
fn compare_with_200_draws(bencher: divan::Bencher) {
    let design = design();
    bencher.bench(|| {
        let options = Options { draws: 200, ..Options::default() };
        Comparison::compute(design.as_ref()?, &options, |_, _| ()).ok()
    });
}
