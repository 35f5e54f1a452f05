//! The pack.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, exact, uniform};
use railproof::capture::{Action, OutputChannel, Side};

#[test]
fn pack() {
    let names =
        ["pack rest voltage", "pack minimum voltage", "pack sag", "pack series resistance", "pack recovery time"];
    let mut coverages = names.map(Coverage::of);
    let mut idle = Coverage::of("idle current");
    let mut cruise = Coverage::of("cruise current");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let (r0, r1, tau) = (0.15, 0.05, 1.5);
        let load = uniform(&mut world.rng, 0.9, 1.2);
        let drawn = uniform(&mut world.rng, 0.3, 0.7);
        world.begin();
        world.phase(Action::Wait, |world| {
            let from = world.now;
            world.sample_pack(from, from + 1.0, |_| 7.6, |_| 0.06);
            world.now += 1.0;
        });
        world.phase(to(Side::Right, 0.09), |world| {
            let profile = Trapezoid { distance: 0.3, speed: 0.09, acceleration: 1.6 };
            let from = world.now;
            world.trapezoid(true, profile, exact);
            world.sample_pack(from, world.now, |_| 7.6 - 0.2 * drawn, |_| drawn);
        });
        world.phase(Action::Load { on: true }, |world| {
            let from = world.now;
            world.sample_pack(from, from + 1.0, |_| 7.6, |_| 0.06);
            world.now += 1.0;
            let on = world.now;
            world.drive(OutputChannel::DummyLoad, true);
            let fall = |time: f64| load * (r0 + r1 * (1.0 - (-(time - on) / tau).exp()));
            world.sample_pack(on + 1e-3, on + 2.001, |time| 7.6 - fall(time), |_| 0.06 + load);
            world.now += 2.0;
        });
        let reached = load * r1 * (1.0 - (-2.223_f64 / tau).exp());
        world.phase(Action::Load { on: false }, |world| {
            world.drive(OutputChannel::DummyLoad, false);
            let off = world.now;
            world.sample_pack(off + 2e-3, off + 6.0, |time| 7.6 - reached * (-(time - off) / tau).exp(), |_| 0.06);
            world.now += 6.0;
        });
        let check = world.end();
        let resistance = r0 + r1 * (1.0 - (-1.0_f64 / tau).exp());
        let lowest = 7.6 - load * (r0 + r1 * (1.0 - (-1.99_f64 / tau).exp()));
        let truths = [7.6, lowest, 0.2 * drawn, resistance, tau];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
        idle.take(&check, 0, 0.06, seed);
        cruise.take(&check, 0, drawn, seed);
    }
    for coverage in coverages.iter().chain([&idle, &cruise]) {
        coverage.check();
    }
}
