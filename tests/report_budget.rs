//! Uncertainty budgets as tables, and the options that print them.

mod records;

use railproof::report::{budget, budgets};
use serde_json::json;
use std::process::Command;

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

/// The text of what follows `start` in a table of budgets, up to the next empty line.
fn section<'t>(text: &'t str, start: &str) -> &'t str {
    let from = text.find(start).unwrap_or_else(|| panic!("{start:?} is missing in\n{text}"));
    text[from..].split("\n\n").next().unwrap_or_default()
}

#[test]
fn every_value_with_a_doubt_has_its_table() {
    let record = records::changed("conforms-2", |_| {});
    let text = plain(&budgets(&record, 100));
    let readings = record.checks.iter().flat_map(|check| &check.requirements).flat_map(|one| &one.readings);
    let doubtful = readings.filter(|one| one.measured.as_ref().is_some_and(|measured| !measured.budget.is_empty()));
    assert_eq!(text.matches("\nsum ").count(), doubtful.count());
    let speed = section(&text, "promised top speed: cruise speed, to the right end at 90 mm/s");
    for said in [", k = ", "for 95 %; conforms, conformance probability more than 99.9 %", "u(y)", "clock, shared"] {
        assert!(speed.contains(said), "{said} is missing in\n{speed}");
    }
    // The rows stand below the rule.
    let (_, rows) = speed.split_once('─').expect("a rule below the heads");
    let shares = rows.lines().filter_map(|line| line.trim_end().strip_suffix(" %")?.rsplit(' ').next());
    let shares: Vec<f64> = shares.filter_map(|share| share.parse().ok()).collect();
    let (whole, parts) = shares.split_last().expect("the sum stands last");
    assert!((parts.iter().sum::<f64>() - 100.0).abs() < 0.3 && *whole == 100.0, "{shares:?}");
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    let long = "long ".repeat(100);
    let unbroken = "x".repeat(3_000);
    for (name, text) in [("a", "short"), ("b", long.as_str()), ("c", unbroken.as_str())] {
        let record = records::changed("does-not-conform-2", |value| {
            value["checks"][0]["name"] = json!(text);
            let requirement = &mut value["checks"][0]["requirements"][0];
            requirement["unit"] = json!(text);
            requirement["measurand"] = json!(text);
            requirement["readings"][0]["label"] = json!(text);
            let line = &mut requirement["readings"][0]["measured"]["budget"][0];
            line["from"] = json!(text);
            line["input"]["distribution"] = json!(text);
            line["input"]["unit"] = json!(text);
            line["input"]["sensitivity"] = json!(-1.23456e300);
            line["standard_uncertainty"] = json!(1.2345e-300);
        });
        for width in [1, 80, 89, 90, 120, 400] {
            let text = plain(&budgets(&record, width));
            let widest = text.lines().map(|line| line.chars().count()).max().expect("there are lines");
            assert!(widest <= usize::from(width.clamp(80, 120)), "{name}: {widest} at {width}\n{text}");
        }
    }
}

// Outside: JCGM 100:2008, H.1.7 (end gauge: u_c = 32 nm, ν_eff = 16, contributions 25, 5.8, 3.9, 6.7, 16.6 nm); how: from memory
#[test]
fn the_end_gauge_of_the_guide_as_a_table() {
    let line = |from: &str, contribution: f64, freedom: f64| json!({ "from": from, "standard_uncertainty": contribution, "degrees_of_freedom": freedom });
    let measured = serde_json::from_value(json!({
        "value": 50_000_838.0, "standard_uncertainty": 31.66388, "expanded_uncertainty": 92.48, "coverage_factor": 2.92,
        "degrees_of_freedom": 16.75,
        "budget": [line("standard", 25.0, 18.0), line("repeat", 5.8, 24.0), line("random", 3.9, 5.0),
            line("systematic", 6.7, 8.0), line("temperature difference", 16.599, 2.0), line("expansion", 2.8869, 50.0)],
        "margin": 0.0, "conformance_probability": 0.0
    }))
    .expect("a measured value");
    let text = plain(&budget("end gauge", &measured, "nm", "", 80));
    let sum = text.lines().last().expect("the sum stands last");
    assert_eq!(sum.split_whitespace().collect::<Vec<_>>(), ["sum", "32", "16", "100.0", "%"]);
    let standard = text.lines().find(|line| line.starts_with("standard")).expect("the first line");
    assert!(standard.ends_with("62.3 %"), "{standard}");
}

#[test]
fn lines_that_go_together_have_a_line_of_their_own() {
    let line = |contribution: f64, sensitivity: f64| {
        json!({ "from": "fit", "standard_uncertainty": contribution, "degrees_of_freedom": 10.0, "input": {
            "evaluation": "A", "distribution": "normal", "standard_uncertainty": contribution, "sensitivity": sensitivity } })
    };
    let measured = serde_json::from_value(json!({
        "value": 1.0, "standard_uncertainty": 1.0, "expanded_uncertainty": 2.0, "coverage_factor": 2.0,
        "budget": [line(3.0, 1.0), line(4.0, -1.0)], "correlations": [{ "lines": [0, 1], "coefficient": 1.0 }],
        "margin": 0.0, "conformance_probability": 0.0
    }))
    .expect("a measured value");
    let text = plain(&budget("fitted", &measured, "mV", "", 100));
    let line = text.lines().find(|line| line.contains("together")).unwrap_or_else(|| panic!("{text}"));
    assert!(line.starts_with("lines 1 and 2 together") && line.ends_with("−2400.0 %"), "{line}");
}

#[test]
fn run_judge_and_measure_print_budgets_where_they_are_asked() {
    let results = tempfile::tempdir().expect("a folder");
    let place = results.path().display().to_string();
    let bench = ["--unit", "fixtures/units/dunlin-600.yaml", "--jig", "fixtures/jigs/simulated.yaml"];
    let said = |arguments: &[&str], format: &[&str]| {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
        let output = command.args(arguments).args(bench).args(format).env("NO_COLOR", "1").output().expect("it starts");
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).expect("plain text")
    };
    let run = ["run", "test-plans/quick.yaml", "--serial", "SM-0001", "--results", &place];
    let with = said(&run, &["--budget"]);
    assert!(with.contains("\nsum ") && with.contains("u(y)") && !with.contains('\u{1b}'), "{with}");
    assert!(with.lines().filter(|line| !line.contains(place.as_str())).all(|line| line.chars().count() <= 80));
    let folder = with.lines().last().expect("the place of the record");
    let judge = ["judge", "test-plans/quick.yaml", "--captures", folder];
    assert!(said(&judge, &["--budget"]).contains("\nsum ") && !said(&judge, &[]).contains("\nsum "));
    let capture = format!("{folder}/captures/run.capture");
    let measure = ["measure", &capture];
    assert!(said(&measure, &["--budget"]).contains("\nsum ") && !said(&measure, &[]).contains("\nsum "));
    let answer: serde_json::Value = serde_json::from_str(&said(&measure, &["--format", "json"])).expect("JSON");
    let text = answer.to_string();
    for field in [
        "\"evaluation\":\"A\"",
        "\"distribution\":\"triangular\"",
        "\"sensitivity\"",
        "\"shared\":\"clock of the jig\"",
    ] {
        assert!(text.contains(field), "{field}");
    }
}
