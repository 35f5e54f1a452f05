//! `railproof export RUN --captures` as a user meets it: a run's captures for other viewers, measured again to the same values.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use tempfile::TempDir;

/// What is found from the edges alone, wherever the moves were marked to begin.
const MEASURANDS: [&str; 9] = [
    "cruise speed",
    "travel time",
    "travel length",
    "missing steps",
    "period jitter rms",
    "longest step gap",
    "end-stop bounce",
    "end-stop overrun",
    "cruise current",
];

/// The folder of a simulated run.
fn run() -> &'static Path {
    static RUN: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, run) = RUN.get_or_init(|| {
        let results = TempDir::new().expect("a folder");
        let mut run = shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", results.path(), "SM-0001");
        let record: Value = serde_json::from_slice(&run.output().expect("the binary runs").stdout).expect("a record");
        let folder = results.path().join("SM-0001").join(record["run"]["id"].as_str().expect("an id"));
        (results, folder)
    });
    run
}

fn railproof(arguments: &[&str]) -> Output {
    Command::new(assert_cmd::cargo::cargo_bin!("railproof")).args(arguments).output().expect("the binary runs")
}

fn export(run: &Path, form: &str, into: &Path) -> Output {
    let (run, into) = (run.display().to_string(), into.display().to_string());
    railproof(&["export", &run, "--captures", form, "--into", &into, "--format", "json"])
}

fn json(output: &Output) -> Value {
    let told = String::from_utf8_lossy(&output.stderr);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {told}"))
}

/// The values of a measurand over all motions, in order of size.
fn values(measured: &Value, measurand: &str) -> Vec<f64> {
    let checks = measured["captures"][0]["checks"].as_array().expect("checks");
    let values = checks.iter().flat_map(|check| check["values"].as_array().expect("values"));
    let readings = values
        .filter(|value| value["measurand"] == measurand)
        .flat_map(|value| value["readings"].as_array().expect("readings"));
    let mut numbers: Vec<f64> = readings.filter_map(|reading| reading["value"].as_f64()).collect();
    numbers.sort_by(f64::total_cmp);
    numbers
}

#[test]
fn what_is_exported_measures_the_same() {
    let folder = TempDir::new().expect("a folder");
    let frozen = |file: &str| run().join("inputs").join(file).display().to_string();
    let capture = run().join("captures/run.capture").display().to_string();
    let (unit, jig) = (frozen("unit.yaml"), frozen("jig.yaml"));
    let more = ["--no-closer-look", "--format", "json"];
    let ours = json(&railproof(&[&["measure", &capture, "--unit", &unit, "--jig", &jig][..], &more].concat()));
    for form in ["vcd", "csv"] {
        let into = folder.path().join(format!("run.{form}"));
        let output = export(run(), form, &into);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        let told = json(&output);
        assert_eq!((&told["serial"], &told["simulated"]), (&"SM-0001".into(), &true.into()));
        let again: Vec<&str> =
            told["measure"].as_array().expect("words").iter().skip(1).filter_map(Value::as_str).collect();
        let output = railproof(&[&again[..], &more].concat());
        assert_eq!(output.status.code(), Some(0), "{form}: {}", String::from_utf8_lossy(&output.stderr));
        let theirs = json(&output);
        for measurand in MEASURANDS {
            // What a table's clock tells apart is not the jig's tick of half a microsecond, which these are corrected for.
            let of_the_tick = ["period jitter rms", "longest step gap"].contains(&measurand);
            let apart_s = if form == "csv" && of_the_tick { 0.5e-6 } else { 0.0 };
            let (ours, theirs) = (values(&ours, measurand), values(&theirs, measurand));
            assert!(!ours.is_empty(), "{measurand}");
            for value in &ours {
                let is_it = |other: &f64| (other - value).abs() <= 1e-9 * value.abs() + apart_s;
                assert!(theirs.iter().any(is_it), "{form}, {measurand}: {value} is none of {theirs:?}");
            }
        }
        let text = fs::read_to_string(&into).expect("it is there");
        if form == "vcd" {
            let pulses = text.lines().filter(|line| line.len() == 2 && line.ends_with('!'));
            assert!(pulses.clone().count() > 10_000 && pulses.clone().all(|pulse| pulse == "1!"));
        }
        assert!(text.contains("simulated") && text.contains("no unit was tested"));
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 2, "nothing is left beside them");
}

#[test]
fn what_was_lost_is_lost_in_the_copy_too() {
    let folder = TempDir::new().expect("a folder");
    let torn = folder.path().join("ID");
    for below in ["captures", "inputs"] {
        fs::create_dir_all(torn.join(below)).expect("a folder");
    }
    for file in ["record.json", "inputs/unit.yaml", "inputs/jig.yaml"] {
        fs::copy(run().join(file), torn.join(file)).expect("it is there");
    }
    let capture = fs::read(run().join("captures/run.capture")).expect("a capture");
    fs::write(torn.join("captures/run.capture"), &capture[..capture.len() / 2]).expect("it can be written");
    for form in ["vcd", "csv"] {
        let into = folder.path().join(form);
        let output = export(&torn, form, &into);
        assert_eq!(output.status.code(), Some(4), "{}", String::from_utf8_lossy(&output.stderr));
        let told = json(&output);
        assert!(told["losses"].as_array().is_some_and(|losses| !losses.is_empty()), "{told:#}");
        let again: Vec<&str> =
            told["measure"].as_array().expect("words").iter().skip(1).filter_map(Value::as_str).collect();
        assert_eq!(railproof(&[&again[..], &["--no-closer-look"]].concat()).status.code(), Some(4), "{form}");
    }
}

#[test]
fn nothing_is_written_over_and_nothing_half() {
    let folder = TempDir::new().expect("a folder");
    let into = folder.path().join("run.vcd");
    fs::write(&into, "mine").expect("it can be written");
    let refused = |output: &Output, exit: i32, says: &str| {
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(exit) && told.contains(says), "{told}");
    };
    refused(&export(run(), "vcd", &into), 5, "is there; remove it");
    assert_eq!(fs::read_to_string(&into).expect("it is there"), "mine");
    let nowhere = folder.path().join("nowhere");
    refused(&export(&nowhere, "vcd", &folder.path().join("other.vcd")), 5, "record.json");
    refused(&export(run(), "vcd", &nowhere.join("run.vcd")), 5, "run.vcd");
    let of_run = run().display().to_string();
    refused(&railproof(&["export", &of_run, "--into", "x"]), 2, "--captures");
    refused(&railproof(&["export", "--captures", "vcd", "--into", "x"]), 2, "RUN");
    let both = ["export", &of_run, "--captures", "vcd", "--into", "x", "--model", "dunlin-600"];
    refused(&railproof(&both), 2, "cannot be used with");
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
}
