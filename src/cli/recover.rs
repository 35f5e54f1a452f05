//! What a run left whose program was killed, or whose computer lost its power: made into a record that says so.
//!
//! A run writes its evidence as it goes, and before anything moves what its record will say beside that. So whatever moment it
//! ends at, the next run finds what it saw, measures it as `judge` would, and keeps it sealed as an invalid run: it proves
//! nothing, but whoever asks later why a unit was handled can see what happened to it.

use super::captures::OpenCapture;
use super::evidence::FolderEvidence;
use super::key::unnamed;
use super::prepared::{Prepared, frozen_name};
use super::run::keep;
use super::{Exit, Failure, judge, say, show};
use crate::clock::{ComputerClock, WallTime};
use crate::record::seal::BenchKey;
use crate::record::stored::Begun;
use crate::record::{self, Header, Record, RunFolder, stored};
use crate::run::Ending;
use std::path::Path;

/// Why such a run is invalid.
const BROKEN_OFF: &str = "the run was broken off in its middle: its program was killed, or the computer lost its power";

/// Keeps what dead runs of this bench left in these results, and says so. What holds no evidence is removed.
pub fn recover(results: &Path, clock: &ComputerClock, key: Option<&BenchKey>) {
    let own = key.map_or_else(unnamed, |key| key.bench().to_owned());
    for left in record::leftovers(results) {
        let begun = left.begun().map_err(|error| Failure::new(Exit::BadInput, error));
        if begun.as_ref().is_ok_and(|begun| begun.bench.name.as_deref() != Some(&own)) {
            // Another bench seals its own.
            continue;
        }
        let part = left.path().display().to_string();
        let told = match begun.and_then(|begun| made(&left, begun, key)) {
            Ok(record) => kept(left, &record, clock, key),
            Err(failure) => {
                left.remove();
                format!("was left by a run that was killed; it proves nothing ({:#})", failure.error)
            }
        };
        say(&format!("railproof: {part} {told}"));
    }
}

fn kept(left: RunFolder, record: &Record, clock: &ComputerClock, key: Option<&BenchKey>) -> String {
    let began = &record.run.started;
    match keep(left, record, clock, key) {
        Ok(kept) => format!(
            "was left by a run that began {began} and was broken off; what it saw is kept as invalid in {}",
            kept.home.display()
        ),
        Err(failure) => {
            format!(
                "was left by a run that began {began} and was broken off; it cannot be kept yet: {:#}",
                failure.error
            )
        }
    }
}

/// The record of a run that was broken off.
fn made(left: &RunFolder, begun: Begun, key: Option<&BenchKey>) -> Result<Record, Failure> {
    let input = |role| left.path().join(frozen_name(role));
    let prepared = Prepared::read(&input("plan"), &input("unit"), &input("jig"))?;
    let capture = left.path().join(FolderEvidence::FILE);
    let ended = last_written(&capture);
    let judging = judge::replayed(&prepared, OpenCapture::open(&capture, &[])?)?;
    let took_s = judging.took_s();
    let outcome = judging.outcome(Ending {
        why_not: "the run was broken off".into(),
        invalid_because: vec![BROKEN_OFF.into()],
        interrupted: false,
        took_s,
    });
    let ended = ended.map_or_else(|| begun.run.started.clone(), show::rfc3339);
    let header = Header {
        run: stored::RunFacts { ended, took_s, ..begun.run },
        unit: begun.unit,
        bench: stored::BenchFacts { key: key.map(|key| key.public().fingerprint()), ..begun.bench },
        inputs: prepared.input_facts(),
        warnings: Vec::new(),
    };
    Ok(record::record(&prepared.plan, &outcome, header))
}

/// When the evidence ends, by the disk.
fn last_written(capture: &Path) -> Option<WallTime> {
    std::fs::metadata(capture).ok()?.modified().ok().map(WallTime::from)
}
