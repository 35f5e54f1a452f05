//! Seals as the shipped binary makes and verifies them.

use assert_cmd::cargo::cargo_bin;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A results folder, and a home without a key.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    fn results(&self) -> PathBuf {
        self.folder.path().join("results")
    }

    fn railproof(&self, words: &[&str]) -> Command {
        let mut command = Command::new(cargo_bin("railproof"));
        command.env("XDG_CONFIG_HOME", self.folder.path().join("config")).env("RAILPROOF_RESULTS", self.results());
        command.env_remove("RAILPROOF_KEY").args(words);
        command
    }

    fn done(&self, words: &[&str]) -> Output {
        self.railproof(words).output().expect("the binary runs")
    }

    /// A run of a healthy unit: its folder.
    fn run(&self, serial: &str) -> PathBuf {
        let (plan, unit) = (project("test-plans/quick.yaml"), project("fixtures/units/dunlin-600.yaml"));
        let mut command = self.railproof(&["run", "--serial", serial]);
        command.arg(plan).arg("--unit").arg(unit).arg("--jig").arg(project("fixtures/jigs/simulated.yaml"));
        let output = command.output().expect("the binary runs");
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        let said = said(&output);
        let folder = said.lines().find(|line| line.starts_with(&*self.results().to_string_lossy()));
        folder.expect("the run names its folder").into()
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn assert_says(output: &Output, code: i32, words: &[&str]) {
    let (said, told) = (said(output), told(output));
    assert_eq!(output.status.code(), Some(code), "{said}{told}");
    assert!(words.iter().all(|words| said.contains(words) || told.contains(words)), "{words:?} in {said}{told}");
}

#[test]
fn what_a_run_leaves_is_sealed_and_a_changed_byte_is_found() {
    let bench = Bench::new();
    let runs = [bench.run("SM-0001"), bench.run("SM-0002"), bench.run("SM-0001")];
    assert_says(&bench.done(&["verify"]), 0, &["3 runs, number 1 to 3", "3 runs: as they were sealed"]);
    let capture = runs[1].join("captures/run.capture");
    let mut bytes = fs::read(&capture).expect("it is there");
    bytes[1000] ^= 0x10;
    fs::write(&capture, bytes).expect("it can be written");
    let output = bench.done(&["verify", "--format", "json"]);
    assert_says(&output, 1, &[]);
    let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let [finding] = &answer["findings"].as_array().expect("findings")[..] else { panic!("{answer}") };
    assert_eq!((&finding["kind"], &finding["path"]), (&"changed".into(), &capture.to_string_lossy().into()));
    // The other runs, alone, are as they were.
    assert_says(&bench.done(&["verify", runs[0].to_str().expect("plain")]), 0, &["1 run: as they were sealed"]);
}

#[test]
fn a_head_that_was_noted_shows_whether_the_newest_runs_are_still_there() {
    let bench = Bench::new();
    bench.run("SM-0001");
    let newest = bench.run("SM-0002");
    let answer: Value = serde_json::from_slice(&bench.done(&["verify", "--format", "json"]).stdout).expect("JSON");
    let head = answer["chains"][0]["head"].as_str().expect("a head").to_owned();
    assert_says(&bench.done(&["verify", "--expect-head", &head]), 0, &[&head]);
    fs::remove_dir_all(newest).expect("it can be removed");
    fs::remove_dir_all(bench.results().join(".chains")).expect("it can be removed");
    assert_says(&bench.done(&["verify"]), 0, &["1 run: as they were sealed"]);
    assert_says(&bench.done(&["verify", "--expect-head", &head]), 1, &["missing", &head, "not all that there were"]);
}

#[test]
fn where_there_is_no_record_nothing_is_proven() {
    let bench = Bench::new();
    assert_says(&bench.done(&["verify"]), 5, &["cannot be read"]);
    fs::create_dir_all(bench.results().join("SM-0001")).expect("it can be made");
    assert_says(&bench.done(&["verify"]), 5, &["there is no run in"]);
    assert_says(&bench.done(&["verify", "/dev/null"]), 5, &["/dev/null: cannot be read"]);
}
