//! A comparison from its text to its answer: thirty members, ten modes, four builds.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use stillbed::design::Design;
use stillbed::material::Table;
use stillbed::study::compare::{Comparison, Options};

const MILL: &str = include_str!("../../examples/gantry-mill.toml");

fn main() {
    divan::main();
}

fn design() -> Option<Design> {
    Design::read("gantry-mill.toml", MILL, &Table::built_in()).design
}

/// Reading and meshing alone.
#[divan::bench(sample_count = 10)]
fn read() -> Option<Design> {
    design()
}

/// From text to answer, spreads off.
#[divan::bench(sample_count = 10)]
fn compare_without_spread() -> Option<Comparison> {
    let options = Options { draws: 0, ..Options::default() };
    Comparison::of(&design()?, &options, |_, _| ()).ok()
}

/// 200 draws of a design that is read.
#[divan::bench(sample_count = 3)]
fn compare_with_200_draws(bencher: divan::Bencher) {
    let design = design();
    bencher.bench(|| {
        let options = Options { draws: 200, ..Options::default() };
        Comparison::of(design.as_ref()?, &options, |_, _| ()).ok()
    });
}
