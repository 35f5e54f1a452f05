//! A bench's results folder and the store: what is new here goes there, what was noted elsewhere comes here.

use super::parcel::{CAPTURE_MAX, CAPTURES, Parcel, content};
use super::{Store, StoreError, events};
use crate::record::seal::{DIGESTS, Trust, digest};
use crate::record::writer::{check_run_id, check_serial, folders};
use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Runs that the store is asked for at once.
const AT_ONCE: usize = 500;

/// What is to go along.
pub struct Wish<'a> {
    /// The bench, as events name it.
    pub bench: &'a str,
    /// Captures too.
    pub captures: bool,
    /// Which keys are believed.
    pub trust: Option<&'a Trust>,
}

/// What went and what did not.
#[derive(Debug, Default)]
pub struct Synced {
    /// Runs that were brought.
    pub runs: usize,
    /// Runs that were there already.
    pub known: usize,
    /// Captures of known runs that were brought.
    pub captures: usize,
    /// Runs that were refused: their folder, and why.
    pub refused: Vec<(PathBuf, String)>,
    /// Runs whose signature is not to be believed, which were brought all the same.
    pub objections: Vec<(PathBuf, String)>,
    /// Events that were brought.
    pub events_sent: usize,
    /// Events that were taken.
    pub events_taken: usize,
}

/// A run's folder here.
struct Local {
    id: String,
    folder: PathBuf,
}

/// Brings all that is new, and takes the events of the serial numbers that are here. What was brought stays there, whatever
/// stops the rest: the next time goes on from it.
///
/// # Errors
/// A server that refuses, or is away for longer than there is patience.
pub fn sync(
    store: &mut Store,
    results: &Path,
    wish: &Wish<'_>,
    tell: &mut dyn FnMut(String),
) -> Result<Synced, StoreError> {
    let mut synced = Synced::default();
    let named = |folder: &Path| folder.file_name().and_then(|name| name.to_str()).map(str::to_owned);
    let mut serials: Vec<String> = folders(results).iter().filter_map(|serial| named(serial)).collect();
    serials.retain(|serial| check_serial(serial).is_ok());
    let runs = serials.iter().flat_map(|serial| folders(&results.join(serial)));
    let mut runs: Vec<Local> = runs.filter_map(|folder| Some(Local { id: named(&folder)?, folder })).collect();
    // What has no record is no run.
    runs.retain(|run| check_run_id(&run.id).is_ok() && run.folder.join("record.json").exists());
    for some in runs.chunks(AT_ONCE) {
        let ids: Vec<&str> = some.iter().map(|run| run.id.as_str()).collect();
        let known = store.patiently(|store| store.heads(&ids))?;
        for run in some {
            match known.get(&run.id) {
                Some(head) => synced.met(run, head),
                None => synced.bring(store, run, wish)?,
            }
        }
        if wish.captures {
            let ids: Vec<&str> = ids.into_iter().filter(|id| known.contains_key(*id)).collect();
            synced.bring_captures(store, some, &ids)?;
        }
    }
    synced.events_sent = events::send(store, wish.bench, results, &serials, tell)?;
    synced.events_taken = events::take(store, results, &serials)?;
    Ok(synced)
}

impl Synced {
    /// A run that is there already must be the same one.
    fn met(&mut self, run: &Local, head: &str) {
        match fs::read(run.folder.join(DIGESTS)) {
            Ok(manifest) if digest(&manifest) == head => self.known += 1,
            Ok(_) => {
                let why = "the store has another run of this id, which stays as it is; `railproof verify` says whether this \
                           one was changed";
                self.refused.push((run.folder.clone(), why.into()));
            }
            Err(error) => self.refused.push((run.folder.clone(), format!("unreadable: {DIGESTS}: {error}"))),
        }
    }

    fn bring(&mut self, store: &mut Store, run: &Local, wish: &Wish<'_>) -> Result<(), StoreError> {
        let parcel = match Parcel::pack(&run.folder, wish.captures, wish.trust) {
            Ok(parcel) => parcel,
            Err(why) => {
                self.refused.push((run.folder.clone(), why));
                return Ok(());
            }
        };
        match store.patiently(|store| store.send(&parcel)) {
            Ok(is_new) => {
                if is_new {
                    self.runs += 1
                } else {
                    self.known += 1
                }
                self.objections.extend(parcel.objection.map(|why| (run.folder.clone(), why)));
                Ok(())
            }
            Err(error) if error.is_of_the_data() => {
                self.refused.push((run.folder.clone(), error.to_string()));
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// Captures that stayed here when their runs went.
    fn bring_captures(&mut self, store: &mut Store, some: &[Local], ids: &[&str]) -> Result<(), StoreError> {
        for (id, name, sha256) in store.patiently(|store| store.without_content(ids))? {
            let Some(run) = some.iter().find(|run| run.id == id) else { continue };
            let is_short = fs::metadata(run.folder.join(&name)).is_ok_and(|found| found.len() <= CAPTURE_MAX);
            if !name.starts_with(CAPTURES) || !is_short {
                continue;
            }
            match content(&run.folder, &name, Some(&sha256)) {
                Ok(bytes) => {
                    store.patiently(|store| store.add_content(&sha256, &bytes))?;
                    self.captures += 1;
                }
                Err(why) => self.refused.push((run.folder.clone(), why)),
            }
        }
        Ok(())
    }
}

impl Store {
    /// Heads of those of these runs that are there, by id.
    fn heads(&mut self, ids: &[&str]) -> Result<HashMap<String, String>, StoreError> {
        let query = "SELECT run.folder, seal.head FROM run JOIN seal ON seal.run = run.id WHERE run.folder = ANY($1)";
        let rows = self.client.query(query, &[&ids])?;
        Ok(rows.iter().map(|row| (row.get(0), row.get(1))).collect())
    }

    /// Files of these runs whose content is not there: run, name, digest.
    fn without_content(&mut self, ids: &[&str]) -> Result<Vec<(String, String, String)>, StoreError> {
        let query = "SELECT run.folder, file.name, file.sha256 FROM run JOIN file ON file.run = run.id
             WHERE run.folder = ANY($1) AND NOT EXISTS (SELECT 1 FROM content WHERE content.sha256 = file.sha256)";
        let rows = self.client.query(query, &[&ids])?;
        Ok(rows.iter().map(|row| (row.get(0), row.get(1), row.get(2))).collect())
    }

    fn add_content(&mut self, sha256: &str, bytes: &[u8]) -> Result<(), StoreError> {
        let insert = "INSERT INTO content (sha256, bytes) VALUES ($1, $2) ON CONFLICT DO NOTHING";
        self.client.execute(insert, &[&sha256, &bytes])?;
        Ok(())
    }
}
