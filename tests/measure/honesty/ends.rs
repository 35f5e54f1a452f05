//! The end stops.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, World, exact, uniform};
use railproof::capture::{Action, Destination, EdgeChannel, Side};

#[test]
fn end_stop_response() {
    let mut coverage = Coverage::of("end-stop response");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let latency = uniform(&mut world.rng, 0.5e-3, 8e-3);
        let home = Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 };
        // At 40 mm/s the carriage comes to the switch `latency` before it begins to brake.
        let braking = 0.04 * 0.04 / 3.2;
        let way = 0.561 + 0.04 * latency + braking;
        let steps = (way * 80_000.0).round() / 80_000.0;
        let profile = Trapezoid { distance: steps, speed: 0.04, acceleration: 1.6 };
        world.begin();
        world.phase(Action::Home { side: Side::Left }, |world| world.trapezoid(false, home, exact));
        let mut expected = 0.0;
        world.phase(to(Side::Right, 0.04), |world| {
            let jitter = 0.7e-6;
            world.trapezoid(true, profile, |rng| {
                jitter * rand_distr::Distribution::<f64>::sample(&rand_distr::StandardNormal, rng)
            });
            expected = profile.time(steps - braking) - profile.time(0.561);
        });
        coverage.take(&world.end(), 1, expected, seed);
    }
    // An ideal ramp is found to the very step; one of a coarse timer may seem a step earlier or later, which is bounded.
    coverage.check_bound(0.25e-3);
}

/// Comes to the right switch from 10 mm before it, goes 2 mm further, and back again.
fn touch_the_right_end(world: &mut World, speed: f64) {
    let away = Trapezoid { distance: 0.012, speed, acceleration: 1.6 };
    world.phase(to(Side::Right, speed), |world| world.trapezoid(true, away, exact));
    world.phase(Action::Travel { to: Destination::By(-0.012), speed, level: None }, |world| {
        world.trapezoid(false, away, exact)
    });
}

/// The switch gives way by chance, by less than a cell of the encoder or by several. It is come to in motion, so that cells
/// hide nothing.
#[test]
fn end_stop_repeatability() {
    let mut coverages = [(); 3].map(|()| Coverage::of("end-stop repeatability"));
    for seed in 0..draws() {
        for (coverage, contacts) in coverages.iter_mut().zip([3, 4, 10]) {
            let mut world = draw(seed);
            world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
            (world.motor, world.carriage) = (44_000, 0.55 + world.offset);
            world.place(world.carriage);
            let sigma = uniform(&mut world.rng, 2e-6, 60e-6);
            world.begin();
            for _ in 0..contacts {
                world.setup.unit.travel = 0.56 + sigma * world.normal();
                touch_the_right_end(&mut world, 0.04);
            }
            coverage.take(&world.end(), 0, sigma, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

#[test]
fn end_stop_overrun_and_bounce() {
    let mut coverages = ["end-stop overrun", "end-stop bounce", "travel length"].map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let (speed, bounce) = (uniform(&mut world.rng, 0.02, 0.09), uniform(&mut world.rng, 0.2e-3, 8e-3));
        let way = Trapezoid { distance: 0.5625, speed, acceleration: 1.6 };
        world.begin();
        world.phase(Action::Home { side: Side::Left }, |world| {
            world.trapezoid(false, Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 }, exact)
        });
        let from = world.carriage;
        world.phase(to(Side::Right, speed), |world| {
            let contact = world.now + way.time(0.56 - from);
            world.trapezoid(true, way, exact);
            for (after, level) in [(0.4 * bounce, false), (bounce, true)] {
                world.edge(EdgeChannel::RightEndStop, contact + after, level);
            }
        });
        let truths = [world.carriage - 0.56, bounce, 0.56];
        let check = world.end();
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            let index = usize::from(coverage.name != "travel length");
            coverage.take(&check, index, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

/// What the carriage lost between two contacts of an end, some of it by a jump at rest, reached from the same side: slack is
/// not in it.
#[test]
fn belt_slip_is_told_from_slack() {
    let mut coverage = Coverage::of("belt slip");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let slipped = uniform(&mut world.rng, 0.1e-3, 0.25e-3);
        world.slack = uniform(&mut world.rng, 0.0, 0.3e-3);
        world.place(0.55);
        world.motor = 44_000;
        world.offset = 0.5 * world.slack + uniform(&mut world.rng, -20e-6, 20e-6);
        world.begin();
        touch_the_right_end(&mut world, 0.04);
        world.jump(-slipped);
        touch_the_right_end(&mut world, 0.04);
        coverage.take(&world.end(), 0, slipped, seed);
    }
    coverage.check();
}
