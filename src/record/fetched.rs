//! Which runs of a results folder another bench made, and what of them stayed there: `.fetched.jsonl`, one a line.
//!
//! They are no part of a chain of this folder, so that `verify` must not miss the runs before and after them.

use super::WriteError;
use super::lines::{self, Adding, Line};
use super::seal::Seal;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::path::Path;

/// The file in the results folder. No serial number begins with a dot.
const FILE: &str = ".fetched.jsonl";

/// A run that was fetched.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Foreign {
    version: u32,
    pub serial: String,
    pub run: String,
    /// The bench that made it.
    pub bench: String,
    /// Digest of its manifest.
    pub head: String,
    /// The store that it came from.
    pub from: String,
    /// Files that stayed at the bench that made it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub without: Vec<String>,
}

impl Line for Foreign {
    const VERSION: u32 = 1;
}

impl Foreign {
    /// A run that comes from somewhere without some of its files.
    pub fn new(seal: &Seal, head: &str, from: String, without: Vec<String>) -> Self {
        let (serial, run, bench) = (seal.serial.clone(), seal.run.clone(), seal.bench.clone());
        Self { version: Self::VERSION, serial, run, bench, head: head.to_owned(), from, without }
    }
}

/// Notes a run before it stands in the folder.
///
/// # Errors
/// What the disk says.
pub fn note(results: &Path, foreign: &Foreign) -> Result<(), WriteError> {
    Adding::to(results, &results.join(FILE))?.append(foreign)
}

/// Those that are noted, by their heads. What cannot be read is not noted.
pub fn read(results: &Path) -> HashMap<String, Foreign> {
    let found = lines::read::<Foreign>(&results.join(FILE)).map(|lines| lines.lines).unwrap_or_default();
    found.into_iter().map(|foreign| (foreign.head.clone(), foreign)).collect()
}
