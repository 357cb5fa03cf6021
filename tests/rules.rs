//! The library neither prints nor opens files, no file grows beyond 600 lines, and no two import from each other.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod imports;

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
        if path.components().any(|c| ["cli", "examples"].iter().any(|name| c.as_os_str() == *name))
            || path.ends_with("main.rs")
            || tests_alone
        {
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

#[test]
fn no_files_import_from_each_other() {
    let mut circles = Vec::new();
    let mut packages = 0;
    for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            packages += 1;
            circles.extend(imports::Package::read(&path).circle());
        }
    }
    assert!(packages >= 12, "only {packages} packages found");
    assert!(circles.is_empty(), "{circles:#?}");
}
