//! Puts a new text in the place of a file: whole or not at all, and with the old one kept beside it.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use time::Date;

/// More old versions of one day than this are not told apart.
const KEPT_MAX: usize = 1000;

/// Replaces `path`, which has to hold `old` still, and keeps that as `NAME.before-DAY`. Says where it was kept.
///
/// # Errors
/// What the disk said, or that somebody else changed the file meanwhile. The file is then as it was, unless the very last
/// step failed, which makes the change durable; the error says so.
pub fn replace(path: &Path, old: &[u8], new: &[u8], day: Date) -> io::Result<PathBuf> {
    // A link stays a link, and what it leads to is replaced.
    let path = fs::canonicalize(path)?;
    let standing = File::open(&path)?;
    // Held until the end, so that of two who replace the same file one finds it changed.
    standing.lock()?;
    if fs::read(&path)? != old {
        return Err(io::Error::other("somebody else changed it meanwhile; calibrate again"));
    }
    let rights = standing.metadata()?.permissions();
    let fresh = beside(&path, "new")?;
    // Whoever was killed while he had the lock may have left it half written.
    if fresh.exists() {
        fs::remove_file(&fresh)?;
    }
    let written = write(&fresh, new).and_then(|()| fs::set_permissions(&fresh, rights)).and_then(|()| {
        let kept = keep(&path, old, day)?;
        fs::rename(&fresh, &path)?;
        Ok(kept)
    });
    if written.is_err() {
        // Where even this fails a file is left that nobody reads.
        let _ = fs::remove_file(&fresh);
    }
    let kept = written?;
    let durable = File::open(folder(&path)).and_then(|folder| folder.sync_all());
    durable.map_err(|error| io::Error::other(format!("it is replaced, but may not survive a power cut: {error}")))?;
    Ok(kept)
}

/// Keeps the old text under the first name of the day that is free.
fn keep(path: &Path, old: &[u8], day: Date) -> io::Result<PathBuf> {
    for number in 1..=KEPT_MAX {
        let ending = if number == 1 { format!("before-{day}") } else { format!("before-{day}.{number}") };
        let place = beside(path, &ending)?;
        match write(&place, old) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => continue,
            done => return done.map(|()| place),
        }
    }
    Err(io::Error::other(format!("{KEPT_MAX} older versions of {day} are kept already; move them elsewhere")))
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn beside(path: &Path, ending: &str) -> io::Result<PathBuf> {
    let mut name = path.file_name().ok_or_else(|| io::Error::other("it has no name"))?.to_owned();
    name.push(".");
    name.push(ending);
    Ok(path.with_file_name(name))
}

fn folder(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;
    use time::macros::date;

    const DAY: Date = date!(2026 - 11 - 28);

    #[test]
    fn the_old_one_is_kept_and_the_new_one_takes_its_rights() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("jig.yaml");
        fs::write(&path, "old").expect("written");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).expect("set");
        let link = folder.path().join("link.yaml");
        std::os::unix::fs::symlink("jig.yaml", &link).expect("a link");
        let kept = replace(&link, b"old", b"new", DAY).expect("replaced");
        assert!(kept.ends_with("jig.yaml.before-2026-11-28"), "{kept:?}");
        assert_eq!((fs::read(&kept).expect("kept"), fs::read(&path).expect("new")), (b"old".to_vec(), b"new".to_vec()));
        assert_eq!(fs::metadata(&path).expect("there").permissions().mode() & 0o777, 0o640);
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        let again = replace(&path, b"new", b"newer", DAY).expect("replaced");
        assert!(again.ends_with("jig.yaml.before-2026-11-28.2"), "{again:?}");
        assert_eq!(fs::read_dir(folder.path()).expect("listed").count(), 4, "nothing is left over");
    }

    #[test]
    fn a_file_that_somebody_changed_or_that_cannot_be_replaced_stays() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("jig.yaml");
        fs::write(&path, "theirs").expect("written");
        assert!(replace(&path, b"old", b"new", DAY).expect_err("changed").to_string().contains("somebody else"));
        assert_eq!(fs::read(&path).expect("there"), b"theirs");
        assert!(replace(&folder.path().join("none.yaml"), b"", b"", DAY).is_err());
        assert!(replace(folder.path(), b"", b"", DAY).is_err());
        // What a killed program left is in nobody's way.
        fs::write(folder.path().join("jig.yaml.new"), "half").expect("written");
        replace(&path, b"theirs", b"new", DAY).expect("replaced");
        assert_eq!(fs::read(&path).expect("there"), b"new");
    }
}
