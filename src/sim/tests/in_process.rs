//! The bench around the world, through the traits that a run knows.

use super::MS;
use crate::capture::{EdgeChannel, OutputChannel, Part, SampleChannel};
use crate::clock::{Clock, HostTime, WallTime};
use crate::jig::{Jig, JigError};
use crate::port::Port;
use crate::sim::{World, WorldSettings, bench};

#[test]
fn waiting_for_bytes_moves_the_world_and_nothing_else_does() {
    let (clock, mut port, mut jig) = bench(World::new(&WorldSettings::default()), WallTime::UNIX_EPOCH);
    assert!(jig.identity().simulated && jig.identity().ticks_per_second == 2_000_000);
    jig.drive(OutputChannel::UnitSupply, true).unwrap();
    assert_eq!(clock.now(), HostTime::default());
    let mut heard = Vec::new();
    assert_eq!(port.receive(&mut heard, HostTime::from_nanos(500 * MS)), Ok(0));
    assert_eq!(clock.now(), HostTime::from_nanos(500 * MS));
    assert_eq!(port.receive(&mut heard, HostTime::from_nanos(2000 * MS)), Ok(1));
    assert_eq!(heard, b"D");
    assert!(clock.now() < HostTime::from_nanos(802 * MS));
    assert_eq!(clock.wall().unix_timestamp(), 0);
    let before = clock.now();
    port.send(b"WHO\n", HostTime::from_nanos(2000 * MS)).unwrap();
    // Four bytes of ten bits at 115200 baud.
    let took = clock.now().since(before).as_nanos();
    assert!((347_000..348_000).contains(&took), "{took}");
}

#[test]
fn the_jig_hands_over_each_edge_once() {
    let (clock, mut port, mut jig) = bench(World::new(&WorldSettings::default()), WallTime::UNIX_EPOCH);
    let (mut part, mut sink) = (Part::default(), Vec::new());
    port.receive(&mut sink, HostTime::from_nanos(100 * MS)).unwrap();
    jig.collect(&mut part).unwrap();
    // 250 Hz from the start on, to within the clock's error.
    assert!((25..=26).contains(&part.samples(SampleChannel::PackVoltage).len()));
    port.receive(&mut sink, HostTime::from_nanos(200 * MS)).unwrap();
    let now = jig.settle(&mut part).unwrap();
    let ticks = part.samples(SampleChannel::PackVoltage).iter().map(|sample| sample.at).collect::<Vec<_>>();
    assert!(ticks.iter().enumerate().all(|(index, &tick)| tick == index as u64 * 8_000), "{ticks:?}");
    assert!((50..=51).contains(&ticks.len()));
    assert_eq!(part.edges(EdgeChannel::Guard).len(), 1);
    // 200 ms at 2 MHz, known to a tick; the clock's own error of 10 ppm makes up to 14 more.
    let (tick, doubt) = jig.tick_at(clock.now());
    assert!(now == tick && doubt == 1 && tick.abs_diff(400_000) < 15, "{tick}");
}

#[test]
fn a_dropped_jig_is_safe_and_a_missing_channel_is_named() {
    let (clock, _port, mut jig) = bench(World::new(&WorldSettings::default()), WallTime::UNIX_EPOCH);
    jig.drive(OutputChannel::UnitSupply, true).unwrap();
    assert!(clock.with_world(World::supply_is_on));
    assert_eq!(jig.drive(OutputChannel::Press(6), true), Err(JigError::NoChannel { channel: "press 7".into() }));
    drop(jig);
    assert!(!clock.with_world(World::supply_is_on));
}

#[test]
fn an_armed_watchdog_drops_the_supply() {
    let mut world = World::new(&WorldSettings::default());
    let mut part = Part::default();
    world.drive(OutputChannel::UnitSupply, true, &mut part);
    world.arm_watchdog(true);
    for step in 1..=10 {
        world.advance(step * 200 * MS, &mut part);
        world.heartbeat();
    }
    assert!(world.supply_is_on());
    world.advance(2000 * MS + 249 * MS, &mut part);
    assert!(world.supply_is_on());
    world.advance(2000 * MS + 251 * MS, &mut part);
    assert!(!world.supply_is_on());
    assert!(part.driven.iter().any(|driven| driven.output == OutputChannel::UnitSupply && !driven.on));
}

#[test]
fn the_guard_is_seen() {
    let mut world = World::new(&WorldSettings::default());
    let mut part = Part::default();
    world.advance(10 * MS, &mut part);
    world.set_input(EdgeChannel::Guard, false, &mut part);
    let guard = part.edges(EdgeChannel::Guard);
    assert!(guard[0].level() && !guard[1].level() && guard[1].tick().abs_diff(20_000) < 3);
}
