//! Every faulty input has a stored message: what `check` prints for `tests/refusals/NAME.toml` must be
//! `NAME.txt`. `STORE=1 cargo test --test refusals` writes the messages anew, to be read.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod stored;

use std::fs;
use std::process::{Command, Output};

fn stillbed(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillbed"))
        .args(arguments)
        .current_dir(stored::root())
        .env("NO_COLOR", "1")
        .output()
        .unwrap()
}

/// Exit code, then the text of standard output and standard error.
fn said(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    format!("exit {}\n{}{}", output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

#[test]
fn every_bad_design_is_refused_with_its_message() {
    let mut names: Vec<String> = fs::read_dir(stored::root().join("tests/refusals"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    names.sort();
    assert!(names.len() >= 25, "only {} designs", names.len());
    let mut store = stored::Store::new();
    for name in &names {
        let output = stillbed(&["check", &format!("tests/refusals/{name}")]);
        store.compare(&format!("tests/refusals/{}", name.replace(".toml", ".txt")), &said(&output));
    }
    store.finish();
}

#[test]
fn what_cannot_be_sized_is_refused_with_its_message() {
    let mut names: Vec<String> = fs::read_dir(stored::root().join("tests/refusals/size"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    names.sort();
    assert!(names.len() >= 9, "only {} designs", names.len());
    let mut store = stored::Store::new();
    for name in &names {
        let output = stillbed(&["size", &format!("tests/refusals/size/{name}")]);
        let code = if name == "nothing-meets.toml" { 1 } else { 2 };
        assert_eq!(output.status.code(), Some(code), "{name}: {}", said(&output));
        store.compare(&format!("tests/refusals/size/{}", name.replace(".toml", ".txt")), &said(&output));
    }
    store.finish();
}

/// Faulty options; each case has a name under `tests/refusals/options`.
const OPTIONS: &[(&str, &[&str])] = &[
    ("amplitude-no-unit", &["modes", "examples/smallest.toml", "--amplitude", "1"]),
    ("amplitude-none", &["ringdown", "examples/smallest.toml", "--amplitude", "0 um"]),
    ("change-no-unit", &["thermal", "examples/smallest.toml", "--change", "10"]),
    ("direction-none", &["response", "examples/smallest.toml", "--from", "tip", "--along", "0, 0, 0"]),
    ("film-none", &["thermal", "examples/smallest.toml", "--change", "1 K", "--film", "0 W/m2 K"]),
    ("floor-gap", &["response", "examples/smallest.toml", "--floor", "tests/refusals/options/floor-gap.csv"]),
    ("modes-none", &["modes", "examples/smallest.toml", "--count", "0"]),
    ("modes-too-many", &["modes", "examples/smallest.toml", "--count", "501"]),
    ("no-expansion", &["thermal", "tests/refusals/options/no-expansion.toml", "--change", "10 K"]),
    ("range-reversed", &["response", "examples/smallest.toml", "--range", "500, 5 Hz"]),
];

#[test]
fn options_that_no_answer_can_follow_are_refused_with_their_message() {
    let mut store = stored::Store::new();
    for (name, arguments) in OPTIONS {
        let output = stillbed(arguments);
        assert_eq!(output.status.code(), Some(2), "{name}: {}", said(&output));
        store.compare(&format!("tests/refusals/options/{name}.txt"), &said(&output));
    }
    store.finish();
}

#[test]
fn a_bad_stock_is_refused_with_its_message() {
    let output =
        stillbed(&["size", "examples/sized-stand.toml", "--stock", "tests/refusals/stock-bad-cell.csv"]);
    let mut store = stored::Store::new();
    store.compare("tests/refusals/stock-bad-cell.txt", &said(&output));
    store.finish();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_bad_table_of_materials_is_refused_with_its_message() {
    let table = "tests/refusals/materials-bad-cell.csv";
    let output = stillbed(&["check", "examples/smallest.toml", "--materials", table]);
    let mut store = stored::Store::new();
    store.compare("tests/refusals/materials-bad-cell.txt", &said(&output));
    store.finish();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn files_that_cannot_be_read_say_why() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("empty.toml"), "").unwrap();
    fs::write(path("latin.toml"), b"title = \"K\xf6ln\"\n").unwrap();
    fs::write(path("large.toml"), vec![b'#'; (16 << 20) + 1]).unwrap();
    for (name, words) in [
        ("empty.toml", "the file is empty"),
        ("latin.toml", "not UTF-8 text at byte 11 in line 1"),
        ("large.toml", "larger than the 16 MB that are read"),
        ("missing.toml", "cannot be read: no such file"),
        (".", "is a folder, not a file"),
    ] {
        let output = stillbed(&["compare", &path(name)]);
        let said = said(&output).replace("\n  ", " ").replace('\n', " ");
        assert!(said.contains(words), "{name}: {said}");
        assert_eq!(output.status.code(), Some(2), "{name}");
    }
}

#[test]
fn an_answer_never_overwrites_its_input_and_new_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let design = folder.path().join("a.toml");
    fs::copy(stored::root().join("examples/smallest.toml"), &design).unwrap();
    let before = fs::read(&design).unwrap();
    let name = design.display().to_string();
    for arguments in [vec!["modes", &name, "-o", &name], vec!["new", &name]] {
        assert_eq!(stillbed(&arguments).status.code(), Some(2), "{arguments:?}");
        assert_eq!(fs::read(&design).unwrap(), before);
    }
}

#[test]
fn an_unknown_build_is_named_with_the_nearest() {
    let output = stillbed(&["modes", "examples/roundness-stand.toml", "--build", "weldd"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("did you mean \"welded\"?"));
}
