//! The jig's logbook through the shipped binary: what runs add to it, notes, and what is said of wear.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "not every test wants all of it")]
mod shipped;

use railproof::capture::file::CaptureReader;
use railproof::care::logbook::Logbook;
use railproof::care::logbook::stored::{Entry, Line, Note, Use};
use railproof::care::{Usage, wear};
use railproof::jig::JigFile;
use railproof::written::Source;
use serde_json::Value;
use shipped::project;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

const SIMULATED: &str = "fixtures/jigs/simulated.yaml";

fn quick(results: &Path, jig: &Path) -> Output {
    let jig = jig.to_str().expect("a plain path");
    let output = shipped::run("test-plans/quick.yaml", jig, results, "SM-0001").output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    output
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn jig_command(what: &str, results: &Path, jig: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    command.args(["jig", what, "--jig"]).arg(jig).arg("--results").arg(results).args(more);
    command.env_remove("RAILPROOF_OPERATOR").output().expect("the binary runs")
}

/// The simulated jig with limits of wear.
fn worn_jig(folder: &Path, wear: &str) -> PathBuf {
    let text = std::fs::read_to_string(project(SIMULATED)).expect("the jig file");
    let path = folder.join("jig.yaml");
    std::fs::write(&path, format!("{text}\nwear: {wear}\n")).expect("written");
    path
}

fn lines(results: &Path) -> Vec<Line> {
    let contents = Logbook::of(results, "simulated bench").expect("a name").read().expect("it can be read");
    assert_eq!(contents.passed_over, [""; 0]);
    contents.lines
}

fn uses(results: &Path) -> Vec<Use> {
    let used = |line: Line| match line.entry {
        Entry::Use(used) => Some(used),
        Entry::Note(_) | Entry::Check(_) => None,
    };
    lines(results).into_iter().filter_map(used).collect()
}

#[test]
fn a_run_enters_what_its_own_capture_says_that_it_cost() {
    let folder = TempDir::new().expect("a folder");
    quick(folder.path(), &project(SIMULATED));
    let [used] = &uses(folder.path())[..] else { panic!("one run") };
    assert!(lines(folder.path())[0].simulated);
    let stored = folder.path().join("SM-0001").join(&used.run).join("captures/run.capture");
    let mut usage = Usage::default();
    let capture = std::fs::File::open(stored).expect("the run's capture");
    CaptureReader::open(capture).and_then(|reader| reader.replay(&mut usage)).expect("it is whole");
    let text = std::fs::read_to_string(project(SIMULATED)).expect("the jig file");
    let jig = JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]));
    assert_eq!(wear::used(&usage, &jig, &used.run, Some("SM-0001")), *used);
    // The plan: power on once, load on once, two presses, one start and one stop by hand; home and two ways of 560 mm.
    assert_eq!((used.runs, used.cycles["unit supply"], used.cycles["dummy load"]), (1, 1, 1));
    let presses: u64 = (1..=4).filter_map(|press| used.cycles.get(&format!("press {press}"))).sum();
    assert_eq!((presses, used.traverses), (4, 2));
    assert!((1.2..2.0).contains(&used.metres), "{}", used.metres);
}

#[test]
fn wear_is_told_until_a_note_says_what_was_renewed() {
    let folder = TempDir::new().expect("a folder");
    let jig = worn_jig(folder.path(), "{ contacts: 2 runs, unit supply: 3 cycles }");
    assert!(!said(&quick(folder.path(), &jig)).contains("worn"));
    assert!(said(&quick(folder.path(), &jig)).contains("`contacts` is nearly worn, 2 runs of 2 runs"));
    let told = said(&quick(folder.path(), &jig));
    assert!(told.contains("`contacts` is past its limit of wear, 3 runs of 2 runs: renew it"), "{told}");
    assert!(told.contains("`unit supply` is nearly worn, 3 cycles of 3 cycles"), "{told}");
    let note = ["changed the blade contacts", "--renewed", "contacts", "--operator", "Wren"];
    assert_eq!(jig_command("note", folder.path(), &jig, &note).status.code(), Some(0));
    let Entry::Note(noted) = &lines(folder.path())[3].entry else { panic!("a note") };
    let renewed = vec!["contacts".to_owned()];
    assert_eq!(*noted, Note { text: "changed the blade contacts".into(), by: Some("Wren".into()), renewed });
    let told = said(&quick(folder.path(), &jig));
    assert!(!told.contains("`contacts`") && told.contains("`unit supply` is past"), "{told}");
    let shown = jig_command("logbook", folder.path(), &jig, &["--format", "json"]);
    let shown: Value = serde_json::from_slice(&shown.stdout).expect("JSON");
    let part = |name: &str| shown["parts"].as_array().expect("parts").iter().find(|part| part["part"] == name).cloned();
    assert_eq!(part("contacts").expect("there")["amount"], 1.0);
    assert_eq!(part("unit supply").expect("there")["amount"], 4.0);
    assert_eq!(shown["notes"][0]["text"], "changed the blade contacts");
    let shown = jig_command("logbook", folder.path(), &jig, &[]);
    let text = String::from_utf8_lossy(&shown.stdout).into_owned();
    assert!(text.contains("changed the blade contacts (Wren); renewed: contacts"), "{text}");
}

#[test]
fn a_torn_line_is_told_and_the_rest_counts() {
    let folder = TempDir::new().expect("a folder");
    quick(folder.path(), &project(SIMULATED));
    let path = Logbook::of(folder.path(), "simulated bench").expect("a name").path().to_owned();
    let mut bytes = std::fs::read(&path).expect("a logbook");
    bytes.extend(b"{\"version\":1,\"time\":\"2026-1");
    std::fs::write(&path, bytes).expect("torn");
    quick(folder.path(), &project(SIMULATED));
    let shown = jig_command("logbook", folder.path(), &project(SIMULATED), &["--format", "json"]);
    assert!(said(&shown).contains("logbook.jsonl:2: the line is torn"), "{}", said(&shown));
    let shown: Value = serde_json::from_slice(&shown.stdout).expect("JSON");
    let contacts = shown["parts"].as_array().expect("parts").iter().find(|part| part["part"] == "contacts").cloned();
    assert_eq!(contacts.expect("there")["amount"], 2.0);
    assert_eq!(shown["passed_over"].as_array().expect("told").len(), 1);
}

#[test]
fn what_is_wrong_with_a_note_is_said_and_nothing_is_noted() {
    let folder = TempDir::new().expect("a folder");
    for (more, why) in [
        (&["  "][..], "say what was done"),
        (&["cleaned", "--renewed", "belt"][..], "no part `belt` that wears; its parts are unit supply"),
    ] {
        let output = jig_command("note", folder.path(), &project(SIMULATED), more);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(why), "{}", said(&output));
    }
    assert_eq!(lines(folder.path()), []);
}

/// The disk would not keep the logbook: the run has its record, and somebody is told.
#[test]
fn a_logbook_that_cannot_be_kept_costs_no_run() {
    let folder = TempDir::new().expect("a folder");
    std::fs::write(folder.path().join(".jigs"), "a file is in the way").expect("written");
    let output = quick(folder.path(), &project(SIMULATED));
    assert!(said(&output).contains("what this run cost the jig is not counted"), "{}", said(&output));
}
