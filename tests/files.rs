//! A run leaves its input files alone, and its output files keep their links, owner and permissions.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use assert_cmd::Command;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};

/// A folder with a design, a table of materials, a record and a floor spectrum, and their bytes.
struct Shop {
    folder: tempfile::TempDir,
    kept: Vec<(PathBuf, Vec<u8>)>,
}

/// A rib from a file on its foot.
const RIB: &str = r#"
points = { foot = "100, 10, 0 mm", tip = "150, 10, 40 mm" }
patches = { foot = "round 15 mm", tip = "round 15 mm" }
anchors.floor = { at = "foot", hold = "all" }
bodies.rib.parts = [{ stl = "rib.stl", unit = "mm", of = "granite" }]
builds.stone.label = "Stone"
"#;

impl Shop {
    fn new() -> Shop {
        let folder = tempfile::tempdir().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let design = fs::read(root.join("examples/roundness-stand.toml")).unwrap();
        let floor = b"frequency, velocity\nHz, um/s\n1, 10\n100, 10\n".to_vec();
        let table = fs::read(root.join("data/materials.csv")).unwrap();
        let rib = fs::read(root.join("tests/refusals/rib.stl")).unwrap();
        let files = [
            ("d.toml", design),
            ("floor.csv", floor),
            ("t.csv", table),
            ("rib.stl", rib),
            ("rib.toml", RIB.as_bytes().to_vec()),
        ];
        let kept: Vec<(PathBuf, Vec<u8>)> =
            files.into_iter().map(|(name, bytes)| (folder.path().join(name), bytes)).collect();
        for (path, bytes) in &kept {
            fs::write(path, bytes).unwrap();
        }
        Shop { folder, kept }
    }

    fn run(&self, arguments: &str) -> (Option<i32>, String) {
        let mut command = Command::cargo_bin("stillbed").unwrap();
        let output =
            command.args(arguments.split_whitespace()).current_dir(self.folder.path()).output().unwrap();
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    }

    fn inputs_stand(&self, after: &str) {
        for (path, bytes) in &self.kept {
            assert!(fs::read(path).unwrap() == *bytes, "{after}: {} changed", path.display());
        }
    }
}

#[test]
fn no_option_overwrites_an_input_under_any_name() {
    let shop = Shop::new();
    std::os::unix::fs::symlink("d.toml", shop.folder.path().join("soft")).unwrap();
    fs::hard_link(shop.folder.path().join("d.toml"), shop.folder.path().join("hard")).unwrap();
    fs::hard_link(shop.folder.path().join("rib.stl"), shop.folder.path().join("rib-by-another-name"))
        .unwrap();
    for arguments in [
        "ringdown d.toml --draws 0 --record d.toml",
        "ringdown d.toml --draws 0 --wav soft",
        "ringdown d.toml --draws 0 --record t.csv --materials t.csv",
        "ringdown d.toml --draws 0 --wav a.wav --record ./a.wav",
        "ringdown d.toml --draws 0 --wav a.wav --output A.WAV",
        "response d.toml --floor floor.csv --output floor.csv",
        "modes d.toml --output hard",
        "modes rib.toml --output rib.stl",
        "check rib.toml --output rib-by-another-name",
        "report d.toml --output soft",
        "size d.toml --write hard",
        "check d.toml --output d.toml",
        "materials --materials t.csv --output t.csv",
    ] {
        let (code, said) = shop.run(arguments);
        assert_eq!(code, Some(2), "{arguments}: {said}");
        let said = said.replace("\n  ", " ");
        let named = said.contains("would overwrite an input") || said.contains("would write the same file");
        assert!(named, "{arguments}: {said}");
        shop.inputs_stand(arguments);
        assert!(!shop.folder.path().join("a.wav").exists(), "{arguments}");
    }
}

#[test]
fn outputs_keep_links_and_rights_and_new_ones_follow_the_umask() {
    let shop = Shop::new();
    let path = |name: &str| shop.folder.path().join(name);
    fs::write(path("old.csv"), "old").unwrap();
    fs::set_permissions(path("old.csv"), fs::Permissions::from_mode(0o600)).unwrap();
    std::os::unix::fs::symlink("old.csv", path("link.csv")).unwrap();
    assert_eq!(shop.run("materials granite --format csv --output link.csv").0, Some(0));
    assert!(fs::symlink_metadata(path("link.csv")).unwrap().is_symlink());
    assert_eq!(fs::metadata(path("old.csv")).unwrap().mode() & 0o777, 0o600);
    assert!(fs::read_to_string(path("old.csv")).unwrap().contains("granite"));
    let program = assert_cmd::cargo::cargo_bin("stillbed");
    let script = format!("umask 027; '{}' materials granite --output new.txt", program.display());
    let done = std::process::Command::new("sh")
        .args(["-c", &script])
        .current_dir(shop.folder.path())
        .status()
        .unwrap();
    assert!(done.success());
    assert_eq!(fs::metadata(path("new.txt")).unwrap().mode() & 0o777, 0o640);
}

#[test]
fn a_pipe_by_name_gets_the_answer_and_stays_a_pipe() {
    let shop = Shop::new();
    let program = assert_cmd::cargo::cargo_bin("stillbed");
    for script in [
        "mkfifo p; (cat p > got &) ; 'PROGRAM' materials granite --output p; sleep 0.3; [ -p p ] && cat got",
        "'PROGRAM' materials granite --output /dev/stdout | cat",
        "'PROGRAM' materials granite --output /dev/stdout > got; cat got",
    ] {
        let script = script.replace("PROGRAM", &program.display().to_string());
        let done = std::process::Command::new("sh")
            .args(["-c", &script])
            .current_dir(shop.folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8(done.stdout).unwrap();
        assert!(said.contains("granite"), "{script}: {said}{}", String::from_utf8_lossy(&done.stderr));
    }
}

#[test]
fn what_cannot_be_printed_is_no_success() {
    if !Path::new("/dev/full").exists() {
        eprintln!("skipped: there is no /dev/full here");
        return;
    }
    let shop = Shop::new();
    let program = assert_cmd::cargo::cargo_bin("stillbed");
    for arguments in ["--help", "compare --help", "--version", "materials", "man", "check --schema"] {
        let script = format!("'{}' {arguments} > /dev/full", program.display());
        let done = std::process::Command::new("sh")
            .args(["-c", &script])
            .current_dir(shop.folder.path())
            .output()
            .unwrap();
        assert_eq!(done.status.code(), Some(2), "{arguments}");
        assert!(String::from_utf8(done.stderr).unwrap().contains("cannot be written"), "{arguments}");
    }
    let (code, said) = shop.run("ringdown d.toml --record r.csv --noise nan");
    assert_eq!(code, Some(2));
    assert!(said.contains("dB can be made"), "{said}");
}

#[test]
fn a_part_from_a_file_is_read_from_the_folder_of_the_design() {
    let shop = Shop::new();
    let (code, said) = shop.run("check rib.toml");
    assert_eq!(code, Some(0), "{said}");
    fs::create_dir(shop.folder.path().join("within")).unwrap();
    let outside = RIB.replace("\"rib.stl\"", "\"../rib.stl\"");
    fs::write(shop.folder.path().join("within/rib.toml"), outside).unwrap();
    let (code, said) = shop.run("check within/rib.toml");
    assert!(code == Some(2) && said.contains("leads out of the folder of the design"), "{said}");
    let (code, said) = shop.run("check within/rib.toml --outside-files");
    assert_eq!(code, Some(0), "{said}");
    let (code, said) = shop.run("modes within/rib.toml --outside-files --output rib.stl");
    assert!(code == Some(2) && said.contains("would overwrite an input"), "{said}");
    shop.inputs_stand("reading a part");
}
