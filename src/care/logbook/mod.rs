//! A jig's logbook: one file of lines that is only ever added to, `results/.jigs/<jig>/logbook.jsonl`
//! (see [`lines`]).

pub mod stored;

use crate::record::WriteError;
use crate::record::lines::{self, Adding, Lines};
use std::path::{Path, PathBuf};
use stored::Line;

/// Folder of all jigs, in the results folder: no serial number begins with a dot.
const JIGS: &str = ".jigs";
/// Name of the file in the jig's folder.
const FILE: &str = "logbook.jsonl";
/// Longest name of a jig's folder, bytes: names of 255 bytes are common practice.
const NAME_MAX: usize = 200;

/// Where a jig's logbook is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logbook {
    results: PathBuf,
    path: PathBuf,
}

/// Why a logbook cannot be kept.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// The disk would not.
    #[error("the jig's logbook: {0}")]
    Disk(#[from] WriteError),
    /// The jig's name is none for a folder.
    #[error("the jig's name is too long for a folder; give it a shorter one in the jig file")]
    Name,
}

impl Logbook {
    /// The logbook of the jig with a name, in a results folder. It need not be there yet.
    ///
    /// # Errors
    /// A name that is too long.
    pub fn of(results: &Path, jig: &str) -> Result<Self, LogbookError> {
        let name = folder_name(jig);
        if name.is_empty() || name.len() > NAME_MAX {
            return Err(LogbookError::Name);
        }
        Ok(Self { results: results.to_owned(), path: results.join(JIGS).join(name).join(FILE) })
    }

    /// Its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Adds a line. When this returns it is on the disk.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn add(&self, line: &Line) -> Result<(), LogbookError> {
        Ok(Adding::to(&self.results, &self.path)?.append(line)?)
    }

    /// Reads all of it; nothing where it is not there yet.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn read(&self) -> Result<Lines<Line>, LogbookError> {
        Ok(lines::read(&self.path)?)
    }
}

/// A jig's name as that of a folder: letters, digits, spaces and a few signs stay, all else becomes `%` and its bytes in
/// hexadecimal, so that no two jigs share one and none leads elsewhere.
fn folder_name(jig: &str) -> String {
    let mut name = String::new();
    for (place, character) in jig.trim().chars().enumerate() {
        if character.is_alphanumeric() || matches!(character, ' ' | '-' | '_') || (character == '.' && place > 0) {
            name.push(character);
        } else {
            let mut bytes = [0; 4];
            character.encode_utf8(&mut bytes).bytes().for_each(|byte| name.push_str(&format!("%{byte:02X}")));
        }
    }
    name
}

#[cfg(test)]
mod tests;
