//! The index of the records: what is in the folders, in tables that are searched in milliseconds.
//!
//! The folders are the truth, the index is derived: it can be lost, damaged, of another version or out of date, and no
//! record is hidden by that. Before every answer it takes in what the folders have and it has not ([`heal`]); a damaged one
//! is made anew; where it cannot be kept, on a disk that is read-only say, the same tables stand in memory for the answer's
//! duration. Several processes use it at once (SQLite's write-ahead log); [`lock`] keeps them from replacing a file that
//! another one has open.

mod facts;
mod heal;
mod intake;
mod local;
mod lock;
mod tables;
#[cfg(test)]
mod tests;

pub use super::answers::{
    Answers, CheckColumn, Column, Columns, Entry, Found, FoundValue, Heading, Known, Named, Said, Shortfall, Sweep,
    Swept, Wanted, WantedValue,
};
pub use facts::{Facts, Value};
pub use heal::Scope;

pub(super) use facts::bytes as record_bytes;

use super::answers::tables::all;
use super::answers::{Asked, Tables, Trouble, Unanswered};
use intake::Names;
use local::Local;
use lock::{Lock, patiently};
use rusqlite::{Connection, ErrorCode, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The index's file. No serial number begins with a dot, so that no serial's folder can have its name.
pub const FILE: &str = ".index.sqlite";
/// How long one process waits for another one's writing.
const PATIENCE: Duration = Duration::from_secs(10);

/// How often an answer is tried against others who make the tables anew.
const TRIES: usize = 5;

/// What went wrong with the index.
#[derive(Debug, thiserror::Error)]
pub enum IndexError {
    /// There is nothing to index.
    #[error("there is no folder {}; name the folder of the records with --results", folder.display())]
    NoFolder {
        /// The folder of results.
        folder: PathBuf,
    },
    /// The database refused.
    #[error("{}: {said}; railproof index --rebuild makes it anew", file.display())]
    Database {
        /// The index.
        file: PathBuf,
        /// What it said.
        said: rusqlite::Error,
    },
}

/// An open index, and what its user has to be told of it.
#[derive(Debug)]
pub struct Index {
    results: PathBuf,
    connection: Connection,
    names: Names,
    /// Held as long as the file is open; none for an index in memory.
    lock: Option<Lock>,
    told: Vec<String>,
}

impl Index {
    /// Opens the index of a folder of results, and makes it where there is none, or none that is of use.
    ///
    /// # Errors
    /// No such folder; a database that does not work even in memory.
    pub fn open(results: &Path) -> Result<Self, IndexError> {
        if !results.is_dir() {
            return Err(IndexError::NoFolder { folder: results.to_owned() });
        }
        let mut told = Vec::new();
        let (connection, lock) = match open_file(results, &mut told) {
            Ok((connection, lock)) => (connection, Some(lock)),
            Err(why) => (in_memory(results, &why, &mut told)?, None),
        };
        Ok(Self { results: results.to_owned(), connection, names: Names::default(), lock, told })
    }

    /// Whether it will be there for the next one.
    pub fn is_kept(&self) -> bool {
        self.lock.is_some()
    }

    /// Forgets everything and takes the folders in again. Gives the number of records.
    ///
    /// # Errors
    /// What the database says.
    pub fn rebuild(&mut self) -> Result<u64, IndexError> {
        if let Err(error) = tables::make_anew(&mut self.connection) {
            self.replace(&error)?;
        }
        self.count()
    }

    /// Takes in facts that whoever asks has already. What the folders do not have is forgotten when they are looked at.
    ///
    /// # Errors
    /// What the database says.
    pub fn take_in(&mut self, facts: &[Facts]) -> Result<(), IndexError> {
        intake::take_in(&mut self.connection, &mut self.names, facts).map_err(|said| self.error(said))
    }

    /// The number of records, after taking in what is new.
    ///
    /// # Errors
    /// What the database says.
    pub fn count(&mut self) -> Result<u64, IndexError> {
        let query = "SELECT count(*) AS count FROM run";
        let counted = self.with(Scope::All, &mut |tables| all(tables, query, &[], |row| row.get::<i64>("count")))?;
        Ok(counted.into_iter().sum::<i64>().unsigned_abs())
    }

    /// Takes in what is new in the folders, then asks. What the database cannot do for damage is done again on a new one,
    /// and what it cannot do for want of room or rights in memory: once.
    fn with<T>(&mut self, scope: Scope<'_>, ask: &mut dyn FnMut(&mut dyn Tables) -> Asked<T>) -> Result<T, IndexError> {
        match self.try_with(scope, ask).map_err(of_index) {
            Ok(answer) => Ok(answer),
            Err(error) if self.lock.is_some() => {
                self.replace(&error)?;
                self.try_with(scope, ask).map_err(|said| self.error(of_index(said)))
            }
            Err(error) => Err(self.error(error)),
        }
    }

    fn try_with<T>(&mut self, scope: Scope<'_>, ask: &mut dyn FnMut(&mut dyn Tables) -> Asked<T>) -> Asked<T> {
        for _ in 0..TRIES {
            let generation = tables::generation(&self.connection)?;
            let told = heal::heal(&mut self.connection, &mut self.names, &self.results, scope)?;
            let within = self.connection.transaction()?;
            // Made anew by another process meanwhile, the tables may still lack what was there before.
            if tables::generation(&within)? == generation {
                self.told.extend(told);
                return ask(&mut Local(&within));
            }
        }
        let busy = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY);
        Err(Trouble::Index(rusqlite::Error::SqliteFailure(busy, None)))
    }

    /// Another database in the place of one that failed.
    fn replace(&mut self, error: &rusqlite::Error) -> Result<(), IndexError> {
        self.names = Names::default();
        // The failed one is closed first, and its lock freed.
        self.connection = Connection::open_in_memory().map_err(|said| self.error(said))?;
        self.lock = None;
        let anew = if is_damage(error) {
            make_file_anew(&self.results, &error.to_string(), &mut self.told)
        } else {
            Err(error.to_string())
        };
        match anew {
            Ok((connection, lock)) => (self.connection, self.lock) = (connection, Some(lock)),
            Err(why) => self.connection = in_memory(&self.results, &why, &mut self.told)?,
        }
        Ok(())
    }

    fn error(&self, said: rusqlite::Error) -> IndexError {
        IndexError::Database { file: self.results.join(FILE), said }
    }
}

impl Answers for Index {
    fn ask<T>(
        &mut self,
        scope: Scope<'_>,
        mut question: impl FnMut(&mut dyn Tables) -> Asked<T>,
    ) -> Result<T, Unanswered> {
        Ok(self.with(scope, &mut question)?)
    }

    /// Records that cannot be read, records that are gone, an index made anew.
    fn told(&mut self) -> Vec<String> {
        std::mem::take(&mut self.told)
    }
}

/// What SQLite said. An answer that no version of ours wrote is damage.
fn of_index(trouble: Trouble) -> rusqlite::Error {
    match trouble {
        Trouble::Index(error) => error,
        Trouble::Strange(says) => {
            rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Null, says.into())
        }
        Trouble::Store(error) => rusqlite::Error::ToSqlConversionFailure(error.into()),
    }
}

/// The index's file, opened; one that is damaged or of another version is replaced.
fn open_file(results: &Path, told: &mut Vec<String>) -> Result<(Connection, Lock), String> {
    let lock = Lock::shared(results)?;
    match open_as_it_is(results, told) {
        Ok(connection) => Ok((connection, lock)),
        Err(error) if is_damage(&error) => {
            drop(lock);
            make_file_anew(results, &error.to_string(), told)
        }
        Err(error) => Err(error.to_string()),
    }
}

fn open_as_it_is(results: &Path, told: &mut Vec<String>) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(results.join(FILE), flags)?;
    connection.busy_timeout(PATIENCE)?;
    // The index is derived: a commit that a power cut takes is taken in again, so that only damage has to be kept away.
    // Several that open a new file at once all want to change its mode, and SQLite has none of them wait for another.
    patiently(PATIENCE, || connection.pragma_update(None, "journal_mode", "WAL"), is_busy)?;
    connection.pragma_update(None, "synchronous", "NORMAL")?;
    connection.pragma_update(None, "cache_size", -65_536)?;
    if let Some(version) = tables::make_sure(&mut connection)? {
        told.push(format!("the index was of version {version}, made by another railproof; it is made anew"));
    }
    Ok(connection)
}

/// Removes a damaged file and makes another one, while nobody has it open.
fn make_file_anew(results: &Path, why: &str, told: &mut Vec<String>) -> Result<(Connection, Lock), String> {
    let lock = Lock::alone(results, PATIENCE).map_err(|error| format!("{why}, and {error}"))?;
    // Meanwhile another process may have done the same.
    let found = open_as_it_is(results, told).and_then(|connection| tables::check(&connection).map(|()| connection));
    let connection = match found {
        Ok(connection) => connection,
        Err(_) => {
            for ending in ["", "-wal", "-shm"] {
                let path = results.join(format!("{FILE}{ending}"));
                match std::fs::remove_file(&path) {
                    Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                        return Err(format!("{why}, and {} cannot be removed: {error}", path.display()));
                    }
                    _ => {}
                }
            }
            told.push(format!("the index was damaged ({why}); it is made anew from the folders"));
            open_as_it_is(results, told).map_err(|error| error.to_string())?
        }
    };
    Ok((connection, lock.share()?))
}

fn in_memory(results: &Path, why: &str, told: &mut Vec<String>) -> Result<Connection, IndexError> {
    let connection = Connection::open_in_memory().and_then(|mut connection| {
        tables::make_sure(&mut connection)?;
        Ok(connection)
    });
    let file = results.join(FILE);
    told.push(format!("{} cannot be used ({why}); the folders are read instead, which takes longer", file.display()));
    connection.map_err(|said| IndexError::Database { file, said })
}

/// Whether another connection is in the way.
fn is_busy(error: &rusqlite::Error) -> bool {
    error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
}

/// Whether the file itself is to blame. A foreign form of table counts as such.
fn is_damage(error: &rusqlite::Error) -> bool {
    match error {
        rusqlite::Error::SqliteFailure(failure, _) => {
            matches!(failure.code, ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::Unknown)
        }
        rusqlite::Error::InvalidColumnType(..) | rusqlite::Error::FromSqlConversionFailure(..) => true,
        rusqlite::Error::IntegralValueOutOfRange(..) | rusqlite::Error::QueryReturnedNoRows => true,
        _ => false,
    }
}
