//! The search as a whole, on spaces small enough to check every candidate.

use super::*;
use crate::design_sample::design;
use crate::solved::measure;
use stillbed_design::{Build, Design, Measure};
use stillbed_input::quantity::Draw;
use stillbed_modes::Asked;
use stillbed_section::stock::Stock;

/// A cast bed on feet with a column and a head, and its design variables.
const STAND: &str = r#"
[points]
front = "0, 0, 0 mm"
rear = "0, 300, 0 mm"
left = "-100, 300, 0 mm"
right = "100, 300, 0 mm"
head = "0, 300, 350 mm"
[members]
bed = { from = "front", to = "rear", section = "bed" }
cross_left = { from = "left", to = "rear", section = "bed" }
cross_right = { from = "rear", to = "right", section = "bed" }
column = { from = "rear", to = "head", section = "column" }
[masses]
head = { at = "head", mass = "4 kg" }
[feet.levelling]
at = ["front", "left", "right"]
stiffness = "20, 20, 80 N/um"
loss = 0.1
[tool]
tip = "head"
work = "front"
[tap]
at = "head"
along = "1, 0, 0"
impulse = "0.02 N s"
settle_to = "0.1 um"
[mixes.sand]
binder = { of = "epoxy, slow casting", share = 20 }
aggregates = [{ of = "quartz sand", share = 80, grain = "0.3 to 0.8 mm" }]
air = "0 %"
[builds.cast]
sections.bed.bond = 0.8
sections.bed.parts = [
  { rectangle = "90 x 80 mm", of = "sand" }, # mould
  { tube = "50 x 30 x 3 mm", of = "aluminium 6061-T6" },
]
sections.column.parts = [{ tube = "60 x 60 x 4 mm", of = "structural steel", radius = "8 mm" }]
prices = { "aluminium 6061-T6" = "14 per kg", sand = "3 per kg", "structural steel" = "4 per kg" }
[vary.column]
section = "column"
size = ["40 x 40 x 3 mm", "50 x 50 x 3 mm", "60 x 60 x 4 mm", "80 x 80 x 5 mm"]
[vary.height]
section = "bed"
part = 2
at = { from = "0, -14 mm", to = "0, 14 mm", steps = 3 }
[vary.bed]
section = "bed"
part = 2
size = [
  "40 x 20 x 2 mm", "40 x 20 x 3 mm", "50 x 30 x 3 mm", "60 x 30 x 3 mm",
  "60 x 40 x 3 mm", "60 x 40 x 5 mm", "80 x 40 x 4 mm", "80 x 50 x 6 mm",
]
[vary.grip]
section = "bed"
bond = [0.6, 0.9]
[vary.resin]
mix = "sand"
share = [16, 22]
[vary.feet]
foot = "levelling"
stiffness = ["20, 20, 80 N/um", "25, 25, 100 N/um", "30, 30, 120 N/um", "40, 40, 160 N/um"]
"#;

const TARGETS: &str =
    "[targets]\nfirst_frequency = { at_least = \"75 Hz\" }\nsettle_time = { at_most = \"250 ms\" }\n";

fn without(text: &str, names: &[&str]) -> String {
    let mut text = text.to_string();
    for name in names {
        let start = text.find(&format!("[vary.{name}]")).unwrap();
        let end = text[start + 1..].find("\n[").map_or(text.len(), |i| start + 2 + i);
        text.replace_range(start..end, "");
    }
    text
}

const WATCH: Watch = Watch { progress: &|_, _| (), stop: &|| false };

fn sized(design: &Design, options: &Options) -> Sizing {
    Sizing::compute(design, &design.builds[0], &Stock::built_in(), options, &WATCH).unwrap().0
}

/// Compares quick candidates of `design` with whole builds, and says how many were solved.
fn quick_as_whole(design: &Design) -> usize {
    let build = &design.builds[0];
    let space = Space::new(build, &design.goal, &Stock::built_in()).unwrap();
    let frames = Frames::new(&space, &design.goal, 5).unwrap();
    let mut state = frames.thread_state();
    let asked = Asked { count: 5, ..Asked::default() };
    let mut compared = 0;
    // Up to twelve of all, far from each other.
    let all: usize = space.axes.iter().product();
    let some = all.min(12);
    for i in 0..some {
        let mut number = i * all / some;
        let digit = |n: &usize| {
            let own = number % n;
            number /= n;
            own
        };
        let choice: Vec<usize> = space.axes.iter().map(digit).collect();
        let Outcome::Solved(quick) = frames.evaluate(&choice, &mut state, |_, _| false) else { continue };
        let whole = space.build_at(&choice).unwrap();
        let slow = measure(&whole, &design.goal, &Draw::default(), 1.0, &asked).unwrap();
        let same = |a: f64, b: f64, tolerance: f64| assert!((a / b - 1.0).abs() < tolerance, "{a} {b}");
        same(quick.mass, slow.mass, 1e-9);
        same(quick.cost.unwrap(), slow.cost.unwrap(), 1e-9);
        // The real part of a member's complex stiffness depends on the subdivision in proportion to the
        // square of the difference of its losses.
        same(quick.weakest.unwrap(), slow.weakest.unwrap(), 1e-5);
        // Both are accurate to the thousandth asked of a frequency.
        same(quick.first_frequency.unwrap(), slow.first_frequency.unwrap(), 1e-3);
        same(quick.settle_time.unwrap(), slow.settle_time.unwrap(), 5e-3);
        compared += 1;
    }
    compared
}

#[test]
fn a_quick_candidate_is_what_compare_would_say() {
    assert!(quick_as_whole(&design(&format!("{STAND}{TARGETS}"))) >= 4);
}

/// A slab on three feet with a column on it, whose thickness, place and column vary.
const SLAB: &str = r#"
[points]
seat = "0, 0, 60 mm"
head = "0, 0, 360 mm"
front = "0, -90, 60 mm"
foot_a = "-150, -80, -60 mm"
foot_b = "150, -80, -60 mm"
foot_c = "0, 80, -60 mm"
[patches]
seat = "60 x 60 mm"
front = "round 30 mm"
foot_a = "round 40 mm"
foot_b = "round 40 mm"
foot_c = "round 40 mm"
[members.column]
from = "seat"
to = "head"
section = "column"
[feet.pads]
at = ["foot_a", "foot_b", "foot_c"]
stiffness = "20, 20, 80 N/um"
loss = 0.1
[masses.spindle]
at = "head"
mass = "4 kg"
[tool]
tip = "head"
work = "front"
[tap]
at = "head"
along = "0, 1, 0"
impulse = "0.1 N s"
settle_to = "1 um"
[vary.thick]
body = "slab"
size = ["400 x 250 x 100 mm", "400 x 250 x 120 mm", "400 x 250 x 150 mm"]
[vary.place]
body = "slab"
at = ["0, 0, -10 mm", "0, 0, 0 mm", "0, 0, 15 mm"]
with = "thick"
[vary.column]
section = "column"
size = ["50 x 50 x 4 mm", "60 x 60 x 4 mm"]
[builds.stone]
bodies.slab.parts = [{ box = "400 x 250 x 120 mm", of = "granite" }]
sections.column.parts = [{ tube = "60 x 60 x 4 mm", of = "structural steel" }]
prices = { granite = "2 per kg", "structural steel" = "4 per kg" }
"#;

#[test]
fn a_body_of_another_size_is_what_compare_would_say_of_it() {
    let targets = "[targets]\nstiffness = { at_least = \"0.1 N/um\" }\n";
    let text = format!("{SLAB}{targets}");
    let design = design(&text);
    assert!(quick_as_whole(&design) >= 6);
    // The lightest keeps its faces where the points are said to be once it is written.
    let sizing = sized(&design, &Options::default());
    let best = sizing.best.as_ref().unwrap();
    let space = Space::new(&design.builds[0], &design.goal, &Stock::built_in()).unwrap();
    let written = write("d.toml", &text, &space, sizing.chosen.as_ref().unwrap()).unwrap();
    let again = crate::design_sample::design(&written);
    let chosen = space.build_at(sizing.chosen.as_ref().unwrap()).unwrap();
    for ((name, own), (_, other)) in again.builds[0].drawing.points.iter().zip(chosen.drawing.points.iter()) {
        let apart = own.position.iter().zip(other.position).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(apart < 1e-9, "{name} {:?} {:?}", own.position, other.position);
    }
    let mass = again.builds[0].model(&again.goal, &Draw::default()).unwrap().mass();
    assert!((mass / best.mass_kg - 1.0).abs() < 1e-6, "{mass} {}", best.mass_kg);
    assert!(written.contains("400 x 250 x 100 mm"), "{written}");
}

#[test]
fn a_body_of_another_mix_is_what_compare_would_say_of_it() {
    let cast = "[mixes.cast]\nbinder = { of = \"epoxy\", share = 22 }\n\
                aggregates = [{ of = \"granite\", share = 78, grain = \"1 to 4 mm\" }]\n\
                [vary.share]\nmix = \"cast\"\nshare = [17, 22, 30]\nunfilled = true\n";
    let vary = SLAB.split("[vary.").next().unwrap();
    let build = &SLAB[SLAB.find("[builds.stone]").unwrap()..].replace("of = \"granite\"", "of = \"cast\"");
    let build = build.replace("granite = \"2 per kg\"", "cast = \"3 per kg\"");
    let targets = "[targets]\nstiffness = { at_least = \"0.1 N/um\" }\n";
    assert_eq!(quick_as_whole(&design(&format!("{vary}{cast}{targets}{build}"))), 3);
}

#[test]
fn a_body_too_small_for_its_feet_is_counted_and_said() {
    let targets = "[targets]\nstiffness = { at_least = \"0.1 N/um\" }\n";
    let text = SLAB.replace("400 x 250 x 100 mm", "280 x 250 x 100 mm");
    let sizing = sized(&design(&format!("{text}{targets}")), &Options::default());
    assert_eq!([sizing.candidates, sizing.solved], [6, 4]);
    assert!(sizing.answer.contains("All 6 candidates that can be built were covered"), "{}", sizing.answer);
    assert!(sizing.answer.ends_with("2 of them cannot be solved."), "{}", sizing.answer);
}

#[test]
fn bodies_that_cannot_vary_so_are_refused_at_their_place() {
    let said = |from: &str, to: &str| {
        let design = design(&SLAB.replace(from, to));
        Space::new(&design.builds[0], &design.goal, &Stock::built_in()).unwrap_err().to_string()
    };
    let none = said("[vary.thick]\nbody = \"slab\"", "[vary.thick]\nbody = \"slap\"");
    assert!(none.contains("has no body \"slap\"") && none.contains("slab"), "{none}");
    let part = said("[vary.thick]\nbody = \"slab\"", "[vary.thick]\nbody = \"slab\"\npart = 3");
    assert!(part.contains("part 3 of body \"slab\", which has 1 part"), "{part}");
    let form = said(
        "size = [\"400 x 250 x 100 mm\", \"400 x 250 x 120 mm\", \"400 x 250 x 150 mm\"]",
        "size = [\"40 x 10 mm\", \"40 x 20 mm\", \"40 x 30 mm\"]",
    );
    assert!(form.contains("2 sizes do not fit") && form.contains("length, width, height"), "{form}");
}

#[test]
fn a_quick_candidate_gives_in_the_walls_of_its_own_tubes() {
    // A post along a rail, and one at its end, of sizes that stand on the rail, or the rail on them.
    let text = r#"
corners = "mitred"
[points]
left = "0, 0, 0 mm"
middle = "250, 0, 0 mm"
right = "500, 0, 0 mm"
post = "250, 0, 300 mm"
head = "500, 0, 350 mm"
[members]
rail_left = { from = "left", to = "middle", section = "rail" }
rail_right = { from = "middle", to = "right", section = "rail" }
post = { from = "middle", to = "post", section = "post" }
column = { from = "right", to = "head", section = "column" }
[masses]
head = { at = "head", mass = "4 kg" }
[anchors]
floor = { at = ["left", "post"], hold = "all" }
[tool]
tip = "head"
work = "ground"
[tap]
at = "head"
along = "1, 1, 0"
impulse = "0.02 N s"
settle_to = "0.1 um"
[builds.welded]
sections.rail.parts = [{ tube = "60 x 60 x 3 mm", of = "structural steel" }]
sections.post.parts = [{ tube = "40 x 40 x 3 mm", of = "structural steel" }]
sections.column.parts = [{ tube = "60 x 60 x 3 mm", of = "structural steel" }]
prices = { "structural steel" = "4 per kg" }
[vary.rail]
section = "rail"
size = ["50 x 50 x 3 mm", "60 x 60 x 3 mm", "80 x 80 x 4 mm"]
[vary.post]
section = "post"
size = ["40 x 40 x 3 mm", "60 x 60 x 4 mm"]
[vary.column]
section = "column"
size = ["50 x 50 x 3 mm", "60 x 60 x 3 mm", "80 x 60 x 4 mm"]
"#;
    assert_eq!(quick_as_whole(&design(text)), 12);
}

#[test]
fn a_guided_search_finds_what_every_choice_has() {
    let design = design(&format!("{}{TARGETS}", without(STAND, &["resin"])));
    let every = sized(&design, &Options::default());
    assert!(every.complete && every.best.is_some(), "{}", every.answer);
    let effort = Effort { most: 10, restarts: 3, ..Effort::default() };
    let guided = sized(&design, &Options { effort, ..Options::default() });
    assert!(!guided.complete && guided.answer.contains("there may be better ones"));
    let (a, b) = (every.best.unwrap(), guided.best.clone().unwrap());
    assert_eq!(a.choice, b.choice);
    let again = sized(&design, &Options { effort, ..Options::default() });
    assert_eq!(again.best, guided.best);
    assert_eq!(again.front, guided.front);
}

#[test]
fn the_best_is_the_lightest_that_meets_and_the_front_begins_with_it() {
    let design = design(&format!("{}{TARGETS}", without(STAND, &["grip", "resin"])));
    let sizing = sized(&design, &Options::default());
    let best = sizing.best.as_ref().unwrap();
    assert_eq!(&sizing.front[0], best);
    assert!(best.first_frequency_hz.unwrap() >= 75.0 && best.settle_time_s.unwrap() <= 0.25);
    assert!(sizing.left_out.values().sum::<usize>() > 0);
    assert_eq!(
        sizing.combinations.unwrap() as usize,
        sizing.candidates + sizing.left_out.values().sum::<usize>()
    );
    let cheap = sized(&design, &Options { least: Least::Cost, ..Options::default() });
    assert!(cheap.best.unwrap().cost.unwrap() <= best.cost.unwrap());
    // An active limit is one that saves something when it is relaxed by a tenth.
    assert!(sizing.limits.iter().any(|limit| limit.active && limit.saves.unwrap() > 0.0));
}

#[test]
fn what_nothing_meets_is_named_with_the_nearest_miss() {
    let text = format!(
        "{}[targets]\nfirst_frequency = {{ at_least = \"75 Hz\" }}\nstiffness = {{ at_least = \"900 N/um\" }}\nmass = {{ at_most = \"14 kg\" }}\n",
        without(STAND, &["grip", "resin", "height"])
    );
    let sizing = sized(&design(&text), &Options::default());
    assert!(sizing.best.is_none() && !sizing.meets() && sizing.complete);
    assert_eq!(sizing.blocking, ["stiffness"]);
    assert!(sizing.nearest_miss.is_some() && sizing.front.is_empty());
    // Candidates screened out by mass are solved after all: nothing else shows that none is so stiff.
    assert_eq!(sizing.solved, sizing.candidates);
}

#[test]
fn a_stopped_search_says_so_with_the_best_so_far() {
    let design = design(&format!("{STAND}{TARGETS}"));
    let looked = std::sync::atomic::AtomicUsize::new(0);
    let stop = || looked.fetch_add(1, std::sync::atomic::Ordering::Relaxed) > 0;
    let watch = Watch { progress: &|_, _| (), stop: &stop };
    let (sizing, _) =
        Sizing::compute(&design, &design.builds[0], &Stock::built_in(), &Options::default(), &watch).unwrap();
    assert!(!sizing.complete && sizing.answer.contains("Stopped after"), "{}", sizing.answer);
    assert!(sizing.solved > 0);
}

#[test]
fn derivatives_are_those_of_finite_differences() {
    let design = design(&without(STAND, &["resin", "feet", "grip"]));
    let build = &design.builds[0];
    let sizing = sized(&design, &Options::default());
    let space = Space::new(build, &design.goal, &Stock::built_in()).unwrap();
    let best = space.build_at(sizing.chosen.as_ref().unwrap()).unwrap();
    let asked = Asked { count: 5, ..Asked::default() };
    let mut checked = 0;
    for sensitivity in &sizing.sensitivity {
        let name = match sensitivity.of.as_str() {
            "column" => format!("column.1.{}", sensitivity.size),
            "bed" => format!("bed.2.{}", sensitivity.size),
            _ => continue,
        };
        let at = |by: f64| {
            let build = inverse::resized_by_name(&best, &name, sensitivity.value * by).unwrap();
            measure(&build, &design.goal, &Draw::default(), 1.0, &asked).unwrap()
        };
        let (low, high) = (at(0.98), at(1.02));
        let slope = |read: &dyn Fn(&crate::measures::Figures) -> f64| {
            (read(&high) - read(&low)) / (0.04 * sensitivity.value)
        };
        let near = |a: f64, b: f64, scale: f64, what: &str| {
            // Relative to the change of the whole measure over the whole size.
            assert!(
                (a - b).abs() <= 0.02 * b.abs() + 2e-3 * scale / sensitivity.value,
                "{name} {what}: {a} {b}"
            );
        };
        let mid = at(1.0);
        near(sensitivity.mass_kg, slope(&|f| f.mass), mid.mass, "mass");
        near(
            sensitivity.first_frequency_hz.unwrap(),
            slope(&|f| f.first_frequency.unwrap()),
            mid.first_frequency.unwrap(),
            "frequency",
        );
        near(
            sensitivity.stiffness_n_per_m.unwrap(),
            slope(&|f| f.weakest.unwrap()),
            mid.weakest.unwrap(),
            "stiffness",
        );
        near(
            sensitivity.settle_time_s.unwrap(),
            slope(&|f| f.settle_time.unwrap()),
            mid.settle_time.unwrap(),
            "settle",
        );
        checked += 1;
    }
    assert_eq!(checked, 6);
}

#[test]
fn the_chosen_sizes_stand_in_the_design_and_run() {
    let text = format!("{STAND}{TARGETS}");
    let design = design(&text);
    let space = Space::new(&design.builds[0], &design.goal, &Stock::built_in()).unwrap();
    let frames = Frames::new(&space, &design.goal, 5).unwrap();
    let choice: Vec<usize> = space.axes.iter().map(|n| n - 1).collect();
    let mut first = choice.clone();
    first[2] = 0;
    let Outcome::Solved(expected) = frames.evaluate(&first, &mut frames.thread_state(), |_, _| false) else {
        panic!()
    };
    let written = write("stand.toml", &text, &space, &first).unwrap();
    assert!(written.contains("}, # mould"), "{written}");
    // The common feet are copied into the build; those of other builds stay.
    assert!(written.contains("stiffness = \"20, 20, 80 N/um\""));
    let design = crate::design_sample::design(&written);
    let asked = Asked { count: 5, ..Asked::default() };
    let figures = measure(&design.builds[0], &design.goal, &Draw::default(), 1.0, &asked).unwrap();
    approx::assert_relative_eq!(figures.mass, expected.mass, max_relative = 1e-6);
    approx::assert_relative_eq!(figures.weakest.unwrap(), expected.weakest.unwrap(), max_relative = 1e-5);
}

fn build(design: &Design) -> &Build {
    &design.builds[0]
}

#[test]
fn one_size_is_found_and_gives_what_was_asked() {
    let design = design(STAND);
    for (measure_asked, value) in
        [(Measure::Stiffness, 3e6), (Measure::FirstFrequency, 90.0), (Measure::SettleTime, 0.2)]
    {
        let asking = InverseRequest { size: "column.1.wall".into(), measure: measure_asked, value };
        let inverse = Inverse::compute(&design, build(&design), &asking, 5).unwrap();
        if let Some(found) = inverse.found_m {
            let build = inverse::resized_by_name(build(&design), "column.1.wall", found).unwrap();
            let asked = Asked { count: 5, ..Asked::default() };
            let figures = measure(&build, &design.goal, &Draw::default(), 1.0, &asked).unwrap();
            let error = (figures.get(measure_asked).unwrap() / value - 1.0).abs();
            assert!(error < 2e-3, "{measure_asked:?} {error}");
        } else {
            let [low, high] = inverse.reached.unwrap();
            assert!(value < low || value > high, "{}", inverse.answer);
        }
    }
    let asking = InverseRequest { size: "column.1.wal".into(), measure: Measure::Mass, value: 1.0 };
    let said = Inverse::compute(&design, build(&design), &asking, 5).unwrap_err();
    assert!(said[0].to_string().contains("did you mean \"wall\""), "{}", said[0]);
}

#[test]
fn the_fill_of_a_tube_follows_sizes_of_its_own_too() {
    let filled = "sections.column.parts = [{ rectangle = \"56 x 56 mm\", of = \"sand\" }, { tube = \"60 x 60 x 4 mm\", of = \"structural steel\" }]";
    let plain = "sections.column.parts = [{ tube = \"60 x 60 x 4 mm\", of = \"structural steel\", radius = \"8 mm\" }]";
    let own = "[vary.column]\nsection = \"column\"\npart = 2\ncore = 1\n";
    let text = without(STAND, &["height", "bed", "grip", "resin", "feet"])
        .replace(plain, filled)
        .replace("[vary.column]\nsection = \"column\"\n", own);
    let design = design(&text);
    let space = Space::new(&design.builds[0], &design.goal, &Stock::built_in()).unwrap();
    let column = space.build.profiles.iter().position(|p| p.name == "column").unwrap();
    for (choice, side) in [(0, 0.037), (3, 0.075)] {
        let (parts, _) = space.profile(column, &[choice]);
        let stillbed_section::Shape::Rectangle { width, .. } = parts[0].shape else { panic!() };
        approx::assert_relative_eq!(width, side, max_relative = 1e-9);
    }
}

#[test]
fn a_seed_gives_one_answer_whatever_the_number_of_threads() {
    let design = design(&format!("{STAND}{TARGETS}"));
    let effort = Effort { most: 10, restarts: 3, seed: 7 };
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| sized(&design, &Options { effort, ..Options::default() }))
    };
    let (one, three) = (run(1), run(3));
    assert_eq!((one.best, one.front, one.solved), (three.best, three.front, three.solved));
}

#[test]
fn a_mix_that_does_not_fill_is_chosen_only_where_asked_for() {
    let lean = without(STAND, &["grip", "height", "bed", "feet"]).replace("air = \"0 %\"\n", "");
    let lean = lean.replace("share = [16, 22]", "share = [8, 12, 22]");
    let sizing = sized(&design(&format!("{lean}{TARGETS}")), &Options::default());
    let best = sizing.best.or(sizing.nearest_miss).unwrap();
    assert_eq!(best.choice["resin"], "22 % binder");
    let reason = "binder too little to fill the voids of its grains";
    assert_eq!(sizing.left_out[reason], 8);
    assert!(sizing.answer.contains("8 with too little binder"), "{}", sizing.answer);
    let asked = lean.replace("share = [8, 12, 22]", "share = [8, 12, 22]\nunfilled = true");
    let sizing = sized(&design(&format!("{asked}{TARGETS}")), &Options::default());
    assert!(!sizing.left_out.contains_key(reason), "{:?}", sizing.left_out);
    let none = design(&format!("{}{TARGETS}", lean.replace("share = [8, 12, 22]", "share = [8, 12]")));
    let said = Sizing::compute(&none, &none.builds[0], &Stock::built_in(), &Options::default(), &WATCH);
    let said: Vec<String> = said.unwrap_err().iter().map(ToString::to_string).collect();
    assert!(said[0].contains(reason) && said[0].contains("let more binder vary"), "{said:?}");
}
