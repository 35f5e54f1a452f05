//! What the measurands make of healthy and of broken units, in captures made by arithmetic.

use crate::synthetic::{Trapezoid, Truth, World, exact, read, value, values};
use railproof::capture::{Action, Cue, Destination, OutputChannel, Side};
use railproof::measure::{Blame, Reading};

const FAST: Trapezoid = Trapezoid { distance: 0.5625, speed: 0.09, acceleration: 1.6 };

fn to(side: Side, speed: f64) -> Action {
    Action::Travel { to: Destination::End(side), speed, level: None }
}

fn home() -> Action {
    Action::Home { side: Side::Left }
}

/// A home from 50 mm and a travel each way, overrunning the left switch by 0.8 mm and the right one by 1.7 mm.
fn there_and_back(world: &mut World) {
    world.begin();
    world.phase(home(), |world| {
        world.trapezoid(false, Trapezoid { distance: 0.0508, speed: 0.015, acceleration: 1.6 }, exact)
    });
    world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, FAST, exact));
    world.phase(to(Side::Left, 0.09), |world| world.trapezoid(false, FAST, exact));
}

fn withheld(readings: &[Reading], blame: Blame) -> String {
    let [Reading { result: Err(withheld), .. }] = readings else { panic!("{readings:?}") };
    assert_eq!(withheld.blame, blame, "{withheld:?}");
    withheld.why.clone()
}

#[test]
fn a_healthy_unit() {
    let mut world = World::new(0.05);
    there_and_back(&mut world);
    assert!((world.session.position().expect("homed") + 0.0008).abs() < 0.00003, "{:?}", world.session.position());
    let check = world.end();
    assert!(check.losses.is_empty(), "{:?}", check.losses);
    for speed in values("cruise speed", &check) {
        assert!((speed.value - 0.09).abs() < 1e-6 && speed.standard_uncertainty() < 1e-5, "{speed:?}");
    }
    for error in values("step rate error", &check) {
        assert!(error.value.abs() < 1e-5, "{error:?}");
    }
    for length in values("travel length", &check) {
        assert!((length.value - 0.56).abs() < 20e-6, "{length:?}");
    }
    for time in values("travel time", &check) {
        assert!((time.value - FAST.duration()).abs() < 0.01, "{time:?}");
    }
    assert_eq!(values("missing steps", &check).iter().map(|steps| steps.value).collect::<Vec<_>>(), [0.0, 0.0]);
    assert_eq!(values("extra steps", &check).iter().map(|steps| steps.value).collect::<Vec<_>>(), [0.0, 0.0]);
    assert!(value("belt slip", &check).value < 30e-6);
    assert_eq!(values("missed end stops", &check).iter().map(|count| count.value).collect::<Vec<_>>(), [0.0; 3]);
    for (overrun, expected) in values("end-stop overrun", &check).iter().zip([0.8e-3, 1.7e-3, 0.8e-3]) {
        // It rests on a border between two cells, and half a cell is the most that it can be off.
        assert!((overrun.value - expected).abs() < 12.5e-6 + 1e-7, "{overrun:?}");
    }
    for slack in values("backlash", &check) {
        assert!(slack.value < 2.0 * slack.standard_uncertainty() + 1e-5, "{slack:?}");
    }
    let traces = world.session.into_traces();
    assert_eq!((traces.speed.len(), traces.intervals.len()), (3, 2));
    let top = traces.speed[1].points.iter().map(|point| point.1).fold(0.0, f64::max);
    assert!((top - 0.09).abs() < 0.002, "{top}");
    let middle = traces.intervals[0].histogram.value_at_quantile(0.5);
    assert!(middle.abs_diff(138_889) < 300, "{middle}");
    assert!((traces.intervals[0].nominal_ns - 138_888.9).abs() < 0.1);
}

#[test]
fn jitter_of_a_quiet_clock_is_next_to_nothing() {
    let mut world = World::new(0.05);
    there_and_back(&mut world);
    let check = world.end();
    for name in ["period jitter rms", "period jitter peak to peak", "period jitter p99.9", "cycle-to-cycle jitter"] {
        for jitter in values(name, &check) {
            let limit = jitter.value - jitter.expanded_uncertainty(0.95);
            assert!(jitter.value < 1e-6 && limit < 0.05e-6, "{name}: {jitter:?}");
        }
    }
    for gap in values("longest step gap", &check) {
        assert!((gap.value - 138.9e-6).abs() < 1e-6, "{gap:?}");
    }
}

#[test]
fn stalls_are_counted_in_whole_turns_of_the_field_and_jumps_in_teeth() {
    for (lost, missing, extra, slip_mm) in
        [(0.8e-3, 64.0, 0.0, 0.0), (-0.8e-3, 0.0, 64.0, 0.0), (2.4e-3, 192.0, 0.0, 0.0), (2.0e-3, 0.0, 0.0, 2.0)]
    {
        let mut world = World::new(0.05);
        there_and_back(&mut world);
        world.phase(to(Side::Right, 0.09), |world| {
            world.trapezoid(true, Trapezoid { distance: 0.3, ..FAST }, exact);
            world.jump(-lost);
            world.trapezoid(true, Trapezoid { distance: FAST.distance - 0.3 + lost, ..FAST }, exact);
        });
        world.phase(to(Side::Left, 0.09), |world| world.trapezoid(false, FAST, exact));
        let check = world.end();
        let last = |name: &str, index: usize| values(name, &check)[index].value;
        assert_eq!((last("missing steps", 2), last("extra steps", 2)), (missing, extra), "{lost}");
        assert_eq!((last("missing steps", 3), last("extra steps", 3)), (0.0, 0.0), "{lost}");
        let slip = values("belt slip", &check).iter().map(|slip| slip.value).fold(0.0, f64::max);
        assert!((slip * 1e3 - slip_mm).abs() < 0.05, "{lost}: {slip}");
    }
}

#[test]
fn a_carriage_that_stalls_for_the_rest_of_the_way_lost_many_steps() {
    let mut world = World::new(0.05);
    there_and_back(&mut world);
    world.phase(to(Side::Right, 0.09), |world| {
        world.trapezoid(true, Trapezoid { distance: 0.1, ..FAST }, exact);
        let there = world.carriage;
        world.offset = -10.0;
        world.trapezoid(true, Trapezoid { distance: 0.4, ..FAST }, exact);
        assert_eq!(there, world.carriage);
    });
    let check = world.end();
    let missing = values("missing steps", &check)[2].value;
    assert!((missing - 32_000.0).abs() <= 64.0, "{missing}");
    assert_eq!(values("missed end stops", &check)[3].value, 1.0);
    let length = read("travel length", &check).pop().expect("a reading");
    assert_eq!(length.result.expect_err("no contact").blame, Blame::Unit);
}

#[test]
fn slack_is_backlash_and_not_missing_steps() {
    for slack in [0.1e-3, 0.3e-3, 0.5e-3, 1.3e-3] {
        let mut world = World::new(0.05);
        world.slack = slack;
        there_and_back(&mut world);
        let check = world.end();
        for found in values("backlash", &check) {
            // At most half a cell of the encoder and half a step.
            let off = (found.value - slack).abs();
            assert!(off < 12.5e-6 + 6.25e-6 + 1e-9, "{slack}: {found:?}");
        }
        assert!(values("missing steps", &check).iter().all(|steps| steps.value == 0.0));
        assert!(values("extra steps", &check).iter().all(|steps| steps.value == 0.0));
        assert!(value("belt slip", &check).value < 30e-6);
    }
}

#[test]
fn a_pulley_off_its_size_loses_no_steps() {
    let mut world = World::with(0.05, Truth { encoder: 0.003, ..Truth::default() }, 1);
    there_and_back(&mut world);
    let check = world.end();
    assert!(values("missing steps", &check).iter().all(|steps| steps.value == 0.0));
    assert!((values("cruise speed", &check)[0].value / 0.09 - 1.0 + 0.003).abs() < 1e-4);
}

#[test]
fn a_wrong_speed_is_measured_and_not_refused() {
    for speed in [0.081, 0.099] {
        let mut world = World::new(0.05);
        there_and_back(&mut world);
        world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, Trapezoid { speed, ..FAST }, exact));
        let check = world.end();
        assert!((values("cruise speed", &check)[2].value - speed).abs() < 1e-6);
        assert!((values("step rate error", &check)[2].value - (speed / 0.09 - 1.0)).abs() < 1e-5);
    }
}

#[test]
fn a_carriage_that_goes_the_wrong_way_fails_plainly() {
    let mut world = World::new(0.05);
    world.reversed = true;
    world.offset = 0.35;
    world.place(0.3);
    world.begin();
    world.phase(home(), |world| {
        world.trapezoid(false, Trapezoid { distance: 0.1, speed: 0.015, acceleration: 1.6 }, exact)
    });
    world.phase(to(Side::Right, 0.09), |world| world.trapezoid(true, Trapezoid { distance: 0.2, ..FAST }, exact));
    let check = world.end();
    assert!((value("cruise speed", &check).value + 0.09).abs() < 1e-6);
    let missing = value("missing steps", &check).value;
    assert!(missing > 15_000.0, "{missing}");
    assert_eq!(values("missed end stops", &check).iter().map(|count| count.value).collect::<Vec<_>>(), [1.0, 1.0]);
}

#[test]
fn a_dead_end_stop_is_missed_and_nothing_else_is_blamed() {
    let mut world = World::new(0.05);
    world.dead[1] = true;
    there_and_back(&mut world);
    let check = world.end();
    assert_eq!(values("missed end stops", &check).iter().map(|count| count.value).collect::<Vec<_>>(), [0.0, 1.0, 0.0]);
    let response = read("end-stop response", &check);
    let refused = response[1].result.as_ref().expect_err("no contact");
    assert_eq!((refused.blame, refused.why.as_str()), (Blame::Unit, "the right end switch never closed"));
}

#[test]
fn who_is_to_blame_when_there_is_nothing_to_measure() {
    let travel_with = |moves: &dyn Fn(&mut World)| {
        let mut world = World::new(0.05);
        world.begin();
        world.phase(to(Side::Right, 0.09), |world| {
            moves(world);
            world.now += 1.0;
        });
        world.end()
    };
    let still = travel_with(&|_| {});
    assert_eq!(withheld(&read("cruise speed", &still), Blame::Unit), "no step pulse came");
    assert_eq!(withheld(&read("missing steps", &still), Blame::Unit), "no step pulse came");
    let stuck = travel_with(&|world| {
        world.offset = -10.0;
        world.trapezoid(true, Trapezoid { distance: 0.3, ..FAST }, exact)
    });
    assert_eq!(withheld(&read("cruise speed", &stuck), Blame::Unit), "the carriage did not follow the steps");
    let ramp_only = travel_with(&|world| {
        for _ in 0..20 {
            world.trapezoid(true, Trapezoid { distance: 0.005, ..FAST }, exact);
        }
    });
    assert_eq!(withheld(&read("cruise speed", &ramp_only), Blame::Unit), "the steps never reached a steady rate");
    let lost = travel_with(&|world| {
        world.trapezoid(true, Trapezoid { distance: 0.3, ..FAST }, exact);
        world.lose("7 edges of `step`: sequence number jumped from 12 to 20");
    });
    assert!(withheld(&read("cruise speed", &lost), Blame::Bench).contains("7 edges of `step`"));
    let blind = travel_with(&|world| {
        world.trapezoid(true, Trapezoid { distance: 0.3, ..FAST }, exact);
        world.part.edges[0].clear();
    });
    assert!(withheld(&read("period jitter rms", &blind), Blame::Bench).contains("step probe"));
}

#[test]
fn a_commanded_stop_and_what_creeps_after_it() {
    let mut world = World::new(0.05);
    there_and_back(&mut world);
    world.phase(Action::Stop { towards: Side::Right, speed: 0.04, press: None }, |world| {
        let profile = Trapezoid { distance: 0.1, speed: 0.04, acceleration: 1.6 };
        let begun = world.now;
        world.trapezoid(true, profile, exact);
        let rest = world.now;
        // The command came when 3 mm were left to go.
        world.now = begun + profile.time(0.097);
        world.cue(Cue::StopCommanded);
        world.now = rest;
    });
    world.phase(Action::Wait, |world| {
        let times: Vec<f64> = (0..40).map(|step| world.now + 0.05 * f64::from(step)).collect();
        world.steps(true, &times);
    });
    let check = world.end();
    let stop = value("stop distance", &check);
    assert!((stop.value - 0.003).abs() < stop.expanded_uncertainty(0.99), "{stop:?}");
    assert!((value("creep after stop", &check).value - 0.0005).abs() < 0.05e-3);
}

#[test]
fn controls_that_work_and_controls_that_do_not() {
    let start = || Action::Start { towards: Side::Right, speed: 0.09, level: 6, press: 2, stop_press: Some(3) };
    let run = |stops: bool| {
        let mut world = World::new(0.05);
        there_and_back(&mut world);
        world.phase(start(), |world| {
            world.drive(OutputChannel::Press(2), true);
            world.now += 0.012;
            let begun = world.now;
            let profile = Trapezoid { distance: if stops { 0.2 } else { FAST.distance }, ..FAST };
            world.trapezoid(true, profile, exact);
            let rest = world.now;
            let deceleration = 0.09 * 0.09 / 3.2;
            world.now = begun + profile.time(0.2 - deceleration) - 0.004;
            world.drive(OutputChannel::Press(3), true);
            world.now = rest;
        });
        world.end()
    };
    let works = run(true);
    assert_eq!(value("dead controls", &works).value, 0.0);
    let response = values("control response", &works);
    assert!((response[0].value - 0.012).abs() < 0.003, "{response:?}");
    assert!((response[1].value - 0.004).abs() < response[1].expanded_uncertainty(0.99), "{response:?}");
    assert!(value("stop distance", &works).value > 0.0025);
    let stuck = run(false);
    assert_eq!(value("dead controls", &stuck).value, 1.0);
    assert_eq!(read("control response", &stuck)[1].result.as_ref().expect_err("ignored").blame, Blame::Unit);
}

#[test]
fn a_press_at_rest_counts_when_anything_happens() {
    for (says, dead) in [(true, 0.0), (false, 1.0)] {
        let mut world = World::new(0.05);
        world.begin();
        world.phase(Action::Press { control: 0 }, |world| {
            world.drive(OutputChannel::Press(0), true);
            world.now += 0.1;
            if says {
                let line = railproof::capture::Line {
                    at: world.tick(world.now),
                    from: railproof::capture::Talker::Unit,
                    text: "KEY knob right".into(),
                };
                world.part.lines.push(line);
            }
            world.now += 0.1;
        });
        assert_eq!(value("dead controls", &world.end()).value, dead);
    }
}

#[test]
fn levels_in_ratio_and_in_order() {
    let run = |speeds: [f64; 3]| {
        let mut world = World::new(0.05);
        world.begin();
        for (level, speed) in [(3, speeds[0]), (4, speeds[1]), (5, speeds[2])] {
            let action = Action::Travel {
                to: Destination::End(Side::Right),
                speed: world.setup.unit.levels[level as usize - 1],
                level: Some(level),
            };
            world.phase(action, |world| {
                world.trapezoid(true, Trapezoid { distance: 0.05, speed, acceleration: 1.6 }, exact)
            });
        }
        world.end()
    };
    let healthy = run([0.005, 0.015, 0.04]);
    assert!(values("level speed error", &healthy).iter().all(|error| error.value.abs() < 1e-3));
    assert!(values("level ratio error", &healthy).iter().all(|error| error.value.abs() < 1e-3));
    assert_eq!(value("levels out of order", &healthy).value, 0.0);
    let swapped = run([0.005, 0.04, 0.015]);
    assert_eq!(value("levels out of order", &swapped).value, 1.0);
    let ratios = read("level ratio error", &swapped);
    assert_eq!(ratios[0].label, "level 4 over level 3");
    assert!((ratios[0].result.as_ref().expect("a value").value - (8.0 / 3.0 - 1.0)).abs() < 0.01);
}
