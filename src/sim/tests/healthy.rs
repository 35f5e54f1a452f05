//! A healthy unit keeps its promises.

use super::Rig;
use crate::capture::EdgeChannel;

#[test]
fn travels_from_end_to_end_without_losing_a_step() {
    let mut rig = Rig::ready(1, &[]);
    assert_eq!(rig.lines[0].1, "DUNLIN 600 READY FW 1.4.0 SN SM-0001");
    assert_eq!(rig.travel("HOME L").as_deref(), Some("DONE HOME 0.00"));
    assert!(rig.world.carriage().abs() < 1e-3);
    let before = rig.steps();
    let done = rig.travel("GO R 90.0").unwrap();
    assert!(done.starts_with("DONE GO 562."), "{done}");
    assert!(rig.world.lag_full_steps().abs() < 0.5);
    assert!((rig.steps() - before).abs_diff(45_000) < 100);
    // Pressed, with its bounce; the first edge states the level at the start.
    assert!(rig.part.edges(EdgeChannel::RightEndStop).len() >= 4);
}
