//! Joints and feet that follow from their laws, in whole designs.

use crate::{Build, Design};
use approx::assert_relative_eq;
use stillbed_input::quantity::{Draw, GRAVITY, Loss};
use stillbed_joint::Seat;
use stillbed_material::Table;

/// An upright steel post of 50 x 50 mm, 400 mm, with 20 kg at its head, that stands on `seat`; `other` is added.
fn post(seat: &str, other: &str) -> (Option<Design>, Vec<String>) {
    standing("0, 0, 400 mm", seat, other)
}

/// The same with its head at `head`.
fn standing(head: &str, seat: &str, other: &str) -> (Option<Design>, Vec<String>) {
    read(&whole(head, seat, other))
}

fn whole(head: &str, seat: &str, other: &str) -> String {
    format!(
        "[points]\nfoot = \"0, 0, 0 mm\"\nhead = \"{head}\"\n\
         [members.post]\nfrom = \"foot\"\nto = \"head\"\nsection = \"bar\"\njoint_from = \"seat\"\n\
         [masses.load]\nat = \"head\"\nmass = \"20 kg\"\n\
         [anchors.floor]\nat = \"foot\"\nhold = \"all\"\n\
         [joints.seat]\n{seat}\n{other}\n\
         [builds.one]\nsections.bar.parts = [{{ rectangle = \"50 x 50 mm\", of = \"structural steel\" }}]\n"
    )
}

fn read(text: &str) -> (Option<Design>, Vec<String>) {
    let reading = Design::read("d.toml", text, &Table::built_in());
    let said = reading.problems.iter().map(ToString::to_string).collect();
    (reading.design, said)
}

const BOLTED: &str =
    "bolted = \"4 x M8\"\ntorque = \"20 N m\"\nplate = \"120 x 150 mm\"\nfinish = \"milled\"";

/// Weight of the post with its load, N.
fn weight() -> f64 {
    (20.0 + 7850.0 * 0.05 * 0.05 * 0.4) * GRAVITY
}

fn seat(design: &Design) -> &Seat {
    design.builds[0].drawing.joints.get("seat").unwrap().seat.as_ref().unwrap()
}

fn foot(build: &Build) -> (&Seat, [f64; 3]) {
    let foot = build.drawing.feet.get("feet").unwrap();
    (foot.seat.as_ref().unwrap(), foot.stiffness.map(|k| k.value))
}

#[test]
fn weight_presses_a_seat_at_either_end_of_its_member() {
    let (design, said) = post(BOLTED, "");
    assert_eq!(said, Vec::<String>::new());
    let design = design.unwrap();
    let [least, most] = seat(&design).pressed.unwrap();
    assert_relative_eq!(least, weight(), max_relative = 1e-6);
    assert_eq!(least, most);
    // The same post drawn from its head down.
    let text = whole("0, 0, 400 mm", BOLTED, "")
        .replace("from = \"foot\"\nto = \"head\"", "from = \"head\"\nto = \"foot\"")
        .replace("joint_from", "joint_to");
    let (design, said) = read(&text);
    assert_eq!(said, Vec::<String>::new());
    assert_relative_eq!(seat(&design.unwrap()).pressed.unwrap()[0], weight(), max_relative = 1e-6);
}

#[test]
fn all_six_springs_and_the_loss_take_the_place_of_stated_ones() {
    let design = post(BOLTED, "").0.unwrap();
    let build = &design.builds[0];
    let joint = build.drawing.joints.get("seat").unwrap();
    let derived = seat(&design).derived.clone().unwrap();
    for (spring, derived) in joint.stiffness.iter().zip(derived.springs) {
        assert_eq!(spring.unwrap().value, derived);
        assert!(derived > 0.0);
    }
    assert!(matches!(joint.loss, Loss::Same(loss) if loss.value == 0.03 && loss.index.is_some()));
    let keys: Vec<&str> = design.uncertain.iter().map(|u| u.key.as_str()).collect();
    for key in ["joints.seat.stiffness", "joints.seat.along", "joints.seat.loss"] {
        assert!(keys.contains(&key), "{keys:?}");
    }
    // One draw moves them together, those along the faces once more.
    let mut draw = Draw { values: design.uncertain.iter().map(|u| u.spread.value).collect() };
    draw.values[derived.across.index.unwrap()] = 2.0;
    draw.values[derived.along.index.unwrap()] = 3.0;
    let nominal = build.model(&design.goal, &Draw::default()).unwrap().frame.joints[0].stiffness;
    let drawn = build.model(&design.goal, &draw).unwrap().frame.joints[0].stiffness;
    for (freedom, times) in [2.0, 6.0, 6.0, 6.0, 2.0, 2.0].into_iter().enumerate() {
        assert_relative_eq!(
            drawn[freedom].unwrap().re,
            times * nominal[freedom].unwrap().re,
            max_relative = 1e-12
        );
    }
    let stated = post(&format!("{BOLTED}\nloss = {{ value = 0.07, exact = true }}"), "").0.unwrap();
    assert_eq!(stated.builds[0].drawing.joints.get("seat").unwrap().loss.largest(), 0.07);
}

#[test]
fn a_slide_is_pressed_by_the_weight_and_stiffens_as_its_root() {
    let slide = "slide = \"60 x 200 mm\"\nfinish = \"scraped\"";
    let push = |seat: &Seat| seat.derived.as_ref().unwrap().springs[0];
    let light = post(slide, "").0.unwrap();
    assert_relative_eq!(seat(&light).pressed.unwrap()[0], weight(), max_relative = 1e-6);
    let area = 0.06 * 0.2;
    let by_hand = (weight() / area).sqrt() / (0.5 * 0.9e-6 / 98066.5f64.sqrt()) * area;
    assert_relative_eq!(push(seat(&light)), by_hand, max_relative = 1e-6);
}

#[test]
fn a_long_arm_opens_its_seat_and_the_margin_is_told() {
    // 20 kg at 2 m and the arm's own weight bend an M4 seat of 30 N m preload's worth.
    let small = "bolted = \"4 x M4\"\ntorque = \"1 N m\"\nplate = \"60 x 60 mm\"\nfinish = \"ground\"";
    let (design, said) = standing("2000, 0, 0 mm", small, "");
    let design = design.unwrap();
    let found = seat(&design);
    let moment = (20.0 * 2.0 + 7850.0 * 0.05 * 0.05 * 2.0 * 1.0) * GRAVITY;
    let (derived, hold) = (found.derived.as_ref().unwrap(), found.derived.as_ref().unwrap().hold.unwrap());
    let by_hand = hold.preload / hold.area.area / ((1.0 - hold.share) * moment * 0.03 / hold.area.second[0]);
    assert_relative_eq!(hold.preload, 4.0 * 1.0 / (0.2 * 0.004), max_relative = 1e-9);
    assert_relative_eq!(found.margins.unwrap().opens, by_hand, max_relative = 1e-6);
    assert!(by_hand < 1.0 && derived.springs[0] > 0.0);
    assert!(said.iter().any(|s| s.contains("joints.seat: it opens under weight and tap")), "{said:?}");
}

#[test]
fn a_tap_that_states_how_long_it_lasts_counts() {
    let tap = |duration: &str| {
        let tap = format!("[tap]\nat = \"head\"\nalong = \"1, 0, 0\"\nimpulse = \"0.2 N s\"\n{duration}\n");
        seat(&post(BOLTED, &tap).0.unwrap()).margins.unwrap()
    };
    assert_eq!(tap("").opens, f64::INFINITY);
    // A half-sine of 0.2 N s over 1 ms peaks at π/2 x 200 N, 400 mm above the seat.
    let design = post(BOLTED, "").0.unwrap();
    let hold = seat(&design).derived.as_ref().unwrap().hold.unwrap();
    let peak = 0.5 * std::f64::consts::PI * 200.0;
    let bend = |moment: f64, second: f64, edge: f64| moment * edge / second;
    let about = [bend(0.4 * peak, hold.area.second[0], 0.075), bend(0.4 * peak, hold.area.second[1], 0.06)];
    let found = tap("duration = \"1 ms\"").opens;
    let margin =
        |bend: f64| hold.preload / hold.area.area / ((1.0 - hold.share) * (bend - weight() / hold.area.area));
    assert!(about.iter().any(|bend| (margin(*bend) / found - 1.0).abs() < 1e-6), "{found}");
}

/// A bar of 600 mm on two feet `feet`.
fn on_feet(feet: &str) -> (Option<Design>, Vec<String>) {
    read(&format!(
        "[points]\na = \"0, 0, 0 mm\"\nb = \"600, 0, 0 mm\"\n\
         [members.bar]\nfrom = \"a\"\nto = \"b\"\nsection = \"bar\"\n\
         [masses.load]\nat = \"b\"\nmass = \"20 kg\"\n\
         [feet.feet]\nat = [\"a\", \"b\"]\n{feet}\n\
         [builds.one]\nsections.bar.parts = [{{ rectangle = \"50 x 50 mm\", of = \"structural steel\" }}]\n"
    ))
}

#[test]
fn feet_take_their_springs_from_the_weight_on_them() {
    let bar = 7850.0 * 0.05 * 0.05 * 0.6 * GRAVITY;
    let loads = [0.5 * bar, 0.5 * bar + 20.0 * GRAVITY];
    let mean = 0.5 * (loads[0] + loads[1]);
    let pads = on_feet("rubber = \"60 x 60 x 20 mm\"\nhardness = \"60 Shore A\"").0.unwrap();
    let (seat, _) = foot(&pads.builds[0]);
    let [least, most] = seat.pressed.unwrap();
    // Tilt of the pads takes a little of the moment.
    assert_relative_eq!(least + most, 2.0 * mean, max_relative = 1e-6);
    assert_relative_eq!(least, loads[0], max_relative = 0.05);
    let levelled = on_feet("levelling = \"round 40 mm\"\non = \"concrete\"").0.unwrap();
    let (_, springs) = foot(&levelled.builds[0]);
    assert_relative_eq!(springs[2], 0.6 * 2.0 * 33e9 * 0.02 / 0.96, max_relative = 1e-9);
}

#[test]
fn air_and_balls_settle_under_what_stands_on_them() {
    let table = |feet: &str| {
        let text = format!(
            "[points]\na = \"0, 0, 0 mm\"\nb = \"600, 0, 0 mm\"\nc = \"0, 400, 0 mm\"\n\
             [members]\nab = {{ from = \"a\", to = \"b\", section = \"bar\" }}\n\
             ac = {{ from = \"a\", to = \"c\", section = \"bar\" }}\n\
             [masses.load]\nat = \"a\"\nmass = \"20 kg\"\noffset = \"200, 133, 0 mm\"\n\
             [feet.feet]\nat = [\"a\", \"b\", \"c\"]\n{feet}\n\
             [builds.one]\nsections.bar.parts = [{{ rectangle = \"50 x 50 mm\", of = \"structural steel\" }}]\n"
        );
        let (design, said) = read(&text);
        design.unwrap_or_else(|| panic!("{said:?}"))
    };
    let third = (20.0 + 7850.0 * 0.05 * 0.05 * 1.0) * GRAVITY / 3.0;
    let design = table("air = \"60 cm2\"\nvolume = \"0.3 l\"\nacross = \"20 N/mm\"");
    let (_, springs) = foot(&design.builds[0]);
    let by_hand = 1.4 * (third / 60e-4 + 101_325.0) * 36e-6 / 0.3e-3;
    assert_relative_eq!(springs[2], by_hand, max_relative = 1e-6);
    assert_relative_eq!(springs[0], 20e3, max_relative = 1e-12);
    let design = table("ball = \"20 mm\"\nof = \"structural steel\"\npreload = \"100 N\"");
    let (seat, springs) = foot(&design.builds[0]);
    let [least, most] = seat.pressed.unwrap();
    assert!(least < third && third < most);
    // Hertz on two faces at 45° under the third and the preload.
    let star = 207e9 / (2.0 * 0.91);
    let push = (6.0 * star * star * 0.01 * (third + 100.0) / 2f64.sqrt()).cbrt();
    assert_relative_eq!(springs[2], push * (1.0 + 2.0 * 0.7 / 1.7), max_relative = 1e-6);
}

#[test]
fn what_is_wrong_or_doubtful_is_said_at_its_place() {
    let said = |seat: &str, part: &str| {
        let (_, said) = post(seat, "");
        assert!(said.iter().any(|s| s.contains(part)), "{part}: {said:?}");
    };
    said(
        "glued = \"50 x 50 mm\"\nfilm = \"0.2 mm\"\nof = \"epoxi\"",
        "no material or mix \"epoxi\"; did you mean",
    );
    said(&BOLTED.replace("20 N m", "40 N m"), "takes each bolt to 114 % of its proof load");
    said(&format!("{BOLTED}\nstiffness = {{ x = \"1 N/um\" }}"), "it states stiffness and bolted");
    let soft = "rubber = \"60 x 60 x 20 mm\"\nhardness = \"30 Shore A\"\n[masses.more]\nat = \"head\"\nmass = \"200 kg\"";
    said(soft, "the pad is squeezed by about");
    let (_, said) = on_feet("air = \"60 cm2\"\nvolume = \"0.3 l\"");
    assert!(said.iter().any(|s| s.contains("\"across\" is missing")), "{said:?}");
}
