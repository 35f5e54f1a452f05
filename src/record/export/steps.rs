//! The step histograms of runs, read from their records: the index does not have them.

use super::super::index::record_bytes;
use hdrhistogram::Histogram;
use hdrhistogram::serialization::Deserializer;
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// A motion's histogram, or one of a phase of it.
pub struct Steps {
    pub check: String,
    pub motion: String,
    pub direction: Option<String>,
    pub phase: String,
    pub histogram: Histogram<u64>,
}

/// The histograms of the records in these folders, in their order, read on all cores.
pub fn of_all(folders: &[PathBuf]) -> Vec<Result<Vec<Steps>, String>> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let share = folders.len().div_ceil(cores).max(1);
    std::thread::scope(|scope| {
        let read = |folders: &'_ [PathBuf]| folders.iter().map(|folder| of_one(folder)).collect::<Vec<_>>();
        let readers: Vec<_> = folders.chunks(share).map(|folders| scope.spawn(move || read(folders))).collect();
        readers.into_iter().flat_map(|reader| reader.join().expect("reading does not panic")).collect()
    })
}

/// Otherwise what is wrong with the record.
fn of_one(folder: &Path) -> Result<Vec<Steps>, String> {
    let record: Record =
        serde_json::from_slice(&record_bytes(&folder.join("record.json"))?).map_err(|error| error.to_string())?;
    let mut found = Vec::new();
    for check in record.checks {
        for clock in check.step_clock {
            for phase in clock.phases {
                let Some(intervals) = phase.intervals else { continue };
                found.push(Steps {
                    check: check.name.clone(),
                    motion: clock.label.clone(),
                    direction: clock.direction.clone(),
                    phase: phase.phase,
                    histogram: decoded(&intervals.hdr)?,
                });
            }
        }
    }
    Ok(found)
}

fn decoded(text: &str) -> Result<Histogram<u64>, String> {
    use base64::Engine;
    let bytes = base64::engine::general_purpose::STANDARD.decode(text).map_err(|error| error.to_string())?;
    let decoded = Deserializer::new().deserialize(&mut &bytes[..]);
    decoded.map_err(|error| format!("a step histogram that cannot be read: {error:?}"))
}

#[derive(Deserialize)]
struct Record {
    checks: Vec<Check>,
}

#[derive(Deserialize)]
struct Check {
    name: String,
    #[serde(default)]
    step_clock: Vec<Clock>,
}

#[derive(Deserialize)]
struct Clock {
    label: String,
    #[serde(default)]
    direction: Option<String>,
    phases: Vec<Phase>,
}

#[derive(Deserialize)]
struct Phase {
    phase: String,
    #[serde(default)]
    intervals: Option<Intervals>,
}

#[derive(Deserialize)]
struct Intervals {
    hdr: String,
}
