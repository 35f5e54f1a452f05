//! The shipped binary as it is treated on a bad day: wrong words, wrong files, no room, killed, twice at once.

#[path = "common/sealed_bench.rs"]
mod sealed_bench;

use assert_cmd::cargo::cargo_bin;
use railproof::clock::{Clock, ComputerClock};
use railproof::record::Record;
use sealed_bench::{SealedBench, project};
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

fn railproof() -> Command {
    let mut command = Command::new(cargo_bin("railproof"));
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A quick run whose files are the shipped ones.
fn run(results: &Path) -> Command {
    run_on(results, &project("fixtures/jigs/simulated.yaml"))
}

fn run_on(results: &Path, jig: &Path) -> Command {
    run_of(&project("fixtures/units/dunlin-600.yaml"), results, jig)
}

fn run_of(unit: &Path, results: &Path, jig: &Path) -> Command {
    let mut command = railproof();
    command.arg("run").arg(project("test-plans/quick.yaml"));
    command.arg("--unit").arg(unit).arg("--jig").arg(jig);
    command.arg("--results").arg(results);
    command
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn assert_fails(output: &Output, code: i32, words: &str) {
    assert_eq!(output.status.code(), Some(code), "{}", told(output));
    assert!(told(output).contains(words), "{}", told(output));
    assert!(output.stdout.is_empty());
}

/// What stands in a folder, if it is there.
fn inside(folder: &Path) -> Vec<PathBuf> {
    fs::read_dir(folder).map(|entries| entries.flatten().map(|entry| entry.path()).collect()).unwrap_or_default()
}

/// The finished runs of a serial number, each of which has to be whole, and the unfinished ones.
fn runs(results: &Path) -> (usize, usize) {
    let is_part = |path: &PathBuf| path.extension().is_some_and(|ending| ending == "part");
    let (parts, whole): (Vec<PathBuf>, Vec<PathBuf>) = inside(&results.join("SM-0001")).into_iter().partition(is_part);
    for folder in &whole {
        let digests =
            Command::new("sha256sum").args(["--check", "--quiet", "digests.sha256"]).current_dir(folder).status();
        assert!(digests.expect("sha256sum is a part of coreutils").success(), "{}", folder.display());
        let record = fs::read(folder.join("record.json")).expect("a finished run has its record");
        serde_json::from_slice::<Record>(&record).expect("the record is whole");
        assert!(folder.join("captures/run.capture").is_file());
    }
    (whole.len(), parts.len())
}

#[test]
fn a_serial_number_that_is_none_is_wrong_usage_and_shown_safely() {
    let folder = TempDir::new().expect("a folder");
    let long = "x".repeat(10_000);
    for serial in ["", ".", "../SM-0001", "SM-0001/x", "SM-00012", "SM-0001\n", "\u{1b}[31mSM-0001", "SM-١٢٣٤", &long]
    {
        let output = run(folder.path()).arg(format!("--serial={serial}")).output().expect("the binary runs");
        assert_fails(&output, 2, "serial number");
        assert!(output.stderr.len() < 400, "{} bytes", output.stderr.len());
        assert!(!told(&output).trim_end().contains(['\n', '\u{1b}']), "{:?}", told(&output));
    }
    assert!(inside(folder.path()).is_empty());
}

/// A slip of the hand makes a serial number that looks right; its check character tells before anything moves.
#[test]
fn a_serial_number_whose_check_character_does_not_fit_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let checked = project("tests/data/units/dunlin-600-checked.yaml");
    let run = |serial: &str| {
        let mut command = run_of(&checked, folder.path(), &project("fixtures/jigs/simulated.yaml"));
        command.args(["--serial", serial]).output().expect("the binary runs")
    };
    for (serial, words) in [
        ("SM-0002-J", "its check character does not fit (ISO/IEC 7064, mod 37-2)"),
        ("SM-0010-J", "it would be `SM-0001-J`"),
        ("SM-OOO1-J", "the unit file wants"),
        ("SM-0001", "the unit file wants"),
        ("SM-0001-j", "the unit file wants"),
    ] {
        assert_fails(&run(serial), 2, words);
    }
    assert!(inside(folder.path()).is_empty());
    let output = run("SM-0001-J");
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    assert!(folder.path().join("SM-0001-J").is_dir());
}

#[test]
fn a_file_without_an_end_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let output = railproof().args(["lint", "/dev/zero"]).output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(5));
    let output = run_on(folder.path(), Path::new("/dev/zero")).args(["--serial", "SM-0001"]).output();
    assert_fails(&output.expect("the binary runs"), 5, "more than 4000000 bytes");
}

#[test]
fn an_answer_beside_the_point_is_wrong_usage() {
    let folder = TempDir::new().expect("a folder");
    let output = railproof()
        .arg("run")
        .arg(project("test-plans/outgoing.yaml"))
        .args(["--serial", "SM-0001", "--answer", "yees"])
        .args(["--unit".as_ref(), project("fixtures/units/dunlin-600.yaml").as_os_str()])
        .args(["--jig".as_ref(), project("fixtures/jigs/simulated.yaml").as_os_str()])
        .args(["--results".as_ref(), folder.path().as_os_str()])
        .output();
    assert_fails(&output.expect("the binary runs"), 2, "give yes or no");
}

#[test]
fn a_jig_past_its_calibration_is_refused_before_anything_moves() {
    let folder = TempDir::new().expect("a folder");
    let shipped = fs::read_to_string(project("fixtures/jigs/simulated.yaml")).expect("it is shipped");
    let dated = |calibrated: &str, due: &str| {
        let line = |line: &str| match line.split_once(':') {
            Some(("calibrated", _)) => format!("calibrated: {calibrated}\n"),
            Some(("due", _)) => format!("due: {due}\n"),
            _ => format!("{line}\n"),
        };
        let jig = folder.path().join("jig.yaml");
        fs::write(&jig, shipped.lines().map(line).collect::<String>()).expect("it can be written");
        let output = run_on(&folder.path().join("results"), &jig).args(["--serial", "SM-0001"]).output();
        output.expect("the binary runs")
    };
    assert_fails(&dated("2019-01-02", "2020-01-02"), 4, "was due on 2020-01-02");
    // A computer that woke up without knowing the date must not find an old calibration valid.
    assert_fails(&dated("2098-01-02", "2099-01-02"), 4, "set the computer's clock");
    assert!(inside(&folder.path().join("results")).is_empty());
}

#[test]
fn an_output_that_takes_nothing_ends_no_run_and_panics_nothing() {
    let folder = TempDir::new().expect("a folder");
    let full = || File::options().write(true).open("/dev/full").expect("Linux has it");
    let status = run(folder.path()).args(["--serial", "SM-0001"]).stderr(full()).status().expect("the binary runs");
    assert_eq!(status.code(), Some(0));
    assert_eq!(runs(folder.path()), (1, 0));
    let plan = project("test-plans/quick.yaml");
    let output = railproof().arg("lint").arg(plan).stdout(full()).output().expect("the binary runs");
    assert_fails(&output, 4, "cannot be printed");
}

#[test]
fn runs_side_by_side_do_not_sweep_each_other() {
    let folder = TempDir::new().expect("a folder");
    for _ in 0..3 {
        let started: Vec<_> = (0..4)
            .map(|_| run(folder.path()).args(["--serial", "SM-0001"]).spawn().expect("the binary starts"))
            .collect();
        for running in started {
            let output = running.wait_with_output().expect("it ends");
            assert_eq!(output.status.code(), Some(0), "{}", told(&output));
            assert!(!told(&output).contains("was left by"), "{}", told(&output));
        }
    }
    assert_eq!(runs(folder.path()), (12, 0));
    // None of them followed the same run as another.
    let verify = railproof().arg("verify").arg(folder.path()).output().expect("the binary runs");
    assert_eq!(verify.status.code(), Some(0), "{}", String::from_utf8_lossy(&verify.stdout));
    assert!(String::from_utf8_lossy(&verify.stdout).contains("12 runs, number 1 to 12;"));
}

/// Killed at instants all over a run, every second time in its last 50 ms, when the record is sealed and put into place.
/// `RAILPROOF_DRAWS=1000` does it a thousand times.
#[test]
fn a_run_that_is_killed_at_any_instant_leaves_no_half_record_and_loses_no_whole_one() {
    let bench = SealedBench::new();
    let draws = std::env::var("RAILPROOF_DRAWS").map_or(24, |draws| draws.parse().expect("a number of draws"));
    let clock = ComputerClock::new();
    let mut took = [(); 3].map(|()| {
        let began = clock.now();
        bench.run("SM-0001");
        clock.now().since(began)
    });
    took.sort_unstable();
    let takes = took[1].as_secs_f64();
    let mut killed = 0;
    for draw in 0..draws {
        let mut running = bench.quick("SM-0001").spawn().expect("the binary starts");
        // Golden-section steps spread the instants evenly.
        let share = f64::from(draw) * 0.618_034 % 1.0;
        let instant = if draw % 2 == 0 { takes * share } else { (takes - 0.05 * share).max(0.0) };
        wait(Duration::from_secs_f64(instant));
        running.kill().expect("it is a child of this test");
        let output = running.wait_with_output().expect("it ends");
        killed += usize::from(!output.status.success());
        // What was shown to somebody is kept.
        let shown = bench.folder_named(&output);
        assert!(shown.is_none_or(|folder| folder.join("record.json").is_file()), "draw {draw}");
    }
    let before = runs(&bench.results());
    let verify = bench.done(&["verify", "--format", "json"]);
    let answer: serde_json::Value = serde_json::from_slice(&verify.stdout).expect("JSON");
    assert_eq!((verify.status.code(), &answer["findings"]), (Some(0), &serde_json::json!([])), "{answer}");
    assert_eq!((&answer["runs"], &answer["chains"][0]["newest"]), (&before.0.into(), &before.0.into()));
    let output = bench.quick("SM-0001").output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    let told = told(&output);
    let kept = told.matches("is kept as invalid in").count();
    // What was killed before it noted what it was left nothing that could be kept.
    assert_eq!(kept + told.matches("was left by a run that was killed").count(), before.1, "{told}");
    assert_eq!(runs(&bench.results()), (before.0 + kept + 1, 0));
    assert_eq!(bench.done(&["verify"]).status.code(), Some(0));
    assert!(killed > 0, "every run was done before it could be killed");
    println!("{killed} of {draws} runs were killed, {} records stand", before.0);
}

#[expect(clippy::disallowed_methods, reason = "a moment to kill at; nothing is concluded from it")]
fn wait(time: Duration) {
    std::thread::sleep(time);
}
