//! The drive train against closed forms.

use crate::capture::Part;
use crate::sim::belt::Belt;
use crate::sim::carriage::Carriage;
use crate::sim::chance::{Chance, Stream};
use crate::sim::end_stop::EndStopMake;
use crate::sim::motor::Motor;
use crate::sim::sensors::{Encoder, JigClock};
use crate::sim::train::{Parts, RADIUS, Train};

/// A drive train in the middle of its rail, and a jig's clock to stamp with.
fn train(motor: &Motor, belt: &Belt, carriage: &Carriage) -> (Train, JigClock, Part) {
    let mut jig = Chance::new(1, Stream::Jig);
    let clock = JigClock::drawn(&mut jig);
    let place = 0.28;
    let encoder = Encoder::drawn(&mut jig, place, 0.0);
    let end_stops = &[EndStopMake::sound(0.0), EndStopMake::sound(0.56)];
    let train = Train::new(Parts { motor, belt, carriage, end_stops, place, encoder, seed: 1 });
    (train, clock, Part::default())
}

fn frictionless() -> (Motor, Belt, Carriage) {
    let motor = Motor { detent_torque: 0.0, ..Motor::size_17() };
    let belt = Belt { backlash: 0.0, runout: 0.0, ..Belt::sound() };
    let carriage = Carriage { friction: 0.0, ..Carriage::sound(1.5, 0.0) };
    (motor, belt, carriage)
}

/// A static load F at radius r makes the rotor lag by asin(F·r/T) of electrical angle (the torque law of a two-phase
/// motor with sine currents; handbook knowledge, from memory). The load comes on suddenly, so that the rotor first swings
/// to about twice that.
#[test]
fn a_static_load_makes_the_rotor_lag_by_the_arc_sine() {
    let (motor, belt, mut carriage) = frictionless();
    for share in [0.1, 0.4, 0.6, -0.5] {
        carriage.slope_force = -share * 0.40 / RADIUS;
        let (mut train, clock, mut out) = train(&motor, &belt, &carriage);
        train.align_field();
        train.set_torque(0.40);
        train.move_to(3_000_000_000, &clock, &mut out);
        // An electrical cycle has four full steps.
        let expected = libm::asin(share) / std::f64::consts::TAU * 4.0;
        assert!((train.lag_full_steps() - expected).abs() < 2e-3, "{share}: {} {expected}", train.lag_full_steps());
    }
}

/// Beyond the holding torque no lag suffices: the rotor is pulled from place to place, four full steps each.
#[test]
fn more_than_the_holding_torque_pulls_it_out() {
    let (motor, belt, mut carriage) = frictionless();
    carriage.slope_force = -1.05 * 0.40 / RADIUS;
    let (mut train, clock, mut out) = train(&motor, &belt, &carriage);
    train.align_field();
    train.set_torque(0.40);
    train.move_to(1_000_000_000, &clock, &mut out);
    assert!(train.lag_full_steps() > 40.0, "{}", train.lag_full_steps());
}

/// A rotor in its field swings at √(N·T/J)/2π, with N = 50 teeth: 306 Hz for 0.40 N·m and 54 g·cm² (handbook formula,
/// from memory). The belt is taken off. Long strides swing no slower than short ones.
#[test]
fn a_free_rotor_swings_at_its_natural_frequency() {
    let (mut motor, mut belt, carriage) = frictionless();
    motor.damping_ratio = 0.02;
    belt.stiffness = 1e-3;
    for look in [20_000, 300_000, 600_000] {
        let (mut train, clock, mut out) = train(&motor, &belt, &carriage);
        train.align_field();
        train.set_torque(0.40);
        train.move_to(200_000_000, &clock, &mut out);
        train.step(1);
        let (mut crossings, mut last, mut now) = (Vec::new(), train.lag_full_steps(), 200_000_000);
        while crossings.len() < 41 {
            now += look;
            train.move_to(now, &clock, &mut out);
            let lag = train.lag_full_steps();
            if (lag < 0.0) != (last < 0.0) {
                crossings.push(now as f64 - look as f64 * lag / (lag - last));
            }
            last = lag;
        }
        let frequency = 20.0 / ((crossings[40] - crossings[0]) * 1e-9);
        let expected = (50.0f64 * 0.40 / 54e-7).sqrt() / std::f64::consts::TAU;
        assert!((frequency / expected - 1.0).abs() < 3e-3, "{look} ns: {frequency} {expected}");
    }
}

/// A belt that is pulled too hard jumps by whole teeth of 2 mm, and holds again afterwards.
#[test]
fn an_overloaded_belt_jumps_whole_teeth() {
    let (motor, mut belt, mut carriage) = frictionless();
    belt.jump_force = 20.0;
    carriage.friction = 15.0;
    carriage.viscous = 0.0;
    let (mut train, clock, mut out) = train(&motor, &belt, &carriage);
    train.align_field();
    train.set_torque(0.40);
    let before = train.carriage();
    let mut now = 0;
    // 400 steps of 12.5 µs at 90 mm/s, without a ramp: 5 mm.
    train.set_field_speed(0.09);
    for _ in 0..400 {
        now += 139_000;
        train.move_to(now, &clock, &mut out);
        train.step(1);
    }
    train.set_field_speed(0.0);
    train.move_to(now + 500_000_000, &clock, &mut out);
    let behind = (5e-3 - (train.carriage() - before)) / 2e-3;
    assert!(behind > 0.8 && (behind - behind.round()).abs() < 0.15, "{behind} teeth");
}
