//! Approaches to targets, by hand.

use crate::synthetic::{Trapezoid, World, exact, read, value};
use railproof::capture::{Action, Destination, Side};
use railproof::measure::{Blame, CheckEvidence};

/// Goes to each place in turn, in mm, and comes to rest beside it by so many cells of the encoder.
fn go(places: &[(f64, f64)]) -> CheckEvidence {
    let mut world = World::new(0.1);
    world.offset = 10e-6;
    world.begin();
    for (place, beside) in places {
        let steps = (place * 80.0).round() as i64 - world.motor;
        let profile = Trapezoid { distance: steps.unsigned_abs() as f64 / 80e3, speed: 0.04, acceleration: 1.6 };
        let action = Action::Travel { to: Destination::Position(place * 1e-3), speed: 0.04, level: None };
        let jump = 10e-6 + beside * 25e-6 - world.offset;
        world.phase(action, |world| {
            if jump != 0.0 {
                world.jump(jump);
            }
            world.trapezoid(steps > 0, profile, exact);
        });
    }
    world.end()
}

/// Three targets, from the left by `up` cells beside them and from the right by `down`, as often as there are such.
fn cycles(up: &[[f64; 3]], down: &[[f64; 3]]) -> CheckEvidence {
    let places = [110.0, 120.0, 130.0];
    let mut way = Vec::new();
    for (up, down) in up.iter().zip(down) {
        way.extend(places.into_iter().zip(*up));
        way.push((140.0, 0.0));
        way.extend(places.into_iter().zip(*down).rev());
        way.push((100.0, 0.0));
    }
    go(&way)
}

#[test]
fn parameters_of_whole_cells_come_out_exact() {
    let about = |centres: [f64; 3]| [-4.0, -4.0, 4.0, 4.0, 0.0].map(|off| centres.map(|centre| centre + off));
    let check = cycles(&about([10.0, 20.0, 30.0]), &about([5.0, 14.0, 26.0]));
    // Every standard deviation is four cells of 25 µm.
    for (name, cells) in [
        ("positioning accuracy", 25.0 + 16.0),
        ("positioning accuracy rightward", 20.0 + 16.0),
        ("positioning accuracy leftward", 21.0 + 16.0),
        ("positioning repeatability", 16.0 + 6.0),
        ("positioning repeatability rightward", 16.0),
        ("positioning repeatability leftward", 16.0),
        ("systematic deviation", 25.0),
        ("systematic deviation rightward", 20.0),
        ("systematic deviation leftward", 21.0),
        ("reversal value", 6.0),
        ("mean reversal value", 5.0),
        ("mean bidirectional deviation", 20.5),
    ] {
        let found = value(name, &check);
        assert!((found.value / 25e-6 - cells).abs() < 1e-6, "{name}: {found:?}");
        assert!(found.budget.iter().any(|line| line.from == "scatter of the approaches"), "{name}: {found:?}");
    }
    let scaled = value("systematic deviation", &check);
    let scale = scaled.budget.iter().find(|line| line.cause.is_some()).expect("a line for the encoder's scale");
    // From the lowest, at 110 mm, to the highest, at 130 mm.
    assert!((scale.sensitivity - 20e-3).abs() < 1e-6, "{scale:?}");
}

#[test]
fn a_scatter_inside_one_cell_is_no_certain_nothing() {
    let check = cycles(&[[0.0; 3]; 5], &[[0.0; 3]; 5]);
    for name in ["positioning repeatability rightward", "positioning accuracy rightward", "reversal value"] {
        let found = value(name, &check);
        assert!(found.value.abs() < 1e-9, "{name}: {found:?}");
        let expanded = found.expanded_uncertainty(0.95);
        // One approach in the next cell would make a standard deviation of half a cell.
        assert!((2e-6..60e-6).contains(&expanded), "{name}: {expanded}");
    }
}

#[test]
fn too_few_approaches_or_targets_give_no_value() {
    let two = cycles(&[[0.0; 3]; 2], &[[0.0; 3]; 2]);
    for check in [two, go(&[(110.0, 0.0), (120.0, 0.0)])] {
        let readings = read("positioning accuracy", &check);
        let [reading] = readings.as_slice() else { panic!("{readings:?}") };
        assert_eq!(reading.result.as_ref().expect_err("withheld").blame, Blame::Nobody);
    }
    let mut world = World::new(0.1);
    world.begin();
    world.phase(Action::Travel { to: Destination::End(Side::Right), speed: 0.04, level: None }, |world| {
        world.trapezoid(true, Trapezoid { distance: 0.01, speed: 0.04, acceleration: 1.6 }, exact)
    });
    assert!(read("positioning accuracy", &world.end()).is_empty(), "a travel to an end is none to a target");
}
