//! What the pack's measurands make of checks in which there is little to measure.

use crate::synthetic::{World, read, values};
use railproof::capture::{Action, OutputChannel};
use railproof::measure::Blame;

/// Rests, and a dummy load of 1 A on a pack of 8 V less its resistance.
fn load(world: &mut World, ohms: f64) {
    for on in [false, true, false] {
        if on {
            world.drive(OutputChannel::DummyLoad, true);
        }
        let (from, ampere) = (world.now, if on { 1.05 } else { 0.05 });
        world.sample_pack(from + 1e-3, from + 1.0, |_| 8.0 - ohms * ampere, |_| ampere);
        world.now += 1.0;
        if on {
            world.drive(OutputChannel::DummyLoad, false);
        }
    }
}

#[test]
fn a_current_that_never_moves_tells_no_resistance() {
    let mut world = World::new(0.05);
    world.truth.noise = (1.5e-3, 3e-3);
    world.begin();
    world.phase(Action::Wait, |world| {
        let from = world.now;
        world.sample_pack(from, from + 5.0, |_| 7.6, |_| 0.06);
        world.now += 5.0;
    });
    let readings = read("pack resistance in use", &world.end());
    let withheld = readings[0].result.as_ref().expect_err("nothing is told");
    assert_eq!((readings.len(), withheld.blame), (1, Blame::Nobody), "{withheld:?}");
}

#[test]
fn two_packs_have_a_resistance_each() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Load { on: true }, |world| load(world, 0.1));
    world.phase(Action::Pack { low: true }, |world| world.drive(OutputChannel::LowPack, true));
    world.phase(Action::Load { on: true }, |world| load(world, 0.2));
    let found = values("pack resistance in use", &world.end());
    assert_eq!(found.len(), 2, "{found:?}");
    for (resistance, expected) in found.iter().zip([0.1, 0.2]) {
        assert!((resistance.value - expected).abs() < 1e-3, "{resistance:?}");
    }
}
