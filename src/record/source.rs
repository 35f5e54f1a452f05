//! Where records are asked for: a results folder by its index, or the store that benches share. Who asks need not know which.

use super::answers::{Answers, Asked, Tables, Unanswered};
use super::events::{self, Event};
use super::index::Scope;
use super::lines::Lines;
use super::store::{Address, Store};
use super::{Index, WriteError};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Holder of records, open.
pub enum Source {
    /// A results folder.
    Folder {
        /// The folder.
        results: PathBuf,
        /// What is in it.
        index: Box<Index>,
    },
    /// The shared store.
    Store(Box<Store>),
}

/// Why a file or the events of a unit cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum Unread {
    /// The store does not answer.
    #[error(transparent)]
    Unanswered(#[from] Unanswered),
    /// The disk refuses.
    #[error(transparent)]
    Disk(#[from] WriteError),
    /// There is no such file, or it cannot be read.
    #[error("{}: cannot be read: {said}", path.display())]
    File {
        /// Where it would be.
        path: PathBuf,
        /// What the system said.
        said: io::Error,
    },
    /// It stayed at the bench that made it.
    #[error("{name} of run {run} is not in the store; it may have stayed at the bench that made it")]
    Elsewhere {
        /// The run's id.
        run: String,
        /// The file's name in the run's folder.
        name: String,
    },
}

impl Source {
    /// The records of a results folder.
    ///
    /// # Errors
    /// No such folder.
    pub fn folder(results: &Path) -> Result<Self, Unanswered> {
        Ok(Self::Folder { results: results.to_owned(), index: Box::new(Index::open(results)?) })
    }

    /// The records of a store.
    ///
    /// # Errors
    /// A server that is not there or does not let us in; tables of another version.
    pub fn store(address: &Address) -> Result<Self, Unanswered> {
        Ok(Self::Store(Box::new(Store::open(address)?)))
    }

    /// Where it is, in words that follow `there are no runs`.
    pub fn place(&self) -> String {
        match self {
            Self::Folder { results, .. } => format!("below {}", results.display()),
            Self::Store(store) => format!("in the store at {}", store.place()),
        }
    }

    /// The option that names it.
    pub fn option(&self) -> &'static str {
        if matches!(self, Self::Folder { .. }) { "--results" } else { "--store" }
    }

    /// What happened to a unit between its runs.
    ///
    /// # Errors
    /// What the disk or the store says.
    pub fn events_of(&mut self, serial: &str) -> Result<Lines<Event>, Unread> {
        match self {
            Self::Folder { results, .. } => Ok(events::read(results, serial)?),
            Self::Store(store) => {
                let lines = store.events_of(serial).map_err(Unanswered::from)?;
                Ok(Lines { lines, passed_over: Vec::new() })
            }
        }
    }

    /// A file of a run as it was sealed, such as `record.json` or `captures/run.capture`.
    ///
    /// # Errors
    /// What the disk or the store says; that it stayed at the bench.
    pub fn file(&mut self, serial: &str, run: &str, name: &str) -> Result<Vec<u8>, Unread> {
        match self {
            Self::Folder { results, .. } => {
                let path = results.join(serial).join(run).join(name);
                fs::read(&path).map_err(|said| Unread::File { path, said })
            }
            Self::Store(store) => {
                let found = store.file(run, name).map_err(Unanswered::from)?;
                found.ok_or_else(|| Unread::Elsewhere { run: run.to_owned(), name: name.to_owned() })
            }
        }
    }
}

impl Answers for Source {
    fn ask<T>(&mut self, scope: Scope<'_>, question: impl FnMut(&mut dyn Tables) -> Asked<T>) -> Result<T, Unanswered> {
        match self {
            Self::Folder { index, .. } => index.ask(scope, question),
            Self::Store(store) => store.ask(scope, question),
        }
    }

    fn told(&mut self) -> Vec<String> {
        match self {
            Self::Folder { index, .. } => index.told(),
            Self::Store(store) => store.told(),
        }
    }
}
