//! The files that parts of bodies are drawn in: where they may lie, and their content.
//!
//! Their names are taken from the folder of the design and lead nowhere else unless that is asked for, so that a design
//! from elsewhere reads nothing but what came with it.

use super::files;
use super::paths::folder_of;
use std::fs;
use std::path::{Component, Path, PathBuf};
use stillbed_design::Stated;
use stillbed_input::quantity::Fault;

/// Where the files of a design may lie.
#[derive(clap::Args)]
pub(super) struct PartFiles {
    /// Read files that the design names outside its folder
    #[arg(long)]
    pub outside_files: bool,
}

/// Largest file that is accepted, bytes.
const LARGEST: u64 = 256 << 20;

impl PartFiles {
    /// Gives `stated`, read from the file `design`, the files that it names.
    pub fn supply(&self, stated: &mut Stated, design: &Path) {
        stated.supply(|file| self.read(design, file));
    }

    fn read(&self, design: &Path, file: &str) -> Result<Vec<u8>, Fault> {
        let folder = folder_of(design);
        let path = folder.join(file);
        let refused = |how: &str| Fault {
            message: format!("\"{file}\" {how} the folder of the design"),
            help: "put it beside the design, or allow it with --outside-files".to_string(),
        };
        if !self.outside_files {
            let below = |part| matches!(part, Component::Normal(_) | Component::CurDir);
            if !Path::new(file).components().all(below) {
                return Err(refused("leads out of"));
            }
            if let (Ok(real), Ok(home)) = (fs::canonicalize(&path), fs::canonicalize(folder))
                && !real.starts_with(home)
            {
                return Err(refused("is a link that leads out of"));
            }
        }
        files::read_bytes(&path, LARGEST).map_err(|problem| Fault {
            message: format!("\"{file}\" {}", problem.message),
            // A neighbour is named as the design would name it.
            help: problem.help.unwrap_or_default().replace(&folder.join("").display().to_string(), ""),
        })
    }
}

/// The files that the design at `path` names, as far as it can be read; none where it is no regular file, which may be
/// read but once.
pub(super) fn named_by(path: &Path) -> Vec<PathBuf> {
    if !fs::metadata(path).is_ok_and(|found| found.is_file()) {
        return Vec::new();
    }
    let Ok(text) = files::read_design(path) else { return Vec::new() };
    let named = Stated::read(&path.display().to_string(), &text).files();
    named.into_iter().map(|file| folder_of(path).join(file.value)).collect()
}

#[cfg(unix)]
#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn a_design_reads_what_lies_in_its_folder_alone_unless_more_is_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::create_dir_all(path("design/ribs")).unwrap();
        fs::write(path("design/ribs/a.stl"), "a").unwrap();
        fs::write(path("outside.stl"), "b").unwrap();
        symlink("../outside.stl", path("design/link.stl")).unwrap();
        symlink("ribs/a.stl", path("design/near.stl")).unwrap();
        let design = path("design/d.toml");
        let read = |outside_files: bool, file: &str| {
            PartFiles { outside_files }.read(&design, file).map_err(|fault| fault.message)
        };
        assert_eq!(read(false, "ribs/a.stl"), Ok(b"a".to_vec()));
        assert_eq!(read(false, "./near.stl"), Ok(b"a".to_vec()));
        let outside = path("outside.stl").display().to_string();
        for file in ["../outside.stl", "ribs/../../outside.stl", "link.stl", &outside] {
            assert!(read(false, file).unwrap_err().contains("leads out of the folder"), "{file}");
            assert_eq!(read(true, file), Ok(b"b".to_vec()), "{file}");
        }
        let missing = PartFiles { outside_files: false }.read(&design, "near.stk").unwrap_err();
        assert_eq!(missing.message, "\"near.stk\" cannot be read: no such file or directory");
        assert_eq!(missing.help, "did you mean \"near.stl\"?");
    }
}
