//! The unit's line protocol and controls, as its bench meets them.

use super::{MS, Rig};
use crate::capture::{EdgeChannel, OutputChannel};

#[test]
fn start_up_takes_eight_tenths_of_a_second() {
    let rig = Rig::ready(1, &[]);
    let (at, banner) = &rig.lines[0];
    assert_eq!(banner, "DUNLIN 600 READY FW 1.4.0 SN SM-0001");
    assert!(at.abs_diff(800 * MS) < 10 * MS, "{at}");
}

#[test]
fn answers_and_refusals() {
    let mut rig = Rig::ready(1, &[]);
    let cases = [
        ("WHO", "I AM DUNLIN 600 FW 1.4.0 SN SM-0001"),
        ("GO R 90.0", "NO 4 not homed"),
        ("TO 280.00 40.0", "NO 4 not homed"),
        ("BY 1.00 5.0", "NO 4 not homed"),
        ("DANCE", "NO 1 what"),
        ("LEVEL 9", "NO 2 range"),
        ("LEVEL 5", "OK LEVEL 5"),
        ("STOP", "OK STOP"),
    ];
    for (line, answer) in cases {
        assert_eq!(rig.ask(line).as_deref(), Some(answer), "{line}");
    }
    assert_eq!(rig.hear("", 1).as_deref(), Some("DONE STOP 0.00"));
    rig.travel("HOME L");
    for (line, answer) in [("TO 600.00 40.0", "NO 2 range"), ("GO L 200.0", "NO 2 range")] {
        assert_eq!(rig.ask(line).as_deref(), Some(answer), "{line}");
    }
    rig.travel("TO 100.00 40.0");
    assert_eq!(rig.ask("BY -150.00 40.0").as_deref(), Some("NO 2 range"));
    let state = rig.ask("STATE").unwrap();
    assert!(state.starts_with("STATE REST L5 AT 100.00 PACK 8.2"), "{state}");
}

#[test]
fn busy_while_homing_and_state_says_what_it_does() {
    let mut rig = Rig::ready(1, &[]);
    assert_eq!(rig.ask("HOME L").as_deref(), Some("OK HOME L"));
    assert!(rig.ask("STATE").unwrap().starts_with("STATE HOME"));
    assert_eq!(rig.ask("RUN R").as_deref(), Some("NO 3 busy"));
    rig.hear("DONE HOME", 60).unwrap();
    rig.ask("CRAWL R");
    assert!(rig.ask("STATE").unwrap().starts_with("STATE CRAWL"));
    rig.wait(3000);
    assert!(rig.ask("STATE").unwrap().starts_with("STATE CRAWL"));
    // An increment is not interrupted by a move that starts from rest.
    assert_eq!(rig.ask("GO R 90.0").as_deref(), Some("OK GO R 90.0"));
    assert!(rig.ask("STATE").unwrap().starts_with("STATE RUN"));
    assert_eq!(rig.ask("HOME L").as_deref(), Some("NO 3 busy"));
    assert!(rig.hear("DONE", 20).unwrap().starts_with("DONE GO 562."));
}

#[test]
fn homing_backs_off_a_pressed_switch_first_and_finds_the_same_place() {
    let mut rig = Rig::homed(1, &[]);
    let first = rig.carriage_mm();
    rig.travel("GO R 90.0");
    rig.travel("GO L 90.0");
    assert!(rig.carriage_mm() < -2.0);
    assert_eq!(rig.travel("HOME L").as_deref(), Some("DONE HOME 0.00"));
    assert!((rig.carriage_mm() - first).abs() < 0.05, "{} {first}", rig.carriage_mm());
    assert_eq!(rig.travel("HOME R").as_deref(), Some("DONE HOME 560.00"));
}

#[test]
fn a_move_towards_a_pressed_switch_ends_at_once() {
    let mut rig = Rig::homed(1, &[]);
    rig.part.clear();
    assert_eq!(rig.ask("GO L 90.0").as_deref(), Some("OK GO L 90.0"));
    assert_eq!(rig.hear("", 1).as_deref(), Some("HIT L"));
    assert!(rig.hear("", 1).unwrap().starts_with("DONE GO -0."));
    assert!(rig.part.edges(EdgeChannel::Step).is_empty());
}

#[test]
fn stop_brakes_within_three_millimetres() {
    let mut rig = Rig::homed(1, &[]);
    rig.ask("GO R 90.0");
    rig.wait(2000);
    let before = rig.carriage_mm();
    assert_eq!(rig.ask("STOP").as_deref(), Some("OK STOP"));
    let done = rig.hear("DONE", 1).unwrap();
    rig.wait(200);
    let ran = rig.carriage_mm() - before;
    // v²/2a = 2.53 mm, and 90 mm/s for the time that the command takes on the line and in the main loop.
    assert!(done.starts_with("DONE STOP") && (2.4..3.0).contains(&ran), "{done} {ran}");
}

#[test]
fn a_new_move_turns_the_carriage_and_only_it_reports() {
    let mut rig = Rig::homed(1, &[]);
    rig.ask("GO R 40.0");
    rig.wait(3000);
    rig.part.clear();
    assert_eq!(rig.ask("GO L 40.0").as_deref(), Some("OK GO L 40.0"));
    assert!(rig.hear("DONE", 10).unwrap().starts_with("DONE GO -0."));
    assert_eq!(rig.lines.iter().filter(|(_, line)| line.starts_with("DONE GO")).count(), 1);
    assert_eq!(rig.part.edges(EdgeChannel::Direction).iter().map(|edge| edge.level()).collect::<Vec<_>>(), [false]);
}

#[test]
fn controls_select_start_and_stop() {
    let mut rig = Rig::homed(1, &[]);
    let press = |rig: &mut Rig, control| {
        rig.drive(OutputChannel::Press(control), true);
        rig.wait(60);
        rig.drive(OutputChannel::Press(control), false);
        rig.wait(60);
        rig.lines.last().unwrap().1.clone()
    };
    assert_eq!(press(&mut rig, 0), "KEY knob right");
    assert!(rig.ask("STATE").unwrap().starts_with("STATE REST L4"));
    assert_eq!(press(&mut rig, 1), "KEY knob left");
    let before = rig.world.now();
    rig.part.clear();
    assert_eq!(press(&mut rig, 2), "KEY knob push");
    let first = rig.part.edges(EdgeChannel::Step)[0].tick() - rig.world.tick_at(before);
    // Held for 10 ms and seen by the main loop, then the ramp's first delay: within 20 ms.
    assert!((20_000..40_000).contains(&first), "{first}");
    rig.wait(1000);
    press(&mut rig, 3);
    assert!(rig.has_said("KEY stop key") && rig.lines.last().unwrap().1.starts_with("DONE STOP 5."), "{:?}", rig.lines);
    press(&mut rig, 2);
    rig.wait(500);
    press(&mut rig, 2);
    assert!(rig.lines.last().unwrap().1.starts_with("DONE STOP"), "{:?}", rig.lines.last());
    // A touch is no press.
    rig.drive(OutputChannel::Press(2), true);
    rig.wait(5);
    rig.drive(OutputChannel::Press(2), false);
    let said = rig.lines.len();
    rig.wait(200);
    assert_eq!(rig.lines.len(), said);
}

#[test]
fn a_collapsing_pack_is_reported_and_refuses_moves() {
    // A weak pack and a load on the nearly empty pack's side of the relay: below 6.05 V.
    let mut rig = Rig::homed(1, &["weak-pack", "corroded-contact"]);
    rig.drive(OutputChannel::DummyLoad, true);
    rig.ask("GO R 90.0");
    let report = rig.hear("PACK LOW", 10).expect("a report");
    assert!(report.starts_with("PACK LOW 5.") || report.starts_with("PACK LOW 6.0"), "{report}");
    rig.hear("DONE", 10);
    assert_eq!(rig.ask("GO L 90.0").as_deref(), Some("NO 5 pack low"));
    rig.drive(OutputChannel::DummyLoad, false);
    rig.wait(3000);
    assert_eq!(rig.ask("GO L 90.0").as_deref(), Some("OK GO L 90.0"));
}
