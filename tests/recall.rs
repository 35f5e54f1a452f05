//! `railproof recall` and the parts that runs are told: which units carry a lot, however it was told and whatever was
//! reworked since.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use railproof::record::Record;
use serde_json::Value;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

fn run_of(results: &Path, serial: &str) -> Command {
    shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", results, serial)
}

/// The parts in the record of a run: name, lot, and whether they were carried on.
fn parts(output: &Output) -> Vec<(String, String, bool)> {
    let record: Record = serde_json::from_slice(&output.stdout).expect("the record is printed");
    let parts = record.unit.parts.into_iter();
    parts.map(|part| (part.name, part.lot, part.carried_on_from.is_some())).collect()
}

fn run(results: &Path, serial: &str, more: &[&str]) -> Vec<(String, String, bool)> {
    parts(&run_of(results, serial).args(more).output().expect("the binary runs"))
}

fn part(name: &str, lot: &str, is_carried_on: bool) -> (String, String, bool) {
    (name.into(), lot.into(), is_carried_on)
}

fn railproof(results: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    let output = command.args(arguments).arg("--results").arg(results).output().expect("the binary runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn recall(results: &Path, part: &str) -> Vec<Value> {
    let (exit, said, told) = railproof(results, &["recall", "--part", part, "--format", "json"]);
    assert_eq!((exit, &*told), (Some(0), ""));
    let recalled: Value = serde_json::from_str(&said).expect("JSON");
    recalled["units"].as_array().expect("a list").clone()
}

#[test]
fn parts_are_told_in_a_file_scanned_or_typed_and_carry_on() {
    let folder = TempDir::new().expect("a folder");
    let results = folder.path().join("results");
    let file = folder.path().join("parts.csv");
    fs::write(&file, "kind,lot\nbelt,L2207\npack,P-0311\n").expect("it can be written");
    let file = file.to_str().expect("a path");
    let told = run(&results, "SM-0001", &["--parts", file, "--part", "pack=P-0400"]);
    assert_eq!(told, [part("belt", "L2207", false), part("pack", "P-0400", false)]);
    assert_eq!(run(&results, "SM-0001", &[]), [part("belt", "L2207", true), part("pack", "P-0400", true)]);

    let mut scanned = run_of(&results, "SM-0001");
    let mut scanned =
        scanned.args(["--parts", "-"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("it starts");
    scanned.stdin.take().expect("a pipe").write_all(b"belt=L2301\n").expect("it is read");
    let told = parts(&scanned.wait_with_output().expect("it ends"));
    assert_eq!(told, [part("belt", "L2301", false), part("pack", "P-0400", true)]);
    assert_eq!(run(&results, "SM-0002", &[]), []);

    let said = railproof(&results, &["history", "SM-0001"]).1.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("as built: belt L2301, pack P-0400") && said.contains("belt L2207 → L2301"), "{said}");
    for (wrong, says) in [("belt\n", "parts.csv:1: this is no part"), ("a=1\na=2\n", "parts.csv:2: `a` is told twice")]
    {
        fs::write(file, wrong).expect("it can be written");
        let output = run_of(&results, "SM-0003").args(["--parts", file]).output().expect("the binary runs");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(5) && told.contains(says), "{told}");
    }
    assert!(!results.join("SM-0003").exists());
}

/// What is carried on is marked on the sheet too.
#[test]
fn a_sheet_says_what_was_carried_on() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &["--part", "belt=L2207"]);
    let output = run_of(results.path(), "SM-0001").output().expect("the binary runs");
    let record: Record = serde_json::from_slice(&output.stdout).expect("a record");
    let sheet = results.path().join("SM-0001").join(&record.run.id).join("certificate.html");
    let sheet = fs::read_to_string(sheet).expect("a certificate");
    assert!(sheet.contains("belt L2207 (carried on)"), "{sheet}");
}

#[test]
fn every_unit_that_carries_a_lot_is_recalled_with_where_it_is() {
    let results = TempDir::new().expect("a folder");
    let results = results.path();
    let faulty = ["--fault", "loose-belt"];
    run(results, "SM-0001", &["--part", "belt=L2207"]);
    run(results, "SM-0002", &[&["--part", "belt=L2207"][..], &faulty].concat());
    run(results, "SM-0003", &["--part", "belt=L2207"]);
    run(results, "SM-0003", &["--part", "belt=L2301"]);
    run(results, "SM-0004", &["--part", "belt=L2301", "--part", "spare belt=L2207"]);
    run(results, "SM-0005", &["--part", "belt=L2207"]);
    run(results, "SM-0005", &[]);
    for serial in ["SM-0001", "SM-0005"] {
        railproof(results, &["dispatch", serial, "--because", "shown at a fair"]);
    }
    railproof(results, &["receive", "SM-0005", "--complaint", "it slips"]);

    let units = recall(results, "belt=L2207");
    let told: Vec<_> = units
        .iter()
        .map(|unit| {
            (
                unit["serial"].as_str().expect("one"),
                unit["carries_it"] == true,
                unit["stands"].as_str().expect("a word"),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("SM-0001", true, "shipped"),
            ("SM-0002", true, "on the shelf"),
            ("SM-0003", false, "on the shelf"),
            ("SM-0005", true, "returned")
        ]
    );
    assert_eq!(units[2]["replaced_by"], "L2301");
    assert_eq!(units[0]["not_conforming"].as_array().map(Vec::len), Some(0));
    assert_eq!(recall(results, "spare belt=L2207").len(), 1);

    let (_, said, _) = railproof(results, &["recall", "--part", "belt=L2207"]);
    assert!(
        said.starts_with("belt L2207: 3 units carry it, 1 of them shipped; 1 carried it before a rework\n"),
        "{said}"
    );
    assert!(said.contains("has belt L2301 now") && said.contains("returned on "), "{said}");
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");

    let (exit, said, told) = railproof(results, &["recall", "--part", "belt=L2270"]);
    assert!(exit == Some(0) && said.starts_with("belt L2270: 0 units carry it"), "{said}");
    assert!(told.contains("did you mean belt=L2207?"), "{told}");
    assert_eq!(railproof(results, &["recall", "--part", "belt"]).0, Some(2));
}

/// What the last record does not say conforms is told, and where the plan points at the part it says so.
#[test]
fn a_recall_says_what_the_record_says_of_the_part() {
    let results = TempDir::new().expect("a folder");
    let output =
        run_of(results.path(), "SM-0001").args(["--part", "belt=L2207", "--fault", "dead-end-stop-right"]).output();
    let record: Record = serde_json::from_slice(&output.expect("the binary runs").stdout).expect("a record");
    let expected: Vec<(String, String, bool)> = record
        .checks
        .iter()
        .flat_map(|check| {
            let is_of_part = check.if_not.iter().any(|place| place.contains("belt"));
            let short =
                check.requirements.iter().filter(|one| one.decision != railproof::record::stored::Verdict::Conforms);
            short.map(move |one| (check.name.clone(), one.measurand.clone(), is_of_part))
        })
        .collect();
    assert!(!expected.is_empty());
    let units = recall(results.path(), "belt=L2207");
    let told = units[0]["not_conforming"].as_array().expect("a list").iter();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let told: Vec<_> =
        told.map(|one| (text(&one["check"]), text(&one["measurand"]), one["of_the_part"] == true)).collect();
    assert_eq!(told, expected);
}
