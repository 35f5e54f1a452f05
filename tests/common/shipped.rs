//! The shipped binary, as tests start it on the demo unit.

use railproof::record::Record;
use railproof::record::stored::Verdict;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// A file of the project.
pub fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A run of a plan against a Dunlin 600 on a jig, which prints its record.
pub fn run(plan: &str, jig: &str, results: &Path, serial: &str) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    command
        .args(["run".as_ref(), project(plan).as_os_str()])
        .args(["--unit".as_ref(), project("fixtures/units/dunlin-600.yaml").as_os_str()])
        .args(["--jig".as_ref(), project(jig).as_os_str()])
        .args(["--results".as_ref(), results.as_os_str()])
        .args(["--serial", serial, "--format", "json"]);
    command
}

/// The record of the same unit on the simulated bench, all in process.
pub fn in_process(plan: &str, more: &[&str]) -> Record {
    let folder = TempDir::new().expect("a folder");
    let mut run = run(plan, "fixtures/jigs/simulated.yaml", folder.path(), "SM-0001");
    let output = run.args(more).output().expect("the binary runs");
    serde_json::from_slice(&output.stdout).expect("the record is printed")
}

/// Every decision, by check and measurand.
pub fn decisions(record: &Record) -> Vec<(&str, &str, Verdict)> {
    let requirements = record.checks.iter().flat_map(|check| {
        check.requirements.iter().map(|required| (&check.name[..], &required.measurand[..], required.decision))
    });
    requirements.collect()
}
