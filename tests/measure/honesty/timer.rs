//! The timer behind the steps: its tick, what a tick is of a rate, and what tells a register from a clock.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, Truth, World, exact, uniform};
use railproof::capture::{Action, Side};
use railproof::measure::find;
use rand_distr::{Distribution, StandardNormal};

/// Cruises at five speeds whose periods are whole ticks, of a timer whose clock is off and whose register may be off too.
#[test]
fn register_and_clock() {
    let names = ["period offset", "timer clock error", "rate granularity"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let sigma = uniform(&mut world.rng, 0.1e-6, 1e-6);
        let fast = uniform(&mut world.rng, -100e-6, 100e-6);
        let offset = uniform(&mut world.rng, -1.0, 1.0) * 0.5e-6;
        world.begin();
        let mut first = 0.0;
        for (index, speed) in [0.005, 0.015, 0.03, 0.06, 0.09].into_iter().enumerate() {
            let speed = speed * uniform(&mut world.rng, 0.9, 1.0);
            let period = ((2e6 / (speed * 80_000.0)).round() * 0.5e-6) / (1.0 + fast) + offset;
            if index == 0 {
                first = 0.5e-6 / period;
            }
            let profile = Trapezoid { distance: 0.03, speed: 1.0 / (80_000.0 * period), acceleration: 1.6 };
            world.phase(to(Side::Right, speed), |world| {
                world.trapezoid(true, profile, |rng| {
                    let late: f64 = StandardNormal.sample(rng);
                    sigma * late
                })
            });
            world.phase(Action::Wait, |world| world.trapezoid(false, profile, exact));
        }
        let check = world.end();
        for (coverage, truth) in coverages.iter_mut().zip([offset, fast, first]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    let [offset, clock, granularity] = &coverages;
    // A cruise may begin and end with steps that belong to a ramp, by no more than those of a steady rate may differ.
    offset.check_bound(2e-9);
    [clock, granularity].into_iter().for_each(Coverage::check);
}

/// Ramps of whole ticks, steps late by chance, on a jig that tells 10 ns apart.
#[test]
fn tick() {
    let mut coverage = Coverage::of("timer tick");
    let measurand = find("timer tick").expect("it is in the catalogue");
    for seed in 0..draws() {
        let mut world = World::with(0.05, Truth::default(), seed);
        (world.setup.jig.ticks_per_second, world.setup.jig.stamp_uncertainty) = (100_000_000, 2e-9);
        let mut world = world.looking_closer();
        world.truth = Truth { clock: 10e-6 * world.normal(), stamp: 2e-9, ..Truth::default() };
        let tick = 0.5e-6 / (1.0 + uniform(&mut world.rng, -100e-6, 100e-6));
        let sigma = uniform(&mut world.rng, 10e-9, 60e-9);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            let times: Vec<f64> =
                whole_ticks().map(|ticks| world.now + 0.01 + ticks * tick + sigma * world.normal()).collect();
            world.steps(true, &times);
        });
        let readings = measurand.read(&world.end(), &world.setup);
        coverage.compare(readings[0].result.as_ref().expect("a tick"), tick, seed);
    }
    coverage.check_bound(0.05e-9);
}

/// Ticks of a timer up to each step of a motion of 4000 steps at up to 90 mm/s: 1600 mm/s² and whole periods.
fn whole_ticks() -> impl Iterator<Item = f64> {
    let profile = Trapezoid { distance: 0.05, speed: 0.09, acceleration: 1.6 };
    let due = move |step: u32| profile.time(f64::from(step) / 80_000.0) / 0.5e-6;
    (1..4000).scan(0.0, move |ticks, step| {
        *ticks += (due(step) - due(step - 1)).round();
        Some(*ticks)
    })
}
