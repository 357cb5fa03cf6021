//! Compares whole outputs with stored files.

use std::fs;
use std::path::{Path, PathBuf};

/// The root of the package.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

/// Collects the differences between outputs and stored files, to report them all at the end.
pub struct Store {
    writes: bool,
    differences: Vec<String>,
}

impl Store {
    /// A store that compares, or writes when `STORE` is set.
    pub fn new() -> Store {
        Store { writes: std::env::var_os("STORE").is_some(), differences: Vec::new() }
    }

    /// Compares `output` with the file at `path` below the root.
    pub fn compare(&mut self, path: &str, output: &str) {
        let file = root().join(path);
        if self.writes {
            fs::write(&file, output).unwrap();
            return;
        }
        let stored = fs::read_to_string(&file).unwrap_or_default();
        if stored != output {
            let line = stored.lines().zip(output.lines()).position(|(a, b)| a != b);
            let line = line.unwrap_or(stored.lines().count().min(output.lines().count()));
            let at = |text: &str| text.lines().nth(line).unwrap_or("(end)").to_string();
            self.differences.push(format!(
                "{path}, line {}:\n  stored: {}\n  found:  {}",
                line + 1,
                at(&stored),
                at(output)
            ));
        }
    }

    /// Fails if any output differed.
    pub fn finish(self) {
        assert!(self.differences.is_empty(), "{}", self.differences.join("\n"));
    }
}
