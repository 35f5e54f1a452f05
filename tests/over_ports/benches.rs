//! Several benches on one computer: they work side by side into one results folder, one program at a time drives each, and a
//! jig is checked on the ports that it is served on.

use super::served::{JIG, Process, Served, plugged};
use super::shipped::{self, project};
use assert_cmd::cargo::cargo_bin;
use railproof::clock::ComputerClock;
use railproof::port::{Port, Pty};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

const PLAN: &str = "test-plans/quick.yaml";
const SERIALS: [&str; 4] = ["SM-0001", "SM-0002", "SM-0003", "SM-0004"];

fn railproof(arguments: &[&str]) -> Command {
    let mut command = Command::new(cargo_bin("railproof"));
    command.args(arguments);
    command
}

/// What a command says of a results folder.
fn ask(arguments: &[&str], results: &Path) -> Output {
    railproof(arguments).arg(results).output().expect("the binary runs")
}

#[test]
fn benches_at_once_keep_their_records_in_one_folder() {
    let mut benches = vec![Served::start(&["--scale", "2", "--seed", "1", "--serial", SERIALS[0]])];
    benches.extend((2..).zip(&SERIALS[1..]).map(|(seed, serial): (u64, _)| {
        Served::beside(&["--scale", "2", "--seed", &seed.to_string(), "--serial", serial])
    }));
    let here = &benches[0];
    let mut left: Vec<(&Served, &str)> = benches.iter().zip(SERIALS).collect();
    let mut count = 0;
    for asked in 1..=3 {
        let mut runs: Vec<Process> =
            left.iter().map(|(bench, serial)| bench.run_into(here.folder.path(), serial, PLAN)).collect();
        for (bench, _) in &left {
            bench.simulate.await_words("unit supply on");
        }
        let at_once = runs.iter_mut().all(|run| matches!(run.child.try_wait(), Ok(None)));
        let statuses: Vec<_> = runs.iter_mut().map(|run| run.wait().code()).collect();
        count += runs.len();
        for (_, serial) in &left {
            let records = here.records_of(serial);
            assert_eq!(records.len(), asked, "each run leaves its record");
            assert!(records.iter().all(|record| record.unit.serial == *serial));
        }
        // Held up, a run is rightly invalid, and its bench is asked again.
        let rightly = statuses.iter().all(|status| matches!(status, Some(0 | 4)));
        assert!(rightly, "{statuses:?}\n{}", here.faulted(&SERIALS));
        assert!(at_once || statuses.contains(&Some(4)), "all of them ran at once");
        let mut conformed = statuses.iter().map(|status| *status == Some(0));
        left.retain(|_| conformed.next() != Some(true));
        if left.is_empty() {
            break;
        }
        println!("asked again, since the benches were held up: {statuses:?}");
    }
    assert!(left.is_empty(), "the benches were held up three times");

    // One chain of seals without a gap, and one index that knows them all.
    let results = here.folder.path().join("results");
    let verified = ask(&["verify", "--format", "json"], &results);
    assert_eq!(verified.status.code(), Some(0), "{}", String::from_utf8_lossy(&verified.stdout));
    let found = ask(&["find", "--format", "json", "--results"], &results);
    let found: Value = serde_json::from_slice(&found.stdout).expect("JSON");
    assert_eq!(found["found"].as_array().map(Vec::len), Some(count), "{found}");
}

#[test]
fn a_bench_that_is_in_use_is_refused_and_its_run_goes_on_undisturbed() {
    let served = Served::start(&["--scale", "3"]);
    let other = Served::beside(&["--scale", "3"]);
    let mut first = served.run(PLAN);
    served.simulate.await_words("unit supply on");
    // Neither its board nor its unit may be shared, and no other command may drive it either.
    let free = Pty::open(ComputerClock::new()).expect("a pty");
    let run = || shipped::run(PLAN, JIG, &served.folder.path().join("results"), "SM-0001");
    for (mut command, unit, board) in [
        (run(), served.unit(), served.board()),
        (run(), free.name().into(), served.board()),
        (run(), served.unit(), other.board()),
        (check(served.folder.path()), served.unit(), served.board()),
    ] {
        let mut second = Process::start(plugged(&mut command, &unit, &board));
        second.await_words("close the program that uses it");
        assert_eq!(second.wait().code(), Some(4));
    }
    // Held up, it would be invalid; disturbed, it would not conform.
    assert!(matches!(first.wait().code(), Some(0 | 4)));
    let records = served.records();
    assert_eq!(records.len(), 1, "the refused runs leave no record");
    let held_up = records[0].invalid_because.iter().all(|why| !why.contains("unplugged") && !why.contains("garbled"));
    assert!(held_up, "{:?}", records[0].invalid_because);
}

fn check(folder: &Path) -> Command {
    let mut command = railproof(&["jig", "check", "--confirmed", "--format", "json"]);
    command.arg("--jig").arg(project(JIG)).arg("--unit").arg(project("fixtures/units/dunlin-600.yaml"));
    command.arg("--results").arg(folder.join("results"));
    command
}

/// What the check says of the jig that is served from a folder, and its exit status. On a computer that is held up evidence is
/// lost, or the clocks are known too badly: it is asked again then.
fn checked(folder: &Path) -> (Option<i32>, Value) {
    for _ in 0..3 {
        let mut command = check(folder);
        let output =
            plugged(&mut command, &folder.join("unit"), &folder.join("board")).output().expect("the binary runs");
        match output.status.code() {
            Some(3 | 4) => println!("asked again: {}", String::from_utf8_lossy(&output.stderr)),
            status => return (status, serde_json::from_slice(&output.stdout).expect("JSON")),
        }
    }
    panic!("the bench was held up three times");
}

/// Channels by their decision.
fn by_decision<'c>(checked: &'c Value, decision: &str) -> Vec<&'c str> {
    let findings = checked["findings"].as_array().expect("findings").iter();
    findings.filter(|found| found["decision"] == decision).filter_map(|found| found["channel"].as_str()).collect()
}

#[test]
fn a_jig_is_checked_over_its_ports_and_its_fault_named() {
    let sound = Served::start(&["--scale", "8"]);
    let drifted = Served::beside(&["--scale", "8", "--fault", "drifted-gain"]);
    let [(status, fine), (drifted_status, drifted)] = std::thread::scope(|scope| {
        let folders = [&sound, &drifted].map(|served| served.folder.path());
        folders.map(|folder| scope.spawn(|| checked(folder))).map(|one| one.join().expect("it ends"))
    });
    assert_eq!(status, Some(0), "{fine}");
    let conform = by_decision(&fine, "conforms");
    assert_eq!(
        conform.len() + 1,
        fine["findings"].as_array().map_or(0, Vec::len),
        "all but the reference unit: {fine}"
    );
    for channel in ["clock", "left end stop", "right end stop", "pack voltage", "pack current"] {
        assert!(conform.contains(&channel), "{channel}: {fine}");
    }
    assert_eq!(fine["simulated"], true, "a served world is none the less simulated");
    assert_eq!(
        (drifted_status, by_decision(&drifted, "does not conform")),
        (Some(1), vec!["pack voltage"]),
        "{drifted}"
    );
}
