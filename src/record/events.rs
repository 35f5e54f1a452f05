//! What happens to a unit between its runs: that it was dispatched, and that it came back.
//!
//! Each serial number has a file of its own beside its runs, `events.jsonl`: one event a line (see [`lines`]).
//! Complaints stand here and nowhere else: neither record nor certificate knows them.

use super::WriteError;
use super::lines::{self, Adding, Line, Lines};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// The file beside a serial number's runs.
pub const FILE: &str = "events.jsonl";
/// Version of the stored form.
pub const FORMAT: u32 = 1;

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

impl Line for Event {
    const VERSION: u32 = FORMAT;
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum What {
    Dispatched,
    Received,
}

/// The events of a serial number in their order, and what has to be told of the file.
///
/// # Errors
/// What the disk says.
pub fn read(results: &Path, serial: &str) -> Result<Lines<Event>, WriteError> {
    lines::read(&results.join(serial).join(FILE))
}

/// Adds the event that `decide` makes of those before it, while no other process adds one. `Ok(Err(_))` is its refusal.
///
/// # Errors
/// What the disk says; nothing was added then, or it was not brought to the disk.
pub fn add<R>(
    results: &Path,
    serial: &str,
    decide: impl FnOnce(&[Event]) -> Result<Event, R>,
) -> Result<Result<Event, R>, WriteError> {
    let file = Adding::to(results, &results.join(serial).join(FILE))?;
    let decided = decide(&file.lines()?.lines);
    if let Ok(event) = &decided {
        file.append(event)?;
    }
    Ok(decided)
}
