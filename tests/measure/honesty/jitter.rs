//! The step clock.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, uniform};
use railproof::capture::Side;
use std::cell::RefCell;

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

/// The longest and the shortest period that there were: what occurred, not what could have.
#[test]
fn extremes() {
    let mut gap = Coverage::of("longest step gap");
    let mut peak_to_peak = Coverage::of("period jitter peak to peak");
    let profile = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };
    let ramp = profile.speed.powi(2) / (2.0 * profile.acceleration);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let sigma = uniform(&mut world.rng, 0.5e-6, 3e-6);
        let late = RefCell::new(Vec::new());
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            world.trapezoid(true, profile, |rng| {
                let normal: f64 = rand_distr::Distribution::sample(&rand_distr::StandardNormal, rng);
                late.borrow_mut().push(sigma * normal);
                sigma * normal
            });
        });
        let way = |step: usize| step as f64 / 80_000.0;
        let deviations: Vec<f64> = late
            .borrow()
            .windows(2)
            .enumerate()
            .filter(|(step, _)| way(*step) > ramp && way(step + 1) < profile.distance - ramp)
            .map(|(_, pair)| pair[1] - pair[0])
            .collect();
        let longest = deviations.iter().copied().fold(f64::MIN, f64::max);
        let shortest = deviations.iter().copied().fold(f64::MAX, f64::min);
        let check = world.end();
        gap.take(&check, 0, way(1) / profile.speed + longest, seed);
        peak_to_peak.take(&check, 0, longest - shortest, seed);
    }
    gap.check();
    peak_to_peak.check();
}
