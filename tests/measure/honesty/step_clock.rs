//! The step clock over more than one period, and its ramps.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, uniform};
use railproof::capture::Side;
use rand_distr::{Distribution, StandardNormal};

#[test]
fn step_clock() {
    let names =
        ["full-step jitter", "time interval error", "Allan deviation", "ramp acceleration", "ramp deceleration"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let sigma = uniform(&mut world.rng, 0.5e-6, 3e-6);
        let acceleration = uniform(&mut world.rng, 1.0, 2.0);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            let profile = Trapezoid { distance: 0.2, speed: 0.09, acceleration };
            world.trapezoid(true, profile, |rng| {
                let late: f64 = StandardNormal.sample(rng);
                sigma * late
            });
        });
        let check = world.end();
        // Half of the mean square of a second difference, 1 + 4 + 1 times that of an edge, over the time of a full step.
        let allan = sigma * 3_f64.sqrt() / (16.0 / 7200.0);
        let truths = [sigma * 2_f64.sqrt(), sigma, allan, acceleration, acceleration];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}
