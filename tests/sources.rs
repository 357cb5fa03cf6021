//! Every source key in tables and code has a row in the bibliography, and every row is used.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Words that may stand in place of a source.
const WITHOUT_SOURCE: [&str; 4] = ["memory", "common practice", "identity", "invented"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

fn bibliography() -> BTreeMap<String, String> {
    let mut reader = csv::Reader::from_path(root().join("data/sources.csv")).unwrap();
    assert_eq!(reader.headers().unwrap().iter().collect::<Vec<_>>(), ["key", "citation"]);
    let mut rows = BTreeMap::new();
    for row in reader.records() {
        let row = row.unwrap();
        assert!(row[1].len() > 10, "{} has no citation", &row[0]);
        assert!(rows.insert(row[0].to_string(), row[1].to_string()).is_none(), "{} stands twice", &row[0]);
    }
    rows
}

/// Keys in the `source` column of a table; several are separated by ` + ` or `; `.
fn keys_of_table(path: &Path, found: &mut BTreeSet<String>) {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let headers = reader.headers().unwrap().clone();
    let Some(column) = headers.iter().position(|h| h == "source") else { return };
    for row in reader.records() {
        let row = row.unwrap();
        assert!(!row[column].trim().is_empty(), "{}: a row without source: {row:?}", path.display());
        for key in row[column].split(['+', ';']) {
            found.insert(key.trim().to_string());
        }
    }
}

/// Keys in list items of the form "- `key`: locator" in doc comments.
fn keys_of_code(text: &str, found: &mut BTreeSet<String>) {
    for line in text.lines() {
        let line = line.trim();
        let Some(comment) = line.strip_prefix("///").or_else(|| line.strip_prefix("//!")) else { continue };
        if let Some(rest) = comment.trim().strip_prefix("- `")
            && let Some((key, after)) = rest.split_once('`')
            && after.starts_with(':')
            && key.chars().any(|c| c.is_ascii_digit())
            && key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_')
        {
            found.insert(key.to_string());
        }
    }
}

fn walk(folder: &Path, visit: &mut impl FnMut(&Path)) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { walk(&path, visit) } else { visit(&path) }
    }
}

#[test]
fn keys_and_bibliography_agree() {
    let known = bibliography();
    let mut named = BTreeSet::new();
    walk(&root().join("src"), &mut |path| {
        if path.extension().is_some_and(|e| e == "rs") {
            keys_of_code(&fs::read_to_string(path).unwrap(), &mut named);
        }
    });
    walk(&root().join("data"), &mut |path| {
        if path.extension().is_some_and(|e| e == "csv") && !path.ends_with("sources.csv") {
            keys_of_table(path, &mut named);
        }
    });
    assert!(named.len() > 10, "only {} keys are named", named.len());
    let missing: Vec<_> = named
        .iter()
        .filter(|key| !known.contains_key(*key) && !WITHOUT_SOURCE.contains(&key.as_str()))
        .collect();
    let unused: Vec<_> = known.keys().filter(|key| !named.contains(*key)).collect();
    assert!(missing.is_empty(), "no row in data/sources.csv for {missing:?}");
    assert!(unused.is_empty(), "rows of data/sources.csv that nothing names: {unused:?}");
}
