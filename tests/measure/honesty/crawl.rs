//! The time-lapse crawl.

use super::{Coverage, draw, draws};
use crate::synthetic::uniform;
use railproof::capture::{Action, Side};

#[test]
fn crawl() {
    let mut interval = Coverage::of("crawl interval");
    let mut increment = Coverage::of("crawl increment");
    let mut scatter = Coverage::of("crawl interval scatter");
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        world.begin();
        world.phase(Action::Crawl { towards: Side::Right }, |world| {
            let mut next = world.now;
            for _ in 0..16 {
                // A firmware that is a step out now and then; on the whole it keeps to 0.2 mm.
                let steps = uniform(&mut world.rng, 15.0, 18.0) as u32;
                let times: Vec<f64> = (0..steps).map(|step| next + 0.5e-3 * f64::from(step)).collect();
                world.steps(true, &times);
                next += 2.0 + 1e-3 * world.normal();
            }
            world.now = next;
        });
        let check = world.end();
        interval.take(&check, 0, 2.0, seed);
        increment.take(&check, 0, 0.2e-3, seed);
        scatter.take(&check, 0, 1e-3, seed);
    }
    interval.check();
    increment.check();
    scatter.check();
}

/// Increments that differ by a third of the encoder's cell up to three of it.
#[test]
fn increments_that_differ() {
    let mut mean = Coverage::of("crawl increment");
    let mut coverage = Coverage::of("crawl increment scatter");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let scatter = uniform(&mut world.rng, 8e-6, 75e-6);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        world.begin();
        world.phase(Action::Crawl { towards: Side::Right }, |world| {
            for _ in 0..16 {
                let times: Vec<f64> = (0..16).map(|step| world.now + 0.5e-3 * f64::from(step)).collect();
                world.steps(true, &times);
                world.now += 0.1;
                let further = scatter * world.normal();
                world.jump(further);
                world.now += 1.8;
            }
        });
        let check = world.end();
        mean.take(&check, 0, 0.2e-3, seed);
        coverage.take(&check, 0, scatter, seed);
    }
    mean.check();
    coverage.check();
}
