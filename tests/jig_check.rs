//! The jig's check through the shipped binary: a sound jig passes, each way for a jig to lie is named, and what has no
//! reference is told.

#[path = "common/cores.rs"]
mod cores;
#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "not every test wants all of it")]
mod shipped;

use railproof::care::logbook::Logbook;
use railproof::care::logbook::stored::{Check, Entry};
use railproof::record::stored::Verdict;
use railproof::sim::Fault;
use serde_json::Value;
use shipped::project;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

const SIMULATED: &str = "fixtures/jigs/simulated.yaml";

/// Fault of a jig, and what has to name it: channels against their references, or requirements on the reference unit.
const NAMED_BY: [(&str, &[&str]); 5] = [
    ("drifted-gain", &["pack voltage"]),
    ("fast-jig-clock", &["clock"]),
    ("stretched-encoder", &["encoder", "travel length"]),
    ("deaf-input", &["right end stop", "encoder", "missed end stops"]),
    ("sticking-switch", &["end-stop repeatability"]),
];

fn check(jig: &Path, results: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
    command.args(["jig", "check", "--jig"]).arg(jig);
    command.arg("--unit").arg(project("fixtures/units/dunlin-600.yaml"));
    command.arg("--plan").arg(project("test-plans/jig-check.yaml"));
    command.arg("--results").arg(results).args(more).env_remove("RAILPROOF_OPERATOR");
    command.output().expect("the binary runs")
}

fn json(output: &Output) -> Value {
    let said = String::from_utf8_lossy(&output.stderr);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"))
}

/// Everything that does not conform: channels of findings, measurands of the reference unit.
fn named(checked: &Value) -> Vec<String> {
    let mut named = Vec::new();
    for finding in checked["findings"].as_array().expect("findings") {
        if finding["decision"] == "does not conform" {
            named.push(finding["channel"].as_str().expect("a channel").to_owned());
        }
    }
    let checks = checked["reference_unit"]["record"]["checks"].as_array().cloned().unwrap_or_default();
    for requirement in checks.iter().flat_map(|check| check["requirements"].as_array().expect("requirements")) {
        if requirement["decision"] == "does not conform" {
            named.push(requirement["measurand"].as_str().expect("a measurand").to_owned());
        }
    }
    named
}

#[test]
fn a_sound_jig_passes_on_fifty_seeds() {
    let one = |seed: u64| {
        let folder = TempDir::new().expect("a folder");
        let seed_text = seed.to_string();
        let more = ["--reference-unit", "SM-0000", "--seed", &seed_text, "--format", "json"];
        let output = check(&project(SIMULATED), folder.path(), &more);
        (output.status.code() != Some(0)).then(|| {
            let checked = json(&output);
            format!("seed {seed}: {} {:?}", checked["decision"], named(&checked))
        })
    };
    let failed: Vec<String> = cores::on_all_cores(1..=50, || one).into_iter().flatten().collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn each_way_for_a_jig_to_lie_is_named_and_nothing_else_is() {
    for (fault, by) in NAMED_BY {
        for seed in ["3", "8"] {
            let folder = TempDir::new().expect("a folder");
            let more = ["--reference-unit", "SM-0000", "--seed", seed, "--fault", fault, "--format", "json"];
            let output = check(&project(SIMULATED), folder.path(), &more);
            let checked = json(&output);
            let mut named = named(&checked);
            named.dedup();
            assert_eq!(output.status.code(), Some(1), "{fault}, seed {seed}: {named:?}");
            if fault == "deaf-input" {
                // The unit's end stop is behind the same line, and all that rests on it.
                assert!(by.iter().all(|by| named.contains(&(*by).to_owned())), "{named:?}");
            } else {
                assert_eq!(named, by, "{fault}, seed {seed}");
            }
        }
    }
    for kind in Fault::ALL {
        assert_eq!(NAMED_BY.iter().any(|(name, _)| *name == kind.name()), kind.is_of_jig(), "{}", kind.name());
    }
}

#[test]
fn what_has_no_reference_is_told_and_nothing_passes_by_silence() {
    let folder = TempDir::new().expect("a folder");
    let text = std::fs::read_to_string(project(SIMULATED)).expect("the jig file");
    let begin = text.find("\nreferences:").expect("references");
    let end = text[begin..].find("\n\n").expect("their end") + begin;
    let jig = folder.path().join("jig.yaml");
    std::fs::write(&jig, format!("{}{}", &text[..begin], &text[end..])).expect("written");
    let output = check(&jig, folder.path(), &["--format", "json"]);
    assert_eq!(output.status.code(), Some(3), "{}", String::from_utf8_lossy(&output.stderr));
    let checked = json(&output);
    assert_eq!(checked["decision"], "undecided");
    let channels = checked["channels"].as_array().expect("channels");
    assert!(channels.len() > 20 && channels.iter().all(|one| one["checked_by"].as_array().is_some_and(Vec::is_empty)));
    let output = check(&jig, folder.path(), &[]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(text.contains("not checked, no reference in the jig file, and no --reference-unit:"), "{text}");
    assert!(text.contains("pack voltage") && text.contains("SIMULATED"), "{text}");
    // With the reference unit on it, the channels that its plan rests on are checked; the sampled ones are not.
    let output = check(&jig, folder.path(), &["--reference-unit", "SM-0000", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0));
    let checked = json(&output);
    let by = |channel: &str| {
        let channels = checked["channels"].as_array().expect("channels").clone();
        let found = channels.into_iter().find(|one| one["channel"] == channel).expect("a channel");
        found["checked_by"].as_array().expect("a list").len()
    };
    for channel in ["step", "encoder a", "left end stop", "control 4", "light 6"] {
        assert!(by(channel) > 0, "{channel}");
    }
    for channel in ["clock", "pack voltage", "motor temperature", "guard", "red"] {
        assert_eq!(by(channel), 0, "{channel}");
    }
}

#[test]
fn the_logbook_keeps_what_was_found_and_what_it_cost() {
    let folder = TempDir::new().expect("a folder");
    let output = check(&project(SIMULATED), folder.path(), &["--reference-unit", "SM-0000", "--operator", "Wren"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let lines = Logbook::of(folder.path(), "simulated bench").expect("a name").read().expect("read").lines;
    let [Entry::Use(still), Entry::Use(moved), Entry::Check(kept)] =
        &lines.iter().map(|line| line.entry.clone()).collect::<Vec<_>>()[..]
    else {
        panic!("{lines:?}")
    };
    // Two wires of fifty pulses, one reference, the load; the unit's supply stayed off, and no unit was plugged in for it.
    let cycles = |output: &str| still.cycles[output];
    assert_eq!((cycles("auxiliary 2"), cycles("auxiliary 1"), cycles("dummy load"), still.runs), (100, 1, 1, 0));
    assert!(!still.cycles.contains_key("unit supply") && moved.cycles["unit supply"] == 1 && moved.runs == 1);
    let Check { run, reference_unit, decision, values } = kept;
    let home = folder.path().join("SM-0000").join(run.as_ref().expect("a run")).join("record.json");
    assert!(home.is_file() && *decision == Verdict::Conforms && reference_unit.as_deref() == Some("SM-0000"));
    let value = |name: &str| values.iter().find(|value| value.name == name).expect("a value").clone();
    let volts = value("pack voltage against its reference");
    assert!((volts.value - 7.4).abs() < 0.04 && volts.unit == "V" && volts.on.is_none());
    let travel = value("encoder and end stops: travel length");
    assert!((travel.value - 560.0).abs() < 0.6 && travel.unit == "mm" && travel.on.as_deref() == Some("SM-0000"));
}

/// The finding on the reference unit's travel, and the check's exit status, where the jig file says this of the unit.
fn travel(says: &str, serial: &str) -> (Value, Option<i32>) {
    let folder = TempDir::new().expect("a folder");
    let text = std::fs::read_to_string(project(SIMULATED)).expect("the jig file");
    let shipped = "travel length: 560.0 mm ± 1.0 mm, uncertainty: 0.15 mm";
    assert!(text.contains(shipped));
    let jig = folder.path().join("jig.yaml");
    std::fs::write(&jig, text.replace(shipped, says)).expect("written");
    let output = check(&jig, folder.path(), &["--reference-unit", serial, "--format", "json"]);
    let findings = json(&output)["findings"].as_array().expect("findings").clone();
    let found = findings.into_iter().find(|finding| finding["channel"] == "encoder").expect("it is told");
    (found, output.status.code())
}

#[test]
fn the_reference_unit_s_travel_is_judged_with_the_doubt_of_what_is_known_of_it() {
    for (says, decision, exit) in [
        ("travel length: 560.0 mm ± 1.0 mm, uncertainty: 0.15 mm", "conforms", 0),
        // The same reading, but of what it is held against less is known.
        ("travel length: 560.0 mm ± 1.0 mm, uncertainty: 0.6 mm", "undecided", 3),
        ("travel length: 557.0 mm ± 1.0 mm, uncertainty: 0.15 mm", "does not conform", 1),
    ] {
        let (found, status) = travel(says, "SM-0000");
        assert_eq!((found["decision"].as_str(), status), (Some(decision), Some(exit)), "{found}");
        let doubt = found["standard_uncertainty"].as_f64().expect("a number");
        let stated: f64 = says.rsplit(' ').nth(1).and_then(|number| number.parse().ok()).expect("a number");
        assert!(doubt > stated && doubt < stated + 0.05, "{found}");
    }
    // What is known of one unit is true of no other.
    let (found, status) = travel("travel length: 557.0 mm ± 1.0 mm, uncertainty: 0.15 mm", "SM-0001");
    assert_eq!((found["decision"].as_str(), status), (Some("not checked"), Some(0)), "{found}");
    assert!(found["why"].as_str().is_some_and(|why| why.contains("SM-0001 is on the jig")), "{found}");
}

#[test]
fn what_is_wrong_is_told_before_anything_is_switched() {
    let folder = TempDir::new().expect("a folder");
    for (more, code, why) in [
        (&["--reference-unit", "XX"][..], 2, "`XX` is no serial number"),
        (&["--reference-unit", "SM-0000", "--fault", "worn-out"][..], 2, "there is no fault"),
    ] {
        let output = check(&project(SIMULATED), folder.path(), more);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{said}");
        assert!(said.contains(why), "{said}");
    }
    let text = std::fs::read_to_string(project(SIMULATED)).expect("the jig file");
    let jig = folder.path().join("overdue.yaml");
    std::fs::write(&jig, text.replace("due: 2099-12-31", "due: 2026-02-01")).expect("written");
    let output = check(&jig, folder.path(), &[]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() == Some(4) && said.contains("was due on 2026-02-01"), "{said}");
    assert!(!folder.path().join(".jigs").exists());
}
