//! The jig files that are shipped, and what is wrong with others.

use super::*;
use expect_test::{Expect, expect};
use time::macros::date;

const SIMULATED: &str = include_str!("../../../fixtures/jigs/simulated.yaml");
const BOARD: &str = include_str!("../../../fixtures/jigs/usb-board.yaml");
const PI: &str = include_str!("../../../fixtures/jigs/raspberry-pi.yaml");

fn good(text: &str) -> JigFile {
    JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn problems(text: &str, expected: Expect) {
    let said = match JigFile::read(&Source::new("jig.yaml", text)) {
        Ok(_) => "nothing is wrong".to_owned(),
        Err(problems) => problems
            .iter()
            .map(|problem| {
                format!("{}:{} {} | {} | {}", problem.line, problem.column, problem.path, problem.what, problem.right)
            })
            .collect::<Vec<_>>()
            .join("\n"),
    };
    expected.assert_eq(&said);
}

#[test]
fn the_simulated_jig_and_the_board_are_alike() {
    let (simulated, board) = (good(SIMULATED), good(BOARD));
    assert_eq!((simulated.kind, board.kind), (JigKind::Simulated, JigKind::CaptureBoard));
    assert_eq!(simulated.clock, board.clock);
    assert_eq!(simulated.encoder, board.encoder);
    assert_eq!(simulated.samples, board.samples);
    assert_eq!(simulated.outputs, board.outputs);
    assert_eq!((board.unit_port.as_deref(), board.board_port.as_deref()), (Some("/dev/ttyUSB0"), Some("/dev/ttyACM0")));
    assert_eq!(simulated.clock.ticks_per_second, 2_000_000);
    assert_eq!((simulated.clock.uncertainty, simulated.clock.stamp_uncertainty), (1e-5, 1e-7));
    assert_eq!(simulated.encoder.unwrap().edges_per_metre, 40_000.0);
    let calibrations = simulated.calibrations();
    assert_eq!(calibrations[SampleChannel::PackVoltage.index()].unwrap().value(6000), 7.5);
    assert_eq!(calibrations[SampleChannel::AirTemperature.index()].unwrap().value(352), 22.0);
    assert_eq!(calibrations[SampleChannel::Light(5).index()].unwrap().gain, 1.0 / 1024.0);
    assert_eq!(calibrations[SampleChannel::Light(6).index()], None);
    assert_eq!(simulated.output_channels().last(), Some(&OutputChannel::Auxiliary(1)));
    assert_eq!(simulated.references, board.references);
}

#[test]
fn a_raspberry_pi_knows_its_wires() {
    let jig = good(PI);
    assert!(jig.edges.iter().all(|input| input.pin.is_some()) && jig.outputs.iter().all(|output| output.pin.is_some()));
    let motor = jig.samples.iter().find(|input| input.channel == SampleChannel::MotorTemperature).unwrap();
    assert_eq!(motor.wire, Some(SampleWire { source: SampleSource::OneWire { serial: 0x0316_a279_5bff }, rate: 1.0 }));
    let volts = jig.samples.iter().find(|input| input.channel == SampleChannel::PackVoltage).unwrap();
    let source = SampleSource::PowerMonitor { device: 0x40, reads: PowerReading::BusVoltage };
    assert_eq!(volts.wire, Some(SampleWire { source, rate: 100.0 }));
    let plain = good(&PI.replace("chip: DS18B20, one wire: 28-0316a2795bff", "i2c: 0x4a, register: 0x00, shift: 4"));
    let motor = plain.samples.iter().find(|input| input.channel == SampleChannel::MotorTemperature).unwrap();
    let source = SampleSource::Register { device: 0x4a, register: 0, shift: 4 };
    assert_eq!(motor.wire, Some(SampleWire { source, rate: 1.0 }));
    assert_eq!(jig.lit_above, 0.5);
}

/// Every jig that is shipped has what it can be held against.
#[test]
fn references_are_those_that_the_jig_s_wiring_allows() {
    let built = good(include_str!("../../../fixtures/jigs/capture-board.yaml")).references;
    let (pi, board) = (good(PI).references, good(BOARD).references);
    let counts = |of: &References| (of.clock.is_some(), of.values.len(), of.loop_backs.len());
    assert_eq!((counts(&board), counts(&built), counts(&pi)), ((true, 5, 2), (true, 4, 0), (false, 5, 2)));
    assert!(built.values.iter().all(|value| value.by.is_none()), "its board has no output to spare");
    for of in [&board, &built, &pi] {
        let (load, unit) = (of.load.as_ref().expect("a load"), of.unit.as_ref().expect("a unit"));
        assert_eq!((load.uncertainty, unit.serial.as_str(), unit.uncertainty), (0.02, "SM-0000", 0.15e-3));
        let (lower, upper) = unit.travel.limits();
        assert_eq!((lower, upper), (Some(0.559), Some(0.561)));
    }
}

#[test]
fn a_calibration_falls_due_the_day_after() {
    let jig = good(PI);
    assert!(jig.overdue(date!(2027 - 09 - 14)).is_empty());
    let overdue: Vec<String> = jig.overdue(date!(2027 - 09 - 15)).into_iter().map(|(name, _)| name).collect();
    assert_eq!(overdue[..3], ["clock", "encoder", "pack voltage"]);
}

#[test]
fn an_environment_belongs_to_the_dates_beside_it() {
    let text = SIMULATED
        .replace("due: 2099-12-31", "due: 2099-12-31\nenvironment: 21 °C, 40 % RH")
        .replace(
            "0 %, offset uncertainty: 0.29 K }\n  light 1",
            "0 %, offset uncertainty: 0.29 K, calibrated: 2026-02-01, due: 2027-02-01 }\n  light 1",
        )
        .replace("rate: 2 MHz", "rate: 2 MHz\n  environment: \"19 °C\"");
    let said = good(&text).environments;
    assert_eq!((said["clock"].as_str(), said["encoder"].as_str()), ("19 °C", "21 °C, 40 % RH"));
    assert_eq!((said["light 3"].as_str(), said.get("air temperature")), ("21 °C, 40 % RH", None));
    assert!(good(SIMULATED).environments.is_empty());
}

#[test]
fn wrong_wires_are_found() {
    problems(
        &PI.replace("direction:       { pin: 27 }", "direction:       { pin: 17 }"),
        expect![
            "36:22 edges.direction | pin 17 of `direction` is that of `step` already | give each line a pin of its own"
        ],
    );
    problems(
        &PI.replace("press 4:     { pin: 21, active: high }", "press 4:     { pin: 24, active: up }"),
        expect![[r#"
            80:18 outputs.press 4 | pin 24 of `press 4` is that of `left end stop` already | give each line a pin of its own
            80:35 outputs.press 4.active | `up` is no level | write `high` or `low`"#]],
    );
    problems(
        &PI.replace("i2c: 0x48, input: 0", "i2c: 0x80, input: 4"),
        expect![[r#"
            60:46 samples.light 1.i2c | `0x80` is no address on the I2C bus | write a 7-bit address from 0x08 to 0x77, for example `0x40`
            60:59 samples.light 1.input | an ADS1115 has no input `4` | write 0, 1, 2 or 3"#]],
    );
    problems(
        &PI.replace("chip: DS18B20, one wire: 28-0316a2795bff", "chip: DS18S20"),
        expect![
            "57:32 samples.motor temperature.chip | `DS18S20` is no chip that this program knows | write `INA226` or `ADS1115` or `TCS34725` or `DS18B20`"
        ],
    );
    problems(
        &PI.replace("28-0316a2795bff", "10-0316a2795bff"),
        expect![
            "57:51 samples.motor temperature.one wire | `10-0316a2795bff` is no thermometer on the one-wire bus | write its name under /sys/bus/w1/devices, for example `28-0316a2795bff`"
        ],
    );
    problems(
        &PI.replace("reads: shunt voltage", "reads: current"),
        expect![
            "56:58 samples.pack current.reads | `current` is no reading of an INA226 that this program knows | write `bus voltage` or `shunt voltage`"
        ],
    );
    problems(
        &PI.replace("chip: INA226, i2c: 0x40, reads: bus voltage", "i2c: 0x40"),
        expect!["55:26 samples.pack voltage | `pack voltage` needs the key `register` | add `register: 0x02`"],
    );
    problems(
        &PI.replace("guard:           { pin: 6 }", "guard:           { pin: 40 }"),
        expect!["42:27 edges.guard.pin | `40` is no pin | write the BCM number of a pin of the header, from 2 to 27"],
    );
    problems(
        &PI.replace("keep alive: { pin: 26 }\n", ""),
        expect!["15:1  | a jig file needs the key `keep alive` | add `keep alive: { pin: 26 }`"],
    );
    problems(
        &PI.replace("keep alive: { pin: 26 }", "keep alive: { pin: 17 }"),
        expect![
            "35:22 edges.step | pin 17 of `step` is that of `keep alive` already | give each line a pin of its own"
        ],
    );
    problems(
        &BOARD.replace("board: /dev/ttyACM0", "board: /dev/ttyUSB0"),
        expect!["31:37 ports.board | unit and board cannot be on the same port | name the board's own port"],
    );
    problems(
        &SIMULATED.replace("encoder a, encoder b,", "encoder a,"),
        expect![
            "6:1  | this jig has one track of an encoder | list both `encoder a` and `encoder b`: one track alone does not show the direction"
        ],
    );
}

#[test]
fn a_channel_without_calibration_is_none() {
    problems(
        &SIMULATED.replace("due: 2099-12-31", "due: 2025-12-31"),
        expect!["11:6 due | this calibration falls due before it was made | write a later day under `due`"],
    );
    problems(
        &SIMULATED.replace("due: 2099-12-31\n", ""),
        expect!["6:1  | a jig file needs the key `due` | add `due: 2027-03-02`"],
    );
    problems(
        &SIMULATED.replace("calibrated: 2026-01-05\ndue: 2099-12-31\n", ""),
        expect![[r#"
            12:3 clock | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            18:3 encoder | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            26:26 samples.pack voltage | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            27:26 samples.pack current | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            28:26 samples.motor temperature | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            29:26 samples.housing temperature | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            30:26 samples.air temperature | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            31:26 samples.light 1 | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            37:26 samples.light flicker | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file
            38:26 samples.red | nothing says until when this calibration holds | add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file"#]],
    );
    problems(
        &SIMULATED.replace("offset uncertainty: 2 mV", "offset uncertainty: 2 mA"),
        expect![
            "28:99 samples.pack voltage.offset uncertainty | `2 mA` is a current; a voltage is wanted | write for example `7.2 V`"
        ],
    );
    problems(
        &SIMULATED.replace(
            "gain: 0.0625 K, offset: 0 °C, gain uncertainty: 0 %",
            "gain: 0.0625 °C, offset: 0 °C, gain uncertainty: -1 %",
        ),
        expect![[r#"
            30:32 samples.motor temperature.gain | `0.0625 °C` is a temperature; a difference of temperatures is wanted | write for example `15 K`
            30:75 samples.motor temperature.gain uncertainty | `-1 %` is no standard uncertainty | write a small value that is not negative, as the calibration states it
            31:32 samples.housing temperature.gain | `0.0625 °C` is a temperature; a difference of temperatures is wanted | write for example `15 K`
            31:75 samples.housing temperature.gain uncertainty | `-1 %` is no standard uncertainty | write a small value that is not negative, as the calibration states it
            32:32 samples.air temperature.gain | `0.0625 °C` is a temperature; a difference of temperatures is wanted | write for example `15 K`
            32:75 samples.air temperature.gain uncertainty | `-1 %` is no standard uncertainty | write a small value that is not negative, as the calibration states it"#]],
    );
}

#[test]
fn a_real_jig_watches_its_emergency_stop() {
    problems(
        &BOARD.replace("interlocks: [ emergency stop, guard ]", "interlocks: [ guard ]"),
        expect![
            "28:1  | this jig moves real carriages without watching its emergency stop | wire the emergency-stop chain to an input, list it under `edges`, and add `interlocks: [ emergency stop ]`"
        ],
    );
    problems(
        &BOARD.replace("safe state: all off", "safe state: unit supply on"),
        expect![
            "74:13 safe state | `unit supply on` is no safe state | write `all off`, and wire the relays so that supply and load are off and nothing is pressed without power"
        ],
    );
    problems(
        &BOARD.replace("right end stop, emergency stop, guard,", "right end stop, emergency stpo,"),
        expect![[r#"
            48:80 edges[6] | there is no channel `emergency stpo` | did you mean `emergency stop`?
            73:15 interlocks[0] | the interlock `emergency stop` is not among this jig's `edges` | wire it and list it there
            73:31 interlocks[1] | the interlock `guard` is not among this jig's `edges` | wire it and list it there"#]],
    );
}
