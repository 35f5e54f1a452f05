//! `railproof measure` as a user meets it: captures that other instruments made, with known answers.

mod clock;
mod closer;
#[path = "../common/mod.rs"]
mod common;
mod dump;
#[path = "../common/kept.rs"]
mod kept;

use common::Simulated;
use dump::{Dump, Dumping};
use kept::Kept;
use railproof::capture::SampleChannel;
use railproof::capture::file::{CaptureReader, CaptureWriter};
use railproof::sim::WorldSettings;
use serde_json::Value;
use std::fmt::Write;
use std::process::{Command, Output};

const UNIT: &str = "fixtures/units/dunlin-600.yaml";
const JIG: &str = "fixtures/jigs/simulated.yaml";

fn measure(capture: &str, more: &[&str]) -> Output {
    Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
        .args(["measure", capture, "--unit", UNIT])
        .args(more)
        .output()
        .expect("the binary starts")
}

/// Writes a capture and measures it; the first capture's JSON.
fn measured(capture: &str, more: &[&str]) -> Value {
    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), capture).expect("written");
    let output = measure(&file.path().display().to_string(), &[more, &["--format", "json"]].concat());
    let told = String::from_utf8_lossy(&output.stderr);
    let mut value: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {told}"));
    value["captures"][0].take()
}

/// Readings of a measurand over all checks: label, value and expanded uncertainty, in the measurand's usual unit.
fn readings(capture: &Value, measurand: &str) -> Vec<(String, f64, f64)> {
    let checks = capture["checks"].as_array().expect("checks");
    let values = checks.iter().flat_map(|check| check["values"].as_array().expect("values"));
    let of_it = values.filter(|value| value["measurand"] == measurand);
    let number = |reading: &Value, name: &str| reading[name].as_f64().unwrap_or_else(|| panic!("{reading}"));
    let reading = |reading: &Value| {
        let label = reading["label"].as_str().expect("a label").to_owned();
        (label, number(reading, "value"), number(reading, "expanded_uncertainty"))
    };
    of_it.flat_map(|value| value["readings"].as_array().expect("readings")).map(reading).collect()
}

fn has(capture: &Value, measurand: &str) -> bool {
    let checks = capture["checks"].as_array().expect("checks");
    checks.iter().any(|check| check["values"].as_array().expect("values").iter().any(|v| v["measurand"] == measurand))
}

/// When each of the steps of a motion comes, s: 90 mm/s at 80 steps/mm is 7200 steps a second, with ramps of 1600 mm/s².
fn trapezoid(steps: u32) -> impl Iterator<Item = f64> {
    let (speed, acceleration) = (7200.0_f64, 128_000.0_f64);
    let ramp = speed * speed / (2.0 * acceleration);
    let whole = f64::from(steps);
    let duration = 2.0 * speed / acceleration + (whole - 2.0 * ramp) / speed;
    (0..steps).map(f64::from).map(move |step| {
        if step <= ramp {
            (2.0 * step / acceleration).sqrt()
        } else if step <= whole - ramp {
            speed / acceleration + (step - ramp) / speed
        } else {
            duration - (2.0 * (whole - step) / acceleration).sqrt()
        }
    })
}

/// There and back again, with a second of rest, in nanoseconds: 80 steps/mm, encoder of 40 edges/mm, 450 mm.
fn there_and_back() -> Dump {
    let mut dump = Dump::default();
    for name in ["D0", "D1", "A", "B"] {
        dump.level(name, 0, false);
    }
    let mut cell = 0_i64;
    for (begins, right) in [(1.0, true), (8.0, false)] {
        dump.level("D1", ((begins - 0.1) * 1e9) as u64, right);
        for (index, time) in trapezoid(36_000).enumerate() {
            let at = ((begins + time) * 1e9).round() as u64;
            dump.level("D0", at, true);
            dump.level("D0", at + 5000, false);
            // Every second step the carriage crosses an edge of the encoder, 10 µs after the step.
            if index % 2 == 1 {
                cell += if right { 1 } else { -1 };
                let [a, b] = [[false, false], [true, false], [true, true], [false, true]][cell.rem_euclid(4) as usize];
                let before = cell - if right { 1 } else { -1 };
                let [a_was, b_was] =
                    [[false, false], [true, false], [true, true], [false, true]][before.rem_euclid(4) as usize];
                if a != a_was {
                    dump.level("A", at + 10_000, a);
                }
                if b != b_was {
                    dump.level("B", at + 10_000, b);
                }
            }
        }
    }
    dump.level("D1", 15_000_000_000, true);
    dump
}

#[test]
fn steps_at_90_millimetres_a_second() {
    let wires =
        ["--channel", "step=D0", "--channel", "direction=D1", "--channel", "encoder a=A", "--channel", "encoder b=B"];
    let capture = measured(&there_and_back().text("1 ns", 1), &[&wires[..], &["--encoder", "40 edges/mm"]].concat());
    let speeds = readings(&capture, "cruise speed");
    assert_eq!(speeds.len(), 2, "{capture:#}");
    for (label, speed, doubt) in speeds {
        assert!((speed - 90.0).abs() <= doubt && doubt < 0.01, "{label}: {speed} ± {doubt} mm/s");
    }
    let labels: Vec<String> = readings(&capture, "travel time").into_iter().map(|reading| reading.0).collect();
    assert_eq!(labels, ["motion 1, to the right", "motion 2, to the left"]);
    // From the first step to the last: the last of 36,000 comes 1/128 of a ramp's way before standstill.
    let expected = trapezoid(36_000).last().unwrap();
    for (label, time, doubt) in readings(&capture, "travel time") {
        assert!((time - expected).abs() < 2e-9 + doubt, "{label}: {time} {expected}");
    }
    for (_, jitter, _) in readings(&capture, "period jitter rms") {
        assert!(jitter < 1e-9, "an ideal clock: {jitter} s");
    }
    for (_, gap, _) in readings(&capture, "longest step gap") {
        assert!((gap - 1.0 / 7200.0).abs() < 2e-9, "{gap}");
    }
    for (label, missing, _) in readings(&capture, "missing steps") {
        assert_eq!(missing, 0.0, "{label}");
    }
    // What nobody commanded and nobody said has no value.
    assert!(!has(&capture, "unanswered commands") && !has(&capture, "level speed error"));
    let text = capture.to_string();
    assert!(text.contains("it is compared with a command, which this capture does not tell"), "{text}");
    assert!(text.contains("a perfect jig"), "{text}");
}

#[test]
fn without_a_direction_line_the_encoder_tells() {
    let wires = ["--channel", "step=D0", "--channel", "encoder a=A", "--channel", "encoder b=B"];
    let capture = measured(&there_and_back().text("1 ns", 1), &[&wires[..], &["--jig", JIG]].concat());
    let labels: Vec<String> = readings(&capture, "cruise speed").into_iter().map(|reading| reading.0).collect();
    assert_eq!(labels, ["motion 1, to the right", "motion 2, to the left"]);
    assert!(readings(&capture, "missing steps").iter().all(|reading| reading.1 == 0.0), "{capture:#}");
    assert_eq!(capture["losses"].as_array().map(Vec::len), Some(0));
}

#[test]
fn a_table_of_step_times() {
    let mut table = String::from("step\n");
    for time in trapezoid(36_000) {
        writeln!(table, "{:.7}", 2.0 + time).unwrap();
    }
    let capture = measured(&table, &["--channel", "step=step"]);
    let [(label, gap, doubt)] = &readings(&capture, "longest step gap")[..] else { panic!("{capture:#}") };
    assert_eq!(label, "motion 1");
    assert!((gap - 1.0 / 7200.0).abs() <= *doubt && *doubt < 5e-7, "{gap} ± {doubt}");
    assert!(!has(&capture, "cruise speed"), "there is no encoder");
}

/// A crawl as arithmetic has it: 16 steps every 2 s, 1 ms apart, sampled at 10 kHz.
#[test]
fn a_crawl_sample_by_sample() {
    let mut table = String::from("time;step;dir\n");
    for sample in 0..260_000_u64 {
        let in_interval = sample % 20_000;
        let high = (10_000..10_160).contains(&in_interval) && sample % 10 < 5;
        let (whole, part) = (sample / 10_000, sample % 10_000);
        writeln!(table, "{whole},{part:04};{};1", u8::from(high)).unwrap();
    }
    let capture = measured(&table, &["--channel", "step=step", "--channel", "direction=dir"]);
    let [(label, interval, doubt)] = &readings(&capture, "crawl interval")[..] else { panic!("{capture:#}") };
    assert_eq!(label, "crawl 1, to the right");
    assert!((interval - 2.0).abs() <= *doubt && *doubt < 1e-4, "{interval} ± {doubt}");
}

/// A simulated run, dumped as an analyser would see it and measured again: the same values within their resolution,
/// although nobody tells where the moves begin.
#[test]
fn a_run_seen_by_another_instrument() {
    let simulated = Simulated::shipped("quick");
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).unwrap());
    simulated.run(&WorldSettings { seed: 7, ..WorldSettings::default() }, &mut kept);
    let ours = kept.0.finish().unwrap();

    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), &ours).expect("written");
    let output = measure(&file.path().display().to_string(), &["--jig", JIG, "--format", "json"]);
    let mut from_ours: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let from_ours = from_ours["captures"][0].take();

    let mut dump = Dump::default();
    let gain = |channel| match channel {
        SampleChannel::PackVoltage => Some(("vpack", 1.25e-3)),
        SampleChannel::MotorTemperature => Some(("tmotor", 0.0625)),
        _ => None,
    };
    CaptureReader::open(&ours[..]).unwrap().replay(&mut Dumping { dump: &mut dump, gain }).unwrap();
    let mut wires = vec!["--jig", JIG, "--channel", "pack voltage=vpack", "--channel", "motor temperature=tmotor"];
    for wire in [
        "step=step",
        "direction=direction",
        "encoder a=encoder_a",
        "encoder b=encoder_b",
        "left end stop=left_end_stop",
        "right end stop=bench.right_end_stop",
    ] {
        wires.extend(["--channel", wire]);
    }
    // The board's tick is half a microsecond.
    let from_dump = measured(&dump.text("100 ns", 5), &wires);
    for measurand in [
        "cruise speed",
        "travel time",
        "period jitter rms",
        "longest step gap",
        "end-stop bounce",
        "end-stop overrun",
        "travel length",
    ] {
        let (ours, theirs) = (readings(&from_ours, measurand), readings(&from_dump, measurand));
        assert!(!ours.is_empty(), "{measurand}");
        for (label, value, doubt) in &ours {
            let near = |other: &(String, f64, f64)| (other.1 - value).abs() <= doubt.max(other.2) + 1e-9;
            assert!(theirs.iter().any(near), "{measurand}, {label}: {value} ± {doubt} is none of {theirs:?}");
        }
    }
}

const PLAN: &str = "
plan: seen from outside
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
before: [ \"Hands clear of the rail\" ]
checks:
  - name: both ways
    moves:
      - home: left
      - travel: { to: right, speed: 90 mm/s }
      - travel: { to: left, speed: 90 mm/s }
    require:
      cruise speed: 90 mm/s ± 1 %
      step rate error: between -0.5 % and 0.5 %
      missing steps: at most 0
      missed end stops: at most 0
      end-stop overrun: at most 3 mm
  - name: turn and rest
    moves:
      - home: left
      - reverse: { first: right, speed: 40 mm/s, after: 2 s }
      - wait: 2 s
    require:
      missing steps: at most 0
      creep after stop: at most 0.1 mm
";

/// A run of `plan`, dumped; and the wires of the dump.
fn dumped(plan: &str, faults: &[&str]) -> (String, Vec<&'static str>) {
    let powered = plan.replacen("    moves:\n", "    moves:\n      - power: on\n", 1);
    let simulated = Simulated::of(&railproof::written::Source::new("plan", powered));
    let faults = faults.iter().map(|name| railproof::sim::Fault::parse(name).unwrap()).collect();
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).unwrap());
    simulated.run(&WorldSettings { seed: 5, faults, ..WorldSettings::default() }, &mut kept);
    let mut dump = Dump::default();
    CaptureReader::open(&kept.0.finish().unwrap()[..])
        .unwrap()
        .replay(&mut Dumping { dump: &mut dump, gain: |_| None })
        .unwrap();
    let mut wires = Vec::new();
    for wire in [
        "step=step",
        "direction=direction",
        "encoder a=encoder_a",
        "encoder b=encoder_b",
        "left end stop=left_end_stop",
        "right end stop=right_end_stop",
    ] {
        wires.extend(["--channel", wire]);
    }
    (dump.text("100 ns", 5), wires)
}

fn judge(plan: &str, dump: &str, wires: &[&str]) -> (Option<i32>, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let (plan_file, dump_file) = (folder.path().join("plan.yaml"), folder.path().join("run.vcd"));
    std::fs::write(&plan_file, plan).expect("written");
    std::fs::write(&dump_file, dump).expect("written");
    let output = Command::new(assert_cmd::cargo::cargo_bin!("railproof"))
        .arg("judge")
        .arg(&plan_file)
        .args(["--unit", UNIT, "--jig", JIG, "--captures"])
        .arg(&dump_file)
        .args(wires)
        .output()
        .expect("the binary starts");
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said).split_whitespace().collect::<Vec<_>>().join(" ");
    (output.status.code(), said)
}

#[test]
fn a_plan_is_judged_from_another_instruments_capture() {
    let (dump, wires) = dumped(PLAN, &[]);
    let plan = PLAN.replacen("    moves:\n", "    moves:\n      - power: on\n", 1);
    let (exit, said) = judge(&plan, &dump, &wires);
    assert_eq!(exit, Some(0), "{said}");
    assert!(said.contains("REPLAYED") && said.contains("certifies nothing"), "{said}");

    // What only the unit's link would tell is not proven, and never passed.
    let talking = plan.replacen("    require:\n", "    require:\n      unanswered commands: at most 0\n", 1);
    let (exit, said) = judge(&talking, &dump, &wires);
    assert_eq!(exit, Some(3), "{said}");
    assert!(said.contains("nothing of what the unit and the bench said"), "{said}");

    // A capture with a motion too many or too few is one of another plan.
    let longer = format!(
        "{plan}  - name: once more\n    moves:\n      - travel: {{ to: right, speed: 90 mm/s }}\n      - travel: {{ to: left, speed: 90 mm/s }}\n    require:\n      missing steps: at most 0\n"
    );
    let (exit, said) = judge(&longer, &dump, &wires);
    assert!(exit == Some(4) && said.contains("the capture ends before"), "{said}");
    let shorter = plan.split("  - name: turn and rest").next().unwrap();
    let (exit, said) = judge(shorter, &dump, &wires);
    assert!(exit == Some(4) && said.contains("motions more than the plan has"), "{said}");
}

#[test]
fn a_fault_is_seen_from_outside() {
    let (dump, wires) = dumped(PLAN, &["slow-clock"]);
    let plan = PLAN.replacen("    moves:\n", "    moves:\n      - power: on\n", 1);
    let (exit, said) = judge(&plan, &dump, &wires);
    assert_eq!(exit, Some(1), "{said}");
    assert!(said.contains("cruise speed") || said.contains("step rate error"), "{said}");
}

#[test]
fn what_cannot_be_measured_is_refused() {
    let refused = |capture: &str, more: &[&str]| {
        let file = tempfile::NamedTempFile::new().expect("a file");
        std::fs::write(file.path(), capture).expect("written");
        let output = measure(&file.path().display().to_string(), more);
        (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    let dump = "$timescale 1 us $end $var wire 1 ! D0 $end $var wire 1 # D1 $end $enddefinitions $end #0\n";
    for (capture, more, exit, told) in [
        (dump, &[][..], 2, "add --channel"),
        (dump, &["--channel", "step=D9"], 5, "no signal `D9`; it has `D0`, `D1`"),
        (dump, &["--channel", "stp=D0"], 2, "did you mean `step`?"),
        (dump, &["--channel", "encoder a=D0", "--channel", "encoder b=D1"], 2, "add --encoder"),
        (dump, &["--channel", "step=D0", "--rest", "0 s"], 2, "150 ms"),
        ("", &["--channel", "step=D0"], 5, "the table is empty"),
        ("\u{f5}", &["--channel", "step=D0"], 5, "no signal `D0`"),
    ] {
        let (status, said) = refused(capture, more);
        assert!(status == Some(exit) && said.contains(told), "{status:?} {said}");
    }
    // Nothing at all moved: nothing is measured, and nothing is wrong.
    let (status, _) = refused(dump, &["--channel", "step=D0"]);
    assert_eq!(status, Some(0));
}
