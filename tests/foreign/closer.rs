//! The closer look of `railproof measure`, end to end: units of the simulated bench whose causes are known.

use super::common::Simulated;
use super::kept::Kept;
use super::{JIG, measure};
use railproof::capture::file::CaptureWriter;
use railproof::sim::{Fault, FirmwareVersion, WorldSettings};
use railproof::written::Source;
use serde_json::Value;

const PLAN: &str = "\
plan: closer
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
before: [ \"Nobody near\" ]
checks:
  - name: there and back
    because: It is looked at closer.
    moves:
      - power: on
      - home: left
      - travel: { to: right, speed: 90 mm/s }
      - travel: { to: left, speed: 90 mm/s }
    require:
      travel time: at most 60 s
";

/// The closer look at each motion of a simulated unit, and the text of it.
fn closer(faults: &[&str], firmware: FirmwareVersion) -> (Vec<Value>, String) {
    let simulated = Simulated::of(&Source::new("plan", PLAN));
    let faults = faults.iter().map(|name| Fault::parse(name).expect("a fault")).collect();
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).expect("in memory"));
    simulated.run(&WorldSettings { seed: 3, faults, firmware, ..WorldSettings::default() }, &mut kept);
    let file = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(file.path(), kept.0.finish().expect("in memory")).expect("written");
    let path = file.path().display().to_string();
    let output = measure(&path, &["--jig", JIG, "--format", "json"]);
    let value: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let text = String::from_utf8(measure(&path, &["--jig", JIG]).stdout).expect("plain text");
    let text = text.split("closer look").nth(1).expect("a closer look").to_owned();
    let moves = value["captures"][0]["checks"][0]["closer_look"].as_array().expect("a closer look").clone();
    assert_eq!(moves.len(), 3, "{text}");
    (moves, text)
}

fn count(one: &Value, what: &str) -> u64 {
    one[what]["count"].as_u64().unwrap_or_else(|| panic!("{what}: {one:#}"))
}

/// The tone of a spectrum that is put down to a cause.
fn named<'a>(spectrum: &'a Value, cause: &str) -> Option<&'a Value> {
    spectrum["tones"].as_array().expect("tones").iter().find(|tone| tone["cause"] == cause)
}

// Outside: firmware 1.5.0 masks its step interrupt every 20 ms, which recurs at 50 Hz; how: closed form
#[test]
fn a_refresh_that_masks_the_step_interrupt_is_named_with_its_rate() {
    for (faults, firmware) in
        [(&[][..], FirmwareVersion::V1_5_0), (&["masked-interrupts"][..], FirmwareVersion::V1_4_0)]
    {
        let (moves, text) = closer(faults, firmware);
        for travel in &moves[1..] {
            let tone = &travel["step_clock"]["tones"][0];
            assert_eq!((&tone["cause"], &tone["harmonic"]), (&"light-bar refresh".into(), &1.into()), "{text}");
            let number = |name: &str| tone[name].as_f64().expect("a number");
            assert!((number("frequency_hz") - 50.0).abs() < 0.02, "{tone:#}");
            assert!(number("amplitude") > 0.5e-6, "{tone:#}");
            assert!(tone["overtones"].as_array().expect("overtones").len() > 20, "{text}");
            assert!(count(travel, "late_steps") > 100 && count(travel, "doubled_steps") == 0, "{text}");
        }
        assert!(text.contains("light-bar refresh (or mains, 50 Hz: the same frequency)"), "{text}");
    }
}

#[test]
fn a_sound_unit_stumbles_nowhere_and_loses_nothing() {
    let (moves, text) = closer(&[], FirmwareVersion::V1_4_0);
    for one in &moves {
        for what in ["doubled_steps", "late_steps", "lost_way"] {
            assert_eq!(count(one, what), 0, "{text}");
        }
    }
    for travel in &moves[1..] {
        assert!(named(&travel["step_clock"], "light-bar refresh").is_none(), "{text}");
    }
}

// Outside: a hybrid motor cogs once a full step: 75 and 450 Hz at 15 and 90 mm/s; how: common practice, no source
#[test]
fn a_motors_cogging_is_named_with_its_full_steps() {
    let (moves, text) = closer(&[], FirmwareVersion::V1_4_0);
    for (one, expected) in moves.iter().zip([75.0, 450.0, 450.0]) {
        let tone = named(&one["carriage_speed"], "full step").unwrap_or_else(|| panic!("{text}"));
        let found = tone["frequency_hz"].as_f64().expect("a number");
        assert!((found / expected - 1.0).abs() < 2e-3 && tone["harmonic"] == 1, "{text}");
    }
}

#[test]
fn steps_lost_by_the_motor_and_teeth_lost_by_the_belt_have_their_places() {
    for (fault, by) in [("low-driver-current", "motor"), ("slipping-belt", "belt")] {
        let (moves, text) = closer(&[fault], FirmwareVersion::V1_4_0);
        let lost: u64 = moves.iter().map(|one| count(one, "lost_way")).sum();
        assert!(lost > 0, "{fault}: {text}");
        let mut all = moves.iter().flat_map(|one| one["lost_way"]["listed"].as_array().expect("a list"));
        assert!(all.any(|one| one["by"] == by && one["place"]["carriage_m"].is_number()), "{fault}: {text}");
    }
}
