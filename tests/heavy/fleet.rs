//! Fills an index with the runs of a fleet that never was, for what reads a whole fleet:
//!
//!     cargo run --release --example fleet -- RESULTS RUNS
//!
//! The runs are simulated ones, by random draws. Their units have folders, which the index has seen and need not look into
//! again; there are no records in them.

use railproof::record::Index;
use railproof::record::index::{FILE, Facts};
use railproof::record::stored::{Origin, Part, Verdict};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::error::Error;
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use time::{Duration, OffsetDateTime};

/// Runs that are taken in at once.
const BATCH: usize = 1000;
/// Values of each check that are kept of the record that all are drawn after.
const VALUES: usize = 3;
/// A value's limit lies so many standard deviations off.
const SIGMAS: f64 = 3.0;
/// A new unit comes to the bench every so often.
const EVERY: Duration = Duration::minutes(5);
/// A unit that did not pass comes again after so long, at most so often.
const AGAIN: (Duration, u32) = (Duration::hours(30), 2);

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(results), Some(runs)) = (arguments.next(), arguments.next()) else {
        return Err("fleet RESULTS RUNS".into());
    };
    let (results, runs) = (Path::new(&results), runs.parse::<usize>()?);
    fs::create_dir_all(results)?;
    let mut first = Facts::parse(&fs::read("tests/data/records/conforms-2.json")?)?;
    first.checks.iter_mut().for_each(|check| check.values.truncate(VALUES));
    let mut fleet = Fleet { first, chance: Xoshiro256PlusPlus::seed_from_u64(7), made: 0 };
    let mut index = Index::open(results)?;
    let mut batch = Vec::with_capacity(BATCH);
    for unit in 0.. {
        for earlier in 0..=AGAIN.1 {
            if fleet.made == runs {
                break;
            }
            batch.push(fleet.run(unit, earlier));
            if batch.last().is_some_and(|facts| facts.run.decision == Verdict::Conforms) {
                break;
            }
        }
        if batch.len() >= BATCH || fleet.made == runs {
            index.take_in(&batch)?;
            batch.clear();
        }
        if fleet.made == runs {
            break;
        }
    }
    drop(index);
    seen(results)
}

struct Fleet {
    first: Facts,
    chance: Xoshiro256PlusPlus,
    made: usize,
}

impl Fleet {
    /// A run of a unit, after so many others.
    fn run(&mut self, unit: usize, earlier: u32) -> Facts {
        let mut facts = self.first.clone();
        let began = time::macros::datetime!(2026-01-01 00:00 UTC) + EVERY * unit as f64 + AGAIN.0 * f64::from(earlier);
        self.known(&mut facts, unit, began);
        for check in &mut facts.checks {
            for value in &mut check.values {
                let deviation: f64 = StandardNormal.sample(&mut self.chance);
                value.decision = Verdict::Conforms;
                let Some((number, _)) = value.measured.as_mut().filter(|(_, doubt)| *doubt > 0.0) else { continue };
                let room = [value.lower, value.upper].into_iter().flatten().map(|limit| (limit - *number).abs());
                *number += deviation * room.fold(f64::INFINITY, f64::min).min(1e9) / SIGMAS;
                let is_above = value.lower.is_none_or(|lower| *number >= lower);
                if !(is_above && value.upper.is_none_or(|upper| *number <= upper)) {
                    value.decision = Verdict::DoesNotConform;
                }
                if self.chance.random_ratio(1, 2000) {
                    (value.measured, value.decision) = (None, Verdict::Undecided);
                }
            }
            check.decision = worst(check.values.iter().map(|value| value.decision));
        }
        facts.run.decision = worst(facts.checks.iter().map(|check| check.decision));
        facts
    }

    fn known(&mut self, facts: &mut Facts, unit: usize, began: OffsetDateTime) {
        let run = &mut facts.run;
        run.serial = format!("SM-{unit:06}");
        run.id = format!("0198f2a4-6c10-7d3e-9b51-{:012x}", self.made);
        (run.started, run.ended) = (began, began + Duration::minutes(4));
        (run.origin, run.is_simulated) = (Origin::Simulated, true);
        run.model = if unit % 4 == 3 { "plover-400" } else { "dunlin-600" }.into();
        run.firmware = Some(if began.month() as u8 > 6 { "1.5.0" } else { "1.4.0" }.into());
        let lot = format!("L{:02}", began.iso_week());
        run.parts = vec![Part { name: "belt".into(), lot, carried_on_from: None }];
        self.made += 1;
    }
}

fn worst(decisions: impl Iterator<Item = Verdict>) -> Verdict {
    decisions.max().unwrap_or(Verdict::Conforms)
}

/// Makes the units' folders, and notes in the index that it has seen them.
fn seen(results: &Path) -> Result<(), Box<dyn Error>> {
    let mut index = rusqlite::Connection::open(results.join(FILE))?;
    let serials: Vec<String> =
        index.prepare("SELECT text FROM serial")?.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
    let within = index.transaction()?;
    for serial in &serials {
        let folder = results.join(serial);
        fs::create_dir_all(&folder)?;
        let found = fs::metadata(&folder)?;
        let changed = found.mtime() * 1_000_000_000 + found.mtime_nsec();
        within.execute("UPDATE serial SET listed = ?2 WHERE text = ?1", rusqlite::params![serial, changed])?;
    }
    within.commit()?;
    println!("{} units", serials.len());
    Ok(())
}
