//! Where a bench's chain of runs stands: the run that the next one follows.
//!
//! The folders themselves say it: it is the run of the bench with the highest counter. Looking through all of them would take
//! long on a large results folder, so `results/.chains/<bench>.json` remembers. A run is announced there before its folder is
//! renamed into place, and confirmed afterwards. Whatever moment a run is killed at, the next one can tell: an announced run
//! whose folder does not stand never was, one whose folder stands is the newest. And a confirmed run whose folder is gone was
//! taken away: the chain goes on after it, so that the gap shows for ever. A memory that is lost or damaged is made anew.
//!
//! All this happens under one lock for the results folder, so that several processes never follow the same run.

use super::super::fetched;
use super::super::writer::{WriteError, check_run_id, disk, folders, sync_folder};
use super::{DIGESTS, Head, SEAL, Seal, checked};
use crate::clock::{Clock, ComputerClock};
use rustix::fs::{FlockOperation, flock};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;
use time::OffsetDateTime;

/// The folder of these memories inside the results folder.
const FOLDER: &str = ".chains";
/// A run holds the lock for as long as it takes to write a few small files and bring them to the disk.
const PATIENCE: Duration = Duration::from_secs(60);
const LOOK: Duration = Duration::from_millis(5);
/// No seal is longer: some hundred bytes a file.
const SEAL_BYTES_MAX: u64 = 16_000_000;

/// A bench's chain, locked until it is dropped.
#[derive(Debug)]
pub struct Chain {
    results: PathBuf,
    file: PathBuf,
    last: Option<Head>,
    is_lost: bool,
    _lock: File,
}

/// What is remembered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Memory {
    format: u32,
    /// The newest run whose folder is known to stand.
    last: Option<Head>,
    /// One that was about to be renamed into place.
    next: Option<Head>,
}

impl Chain {
    /// Locks the results folder's chains and finds the head of this bench's.
    ///
    /// # Errors
    /// Another process that holds the lock too long; whatever the disk says.
    pub fn lock(results: &Path, bench: &str) -> Result<Self, WriteError> {
        let folder = results.join(FOLDER);
        fs::create_dir_all(&folder).map_err(|error| disk("make the folder", &folder, error))?;
        let lock = File::open(&folder).map_err(|error| disk("open the folder", &folder, error))?;
        wait_for(&lock, &folder)?;
        let file = folder.join(format!("{bench}.json"));
        let last = match read_memory(&file) {
            Some(memory) => {
                let next = memory.next.filter(|next| stands(results, next));
                next.or(memory.last)
            }
            None => newest(results, bench),
        };
        let is_lost = last.as_ref().is_some_and(|head| !stands(results, head));
        Ok(Self { results: results.to_owned(), file, last, is_lost, _lock: lock })
    }

    /// The run that the next one follows.
    pub fn head(&self) -> Option<&Head> {
        self.last.as_ref()
    }

    /// Writes down what was found, so that it is known before a run begins whether it can be.
    fn settle(&self) -> Result<(), WriteError> {
        self.remember(&Memory { format: 1, last: self.last.clone(), next: None })
    }

    /// That run, where its folder is gone.
    pub fn lost(&self) -> Option<&Head> {
        self.last.as_ref().filter(|_| self.is_lost)
    }

    /// Notes that a run is about to be renamed into place.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn announce(&self, next: &Head) -> Result<(), WriteError> {
        self.remember(&Memory { format: 1, last: self.last.clone(), next: Some(next.clone()) })
    }

    /// Notes that it stands there. Where that cannot be noted, the next run finds out by itself.
    pub fn confirm(self, done: Head) {
        drop(self.remember(&Memory { format: 1, last: Some(done), next: None }));
    }

    fn remember(&self, memory: &Memory) -> Result<(), WriteError> {
        let fresh = self.file.with_extension("new");
        let written = || -> io::Result<()> {
            let mut file = File::create(&fresh)?;
            file.write_all(checked::to_text(memory).as_bytes())?;
            file.sync_all()?;
            fs::rename(&fresh, &self.file)
        };
        written().map_err(|error| disk("write", &self.file, error))?;
        sync_folder(&self.results.join(FOLDER))
    }
}

/// What a bench about to begin a run should know of the one before.
#[derive(Debug)]
pub struct Before {
    /// That run, where its folder is gone.
    pub lost: Option<Head>,
    /// When it was sealed.
    pub sealed: Option<OffsetDateTime>,
}

/// Sees to it, while nothing has moved yet, that a run of the bench can be sealed.
///
/// # Errors
/// Another process that holds the lock too long; whatever the disk says.
pub fn before(results: &Path, bench: &str) -> Result<Before, WriteError> {
    let chain = Chain::lock(results, bench)?;
    chain.settle()?;
    let seal = chain.head().and_then(|head| {
        let bytes = read_small(&results.join(&head.link.serial).join(&head.link.run).join(SEAL))?;
        Seal::from_bytes(&bytes).ok()
    });
    Ok(Before { lost: chain.lost().cloned(), sealed: seal.and_then(|seal| seal.sealed_at()) })
}

/// Newest runs of all benches that are remembered, whether or not they stand.
pub fn remembered(results: &Path) -> Vec<Head> {
    let entries = fs::read_dir(results.join(FOLDER)).into_iter().flatten().flatten();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "json"));
    files.sort_unstable();
    files.iter().filter_map(|file| read_memory(file)?.last).collect()
}

fn wait_for(lock: &File, folder: &Path) -> Result<(), WriteError> {
    let clock = ComputerClock::new();
    let late = clock.now().after(PATIENCE);
    loop {
        match flock(lock, FlockOperation::NonBlockingLockExclusive) {
            Err(rustix::io::Errno::WOULDBLOCK) if clock.now() >= late => {
                let why = io::Error::other("another run has held it for a minute");
                return Err(disk("lock", folder, why));
            }
            Err(rustix::io::Errno::WOULDBLOCK) => clock.sleep_until(clock.now().after(LOOK)),
            // Where a file system cannot lock, a run is kept all the same; `verify` tells if two followed the same one.
            _ => return Ok(()),
        }
    }
}

/// What is remembered, where it is sound.
fn read_memory(file: &Path) -> Option<Memory> {
    let memory: Memory = checked::from_bytes(&fs::read(file).ok()?).ok()?;
    let heads = [&memory.last, &memory.next];
    let is_sound = |head: &Head| head.link.is_sound() && check_run_id(&head.chain).is_ok();
    (memory.format == 1 && heads.into_iter().flatten().all(is_sound)).then_some(memory)
}

fn stands(results: &Path, head: &Head) -> bool {
    results.join(&head.link.serial).join(&head.link.run).is_dir()
}

/// The run of the bench with the highest counter, from the folders. Runs that were fetched are another folder's, even where that
/// bench has the same name.
fn newest(results: &Path, bench: &str) -> Option<Head> {
    let foreign = fetched::read(results);
    let runs = folders(results).into_iter().flat_map(|serial| folders(&serial));
    let heads = runs.filter_map(|run| {
        let bytes = read_small(&run.join(SEAL))?;
        let seal = Seal::from_bytes(&bytes).ok().filter(|seal| seal.bench == bench)?;
        let in_place = run.file_name()? == seal.run.as_str() && run.parent()?.file_name()? == seal.serial.as_str();
        in_place.then(|| seal.head(&fs::read(run.join(DIGESTS)).unwrap_or_default()))
    });
    let own = heads.filter(|head: &Head| !foreign.contains_key(&head.link.digest));
    own.max_by(|one, other| one.counter.cmp(&other.counter).then_with(|| one.link.run.cmp(&other.link.run)))
}

fn read_small(path: &Path) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(SEAL_BYTES_MAX).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}
