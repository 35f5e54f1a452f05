//! What happens to a unit between its runs: that it was dispatched, and that it came back.
//!
//! Each serial number has a file of its own beside its runs, `events.jsonl`: one event a line (see [`lines`]).
//! What other benches noted comes from the shared store into a file of its own, so that this one stays in the order in which
//! things were done here. Complaints stand here and nowhere else: neither record nor certificate knows them.

use super::WriteError;
use super::lines::{self, Adding, Line, Lines};
use super::seal::digest;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashSet, VecDeque};
use std::path::Path;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// The file beside a serial number's runs.
pub const FILE: &str = "events.jsonl";
/// The file of what other benches noted.
pub const ELSEWHERE: &str = "events-elsewhere.jsonl";
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

/// An event that another bench noted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heard {
    pub version: u32,
    /// The bench that noted it, or brought it first.
    pub bench: String,
    pub event: Event,
}

impl Line for Heard {
    const VERSION: u32 = 1;
}

/// The events of a serial number in their order, and what has to be told of the file.
///
/// # Errors
/// What the disk says.
pub fn read(results: &Path, serial: &str) -> Result<Lines<Event>, WriteError> {
    let (own, heard) = (own(results, serial)?, elsewhere(results, serial)?);
    let passed_over = own.passed_over.into_iter().chain(heard.passed_over).collect();
    Ok(Lines { lines: merged(own.lines, heard.lines), passed_over })
}

/// What was noted here.
///
/// # Errors
/// What the disk says.
pub(super) fn own(results: &Path, serial: &str) -> Result<Lines<Event>, WriteError> {
    lines::read(&results.join(serial).join(FILE))
}

/// What other benches noted.
///
/// # Errors
/// What the disk says.
pub(super) fn elsewhere(results: &Path, serial: &str) -> Result<Lines<Heard>, WriteError> {
    lines::read(&results.join(serial).join(ELSEWHERE))
}

/// An event as a line, which is the same wherever it is written.
pub(super) fn line_of(event: &Event) -> String {
    serde_json::to_string(event).expect("plain fields are JSON")
}

/// By what an event is known to be the same one.
pub(super) fn digest_of(event: &Event) -> String {
    digest(line_of(event).as_bytes())
}

/// The events of several benches in one order, each once: by their times, but never against the order of one bench, whatever
/// its clock said.
pub(super) fn merged(own: Vec<Event>, heard: Vec<Heard>) -> Vec<Event> {
    if heard.is_empty() {
        return own;
    }
    let mut known: HashSet<String> = own.iter().map(digest_of).collect();
    let mut others: BTreeMap<String, VecDeque<Event>> = BTreeMap::new();
    for Heard { bench, event, .. } in heard {
        if known.insert(digest_of(&event)) {
            others.entry(bench).or_default().push_back(event);
        }
    }
    let mut sequences: Vec<VecDeque<Event>> = vec![own.into()];
    sequences.extend(others.into_values());
    let at = |events: &VecDeque<Event>| events.front().map(|event| OffsetDateTime::parse(&event.at, &Rfc3339).ok());
    let mut order = Vec::new();
    while let Some(next) = sequences.iter_mut().filter(|events| !events.is_empty()).min_by_key(|events| at(events)) {
        order.extend(next.pop_front());
    }
    order
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
    let decided = decide(&merged(file.lines()?.lines, elsewhere(results, serial)?.lines));
    if let Ok(event) = &decided {
        file.append(event)?;
    }
    Ok(decided)
}
