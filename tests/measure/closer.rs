//! The closer look: stumbles of the step clock and losses of the carriage, put into captures at known places.

use crate::synthetic::{Trapezoid, World, exact, values};
use railproof::capture::{Action, Destination, Edge, EdgeChannel, Side};
use railproof::measure::{Cause, CheckEvidence, CloserLook, Followed, WayCause};
use std::cell::Cell;

const PROFILE: Trapezoid = Trapezoid { distance: 0.4, speed: 0.09, acceleration: 1.6 };
/// The period at 90 mm/s, ticks of 0.5 µs.
const PERIOD: u64 = 278;

fn travel() -> Action {
    Action::Travel { to: Destination::End(Side::Right), speed: 0.09, level: None }
}

/// A carriage that has turned to the right already, so that nothing is said of slack.
fn world() -> World {
    let mut world = World::new(0.05).looking_closer();
    world.begin();
    world.phase(Action::Travel { to: Destination::By(0.02), speed: 0.09, level: None }, |world| {
        world.trapezoid(true, Trapezoid { distance: 0.02, ..PROFILE }, exact);
    });
    world
}

fn look(check: &CheckEvidence) -> &CloserLook {
    check.phases[1].closer.as_deref().expect("it was looked at closer")
}

/// Moves step pulses of the capture in the making.
fn with_steps(world: &mut World, change: impl FnOnce(&mut Vec<Edge>)) {
    change(&mut world.part.edges[EdgeChannel::Step as usize]);
}

#[test]
fn a_doubled_pulse_is_told_from_a_late_one_and_from_a_skipped_one() {
    let mut world = world();
    let mut at = 0;
    world.phase(travel(), |world| {
        world.trapezoid(true, PROFILE, exact);
        with_steps(world, |steps| {
            // Late by most of a period, and the next on time.
            steps[8000] = Edge::new(steps[8000].tick() + PERIOD * 9 / 10, true);
            steps.remove(12_000);
            at = steps[4000].tick() + 20;
            steps.insert(4001, Edge::new(at, true));
        });
    });
    let check = world.end();
    assert_eq!(values("doubled steps", &check).iter().map(|value| value.value).collect::<Vec<_>>(), [0.0, 1.0]);
    let look = look(&check);
    let doubled = look.doubled.listed[0];
    assert_eq!((doubled.place.step, doubled.followed), (4002, Followed::No));
    assert!((doubled.after_s - 10e-6).abs() < 1e-9, "{doubled:?}");
    // The 4001st step is made 50.0 mm after the 20 mm that the carriage had gone from 50 mm.
    assert!((doubled.place.carriage.expect("an encoder") - 0.050).abs() < 0.1e-3, "{doubled:?}");
    assert_eq!(look.gaps.count, 2);
    let told: Vec<(usize, usize)> = look.gaps.listed.iter().map(|gap| (gap.place.step, gap.skipped)).collect();
    assert_eq!(told, [(12_001, 1), (8001, 0)]);
    assert_eq!(look.lost.count, 0, "{:?}", look.lost);
}

#[test]
fn a_doubled_pulse_that_the_driver_took_for_a_step_moves_the_carriage() {
    let mut world = world();
    world.phase(travel(), |world| {
        let start = world.now;
        let mut times: Vec<f64> = (0..8000).map(|step| start + f64::from(step) / 7200.0).collect();
        times.insert(4001, times[4000] + 10e-6);
        world.steps(true, &times);
    });
    let check = world.end();
    assert_eq!(look(&check).doubled.count, 1);
    assert_eq!(look(&check).doubled.listed[0].followed, Followed::Yes);
}

/// A travel in which the carriage is left behind by `lost` metres after 100 mm.
fn losing(lost: f64) -> CheckEvidence {
    let mut world = world();
    world.phase(travel(), |world| {
        world.trapezoid(true, Trapezoid { distance: 0.1, ..PROFILE }, exact);
        if lost != 0.0 {
            world.jump(-lost);
        }
        world.trapezoid(true, Trapezoid { distance: 0.3, ..PROFILE }, exact);
    });
    world.end()
}

// Outside: a stepper out of step loses 4 full steps at a time, a belt whole teeth; how: common practice, no source
#[test]
fn four_full_steps_are_the_motors_and_a_tooth_is_the_belts() {
    for (lost, cause, steps) in [
        (0.8e-3, WayCause::Motor { turns: 1 }, 64.0),
        (-0.8e-3, WayCause::Motor { turns: -1 }, -64.0),
        (2.4e-3, WayCause::Motor { turns: 3 }, 192.0),
        (2e-3, WayCause::Belt { teeth: 1 }, 160.0),
        (-2e-3, WayCause::Belt { teeth: -1 }, -160.0),
        (1.2e-3, WayCause::Neither, 96.0),
    ] {
        let check = losing(lost);
        let found = &look(&check).lost;
        assert_eq!(found.count, 1, "{lost}: {found:?}");
        let found = found.listed[0];
        assert_eq!(found.cause, cause, "{found:?}");
        assert!((found.steps - steps).abs() < 6.0, "{found:?}");
        // 100 mm after the 70 mm at which the travel began, that is from where it began: 100 mm.
        assert!((found.place.carriage.expect("an encoder") - 0.1).abs() < 1.5e-3, "{found:?}");
        assert!((found.place.step as f64 - 8000.0).abs() < 100.0 && found.place.rightward, "{found:?}");
        assert_eq!(found.edges_back > 10, lost > 0.0, "{found:?}");
    }
    assert_eq!(look(&losing(0.0)).lost.count, 0);
}

#[test]
fn a_refresh_that_delays_steps_is_named() {
    let mut setup = crate::synthetic::setup();
    setup.unit.refresh = Some(83.3);
    let mut world = World::new(0.05);
    world.session = railproof::measure::Session::new(setup).looking_closer(railproof::measure::LookCloser::Everywhere);
    world.begin();
    world.phase(travel(), |world| {
        let step = Cell::new(0.0);
        world.trapezoid(true, PROFILE, |_| {
            let time = PROFILE.time(step.replace(step.get() + 1.0) / 80_000.0);
            // Masked for 100 µs every 12 ms.
            let into = time.rem_euclid(0.012);
            if into < 100e-6 { 100e-6 - into } else { 0.0 }
        });
    });
    let check = world.end();
    let spectrum = check.phases[0].closer.as_deref().and_then(|look| look.step_clock.as_ref()).expect("a spectrum");
    let family = &spectrum.families[0];
    assert_eq!((family.cause, family.harmonic), (Some(Cause::Refresh), 1), "{family:?}");
    assert!((family.tone.frequency - 1.0 / 0.012).abs() < 0.02, "{:?}", family.tone);
    assert!(family.overtones.len() > 10);
}

#[test]
fn too_little_for_a_spectrum_is_withheld_and_nothing_panics() {
    for steps in [0_u32, 1, 2, 3, 7, 100] {
        let mut world = World::new(0.05).looking_closer();
        world.begin();
        world.phase(travel(), |world| {
            let start = world.now;
            let times: Vec<f64> = (0..steps).map(|step| start + 1e-3 * f64::from(step)).collect();
            if steps > 0 {
                world.steps(true, &times);
            }
        });
        let check = world.end();
        let reading = &crate::synthetic::read("time interval error tone", &check)[0];
        assert!(reading.result.is_err(), "{steps}: {reading:?}");
    }
    // Pulses at one and the same moment.
    let mut world = World::new(0.05).looking_closer();
    world.begin();
    world.phase(travel(), |world| {
        let now = world.tick(world.now);
        with_steps(world, |steps| steps.extend((0..1000).map(|_| Edge::new(now, true))));
    });
    assert!(crate::synthetic::read("time interval error tone", &world.end())[0].result.is_err());
}

// Outside: 20 teeth of 2 mm at 90 mm/s turn at 2.25 Hz and mesh at 45 Hz; speed is 2πf times the way; how: closed form
#[test]
fn runout_and_teeth_are_named_by_their_frequency() {
    for (frequency, cause) in [(2.25, Cause::PulleyTurn), (45.0, Cause::ToothMesh), (112.5, Cause::FieldTurn)] {
        let mut world = World::new(0.05).looking_closer();
        world.begin();
        let amplitude = 0.02 / frequency * 1e-3;
        world.phase(travel(), |world| crate::honesty::sway(world, PROFILE, amplitude, frequency, 0.3));
        let check = world.end();
        let spectrum = check.phases[0].closer.as_deref().and_then(|look| look.carriage.as_ref()).expect("a spectrum");
        let family = &spectrum.families[0];
        assert_eq!((family.cause, family.harmonic), (Some(cause), 1), "{:?}", spectrum.families);
        let swing = std::f64::consts::TAU * 0.02e-3;
        assert!((family.tone.amplitude / swing - 1.0).abs() < 0.01, "{:?}", family.tone);
        let peak = values("speed ripple peak", &check)[0].value;
        assert!((peak * 0.09 / swing - 1.0).abs() < 0.01, "{peak}");
    }
}
