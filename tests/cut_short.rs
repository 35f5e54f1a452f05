//! Power, disk and clock fail where they will: what a run saw is kept, and what can be known is told before anything moves.

use railproof::record::Record;
use railproof::record::stored::Verdict;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn command(program: &Path, results: &Path) -> Command {
    let mut command = Command::new(program);
    command
        .args(["run".as_ref(), project("test-plans/quick.yaml").as_os_str()])
        .args(["--unit".as_ref(), project("fixtures/units/dunlin-600.yaml").as_os_str()])
        .args(["--jig".as_ref(), project("fixtures/jigs/simulated.yaml").as_os_str()])
        .args(["--results".as_ref(), results.as_os_str(), "--serial".as_ref(), "SM-0001".as_ref()])
        .env_remove("RAILPROOF_KEY");
    command
}

fn run(results: &Path) -> Output {
    command(&assert_cmd::cargo::cargo_bin("railproof"), results).output().expect("the binary runs")
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The folders of a unit's runs, oldest first.
fn runs(results: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(results.join("SM-0001")).into_iter().flatten().flatten();
    let mut runs: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
    runs.sort();
    runs
}

fn record(run: &Path) -> Record {
    serde_json::from_slice(&fs::read(run.join("record.json")).expect("a record")).expect("it is whole")
}

/// What a run has on the disk when its power goes: all but what is written at its end, the capture cut anywhere.
fn cut_off(results: &Path, whole: &Path, id: &str, bytes: usize) {
    let part = results.join("SM-0001").join(format!(".{id}.part"));
    fs::create_dir_all(part.join("captures")).expect("a folder");
    fs::create_dir_all(part.join("inputs")).expect("a folder");
    for file in ["begun.json", "inputs/plan.yaml", "inputs/unit.yaml", "inputs/jig.yaml"] {
        fs::copy(whole.join(file), part.join(file)).expect("a finished run has them");
    }
    let capture = fs::read(whole.join("captures/run.capture")).expect("a capture");
    fs::write(part.join("captures/run.capture"), &capture[..bytes.min(capture.len())]).expect("it can be written");
}

#[test]
fn what_a_run_saw_before_the_power_went_is_kept_as_an_invalid_run() {
    let folder = TempDir::new().expect("a folder");
    assert_eq!(run(folder.path()).status.code(), Some(0));
    let whole = runs(folder.path()).remove(0);
    let length = fs::metadata(whole.join("captures/run.capture")).expect("a capture").len() as usize;
    for (number, bytes) in [length, length - 1, length / 2, length / 10, 24].into_iter().enumerate() {
        let id = format!("00000000-0000-7000-8000-00000000000{number}");
        cut_off(folder.path(), &whole, &id, bytes);
        let output = run(folder.path());
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        assert!(told(&output).contains("is kept as invalid in"), "{bytes} bytes: {}", told(&output));
        let kept = record(&folder.path().join("SM-0001").join(&id));
        assert_eq!(kept.decision, Verdict::Invalid, "{bytes} bytes");
        assert!(kept.invalid_because[0].contains("broken off in its middle"), "{:?}", kept.invalid_because);
        let decided = kept.checks.iter().filter(|check| check.not_carried_out.is_none()).count();
        assert_eq!(decided > 0, bytes > 24, "{bytes} bytes: what it saw is measured");
    }
    let mut verify = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    let verified = verify.arg("verify").arg(folder.path()).output().expect("the binary runs");
    assert_eq!(verified.status.code(), Some(0), "{verified:?}");
}

#[test]
fn what_holds_no_evidence_is_removed_and_told() {
    let folder = TempDir::new().expect("a folder");
    let part = folder.path().join("SM-0001/.00000000-0000-7000-8000-000000000001.part");
    fs::create_dir_all(&part).expect("a folder");
    let output = run(folder.path());
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    assert!(told(&output).contains("it proves nothing"), "{}", told(&output));
    assert!(!part.exists());
}

#[test]
fn a_clock_that_was_set_back_is_told_before_anything_moves() {
    let folder = TempDir::new().expect("a folder");
    assert_eq!(run(folder.path()).status.code(), Some(0));
    // A run of the year 2100.
    let whole = runs(folder.path()).remove(0);
    let ahead = folder.path().join("SM-0001/03bb2cc3-d800-7000-8000-000000000000");
    fs::rename(&whole, &ahead).expect("it can be renamed");
    let output = run(folder.path());
    assert_eq!(output.status.code(), Some(4), "{}", told(&output));
    assert!(told(&output).contains("began 2100-01-01") && told(&output).contains("set the clock"), "{}", told(&output));
    assert_eq!(runs(folder.path()), [ahead]);
}

#[test]
fn a_place_that_takes_no_file_is_told_before_anything_moves() {
    let output = run(Path::new("/proc/railproof"));
    assert_eq!(output.status.code(), Some(4), "{}", told(&output));
    assert!(told(&output).contains("/proc/railproof"), "{}", told(&output));
    let folder = TempDir::new().expect("a folder");
    fs::write(folder.path().join("SM-0001"), "no folder").expect("it can be written");
    let output = run(folder.path());
    assert_eq!(output.status.code(), Some(4), "{}", told(&output));
}

/// A file that may not grow beyond some kilobytes: the disk that fills up in the middle of a run.
#[test]
fn a_disk_that_fills_up_during_a_run_never_leaves_a_conforming_record() {
    let folder = TempDir::new().expect("a folder");
    let binary = assert_cmd::cargo::cargo_bin("railproof");
    for kilobytes in [1, 8, 64] {
        // The shell has the signal ignored, so that the write fails as on a full disk.
        let mut shell = command(Path::new("bash"), folder.path());
        let arguments: Vec<_> = shell.get_args().map(ToOwned::to_owned).collect();
        shell = Command::new("bash");
        shell
            .args(["-c", &format!("trap '' XFSZ; ulimit -f {kilobytes}; exec \"$0\" \"$@\"")])
            .arg(&binary)
            .args(arguments);
        let output = shell.output().expect("bash runs");
        assert_eq!(output.status.code(), Some(4), "{kilobytes} kB: {}", told(&output));
        let whole = runs(folder.path()).into_iter().filter(|run| run.join("record.json").is_file());
        assert!(whole.map(|run| record(&run)).all(|record| record.decision == Verdict::Invalid), "{kilobytes} kB");
    }
    assert_eq!(run(folder.path()).status.code(), Some(0), "the next run is fine");
}
