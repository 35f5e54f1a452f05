//! The pack's resistances against closed forms, cell models and recorded cells.

use super::{check, load_step, rows, sampled, samples, setup, tick, travel, value};
use railproof::capture::{Action, Calibration, EdgeChannel, Part, SampleChannel};
use railproof::measure::{Blame, Setup, find};

/// A pack of 7.60 V, 80 mΩ, and 40 mΩ with 2 s: 0.4 A for 10 s, 2 A for 1 s, none; 250 samples a second of its closed form.
fn pulse() -> Vec<(f64, f64, f64)> {
    let (slow, time_constant) = (0.040, 2.0);
    let settle = |towards: f64, from: f64, time: f64| towards + (from - towards) * (-time / time_constant).exp();
    let loaded = settle(0.4, 0.0, 10.0);
    let peak = settle(2.0, loaded, 1.0);
    (0..5750)
        .map(|index| (f64::from(index) + 0.5) / 250.0)
        .map(|time| {
            let (ampere, through) = match time {
                ..2.0 => (0.0, 0.0),
                ..12.0 => (0.4, settle(0.4, 0.0, time - 2.0)),
                ..13.0 => (2.0, settle(2.0, loaded, time - 12.0)),
                _ => (0.0, settle(0.0, peak, time - 13.0)),
            };
            (time, ampere, 7.60 - 0.080 * ampere - slow * through)
        })
        .collect()
}

// Outside: 80 mΩ, 40 mΩ and 2 s of a pack with one RC pair, split again; how: closed form
#[test]
fn resistances_of_one_pair() {
    let setup = setup(0.0);
    let check = load_step(&pulse(), 12.0, 13.0, &setup);
    for (name, expected, within) in [
        ("pack ohmic resistance", 0.080, 0.15e-3),
        ("pack slow resistance", 0.040, 0.15e-3),
        ("pack slow time constant", 2.0, 0.02),
        ("pack resistance in use", 0.080, 0.1e-3),
        ("pack series resistance", 95.765285e-3, 0.1e-3),
        ("pack recovery time", 2.0, 0.01),
    ] {
        let found = value(name, &check, &setup);
        assert!((found.value - expected).abs() < within, "{name}: {found:?}");
    }
}

/// The same pulse as it was tabulated elsewhere, 20 samples a second: the lowest is 7.399868 V, 50 ms before the end of the
/// 2 A.
// Outside: table of a pulse on a pack with one RC pair, 20 samples a second; how: data set, closed form
#[test]
fn resistances_from_few_samples() {
    let setup = setup(0.0);
    let samples = samples(include_str!("../data/pack2s_thevenin_closed_form.csv"));
    let check = load_step(&samples, 12.0, 13.0, &setup);
    for (name, expected, within) in [
        // At 20 samples a second the switching is known to 50 ms only.
        ("pack ohmic resistance", 0.080, 2e-3),
        ("pack slow resistance", 0.040, 2e-3),
        ("pack slow time constant", 2.0, 0.1),
        ("pack resistance in use", 0.080, 1e-3),
    ] {
        let found = value(name, &check, &setup);
        assert!((found.value - expected).abs() < within, "{name}: {found:?}");
    }
}

/// A physical model has no single resistance: 47 mΩ from 1 A to 5 A, 52 mΩ from there to none, at nine tenths of its charge.
/// A line of least squares through its three jumps in the table gives each the square of its current as a weight; what
/// follows slowly adds no more than some tenths of a milliohm to them.
// Outside: Chen et al. (2020) cell parameters, jumps of the voltage at five states of charge; how: package pybamm 26.10
#[test]
fn resistances_of_a_physical_model() {
    let setup = setup(0.0);
    let table = rows(include_str!("../data/pack2s_chen2020_pulse.csv"));
    for (charge, from_1_to_5_ampere) in
        [(0.9, 46.9151), (0.7, 43.8981), (0.5, 43.3733), (0.3, 44.9193), (0.15, 48.1174)]
    {
        let curve: Vec<&[f64]> = table.iter().filter(|row| row[0] == charge).map(Vec::as_slice).collect();
        let jumps: Vec<(f64, f64)> = curve
            .windows(2)
            .filter(|pair| pair[0][1] == pair[1][1])
            .map(|pair| (pair[1][2] - pair[0][2], (pair[0][3] - pair[1][3]) * 1e3))
            .collect();
        assert!((jumps[1].1 / jumps[1].0 - from_1_to_5_ampere).abs() < 1e-3, "{charge}: {jumps:?}");
        let through = |jumps: &[(f64, f64)]| {
            let (products, squares) = jumps.iter().fold((0.0, 0.0), |sums, (i, u)| (sums.0 + i * u, sums.1 + i * i));
            products / squares
        };
        let check = load_step(&sampled(&curve), 15.0, 16.0, &setup);
        let near = |name: &str, jumps: &[(f64, f64)], within: f64| {
            let (found, expected) = (value(name, &check, &setup).value * 1e3, through(jumps));
            assert!((found - expected).abs() < within, "{charge}: {name} {found} against {expected}");
        };
        near("pack resistance in use", &jumps, 0.6);
        // The load step's fit begins a second before it, after the first jump; its one slow part is not the model's.
        near("pack ohmic resistance", &jumps[1..], 1.5);
    }
}

/// Pulses of a small cell, 3.2 mA for 30 s, ten samples a second: R at the first sample and after 1 s, as R = ΔU/I.
// Outside: hybrid pulse power characterisation of a small cell, R at once and after 1 s; how: data set of package ampworks 0.1.0
#[test]
fn resistances_of_pulses() {
    let mut setup = setup(0.0);
    let fine = Calibration { gain: 1e-9, offset: 0.0, gain_uncertainty: 0.0, offset_uncertainty: 0.0 };
    setup.jig.calibrations[SampleChannel::PackCurrent.index()] = Some(fine);
    let table = rows(include_str!("../data/hppc_pulses.csv"));
    for (pulse, first, after_a_second) in [(1.0, 16.8460, 17.2214), (5.0, 20.1674, 20.5593), (9.0, 29.9390, 31.1849)] {
        let curve: Vec<&Vec<f64>> = table.iter().filter(|row| row[0] == pulse).collect();
        let mut part = Part::default();
        let mut push = |time: f64, ampere: f64, volt: f64| {
            // The pulse begins 5 s into the check; its first sample comes with it.
            let at = tick(5.0 + time) + 1;
            part.push_sample(SampleChannel::PackCurrent, at, (ampere * 1e9).round() as i32);
            part.push_sample(SampleChannel::PackVoltage, at, (volt * 1e6).round() as i32);
        };
        // The rest before is one row, of a cell at rest.
        (-50..0).for_each(|tenth| push(f64::from(tenth) / 10.0, 0.0, curve[0][3]));
        curve[1..].iter().for_each(|row| push(row[1], row[2], row[3]));
        part.driven.push(super::load(5.0, true));
        part.driven.push(super::load(35.0005, false));
        let check = check(&setup, Action::Load { on: true }, &part, tick(45.0));
        let series = value("pack series resistance", &check, &setup).value;
        assert!((series - after_a_second).abs() < 0.001 * after_a_second, "{pulse}: {series} against {after_a_second}");
        let at_once = value("pack resistance in use", &check, &setup).value;
        assert!((at_once - first).abs() < 0.01 * first, "{pulse}: {at_once} against {first}");
    }
}

/// A cell's slow discharge as it was recorded, noise and all: its current hardly moves, so that it tells no resistance.
// Outside: recorded discharge of a cell, for robustness (no value is expected); how: data set of package ampworks 0.1.0
#[test]
fn a_recorded_discharge_tells_no_resistance() {
    let setup = setup(0.0);
    let recorded = rows(include_str!("../data/cell_discharge_rough.csv"));
    let mut part = Part::default();
    // Every 10 s a row; here every 20 ms, so that half a second holds some.
    for (index, row) in recorded.iter().enumerate() {
        let at = tick(0.02 * index as f64);
        part.push_sample(SampleChannel::PackCurrent, at, (row[1] * 1e6).round() as i32);
        part.push_sample(SampleChannel::PackVoltage, at, (row[2] * 1e6).round() as i32);
    }
    let check = check(&setup, Action::Wait, &part, tick(0.02 * recorded.len() as f64));
    let [reading] = &find("pack resistance in use").expect("in the catalogue").read(&check, &setup)[..] else {
        panic!("one reading")
    };
    let withheld = reading.result.as_ref().expect_err("nothing tells it");
    assert_eq!(withheld.blame, Blame::Nobody, "{withheld:?}");
    let lowest = recorded.iter().map(|row| row[2]).fold(f64::INFINITY, f64::min);
    let minimum = value("pack minimum voltage", &check, &setup);
    assert!((minimum.value - lowest).abs() < 0.05 && minimum.value >= lowest, "{minimum:?} against {lowest}");
}

/// Voltage and current of a travel: 8 V less 2 V/A, and 0.5 A with a swing of 0.1 A, over whole turns. By hand: mean power
/// 8·0.5 − 2·(0.5² + 0.1²/2) = 3.49 W.
// Outside: power and energy of a swinging current; how: closed form
#[test]
fn energy_of_a_swinging_current() {
    let setup: Setup = setup(0.0);
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Direction, 0, true);
    for step in 0..=16_000_u32 {
        part.push_edge(EdgeChannel::Step, tick(0.5 + 125e-6 * f64::from(step)), true);
    }
    for index in 0..1500_u32 {
        let time = f64::from(index) * 2e-3;
        let ampere = 0.5 + 0.1 * (std::f64::consts::TAU * 5.0 * time).sin();
        part.push_sample(SampleChannel::PackCurrent, tick(time), (ampere * 1e6).round() as i32);
        part.push_sample(SampleChannel::PackVoltage, tick(time), ((8.0 - 2.0 * ampere) * 1e6).round() as i32);
    }
    let check = check(&setup, travel(0.1), &part, tick(3.0));
    for (name, expected) in [
        ("energy per traverse", 2.0 * 3.49),
        ("duty power", 3.49),
        ("running time", 7.2 * 2.2 * 3600.0 / 3.49),
        ("pack resistance in use", 2.0),
    ] {
        let found = value(name, &check, &setup).value;
        assert!((found / expected - 1.0).abs() < 1e-3, "{name}: {found} against {expected}");
    }
}
