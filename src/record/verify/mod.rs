//! Whether records are as they were sealed: each run's folder against its own seal, and the runs of a bench against each other.

mod finding;
mod folder;
mod listing;
mod order;
#[cfg(test)]
mod tests;

pub use finding::{Finding, Kind, Weight};
pub use folder::look;
pub use listing::bytes as plain_bytes;
pub use order::ChainFound;

use super::fetched::{self, Foreign};
use super::seal::{DIGESTS, Head, PublicKey, SEAL, TRUST, Trust, remembered};
use super::writer::folders;
use folder::Found;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// What was found.
#[derive(Debug, Default)]
pub struct Verified {
    /// How many runs were looked at.
    pub runs: usize,
    pub findings: Vec<Finding>,
    pub chains: Vec<ChainFound>,
    /// Whether all of a results folder was seen, so that runs that are not there are missed.
    pub is_whole: bool,
    /// Unfinished runs, which are no records.
    pub unfinished: usize,
    /// How many runs each key signed for each bench; none for those without a key.
    pub keys: BTreeMap<(String, Option<String>), usize>,
    heads: BTreeSet<String>,
}

impl Verified {
    /// The gravest of the findings.
    pub fn weight(&self) -> Weight {
        self.findings.iter().map(|finding| finding.kind.weight()).max().unwrap_or(Weight::Remark)
    }

    /// Notes who signed a run, and whether that is to be believed.
    fn signed(&mut self, run: &Found, trust: Option<&Trust>) {
        let Some(seal) = &run.seal else { return };
        let key = run.signer.map(PublicKey::fingerprint);
        *self.keys.entry((seal.bench.clone(), key)).or_default() += 1;
        let Some(trust) = trust else { return };
        let finding = match run.signer {
            Some(signer) => trust.objection(&seal.bench, signer, seal.sealed_at()).map(|why| (Kind::UnknownKey, why)),
            // One whose signature is gone or damaged is told about by itself.
            None if seal.key.is_some() => None,
            None => Some((Kind::Unsigned, "sealed without a key".to_owned())),
        };
        self.findings.extend(finding.map(|(kind, says)| Finding::new(kind, &run.path, says)));
    }

    /// Whether a run with this head was among them.
    pub fn has_head(&self, digest: &str) -> bool {
        self.heads.contains(digest)
    }
}

/// What a path that was given is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Run,
    Serial,
    Results,
}

/// Looks at runs' folders, serial numbers' folders and results folders, all together.
///
/// # Errors
/// A path that cannot be read, with what the system says of it.
pub fn verify(paths: &[PathBuf], trust: Option<&Trust>) -> Result<Verified, (PathBuf, io::Error)> {
    let mut verified = Verified::default();
    let mut runs = Runs::default();
    let mut roots: Vec<PathBuf> = Vec::new();
    let mut known: Vec<Head> = Vec::new();
    let mut foreign: HashMap<String, Foreign> = HashMap::new();
    for path in paths {
        fs::read_dir(path).map_err(|error| (path.clone(), error))?;
        match place(path) {
            Place::Run => runs.add(path, false),
            Place::Serial => runs.of_serial(path, &mut verified),
            Place::Results => {
                // First what is remembered: a run that ends meanwhile is then seen, and not missed.
                known.extend(remembered(path));
                let serials = folders(path).into_iter().filter(|serial| !is_hidden(serial));
                serials.for_each(|serial| runs.of_serial(&serial, &mut verified));
                foreign.extend(fetched::read(path));
                roots.push(path.clone());
            }
        }
    }
    let runs_seen = verified.findings.iter().all(|finding| finding.kind != Kind::Unreadable);
    let mut found: Vec<Found> = runs.0.into_values().map(|(run, within)| look(&run, within)).collect();
    found.iter_mut().for_each(|run| run.stayed_elsewhere(&foreign));
    verified.runs = found.len();
    verified.findings.extend(found.iter().flat_map(|found| found.findings.iter().cloned()));
    verified.heads = found.iter().filter_map(|found| Some(found.head.as_ref()?.link.digest.clone())).collect();
    for run in &found {
        verified.signed(run, trust);
    }
    verified.is_whole = !roots.is_empty();
    // What could not be looked at is not missing.
    let root = roots.first().filter(|_| runs_seen).map(PathBuf::as_path);
    verified.chains = order::order(&found, root, &known, &foreign, &mut verified.findings);
    Ok(verified)
}

/// The trust file of the results folder that a path is or lies in, where it has one.
pub fn trust_file(path: &Path) -> Option<PathBuf> {
    let path = fs::canonicalize(path).ok()?;
    let results = match place(&path) {
        Place::Results => &path,
        Place::Serial => path.parent()?,
        Place::Run => path.parent()?.parent()?,
    };
    Some(results.join(TRUST)).filter(|file| file.is_file())
}

/// Runs' folders, each once whatever path leads to it, and whether they were found in a results folder.
#[derive(Default)]
struct Runs(BTreeMap<PathBuf, (PathBuf, bool)>);

impl Runs {
    fn add(&mut self, run: &Path, within: bool) {
        let place = fs::canonicalize(run).unwrap_or_else(|_| run.to_owned());
        self.0.entry(place).or_insert_with(|| (run.to_owned(), within)).1 |= within;
    }

    /// The runs of a serial number's folder.
    fn of_serial(&mut self, serial: &Path, verified: &mut Verified) {
        if let Err(error) = fs::read_dir(serial) {
            verified.findings.push(Finding::new(Kind::Unreadable, serial, error.to_string()));
        }
        for folder in folders(serial) {
            if is_run_id(&folder) {
                self.add(&folder, true);
            } else if is_hidden(&folder) {
                verified.unfinished += 1;
            } else {
                let says = "its name is no run's, so it was not looked at";
                verified.findings.push(Finding::new(Kind::Remark, &folder, says));
            }
        }
    }
}

/// A run has files, a serial number's folder has runs, a results folder has serial numbers' folders.
fn place(path: &Path) -> Place {
    if [DIGESTS, SEAL, "record.json"].iter().any(|file| path.join(file).is_file()) {
        Place::Run
    } else if folders(path).iter().any(|below| is_run_id(below)) {
        Place::Serial
    } else {
        Place::Results
    }
}

/// Serial numbers may be hexadecimal, too, but are hardly ever UUIDs.
fn is_run_id(path: &Path) -> bool {
    path.file_name().and_then(|name| name.to_str()).is_some_and(|name| uuid::Uuid::try_parse(name).is_ok())
}

fn is_hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(b"."))
}
