//! End stops, by hand.

use crate::synthetic::{Trapezoid, World, exact, read, value, values};
use railproof::capture::{Action, Destination, EdgeChannel, Side};
use railproof::measure::CheckEvidence;

fn to(side: Side, speed: f64) -> Action {
    Action::Travel { to: Destination::End(side), speed, level: None }
}

/// A travel into the right switch, whose edges are written by hand: times in ms after the first contact, and levels.
fn hit(chatter: &[(f64, bool)]) -> CheckEvidence {
    let mut world = World::new(0.5);
    world.begin();
    world.phase(to(Side::Right, 0.04), |world| {
        let profile = Trapezoid { distance: 0.062, speed: 0.04, acceleration: 1.6 };
        let contact = world.now + profile.time(0.06);
        world.trapezoid(true, profile, exact);
        for (after, level) in chatter {
            let at = world.tick(contact + after * 1e-3);
            world.part.push_edge(EdgeChannel::RightEndStop, at, *level);
        }
    });
    world.end()
}

#[test]
fn a_clean_contact_does_not_bounce() {
    let bounce = value("end-stop bounce", &hit(&[]));
    assert_eq!(bounce.value, 0.0);
    assert!(bounce.standard_uncertainty() < 1e-6);
}

#[test]
fn chatter_lasts_from_its_first_to_its_last_edge() {
    let check = hit(&[(0.3, false), (0.5, true), (1.1, false), (2.4, true)]);
    let bounce = value("end-stop bounce", &check);
    assert!((bounce.value - 2.4e-3).abs() < 2e-6, "{bounce:?}");
    assert_eq!(value("missed end stops", &check).value, 0.0);
}

#[test]
fn an_edge_long_after_is_no_chatter() {
    let bounce = value("end-stop bounce", &hit(&[(0.3, false), (0.5, true), (40.0, false), (41.0, true)]));
    assert!((bounce.value - 0.5e-3).abs() < 2e-6, "{bounce:?}");
}

#[test]
fn a_home_that_rests_in_its_switch_gives_no_reading_and_misses_nothing() {
    let mut world = World::new(0.05);
    world.begin();
    world.phase(Action::Home { side: Side::Left }, |world| {
        world.trapezoid(false, Trapezoid { distance: 0.051, speed: 0.015, acceleration: 1.6 }, exact)
    });
    world.phase(Action::Home { side: Side::Left }, |_| {});
    let check = world.end();
    assert_eq!(values("missed end stops", &check).iter().map(|count| count.value).collect::<Vec<_>>(), [0.0, 0.0]);
    assert_eq!(read("end-stop bounce", &check).len(), 1);
    assert!(
        read("missing steps", &check).is_empty(),
        "the rotor's place was not known at first, and then nothing moved"
    );
}

#[test]
fn repeatability_needs_three_contacts_and_is_their_standard_deviation() {
    let go = |hits: usize| {
        let mut world = World::new(0.5);
        world.begin();
        for index in 0..hits {
            // The switch gives way by another 50 µm each time.
            world.setup.unit.travel = 0.56 + 50e-6 * index as f64;
            let away = Trapezoid { distance: 0.062, speed: 0.04, acceleration: 1.6 };
            world.phase(to(Side::Right, 0.04), |world| world.trapezoid(true, away, exact));
            world.phase(Action::Travel { to: Destination::By(-0.062), speed: 0.04, level: None }, |world| {
                world.trapezoid(false, away, exact)
            });
        }
        world.end()
    };
    assert!(read("end-stop repeatability", &go(2)).is_empty());
    let scatter = value("end-stop repeatability", &go(5));
    // 0, 50, 100, 150, 200 µm: √(Σ(x − 100)²/4) = 79.06 µm.
    assert!((scatter.value - 79.06e-6).abs() < 1e-6, "{scatter:?}");
    assert!(scatter.degrees_of_freedom() < 5.0);
}
