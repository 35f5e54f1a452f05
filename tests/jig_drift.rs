//! The drift of a jig through the shipped binary: checks on many days, charts of them.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "not every test wants all of it")]
mod shipped;

use serde_json::Value;
use shipped::project;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

const JIG: &str = "fixtures/jigs/simulated.yaml";

fn jig(what: &str, results: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    command.args(["jig", what, "--jig"]).arg(project(JIG)).arg("--results").arg(results).args(more);
    command.output().expect("the binary runs")
}

fn check(results: &Path, more: &[&str]) {
    let unit = project("fixtures/units/dunlin-600.yaml");
    let unit = unit.to_str().expect("a plain path");
    let output = jig("check", results, &[&["--unit", unit], more].concat());
    assert!(output.status.code().is_some_and(|code| code <= 1), "{}", String::from_utf8_lossy(&output.stderr));
}

fn chart(output: &Output, value: &str) -> Value {
    let shown: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let charts = shown["charts"].as_array().expect("charts").clone();
    charts.into_iter().find(|chart| chart["value"] == value).unwrap_or_else(|| panic!("{shown:#}"))
}

#[test]
fn a_gain_that_drifts_leaves_its_limits_before_it_leaves_its_tolerance() {
    let folder = TempDir::new().expect("a folder");
    let results = folder.path();
    let output = jig("drift", results, &[]);
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stdout).contains("no check in its logbook"));
    // One jig on ten mornings: its errors stay, only its noise differs. The faults' severities are what differs in a seed.
    for morning in 0..10 {
        let fault = format!("drifted-gain:{}", 0.005 + 0.001 * f64::from([3, 1, 2, 4, 0][morning % 5]));
        check(results, &["--fault", &fault]);
    }
    let volts = "pack voltage against its reference";
    let output = jig("drift", results, &["--format", "json"]);
    assert_eq!(output.status.code(), Some(0));
    let before = chart(&output, volts);
    assert_eq!(
        (before["points"].as_array().map(Vec::len), before["limits"]["learnt_from"].as_u64()),
        (Some(10), Some(10))
    );
    check(results, &["--fault", "drifted-gain:0.08"]);
    let page = results.join("drift.html");
    let output = jig("drift", results, &["--format", "json", "--html", page.to_str().expect("a plain path")]);
    assert_eq!(output.status.code(), Some(1), "the last value is no chance");
    let after = chart(&output, volts);
    assert!(after["now"][0].as_str().is_some_and(|rule| rule.contains("beyond the control limits")), "{after:#}");
    let last = after["points"][10]["value"].as_f64().expect("a number");
    assert!((last - 7.4).abs() < 0.04, "it is within its tolerance still: {last}");
    let page = std::fs::read_to_string(page).expect("the page");
    assert!(page.contains("<svg") && page.contains(volts) && page.contains("SIMULATED"));
    let output = jig("drift", results, &[]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(text.contains("beyond the control limits (ISO 7870-2)"), "{text}");
}

#[test]
fn a_day_that_is_none_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let output = jig("drift", folder.path(), &["--since", "yesterday"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("write year-month-day"));
}
