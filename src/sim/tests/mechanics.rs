//! The mechanics alone, moved by the wires of another controller: as a whole world moves it with its own.

use super::{MS, Rig};
use crate::capture::{EdgeChannel, OutputChannel, Part};
use crate::sim::{Mechanics, SimTime, Wire, WorldSettings};

/// Ticks of a nanosecond clock, so that stamps are moments.
const NANOSECONDS: u64 = 1_000_000_000;
/// One tick of the world's jig, whose clock is a few ppm off.
const TICK_NS: SimTime = 500;

/// What a world's controller did to its driver, put to the mechanics of the same unit.
fn replayed(rig: &Rig, until: SimTime) -> (Mechanics, Part) {
    let mut mechanics = Mechanics::new(&WorldSettings::default(), NANOSECONDS);
    let mut out = Part::default();
    mechanics.advance(0, &mut out);
    mechanics.switch(OutputChannel::UnitSupply, true);
    // Start-up lasts that long; the driver holds from then on.
    mechanics.advance(800 * MS, &mut out);
    mechanics.wire(Wire::Holding(true));
    mechanics.wire(Wire::Enabled(true));
    let steps = rig.part.edges(EdgeChannel::Step).iter().filter(|edge| edge.level());
    let turns = rig.part.edges(EdgeChannel::Direction).iter();
    let mut wires: Vec<_> = steps.map(|edge| (edge.tick(), Wire::Step)).collect();
    wires.extend(turns.map(|edge| (edge.tick(), Wire::Direction(edge.level()))));
    wires.sort_by_key(|wire| wire.0);
    for (tick, wire) in wires {
        mechanics.advance(tick * TICK_NS, &mut out);
        mechanics.wire(Wire::Holding(false));
        mechanics.wire(wire);
    }
    mechanics.wire(Wire::Holding(true));
    mechanics.advance(until, &mut out);
    (mechanics, out)
}

#[test]
fn the_same_steps_move_the_same_carriage() {
    let mut rig = Rig::ready(1, &[]);
    assert_eq!(rig.travel("HOME L").as_deref(), Some("DONE HOME 0.00"));
    assert_eq!(rig.travel("TO 120.00 90.0").as_deref(), Some("DONE TO 120.00"));
    rig.wait(300);
    let (mechanics, out) = replayed(&rig, rig.world.now());
    let apart = mechanics.carriage() - rig.world.carriage();
    assert!(apart.abs() < 0.03e-3, "{apart} m apart");
    let (seen, there) = (out.edges(EdgeChannel::EncoderA).len(), rig.part.edges(EdgeChannel::EncoderA).len());
    assert!(seen.abs_diff(there) < 10 && seen > 2000, "{seen} and {there} encoder edges");
    let pressed = |part: &Part| {
        part.edges(EdgeChannel::LeftEndStop).iter().find(|edge| edge.level()).expect("it came home").tick()
    };
    let late = pressed(&out).abs_diff(pressed(&rig.part) * TICK_NS);
    assert!(late < MS, "its switch closes {late} ns apart");
}

#[test]
fn without_supply_steps_move_nothing() {
    let mut mechanics = Mechanics::new(&WorldSettings::default(), NANOSECONDS);
    let mut out = Part::default();
    mechanics.wire(Wire::Enabled(true));
    let before = mechanics.carriage();
    for step in 1..2000 {
        mechanics.advance(step * MS, &mut out);
        mechanics.wire(Wire::Step);
    }
    assert!((mechanics.carriage() - before).abs() < 0.1e-3);
    assert!(mechanics.seen().amps < 1e-9 && mechanics.seen().light.iter().all(|&light| light < 0.05));
}

#[test]
fn load_and_driver_draw_on_the_pack_and_a_press_reaches_its_contact() {
    let mut mechanics = Mechanics::new(&WorldSettings::default(), NANOSECONDS);
    let mut out = Part::default();
    mechanics.advance(10 * MS, &mut out);
    let open = mechanics.seen().volts;
    mechanics.switch(OutputChannel::UnitSupply, true);
    mechanics.switch(OutputChannel::DummyLoad, true);
    let loaded = mechanics.seen();
    // The load is 6.8 Ω, the controller takes 0.25 W.
    assert!((loaded.amps - loaded.volts / 6.8 - 0.25 / loaded.volts).abs() < 1e-6, "{loaded:?}");
    assert!((open - loaded.volts) / loaded.amps > 0.05, "{open} {loaded:?}");
    mechanics.switch(OutputChannel::DummyLoad, false);
    mechanics.wire(Wire::Enabled(true));
    assert!(mechanics.seen().amps > 0.3, "{:?}", mechanics.seen());
    mechanics.wire(Wire::Lit(2));
    assert_eq!(mechanics.seen().light.iter().filter(|&&light| light > 0.5).count(), 2);
    mechanics.switch(OutputChannel::Press(3), true);
    mechanics.advance(40 * MS, &mut out);
    assert!(out.edges(EdgeChannel::CONTROLS[3]).last().is_some_and(|edge| edge.level()));
    assert!(!mechanics.take_brown_out());
}
