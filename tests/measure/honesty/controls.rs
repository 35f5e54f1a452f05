//! How soon the unit answers its controls.

use super::{Coverage, draw, draws};
use crate::synthetic::{Trapezoid, uniform};
use railproof::capture::{Action, EdgeChannel, OutputChannel, Side};
use rand_distr::{Distribution, StandardNormal};
use std::cell::Cell;

#[test]
fn responses() {
    let name = ["control response", "contact response"];
    let mut coverages = [0, 1].map(|_| name.map(Coverage::of));
    for seed in 0..draws() {
        let mut world = draw(seed);
        let mut within = |from, to| uniform(&mut world.rng, from, to);
        // From press to contact, and from there to the motor.
        let ways = [0, 1].map(|_| [within(2e-3, 6e-3), within(5e-3, 20e-3)]);
        let distance = 0.1 + (within(0.0, 0.1) * 80_000.0).round() / 80_000.0;
        world.begin();
        let action = Action::Start { towards: Side::Right, speed: 0.04, level: 5, press: 0, stop_press: Some(1) };
        world.phase(action, |world| {
            let profile = Trapezoid { distance, speed: 0.04, acceleration: 1.6 };
            let begun = world.now + ways[0].iter().sum::<f64>();
            let braking = begun + profile.time(distance - 0.04 * 0.04 / 3.2);
            let stop = braking - ways[1].iter().sum::<f64>();
            for (control, press) in [(0, world.now), (1, stop)] {
                let contact = [EdgeChannel::Control1, EdgeChannel::Control2][control];
                world.now = press;
                world.drive(OutputChannel::Press(control as u8), true);
                world.edge(contact, press + ways[control][0], true);
            }
            world.now = begun;
            // The first step is on time: when it comes is what is asked for.
            let jitter = Cell::new(0.0);
            world.trapezoid(true, profile, |rng| {
                let late: f64 = StandardNormal.sample(rng);
                jitter.replace(0.7e-6) * late
            });
            for control in [0, 1] {
                world.drive(OutputChannel::Press(control), false);
            }
        });
        let check = world.end();
        for (index, way) in ways.iter().enumerate() {
            coverages[index][0].take(&check, index, way[0] + way[1], seed);
            coverages[index][1].take(&check, index, way[1], seed);
        }
    }
    let [start, stop] = coverages;
    start.iter().for_each(Coverage::check);
    // Which step is the first to be late may be off by one, a period of 0.3 ms; an ideal ramp is found to the very step.
    stop.iter().for_each(|coverage| coverage.check_bound(0.25e-3));
}
