//! A file uses only rungs below its own, and no file grows beyond one sitting.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};

/// Rungs from the ground up; those in one line may use each other only downwards, in this order.
const RUNGS: [&str; 12] = [
    "problem", "quantity", "document", "material", "section", "frame", "modes", "response", "design",
    "study", "report", "cli",
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

fn all_sources(folders: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for folder in folders {
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder), &mut found);
    }
    found
}

fn rung_of(path: &Path) -> Option<usize> {
    let below = path.strip_prefix(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).unwrap();
    let first = below.components().next().unwrap().as_os_str().to_string_lossy().replace(".rs", "");
    RUNGS.iter().position(|rung| *rung == first)
}

/// The rungs named after `crate::` in `text`, brace lists included.
fn used(text: &str) -> Vec<usize> {
    let mut rungs = Vec::new();
    for part in text.split("crate::").skip(1) {
        let names: Vec<&str> = match part.strip_prefix('{') {
            Some(list) => list.split('}').next().unwrap().split(',').collect(),
            None => vec![part],
        };
        for name in names {
            let word: String = name.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            rungs.extend(RUNGS.iter().position(|rung| *rung == word));
        }
    }
    rungs
}

#[test]
fn a_file_uses_only_rungs_below_its_own() {
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for path in all_sources(&["src"]) {
        let Some(own) = rung_of(&path) else { continue };
        looked_at += 1;
        for rung in used(&fs::read_to_string(&path).unwrap()) {
            if rung > own {
                wrong.push(format!("{} uses {}", path.display(), RUNGS[rung]));
            }
        }
    }
    assert!(looked_at > 20, "only {looked_at} files found");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn uses_are_seen_in_every_form() {
    assert_eq!(used("use crate::{problem::Problem, study};").len(), 2);
    assert_eq!(used("let x = crate::cli::run();"), [11]);
}

#[test]
fn the_library_neither_prints_nor_opens_files_nor_looks_at_the_clock() {
    let mut wrong = Vec::new();
    for path in all_sources(&["src"]) {
        let tests_alone = ["tests.rs", "trials.rs"].iter().any(|name| path.ends_with(name));
        if path.components().any(|c| c.as_os_str() == "cli") || path.ends_with("main.rs") || tests_alone {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        for word in
            ["println!(", "print!(", "eprintln!(", "std::fs", "File::open", "Instant::now", "SystemTime"]
        {
            if code.contains(word) {
                wrong.push(format!("{} has {word}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_file_is_longer_than_600_lines() {
    let long: Vec<String> = all_sources(&["src", "tests", "examples"])
        .iter()
        .map(|path| (path, fs::read_to_string(path).unwrap().lines().count()))
        .filter(|(_, lines)| *lines > 600)
        .map(|(path, lines)| format!("{} has {lines}", path.display()))
        .collect();
    assert!(long.is_empty(), "{long:#?}");
}
