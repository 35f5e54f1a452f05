//! Kept runs, as pages ask for them: names that came from outside lead to a run's own files and nowhere else.

use crate::record::history::History;
use crate::record::index::{Known, Wanted};
use crate::record::{self, Answers, Index, Record, Unanswered, events};
use std::path::{Path, PathBuf};
use time::{Duration, OffsetDateTime, Time, UtcOffset};

/// The files of a run that a page may show, and their types.
const FILES: [(&str, &str); 6] = [
    ("record.json", "application/json"),
    ("junit.xml", "application/xml"),
    ("certificate.html", "text/html; charset=utf-8"),
    ("certificate.pdf", "application/pdf"),
    ("nonconformity.html", "text/html; charset=utf-8"),
    ("nonconformity.pdf", "application/pdf"),
];
/// No file of a run is longer, bytes.
const BYTES_MAX: u64 = 64 << 20;

fn folder(results: &Path, serial: &str, run: &str) -> Result<PathBuf, String> {
    record::check_serial(serial).map_err(|error| error.to_string())?;
    record::check_run_id(run).map_err(|error| error.to_string())?;
    Ok(results.join(serial).join(run))
}

/// A file of a run with its type; nothing where there is no such.
pub fn file(results: &Path, serial: &str, run: &str, name: &str) -> Option<(&'static str, Vec<u8>)> {
    let (name, kind) = FILES.iter().find(|(known, _)| *known == name)?;
    let path = folder(results, serial, run).ok()?.join(name);
    let facts = std::fs::symlink_metadata(&path).ok()?;
    let is_plain = facts.is_file() && facts.len() <= BYTES_MAX;
    Some((*kind, is_plain.then(|| std::fs::read(&path).ok())??))
}

/// The record of a run.
///
/// # Errors
/// Why it cannot be shown.
pub fn record(results: &Path, serial: &str, run: &str) -> Result<Record, String> {
    let (_, bytes) = file(results, serial, run, "record.json").ok_or("there is no such run here")?;
    let record: Record =
        serde_json::from_slice(&bytes).map_err(|error| format!("its record cannot be read: {error}"))?;
    if record.run.id != run || record.unit.serial != serial {
        return Err("its record is that of another run; `railproof verify` tells more".into());
    }
    Ok(record)
}

/// What became of a unit.
///
/// # Errors
/// Why that cannot be told.
pub fn history(results: &Path, serial: &str) -> Result<History, String> {
    record::check_serial(serial).map_err(|error| error.to_string())?;
    if !results.is_dir() {
        return Ok(History::of(serial, Vec::new(), Vec::new()));
    }
    let runs = Index::open(results)
        .map_err(Unanswered::from)
        .and_then(|mut index| index.runs_of(serial))
        .map_err(|error| error.to_string())?;
    let events = events::read(results, serial).map_err(|error| error.to_string())?;
    Ok(History::of(serial, runs, events.lines))
}

/// The runs of a day, oldest first, and the runs of the units among them from before.
///
/// # Errors
/// Why they cannot be told.
pub fn day(results: &Path, now: OffsetDateTime) -> Result<Vec<Known>, String> {
    if !results.is_dir() {
        return Ok(Vec::new());
    }
    let begins = now.to_offset(UtcOffset::UTC).replace_time(Time::MIDNIGHT);
    let wanted = Wanted { from: Some(begins), before: Some(begins + Duration::DAY), ..Wanted::default() };
    let found = Index::open(results)
        .map_err(Unanswered::from)
        .and_then(|mut index| index.find(&wanted))
        .map_err(|error| error.to_string())?;
    Ok(found.into_iter().map(|found| found.run).collect())
}
