//! Many benches bring their runs at once while the server is restarted: nothing is lost, nothing is there twice.
//!
//! `RAILPROOF_RUNS` says how many runs each of the benches has.

#[path = "common/postgres.rs"]
mod postgres_server;

use postgres_server::sealed_bench::SealedBench;
use postgres_server::{OWNER, Shared};
use railproof::clock::{Clock, ComputerClock};
use railproof::record::seal::{DIGESTS, Head, SEAL, Seal, SealedFile, Sealing, digest, manifest};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Child;
use std::time::Duration;

const BENCHES: usize = 16;

/// A run as a bench leaves it, made anew for other serial numbers and ids. Real runs would take hours.
struct Template {
    record: String,
    files: Vec<(String, Vec<u8>)>,
    id: String,
}

impl Template {
    fn new() -> Self {
        let bench = SealedBench::new();
        let folder = bench.run("SM-0001");
        let id = folder.file_name().and_then(|name| name.to_str()).expect("an id").to_owned();
        let read = |name: &str| fs::read(folder.join(name)).expect("it is there");
        let mut record: serde_json::Value = serde_json::from_slice(&read("record.json")).expect("JSON");
        // Curves and step clocks are most of a record and none of what is asked of a store.
        record["curves"] = serde_json::json!({});
        let files = ["junit.xml", "inputs/plan.yaml", "captures/run.capture"];
        let files = files.into_iter().map(|name| (name.to_owned(), read(name))).collect();
        Self { record: record.to_string(), files, id }
    }

    /// Puts a sealed run into a results folder; the bench's head with it.
    fn seal(&self, results: &Path, serial: &str, id: &str, head: Option<&Head>, by: &Sealing<'_>) -> Head {
        let record = self.record.replace(&self.id, id).replace("\"SM-0001\"", &format!("\"{serial}\""));
        let record = ("record.json".to_owned(), record.into_bytes());
        let mut files: Vec<(String, Vec<u8>)> = self.files.iter().cloned().chain([record]).collect();
        files.sort();
        let sealed = files.iter().map(|(file, bytes)| SealedFile {
            file: file.clone(),
            bytes: bytes.len() as u64,
            sha256: digest(bytes),
        });
        let seal = Seal::next(serial, id, sealed.collect(), head, by);
        let text = seal.to_text();
        let list = manifest(&seal.digests(text.as_bytes()));
        files.extend([(SEAL.to_owned(), text.into_bytes()), (DIGESTS.to_owned(), list.clone().into_bytes())]);
        let folder = results.join(serial).join(id);
        for (name, bytes) in files {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("it can be made");
            fs::write(path, bytes).expect("it can be written");
        }
        seal.head(list.as_bytes())
    }
}

/// A bench with its runs.
struct Bench {
    name: String,
    home: SealedBench,
    head: Option<Head>,
    /// Heads by run id.
    runs: BTreeMap<String, String>,
}

impl Bench {
    /// So many more runs, three to a unit.
    fn work(&mut self, template: &Template, number: usize, runs: usize) {
        let clock = ComputerClock::new();
        let by = Sealing { bench: &self.name, key: None, clock: &clock, clock_uncertainty: None };
        for _ in 0..runs {
            let run = self.runs.len();
            let (serial, id) = (
                format!("SM-{number:02}{:05}", run / 3),
                format!("0198f2a4-6c10-7d3e-{:04x}-{run:012}", 0x9000 + number),
            );
            let head = template.seal(&self.home.results(), &serial, &id, self.head.as_ref(), &by);
            self.runs.insert(id, head.link.digest.clone());
            self.head = Some(head);
        }
    }

    fn syncing(&self, address: &str) -> Child {
        self.home.railproof(&["sync", "--to", address, "--format", "json"]).spawn().expect("the binary runs")
    }
}

fn stored(shared: &Shared) -> BTreeMap<String, String> {
    let query = "SELECT run.folder, seal.head FROM run JOIN seal ON seal.run = run.id";
    let rows = shared.client(OWNER).query(query, &[]).expect("it answers");
    let found: BTreeMap<String, String> = rows.iter().map(|row| (row.get(0), row.get(1))).collect();
    assert_eq!(found.len(), rows.len(), "no run is there twice");
    found
}

/// Has all benches bring their runs at once, and restarts the server whenever a third more of them is there: the second time
/// without a word of warning.
fn all_at_once(shared: &Shared, benches: &[Bench]) {
    let there = shared.count("run");
    let more = benches.iter().map(|bench| bench.runs.len() as i64).sum::<i64>() - there;
    let syncing: Vec<Child> = benches.iter().map(|bench| bench.syncing(&shared.address(&bench.name))).collect();
    for (share, how) in [(1, "fast"), (2, "immediate")] {
        while shared.count("run") < there + more * share / 3 {
            let clock = ComputerClock::new();
            clock.sleep_until(clock.now().after(Duration::from_millis(5)));
        }
        shared.0.control(&["restart", "-m", how]);
    }
    for bench in syncing {
        let output = bench.wait_with_output().expect("it ends");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{}{told}", String::from_utf8_lossy(&output.stdout));
    }
}

#[test]
fn sixteen_benches_at_once_while_the_server_is_restarted_leave_the_exact_union() {
    let names: Vec<String> = (1..=BENCHES).map(|number| format!("bench-{number}")).collect();
    let Some(shared) = Shared::new(&names.iter().map(String::as_str).collect::<Vec<_>>()) else { return };
    let each = std::env::var("RAILPROOF_RUNS").map_or(12, |text| text.parse().expect("a number"));
    let template = Template::new();
    let bench = |name: String| Bench { name, home: SealedBench::new(), head: None, runs: BTreeMap::new() };
    let mut benches: Vec<Bench> = names.into_iter().map(bench).collect();
    // What a bench has, then what it did in a week without a network.
    for runs in [each - each / 3, each / 3] {
        std::thread::scope(|scope| {
            for (number, bench) in benches.iter_mut().enumerate() {
                let template = &template;
                scope.spawn(move || bench.work(template, number, runs));
            }
        });
        let (clock, before) = (ComputerClock::new(), shared.count("run"));
        let began = clock.now();
        all_at_once(&shared, &benches);
        let took = clock.now().since(began).as_secs_f64();
        let union: BTreeMap<String, String> = benches.iter().flat_map(|bench| bench.runs.clone()).collect();
        let found = stored(&shared);
        assert!(found == union, "{} of {} runs are there", found.len(), union.len());
        let brought = found.len() as i64 - before;
        println!("{brought} runs of {BENCHES} benches in {took:.1} s, {:.0} a second", brought as f64 / took);
    }
    // Whole: every run with all its files and values, every content once.
    let runs = (BENCHES * each) as i64;
    let of_first: i64 = shared
        .client(OWNER)
        .query_one("SELECT count(*) FROM value WHERE run = (SELECT min(id) FROM run)", &[])
        .expect("it answers")
        .get(0);
    assert_eq!((shared.count("file"), shared.count("value")), (runs * 6, runs * of_first));
    let whole =
        "SELECT count(*) FROM file JOIN content ON content.sha256 = file.sha256 AND length(content.bytes) = file.bytes";
    let whole: i64 = shared.client(OWNER).query_one(whole, &[]).expect("it answers").get(0);
    assert_eq!(whole, runs * 5, "all but the captures");
    let again = benches[0].syncing(&shared.address("bench-1")).wait_with_output().expect("it ends");
    let again: serde_json::Value = serde_json::from_slice(&again.stdout).expect("JSON");
    assert_eq!((&again["brought"], &again["there_already"]), (&0.into(), &each.into()), "{again}");
}
