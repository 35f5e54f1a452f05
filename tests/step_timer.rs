//! What `measure` and a record say of the timer behind the steps: how much one of its ticks is of a rate, and a compare register
//! that is one off, told from a clock.

#[path = "common/shipped.rs"]
mod shipped;

use railproof::record::Record;
use railproof::record::stored::Verdict;
use serde_json::Value;
use shipped::{decisions, in_process, project, run};
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

/// Runs the firmware's plan on a unit with these faults; its record, and what `measure` says of the capture.
fn told(faults: &[&str], format: &str) -> (Record, String) {
    let folder = TempDir::new().expect("a folder");
    let mut run = run("test-plans/firmware.yaml", "fixtures/jigs/simulated.yaml", folder.path(), "SM-0001");
    let output = run.args(faults.iter().flat_map(|fault| ["--fault", fault])).output().expect("the binary runs");
    let record: Record = serde_json::from_slice(&output.stdout).expect("the record is printed");
    let capture = folder.path().join("SM-0001").join(&record.run.id).join("captures/run.capture");
    (record, measure(&capture, format))
}

fn measure(capture: &Path, format: &str) -> String {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    command.arg("measure").arg(capture).args(["--no-closer-look", "--format", format]);
    command.args(["--unit".as_ref(), project("fixtures/units/dunlin-600.yaml").as_os_str()]);
    command.args(["--jig".as_ref(), project("fixtures/jigs/simulated.yaml").as_os_str()]);
    let output = command.output().expect("the binary runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn a_compare_register_that_is_one_too_high_is_named() {
    let (record, text) = told(&["late-compare"], "text");
    assert!(
        text.contains(
            "every period is 1 tick longer than commanded: its compare register is 1 too high; -3600 ppm of the rate"
        ),
        "{text}"
    );
    let decided = |record: &Record| {
        let of_the_offset = decisions(record).into_iter().find(|decided| decided.1 == "period offset");
        of_the_offset.expect("it is required").2
    };
    assert_eq!(decided(&record), Verdict::DoesNotConform);
    assert_eq!(decided(&in_process("test-plans/firmware.yaml", &[])), Verdict::Conforms);
    // 279 ticks instead of 277.8 at the highest of five levels, in parts of a million.
    let mut required = record.checks.iter().flat_map(|check| &check.requirements);
    let granularity = required.find(|required| required.measurand == "rate granularity").expect("it is required");
    let fastest = granularity.readings.last().and_then(|reading| reading.measured.as_ref());
    let ppm = fastest.expect("five levels").value;
    assert!((ppm - 1e6 / 279.0).abs() < 1.0, "{granularity:?}");
}

#[test]
fn programs_are_told_the_same() {
    for (faults, finding, ticks) in [(&[][..], "as commanded", 0), (&["late-compare"][..], "compare register off", 1)] {
        let (_, text) = told(faults, "json");
        let measured: Value = serde_json::from_str(&text).expect("JSON");
        let checks = measured["captures"][0]["checks"].as_array().expect("checks");
        let timers: Vec<&Value> =
            checks.iter().map(|check| &check["step_timer"]).filter(|timer| !timer.is_null()).collect();
        let [timer] = timers[..] else { panic!("one check has levels: {timers:?}") };
        assert_eq!((&timer["finding"], &timer["ticks"]), (&finding.into(), &ticks.into()), "{timer:#}");
        assert_eq!(timer["speeds"], 5);
    }
}
