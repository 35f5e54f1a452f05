//! `railproof rehearse` as a user meets it: the same whatever the threads and shards, truth told from what was decided, and
//! shards that do not belong together refused.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn railproof(arguments: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.arg("rehearse").args(arguments);
    command
}

/// The plan for reworked units, which is short, on a population with three faults.
fn quick(folder: &Path, arguments: &[&str]) -> Output {
    let population = folder.join("population.yaml");
    let text = "population: trial\nmodel: dunlin-600\nspread: { pack charge: 1 %, motor holding torque: 3 % }\nfaults:\n  \
                mute-unit: { often: 20 % }\n  weak-pack: { often: 20 %, severity: between 0 and 1 }\n  \
                flickering-light: { often: 5 % }\n";
    std::fs::write(&population, text).expect("it can be written");
    let mut command = railproof(&[]);
    command.arg(project("test-plans/quick.yaml")).arg("--unit").arg(project("fixtures/units/dunlin-600.yaml"));
    command.arg("--jig").arg(project("fixtures/jigs/simulated.yaml")).arg("--population").arg(&population);
    command.args(arguments).output().expect("the binary runs")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

#[test]
fn threads_and_shards_change_nothing_and_each_unit_is_judged_by_its_truth() {
    let folder = TempDir::new().expect("a folder");
    let file = |name: &str| folder.path().join(name).display().to_string();
    let whole =
        quick(folder.path(), &["--units", "40", "--threads", "1", "--format", "json", "--store", &file("whole")]);
    // Nothing of this plan sees flicker.
    assert_eq!(whole.status.code(), Some(1), "{}", said(&whole));
    for part in ["1/3", "2/3", "3/3"] {
        let name = file(&part[..1]);
        let output = quick(folder.path(), &["--units", "40", "--threads", "2", "--shard", part, "--store", &name]);
        assert!(output.status.code() == Some(0) && output.stdout.is_empty(), "{}", said(&output));
    }
    let page = file("page.html");
    let put =
        ["--merge", &file("3"), &file("1"), &file("2"), "--format", "json", "--store", &file("put"), "--html", &page];
    let merged = railproof(&put).output().expect("the binary runs");
    assert_eq!((merged.status.code(), &merged.stdout), (Some(1), &whole.stdout), "{}", said(&merged));
    let bytes = |name: &str| std::fs::read(file(name)).expect("it was stored");
    assert!(bytes("whole") == bytes("put"), "unit for unit the same");
    let page = std::fs::read_to_string(page).expect("a page");
    assert!(page.contains("SIMULATED") && page.contains("What counts as truth") && page.contains("flickering-light"));

    let told: Value = serde_json::from_slice(&whole.stdout).expect("JSON");
    let fault =
        |name: &str| told["faults"].as_array().unwrap().iter().find(|one| one["fault"] == name).unwrap().clone();
    let (mute, flicker) = (fault("mute-unit"), fault("flickering-light"));
    assert_eq!(mute["caught"]["count"], mute["caught"]["among"], "{mute}");
    assert_eq!(flicker["escaped"]["count"], flicker["escaped"]["among"], "{flicker}");
    assert_eq!(told["sound"]["rejected"]["count"], 0);
    let stored: Value = serde_json::from_slice(&bytes("whole")).expect("JSON");
    let units = stored["units"].as_array().unwrap();
    for unit in units {
        let faults = unit["faults"].as_array().unwrap();
        let broken = faults.iter().any(|one| one["severity"] == 1.0 || one["fault"] == "mute-unit");
        let truth = if faults.is_empty() {
            "sound"
        } else if broken {
            "broken"
        } else {
            "slight"
        };
        assert_eq!(unit["truth"], truth, "{unit}");
    }
    let count = |sample: &str| units.iter().filter(|unit| unit["sample"] == sample).count();
    assert_eq!((count("as built"), count("worst"), count("graded")), (12, 22, 6));

    let incomplete = railproof(&["--merge", &file("3"), &file("1")]).output().expect("the binary runs");
    assert!(
        incomplete.status.code() == Some(5) && said(&incomplete).contains("it belongs to shard 2/3"),
        "{}",
        said(&incomplete)
    );
    let twice = railproof(&["--merge", &file("1"), &file("1")]).output().expect("the binary runs");
    assert!(twice.status.code() == Some(5) && said(&twice).contains("give each shard once"), "{}", said(&twice));
    let changed = String::from_utf8(bytes("2")).unwrap().replacen("\"seed\":1,", "\"seed\":2,", 1);
    std::fs::write(file("2"), changed).unwrap();
    let strange = railproof(&["--merge", &file("1"), &file("2"), &file("3")]).output().expect("the binary runs");
    assert!(strange.status.code() == Some(5) && said(&strange).contains("the seed differs"), "{}", said(&strange));
}

#[test]
fn one_unit_is_looked_at_and_mistakes_are_refused() {
    let folder = TempDir::new().expect("a folder");
    let look = quick(folder.path(), &["--units", "40", "--look", "4"]);
    assert!(
        look.status.success() && said(&look).contains("unit 4 (seed ") && said(&look).contains("simulated"),
        "{}",
        said(&look)
    );
    for (wrong, words) in [
        (&["--shard", "4/3", "--store", "x"][..], "3/16"),
        (&["--shard", "1/3"], "--store"),
        (&["--units", "0"], "--units"),
    ] {
        let output = quick(folder.path(), wrong);
        assert!(output.status.code() == Some(2) && said(&output).contains(words), "{}", said(&output));
    }
    let none = railproof(&["--merge", "none.json"]).output().expect("the binary runs");
    assert!(none.status.code() == Some(5) && said(&none).contains("none.json: cannot be read"), "{}", said(&none));
}
