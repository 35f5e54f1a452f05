//! Files of lines that are only ever added to: one JSON object a line, each with the version of its form.
//!
//! Several processes may add at once, and a power cut may come at any moment. So a line is written in one piece under a lock
//! and brought to the disk before anybody is told, and whoever finds the last line torn begins a new one behind it: a torn
//! line is told and passed over, never joined to the next and never taken for nothing.

use super::WriteError;
use super::writer::{disk, sync_folder};
use rustix::fs::{FlockOperation, flock};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// No honest file is longer, bytes.
const LENGTH_MAX: u64 = 256 << 20;

/// The stored form of a line.
pub trait Line: Serialize + DeserializeOwned {
    /// The version that is written, and the newest that can be read.
    const VERSION: u32;
}

/// What stands in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Lines<T> {
    /// Its lines, oldest first.
    pub lines: Vec<T>,
    /// What could not be read, in words, line by line.
    pub passed_over: Vec<String>,
}

/// Reads all of a file; nothing where it is not there yet.
///
/// # Errors
/// What the disk says.
pub fn read<T: Line>(path: &Path) -> Result<Lines<T>, WriteError> {
    let text = is_there(path).and_then(|there| if there { contents(&File::open(path)?) } else { Ok(Vec::new()) });
    text.map(|text| understood(path, &text)).map_err(|said| disk("read", path, said))
}

/// A file that nobody else adds to meanwhile.
pub struct Adding {
    results: PathBuf,
    path: PathBuf,
    file: File,
}

impl Adding {
    /// Opens a file somewhere in the results folder, and makes it where it is not there yet.
    ///
    /// # Errors
    /// What the disk says.
    pub fn to(results: &Path, path: &Path) -> Result<Self, WriteError> {
        let open = || -> io::Result<File> {
            is_there(path)?;
            fs::create_dir_all(path.parent().unwrap_or(results))?;
            let file = File::options().read(true).append(true).create(true).open(path)?;
            flock(&file, FlockOperation::LockExclusive)?;
            Ok(file)
        };
        let file = open().map_err(|said| disk("add to", path, said))?;
        Ok(Self { results: results.to_owned(), path: path.to_owned(), file })
    }

    /// What stands in it.
    ///
    /// # Errors
    /// What the disk says.
    pub fn lines<T: Line>(&self) -> Result<Lines<T>, WriteError> {
        let text = contents(&self.file).map_err(|said| disk("read", &self.path, said))?;
        Ok(understood(&self.path, &text))
    }

    /// Adds a line. When this returns it is on the disk.
    ///
    /// # Errors
    /// What the disk says; nothing was added then, or it was not brought to the disk.
    pub fn append<T: Line>(mut self, line: &T) -> Result<(), WriteError> {
        let mut bytes = serde_json::to_vec(line).expect("plain fields are JSON");
        bytes.push(b'\n');
        let mut write = || -> io::Result<()> {
            if is_torn(&mut self.file)? {
                bytes.insert(0, b'\n');
            }
            self.file.write_all(&bytes)?;
            self.file.sync_all()
        };
        write().map_err(|said| disk("add to", &self.path, said))?;
        let mut folders = self.path.ancestors().skip(1).take_while(|folder| folder.starts_with(&self.results));
        folders.try_for_each(sync_folder)
    }
}

/// Whether there is such a file. Something else in its place, a pipe for instance, is never opened.
fn is_there(path: &Path) -> io::Result<bool> {
    match fs::metadata(path) {
        Ok(found) if found.is_file() => Ok(true),
        Ok(_) => Err(io::Error::other("it is no file")),
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => Ok(false),
        Err(error) => Err(error),
    }
}

fn contents(mut file: &File) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    file.seek(SeekFrom::Start(0))?;
    file.take(LENGTH_MAX + 1).read_to_end(&mut text)?;
    if text.len() as u64 > LENGTH_MAX {
        return Err(io::Error::other("it is longer than any honest file of its kind"));
    }
    Ok(text)
}

/// Whether its last line has no end.
fn is_torn(file: &mut File) -> io::Result<bool> {
    if file.metadata()?.len() == 0 {
        return Ok(false);
    }
    let mut last = [0];
    file.seek(SeekFrom::End(-1))?;
    file.read_exact(&mut last)?;
    Ok(last != [b'\n'])
}

fn understood<T: Line>(path: &Path, text: &[u8]) -> Lines<T> {
    let mut found = Lines { lines: Vec::new(), passed_over: Vec::new() };
    for (number, text) in text.split(|byte| *byte == b'\n').enumerate().filter(|(_, line)| !line.is_empty()) {
        match line(text) {
            Ok(line) => found.lines.push(line),
            Err(why) => found.passed_over.push(format!("{}:{}: {why}", path.display(), number + 1)),
        }
    }
    found
}

/// A line, or why it is none.
pub(super) fn line<T: Line>(text: &[u8]) -> Result<T, String> {
    #[derive(Deserialize)]
    struct Versioned {
        #[serde(alias = "format")]
        version: u32,
    }
    let torn = "the line is torn or damaged and is passed over; what it told is lost";
    let Versioned { version } = serde_json::from_slice(text).map_err(|_| torn.to_owned())?;
    if version > T::VERSION {
        return Err(format!("the line has version {version} and is passed over; a newer railproof can read it"));
    }
    serde_json::from_slice(text).map_err(|_| torn.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
    struct Word {
        version: u32,
        text: String,
    }

    impl Line for Word {
        const VERSION: u32 = 1;
    }

    fn add(results: &Path, text: &str) {
        let word = Word { version: 1, text: text.into() };
        Adding::to(results, &file(results)).and_then(|adding| adding.append(&word)).expect("it is written");
    }

    fn file(results: &Path) -> PathBuf {
        results.join("a/b/words.jsonl")
    }

    fn words(results: &Path) -> (Vec<String>, Vec<String>) {
        let read: Lines<Word> = read(&file(results)).expect("it can be read");
        (read.lines.into_iter().map(|word| word.text).collect(), read.passed_over)
    }

    #[test]
    fn a_line_torn_at_any_byte_is_told_and_costs_itself_alone() {
        let results = tempfile::tempdir().expect("a folder");
        let (results, path) = (results.path(), file(results.path()));
        assert_eq!(words(results), Default::default());
        add(results, "first");
        let whole = fs::read(&path).expect("it is there");
        add(results, "second");
        let both = fs::read(&path).expect("it is there");
        for torn in whole.len()..=both.len() {
            fs::write(&path, &both[..torn]).expect("torn");
            add(results, "third");
            let (found, told) = words(results);
            // A line of which only its ending is missing says all that it had to.
            let says_all = torn >= both.len() - 1;
            let expected: &[&str] = if says_all { &["first", "second", "third"] } else { &["first", "third"] };
            assert_eq!(found, expected, "torn at {torn}");
            assert_eq!(told.len(), usize::from(!says_all && torn > whole.len()), "torn at {torn}");
            assert!(told.iter().all(|told| told.contains("words.jsonl:2: ") && told.contains("torn")));
        }
    }

    #[test]
    fn garbage_and_lines_of_the_future_are_told() {
        let results = tempfile::tempdir().expect("a folder");
        let (results, path) = (results.path(), file(results.path()));
        add(results, "first");
        let mut bytes = fs::read(&path).expect("it is there");
        bytes.extend(b"\xff\x00{\n{\"version\":99,\"dream\":{}}\n[]\n\n{\"format\":1}\n");
        fs::write(&path, bytes).expect("garbage");
        let (found, told) = words(results);
        assert_eq!((found.len(), told.len()), (1, 4), "{told:?}");
        assert!(told[1].contains("version 99") && told[3].contains(":6: "), "{told:?}");
    }

    #[test]
    fn many_who_add_lose_no_line() {
        let results = tempfile::tempdir().expect("a folder");
        let results = results.path();
        std::thread::scope(|scope| {
            for writer in 0..8 {
                scope.spawn(move || {
                    (0..25).for_each(|number| add(results, &format!("{writer} {number} {}", "x".repeat(5000))));
                });
            }
        });
        let (found, told) = words(results);
        assert_eq!((found.len(), told), (200, Vec::new()));
    }

    #[test]
    fn what_is_no_file_is_an_error() {
        let results = tempfile::tempdir().expect("a folder");
        let path = file(results.path());
        fs::create_dir_all(&path).expect("it can be made");
        let said = read::<Word>(&path).expect_err("a folder").to_string();
        assert!(said.contains("words.jsonl: it is no file"), "{said}");
        assert!(Adding::to(results.path(), &path).is_err());
    }
}
