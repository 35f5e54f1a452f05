//! The front panel: flicker and colour of the light bar, segments from level to level, contacts of the controls.

use crate::synthetic::{World, read, value, values};
use railproof::capture::{Action, EdgeChannel, OutputChannel, SampleChannel, Side};
use railproof::measure::{Blame, CheckEvidence, find};
use std::f64::consts::TAU;

/// A wait of 1 s in which the bar shows `light` over time, sampled `rate` times a second.
fn shining(rate: f64, light: impl Fn(f64) -> f64) -> CheckEvidence {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Wait, |world| {
        world.sample_flicker(rate, 1.0, &light);
        world.now += 1.0;
    });
    world.end()
}

// Outside: IEEE Std 1789-2015 modulation, IES percent flicker: of 1 + m·sin it is m; how: closed form
#[test]
fn a_sine_has_its_own_depth_and_frequency() {
    for (hz, part, level) in [(61.7, 0.02, 1.0), (100.0, 0.9, 0.5), (250.0, 0.10, 0.17), (333.333, 0.3, 0.8)] {
        let check = shining(1000.0, |t| level * (1.0 + part * (TAU * hz * t).sin()));
        let (depth, frequency) = (value("flicker depth", &check), value("flicker frequency", &check));
        assert!((depth.value - part).abs() < 3.0 * depth.standard_uncertainty(), "{hz}: {depth:?}");
        assert!((depth.value / part - 1.0).abs() < 0.01, "{hz}: {depth:?}");
        assert!((frequency.value - hz).abs() < 0.02 && frequency.standard_uncertainty() < 0.02, "{frequency:?}");
    }
}

// Outside: IES percent flicker of 1 + 0.3·cos x + 0.1·cos 2x, whose extremes are 1.4 and 0.7875; how: closed form
#[test]
fn harmonics_belong_to_the_curve() {
    let light = |t: f64| 0.6 * (1.0 + 0.3 * (TAU * 100.0 * t).cos() + 0.1 * (TAU * 200.0 * t).cos());
    let check = shining(1013.0, light);
    // Highest at the crest of both; lowest where the derivative 0.3 sin x + 0.2 sin 2x vanishes: cos x = −3/4.
    let lowest = 1.0 + 0.3 * -0.75 + 0.1 * (2.0 * 0.75 * 0.75 - 1.0);
    let expected = (1.4 - lowest) / (1.4 + lowest);
    let depth = value("flicker depth", &check);
    assert!((depth.value - expected).abs() < 2e-4, "{depth:?} {expected}");
    assert!((value("flicker frequency", &check).value - 100.0).abs() < 0.01);
}

// Outside: IEEE Std 1789-2015, recommended practice 1: 0.025·f % below 90 Hz, 0.08·f % from there on; how: from memory
#[test]
fn low_risk_is_what_the_standard_says() {
    for (hz, low_risk) in [(50.0, 0.0125), (120.0, 0.096), (240.0, 0.192)] {
        let check = shining(1000.0, |t| 0.9 * (1.0 + 0.5 * low_risk * (TAU * hz * t).sin()));
        let share = value("flicker against low risk", &check);
        assert!((share.value - 0.5).abs() < 0.01, "{hz}: {share:?}");
    }
}

// Outside: IES percent flicker of dips shaped as a period of a cosine, 7.2 % deep; how: closed form
#[test]
fn a_train_of_dips_has_their_rate_though_its_harmonics_are_as_strong() {
    // 180 µs of darkness in a pulse of 2.5 ms half-width: 7.2 % deep, and nothing to speak of beyond 400 Hz.
    let dip = |t: f64| {
        let away = (t * 50.0 - (t * 50.0).round()).abs() / 50.0;
        if away < 2.5e-3 { 0.036 * (1.0 + (TAU * 0.5 * away / 2.5e-3).cos()) } else { 0.0 }
    };
    let check = shining(1009.0, |t| 0.9 * (1.0 - dip(t)));
    assert!((value("flicker frequency", &check).value - 50.0).abs() < 0.02);
    let depth = value("flicker depth", &check);
    assert!((depth.value / (0.072 / 1.928) - 1.0).abs() < 0.02, "{depth:?}");
}

#[test]
fn a_steady_light_has_next_to_no_depth_and_no_frequency() {
    let check = shining(1000.0, |_| 0.8);
    let depth = value("flicker depth", &check);
    assert!(depth.value < 1e-3 && depth.value <= depth.expanded_uncertainty(0.95) * 1.06, "{depth:?}");
    assert_eq!(value("flicker against low risk", &check).value, 0.0);
    let withheld = read("flicker frequency", &check).remove(0).result.expect_err("steady");
    assert_eq!(withheld.blame, Blame::Nobody);
}

#[test]
fn flicker_without_samples_or_light_is_withheld() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Select { level: 2 }, |world| world.now += 1.0);
    let none = read("flicker depth", &world.end()).remove(0).result.expect_err("no sample");
    assert_eq!(none.blame, Blame::Bench);
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Select { level: 2 }, |world| {
        world.sample_flicker(1000.0, 1.0, |_| 0.01);
        world.now += 1.0;
    });
    let dark = read("flicker depth", &world.end()).remove(0).result.expect_err("dark");
    assert_eq!(dark.blame, Blame::Unit);
    assert!(read("flicker depth", &shining(1000.0, |_| 0.0)).is_empty(), "a wait without light has nothing to read");
}

#[test]
fn shares_of_colour_add_up_to_one() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Select { level: 6 }, |world| {
        world.sample_colour(0.5, [0.60, 0.36, 0.24]);
        world.now += 0.3;
    });
    let check = world.end();
    let shares = ["red share", "green share", "blue share"].map(|name| value(name, &check));
    for (share, expected) in shares.iter().zip([0.5, 0.3, 0.2]) {
        assert!((share.value - expected).abs() < 1e-4, "{share:?}");
        // Gains of 2 % each: √((s(1 − s))² + s²Σ(others)²)·2 %.
        assert!((0.003..0.015).contains(&share.standard_uncertainty()), "{share:?}");
    }
    assert!((shares.iter().map(|share| share.value).sum::<f64>() - 1.0).abs() < 1e-12);
    let mut dark = World::new(0.05);
    dark.begin();
    dark.phase(Action::Select { level: 6 }, |_| {});
    assert_eq!(read("red share", &dark.end()).remove(0).result.expect_err("no sample").blame, Blame::Bench);
}

#[test]
fn each_level_lights_at_least_as_many_segments_as_the_one_below() {
    for (lit, expected) in [([1, 2, 3], 0.0), ([2, 2, 4], 0.0), ([3, 2, 1], 2.0), ([1, 4, 3], 1.0)] {
        let mut world = World::new(0.05);
        world.begin();
        for (level, count) in (1..).zip(lit) {
            world.phase(Action::Select { level }, |world| {
                for sample in 0..6 {
                    let at = world.tick(world.now + 0.05 * f64::from(sample));
                    for segment in 0..6 {
                        world.part.push_sample(
                            SampleChannel::Light(segment),
                            at,
                            if segment < count { 900 } else { 30 },
                        );
                    }
                }
                world.now += 0.1;
            });
        }
        let check = world.end();
        let counts: Vec<f64> = values("lit segments", &check).iter().map(|count| count.value).collect();
        assert_eq!(counts, lit.map(f64::from));
        assert_eq!(value("lit segments out of order", &check).value, expected, "{lit:?}");
    }
}

/// A press of a control for 100 ms, with the edges of its contact in ms after the press, and steps from `steps` ms on.
fn pressed(control: u8, edges: &[(f64, bool)], steps: f64) -> CheckEvidence {
    let mut world = World::new(0.05);
    world.begin();
    let start = Action::Start { towards: Side::Right, speed: 0.04, level: 5, press: control, stop_press: None };
    world.phase(start, |world| {
        let press = world.now;
        world.drive(OutputChannel::Press(control), true);
        for (after, level) in edges {
            let at = world.tick(press + after * 1e-3);
            world.part.push_edge(EdgeChannel::CONTROLS[usize::from(control)], at, *level);
        }
        let times: Vec<f64> = (0..200).map(|step| press + steps * 1e-3 + f64::from(step) * 0.3e-3).collect();
        world.steps(true, &times);
        world.now = press + 0.1;
        world.drive(OutputChannel::Press(control), false);
    });
    world.end()
}

// Outside: Ganssle, "A guide to debouncing" (2008): a contact counts from its first edge; how: from memory
#[test]
fn a_contact_bounces_until_its_last_edge_while_it_is_held() {
    let edges = [(6.0, true), (6.4, false), (6.7, true), (8.5, false), (9.25, true), (104.0, false)];
    let check = pressed(2, &edges, 30.0);
    assert!((value("control bounce", &check).value - 3.25e-3).abs() < 2e-6);
    assert_eq!(value("control bounces", &check).value, 2.0);
    assert!((value("contact response", &check).value - 24e-3).abs() < 2e-6);
    assert!((value("control response", &check).value - 30e-3).abs() < 2e-6);
}

#[test]
fn a_contact_that_never_closes_is_the_units_and_a_missing_channel_the_benchs() {
    for name in ["control bounce", "control bounces", "contact response"] {
        let withheld = read(name, &pressed(1, &[], 30.0)).remove(0).result.expect_err(name);
        assert_eq!(withheld.blame, Blame::Unit, "{name}");
        let mut poor = crate::synthetic::setup();
        poor.jig.edges.retain(|channel| *channel != EdgeChannel::Control2);
        let readings = find(name).expect("a measurand").read(&pressed(1, &[(6.0, true)], 30.0), &poor);
        assert_eq!(readings[0].result.as_ref().expect_err(name).blame, Blame::Bench, "{name}");
    }
}
