//! The measurands against published values and against other programs. Beside each check stands its source.

#[path = "external/heat.rs"]
mod heat;
#[path = "external/pack.rs"]
mod pack;

use hdrhistogram::serialization::{Deserializer, Serializer, V2Serializer};
use railproof::capture::{
    Action, Calibration, CaptureSink, Destination, Driven, EdgeChannel, Mark, MarkKind, OutputChannel, Part, Phase,
    SampleChannel, Side, Tick,
};
use railproof::measure::{CheckEvidence, IntervalTrace, JigFacts, PackFacts, Session, Setup, UnitFacts, find};
use railproof::stats::Estimate;

/// A jig whose own doubt is next to nothing: 5 ns ticks, 1 µV and 1 µA codes.
fn setup(calibration_doubt: f64) -> Setup {
    let mut calibrations = [None; SampleChannel::COUNT];
    for (channel, gain) in [
        (SampleChannel::PackVoltage, 1e-6),
        (SampleChannel::PackCurrent, 1e-6),
        (SampleChannel::MotorTemperature, 0.0625),
    ] {
        calibrations[channel.index()] =
            Some(Calibration { gain, offset: 0.0, gain_uncertainty: calibration_doubt, offset_uncertainty: 0.0 });
    }
    Setup {
        unit: UnitFacts {
            // 1.8° a full step, sixteen microsteps, twenty teeth of 2 mm.
            steps_per_metre: (360.0 / 1.8) * 16.0 / (20.0 * 2e-3),
            acceleration: 1.6,
            microsteps: 16,
            step_timer: None,
            belt_pitch: 2e-3,
            pulley_turn: 40e-3,
            travel: 0.56,
            levels: vec![0.1],
            segments: 0,
            refresh: None,
            crawl_increment: 0.2e-3,
            crawl_interval: 2.0,
            pack: PackFacts { energy: Some((7.2 * 2200e-3 * 3600.0, 0.03)), brown_out: Some(4.6) },
            housing_limit: Some(50.0),
        },
        jig: JigFacts {
            ticks_per_second: 200_000_000,
            clock_error: 0.0,
            clock_uncertainty: 0.0,
            stamp_uncertainty: 0.0,
            encoder_edges_per_metre: 40_000.0,
            encoder_uncertainty: 0.0,
            edges: EdgeChannel::ALL.to_vec(),
            calibrations,
            lit_above: 0.5,
        },
    }
}

fn tick(seconds: f64) -> Tick {
    (seconds * 2e8).round() as Tick
}

/// A check of one phase that holds `part`.
fn check(setup: &Setup, action: Action, part: &Part, until: Tick) -> CheckEvidence {
    let mut session = Session::new(setup.clone());
    let phase = Phase { check: 0, ordinal: 0, label: "the move".into(), action };
    for (at, kind) in [(0, MarkKind::CheckBegins { check: 0 }), (0, MarkKind::PhaseBegins(phase))] {
        session.mark(&Mark { at, doubt: 0, kind });
    }
    session.part(part);
    for kind in [MarkKind::PhaseEnds, MarkKind::CheckEnds { check: 0 }] {
        session.mark(&Mark { at: until, doubt: 0, kind });
    }
    session.take_check().expect("a check has ended")
}

fn value(name: &str, check: &CheckEvidence, setup: &Setup) -> Estimate {
    let mut readings = find(name).expect("in the catalogue").read(check, setup);
    assert_eq!(readings.len(), 1, "{name}: {readings:?}");
    readings.remove(0).result.unwrap_or_else(|withheld| panic!("{name}: {withheld:?}"))
}

/// Samples (s, A, V) of a table of those.
fn samples(text: &str) -> Vec<(f64, f64, f64)> {
    rows(text).into_iter().map(|row| (row[0], row[1], row[2])).collect()
}

/// Samples (s, A, V) of a pulse of the physical model. Its rows (charge, s, A, V) come ten times a second, two at each
/// switching; a jig samples the same curve 250 times a second.
fn sampled(curve: &[&[f64]]) -> Vec<(f64, f64, f64)> {
    (0..(25.0 * 250.0) as usize)
        .map(|index| (index as f64 + 0.5) / 250.0)
        .filter_map(|time| {
            let next = curve.iter().position(|row| row[1] > time)?;
            let (from, to) = (curve[next.checked_sub(1)?], curve[next]);
            let passed = (time - from[1]) / (to[1] - from[1]);
            Some((time, from[2], from[3] + (to[3] - from[3]) * passed))
        })
        .collect()
}

/// The dummy load switched.
fn load(time: f64, on: bool) -> Driven {
    Driven { at: tick(time), output: OutputChannel::DummyLoad, on }
}

/// A load step: samples (s, A, V), the load on from `on` to `off`.
fn load_step(samples: &[(f64, f64, f64)], on: f64, off: f64, setup: &Setup) -> CheckEvidence {
    let mut part = Part::default();
    for (time, ampere, volt) in samples {
        part.push_sample(SampleChannel::PackCurrent, tick(*time), (ampere * 1e6).round() as i32);
        part.push_sample(SampleChannel::PackVoltage, tick(*time), (volt * 1e6).round() as i32);
    }
    part.driven.extend([load(on, true), load(off, false)]);
    let until = tick(samples[samples.len() - 1].0) + 1;
    check(setup, Action::Load { on: true }, &part, until)
}

fn rows(text: &str) -> Vec<Vec<f64>> {
    text.lines().skip(1).map(|line| line.split(',').map(|field| field.parse().expect("a number")).collect()).collect()
}

/// IEC 61960-3, direct-current resistance from two levels (from memory: 0.2 C for 10 s, then 1 C for 1 s). A pack of 7.60 V,
/// 80 mΩ, and 40 mΩ with 2 s, in closed form: U1 = 7.552107807 V, U2 = 7.398883351 V, R = 95.765285 mΩ. Its 20 samples a second
/// end 50 ms before U2: who takes the last one gets 95.15 mΩ.
// Outside: IEC 61960-3 two-level method on a pack with one RC pair; how: closed form, clause from memory
#[test]
fn series_resistance_in_closed_form() {
    let setup = setup(0.0);
    let samples = samples(include_str!("data/pack2s_thevenin_closed_form.csv"));
    let resistance = value("pack series resistance", &load_step(&samples, 12.0, 13.0, &setup), &setup);
    assert!((resistance.value - 95.765285e-3).abs() < 0.1e-3, "{resistance:?}");
}

/// The same method on a physical model of a two-cell pack (Doyle-Fuller-Newman with the parameters of Chen et al., J.
/// Electrochem. Soc. 167 (2020) 080534, simulated with pybamm 26.10): 1 A for 10 s, then 5 A for 1 s, at five states of charge.
// Outside: Chen et al. (2020) cell parameters, two-cell pack at five states of charge; how: package pybamm 26.10
#[test]
fn series_resistance_of_a_physical_model() {
    let setup = setup(0.0);
    let table = rows(include_str!("data/pack2s_chen2020_pulse.csv"));
    for (charge, expected) in [(0.9, 47.4622), (0.7, 45.4712), (0.5, 44.9846), (0.3, 46.5668), (0.15, 50.4976)] {
        let curve: Vec<&[f64]> = table.iter().filter(|row| row[0] == charge).map(Vec::as_slice).collect();
        let check = load_step(&sampled(&curve), 15.0, 16.0, &setup);
        let resistance = value("pack series resistance", &check, &setup);
        assert!((resistance.value * 1e3 - expected).abs() < 0.01, "{charge}: {resistance:?} against {expected}");
    }
}

/// Recovery of the pack in closed form above: its slow part has a time constant of 2 s.
// Outside: relaxation of one RC pair; how: closed form
#[test]
fn recovery_time_in_closed_form() {
    let setup = setup(0.0);
    let pack = |time: f64| if time < 5.0 { (2.0, 7.36) } else { (0.0, 7.6 - 0.08 * (-(time - 5.0) / 2.0).exp()) };
    let samples: Vec<(f64, f64, f64)> = (0..2500)
        .map(|index| f64::from(index) / 250.0 + 0.002)
        .map(|time| (time, pack(time).0, pack(time).1))
        .collect();
    let time = value("pack recovery time", &load_step(&samples, 2.0, 5.0, &setup), &setup);
    assert!((time.value - 2.0).abs() < 0.002, "{time:?}");
}

fn travel(speed: f64) -> Action {
    Action::Travel { to: Destination::End(Side::Right), speed, level: None }
}

/// A check whose step periods, in µs, are `periods`.
fn step_clock(periods: &[f64], setup: &Setup) -> CheckEvidence {
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, true);
    let mut at = 1e-3;
    part.push_edge(EdgeChannel::Step, tick(at), true);
    for period in periods {
        at += period * 1e-6;
        part.push_edge(EdgeChannel::Step, tick(at), true);
    }
    check(setup, travel(0.1), &part, tick(at + 0.1))
}

/// JEDEC JESD65 (from memory): period jitter is the deviation of a period from the mean, cycle-to-cycle jitter the change
/// from one period to the next. Periods of 124 and 126 µs in turn: by hand, rms 1 µs, peak to peak 2 µs, change 2 µs.
// Outside: JEDEC JESD65, period and cycle-to-cycle jitter of an alternating clock; how: closed form, definitions from memory
#[test]
fn jitter_of_an_alternating_clock() {
    let setup = setup(0.0);
    let periods: Vec<f64> = (0..8000).map(|index| if index % 2 == 0 { 124.0 } else { 126.0 }).collect();
    let check = step_clock(&periods, &setup);
    for (name, expected) in [
        ("period jitter rms", 1.0),
        ("period jitter peak to peak", 2.0),
        ("period jitter p99", 1.0),
        ("period jitter p99.9", 1.0),
        ("cycle-to-cycle jitter", 2.0),
        ("longest step gap", 126.0),
    ] {
        let found = value(name, &check, &setup).value * 1e6;
        assert!((found - expected).abs() < 0.005, "{name}: {found} against {expected}");
    }
}

/// The same definitions on a clock with one period in two hundred late by 50 µs: of the 8000 periods of 125 µs, 40 are
/// 175 µs long. Mean 125.25 µs, so by hand: rms √(0.005 · 0.995) · 50 = 3.527 µs; 99 % of the deviations are 0.25 µs, 99.9 % reach
/// 49.75 µs; changes of 50 µs at 80 of 7999 places: √(80/7999) · 50 = 5.000 µs.
// Outside: JEDEC JESD65, jitter of a clock with late periods; how: closed form, definitions from memory
#[test]
fn jitter_of_a_clock_with_gaps() {
    let setup = setup(0.0);
    let periods: Vec<f64> = (0..8000).map(|index| if index % 200 == 100 { 175.0 } else { 125.0 }).collect();
    let check = step_clock(&periods, &setup);
    for (name, expected, tolerance) in [
        ("period jitter rms", 3.527, 0.02),
        ("period jitter peak to peak", 50.0, 0.01),
        ("period jitter p99", 0.25, 0.01),
        ("period jitter p99.9", 49.75, 0.01),
        ("cycle-to-cycle jitter", 5.0, 0.02),
        ("longest step gap", 175.0, 0.01),
    ] {
        let found = value(name, &check, &setup).value * 1e6;
        assert!((found - expected).abs() < tolerance, "{name}: {found} against {expected}");
    }
}

/// Arithmetic of the drive (common practice): 1.8° steps, 1/16, 20 teeth of 2 mm make 80 steps/mm and 12.5 µm a step; one
/// turn of 3200 steps moves 40 mm; at 100 mm/s the step rate is 8 kHz, a step every 125 µs.
// Outside: steps per millimetre of a 1.8° motor, 1/16 microsteps, 20 teeth of 2 mm; how: common practice, no source
#[test]
fn eighty_steps_a_millimetre() {
    let setup = setup(0.0);
    assert_eq!(setup.unit.steps_per_metre, 80_000.0);
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, true);
    part.push_edge(EdgeChannel::EncoderA, 0, false);
    part.push_edge(EdgeChannel::EncoderB, 0, false);
    for step in 0..3200_u32 {
        part.push_edge(EdgeChannel::Step, tick(1e-3 + 125e-6 * f64::from(step)), true);
    }
    // 40 edges/mm: one every second step, A first.
    for edge in 0..1600_u32 {
        let channel = [EdgeChannel::EncoderA, EdgeChannel::EncoderB][edge as usize % 2];
        part.push_edge(channel, tick(1e-3 + 250e-6 * f64::from(edge) + 200e-6), edge % 4 < 2);
    }
    let check = check(&setup, travel(0.1), &part, tick(0.6));
    assert!((value("cruise speed", &check, &setup).value - 0.1).abs() < 1e-9);
    assert!(value("step rate error", &check, &setup).value.abs() < 1e-9);
    assert!((value("longest step gap", &check, &setup).value - 125e-6).abs() < 10e-9);
    assert!((value("travel time", &check, &setup).value - 3199.0 * 125e-6).abs() < 10e-9);
}

/// JCGM 100:2008, 4.3.7 and F.2.2.1: a resolution q is a rectangular distribution of standard deviation q/√12; for 1 µs
/// 0.2886751 µs.
// Outside: JCGM 100:2008, 4.3.7 and F.2.2.1, resolution as a rectangle; how: closed form, clause from memory
#[test]
fn resolution_is_rectangular() {
    let setup = setup(0.0);
    let mut part = Part::default();
    for second in 0..5_u32 {
        part.push_sample(SampleChannel::MotorTemperature, tick(f64::from(second)), 400);
    }
    let check = check(&setup, Action::Wait, &part, tick(5.0));
    let temperature = value("motor temperature", &check, &setup);
    assert_eq!(temperature.value, 25.0);
    assert!((temperature.standard_uncertainty() / 0.0625 - 0.288_675_1).abs() < 1e-7);
    // Two codes: √2 of that.
    let rise = value("motor temperature rise", &check, &setup);
    assert!((rise.standard_uncertainty() / 0.0625 - 0.408_248_3).abs() < 1e-7);
}

fn percentiles(trace: &IntervalTrace, percents: &[f64]) -> Vec<u64> {
    percents.iter().map(|percent| trace.histogram.value_at_quantile(percent / 100.0)).collect()
}

/// HdrHistogram's own example: ten thousand times 1000 and once 100 000 000, three significant digits, plain and with
/// correction for coordinated omission; the Python package hdrhistogram 0.10.8 gives the same percentiles.
// Outside: HdrHistogram example, percentiles plain and corrected; how: package hdrhistogram 0.10.8 (Python)
#[test]
fn percentiles_of_another_histogram() {
    let mut plain = IntervalTrace::new("plain", 0.0);
    plain.histogram.record_n(1000, 10_000).expect("in range");
    plain.histogram.record(100_000_000).expect("in range");
    assert_eq!(percentiles(&plain, &[0.0, 50.0, 99.99, 100.0]), [1000, 1000, 1000, 100_007_935]);
    assert!((plain.histogram.mean() - 10_996.417_158_284_172).abs() < 1e-6);
    assert!((plain.histogram.stdev() - 999_641.715_828_417_1).abs() < 1e-4);
    let mut corrected = IntervalTrace::new("corrected", 0.0);
    for _ in 0..10_000 {
        corrected.histogram.record_correct(1000, 10_000).expect("in range");
    }
    corrected.histogram.record_correct(100_000_000, 10_000).expect("in range");
    assert_eq!(
        percentiles(&corrected, &[50.0, 75.0, 90.0, 95.0, 99.0, 99.9, 100.0]),
        [1000, 50_003_967, 80_019_455, 90_046_463, 98_041_855, 99_811_327, 100_007_935]
    );
    assert_eq!(corrected.histogram.len(), 20_000);
    assert!((corrected.histogram.mean() - 25_003_006.699_4).abs() < 1e-4);
    assert!((corrected.histogram.stdev() - 32_276_410.479_123_365).abs() < 1e-4);
}

/// What three significant digits do not tell apart: lowest and highest equivalent value, as the Python package has them.
// Outside: HdrHistogram, values that three digits do not tell apart, from 1000 to 100 million; how: package hdrhistogram 0.10.8 (Python)
#[test]
fn values_that_three_digits_do_not_tell_apart() {
    let trace = IntervalTrace::new("borders", 0.0);
    let borders = [
        (1000, 1000, 1000),
        (2047, 2047, 2047),
        (2048, 2048, 2049),
        (4096, 4096, 4099),
        (10_007, 10_000, 10_007),
        (100_000, 99_968, 100_031),
        (1_000_000, 999_936, 1_000_447),
        (100_000_000, 99_942_400, 100_007_935),
    ];
    for (value, lowest, highest) in borders {
        assert_eq!(trace.histogram.lowest_equivalent(value), lowest);
        assert_eq!(trace.histogram.highest_equivalent(value), highest);
    }
}

/// The counts of HdrHistogram's example as its V2 encoding writes them (zig-zag variable-length numbers, runs of zeros as
/// negative ones), out of the text that stands in a record.
// Outside: HdrHistogram V2, body of the example after its 40 bytes of head: cf0fa09c0197880202; how: package hdrhistogram 0.10.8 (Python)
#[test]
fn the_body_of_a_stored_histogram() {
    let mut trace = IntervalTrace::new("plain", 0.0);
    trace.histogram.record_n(1000, 10_000).expect("in range");
    trace.histogram.record(100_000_000).expect("in range");
    let stored = base64(&railproof::record::hdr_text(&trace.histogram));
    assert_eq!(stored[..4], [0x1c, 0x84, 0x93, 0x14]);
    let opened: hdrhistogram::Histogram<u64> = Deserializer::new().deserialize(&mut stored.as_slice()).expect("V2");
    let mut plain = Vec::new();
    V2Serializer::new().serialize(&opened, &mut plain).expect("into memory");
    assert_eq!(plain[..4], [0x1c, 0x84, 0x93, 0x13]);
    assert_eq!(plain[40..], [0xcf, 0x0f, 0xa0, 0x9c, 0x01, 0x97, 0x88, 0x02, 0x02]);
}

/// Twenty step intervals in ns, in our histogram and in one that the Python package hdrhistogram 0.10.8 stored (V2, compressed,
/// base64): the same counts and percentiles.
// Outside: V2 compressed payload of another implementation; how: package hdrhistogram 0.10.8 (Python)
#[test]
fn a_histogram_stored_by_another_program() {
    const STORED: &str = "HISTFAAAADN4nJNpmSzMwMAgxgABzFCaEURcm7yEwf4DRGByBRMvEysTIxOjGBADWbxM5zmZANXRBtA=";
    let intervals = [
        100_000, 100_003, 99_998, 100_010, 99_990, 100_125, 99_875, 100_001, 99_999, 100_500, 99_500, 101_000, 99_000,
        100_000, 100_000, 150_000, 100_250, 99_750, 100_004, 99_996,
    ];
    let mut ours = IntervalTrace::new("to the right end", 0.0);
    for interval in intervals {
        ours.histogram.record(interval).expect("in range");
    }
    assert_eq!((ours.histogram.min(), ours.histogram.max()), (98_944, 150_015));
    assert_eq!(ours.histogram.mean(), 102_497.6);
    assert!((ours.histogram.stdev() - 10_893.180_134_377_657).abs() < 1e-6);
    let expected = [100_031, 100_031, 100_031, 100_543, 101_055, 150_015];
    assert_eq!(percentiles(&ours, &[25.0, 50.0, 75.0, 90.0, 95.0, 99.0]), expected);
    let bytes = base64(STORED);
    let theirs: hdrhistogram::Histogram<u64> = Deserializer::new().deserialize(&mut bytes.as_slice()).expect("V2");
    assert_eq!(theirs.len(), 20);
    for interval in intervals {
        assert_eq!(theirs.count_at(interval), ours.histogram.count_at(interval), "{interval}");
    }
}

/// RFC 4648, section 4.
fn base64(text: &str) -> Vec<u8> {
    const ALPHABET: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bits, mut count, mut bytes) = (0_u32, 0, Vec::new());
    for letter in text.bytes().filter(|letter| *letter != b'=') {
        let digit = ALPHABET.iter().position(|known| *known == letter).expect("base64");
        bits = bits << 6 | digit as u32;
        count += 6;
        if count >= 8 {
            count -= 8;
            bytes.push((bits >> count) as u8);
        }
    }
    bytes
}
