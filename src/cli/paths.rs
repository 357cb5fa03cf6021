//! Checks, before anything is written, that a run does not overwrite its inputs or write a file twice.
//!
//! Two paths are the same file when they lead to the same place on the disk: through symbolic or hard
//! links, names that differ only in case, or the name of an open file. Devices and pipes are left out,
//! since nothing in them can be lost.

use std::borrow::Cow;
use std::fs;
use std::path::{Path, PathBuf};
use stillbed_input::problem::{Place, Problem};

/// Symbolic links that are followed at most.
const MOST_LINKS: usize = 40;

/// Every file of one run.
#[derive(Default)]
pub(super) struct Paths<'a> {
    read: Vec<Cow<'a, Path>>,
    written: Vec<(&'static str, &'a Path)>,
}

impl<'a> Paths<'a> {
    /// The files that are read.
    pub fn reading(paths: impl IntoIterator<Item = &'a Path>) -> Paths<'a> {
        Paths { read: paths.into_iter().map(Cow::Borrowed).collect(), written: Vec::new() }
    }

    /// Adds `path` to the files that are read.
    pub fn and(mut self, path: Option<&'a Path>) -> Paths<'a> {
        self.read.extend(path.map(Cow::Borrowed));
        self
    }

    /// Adds `paths` to the files that are read.
    pub fn and_all(mut self, paths: Vec<PathBuf>) -> Paths<'a> {
        self.read.extend(paths.into_iter().map(Cow::Owned));
        self
    }

    /// Adds `path`, given after `option`, to the files that are written.
    pub fn writing(mut self, option: &'static str, path: Option<&'a Path>) -> Paths<'a> {
        self.written.extend(path.map(|path| (option, path)));
        self
    }

    /// Refuses a file that is both read and written, or written twice.
    ///
    /// # Errors
    /// A problem at the path to be written. No file has been touched then.
    pub fn check(&self) -> Result<(), Problem> {
        for (i, (option, path)) in self.written.iter().enumerate() {
            let Some(own) = identity(path) else { continue };
            let again = |other: &Path| identity(other).is_some_and(|other| other == own);
            let fault = |message: String| {
                let place = Place::file(&path.display().to_string());
                Problem::error(place, message).with_help(format!("name another file after {option}"))
            };
            if let Some(input) = self.read.iter().find(|input| again(input)) {
                let named =
                    if input.as_ref() == *path { String::new() } else { format!(", {}", input.display()) };
                return Err(fault(format!("{option} would overwrite an input of this run{named}")));
            }
            if let Some((other, _)) = self.written[..i].iter().find(|(_, written)| again(written)) {
                return Err(fault(format!("{other} and {option} would write the same file")));
            }
        }
        Ok(())
    }
}

/// What tells whether two paths are the same file.
#[derive(PartialEq)]
enum Identity {
    /// Device and inode number of an existing file.
    There(u64, u64),
    /// Lower-case path of a file that does not exist yet: some file systems ignore case.
    New(String),
}

/// The identity of the file that `path` leads to; `None` for a device, a pipe, a folder.
fn identity(path: &Path) -> Option<Identity> {
    match fs::metadata(path) {
        Ok(found) if found.is_file() => Some(number(&found, path)),
        Ok(_) => None,
        Err(_) => {
            let target = new_target(path);
            let folder = fs::canonicalize(folder_of(&target)).ok()?;
            let name = folder.join(target.file_name()?);
            Some(Identity::New(name.to_string_lossy().to_lowercase()))
        }
    }
}

#[cfg(unix)]
fn number(found: &fs::Metadata, _: &Path) -> Identity {
    use std::os::unix::fs::MetadataExt;
    Identity::There(found.dev(), found.ino())
}

#[cfg(not(unix))]
fn number(_: &fs::Metadata, path: &Path) -> Identity {
    let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf());
    Identity::New(path.to_string_lossy().to_lowercase())
}

/// Where a new file written to `path` ends up, after following links that lead to nothing yet.
pub(super) fn new_target(path: &Path) -> PathBuf {
    let mut target = path.to_path_buf();
    for _ in 0..MOST_LINKS {
        let Ok(next) = fs::read_link(&target) else { break };
        target = folder_of(&target).join(next);
    }
    target
}

/// The folder that `path` lies in.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(unix)]
#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    fn said(read: &Path, written: &[(&'static str, &PathBuf)]) -> Option<String> {
        let mut paths = Paths::reading([read]);
        for (option, path) in written {
            paths = paths.writing(option, Some(path.as_path()));
        }
        paths.check().err().map(|problem| problem.message)
    }

    #[test]
    fn a_file_is_known_under_every_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path("d.toml"), "x").unwrap();
        symlink("d.toml", path("soft")).unwrap();
        fs::hard_link(path("d.toml"), path("hard")).unwrap();
        let input = path("d.toml");
        let open = fs::File::open(&input).unwrap();
        let number = std::os::fd::AsRawFd::as_raw_fd(&open);
        let mut names = vec![input.clone(), path("soft"), path("hard"), path("./d.toml")];
        if cfg!(target_os = "linux") {
            names.push(PathBuf::from(format!("/proc/self/fd/{number}")));
        }
        for name in &names {
            let said = said(&input, &[("--output", name)]).unwrap();
            assert!(said.contains("--output would overwrite an input"), "{}: {said}", name.display());
        }
        assert_eq!(said(&input, &[("--output", &path("other"))]), None);
    }

    #[test]
    fn two_outputs_of_one_name_are_refused_before_either_is_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        symlink("a.wav", path("to-a")).unwrap();
        let input = path("d.toml");
        for other in ["a.wav", "A.wav", "to-a"] {
            let both = [("--wav", &path("a.wav")), ("--record", &path(other))];
            let said = said(&input, &both).unwrap();
            assert_eq!(said, "--wav and --record would write the same file", "{other}");
        }
        let null = PathBuf::from("/dev/null");
        assert_eq!(said(&input, &[("--wav", &null), ("--record", &null)]), None);
    }
}
