//! Runs of a unit that was tested elsewhere: out of the store, held against their seals, and into the results folder as what
//! they are, another bench's runs. They never become part of this bench's chain; `.fetched.jsonl` says where they came from.

use super::parcel::objection;
use super::{Store, StoreError, events};
use crate::record::fetched::{self, Foreign};
use crate::record::seal::Trust;
use crate::record::verify::{Kind, Weight, look};
use crate::record::writer::{RunFolder, leftovers};
use std::path::{Path, PathBuf};

/// What came and what did not.
#[derive(Debug, Default)]
pub struct Fetched {
    /// Where the runs stand that came.
    pub runs: Vec<PathBuf>,
    /// Runs that were here already.
    pub known: usize,
    /// Runs that are not what was sealed: their id, and why. They are not kept.
    pub refused: Vec<(String, String)>,
    /// Runs whose signature is not to be believed, which are kept all the same.
    pub objections: Vec<(PathBuf, String)>,
    /// Captures that stayed at the bench that made them.
    pub captures_elsewhere: usize,
    /// Events that came.
    pub events: usize,
}

/// A run in the store.
struct There {
    number: i64,
    id: String,
    head: String,
}

/// A file of it, by name; without content where it stayed at the bench.
type Stored = (String, Option<Vec<u8>>);

/// Takes the runs and events of a serial number that are not here yet.
///
/// # Errors
/// What the server says; what the disk says.
pub fn fetch(store: &mut Store, results: &Path, serial: &str, trust: Option<&Trust>) -> Result<Fetched, StoreError> {
    let mut fetched = Fetched::default();
    let runs = store.patiently(|store| store.runs_there(serial))?;
    // Of a fetch that was killed, which noted nothing.
    leftovers(results).into_iter().filter(|left| left.begun().is_err()).for_each(RunFolder::remove);
    for run in runs {
        if results.join(serial).join(&run.id).exists() {
            fetched.known += 1;
        } else {
            fetched.take(store, results, serial, &run, trust)?;
        }
    }
    fetched.events = events::take(store, results, &[serial.to_owned()])?;
    Ok(fetched)
}

impl Fetched {
    fn take(
        &mut self,
        store: &mut Store,
        results: &Path,
        serial: &str,
        run: &There,
        trust: Option<&Trust>,
    ) -> Result<(), StoreError> {
        let folder = RunFolder::stage(results, serial, &run.id)?;
        let mut without = Vec::new();
        for (name, content) in store.patiently(|store| store.files_of(run.number))? {
            match content {
                Some(bytes) => folder.put(&name, &bytes)?,
                None => without.push(name),
            }
        }
        let found = look(folder.path(), false);
        let stays = |path: &Path| without.iter().any(|name| folder.path().join(name) == path);
        let mut wrong = found.findings.iter().filter(|finding| {
            finding.kind.weight() > Weight::Remark && !(finding.kind == Kind::Missing && stays(&finding.path))
        });
        let is_it = found.head.as_ref().is_some_and(|head| {
            (head.link.run.as_str(), head.link.serial.as_str(), &head.link.digest) == (&*run.id, serial, &run.head)
        });
        let seal = match (&found.seal, wrong.next()) {
            (Some(seal), None) if is_it => seal,
            (_, wrong) => {
                let why = wrong.map_or("its seal is another run's".to_owned(), |finding| {
                    let file = finding.path.strip_prefix(folder.path()).unwrap_or(&finding.path);
                    format!("{}: {}", finding.kind.word(), file.display())
                });
                self.refused.push((run.id.clone(), why));
                return Ok(());
            }
        };
        self.captures_elsewhere += without.len();
        let objection = trust.and_then(|trust| objection(trust, seal, found.signer));
        // Noted first: a run that stands here and is not noted would be missed in its own bench's chain.
        let foreign = Foreign::new(seal, &run.head, store.place(), without);
        fetched::note(results, &foreign)?;
        let home = folder.place()?;
        self.objections.extend(objection.map(|why| (home.clone(), why)));
        self.runs.push(home);
        Ok(())
    }
}

impl Store {
    fn runs_there(&mut self, serial: &str) -> Result<Vec<There>, StoreError> {
        let query = "SELECT run.id, run.folder, seal.head FROM run JOIN serial ON serial.id = run.serial
             JOIN seal ON seal.run = run.id WHERE serial.text = $1 ORDER BY run.folder";
        let rows = self.client.query(query, &[&serial])?;
        Ok(rows.iter().map(|row| There { number: row.get(0), id: row.get(1), head: row.get(2) }).collect())
    }

    /// Files of a run.
    fn files_of(&mut self, number: i64) -> Result<Vec<Stored>, StoreError> {
        let query = "SELECT file.name, content.bytes FROM file LEFT JOIN content ON content.sha256 = file.sha256
             WHERE file.run = $1 ORDER BY file.name";
        let rows = self.client.query(query, &[&number])?;
        Ok(rows.iter().map(|row| (row.get(0), row.get(1))).collect())
    }

    /// A file of a run as it was sealed; none where there is no such run or the file stayed at the bench.
    ///
    /// # Errors
    /// What the server says.
    pub fn file(&mut self, run: &str, name: &str) -> Result<Option<Vec<u8>>, StoreError> {
        let query = "SELECT content.bytes FROM run JOIN file ON file.run = run.id
             JOIN content ON content.sha256 = file.sha256 WHERE run.folder = $1 AND file.name = $2";
        let row = self.patiently(|store| Ok(store.client.query_opt(query, &[&run, &name])?))?;
        Ok(row.map(|row| row.get(0)))
    }
}
