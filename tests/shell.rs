//! The program in a shell: completions, manual pages, the schema, a pipe that closes.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use assert_cmd::Command;
use std::fs;
use std::path::Path;
use std::process::Stdio;

const SHELLS: [&str; 5] = ["bash", "zsh", "fish", "elvish", "powershell"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn stillbed(arguments: &[&str]) -> Command {
    let mut command = Command::cargo_bin("stillbed").unwrap();
    command.args(arguments).current_dir(root());
    command
}

fn text(arguments: &[&str]) -> String {
    let output = stillbed(arguments).assert().success().get_output().stdout.clone();
    String::from_utf8(output).unwrap()
}

/// Names of all commands in the help.
fn commands() -> Vec<String> {
    let help = text(&["--help"]);
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let named = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> = named.map(|line| line.split_whitespace().next().unwrap().to_string()).collect();
    assert!(names.len() >= 17, "{names:?}");
    names
}

#[test]
fn every_shell_completes_every_command() {
    for shell in SHELLS {
        let script = text(&["completions", shell]);
        for command in commands() {
            assert!(script.contains(&command), "{shell} lacks {command}");
        }
        assert!(script.contains("at-equal"), "{shell}");
    }
}

#[test]
fn bash_accepts_its_script() {
    let Ok(mut bash) = std::process::Command::new("bash").arg("-n").stdin(Stdio::piped()).spawn() else {
        eprintln!("skipped: there is no bash here");
        return;
    };
    let script = text(&["completions", "bash"]);
    std::io::Write::write_all(&mut bash.stdin.take().unwrap(), script.as_bytes()).unwrap();
    assert!(bash.wait().unwrap().success());
}

#[test]
fn every_page_has_its_parts_and_the_worked_lines_of_the_help() {
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("man1");
    stillbed(&["man", "--dir", &pages.display().to_string()]).assert().success();
    let mut expected: Vec<String> = commands().iter().map(|name| format!("stillbed-{name}.1")).collect();
    expected.push("stillbed.1".to_string());
    expected.sort();
    let mut found: Vec<String> =
        fs::read_dir(&pages).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    found.sort();
    assert_eq!(found, expected);
    for name in std::iter::once(None).chain(commands().into_iter().map(Some)) {
        let file = name.as_ref().map_or("stillbed.1".to_string(), |name| format!("stillbed-{name}.1"));
        let page = fs::read_to_string(pages.join(&file)).unwrap().replace("\\-", "-").replace("\\e", "\\");
        for part in [".SH NAME", ".SH SYNOPSIS", ".SH DESCRIPTION", ".SH OPTIONS", ".SH EXAMPLES"] {
            assert!(page.contains(part), "{file} lacks {part}");
        }
        let help = text(&[name.as_deref().as_slice(), &["--help"]].concat());
        let worked: Vec<&str> = help
            .lines()
            .filter_map(|line| line.find("stillbed ").map(|at| line[at..].trim_end()))
            .filter(|line| !line.contains('<') && !line.contains('['))
            .collect();
        assert!(!worked.is_empty(), "{file}: no worked line");
        for line in worked {
            assert!(page.contains(line), "{file} lacks {line}");
        }
    }
    let main = text(&["man"]);
    assert_eq!(main, fs::read_to_string(pages.join("stillbed.1")).unwrap());
}

#[test]
fn help_fits_eighty_columns_and_breaks_no_value_and_no_command() {
    let mut wrong = Vec::new();
    for name in commands() {
        let help = stillbed(&[&name, "--help"]).env("COLUMNS", "80").output().unwrap();
        for line in String::from_utf8(help.stdout).unwrap().lines() {
            let wide = line.chars().count() > 80;
            let quotes = line.matches('"').count() % 2 == 1;
            let default = line.contains("[default:") && !line.contains(']');
            let command = line.starts_with(['-', '~']);
            if wide || quotes || default || command {
                wrong.push(format!("{name}: {line}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_schema_takes_the_examples_and_refuses_a_key_that_is_none() {
    let schema = serde_json::from_str(&text(&["check", "--schema"])).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let mut seen = 0;
    for folder in ["examples", "src/design"] {
        for entry in fs::read_dir(root().join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_none_or(|end| end != "toml") || path.ends_with("Cargo.toml") {
                continue;
            }
            let design: serde_json::Value = toml::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
            let faults: Vec<String> =
                validator.iter_errors(&design).map(|e| format!("{}: {e}", e.instance_path())).collect();
            assert_eq!(faults, Vec::<String>::new(), "{}", path.display());
            let mut wrong = design.clone();
            wrong["membrs"] = serde_json::json!({});
            assert!(!validator.is_valid(&wrong), "{}", path.display());
            seen += 1;
        }
    }
    assert!(seen >= 6, "{seen}");
}

#[test]
fn a_sound_design_is_told_what_comes_next() {
    let said = text(&["check", "examples/smallest.toml"]);
    assert!(said.contains("Next: stillbed compare examples/smallest.toml"), "{said}");
}

/// Standard output and standard error.
fn both(arguments: &[&str]) -> (String, String) {
    let output = stillbed(arguments).output().unwrap();
    (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap())
}

#[test]
fn an_answer_is_headed_before_the_work_on_it_begins() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(root().join("examples/smallest.toml")).unwrap();
    let written = |name: &str, from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        let path = folder.path().join(name).display().to_string();
        fs::write(&path, text.replace(from, to)).unwrap();
        path
    };
    for command in ["check", "section", "modes", "compare"] {
        let (said, _) = both(&[command, "examples/smallest.toml"]);
        assert!(said.starts_with("Clamped bar\n\n"), "{command}: {said}");
        assert_eq!(said.matches("Clamped bar").count(), 1, "{command}: {said}");
        for format in ["json", "csv"] {
            let (said, _) = both(&[command, "examples/smallest.toml", "--format", format]);
            assert!(!said.starts_with("Clamped bar"), "{command}: {said}");
        }
        // Materials are looked up before anything is computed, so the run stops there, with the heading
        // already printed.
        let unknown = written("unknown.toml", "structural steel", "steel of dreams");
        let (said, refused) = both(&[command, &unknown]);
        assert_eq!(said, "Clamped bar\n\n", "{command}");
        assert!(refused.contains("steel of dreams"), "{command}: {refused}");
        // A fault in the file itself is reported without a heading.
        let (said, refused) = both(&[command, &written("misspelt.toml", "title = ", "titel = ")]);
        assert!(said.is_empty() && refused.contains("titel"), "{command}: {said}{refused}");
        let file = folder.path().join("answer.txt").display().to_string();
        let (said, _) = both(&[command, "examples/smallest.toml", "--output", &file]);
        assert!(said.is_empty() && !fs::read_to_string(&file).unwrap().contains("Clamped bar"), "{command}");
    }
    let (said, _) = both(&["modes", "examples/smallest.toml", "--build", "none"]);
    assert!(said.is_empty(), "{said}");
}

#[test]
fn a_pipe_that_closes_early_is_quiet() {
    let program = assert_cmd::cargo::cargo_bin("stillbed");
    for arguments in [
        &["completions", "zsh"][..],
        &["man"],
        &["check", "--schema"],
        &["proof", "--format", "csv"],
        &["report", "examples/smallest.toml", "--draws", "0"],
        &["pour", "examples/roundness-stand.toml", "--format", "xlsx"],
    ] {
        let mut child = std::process::Command::new(&program)
            .args(arguments)
            .current_dir(root())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{arguments:?}");
        assert!(output.status.code().is_some_and(|code| code < 2), "{arguments:?}");
    }
}

#[test]
fn a_file_that_cannot_be_written_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("none").join("stand.xlsx");
    let stand = "examples/roundness-stand.toml";
    let arguments = ["pour", stand, "--format", "xlsx", "--output", &target.display().to_string()];
    let said = stillbed(&arguments).assert().code(2).get_output().stderr.clone();
    assert!(String::from_utf8_lossy(&said).contains("cannot be written"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn nothing_is_coloured_off_a_terminal() {
    for (name, value) in [("NO_COLOR", "1"), ("CLICOLOR_FORCE", "1"), ("TERM", "xterm-256color")] {
        let output = stillbed(&["check", "tests/refusals/values.toml"]).env(name, value).output().unwrap();
        assert!(!output.stderr.contains(&0x1b) && !output.stdout.contains(&0x1b), "{name}");
    }
}

#[cfg(unix)]
#[test]
fn the_command_printed_on_a_page_makes_the_page_again() {
    let folder = tempfile::tempdir().unwrap();
    let design = fs::read_to_string(root().join("examples/rubbing-joint.toml")).unwrap();
    fs::write(folder.path().join("$5 stand.toml"), design).unwrap();
    let program = assert_cmd::cargo::cargo_bin("stillbed");
    let made = std::process::Command::new(&program)
        .args([
            "report",
            "$5 stand.toml",
            "--full",
            "--draws",
            "3",
            "--seed",
            "7",
            "--amplitude",
            "3 um",
            "--most",
            "900",
        ])
        .current_dir(&folder)
        .output()
        .unwrap();
    let page = String::from_utf8(made.stdout).unwrap();
    let fact = page.split("<dt>made again by</dt><dd>").nth(1).unwrap().split("</dd>").next().unwrap();
    let command = fact.replace("&quot;", "\"");
    for part in ["--draws 3", "--seed 7", "--amplitude \"3 um\"", "--most 900", "--full"] {
        assert!(command.contains(part), "{command} lacks {part}");
    }
    let path = format!("{}:/usr/bin:/bin", program.parent().unwrap().display());
    let mut shell = std::process::Command::new("sh");
    let again = shell.args(["-c", &command]).current_dir(&folder).env("PATH", path).output().unwrap();
    assert!(again.stdout == page.as_bytes(), "{command}: {}", String::from_utf8_lossy(&again.stderr));
}

#[cfg(target_os = "linux")]
#[test]
fn a_tap_is_written_where_standard_error_takes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (stand, record, written) = ("examples/roundness-stand.toml", path("tap.csv"), path("new.toml"));
    let build = ["--build", "cast"];
    stillbed(&[&["ringdown", stand, "--draws", "0", "--record", &record], &build[..]].concat())
        .assert()
        .success();
    let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin("stillbed"));
    let run = run.args(["tap", &record, "--against", stand, "--write", &written]).args(build);
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output = run.current_dir(root()).stderr(full).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(!output.stdout.is_empty() && fs::read_to_string(&written).unwrap().contains("[members"));
}

#[test]
fn a_record_that_is_not_there_is_not_taken_for_a_design() {
    let (_, said) = both(&["tap", "examples/no-such-record"]);
    assert!(said.contains("cannot be read") && said.contains("is it the right file?"), "{said}");
    assert!(!said.contains("stillbed new"), "{said}");
}
