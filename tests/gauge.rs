//! `railproof gauge`, the shipped binary: a study is planned, its table analysed as the manual has it, and kept runs as well.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;
#[path = "common/studied.rs"]
#[expect(dead_code, reason = "others study tables")]
mod studied;

use serde_json::Value;
use std::fs;
use studied::study;
use tempfile::TempDir;

fn gauge(arguments: &[&str]) -> (Option<i32>, String, String) {
    study("gauge", arguments)
}

#[test]
fn a_study_is_planned_in_a_random_order_that_its_seed_repeats() {
    let arguments = ["--plan", "--units", "SM-0001,SM-0002", "--appraisers", "Ada,Ben", "--repeats", "2"];
    let (exit, said, _) = gauge(&arguments);
    assert!(exit == Some(0) && said.starts_with("turn,round,unit,appraiser\n1,1,SM-"), "{said}");
    assert_eq!((said.lines().count(), gauge(&arguments).1), (9, said.clone()));
    let (exit, _, told) = gauge(&["--plan", "--units", "SM-0001", "--appraisers", "Ada"]);
    assert!(exit == Some(2) && told.contains("2 or more units"), "{told}");
}

/// Two units, two appraisers, two repeats, by hand: cells (1, 3) (5, 7) and (2, 4) (6, 8). Means of units 2.5 and 6.5, of
/// appraisers 4 and 5, no interaction; within cells each 2, so that 4 degrees of freedom have 8.
#[test]
fn a_table_is_analysed() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("table.csv");
    let path = file.to_str().expect("a path");
    let rows = [("a", "A", 1.0), ("a", "A", 3.0), ("b", "A", 5.0), ("b", "A", 7.0)];
    let more = [("a", "B", 2.0), ("a", "B", 4.0), ("b", "B", 6.0), ("b", "B", 8.0)];
    let text: String =
        rows.iter().chain(&more).map(|(unit, who, value)| format!("{unit},{who},{value},-50,50\n")).collect();
    fs::write(&file, format!("unit,appraiser,value,lower,upper\n{text}")).expect("it can be written");
    let (exit, said, told) = gauge(&["--from", path, "--format", "json"]);
    let found: Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}{told}"));
    let row = &found["quantities"][0];
    let squares: Vec<f64> =
        row["anova"].as_array().expect("a list").iter().filter_map(|line| line["sum_of_squares"].as_f64()).collect();
    assert_eq!(squares, [32.0, 2.0, 0.0, 8.0]);
    // Pooled: 8 over 5 degrees of freedom.
    let repeatability = row["spread"]["repeatability"].as_f64().expect("a number");
    assert!((repeatability - 1.6_f64.sqrt()).abs() < 1e-12);
    assert_eq!((exit, row["design"].as_str()), (Some(0), Some("crossed, without interaction")));
    let html = folder.path().join("jig.html");
    let (exit, said, _) = gauge(&["--from", path, "--html", html.to_str().expect("a path")]);
    assert_eq!(fs::read_to_string(html).expect("it is written").matches("<circle").count(), 8);
    assert!(exit == Some(0) && said.contains("it tells good from bad"), "{said}");
    for (text, says, exit) in [
        ("unit,appraiser,value\na,A,1\n", "1 unit tells nothing", 3),
        ("unit,appraiser,value\na,A,1\nb,A,2\n", "measured once", 3),
        ("unit,appraiser,value\na,A,1\na,A,2\nb,A,2\n", "1 times, and others 2 times", 3),
        ("unit,appraiser,value\na,A,x\n", "`x` is no number", 5),
        ("part,value\na,1\n", "there is no column `unit`", 5),
    ] {
        fs::write(&file, text).expect("it can be written");
        let (code, said, told) = gauge(&["--from", path]);
        assert!(code == Some(exit) && format!("{said}{told}").contains(says), "{said}{told}");
    }
}

/// The simulated bench, two units twice by each of two operators.
#[test]
fn kept_runs_are_a_study() {
    let folder = TempDir::new().expect("a folder");
    let results = folder.path().join("results");
    for (run, (serial, who)) in [("SM-0001", "Ada"), ("SM-0002", "Ada"), ("SM-0001", "Ben"), ("SM-0002", "Ben")]
        .repeat(2)
        .into_iter()
        .enumerate()
    {
        // The lower bits of a seed are the unit, the others its run.
        let seed = ((run as u64 + 1) << 52) + u64::from(serial == "SM-0002");
        let mut command = shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", &results, serial);
        command.args(["--seed", &seed.to_string(), "--operator", who]);
        assert_eq!(command.output().expect("the binary runs").status.code(), Some(0));
    }
    let results = results.to_str().expect("a path");
    let (exit, said, told) = gauge(&["plan=quick", "--results", results, "--format", "json"]);
    let found: Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}{told}"));
    assert!(exit.is_some_and(|exit| exit != 2 && exit != 5), "{told}");
    let rows = found["quantities"].as_array().expect("a list");
    let speed = rows.iter().find(|row| row["measurand"] == "cruise speed").expect("it is measured");
    assert_eq!(
        (speed["units"].as_u64(), speed["appraisers"].as_u64(), speed["repeats"].as_u64()),
        (Some(2), Some(2), Some(2))
    );
    assert_eq!(found["simulated"], true);
}
