//! `railproof capability`, the shipped binary: yields of kept runs, indices of a handbook's values, and reasoned refusals.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;
#[path = "common/studied.rs"]
mod studied;

use serde_json::Value;
use std::fs;
use std::path::Path;
use studied::{study, study_of_table};
use tempfile::TempDir;

fn capability(arguments: &[&str]) -> (Option<i32>, String, String) {
    study("capability", arguments)
}

fn of_table(folder: &Path, text: &str, more: &[&str]) -> (Option<i32>, Value) {
    study_of_table("capability", folder, text, more)
}

fn close(value: &Value, expected: f64, within: f64) {
    assert!(value.as_f64().is_some_and(|value| (value - expected).abs() < within), "{value} {expected}");
}

/// Ten units, of which one fails at first and conforms after a rework, and one stays bad.
#[test]
fn yields_count_units_and_not_runs() {
    let folder = TempDir::new().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    let results = folder.path().join("results");
    let run = |serial: &str, seed: &str, faults: &[&str]| {
        let jig = "fixtures/jigs/simulated.yaml";
        let mut run = shipped::run("test-plans/quick.yaml", jig, &results, serial);
        run.args(["--seed", seed, "--part", if seed < "5" { "belt=L2207" } else { "belt=L2301" }]).args(faults);
        assert!(run.output().expect("the binary runs").status.code().is_some());
    };
    for unit in 1..=8 {
        let (serial, seed) = (format!("SM-000{unit}"), unit.to_string());
        run(&serial, &seed, if unit < 3 { &["--fault", "dead-end-stop-right"] } else { &[] });
    }
    run("SM-0001", "1", &[]);
    let results = results.to_str().expect("a path");
    let html = path("line.html");
    let (exit, said, told) =
        capability(&["plan=quick", "--by", "part=belt", "--results", results, "--format", "json", "--html", &html]);
    let found: Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}{told}"));
    assert_eq!(exit, Some(0), "{told}");
    let (first, last) = (&found["yield"]["first_pass"], &found["yield"]["final"]);
    assert_eq!((first["count"].as_u64(), first["of"].as_u64()), (Some(6), Some(8)));
    assert_eq!((last["count"].as_u64(), last["of"].as_u64()), (Some(7), Some(8)));
    assert!(found["yield"]["checks"][0]["failed"].as_u64() >= Some(2), "{}", found["yield"]["checks"]);
    let quantities = found["quantities"].as_array().expect("a list");
    assert!(quantities.iter().any(|one| one["measurand"] == "cruise speed" && one["groups"][1]["name"] == "L2301"));
    assert!(!said.contains("null,\n      \"interval\": [\n        null"), "{said}");
    let page = fs::read_to_string(html).expect("it is written");
    assert!(page.contains("SIMULATED RUNS") && page.contains("<svg"), "{page}");
    let (exit, said, _) = capability(&["plan=quick", "--results", results]);
    assert!(exit == Some(0) && said.contains("first-pass yield 6 of 8, 75.0 % (34.9 % to 96.8 %)"), "{said}");
    let (exit, _, told) = capability(&["plan=quack", "--results", results]);
    assert!(exit == Some(5) && told.contains("no run that proves anything"), "{told}");
}

/// Subgroups of 5 around 10 by hand: ranges 4, 6; means 10, 12.
#[test]
fn subgroups_have_charts_of_means_and_ranges() {
    let folder = TempDir::new().expect("a folder");
    let rows = |subgroup: &str, values: [f64; 5]| values.map(|value| format!("{value},{subgroup},2,20\n")).concat();
    let text = format!(
        "value,subgroup,lower,upper\n{}{}",
        rows("a", [8.0, 9.0, 10.0, 11.0, 12.0]),
        rows("b", [9.0, 11.0, 12.0, 13.0, 15.0])
    );
    let (exit, found) = of_table(folder.path(), &text, &[]);
    let row = &found["quantities"][0];
    assert_eq!(exit, Some(0));
    // A₂ of five is 0.5768, D₄ 2.1145, d₂ 2.3259: mean range 5, mean 11.
    close(&row["subgroups"]["by_range"]["means"]["upper"], 11.0 + 0.5768 * 5.0, 1e-3);
    close(&row["subgroups"]["by_range"]["spreads"]["upper"], 2.1145 * 5.0, 1e-3);
    close(&row["standard_deviation_within"], 5.0 / 2.3259, 1e-3);
    close(&row["short_term"]["nearer"]["value"], 9.0 / (3.0 * 5.0 / 2.3259), 1e-3);
}

#[test]
fn what_cannot_be_studied_is_refused_with_what_is_missing() {
    let folder = TempDir::new().expect("a folder");
    for (text, more, says) in [
        ("value\n1\n2\n3\n", &[][..], "it takes 8"),
        ("value\n1\n1\n1\n1\n1\n1\n1\n1\n1\n", &["--upper", "3"], "are the same"),
        ("value,subgroup\n1,a\n2,a\n3,a\n4,b\n5,b\n6,b\n7,c\n8,c\n", &[], "not of one size"),
    ] {
        let (exit, found) = of_table(folder.path(), text, more);
        let why = found["not_studied"][0]["why"].as_str().expect("text");
        assert!(exit == Some(3) && why.contains(says), "{why}");
    }
    let file = folder.path().join("table.csv");
    for (text, says) in [
        ("value,upper\n1,5\n2,6\n", "table.csv:3: `value` has another unit or other limits"),
        ("value\nnan\n", "table.csv:2: `nan` is no finite number"),
        ("a,b\n1,2\n", "there is no column `value`"),
    ] {
        fs::write(&file, text).expect("it can be written");
        let (exit, _, told) = capability(&["--from", file.to_str().expect("a path")]);
        assert!(exit == Some(5) && told.contains(says), "{told}");
    }
}
