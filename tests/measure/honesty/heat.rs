//! Heat.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, World, exact, read, uniform};
use railproof::capture::{Action, SampleChannel, Side};
use railproof::measure::{Blame, CheckEvidence};

/// A temperature, once a second for `lasts` seconds, by a sensor that is off by `offset` and has noise.
fn sample(world: &mut World, channel: SampleChannel, lasts: u32, offset: f64, noise: f64, course: impl Fn(f64) -> f64) {
    for second in 0..=lasts {
        let at = world.tick(world.now + f64::from(second));
        let value = course(f64::from(second)) + offset + noise * world.normal();
        world.part.push_sample(channel, at, (value / 0.0625).round() as i32);
    }
}

#[test]
fn temperatures() {
    let names = [
        "motor temperature",
        "motor temperature rise",
        "housing temperature",
        "housing temperature rise",
        "housing temperature margin",
    ];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let offsets = [0.29 * world.normal(), 0.29 * world.normal()];
        let (first, grown) = (uniform(&mut world.rng, 20.0, 25.0), uniform(&mut world.rng, 5.0, 15.0));
        let noise = uniform(&mut world.rng, 0.0, 0.05);
        world.begin();
        world.phase(Action::Wait, |world| {
            let course = |second: f64| first + grown * second / 60.0;
            let channels = [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature];
            for (channel, offset) in channels.into_iter().zip(offsets) {
                sample(world, channel, 60, offset, noise, course);
            }
            world.now += 60.0;
        });
        let check = world.end();
        let truths = [first + grown, grown, first + grown, grown, 50.0 - first - grown];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

/// Moves for `lasts` seconds while motor and housing warm with a time constant.
fn warming(seed: u64, lasts: u32, time_constant: f64, (first, settled): (f64, f64)) -> CheckEvidence {
    let mut world = draw(seed);
    let offset = 0.29 * world.normal();
    world.begin();
    world.phase(to(Side::Right, 0.09), |world| {
        let began = world.now;
        let short = Trapezoid { distance: 0.01, speed: 0.09, acceleration: 1.6 };
        world.trapezoid(true, short, exact);
        world.now = began;
        let course = |second: f64| settled + (first - settled) * (-second / time_constant).exp();
        for channel in [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature] {
            sample(world, channel, lasts, offset, 0.03, course);
        }
        world.now += f64::from(lasts) - 0.2;
        world.trapezoid(false, short, exact);
    });
    world.end()
}

#[test]
fn settled_from_a_short_run() {
    let mut coverages =
        ["motor settled temperature", "housing settled margin", "motor warming time constant"].map(Coverage::of);
    for seed in 0..draws() {
        let mut chance = draw(seed);
        let (time_constant, settled) = (uniform(&mut chance.rng, 180.0, 300.0), uniform(&mut chance.rng, 38.0, 46.0));
        let check = warming(seed, 300, time_constant, (22.0, settled));
        for (coverage, truth) in coverages.iter_mut().zip([settled, 50.0 - settled, time_constant]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

#[test]
fn a_run_too_short_to_bend_tells_nothing() {
    for (lasts, time_constant) in [(60, 3000.0), (10, 5.0)] {
        let check = warming(1, lasts, time_constant, (22.0, 45.0));
        for name in ["motor settled temperature", "motor warming time constant", "housing settled margin"] {
            let readings = read(name, &check);
            let withheld = readings[0].result.as_ref().expect_err("nothing is told");
            assert_eq!(withheld.blame, Blame::Nobody, "{name}: {withheld:?}");
        }
    }
}
