//! Flicker and colour of the light bar, bounce of the controls.

use super::{Coverage, draw, draws};
use crate::synthetic::uniform;
use railproof::capture::{Action, EdgeChannel, OutputChannel};
use std::f64::consts::TAU;

#[test]
fn flicker() {
    let names = ["flicker depth", "flicker frequency", "flicker against low risk"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let (hz, depth) = (uniform(&mut world.rng, 95.0, 400.0), uniform(&mut world.rng, 0.01, 0.3));
        let (phase, level) = (uniform(&mut world.rng, 0.0, TAU), uniform(&mut world.rng, 0.15, 1.0));
        let (gain, offset) = (0.05 * world.normal(), 1e-3 * world.normal());
        world.truth.light_noise = 1e-3;
        world.begin();
        world.phase(Action::Wait, |world| {
            let light = |t: f64| level * (1.0 + depth * (TAU * hz * t + phase).sin());
            // Until the bar has settled nothing is looked at: 256 samples are.
            world.sample_flicker(1000.0, 0.536, |t| (light(t) - offset) / (1.0 + gain));
            world.now += 0.5;
        });
        let check = world.end();
        for (coverage, truth) in coverages.iter_mut().zip([depth, hz, depth / (0.08e-2 * hz)]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    for coverage in &coverages {
        coverage.check();
    }
}

#[test]
fn shares_of_colour() {
    let mut coverages = ["red share", "green share", "blue share"].map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let light = [0.5, 0.3, 0.1].map(|part| part * uniform(&mut world.rng, 0.6, 1.4));
        let seen = light.map(|part| (part - 5e-4 * world.normal()) / (1.0 + 0.02 * world.normal()));
        world.truth.light_noise = 3e-4;
        world.begin();
        world.phase(Action::Wait, |world| {
            world.sample_colour(0.6, seen);
            world.now += 0.4;
        });
        let check = world.end();
        let sum: f64 = light.iter().sum();
        for (coverage, part) in coverages.iter_mut().zip(light) {
            coverage.take(&check, 0, part / sum, seed);
        }
    }
    for coverage in &coverages {
        coverage.check();
    }
}

#[test]
fn control_bounce() {
    let mut coverage = Coverage::of("control bounce");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let bounce = uniform(&mut world.rng, 0.5e-3, 8e-3);
        world.begin();
        world.phase(Action::Press { control: 0 }, |world| {
            world.drive(OutputChannel::Press(0), true);
            let contact = world.now + uniform(&mut world.rng, 5e-3, 8e-3);
            for (after, level) in [(0.0, true), (0.4 * bounce, false), (bounce, true)] {
                world.edge(EdgeChannel::Control1, contact + after, level);
            }
            world.now += 0.1;
            world.drive(OutputChannel::Press(0), false);
        });
        coverage.take(&world.end(), 0, bounce, seed);
    }
    coverage.check();
}
