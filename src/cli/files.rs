//! Reads whole files up to a size limit and says in plain words why one cannot be read.

use super::paths::folder_of;
use std::fs;
use std::io::Read;
use std::path::Path;
use stillbed_input::problem::{Place, Problem};

/// Largest text file that is accepted, bytes.
const LARGEST: u64 = 16 << 20;

/// What to do where a design is missing or empty.
const STARTER: &str = "write a starter with: stillbed new my-design.toml";

/// What to do where another input is missing or empty.
const WRONG_FILE: &str = "is it the right file?";

/// The text of the design at `path`.
///
/// # Errors
/// A problem at the file: missing, a folder, unreadable, empty, too large, not UTF-8.
pub fn read_design(path: &Path) -> Result<String, Problem> {
    text_at(path, STARTER)
}

/// The text of the file at `path`.
///
/// # Errors
/// As [`read_design`].
pub fn read_text(path: &Path) -> Result<String, Problem> {
    text_at(path, WRONG_FILE)
}

/// All bytes of the file at `path`; a file larger than `largest` is refused.
///
/// # Errors
/// A problem at the file: missing, a folder, unreadable, too large.
pub fn read_bytes(path: &Path, largest: u64) -> Result<Vec<u8>, Problem> {
    bytes_at(path, largest, WRONG_FILE)
}

/// The text of a file; `lacking` says what to do where it is missing or empty.
fn text_at(path: &Path, lacking: &str) -> Result<String, Problem> {
    let bytes = bytes_at(path, LARGEST, lacking)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..good].iter().filter(|b| **b == b'\n').count() + 1;
        problem(path, format!("not UTF-8 text at byte {} in line {line}", good + 1), "save it as UTF-8")
    })?;
    let text = text.strip_prefix('\u{feff}').map(str::to_string).unwrap_or(text);
    if text.trim().is_empty() {
        return Err(problem(path, "the file is empty".to_string(), lacking));
    }
    Ok(text)
}

/// The bytes of a file; `lacking` says what to do where it is missing.
fn bytes_at(path: &Path, largest: u64, lacking: &str) -> Result<Vec<u8>, Problem> {
    let fault = |error: std::io::Error| {
        let help = match error.kind() {
            std::io::ErrorKind::NotFound => suggest_neighbour(path).unwrap_or(lacking.to_string()),
            std::io::ErrorKind::PermissionDenied => "ask for leave to read it".to_string(),
            _ => "check the path".to_string(),
        };
        problem(path, format!("cannot be read: {}", reason(&error)), &help)
    };
    if fs::metadata(path).map_err(fault)?.is_dir() {
        return Err(problem(path, "is a folder, not a file".to_string(), "name a file in it"));
    }
    let mut bytes = Vec::new();
    fs::File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes)).map_err(fault)?;
    if bytes.len() as u64 > largest {
        let message = format!("larger than the {} MB that are read", largest >> 20);
        return Err(problem(path, message, WRONG_FILE));
    }
    Ok(bytes)
}

/// Makes the folder `path` and its parents if they do not exist.
///
/// # Errors
/// A problem at the folder.
pub fn make_folder(path: &Path) -> Result<(), Problem> {
    fs::create_dir_all(path).map_err(|error| {
        problem(path, format!("cannot be made a folder: {}", reason(&error)), "name another folder")
    })
}

/// A problem at the file `path`.
pub(super) fn problem(path: &Path, message: String, help: &str) -> Problem {
    Problem::error(Place::file(&path.display().to_string()), message).with_help(help)
}

/// Help for a file that does not exist: the file in its folder with the most similar name, if any.
fn suggest_neighbour(path: &Path) -> Option<String> {
    let folder = folder_of(path);
    let names: Vec<String> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.'))
        .collect();
    let wanted = path.file_name().unwrap_or_default().to_string_lossy();
    let name = stillbed_input::problem::nearest(&wanted, names.iter().map(String::as_str))?;
    Some(format!("did you mean \"{}\"?", folder.join(name).display()))
}

/// The system's error message without the error number.
pub(super) fn reason(error: &std::io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error").next().unwrap_or(&text).to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(result: Result<String, Problem>) -> String {
        result.unwrap_err().to_string()
    }

    #[test]
    fn files_that_cannot_serve_say_why() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path("empty.toml"), " \n").unwrap();
        fs::write(path("latin.toml"), b"title = \"K\xf6ln\"\n").unwrap();
        assert!(said(read_text(&path("empty.toml"))).contains("the file is empty"));
        assert!(said(read_text(&path("latin.toml"))).contains("not UTF-8 text at byte 11 in line 1"));
        assert!(said(read_text(&path("emty.toml"))).contains("did you mean"));
        assert!(said(read_text(folder.path())).contains("is a folder"));
        assert!(said(read_design(&path("x"))).contains("write a starter"));
        assert!(said(read_text(&path("x"))).contains("is it the right file?"));
        assert!(read_bytes(&path("latin.toml"), 4).unwrap_err().message.contains("larger than"));
    }
}
