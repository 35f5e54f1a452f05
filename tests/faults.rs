//! Every fault of the simulated world, at its worst, against the outgoing plan: the check that has to name it.
//!
//! The faults are physical causes (src/sim/faults.rs); which check must see which is the trade's common practice, no source.

mod common;
#[path = "common/counted.rs"]
mod counted;

use common::Simulated;
use counted::Counted;
use railproof::decide::Decision;
use railproof::event::RunOutcome;
use railproof::sim::{Fault, WorldSettings};
use railproof::stats::Estimate;
use railproof::written::Source;

/// Fault, and a check of the outgoing plan that must not conform because of it.
const SEEN_BY: [(&str, &str); 27] = [
    ("weak-pack", "pack under load"),
    ("corroded-contact", "pack under load"),
    ("leaky-contacts", "power-up and self-report"),
    ("loose-belt", "belt and pulley"),
    ("slipping-belt", "promised top speed"),
    ("worn-pulley", "promised top speed"),
    ("low-driver-current", "promised top speed"),
    ("wrong-motor", "promised top speed"),
    ("reversed-wiring", "controls"),
    ("dead-end-stop-left", "end stops"),
    ("dead-end-stop-right", "end stops"),
    ("bouncy-end-stop", "end stops"),
    ("slow-clock", "promised top speed"),
    ("jittery-firmware", "promised top speed"),
    ("masked-interrupts", "promised top speed"),
    ("lost-commands", "promised top speed"),
    ("brown-out", "controls"),
    ("stuck-control", "controls"),
    ("dead-light-segment", "speed levels and light bar"),
    ("swapped-levels", "speed levels and light bar"),
    ("creep-after-stop", "stop and hold"),
    ("hot-motor", "steady running and heat"),
    ("tight-carriage", "belt and pulley"),
    ("mute-unit", "power-up and self-report"),
    ("late-compare", "promised top speed"),
    ("worn-control", "controls"),
    ("flickering-light", "speed levels and light bar"),
];

/// Fault, and the checks of a plan that is made for what it does.
const SEEN_ELSEWHERE: [(&str, &str, &[&str]); 3] = [
    ("flickering-light", "front-panel", &["light bar"]),
    ("worn-control", "front-panel", &["controls"]),
    ("late-compare", "firmware", &["step clock at a middle level", "step clock at top speed", "levels in motion"]),
];

fn outgoing(faults: Vec<Fault>, seed: u64) -> (Simulated, RunOutcome) {
    run("outgoing", faults, seed)
}

fn run(plan: &str, faults: Vec<Fault>, seed: u64) -> (Simulated, RunOutcome) {
    let simulated = Simulated::shipped(plan);
    let world = WorldSettings { seed, faults, ..WorldSettings::default() };
    let outcome = simulated.run(&world, &mut Counted::default());
    (simulated, outcome)
}

fn failing(simulated: &Simulated, outcome: &RunOutcome) -> Vec<String> {
    let failed = outcome.checks.iter().filter(|check| check.decision == Decision::DoesNotConform);
    failed.map(|check| simulated.plan.checks[check.check].name.clone()).collect()
}

#[test]
fn each_fault_of_a_unit_is_named_by_its_check() {
    let mut missed = Vec::new();
    for (name, check) in SEEN_BY {
        let (simulated, outcome) = outgoing(vec![Fault::parse(name).unwrap()], 7);
        let failing = failing(&simulated, &outcome);
        if outcome.decision != Decision::DoesNotConform || !failing.iter().any(|failed| failed == check) {
            missed.push(format!("{name}: {:?}, failing: {failing:?}, not `{check}`", outcome.decision));
        }
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn what_has_a_plan_of_its_own_is_named_by_it() {
    for (name, plan, checks) in SEEN_ELSEWHERE {
        for seed in 1..=20 {
            let (_, healthy) = run(plan, Vec::new(), seed);
            assert_eq!(healthy.decision, Decision::Conforms, "{plan}, seed {seed}: {:?}", healthy.invalid_because);
        }
        let (simulated, outcome) = run(plan, vec![Fault::parse(name).unwrap()], 7);
        assert_eq!(outcome.decision, Decision::DoesNotConform, "{name}");
        assert_eq!(failing(&simulated, &outcome), checks, "{name}");
    }
}

/// A compare register that is one too high is told from a clock that is slow and from rounding: five levels, whose periods are
/// rounded to whole ticks of 0.5 µs by up to a third, and a clock that is off as crystals are, or by 1 %.
#[test]
fn a_compare_register_is_told_from_a_clock() {
    let told = |faults: &[&str], seed| {
        let faults = faults.iter().map(|name| Fault::parse(name).unwrap()).collect();
        let (simulated, outcome) = run("firmware", faults, seed);
        ["period offset", "timer clock error", "rate granularity"]
            .map(|name| value(&simulated, &outcome, "levels in motion", name))
    };
    for seed in 1..=3 {
        for (faults, offset, slow) in [
            (&[][..], 0.0, 0.0),
            (&["late-compare"], 0.5e-6, 0.0),
            (&["late-compare", "slow-clock:0.25"], 0.5e-6, 0.01),
        ] {
            let [found, clock, granularity] = told(faults, seed);
            let off = (found.value - (1.0 + slow) * offset).abs();
            assert!(off < found.expanded_uncertainty(0.95).max(2e-9) && off < 20e-9, "{faults:?}, {seed}: {found:?}");
            // A crystal of the unit is good to 50 ppm, one of the jig to 10.
            assert!((clock.value + slow).abs() < 80e-6, "{faults:?}, {seed}: {clock:?}");
            // The slowest level comes first: 0.5 µs of 12.5 ms.
            assert!((granularity.value * 1e6 - 40.0).abs() < 0.5, "{faults:?}, {seed}: {granularity:?}");
        }
    }
}

/// A hot motor shows in a minute, and how hot it would get in half an hour.
#[test]
fn a_soak_tells_that_a_motor_would_get_too_hot() {
    let (simulated, outcome) = run("soak", vec![Fault::parse("hot-motor").unwrap()], 7);
    assert_eq!(failing(&simulated, &outcome), ["heat soak"]);
    let margin = value(&simulated, &outcome, "heat soak", "housing settled margin");
    assert!(margin.value + margin.expanded_uncertainty(0.95) < 13.0, "{margin:?}");
}

/// The first value of a measurand in a check.
fn value(simulated: &Simulated, outcome: &RunOutcome, check: &str, measurand: &str) -> Estimate {
    let number = simulated.plan.checks.iter().position(|planned| planned.name == check).expect("a check");
    let requirements = &simulated.plan.checks[number].requirements;
    let place = requirements.iter().position(|required| required.measurand.name == measurand).expect("a requirement");
    let reading = &outcome.checks[number].requirements[place].readings[0];
    reading.result.as_ref().unwrap_or_else(|withheld| panic!("{measurand}: {withheld:?}")).0.clone()
}

/// Once told by a load step and once by moves, 100 mΩ agree to about one: one converter saw both.
#[test]
fn a_pack_has_one_resistance() {
    for seed in [3, 4] {
        for fault in [None, Some("weak-pack:0.3")] {
            let (simulated, outcome) =
                outgoing(fault.map(|name| Fault::parse(name).unwrap()).into_iter().collect(), seed);
            let by_load = value(&simulated, &outcome, "pack under load", "pack ohmic resistance");
            let by_moves = value(&simulated, &outcome, "promised top speed", "pack resistance in use");
            let apart = (by_load.value - by_moves.value).abs();
            assert!(
                apart < by_load.expanded_uncertainty(0.95) + by_moves.expanded_uncertainty(0.95),
                "{seed}: {apart}"
            );
        }
    }
}

/// Nobody failed where a plan asks for an end that a minute cannot tell: neither the unit nor the bench.
#[test]
fn an_end_that_a_short_check_cannot_tell_stays_undecided() {
    let text = "plan: trial\nrevision: 1\nmodel: dunlin-600\ndecision rule: { false accept at most: 2.5 % }\nchecks:\n  \
                - name: too short\n    moves:\n      - power: on\n      - home: left\n      - travel: { to: right, speed: 90 mm/s }\n    \
                require: { motor settled temperature: at most 60 °C, missing steps: at most 0 }\n";
    let simulated = Simulated::of(&Source::new("trial.yaml", text));
    let outcome = simulated.run(&WorldSettings::default(), &mut Counted::default());
    assert_eq!((outcome.decision, &outcome.invalid_because[..]), (Decision::Undecided, &[][..]));
    let [settled, steps] = &outcome.checks[0].requirements[..] else { panic!("two requirements") };
    assert_eq!((settled.decision, steps.decision), (Decision::Undecided, Decision::Conforms));
}

#[test]
fn a_garbled_link_proves_nothing_about_the_unit() {
    for seed in 1..=20 {
        let (_, outcome) = outgoing(vec![Fault::parse("garbled-link").unwrap()], seed);
        assert_eq!(outcome.decision, Decision::Invalid, "seed {seed}");
        assert!(outcome.invalid_because[0].contains("garbled"), "seed {seed}: {:?}", outcome.invalid_because);
    }
}

#[test]
fn every_fault_has_its_check() {
    for kind in Fault::ALL {
        let seen = SEEN_BY.iter().any(|(name, _)| *name == kind.name())
            || SEEN_ELSEWHERE.iter().any(|(name, ..)| *name == kind.name());
        // What is wrong with the jig is for its own check to see: tests/jig_check.rs.
        assert_eq!(seen, !kind.is_of_bench() && !kind.is_of_jig(), "{}", kind.name());
    }
}
