//! The step-clock report as a user meets it.

use super::{measure, measured, there_and_back};
use serde_json::Value;

const WIRES: [&str; 4] = ["--channel", "step=D0", "--channel", "direction=D1"];

fn clocks(capture: &Value) -> Vec<&Value> {
    let checks = capture["checks"].as_array().expect("checks");
    checks.iter().flat_map(|check| check["step_clock"].as_array().expect("clocks")).collect()
}

fn value(phase: &Value, name: &str) -> (f64, f64) {
    let values = phase["values"].as_array().expect("values");
    let found = values.iter().find(|value| value["name"] == name).unwrap_or_else(|| panic!("no {name}: {phase:#}"));
    let number = |name: &str| found[name].as_f64().expect("a number");
    (number("value"), number("expanded_uncertainty"))
}

// Outside: a trapezoid of 7200 steps/s and 1600 mm/s² by arithmetic; how: closed form
#[test]
fn the_clock_of_a_trapezoid() {
    let capture = measured(&there_and_back().text("1 ns", 1), &WIRES);
    let clocks = clocks(&capture);
    assert_eq!(clocks.len(), 2, "{capture:#}");
    for (clock, direction) in clocks.into_iter().zip(["right", "left"]) {
        assert_eq!((&clock["direction"], &clock["steps"]), (&Value::from(direction), &Value::from(36_000)));
        let phases = clock["phases"].as_array().expect("phases");
        let names: Vec<&str> = phases.iter().filter_map(|phase| phase["phase"].as_str()).collect();
        assert_eq!(names, ["ramp up", "cruise", "ramp down"]);
        let (period, doubt) = value(&phases[1], "mean period");
        assert!((period - 1.0 / 7200.0).abs() <= doubt && doubt < 1e-12, "{period} {doubt}");
        for (phase, name) in [(0, "acceleration"), (2, "deceleration")] {
            let (acceleration, doubt) = value(&phases[phase], name);
            assert!((acceleration - 1.6).abs() < doubt.max(1e-4), "{acceleration} {doubt}");
        }
        let (error, _) = value(&phases[1], "time interval error");
        assert!(error < 1e-9, "{error}");
        assert_eq!(phases[1]["intervals"]["count"], phases[1]["steps"]);
        assert!(phases[1]["longest_gap"]["into_phase_s"].as_f64().is_some());
    }
}

#[test]
fn the_clock_as_text() {
    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), there_and_back().text("1 ns", 1)).expect("written");
    let output = measure(&file.path().display().to_string(), &WIRES);
    let text = String::from_utf8(output.stdout).expect("text");
    for line in [
        "step clock: motion 1, to the right; 36000 steps, 0 of them doubled",
        "  cruise, ",
        "Allan deviation over 138.9 µs",
        "longest gap",
    ] {
        assert!(text.contains(line), "{line:?} is not in\n{text}");
    }
}
