//! `railproof jig calibrate` as a user meets it: a table of readings goes in, the jig file comes out changed in one place.

use expect_test::{Expect, expect};
use serde_json::Value;
use std::path::PathBuf;
use std::process::{Command, Output};
use tempfile::TempDir;

const JIG: &str = "fixtures/jigs/usb-board.yaml";
const VOLTS: &str = "code,scatter,readings,reference [V],uncertainty [mV]\n\
                     4795.31,0.7,500,6.000,0.5\n5275.02,0.7,500,6.600,0.5\n5754.81,0.7,500,7.200,0.5\n\
                     6234.49,0.7,500,7.800,0.5\n6714.33,0.7,500,8.400,0.5\n";

struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::copy(JIG, folder.path().join("jig.yaml")).expect("copied");
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn jig(&self) -> String {
        std::fs::read_to_string(self.path("jig.yaml")).expect("the jig file")
    }

    fn files(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).expect("listed");
        let mut names: Vec<String> =
            entries.map(|entry| entry.expect("an entry").file_name().into_string().expect("plain")).collect();
        names.sort();
        names
    }

    fn calibrate(&self, channel: &str, table: &str, more: &[&str]) -> Output {
        std::fs::write(self.path("readings.csv"), table).expect("written");
        Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
            .current_dir(self.folder.path())
            .args(["jig", "calibrate", "--jig", "jig.yaml", "--channel", channel, "--from", "readings.csv"])
            .args(more)
            .output()
            .expect("the binary starts")
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", text(&output.stderr)))
}

fn shows(output: &Output, exit: i32, expected: Expect) {
    assert_eq!(output.status.code(), Some(exit), "{}{}", text(&output.stdout), text(&output.stderr));
    expected.assert_eq(&format!("{}{}", text(&output.stdout), text(&output.stderr)));
}

#[test]
fn a_channel_is_calibrated_and_the_file_changes_in_one_line() {
    let desk = Desk::new();
    let before = desk.jig();
    let output = desk.calibrate("pack voltage", VOLTS, &["--due", "2099-11-28", "--environment", "21.5 °C, 45 % RH"]);
    let said = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{said}{}", text(&output.stderr));
    for words in ["The line fits", "The uncertainties hold from 6 V to 8.4 V", "it is kept as"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let after = desk.jig();
    let changed: Vec<(&str, &str)> = before.lines().zip(after.lines()).filter(|(old, new)| old != new).collect();
    let [(old, new)] = changed[..] else { panic!("{changed:?}") };
    assert!(old.contains("pack voltage:        { gain: 1.25 mV") && before.lines().count() == after.lines().count());
    assert!(new.contains("gain: 1.2506") && new.contains(" mV, offset: ") && new.contains("due: 2099-11-28"), "{new}");
    assert!(new.ends_with("environment: \"21.5 °C, 45 % RH\" }"), "{new}");
    let kept = desk.files().into_iter().find(|name| name.starts_with("jig.yaml.before-")).expect("the old file");
    assert_eq!(std::fs::read_to_string(desk.path(&kept)).expect("kept"), before);

    let lint = Command::new(assert_cmd::cargo::cargo_bin!("railproof")).arg("lint").arg(desk.path("jig.yaml")).output();
    assert_eq!(lint.expect("the binary starts").status.code(), Some(0));
    let again = desk.calibrate("pack voltage", VOLTS, &["--valid-for", "1 year"]);
    assert_eq!(again.status.code(), Some(2), "the environment of the last calibration is no longer true");
    assert!(text(&again.stderr).contains("by --environment"), "{}", text(&again.stderr));
}

#[test]
fn a_dry_run_shows_and_changes_nothing() {
    let desk = Desk::new();
    let before = (desk.jig(), 2);
    let output = desk.calibrate("pack voltage", VOLTS, &["--dry-run", "--due", "2099-11-28"]);
    let said = text(&output.stdout);
    assert!(output.status.code() == Some(0) && said.contains("with --dry-run it was not"), "{said}");
    assert!(said.contains("\n  - pack voltage:") && said.contains("\n  + pack voltage:"), "{said}");
    assert_eq!((desk.jig(), desk.files().len()), before);
}

#[test]
fn what_is_found_is_told_to_programs() {
    let desk = Desk::new();
    let told = json(&desk.calibrate("pack voltage", VOLTS, &["--format", "json", "--dry-run"]));
    assert_eq!(
        (&told["channel"], &told["fits"], &told["kept"]),
        (&"pack voltage".into(), &"well".into(), &Value::Null)
    );
    let number = |key: &str| {
        let numbers = told["numbers"].as_array().expect("numbers");
        numbers.iter().find(|one| one["key"] == key).expect("a key")["now"].as_f64().expect("a number")
    };
    assert!((number("gain") - 2.4 / 1919.02).abs() < 3e-7, "{told}");
    // Half a millivolt that all readings share is in the offset whole.
    assert!(number("offset uncertainty") > 5e-4 && number("offset uncertainty") < 2e-3, "{told}");
    assert_eq!(told["readings"].as_array().map(Vec::len), Some(5));
    assert_eq!(told["in_the_jig_file"][4]["before"], "2026-01-05");
}

#[test]
fn clock_and_encoder_are_calibrated_too() {
    let desk = Desk::new();
    let ticks = "ticks,reference [s],uncertainty [µs]\n1000,0,1\n200002434,100,1\n400003868,200,1\n600005299,300,1\n";
    let told = json(&desk.calibrate("clock", ticks, &["--format", "json", "--reference-uncertainty", "0.05 ppm"]));
    assert_eq!(told["in_the_jig_file"][0]["key"], "error");
    let error = told["numbers"][0]["now"].as_f64().expect("a number");
    assert!((error + 7.17e-6).abs() < 2e-8, "{told}");
    assert!(desk.jig().contains("  error: -7.1"), "{}", desk.jig());
    let drifting = ["--format", "json", "--dry-run", "--drift", "8 ppm", "--reference-uncertainty", "6 ppm"];
    let told = json(&desk.calibrate("clock", ticks, &drifting));
    let uncertainty = told["numbers"][1]["now"].as_f64().expect("a number");
    assert!(uncertainty > 10e-6 && uncertainty < 12e-6, "{told}");
    let edges = "edges;reference [mm];uncertainty [µm]\n0;0,000;2\n7999;200,0;2\n15998;400,0;2\n21997;550,0;2\n";
    let output = desk.calibrate("encoder", edges, &[]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    assert!(desk.jig().contains("  edges: 39.99"), "{}", desk.jig());
}

#[test]
fn readings_that_are_on_no_line_change_nothing() {
    let desk = Desk::new();
    let (before, bent) = (desk.jig(), VOLTS.replace("7.800,", "7.812,"));
    let output = desk.calibrate("pack voltage", &bent, &[]);
    let said = text(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{said}");
    for words in ["THE LINE DOES NOT FIT", "Farthest off is the reading at line 5.", "The jig file was not changed."] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!((desk.jig(), desk.files().len()), (before, 2));
}

#[test]
fn what_is_wrong_is_told_with_its_place_and_the_remedy() {
    let desk = Desk::new();
    let before = desk.jig();
    shows(
        &desk.calibrate("pack voltage", "code,reference [V],uncertainty [mV]\n4800,6,1\n5760,7.2,1\n", &[]),
        5,
        expect![[r#"
            readings.csv:1:1: 2 readings show no line
              |
            1 | code,reference [V],uncertainty [mV]
              | ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
              |
              = right: take at least 3 readings, spread over the range that the channel is used in

            railproof: 1 mistake in readings.csv
        "#]],
    );
    shows(
        &desk.calibrate("pack voltage", "code,reference [V],uncertainty [mV]\n4800,six,1\n", &[]),
        5,
        expect![[r#"
        readings.csv:2:6: `six` does not begin with a number; a voltage is wanted
          |
        2 | 4800,six,1
          |      ^^^
          |
          = right: write for example `7.2 V`

        railproof: 1 mistake in readings.csv
    "#]],
    );
    shows(
        &desk.calibrate("pack volts", VOLTS, &[]),
        2,
        expect![[r#"
        railproof: the jig file has no calibration of `pack volts`; did you mean `pack voltage`?
    "#]],
    );
    shows(
        &desk.calibrate("pack voltage", VOLTS, &["--reference-uncertainty", "-1 mV"]),
        2,
        expect![[r#"
        railproof: --reference-uncertainty: `-1 mV` is no uncertainty; write a standard uncertainty, which is not negative
    "#]],
    );
    let late = desk.calibrate("pack voltage", VOLTS, &["--due", "2020-01-01", "--dry-run"]);
    let said = text(&late.stderr);
    assert!(late.status.code() == Some(2) && said.contains("; name a later day"), "{said}");
    for wrong in [
        ["--drift", "50 %"],
        ["--drift", "1 s"],
        ["--drift", "-1 mV"],
        ["--due", "soon"],
        ["--valid-for", "long"],
        ["--environment", " "],
    ] {
        let output = desk.calibrate("pack voltage", VOLTS, &wrong);
        assert_eq!(output.status.code(), Some(2), "{wrong:?}: {}", text(&output.stderr));
    }
    assert_eq!((desk.jig(), desk.files().len()), (before, 2));
}

#[test]
fn a_jig_file_that_is_wrong_itself_is_told_first() {
    let desk = Desk::new();
    std::fs::write(desk.path("jig.yaml"), desk.jig().replace("kind: capture board", "kind: capture bored"))
        .expect("written");
    let output = desk.calibrate("pack voltage", VOLTS, &[]);
    let said = text(&output.stderr);
    assert!(output.status.code() == Some(5) && said.contains("jig.yaml:") && said.contains("did you mean"), "{said}");
}

#[test]
fn the_simulated_bench_is_calibrated_live_and_found_as_it_truly_is() {
    let unit = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/units/dunlin-600.yaml");
    for (channel, points, doubt) in [
        ("pack voltage", "6.0 V, 6.8 V, 7.6 V, 8.4 V", "0.2 mV"),
        ("pack current", "-0.5 A, 0 A, 1 A, 2 A", "0.2 mA"),
        ("air temperature", "5 °C, 20 °C, 35 °C", "20 mK"),
        ("light 2", "5 %, 50 %, 100 %", "0.2 %"),
        ("light flicker", "5 %, 50 %, 100 %", "0.2 %"),
        ("blue", "2 %, 10 %, 20 %", "0.05 %"),
    ] {
        let desk = Desk::new();
        std::fs::copy("fixtures/jigs/simulated.yaml", desk.path("jig.yaml")).expect("copied");
        let calibrate = |seed: &str| {
            let output = Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
                .current_dir(desk.folder.path())
                .args(["jig", "calibrate", "--jig", "jig.yaml", "--channel", channel, "--points", points])
                .args(["--unit", unit, "--reference-uncertainty", doubt, "--format", "json", "--seed", seed])
                .output()
                .expect("the binary starts");
            assert_eq!(output.status.code(), Some(0), "{channel}: {}", text(&output.stderr));
            json(&output)
        };
        // The same bench again: what was written before is what is found, within what was said of it.
        let (first, second) = (calibrate("7"), calibrate("7"));
        assert_eq!((&first["simulated"], &first["fits"]), (&true.into(), &"well".into()), "{channel}");
        let numbers = |told: &Value, which: &str| -> Vec<f64> {
            told["numbers"]
                .as_array()
                .expect("numbers")
                .iter()
                .map(|one| one[which].as_f64().expect("a number"))
                .collect()
        };
        let (now, before, again) = (numbers(&first, "now"), numbers(&second, "before"), numbers(&second, "now"));
        assert!((again[0] / before[0] - 1.0).abs() < 1e-4, "{channel}: {before:?} and {again:?}");
        // Another bench of the same make differs by its own converters' errors, within what the shipped file says of them.
        let shipped = numbers(&first, "before");
        assert!((now[0] / shipped[0] - 1.0).abs() < 4.0 * (shipped[2] + now[2]), "{channel}: {now:?} of {shipped:?}");
        assert!((now[1] - shipped[1]).abs() < 4.0 * (shipped[3] + now[3]), "{channel}: {now:?} of {shipped:?}");
    }
}

#[test]
fn the_simulated_clock_is_calibrated_by_pulses() {
    let unit = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/units/dunlin-600.yaml");
    let desk = Desk::new();
    std::fs::copy("fixtures/jigs/simulated.yaml", desk.path("jig.yaml")).expect("copied");
    let calibrate = |more: &[&str]| {
        Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
            .current_dir(desk.folder.path())
            .args(["jig", "calibrate", "--jig", "jig.yaml", "--channel", "clock", "--unit", unit, "--seed", "3"])
            .args(["--reference-uncertainty", "0.01 ppm", "--format", "json"])
            .args(more)
            .output()
            .expect("the binary starts")
    };
    let pulses = ["--pulses", "guard", "--period", "1 s", "--seconds", "100"];
    let (first, second) = (json(&calibrate(&pulses)), json(&calibrate(&pulses)));
    let number = |told: &Value, index: usize, which: &str| told["numbers"][index][which].as_f64().expect("a number");
    let error = number(&first, 0, "now");
    // The world draws its clock's error from the 10 ppm that the shipped file states.
    assert!(error != 0.0 && error.abs() < 40e-6 && number(&first, 1, "now") < 0.05e-6, "{first}");
    assert!((number(&second, 0, "before") - error).abs() < 0.01e-6 && second["fits"] == "well", "{second}");
    for (more, words) in [
        (&["--pulses", "guard"][..], "--period"),
        (&["--pulses", "gard", "--period", "1 s"], "the jig has no input `gard`; it has step,"),
        (&["--pulses", "guard", "--period", "1 h"], "from 1 ms to 100 s"),
        (&["--pulses", "guard", "--period", "1 V"], "a time is wanted"),
        (&["--period", "1 s"], "--pulses"),
    ] {
        let output = calibrate(more);
        let said = text(&output.stderr);
        assert!(output.status.code() == Some(2) && said.contains(words), "{words}: {said}");
    }
    // No pulse comes in one second: the bench failed, and nothing is written.
    let before = desk.jig();
    let output = calibrate(&["--pulses", "guard", "--period", "2 s", "--seconds", "1"]);
    assert_eq!(output.status.code(), Some(4), "{}", text(&output.stderr));
    assert_eq!(desk.jig(), before);
}

#[test]
fn what_cannot_be_set_on_a_bench_is_said_with_a_remedy() {
    let desk = Desk::new();
    std::fs::copy("fixtures/jigs/simulated.yaml", desk.path("jig.yaml")).expect("copied");
    let unit = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/units/dunlin-600.yaml");
    let told = |channel: &str, points: &str, more: &[&str]| {
        let output = Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
            .current_dir(desk.folder.path())
            .args(["jig", "calibrate", "--jig", "jig.yaml", "--channel", channel, "--points", points, "--unit", unit])
            .args(more)
            .output()
            .expect("the binary starts");
        assert_eq!(output.status.code(), Some(2), "{}", text(&output.stderr));
        text(&output.stderr)
    };
    let doubt = ["--reference-uncertainty", "1 mV"];
    for (said, words) in [
        (
            told("clock", "1 s, 2 s, 3 s", &["--reference-uncertainty", "1 µs"]),
            "lead the pulses of a frequency standard",
        ),
        (told("encoder", "0 mm, 1 mm, 2 mm", &["--reference-uncertainty", "1 µm"]), "a table of edges and lengths"),
        (told("pack voltage", "6 V, 7 V, 8 V", &[]), "say by --reference-uncertainty"),
        (told("pack voltage", "6 V, 7 V, 7 V", &doubt), "2 different values show no line"),
        (told("pack voltage", "6, 7, 8", &doubt), "has no unit"),
        (
            told("pack voltage", "6 V, 7 V, 8 V", &["--reference-uncertainty", "1 mV", "--from", "readings.csv"]),
            "cannot be used with",
        ),
        (told("pack voltage", "6 V, 7 V, 8 V", &["--reference-uncertainty", "1 mV", "--seconds", "0"]), "--seconds"),
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!(desk.files().len(), 1);
}
