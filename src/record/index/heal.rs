//! Brings the index up to date with the folders: what is new in them is taken in, what is gone from them is forgotten.
//!
//! Folders are looked at by name; a run that is known is not opened again, and the folder of a serial number that has not
//! changed since all in it was taken in is not even listed. What cannot be read is told every time, since it is not known.

use super::facts::{self, Facts};
use super::intake::{self, Names};
use super::tables;
use crate::clock::{Clock, ComputerClock};
use crate::record::writer::{check_run_id, check_serial};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use std::collections::HashMap;
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Runs that are written together: many, since a commit takes time, and few enough that another process need not wait long.
const BATCH: usize = 1000;
/// Runs that may wait for being written.
const WAITING_MAX: usize = 256;
/// A folder that was changed less than this ago may be changed again without its time showing it, ns.
const FRESH_NS: i128 = 3_000_000_000;
/// At most this much of what is wrong is told one by one.
const TOLD_MAX: usize = 20;

/// Which folders are looked at.
#[derive(Debug, Clone, Copy)]
pub enum Scope<'a> {
    /// All.
    All,
    /// That of one serial number.
    Serial(&'a str),
}

/// A run that is not in the index yet.
struct New {
    serial: String,
    id: String,
    folder: PathBuf,
}

/// What the folders have and the index has not, and the other way round.
#[derive(Default)]
struct Difference {
    new: Vec<New>,
    /// Numbers of runs that are gone, and their folders.
    gone: Vec<(i64, PathBuf)>,
    /// Serial numbers with the time of their folder, that can be left alone once everything is taken in.
    settled: HashMap<String, i64>,
    told: Vec<String>,
}

/// Takes in what is new. Gives what has to be told.
pub(super) fn heal(
    connection: &mut Connection,
    names: &mut Names,
    results: &Path,
    scope: Scope<'_>,
) -> rusqlite::Result<Vec<String>> {
    let generation = tables::generation(connection)?;
    let mut difference = match scope {
        Scope::All => all(connection, results)?,
        Scope::Serial(serial) => {
            let mut difference = Difference::default();
            one(connection, results, serial, now_ns(), &mut difference)?;
            difference
        }
    };
    let mut told = std::mem::take(&mut difference.told);
    let new = std::mem::take(&mut difference.new);
    read_all(&new, |batch| {
        let mut taken = Vec::with_capacity(batch.len());
        for (new, read) in batch {
            match read {
                Ok(facts) => taken.push(facts),
                Err(why) => {
                    difference.settled.remove(&new.serial);
                    told.push(format!("{} is left out: {why}", new.folder.join("record.json").display()));
                }
            }
        }
        intake::take_in(connection, names, &taken)
    })?;
    told.extend(forget(connection, &difference.gone, generation)?);
    settle(connection, &difference.settled, generation)?;
    if told.len() > TOLD_MAX {
        let more = told.len() - TOLD_MAX;
        told.truncate(TOLD_MAX);
        told.push(format!("and {more} more records are left out"));
    }
    Ok(told)
}

fn all(connection: &Connection, results: &Path) -> rusqlite::Result<Difference> {
    let mut difference = Difference::default();
    let now = now_ns();
    let mut listed = connection.prepare("SELECT text, listed FROM serial")?;
    let known = listed.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let mut known: HashMap<String, Option<i64>> = known.collect::<Result<_, _>>()?;
    let found = match folders(results) {
        Ok(found) => found,
        Err(why) => {
            difference.told.push(why);
            return Ok(difference);
        }
    };
    for serial in found.filter(|serial| check_serial(serial).is_ok()) {
        let listed = known.remove(&serial).flatten();
        if listed.is_none() || changed_ns(&results.join(&serial)) != listed {
            one(connection, results, &serial, now, &mut difference)?;
        }
    }
    // What is left has no folder any more.
    for serial in known.into_keys() {
        one(connection, results, &serial, now, &mut difference)?;
    }
    Ok(difference)
}

/// Compares the folder of one serial number.
fn one(
    connection: &Connection,
    results: &Path,
    serial: &str,
    now_ns: i128,
    difference: &mut Difference,
) -> rusqlite::Result<()> {
    let home = results.join(serial);
    let changed = changed_ns(&home);
    let mut query = connection.prepare_cached(
        "SELECT run.folder, run.id FROM run JOIN serial ON serial.id = run.serial WHERE serial.text = ?1",
    )?;
    let known = query.query_map([serial], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let mut known: HashMap<String, i64> = known.collect::<Result<_, _>>()?;
    let found = match folders(&home) {
        Ok(found) => found,
        // What cannot be listed is not gone.
        Err(why) => {
            difference.told.push(why);
            return Ok(());
        }
    };
    for id in found.filter(|id| check_run_id(id).is_ok()) {
        let folder = home.join(&id);
        let is_known = known.remove(&id).is_some();
        // Another program's folder may have such a name; a run's own is never without its record.
        if !is_known && (folder.join("record.json").exists() || uuid::Uuid::try_parse(&id).is_ok()) {
            difference.new.push(New { serial: serial.to_owned(), id, folder });
        }
    }
    difference.gone.extend(known.into_iter().map(|(id, number)| (number, home.join(id))));
    if let Some(changed) = changed.filter(|changed| i128::from(*changed) < now_ns - FRESH_NS) {
        difference.settled.insert(serial.to_owned(), changed);
    }
    Ok(())
}

/// Reads the records on all cores and hands them on in batches. The readers stop where one cannot be taken in.
fn read_all(
    new: &[New],
    mut take: impl FnMut(Vec<(&New, Result<Facts, String>)>) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(new.len());
    let next = AtomicUsize::new(0);
    let (send, receive) = crossbeam_channel::bounded(WAITING_MAX);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            let (send, next) = (send.clone(), &next);
            scope.spawn(move || {
                while let Some(new) = new.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let read = facts::read(&new.folder, &new.serial, &new.id);
                    if send.send((new, read)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(send);
        let mut batch = Vec::new();
        let mut done = Ok(());
        for read in &receive {
            batch.push(read);
            if batch.len() >= BATCH {
                done = take(std::mem::take(&mut batch));
                if done.is_err() {
                    break;
                }
            }
        }
        drop(receive);
        if done.is_ok() && !batch.is_empty() { take(batch) } else { done }
    })
}

fn forget(connection: &mut Connection, gone: &[(i64, PathBuf)], generation: i64) -> rusqlite::Result<Option<String>> {
    let Some((_, first)) = gone.first() else { return Ok(None) };
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    if tables::generation(&within)? != generation {
        return Ok(None);
    }
    for (run, _) in gone {
        intake::forget(&within, *run)?;
    }
    within.commit()?;
    let more = if gone.len() > 1 { format!(" and {} more", gone.len() - 1) } else { String::new() };
    Ok(Some(format!("{}{more}: was indexed once, and its folder is gone", first.display())))
}

/// Notes which folders need not be listed next time.
fn settle(connection: &mut Connection, settled: &HashMap<String, i64>, generation: i64) -> rusqlite::Result<()> {
    let mut stale = Vec::new();
    for (serial, changed) in settled {
        let listed = connection
            .prepare_cached("SELECT listed FROM serial WHERE text = ?1")?
            .query_row([serial], |row| row.get::<_, Option<i64>>(0));
        // Without a run in it, a serial number is not noted.
        if listed.optional()?.is_some_and(|listed| listed != Some(*changed)) {
            stale.push((serial, changed));
        }
    }
    if stale.is_empty() {
        return Ok(());
    }
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    if tables::generation(&within)? != generation {
        return Ok(());
    }
    for (serial, changed) in stale {
        within.prepare_cached("UPDATE serial SET listed = ?2 WHERE text = ?1")?.execute(params![serial, changed])?;
    }
    within.commit()
}

/// Names of the folders in a folder; none where there is no such folder. Links are not followed, and names that are no text
/// are nobody's.
fn folders(folder: &Path) -> Result<impl Iterator<Item = String> + use<>, String> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => Some(entries),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
        Err(error) => return Err(format!("{} cannot be looked into: {error}", folder.display())),
    };
    let folders = entries.into_iter().flatten().flatten();
    let folders = folders.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_dir()));
    Ok(folders.filter_map(|entry| entry.file_name().into_string().ok()))
}

fn changed_ns(folder: &Path) -> Option<i64> {
    let found = fs::symlink_metadata(folder).ok()?;
    found.mtime().checked_mul(1_000_000_000)?.checked_add(found.mtime_nsec())
}

fn now_ns() -> i128 {
    ComputerClock::new().wall().unix_timestamp_nanos()
}
