//! The uncertainties are honest: over many draws of jig errors and noise, the true value lies within the expanded
//! uncertainty for 95 % in about 95 % of the cases, and not by mere caution.

use crate::synthetic::{Trapezoid, Truth, World, exact, uniform, values};
use railproof::capture::{Action, Cue, Destination, OutputChannel, SampleChannel, Side};
use railproof::measure::CheckEvidence;

const DRAWS: u64 = 200;

/// How often the truth lay within U(95 %), and the mean of |error| / U.
#[derive(Default)]
struct Coverage {
    name: String,
    inside: u32,
    total: u32,
    reach: f64,
    worst: (f64, u64),
}

impl Coverage {
    fn of(name: &str) -> Self {
        Self { name: name.into(), ..Self::default() }
    }

    fn take(&mut self, check: &CheckEvidence, index: usize, truth: f64, seed: u64) {
        let estimate = &values(&self.name, check)[index];
        let expanded = estimate.expanded_uncertainty(0.95);
        let reach = (estimate.value - truth).abs() / expanded;
        self.inside += u32::from(reach <= 1.0);
        self.total += 1;
        self.reach += reach;
        if reach > self.worst.0 {
            self.worst = (reach, seed);
        }
    }

    /// Of 200 draws with 95 %, fewer than 180 come about once in a thousand times. A mean reach of 0.41 is that of a
    /// normal error of just that uncertainty; below a tenth the budget would be made of caution alone.
    fn check(&self, reach_min: f64) {
        let (part, reach) = (f64::from(self.inside) / f64::from(self.total), self.reach / f64::from(self.total));
        let shown = format!("{}: {part:.3} inside, mean reach {reach:.3}, worst {:?}", self.name, self.worst);
        println!("{shown}");
        assert!(part >= 0.90, "{shown}");
        assert!(reach >= reach_min, "{shown}");
    }
}

fn draw(seed: u64) -> World {
    let mut world = World::with(0.05, Truth::default(), seed);
    let mut truth = Truth { stamp: 0.1e-6, noise: (1.5e-3, 3e-3), ..Truth::default() };
    truth.clock = 10e-6 * world.normal();
    truth.encoder = 50e-6 * world.normal();
    truth.volt = (1e-3 * world.normal(), 2e-3 * world.normal());
    truth.ampere = (3e-3 * world.normal(), 1e-3 * world.normal());
    World::with(0.05, truth, seed + 1_000_000)
}

fn to(side: Side, speed: f64) -> Action {
    Action::Travel { to: Destination::End(side), speed, level: None }
}

#[test]
fn speeds_lengths_and_times() {
    let names = ["cruise speed", "travel length", "step rate error", "travel time", "backlash", "end-stop overrun"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..DRAWS {
        let mut world = draw(seed);
        // Where in a cell of the encoder things happen is by chance.
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let offset = world.offset;
        world.slack = 0.2e-3;
        let speed = uniform(&mut world.rng, 0.085, 0.095);
        let fast = Trapezoid { distance: 0.562, speed, acceleration: 1.6 };
        world.begin();
        world.phase(Action::Home { side: Side::Left }, |world| {
            world.trapezoid(false, Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 }, exact)
        });
        world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, fast, exact));
        let rest = world.carriage;
        let check = world.end();
        let last_pulse = fast.time(0.562 - 1.0 / 80_000.0);
        let truths = [speed, 0.56, speed / 0.09 - 1.0, last_pulse, 0.2e-3, rest - 0.56];
        assert!((rest - (0.05 - 0.051 + 0.562 + offset - 0.1e-3)).abs() < 1e-9);
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            let index = usize::from(coverage.name == "end-stop overrun");
            coverage.take(&check, index, truth, seed);
        }
    }
    for coverage in &coverages {
        coverage.check(0.1);
    }
}

#[test]
fn jitter() {
    let mut rms = Coverage::of("period jitter rms");
    let mut change = Coverage::of("cycle-to-cycle jitter");
    let mut p99 = Coverage::of("period jitter p99");
    let mut p99_9 = Coverage::of("period jitter p99.9");
    for seed in 0..DRAWS {
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
        coverage.check(0.1);
    }
}

#[test]
fn end_stop_response() {
    let mut coverage = Coverage::of("end-stop response");
    for seed in 0..DRAWS {
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
    coverage.check(0.0);
}

#[test]
fn stop_distance() {
    let mut coverage = Coverage::of("stop distance");
    for seed in 0..DRAWS {
        let mut world = draw(seed);
        world.begin();
        let mut expected = 0.0;
        world.phase(Action::Stop { towards: Side::Right, speed: 0.09, press: None }, |world| {
            let profile = Trapezoid { distance: 0.2, speed: 0.09, acceleration: 1.6 };
            let begun = world.now;
            let before = world.carriage;
            world.trapezoid(true, profile, exact);
            let rest = world.now;
            let at = uniform(&mut world.rng, 0.05, 0.15);
            expected = world.carriage - (before + at);
            world.now = begun + profile.time(at);
            // The mark's own doubt of 20 ticks.
            let late = 10e-6 * world.normal();
            world.now += late;
            world.cue(Cue::StopCommanded);
            world.now = rest;
        });
        coverage.take(&world.end(), 0, expected, seed);
    }
    coverage.check(0.1);
}

#[test]
fn crawl() {
    let mut interval = Coverage::of("crawl interval");
    let mut increment = Coverage::of("crawl increment");
    let mut scatter = Coverage::of("crawl interval scatter");
    for seed in 0..DRAWS {
        let mut world = draw(seed);
        world.begin();
        world.phase(Action::Crawl { towards: Side::Right }, |world| {
            let mut next = world.now;
            for _ in 0..16 {
                let times: Vec<f64> = (0..16).map(|step| next + 0.5e-3 * f64::from(step)).collect();
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
    interval.check(0.1);
    // Increments of whole cells of the encoder come out exact.
    increment.check(0.0);
    scatter.check(0.1);
}

#[test]
fn pack() {
    let names =
        ["pack rest voltage", "pack minimum voltage", "pack sag", "pack series resistance", "pack recovery time"];
    let mut coverages = names.map(Coverage::of);
    let mut idle = Coverage::of("idle current");
    let mut cruise = Coverage::of("cruise current");
    for seed in 0..DRAWS {
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
        coverage.check(0.1);
    }
}

#[test]
fn temperatures() {
    let mut highest = Coverage::of("motor temperature");
    let mut rise = Coverage::of("motor temperature rise");
    for seed in 0..DRAWS {
        let mut world = draw(seed);
        let offset = 0.29 * world.normal();
        let (first, grown) = (uniform(&mut world.rng, 20.0, 25.0), uniform(&mut world.rng, 5.0, 15.0));
        world.begin();
        world.phase(Action::Wait, |world| {
            for second in 0..=60 {
                let true_value = first + grown * f64::from(second) / 60.0;
                let at = world.tick(world.now + f64::from(second));
                let code = ((true_value + offset) / 0.0625).round() as i32;
                world.part.push_sample(SampleChannel::MotorTemperature, at, code);
            }
            world.now += 60.0;
        });
        let check = world.end();
        highest.take(&check, 0, first + grown, seed);
        rise.take(&check, 0, grown, seed);
    }
    highest.check(0.1);
    rise.check(0.1);
}
