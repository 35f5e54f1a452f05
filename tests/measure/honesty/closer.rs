//! Tones and ripple.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, World, setup, uniform};
use railproof::capture::{EdgeChannel, Side};
use std::cell::Cell;
use std::f64::consts::TAU;

const PROFILE: Trapezoid = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };

#[test]
fn tone_of_the_step_clock() {
    let mut coverage = Coverage::of("time interval error tone");
    for seed in 0..draws() {
        let mut world = draw(seed).looking_closer();
        let sigma = uniform(&mut world.rng, 0.5e-6, 3e-6);
        let (frequency, phase) = (uniform(&mut world.rng, 20.0, 1500.0), uniform(&mut world.rng, 0.0, TAU));
        // Twenty times what one reading of the noise leaves of a tone's amplitude in some 13,000 steps.
        let amplitude = 20.0 * sigma * (3.0_f64 / 13_000.0).sqrt();
        let step = Cell::new(0.0);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            world.trapezoid(true, PROFILE, |rng| {
                let time = PROFILE.time(step.replace(step.get() + 1.0) / 80_000.0);
                let noise: f64 = rand_distr::Distribution::sample(&rand_distr::StandardNormal, rng);
                amplitude * (TAU * frequency * time + phase).sin() + sigma * noise
            });
        });
        coverage.take(&world.end(), 0, amplitude, seed);
    }
    coverage.check();
}

/// Steps on time, and a carriage that sways by `amplitude` at `frequency`.
pub fn sway(world: &mut World, profile: Trapezoid, amplitude: f64, frequency: f64, phase: f64) {
    let start = world.now;
    let count = (profile.distance * 80_000.0) as u32;
    world.edge(EdgeChannel::Direction, start - 1e-4, true);
    for step in 0..count {
        world.edge(EdgeChannel::Step, start + profile.time(f64::from(step) / 80_000.0), true);
    }
    let from = world.motor as f64 / 80_000.0;
    world.follow(from, 1.0, profile.distance, |way| {
        // Where the profile has come to when the carriage, which sways about it, is here.
        let mut time = profile.time(way);
        for _ in 0..4 {
            time = profile.time(way - amplitude * (TAU * frequency * time + phase).sin());
        }
        start + time
    });
    world.motor += i64::from(count);
    world.now = start + profile.duration();
}

#[test]
fn ripple_of_the_carriage() {
    let mut peak = Coverage::of("speed ripple peak");
    let mut rms = Coverage::of("speed ripple rms");
    for seed in 0..draws() {
        let mut world = draw(seed).looking_closer();
        // How much noise the stamps really have is known no better than between nothing and twice their variance.
        world.truth.stamp = (2.0 * uniform(&mut world.rng, 0.0, 1.0)).sqrt() * setup().jig.stamp_uncertainty;
        let (frequency, phase) = (uniform(&mut world.rng, 20.0, 150.0), uniform(&mut world.rng, 0.0, TAU));
        let amplitude = uniform(&mut world.rng, 0.1e-6, 0.4e-6);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| sway(world, PROFILE, amplitude, frequency, phase));
        let check = world.end();
        let swing = TAU * frequency * amplitude / PROFILE.speed;
        peak.take(&check, 0, swing, seed);
        rms.take(&check, 0, swing / 2_f64.sqrt(), seed);
    }
    peak.check();
    rms.check();
}
