//! The program itself asked about a design, in every form of its answers.

use super::design;
use assert_cmd::Command;
use std::path::Path;

/// Commands and options that any design answers, or refuses for what it does not state.
const RUNS: [&str; 12] = [
    "check d.toml",
    "section d.toml --format csv",
    "modes d.toml --count 6 --format csv",
    "modes d.toml --count 6 --format json",
    "compare d.toml --draws 3",
    "compare d.toml --draws 0 --format csv",
    "compare d.toml --draws 0 --format json",
    "compare d.toml --draws 0 --format xlsx --output book.xlsx",
    "thermal d.toml --change 3K --format json",
    "response d.toml --from p0 --along 1,0.2,0 --format csv",
    "ringdown d.toml --draws 0 --format csv",
    "report d.toml --draws 0 --most 20 --output page.html",
];

/// What is wrong with the runs of design `seed`; nothing where `check` refuses it.
pub fn faults(seed: u64) -> Vec<String> {
    let text = design::text(seed);
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("d.toml"), &text).unwrap();
    let mut found = Vec::new();
    for line in RUNS {
        if line.starts_with("ringdown") && !text.contains("[tap]") {
            continue;
        }
        let mut command = Command::cargo_bin("stillbed").unwrap();
        let before = largest();
        command.env("RAYON_NUM_THREADS", "2");
        let run = command.args(line.split_whitespace()).current_dir(folder.path()).output().unwrap();
        let (code, said) = (run.status.code(), String::from_utf8_lossy(&run.stderr));
        if line.starts_with("check") && code == Some(2) {
            return Vec::new();
        }
        // 1: a target is missed.
        if !matches!(code, Some(0 | 1)) {
            found.push(format!("{line} ends with {code:?}: {said}\n{text}"));
        }
        if before <= MEMORY && largest() > MEMORY {
            found.push(format!("{line}, or a run beside it, takes {} KiB\n{text}", largest()));
        }
        let shown = String::from_utf8_lossy(&run.stdout);
        if let Some(odd) = odd(&shown) {
            found.push(format!("{line} says \"{odd}\"\n{text}"));
        }
        found.extend(fault_of_file(folder.path(), line).map(|fault| format!("{line}: {fault}\n{text}")));
    }
    found
}

/// Memory that a run on two threads may take, KiB; each thread solves with its own.
const MEMORY: i64 = 500_000;

/// The most memory that a run took so far, KiB, where that is known.
#[cfg(target_os = "linux")]
fn largest() -> i64 {
    use nix::sys::resource::{UsageWho, getrusage};
    getrusage(UsageWho::RUSAGE_CHILDREN).map_or(0, |usage| usage.max_rss())
}

#[cfg(not(target_os = "linux"))]
fn largest() -> i64 {
    0
}

/// A word that stands for no number.
fn odd(shown: &str) -> Option<&str> {
    let words = shown.split(|c: char| !c.is_alphanumeric());
    words.into_iter().find(|word| matches!(*word, "NaN" | "nan" | "inf" | "Infinity"))
}

/// What is wrong with the file that the run `line` writes.
fn fault_of_file(folder: &Path, line: &str) -> Option<String> {
    let name = line.split_once("--output ")?.1;
    let bytes = std::fs::read(folder.join(name)).ok();
    let Some(bytes) = bytes.filter(|bytes| !bytes.is_empty()) else { return Some(format!("no {name}")) };
    let text = String::from_utf8_lossy(&bytes);
    match name.rsplit_once('.').map(|(_, end)| end) {
        Some("html") if !text.trim_end().ends_with("</html>") => Some("the page is cut off".to_string()),
        Some("html") => odd_number(&text).map(|odd| format!("the page has {odd}")),
        Some("xlsx") if !bytes.starts_with(b"PK") => Some("no workbook".to_string()),
        _ => None,
    }
}

/// A number that is none, in what a page draws or tells.
fn odd_number(page: &str) -> Option<&str> {
    let places = [">NaN", "\"NaN", " NaN", ":NaN", ",NaN", ">inf<", "Infinity"];
    let body = page.split_once("<body").map_or(page, |(_, body)| body);
    let script = body.find("<script").unwrap_or(body.len());
    places.into_iter().find(|odd| body[..script].contains(odd))
}
