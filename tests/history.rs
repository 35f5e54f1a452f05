//! `railproof history` and `railproof index` as a user meets them: what the folders hold is found, whatever became of the
//! index.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

const QUICK: &str = "test-plans/quick.yaml";
const JIG: &str = "fixtures/jigs/simulated.yaml";
const INDEX: &str = ".index.sqlite";

fn run(results: &Path, serial: &str, more: &[&str]) -> Output {
    shipped::run(QUICK, JIG, results, serial).args(more).output().expect("the binary runs")
}

fn railproof(results: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.args(arguments).arg("--results").arg(results).output().expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The history of SM-0001 as programs get it; nothing is told beside it.
fn history(results: &Path) -> Value {
    let output = railproof(results, &["history", "SM-0001", "--format", "json"]);
    assert_eq!((output.status.code(), &*text(&output.stderr)), (Some(0), ""));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn kinds(history: &Value) -> Vec<&str> {
    let entries = history["entries"].as_array().expect("entries");
    entries.iter().map(|entry| entry["kind"].as_str().expect("a kind")).collect()
}

fn folders(results: &Path) -> Vec<PathBuf> {
    let mut runs: Vec<_> =
        fs::read_dir(results.join("SM-0001")).expect("a folder").flatten().map(|run| run.path()).collect();
    runs.sort();
    runs
}

#[test]
fn a_unit_that_failed_was_reworked_and_passed() {
    let results = TempDir::new().expect("a folder");
    let part = |lot: &'static str| ["--part", lot];
    let fault = ["--fault", "dead-end-stop-right"];
    assert_eq!(run(results.path(), "SM-0001", &[part("belt=L2207"), fault].concat()).status.code(), Some(1));
    assert_eq!(run(results.path(), "SM-0001", &fault).status.code(), Some(1));
    assert_eq!(run(results.path(), "SM-0001", &part("belt=L2301")).status.code(), Some(0));
    assert_eq!(run(results.path(), "SM-0001", &[]).status.code(), Some(0));
    let told = history(results.path());
    assert_eq!(kinds(&told), ["first", "retest", "rework", "repeat"]);
    assert_eq!(told["entries"][2]["changes"][0]["from"], "L2207");
    assert_eq!((&told["stands"], &told["as_shipped"]), (&"on the shelf".into(), &Value::Null));
    assert_eq!(told["as_built"][0]["lot"], "L2301");
    let said = text(&railproof(results.path(), &["history", "SM-0001"]).stdout);
    assert!(said.starts_with("SM-0001, dunlin-600: on the shelf\nas built: belt L2301\n"), "{said}");
    let unfolded = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "✗ does not conform",
        "quick, revision 1: retest",
        "quick, revision 1: after rework, belt L2207 → L2301, firmware 1.4.0, simulated",
        told["entries"][3]["run"].as_str().expect("an id"),
    ] {
        assert!(unfolded.contains(words), "{words}: {said}");
    }
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
}

#[test]
fn a_lost_index_a_damaged_one_and_one_that_was_left_behind_hide_nothing() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &[]);
    let old = fs::read(results.path().join(INDEX)).expect("the index");
    run(results.path(), "SM-0001", &[]);
    assert_eq!(kinds(&history(results.path())).len(), 2);

    for ending in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(results.path().join(format!("{INDEX}{ending}")));
    }
    assert_eq!(kinds(&history(results.path())).len(), 2);
    fs::write(results.path().join(INDEX), &old).expect("it can be written");
    assert_eq!(kinds(&history(results.path())).len(), 2);

    fs::write(results.path().join(INDEX), "no database at all, and long enough to be looked at".repeat(400))
        .expect("it can be written");
    let output = run(results.path(), "SM-0001", &[]);
    assert_eq!(output.status.code(), Some(0));
    assert!(text(&output.stderr).contains("the index was damaged"), "{}", text(&output.stderr));
    assert_eq!(kinds(&history(results.path())).len(), 3);
    let rebuilt = railproof(results.path(), &["index", "--rebuild"]);
    assert!(text(&rebuilt.stdout).starts_with("3 runs are indexed below "), "{}", text(&rebuilt.stdout));
}

/// An index that cannot be had costs neither the record nor the exit status.
#[test]
fn a_run_without_an_index_keeps_its_record() {
    let results = TempDir::new().expect("a folder");
    fs::create_dir(results.path().join(INDEX)).expect("it can be made");
    for (more, exit) in [(&[][..], 0), (&["--fault", "dead-end-stop-right"], 1)] {
        let output = run(results.path(), "SM-0001", more);
        assert_eq!(output.status.code(), Some(exit));
        assert!(text(&output.stderr).contains("railproof index --rebuild"), "{}", text(&output.stderr));
    }
    let output = railproof(results.path(), &["history", "SM-0001", "--format", "json"]);
    let told: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!((output.status.code(), kinds(&told)), (Some(0), vec!["first", "repeat"]));
    assert!(text(&output.stderr).contains("the folders are read instead"));
}

#[test]
fn runs_and_questions_at_once_miss_nothing() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &[]);
    let mut running: Vec<_> = Vec::new();
    for _ in 0..4 {
        let mut command = shipped::run(QUICK, JIG, results.path(), "SM-0001");
        running.push(command.stdout(std::process::Stdio::null()).spawn().expect("it starts"));
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
        command.args(["index", "--rebuild", "--results"]).arg(results.path()).stdout(std::process::Stdio::null());
        running.push(command.spawn().expect("it starts"));
    }
    for mut running in running {
        assert!(running.wait().expect("it ends").success());
    }
    assert_eq!(kinds(&history(results.path())).len(), 5);
}

#[test]
fn garbage_is_told_and_hides_nothing() {
    let results = TempDir::new().expect("a folder");
    for _ in 0..3 {
        run(results.path(), "SM-0001", &[]);
    }
    let runs = folders(results.path());
    fs::write(runs[1].join("record.json"), [0xFF, 0, 1]).expect("it can be written");
    fs::remove_dir_all(&runs[2]).expect("it can be removed");
    let rebuilt = railproof(results.path(), &["index", "--rebuild"]);
    assert_eq!(rebuilt.status.code(), Some(0));
    assert!(text(&rebuilt.stderr).contains("record.json is left out"), "{}", text(&rebuilt.stderr));
    assert!(text(&rebuilt.stdout).starts_with("1 run is indexed"));
}

#[test]
fn a_serial_number_that_never_ran_is_an_empty_history() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &[]);
    let output = railproof(results.path(), &["history", "SM-0010"]);
    assert_eq!((output.status.code(), &*text(&output.stdout)), (Some(0), "no runs of SM-0010\n"));
    assert!(text(&output.stderr).contains("did you mean SM-0001?"), "{}", text(&output.stderr));
    let output = railproof(results.path(), &["history", "../SM-0001"]);
    assert_eq!(output.status.code(), Some(2));
    let output = railproof(&results.path().join("nowhere"), &["history", "SM-0001"]);
    assert_eq!(output.status.code(), Some(5));
    assert!(text(&output.stderr).contains("name the folder of the records with --results"));
}

/// Runs whose ids are older than those of their predecessors: somebody set the clock back.
#[test]
fn a_clock_that_was_set_back_is_seen_and_does_not_change_the_order() {
    let results = TempDir::new().expect("a folder");
    run(results.path(), "SM-0001", &["--fault", "dead-end-stop-right"]);
    run(results.path(), "SM-0001", &[]);
    let second = folders(results.path()).remove(1);
    let id = second.file_name().and_then(|name| name.to_str()).expect("an id");
    let old = "00000000-0000-7000-8000-000000000001";
    let path = second.join("record.json");
    let record = fs::read_to_string(&path).expect("a record").replace(id, old);
    let dated = |line: &str| match line.trim_start() {
        date if date.starts_with("\"started\"") => "  \"started\": \"2001-01-01T00:00:00Z\",".to_owned(),
        date if date.starts_with("\"ended\"") => "  \"ended\": \"2001-01-01T00:05:00Z\",".to_owned(),
        _ => line.to_owned(),
    };
    fs::write(path, record.lines().map(dated).collect::<Vec<_>>().join("\n")).expect("it can be written");
    fs::rename(&second, second.with_file_name(old)).expect("it can be moved");
    fs::remove_file(results.path().join(INDEX)).expect("it can be removed");
    let told = history(results.path());
    assert_eq!(kinds(&told), ["first", "retest"]);
    assert_eq!((&told["entries"][1]["run"], &told["entries"][1]["clock_was_set_back"]), (&old.into(), &true.into()));
}
