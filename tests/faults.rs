//! After a failed write the disk holds the old file or the new one, whole, and the message says which.
//!
//! A tracer (`strace`) makes the n-th call of one kind fail, or kills the program at it, for every n that a
//! run reaches. Without the tracer, or where tracing is not allowed, the tests print that they are skipped.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use assert_cmd::cargo::cargo_bin;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// System calls that write bytes or names to the disk; those in one string count as one kind.
const CALLS: [&str; 5] = [
    "write,pwrite64,writev",
    "fsync,fdatasync",
    "rename,renameat,renameat2,link,linkat",
    "ftruncate",
    "fchmod",
];

/// Commands and the files they write; `d.toml` and `hard.txt`, which has two hard links, exist before.
const RUNS: [(&str, &[&str]); 7] = [
    ("section d.toml --output out.txt", &["out.txt"]),
    ("modes d.toml --draws 0 --count 3 --format json --output hard.txt", &["hard.txt"]),
    ("compare d.toml --draws 0 --format xlsx --output out.xlsx", &["out.xlsx"]),
    (
        "ringdown d.toml --draws 0 --wav tap.wav --record tap.csv --output out.txt",
        &["tap.wav", "tap.csv", "out.txt"],
    ),
    ("new fresh.toml", &["fresh.toml"]),
    ("materials granite --format csv --output out.txt", &["out.txt"]),
    ("man --dir pages", &["pages/stillbed.1"]),
];

/// Most calls of one kind that are made to fail in a run; no run here comes near.
const MOST: usize = 400;

struct Shop(tempfile::TempDir);

impl Shop {
    /// A folder with the inputs of the runs, and old files where they write.
    fn new() -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        fs::copy(root.join("examples/rubbing-joint.toml"), folder.path().join("d.toml")).unwrap();
        fs::create_dir(folder.path().join("pages")).unwrap();
        for name in ["out.txt", "out.xlsx", "tap.wav", "tap.csv", "hard.txt", "pages/stillbed.1"] {
            fs::write(folder.path().join(name), "what was there before\n".repeat(40)).unwrap();
        }
        fs::hard_link(folder.path().join("hard.txt"), folder.path().join("other.txt")).unwrap();
        Shop(folder)
    }

    fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        for folder in [self.0.path().to_path_buf(), self.0.path().join("pages")] {
            for entry in fs::read_dir(folder).unwrap().map(Result::unwrap).filter(|e| e.path().is_file()) {
                let name = entry.path().strip_prefix(self.0.path()).unwrap().display().to_string();
                found.insert(name, fs::read(entry.path()).unwrap());
            }
        }
        found
    }

    /// Runs `line` with `fault` injected; true if the run reached it.
    fn run(&self, line: &str, fault: &str) -> (Output, bool) {
        let log = self.0.path().join("trace.log");
        let calls = fault.split(':').next().unwrap();
        let run = Command::new("strace")
            .args(["-f", "-qq", "-o"])
            .arg(&log)
            .args(["-e", &format!("trace={calls}"), "-e", &format!("inject={fault}")])
            .arg(cargo_bin("stillbed"))
            .args(line.split_whitespace())
            .current_dir(self.0.path())
            .env("RAYON_NUM_THREADS", "1")
            .output()
            .unwrap();
        let traced = fs::read_to_string(&log).unwrap_or_default();
        fs::remove_file(&log).unwrap();
        (run, traced.contains("(INJECTED)") || traced.contains("killed by SIGKILL"))
    }
}

/// True if the tracer can make calls fail on this machine.
fn can_trace() -> bool {
    let tried = Command::new("strace").args(["-qq", "-o", "/dev/null", "true"]).output();
    let can = tried.is_ok_and(|run| run.status.success());
    if !can {
        eprintln!("skipped: no call can be traced here (Debian: apt-get install strace)");
    }
    can
}

/// The files that `line` leaves in a new folder when nothing fails.
fn undisturbed(line: &str) -> BTreeMap<String, Vec<u8>> {
    let shop = Shop::new();
    let run = Command::new(cargo_bin("stillbed"))
        .args(line.split_whitespace())
        .current_dir(shop.0.path())
        .output()
        .unwrap();
    assert!(matches!(run.status.code(), Some(0 | 1)), "{line}: {}", String::from_utf8_lossy(&run.stderr));
    shop.files()
}

/// What is wrong after a run that fails at the `n`th call.
fn wrong(line: &str, outputs: &[&str], fault: &str, new: &BTreeMap<String, Vec<u8>>) -> Option<Vec<String>> {
    let shop = Shop::new();
    let before = shop.files();
    let (run, came_to_it) = shop.run(line, fault);
    came_to_it.then_some(())?;
    let (after, said) = (shop.files(), String::from_utf8_lossy(&run.stderr).to_string());
    let mut found = Vec::new();
    let mut changed = false;
    for (name, bytes) in &after {
        let (old, new) = (before.get(name), new.get(name));
        let is_output =
            outputs.contains(&name.as_str()) || name.ends_with("other.txt") || name.ends_with(".1");
        changed |= Some(bytes) != old && is_output;
        // A killed run leaves a temporary file, which the next run deletes.
        let waits = name.contains(".stillbed-") && run.status.code() != Some(0);
        let fits = Some(bytes) == old || is_output && Some(bytes) == new || waits;
        if !fits {
            found.push(format!("{name} is neither old nor new: {} bytes", bytes.len()));
        }
    }
    found.extend(
        before.keys().filter(|name| !after.contains_key(*name)).map(|name| format!("{name} is gone")),
    );
    if run.status.code() == Some(0) && outputs.iter().any(|name| after.get(*name) == before.get(*name)) {
        found.push("it ends with 0, and an old file stands".to_string());
    }
    if outputs.len() == 1 && changed && said.contains("nothing was changed") {
        found.push(format!("it says that nothing was changed: {said}"));
    }
    Some(found)
}

/// Injects every fault that `line` reaches; returns their number and what was wrong after them.
fn all_faults(line: &str, outputs: &[&str]) -> (usize, Vec<String>) {
    let new = undisturbed(line);
    let (mut found, mut faults) = (Vec::new(), 0);
    for calls in CALLS {
        for end in ["error=ENOSPC", "signal=KILL"] {
            for n in 1..MOST {
                let fault = format!("{calls}:{end}:when={n}");
                let Some(wrong) = wrong(line, outputs, &fault, &new) else { break };
                faults += 1;
                found.extend(wrong.iter().map(|what| format!("{line} with {fault}: {what}")));
            }
        }
    }
    (faults, found)
}

#[test]
fn whatever_fails_the_old_file_or_the_new_one_stands() {
    if !can_trace() {
        return;
    }
    let (faults, found) = RUNS.par_iter().map(|(line, outputs)| all_faults(line, outputs)).reduce(
        || (0, Vec::new()),
        |(a, mut one), (b, mut other)| {
            one.append(&mut other);
            (a + b, one)
        },
    );
    eprintln!("{faults} faults");
    assert!(faults > 50, "only {faults} faults were reached");
    assert!(found.is_empty(), "{}", found.join("\n"));
}
