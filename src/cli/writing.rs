//! Writes files whole or not at all, and keeps what an existing file is: its links, owner, permissions.
//!
//! | what is at the path | what is done |
//! |---|---|
//! | nothing, or a link to nothing | a temporary file beside it is renamed; default permissions |
//! | a file | a temporary file beside it with the same owner and permissions is renamed |
//! | a file with several hard links, or of another owner | overwritten in place, with a copy kept meanwhile |
//! | a link | the same for the file that it leads to |
//! | a device, a pipe, standard output by name | written directly |
//! | a read-only file | refused |

use super::files::{problem, reason};
use super::paths::{folder_of, new_target};
use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Seek, Write};
use std::path::Path;
use stillbed_input::problem::Problem;
use tempfile::NamedTempFile;

/// Part of the names of temporary files.
const MARK: &str = ".stillbed-";

/// Writes `bytes` to `path` whole or not at all.
///
/// # Errors
/// A problem at the file, which then is unchanged; if its content cannot be restored, the problem names
/// the copy that holds it.
pub(super) fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    let unchanged = |error: io::Error| {
        let message = format!("cannot be written: {}", reason(&error));
        problem(path, message, "nothing was changed; check the folder and the space left")
    };
    match fs::metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            write_beside(&new_target(path), bytes, None).map_err(unchanged)
        }
        Err(error) => Err(unchanged(error)),
        Ok(found) if found.is_dir() => {
            Err(problem(path, "is a folder, not a file".to_string(), "name a file in it"))
        }
        Ok(found) if is_standard_output(&found) => {
            let mut out = io::stdout().lock();
            out.write_all(bytes).and_then(|()| out.flush()).map_err(unchanged)
        }
        Ok(found) if !found.is_file() => write_directly(path, bytes)
            .map_err(|error| problem(path, format!("cannot be written: {}", reason(&error)), "is it open?")),
        Ok(found) if found.permissions().readonly() => {
            let help = "nothing was changed; give leave to write it, or name another file";
            Err(problem(path, "is there already and read-only".to_string(), help))
        }
        Ok(found) => {
            let path = fs::canonicalize(path).map_err(unchanged)?;
            if has_other_names(&found) {
                overwrite_in_place(&path, bytes)
            } else {
                replace(&path, bytes, &found)
            }
        }
    }
}

/// Writes a temporary file beside `path`, syncs it to the disk and renames it to `path`.
fn write_beside(path: &Path, bytes: &[u8], like: Option<&Metadata>) -> io::Result<()> {
    let mut file = temporary_file(path, "new")?;
    file.write_all(bytes)?;
    if let Some(like) = like {
        keep_owner(file.as_file(), like)?;
        file.as_file().set_permissions(like.permissions())?;
    }
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    clear_stale(folder_of(path));
    Ok(())
}

/// Replaces an existing file by renaming, or overwrites it in place if its owner cannot be kept.
fn replace(path: &Path, bytes: &[u8], found: &Metadata) -> Result<(), Problem> {
    match write_beside(path, bytes, Some(found)) {
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => overwrite_in_place(path, bytes),
        done => done.map_err(|error| {
            let help = "nothing was changed; check the folder and the space left";
            problem(path, format!("cannot be written: {}", reason(&error)), help)
        }),
    }
}

/// Overwrites the file in place; a copy of the old content lies beside it until that is done.
fn overwrite_in_place(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    let fault =
        |error: &io::Error, help: &str| problem(path, format!("cannot be written: {}", reason(error)), help);
    let copied = || -> io::Result<(Vec<u8>, NamedTempFile)> {
        let old = fs::read(path)?;
        let mut copy = temporary_file(path, "old")?;
        copy.write_all(&old)?;
        copy.as_file().sync_all()?;
        Ok((old, copy))
    };
    let (old, copy) = copied()
        .map_err(|error| fault(&error, "nothing was changed; check the folder and the space left"))?;
    let Err(error) = overwrite(path, bytes) else { return Ok(()) };
    if overwrite(path, &old).is_ok() {
        return Err(fault(&error, "nothing was changed; check the space left"));
    }
    let help = match copy.keep() {
        Ok((_, kept)) => format!("what it was stands in {}", kept.display()),
        Err(lost) => format!("what it was stands in {}", lost.file.path().display()),
    };
    Err(fault(&error, &help))
}

fn overwrite(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).open(path)?;
    file.rewind()?;
    file.write_all(bytes)?;
    file.set_len(bytes.len() as u64)?;
    file.sync_all()
}

/// Writes to a device or a pipe.
fn write_directly(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).open(path)?;
    match file.write_all(bytes).and_then(|()| file.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        done => done,
    }
}

/// An empty temporary file beside `path`; its name holds the name of that file and the process id.
fn temporary_file(path: &Path, end: &str) -> io::Result<NamedTempFile> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    // Cut to 40 characters: a name of 255 bytes would leave no room for the rest.
    let name: String = name.chars().take(40).collect();
    let prefix = format!(".{name}{MARK}{}-", std::process::id());
    let suffix = format!(".{end}");
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(&suffix);
    if end == "new" {
        default_permissions(&mut builder);
    }
    builder.tempfile_in(folder_of(path))
}

/// Deletes temporary files in `folder` left by runs that ended while writing.
fn clear_stale(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        if name.to_str().and_then(writing_process).is_some_and(|process| !is_running(process)) {
            // A file that cannot be deleted stays; the answer is written all the same.
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// The process id in `name`, if that is the name of a temporary file.
fn writing_process(name: &str) -> Option<u32> {
    let (_, rest) = name.strip_prefix('.')?.strip_suffix(".new")?.rsplit_once(MARK)?;
    rest.split_once('-')?.0.parse().ok()
}

/// False only if the process is known to have ended.
fn is_running(process: u32) -> bool {
    !cfg!(target_os = "linux") || Path::new(&format!("/proc/{process}")).exists()
}

#[cfg(unix)]
fn default_permissions(builder: &mut tempfile::Builder) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn default_permissions(_: &mut tempfile::Builder) {}

#[cfg(unix)]
fn keep_owner(file: &File, like: &Metadata) -> io::Result<()> {
    use std::os::unix::fs::{MetadataExt, fchown};
    let own = file.metadata()?;
    if (own.uid(), own.gid()) == (like.uid(), like.gid()) {
        return Ok(());
    }
    fchown(file, Some(like.uid()), Some(like.gid()))
}

#[cfg(not(unix))]
fn keep_owner(_: &File, _: &Metadata) -> io::Result<()> {
    Ok(())
}

#[cfg(unix)]
fn has_other_names(found: &Metadata) -> bool {
    std::os::unix::fs::MetadataExt::nlink(found) > 1
}

#[cfg(not(unix))]
fn has_other_names(_: &Metadata) -> bool {
    false
}

/// True when `found` is what standard output is open on.
#[cfg(unix)]
fn is_standard_output(found: &Metadata) -> bool {
    use std::os::fd::AsFd;
    use std::os::unix::fs::MetadataExt;
    let out = io::stdout().as_fd().try_clone_to_owned().and_then(|open| File::from(open).metadata());
    out.is_ok_and(|out| (out.dev(), out.ino()) == (found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn is_standard_output(_: &Metadata) -> bool {
    false
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};

    #[test]
    fn a_file_is_replaced_as_a_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out.csv");
        write_atomically(&path, b"one").unwrap();
        write_atomically(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        assert!(write_atomically(&folder.path().join("none/out.csv"), b"x").is_err());
        assert!(write_atomically(folder.path(), b"x").unwrap_err().message.contains("is a folder"));
    }

    #[test]
    fn links_and_rights_stay() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path("target"), "old and long").unwrap();
        fs::set_permissions(path("target"), fs::Permissions::from_mode(0o640)).unwrap();
        symlink("target", path("soft")).unwrap();
        write_atomically(&path("soft"), b"new").unwrap();
        assert!(fs::symlink_metadata(path("soft")).unwrap().is_symlink());
        assert_eq!(fs::read(path("target")).unwrap(), b"new");
        assert_eq!(fs::metadata(path("target")).unwrap().mode() & 0o777, 0o640);
        fs::hard_link(path("target"), path("hard")).unwrap();
        write_atomically(&path("hard"), b"1").unwrap();
        assert_eq!(fs::read(path("target")).unwrap(), b"1");
        symlink("nothing yet", path("to-new")).unwrap();
        write_atomically(&path("to-new"), b"made").unwrap();
        assert_eq!(fs::read(path("nothing yet")).unwrap(), b"made");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 5);
    }

    #[test]
    fn what_nobody_may_write_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept.csv");
        fs::write(&path, "kept").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).unwrap();
        assert!(write_atomically(&path, b"x").unwrap_err().message.contains("read-only"));
        assert_eq!(fs::read(&path).unwrap(), b"kept");
        write_atomically(Path::new("/dev/null"), b"gone").unwrap();
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }

    #[test]
    fn what_an_ended_run_left_is_cleared_and_a_copy_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        let ended = u32::MAX;
        let own = std::process::id();
        let names = [
            (format!(".a.csv.stillbed-{ended}-x1.new"), !cfg!(target_os = "linux")),
            (format!(".a.csv.stillbed-{own}-x1.new"), true),
            (format!(".a.csv.stillbed-{ended}-x1.old"), true),
            (".stillbed-1.new".to_string(), true),
            ("a.new".to_string(), true),
        ];
        for (name, _) in &names {
            fs::write(path(name), "").unwrap();
        }
        write_atomically(&path("a.csv"), b"x").unwrap();
        for (name, stays) in &names {
            assert_eq!(path(name).exists(), *stays, "{name}");
        }
    }
}
