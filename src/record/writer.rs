//! How a run's record gets onto disk: whole or not at all.
//!
//! A run writes into a folder of its own beside the place where it will stand, `results/<serial>/.<run id>.part`, captures
//! while it goes and the rest at its end. When everything is written and synced, the folder is renamed into place. So a
//! power cut leaves either a finished record or a part that nobody takes for one. The folder is locked as long as its run
//! lives; [`leftovers`] finds those whose run is dead. The seal is made in the unfinished folder, so that no record ever stands
//! without it.

mod left;
mod names;
#[cfg(test)]
mod tests;
mod trouble;

pub use left::leftovers;
pub use names::{check_run_id, check_serial, is_inside};
pub use trouble::{WriteError, disk};

use super::seal::{Chain, DIGESTS, Head, SEAL, SIGNATURE, Seal, SealedFile, Sealing, digest_of, sign};
use rustix::fs::{FlockOperation, RenameFlags, flock, renameat_with};
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// The folder of captures inside a run's folder.
const CAPTURES: &str = "captures";
/// Ending of the name of an unfinished run's folder.
const PART: &str = ".part";
/// How often a new folder is tried against a sweep that takes it away.
const TRIES: usize = 5;

/// A finished run: where it stands, and what was sealed.
#[derive(Debug)]
pub struct Kept {
    pub home: PathBuf,
    pub seal: Seal,
    /// The bench's head with this run.
    pub head: Head,
}

/// A run's folder, unfinished. Dropped without [`RunFolder::finish`], it is removed, unless a dead run left it.
#[derive(Debug)]
pub struct RunFolder {
    results: PathBuf,
    part: PathBuf,
    home: PathBuf,
    serial: PathBuf,
    /// Holds the lock that says that the run lives; closing it frees the lock.
    lock: File,
    is_finished: bool,
    /// Whether a dead run left it.
    stays: bool,
}

impl RunFolder {
    /// Makes the unfinished folder of a run of `serial`, and the folders above it.
    ///
    /// # Errors
    /// A serial number or run id that cannot be a folder's name; a run of this id already there; whatever the disk says.
    pub fn stage(results: &Path, serial: &str, run_id: &str) -> Result<Self, WriteError> {
        names::check_serial(serial)?;
        names::check_run_id(run_id)?;
        let serial = results.join(serial);
        let home = serial.join(run_id);
        let part = serial.join(format!(".{run_id}{PART}"));
        fs::create_dir_all(&serial).map_err(|error| trouble::disk("make the folder", &serial, error))?;
        sync_folder(results)?;
        if home.exists() {
            return Err(WriteError::Exists { path: home });
        }
        let lock = claim(&part)?;
        Ok(Self { results: results.to_owned(), part, home, serial, lock, is_finished: false, stays: false })
    }

    /// Where its files go until it is finished.
    pub fn path(&self) -> &Path {
        &self.part
    }

    /// Where it will stand.
    pub fn home(&self) -> &Path {
        &self.home
    }

    /// A new file in the folder of captures, to be written while the run goes.
    ///
    /// # Errors
    /// A name that is no plain file name; whatever the disk says.
    pub fn capture(&self, name: &str) -> Result<File, WriteError> {
        let file = format!("{CAPTURES}/{name}");
        names::check_file(&file)?;
        let folder = self.part.join(CAPTURES);
        fs::create_dir_all(&folder).map_err(|error| trouble::disk("make the folder", &folder, error))?;
        let path = self.part.join(file);
        File::create_new(&path).map_err(|error| trouble::disk("write", &path, error))
    }

    /// A file of a run that was sealed elsewhere.
    ///
    /// # Errors
    /// A name that leads out of the folder; whatever the disk says.
    pub fn put(&self, name: &str, bytes: &[u8]) -> Result<(), WriteError> {
        if !is_inside(name) {
            return Err(WriteError::Name { name: name.chars().take(200).collect() });
        }
        write(&self.part.join(name), bytes)
    }

    /// Brings a run that was sealed elsewhere to the disk and renames it into place; where that is. This bench's chain is left
    /// alone.
    ///
    /// # Errors
    /// Whatever the disk says. Nothing is left then.
    pub fn place(mut self) -> Result<PathBuf, WriteError> {
        self.still_there()?;
        sync_all(&self.part, contents(&self.part)?.iter().map(PathBuf::as_path))?;
        self.move_home()?;
        self.is_finished = true;
        sync_folder(&self.serial)?;
        Ok(self.home.clone())
    }

    /// Writes the files, seals the folder, brings it to the disk and renames it into place.
    /// Files are named relative to the folder, with `/` between folders.
    ///
    /// # Errors
    /// Names that are not such; whatever the disk says. Nothing is left then.
    pub fn finish(mut self, files: Vec<(String, Vec<u8>)>, sealing: &Sealing<'_>) -> Result<Kept, WriteError> {
        self.still_there()?;
        for (name, bytes) in &files {
            names::check_file(name)?;
            write(&self.part.join(name), bytes)?;
        }
        // What takes long comes before the lock that all runs on this results folder share.
        let sealed = sealed_files(&self.part)?;
        sync_all(&self.part, sealed.iter().map(|file| Path::new(&file.file)))?;
        let chain = Chain::lock(&self.results, sealing.bench)?;
        let seal = self.seal(sealed, &chain, sealing);
        let text = seal.to_text();
        let manifest = super::seal::manifest(&seal.digests(text.as_bytes()));
        write(&self.part.join(SEAL), text.as_bytes())?;
        write(&self.part.join(DIGESTS), manifest.as_bytes())?;
        let mut own = vec![Path::new(SEAL), Path::new(DIGESTS)];
        if let Some(key) = sealing.key {
            write(&self.part.join(SIGNATURE), sign(key, manifest.as_bytes()).as_bytes())?;
            own.push(Path::new(SIGNATURE));
        }
        sync_all(&self.part, own.into_iter())?;
        let head = seal.head(manifest.as_bytes());
        self.still_there()?;
        chain.announce(&head)?;
        self.move_home()?;
        self.is_finished = true;
        sync_folder(&self.serial)?;
        chain.confirm(head.clone());
        Ok(Kept { home: self.home.clone(), seal, head })
    }

    fn seal(&self, files: Vec<SealedFile>, chain: &Chain, sealing: &Sealing<'_>) -> Seal {
        let name = |path: &Path| path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        Seal::next(&name(&self.serial), &name(&self.home), files, chain.head(), sealing)
    }

    /// A folder made anew in the place of one that was taken away would be a record without its evidence.
    fn still_there(&self) -> Result<(), WriteError> {
        let there = is_still_there(&self.lock, &self.part);
        if there { Ok(()) } else { Err(WriteError::TakenAway { path: self.part.clone() }) }
    }

    /// Renames the folder, never over another one.
    fn move_home(&self) -> Result<(), WriteError> {
        let to = |error: io::Error| trouble::disk("move the finished record to", &self.home, error);
        let cwd = rustix::fs::CWD;
        match renameat_with(cwd, &self.part, cwd, &self.home, RenameFlags::NOREPLACE) {
            Ok(()) => Ok(()),
            Err(rustix::io::Errno::EXIST) => Err(WriteError::Exists { path: self.home.clone() }),
            // Some network file systems cannot rename so; run ids are unique, which leaves the check before the run.
            Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => fs::rename(&self.part, &self.home).map_err(to),
            Err(error) => Err(to(error.into())),
        }
    }
}

impl Drop for RunFolder {
    fn drop(&mut self) {
        if !self.is_finished && !self.stays {
            // Nobody is left to be told; the next sweep finds what could not be removed.
            drop(fs::remove_dir_all(&self.part));
        }
    }
}

/// Ids of the finished runs of a serial number, oldest first: run ids sort by time. None for a serial number that never
/// ran, or could not be a folder's name.
pub fn predecessors(results: &Path, serial: &str) -> Vec<String> {
    if names::check_serial(serial).is_err() {
        return Vec::new();
    }
    let folders = folders(&results.join(serial));
    let finished = folders.into_iter().filter(|path| path.join("record.json").is_file());
    let ids = finished.filter_map(|path| Some(path.file_name()?.to_str()?.to_owned()));
    let mut ids: Vec<String> = ids.filter(|id| names::check_run_id(id).is_ok()).collect();
    ids.sort_unstable();
    ids
}

/// Makes and locks a run's folder. A sweep may take it away between the two; then it is made again.
fn claim(part: &Path) -> Result<File, WriteError> {
    let disk = |error: io::Error| trouble::disk("make the folder", part, error);
    for _ in 0..TRIES {
        match fs::create_dir(part) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(WriteError::Exists { path: part.to_owned() });
            }
            made => made.map_err(disk)?,
        }
        let handle = match File::open(part) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
            opened => opened.map_err(disk)?,
        };
        // Where a file system cannot lock, a sweep cannot either, and leaves the folder alone.
        let is_locked = flock(&handle, FlockOperation::LockExclusive).is_ok();
        if !is_locked || is_still_there(&handle, part) {
            return Ok(handle);
        }
    }
    Err(disk(io::Error::other("it vanishes as soon as it is made; is another program cleaning up there?")))
}

/// Whether what a handle holds is what stands at its path.
pub fn is_still_there(handle: &File, path: &Path) -> bool {
    match (handle.metadata(), fs::metadata(path)) {
        (Ok(held), Ok(found)) => held.ino() == found.ino() && held.dev() == found.dev(),
        _ => false,
    }
}

fn is_part(path: &Path) -> bool {
    path.file_name()
        .and_then(|name| name.to_str())
        .and_then(|name| name.strip_prefix('.')?.strip_suffix(PART))
        .is_some_and(|id| names::check_run_id(id).is_ok())
}

/// The folders in a folder, sorted; none where it cannot be read. Links are not followed.
pub fn folders(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let folders = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_dir()));
    let mut found: Vec<PathBuf> = folders.map(|entry| entry.path()).collect();
    found.sort_unstable();
    found
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let disk = |error: io::Error| trouble::disk("write", path, error);
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(disk)?;
    }
    let mut file = File::create_new(path).map_err(disk)?;
    file.write_all(bytes).map_err(disk)
}

/// All files below a folder, relative to it.
fn contents(folder: &Path) -> Result<Vec<PathBuf>, WriteError> {
    let mut files = Vec::new();
    let mut waiting = vec![PathBuf::new()];
    while let Some(below) = waiting.pop() {
        let inside = folder.join(&below);
        let disk = |error: io::Error| trouble::disk("list the folder", &inside, error);
        for entry in fs::read_dir(&inside).map_err(disk)? {
            let entry = entry.map_err(disk)?;
            let name = below.join(entry.file_name());
            if entry.file_type().map_err(disk)?.is_dir() { waiting.push(name) } else { files.push(name) }
        }
    }
    Ok(files)
}

/// Every file of the folder, with its digest, by name.
fn sealed_files(folder: &Path) -> Result<Vec<SealedFile>, WriteError> {
    let sealed = |name: PathBuf| {
        let path = folder.join(&name);
        let file = name.to_str().map(str::to_owned).unwrap_or_default();
        names::check_file(&file)?;
        let digest = File::open(&path).and_then(digest_of);
        let (sha256, bytes) = digest.map_err(|error| trouble::disk("read", &path, error))?;
        Ok(SealedFile { file, bytes, sha256 })
    };
    let mut files = contents(folder)?.into_iter().map(sealed).collect::<Result<Vec<_>, WriteError>>()?;
    files.sort_unstable_by(|one, other| one.file.cmp(&other.file));
    Ok(files)
}

/// Brings these files of the folder, and the folders that hold them, onto the disk.
fn sync_all<'a>(folder: &Path, files: impl Iterator<Item = &'a Path>) -> Result<(), WriteError> {
    let mut parents: Vec<PathBuf> = vec![folder.to_owned()];
    for name in files {
        let path = folder.join(name);
        let synced = File::open(&path).and_then(|file| file.sync_all());
        synced.map_err(|error| trouble::disk("bring to the disk", &path, error))?;
        parents.extend(path.ancestors().skip(1).take_while(|parent| *parent != folder).map(Path::to_owned));
    }
    parents.sort_unstable();
    parents.dedup();
    parents.iter().rev().try_for_each(|parent| sync_folder(parent))
}

pub fn sync_folder(folder: &Path) -> Result<(), WriteError> {
    match File::open(folder).and_then(|folder| folder.sync_all()) {
        // Some file systems cannot sync a folder; they do it by themselves or not at all.
        Err(error) if error.kind() == io::ErrorKind::InvalidInput => Ok(()),
        synced => synced.map_err(|error| trouble::disk("bring to the disk", folder, error)),
    }
}
