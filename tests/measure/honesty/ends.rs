//! The end stops.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, exact, uniform};
use railproof::capture::{Action, Side};

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
    // An ideal ramp is found to the very step; one of a coarse timer may seem a step earlier or later, which is allowed for.
    coverage.check();
}
