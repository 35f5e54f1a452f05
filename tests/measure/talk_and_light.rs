//! What the unit says and shows.

use crate::synthetic::{World, read, value};
use railproof::capture::{Action, Cue, OutputChannel, SampleChannel};
use railproof::measure::Blame;

fn lit(world: &mut World, segments: &[u8]) {
    for sample in 0..6 {
        let at = world.tick(world.now + 0.05 * f64::from(sample));
        for segment in 0..6 {
            let code = if segments.contains(&segment) { 900 } else { 30 };
            world.part.push_sample(SampleChannel::Light(segment), at, code);
        }
    }
    world.now += 0.3;
}

#[test]
fn at_level_n_the_first_n_segments_are_lit() {
    for (segments, wrong) in [(vec![0, 1, 2], 0.0), (vec![0, 2], 1.0), (vec![0, 1, 2, 5], 1.0), (vec![3, 4, 5], 6.0)] {
        let mut world = World::new(0.05);
        world.begin();
        world.phase(Action::Select { level: 3 }, |world| {
            lit(world, &segments);
            world.now -= 0.2;
        });
        assert_eq!(value("segment errors", &world.end()).value, wrong, "{segments:?}");
    }
}

#[test]
fn a_dark_sensor_is_the_benchs_fault() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Select { level: 3 }, |_| {});
    let withheld = read("segment errors", &world.end()).remove(0).result.expect_err("no sample");
    assert_eq!(withheld.blame, Blame::Bench);
}

#[test]
fn a_press_that_changes_the_lights_is_no_dead_control() {
    for (after, dead) in [(vec![0, 1], 0.0), (vec![0], 1.0)] {
        let mut world = World::new(0.05);
        world.begin();
        world.phase(Action::Press { control: 0 }, |world| {
            lit(world, &[0]);
            world.drive(OutputChannel::Press(0), true);
            lit(world, &after);
            world.now -= 0.2;
        });
        assert_eq!(value("dead controls", &world.end()).value, dead);
    }
}

#[test]
fn counts_of_what_was_said() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Wait, |world| {
        for cue in [
            Cue::Unanswered { command: "WHO".into() },
            Cue::Unanswered { command: "WHO".into() },
            Cue::Refused { command: "GO R 90.0".into(), answer: "NO 3 busy".into() },
            Cue::Restarted,
            Cue::Reported { what: "firmware".into(), value: "1.4.0".into(), expected: None },
            Cue::Reported { what: "serial".into(), value: "SM-0002".into(), expected: Some("SM-0001".into()) },
        ] {
            world.cue(cue);
        }
    });
    world.phase(Action::Ask { question: "Is the belt path straight?".into() }, |world| {
        world.cue(Cue::Answered { question: String::new(), answer: "no".into(), agrees: false })
    });
    let check = world.end();
    for (name, expected) in [
        ("unanswered commands", 2.0),
        ("refused commands", 1.0),
        ("unexpected restarts", 1.0),
        ("wrong reports", 1.0),
        ("objections", 1.0),
    ] {
        let count = value(name, &check);
        assert_eq!((count.value, count.standard_uncertainty()), (expected, 0.0), "{name}");
    }
}

#[test]
fn a_mute_unit_reports_nothing() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Wait, |_| {});
    let check = world.end();
    assert_eq!(read("wrong reports", &check).remove(0).result.expect_err("mute").blame, Blame::Unit);
    assert!(read("objections", &check).is_empty());
}

#[test]
fn start_up_lasts_from_the_switch_to_the_banner() {
    for banner in [true, false] {
        let mut world = World::new(0.05);
        world.begin();
        world.phase(Action::Power { on: true }, |world| {
            world.drive(OutputChannel::UnitSupply, true);
            world.now += 0.8;
            if banner {
                world.cue(Cue::StartedUp);
            }
        });
        let result = read("start-up time", &world.end()).remove(0).result;
        match result {
            Ok(time) => assert!(banner && (time.value - 0.8).abs() < 1e-5, "{time:?}"),
            Err(withheld) => assert!(!banner && withheld.blame == Blame::Unit),
        }
    }
}
