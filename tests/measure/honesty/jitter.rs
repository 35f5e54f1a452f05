//! The step clock.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, uniform};
use railproof::capture::Side;

#[test]
fn jitter() {
    let mut rms = Coverage::of("period jitter rms");
    let mut change = Coverage::of("cycle-to-cycle jitter");
    let mut p99 = Coverage::of("period jitter p99");
    let mut p99_9 = Coverage::of("period jitter p99.9");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let sigma = uniform(&mut world.rng, 0.5e-6, 3e-6);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            let profile = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };
            world.trapezoid(true, profile, |rng| {
                sigma * rand_distr::Distribution::<f64>::sample(&rand_distr::StandardNormal, rng)
            });
        });
        let check = world.end();
        // A period is the difference of two edges, each late by a normal deviate of its own.
        let period = sigma * 2_f64.sqrt();
        rms.take(&check, 0, period, seed);
        change.take(&check, 0, sigma * 6_f64.sqrt(), seed);
        p99.take(&check, 0, period * 2.575_829, seed);
        p99_9.take(&check, 0, period * 3.290_527, seed);
    }
    for coverage in [&rms, &change, &p99, &p99_9] {
        coverage.check();
    }
}
