//! `railproof claim` as a user meets it: a unit is qualified, leaves, comes back with an aged pack, is tested, and the sheet
//! names what changed.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

fn railproof(results: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.args(arguments).arg("--results").arg(results).env_remove("RAILPROOF_OPERATOR");
    command.output().expect("the binary runs")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

fn run(results: &Path, plan: &str, more: &[&str]) {
    let mut run = shipped::run(&format!("test-plans/{plan}.yaml"), "fixtures/jigs/simulated.yaml", results, "SM-0001");
    run.args(["--seed", "5"]).args(more).output().expect("the binary runs");
}

#[test]
fn a_returned_unit_is_held_against_what_it_was_when_it_left() {
    let folder = TempDir::new().expect("a folder");
    let results = folder.path();
    let none = railproof(results, &["claim", "SM-0001"]);
    assert!(none.status.code() == Some(2) && said(&none).contains("there are no runs of SM-0001"), "{}", said(&none));
    run(results, "outgoing", &[]);
    let early = railproof(results, &["claim", "SM-0001"]);
    assert!(early.status.code() == Some(2) && said(&early).contains("never dispatched"), "{}", said(&early));
    railproof(results, &["dispatch", "SM-0001", "--because", "a demonstration"]);
    let away = railproof(results, &["claim", "SM-0001"]);
    assert!(away.status.code() == Some(2) && said(&away).contains("railproof receive"), "{}", said(&away));
    railproof(results, &["receive", "SM-0001", "--complaint", "weak <b>after</b> an hour"]);
    let untested = railproof(results, &["claim", "SM-0001"]);
    assert!(
        untested.status.code() == Some(2) && said(&untested).contains("no run since it came back"),
        "{}",
        said(&untested)
    );

    run(results, "returned", &[]);
    let same = railproof(results, &["claim", "SM-0001", "--format", "json"]);
    let told: Value = serde_json::from_slice(&same.stdout).expect("JSON");
    let changed = |told: &Value| {
        let all = told["compared"].as_array().expect("values").iter();
        all.filter(|one| one["told"] == "changed").map(|one| one["measurand"].to_string()).collect::<Vec<_>>()
    };
    assert!(changed(&told).is_empty() && told["same_jig"] == true, "{told:#}");

    run(results, "returned", &["--fault", "weak-pack:0.3"]);
    let (html, pdf) = (results.join("claim.html"), results.join("claim.pdf"));
    let (html_path, pdf_path) = (html.display().to_string(), pdf.display().to_string());
    let aged = railproof(results, &["claim", "SM-0001", "--html", &html_path, "--pdf", &pdf_path]);
    let text = said(&aged);
    assert_eq!(aged.status.code(), Some(1), "{text}");
    assert!(text.starts_with("SIMULATED") && text.contains("The pack's series resistance rose from "), "{text}");
    let page = std::fs::read_to_string(html).expect("a page");
    assert!(
        page.contains("weak &lt;b&gt;after&lt;/b&gt; an hour") && page.contains("The pack's series resistance rose")
    );
    assert!(std::fs::read(pdf).expect("a PDF").starts_with(b"%PDF-1.7"));
    for entry in std::fs::read_dir(results.join("SM-0001")).expect("runs").flatten() {
        let files = std::fs::read_dir(entry.path()).into_iter().flatten().flatten();
        let sheets = files.filter(|file| file.path().extension().is_some_and(|ending| ending == "html"));
        assert!(
            sheets.into_iter().all(|sheet| !std::fs::read_to_string(sheet.path()).unwrap().contains("after an hour"))
        );
    }
}
