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

/// Fault, and a check of the outgoing plan that must not conform because of it.
const SEEN_BY: [(&str, &str); 23] = [
    ("weak-pack", "pack under load"),
    ("corroded-contact", "pack under load"),
    ("loose-belt", "belt and pulley"),
    ("slipping-belt", "promised top speed"),
    ("worn-pulley", "promised top speed"),
    ("low-driver-current", "promised top speed"),
    ("wrong-motor", "promised top speed"),
    ("reversed-wiring", "controls"),
    ("dead-end-stop-left", "controls"),
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
];

/// Fault, plan and check where it takes a channel that not every jig has.
const SEEN_ELSEWHERE: [(&str, &str, &str); 2] =
    [("flickering-light", "front-panel", "light bar"), ("worn-control", "front-panel", "controls")];

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
fn what_takes_more_channels_is_named_by_a_plan_of_its_own() {
    for (name, plan, check) in SEEN_ELSEWHERE {
        for seed in 1..=20 {
            let (_, healthy) = run(plan, Vec::new(), seed);
            assert_eq!(healthy.decision, Decision::Conforms, "{plan}, seed {seed}: {:?}", healthy.invalid_because);
        }
        let (simulated, outcome) = run(plan, vec![Fault::parse(name).unwrap()], 7);
        assert_eq!(outcome.decision, Decision::DoesNotConform, "{name}");
        assert_eq!(failing(&simulated, &outcome), [check], "{name}");
    }
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
        assert_eq!(seen, !kind.is_of_bench(), "{}", kind.name());
    }
}
