//! Runs every command on the examples: texts match the stored ones, JSON keeps its keys, text its width.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod stored;

use serde_json::Value;
use std::process::{Command, Output, Stdio};

/// Commands whose whole text is stored under `tests/examples/NAME.txt`.
const TEXTS: &[(&str, &[&str])] = &[
    ("compare-smallest", &["compare", "examples/smallest.toml", "--draws", "0"]),
    ("compare-stand", &["compare", "examples/roundness-stand.toml", "--draws", "0"]),
    (
        "compare-stand-equal-mass",
        &["compare", "examples/roundness-stand.toml", "--draws", "0", "--at-equal", "mass"],
    ),
    ("compare-rubbing", &["compare", "examples/rubbing-joint.toml", "--draws", "40"]),
    ("section-stand-cast", &["section", "examples/roundness-stand.toml", "--build", "cast"]),
    (
        "modes-stand-cast",
        &["modes", "examples/roundness-stand.toml", "--build", "cast", "--count", "6", "--draws", "0"],
    ),
    (
        "modes-blocks-bolted",
        &["modes", "examples/bolted-blocks.toml", "--build", "bolted", "--count", "3", "--draws", "0"],
    ),
    ("materials-granite", &["materials", "granite"]),
    ("joints", &["joints"]),
    ("joints-bolted", &["joints", "bolted"]),
    ("check-column", &["check", "examples/bolted-column.toml"]),
    ("mix-stand", &["mix", "examples/roundness-stand.toml"]),
    ("mix-mill", &["mix", "examples/gantry-mill.toml", "--least-binder"]),
    ("mix-measured", &["mix", "examples/measured-bed.toml"]),
    ("response-mill-cast", &["response", "examples/gantry-mill.toml", "--build", "cast", "--floor", "VC-C"]),
    (
        "modes-stand-drawn",
        &["modes", "examples/roundness-stand.toml", "--build", "bolted", "--count", "4", "--draws", "20"],
    ),
    ("ringdown-stand", &["ringdown", "examples/roundness-stand.toml", "--draws", "0"]),
    ("ringdown-rubbing", &["ringdown", "examples/rubbing-joint.toml", "--draws", "20"]),
    ("pour-stand", &["pour", "examples/roundness-stand.toml", "--build", "cast"]),
    ("thermal-stand", &["thermal", "examples/roundness-stand.toml", "--build", "cast", "--change", "2 K"]),
    ("help", &["--help"]),
];

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillbed"));
    command.args(arguments).current_dir(stored::root()).env("NO_COLOR", "1");
    command
}

fn run(arguments: &[&str]) -> Output {
    command(arguments).output().unwrap()
}

fn text(arguments: &[&str]) -> String {
    let output = run(arguments);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.code().is_some_and(|code| code < 2), "{arguments:?}: {said}");
    String::from_utf8(output.stdout).unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let mut all = arguments.to_vec();
    all.extend(["--format", "json"]);
    let value: Value = serde_json::from_str(&text(&all)).unwrap();
    assert_eq!(value["format"], format!("{}/1", arguments[0]));
    assert_eq!(value["program"]["name"], "stillbed");
    value["result"].clone()
}

#[test]
fn whole_outputs_are_as_stored() {
    let mut store = stored::Store::new();
    for (name, arguments) in TEXTS {
        store.compare(&format!("tests/examples/{name}.txt"), &text(arguments));
    }
    store.finish();
}

#[test]
fn no_line_is_wider_than_80_columns_and_none_has_an_escape() {
    for (name, arguments) in TEXTS {
        for line in text(arguments).lines() {
            let width = unicode_width::UnicodeWidthStr::width(line);
            assert!(width <= 80, "{name}: {width} columns: {line}");
            assert!(!line.contains('\u{1b}'), "{name}: {line}");
        }
    }
}

#[test]
fn the_starter_passes_check_and_compare() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stand.toml");
    let name = path.display().to_string();
    assert!(run(&["new", &name]).status.success());
    let checked = text(&["check", &name]);
    assert!(checked.contains("Nothing is wrong or doubtful."), "{checked}");
    assert!(text(&["compare", &name, "--draws", "0"]).contains("after the tap"));
}

#[test]
fn modes_keep_their_keys() {
    let result = json(&["modes", "examples/roundness-stand.toml", "--build", "cast", "--count", "4"]);
    let build = &result["builds"][0];
    assert_eq!(build["name"], "cast");
    assert_eq!(build["rigid_body_modes"], 0);
    assert_eq!(build["modes"].as_array().unwrap().len(), 4);
    for mode in build["modes"].as_array().unwrap() {
        for key in [
            "frequency_hz",
            "loss_factor",
            "loss_factor_exact",
            "half_time_s",
            "time_to_10pct_s",
            "frequency_error",
        ] {
            assert!(mode[key].as_f64().unwrap() > 0.0, "{key}");
        }
        let shares = mode["energy_share"].as_array().unwrap();
        let sum: f64 = shares.iter().map(|share| share["share"].as_f64().unwrap()).sum();
        assert!((sum - 1.0).abs() < 1e-9, "{sum}");
        assert!(shares.iter().all(|share| share["of"].is_string()));
    }
}

#[test]
fn modes_and_ringdown_say_what_the_draws_make_of_them() {
    let stand = ["examples/roundness-stand.toml", "--build", "bolted", "--draws", "12"];
    let result = json(&[&["modes", "--count", "4"], &stand[..]].concat());
    let build = &result["builds"][0];
    let ordered = |answer: &Value| {
        let [low, median, high] = ["low", "median", "high"].map(|key| answer[key].as_f64().unwrap());
        assert!(low < median && median < high && answer["value"].is_number(), "{answer}");
        assert!(answer["comes_from"].is_array());
    };
    for mode in build["spread"]["modes"].as_array().unwrap() {
        assert!(mode["followed"].as_f64().unwrap() > 0.5);
        for key in ["frequency_hz", "loss_factor_exact", "time_to_10pct_s"] {
            ordered(&mode[key]);
        }
    }
    ordered(&build["spread"]["stiffness_n_per_m"]);
    assert_eq!(build["spread"]["modes"].as_array().unwrap().len(), 4);
    assert!(build["stiffness_n_per_m"]["value"].is_number());
    let result = json(&[&["ringdown"], &stand[..]].concat());
    let build = &result["builds"][0];
    for key in ["largest_m", "time_to_10pct_s", "time_to_1pct_s", "settle_time_s"] {
        ordered(&build["spread"][key]);
    }
    let band = &build["spread"]["band"];
    let every = band["every"].as_u64().unwrap() as usize;
    let instants = build["time_s"].as_array().unwrap().len();
    assert_eq!(band["envelope_high_m"].as_array().unwrap().len(), instants.div_ceil(every));
}

#[test]
fn a_seed_gives_the_same_spread_for_any_number_of_threads() {
    let arguments = ["modes", "examples/rubbing-joint.toml", "--draws", "10", "--format", "json"];
    let with = |threads: &str| {
        let output = command(&arguments).env("RAYON_NUM_THREADS", threads).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(with("1"), with("3"));
}

#[test]
fn an_answer_holds_at_its_amplitude() {
    let design = "examples/rubbing-joint.toml";
    let at = |more: &[&str]| {
        let result = json(&[&["modes", design, "--draws", "0"], more].concat());
        let loss = result["builds"][0]["modes"][0]["loss_factor_exact"].as_f64().unwrap();
        (result["amplitude_m"].as_f64().unwrap(), loss)
    };
    let ((small, quiet), (large, loud)) = (at(&["--amplitude", "0.1 um"]), at(&["--amplitude", "10 um"]));
    assert!((small / 1e-7 - 1.0).abs() < 1e-12 && (large / 1e-5 - 1.0).abs() < 1e-12, "{small} {large}");
    assert!(loud > 1.2 * quiet, "{quiet} {loud}");
    // The design itself asks for 1 um, which lies between.
    let (stated, between) = at(&[]);
    assert_eq!(stated, 1e-6);
    assert!((between / (0.5 * (quiet + loud)) - 1.0).abs() < 0.02, "{quiet} {between} {loud}");
    for command in ["compare", "ringdown"] {
        assert_eq!(json(&[command, design, "--draws", "0"])["amplitude_m"], 1e-6);
    }
    assert_eq!(json(&["response", design])["amplitude_m"], 1e-6);
    assert!(json(&["modes", "examples/smallest.toml"]).get("amplitude_m").is_none());
}

#[test]
fn sections_keep_their_keys() {
    let result = json(&["section", "examples/roundness-stand.toml", "--build", "welded"]);
    let section = &result["builds"][0]["sections"][0];
    assert!(section["mass_kg_per_m"].as_f64().unwrap() > 1.0);
    for centre in ["elastic_centre_m", "mass_centre_m", "shear_centre_m"] {
        assert_eq!(section[centre].as_array().unwrap().len(), 2);
    }
    for acting in ["bonded", "sliding", "as_stated"] {
        for key in ["ea_n", "ei_y_n_m2", "ei_z_n_m2", "gj_n_m2", "ga_y_n", "ga_z_n"] {
            assert!(section[acting][key].as_f64().unwrap() > 0.0, "{acting}.{key}");
        }
        assert!(section[acting]["ei_yz_n_m2"].is_number());
        assert!(section[acting]["loss"]["ea"].is_number());
    }
}

#[test]
fn a_comparison_keeps_its_keys() {
    let result = json(&["compare", "examples/roundness-stand.toml", "--draws", "6"]);
    for build in result["builds"].as_array().unwrap() {
        assert!(build["mass_kg"].is_number() && build["cost"].is_number() && build["label"].is_string());
        for axis in ["x", "y", "z"] {
            assert!(build["stiffness_n_per_m"][axis]["value"].as_f64().unwrap() > 0.0);
        }
        for key in ["first_frequency_hz", "loss_factor", "dynamic_stiffness_n_per_m", "settle_time_s"] {
            let [value, low, high] = ["value", "low", "high"].map(|part| build[key][part].as_f64().unwrap());
            assert!(value > 0.0 && low <= high, "{key}");
        }
    }
    let beats = result["beats"].as_array().unwrap();
    assert!(!beats.is_empty());
    for beat in beats {
        assert!((0.0..=1.0).contains(&beat["chance"].as_f64().unwrap()));
        assert!(beat["build"].is_string() && beat["over"].is_string() && beat["by"].is_string());
    }
}

#[test]
fn mix_response_ringdown_and_thermal_keep_their_keys() {
    let stand = "examples/roundness-stand.toml";
    let mix = &json(&["mix", stand])["mixes"][0];
    for key in
        ["density_kg_per_m3", "poissons_ratio", "loss_factor", "binder_volume_share", "binder_demand", "air"]
    {
        assert!(mix[key].is_number(), "{key}");
    }
    assert!(mix["youngs_modulus_pa"]["low"].as_f64() <= mix["youngs_modulus_pa"]["value"].as_f64());
    let response = &json(&["response", stand, "--build", "cast"])["builds"][0];
    for key in ["frequency_hz", "real_m_per_n", "imaginary_m_per_n", "clashes"] {
        assert!(response[key].is_array(), "{key}");
    }
    assert!(response["dynamic_stiffness_n_per_m"].is_number() && response["peak_frequency_hz"].is_number());
    let ringdown = &json(&["ringdown", stand, "--build", "cast", "--duration", "0.2 s"])["builds"][0];
    assert_eq!(ringdown["time_s"].as_array().unwrap().len(), ringdown["motion_m"].as_array().unwrap().len());
    assert!(ringdown["settle_time_s"].is_number());
    let thermal = &json(&["thermal", stand, "--build", "cast", "--change", "2 K"])["builds"][0];
    assert!(thermal["drift_m_per_k"]["z"].is_number());
    let part = &thermal["members"][0]["parts"][0];
    assert!(part["of"].is_string() && part["stress_pa"].is_number());
    assert!(part["weight"]["stress_pa"].is_number() && part["weight"]["together_pa"].is_number());
    let compared = &json(&["compare", stand, "--build", "cast", "--draws", "0"])["builds"][0];
    let [x, y, z] = ["x", "y", "z"].map(|axis| thermal["drift_m_per_k"][axis].as_f64().unwrap());
    let drift = compared["drift_m_per_k"]["value"].as_f64().unwrap();
    assert!((drift / (x * x + y * y + z * z).sqrt() - 1.0).abs() < 1e-6, "{drift}");
}

#[test]
fn csv_has_the_keys_of_json_as_its_head() {
    let csv = text(&["modes", "examples/smallest.toml", "--format", "csv"]);
    let head = csv.lines().next().unwrap();
    assert!(head.starts_with("build,number,frequency_hz,frequency_error,loss_factor"), "{head}");
    assert_eq!(csv.lines().count(), 11);
}

#[test]
fn a_target_that_no_build_meets_sets_the_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.toml");
    let design = std::fs::read_to_string(stored::root().join("examples/smallest.toml")).unwrap();
    for (limit, code) in [("1000 Hz", 1), ("10 Hz", 0)] {
        let target = format!("{design}\n[targets]\nfirst_frequency = {{ at_least = \"{limit}\" }}\n");
        std::fs::write(&path, target).unwrap();
        for command in ["compare", "modes"] {
            assert_eq!(
                run(&[command, &path.display().to_string()]).status.code(),
                Some(code),
                "{command} {limit}"
            );
        }
    }
}

#[test]
fn a_reader_that_leaves_early_is_no_failure() {
    let mut child = command(&["modes", "examples/gantry-mill.toml", "--format", "json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.status.code().is_some_and(|code| code < 2));
}

#[test]
fn a_tap_of_a_made_record_is_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("tap.csv").display().to_string();
    let stand = "examples/roundness-stand.toml";
    text(&["ringdown", stand, "--build", "cast", "--record", &record]);
    let result = json(&["tap", &record, "--against", stand, "--build", "cast"]);
    let modes = result["modes"].as_array().unwrap();
    assert!(!modes.is_empty());
    assert!(modes[0]["frequency_hz"]["low"].is_number());
    assert!(!result["against"]["pairs"].as_array().unwrap().is_empty());
}
