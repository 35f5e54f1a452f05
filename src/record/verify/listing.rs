//! What stands in a run's folder, looked at without following or opening anything that is no plain file.

use super::{Finding, Kind};
use crate::record::seal::digest_of;
use rustix::fs::{Mode, OFlags, open};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// An entry that is no folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entry {
    File,
    /// A link, a device, a pipe: nothing that a run leaves.
    Strange,
}

/// Everything below a folder by its name inside it, `/` between folders. What cannot be listed is told.
pub fn listing(folder: &Path, findings: &mut Vec<Finding>) -> BTreeMap<String, Entry> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![PathBuf::new()];
    while let Some(below) = waiting.pop() {
        let inside = folder.join(&below);
        let entries = match fs::read_dir(&inside) {
            Ok(entries) => entries,
            Err(error) => {
                findings.push(Finding::new(Kind::Unreadable, &inside, error.to_string()));
                continue;
            }
        };
        for entry in entries {
            let kind = entry.and_then(|entry| entry.file_type().map(|kind| (entry.file_name(), kind)));
            match kind {
                Ok((name, kind)) if kind.is_dir() => waiting.push(below.join(name)),
                Ok((name, kind)) => {
                    let entry = if kind.is_file() { Entry::File } else { Entry::Strange };
                    found.insert(below.join(name).to_string_lossy().into_owned(), entry);
                }
                Err(error) => findings.push(Finding::new(Kind::Unreadable, &inside, error.to_string())),
            }
        }
    }
    found
}

/// Opens a plain file; never waits for a pipe, never follows a link.
fn plain(path: &Path) -> io::Result<File> {
    let file =
        File::from(open(path, OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC, Mode::empty())?);
    if file.metadata()?.is_file() { Ok(file) } else { Err(io::Error::other("it is no plain file")) }
}

/// The bytes of a small file; of a longer one only so many.
pub fn bytes(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    plain(path)?.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Digest and length of a file.
pub fn digest(path: &Path) -> io::Result<(String, u64)> {
    digest_of(plain(path)?)
}
