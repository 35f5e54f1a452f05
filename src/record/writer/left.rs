//! What a run writes into its folder before anything moves, and what is found of one that never came to its end.

use super::{CAPTURES, RunFolder, WriteError, folders, is_part, names, sync_all, trouble, write};
use crate::record::stored::Begun;
use rustix::fs::{FlockOperation, flock, statvfs};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// What a run's record will say that its capture does not.
const BEGUN: &str = "begun.json";
/// The folder of frozen input files.
const INPUTS: &str = "inputs";
/// No such note is longer.
const BEGUN_BYTES_MAX: u64 = 4_000_000;
/// The file that shows whether a file can be written, and its length.
const PROBE: (&str, usize) = ("probe", 4096);

impl RunFolder {
    /// Notes on the disk what the run is, and the files that it rests on.
    ///
    /// # Errors
    /// Names that are not such; whatever the disk says.
    pub fn note(&self, begun: &Begun, inputs: &[(String, Vec<u8>)]) -> Result<(), WriteError> {
        let text = serde_json::to_vec_pretty(begun).map_err(|error| self.unreadable(io::Error::other(error)))?;
        let files = inputs.iter().map(|(name, bytes)| (name.as_str(), &bytes[..])).chain([(BEGUN, &text[..])]);
        for (name, bytes) in files.clone() {
            names::check_file(name)?;
            write(&self.part.join(name), bytes)?;
        }
        sync_all(&self.part, files.map(|(name, _)| Path::new(name)))
    }

    /// What was noted.
    ///
    /// # Errors
    /// A run that never noted anything, or whose note is damaged.
    pub fn begun(&self) -> Result<Begun, WriteError> {
        let read = || -> io::Result<Begun> {
            let file = File::open(self.part.join(BEGUN))?;
            serde_json::from_reader(io::Read::take(file, BEGUN_BYTES_MAX)).map_err(io::Error::other)
        };
        read().map_err(|error| self.unreadable(error))
    }

    fn unreadable(&self, error: io::Error) -> WriteError {
        trouble::disk("read or write", &self.part.join(BEGUN), error)
    }

    /// Whether so many bytes find room on the disk, and a file can be written there at all.
    ///
    /// # Errors
    /// How much is missing; whatever the disk says.
    pub fn check_room(&self, needed: u64) -> Result<(), WriteError> {
        let path = self.part.join(PROBE.0);
        write(&path, &[0x55; PROBE.1])?;
        let synced = File::open(&path).and_then(|file| file.sync_all()).and_then(|()| fs::remove_file(&path));
        synced.map_err(|error| trouble::disk("write", &path, error))?;
        // A file system that does not say how full it is has to be taken at its word.
        let Ok(space) = statvfs(&self.part) else { return Ok(()) };
        enough(&self.results, space.f_bavail.saturating_mul(space.f_frsize), needed)
    }

    /// Removes what the run left.
    pub fn remove(mut self) {
        self.stays = false;
    }
}

fn enough(results: &Path, free: u64, needed: u64) -> Result<(), WriteError> {
    if free >= needed { Ok(()) } else { Err(WriteError::NoRoom { path: results.to_owned(), free, needed }) }
}

/// Folders that dead runs left unfinished below `results`. They are locked, and stay where they are unless they are finished
/// or removed. Folders of runs that live, on this computer or another one, are left alone.
pub fn leftovers(results: &Path) -> Vec<RunFolder> {
    let mut found = Vec::new();
    for serial in folders(results) {
        found.extend(
            folders(&serial).into_iter().filter(|path| is_part(path)).filter_map(|part| adopt(results, &serial, part)),
        );
    }
    found
}

fn adopt(results: &Path, serial: &Path, part: PathBuf) -> Option<RunFolder> {
    let lock = File::open(&part).ok()?;
    flock(&lock, FlockOperation::NonBlockingLockExclusive).ok()?;
    let name = part.file_name()?.to_str()?;
    let home = serial.join(name.strip_prefix('.')?.strip_suffix(super::PART)?);
    // What was written at its end is made anew.
    for entry in fs::read_dir(&part).ok()?.flatten() {
        let name = entry.file_name();
        if [BEGUN, INPUTS, CAPTURES].iter().all(|kept| name != *kept) {
            drop(fs::remove_file(entry.path()));
        }
    }
    let (results, serial) = (results.to_owned(), serial.to_owned());
    Some(RunFolder { results, part, home, serial, lock, is_finished: false, stays: true })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disk_without_room_says_how_much_is_missing() {
        assert!(enough(Path::new("results"), 30_000_000, 30_000_000).is_ok());
        let told = enough(Path::new("results"), 1_500_000, 32_400_000).expect_err("it is full").to_string();
        expect_test::expect![[
            r#"results: 1 MB are free there, and a run of this plan may take 33 MB; free some space, or choose another folder with --results; nothing was moved"#
        ]]
        .assert_eq(&told);
    }
}
