//! Heat.

use super::{Coverage, draw, draws};
use crate::synthetic::uniform;
use railproof::capture::{Action, SampleChannel};

#[test]
fn temperatures() {
    let mut highest = Coverage::of("motor temperature");
    let mut rise = Coverage::of("motor temperature rise");
    for seed in 0..draws() {
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
    highest.check();
    rise.check();
}
