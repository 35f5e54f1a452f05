//! `railproof dispatch` and `railproof receive` as a user meets them: a unit leaves and comes back once each time, on a
//! record that lets it, and what happened is on the disk.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

fn railproof(results: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.args(arguments).arg("--results").arg(results).env_remove("RAILPROOF_OPERATOR");
    command
}

fn told(results: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let Output { status, stdout, stderr } = railproof(results, arguments).output().expect("the binary runs");
    (status.code(), String::from_utf8_lossy(&[stdout, stderr].concat()).into_owned())
}

/// A run whose record says that it took place on a bench.
fn run(results: &Path, serial: &str, more: &[&str]) {
    let mut run = shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", results, serial);
    run.args(more).output().expect("the binary runs");
    for folder in fs::read_dir(results.join(serial)).expect("a folder").flatten() {
        let path = folder.path().join("record.json");
        let Ok(record) = fs::read_to_string(&path) else { continue };
        let real = record.replace("\"origin\": \"simulated\"", "\"origin\": \"bench\"");
        let real: Vec<&str> = real.lines().filter(|line| !line.trim_start().starts_with("\"seed\"")).collect();
        fs::write(&path, real.join("\n")).expect("it can be written");
    }
    fs::remove_file(results.join(".index.sqlite")).expect("it can be removed");
}

fn history(results: &Path) -> Value {
    let output = railproof(results, &["history", "SM-0001", "--format", "json"]).output().expect("the binary runs");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn a_unit_leaves_comes_back_and_leaves_again() {
    let results = TempDir::new().expect("a folder");
    let results = results.path();
    run(results, "SM-0001", &["--part", "belt=L2207"]);
    let (exit, said) = told(results, &["dispatch", "SM-0001", "--note", "order 17", "--operator", "ML"]);
    assert!(exit == Some(0) && said.starts_with("SM-0001 is dispatched, as-shipped record "), "{said}");
    let shipped = history(results);
    assert_eq!((&shipped["stands"], &shipped["as_shipped"]), (&"shipped".into(), &shipped["entries"][0]["run"]));

    let (exit, said) = told(results, &["dispatch", "SM-0001", "--because", "again"]);
    assert!(exit == Some(2) && said.contains("railproof receive"), "{said}");
    let (exit, said) = told(results, &["receive", "SM-0001", "--complaint", "it whines at 40 mm/s"]);
    assert!(exit == Some(0) && said.contains("it was shipped on record "), "{said}");
    let (exit, said) = told(results, &["receive", "SM-0001", "--complaint", "twice"]);
    assert!(exit == Some(2) && said.contains("was returned before"), "{said}");

    run(results, "SM-0001", &["--fault", "dead-end-stop-right"]);
    let (exit, said) = told(results, &["dispatch", "SM-0001"]);
    assert!(
        exit == Some(1) && said.contains("does not conform; repair and test it") && said.contains("--because"),
        "{said}"
    );
    run(results, "SM-0001", &["--part", "belt=L2301"]);
    assert_eq!(told(results, &["dispatch", "SM-0001"]).0, Some(0));

    let all = history(results);
    let entries = all["entries"].as_array().expect("entries");
    let kinds: Vec<&str> =
        entries.iter().filter_map(|entry| entry["kind"].as_str().or(entry["event"].as_str())).collect();
    assert_eq!(kinds, ["first", "dispatched", "received", "repeat", "rework", "dispatched"]);
    assert_eq!(all["as_shipped"], entries[4]["run"]);
    assert_eq!(entries[1]["by"], "ML");
    let said = told(results, &["history", "SM-0001"]).1;
    for words in [
        "SM-0001, dunlin-600: shipped on ",
        "as shipped: record ",
        "→ dispatched",
        "← returned",
        "complaint: it whines",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
}

/// Whatever was complained of stands in no record, report or certificate.
#[test]
fn a_complaint_stands_in_the_events_alone() {
    let results = TempDir::new().expect("a folder");
    let results = results.path();
    run(results, "SM-0001", &[]);
    told(results, &["dispatch", "SM-0001"]);
    told(results, &["receive", "SM-0001", "--complaint", "SECRET-COMPLAINT"]);
    run(results, "SM-0001", &[]);
    let mut files = vec![results.to_owned()];
    let mut holding = Vec::new();
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(fs::read_dir(&path).expect("a folder").flatten().map(|entry| entry.path()));
        } else if String::from_utf8_lossy(&fs::read(&path).expect("a file")).contains("SECRET-COMPLAINT") {
            holding.push(path);
        }
    }
    assert_eq!(holding, [results.join("SM-0001/events.jsonl")]);
}

#[test]
fn what_proves_nothing_lets_no_unit_go_without_a_reason() {
    let results = TempDir::new().expect("a folder");
    let results = results.path();
    let mut simulated = shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", results, "SM-0001");
    simulated.output().expect("the binary runs");
    let (exit, said) = told(results, &["dispatch", "SM-0001"]);
    assert!(exit == Some(4) && said.contains("certify nothing"), "{said}");
    assert_eq!(history(results)["stands"], "on the shelf");
    let (exit, said) = told(results, &["dispatch", "SM-0001", "--because", "shown at a fair"]);
    assert!(exit == Some(0) && said.contains("certify nothing"), "{said}");
    assert!(told(results, &["history", "SM-0001"]).1.contains("simulated: it certifies nothing"));

    for command in [&["dispatch", "SM-0777"][..], &["receive", "SM-0777", "--complaint", "none"]] {
        let (exit, said) = told(results, command);
        assert!(exit == Some(2) && said.contains("there are no runs of SM-0777"), "{said}");
        assert!(!results.join("SM-0777").exists());
    }
    let old = ["receive", "SM-0777", "--complaint", "none", "--because", "sold before records were kept"];
    assert_eq!(told(results, &old).0, Some(0));
    let (exit, said) = told(results, &["receive", "SM-0001", "--complaint", "", "--note", "unsold"]);
    assert_eq!(exit, Some(0), "{said}");
    assert_eq!(told(results, &["dispatch", "../SM-0001"]).0, Some(2));
}

/// Of several who dispatch a unit at the same time, one does.
#[test]
fn a_unit_leaves_once_however_many_send_it() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &[]);
    let started: Vec<_> = (0..6)
        .map(|_| {
            let mut command = railproof(results.path(), &["dispatch", "SM-0001"]);
            command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it starts")
        })
        .collect();
    let exits: Vec<_> = started.into_iter().map(|mut child| child.wait().expect("it ends").code()).collect();
    assert_eq!(exits.iter().filter(|exit| **exit == Some(0)).count(), 1, "{exits:?}");
    assert_eq!(exits.iter().filter(|exit| **exit == Some(2)).count(), 5, "{exits:?}");
    assert_eq!(history(results.path())["entries"].as_array().map(Vec::len), Some(2));
}

#[test]
fn a_torn_event_is_told_and_events_that_cannot_be_written_are_none() {
    let results = TempDir::new().expect("a folder");
    let results = results.path();
    run(results, "SM-0001", &[]);
    told(results, &["dispatch", "SM-0001"]);
    let path = results.join("SM-0001/events.jsonl");
    let whole = fs::read_to_string(&path).expect("it is there");
    fs::write(&path, &whole[..whole.len() / 2]).expect("it can be written");
    let (exit, said) = told(results, &["history", "SM-0001"]);
    assert!(exit == Some(0) && said.contains("events.jsonl:1: the line is torn"), "{said}");
    assert_eq!(told(results, &["dispatch", "SM-0001"]).0, Some(0));
    assert_eq!(history(results)["entries"].as_array().map(Vec::len), Some(2));

    fs::remove_file(&path).expect("it can be removed");
    fs::create_dir(&path).expect("it can be made");
    let (exit, said) = told(results, &["dispatch", "SM-0001"]);
    assert!(exit == Some(5) && said.contains("events.jsonl: it is no file"), "{said}");
}
