//! The index of the records: how fast it is made, how large it is, and how soon a history is told.
//!
//! `RAILPROOF_RUNS` runs of 114 values are put into an index directly, since a million folders would measure the disk
//! alone; `RAILPROOF_FOLDERS` records are written into folders, and the index is made anew from them.

use divan::Bencher;
use railproof::record::history::History;
use railproof::record::index::{FILE, Facts};
use railproof::record::{Answers, Index};
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;
use tempfile::TempDir;

/// Kept records of an outgoing run: as they are written now, and of the first format, half as long.
const RECORDS: [(&str, &str); 2] =
    [("format 2", "tests/data/records/conforms-2.json"), ("format 1", "tests/data/records/conforms-1.json")];
/// Runs that are taken in at once.
const BATCH: usize = 1000;
/// Serial numbers whose folders are there.
const ASKED: usize = 20;

fn main() {
    let (_, runs, values) = indexed();
    println!("{runs} runs, {values} values in the index");
    for (name, file) in RECORDS {
        made_anew_from_folders(name, file);
    }
    divan::main();
}

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

fn template(file: &str) -> Vec<u8> {
    std::fs::read(file).expect("a kept record")
}

/// Three runs to two units.
fn serial(run: usize) -> String {
    format!("SM-{:07}", run * 2 / 3)
}

fn id(run: usize) -> String {
    format!("0198f2a4-6c10-7d3e-9b51-{run:012}")
}

/// An index of many runs, with folders for a few of its units.
fn indexed() -> &'static (TempDir, usize, usize) {
    static INDEXED: OnceLock<(TempDir, usize, usize)> = OnceLock::new();
    INDEXED.get_or_init(|| {
        let runs = number("RAILPROOF_RUNS", 20_000);
        let results = TempDir::new().expect("a folder");
        let first = Facts::parse(&template(RECORDS[0].1)).expect("a record");
        let mut index = Index::open(results.path()).expect("it opens");
        let (took, values) = timed(|| {
            let mut values = 0;
            for begin in (0..runs).step_by(BATCH) {
                let batch: Vec<Facts> = (begin..runs.min(begin + BATCH)).map(|run| varied(&first, run)).collect();
                values += batch.iter().flat_map(|facts| &facts.checks).map(|check| check.values.len()).sum::<usize>();
                index.take_in(&batch).expect("it is taken in");
            }
            values
        });
        drop(index);
        let bytes = std::fs::metadata(results.path().join(FILE)).expect("the index").len();
        println!("taken in: {:.0} runs/s, {:.1} bytes a value", runs as f64 / took, bytes as f64 / values as f64);
        for run in asked(runs) {
            std::fs::create_dir_all(results.path().join(serial(run)).join(id(run))).expect("a folder");
            let record = results.path().join(serial(run)).join(id(run)).join("record.json");
            std::fs::write(record, "known").expect("it can be written");
        }
        (results, runs, values)
    })
}

/// All runs of a few units, spread over the whole.
fn asked(runs: usize) -> Vec<usize> {
    let units = (0..ASKED).map(move |unit| unit * (runs / ASKED) / 3 * 3);
    units.flat_map(|run| run..run + 3).filter(|run| *run < runs).collect()
}

/// The record of another unit: no two values are the same, but names and limits are.
fn varied(first: &Facts, run: usize) -> Facts {
    let mut facts = first.clone();
    (facts.run.serial, facts.run.id) = (serial(run), id(run));
    facts.run.started += Duration::from_secs(60 * run as u64);
    for (place, value) in facts.checks.iter_mut().flat_map(|check| &mut check.values).enumerate() {
        // The golden section's multiples spread evenly.
        let spread = ((run * 131 + place) as f64 * 0.618_034).fract() - 0.5;
        if let Some((number, doubt)) = value.measured.as_mut().filter(|(_, doubt)| *doubt > 0.0) {
            *number += *doubt * spread;
            *doubt *= 1.0 + 0.01 * spread;
        }
    }
    facts
}

fn made_anew_from_folders(name: &str, file: &str) {
    let folders = number("RAILPROOF_FOLDERS", 300);
    let results = TempDir::new().expect("a folder");
    let record = String::from_utf8(template(file)).expect("JSON");
    let first = Facts::parse(record.as_bytes()).expect("a record");
    for run in 0..folders {
        let folder = results.path().join(serial(run)).join(id(run));
        std::fs::create_dir_all(&folder).expect("a folder");
        let record = record
            .replace(&first.run.id, &id(run))
            .replace("\"serial\": \"SM-0001\"", &format!("\"serial\": \"{}\"", serial(run)));
        std::fs::write(folder.join("record.json"), record).expect("it can be written");
    }
    let mut index = Index::open(results.path()).expect("it opens");
    let (took, runs) = timed(|| index.rebuild().expect("it is rebuilt"));
    assert_eq!((runs, index.told()), (folders as u64, Vec::new()));
    let megabytes = record.len() as f64 * folders as f64 / 1e6;
    println!("made anew from folders, {name}: {:.0} runs/s, {:.0} MB/s", folders as f64 / took, megabytes / took);
}

#[expect(clippy::disallowed_methods, reason = "a benchmark's own clock")]
fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let began = std::time::Instant::now();
    let done = work();
    (began.elapsed().as_secs_f64(), done)
}

fn history_of(results: &Path, index: &mut Index, serial: &str) -> History {
    let runs = index.runs_of(serial).expect("it answers");
    let events = railproof::record::events::read(results, serial).expect("it can be read").lines;
    History::of(serial, runs, events)
}

/// The history of a unit, by an index that is open.
#[divan::bench(sample_count = 100)]
fn history(bencher: Bencher) {
    let (results, runs, _) = indexed();
    let mut index = Index::open(results.path()).expect("it opens");
    let mut units = asked(*runs).into_iter().cycle();
    bencher.bench_local(|| {
        let told = history_of(results.path(), &mut index, &serial(units.next().expect("a unit")));
        assert!(!told.entries.is_empty());
    });
}

/// The same with opening the index, as the command does.
#[divan::bench(sample_count = 100)]
fn index_opened_and_history(bencher: Bencher) {
    let (results, runs, _) = indexed();
    let mut units = asked(*runs).into_iter().cycle();
    bencher.bench_local(|| {
        let mut index = Index::open(results.path()).expect("it opens");
        let told = history_of(results.path(), &mut index, &serial(units.next().expect("a unit")));
        assert!(!told.entries.is_empty());
    });
}
