use super::*;
use crate::design_sample::design;
use stillbed_input::quantity::Spread;
use stillbed_tap::{AmplitudePoint, ReadingOptions, TapReading, read_taps};

const STAND: &str = include_str!("../../../examples/roundness-stand.toml");

fn listened(design: &Design, build: &Build, channels: &str) -> TapReading {
    let ties = if channels.is_empty() { Vec::new() } else { read_ties(design, build, channels).unwrap() };
    let made = RecordSettings {
        sample_rate_hz: 4000.0,
        duration_s: 6.0,
        signal_to_noise_db: 50.0,
        seed: 3,
        channels: ties.into_iter().flatten().collect(),
    };
    let record = synthetic_record(design, build, &made).unwrap();
    read_taps(&record, &ReadingOptions::default()).unwrap()
}

fn measured(reading: &TapReading) -> MeasuredTap<'_> {
    MeasuredTap { modes: &reading.modes, ties: &[], count: 8 }
}

/// `build` of `design` with the parameter called `name` multiplied by `factor`.
fn moved(build: &Build, name: &str, factor: f64) -> Build {
    let parameters = ModelParameter::all(build);
    parameters.iter().find(|parameter| parameter.uncertain.name == name).unwrap().moved(build, factor)
}

#[test]
fn a_made_record_gives_back_the_modes_of_its_build() {
    let design = design(STAND);
    let build = design.build("cast").unwrap();
    let found = compare(&design, build, &measured(&listened(&design, build, ""))).unwrap().against;
    assert!(found.pairs.len() >= 2, "{:?}", found.pairs);
    // Feet damp some modes so much that they overlap; those are read to within a few per cent.
    for pair in &found.pairs {
        assert!(pair.frequency_difference.abs() < 0.03, "{pair:?}");
    }
    let near = found.pairs.iter().filter(|pair| pair.frequency_difference.abs() < 0.005);
    assert!(near.count() >= 2, "{:?}", found.pairs);
    assert!(found.explanations.iter().any(|e| e.parameter.contains("feet")));
}

#[test]
fn a_planted_change_is_found_and_its_design_comes_nearer() {
    let design = design(STAND);
    for (build, name, factor) in [
        ("cast", "feet.levelling.stiffness", 0.55),
        ("cast", "mixes.\"feldspar and sand\".youngs_modulus", 0.7),
        ("bolted", "joints.corner.stiffness", 0.5),
    ] {
        let build = design.build(build).unwrap();
        let reading = listened(&design, &moved(build, name, factor), "");
        let found = compare(&design, build, &measured(&reading)).unwrap();
        let best = &found.against.explanations[0];
        let alike = found.against.alike();
        assert!(best.parameter == name || alike.contains(&name), "{name}: {:#?}", found.against.explanations);
        let own = found.against.explanations.iter().find(|e| e.parameter == name).unwrap();
        assert!((own.factor.value / factor).ln().abs() < 0.12, "{name}: {:?}", own.factor);
        let parameter =
            found.parameters.iter().find(|parameter| parameter.uncertain.name == best.parameter).unwrap();
        let text = write("stand.toml", STAND, build, parameter, &best.factor, None).unwrap();
        assert!(text.starts_with("# A stand for measuring") && text.contains("# ---- the wire drawing"));
        let updated = crate::design_sample::design(&text);
        let again = compare(&updated, updated.build(&build.name).unwrap(), &measured(&reading)).unwrap();
        let apart = |found: &TapComparison| found.against.misfit;
        assert!(apart(&again) < 0.3 * apart(&found), "{name}: {} to {}", apart(&found), apart(&again));
        for other in design.builds.iter().filter(|other| other.name != build.name) {
            let other_again = updated.build(&other.name).unwrap();
            assert_eq!(other.drawing.feet.iter().count(), other_again.drawing.feet.iter().count());
        }
    }
}

#[test]
fn every_lever_can_be_written() {
    let design = design(STAND);
    for build in ["bolted", "cast"].map(|name| design.build(name).unwrap()) {
        for parameter in ModelParameter::all(build) {
            let factor = Spread::between(0.8, 0.75, 0.85);
            let text = write("stand.toml", STAND, build, &parameter, &factor, None).unwrap();
            let updated = crate::design_sample::design(&text);
            let model = |build: &Build| predicted(&design, build, &[], 3).unwrap();
            let written = model(updated.build(&build.name).unwrap());
            for (a, b) in written.iter().zip(model(&parameter.moved(build, 0.8))) {
                let name = &parameter.uncertain.name;
                assert!((a.frequency_hz / b.frequency_hz - 1.0).abs() < 1e-4, "{name}");
                assert!((a.loss_factor / b.loss_factor - 1.0).abs() < 1e-2, "{name}");
            }
        }
    }
}

/// A post on a plate whose two bending modes are close in frequency: only their directions tell them apart.
const POST: &str = r#"
title = "post"
[points]
foot = "0, 0, 0 mm"
middle = "0, 0, 400 mm"
top = "0, 0, 800 mm"
[members.lower]
from = "foot"
to = "middle"
section = "post"
[members.upper]
from = "middle"
to = "top"
section = "post"
[anchors.floor]
at = ["foot"]
hold = "all"
[tool]
tip = "top"
work = "ground"
[tap]
at = "top"
along = "0.7, 0.7, 0"
impulse = "0.1 N s"
[builds.steel]
sections.post.parts = [{ rectangle = "WIDTHx HEIGHT mm", of = "structural steel" }]
materials."structural steel" = { youngs_modulus = { value = "205 GPa", low = "185 GPa", high = "225 GPa" }, loss_factor = 0.01 }
"#;

#[test]
fn only_shapes_tell_crossed_modes() {
    let of = |width: &str, height: &str| design(&POST.replace("WIDTH", width).replace("HEIGHT", height));
    // In the model the post is stiffer along x; the post as built is stiffer along y.
    let (drawn, built) = (of("40 ", "41"), of("41 ", "40"));
    let reading = listened(&built, &built.builds[0], "top x, top y, middle x");
    let ties = ties_by_title(&drawn, &drawn.builds[0], reading.channels.iter().map(String::as_str));
    assert!(ties.iter().all(Option::is_some), "{:?}", reading.channels);
    let order = |ties: &[Option<Tie>]| {
        let measured = MeasuredTap { modes: &reading.modes, ties, count: 6 };
        let mut pairs = compare(&drawn, &drawn.builds[0], &measured).unwrap().against.pairs;
        pairs.truncate(2);
        pairs
    };
    let blind = order(&[]);
    assert_eq!((blind[0].mode.as_str(), blind[1].mode.as_str()), ("mode 1", "mode 2"));
    let seen = order(&ties);
    assert_eq!((seen[0].mode.as_str(), seen[1].mode.as_str()), ("mode 2", "mode 1"));
    assert!(seen.iter().all(|pair| pair.shape_likeness.unwrap() > 0.95), "{seen:?}");
}

const RUBBING: &str = include_str!("../../../examples/rubbing-joint.toml");

/// The modes of the first build of `design` as a tap test would measure them. The mode at `bent` is read from
/// 10 um down to 0.1 um; at 1 um its loss is 1.5 times that of the model.
fn heard_as_built(design: &Design, bent: usize) -> Vec<MeasuredMode> {
    let build = &design.builds[0];
    let template = listened(design, build, "").modes[0].clone();
    let around = |x: f64, part: f64| Spread::between(x, x * (1.0 - part), x * (1.0 + part));
    let of = |(i, mode): (usize, &PredictedMode)| {
        let frequency_hz = around(mode.frequency_hz, 1e-3);
        let loss = |by: f64| around(by * mode.loss_factor, 0.05);
        let at = |amplitude: f64, by: f64| AmplitudePoint { amplitude, frequency_hz, loss_factor: loss(by) };
        let mut heard = MeasuredMode { frequency_hz, loss_factor: Some(loss(1.0)), ..template.clone() };
        if i == bent {
            heard.loss_factor = Some(loss(1.5));
            heard.amplitude_m = Some(1e-5);
            heard.amplitude_trend.bends = true;
            heard.amplitude_trend.stretches = vec![at(1.0, 2.0), at(0.1, 1.5), at(0.01, 1.2)];
        }
        heard
    };
    predicted(design, build, &[], 5).unwrap().iter().enumerate().map(of).collect()
}

fn found(design: &Design, heard: &[MeasuredMode]) -> TapComparison {
    compare(design, &design.builds[0], &MeasuredTap { modes: heard, ties: &[], count: 5 }).unwrap()
}

#[test]
fn a_mode_that_bends_is_compared_where_the_losses_of_the_design_hold() {
    let design = design(RUBBING);
    let against = found(&design, &heard_as_built(&design, 1)).against;
    let said: Vec<String> = against.notes.iter().map(ToString::to_string).collect();
    let told = said.iter().any(|note| note.contains("is compared at 1 µm, that of the design's losses"));
    assert!(told, "{said:?}");
    let pair = against.pairs.iter().find(|pair| pair.mode == "mode 2").unwrap();
    assert!((pair.loss_difference.unwrap() - 0.5).abs() < 1e-3, "{pair:?}");
}

#[test]
fn a_loss_that_the_record_shows_over_amplitude_is_written_at_both_ends() {
    // The same design with one loss for every amplitude.
    let from = RUBBING.find("loss = [\n").unwrap();
    let to = from + RUBBING[from..].find("]\n").unwrap() + 2;
    let one = "loss = { value = 0.3, low = 0.1, high = 0.6 }\n";
    let text = format!("{}{one}{}", &RUBBING[..from], &RUBBING[to..]).replace("amplitude = \"1 um\"\n", "");
    let design = design(&text);
    let build = &design.builds[0];
    let mut written = 0;
    for bent in 0..5 {
        let found = found(&design, &heard_as_built(&design, bent));
        let joint = found.ends.iter().find(|(name, _)| name.starts_with("joints.") && name.ends_with("loss"));
        let Some((name, ends)) = joint else { continue };
        let [(small, low), (large, high)] = *ends;
        assert!((small / 1e-7 - 1.0).abs() < 1e-6 && (large / 1e-5 - 1.0).abs() < 1e-6, "{ends:?}");
        // The joint causes only part of the mode's loss, so its own loss changes by more.
        assert!(high / low > 2.0 / 1.2, "{ends:?}");
        let parameter = found.parameters.iter().find(|parameter| parameter.uncertain.name == *name).unwrap();
        let changed =
            write("rubbing.toml", &text, build, parameter, &Spread::exact(low), Some(ends)).unwrap();
        assert!(changed.contains("at 0.1 um\", \"") && changed.contains("at 10 um\"]"), "{changed}");
        crate::design_sample::design(&changed);
        written += 1;
    }
    assert!(written > 0);
}
