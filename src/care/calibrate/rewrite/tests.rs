//! Jig files as people write them, with one channel calibrated anew.

use super::*;
use crate::capture::Calibration;
use time::macros::date;

const SIMULATED: &str = include_str!("../../../../fixtures/jigs/simulated.yaml");
const BOARD: &str = include_str!("../../../../fixtures/jigs/usb-board.yaml");
const BUILT: &str = include_str!("../../../../fixtures/jigs/capture-board.yaml");
const RASPBERRY: &str = include_str!("../../../../fixtures/jigs/raspberry-pi.yaml");

const DATES: Dates = Dates { calibrated: date!(2026 - 11 - 28), due: date!(2027 - 11 - 28) };

/// The channel of a file with a gain 0.1 % higher, an offset, and other doubts.
fn renewed(jig: &JigFile, name: &str, environment: Option<&str>) -> Renewal {
    let calibrated = match Target::named(jig, name).expect("a channel") {
        Target::Sample(input) => {
            let calibration = Calibration {
                gain: 1.001 * input.calibration.gain,
                offset: 0.0123,
                gain_uncertainty: 4.321e-4,
                offset_uncertainty: 1.234e-3,
            };
            Target::Sample(SampleInput { calibration, ..input })
        }
        Target::Clock(clock) => Target::Clock(TickClock { error: -12.345e-6, uncertainty: 0.5e-6, ..clock }),
        Target::Encoder(encoder) => {
            Target::Encoder(crate::jig::Encoder { edges_per_metre: 39_998.7, uncertainty: 7e-6, ..encoder })
        }
    };
    Renewal { calibrated, dates: DATES, environment: environment.map(str::to_owned) }
}

fn rewritten(text: &str, name: &str, environment: Option<&str>) -> Result<String, Mistake> {
    let source = Source::new("jig.yaml", text);
    let jig = JigFile::read(&source).unwrap_or_else(|problems| panic!("{}", problems[0]));
    rewrite(&source, &jig, &renewed(&jig, name, environment)).map(|rewritten| rewritten.text)
}

/// The lines that differ, old and new.
fn differing(old: &str, new: &str) -> Vec<String> {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let only = |these: &[&str], those: &[&str], sign: char| -> Vec<String> {
        these.iter().filter(|line| !those.contains(line)).map(|line| format!("{sign}{line}")).collect()
    };
    [only(&old, &new, '-'), only(&new, &old, '+')].concat()
}

#[test]
fn one_line_of_a_map_in_braces_changes() {
    let new = rewritten(BOARD, "pack voltage", Some("21.5 °C, 45 % \"RH\"")).expect("a new text");
    assert_eq!(
        differing(BOARD, &new),
        [
            "-  pack voltage:        { gain: 1.25 mV, offset: 0 V, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }",
            "+  pack voltage:        { gain: 1.2512500 mV, offset: 0.012300 V, gain uncertainty: 0.044 %, offset uncertainty: 1.3 mV, \
             calibrated: 2026-11-28, due: 2027-11-28, environment: \"21.5 °C, 45 % \\\"RH\\\"\" }",
        ]
    );
    let jig = JigFile::read(&Source::new("jig.yaml", &new)).expect("a jig file");
    assert_eq!(jig.environments["pack voltage"], "21.5 °C, 45 % \"RH\"");
    // A second time every key is there already.
    let again = rewritten(&new, "pack voltage", Some("20 °C")).expect("a new text");
    assert!(again.contains("due: 2027-11-28, environment: \"20 °C\" }"), "{again}");
}

#[test]
fn a_map_in_lines_keeps_its_comments_and_gets_lines() {
    let new = rewritten(BOARD, "clock", None).expect("a new text");
    assert_eq!(
        differing(BOARD, &new),
        [
            "-  error: 0 ppm                # calibrated error of the clock: true time = nominal time x (1 + error)",
            "-  uncertainty: 10 ppm         # standard uncertainty of that error",
            "+  error: -12.3450 ppm                # calibrated error of the clock: true time = nominal time x (1 + error)",
            "+  uncertainty: 0.5 ppm         # standard uncertainty of that error",
            "+  calibrated: 2026-11-28",
            "+  due: 2027-11-28",
        ]
    );
    assert!(new.contains("resolution\n  calibrated: 2026-11-28\n  due: 2027-11-28\n\nencoder:"), "{new}");
    let carriage_returns = BOARD.replace('\n', "\r\n");
    let same = rewritten(&carriage_returns, "clock", None).expect("a new text");
    assert_eq!(same, new.replace('\n', "\r\n"));
    assert_eq!(differing(RASPBERRY, &rewritten(RASPBERRY, "encoder", None).expect("a new text")).len(), 6);
}

#[test]
fn every_channel_of_every_shipped_jig_file_can_be_calibrated_alone() {
    for text in [SIMULATED, BOARD, BUILT, RASPBERRY] {
        let jig = JigFile::read(&Source::new("jig.yaml", text)).expect("a jig file");
        for (name, _) in jig.dates() {
            let new = rewritten(text, &name, Some("22 °C")).unwrap_or_else(|mistake| panic!("{name}: {mistake:?}"));
            let comments = |text: &str| text.matches('#').count();
            assert_eq!(comments(&new), comments(text), "{name}");
        }
    }
}

#[test]
fn an_alias_gets_a_map_of_its_own_and_an_anchor_an_heir() {
    let new = rewritten(SIMULATED, "light 3", None).expect("a new text");
    assert!(new.contains("  light 2: *light\n  light 3: { gain: 0.097753"), "{new}");
    assert!(new.contains("  light 4: *light\n"), "{new}");

    let new = rewritten(SIMULATED, "light 1", None).expect("a new text");
    let (light_1, light_2) = (
        new.find("  light 1: { gain: 0.097753").expect("its own"),
        new.find("  light 2: &light { gain: 0.09765625 %,").expect("the heir"),
    );
    assert!(light_1 < light_2 && new.contains("  light 3: *light\n"), "{new}");
    assert!(rewritten(&new, "light 2", None).expect("a new text").contains("  light 3: &light { gain: 0.09765625 %,"));
}

#[test]
fn strange_ways_to_write_a_map_are_taken_or_refused_whole() {
    let voltage =
        "  pack voltage:        { gain: 1.25 mV, offset: 0 V, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n";
    let with = |map: &str| {
        let text = SIMULATED.replace(voltage, map);
        assert_ne!(text, SIMULATED);
        rewritten(&text, "pack voltage", Some("20 °C"))
    };
    for taken in [
        "  \"pack voltage\" : {gain: \"1.25 mV\", 'offset uncertainty': '2 mV', gain uncertainty: 0.1 %}\n",
        "  pack voltage:\n    gain: 1250 µV   # from the data sheet\n    gain uncertainty: 0.1 %\n    offset uncertainty: 2 mV  # last",
        "  pack voltage: {\n    gain: 1.25 mV,\n    gain uncertainty: 0.1 %,\n    offset uncertainty: 2 mV,\n  }\n",
        "  pack voltage: &volts { gain: 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n",
        "  pack voltage: { gain: 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV, calibrated: 2026-01-02, due: 2026-07-02, environment: \"a \\\" b\" }\n",
    ] {
        // What is left out at the end of a map in lines is the line end of the next key.
        let map = if taken.ends_with('\n') { taken.to_owned() } else { format!("{taken}\n") };
        let new = with(&map).unwrap_or_else(|mistake| panic!("{taken}: {mistake:?}"));
        assert!(new.contains("2026-11-28"), "{new}");
    }
    for refused in [
        "  ? pack voltage\n  : { gain: 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n",
        "  pack voltage: { gain: &g 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n",
        "  pack voltage:\n    gain:\n      1.25 mV\n    gain uncertainty: 0.1 %\n    offset uncertainty: 2 mV\n",
        "  pack voltage: { gain: 1.25\n      mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n",
        "  pack voltage: { # of the meter\n    gain: 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV }\n",
    ] {
        let mistake = with(refused).expect_err(refused);
        assert!(mistake.what.starts_with("the calibration of `pack voltage` cannot be written"), "{mistake:?}");
    }
    let with_comment = SIMULATED.replace("light 1: &light      { gain", "light 1: &light      { # seen\n    gain");
    assert!(rewritten(&with_comment, "light 1", None).expect_err("a comment").what.contains("would be lost"));
}

#[test]
fn what_would_change_another_channel_is_refused() {
    // The clock's map is repeated by nothing that the file may hold, but a shared word is.
    let shared = SIMULATED.replace("  uncertainty: 10 ppm ", "  uncertainty: &doubt 10 ppm ");
    assert!(rewritten(&shared, "clock", None).is_err());
    let mistaken = {
        let source = Source::new("jig.yaml", SIMULATED);
        let jig = JigFile::read(&source).expect("a jig file");
        let other = JigFile { lit_above: 0.25, ..jig.clone() };
        rewrite(&source, &other, &renewed(&jig, "clock", None))
    };
    assert!(mistaken.expect_err("not the same file").what.contains("more than this channel would change"));
}
