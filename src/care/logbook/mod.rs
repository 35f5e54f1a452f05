//! A jig's logbook: one file of lines that is only ever added to, `results/.jigs/<jig>/logbook.jsonl`.
//!
//! Several processes may write at once, and a power cut may come at any moment. So a line is written in one piece under a
//! lock and brought to the disk before anybody is told, and whoever finds the last line torn begins a new one behind it: a
//! torn line is told and passed over, never joined to the next and never taken for nothing.

pub mod stored;

use rustix::fs::{FlockOperation, flock};
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use stored::{Line, VERSION};

/// Folder of all jigs, in the results folder: no serial number begins with a dot.
const JIGS: &str = ".jigs";
/// Name of the file in the jig's folder.
const FILE: &str = "logbook.jsonl";
/// Longest name of a jig's folder, bytes: names of 255 bytes are common practice.
const NAME_MAX: usize = 200;

/// Where a jig's logbook is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logbook {
    path: PathBuf,
}

/// What stands in a logbook.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Contents {
    /// Its lines, oldest first.
    pub lines: Vec<Line>,
    /// What could not be read, in words, line by line.
    pub passed_over: Vec<String>,
}

/// Why a logbook cannot be kept.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// The disk would not.
    #[error("cannot {what} the jig's logbook {path}: {error}; look at the disk and at the rights")]
    Disk {
        what: &'static str,
        path: String,
        #[source]
        error: io::Error,
    },
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
        Ok(Self { path: results.join(JIGS).join(name).join(FILE) })
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
        let mut bytes = serde_json::to_vec(line).map_err(|error| self.disk("write", error.into()))?;
        bytes.push(b'\n');
        let folder = self.path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(|error| self.disk("make the folder of", error))?;
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(&self.path)
            .map_err(|error| self.disk("open", error))?;
        flock(&file, FlockOperation::LockExclusive).map_err(|error| self.disk("lock", error.into()))?;
        let torn = !ends_with_a_line(&mut file).map_err(|error| self.disk("read", error))?;
        if torn {
            bytes.insert(0, b'\n');
        }
        file.write_all(&bytes).and_then(|()| file.sync_all()).map_err(|error| self.disk("write", error))?;
        for folder in folder.ancestors().take(3) {
            // Some file systems cannot sync a folder; they do it by themselves or not at all.
            drop(File::open(folder).and_then(|folder| folder.sync_all()));
        }
        Ok(())
    }

    /// Reads all of it; nothing where it is not there yet.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn read(&self) -> Result<Contents, LogbookError> {
        let bytes = match fs::read(&self.path) {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Contents::default()),
            read => read.map_err(|error| self.disk("read", error))?,
        };
        let mut contents = Contents::default();
        for (number, bytes) in bytes.split(|byte| *byte == b'\n').enumerate().filter(|(_, line)| !line.is_empty()) {
            match understood(bytes) {
                Ok(line) => contents.lines.push(line),
                Err(why) => contents.passed_over.push(format!("{}:{}: {why}", self.path.display(), number + 1)),
            }
        }
        Ok(contents)
    }

    fn disk(&self, what: &'static str, error: io::Error) -> LogbookError {
        LogbookError::Disk { what, path: self.path.display().to_string(), error }
    }
}

/// Whether the next line may follow as it is: the file is empty or ends with a whole line.
fn ends_with_a_line(file: &mut File) -> io::Result<bool> {
    if file.metadata()?.len() == 0 {
        return Ok(true);
    }
    let mut last = [0];
    file.seek(SeekFrom::End(-1))?;
    file.read_exact(&mut last)?;
    Ok(last == [b'\n'])
}

/// A line, or why it is none.
fn understood(bytes: &[u8]) -> Result<Line, String> {
    #[derive(serde::Deserialize)]
    struct Versioned {
        version: u32,
    }
    let torn = "the line is torn or damaged and is passed over; what it told is lost";
    let Versioned { version } = serde_json::from_slice(bytes).map_err(|_| torn.to_owned())?;
    if version > VERSION {
        return Err(format!("the line has version {version} and is passed over; a newer railproof can read it"));
    }
    serde_json::from_slice(bytes).map_err(|_| torn.to_owned())
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
