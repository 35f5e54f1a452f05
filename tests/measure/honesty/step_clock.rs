//! The step clock over more than one period, and its ramps.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, uniform};
use railproof::capture::Side;
use rand_distr::{Distribution, StandardNormal};
use std::cell::RefCell;

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

/// The farthest step from the commanded profile of a clock that is a little fast or slow, whose steps are late at random.
#[test]
fn commanded_profile() {
    let mut coverage = Coverage::of("profile time error");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let sigma = uniform(&mut world.rng, 0.5e-6, 3e-6);
        let fast = uniform(&mut world.rng, -2e-3, 2e-3);
        let lates = RefCell::new(Vec::new());
        let commanded = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };
        let made = Trapezoid { speed: 0.09 * (1.0 + fast), ..commanded };
        world.begin();
        world.phase(to(Side::Right, commanded.speed), |world| {
            world.trapezoid(true, made, |rng| {
                let late: f64 = StandardNormal.sample(rng);
                lates.borrow_mut().push(sigma * late);
                sigma * late
            });
        });
        let check = world.end();
        let way = |step: usize| step as f64 / 80_000.0;
        let late = |(step, late): (usize, &f64)| made.time(way(step)) + late - commanded.time(way(step));
        let errors: Vec<f64> = lates.borrow().iter().enumerate().map(late).collect();
        // v²/2a = 2.53 mm are 202 whole steps of ramp.
        let start = errors[..202].iter().sum::<f64>() / 202.0;
        let farthest = errors.iter().map(|error| error - start).max_by(|one, other| one.abs().total_cmp(&other.abs()));
        coverage.take(&check, 0, farthest.expect("steps"), seed);
    }
    coverage.check();
}
