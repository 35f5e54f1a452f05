//! The speed levels, and the start of the unit.

use super::{Coverage, draw, draws};
use crate::synthetic::{Trapezoid, exact, uniform};
use railproof::capture::{Action, Cue, Destination, OutputChannel, Side};

#[test]
fn levels() {
    let mut error = Coverage::of("level speed error");
    let mut ratio = Coverage::of("level ratio error");
    for seed in 0..draws() {
        let mut world = draw(seed);
        world.offset = uniform(&mut world.rng, -20e-6, 20e-6);
        let nominal = [world.setup.unit.levels[3], world.setup.unit.levels[4]];
        let errors = nominal.map(|_| uniform(&mut world.rng, -0.03, 0.03));
        world.begin();
        for index in 0..2 {
            let (speed, level) = (nominal[index], Some(index as u8 + 4));
            let action = Action::Travel { to: Destination::End(Side::Right), speed, level };
            let profile = Trapezoid { distance: 0.1, speed: speed * (1.0 + errors[index]), acceleration: 1.6 };
            world.phase(action, |world| world.trapezoid(true, profile, exact));
        }
        let check = world.end();
        error.take(&check, 1, errors[1], seed);
        ratio.take(&check, 0, (1.0 + errors[1]) / (1.0 + errors[0]) - 1.0, seed);
    }
    error.check();
    // Clock and encoder cancel. What is left of an even carriage is the noise of the stamps, which makes its ten sections
    // differ as if it were not even: that cannot be told from a carriage that is not.
    ratio.check_bound(1e-6);
}

#[test]
fn start_up() {
    let mut coverage = Coverage::of("start-up time");
    for seed in 0..draws() {
        let mut world = draw(seed);
        let takes = uniform(&mut world.rng, 0.3, 1.0);
        world.begin();
        world.phase(Action::Power { on: true }, |world| {
            world.drive(OutputChannel::UnitSupply, true);
            // The mark's own doubt of 20 ticks.
            let late = 10e-6 * world.normal();
            world.now += takes + late;
            world.cue(Cue::StartedUp);
            world.now += 0.1;
        });
        coverage.take(&world.end(), 0, takes, seed);
    }
    coverage.check();
}
