//! `railproof judge` as a user meets it: a stored run is judged again without a bench, and comes out the same.

use railproof::record::Record;
use railproof::record::stored::Origin;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

const UNIT: &str = "fixtures/units/dunlin-600.yaml";
const JIG: &str = "fixtures/jigs/simulated.yaml";
const QUICK: &str = "test-plans/quick.yaml";

fn railproof(arguments: &[&str]) -> Output {
    Command::new(assert_cmd::cargo::cargo_bin!("railproof")).args(arguments).output().expect("the binary starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// What was said, whatever the width of the page.
fn unfolded(bytes: &[u8]) -> String {
    text(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A run of the quick plan, with the folder that it left.
struct Run {
    results: TempDir,
    exit: Option<i32>,
}

impl Run {
    fn with(more: &[&str]) -> Self {
        let results = tempfile::tempdir().expect("a folder");
        let place = results.path().display().to_string();
        let mut arguments =
            vec!["run", QUICK, "--unit", UNIT, "--jig", JIG, "--serial", "SM-0001", "--results", &place];
        arguments.extend(more);
        let exit = railproof(&arguments).status.code();
        Self { results, exit }
    }

    fn folder(&self) -> PathBuf {
        let mut runs = std::fs::read_dir(self.results.path().join("SM-0001")).expect("the serial's folder");
        runs.next().expect("a run").expect("a folder").path()
    }

    fn record(&self) -> String {
        std::fs::read_to_string(self.folder().join("record.json")).expect("a record")
    }
}

fn judge(plan: &str, captures: &Path, more: &[&str]) -> Output {
    judge_on(JIG, plan, captures, more)
}

fn judge_on(jig: &str, plan: &str, captures: &Path, more: &[&str]) -> Output {
    let captures = captures.display().to_string();
    let mut arguments = vec!["judge", plan, "--unit", UNIT, "--jig", jig, "--captures", &captures];
    arguments.extend(more);
    railproof(&arguments)
}

/// The lines of a record that were measured and decided: checks and curves.
fn measured(record: &str) -> (&str, &str) {
    let (_, rest) = record.split_once("\n  \"checks\": [").expect("checks");
    let (checks, rest) = rest.split_once("\n  \"warnings\":").expect("warnings");
    (checks, rest.split_once("\n  \"curves\":").expect("curves").1)
}

#[test]
fn a_stored_run_is_judged_the_same_to_the_byte() {
    // Healthy; one requirement not met; given up and broken off.
    for (faults, exit) in [(&[][..], 0), (&["--fault", "dead-end-stop-right"], 1), (&["--fault", "mute-unit"], 1)] {
        let run = Run::with(faults);
        assert_eq!(run.exit, Some(exit), "{faults:?}");
        let again = judge(QUICK, &run.folder(), &["--format", "json"]);
        assert_eq!(again.status.code(), Some(exit), "{faults:?}: {}", text(&again.stderr));
        let (then, now) = (run.record(), text(&again.stdout));
        assert_eq!(measured(&now), measured(&then), "{faults:?}");
        let mut then: Record = serde_json::from_str(&then).expect("a record");
        let now: Record = serde_json::from_str(&now).expect("a record");
        assert!(now.run.is_simulated());
        then.run.origin = Origin::Replayed;
        assert_eq!(now, then, "{faults:?}");
    }
}

#[test]
fn the_text_says_that_it_was_replayed_and_simulated() {
    let run = Run::with(&[]);
    let said = unfolded(&judge(QUICK, &run.folder().join("captures"), &[]).stdout);
    for words in
        ["SIMULATED RUN", "REPLAYED: judged from kept evidence", "simulated, replayed", "judged from ", "run.capture"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn other_limits_decide_anew_and_are_noted() {
    let run = Run::with(&[]);
    let plan = std::fs::read_to_string(QUICK).expect("the plan").replace("at most 600 mV", "at most 20 mV");
    let stricter = run.results.path().join("stricter.yaml");
    std::fs::write(&stricter, plan).expect("written");
    let again = judge(&stricter.display().to_string(), &run.folder(), &[]);
    let said = unfolded(&again.stdout);
    assert_eq!(again.status.code(), Some(1), "{said}");
    assert!(
        said.contains("pack sag") && said.contains("note: the plan differs from the one that was frozen"),
        "{said}"
    );
}

#[test]
fn another_plan_proves_nothing() {
    let run = Run::with(&[]);
    let again = judge("test-plans/outgoing.yaml", &run.folder(), &[]);
    let said = unfolded(&again.stdout);
    assert_eq!(again.status.code(), Some(4), "{said}");
    assert!(said.contains("the capture was made by another plan"), "{said}");
}

#[test]
fn a_capture_alone_is_judged_and_a_damaged_one_is_invalid() {
    let run = Run::with(&[]);
    let alone = run.results.path().join("alone.capture");
    std::fs::copy(run.folder().join("captures/run.capture"), &alone).expect("copied");
    let again = judge(QUICK, &alone, &["--serial", "SM-0001", "--format", "json"]);
    let (then, now) = (run.record(), text(&again.stdout));
    assert_eq!((again.status.code(), measured(&now)), (Some(0), measured(&then)));
    assert!(now.contains("certifies nothing"), "of a simulated jig");

    let bytes = std::fs::read(&alone).expect("the capture");
    std::fs::write(&alone, &bytes[..bytes.len() / 2]).expect("written");
    let again = judge(QUICK, &alone, &[]);
    let said = unfolded(&again.stdout);
    assert_eq!(again.status.code(), Some(4), "{said}");
    assert!(said.contains("cut off before it was finished"), "{said}");
}

#[test]
fn what_cannot_be_judged_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused = |path: &Path, more: &[&str]| {
        let output = judge(QUICK, path, more);
        (output.status.code(), text(&output.stderr))
    };
    let (exit, told) = refused(folder.path(), &[]);
    assert!(exit == Some(5) && told.contains("there is no capture"), "{told}");
    let (exit, told) = refused(&folder.path().join("gone.capture"), &[]);
    assert!(exit == Some(5) && told.contains("cannot be read"), "{told}");
    let run = Run::with(&[]);
    let (exit, told) = refused(&run.folder(), &["--serial", "SM-0002"]);
    assert!(exit == Some(2) && told.contains("this is a run of SM-0001"), "{told}");
    let jig = std::fs::read_to_string(JIG).expect("the jig").replace("rate: 2 MHz", "rate: 1 MHz");
    let slower = folder.path().join("slower.yaml");
    std::fs::write(&slower, jig).expect("written");
    let output = judge_on(&slower.display().to_string(), QUICK, &run.folder(), &[]);
    let told = text(&output.stderr);
    assert!(output.status.code() == Some(5) && told.contains("name the jig file of the bench"), "{told}");
}

/// A run whose check took several rounds is judged by the rounds in its capture, and not by a plan that allows fewer.
#[test]
fn rounds_are_judged_again_as_they_were_taken() {
    let folder = tempfile::tempdir().expect("a folder");
    let written = |name: &str, least: f64, rounds: &str| {
        let path = folder.path().join(name);
        let text = format!(
            "plan: trial\nrevision: 1\nmodel: dunlin-600\ndecision rule: {{ false accept at most: 2.5 % }}\nchecks:\n  \
             - name: ready\n    moves: [ power: on, home: left ]\n    require: {{ unexpected restarts: at most 0 }}\n  \
             - name: both ways\n    moves: [ travel: {{ to: right, speed: 90 mm/s }}, travel: {{ to: left, speed: 90 mm/s }} ]\n    \
             {rounds}\n    require: {{ cruise speed: at least {least} mm/s }}\n"
        );
        std::fs::write(&path, text).expect("a plan");
        path.display().to_string()
    };
    let run = |plan: &str, results: &str| {
        let results = folder.path().join(results);
        let place = results.display().to_string();
        let more =
            ["--unit", UNIT, "--jig", JIG, "--serial", "SM-0001", "--results", &place, "--seed", "5", "--confirmed"];
        let said = railproof(&[&["run", plan], &more[..]].concat());
        let run = std::fs::read_dir(results.join("SM-0001")).expect("the serial's folder").next();
        let folder = run.expect("a run").expect("a folder").path();
        let record = std::fs::read_to_string(folder.join("record.json")).expect("a record");
        (folder, record, unfolded(&said.stderr))
    };
    let (_, record, _) = run(&written("wide.yaml", 80.0, ""), "wide");
    let record: Record = serde_json::from_str(&record).expect("a record");
    let readings = record.checks[1].requirements[0].readings.iter().filter_map(|reading| reading.measured.as_ref());
    let slower = readings.min_by(|one, other| one.value.total_cmp(&other.value)).expect("a speed");
    let limit = slower.value - 2.0 * slower.standard_uncertainty;

    let repeating = written("repeating.yaml", limit, "repeat while undecided: up to 6 rounds");
    let (kept, record, progress) = run(&repeating, "repeated");
    assert!(progress.contains("both ways: round 2 begins"), "{progress}");
    let told: Record = serde_json::from_str(&record).expect("a record");
    let rounds = told.checks[1].rounds.clone().expect("it may repeat its moves");
    assert!(rounds.done > 1 && progress.contains(&format!("{} rounds)", rounds.done)), "{rounds:?}: {progress}");
    let junit = std::fs::read_to_string(kept.join("junit.xml")).expect("a report");
    assert!(junit.contains(&format!("{} rounds of at most 6", rounds.done)) && junit.contains("by rounds "), "{junit}");

    let again = judge(&repeating, &kept, &["--format", "json"]);
    assert_eq!(measured(&text(&again.stdout)), measured(&record));
    let fewer = judge(&written("fewer.yaml", limit, ""), &kept, &[]);
    assert_eq!(fewer.status.code(), Some(4), "{}", text(&fewer.stdout));
    assert!(unfolded(&fewer.stdout).contains("more rounds of check 2 than the plan allows"), "{}", text(&fewer.stdout));
    let shown =
        railproof(&["measure", &kept.join("captures/run.capture").display().to_string(), "--unit", UNIT, "--jig", JIG]);
    let shown = text(&shown.stdout);
    assert_eq!(shown.matches("\ncheck ").count(), 1 + rounds.done, "each round is measured by itself: {shown}");
}

/// The simulated jig with a calibration that was due long ago.
fn overdue_jig(folder: &Path) -> String {
    let shipped = std::fs::read_to_string(JIG).expect("it is shipped");
    let jig = shipped
        .replace("calibrated: 2026-01-05", "calibrated: 2019-01-02")
        .replace("due: 2099-12-31", "due: 2020-01-02");
    assert_ne!(jig, shipped);
    let path = folder.join("overdue.yaml");
    std::fs::write(&path, jig).expect("written");
    path.display().to_string()
}

#[test]
fn a_run_on_an_overdue_jig_says_why_everywhere_and_is_judged_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let (jig, results) = (overdue_jig(folder.path()), folder.path().join("results").display().to_string());
    let run = |more: &[&str]| {
        let mut arguments =
            vec!["run", QUICK, "--unit", UNIT, "--jig", &jig, "--serial", "SM-0001", "--results", &results];
        arguments.extend(more);
        railproof(&arguments)
    };
    for (more, exit, says) in [
        (&[][..], 4, "was due on 2020-01-02 (and 16 more channels); calibrate it"),
        (&["--overdue-because", ""], 2, "say why the run cannot wait"),
        (&["--overdue-because", "  "], 2, "say why the run cannot wait"),
    ] {
        let refused = run(more);
        let said = text(&refused.stderr);
        assert!(refused.status.code() == Some(exit) && said.contains(says), "{more:?}: {said}");
        assert!(!Path::new(&results).join("SM-0001").exists(), "{more:?}");
    }

    let reason = "the reference <is> away until Friday";
    let done = run(&["--overdue-because", reason]);
    let said = unfolded(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said}{}", text(&done.stderr));
    for words in ["CALIBRATION PAST ITS DUE DATE: clock, encoder,", "the calibration was due on 2020-01-02.", reason] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let run_folder = std::fs::read_dir(Path::new(&results).join("SM-0001")).expect("runs").next().expect("a run");
    let run_folder = run_folder.expect("a folder").path();
    let file =
        |name: &str| std::fs::read_to_string(run_folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert!(file("certificate.html").contains("Reason given for running all the same: the reference &lt;is&gt; away"));
    assert!(file("junit.xml").contains("calibration past its due date"));
    let record = file("record.json");
    assert!(record.contains("\"overdue_because\": \"the reference <is> away until Friday\""));

    let again = judge_on(&jig, QUICK, &run_folder, &["--format", "json"]);
    let now = text(&again.stdout);
    assert_eq!((again.status.code(), measured(&now)), (Some(0), measured(&record)));
    let mut then: Record = serde_json::from_str(&record).expect("a record");
    then.run.origin = Origin::Replayed;
    assert_eq!(serde_json::from_str::<Record>(&now).expect("a record"), then);

    // Without the record nobody gave a reason, and another channel was not excused by it.
    let alone = folder.path().join("alone.capture");
    std::fs::copy(run_folder.join("captures/run.capture"), &alone).expect("copied");
    assert_eq!(judge_on(&jig, QUICK, &alone, &[]).status.code(), Some(4));
    let one_due = record.replacen("\"due\": \"2020-01-02\"", "\"due\": \"2099-01-02\"", 1);
    assert_ne!(one_due, record);
    std::fs::write(run_folder.join("record.json"), one_due).expect("written");
    let not_excused = judge_on(&jig, QUICK, &run_folder, &[]);
    let said = unfolded(&not_excused.stdout);
    assert!(not_excused.status.code() == Some(4) && said.contains("`clock` was due on 2020-01-02"), "{said}");
}

#[test]
fn a_reason_without_an_overdue_calibration_is_not_recorded() {
    let run = Run::with(&["--overdue-because", "for no reason"]);
    assert_eq!(run.exit, Some(0));
    assert!(!run.record().contains("overdue_because"));
}
