//! `railproof find` as a user meets it: what is found is what the records say, in each form.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use railproof::record::Record;
use railproof::record::stored::Verdict;
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// Three units: one healthy, one that failed and passed after rework, one of other tolerances. The records as they were
/// printed.
fn fleet() -> &'static (TempDir, Vec<Record>) {
    static FLEET: OnceLock<(TempDir, Vec<Record>)> = OnceLock::new();
    FLEET.get_or_init(|| {
        let results = TempDir::new().expect("a folder");
        let run = |serial: &str, more: &[&str]| {
            let mut run = shipped::run("test-plans/quick.yaml", "fixtures/jigs/simulated.yaml", results.path(), serial);
            let output = run.args(more).env_remove("RAILPROOF_OPERATOR").output().expect("the binary runs");
            serde_json::from_slice(&output.stdout).expect("the record is printed")
        };
        let records = vec![
            run("SM-0001", &["--part", "belt=L2207", "--operator", "ML"]),
            run("SM-0002", &["--part", "belt=L2207", "--fault", "dead-end-stop-right", "--operator", "JB"]),
            run("SM-0002", &["--part", "belt=L2301", "--operator", "a,\"b"]),
            run("SM-0003", &["--seed", "7"]),
        ];
        (results, records)
    })
}

fn find(results: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    let output = command.arg("find").args(arguments).arg("--results").arg(results).output().expect("the binary runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn found(arguments: &[&str]) -> Vec<Value> {
    let (exit, said, told) = find(fleet().0.path(), &[arguments, &["--format", "json"]].concat());
    assert_eq!((exit, &*told), (Some(0), ""), "{arguments:?}");
    let found: Value = serde_json::from_str(&said).expect("JSON");
    found["found"].as_array().expect("a list").clone()
}

fn ids(arguments: &[&str]) -> Vec<String> {
    found(arguments).iter().map(|found| found["run"].as_str().expect("an id").to_owned()).collect()
}

#[test]
fn runs_are_found_by_what_their_records_say() {
    let records = &fleet().1;
    let those = |which: &dyn Fn(&Record) -> bool| -> Vec<String> {
        records.iter().filter(|record| which(record)).map(|record| record.run.id.clone()).collect()
    };
    let day = &records[0].run.started[..10];
    assert_eq!(ids(&[]), those(&|_| true));
    assert_eq!(
        ids(&["--part", "belt=L2207"]),
        those(&|record| record.unit.parts.iter().any(|part| part.lot == "L2207"))
    );
    assert_eq!(ids(&["--operator", "ML"]), those(&|record| record.bench.operator.as_deref() == Some("ML")));
    assert_eq!(ids(&["--decision", "conforms"]), those(&|record| record.decision == Verdict::Conforms));
    assert_eq!(ids(&["--decision", "does-not-conform"]), those(&|record| record.decision == Verdict::DoesNotConform));
    let all = ["--model", "dunlin-600", "--firmware", "1.4.0", "--plan", "quick", "--bench", &records[0].bench.jig];
    assert_eq!(ids(&[&all[..], &["--from", day]].concat()).len(), 4);
    assert!(ids(&["--to", "2020-01-01"]).is_empty() && ids(&["--from", "9990-01-01"]).is_empty());
    assert!(ids(&["--part", "belt=L2301", "--operator", "ML"]).is_empty());
}

/// Every value that is found is one of a record, and none is left out.
#[test]
fn values_are_found_within_their_limits_in_whatever_unit() {
    let records = &fleet().1;
    let stored = |measurand: &str, within: &dyn Fn(f64) -> bool| {
        let mut values = Vec::new();
        for record in records {
            let requirements = record.checks.iter().flat_map(|check| &check.requirements);
            for requirement in requirements.filter(|requirement| requirement.measurand == measurand) {
                let measured = requirement.readings.iter().filter_map(|reading| reading.measured.as_ref());
                values.extend(measured.map(|measured| measured.value).filter(|value| within(*value)));
            }
        }
        values
    };
    let numbers = |wanted: &str| -> Vec<f64> {
        found(&["--value", wanted]).iter().map(|found| found["value"]["value"].as_f64().expect("a number")).collect()
    };
    let speeds = stored("cruise speed", &|_| true);
    assert!(speeds.len() >= 6, "{speeds:?}");
    assert_eq!(numbers("cruise speed"), speeds);
    let mut sorted = speeds.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    assert_eq!(
        numbers(&format!("cruise speed at least {median} mm/s")),
        stored("cruise speed", &|speed| speed >= median)
    );
    let in_metres = format!("cruise speed at least {} m/s", median / 1000.0 - 1e-9);
    assert_eq!(numbers(&in_metres), stored("cruise speed", &|speed| speed >= median));
    assert_eq!(numbers("missed end stops at least 1"), stored("missed end stops", &|count| count >= 1.0));
    let one = found(&["--value", "cruise speed", "--check", "both ways at top speed", "--operator", "ML"]);
    assert!(!one.is_empty() && one.iter().all(|found| found["check"]["name"] == "both ways at top speed"));
    assert!(found(&["--value", "cruise speed", "--check", "start and stop by hand"]).is_empty());
}

#[test]
fn a_decision_is_that_of_what_is_searched_for() {
    let records = &fleet().1;
    for check in records[0].checks.iter().map(|check| &check.name) {
        for (word, verdict) in [("conforms", Verdict::Conforms), ("does-not-conform", Verdict::DoesNotConform)] {
            let expected: Vec<_> = records
                .iter()
                .filter(|record| record.checks.iter().any(|of| of.name == *check && of.decision == verdict))
                .map(|record| record.run.id.clone())
                .collect();
            assert_eq!(ids(&["--check", check, "--decision", word]), expected, "{check}: {word}");
        }
    }
}

#[test]
fn tables_for_people_and_for_spreadsheets() {
    let place = fleet().0.path();
    let (_, said, _) = find(place, &["--value", "cruise speed at least 1 mm/s", "--operator", "ML"]);
    assert!(
        said.contains("cruise speed, ") && said.contains(" mm/s, u = ") && said.ends_with(" values of 1 run\n"),
        "{said}"
    );
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    let (_, said, _) = find(place, &["--operator", "a,\"b", "--format", "csv"]);
    let lines: Vec<&str> = said.split_terminator("\r\n").collect();
    assert!(lines.len() == 2 && lines[0].starts_with("started,serial,model,"), "{said}");
    assert!(
        lines[1].contains(",\"a,\"\"b\",")
            && lines[1].contains(",SM-0002,dunlin-600,1.4.0,quick,1,conforms,simulated,true,"),
        "{said}"
    );
    let columns = lines[0].split(',').count();
    assert_eq!(lines[1].replace("\"a,\"\"b\"", "x").split(',').count(), columns);
}

#[test]
fn nothing_found_is_an_answer_and_a_slip_is_pointed_out() {
    let place = fleet().0.path();
    let (exit, said, told) = find(place, &["--plan", "qiuck"]);
    assert_eq!((exit, &*said), (Some(0), "0 runs\n"));
    assert!(told.contains("no record has the plan `qiuck`; did you mean `quick`?"), "{told}");
    for wrong in [
        &["--value", "criuse speed at least 1 mm/s"][..],
        &["--value", "cruise speed at least 1 V"],
        &["--part", "belt"],
        &["--from", "yesterday"],
        &["--decision", "good"],
    ] {
        assert_eq!(find(place, wrong).0, Some(2), "{wrong:?}");
    }
}
