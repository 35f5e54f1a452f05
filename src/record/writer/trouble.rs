//! What can go wrong on the way to the disk, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

const MEGABYTE: u64 = 1_000_000;

/// Why a record could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The serial number cannot be a folder's name.
    #[error(
        "the serial number `{serial}` cannot name a folder: {why}; write letters, digits, `-` and `_`, for example SM-0001"
    )]
    Serial {
        /// As given, shortened.
        serial: String,
        /// What is wrong.
        why: String,
    },
    /// The run id is none.
    #[error("`{id}` is no run id: it has to be made of hexadecimal digits and hyphens")]
    RunId {
        /// As given, shortened.
        id: String,
    },
    /// A file's name leads out of the run's folder, or cannot stand in a file of digests.
    #[error("`{name}` cannot be a file in a run's folder; give a plain name such as record.json")]
    Name {
        /// As given, shortened.
        name: String,
    },
    /// A run of this id is already there; a record once written is never changed.
    #[error("{} is already there, and a record once written is never changed; start the run again", path.display())]
    Exists {
        /// Its folder.
        path: PathBuf,
    },
    /// A run's record may not find room.
    #[error(
        "{}: {} MB are free there, and a run of this plan may take {} MB; free some space, or choose another folder with \
         --results; nothing was moved",
        path.display(),
        free / MEGABYTE,
        needed.div_ceil(MEGABYTE)
    )]
    NoRoom {
        /// The results folder.
        path: PathBuf,
        /// Bytes that are free.
        free: u64,
        /// Bytes that it may take.
        needed: u64,
    },
    /// The disk refused.
    #[error("cannot {doing} {}: {said}; {remedy}", path.display())]
    Disk {
        /// What was tried.
        doing: &'static str,
        /// On what.
        path: PathBuf,
        /// What to do.
        remedy: &'static str,
        /// What the system said.
        said: io::Error,
    },
    /// Somebody took the folder, or something in it, away while the run went on.
    #[error("{} was taken away during the run, and the evidence with it; leave the results alone, and run again", path.display())]
    TakenAway {
        /// The run's unfinished folder.
        path: PathBuf,
    },
}

/// What the disk said, with a remedy.
pub fn disk(doing: &'static str, path: &Path, said: io::Error) -> WriteError {
    let remedy = match said.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "free some space there, or choose another folder with --results, and run again"
        }
        io::ErrorKind::PermissionDenied => {
            "give yourself the right to write there, or choose another folder with --results"
        }
        io::ErrorKind::ReadOnlyFilesystem => "choose a folder on a writable disk with --results",
        io::ErrorKind::NotADirectory => "a file stands where a folder should; move it away",
        _ => "check the disk and the folder given with --results, and run again",
    };
    WriteError::Disk { doing, path: path.to_owned(), remedy, said }
}
