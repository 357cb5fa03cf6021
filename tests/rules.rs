//! The library neither prints nor opens files, and no file grows beyond 600 lines.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};

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
