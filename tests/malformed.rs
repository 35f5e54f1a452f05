//! What the shipped binary says of files that are wrong: every file under `tests/data/malformed` is given to
//! `railproof lint`, and its answer must be the text that stands beside it.
//!
//! A name that begins with `fit-` is a plan that is sound by itself and wrong for its bench: it is given together with the
//! Dunlin 600's unit file and the simulated jig's, or with a jig that has little.

use assert_cmd::Command;
use expect_test::expect_file;
use std::path::{Path, PathBuf};

const UNIT: &str = "../../../fixtures/units/dunlin-600.yaml";
const JIG: &str = "../../../fixtures/jigs/simulated.yaml";
const POOR_JIG: &str = "../poor-jig.yaml";

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/malformed")
}

fn lint(files: &[&str]) -> Command {
    let mut command = Command::cargo_bin("railproof").expect("the binary is built");
    command.current_dir(folder()).arg("lint").args(files);
    command
}

fn malformed() -> Vec<String> {
    let entries = std::fs::read_dir(folder()).expect("the folder of malformed files");
    let names = entries.map(|entry| entry.expect("an entry").file_name().into_string().expect("a plain name"));
    let mut names: Vec<String> = names.filter(|name| name.ends_with(".yaml")).collect();
    names.sort();
    names
}

fn companions(name: &str) -> Vec<&str> {
    match name {
        "fit-poor-jig.yaml" => vec![name, UNIT, POOR_JIG],
        _ if name.starts_with("fit-") => vec![name, UNIT, JIG],
        _ => vec![name],
    }
}

#[test]
fn every_mistake_is_shown_at_its_place_with_what_would_be_right() {
    let names = malformed();
    assert!(names.len() >= 50, "{} malformed files", names.len());
    for name in names {
        let output = lint(&companions(&name)).output().expect("the binary runs");
        let said = String::from_utf8(output.stdout).expect("plain text");
        assert_eq!(output.status.code(), Some(5), "{name}: {said}");
        assert!(output.stderr.is_empty(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
        let place = said.strip_prefix(&format!("{name}:")).and_then(|rest| rest.split(' ').next()).unwrap_or("");
        let numbers: Vec<_> = place.trim_end_matches(':').split(':').map(str::parse::<usize>).collect();
        assert!(matches!(numbers[..], [Ok(1..), Ok(1..)]), "{name} does not begin with its place: {said}");
        assert!(said.contains("= right: ") && said.contains('^'), "{name}: {said}");
        expect_file![folder().join(name.replace(".yaml", ".txt"))].assert_eq(&said);
    }
}

#[test]
fn the_answer_for_programs_has_the_same_places() {
    let names = malformed();
    let names: Vec<&str> = names.iter().map(String::as_str).filter(|name| !name.starts_with("fit-")).collect();
    let output = lint(&names).args(["--format", "json"]).output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(5));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let files = answer["files"].as_array().expect("a list of files");
    assert_eq!(files.len(), names.len());
    for file in files {
        let name = file["file"].as_str().expect("a name");
        let text = std::fs::read_to_string(folder().join(name.replace(".yaml", ".txt"))).expect("the expected text");
        let problems = file["problems"].as_array().expect("a list of problems");
        assert!(!problems.is_empty(), "{name}");
        for problem in problems {
            let place = format!("{name}:{}:{}: ", problem["line"], problem["column"]);
            let what = problem["what"].as_str().expect("what is wrong");
            assert!(text.contains(&format!("{place}{what}")), "{name}: {place}{what}");
            assert!(!problem["right"].as_str().expect("what would be right").is_empty());
        }
    }
}

#[test]
fn a_file_that_cannot_be_read_is_an_answer_too() {
    let output = lint(&["no-such-plan.yaml"]).output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(5));
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.starts_with("no-such-plan.yaml:1:1: this file cannot be read: "), "{said}");
    let folder = tempfile::tempdir().expect("a folder");
    let latin = folder.path().join("latin.yaml");
    std::fs::write(&latin, b"plan: trial\n# 5 \xb5m\n").expect("a file");
    let output = lint(&[latin.to_str().expect("a plain path")]).output().expect("the binary runs");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.code() == Some(5) && said.contains("latin.yaml:2:5: this byte is not UTF-8 text"), "{said}");
}

/// The plan for front panels asks for flicker, which a Raspberry Pi's buses are too slow for and the reference board lacks.
#[test]
fn the_plan_for_front_panels_fits_the_jigs_that_see_flicker() {
    let front_panel = "../../../test-plans/front-panel.yaml";
    for (jig, code) in [("simulated", 0), ("usb-board", 0), ("raspberry-pi", 5), ("capture-board", 5)] {
        let jig = format!("../../../fixtures/jigs/{jig}.yaml");
        let output = lint(&[front_panel, &jig, UNIT]).output().expect("the binary runs");
        let said = String::from_utf8_lossy(&output.stdout);
        assert_eq!(output.status.code(), Some(code), "{said}");
        assert_eq!(said.contains("needs the channel `light flicker`"), code == 5, "{said}");
    }
}

/// What is shipped is sound, fits every jig that is shipped, and takes the time that its first lines promise.
#[test]
fn shipped_files_are_sound_and_plans_take_their_time() {
    let plans = ["outgoing", "quick", "firmware", "returned", "soak", "positioning", "jig-check-plain"]
        .map(|plan| format!("../../../test-plans/{plan}.yaml"));
    let jigs = ["simulated", "usb-board", "raspberry-pi", "capture-board"]
        .map(|jig| format!("../../../fixtures/jigs/{jig}.yaml"));
    let files: Vec<&str> = plans.iter().chain(&jigs).map(String::as_str).chain([UNIT]).collect();
    let output = lint(&files).args(["--format", "json"]).output().expect("the binary runs");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    for (file, range) in answer["files"].as_array().expect("files").iter().zip([
        270.0..300.0,
        0.0..60.0,
        0.0..300.0,
        0.0..300.0,
        1700.0..1900.0,
    ]) {
        let takes = file["takes"].as_array().expect("a list of benches");
        assert_eq!(takes.len(), jigs.len());
        for bench in takes {
            let seconds = bench["expected_s"].as_f64().expect("seconds");
            assert!(range.contains(&seconds), "{}: {seconds} s", file["file"]);
        }
    }
}
