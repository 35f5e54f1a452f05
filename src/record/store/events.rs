//! Dispatches and returns, both ways: what was noted here goes to the store, what was noted elsewhere comes from it.

use super::{Store, StoreError};
use crate::record::events::{self, Event, Heard, digest_of, line_of};
use crate::record::lines;
use crate::record::writer::WriteError;
use postgres::Client;
use std::collections::{BTreeMap, HashSet};
use std::path::Path;

/// Serial numbers that are asked for at once.
const AT_ONCE: usize = 500;

impl Store {
    /// The events of a serial number, from all benches.
    ///
    /// # Errors
    /// What the server says.
    pub fn events_of(&mut self, serial: &str) -> Result<Vec<Event>, StoreError> {
        let heard = self.patiently(|store| Ok(heard(&mut store.client, &[serial])?))?;
        let heard = heard.into_values().flatten().collect();
        Ok(events::merged(Vec::new(), heard))
    }
}

/// Brings events; gives how many were new.
pub(super) fn send(
    store: &mut Store,
    bench: &str,
    results: &Path,
    serials: &[String],
    tell: &mut dyn FnMut(String),
) -> Result<usize, StoreError> {
    let mut sent = 0;
    for some in serials.chunks(AT_ONCE) {
        let (mut of, mut digests, mut lines) = (Vec::new(), Vec::new(), Vec::new());
        for serial in some {
            let own = events::own(results, serial)?;
            own.passed_over.into_iter().for_each(&mut *tell);
            for event in &own.lines {
                of.push(serial.as_str());
                digests.push(digest_of(event));
                lines.push(line_of(event));
            }
        }
        if lines.is_empty() {
            continue;
        }
        let insert = "INSERT INTO event (serial, sha256, bench, line)
             SELECT serial, sha256, $4, line FROM unnest($1::text[], $2::text[], $3::text[]) AS new (serial, sha256, line)
             ON CONFLICT DO NOTHING";
        sent += store.patiently(|store| Ok(store.client.execute(insert, &[&of, &digests, &lines, &bench])?))?;
    }
    Ok(usize::try_from(sent).unwrap_or(usize::MAX))
}

/// Takes the events of these serial numbers that are not known here; gives how many were new.
pub(super) fn take(store: &mut Store, results: &Path, serials: &[String]) -> Result<usize, StoreError> {
    let mut taken = 0;
    for some in serials.chunks(AT_ONCE) {
        let asked: Vec<&str> = some.iter().map(String::as_str).collect();
        for (serial, heard) in store.patiently(|store| Ok(heard(&mut store.client, &asked)?))? {
            taken += note(results, &serial, heard)?;
        }
    }
    Ok(taken)
}

fn note(results: &Path, serial: &str, heard: Vec<Heard>) -> Result<usize, WriteError> {
    let own = events::own(results, serial)?;
    let before = events::elsewhere(results, serial)?;
    let known = own.lines.iter().chain(before.lines.iter().map(|heard| &heard.event));
    let mut known: HashSet<String> = known.map(digest_of).collect();
    let mut noted = 0;
    for heard in heard {
        if known.insert(digest_of(&heard.event)) {
            lines::Adding::to(results, &results.join(serial).join(events::ELSEWHERE))?.append(&heard)?;
            noted += 1;
        }
    }
    Ok(noted)
}

/// What benches noted of these serial numbers, in the order in which it came. Lines of a newer form are left for a newer
/// railproof.
fn heard(client: &mut Client, serials: &[&str]) -> Result<BTreeMap<String, Vec<Heard>>, postgres::Error> {
    let mut heard: BTreeMap<String, Vec<Heard>> = BTreeMap::new();
    let query = "SELECT serial, bench, line FROM event WHERE serial = ANY($1) ORDER BY id";
    for row in client.query(query, &[&serials])? {
        let line: String = row.get(2);
        if let Ok(event) = lines::line::<Event>(line.as_bytes()) {
            heard.entry(row.get(0)).or_default().push(Heard { version: 1, bench: row.get(1), event });
        }
    }
    Ok(heard)
}
