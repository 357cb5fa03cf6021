//! The guide is true: every command in it is run, in order and in a folder of its own, and must answer as
//! printed. A line `…` in the guide stands for omitted lines.
//!
//! `STORE=1` writes the current answers into the guide, with the same lines omitted.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::process::Command;

const GUIDE: &str = "examples/guide.md";
const LEFT_OUT: &str = "…";

/// One command of the guide with the answer printed below it.
struct Shown {
    /// The line of the guide where the answer starts, from 0.
    line: usize,
    command: String,
    answer: Vec<String>,
}

/// The commands after `$ ` inside blocks marked `console`.
fn shown(guide: &str) -> Vec<Shown> {
    let mut all: Vec<Shown> = Vec::new();
    let mut inside = false;
    for (line, text) in guide.lines().enumerate() {
        if text.starts_with("```") {
            inside = text == "```console";
        } else if inside {
            match text.strip_prefix("$ ") {
                Some(command) => {
                    all.push(Shown { line: line + 1, command: command.to_string(), answer: Vec::new() });
                }
                None => all.last_mut().expect("an answer follows a command").answer.push(text.to_string()),
            }
        }
    }
    all
}

/// The words of a command line; text in double quotes is one word.
fn words(command: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (i, part) in command.split('"').enumerate() {
        match i % 2 {
            0 => words.extend(part.split_whitespace().map(str::to_string)),
            _ => words.push(part.to_string()),
        }
    }
    words
}

/// What `command` prints in `folder`: standard error first, then standard output.
fn said(command: &str, folder: &Path) -> Vec<String> {
    let words = words(command);
    let program = if words[0] == "stillbed" { env!("CARGO_BIN_EXE_stillbed") } else { &words[0] };
    let output =
        Command::new(program).args(&words[1..]).current_dir(folder).env("NO_COLOR", "1").output().unwrap();
    let text = String::from_utf8([output.stderr, output.stdout].concat()).unwrap();
    assert!(output.status.code().is_some_and(|code| code < 2), "{command}: {text}");
    text.lines().map(str::to_string).collect()
}

/// For each stretch of `answer` between omitted lines, where it begins in `found`: the first place that
/// begins alike; the last stretch must be at the end. `None` if a stretch is not found.
fn places(answer: &[String], found: &[String]) -> Option<Vec<usize>> {
    let stretches: Vec<&[String]> = answer.split(|line| line == LEFT_OUT).collect();
    let mut from = 0;
    let mut places = Vec::new();
    for (i, stretch) in stretches.iter().enumerate() {
        let at = match stretch {
            [] => from,
            _ if i == 0 => 0,
            stretch if i + 1 == stretches.len() => found.len().checked_sub(stretch.len())?,
            [first, ..] => from + found[from..].iter().position(|line| like(line) == like(first))?,
        };
        from = at + stretch.len();
        places.push(at);
        if from > found.len() {
            return None;
        }
    }
    Some(places)
}

/// The first letters of a line, which identify a stretch even if its values have changed.
fn like(line: &str) -> String {
    line.chars().filter(|c| c.is_alphabetic()).take(12).collect()
}

/// The answer `found` with the lines omitted that the guide omits.
fn shortened(answer: &[String], found: &[String]) -> Option<Vec<String>> {
    let stretches: Vec<&[String]> = answer.split(|line| line == LEFT_OUT).collect();
    let mut lines: Vec<String> = Vec::new();
    for (i, (stretch, at)) in stretches.iter().zip(places(answer, found)?).enumerate() {
        if i > 0 {
            lines.push(LEFT_OUT.to_string());
        }
        lines.extend_from_slice(&found[at..at + stretch.len()]);
    }
    // Without omitted lines the whole answer is shown.
    Some(if stretches.len() == 1 { found.to_vec() } else { lines })
}

#[test]
fn every_command_of_the_guide_answers_as_printed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let guide = std::fs::read_to_string(root.join(GUIDE)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("examples")).unwrap();
    for file in std::fs::read_dir(root.join("examples")).unwrap() {
        let file = file.unwrap();
        std::fs::copy(file.path(), folder.path().join("examples").join(file.file_name())).unwrap();
    }
    let mut lines: Vec<String> = guide.lines().map(str::to_string).collect();
    let mut differences = Vec::new();
    let all = shown(&guide);
    assert!(all.len() >= 12, "{} commands", all.len());
    let mut longer = 0;
    for Shown { line, command, answer } in all {
        let found = said(&command, folder.path());
        let place = format!("{GUIDE}, line {}: {command}", line + 1);
        match shortened(&answer, &found) {
            Some(short) if short == answer => {}
            Some(short) if std::env::var_os("STORE").is_some() => {
                let from = line + longer;
                lines.splice(from..from + answer.len(), short.iter().cloned());
                longer = longer + short.len() - answer.len();
            }
            Some(short) => {
                let differ = |(a, b): &(&String, &String)| a != b;
                let (a, b) = answer.iter().zip(&short).find(differ).unwrap_or((&place, &place));
                differences.push(format!("{place}\n  printed: {a}\n  found:   {b}"));
            }
            None => differences.push(format!("{place}: a shown stretch is gone\n{}", found.join("\n"))),
        }
    }
    assert!(differences.is_empty(), "{}", differences.join("\n"));
    let anew = lines.join("\n") + "\n";
    if anew != guide {
        std::fs::write(root.join(GUIDE), anew).unwrap();
    }
}

#[test]
fn the_guide_has_twelve_steps_and_is_linked() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let guide = std::fs::read_to_string(root.join(GUIDE)).unwrap();
    let steps: Vec<&str> = guide.lines().filter(|line| line.starts_with("## ")).collect();
    assert_eq!(steps.len(), 12, "{steps:?}");
    for (i, step) in steps.iter().enumerate() {
        assert!(step.starts_with(&format!("## {}. ", i + 1)), "{step}");
    }
    assert!(std::fs::read_to_string(root.join("README.md")).unwrap().contains(&format!("({GUIDE})")));
}

#[test]
fn a_changed_answer_is_noticed() {
    let lines = |text: &str| text.lines().map(str::to_string).collect::<Vec<_>>();
    let found = lines("head 1\na\nmode 2\nb\nend 3");
    assert_eq!(shortened(&lines("head 1\n…"), &found), Some(lines("head 1\n…")));
    assert_eq!(shortened(&lines("head 7\n…\nmode 9\nb\n…"), &found), Some(lines("head 1\n…\nmode 2\nb\n…")));
    assert_eq!(shortened(&lines("…\nend 9"), &found), Some(lines("…\nend 3")));
    assert_eq!(shortened(&lines("head 1"), &found), Some(found.clone()));
    assert_eq!(shortened(&lines("…\nnowhere\n…"), &found), None);
    assert_eq!(words("a --change \"2 K\" b"), ["a", "--change", "2 K", "b"]);
}
