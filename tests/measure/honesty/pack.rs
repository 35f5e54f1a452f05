//! The pack.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, World, exact, uniform};
use railproof::capture::{Action, OutputChannel, Side};

const PROFILE: Trapezoid = Trapezoid { distance: 0.3, speed: 0.09, acceleration: 1.6 };

fn rest(world: &mut World, lasts: f64, volts: f64, amperes: f64) {
    let from = world.now;
    world.sample_pack(from, from + lasts, |_| volts, |_| amperes);
    world.now += lasts;
}

/// A travel to the right during which voltage and current are functions of the time since its first step.
fn travel(world: &mut World, volts: impl Fn(f64) -> f64, amperes: impl Fn(f64) -> f64) {
    let from = world.now;
    world.trapezoid(true, PROFILE, exact);
    world.sample_pack(from, world.now, |time| volts(time - from), |time| amperes(time - from));
}

fn check_all<const N: usize>(coverages: &[Coverage; N]) {
    for coverage in coverages {
        println!("{}: {} of {} inside", coverage.name, coverage.inside, coverage.total);
    }
    coverages.iter().for_each(Coverage::check);
}

#[test]
fn load_step() {
    let mut coverages =
        ["pack rest voltage", "pack minimum voltage", "pack series resistance", "pack recovery time"].map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let (r0, r1, tau) = (0.15, 0.05, 1.5);
        let load = uniform(&mut world.rng, 0.9, 1.2);
        world.begin();
        world.phase(Action::Load { on: true }, |world| {
            rest(world, 1.0, 7.6, 0.06);
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
        for (coverage, truth) in coverages.iter_mut().zip([7.6, lowest, resistance, tau]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    check_all(&coverages);
}

/// A trough that is flat, one that falls to its end, one with a dip of 40 ms, a deep and a shallow round one.
#[test]
fn sags() {
    let mut coverages = [(); 5].map(|()| Coverage::of("pack sag"));
    for seed in 0..draws() {
        for (kind, coverage) in coverages.iter_mut().enumerate() {
            let mut world = draw(seed);
            let depth = uniform(&mut world.rng, 0.06, 0.14);
            let dips_at = uniform(&mut world.rng, 1.0, 2.0);
            world.begin();
            world.phase(Action::Wait, |world| rest(world, 1.0, 7.6, 0.06));
            let sag = |time: f64| match kind {
                0 => depth,
                1 => depth * (1.0 - 0.4 * (-time / 2.0).exp()),
                2 if (dips_at..dips_at + 0.04).contains(&time) => depth,
                2 => 0.5 * depth,
                // Lowest in its middle third.
                3 => depth * (1.0 - 0.3 * (time - dips_at).powi(2)),
                _ => depth * (1.0 - 0.02 * (time - dips_at).powi(2)),
            };
            world.phase(to(Side::Right, 0.09), |world| travel(world, |time| 7.6 - sag(time), |_| 0.5));
            let check = world.end();
            // The lowest seven samples lie at the end of the fall.
            let truth = if kind == 1 { sag(PROFILE.duration() - 0.014) } else { depth };
            coverage.take(&check, 0, truth, seed);
        }
    }
    check_all(&coverages);
}

#[test]
fn currents_and_energy() {
    let mut coverages = [
        "off current",
        "idle current",
        "cruise current",
        "holding current",
        "cruise power",
        "duty power",
        "energy per traverse",
        "running time",
        "brown-out margin",
    ]
    .map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let drawn = uniform(&mut world.rng, 0.3, 0.7);
        let holding = uniform(&mut world.rng, 0.1, 0.2);
        let capacity = 7.2 * 2200e-3 * 3600.0 * (1.0 + 0.03 * world.normal());
        // Ten whole turns of a pulley's unevenness.
        let amperes =
            |time: f64| drawn * (1.0 + 0.2 * (std::f64::consts::TAU * 10.0 * time / PROFILE.duration()).sin());
        let volts = |time: f64| 7.6 - 0.2 * amperes(time);
        world.begin();
        world.phase(Action::Power { on: true }, |world| {
            rest(world, 1.3, 7.61, 0.4e-3);
            world.drive(OutputChannel::UnitSupply, true);
            world.now += 1e-3;
            rest(world, 1.2, 7.6, 0.06);
        });
        world.phase(to(Side::Right, 0.09), |world| {
            travel(world, volts, amperes);
            rest(world, 2.0, 7.55, holding);
        });
        let check = world.end();
        let power = (0..20_000)
            .map(|index| (f64::from(index) + 0.5) / 20_000.0 * PROFILE.duration())
            .map(|time| volts(time) * amperes(time))
            .sum::<f64>()
            / 20_000.0;
        let last = PROFILE.time(PROFILE.distance - 1.0 / 80_000.0);
        let ramp = PROFILE.speed / PROFILE.acceleration;
        let cruise = |f: &dyn Fn(f64) -> f64| {
            let length = PROFILE.duration() - 2.0 * ramp;
            (0..20_000).map(|index| f(ramp + (f64::from(index) + 0.5) / 20_000.0 * length)).sum::<f64>() / 20_000.0
        };
        let truths = [
            0.4e-3,
            0.06,
            cruise(&amperes),
            holding,
            cruise(&|time| volts(time) * amperes(time)),
            power,
            power * last,
            capacity / power,
            7.6 - 0.2 * 1.2 * drawn - 4.6,
        ];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    check_all(&coverages);
}

/// A pack of a resistance and a resistor-capacitor pair, followed in steps of a tenth of a millisecond.
struct Model {
    ohmic: f64,
    slow: f64,
    time_constant: f64,
    state: f64,
    charge: f64,
}

impl Model {
    fn volts(&self, amperes: f64) -> f64 {
        7.6 - self.ohmic * amperes - self.slow * self.state - 5e-4 * self.charge
    }

    /// Samples 250 times a second for `lasts` seconds.
    fn live(&mut self, world: &mut World, lasts: f64, amperes: impl Fn(f64) -> f64) {
        let from = world.now;
        for index in 0..(lasts * 250.0).round() as usize {
            let since = index as f64 / 250.0;
            let volts = self.volts(amperes(since));
            world.sample_pack(from + since, from + since + 4e-3, |_| volts, |_| amperes(since));
            for step in 0..40 {
                let current = amperes(since + (f64::from(step) + 0.5) * 1e-4);
                self.state = current + (self.state - current) * (-1e-4 / self.time_constant).exp();
                self.charge += current * 1e-4;
            }
        }
        world.now = from + lasts;
    }
}

#[test]
fn split() {
    let names = ["pack ohmic resistance", "pack slow resistance", "pack slow time constant"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let mut within = |from, to| uniform(&mut world.rng, from, to);
        let (ohmic, slow, time_constant) = (within(0.08, 0.2), within(0.04, 0.1), within(1.0, 3.0));
        let mut pack = Model { ohmic, slow, time_constant, state: 0.06, charge: 0.0 };
        world.begin();
        world.phase(Action::Load { on: true }, |world| {
            pack.live(world, 1.2, |_| 0.06);
            world.drive(OutputChannel::DummyLoad, true);
            world.now += 1e-4;
            pack.live(world, 3.0, |time| 1.1 + 0.02 * time);
            world.drive(OutputChannel::DummyLoad, false);
            world.now += 1e-4;
            pack.live(world, 12.0, |_| 0.06);
        });
        let check = world.end();
        for (coverage, truth) in coverages.iter_mut().zip([ohmic, slow, time_constant]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    check_all(&coverages);
}

/// What answers at once, from two load steps, and from moves with a pulley's unevenness and an idle rest between them.
#[test]
fn resistance_in_use() {
    let mut coverages = [(); 2].map(|()| Coverage::of("pack resistance in use"));
    for seed in 0..draws() {
        for (kind, coverage) in coverages.iter_mut().enumerate() {
            let mut world = draw(seed);
            let mut within = |from, to| uniform(&mut world.rng, from, to);
            let (ohmic, slow, time_constant) = (within(0.08, 0.2), within(0.04, 0.1), within(1.0, 3.0));
            let (drawn, holding, phase) = (within(0.3, 0.7), within(0.1, 0.2), within(0.0, std::f64::consts::TAU));
            let mut pack = Model { ohmic, slow, time_constant, state: 0.06, charge: 0.0 };
            world.begin();
            if kind == 0 {
                world.phase(Action::Load { on: true }, |world| {
                    pack.live(world, 1.2, |_| 0.06);
                    for _ in 0..2 {
                        world.drive(OutputChannel::DummyLoad, true);
                        world.now += 1e-4;
                        pack.live(world, 3.0, |time| 1.1 + 0.02 * time);
                        world.drive(OutputChannel::DummyLoad, false);
                        world.now += 1e-4;
                        pack.live(world, 4.0, |_| 0.06);
                    }
                });
            } else {
                world.phase(Action::Wait, |world| pack.live(world, 1.2, |_| 0.06));
                for _ in 0..3 {
                    world.phase(to(Side::Right, 0.09), |world| {
                        let lasts = PROFILE.duration();
                        let ramp = PROFILE.speed / PROFILE.acceleration;
                        let uneven = |time: f64| 0.15 * (std::f64::consts::TAU * 2.25 * time + phase).sin();
                        let share = |time: f64| (time / ramp).min((lasts - time) / ramp).clamp(0.0, 1.0);
                        let began = world.now;
                        world.trapezoid(true, PROFILE, exact);
                        world.now = began;
                        pack.live(world, lasts, |time| holding + drawn * share(time) * (1.0 + uneven(time)));
                        pack.live(world, 2.0, |_| holding);
                    });
                }
            }
            coverage.take(&world.end(), 0, ohmic, seed);
        }
    }
    check_all(&coverages);
}

#[test]
fn ripple() {
    let mut coverage = Coverage::of("supply ripple");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let height = uniform(&mut world.rng, 0.003, 0.03);
        world.begin();
        world.phase(Action::Wait, |world| rest(world, 1.2, 7.6, 0.06));
        world.phase(to(Side::Right, 0.09), |world| {
            let swing = |time: f64| height * (std::f64::consts::TAU * 61.3 * time).sin();
            travel(world, |time| 7.5 - 0.01 * time + swing(time), |_| 0.5);
        });
        let check = world.end();
        coverage.take(&check, 0, height / std::f64::consts::SQRT_2, seed);
    }
    coverage.check();
}
