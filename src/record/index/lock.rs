//! The lock beside the index: shared while the index is open, alone while its file is replaced.
//!
//! SQLite keeps its own users apart, but a file that is removed while others have it open would leave them with one half of
//! the old index and one of the new. A file of its own carries the lock, since SQLite's locks and this one would meet on
//! some network file systems.

use crate::clock::{Clock, ComputerClock};
use rustix::fs::{FlockOperation, flock};
use std::fs::File;
use std::path::Path;
use std::time::Duration;

const FILE: &str = ".index.lock";
/// How long between two tries.
const PAUSE: Duration = Duration::from_millis(20);

#[derive(Debug)]
pub(super) struct Lock(File);

impl Lock {
    /// Beside others who have the index open; waits for one who replaces it.
    pub(super) fn shared(results: &Path) -> Result<Self, String> {
        let file = open(results)?;
        flock(&file, FlockOperation::LockShared).map_err(|error| format!("{FILE} cannot be locked: {error}"))?;
        Ok(Self(file))
    }

    /// With nobody else, if the others are done before `patience` is over.
    pub(super) fn alone(results: &Path, patience: Duration) -> Result<Self, String> {
        let file = open(results)?;
        patiently(patience, || flock(&file, FlockOperation::NonBlockingLockExclusive), |_| true)
            .map_err(|_| "other processes have it open")?;
        Ok(Self(file))
    }

    /// Lets others in again.
    pub(super) fn share(self) -> Result<Self, String> {
        flock(&self.0, FlockOperation::LockShared).map_err(|error| format!("{FILE} cannot be locked: {error}"))?;
        Ok(self)
    }
}

/// Tries again for so long, where what went wrong may pass.
pub(super) fn patiently<T, E>(
    patience: Duration,
    attempt: impl Fn() -> Result<T, E>,
    may_pass: impl Fn(&E) -> bool,
) -> Result<T, E> {
    let clock = ComputerClock::new();
    let deadline = clock.now().after(patience);
    loop {
        match attempt() {
            Err(error) if may_pass(&error) && clock.now() < deadline => clock.sleep_until(clock.now().after(PAUSE)),
            done => return done,
        }
    }
}

fn open(results: &Path) -> Result<File, String> {
    let path = results.join(FILE);
    let opened = File::options().create(true).truncate(false).write(true).open(&path);
    opened.map_err(|error| format!("{}: {error}", path.display()))
}
