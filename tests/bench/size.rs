//! How many candidate frames per second a search solves, compared with solving each from scratch.
//!
//! `cargo bench --bench size` varies rail, bridge, column and arm of the roundness stand over stock sizes
//! and times whole searches with 5 modes. It prints candidates per second of wall time on the available
//! threads and per second of processor time, if the system reports that, which other load does not change;
//! the same for candidates meshed and solved from scratch; and the ratio of both. Then the same search through
//! `examples/sized-stand.toml`, whose tubes stand on each other in several ways. `STILLBED_STAGES=1` also times the
//! stages of one candidate.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod clock;

use clock::processor;
use rayon::prelude::*;
use std::hint::black_box;
use std::time::{Duration, Instant};
use stillbed::design::{Build, Design};
use stillbed::eigen::{Patterns, Precision, Settings, damped, damped_to, lowest};
use stillbed::material::Table;
use stillbed::modes::{Asked, EliminationOrder, Statics, solve};
use stillbed::quantity::Draw;
use stillbed::section::stock::Stock;
use stillbed::study::size::{Effort, Frames, Judge, Least, Space, Watch, search};
use stillbed::study::solved::measure;

/// Modes of each candidate.
const COUNT: usize = 5;

/// What varies in the welded stand: 73 rails, 5 bridges, 5 columns, 5 arms.
const VARY: &str = r#"
[builds.welded.vary.rails]
section = "rail"
stock = "square tube, structural steel"
[builds.welded.vary.bridges]
section = "bridge"
size = ["50 x 50 x 3 mm", "50 x 50 x 4 mm", "60 x 60 x 3 mm", "60 x 60 x 4 mm", "80 x 80 x 4 mm"]
[builds.welded.vary.column]
section = "column"
size = ["60 x 60 x 4 mm", "70 x 70 x 4 mm", "80 x 80 x 4 mm", "80 x 80 x 5 mm", "100 x 100 x 5 mm"]
[builds.welded.vary.arm]
section = "arm"
size = ["50 x 30 x 3 mm", "60 x 40 x 3 mm", "60 x 40 x 4 mm", "80 x 40 x 4 mm", "80 x 60 x 4 mm"]
"#;

fn main() {
    let text = std::fs::read_to_string("examples/roundness-stand.toml").expect("the example is there");
    let design = Design::read("stand.toml", &(text + VARY), &Table::built_in()).design.expect("it is sound");
    let build = design.build("welded").expect("it is there");
    if std::env::var_os("STILLBED_STAGES").is_some() {
        stages(&design, build);
    }
    let space = Space::new(build, &design.goal, &Stock::built_in()).expect("something varies");
    let judge = Judge::new(&design.goal.targets, Least::Mass);
    let watch = Watch { progress: &|_, _| (), stop: &|| false };
    let mut fast = 0.0f64;
    for _ in 0..3 {
        let rate = rate("candidates, sections included", || {
            let frames = Frames::new(&space, &design.goal, COUNT).expect("it is solved");
            search(&frames, &judge, &Effort::default(), &watch).solved.len()
        });
        fast = fast.max(rate);
    }
    let whole = || {
        let frames = Frames::new(&space, &design.goal, COUNT).expect("it is solved");
        black_box(search(&frames, &judge, &Effort::default(), &watch).solved.len());
    };
    println!("two threads against one: {:.2} times as fast", clock::two_threads_against_one(whole));
    // From scratch: each candidate is meshed, subdivided, ordered and solved by itself.
    let choices: Vec<Vec<usize>> =
        (0..200).map(|i| space.axes.iter().enumerate().map(|(a, n)| (i * (a + 3)) % n).collect()).collect();
    let asked = Asked { count: COUNT, ..Asked::default() };
    let slow = rate("candidates, each from nothing", || {
        choices.par_iter().for_each(|choice| {
            let build = space.build_at(choice).expect("it can be built");
            black_box(measure(&build, &design.goal, &Draw::default(), 1.0, &asked).expect("it is solved"));
        });
        choices.len()
    });
    println!("ratio {:.0}", fast / slow);
    for _ in 0..3 {
        stand_of_the_examples();
    }
}

/// Searches every choice of the stand that is to be sized.
fn stand_of_the_examples() {
    let text = std::fs::read_to_string("examples/sized-stand.toml").expect("the example is there");
    let design = Design::read("stand.toml", &text, &Table::built_in()).design.expect("it is sound");
    let build = design.build("cast").expect("it is there");
    let judge = Judge::new(&design.goal.targets, Least::Mass);
    let watch = Watch { progress: &|_, _| (), stop: &|| false };
    rate("candidates of examples/sized-stand.toml, sections included", || {
        let space = Space::new(build, &design.goal, &Stock::built_in()).expect("something varies");
        let frames = Frames::new(&space, &design.goal, COUNT).expect("it is solved");
        search(&frames, &judge, &Effort::default(), &watch).solved.len()
    });
}

/// Runs `act`, which returns how many candidates it solved, and prints the rates. Returns the rate by
/// processor time, or by wall time if that is not reported.
fn rate(what: &str, act: impl FnOnce() -> usize) -> f64 {
    let (begun, used) = (Instant::now(), processor());
    let count = act() as f64;
    let clock = count / begun.elapsed().as_secs_f64();
    match processor().zip(used) {
        Some((now, before)) if now > before => {
            let rate = count / (now - before);
            println!("{count} {what}: {clock:.0} a second, {rate:.0} a second of one processor");
            rate
        }
        _ => {
            println!("{count} {what}: {clock:.0} a second");
            clock
        }
    }
}

/// The shortest time of `act` in milliseconds among runs over half a second.
fn stage<T>(what: &str, mut act: impl FnMut() -> T) {
    let mut least = Duration::MAX;
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_millis(500) {
        let start = Instant::now();
        black_box(act());
        least = least.min(start.elapsed());
    }
    println!("{what}: {:.3} ms", least.as_secs_f64() * 1e3);
}

/// Times each stage of solving one candidate.
fn stages(design: &Design, build: &Build) {
    let model = build.model(&design.goal, &Draw::default()).expect("it is sound");
    let asked = Asked { count: COUNT, ..Asked::default() };
    let spectrum = solve(&model.frame, &asked).expect("it has modes");
    let (pair, loss) = (spectrum.pair(), &spectrum.matrices.loss);
    let orders = std::sync::Arc::new(
        EliminationOrder::analyse(spectrum.layout.clone(), &spectrum.matrices, &Patterns::default())
            .expect("it is ordered"),
    );
    let start = Some(&spectrum.pairs.vectors);
    let settings = Settings { symbolic: Some(orders.symbolic.clone()), start, ..Settings::default() };
    println!("{} freedoms", spectrum.layout.dofs());
    stage("modes from nothing", || lowest(&pair, COUNT + 2, &Settings::default()));
    stage("modes from a neighbour", || lowest(&pair, COUNT + 2, &settings));
    stage("damped modes", || damped(&pair, loss, &spectrum.pairs));
    stage("damped modes, first corrections alone", || {
        damped_to(&pair, loss, &spectrum.pairs, Precision::QUICK)
    });
    let layout = &spectrum.layout;
    stage("matrices", || layout.matrices(&model.frame));
    stage("statics from nothing", || Statics::factor(&model.frame));
    stage("statics", || {
        Statics::factor_matrices(&model.frame, spectrum.matrices.clone(), &orders).map(|_| ())
    });
}
