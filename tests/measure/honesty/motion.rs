//! Speeds, lengths, times and stops.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, exact, uniform};
use railproof::capture::{Action, Cue, Side};

#[test]
fn speeds_lengths_and_times() {
    let names = ["cruise speed", "travel length", "step rate error", "travel time", "backlash", "end-stop overrun"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        // Where in a cell of the encoder things happen is by chance.
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let offset = world.offset;
        world.slack = uniform(&mut world.rng, 0.1e-3, 0.3e-3);
        let slack = world.slack;
        let speed = uniform(&mut world.rng, 0.085, 0.095);
        let fast = Trapezoid { distance: 0.562, speed, acceleration: 1.6 };
        world.begin();
        world.phase(Action::Home { side: Side::Left }, |world| {
            world.trapezoid(false, Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 }, exact)
        });
        world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, fast, exact));
        let rest = world.carriage;
        let check = world.end();
        let last_pulse = fast.time(0.562 - 1.0 / 80_000.0);
        let truths = [speed, 0.56, speed / 0.09 - 1.0, last_pulse, slack, rest - 0.56];
        assert!((rest - (0.05 - 0.051 + 0.562 + offset - 0.5 * slack)).abs() < 1e-9);
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            let index = usize::from(coverage.name == "end-stop overrun");
            coverage.take(&check, index, truth, seed);
        }
    }
    for coverage in &coverages {
        coverage.check();
    }
}

#[test]
fn stop_distance() {
    let mut coverage = Coverage::of("stop distance");
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        world.begin();
        let mut expected = 0.0;
        world.phase(Action::Stop { towards: Side::Right, speed: 0.09, press: None }, |world| {
            let profile = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };
            let begun = world.now;
            world.trapezoid(true, profile, exact);
            let rest = world.now;
            let at = uniform(&mut world.rng, 0.05, 0.15);
            expected = profile.distance - at;
            world.now = begun + profile.time(at);
            // The mark's own doubt of 20 ticks.
            let late = 10e-6 * world.normal();
            world.now += late;
            world.cue(Cue::StopCommanded);
            world.now = rest;
        });
        coverage.take(&world.end(), 0, expected, seed);
    }
    coverage.check();
}

/// Where the carriage rests in its cell is by chance, and how far it creeps too. One that stays in its cell shows nothing:
/// the triangle of two readings of a cell then bounds what it may have crept.
#[test]
fn creep() {
    let mut coverage = Coverage::of("creep after stop");
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let crept = uniform(&mut world.rng, 0.0, 100e-6);
        world.begin();
        world.phase(to(Side::Right, 0.04), |world| {
            world.trapezoid(true, Trapezoid { distance: 0.02, speed: 0.04, acceleration: 1.6 }, exact)
        });
        world.phase(Action::Wait, |world| world.jump(crept));
        coverage.take(&world.end(), 0, crept, seed);
    }
    coverage.check();
}

/// Stops from several speeds, each delayed by chance.
#[test]
fn stop_distance_against_speed() {
    let mut coverages = ["stop delay", "braking deceleration", "stop distance at full speed"].map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let (delay, deceleration) = (uniform(&mut world.rng, 5e-3, 15e-3), uniform(&mut world.rng, 1.2, 2.0));
        let scatter = uniform(&mut world.rng, 0.2e-3, 1e-3);
        world.begin();
        for speed in [0.03, 0.05, 0.07, 0.09, 0.04, 0.08] {
            let late = delay + scatter * world.normal();
            let action = Action::Stop { towards: Side::Right, speed, press: None };
            world.phase(action, |world| {
                let profile = Trapezoid { distance: 0.06, speed, acceleration: deceleration };
                let begun = world.now;
                world.trapezoid(true, profile, exact);
                let rest = world.now;
                world.now = rest - speed / deceleration - late;
                assert!(world.now > begun);
                world.cue(Cue::StopCommanded);
                world.now = rest;
            });
            // Back by hand, so that the rail does not end.
            world.phase(Action::Wait, |world| world.trapezoid(false, Trapezoid { distance: 0.06, ..FAST }, exact));
        }
        let check = world.end();
        let full = 0.09 * delay + 0.09 * 0.09 / (2.0 * deceleration);
        for (coverage, truth) in coverages.iter_mut().zip([delay, deceleration, full]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

const FAST: Trapezoid = Trapezoid { distance: 0.5625, speed: 0.09, acceleration: 1.6 };

/// The way back is a little slower, and so is a nearly empty pack. Clock and encoder are off, and must not matter.
#[test]
fn both_ways_and_both_packs() {
    let mut coverages = ["speed asymmetry", "travel time asymmetry", "speed held", "travel in steps"].map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let slower = uniform(&mut world.rng, 0.98, 1.0);
        let held = uniform(&mut world.rng, 0.95, 1.0);
        world.setup.unit.travel = 0.56 + uniform(&mut world.rng, 0.0, 1.0) / 80_000.0;
        let back = Trapezoid { speed: 0.09 * slower, ..FAST };
        world.begin();
        world.phase(Action::Home { side: Side::Left }, |world| {
            world.trapezoid(false, Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 }, exact)
        });
        world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, FAST, exact));
        world.phase(to(Side::Left, 0.09), |world| world.trapezoid(false, back, exact));
        world.phase(Action::Pack { low: true }, |_| {});
        let tired = Trapezoid { speed: 0.09 * held, ..FAST };
        world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, tired, exact));
        let check = world.end();
        // A pulse at the beginning of each step: the last comes a step before the end.
        let time = |profile: &Trapezoid| profile.time(profile.distance - 1.0 / 80_000.0);
        // All travels to the right count, the tired one too.
        let truths = [
            0.5 * (1.0 + held) / slower - 1.0,
            0.5 * (time(&FAST) + time(&tired)) / time(&back) - 1.0,
            held,
            world.setup.unit.travel * 80_000.0,
        ];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    let [speed, time, held, steps] = &coverages;
    // This carriage runs more evenly than the sections of its cruise can show.
    [speed, held].into_iter().for_each(|coverage| coverage.check_bound(1e-3));
    [time, steps].into_iter().for_each(Coverage::check);
}
