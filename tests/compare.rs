//! `railproof compare`, the shipped binary: the demo's firmware regression is found and nothing else is blamed; tables of
//! others are compared as references have them; what cannot be compared is refused with what is missing.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;
#[path = "common/studied.rs"]
mod studied;

use serde_json::Value;
use shipped::project;
use std::fs;
use std::path::Path;
use studied::{study, study_of_table};
use tempfile::TempDir;

fn compare(arguments: &[&str]) -> (Option<i32>, String, String) {
    study("compare", arguments)
}

fn of_table(folder: &Path, text: &str, more: &[&str]) -> (Option<i32>, Value) {
    study_of_table("compare", folder, text, more)
}

/// A short plan with a check of the step clock, so that the firmware regression shows.
const PLAN: &str = "plan: regression
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
checks:
  - name: ready
    moves: [ power: on, home: left ]
    require: { unexpected restarts: at most 0 }
  - name: both ways
    moves: [ travel: { to: right, speed: 90 mm/s }, travel: { to: left, speed: 90 mm/s } ]
    require:
      cruise speed: 90 mm/s ± 1 %
      period jitter p99.9: at most 30 µs
      longest step gap: at most 190 µs
      end-stop overrun: at most 3 mm
      missing steps: at most 0
";

#[test]
fn the_regression_of_the_next_firmware_is_found_and_nothing_else_is_blamed() {
    let folder = TempDir::new().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    fs::write(path("plan.yaml"), PLAN).expect("it can be written");
    let (unit, jig) = (project("fixtures/units/dunlin-600.yaml"), project("fixtures/jigs/simulated.yaml"));
    let (results, junit, html) = (path("results"), path("compare.xml"), path("compare.html"));
    let (plan, unit, jig) = (path("plan.yaml"), unit.to_str().expect("a path"), jig.to_str().expect("a path"));
    let (exit, said, told) = compare(&[
        "--firmware",
        "1.4.0",
        "--against",
        "1.5.0",
        "--carry-out",
        &plan,
        "--unit",
        unit,
        "--jig",
        jig,
        "--results",
        &results,
        "--format",
        "json",
        "--junit",
        &junit,
        "--html",
        &html,
    ]);
    assert_eq!(exit, Some(1), "{told}");
    let found: Value = serde_json::from_str(&said).expect("JSON");
    let outcome = |measurand: &str| -> Vec<&str> {
        let rows = found["compared"].as_array().expect("a list").iter();
        rows.filter(|row| row["measurand"] == measurand).map(|row| row["outcome"].as_str().expect("text")).collect()
    };
    assert_eq!(outcome("period jitter p99.9"), ["worse"; 2]);
    assert_eq!(outcome("longest step gap"), ["worse"; 2]);
    assert_eq!(outcome("end-stop overrun"), ["equivalent"; 2]);
    assert_eq!(outcome("missing steps"), ["alike in every run"; 2]);
    let tail = found["step_intervals"].as_array().expect("a list").iter();
    let tail: Vec<_> = tail.filter(|row| row["false_discovery"].as_f64().is_some_and(|share| share < 0.05)).collect();
    assert!(
        tail.iter().any(|row| row["measurand"] == "step interval p99.9" && row["difference"].as_f64() > Some(50.0))
    );
    let xml = fs::read_to_string(junit).expect("it is written");
    assert!(xml.contains("<failure") && xml.contains("type=\"worse\"") && xml.contains("period jitter p99.9"), "{xml}");
    let page = fs::read_to_string(html).expect("it is written");
    assert!(page.contains("SIMULATED RUNS") && page.matches("<svg").count() >= 2, "{page}");
    // The same runs are found again in the records, and the same firmware against itself is no regression.
    let (exit, again, _) = compare(&["firmware=1.4.0", "firmware=1.5.0", "--results", &results, "--format", "json"]);
    let again: Value = serde_json::from_str(&again).expect("JSON");
    assert_eq!((exit, &again["compared"]), (Some(1), &found["compared"]));
    let (exit, said, _) = compare(&["firmware=1.4.0", "firmware=1.4.0", "--results", &results]);
    assert!(exit == Some(0) && said.starts_with("Nothing got worse"), "{said}");
    let (exit, _, told) = compare(&["firmware=1.4.0", "firmware=1.5.1", "--results", &results]);
    assert!(exit == Some(5) && told.contains("did you mean firmware=1.5.0?"), "{told}");
}

/// Two of Student's own samples: hours of sleep gained with two drugs by ten patients (Student 1908; Cushny and Peebles).
// Outside: Student (1908), sleep data: paired t = 4.0621, 9 df, P = 0.00283; Welch t = 1.8608, df 17.776, P = 0.07939; how: from memory (R's `sleep`)
#[test]
fn students_sleep_data() {
    let folder = TempDir::new().expect("a folder");
    let text =
        "first,second\n0.7,1.9\n-1.6,0.8\n-0.2,1.1\n-1.2,0.1\n-0.1,-0.1\n3.4,4.4\n3.7,5.5\n0.8,1.6\n0,4.6\n2,3.4\n";
    let (exit, paired) = of_table(folder.path(), text, &["--paired"]);
    let row = &paired["compared"][0];
    let close = |value: &Value, expected: f64, within: f64| {
        assert!(value.as_f64().is_some_and(|value| (value - expected).abs() < within), "{value} {expected}");
    };
    close(&row["t"]["value"], 4.0621, 5e-5);
    close(&row["t"]["probability"], 0.002833, 5e-7);
    assert_eq!((exit, row["outcome"].as_str()), (Some(1), Some("worse")));
    let (exit, apart) = of_table(folder.path(), text, &["--apart"]);
    let row = &apart["compared"][0];
    close(&row["t"]["value"], 1.8608, 5e-5);
    close(&row["t"]["degrees_of_freedom"], 17.776, 5e-4);
    close(&row["t"]["probability"], 0.07939, 5e-6);
    assert_eq!((exit, row["outcome"].as_str()), (Some(3), Some("cannot tell yet")));
    assert!(row["more_runs"].as_u64().is_some_and(|more| (1..30).contains(&more)), "{row}");
}

#[test]
fn what_cannot_be_compared_is_refused_with_what_is_missing() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("table.csv");
    for (text, exit, says) in [
        ("a,b\n1,x\n", 5, "table.csv:2: `x` is no number"),
        ("a,b\n1,inf\n", 5, "is no finite number"),
        ("a,b,c\n1,2,3\n", 5, "3 columns"),
        ("set,value\na,1\nb,2\nc,3\n", 5, "`c` is a third set"),
        ("set,value\na,1\n", 5, "there are 1 sets"),
        ("set,value,unit\na,1,s\na,2,V\n", 5, "in `V` here and in `s` above"),
        ("", 5, "0 columns"),
    ] {
        fs::write(&file, text).expect("it can be written");
        let (code, _, told) = compare(&["--from", file.to_str().expect("a path")]);
        assert!(code == Some(exit) && told.contains(says), "{text}: {told}");
    }
    for (text, says) in [
        ("a,b\n1,2\n", "one unit on a side"),
        ("a,b\n1,2\n2,\n", "one unit on a side"),
        ("a,b\n1,\n2,\n", "0 in the second"),
        ("set,value,unit\na,1,s\na,2,s\nb,2,V\nb,3,V\n", "one set has it in `s`, the other in `V`"),
    ] {
        let (exit, said) = of_table(folder.path(), text, &[]);
        assert_eq!((exit, said["compared"].as_array().map(Vec::len)), (Some(3), Some(0)), "{text}");
        let why = said["not_compared"][0]["why"].as_str().expect("text");
        assert!(why.contains(says), "{why}");
    }
    let (exit, alike) = of_table(folder.path(), "a,b\n1,1\n1,1\n1,1\n", &[]);
    assert_eq!((exit, alike["compared"][0]["outcome"].as_str()), (Some(0), Some("alike in every run")));
    let (code, _, told) = compare(&["--from", file.to_str().expect("a path"), "--margin", "speed=1 mm/s"]);
    assert!(code == Some(2) && told.contains("neither set has a `speed`"), "{told}");
    assert_eq!(compare(&[]).0, Some(2));
}
