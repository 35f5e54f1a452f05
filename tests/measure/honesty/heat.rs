//! Heat.

use super::{Coverage, draw, draws, to};
use crate::synthetic::{Trapezoid, World, exact, read, uniform};
use railproof::capture::{Action, SampleChannel, Side};
use railproof::measure::{Blame, CheckEvidence};

/// A temperature, once a second for `lasts` seconds, by a sensor that is off by `offset` and has noise.
fn sample(world: &mut World, channel: SampleChannel, lasts: u32, offset: f64, noise: f64, course: impl Fn(f64) -> f64) {
    for second in 0..=lasts {
        let at = world.tick(world.now + f64::from(second));
        let value = course(f64::from(second)) + offset + noise * world.normal();
        world.part.push_sample(channel, at, (value / 0.0625).round() as i32);
    }
}

#[test]
fn temperatures() {
    let names = [
        "motor temperature",
        "motor temperature rise",
        "housing temperature",
        "housing temperature rise",
        "housing temperature margin",
    ];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut world = draw(seed);
        let offsets = [0.29 * world.normal(), 0.29 * world.normal()];
        let (first, grown) = (uniform(&mut world.rng, 20.0, 25.0), uniform(&mut world.rng, 5.0, 15.0));
        let noise = uniform(&mut world.rng, 0.0, 0.05);
        world.begin();
        world.phase(Action::Wait, |world| {
            let course = |second: f64| first + grown * second / 60.0;
            let channels = [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature];
            for (channel, offset) in channels.into_iter().zip(offsets) {
                sample(world, channel, 60, offset, noise, course);
            }
            world.now += 60.0;
        });
        let check = world.end();
        let truths = [first + grown, grown, first + grown, grown, 50.0 - first - grown];
        for (coverage, truth) in coverages.iter_mut().zip(truths) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

/// Moves for as many seconds as there are temperatures of motor and housing.
fn warming(seed: u64, courses: [&[f64]; 2]) -> CheckEvidence {
    let mut world = draw(seed);
    let offset = 0.29 * world.normal();
    world.begin();
    world.phase(to(Side::Right, 0.09), |world| {
        let began = world.now;
        let short = Trapezoid { distance: 0.01, speed: 0.09, acceleration: 1.6 };
        world.trapezoid(true, short, exact);
        world.now = began;
        let lasts = courses[0].len() as u32 - 1;
        for (channel, course) in
            [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature].into_iter().zip(courses)
        {
            sample(world, channel, lasts, offset, 0.03, |second| course[second as usize]);
        }
        world.now += f64::from(lasts) - 0.2;
        world.trapezoid(false, short, exact);
    });
    world.end()
}

/// One body, from 22 °C.
fn one_body(lasts: usize, time_constant: f64, settled: f64) -> Vec<f64> {
    (0..=lasts).map(|second| settled + (22.0 - settled) * (-(second as f64) / time_constant).exp()).collect()
}

/// Windings in a case on a housing in air at 22 °C, with masses and resistances about those of a 17-size motor on a printed
/// mount: the temperatures of case and housing, and where they settle.
fn three_bodies(lasts: usize, watts: f64, rng: &mut impl rand::Rng) -> ([Vec<f64>; 2], [f64; 2]) {
    let mut about = |size: f64| size * uniform(rng, 0.7, 1.4);
    let (winding_mass, case_mass, housing_mass) = (about(30.0), about(80.0), about(60.0));
    let (winding_case, case_housing, case_air, housing_air) = (about(1.2), about(6.0), about(9.0), about(8.0));
    let air = 22.0;
    let [mut winding, mut case, mut housing] = [air; 3];
    let mut courses = [Vec::new(), Vec::new()];
    for _ in 0..=lasts {
        courses[0].push(case);
        courses[1].push(housing);
        for _ in 0..4 {
            let (into_case, into_housing) = ((winding - case) / winding_case, (case - housing) / case_housing);
            winding += (watts - into_case) * 0.25 / winding_mass;
            case += (into_case - into_housing - (case - air) / case_air) * 0.25 / case_mass;
            housing += (into_housing - (housing - air) / housing_air) * 0.25 / housing_mass;
        }
    }
    let by_housing = case_housing + housing_air;
    let rise = watts * case_air * by_housing / (case_air + by_housing);
    (courses, [air + rise, air + rise * housing_air / by_housing])
}

#[test]
fn time_constants_of_one_body() {
    let mut coverages = ["motor warming time constant", "housing warming time constant"].map(Coverage::of);
    for seed in 0..draws() {
        let mut chance = draw(seed);
        let mut within = |from, to| uniform(&mut chance.rng, from, to);
        let (motor, housing) = (within(120.0, 190.0), within(120.0, 190.0));
        let courses = [one_body(300, motor, within(38.0, 46.0)), one_body(300, housing, within(32.0, 40.0))];
        let check = warming(seed, [&courses[0], &courses[1]]);
        for (coverage, truth) in coverages.iter_mut().zip([motor, housing]) {
            coverage.take(&check, 0, truth, seed);
        }
    }
    coverages.iter().for_each(Coverage::check);
}

/// Ends of a third of single bodies and two thirds of three coupled ones, whatever the fit can tell of them.
#[test]
fn settled_from_a_short_run() {
    let names = ["motor settled temperature", "housing settled temperature", "housing settled margin"];
    let mut coverages = names.map(Coverage::of);
    for seed in 0..draws() {
        let mut chance = draw(seed);
        let lasts = uniform(&mut chance.rng, 900.0, 2400.0);
        let (courses, ends) = if seed % 3 == 0 {
            let mut body = || {
                let settled = uniform(&mut chance.rng, 35.0, 46.0);
                (one_body(lasts as usize, lasts / uniform(&mut chance.rng, 1.5, 3.0), settled), settled)
            };
            let ((motor, one), (housing, other)) = (body(), body());
            ([motor, housing], [one, other])
        } else {
            let watts = uniform(&mut chance.rng, 1.5, 4.0);
            three_bodies(lasts as usize, watts, &mut chance.rng)
        };
        let check = warming(seed, [&courses[0], &courses[1]]);
        for (coverage, truth) in coverages.iter_mut().zip([ends[0], ends[1], 50.0 - ends[1]]) {
            // A run of some bodies is too short for their time constant.
            if read(&coverage.name, &check)[0].result.is_ok() {
                coverage.take(&check, 0, truth, seed);
            }
        }
    }
    for coverage in &coverages {
        assert!(u64::from(coverage.total) > draws() / 3, "{}: {} told", coverage.name, coverage.total);
        coverage.check();
    }
}

#[test]
fn a_run_too_short_to_bend_tells_nothing() {
    for (lasts, time_constant) in [(60, 3000.0), (10, 5.0), (600, 450.0)] {
        let course = one_body(lasts, time_constant, 45.0);
        let check = warming(1, [&course, &course]);
        for name in ["motor settled temperature", "motor warming time constant", "housing settled margin"] {
            let readings = read(name, &check);
            let withheld = readings[0].result.as_ref().expect_err("nothing is told");
            assert_eq!(withheld.blame, Blame::Nobody, "{name}: {withheld:?}");
        }
    }
}
