//! What happens to a unit between its runs: that it was dispatched, and that it came back.
//!
//! Each serial number has a file of its own beside its runs, `events.jsonl`: one event a line, only ever added to. A line is
//! on the disk before the command that adds it says so. What a power cut tore stays where it is, is told, and counts for
//! nothing; the next event begins on a line of its own. Complaints stand here and nowhere else: neither record nor
//! certificate knows them.

use rustix::fs::{FlockOperation, flock};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// The file beside a serial number's runs.
pub const FILE: &str = "events.jsonl";
/// Version of the stored form.
pub const FORMAT: u32 = 1;
/// No honest file is longer, bytes.
const LENGTH_MAX: u64 = 16 << 20;

/// An event in its stored form.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// [`FORMAT`].
    pub format: u32,
    pub event: What,
    /// RFC 3339.
    pub at: String,
    /// Id of the last run before it: the order holds whatever the clock said.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub after: Option<String>,
    /// Of a dispatch: id of the as-shipped record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub as_shipped: Option<String>,
    /// Of a return: what the sender complains of.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub complaint: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Why it was done although the records spoke against it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub because: Option<String>,
    /// Who noted it, by initials or id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub by: Option<String>,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum What {
    Dispatched,
    Received,
}

/// Why the events of a serial number cannot be had.
#[derive(Debug, thiserror::Error)]
#[error("{}: {said}; look at the disk and at the rights of that file", path.display())]
pub struct EventsError {
    path: PathBuf,
    said: io::Error,
}

/// The events of a serial number in their order, and what has to be told of the file.
///
/// # Errors
/// What the disk says.
pub fn read(results: &Path, serial: &str) -> Result<(Vec<Event>, Vec<String>), EventsError> {
    let path = results.join(serial).join(FILE);
    match fs::metadata(&path) {
        Ok(found) if !found.is_file() => Err(EventsError { path, said: io::Error::other("it is no file") }),
        Ok(_) => {
            let text = File::open(&path).and_then(|file| contents(&file));
            text.map(|text| events(&path, &text)).map_err(|said| EventsError { path, said })
        }
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            Ok(Default::default())
        }
        Err(said) => Err(EventsError { path, said }),
    }
}

/// Adds the event that `decide` makes of those before it, while no other process adds one. `Ok(Err(_))` is its refusal.
///
/// # Errors
/// What the disk says; nothing was added then, or it was not brought to the disk.
pub fn add<R>(
    results: &Path,
    serial: &str,
    decide: impl FnOnce(&[Event]) -> Result<Event, R>,
) -> Result<Result<Event, R>, EventsError> {
    let home = results.join(serial);
    let path = home.join(FILE);
    let fail = |said: io::Error| EventsError { path: path.clone(), said };
    fs::create_dir_all(&home).map_err(fail)?;
    let mut file = File::options().read(true).append(true).create(true).open(&path).map_err(fail)?;
    flock(&file, FlockOperation::LockExclusive).map_err(|error| fail(error.into()))?;
    let text = contents(&file).map_err(fail)?;
    let (before, _) = events(&path, &text);
    let event = match decide(&before) {
        Ok(event) => event,
        Err(refusal) => return Ok(Err(refusal)),
    };
    let mut line = serde_json::to_string(&event).expect("an event has nothing that JSON cannot say");
    line.push('\n');
    if !text.is_empty() && !text.ends_with(b"\n") {
        line.insert(0, '\n');
    }
    // In one piece, so that a reader never sees a part of it while all goes well.
    file.write_all(line.as_bytes()).and_then(|()| file.sync_all()).map_err(fail)?;
    for folder in [&home, results] {
        File::open(folder).and_then(|folder| folder.sync_all()).or_else(unsyncable).map_err(fail)?;
    }
    Ok(Ok(event))
}

/// Some file systems cannot sync a folder; they do it by themselves or not at all.
fn unsyncable(error: io::Error) -> io::Result<()> {
    if error.kind() == io::ErrorKind::InvalidInput { Ok(()) } else { Err(error) }
}

fn contents(mut file: &File) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    file.seek(SeekFrom::Start(0))?;
    file.take(LENGTH_MAX + 1).read_to_end(&mut text)?;
    if text.len() as u64 > LENGTH_MAX {
        return Err(io::Error::other("it is longer than any honest file of events"));
    }
    Ok(text)
}

fn events(path: &Path, text: &[u8]) -> (Vec<Event>, Vec<String>) {
    let (mut events, mut told) = (Vec::new(), Vec::new());
    for (number, line) in text.split(|byte| *byte == b'\n').enumerate() {
        if line.is_empty() {
            continue;
        }
        match serde_json::from_slice::<Event>(line) {
            Ok(event) if event.format == FORMAT => events.push(event),
            Ok(event) => {
                let format = event.format;
                told.push(format!(
                    "{}:{}: an event of format {format} is left out; this version reads {FORMAT}",
                    path.display(),
                    number + 1
                ));
            }
            Err(_) => told.push(format!("{}:{}: no whole event; it is left out", path.display(), number + 1)),
        }
    }
    (events, told)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(note: &str) -> Event {
        Event {
            format: FORMAT,
            event: What::Dispatched,
            at: "2026-11-28T08:00:00Z".into(),
            after: None,
            as_shipped: None,
            complaint: None,
            note: Some(note.into()),
            because: None,
            by: None,
        }
    }

    fn add_one(results: &Path, note: &str) {
        add::<()>(results, "SM-0001", |_| Ok(event(note))).expect("it can be written").expect("it is not refused");
    }

    #[test]
    fn a_torn_line_is_told_and_the_next_event_stands_alone() {
        let results = tempfile::tempdir().expect("a folder");
        add_one(results.path(), "one");
        let path = results.path().join("SM-0001").join(FILE);
        let whole = fs::read(&path).expect("it is there");
        for cut in 1..whole.len() {
            fs::write(&path, [&whole[..], &whole[..cut]].concat()).expect("it can be written");
            add_one(results.path(), "three");
            let (events, told) = read(results.path(), "SM-0001").expect("it can be read");
            // Cut just before its end, a line is whole but for the line's end.
            let notes: Vec<_> = events.iter().filter_map(|event| event.note.as_deref()).collect();
            let whole_but_for_its_end = cut + 1 == whole.len();
            let expected = if whole_but_for_its_end { vec!["one", "one", "three"] } else { vec!["one", "three"] };
            assert_eq!((notes, told.len()), (expected, usize::from(!whole_but_for_its_end)), "cut at {cut}");
        }
    }

    #[test]
    fn what_is_no_event_is_told_with_its_line() {
        let results = tempfile::tempdir().expect("a folder");
        add_one(results.path(), "one");
        let path = results.path().join("SM-0001").join(FILE);
        let mut text = fs::read_to_string(&path).expect("it is there");
        text.push_str("{\"format\":1}\n\n\u{0}\n");
        text.push_str(&text.lines().next().expect("a line").replace("\"format\":1", "\"format\":9"));
        fs::write(&path, text).expect("it can be written");
        let (events, told) = read(results.path(), "SM-0001").expect("it can be read");
        assert_eq!(events.len(), 1);
        assert_eq!(told.len(), 3);
        assert!(
            told[0].contains("events.jsonl:2: no whole event") && told[2].contains(":5: an event of format 9"),
            "{told:?}"
        );
    }
}
